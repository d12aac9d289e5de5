//! How each file was understood: text for a terminal, JSON for machines, and a settings file to start from.

use std::collections::BTreeMap;

use serde::Serialize;

use self::understood::seen;
use crate::config::Config;
use crate::input::Read;
use crate::input::taken::Sure;
use crate::series::Pass;

mod page;
mod settings;
mod understood;

pub use settings::start_config;

/// Rows that could not be understood, as many as the text shows.
const UNREADABLE_SHOWN: usize = 20;
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
    /// Files and sheets that could not be read.
    pub failures: Vec<String>,
    /// Rows read, used, set aside and unreadable; none where no row could be used.
    pub rows: Option<Rows>,
    /// Outcomes of the rows used, in words.
    pub outcomes: BTreeMap<&'static str, u64>,
    /// The first rows that could not be understood.
    pub unreadable: Vec<String>,
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
            refused: read.refused.iter().map(|r| seen(&r.table, &r.lacks, config)).collect(),
            failures: read.failures.iter().map(ToString::to_string).collect(),
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
            unknown_outcomes,
            series: pass.map_or_else(Vec::new, |p| {
                let series = p.series.iter();
                series.map(|s| (s.key.title(), s.units() as f64)).collect()
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

/// As a TOML or terminal text, with what could hurt either escaped.
fn quoted(text: &str) -> String {
    toml::Value::String(text.chars().filter(|c| !c.is_control()).collect()).to_string()
}
