//! What a station shows with no unit connected: the current of its own leads and fixture.

use std::collections::BTreeMap;

use crate::config::Config;
use crate::movement::readings::ma;
use crate::movement::stations::SeriesFacts;
use crate::series::Pass;

/// Open-lead readings, by station.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OpenLeads {
    /// mA at 1000 V and 50 Hz.
    per_station: BTreeMap<u16, f64>,
}

/// Open-lead readings from the config, else from what under-limit results showed: the median over all AC
/// series of a station, each divided by its voltage times frequency. Only readings below a fifth of the
/// low limit count: others are healthy units under a low limit that cuts into them.
#[must_use]
pub fn open_leads(pass: &Pass, facts: &[SeriesFacts], config: &Config) -> OpenLeads {
    let mut shown: BTreeMap<u16, Vec<f64>> = BTreeMap::new();
    for (series, facts) in pass.series.iter().zip(facts) {
        let drive = facts.volts * facts.hertz / 50_000.0;
        if drive <= 0.0 {
            continue;
        }
        let lowest = series.outcomes.iter().filter_map(|o| o.limits.low_pa).min();
        for line in &series.under_limit {
            if lowest.is_none_or(|low| line.value_pa * 5 < low) {
                shown.entry(line.station).or_default().push(ma(line.value_pa) / drive);
            }
        }
    }
    let mut per_station = BTreeMap::new();
    for (n, name) in pass.plant.stations.iter().enumerate() {
        let station = u16::try_from(n).unwrap_or(u16::MAX);
        if let Some(known) = config.open_lead_ma.get(name) {
            per_station.insert(station, *known);
        } else if let Some(median) =
            shown.get(&station).and_then(|v| crate::stats::numeric::median(v))
        {
            per_station.insert(station, median);
        }
    }
    OpenLeads { per_station }
}

impl OpenLeads {
    /// The open-lead reading of a station for a series, in mA.
    #[must_use]
    pub fn at(&self, station: u16, facts: SeriesFacts) -> Option<f64> {
        let drive = facts.volts * facts.hertz / 50_000.0;
        (drive > 0.0).then_some(())?;
        self.per_station.get(&station).map(|x| x * drive)
    }

    /// The open-lead reading of a station at 1000 V and 50 Hz, in mA.
    #[must_use]
    pub fn of_station(&self, station: u16) -> Option<f64> {
        self.per_station.get(&station).copied()
    }

    /// The highest among stations, in mA.
    #[must_use]
    pub fn highest(&self, stations: &[u16], facts: SeriesFacts) -> Option<f64> {
        stations
            .iter()
            .filter_map(|s| self.at(*s, facts))
            .fold(None, |most, x| Some(most.map_or(x, |m: f64| m.max(x))))
    }
}
