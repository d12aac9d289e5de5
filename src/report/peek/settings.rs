//! The settings file that `peek` starts, or adds to.
//!
//! A file that exists keeps every line it has: what is added stands below the heads of its own sections, or at its
//! end. It is replaced only once the new one is on the disk, and only by one that still reads as settings.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::{Column, Missing, Peek, Sure, quoted};
use crate::config::Config;
use crate::error::{Error, Result};

/// What a file begins with that is started.
const HEAD: &str = "# Started by `leakdrift peek --write-config`: what is sure is stated, guesses and what is not known\n\
    # stand behind a # to be looked at or filled in. `leakdrift config` prints every key, `leakdrift config --columns`\n\
    # what a column may be called.\n";

/// Lines of one section; those to be filled in begin with a `#`.
struct Section {
    head: String,
    lines: Vec<String>,
}

impl Peek {
    /// A settings file that says what was understood, with what is missing to be filled in behind a `#`; all that
    /// `base` says, the text of a settings file, is kept.
    #[must_use]
    pub fn config(&self, base: Option<&str>, config: &Config) -> String {
        let text = base.unwrap_or(HEAD).to_owned();
        self.sections(config).into_iter().fold(text, with_section)
    }

    /// What is to be said, by section.
    fn sections(&self, config: &Config) -> Vec<Section> {
        let mut top = Vec::new();
        let orders: BTreeSet<&str> = self.tables.iter().filter_map(|t| t.date_order).collect();
        if let (1, Some(order), None) = (orders.len(), orders.first(), config.date_order) {
            top.push(format!("# date_order = {order:?}    # shown by the dates themselves"));
        }
        let mut sections = vec![
            Section { head: String::new(), lines: top },
            Section { head: "[columns]".to_owned(), lines: self.columns(config) },
        ];
        let unknown = self.unknown_outcomes.iter();
        let outcomes = unknown.map(|(word, n)| {
            format!(
                "# {} = \"…\"    # {n} rows; pass, fail, over limit, under limit, breakdown, arc or not completed",
                quoted(word)
            )
        });
        sections.push(Section { head: "[outcomes]".to_owned(), lines: outcomes.collect() });
        let seen = || self.tables.iter().chain(&self.refused);
        let missing: BTreeSet<&Missing> = seen().flat_map(|t| &t.missing).collect();
        for missing in missing {
            // Its own columns stand there already, each with a line to fill in.
            if missing.section == "[columns]" {
                continue;
            }
            let note = format!("# {}", missing.what);
            let keys = missing.keys.iter().map(|key| format!("# {key}"));
            let lines = [note].into_iter().chain(keys);
            match sections.iter_mut().find(|s| s.head == missing.section) {
                Some(section) => section.lines.extend(lines),
                None => sections
                    .push(Section { head: missing.section.to_owned(), lines: lines.collect() }),
            }
        }
        sections
    }

    /// A line for each header that the settings do not map yet: as it is understood, or to be filled in.
    fn columns(&self, config: &Config) -> Vec<String> {
        let mut told: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
        let mut open: BTreeMap<&str, String> = BTreeMap::new();
        let used = self.tables.iter().map(|t| (t, false));
        for (table, refused) in used.chain(self.refused.iter().map(|t| (t, true))) {
            for column in &table.columns {
                // A guess is no fact, and of two columns for one of a table that is not used one is none.
                let alike = table.columns.iter().filter(|c| c.meaning == column.meaning).count();
                let is_guess = column.sure != Sure::Sure || (refused && alike > 1);
                match &column.meaning {
                    Some(meaning) if !is_guess => {
                        let meaning = in_its_unit(meaning, column.unit);
                        told.entry(&column.name).or_default().insert(meaning);
                    }
                    _ => {
                        open.insert(&column.name, to_fill_in(column));
                    }
                }
            }
        }
        let mapped = |name: &str| {
            name.trim().is_empty() || config.columns.keys().any(|k| k.trim() == name.trim())
        };
        let stated =
            told.iter().filter(|(name, _)| !mapped(name)).filter_map(|(name, meanings)| {
                let meaning = meanings.first().filter(|m| meanings.len() == 1 && m != name)?;
                Some(format!("{} = {}", quoted(name), quoted(meaning)))
            });
        let open = open.iter().filter(|(name, _)| !mapped(name) && !told.contains_key(*name));
        stated.chain(open.map(|(_, line)| line.clone())).collect()
    }
}

