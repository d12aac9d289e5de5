//! The settings file that `peek` starts.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::Path;

use super::{Missing, Peek, quoted};
use crate::error::{Error, Result};

impl Peek {
    /// A settings file that says what was understood, with what is missing to be filled in behind a `#`.
    #[must_use]
    pub fn config(&self) -> String {
        let mut page = String::from(
            "# Started by `leakdrift peek --write-config`: what was understood is stated, what is not known\n\
             # stands behind a # to be filled in. `leakdrift config` prints every key.\n",
        );
        let orders: BTreeSet<&str> = self.tables.iter().filter_map(|t| t.date_order).collect();
        if let (1, Some(order)) = (orders.len(), orders.first()) {
            let _ = writeln!(page, "\n# date_order = {order:?}    # shown by the dates themselves");
        }
        let mut told: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        let mut unused = BTreeSet::new();
        for column in self.tables.iter().flat_map(|t| &t.columns) {
            match &column.meaning {
                Some(meaning) => {
                    told.entry(&column.name).or_default().insert(meaning);
                }
                None => {
                    unused.insert(&column.name);
                }
            }
        }
        let _ = writeln!(page, "\n[columns]    # header as exported = canonical column");
        for (name, meanings) in &told {
            if let (1, Some(meaning)) = (meanings.len(), meanings.first())
                && name != meaning
                && !name.is_empty()
            {
                let _ = writeln!(page, "{} = {}", quoted(name), quoted(meaning));
            }
        }
        for name in unused {
            if !name.trim().is_empty() && !told.contains_key(name.as_str()) {
                let _ = writeln!(page, "# {} = \"…\"    # not used", quoted(name));
            }
        }
        if !self.unknown_outcomes.is_empty() {
            let _ = writeln!(page, "\n[outcomes]    # word as exported = outcome");
            for (word, n) in &self.unknown_outcomes {
                let _ = writeln!(page, "# {} = \"…\"    # {n} rows", quoted(word));
            }
        }
        let missing: BTreeSet<&Missing> = self.tables.iter().flat_map(|t| &t.missing).collect();
        for missing in missing {
            let _ = writeln!(page, "\n# {}", missing.what);
            for line in missing.lines.lines() {
                let _ = writeln!(page, "# {line}");
            }
        }
        page
    }
}

/// Writes the settings file that `peek` starts.
///
/// # Errors
/// Where the file exists or cannot be written.
pub fn start_config(peek: &Peek, file: &Path) -> Result<()> {
    use std::io::Write as _;
    let mut out =
        std::fs::OpenOptions::new().write(true).create_new(true).open(file).map_err(|e| {
            if e.kind() == std::io::ErrorKind::AlreadyExists {
                Error::usage(
                    format!("{} exists and is left as it is", file.display()),
                    "name another file: --write-config=FILE",
                )
            } else {
                Error::io("write", file, e)
            }
        })?;
    out.write_all(peek.config().as_bytes()).map_err(|e| Error::io("write", file, e))
}
