//! The four test stations: their testers, leads, reading steps and operators.

use chrono::NaiveDate;

use super::calendar::{Shift, day};

/// A test station.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Station {
    /// Exports German semicolon text.
    A1,
    /// Exports English comma text in µA; read 3.5 % low until its calibration.
    A2,
    /// Exports workbooks.
    B1,
    /// Exports packed UTF-16 text; has long leads.
    B2,
}

impl Station {
    /// All stations, in the order in which shares of a model are given.
    pub const ALL: [Station; 4] = [Station::A1, Station::A2, Station::B1, Station::B2];

    /// Its name, also that of its folder.
    pub fn name(self) -> &'static str {
        match self {
            Station::A1 => "A1",
            Station::A2 => "A2",
            Station::B1 => "B1",
            Station::B2 => "B2",
        }
    }

    /// Gain of the tester on `date`: reading over true current.
    pub fn gain(self, date: NaiveDate) -> f64 {
        match self {
            Station::A1 => 1.000,
            Station::A2 if date < a2_calibrated() => 0.965,
            Station::A2 => 1.000,
            Station::B1 => 1.004,
            Station::B2 => 0.998,
        }
    }

    /// Capacitance of leads and fixture, nF.
    pub fn lead_nf(self) -> f64 {
        match self {
            Station::A1 => 0.060,
            Station::A2 => 0.075,
            Station::B1 => 0.055,
            Station::B2 => 0.140,
        }
    }

    /// The reading step at `ma`, in mA.
    pub fn step_ma(self, ma: f64, dc: bool) -> f64 {
        match self {
            Station::A2 | Station::B2 if dc => 0.0001,
            Station::A1 if ma < 1.0 => 0.001,
            Station::A2 => 0.001,
            Station::B2 if ma < 2.0 => 0.001,
            Station::A1 | Station::B1 | Station::B2 => 0.01,
        }
    }

    /// `ma` as the tester shows it: rounded to its reading step.
    pub fn round_ma(self, ma: f64, dc: bool) -> f64 {
        let step = self.step_ma(ma, dc);
        // Dividing by the whole number of steps in 1 mA gives the double nearest to the decimal.
        let per_ma = (1.0 / step).round();
        (ma * per_ma).round() / per_ma
    }

    /// Who tests there in `shift`.
    pub fn operator(self, shift: Shift) -> &'static str {
        match (self, shift) {
            (Station::A1, Shift::Early) => "op01",
            (Station::A1, Shift::Late) => "op02",
            (Station::A2, Shift::Early) => "op05",
            (Station::A2, Shift::Late) => "op09",
            (Station::B1, Shift::Early) => "op03",
            (Station::B1, Shift::Late) => "op07",
            (Station::B2, Shift::Early) => "op04",
            (Station::B2, Shift::Late) => "op08",
        }
    }
}

/// The first day on which A2's tester reads right.
pub fn a2_calibrated() -> NaiveDate {
    day(2026, 5, 11)
}
