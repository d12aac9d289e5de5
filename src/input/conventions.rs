//! What a table decides for all of its cells: the decimal sign, the units of its columns, what its title lines say.
//!
//! Takes a layout with what was seen of the table, gives it settled, or says what the settings must decide
//! ([`Unsettled`]). A unit that cannot be read is never taken for the usual one: a factor of a thousand would go
//! unnoticed. A column of current without any unit has that of the table's other columns of current; where none
//! of them names one it is milliamperes, which is told.

use super::columns::{Field, Headers, Meaning};
use super::dates::{DatesSeen, Unsure};
use super::layout::{Lack, Layout, OddUnit};
use super::numbers::{SignsSeen, Unclear};
use super::taken::{Sure, Taken};
use crate::config::{Config, UtcOffset};
use crate::records::Quantity;

/// The columns of current.
const CURRENTS: [Field; 4] =
    [Field::Reading, Field::HighLimit, Field::LowLimit, Field::ReadingStep];
/// The columns whose unit must be known: they make a series and its limits.
const MUST: [Field; 6] = [
    Field::Reading,
    Field::HighLimit,
    Field::LowLimit,
    Field::ReadingStep,
    Field::AppliedV,
    Field::MeasuredV,
];

/// Why a column is not used.
const NO_UNIT: &str = "its unit cannot be read";

/// What a table does not decide: what is expected of it, what was found, and the setting that decides it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unsettled {
    /// What the table lacks.
    pub lack: Lack,
    /// The header of the column in question; empty where it is the table as a whole.
    pub column: String,
    /// What is expected.
    pub expected: String,
    /// What was found.
    pub found: String,
    /// What to write into the settings.
    pub to_do: String,
}

impl Unsettled {
    fn unit(column: &str, field: Field, found: String) -> Self {
        let stem = field.name().rsplit_once('_').map_or(field.name(), |(stem, _)| stem);
        let (kind, small) = match field.quantity() {
            Some(Quantity::Voltage(_)) => ("of voltage", "v"),
            _ => ("of current", "ua"),
        };
        Self {
            lack: Lack::Unit,
            column: column.to_owned(),
            expected: format!("a unit {kind}"),
            found,
            to_do: format!(
                "say the unit in leakdrift.toml: under [columns] a line {column:?} = \"{stem}_{small}\", or \"{}\"",
                field.name()
            ),
        }
    }
}

/// What was seen of a table's cells.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    /// Its numbers.
    pub signs: SignsSeen,
    /// Its dates.
    pub dates: DatesSeen,
}

