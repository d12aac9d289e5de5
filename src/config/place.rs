//! Where the settings file of some inputs is, and where one belongs.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::{Config, FILE_NAME};
use crate::error::{Error, Result};

/// So many folders above the inputs are searched for settings: exports lie by station and year below those of a
/// line.
const FOLDERS_ABOVE: usize = 2;
/// The file of decisions, where the settings name none.
const DECISIONS: &str = "decisions.csv";

impl Config {
    /// Where a settings file for these inputs belongs: in the first folder given, or beside the first file.
    #[must_use]
    pub fn place_beside(paths: &[PathBuf]) -> PathBuf {
        folder_of(paths.first().map_or(Path::new("."), PathBuf::as_path)).join(FILE_NAME)
    }

    /// The settings file of the inputs, if there is one: in a folder given or that of a file or pattern given,
    /// else in the nearest of the two folders above it.
    ///
    /// # Errors
    /// Where inputs have different ones: a run has one.
    pub fn beside(paths: &[PathBuf]) -> Result<Option<PathBuf>> {
        let mut found: Vec<PathBuf> = paths.iter().filter_map(|path| nearest(path)).collect();
        let same = |path: &PathBuf| path.canonicalize().unwrap_or_else(|_| path.clone());
        let mut seen = BTreeSet::new();
        found.retain(|path| seen.insert(same(path)));
        match found.as_slice() {
            [] => Ok(None),
            [one] => Ok(Some(one.clone())),
            [one, other, ..] => Err(Error::usage(
                format!(
                    "the inputs have different settings: {} and {}",
                    one.display(),
                    other.display()
                ),
                "name those that hold for all with --config FILE, or run them one after the other",
            )),
        }
    }

    /// The file of decisions beside the settings or, without settings, beside the inputs.
    #[must_use]
    pub fn decisions_beside(settings: Option<&Path>, paths: &[PathBuf]) -> Option<PathBuf> {
        let of_settings = settings.map(folder_of);
        let folders = match of_settings {
            Some(folder) => vec![folder],
            None => paths.iter().map(|path| folder_of(path)).collect(),
        };
        let file = folders.iter().map(|f| f.join(DECISIONS)).find(|file| file.is_file())?;
        std::path::absolute(&file).ok()
    }

    /// Whether these settings lie in a folder above the inputs, and not beside them.
    #[must_use]
    pub fn lies_above(&self, paths: &[PathBuf]) -> bool {
        let beside = |path: &PathBuf| Some(folder_of(path).join(FILE_NAME)) == self.path;
        self.path.is_some() && !paths.iter().any(beside)
    }
}

/// The settings nearest to one input.
fn nearest(path: &Path) -> Option<PathBuf> {
    let mut folder = folder_of(path);
    for _ in 0..=FOLDERS_ABOVE {
        let file = folder.join(FILE_NAME);
        if file.is_file() {
            return Some(file);
        }
        folder = above(&folder)?;
    }
    None
}

/// The folder above; `None` above the root.
fn above(folder: &Path) -> Option<PathBuf> {
    let named = folder.file_name().is_some();
    match folder.parent() {
        Some(parent) if named && parent == Path::new("") => Some(PathBuf::from(".")),
        Some(parent) if named => Some(parent.to_owned()),
        _ if folder == Path::new(".") => Some(PathBuf::from("..")),
        Some(_) => Some(folder.join("..")),
        None => None,
    }
}

/// The folder itself, that of a file, or that below which a pattern begins.
fn folder_of(path: &Path) -> PathBuf {
    let is_pattern = |part: &Path| part.to_string_lossy().contains(['*', '?', '[']);
    let mut folder = if path.is_dir() { Some(path) } else { path.parent() };
    while !path.exists() && folder.is_some_and(is_pattern) {
        folder = folder.and_then(Path::parent);
    }
    match folder {
        Some(folder) if folder != Path::new("") => folder.to_owned(),
        _ => PathBuf::from("."),
    }
}
