//! What a station's readings are divided by before a product's movement is judged.

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
}

impl Correction {
    /// The reading as the reference station would have shown it, mA: gain divided out, then the current
    /// of the leads taken off.
    pub fn corrected(&self, series: usize, station: usize, day: i32, reading_ma: f64) -> f64 {
        let lead = self.lead_of(series, station).unwrap_or(0.0);
        (reading_ma / self.gain(station, day) - lead).max(0.0)
    }

    /// The station's gain on a day, 1 at the reference.
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
}