impl Layout {
    /// Shows the numbers of a row to `signs`.
    pub fn look_at_numbers<'t>(
        &self,
        signs: &mut SignsSeen,
        cell: impl Fn(usize) -> Option<&'t str>,
    ) {
        for group in &self.groups {
            for (field, _) in Field::ALL {
                if let Some(own) = field.quantity()
                    && let Some((column, unit)) = group.columns.get(field)
                    && let Some(text) = cell(usize::from(column))
                {
                    let is_reading = field == Field::Reading;
                    signs.look(column.into(), unit.or(Some(own)), is_reading, text.trim());
                }
            }
        }
    }

    /// Takes a row of units below the header for a part of it.
    pub fn take_units_row(&mut self, rows: &[Vec<String>]) {
        let Some(row) = rows.get(self.header_rows) else { return };
        let inside = |n: usize| {
            let cell = row.get(n).map_or("", |c| c.trim());
            cell.trim_matches(['[', ']', '(', ')', '（', '）', '【', '】']).trim()
        };
        let quantities: Vec<(usize, Quantity)> = self
            .groups
            .iter()
            .flat_map(|g| {
                let with_unit = |(field, _): &(Field, _)| {
                    let (column, _) = g.columns.get(*field)?;
                    Some((usize::from(column), field.quantity()?))
                };
                Field::ALL.iter().filter_map(with_unit).collect::<Vec<_>>()
            })
            .collect();
        let named = |(n, own): &(usize, Quantity)| {
            Quantity::from_unit(inside(*n)).is_some_and(|unit| unit.same_kind(*own))
        };
        let holds_a_value = row.iter().any(|c| c.trim().starts_with(|c: char| c.is_ascii_digit()));
        if holds_a_value || !quantities.iter().any(named) {
            return;
        }
        for group in &mut self.groups {
            for (field, _) in Field::ALL {
                let Some(own) = field.quantity() else { continue };
                let Some((column, unit)) = &mut group.columns.at[field.index()] else { continue };
                let below = inside(usize::from(*column));
                let found = Quantity::from_unit(below).filter(|u| u.same_kind(own));
                let agrees = found.is_none() || unit.is_none() || *unit == found;
                if !agrees || (found.is_none() && unit.is_none() && !below.is_empty()) {
                    let found = below.to_owned();
                    self.odd_units.push(OddUnit { field, column: *column, found });
                }
                *unit = unit.or(found);
            }
        }
        self.units_row = row.clone();
        self.header_rows += 1;
    }

    /// Settles what holds for the whole table; gives what a reader must be told of it.
    ///
    /// # Errors
    /// What must be decided by the settings.
    pub fn agree(
        &mut self,
        seen: &Seen,
        headers: &Headers,
        config: &Config,
    ) -> Result<Vec<String>, Unsettled> {
        let mut told = self.agree_on_units(headers)?;
        let mut signs = seen.signs.clone();
        for (n, (field, unit)) in self.titled.iter().enumerate() {
            if let (Some(text), Some(own)) = (self.fixed.get(field), field.quantity()) {
                signs.look(usize::MAX - n, unit.or(Some(own)), false, text);
            }
        }
        self.sign = match (config.decimal_sign, signs.decide()) {
            (Some(stated), _) => stated,
            (None, Ok(sign)) => sign.unwrap_or(self.sign),
            (None, Err(unclear)) => return Err(sign_undecided(&unclear)),
        };
        let (order, clock) = (config.date_order, config.utc_offset.map(UtcOffset::east_s));
        let mut dates = seen.dates.clone();
        if self.date_column().is_none() {
            let fixed = [Field::TestedAt, Field::Date].map(|field| self.fixed.get(&field));
            fixed.into_iter().flatten().for_each(|text| dates.look(text));
        }
        self.dates = dates.decide(order, clock).map_err(|unsure| dates_undecided(&unsure))?;
        told.extend(dates.told(&self.dates));
        for (field, unit) in &self.titled {
            if field.quantity().is_some()
                && let Some(text) = self.fixed.get(field)
                && let Some(plain) = self.understood(*field, *unit, text)
            {
                // A dash says that there is none.
                match plain.as_str() {
                    "" => self.fixed.remove(field),
                    _ => self.fixed.insert(*field, plain),
                };
            }
        }
        let is_current = |field: &Field| CURRENTS.contains(field);
        let bare: Vec<&str> = self
            .groups
            .iter()
            .flat_map(|g| CURRENTS.iter().filter_map(|f| g.columns.get(*f)))
            .filter(|(column, unit)| {
                let beside = self.units_beside.contains_key(column);
                unit.is_none() && !beside && !signs.has_units((*column).into())
            })
            .map(|(column, _)| self.names[usize::from(column)].as_str())
            .collect();
        let titled = self.titled.iter().any(|(f, unit)| is_current(f) && unit.is_some());
        if !bare.is_empty() && !titled {
            told.push(format!(
                "{bare:?} without a unit is read as mA; where it is another, name it under [columns], for example {:?} = \"reading_ua\"",
                bare[0]
            ));
        }
        Ok(told)
    }

    /// A column whose unit cannot be read is not used.
    fn drop_column(&mut self, field: Field, column: u16) {
        for group in &mut self.groups {
            if group.columns.get(field).is_some_and(|(at, _)| at == column) {
                group.columns.at[field.index()] = None;
            }
        }
        self.taken[usize::from(column)] =
            Taken { meaning: Meaning::Unknown, sure: Sure::NotUsed, why: Some(NO_UNIT.to_owned()) };
    }

    fn agree_on_units(&mut self, headers: &Headers) -> Result<Vec<String>, Unsettled> {
        let mut told = Vec::new();
        if let Some(odd) = self.odd_units.first() {
            let name = &self.names[usize::from(odd.column)];
            let found = format!("{:?} below the header", odd.found);
            let undecided = Unsettled::unit(name, odd.field, found);
            let (field, column) = (odd.field, odd.column);
            self.drop_column(field, column);
            return Err(undecided);
        }
        for n in 0..self.groups.len() {
            for (field, _) in Field::ALL {
                let Some((column, None)) = self.groups[n].columns.get(field) else { continue };
                let Some(own) = field.quantity() else { continue };
                let name = self.names[usize::from(column)].clone();
                let Some(unread) = headers.unread_unit(&name, own) else { continue };
                self.drop_column(field, column);
                if MUST.contains(&field) {
                    return Err(Unsettled::unit(&name, field, format!("{unread:?}")));
                }
                told.push(format!("column {name:?} is not used: {NO_UNIT}"));
            }
        }
        let columns = self.groups.iter().flat_map(|g| CURRENTS.map(|f| g.columns.get(f)));
        let mut units: Vec<Quantity> = columns.flatten().filter_map(|(_, unit)| unit).collect();
        units.dedup();
        if let [first, rest @ ..] = units.as_slice()
            && rest.iter().all(|u| u == first)
        {
            let unit = Some(*first);
            for group in &mut self.groups {
                for field in CURRENTS {
                    if let Some((_, own)) = &mut group.columns.at[field.index()] {
                        *own = own.or(unit);
                    }
                }
            }
            for (field, own) in &mut self.titled {
                if CURRENTS.contains(field) {
                    *own = own.or(unit);
                }
            }
        }
        Ok(told)
    }
}

