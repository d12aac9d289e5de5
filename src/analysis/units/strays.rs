//! Serials behind findings: strays that passed, with their side, over the whole history.
//!
//! Each stretch between established steps is held against its own body; a moving series in stretches of 60
//! days. A pass at or below 1.25 times the station's open-lead reading is named as an open lead; that
//! reading is found from under-limit results, per station, scaled by voltage times frequency.

use crate::analysis::body::describe::{Options, describe};
use crate::analysis::body::strays::Strays;
use crate::analysis::units::leads::OpenLeads;
use crate::config::Config;
use crate::day::Day;
use crate::movement::edges::Edges;
use crate::movement::readings::{Reading, grouped, ma, value};
use crate::movement::stations::SeriesFacts;
use crate::series::{NamedTest, Pass};

/// A pass is taken for an open lead up to this multiple of the station's open-lead reading…
const OPEN_LEAD_REACH: f64 = 1.25;
/// …or, where that is not known, up to this share of the typical reading.
const OPEN_LEAD_SHARE: f64 = 0.10;
/// Days that a moving series is cut into: each stretch has its own body.
const MOVING_STRETCH: Day = 60;
/// Fewest units of a stretch that names strays.
const STRETCH_UNITS: f64 = 50.0;

/// Which side of the body a stray lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Lies {
    /// Suspect insulation.
    Above,
    /// Suspect connection, open switch or missing part.
    Below,
    /// Below, and where a station without a unit reads.
    OpenLead,
}

/// A stray that passed.
#[derive(Debug, Clone)]
pub struct StrayUnit {
    /// The test.
    pub test: NamedTest,
    /// Reading, mA.
    pub reading_ma: f64,
    /// Side.
    pub lies: Lies,
}

/// Strays of a series.
#[derive(Debug, Clone, Default)]
pub struct StrayList {
    /// Units above the body, trips among them, over the whole history.
    pub above: f64,
    /// Units below it.
    pub below: f64,
    /// Those that passed, in order of time.
    pub units: Vec<StrayUnit>,
}

impl StrayList {
    /// Units that passed and lie there.
    #[must_use]
    pub fn passed(&self, lies: Lies) -> u64 {
        let of_side = self.units.iter().filter(|u| u.lies == lies);
        of_side.map(|u| u64::from(u.test.count)).sum()
    }
}

/// What is known of a series' levels before strays are sought.
#[derive(Debug, Clone, Copy)]
pub struct Levels<'a> {
    /// First days of new levels.
    pub boundaries: &'a [Day],
    /// Whether the level moves between them.
    pub moving: bool,
    /// Edges of the coarsest step.
    pub edges: &'a Edges,
    /// Open-lead readings.
    pub leads: &'a OpenLeads,
    /// Voltage and frequency.
    pub facts: SeriesFacts,
}

/// Strays over the whole history: each stretch between new levels against its own body.
#[must_use]
pub fn strays(
    pass: &Pass,
    series: usize,
    readings: &[Reading],
    levels: &Levels<'_>,
    config: &Config,
) -> StrayList {
    let Levels { boundaries, moving, edges, leads, facts } = *levels;
    let mut list = StrayList::default();
    let mut known: Vec<(Day, Day, Strays, f64)> = Vec::new();
    for (from, to) in stretches(readings, boundaries, moving) {
        let inside = || readings.iter().filter(|r| (from..=to).contains(&r.day));
        if inside().map(|r| r.count).sum::<f64>() < STRETCH_UNITS {
            continue;
        }
        let Ok(data) = grouped(inside()) else {
            continue;
        };
        let Ok(body) = describe(&data, edges, &Options::plain(config)) else {
            continue;
        };
        list.below += body.strays.below.count;
        if body.list_strays {
            list.above += body.strays.above.count;
        }
        let typical = body.average.quantile(0.5);
        let mut strays = body.strays;
        if !body.list_strays {
            strays.above.threshold = None;
        }
        known.push((from, to, strays, typical));
    }
    for test in pass.passes_of(series) {
        let Some(value_pa) = test.value_pa() else {
            continue;
        };
        let (day, station) = (test.day(), test.station());
        let Some((_, _, strays, typical)) = known.iter().find(|k| (k.0..=k.1).contains(&day))
        else {
            continue;
        };
        let reading_ma = ma(value_pa);
        let step = ma(pass.plant.steps.at(station, value_pa));
        if !strays.has(value(reading_ma, step)) {
            continue;
        }
        let lies = if reading_ma > *typical {
            Lies::Above
        } else {
            let open = leads.at(station, facts).map_or(0.0, |x| OPEN_LEAD_REACH * x);
            if reading_ma <= open.max(OPEN_LEAD_SHARE * typical) {
                Lies::OpenLead
            } else {
                Lies::Below
            }
        };
        list.units.push(StrayUnit { test: test.named(), reading_ma, lies });
    }
    list.units.sort_by(|a, b| a.test.in_time().cmp(&b.test.in_time()));
    list
}

/// Stretches of days with one level each.
fn stretches(readings: &[Reading], boundaries: &[Day], moving: bool) -> Vec<(Day, Day)> {
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else {
        return Vec::new();
    };
    let mut starts = vec![first.day];
    starts.extend(boundaries.iter().filter(|d| (first.day + 1..=last.day).contains(*d)));
    if moving {
        let mut day = first.day + MOVING_STRETCH;
        while day + MOVING_STRETCH / 2 <= last.day {
            starts.push(day);
            day += MOVING_STRETCH;
        }
    }
    starts.sort_unstable();
    starts.dedup();
    let ends = starts.iter().skip(1).map(|d| d - 1).chain([last.day]);
    starts.iter().copied().zip(ends).collect()
}
