//! What a station's readings are divided by before a product's movement is judged.

use crate::day::Day;

/// A step of a station that is taken off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepTaken {
    /// First day at the new level.
    pub day: Day,
    /// Size on the scale of logs.
    pub size: f64,
    /// Half the width of its interval, on the scale of logs; infinite where it could not be measured.
    pub reach: f64,
    /// Its standard error, likewise.
    pub error: f64,
    /// Series that it was seen on: tested there and elsewhere, before and after it.
    pub series: usize,
}

/// The offsets of all stations against the plant's middle station.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Correction {
    /// Log gain of each station after its last step.
    pub(super) ln_gain: Vec<f64>,
    /// Current of each station's leads beyond the reference, mA at 1000 V and 50 Hz.
    pub(super) lead_ma: Vec<f64>,
    /// Standard errors of both.
    pub(super) errors: Vec<[f64; 2]>,
    /// Steps of each station.
    pub(super) steps: Vec<Vec<StepTaken>>,
    /// Volts times hertz over 1000 V times 50 Hz, by series; 0 for DC.
    pub(super) drive: Vec<f64>,
}

impl Correction {
    /// The station's gain on a day, 1 at the reference.
    pub fn gain(&self, station: usize, day: Day) -> f64 {
        let Some(last) = self.ln_gain.get(station) else {
            return 1.0;
        };
        let to_come: f64 = self.steps[station].iter().filter(|s| day < s.day).map(|s| s.size).sum();
        (last - to_come).exp()
    }

    /// What the station's leads add to a series beyond those of the reference, mA.
    pub fn lead_ma(&self, series: usize, station: usize) -> f64 {
        let drive = self.drive.get(series).copied().unwrap_or(0.0);
        self.lead_ma.get(station).map_or(0.0, |lead| lead * drive)
    }

    /// Standard error of the station's lasting offset on a series that typically reads `typical_ma`, on the scale
    /// of logs.
    pub fn lasting_error(&self, series: usize, station: usize, typical_ma: f64) -> f64 {
        let Some([gain, lead]) = self.errors.get(station) else { return 0.0 };
        let drive = self.drive.get(series).copied().unwrap_or(0.0);
        gain.hypot(if typical_ma > 0.0 { lead * drive / typical_ma } else { 0.0 })
    }

    /// The steps of a station that are taken off.
    pub fn steps(&self, station: usize) -> &[StepTaken] {
        self.steps.get(station).map_or(&[], Vec::as_slice)
    }

    /// Takes what is known of a station from another.
    pub(super) fn take(&mut self, station: usize, other: &mut Self) {
        self.ln_gain[station] = other.ln_gain[station];
        self.lead_ma[station] = other.lead_ma[station];
        self.errors[station] = other.errors[station];
        self.steps[station] = std::mem::take(&mut other.steps[station]);
    }

    /// Leaves in the steps of stations that `keep` refuses.
    pub fn keep_steps(&mut self, keep: impl Fn(usize, &StepTaken) -> bool) {
        for (station, steps) in self.steps.iter_mut().enumerate() {
            steps.retain(|step| keep(station, step));
        }
    }
}
