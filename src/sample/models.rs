//! The seven models: what is inside, how each is tested, and against which limits.

use chrono::NaiveDate;

use super::calendar::day;
use super::stations::Station;

/// A model of the factory.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Model {
    /// Kettle base with sheathed heater.
    Kb120,
    /// Fan heater, tested in two steps.
    Fh205,
    /// Floor vacuum cleaner.
    Vc310,
    /// Stand mixer, with filters of two suppliers.
    Sm415,
    /// Espresso machine.
    Em520,
    /// Dehumidifier, tested with DC.
    Dh640,
    /// Air purifier for 60 Hz countries.
    Ap730,
}

/// Kind of test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Dielectric withstand with AC.
    AcWithstand,
    /// Dielectric withstand with DC.
    DcWithstand,
    /// Leakage current at a little over mains voltage.
    Leakage,
}

/// Whose mains filter is built in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Filter {
    /// The model has one source only, and its column stays blank.
    Only,
    /// Supplier N.
    N,
    /// Supplier S, from 2026-02-02, 12.5 % more capacitance.
    S,
}

/// One step of a test sequence, as set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// Kind of test.
    pub kind: Kind,
    /// Place in the sequence, from 1.
    pub step: u8,
    /// Set voltage, V (rms for AC).
    pub volts: f64,
    /// Frequency, Hz; none for DC.
    pub hz: Option<f64>,
    /// Ramp, s.
    pub ramp_s: f64,
    /// Dwell, s.
    pub dwell_s: f64,
    /// Capacitance to case of a typical unit, nF.
    pub nf: f64,
    /// High limit, mA.
    pub high_ma: f64,
    /// Low limit, mA.
    pub low_ma: Option<f64>,
}

impl Model {
    /// All models, in the order of their names' numbers.
    pub const ALL: [Model; 7] = [
        Model::Kb120,
        Model::Fh205,
        Model::Vc310,
        Model::Sm415,
        Model::Em520,
        Model::Dh640,
        Model::Ap730,
    ];

    /// Its name in the files.
    pub fn name(self) -> &'static str {
        match self {
            Model::Kb120 => "KB120",
            Model::Fh205 => "FH205",
            Model::Vc310 => "VC310",
            Model::Sm415 => "SM415",
            Model::Em520 => "EM520",
            Model::Dh640 => "DH640",
            Model::Ap730 => "AP730",
        }
    }

    /// First letters of its serials.
    pub fn letters(self) -> &'static str {
        &self.name()[..2]
    }

    /// First letters of its lots.
    pub(super) fn lot_letters(self, filter: Filter) -> &'static str {
        match (self, filter) {
            (Model::Sm415, Filter::S) => "S",
            (Model::Sm415, _) => "N",
            (Model::Em520, _) => "HE",
            _ => self.letters(),
        }
    }

    /// Mean number of units a day.
    pub fn per_day(self) -> f64 {
        match self {
            Model::Kb120 => 34.0,
            Model::Fh205 | Model::Vc310 => 24.0,
            Model::Sm415 | Model::Em520 | Model::Ap730 => 22.0,
            Model::Dh640 => 14.0,
        }
    }

    /// Standard deviation of ln C from unit to unit; DH640: of ln current.
    pub fn unit_sd(self) -> f64 {
        match self {
            Model::Kb120 => 0.042,
            Model::Fh205 => 0.020,
            Model::Vc310 => 0.025,
            Model::Sm415 => 0.018,
            Model::Em520 => 0.028,
            Model::Dh640 => 0.30,
            Model::Ap730 => 0.022,
        }
    }

    /// Share of its units at A1, A2, B1 and B2.
    pub fn shares(self) -> [f64; 4] {
        match self {
            Model::Kb120 => [0.50, 0.25, 0.0, 0.25],
            Model::Fh205 => [0.70, 0.30, 0.0, 0.0],
            Model::Vc310 => [0.0, 0.30, 0.70, 0.0],
            Model::Sm415 => [0.45, 0.25, 0.30, 0.0],
            Model::Em520 => [0.0, 0.30, 0.40, 0.30],
            Model::Dh640 => [0.0, 0.30, 0.0, 0.70],
            Model::Ap730 => [0.0, 0.25, 0.35, 0.40],
        }
    }

    /// Whether some units have a leak path by the background alone.
    pub(super) fn has_background_leaks(self) -> bool {
        !matches!(self, Model::Kb120 | Model::Ap730 | Model::Dh640)
    }

    /// The first step of its sequence: the withstand test, with the limits that `station` used on `date`.
    pub fn withstand(self, station: Station, date: NaiveDate, filter: Filter) -> Setting {
        let ac = |volts, nf, high_ma, low_ma| Setting {
            kind: Kind::AcWithstand,
            step: 1,
            volts,
            hz: Some(50.0),
            ramp_s: 0.5,
            dwell_s: 2.0,
            nf,
            high_ma,
            low_ma: Some(low_ma),
        };
        match self {
            Model::Kb120 => ac(1250.0, 0.62, 0.800, 0.100),
            Model::Fh205 => ac(1500.0, 2.35, 1.25, 0.60),
            Model::Vc310 => ac(1500.0, 10.1, 5.00, 2.50),
            Model::Sm415 if filter == Filter::S => ac(1250.0, 5.4, 2.45, 1.20),
            Model::Sm415 => ac(1250.0, 4.8, 2.45, 1.20),
            Model::Em520 => ac(1250.0, 3.1, 1.45, 0.60),
            Model::Dh640 => Setting {
                kind: Kind::DcWithstand,
                hz: None,
                ramp_s: 1.0,
                dwell_s: 3.0,
                low_ma: None,
                ..ac(1768.0, 0.9, 0.009, 0.0)
            },
            Model::Ap730 if date < ap730_loosened(station) => {
                Setting { hz: Some(60.0), ..ac(1500.0, 3.45, 2.25, 1.00) }
            }
            Model::Ap730 => Setting { hz: Some(60.0), low_ma: None, ..ac(1500.0, 3.45, 5.00, 0.0) },
        }
    }

    /// Its whole sequence; only FH205 has a second step.
    pub fn sequence(self, station: Station, date: NaiveDate, filter: Filter) -> Vec<Setting> {
        let first = self.withstand(station, date, filter);
        if self != Model::Fh205 {
            return vec![first];
        }
        let leakage = Setting {
            kind: Kind::Leakage,
            step: 2,
            volts: 243.8,
            dwell_s: 5.0,
            nf: 1.175,
            high_ma: 0.105,
            low_ma: None,
            ..first
        };
        vec![first, leakage]
    }
}

/// The setting of the two check loads: 1500 V, 50 Hz, high limit 5.00 mA.
pub(super) fn check_setting() -> Setting {
    Setting {
        kind: Kind::AcWithstand,
        step: 1,
        volts: 1500.0,
        hz: Some(50.0),
        ramp_s: 0.5,
        dwell_s: 2.0,
        nf: 0.0,
        high_ma: 5.00,
        low_ma: None,
    }
}

/// The first day on which `station` tested AP730 against 5.00 mA and without a low limit.
pub fn ap730_loosened(station: Station) -> NaiveDate {
    match station {
        Station::A2 => day(2026, 3, 20),
        _ => day(2026, 3, 16),
    }
}

/// The first day of supplier S.
pub fn second_supplier() -> NaiveDate {
    day(2026, 2, 2)
}

/// Standard deviation of ln C from lot to lot.
pub(super) const LOT_SD: f64 = 0.004;
