//! The reading step: the smallest difference an instrument shows at that size of reading.
//!
//! The step is the coarsest of 1, 2, 5 × 10ⁿ that divides 99.5 % of a station's readings in a decade, split
//! once where it changes inside.

use std::collections::BTreeMap;

/// A stretch of readings of one station with one step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StepRange {
    /// From this reading on, in picoamperes.
    pub from_pa: i64,
    /// The step, in picoamperes.
    pub step_pa: i64,
    /// Whether it was found, or only taken from the neighbouring decade for want of readings.
    pub found: bool,
}

/// The steps of all stations.
#[derive(Debug, Clone, Default)]
pub struct Steps {
    by_station: BTreeMap<u16, Vec<StepRange>>,
    stated: BTreeMap<(u16, i64), i64>,
}

/// The largest step of the kinds instruments have, 1, 2 or 5 times a power of ten, that divides `value`.
fn coarsest(value: i64) -> i64 {
    let mut best = 1;
    let mut power = 1_i64;
    while value % power == 0 {
        for k in [1, 2, 5] {
            let step = k * power;
            if value % step == 0 {
                best = best.max(step);
            }
        }
        let Some(next) = power.checked_mul(10) else {
            break;
        };
        power = next;
    }
    best
}

/// The coarsest step that divides nearly all of these readings: one in two hundred may be typed by hand.
fn common_step(readings: &[(i64, u64)]) -> i64 {
    let total: u64 = readings.iter().map(|r| r.1).sum();
    let mut candidates: Vec<i64> = readings.iter().map(|r| coarsest(r.0)).collect();
    candidates.sort_unstable();
    candidates.dedup();
    let mut steps: Vec<i64> =
        candidates.iter().flat_map(|c| [*c, c / 2, c / 5]).filter(|c| *c > 0).collect();
    steps.sort_unstable();
    steps.dedup();
    steps
        .into_iter()
        .rev()
        .find(|step| {
            let fits: u64 = readings.iter().filter(|r| r.0 % step == 0).map(|r| r.1).sum();
            fits * 200 >= total * 199
        })
        .unwrap_or(1)
}

impl Steps {
    /// Finds the steps from how often each station showed each reading (picoamperes, above zero); a
    /// decade with fewer than `enough` readings takes the step of the nearest decade that has them.
    ///
    /// Inside a decade the step may change once: above the last reading that is no multiple of the
    /// coarser step, where at least `enough` readings lie above it.
    #[must_use]
    pub fn find(shown: &BTreeMap<(u16, i64), u64>, enough: u64) -> Self {
        let mut decades: BTreeMap<(u16, u32), Vec<(i64, u64)>> = BTreeMap::new();
        for (&(station, value), &count) in shown {
            if value > 0 {
                decades.entry((station, value.ilog10())).or_default().push((value, count));
            }
        }
        let mut by_station: BTreeMap<u16, Vec<StepRange>> = BTreeMap::new();
        for (&(station, decade), readings) in &decades {
            let from_pa = 10_i64.pow(decade);
            let total: u64 = readings.iter().map(|r| r.1).sum();
            let ranges = by_station.entry(station).or_default();
            if total < enough {
                ranges.push(StepRange { from_pa, step_pa: common_step(readings), found: false });
                continue;
            }
            let fine = common_step(readings);
            ranges.push(StepRange { from_pa, step_pa: fine, found: true });
            if let Some((from, step)) = change_inside(readings, fine, enough) {
                ranges.push(StepRange { from_pa: from, step_pa: step, found: true });
            }
        }
        for ranges in by_station.values_mut() {
            borrow(ranges);
        }
        Self { by_station, stated: BTreeMap::new() }
    }

    /// The same, with the steps that files state, by station and reading.
    #[must_use]
    pub fn stated(mut self, stated: BTreeMap<(u16, i64), i64>) -> Self {
        self.stated = stated;
        self
    }

    /// The step of a station at a reading, in picoamperes; what a file stated wins.
    #[must_use]
    pub fn at(&self, station: u16, value_pa: i64) -> i64 {
        if let Some(step) = self.stated.get(&(station, value_pa)) {
            return *step;
        }
        let Some(ranges) = self.by_station.get(&station) else {
            return 1;
        };
        ranges
            .iter()
            .rev()
            .find(|r| r.from_pa <= value_pa)
            .or_else(|| ranges.first())
            .map_or(1, |r| r.step_pa)
    }

    /// The ranges of a station, ascending.
    #[must_use]
    pub fn of(&self, station: u16) -> &[StepRange] {
        self.by_station.get(&station).map_or(&[], Vec::as_slice)
    }
}

/// Where inside a decade the step becomes coarser, and to what.
fn change_inside(readings: &[(i64, u64)], fine: i64, enough: u64) -> Option<(i64, i64)> {
    let mut above: u64 = 0;
    let mut cut = readings.len();
    while cut > 0 && above < enough {
        cut -= 1;
        above += readings[cut].1;
    }
    if above < enough || cut == 0 {
        return None;
    }
    let coarse = common_step(&readings[cut..]);
    // By chance a fine step's readings are all multiples of a coarser one: ask for many distinct ones.
    if coarse <= fine || readings.len() - cut < 8 {
        return None;
    }
    let last_off = readings[..cut].iter().rev().find(|r| r.0 % coarse != 0)?;
    let tenth = 10_i64.pow(last_off.0.ilog10());
    let from = (last_off.0 / tenth + 1) * tenth;
    let boundary = if readings.iter().any(|r| r.0 > last_off.0 && r.0 < from)
        && from - last_off.0 > 10 * coarse
    {
        (last_off.0 / coarse + 1) * coarse
    } else {
        from
    };
    Some((boundary, coarse))
}

/// Decades without enough readings take the step of the nearest decade that has them, unless their own
/// readings show a finer one.
fn borrow(ranges: &mut [StepRange]) {
    let known: Vec<StepRange> = ranges.iter().copied().filter(|r| r.found).collect();
    for range in ranges.iter_mut().filter(|r| !r.found) {
        let nearest =
            known.iter().min_by_key(|k| k.from_pa.ilog10().abs_diff(range.from_pa.ilog10()));
        if let Some(nearest) = nearest {
            range.step_pa = range.step_pa.min(nearest.step_pa);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_that_changes_inside_its_decade() {
        // 0.001 mA below 2 mA, 0.01 mA above, as one tester of the scenario.
        let mut shown = BTreeMap::new();
        for n in 1000..2000_i64 {
            shown.insert((0, n * 1_000_000), 1);
        }
        for n in 200..500_i64 {
            shown.insert((0, n * 10_000_000), 1);
        }
        let steps = Steps::find(&shown, 200);
        assert_eq!(steps.at(0, 1_500_000_000), 1_000_000);
        assert_eq!(steps.at(0, 3_000_000_000), 10_000_000);
        assert_eq!(steps.at(0, 1_990_000_000), 1_000_000);
    }

    #[test]
    fn a_few_typed_values_do_not_make_the_step_finer() {
        let mut shown: BTreeMap<(u16, i64), u64> =
            (100..200_i64).map(|n| ((0, n * 10_000_000), 10)).collect();
        shown.insert((0, 1_234_567_000), 1);
        assert_eq!(Steps::find(&shown, 200).at(0, 1_500_000_000), 10_000_000);
    }
}
