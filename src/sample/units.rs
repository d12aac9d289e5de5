//! The production plan: which units are made, when, where, and what each is like inside.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::calendar::{self, EARLY_SHARE, Shift};
use super::chance::Chance;
use super::models::{Filter, LOT_SD, Model, second_supplier};
use super::physics::MOISTURE_SD;
use super::stations::Station;

/// What the background did to one test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Defect {
    None,
    Breakdown {
        arc: bool,
    },
    NotCompleted,
    /// A leak path that carries `ratio` times the unit's own capacitive current.
    Leak {
        ratio: f64,
    },
}

/// The part that a unit plays in the planted stories.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Part {
    Plain,
    /// The lead is not connected in the first test.
    OpenLead,
    /// A leak path of so many megohms in a typical unit.
    LeakPath {
        mohm: f64,
    },
    /// Lot HE-26-31: trips, by a resistive current that is drawn until it does.
    HeaterTrip {
        fault_run: bool,
    },
    HeaterBreakdown {
        arc: bool,
    },
    /// Lot HE-26-31: passes at this reading.
    HeaterPass {
        ma: f64,
    },
    /// Lot HE-26-31: nothing wrong.
    HeaterHealthy,
    /// Shown by a display that stands still.
    Frozen,
    /// Tested with a ramp so short that the charging current trips.
    ShortRamp,
    /// Fails, then its fault is looked for in tests that are marked so.
    MarkedFault,
    /// Passed by hand at this reading, above the limit.
    Released {
        ma: f64,
    },
}

/// One unit of the plan.
#[derive(Clone, Debug)]
pub(super) struct Unit {
    pub(super) model: Model,
    pub(super) station: Station,
    pub(super) day: NaiveDate,
    pub(super) shift: Shift,
    /// Seconds after midnight at which its test is planned; a clock that is never set back.
    pub(super) planned: i64,
    /// A planned time that the stories have fixed.
    pub(super) fixed: bool,
    pub(super) filter: Filter,
    pub(super) lot: String,
    pub(super) serial: String,
    /// Lot and unit together: ln of capacitance over the typical one; DH640: ln of current.
    pub(super) ln_c: f64,
    /// ln of moisture current over the typical one.
    pub(super) ln_moisture: f64,
    pub(super) defects: [Defect; 2],
    pub(super) part: Part,
    /// Days until it comes back with a new heater, where it does.
    pub(super) reworked: Option<NaiveDate>,
}

/// Makes units, of lots whose levels it remembers.
pub(super) struct Maker {
    seed: u64,
    lots: BTreeMap<String, f64>,
    streams: BTreeMap<Model, Chance>,
}

impl Maker {
    pub(super) fn new(seed: u64) -> Self {
        let streams = Model::ALL
            .into_iter()
            .map(|m| (m, Chance::new(seed, &format!("units {}", m.name()))))
            .collect();
        Self { seed, lots: BTreeMap::new(), streams }
    }

    /// Level of a lot in ln C, drawn from a stream of its own name.
    pub(super) fn lot_level(&mut self, lot: &str) -> f64 {
        let seed = self.seed;
        *self
            .lots
            .entry(lot.to_string())
            .or_insert_with(|| Chance::new(seed, &format!("lot {lot}")).normal(LOT_SD))
    }

    /// The units of one model made on one day.
    pub(super) fn day(&mut self, model: Model, date: NaiveDate) -> Vec<Unit> {
        let count = self.stream(model).poisson(model.per_day());
        (0..count).map(|_| self.unit(model, date)).collect()
    }

    /// One more unit of `model`, at a station and time drawn as for all others.
    pub(super) fn unit(&mut self, model: Model, date: NaiveDate) -> Unit {
        let chance = self.stream(model);
        let station = Station::ALL[chance.place(&model.shares())];
        let shift = if chance.happens(EARLY_SHARE) { Shift::Early } else { Shift::Late };
        let planned = planned_in(chance, model, station, shift);
        let filter = match model {
            Model::Sm415 if date >= second_supplier() && chance.happens(0.40) => Filter::S,
            Model::Sm415 => Filter::N,
            _ => Filter::Only,
        };
        let ln_unit = chance.normal(model.unit_sd());
        let ln_moisture = chance.normal(MOISTURE_SD);
        let defects = [defect(chance, model), defect(chance, model)];
        let lot = calendar::lot_name(model.lot_letters(filter), calendar::lot_start(date));
        // The lot acts on the capacitance, and DC does not see that.
        let ln_lot = if model == Model::Dh640 { 0.0 } else { self.lot_level(&lot) };
        Unit {
            model,
            station,
            day: date,
            shift,
            planned,
            fixed: false,
            filter,
            lot,
            serial: String::new(),
            ln_c: ln_unit + ln_lot,
            ln_moisture,
            defects,
            part: Part::Plain,
            reworked: None,
        }
    }

    /// A unit added to the plan by a story: sound, at a fixed place and time.
    pub(super) fn added(
        &mut self,
        model: Model,
        date: NaiveDate,
        station: Station,
        planned: i64,
        part: Part,
    ) -> Unit {
        Unit {
            station,
            shift: if planned < Shift::Late.begins() { Shift::Early } else { Shift::Late },
            planned,
            fixed: true,
            defects: [Defect::None; 2],
            part,
            ..self.unit(model, date)
        }
    }

    /// Another planned time for a unit, in its shift.
    pub(super) fn replan(&mut self, unit: &mut Unit) {
        let (model, station, shift) = (unit.model, unit.station, unit.shift);
        unit.planned = planned_in(self.stream(model), model, station, shift);
    }

    fn stream(&mut self, model: Model) -> &mut Chance {
        self.streams.get_mut(&model).expect("every model has a stream")
    }
}

/// A time in the shift: not while the check loads are tested, not in the half hour's break after
/// four hours, and with room before the end for the tests that may follow.
fn planned_in(chance: &mut Chance, model: Model, station: Station, shift: Shift) -> i64 {
    let room = if model == Model::Vc310 && station == Station::B1 { 14 * 60 } else { 5 * 60 };
    let break_begins = shift.begins() + 4 * 3600;
    loop {
        let at = chance.whole(shift.begins() + 330, shift.ends() - room);
        if !(break_begins..break_begins + 1800).contains(&at) {
            return at;
        }
    }
}

/// The background of one AC test; DC has none.
fn defect(chance: &mut Chance, model: Model) -> Defect {
    let u = chance.uniform(0.0, 1.0);
    let arc = chance.happens(0.6);
    let ratio = 1.5 * chance.normal(0.4).exp();
    match u {
        _ if model == Model::Dh640 => Defect::None,
        u if u < 0.0010 => Defect::Breakdown { arc },
        u if u < 0.0040 => Defect::NotCompleted,
        u if u < 0.0045 && model.has_background_leaks() => Defect::Leak { ratio },
        _ => Defect::None,
    }
}

/// Gives every unit its serial, `PREFIX-YYWW-NNNNN`, numbered through each week from 301 on in the
/// order of the plan.
pub(super) fn number(units: &mut [Unit]) {
    units.sort_by_key(|u| (u.day, u.planned, u.station, u.model));
    let mut next: BTreeMap<(Model, String), u32> = BTreeMap::new();
    for unit in units {
        let week = calendar::week_code(unit.day);
        let number = next.entry((unit.model, week.clone())).or_insert(301);
        unit.serial = format!("{}-{week}-{number:05}", unit.model.letters());
        *number += 1;
    }
}
