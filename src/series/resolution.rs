//! The reading step: the smallest difference an instrument shows at that size of reading.
//!
//! The step is the coarsest of 1, 2, 5 × 10ⁿ that divides 99.5 % of the readings in a decade, split once where it
//! changes inside. It is found for each series at each station, since a tester may show models in different steps (its
//! range follows the limit), and a file without stations puts all testers into one: with the finest step of all taken
//! for all, coarse readings count as exact and an interval of 95 % holds in a third of series. Where a series has too
//! few readings, the station's readings of all series say it.

use std::collections::BTreeMap;

/// Readings, and distinct ones among them, from which a series shows its own step at a station: by chance 30 readings
/// are multiples of twice the step in one of 10⁹ series.
const OWN: (u64, usize) = (30, 3);

/// How often each reading (picoamperes) was shown, by series and station.
pub type Shown = BTreeMap<(u32, u16, i64), u64>;

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
    /// Of series whose own readings show them, by series and station.
    by_series: BTreeMap<(u32, u16), Vec<StepRange>>,
    /// By series, station and reading.
    stated: BTreeMap<(u32, u16, i64), i64>,
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
    let total = total(readings);
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
    /// Finds the steps from the readings shown (above zero).
    ///
    /// A decade of a station with fewer than `enough` readings takes the step of its nearest decade that has them.
    /// Inside a decade the step may change once: above the last reading that is no multiple of the coarser step, where
    /// at least `enough` readings lie above it.
    #[must_use]
    pub fn find(shown: &Shown, enough: u64) -> Self {
        let mut of_stations: BTreeMap<u16, BTreeMap<i64, u64>> = BTreeMap::new();
        let mut of_series: BTreeMap<(u32, u16), Vec<(i64, u64)>> = BTreeMap::new();
        for (&(series, station, value), &count) in shown.iter().filter(|(at, _)| at.2 > 0) {
            *of_stations.entry(station).or_default().entry(value).or_default() += count;
            of_series.entry((series, station)).or_default().push((value, count));
        }
        let by_station: BTreeMap<u16, Vec<StepRange>> = of_stations
            .into_iter()
            .map(|(station, readings)| {
                (station, of_station(&readings.into_iter().collect::<Vec<_>>(), enough))
            })
            .collect();
        let by_series = of_series
            .into_iter()
            .filter_map(|(at, readings)| {
                Some((at, of_series_at(&readings, &by_station[&at.1], enough)?))
            })
            .collect();
        Self { by_station, by_series, stated: BTreeMap::new() }
    }

    /// The same, with the steps that files state, by series, station and reading.
    #[must_use]
    pub fn stated(mut self, stated: BTreeMap<(u32, u16, i64), i64>) -> Self {
        self.stated = stated;
        self
    }

    /// The same for series that are numbered anew: `was` gives the old number of each.
    #[must_use]
    pub fn renumbered(self, was: &[Option<u32>]) -> Self {
        let now: BTreeMap<u32, u32> =
            (0..).zip(was).filter_map(|(n, old)| Some(((*old)?, n))).collect();
        let new = |old: u32| now.get(&old).copied();
        let Self { by_station, by_series, stated } = self;
        Self {
            by_station,
            by_series: by_series
                .into_iter()
                .filter_map(|((n, station), ranges)| Some(((new(n)?, station), ranges)))
                .collect(),
            stated: stated
                .into_iter()
                .filter_map(|((n, station, value), step)| Some(((new(n)?, station, value), step)))
                .collect(),
        }
    }

    /// The step of a series at a station and a reading, in picoamperes; what a file stated wins.
    #[must_use]
    pub fn at(&self, series: usize, station: u16, value_pa: i64) -> i64 {
        self.of_one(series, station).at(value_pa)
    }

    /// The steps of one series at one station: for who asks of many readings.
    #[must_use]
    pub fn of_one(&self, series: usize, station: u16) -> StepsOfOne<'_> {
        StepsOfOne { all: self, series, station, ranges: self.of(series, station) }
    }

    /// The ranges of a series at a station, ascending.
    #[must_use]
    pub fn of(&self, series: usize, station: u16) -> &[StepRange] {
        let own = u32::try_from(series).ok().and_then(|n| self.by_series.get(&(n, station)));
        own.or_else(|| self.by_station.get(&station)).map_or(&[], Vec::as_slice)
    }
}

/// The steps of one series at one station.
#[derive(Debug, Clone, Copy)]
pub struct StepsOfOne<'a> {
    all: &'a Steps,
    series: usize,
    station: u16,
    ranges: &'a [StepRange],
}

impl StepsOfOne<'_> {
    /// The step at a reading, in picoamperes.
    #[must_use]
    pub fn at(self, value_pa: i64) -> i64 {
        let Self { all, series, station, ranges } = self;
        let stated = (!all.stated.is_empty()).then(|| {
            let number = u32::try_from(series).unwrap_or(u32::MAX);
            all.stated.get(&(number, station, value_pa)).copied()
        });
        let found = || range_at(ranges, value_pa).map_or(1, |r| r.step_pa);
        stated.flatten().unwrap_or_else(found)
    }
}

/// The range that a reading lies in; below all of them the lowest.
fn range_at(ranges: &[StepRange], value_pa: i64) -> Option<&StepRange> {
    ranges.iter().rev().find(|r| r.from_pa <= value_pa).or_else(|| ranges.first())
}

