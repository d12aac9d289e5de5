//! The truth behind the files: what was planted, and what the physics say of every model.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate, NaiveDateTime};

use super::ledger::Ledger;
use super::models::{Filter, Kind, LOT_SD, Model, second_supplier};
use super::physics::{
    DC_NOISE_SD, HUMIDITY_SD, MOISTURE_SD, NOISE_SD, PER_HUMIDITY_POINT, dehumidifier_ma,
    humidity_pct, lead_ma, moisture_ma, unit_ma,
};
use super::schedule::Test;
use super::stations::{Station, a2_calibrated};
use super::stories::HEATER_LOT;
use super::testing::{Outcome, Shown};
use super::units::Part;

/// One planted test, as written.
#[derive(Clone, Debug, PartialEq)]
pub struct Planted {
    /// Serial as written; may be blank.
    pub serial: String,
    /// Station.
    pub station: &'static str,
    /// Time as written.
    pub tested_at: NaiveDateTime,
    /// Reading as shown, mA; none where only `>limit` is shown.
    pub reading_ma: Option<f64>,
    /// How it ended.
    pub outcome: Outcome,
}

/// What was planted, from the rows as written.
#[derive(Clone, Debug, Default)]
pub struct Truth {
    /// AP730 under the low limit with an open lead: 9.
    pub open_lead_failures: Vec<Planted>,
    /// AP730 passes with an open lead: 12 single ones and 11 in a row.
    pub open_lead_passes: Vec<Planted>,
    /// AP730 passes with a leak path: 3.
    pub leak_path_passes: Vec<Planted>,
    /// First tests of lot HE-26-31, over limit: 36.
    pub lot_over_limit: Vec<Planted>,
    /// The same, breakdowns: 7.
    pub lot_breakdowns: Vec<Planted>,
    /// The same, passes at 1.35 to 1.44 mA: 4.
    pub lot_high_passes: Vec<Planted>,
    /// The same, healthy: 133.
    pub lot_healthy: Vec<Planted>,
    /// Later tests of the lot's failed units with a new heater, at 1060 V: 25.
    pub lot_reworked: Vec<Planted>,
    /// SM415 shown by a frozen display: 28.
    pub frozen: Vec<Planted>,
    /// DH640 that tripped in a short ramp: 5.
    pub ramp_trips: Vec<Planted>,
    /// VC310 released by hand: 2.
    pub released_by_hand: Vec<Planted>,
    /// EM520 fault-locating run, its first test included: 38.
    pub fault_run: Vec<Planted>,
    /// SM415 tests marked `Fehlersuche`: 12.
    pub marked_fault: Vec<Planted>,
    /// VC310 units over limit at B1 in the late shift in their first test, tested until they pass.
    pub until_pass_units: u64,
    /// Of them, those that passed in the end.
    pub until_pass_passed: u64,
    /// Further tests of them.
    pub until_pass_tests: u64,
    /// VC310 passes at A2 before its calibration that would have failed at the true gain.
    pub passes_in_doubt: u64,
    /// Units made and exported.
    pub units: u64,
    /// Rows written, a row of a B1 sheet counted once.
    pub rows: u64,
    /// Where every row must end.
    pub ledger: Ledger,
}

fn planted(test: &Test) -> Planted {
    Planted {
        serial: test.serial.clone(),
        station: test.station.name(),
        tested_at: test.printed,
        reading_ma: match test.shown {
            Shown::Value(ma) => Some(ma),
            Shown::Above(_) => None,
        },
        outcome: test.outcome,
    }
}

/// The truth of these rows.
pub(super) fn of(rows: &BTreeMap<Station, Vec<Test>>, ledger: Ledger) -> Truth {
    let mut truth = Truth { ledger, ..Truth::default() };
    let mut units = std::collections::BTreeSet::new();
    let mut retested: BTreeMap<usize, bool> = BTreeMap::new();
    for test in rows.values().flatten() {
        let Some(unit) = test.unit else { continue };
        units.insert(unit);
        sort_planted(&mut truth, test);
        doubted(&mut truth, test);
        let until = test.model == Model::Vc310.name() && test.operator == "op07";
        if until && test.setting.step == 1 {
            if test.outcome == Outcome::OverLimit && !retested.contains_key(&unit) {
                retested.insert(unit, false);
            } else if let Some(passed) = retested.get_mut(&unit) {
                truth.until_pass_tests += 1;
                *passed |= test.outcome == Outcome::Pass;
            }
        }
    }
    truth.until_pass_units = retested.len() as u64;
    truth.until_pass_passed = retested.values().filter(|p| **p).count() as u64;
    truth.units = units.len() as u64;
    truth
}

fn sort_planted(truth: &mut Truth, test: &Test) {
    let first = test.attempt == 1;
    let list = match test.part {
        Part::Plain => return,
        Part::OpenLead if first && test.outcome == Outcome::Pass => &mut truth.open_lead_passes,
        Part::OpenLead if first => &mut truth.open_lead_failures,
        Part::LeakPath { .. } => &mut truth.leak_path_passes,
        Part::HeaterTrip { .. } | Part::HeaterBreakdown { .. } if test.lot != HEATER_LOT => {
            &mut truth.lot_reworked
        }
        Part::HeaterTrip { fault_run } => {
            if fault_run {
                truth.fault_run.push(planted(test));
            }
            if !first {
                return;
            }
            &mut truth.lot_over_limit
        }
        Part::HeaterBreakdown { .. } if first => &mut truth.lot_breakdowns,
        Part::HeaterPass { .. } => &mut truth.lot_high_passes,
        Part::HeaterHealthy => &mut truth.lot_healthy,
        Part::Frozen => &mut truth.frozen,
        Part::ShortRamp if first => &mut truth.ramp_trips,
        Part::Released { .. } => &mut truth.released_by_hand,
        Part::MarkedFault if test.fault_locating => &mut truth.marked_fault,
        Part::OpenLead | Part::HeaterBreakdown { .. } | Part::ShortRamp | Part::MarkedFault => {
            return;
        }
    };
    list.push(planted(test));
}

