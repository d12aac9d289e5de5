//! Columns whose cells are the units of numbers in other columns: `Reading, Unit, Limit`.
//!
//! Left unread they would make every number a thousand times too large. A column of units belongs to the numbers whose
//! name begins as its own does (`leakage value`, `leakage unit`), else to those on its left up to the column of units
//! before it; a lone one to all numbers without a unit that it can be of. Where its first values are one unit the
//! column has that; each row is read with its own.

use super::Choice;
use crate::input::columns::{By, Meaning, squeeze};
use crate::records::Quantity;

/// Most columns of units of a table: more are something else.
const MOST_UNITS: usize = 64;

impl Choice<'_> {
    /// Finds the units of columns of numbers that name none.
    pub(super) fn units_beside(&mut self) {
        let is_unit = |n: &usize| self.headings[*n].by < By::Name && self.values[*n].are_units();
        let units: Vec<usize> = (0..self.names.len()).filter(is_unit).collect();
        if units.len() > MOST_UNITS {
            return;
        }
        let mut found: Vec<(usize, usize)> = Vec::new();
        for (n, &unit) in units.iter().enumerate() {
            let from = n.checked_sub(1).map_or(0, |before| units[before]);
            let numbers: Vec<usize> =
                (0..self.names.len()).filter(|at| self.may_be_in(*at, unit)).collect();
            let alike = |at: &usize| begin_alike(&self.names[*at], &self.names[unit]);
            let most = numbers.iter().map(alike).max().unwrap_or(0);
            let is_its = |at: &usize| match most {
                0 => units.len() == 1 || (from..unit).contains(at),
                most => alike(at) == most,
            };
            found.extend(numbers.into_iter().filter(is_its).map(|at| (at, unit)));
        }
        // Numbers that no column of units stands by have the unit of the others, if all have one column of it.
        for at in 0..self.names.len() {
            let of_it: Vec<usize> =
                units.iter().copied().filter(|unit| self.may_be_in(at, *unit)).collect();
            if let ([unit], false) = (&of_it[..], found.iter().any(|(number, _)| *number == at)) {
                found.push((at, *unit));
            }
        }
        for (at, unit) in found {
            let different = self.values[unit].different();
            let mut named = different.iter().filter_map(|(text, _)| Quantity::from_unit(text));
            if let Some(first) = named.next()
                && named.all(|other| other == first)
            {
                self.headings[at].unit = Some(first);
            }
            let why = format!("it holds the units of column {}", self.quoted(&[at]));
            self.leave(unit, why);
            if let (Ok(at), Ok(unit)) = (u16::try_from(at), u16::try_from(unit)) {
                self.chosen.units_beside.insert(at, unit);
            }
        }
    }

    /// Whether a column of numbers without a unit may be in one of a column's.
    fn may_be_in(&self, at: usize, unit: usize) -> bool {
        let heading = &self.headings[at];
        if at == unit || heading.unit.is_some() || !self.values[at].are_numbers() {
            return false;
        }
        let named = match heading.meaning {
            Meaning::Field(field, _) => Some(field),
            _ => None,
        };
        let fields = named.into_iter().chain(heading.may_be.iter().copied());
        let of: Vec<Quantity> = fields.filter_map(|field| field.quantity()).collect();
        let units = self.values[unit].different();
        let fits = |(text, _): &(&str, usize)| {
            Quantity::from_unit(text).is_some_and(|unit| of.iter().any(|q| q.same_kind(unit)))
        };
        units.iter().any(fits)
    }
}

/// How many words two names begin with alike.
fn begin_alike(one: &str, other: &str) -> usize {
    let words = |name: &str| -> Vec<String> {
        squeeze(name).split(|c: char| !c.is_alphanumeric()).map(str::to_owned).collect()
    };
    words(one).iter().zip(&words(other)).take_while(|(a, b)| a == b).count()
}
