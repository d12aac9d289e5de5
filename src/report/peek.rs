//! How each file was understood, as text for a terminal.

use std::fmt::Write;

use super::format::row_sum;
use crate::config::Config;
use crate::input::columns::{Field, Headers, Meaning};
use crate::input::{Read, Table};
use crate::series::Pass;

/// The page that `leakdrift peek` prints.
#[must_use]
pub fn peek(read: &Read, pass: Option<&Pass>, config: &Config) -> String {
    let mut page = String::new();
    let headers = Headers::new(config);
    let mut last: Option<&Table> = None;
    for table in &read.tables {
        let alike = last.is_some_and(|l| {
            l.flavour == table.flavour
                && l.layout.names == table.layout.names
                && l.layout.fixed == table.layout.fixed
        });
        last = Some(table);
        if alike {
            let _ = writeln!(page, "{}: as above", table.source);
            continue;
        }
        let _ = writeln!(
            page,
            "{}\n  {}, header in row {} of those with cells",
            table.source, table.flavour, table.layout.header_rows
        );
        for (n, name) in table.layout.names.iter().enumerate() {
            let _ = writeln!(
                page,
                "  {:<28} {}",
                quoted(name),
                column_words(table, n, name, config, &headers)
            );
        }
        for (field, value) in &table.layout.fixed {
            let _ = writeln!(
                page,
                "  {:<28} {} for rows without one",
                field.name(),
                quoted(value)
            );
        }
    }
    for failure in &read.failures {
        let _ = writeln!(page, "could not be read: {failure}");
    }
    if let Some(pass) = pass {
        let ledger = &pass.ledger;
        let _ = writeln!(
            page,
            "\n{}",
            row_sum(
                ledger.read,
                ledger.used,
                ledger.set_aside.values().sum(),
                ledger.unreadable
            )
        );
        for (reason, n) in &ledger.set_aside {
            let _ = writeln!(page, "  set aside, {}: {n}", reason.words());
        }
        for u in pass.unreadable.iter().take(20) {
            let _ = writeln!(
                page,
                "  unreadable: {}, row {}, column {:?}: expected {}, found {:?}",
                pass.sources[usize::from(u.source)],
                u.line,
                u.column,
                u.expected,
                u.found
            );
        }
        let _ = writeln!(page, "\n{} series", pass.series.len());
        for s in &pass.series {
            let _ = writeln!(page, "  {:<50} {:>9} units", s.key.title(), s.units());
        }
        for note in &pass.notes {
            let _ = writeln!(page, "note: {note}");
        }
    }
    for note in &read.notes {
        let _ = writeln!(page, "note: {note}");
    }
    page
}

fn quoted(text: &str) -> String {
    format!("{text:?}")
}

fn column_words(
    table: &Table,
    column: usize,
    name: &str,
    config: &Config,
    headers: &Headers,
) -> String {
    for group in &table.layout.groups {
        for (field, canonical) in Field::ALL {
            if let Some((at, unit)) = group.columns.get(field)
                && usize::from(at) == column
            {
                let unit = match unit.or(field.quantity()) {
                    Some(q) => format!(" in {}", unit_name(q)),
                    None => String::new(),
                };
                return format!("{canonical}{unit}");
            }
        }
        for (n, at) in group.columns.factors.iter().enumerate() {
            if at.is_some_and(|at| usize::from(at) == column) {
                return format!("factor {}", quoted(&config.factors[n]));
            }
        }
    }
    match headers.meaning(name) {
        Meaning::Unknown => "not used".to_owned(),
        Meaning::Field(..) | Meaning::Factor(_) => {
            "not used: another column has that meaning".to_owned()
        }
    }
}

fn unit_name(q: crate::records::Quantity) -> &'static str {
    use crate::records::Quantity as Q;
    match q {
        Q::Current(0) => "A",
        Q::Current(-3) => "mA",
        Q::Current(-6) => "µA",
        Q::Current(_) => "nA",
        Q::Voltage(3) => "kV",
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
