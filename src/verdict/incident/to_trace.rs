//! How many units open incidents ask to hold or trace.
//!
//! Counted by unit and not by incident: one that two incidents name is one to find.

use std::collections::BTreeSet;

use serde::Serialize;

use super::{Group, Incident};
use crate::verdict::units::{UnitToCheck, WhyCheck};

/// Units that open incidents ask to hold or trace, each once: what passed may have left the house; what never passed
/// has not, as far as the files tell, and somebody sees what became of it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct ToTrace {
    /// Passed.
    pub passed: u64,
    /// Never passed in the last test.
    pub never_passed: u64,
}

impl ToTrace {
    /// Those of open incidents of that group.
    #[must_use]
    pub fn new(units: &[UnitToCheck], incidents: &[Incident]) -> Self {
        let open = |i: &&Incident| i.group == Group::UnitsToTrace && !i.is_closed();
        let open: BTreeSet<&str> = incidents.iter().filter(open).map(|i| i.id.as_str()).collect();
        let asked: Vec<&UnitToCheck> =
            units.iter().filter(|u| open.contains(u.incident.as_str())).collect();
        let is_never = |u: &UnitToCheck| u.why == WhyCheck::NeverPassed;
        let never: BTreeSet<OneUnit<'_>> =
            asked.iter().filter(|u| is_never(u)).map(|u| OneUnit::of(u)).collect();
        let others = asked.iter().filter(|u| !is_never(u)).map(|u| OneUnit::of(u));
        let passed: BTreeSet<OneUnit<'_>> = others.filter(|u| !never.contains(u)).collect();
        let count = |all: &BTreeSet<OneUnit<'_>>| all.iter().map(|u| u64::from(u.units)).sum();
        Self { passed: count(&passed), never_passed: count(&never) }
    }
}

/// What tells one unit from another: its model and serial; without a serial the row it stands in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct OneUnit<'a> {
    model: &'a str,
    serial: &'a str,
    place: &'a str,
    units: u32,
}

impl<'a> OneUnit<'a> {
    fn of(unit: &'a UnitToCheck) -> Self {
        let place = if unit.serial.is_empty() { unit.place.as_str() } else { "" };
        Self { model: &unit.model, serial: &unit.serial, place, units: unit.units }
    }
}
