//! How one table was understood, column by column, and what it lacks.

use super::{Column, Missing, Seen, Sure, quoted};
use crate::config::Config;
use crate::input::Table;
use crate::input::columns::{Field, Headers, Meaning};
use crate::records::Quantity;

pub(super) fn seen(table: &Table, config: &Config, headers: &Headers) -> Seen {
    let layout = &table.layout;
    let columns: Vec<Column> =
        (0..layout.names.len()).map(|n| column(table, n, config, headers)).collect();
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
        fixed: layout.fixed.iter().map(|(f, v)| (f.name(), v.clone())).collect(),
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
    let values: Vec<&String> =
        table.first.iter().filter_map(|row| row.get(at)).filter(|c| !c.trim().is_empty()).collect();
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
            let Some((_, unit)) = group.columns.get(field).filter(|(c, _)| usize::from(*c) == at)
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
            if let Some(bad) = values.iter().find(|v| layout.understood(field, unit, v).is_none()) {
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
        list.push(Missing { what: what.to_owned(), lines: lines.to_owned() });
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
        lacks("no kind of test: AC withstand is taken", "[assume]\ntest = \"ac withstand\"");
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
