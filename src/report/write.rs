//! A report is written whole or not at all, and by one run at a time.
//!
//! A run claims its folder before the long part: the claim holds `.NAME.lock`, locked by the system, so that a
//! second run is refused at once rather than after minutes, and a killed one leaves no lock. All files go to
//! `.NAME.new` beside the folder; when every one is on the disk, the two exchange their names in one step and
//! what is then `.NAME.new` goes. Whenever a run is killed, the folder holds the old report or the new one.
//!
//! Where the system or the disk cannot exchange names, the old report is moved to `.NAME.previous` first; a run
//! that is killed between the two renames leaves it there, whole, and the next one puts it back. Each claim
//! clears what a killed run left behind. Waiting instead of refusing was rejected: a run that hangs would hang
//! every later one, and scheduled runs would pile up.
//!
//! A folder is replaced only if it holds nothing but our files and nobody protected it.

use std::ffi::OsString;
use std::fs;
use std::io::Write as _;
use std::path::{Component, Path, PathBuf};

use super::html;
use super::markdown::{front, readme};
use super::origin;
use crate::disk::{self, Held, hidden, sync_folder};
use crate::error::{Error, Result};

/// Files of a report's own folder, beside the pages that the summary names.
const OURS: [&str; 9] = [
    html::FILE,
    readme::FILE,
    front::FILE,
    "models.csv",
    "results.json",
    "rows-not-used.csv",
    "units-to-check.csv",
    "units-affected.csv",
    origin::FILE,
];
/// And those of a limit study, one a series.
const CHANGE_NOTE: (&str, &str) = ("change-note", ".md");
/// The folders inside it, and the ending of all that each holds.
const FOLDERS: [(&str, &str); 2] = [("charts", "png"), ("models", "md")];
/// What file browsers leave behind: it may go with the report.
const LITTER: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];
/// What every result file of ours names near its beginning.
const SCHEMA_MARK: &[u8] = b"\"schema\": \"leakdrift.";
/// How much of a result file is searched for it, in bytes.
const SCHEMA_WITHIN: usize = 1024;

/// A report's folder, for one run alone.
#[derive(Debug)]
pub struct Claim {
    /// The folder, links followed.
    path: PathBuf,
    /// The folder that holds it.
    parent: PathBuf,
    /// The new report on its way, and the old one on its way out.
    fresh: PathBuf,
    /// Where the old one waits, where names cannot be exchanged.
    aside: PathBuf,
    /// As the user names it.
    shown: PathBuf,
    // In this order: first the lock goes, then what was made around it.
    _lock: Held,
    made: Made,
}

/// Folders made for the report's; they go again, where they are empty, unless it was written.
#[derive(Debug)]
struct Made(Vec<PathBuf>);

impl Drop for Made {
    fn drop(&mut self) {
        for folder in &self.0 {
            let _ = fs::remove_dir(folder);
        }
    }
}

/// Claims `dir` for a report: it does not exist, is empty, or holds a report of ours and nothing else (all of it
/// is replaced). Puts right what a killed run left.
///
/// # Errors
/// Another run is at it; a folder with other files, one that is protected, a file, the current folder; or the
/// operating system refuses.
pub fn claim(dir: &Path) -> Result<Claim> {
    // A link keeps pointing at the folder that is written.
    let path = dir
        .canonicalize()
        .or_else(|_| std::path::absolute(dir))
        .map_err(|e| Error::io("find", dir, e))?;
    let (Some(parent), Some(name)) = (path.parent(), path.file_name()) else {
        return Err(refused(dir, "a folder for the report", "the root of a file system"));
    };
    if std::env::current_dir().is_ok_and(|here| here.starts_with(&path)) {
        return Err(refused(
            dir,
            "a folder that can be replaced",
            "the one this run was started in",
        ));
    }
    let missing = parent.ancestors().take_while(|f| !f.exists()).map(Path::to_owned).collect();
    let made = Made(missing);
    fs::create_dir_all(parent).map_err(|e| Error::io("create the folder", parent, e))?;
    let lock = Held::new(&parent.join(hidden(name, ".lock")), dir)?;
    let claim = Claim {
        fresh: parent.join(hidden(name, ".new")),
        aside: parent.join(hidden(name, ".previous")),
        parent: parent.to_owned(),
        path: path.clone(),
        shown: dir.to_owned(),
        _lock: lock,
        made,
    };
    claim.mend()?;
    claim.check()?;
    Ok(claim)
}