fn dates_undecided(unsure: &Unsure) -> Unsettled {
    let order = "set date_order = \"day-month-year\", \"month-day-year\" or, for years of two digits, \"year-month-day\" in leakdrift.toml";
    let (expected, found, to_do) = match unsure {
        Unsure::Order(text) => (
            "dates that show which number is the day",
            format!("dates that could be read both ways, as {text:?}"),
            order.to_owned(),
        ),
        Unsure::BothOrders(day, month) => (
            "dates in one order",
            format!("{day:?} with the day first and {month:?} with the month first"),
            format!("export it again with one order, or {order}; rows that do not fit are unreadable then"),
        ),
        Unsure::Zones(a, b) => (
            "times on one clock",
            format!("{a:?} and {b:?}"),
            "set utc_offset, for example utc_offset = \"+01:00\", in leakdrift.toml: all are laid on that clock".to_owned(),
        ),
    };
    let lack = if matches!(unsure, Unsure::Zones(..)) { Lack::Clock } else { Lack::DateOrder };
    let (column, expected) = (String::new(), expected.to_owned());
    Unsettled { lack, column, expected, found, to_do }
}

fn sign_undecided(unclear: &Unclear) -> Unsettled {
    let (expected, found) = match unclear {
        Unclear::Open(text) => (
            "numbers that show which sign is the decimal one",
            format!("{text:?}, which could be read both ways"),
        ),
        Unclear::Both(point, comma) => {
            ("numbers with one decimal sign", format!("{point:?} and {comma:?}"))
        }
    };
    Unsettled {
        lack: Lack::DecimalSign,
        column: String::new(),
        expected: expected.to_owned(),
        found,
        to_do: "set decimal_sign = \"point\" or \"comma\" in leakdrift.toml".to_owned(),
    }
}