fn doubted(truth: &mut Truth, test: &Test) {
    let date = test.instant.date();
    if test.station == Station::A2
        && test.model == Model::Vc310.name()
        && date < a2_calibrated()
        && test.attempt == 1
        && test.outcome == Outcome::Pass
    {
        let right = test.exact_ma / Station::A2.gain(date);
        if Station::A2.round_ma(right, false) > test.setting.high_ma {
            truth.passes_in_doubt += 1;
        }
    }
}

/// Which units a true distribution is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Body {
    /// The model.
    pub model: Model,
    /// The kind of test.
    pub kind: Kind,
    /// Of SM415 only the units with this supplier's filter; all units where `None`.
    pub filter: Option<Filter>,
}

/// Share of healthy units made on `date` that read at most `ma`, before rounding, over the stations
/// of the model.
///
/// Formula: section 2 of the scenario, unit and lot spread in closed form (normal in ln C), moisture
/// current and noise by the trapezoidal rule over plus and minus 6 standard deviations, which for a
/// normal weight is exact to far more digits than are used. DC: everything is lognormal, the noise
/// of 1 % to first order, the day's humidity about its season included.
pub fn share_at_or_below(body: Body, date: NaiveDate, ma: f64) -> f64 {
    let stations = Station::ALL.into_iter().zip(body.model.shares());
    let tests = stations.filter(|(_, of_units)| *of_units > 0.0);
    tests.map(|(station, of_units)| of_units * share_at(body, station, date, ma)).sum()
}

/// The same of the units that one station tests.
pub fn share_at(body: Body, station: Station, date: NaiveDate, ma: f64) -> f64 {
    let filters: &[(Filter, f64)] = match (body.model, body.filter) {
        (Model::Sm415, Some(Filter::S)) => &[(Filter::S, 1.0)],
        (Model::Sm415, None) if date >= second_supplier() => &[(Filter::N, 0.6), (Filter::S, 0.4)],
        (Model::Sm415, _) => &[(Filter::N, 1.0)],
        _ => &[(Filter::Only, 1.0)],
    };
    let of = |(filter, part): &(Filter, f64)| part * at_station(body, station, date, *filter, ma);
    filters.iter().map(of).sum()
}

fn at_station(body: Body, station: Station, date: NaiveDate, filter: Filter, ma: f64) -> f64 {
    let gain = station.gain(date);
    let Some(setting) =
        body.model.sequence(station, date, filter).into_iter().find(|s| s.kind == body.kind)
    else {
        return 0.0;
    };
    if setting.hz.is_none() {
        let typical = gain * dehumidifier_ma(humidity_pct(date));
        let season = PER_HUMIDITY_POINT * HUMIDITY_SD;
        let sd = body.model.unit_sd().hypot(season).hypot(DC_NOISE_SD);
        return below((ma / typical).ln() / sd);
    }
    let typical = unit_ma(&setting);
    let lead = lead_ma(station, &setting);
    let sd = body.model.unit_sd().hypot(LOT_SD);
    let moisture = (body.model == Model::Kb120).then(|| moisture_ma(date));
    over_normal(24, |z_noise| {
        let current = ma / (gain * (1.0 + NOISE_SD * z_noise));
        let given = |resistive: f64| {
            let square = current * current - resistive * resistive;
            let unit = square.max(0.0).sqrt() - lead;
            if unit > 0.0 { below((unit / typical).ln() / sd) } else { 0.0 }
        };
        match moisture {
            Some(typical) => over_normal(120, |z| given(typical * (MOISTURE_SD * z).exp())),
            None => given(0.0),
        }
    })
}

/// Mean of `f(z)` over a standard normal `z`, by `2 n + 1` points up to 6 standard deviations.
fn over_normal(n: i32, f: impl Fn(f64) -> f64) -> f64 {
    let (mut sum, mut weights) = (0.0, 0.0);
    for k in -n..=n {
        let z = 6.0 * f64::from(k) / f64::from(n);
        let weight = (-0.5 * z * z).exp();
        sum += weight * f(z);
        weights += weight;
    }
    sum / weights
}

/// Standard normal distribution function.
fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z / std::f64::consts::SQRT_2)
}

/// The reading, mA, that a share `p` of healthy units made on `date` stays under. By bisection to
/// 12 digits; `p` must lie between 0 and 1.
pub fn quantile_ma(body: Body, date: NaiveDate, p: f64) -> f64 {
    let (mut low, mut high) = (1e-6_f64, 100.0_f64);
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        if share_at_or_below(body, date, middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low * high).sqrt()
}

/// The first day on which more than the share `accepted` of KB120 reads above its high limit of
/// 0.800 mA, if the moisture goes on as before; searched to the end of 2028.
pub fn crossing_date(accepted: f64) -> Option<NaiveDate> {
    let body = Body { model: Model::Kb120, kind: Kind::AcWithstand, filter: None };
    let first = super::calendar::day(2026, 10, 30);
    (0..792)
        .map(|n| first + Days::new(n))
        .find(|date| 1.0 - share_at_or_below(body, *date, 0.800) > accepted)
}
