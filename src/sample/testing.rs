//! What the stations do with a unit: its tests, one visit at a time, and what each shows.

use super::calendar::Shift;
use super::chance::Chance;
use super::models::{Kind, Model, Setting};
use super::physics::{
    DC_NOISE_SD, NOISE_SD, dehumidifier_ma, lead_ma, moisture_ma, resistive_ma, shown_ma, unit_ma,
};
use super::stations::Station;
use super::units::{Defect, Part, Unit};

/// How a test ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// Within the limits.
    Pass,
    /// Tripped on the high limit.
    OverLimit,
    /// Below the low limit.
    UnderLimit,
    /// Flashover or short.
    Breakdown,
    /// Breakdown found by arc detection.
    Arc,
    /// Stopped before its end.
    NotCompleted,
}

/// What the display says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shown {
    /// A value, mA, rounded to the reading step.
    Value(f64),
    /// Only that it was above the limit, mA.
    Above(f64),
}

/// One test as it comes from the station, before it has a time.
#[derive(Clone, Debug)]
pub(super) struct Draft {
    pub(super) setting: Setting,
    pub(super) shown: Shown,
    /// What the tester measured before rounding, mA; of a trip the current that tripped it.
    pub(super) exact_ma: f64,
    pub(super) outcome: Outcome,
    pub(super) in_ramp: bool,
    /// Seconds after the begin of the visit, in tenths.
    pub(super) offset_ds: i64,
    pub(super) attempt: u8,
    pub(super) remark: &'static str,
    pub(super) fault_locating: bool,
    pub(super) contradicted: bool,
}

/// Tests made of one unit without another in between.
#[derive(Clone, Debug)]
pub(super) struct Visit {
    /// Seconds after the begin of the visit before.
    pub(super) delay: i64,
    pub(super) tests: Vec<Draft>,
}

/// The bench of one station on one day, with one unit on it.
struct Bench<'a> {
    unit: &'a Unit,
    humidity: f64,
    chance: &'a mut Chance,
}

/// The visits of `unit` on its own day.
pub(super) fn visits(unit: &Unit, humidity: f64, chance: &mut Chance) -> Vec<Visit> {
    Bench { unit, humidity, chance }.visits()
}

/// The test after a new heater: 85 % of the voltage, and nothing wrong any more.
pub(super) fn rework_visit(unit: &Unit, chance: &mut Chance) -> Visit {
    let mut sound = unit.clone();
    sound.part = Part::HeaterHealthy;
    let mut bench = Bench { unit: &sound, humidity: 0.0, chance };
    let mut setting = bench.settings()[0];
    setting.volts = 1060.0;
    let exact = bench.healthy(&setting);
    Visit { delay: 0, tests: vec![bench.judged(setting, exact, 3)] }
}

