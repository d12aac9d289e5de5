//! Setups → series: blanks filled from the model's other tests, set voltages from measured ones.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::SeriesKey;
use super::at_plant::{AtPlant, Plants};
use crate::error::{Error, Result};
use crate::note::Note;
use crate::records::{MeasuredVolts, Setup, TestKind};

/// As many stations as an index of two bytes tells apart.
const MOST_STATIONS: usize = 1 << 16;

/// What every setup code means for the pass.
#[derive(Debug)]
pub struct Resolved {
    /// Series of each setup, an index into `keys`; `None` for other kinds of test.
    pub series: Vec<Option<u32>>,
    /// What makes two tests of one unit attempts at the same: kind, current, test point, step.
    pub attempt: Vec<u32>,
    /// The same number for setups that differ in nothing but the reading step, which goes with the reading.
    pub alike: Vec<u32>,
    /// Station of each setup, an index into `stations`.
    pub station: Vec<u16>,
    /// Stations, sorted.
    pub stations: Vec<String>,
    /// The plant of each, where it is told.
    pub at: Vec<Option<AtPlant>>,
    /// Series keys, sorted.
    pub keys: Vec<SeriesKey>,
    /// What was filled in.
    pub notes: Vec<Note>,
}

/// Resolves all setups; `measured_v` holds measured volts by model and station code.
///
/// # Errors
/// Where there are more stations than can be told apart.
pub fn resolve(
    setups: &[Setup],
    texts: &[String],
    measured_v: &[MeasuredVolts],
    plants: &Plants,
) -> Result<Resolved> {
    let mut notes = Vec::new();
    let medians = median_volts(measured_v);
    if !medians.is_empty() {
        notes.push(Note::new(
            "some files give only the measured voltage: the set value is taken as its median per model and station, rounded to 1 %",
        ));
    }
    let of = |s: &Setup| plants.of(s.plant, s.station, texts);
    let stations: BTreeMap<&String, Option<AtPlant>> =
        setups.iter().map(|s| (&texts[s.station as usize], of(s))).collect();
    let at: Vec<Option<AtPlant>> = stations.values().cloned().collect();
    let stations: Vec<String> = stations.into_keys().cloned().collect();
    if stations.len() > MOST_STATIONS {
        return Err(Error::usage(
            format!(
                "{} stations, {:?} to {:?}: at most {MOST_STATIONS} can be told apart",
                stations.len(),
                stations[0],
                stations[stations.len() - 1],
            ),
            "look with `leakdrift peek` which column is read as the station, and map the right one under [columns]",
        ));
    }
    // The one test point and step that each model's tests of a kind have, where there is only one.
    let mut points: BTreeMap<(u32, TestKind), BTreeSet<u32>> = BTreeMap::new();
    let mut steps: BTreeMap<(u32, TestKind), BTreeSet<u32>> = BTreeMap::new();
    for s in setups {
        if s.test_point != 0 {
            points.entry((s.model, s.test)).or_default().insert(s.test_point);
        }
        if s.step != 0 {
            steps.entry((s.model, s.test)).or_default().insert(s.step);
        }
    }
    let only = |known: &BTreeMap<(u32, TestKind), BTreeSet<u32>>, s: &Setup, own: u32| {
        if own != 0 {
            return own;
        }
        match known.get(&(s.model, s.test)) {
            Some(set) if set.len() == 1 => set.first().copied().unwrap_or(0),
            _ => 0,
        }
    };
    let keys_of: Vec<Option<SeriesKey>> = setups
        .iter()
        .map(|s| {
            if s.test == TestKind::Other {
                return None;
            }
            Some(SeriesKey {
                plant: plants.of(s.plant, s.model, texts),
                model: texts[s.model as usize].clone(),
                step: texts[only(&steps, s, s.step) as usize].clone(),
                test: s.test,
                test_point: texts[only(&points, s, s.test_point) as usize].clone(),
                current: s.current,
                applied_mv: s.applied_mv.or_else(|| medians.get(&(s.model, s.station)).copied()),
                frequency_mhz: s.frequency_mhz,
                dwell_ms: s.dwell_ms.filter(|_| s.test.is_dc()),
                units_together: s.units_together,
            })
        })
        .collect();
    let keys: Vec<SeriesKey> =
        keys_of.iter().flatten().cloned().collect::<BTreeSet<_>>().into_iter().collect();
    let attempts: BTreeSet<_> = keys_of.iter().flatten().map(attempt_of).collect();
    let attempts: Vec<_> = attempts.into_iter().collect();
    let index = |n: usize| u32::try_from(n).expect("no more series than setups");
    let place = |k: &SeriesKey| keys.binary_search(k).expect("the keys are of these setups");
    let kind = |k: &SeriesKey| {
        attempts.binary_search(&attempt_of(k)).expect("the kinds are of these keys")
    };
    let station = |s: &Setup| {
        let n = stations.binary_search(&texts[s.station as usize]);
        let n = n.expect("the stations are of these setups");
        u16::try_from(n).expect("no more stations than were allowed above")
    };
    let mut numbers: HashMap<Setup, u32> = HashMap::new();
    let mut alike = |s: &Setup| {
        let next = index(numbers.len());
        *numbers.entry(Setup { reading_step_pa: None, ..*s }).or_insert(next)
    };
    Ok(Resolved {
        alike: setups.iter().map(&mut alike).collect(),
        series: keys_of.iter().map(|k| k.as_ref().map(|k| index(place(k)))).collect(),
        attempt: keys_of.iter().map(|k| k.as_ref().map_or(u32::MAX, |k| index(kind(k)))).collect(),
        station: setups.iter().map(station).collect(),
        stations,
        at,
        keys,
        notes,
    })
}

/// What one attempt at a test shares with the next: at another plant the same serial is another unit.
fn attempt_of(key: &SeriesKey) -> (TestKind, crate::records::Current, [&str; 3]) {
    (key.test, key.current, [&key.test_point, &key.step, key.plant()])
}

/// Median measured volts per model and station, rounded to 1 % of its size, in millivolts.
fn median_volts(measured: &[MeasuredVolts]) -> BTreeMap<(u32, u32), i64> {
    let mut by: BTreeMap<(u32, u32), Vec<f64>> = BTreeMap::new();
    for m in measured {
        by.entry((m.model, m.place.station)).or_default().push(m.volts);
    }
    by.into_iter()
        .filter_map(|(key, mut volts)| {
            volts.sort_by(f64::total_cmp);
            let median = volts[volts.len() / 2];
            if median <= 0.0 {
                return None;
            }
            let grain = 10_f64.powf(median.log10().floor() - 1.0);
            #[expect(clippy::cast_possible_truncation, reason = "volts are small")]
            Some((key, ((median / grain).round() * grain * 1000.0).round() as i64))
        })
        .collect()
}
