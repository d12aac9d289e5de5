//! How each file was understood: text for a terminal, JSON for machines, and a settings file to start from.

use std::collections::{BTreeMap, HashMap};

use serde::Serialize;

use self::understood::{refused, seen};
use crate::config::Config;
use crate::error::{Error, ErrorKind};
use crate::input::Read;
use crate::input::columns::Field;
use crate::input::taken::Sure;
use crate::series::Pass;

mod page;
mod settings;
mod understood;

pub use settings::start_config;

/// Rows that could not be understood, as many as the JSON lists one by one.
const UNREADABLE_SHOWN: usize = 20;
/// What was found instead of one thing expected: so many kinds of it.
const KINDS_SHOWN: usize = 3;
/// What an unreadable outcome is expected to be; see `input::rows`.
const OUTCOME_EXPECTED: &str = "an outcome word";

/// One column.
#[derive(Debug, Clone, Serialize)]
pub struct Column {
    /// As exported.
    pub name: String,
    /// Canonical column or factor; `None` where it is not used.
    pub meaning: Option<String>,
    /// Unit of its numbers.
    pub unit: Option<&'static str>,
    /// The first value that is not blank.
    pub example: Option<String>,
    /// How sure that is.
    pub sure: Sure,
    /// Why it is no surer, or why the column is not used.
    pub why: Option<String>,
}

/// Something that the files do not say, and the settings that would.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Missing {
    /// What, and what it costs.
    pub what: String,
    /// Lines of `leakdrift.toml`.
    pub lines: String,
    /// The section that they stand in, as it is headed; empty before all sections.
    pub section: &'static str,
    /// The lines of that section, to be filled in.
    pub keys: Vec<String>,
}

impl Missing {
    fn new(what: impl Into<String>, section: &'static str, keys: Vec<String>) -> Self {
        let head = Some(section).filter(|s| !s.is_empty());
        let lines: Vec<&str> = head.into_iter().chain(keys.iter().map(String::as_str)).collect();
        Self { what: what.into(), lines: lines.join("\n"), section, keys }
    }
}

/// Rows that could not be understood for one reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Unread {
    /// Column; empty where the row as a whole is meant.
    pub column: String,
    /// What should stand there.
    pub expected: String,
    /// How many rows.
    pub rows: u64,
    /// What stands there instead, the first of its kinds.
    pub found: Vec<String>,
    /// File and row of the first.
    pub first: String,
}

/// One table.
#[derive(Debug, Clone, Serialize)]
pub struct Seen {
    /// File, and sheet or zip entry.
    pub source: String,
    /// Kind of file, encoding, separator.
    pub flavour: String,
    /// Row of the header among those with cells; 0 where there is none.
    pub header_row: usize,
    /// What it cannot be used without; nothing where it is used.
    pub lacks: Vec<&'static str>,
    /// Where two answers are possible: what must be decided, and by which setting.
    pub undecided: Option<String>,
    /// Columns in their order.
    pub columns: Vec<Column>,
    /// What holds for all rows without a value of their own.
    pub fixed: BTreeMap<&'static str, String>,
    /// The first rows as understood, by canonical column.
    pub first_rows: Vec<Vec<(String, String)>>,
    /// What it lacks.
    pub missing: Vec<Missing>,
    /// Order of day and month, where the dates showed it.
    pub date_order: Option<&'static str>,
}

/// What `leakdrift peek` found.
#[derive(Debug, Clone, Serialize)]
pub struct Peek {
    /// Schema of the JSON.
    pub schema: &'static str,
    /// Tables in the order read.
    pub tables: Vec<Seen>,
    /// Those whose header or dates say too little to use them.
    pub refused: Vec<Seen>,
    /// What a column may be called.
    pub canonical_columns: Vec<&'static str>,
    /// Files and sheets that could not be read.
    pub failures: Vec<String>,
    /// Those of them of which nothing is shown.
    #[serde(skip)]
    unseen: Vec<String>,
    /// Rows read, used, set aside and unreadable; none where no row could be used.
    pub rows: Option<Rows>,
    /// Outcomes of the rows used, in words.
    pub outcomes: BTreeMap<&'static str, u64>,
    /// The first rows that could not be understood.
    pub unreadable: Vec<String>,
    /// Why rows could not be understood, each reason once, the commonest first.
    pub unreadable_reasons: Vec<Unread>,
    /// Outcome words that are not known, with how often they stand in rows that could not be understood.
    pub unknown_outcomes: BTreeMap<String, u64>,
    /// Series and their units.
    pub series: Vec<(String, f64)>,
    /// What a reader must know.
    pub notes: Vec<String>,
}