impl Claim {
    /// Puts the files in place of what the folder holds: relative path (with `/`) and content of each.
    ///
    /// # Errors
    /// A path that is not plainly below the folder or comes twice; what came into the folder since it was
    /// claimed; or the operating system refuses. The previous report is then as it was.
    pub fn write(mut self, files: impl AsRef<[(String, Vec<u8>)]>) -> Result<()> {
        let files = files.as_ref();
        files.iter().try_for_each(|(path, _)| check_path(path))?;
        self.check()?;
        let written = write_files(&self.fresh, files).and_then(|()| self.put_in_place());
        if written.is_err() {
            let _ = fs::remove_dir_all(&self.fresh);
            return written;
        }
        self.made.0.clear();
        sync_folder(&self.parent)?;
        // The new report is in place: what cannot be removed now is removed by the next run.
        let _ = fs::remove_dir_all(&self.fresh);
        let _ = fs::remove_dir_all(&self.aside);
        Ok(())
    }

    fn put_in_place(&self) -> Result<()> {
        let io = |doing, path: &Path| {
            let path = path.to_owned();
            move |e| Error::io(doing, &path, e)
        };
        let in_place = "put the report in place at";
        let Ok(there) = fs::metadata(&self.path) else {
            return fs::rename(&self.fresh, &self.path).map_err(io(in_place, &self.path));
        };
        fs::set_permissions(&self.fresh, there.permissions())
            .map_err(io("give its rights to", &self.fresh))?;
        if disk::exchange(&self.fresh, &self.path).map_err(io(in_place, &self.path))? {
            return Ok(());
        }
        fs::rename(&self.path, &self.aside).map_err(io("move aside", &self.path))?;
        fs::rename(&self.fresh, &self.path).map_err(|e| match fs::rename(&self.aside, &self.path) {
            Ok(()) => Error::io(in_place, &self.path, e),
            Err(e) => Error::io("put back", &self.aside, e),
        })
    }

    /// After a killed run: the previous report goes back where none is, the rest goes.
    fn mend(&self) -> Result<()> {
        for left in [&self.aside, &self.fresh] {
            if !left.exists() {
                continue;
            }
            if let Some(found) = not_ours(left)? {
                return Err(refused(left, "what an earlier run left behind", &found));
            }
            if left == &self.aside && !self.path.exists() {
                fs::rename(left, &self.path).map_err(|e| Error::io("put back", left, e))?;
            } else {
                fs::remove_dir_all(left).map_err(|e| Error::io("remove", left, e))?;
            }
        }
        Ok(())
    }

    /// Whether the folder may be replaced.
    fn check(&self) -> Result<()> {
        if let Some(found) = foreign(&self.path)? {
            return Err(refused(
                &self.shown,
                "no folder yet, an empty one, or a report and nothing else",
                &found,
            ));
        }
        let inside = FOLDERS.iter().map(|(folder, _)| self.path.join(folder));
        for folder in [self.path.clone()].into_iter().chain(inside) {
            // Elsewhere the mark on a folder means something else.
            let protected = fs::metadata(&folder).is_ok_and(|m| m.permissions().readonly());
            if cfg!(unix) && protected {
                return Err(refused(
                    &self.shown,
                    "a folder that may be changed",
                    &format!("{}, which may only be read", folder.display()),
                ));
            }
        }
        Ok(())
    }

    /// Whether what this names lies in the folder.
    #[must_use]
    pub fn holds(&self, path: &Path) -> bool {
        self.path.is_dir() && path.canonicalize().is_ok_and(|p| p.starts_with(&self.path))
    }
}

fn refused(dir: &Path, expected: &str, found: &str) -> Error {
    Error::usage(
        format!("report folder {}: expected {expected}, found {found}", dir.display()),
        "all in it would be replaced: name another folder with --out, or move that away",
    )
}

