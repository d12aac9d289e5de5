//! Files on the disk: written whole or not at all, one run at a time, and known by what they are.
//!
//! A file is written beside its place under a hidden name, put on the disk, and given its name last: a full
//! disc or a kill leaves what was there before. The hidden name is always the same and is locked by the system
//! while it is in use. A run that was killed so leaves no lock behind, only the hidden file, which the next run
//! takes away. Random names were rejected: nobody would know whose leftovers they are.

use std::ffi::{OsStr, OsString};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::error::{Error, Result};

/// `.NAME` with an ending: the name of what belongs to a file or folder for the time of a run.
#[must_use]
pub fn hidden(name: &OsStr, ending: &str) -> OsString {
    let mut hidden = OsString::from(".");
    hidden.push(name);
    hidden.push(ending);
    hidden
}

/// A file of this run alone: locked by the system until the value goes, and then removed.
#[derive(Debug)]
pub struct Held {
    file: File,
    path: PathBuf,
    /// Whether it got its own name and stays.
    kept: bool,
}

impl Held {
    /// Makes the file at `path`; what a killed run left there goes first. `of` is what it is held for, for the
    /// message.
    ///
    /// # Errors
    /// Where another run holds it, or the system refuses.
    pub fn new(path: &Path, of: &Path) -> Result<Self> {
        let io = |e| Error::io("create", path, e);
        loop {
            let file = match OpenOptions::new().write(true).create_new(true).open(path) {
                Ok(file) => file,
                Err(e) if e.kind() == ErrorKind::AlreadyExists => {
                    clear(path, of)?;
                    continue;
                }
                Err(e) => return Err(io(e)),
            };
            lock(&file, path, of)?;
            // Between making and locking it another run may have taken it for a leftover.
            if is_still(&file, path) {
                return Ok(Self { file, path: path.to_owned(), kept: false });
            }
        }
    }

    /// Gives the file its own name, in place of what bears it.
    fn keep_as(mut self, path: &Path) -> std::io::Result<()> {
        fs::rename(&self.path, path)?;
        self.kept = true;
        Ok(())
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        if !self.kept {
            let _ = fs::remove_file(&self.path);
        }
    }
}

/// Takes away the file that a killed run left.
fn clear(path: &Path, of: &Path) -> Result<()> {
    match OpenOptions::new().write(true).open(path) {
        Ok(file) => {
            lock(&file, path, of)?;
            // Only who holds its lock may take a name away: this may by now be another run's.
            if is_still(&file, path) {
                fs::remove_file(path).map_err(|e| Error::io("remove", path, e))?;
            }
            Ok(())
        }
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(()),
        Err(e) => Err(Error::io("open", path, e)),
    }
}

fn lock(file: &File, path: &Path, of: &Path) -> Result<()> {
    match file.try_lock() {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => Err(Error::usage(
            format!("{}: another run is writing it at this moment", of.display()),
            "wait until that has ended, or name another place with --out",
        )),
        // Some network disks have no locks: one run is written whole there too.
        Err(TryLockError::Error(e)) if e.kind() == ErrorKind::Unsupported => Ok(()),
        Err(TryLockError::Error(e)) => Err(Error::io("lock", path, e)),
    }
}

/// Whether the open file is the one at `path`.
fn is_still(file: &File, path: &Path) -> bool {
    match (file.metadata(), fs::metadata(path)) {
        (Ok(open), Ok(there)) => identity(&open, path) == identity(&there, path),
        _ => false,
    }
}

/// What tells a file from every other, whatever it is called.
#[cfg(unix)]
fn identity(of: &fs::Metadata, _path: &Path) -> (u64, u64) {
    use std::os::unix::fs::MetadataExt as _;
    (of.dev(), of.ino())
}

/// Without numbers of files: its path with links followed.
#[cfg(not(unix))]
fn identity(_of: &fs::Metadata, path: &Path) -> Option<PathBuf> {
    path.canonicalize().ok()
}

/// Whether both are one file: other spellings, links of either kind.
#[must_use]
pub fn is_same(a: &Path, b: &Path) -> bool {
    match (fs::metadata(a), fs::metadata(b)) {
        (Ok(of_a), Ok(of_b)) => identity(&of_a, a) == identity(&of_b, b),
        _ => false,
    }
}

/// Writes a file whole, in place of what is there: `write` gives its content. A link keeps pointing at the file
/// that is written; what is no file, such as a pipe, is written to as it stands.
///
/// # Errors
/// A folder, a file that may not be written, another run at it, or the system refuses: what was there stays.
pub fn write_whole(path: &Path, write: impl FnOnce(&mut dyn Write) -> Result<()>) -> Result<()> {
    let io = |e| Error::io("write", path, e);
    if let Ok(there) = fs::metadata(path) {
        if there.is_file() && there.permissions().readonly() {
            return Err(Error::usage(
                format!("{}: a file that may only be read", path.display()),
                "name another file, or allow it to be written",
            ));
        }
        if !there.is_file() {
            let mut out = OpenOptions::new().write(true).open(path).map_err(io)?;
            return write(&mut out);
        }
    }
    let place = path.canonicalize().or_else(|_| std::path::absolute(path)).map_err(io)?;
    let (Some(folder), Some(name)) = (place.parent(), place.file_name()) else {
        return Err(Error::usage(
            format!("{}: expected a file to write, found a folder", path.display()),
            "name a file",
        ));
    };
    let held = Held::new(&folder.join(hidden(name, ".new")), path)?;
    let mut out = BufWriter::new(&held.file);
    write(&mut out)?;
    out.flush().map_err(io)?;
    drop(out);
    held.file.sync_all().map_err(io)?;
    held.keep_as(&place).map_err(io)?;
    sync_folder(folder)
}

/// Puts a folder's list of names on the disk, where the system can.
///
/// # Errors
/// Where the system refuses.
pub fn sync_folder(dir: &Path) -> Result<()> {
    if cfg!(unix) {
        File::open(dir).and_then(|f| f.sync_all()).map_err(|e| Error::io("sync", dir, e))?;
    }
    Ok(())
}

/// Exchanges the names of two files or folders, so that no moment has either missing; says whether the system
/// and the disk can.
///
/// # Errors
/// Where they can and refuse.
#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
pub fn exchange(a: &Path, b: &Path) -> std::io::Result<bool> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    use rustix::io::Errno;
    match renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(true),
        // What kernels and disks say that do not know how.
        Err(Errno::INVAL | Errno::NOSYS | Errno::NOTSUP) => Ok(false),
        Err(e) => Err(e.into()),
    }
}

/// This system cannot.
///
/// # Errors
/// None.
#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
pub fn exchange(_a: &Path, _b: &Path) -> std::io::Result<bool> {
    Ok(false)
}
