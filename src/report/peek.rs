//! How each file was understood: text for a terminal, JSON for machines, and a settings file to start from.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::Path;

use serde::Serialize;

use super::format::row_sum;
use crate::config::Config;
use crate::error::{Error, Result};
use crate::input::columns::{Field, Headers, Meaning};
use crate::input::{Read, Table};
use crate::records::Quantity;
use crate::series::Pass;

/// Rows that could not be understood, as many as the text shows.
const UNREADABLE_SHOWN: usize = 20;
/// What an unreadable outcome is expected to be; see `input::rows`.
const OUTCOME_EXPECTED: &str = "an outcome word";

/// How sure the meaning of a column is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Sure {
    /// The settings name it, or it carries its canonical name, or trade words with all that they need.
    Sure,
    /// Something was supplied that the file does not say, such as a unit.
    Likely,
    /// Its first values do not read as what it should be.
    Doubtful,
    /// It is not used.
    NotUsed,
}

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
    /// Row of the header among those with cells.
    pub header_row: usize,
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

/// The page that `leakdrift peek` prints.
#[must_use]
pub fn peek(read: &Read, pass: Option<&Pass>, config: &Config) -> String {
    Peek::new(read, pass, config).text()
}

impl Peek {
    /// What reading and counting found.
    #[must_use]
    pub fn new(read: &Read, pass: Option<&Pass>, config: &Config) -> Self {
        let headers = Headers::new(config);
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
            tables: read
                .tables
                .iter()
                .map(|t| seen(t, config, &headers))
                .collect(),
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
                        p.sources[usize::from(u.source)],
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

    /// For a terminal.
    #[must_use]
    pub fn text(&self) -> String {
        let mut page = String::new();
        let mut last: Option<&Seen> = None;
        for table in &self.tables {
            let names = |t: &Seen| t.columns.iter().map(|c| c.name.clone()).collect::<Vec<_>>();
            let alike = last.is_some_and(|l| {
                l.flavour == table.flavour && names(l) == names(table) && l.fixed == table.fixed
            });
            last = Some(table);
            if alike {
                let _ = writeln!(page, "{}: as above", table.source);
            } else {
                table_text(&mut page, table);
            }
        }
        for failure in &self.failures {
            let _ = writeln!(page, "could not be read: {failure}");
        }
        if let Some(rows) = &self.rows {
            let aside = rows.set_aside.values().sum();
            let sum = row_sum(rows.read, rows.used, aside, rows.unreadable);
            let _ = writeln!(page, "\n{sum}");
            for (reason, n) in &rows.set_aside {
                let _ = writeln!(page, "  set aside, {reason}: {n}");
            }
            if rows.stepped_over > 0 {
                let _ = writeln!(
                    page,
                    "  beside them {} lines that are no rows (blank, titles, the header again, totals)",
                    rows.stepped_over
                );
            }
            for (outcome, n) in &self.outcomes {
                let _ = writeln!(page, "  {outcome}: {n}");
            }
            for line in &self.unreadable {
                let _ = writeln!(page, "  unreadable: {line}");
            }
            let _ = writeln!(page, "\n{} series", self.series.len());
            for (title, units) in &self.series {
                let _ = writeln!(page, "  {title:<50} {units:>9} units");
            }
        }
        if !self.unknown_outcomes.is_empty() {
            let _ = writeln!(
                page,
                "\nunknown outcome words, never taken for a pass; say what they mean in leakdrift.toml:\n  [outcomes]"
            );
            for (word, n) in &self.unknown_outcomes {
                let _ = writeln!(
                    page,
                    "  {} = \"…\"    # {n} rows; pass, fail, over limit, under limit, breakdown, arc or not completed",
                    quoted(word)
                );
            }
        }
        for note in &self.notes {
            let _ = writeln!(page, "note: {note}");
        }
        page
    }

    /// A settings file that says what was understood, with what is missing to be filled in behind a `#`.
    #[must_use]
    pub fn config(&self) -> String {
        let mut page = String::from(
            "# Started by `leakdrift peek --write-config`: what was understood is stated, what is not known\n\
             # stands behind a # to be filled in. `leakdrift config` prints every key.\n",
        );
        let orders: BTreeSet<&str> = self.tables.iter().filter_map(|t| t.date_order).collect();
        if let (1, Some(order)) = (orders.len(), orders.first()) {
            let _ = writeln!(
                page,
                "\n# date_order = {order:?}    # shown by the dates themselves"
            );
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
        let _ = writeln!(
            page,
            "\n[columns]    # header as exported = canonical column"
        );
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
    let mut out = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(file)
        .map_err(|e| {
            if e.kind() == std::io::ErrorKind::AlreadyExists {
                Error::usage(
                    format!("{} exists and is left as it is", file.display()),
                    "name another file: --write-config=FILE",
                )
            } else {
                Error::io("write", file, e)
            }
        })?;
    out.write_all(peek.config().as_bytes())
        .map_err(|e| Error::io("write", file, e))
}

fn table_text(page: &mut String, table: &Seen) {
    let _ = writeln!(
        page,
        "{}\n  {}, header in row {} of those with cells",
        table.source, table.flavour, table.header_row
    );
    if let Some(order) = table.date_order {
        let _ = writeln!(page, "  dates are {order}");
    }
    for column in &table.columns {
        let meaning = column.meaning.as_deref().unwrap_or("not used");
        let unit = column.unit.map_or_else(String::new, |u| format!(" in {u}"));
        let example = column
            .example
            .as_ref()
            .map_or_else(String::new, |e| format!("e.g. {}", quoted(e)));
        let sure = match (column.sure, &column.why) {
            (Sure::Sure, _) => "sure".to_owned(),
            (Sure::NotUsed, why) => why.clone().unwrap_or_default(),
            (Sure::Likely, why) => format!("likely: {}", why.as_deref().unwrap_or("")),
            (Sure::Doubtful, why) => format!("doubtful: {}", why.as_deref().unwrap_or("")),
        };
        let line = format!(
            "  {:<28} {:<28} {example:<28} {sure}",
            quoted(&column.name),
            format!("{meaning}{unit}")
        );
        let _ = writeln!(page, "{}", line.trim_end());
    }
    for (field, value) in &table.fixed {
        let _ = writeln!(page, "  {field:<28} {} for rows without one", quoted(value));
    }
    for (n, row) in table.first_rows.iter().enumerate() {
        let cells: Vec<String> = row
            .iter()
            .map(|(name, value)| format!("{name} {value}"))
            .collect();
        let _ = writeln!(page, "  row {} as understood: {}", n + 1, cells.join("; "));
    }
    for missing in &table.missing {
        let _ = writeln!(page, "  missing: {}; in leakdrift.toml:", missing.what);
        for line in missing.lines.lines() {
            let _ = writeln!(page, "      {line}");
        }
    }
}

/// As a TOML or terminal text, with what could hurt either escaped.
fn quoted(text: &str) -> String {
    toml::Value::String(text.chars().filter(|c| !c.is_control()).collect()).to_string()
}

fn seen(table: &Table, config: &Config, headers: &Headers) -> Seen {
    let layout = &table.layout;
    let columns: Vec<Column> = (0..layout.names.len())
        .map(|n| column(table, n, config, headers))
        .collect();
    let mut first_rows = Vec::new();
    for row in &table.first {
        for group in &layout.groups {
            let cells = Field::ALL.iter().filter_map(|(field, name)| {
                let (at, unit) = group.columns.get(*field)?;
                let cell = row.get(usize::from(at)).filter(|c| !c.trim().is_empty())?;
                let value = layout
                    .understood(*field, unit, cell)
                    .unwrap_or_else(|| format!("{cell} (not understood)"));
                Some(((*name).to_owned(), value))
            });
            first_rows.push(cells.collect());
        }
    }
    Seen {
        source: table.source.to_string(),
        flavour: table.flavour.clone(),
        header_row: layout.header_rows,
        columns,
        fixed: layout
            .fixed
            .iter()
            .map(|(f, v)| (f.name(), v.clone()))
            .collect(),
        first_rows,
        missing: missing(table, config),
        date_order: layout.order.map(|o| match o {
            crate::config::DateOrder::DayMonthYear => "day-month-year",
            crate::config::DateOrder::MonthDayYear => "month-day-year",
        }),
    }
}

fn column(table: &Table, at: usize, config: &Config, headers: &Headers) -> Column {
    let layout = &table.layout;
    let name = layout.names[at].clone();
    let values: Vec<&String> = table
        .first
        .iter()
        .filter_map(|row| row.get(at))
        .filter(|c| !c.trim().is_empty())
        .collect();
    let mut found = Column {
        meaning: None,
        unit: None,
        example: values.first().map(|v| (*v).clone()),
        sure: Sure::NotUsed,
        why: None,
        name,
    };
    for group in &layout.groups {
        for (field, canonical) in Field::ALL {
            let Some((_, unit)) = group
                .columns
                .get(field)
                .filter(|(c, _)| usize::from(*c) == at)
            else {
                continue;
            };
            found.meaning = Some(canonical.to_owned());
            found.unit = unit.or(field.quantity()).map(unit_name);
            found.sure = Sure::Sure;
            let has_units = |v: &&String| v.trim_end().ends_with(|c: char| !c.is_ascii_digit());
            if unit.is_none() && field.quantity().is_some() && !values.iter().any(has_units) {
                found.sure = Sure::Likely;
                found.why = Some(format!(
                    "neither header nor values name a unit, {} is taken",
                    found.unit.unwrap_or("none")
                ));
            }
            if let Some(bad) = values
                .iter()
                .find(|v| layout.understood(field, unit, v).is_none())
            {
                found.sure = Sure::Doubtful;
                found.why = Some(format!("{} does not read as such", quoted(bad)));
            }
            return found;
        }
        for (n, column) in group.columns.factors.iter().enumerate() {
            if column.is_some_and(|c| usize::from(c) == at) {
                found.meaning = Some(config.factors[n].clone());
                found.sure = Sure::Sure;
                return found;
            }
        }
    }
    if headers.meaning(&found.name) != Meaning::Unknown {
        found.why = Some("another column has that meaning".to_owned());
    }
    found
}

/// What a table does not say, and the settings that would.
fn missing(table: &Table, config: &Config) -> Vec<Missing> {
    let layout = &table.layout;
    let has = |field: Field| {
        layout.fixed.contains_key(&field)
            || layout.groups.iter().any(|g| g.columns.get(field).is_some())
    };
    let titled = layout.groups.iter().any(|g| g.title.is_some());
    let mut list = Vec::new();
    let mut lacks = |what: &str, lines: &str| {
        list.push(Missing {
            what: what.to_owned(),
            lines: lines.to_owned(),
        });
    };
    if !has(Field::HighLimit) && config.model.values().all(|m| m.high_limit_ma.is_none()) {
        lacks(
            "no high limit: no verdict can be given, and trips say nothing",
            "[model.\"NAME OF MODEL\"]\nhigh_limit_ma = 0.0",
        );
    }
    if !has(Field::Reading) {
        lacks(
            "no reading: only outcomes can be counted",
            "[columns]\n\"HEADER AS EXPORTED\" = \"reading_ma\"",
        );
    }
    if !has(Field::Serial) {
        lacks(
            "no serial: retests cannot be told from first attempts",
            "[columns]\n\"HEADER AS EXPORTED\" = \"serial\"",
        );
    }
    if !has(Field::Station) {
        lacks(
            "no station: a moving tester cannot be told from a moving product",
            "[files]\npattern = \"{station}/*\"",
        );
    }
    if !has(Field::Test) && !titled {
        lacks(
            "no kind of test: AC withstand is taken",
            "[assume]\ntest = \"ac withstand\"",
        );
    }
    if !has(Field::AppliedV) && !has(Field::MeasuredV) {
        lacks(
            "no test voltage: a voltage cannot be checked, nor a blind spot told",
            "[assume]\napplied_v = 0",
        );
    }
    list
}

fn unit_name(q: Quantity) -> &'static str {
    use Quantity as Q;
    match q {
        Q::Current(0) => "A",
        Q::Current(-3) => "mA",
        Q::Current(-6) => "µA",
        Q::Current(_) => "nA",
        Q::Voltage(3) => "kV",
        Q::Voltage(-3) => "mV",
        Q::Voltage(_) => "V",
        Q::Resistance(_) => "Ω",
        Q::Frequency(3) => "kHz",
        Q::Frequency(_) => "Hz",
        Q::Time(-3) => "ms",
        Q::Time(_) => "s",
        Q::Celsius => "°C",
        Q::Percent => "%",
    }
}
