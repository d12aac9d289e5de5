//! A report is written whole or not at all.
//!
//! All files go to a temporary folder beside the target first. Only when every one is on the disk is the
//! previous report moved aside, the new one renamed into place, and the previous one removed. A run that is
//! killed between the two renames leaves the previous report aside, whole: the next run puts it back.
//!
//! A folder is replaced only if it holds nothing but our files.

use std::ffi::OsString;
use std::fs;
use std::io::Write as _;
use std::path::{Component, Path, PathBuf};

use crate::error::{Error, Result};

/// Files of a report's own folder.
const OURS: [&str; 5] =
    ["summary.md", "results.json", "rows-not-used.csv", "units-to-check.csv", "units-affected.csv"];
/// And those of a limit study, one a series.
const CHANGE_NOTE: (&str, &str) = ("change-note", ".md");
/// The folder inside it, which holds PNG files only.
const CHARTS: &str = "charts";
/// What file browsers leave behind: it may go with the report.
const LITTER: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];
/// What every result file of ours names near its beginning.
const SCHEMA_MARK: &[u8] = b"\"schema\": \"leakdrift.";
/// How much of a result file is searched for it, in bytes.
const SCHEMA_WITHIN: usize = 1024;

/// Whether a report may be written to `dir`: it does not exist, is empty, or holds a report of ours and
/// nothing else (all of it is replaced). Puts a report back that an interrupted run left aside.
///
/// # Errors
/// A folder with other files, a file, the current folder; or the operating system refuses.
pub fn check_folder(dir: &Path) -> Result<()> {
    target(dir).map(drop)
}

/// Writes all files of a report, or none: relative path (with `/`) and content of each.
///
/// # Errors
/// As [`check_folder`]; a path that is not plainly below `dir` or comes twice; or the operating system
/// refuses. The previous report is then as it was.
pub fn write_whole(dir: &Path, files: impl AsRef<[(String, Vec<u8>)]>) -> Result<()> {
    let files = files.as_ref();
    for (path, _) in files {
        check_path(path)?;
    }
    let target = target(dir)?;
    fs::create_dir_all(&target.parent)
        .map_err(|e| Error::io("create the folder", &target.parent, e))?;
    // The outer folder is private to this run and goes away with `temporary`; the inner one becomes the
    // report and has the rights of any other new folder.
    let temporary = tempfile::Builder::new()
        .prefix(&hidden(&target.name, ".new-"))
        .tempdir_in(&target.parent)
        .map_err(|e| Error::io("create a temporary folder in", &target.parent, e))?;
    let fresh = temporary.path().join("report");
    write_files(&fresh, files)?;
    let io = |doing, path: &Path| {
        let path = path.to_owned();
        move |e| Error::io(doing, &path, e)
    };
    let had_one = target.path.exists();
    if had_one {
        if target.aside.exists() {
            fs::remove_dir_all(&target.aside).map_err(io("remove", &target.aside))?;
        }
        fs::rename(&target.path, &target.aside).map_err(io("move aside", &target.path))?;
    }
    if let Err(e) = fs::rename(&fresh, &target.path) {
        if had_one {
            fs::rename(&target.aside, &target.path).map_err(io("put back", &target.aside))?;
        }
        return Err(Error::io("put the report in place at", &target.path, e));
    }
    sync_folder(&target.parent)?;
    if had_one {
        // The new report is in place: what cannot be removed now is removed by the next run.
        let _ = fs::remove_dir_all(&target.aside);
    }
    Ok(())
}

/// Where the report goes.
struct Target {
    /// Its folder, links followed.
    path: PathBuf,
    /// The folder that holds it.
    parent: PathBuf,
    /// Its name.
    name: OsString,
    /// Where the previous report waits while the new one is put in place.
    aside: PathBuf,
}

fn target(dir: &Path) -> Result<Target> {
    // A link keeps pointing at the folder that is written.
    let path = if dir.exists() {
        dir.canonicalize().map_err(|e| Error::io("find", dir, e))?
    } else {
        std::path::absolute(dir).map_err(|e| Error::io("find", dir, e))?
    };
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
    let (parent, name) = (parent.to_owned(), name.to_owned());
    let aside = parent.join(hidden(&name, ".previous"));
    let target = Target { path, parent, name, aside };
    put_back(&target)?;
    if let Some(found) = foreign(&target.path)? {
        return Err(refused(
            dir,
            "no folder yet, an empty one, or a report and nothing else",
            &found,
        ));
    }
    Ok(target)
}

fn hidden(name: &OsString, ending: &str) -> OsString {
    let mut hidden = OsString::from(".");
    hidden.push(name);
    hidden.push(ending);
    hidden
}

fn refused(dir: &Path, expected: &str, found: &str) -> Error {
    Error::usage(
        format!("report folder {}: expected {expected}, found {found}", dir.display()),
        "all in it would be replaced: name another folder with --out, or move that away",
    )
}

/// After an interrupted run: the previous report goes back where none is. Beside a new one it is left over,
/// perhaps half removed, and the next report takes its place.
fn put_back(target: &Target) -> Result<()> {
    if !target.aside.exists() {
        return Ok(());
    }
    if let Some(found) = not_ours(&target.aside)? {
        return Err(refused(&target.aside, "what an earlier run left aside", &found));
    }
    if target.path.exists() {
        return Ok(());
    }
    fs::rename(&target.aside, &target.path).map_err(|e| Error::io("put back", &target.aside, e))
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
        if name == CHARTS && path.is_dir() && !path.is_symlink() {
            if let Some(n) =
                entries(&path)?.into_iter().find(|n| !is_picture(&path.join(n)) && !is_litter(n))
            {
                return Ok(Some(format!("{CHARTS}/{}", n.to_string_lossy())));
            }
        } else if !(path.is_file()
            && (OURS.iter().any(|o| name == *o) || is_change_note(&name) || is_litter(&name)))
        {
            return Ok(Some(name.to_string_lossy().into_owned()));
        }
    }
    Ok(None)
}

fn is_change_note(name: &OsString) -> bool {
    name.to_str().is_some_and(|n| n.starts_with(CHANGE_NOTE.0) && n.ends_with(CHANGE_NOTE.1))
}

fn is_picture(path: &Path) -> bool {
    path.is_file() && path.extension().is_some_and(|e| e == "png")
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

/// Puts a folder's list of names on the disk, where the system can.
fn sync_folder(dir: &Path) -> Result<()> {
    if cfg!(unix) {
        fs::File::open(dir).and_then(|f| f.sync_all()).map_err(|e| Error::io("sync", dir, e))?;
    }
    Ok(())
}
