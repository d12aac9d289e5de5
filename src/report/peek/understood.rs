//! How one table was understood, column by column, and what it lacks.

use super::{Column, Missing, Seen, quoted};
use crate::config::Config;
use crate::input::columns::{Field, Meaning};
use crate::input::layout::{AskedOutcome, AskedWord, Lack};
use crate::input::taken::Sure;
use crate::input::{Refused, Table};
use crate::records::Quantity;

/// A table that cannot be used, as far as it was understood, and why.
pub(super) fn refused(refused: &Refused, config: &Config) -> Seen {
    let undecided = refused.undecided.as_ref();
    let undecided =
        undecided.map(|u| format!("expected {}, found {}; {}", u.expected, u.found, u.next));
    // Its first rows are not shown as understood: they are not.
    let mut shown =
        Seen { undecided, first_rows: Vec::new(), ..seen(&refused.table, &refused.lacks, config) };
    if let Some(asked) = refused.undecided.as_ref().and_then(|u| u.asked.as_ref()) {
        ask(&mut shown, asked);
    }
    shown
}

/// Shows the column of outcomes that is asked for as a guess, and its words with what is to be said of them.
fn ask(shown: &mut Seen, asked: &AskedOutcome) {
    let name = Field::Outcome.name();
    for column in shown.columns.iter_mut().filter(|c| c.name == asked.header) {
        if column.meaning.is_none() {
            column.meaning = Some(name.to_owned());
            (column.sure, column.why) =
                (Sure::Doubtful, Some("it may say what came of each test".to_owned()));
        }
    }
    let line = |asked: &AskedWord| format!("{} = {}", quoted(&asked.word), quoted(asked.meant));
    if !asked.words.is_empty() {
        shown.missing.push(Missing::new(
            format!(
                "what {} says: pass, fail, over limit, under limit, breakdown, arc or not completed",
                quoted(&asked.header)
            ),
            "[outcomes]",
            asked.words.iter().map(line).collect(),
        ));
    }
}

/// A table as it was understood; `lacks` names what it cannot be used without.
pub(super) fn seen(table: &Table, lacks: &[Lack], config: &Config) -> Seen {
    let layout = &table.layout;
    let columns = (0..layout.names.len()).map(|n| column(table, n, config)).collect();
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
        lacks: lacks.iter().map(|l| l.words()).collect(),
        undecided: None,
        columns,
        fixed: layout.fixed.iter().map(|(f, v)| (f.name(), v.clone())).collect(),
        first_rows,
        missing: lacks.iter().map(|l| needed(*l)).chain(missing(table, config)).collect(),
        date_order: layout.dates.order.map(|o| match o {
            crate::config::DateOrder::DayMonthYear => "day-month-year",
            crate::config::DateOrder::MonthDayYear => "month-day-year",
            crate::config::DateOrder::YearMonthDay => "year-month-day",
        }),
    }
}

/// A column as its layout takes it; less sure where its values say less or something else.
fn column(table: &Table, at: usize, config: &Config) -> Column {
    let layout = &table.layout;
    let taken = &layout.taken[at];
    let values: Vec<&String> =
        table.first.iter().filter_map(|row| row.get(at)).filter(|c| !c.trim().is_empty()).collect();
    let mut found = Column {
        name: layout.names[at].clone(),
        meaning: None,
        unit: None,
        example: values.first().map(|v| (*v).clone()),
        sure: taken.sure,
        why: taken.why.clone(),
    };
    match taken.meaning {
        Meaning::Field(field, unit) => {
            found.meaning = Some(field.name().to_owned());
            found.unit = unit.or(field.quantity()).map(unit_name);
            let has_units = |v: &&String| v.trim_end().ends_with(|c: char| !c.is_ascii_digit());
            let has_unit = unit.is_some() || values.iter().any(has_units);
            if found.sure == Sure::Sure && field.quantity().is_some() && !has_unit {
                found.sure = Sure::Likely;
                found.why = Some(format!(
                    "neither header nor values name a unit, {} is taken",
                    found.unit.unwrap_or("none")
                ));
            }
            if let Some(bad) = values.iter().find(|v| layout.understood(field, unit, v).is_none()) {
                found.sure = Sure::Doubtful;
                found.why = Some(format!("{} does not read as such", quoted(bad)));
            }
        }
        Meaning::Factor(n) => found.meaning = Some(config.factors[n].clone()),
        Meaning::Unknown => {}
    }
    found
}

/// What a table cannot be used without, and the settings that supply it.
fn needed(lack: Lack) -> Missing {
    let (section, keys): (_, &[_]) = match lack {
        Lack::Date => ("[columns]", &["\"HEADER AS EXPORTED\" = \"tested_at\"    # or date"]),
        Lack::Model => (
            "[columns]",
            &[
                "\"HEADER AS EXPORTED\" = \"model\"    # or, of one model only: [assume] model = \"NAME\"",
            ],
        ),
        Lack::ReadingOrOutcome => (
            "[columns]",
            &["\"HEADER AS EXPORTED\" = \"reading_ma\"", "\"HEADER AS EXPORTED\" = \"outcome\""],
        ),
        Lack::Outcome => {
            ("[files]", &["pattern = \"{outcome}/*\"    # or another: the error says it"])
        }
        Lack::DateOrder => ("", &["date_order = \"day-month-year\"    # or \"month-day-year\""]),
        Lack::Clock => ("", &["utc_offset = \"+01:00\""]),
        Lack::DecimalSign => ("", &["decimal_sign = \"comma\"    # or \"point\""]),
        Lack::Unit => {
            ("[columns]", &["\"HEADER AS EXPORTED\" = \"reading_ua\"    # or \"reading_ma\""])
        }
    };
    let keys = keys.iter().map(|key| (*key).to_owned()).collect();
    Missing::new(format!("{}: the table cannot be used without", lack.words()), section, keys)
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
    let mut lacks = |what: &str, section: &'static str, key: &'static str| {
        list.push(Missing::new(what, section, vec![key.to_owned()]));
    };
    if !has(Field::HighLimit) && config.model.values().all(|m| m.high_limit_ma.is_none()) {
        lacks(
            "no high limit: no verdict can be given, and trips say nothing",
            "[model.\"NAME OF MODEL\"]",
            "high_limit_ma = 0.0",
        );
    }
    // Without an outcome either, it is said that the table cannot be used.
    if !has(Field::Reading) && has(Field::Outcome) {
        lacks(
            "no reading: only outcomes can be counted",
            "[columns]",
            "\"HEADER AS EXPORTED\" = \"reading_ma\"",
        );
    }
    if !has(Field::Serial) {
        lacks(
            "no serial: retests cannot be told from first attempts",
            "[columns]",
            "\"HEADER AS EXPORTED\" = \"serial\"",
        );
    }
    if !has(Field::Station) {
        lacks(
            "no station: a moving tester cannot be told from a moving product",
            "[files]",
            "pattern = \"{station}/*\"",
        );
    }
    if !has(Field::Test) && !titled {
        lacks("no kind of test: AC withstand is taken", "[assume]", "test = \"ac withstand\"");
    }
    if !has(Field::AppliedV) && !has(Field::MeasuredV) {
        lacks(
            "no test voltage: a voltage cannot be checked, nor a blind spot told",
            "[assume]",
            "applied_v = 0",
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