/// The ranges of a station from the readings of all its series, ascending.
fn of_station(readings: &[(i64, u64)], enough: u64) -> Vec<StepRange> {
    let mut ranges = Vec::new();
    for decade in readings.chunk_by(|a, b| a.0.ilog10() == b.0.ilog10()) {
        let from_pa = 10_i64.pow(decade[0].0.ilog10());
        let found = total(decade) >= enough;
        let fine = common_step(decade);
        ranges.push(StepRange { from_pa, step_pa: fine, found });
        if let Some((from_pa, step_pa)) = change_inside(decade, fine, enough).filter(|_| found) {
            ranges.push(StepRange { from_pa, step_pa, found });
        }
    }
    borrow(&mut ranges);
    ranges
}

/// The ranges of a series at a station, cut where the station's are: where it has readings enough, what they show, else
/// the coarser of the steps that the series shows next to it and the station shows there, if its readings allow it.
/// `None` where it has enough readings nowhere.
fn of_series_at(
    readings: &[(i64, u64)],
    station: &[StepRange],
    enough: u64,
) -> Option<Vec<StepRange>> {
    let from = |value: i64| range_at(station, value).map_or(1, |r| r.from_pa);
    let parts: Vec<&[(i64, u64)]> = readings.chunk_by(|a, b| from(a.0) == from(b.0)).collect();
    let mut own: Vec<StepRange> = Vec::new();
    for part in &parts {
        if total(part) >= OWN.0 && part.len() >= OWN.1 {
            let fine = common_step(part);
            own.push(StepRange { from_pa: from(part[0].0), step_pa: fine, found: true });
            if let Some((from_pa, step_pa)) = change_inside(part, fine, enough) {
                own.push(StepRange { from_pa, step_pa, found: true });
            }
        }
    }
    let known = own.clone();
    // Stretches of the station without a reading of the series too: its limits may lie there.
    for there in station {
        let nearest =
            known.iter().min_by_key(|k| k.from_pa.ilog10().abs_diff(there.from_pa.ilog10()))?;
        if known.iter().any(|k| k.from_pa == there.from_pa) {
            continue;
        }
        let part = parts.iter().find(|p| from(p[0].0) == there.from_pa).map_or(&[][..], |p| p);
        let (fine, coarse) =
            (nearest.step_pa.min(there.step_pa), nearest.step_pa.max(there.step_pa));
        let step_pa = if part.iter().all(|r| r.0 % coarse == 0) { coarse } else { fine };
        own.push(StepRange { from_pa: there.from_pa, step_pa, found: false });
    }
    own.sort_by_key(|r| r.from_pa);
    Some(own)
}

fn total(readings: &[(i64, u64)]) -> u64 {
    readings.iter().map(|r| r.1).sum()
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

    /// One series at one station.
    fn of_one(readings: impl IntoIterator<Item = (i64, u64)>) -> Steps {
        Steps::find(&readings.into_iter().map(|(pa, n)| ((0, 0, pa), n)).collect(), 200)
    }

    #[test]
    fn a_step_that_changes_inside_its_decade() {
        // 0.001 mA below 2 mA, 0.01 mA above, as one tester of the scenario.
        let fine = (1000..2000_i64).map(|n| (n * 1_000_000, 1));
        let steps = of_one(fine.chain((200..500_i64).map(|n| (n * 10_000_000, 1))));
        assert_eq!(steps.at(0, 0, 1_500_000_000), 1_000_000);
        assert_eq!(steps.at(0, 0, 3_000_000_000), 10_000_000);
        assert_eq!(steps.at(0, 0, 1_990_000_000), 1_000_000);
    }

    #[test]
    fn a_few_typed_values_do_not_make_the_step_finer() {
        let shown = (100..200_i64).map(|n| (n * 10_000_000, 10)).chain([(1_234_567_000, 1)]);
        assert_eq!(of_one(shown).at(0, 0, 1_500_000_000), 10_000_000);
    }

    /// Three models at one station: 0.001 mA, 0.02 mA from thirty readings, and one with ten readings, which says
    /// nothing of its own.
    #[test]
    fn each_series_at_a_station_has_the_step_that_its_readings_show() {
        let fine = (1000..1400_i64).map(|n| ((0, 0, n * 1_000_000), 1));
        let coarse =
            [(1, 10), (2, 12), (3, 8)].map(|(n, k)| ((1, 0, 1_400_000_000 + n * 20_000_000), k));
        let few = (1..=10_i64).map(|n| ((2, 0, 1_300_000_000 + n * 20_000_000), 1));
        let steps = Steps::find(&fine.chain(coarse).chain(few).collect(), 200);
        let at = |n| steps.at(n, 0, 1_420_000_000);
        assert_eq!([at(0), at(1), at(2)], [1_000_000, 20_000_000, 1_000_000]);
        // Where the series has no reading, the coarser of what it and its station show.
        assert_eq!(steps.at(1, 0, 1_900_000_000), 20_000_000);
    }

    #[test]
    fn a_series_keeps_its_step_when_series_are_numbered_anew() {
        let shown = (0..40_i64).map(|n| ((3, 0, 1_000_000_000 + n * 50_000_000), 1)).collect();
        let steps =
            Steps::find(&shown, 200).stated([((3, 0, 7), 5)].into()).renumbered(&[None, Some(3)]);
        assert_eq!([steps.at(1, 0, 1_500_000_000), steps.at(1, 0, 7)], [50_000_000, 5]);
    }
}