/// The line of a column that is not understood, or not surely: its best guess, why it is none, what it holds.
fn to_fill_in(column: &Column) -> String {
    let meaning = column.meaning.as_deref().map(|meaning| in_its_unit(meaning, column.unit));
    let guess = meaning.as_deref().unwrap_or("…");
    // A remark ends with its line.
    let why = column.why.as_deref().map(|why| why.replace(char::is_control, " "));
    let why = match (&meaning, why) {
        (Some(_), Some(why)) => format!("a guess: {why}"),
        (Some(_), None) => "a guess".to_owned(),
        (None, why) => why.unwrap_or_else(|| "not used".to_owned()),
    };
    let example =
        column.example.as_ref().map_or_else(String::new, |e| format!("; e.g. {}", quoted(e)));
    format!("# {} = {}    # {why}{example}", quoted(&column.name), quoted(guess))
}

/// A canonical column with the unit that was understood: `reading_ma` in microamperes is `reading_ua`.
fn in_its_unit(meaning: &str, unit: Option<&str>) -> String {
    match (meaning.rsplit_once('_'), unit) {
        (Some((stem, "ma")), Some(unit)) => {
            format!("{stem}_{}", unit.to_lowercase().replace('µ', "u"))
        }
        (Some((stem, "v")), Some("kV")) => format!("{stem}_kv"),
        _ => meaning.to_owned(),
    }
}

/// A text of settings with these lines in their section; those that it has already are not said again.
fn with_section(text: String, section: Section) -> String {
    let has = |line: &String| text.lines().any(|l| l.trim() == line.trim());
    let lines: Vec<String> = section.lines.into_iter().filter(|l| !has(l)).collect();
    if lines.is_empty() {
        return text;
    }
    let block = lines.join("\n") + "\n";
    let head_of = |line: &str| line.split('#').next().unwrap_or("").trim().to_owned();
    if section.head.is_empty() {
        // Before all sections, below what the file begins with.
        let remarks: usize =
            text.split_inclusive('\n').take_while(|l| l.starts_with('#')).map(str::len).sum();
        let (before, after) = text.split_at(remarks);
        let gap = match before {
            "" => "",
            before if before.ends_with('\n') => "\n",
            _ => "\n\n",
        };
        return format!("{before}{gap}{block}{after}");
    }
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        at += line.len();
        if head_of(line) == section.head {
            let (before, after) = text.split_at(at);
            let gap = if before.ends_with('\n') { "" } else { "\n" };
            return format!("{before}{gap}{block}{after}");
        }
    }
    // A head that nothing stands under yet is to be uncommented with its lines.
    let all_open = lines.iter().all(|l| l.starts_with('#'));
    let head = if all_open { format!("# {}", section.head) } else { section.head };
    let gap = if text.is_empty() || text.ends_with('\n') { "" } else { "\n" };
    format!("{text}{gap}\n{head}\n{block}")
}

/// Starts the settings file, or adds to it where it exists; says what was done.
///
/// # Errors
/// Where the file exists and is no settings file, where lines cannot be added to it, or where it cannot be written.
pub fn start_config(peek: &Peek, file: &Path, config: &Config) -> Result<String> {
    // A new file takes the place of the settings in use: what they say goes on to hold.
    let kept = if file.exists() { Some(Config::read(file)?) } else { None };
    let base = kept.as_ref().unwrap_or(config);
    let text = peek.config(Some(base.text.as_str()).filter(|t| !t.is_empty()), base);
    if kept.is_some() && text == base.text {
        return Ok(format!("nothing to add to {}", file.display()));
    }
    Config::parse(&text, file).map_err(|_| {
        Error::usage(
            format!("{}: lines cannot be added to it and it is left as it is", file.display()),
            "name a file that does not exist: --write-config=FILE",
        )
    })?;
    let io = |e| Error::io("write", file, e);
    crate::disk::write_whole(file, |out| out.write_all(text.as_bytes()).map_err(io))?;
    Ok(match kept {
        Some(_) => format!("settings added to {}; what it said is kept", file.display()),
        None => format!("settings started in {}", file.display()),
    })
}