impl Bench<'_> {
    fn settings(&self) -> Vec<Setting> {
        self.unit.model.sequence(self.unit.station, self.unit.day, self.unit.filter)
    }

    fn dc(setting: &Setting) -> bool {
        setting.hz.is_none()
    }

    fn gain(&self) -> f64 {
        self.unit.station.gain(self.unit.day)
    }

    /// True reading of the unit, mA: everything but noise and rounding, with `leak_ma` of resistive
    /// current beside its own.
    fn level(&self, setting: &Setting, leak_ma: f64) -> f64 {
        let unit = self.unit;
        if Self::dc(setting) {
            return self.gain() * dehumidifier_ma(self.humidity) * unit.ln_c.exp();
        }
        let own = if unit.model == Model::Kb120 {
            moisture_ma(unit.day) * unit.ln_moisture.exp()
        } else {
            0.0
        };
        shown_ma(
            self.gain(),
            unit_ma(setting) * unit.ln_c.exp(),
            lead_ma(unit.station, setting),
            own + leak_ma,
        )
    }

    fn noise(&mut self, dc: bool) -> f64 {
        1.0 + self.chance.normal(if dc { DC_NOISE_SD } else { NOISE_SD })
    }

    fn healthy(&mut self, setting: &Setting) -> f64 {
        self.level(setting, 0.0) * self.noise(Self::dc(setting))
    }

    /// A test that was judged by its reading.
    fn judged(&mut self, setting: Setting, exact_ma: f64, attempt: u8) -> Draft {
        let rounded = self.unit.station.round_ma(exact_ma, Self::dc(&setting));
        let outcome = judge(&setting, rounded);
        let shown = match outcome {
            Outcome::OverLimit => self.tripped(&setting),
            _ => Shown::Value(rounded),
        };
        draft(setting, shown, exact_ma, outcome, attempt)
    }

    /// What a tripped test shows: no measurement, as the voltage was cut.
    fn tripped(&mut self, setting: &Setting) -> Shown {
        let ma = setting.high_ma * self.chance.uniform(0.6, 1.3);
        if self.unit.station == Station::B2 {
            Shown::Above(setting.high_ma)
        } else {
            Shown::Value(self.unit.station.round_ma(ma, Self::dc(setting)))
        }
    }

    /// A breakdown. A little over mains voltage nothing flashes over, least of all while the voltage still rises:
    /// what breaks down in a leakage test is a short.
    fn broken_down(&mut self, setting: Setting, arc: bool, attempt: u8) -> Draft {
        let flashes_over = setting.kind != Kind::Leakage;
        let shown = self.tripped(&setting);
        let outcome = if arc && flashes_over { Outcome::Arc } else { Outcome::Breakdown };
        let mut draft = draft(setting, shown, setting.high_ma, outcome, attempt);
        draft.in_ramp = self.chance.happens(0.5) && flashes_over;
        draft
    }

    fn stopped(&mut self, setting: Setting, attempt: u8) -> Draft {
        let exact = self.level(&setting, 0.0) * self.chance.uniform(0.1, 0.9);
        let shown = Shown::Value(self.unit.station.round_ma(exact, Self::dc(&setting)));
        let mut draft = draft(setting, shown, exact, Outcome::NotCompleted, attempt);
        draft.in_ramp = self.chance.happens(0.5);
        draft
    }

    fn open_lead(&mut self, setting: Setting, attempt: u8) -> Draft {
        let lead = self.gain() * lead_ma(self.unit.station, &setting) * self.noise(false);
        self.judged(setting, lead, attempt)
    }

    /// One step of a visit, as the unit's background has it.
    fn step(&mut self, setting: Setting, defect: Defect, attempt: u8) -> Draft {
        match defect {
            Defect::Breakdown { arc } => self.broken_down(setting, arc, attempt),
            Defect::NotCompleted => self.stopped(setting, attempt),
            Defect::Leak { ratio } => {
                let leak = ratio * unit_ma(&setting) * self.unit.ln_c.exp();
                let exact = self.level(&setting, leak) * self.noise(false);
                self.judged(setting, exact, attempt)
            }
            Defect::None => {
                let exact = self.healthy(&setting);
                self.judged(setting, exact, attempt)
            }
        }
    }

    /// One visit through the whole sequence, up to the first step that is not passed.
    fn sequence(&mut self, delay: i64, attempt: u8, reached: &mut [bool; 2]) -> Visit {
        let mut tests: Vec<Draft> = Vec::new();
        for (k, setting) in self.settings().into_iter().enumerate() {
            // A test is stopped once; the next of the same step runs to its end.
            let defect = match self.unit.defects[k] {
                Defect::NotCompleted if reached[k] => Defect::None,
                defect => defect,
            };
            reached[k] = true;
            let mut test = self.step(setting, defect, attempt);
            test.offset_ds = 90 * k as i64;
            let passed = test.outcome == Outcome::Pass;
            tests.push(test);
            if !passed {
                break;
            }
        }
        Visit { delay, tests }
    }

    fn visits(&mut self) -> Vec<Visit> {
        let setting = self.settings()[0];
        match self.unit.part {
            Part::Plain => self.everyday(),
            Part::OpenLead => {
                let first = self.open_lead(setting, 1);
                let failed = first.outcome != Outcome::Pass;
                let mut visits = vec![single(0, first)];
                if failed {
                    let exact = self.healthy(&setting);
                    let test = self.judged(setting, exact, 2);
                    visits.push(single(self.later(), test));
                }
                visits
            }
            Part::LeakPath { mohm } => {
                let exact = self.level(&setting, resistive_ma(setting.volts, mohm));
                vec![single(0, self.judged(setting, exact, 1))]
            }
            Part::HeaterTrip { fault_run } => self.heater_trip(setting, fault_run),
            Part::HeaterBreakdown { arc } => {
                let first = self.broken_down(setting, arc, 1);
                let again = self.broken_down(setting, arc, 2);
                vec![single(0, first), single(self.later(), again)]
            }
            Part::HeaterPass { ma } | Part::Released { ma } => {
                let shown = self.unit.station.round_ma(ma, false);
                let mut test = draft(setting, Shown::Value(shown), ma, Outcome::Pass, 1);
                test.contradicted = matches!(self.unit.part, Part::Released { .. });
                vec![single(0, test)]
            }
            Part::HeaterHealthy => loop {
                let exact = self.healthy(&setting);
                let test = self.judged(setting, exact, 1);
                if test.outcome == Outcome::Pass {
                    return vec![single(0, test)];
                }
            },
            Part::Frozen => {
                vec![single(0, draft(setting, Shown::Value(1.93), 1.93, Outcome::Pass, 1))]
            }
            Part::ShortRamp => {
                let short = Setting { ramp_s: 0.1, ..setting };
                // Charging current C dV/dt: nF times kV/s is µA.
                let charging = short.nf * short.volts / short.ramp_s * 1e-6;
                let mut first = self.judged(short, charging, 1);
                first.in_ramp = true;
                let exact = self.healthy(&setting);
                let again = self.judged(setting, exact, 2);
                // The ramp was set right again at 07:15.
                vec![single(0, first), single(self.chance.whole(2760, 3000), again)]
            }
            Part::MarkedFault => self.marked_fault(setting),
        }
    }

    fn everyday(&mut self) -> Vec<Visit> {
        let mut reached = [false; 2];
        let mut visits = vec![self.sequence(0, 1, &mut reached)];
        let mut attempt = 1;
        // A test that was stopped is made again, at most once for each step; a failed unit gets one retest.
        while ended(&visits) == Outcome::NotCompleted {
            attempt += 1;
            let delay = self.later();
            visits.push(self.sequence(delay, attempt, &mut reached));
        }
        let last = ended(&visits);
        if last == Outcome::Pass {
            return visits;
        }
        if last == Outcome::OverLimit && self.until_it_passes() {
            let again = self.lead_aside(attempt);
            if let Some(visit) = visits.last_mut() {
                visit.tests.extend(again);
            }
            return visits;
        }
        attempt += 1;
        let delay = self.later();
        visits.push(self.sequence(delay, attempt, &mut reached));
        if ended(&visits) == Outcome::NotCompleted {
            attempt += 1;
            let delay = self.later();
            visits.push(self.sequence(delay, attempt, &mut reached));
        }
        visits
    }

    /// Whether this is the operator who tests until it passes: VC310 in the late shift of B1.
    fn until_it_passes(&self) -> bool {
        let unit = self.unit;
        unit.model == Model::Vc310 && unit.station == Station::B1 && unit.shift == Shift::Late
    }

    /// Up to 8 tests, 40 to 90 s apart, with the lead laid aside.
    fn lead_aside(&mut self, attempt: u8) -> Vec<Draft> {
        let setting = self.settings()[0];
        let leak = match self.unit.defects[0] {
            Defect::Leak { ratio } => ratio * unit_ma(&setting) * self.unit.ln_c.exp(),
            _ => 0.0,
        };
        let level = self.level(&setting, leak);
        let mut tests: Vec<Draft> = Vec::new();
        let mut offset = 0;
        for k in 1..=8_u8 {
            // One gap is always long: this is no run of tests in quick succession.
            let shortest = if k == 4 { 620 } else { 400 };
            offset += self.chance.whole(shortest, 900);
            let factor = 1.0 + self.chance.normal(0.008) - 0.012;
            let exact = level * factor * self.noise(false);
            let mut test = self.judged(setting, exact, attempt + k);
            test.offset_ds = offset;
            let passed = test.outcome == Outcome::Pass;
            tests.push(test);
            if passed {
                break;
            }
        }
        tests
    }

    /// Seconds until a retest: 3 to 20 minutes, in the same shift where that leaves 3.
    fn later(&mut self) -> i64 {
        let left = self.unit.shift.ends() - self.unit.planned;
        let most = if self.unit.day == super::calendar::overtime_night() {
            1200
        } else {
            left.clamp(240, 1200)
        };
        self.chance.whole(180, most)
    }

    fn heater_trip(&mut self, setting: Setting, fault_run: bool) -> Vec<Visit> {
        // Drawn again until it trips, also in the retest: the heater does not mend itself.
        let (leak, first) = loop {
            let leak = 1.10 * self.chance.normal(0.30).exp();
            let exact = self.level(&setting, leak) * self.noise(false);
            let test = self.judged(setting, exact, 1);
            if test.outcome == Outcome::OverLimit {
                break (leak, test);
            }
        };
        if fault_run {
            return vec![self.fault_run(first)];
        }
        let again = loop {
            let exact = self.level(&setting, leak) * self.noise(false);
            let test = self.judged(setting, exact, 2);
            if test.outcome == Outcome::OverLimit {
                break test;
            }
        };
        vec![single(0, first), single(self.later(), again)]
    }

    /// 38 tests of one unit in less than 4 minutes, 31 over limit and 7 passes, not marked.
    fn fault_run(&mut self, first: Draft) -> Visit {
        let setting = first.setting;
        let places: Vec<usize> = (1..37).collect();
        let passes = self.chance.pick(&places, 7);
        let mut tests = vec![first];
        for k in 1..38 {
            let mut test = self.hunting(setting, passes.contains(&k));
            test.offset_ds = 62 * k as i64;
            tests.push(test);
        }
        Visit { delay: 0, tests }
    }

    /// One test while a fault is looked for: a pass or a trip.
    fn hunting(&mut self, setting: Setting, passes: bool) -> Draft {
        let test = if passes {
            let exact = self.healthy(&setting);
            self.judged(setting, exact, 2)
        } else {
            let shown = self.tripped(&setting);
            draft(setting, shown, setting.high_ma, Outcome::OverLimit, 2)
        };
        Draft { fault_locating: true, ..test }
    }

    /// A failure, and 12 tests marked as looking for its fault, 9 over limit and 3 passes.
    fn marked_fault(&mut self, setting: Setting) -> Vec<Visit> {
        let shown = self.tripped(&setting);
        let first = draft(setting, shown, setting.high_ma, Outcome::OverLimit, 1);
        let places: Vec<usize> = (0..11).collect();
        let passes = self.chance.pick(&places, 3);
        let tests = (0..12)
            .map(|k| {
                let mut test = self.hunting(setting, passes.contains(&k));
                test.offset_ds = 140 * k as i64;
                test.remark = "Fehlersuche";
                test
            })
            .collect();
        let delay = self.chance.whole(480, 900);
        vec![single(0, first), Visit { delay, tests }]
    }
}

/// The tester judges what it shows.
pub(super) fn judge(setting: &Setting, rounded_ma: f64) -> Outcome {
    if rounded_ma > setting.high_ma {
        Outcome::OverLimit
    } else if setting.low_ma.is_some_and(|low| rounded_ma < low) {
        Outcome::UnderLimit
    } else {
        Outcome::Pass
    }
}

/// A test at the begin of its visit, ended in the dwell.
pub(super) fn draft(
    setting: Setting,
    shown: Shown,
    exact_ma: f64,
    outcome: Outcome,
    attempt: u8,
) -> Draft {
    Draft {
        setting,
        shown,
        exact_ma,
        outcome,
        in_ramp: false,
        offset_ds: 0,
        attempt,
        remark: "",
        fault_locating: false,
        contradicted: false,
    }
}

fn single(delay: i64, test: Draft) -> Visit {
    Visit { delay, tests: vec![test] }
}

fn ended(visits: &[Visit]) -> Outcome {
    visits.last().and_then(|v| v.tests.last()).map_or(Outcome::Pass, |t| t.outcome)
}