/// Where rows went.
#[derive(Debug, Clone, Serialize)]
pub struct Rows {
    /// All.
    pub read: u64,
    /// In the analysis.
    pub used: u64,
    /// By reason.
    pub set_aside: BTreeMap<&'static str, u64>,
    /// Not understood.
    pub unreadable: u64,
    /// Blank lines, titles, repeated headers and totals, which are no rows.
    pub stepped_over: u64,
}

impl Peek {
    /// What reading and counting found.
    #[must_use]
    pub fn new(read: &Read, pass: Option<&Pass>, config: &Config) -> Self {
        let is_shown = |error: &Error| match error.kind() {
            ErrorKind::Input { place, .. } => read.refused.iter().any(|refused| {
                let source = &refused.table.source;
                source.file == place.file && source.sheet == place.sheet
            }),
            _ => false,
        };
        let mut unknown_outcomes = BTreeMap::new();
        let mut outcomes = BTreeMap::new();
        if let Some(pass) = pass {
            for u in &pass.unreadable {
                if u.expected.starts_with(OUTCOME_EXPECTED) && &*u.found != "nothing" {
                    *unknown_outcomes.entry(u.found.to_string()).or_default() += 1;
                }
            }
            for o in pass.series.iter().flat_map(|s| &s.outcomes) {
                *outcomes.entry(o.outcome.words()).or_default() += u64::from(o.count);
            }
        }
        Self {
            schema: "leakdrift.peek/1",
            tables: read.tables.iter().map(|t| seen(t, &[], config)).collect(),
            refused: read.refused.iter().map(|r| refused(r, config)).collect(),
            canonical_columns: Field::ALL.iter().map(|(_, name)| *name).collect(),
            failures: read.failures.iter().map(ToString::to_string).collect(),
            unseen: read
                .failures
                .iter()
                .filter(|e| !is_shown(e))
                .map(ToString::to_string)
                .collect(),
            rows: pass.map(|p| Rows {
                read: p.ledger.read,
                used: p.ledger.used,
                set_aside: p
                    .ledger
                    .set_aside
                    .iter()
                    .map(|(reason, n)| (reason.words(), *n))
                    .collect(),
                unreadable: p.ledger.unreadable,
                stepped_over: p.ledger.stepped_over,
            }),
            outcomes,
            unreadable: pass.map_or_else(Vec::new, |p| {
                let rows = p.unreadable.iter().take(UNREADABLE_SHOWN);
                rows.map(|u| {
                    format!(
                        "{}, row {}, column {:?}: expected {}, found {:?}",
                        p.source(u.source),
                        u.line,
                        u.column,
                        u.expected,
                        u.found
                    )
                })
                .collect()
            }),
            unreadable_reasons: pass.map_or_else(Vec::new, reasons),
            unknown_outcomes,
            series: pass.map_or_else(Vec::new, |p| {
                let series = p.series.iter().zip(&p.called);
                series.map(|(s, called)| (called.title.clone(), s.units() as f64)).collect()
            }),
            notes: pass
                .map_or(&[][..], |p| &p.notes)
                .iter()
                .chain(&read.notes)
                .map(ToString::to_string)
                .collect(),
        }
    }

    /// For machines.
    #[must_use]
    pub fn json(&self) -> String {
        serde_json::to_string_pretty(self).expect("plain texts and numbers are JSON")
    }
}

/// Why rows could not be understood, each reason once with how often, the commonest first.
fn reasons(pass: &Pass) -> Vec<Unread> {
    let mut reasons: Vec<Unread> = Vec::new();
    let mut known: HashMap<(&str, &str), usize> = HashMap::new();
    for u in &pass.unreadable {
        let at = *known.entry((&*u.column, &*u.expected)).or_insert(reasons.len());
        if at == reasons.len() {
            reasons.push(Unread {
                column: u.column.to_string(),
                expected: u.expected.to_string(),
                rows: 0,
                found: Vec::new(),
                first: format!("{}, row {}", pass.source(u.source), u.line),
            });
        }
        let reason = &mut reasons[at];
        reason.rows += 1;
        let is_new = || !reason.found.iter().any(|f| **f == *u.found);
        if reason.found.len() < KINDS_SHOWN && is_new() {
            reason.found.push(u.found.to_string());
        }
    }
    reasons.sort_by_key(|r| std::cmp::Reverse(r.rows));
    reasons
}

/// As a TOML or terminal text, with what could hurt either escaped.
fn quoted(text: &str) -> String {
    toml::Value::String(text.chars().filter(|c| !c.is_control()).collect()).to_string()
}
