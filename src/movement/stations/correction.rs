//! What a station's readings are divided by before a product's movement is judged.

use std::collections::BTreeMap;

/// The offsets of all stations against the plant's middle station.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Correction {
    /// Log gain of each station after its last step.
    pub(super) ln_gain: Vec<f64>,
    /// Current of each station's leads beyond the reference, mA at 1000 V and 50 Hz.
    pub(super) lead_ma: Vec<f64>,
    /// Steps of each station: first day at the new level, log size.
    pub(super) steps: Vec<Vec<(i32, f64)>>,
    /// Volts times hertz over 1000 V times 50 Hz, by series; 0 for DC.
    pub(super) drive: Vec<f64>,
    /// Level of each series by days of 30, mA as the reference station would show.
    pub(super) level_ma: Vec<BTreeMap<i32, f64>>,
}

impl Correction {
    /// What the station multiplies a reading of this series by on a day (days since 1970); 1 for a
    /// series or station it knows nothing of.
    #[must_use]
    pub fn offset_factor(&self, series: usize, station: usize, day: i32) -> f64 {
        let lead = match (self.lead_of(series, station), self.level_of(series, day)) {
            (Some(lead), Some(level)) => 1.0 + lead / level,
            _ => 1.0,
        };
        self.gain(station, day) * lead
    }

    /// The reading as the reference station would have shown it, mA: gain divided out, then the current
    /// of the leads taken off. Better than the factor for readings far from their series' median.
    #[must_use]
    pub fn corrected(&self, series: usize, station: usize, day: i32, reading_ma: f64) -> f64 {
        let lead = self.lead_of(series, station).unwrap_or(0.0);
        (reading_ma / self.gain(station, day) - lead).max(0.0)
    }

    /// The station's gain on a day, 1 at the reference.
    #[must_use]
    pub fn gain(&self, station: usize, day: i32) -> f64 {
        let Some(last) = self.ln_gain.get(station) else {
            return 1.0;
        };
        let to_come: f64 = self.steps[station].iter().filter(|s| day < s.0).map(|s| s.1).sum();
        (last - to_come).exp()
    }

    fn lead_of(&self, series: usize, station: usize) -> Option<f64> {
        Some(self.lead_ma.get(station)? * self.drive.get(series)?)
    }

    fn level_of(&self, series: usize, day: i32) -> Option<f64> {
        let levels = self.level_ma.get(series)?;
        let bin = day.div_euclid(30);
        levels
            .range(..=bin)
            .next_back()
            .or_else(|| levels.iter().next())
            .map(|l| *l.1)
            .filter(|l| *l > 0.0)
    }
}