/// Why a folder may not be replaced: what it holds that is no report of ours, in words.
fn foreign(dir: &Path) -> Result<Option<String>> {
    if !dir.exists() {
        return Ok(None);
    }
    if let Some(found) = not_ours(dir)? {
        return Ok(Some(found));
    }
    let names = entries(dir)?;
    if names.iter().all(is_litter) {
        return Ok(None);
    }
    if ["summary.md", "results.json"].iter().any(|n| !dir.join(n).is_file()) {
        return Ok(Some(format!(
            "{}, but no summary.md with results.json",
            names[0].to_string_lossy()
        )));
    }
    if !names_schema(&dir.join("results.json"))? {
        return Ok(Some("a results.json that is not of a report".to_owned()));
    }
    Ok(None)
}

/// The first thing in a folder that no report of ours holds.
fn not_ours(dir: &Path) -> Result<Option<String>> {
    if !dir.is_dir() {
        return Ok(Some("a file".to_owned()));
    }
    for name in entries(dir)? {
        let path = dir.join(&name);
        let of_ours = FOLDERS.iter().find(|(folder, _)| name == *folder);
        if let Some((folder, ending)) = of_ours.filter(|_| path.is_dir() && !path.is_symlink()) {
            let is_own = |n: &OsString| ends_with(&path.join(n), ending) || is_litter(n);
            if let Some(n) = entries(&path)?.into_iter().find(|n| !is_own(n)) {
                return Ok(Some(format!("{folder}/{}", n.to_string_lossy())));
            }
        } else if !(path.is_file()
            && (OURS.iter().any(|o| name == *o)
                || is_page(&name)
                || is_change_note(&name)
                || is_litter(&name)))
        {
            return Ok(Some(name.to_string_lossy().into_owned()));
        }
    }
    Ok(None)
}

fn is_page(name: &OsString) -> bool {
    front::PAGES.iter().any(|page| name == page.path)
}

fn is_change_note(name: &OsString) -> bool {
    name.to_str().is_some_and(|n| n.starts_with(CHANGE_NOTE.0) && n.ends_with(CHANGE_NOTE.1))
}

fn ends_with(path: &Path, ending: &str) -> bool {
    path.is_file() && path.extension().is_some_and(|e| e == ending)
}

fn is_litter(name: &OsString) -> bool {
    LITTER.iter().any(|l| name == l)
}

fn names_schema(path: &Path) -> Result<bool> {
    use std::io::Read as _;
    let io = |e| Error::io("read", path, e);
    let mut start = Vec::new();
    let file = fs::File::open(path).map_err(io)?;
    file.take(SCHEMA_WITHIN as u64).read_to_end(&mut start).map_err(io)?;
    Ok(start.windows(SCHEMA_MARK.len()).any(|w| w == SCHEMA_MARK))
}

/// Names in a folder, sorted: an error names the same one every time.
fn entries(dir: &Path) -> Result<Vec<OsString>> {
    let io = |e| Error::io("list", dir, e);
    let mut names: Vec<OsString> = Vec::new();
    for entry in fs::read_dir(dir).map_err(io)? {
        names.push(entry.map_err(io)?.file_name());
    }
    names.sort();
    Ok(names)
}

fn check_path(path: &str) -> Result<()> {
    let plain = !path.is_empty()
        && !path.contains('\\')
        && Path::new(path).components().all(|c| matches!(c, Component::Normal(_)));
    if plain {
        Ok(())
    } else {
        Err(Error::usage(
            format!("file of a report: expected a path below its folder, found {path:?}"),
            "give its files plain names",
        ))
    }
}

fn write_files(dir: &Path, files: &[(String, Vec<u8>)]) -> Result<()> {
    let mut folders = vec![dir.to_owned()];
    fs::create_dir(dir).map_err(|e| Error::io("create the folder", dir, e))?;
    for (path, bytes) in files {
        let path = dir.join(path);
        let folder = path.parent().unwrap_or(dir);
        if !folders.iter().any(|f| f == folder) {
            fs::create_dir_all(folder).map_err(|e| Error::io("create the folder", folder, e))?;
            folders.push(folder.to_owned());
        }
        let io = |e| Error::io("write", &path, e);
        // `create_new`: a path that comes twice is an error, not the loss of the first.
        let mut file =
            fs::OpenOptions::new().write(true).create_new(true).open(&path).map_err(io)?;
        file.write_all(bytes).map_err(io)?;
        file.sync_all().map_err(io)?;
    }
    folders.iter().try_for_each(|f| sync_folder(f))
}
