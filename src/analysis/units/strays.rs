//! Serials behind findings: strays that passed, with their side, over the whole history.
//!
//! Each stretch between established steps of the product is held against its own body on the series' one scale; a
//! moving series in stretches of 60 days.
//!
//! A pass is named from the furthest out inwards, as long as no more healthy units are expected there than 5 % of those
//! named (Benjamini & Hochberg), shared among the stretches, which are looks at one series. What is certain without that
//! does not pay for units next to the body: not trips, not unconnected leads, not a lot that is a cause, which is held
//! against the body of the others by itself, and of strays far out no more than two. With all of them paying, half of
//! the passes listed of the demonstration factory were healthy.
//!
//! Below, a pass is far out where neither the body nor the readings' own lower end (`lower_tail`) expects it.
//!
//! A pass at or below 1.25 times the station's open-lead reading is named as an open lead; that
//! reading is found from under-limit results, per station, scaled by voltage times frequency.
//!
//! A stretch that has no body, having too few units or units that no body describes, names open leads alone: those
//! far below all others, of which there are at least ten. Far is at most half of the lowest other, and twice as far
//! from it as it lies from the typical one (as a factor). Where an open lead shows 0.3 to 0.7 of what a unit does, 20
//! healthy units that spread by 40 % (lognormal) have one so low in 0.3 % of series, by 30 % in 0.1 %, by 20 % in none
//! of 40 000; units of a model that reads little more than an open lead lie next to one another. Strays are not sought
//! there.

use serde::Serialize;

use crate::analysis::body::describe::{Body, Options, Which, describe};
use crate::analysis::body::strays::FALSE_SHARE;
use crate::analysis::units::causes::Cause;
use crate::analysis::units::leads::OpenLeads;
use crate::analysis::units::lower_tail::LowerTail;
use crate::config::Config;
use crate::day::Day;
use crate::movement::SeriesMovement;
use crate::movement::edges::Edges;
use crate::movement::readings::{Reading, grouped, ma};
use crate::movement::stations::SeriesFacts;
use crate::series::{NamedTest, Pass};

/// A pass is taken for an open lead up to this multiple of the station's open-lead reading…
const OPEN_LEAD_REACH: f64 = 1.25;
/// …or, where that is not known, up to this share of the typical reading.
const OPEN_LEAD_SHARE: f64 = 0.10;
/// Where there is no body it must also lie this far below the lowest other unit of the stretch…
const FEW_BELOW: f64 = 0.5;
/// …of which there are so many, and so many for each that is named.
const FEW_OTHERS: f64 = 10.0;
const FEW_EACH: f64 = 3.0;
/// Days that a moving series is cut into: each stretch has its own body.
const MOVING_STRETCH: Day = 60;
/// Fewest units of a stretch that names strays.
const STRETCH_UNITS: f64 = 50.0;
/// So many units far out at the most pay for those next to the body.
const PAY: f64 = 2.0;

/// Where a stray lies, and so what it points to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Lies {
    /// Suspect insulation.
    #[serde(rename = "suspect_insulation")]
    Above,
    /// Above, where every reading is taken as healthy: a long tail explains it as well as damage would.
    NotDecided,
    /// Suspect connection or open switch: nearer to the open-lead reading than to what units that read low read.
    #[serde(rename = "suspect_connection")]
    Below,
    /// Below, and nearer to units that read low: a part may be missing.
    ReadsLow,
    /// Below, and where a station without a unit reads.
    OpenLead,
}

impl Lies {
    /// Whether it lies above the body.
    #[must_use]
    pub fn is_above(self) -> bool {
        matches!(self, Self::Above | Self::NotDecided)
    }

    /// As printed.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Above => "above: suspect insulation",
            Self::NotDecided => "above: not decided, a long tail explains it as well",
            Self::Below => "below: suspect connection",
            Self::ReadsLow => "reads low: a part may be missing",
            Self::OpenLead => "no lead connected",
        }
    }
}

/// A stray that passed.
#[derive(Debug, Clone)]
pub struct StrayUnit {
    /// The test.
    pub test: NamedTest,
    /// Reading as shown, mA.
    pub reading_ma: f64,
    /// The same on the series' one scale, mA.
    pub on_scale_ma: f64,
    /// Half a reading step there, mA.
    half_step_ma: f64,
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
    /// Its movement: the one scale, and first days of new levels.
    pub moved: &'a SeriesMovement,
    /// Its readings as shown.
    pub shown: &'a [Reading],
    /// Its readings on the one scale and on edges, units of causes left out.
    pub kept: &'a [Reading],
    /// Lots whose failures stand out: held against the body of the others, apart.
    pub causes: &'a [Cause],
    /// Whether the level moves between them.
    pub moving: bool,
    /// Edges of the coarsest step.
    pub edges: &'a Edges,
    /// Open-lead readings.
    pub leads: &'a OpenLeads,
    /// Voltage and frequency.
    pub facts: SeriesFacts,
}

/// One stretch of days with its body.
struct Stretch {
    days: (Day, Day),
    body: Body,
    low_end: LowerTail,
    typical_ma: f64,
    x05_ma: f64,
    /// Of each population: units of no cause first, then those of each.
    populations: Vec<Population>,
    /// Units that read what no unit reads: they pay for each other and for none that was connected.
    open: Vec<StrayUnit>,
}

/// Units that are named together.
struct Population {
    /// Healthy units that could lie far out.
    number: f64,
    /// Only from here on, and up to here, can one be named, mA on the one scale.
    reach: (f64, f64),
    far_out: Vec<StrayUnit>,
}

/// Strays over the whole history: each stretch between new levels against its own body, on the one scale.
#[must_use]
pub fn strays(pass: &Pass, series: usize, levels: &Levels<'_>, config: &Config) -> StrayList {
    let Levels { moved, shown, causes, leads, facts, .. } = *levels;
    let mut list = StrayList::default();
    let all = stretches(shown, &moved.period.boundaries, levels.moving);
    let accepted = FALSE_SHARE / all.len().max(1) as f64;
    let mut known: Vec<Stretch> = Vec::new();
    let mut few: Vec<Few> = Vec::new();
    for days in all {
        match stretch(days, levels, accepted, config) {
            Some(stretch) => known.push(stretch),
            None => few.push(Few { days, passes: Vec::new() }),
        }
    }
    for test in pass.passes_of(series) {
        let Some(value_pa) = test.value_pa() else { continue };
        let (day, station) = (test.day(), test.station());
        let (carry, reading_ma) = (moved.scale.carry(station, day), ma(value_pa));
        let on_scale_ma = carry.on_scale(reading_ma);
        let half_step_ma = carry.times * ma(pass.plant.steps.at(series, station, value_pa)) / 2.0;
        let lead_ma = leads.at(station, facts).unwrap_or(0.0);
        let Some(stretch) = known.iter_mut().find(|k| (k.days.0..=k.days.1).contains(&day)) else {
            if let Some(few) = few.iter_mut().find(|k| (k.days.0..=k.days.1).contains(&day)) {
                let (test, lies) = (test.named(), Lies::OpenLead);
                let unit = StrayUnit { test, reading_ma, on_scale_ma, half_step_ma, lies };
                few.passes.push(OfFew { unit, lead_ma });
            }
            continue;
        };
        let open = (OPEN_LEAD_REACH * lead_ma).max(OPEN_LEAD_SHARE * stretch.typical_ma);
        let of = causes.iter().position(|c| test.levels()[c.index] == c.level);
        let population = &mut stretch.populations[of.map_or(0, |c| c + 1)];
        let (above, below) = population.reach;
        let unit = |lies| {
            let test = test.named();
            StrayUnit { test, reading_ma, on_scale_ma, half_step_ma, lies }
        };
        if reading_ma <= open {
            stretch.open.push(unit(Lies::OpenLead));
        } else if on_scale_ma - half_step_ma >= above {
            let together = stretch.body.which() == Ok(Which::Together);
            population.far_out.push(unit(if together { Lies::NotDecided } else { Lies::Above }));
        } else if on_scale_ma + half_step_ma <= below {
            // Nearer to an unconnected lead than to units that read low.
            let near = reading_ma - lead_ma < carry.at_station(stretch.x05_ma) - reading_ma;
            population.far_out.push(unit(if near { Lies::Below } else { Lies::ReadsLow }));
        }
    }
    let above = |u: &StrayUnit| u.on_scale_ma - u.half_step_ma;
    let below = |u: &StrayUnit| u.on_scale_ma + u.half_step_ma;
    for Stretch { body, low_end, populations, open, .. } in known {
        let healthy = |u: &StrayUnit| body.units * body.average.cdf(below(u));
        list.units.extend(named(open, [accepted, f64::INFINITY], below, healthy));
        if body.list_strays {
            list.above += body.strays.above.trips;
        }
        for Population { number, far_out, .. } in populations {
            let (high, low): (Vec<_>, Vec<_>) =
                far_out.into_iter().partition(|u| u.lies.is_above());
            list.units.extend(named(
                high,
                [accepted, PAY],
                |u| -above(u),
                |u| number * body.healthy_above(above(u)),
            ));
            list.units.extend(named(low, [accepted, PAY], below, |u| {
                number * healthy_below(&body, &low_end, below(u))
            }));
        }
    }
    list.units.extend(few.into_iter().flat_map(Few::open));
    for unit in &list.units {
        let of_side = if unit.lies.is_above() { &mut list.above } else { &mut list.below };
        *of_side += f64::from(unit.test.count);
    }
    list.units.sort_by(|a, b| a.test.in_time().cmp(&b.test.in_time()));
    list
}

/// The passes of a stretch that has no body.
struct Few {
    days: (Day, Day),
    passes: Vec<OfFew>,
}

/// One of them.
struct OfFew {
    unit: StrayUnit,
    /// What its station shows without a unit, mA; 0 where that is not known.
    lead_ma: f64,
}

impl Few {
    /// Those that read what an open lead reads, far below all others.
    fn open(self) -> Vec<StrayUnit> {
        let mut readings: Vec<f64> = self.passes.iter().map(|p| p.unit.reading_ma).collect();
        readings.sort_unstable_by(f64::total_cmp);
        let Some(typical_ma) = readings.get(readings.len() / 2) else { return Vec::new() };
        let up_to = |p: &OfFew| (OPEN_LEAD_REACH * p.lead_ma).max(OPEN_LEAD_SHARE * typical_ma);
        let (open, others): (Vec<OfFew>, Vec<OfFew>) =
            self.passes.into_iter().partition(|p| p.unit.reading_ma <= up_to(p));
        let count = |all: &[OfFew]| all.iter().map(|p| f64::from(p.unit.test.count)).sum::<f64>();
        let [lowest, .., _] = readings[open.len()..] else { return Vec::new() };
        let half_way = readings[open.len() + others.len() / 2];
        let far_ma = lowest * FEW_BELOW.min((lowest / half_way).powi(2));
        let is_far = open.iter().all(|p| p.unit.reading_ma <= far_ma);
        let are_few = count(&others) >= FEW_OTHERS.max(FEW_EACH * count(&open));
        if is_far && are_few { open.into_iter().map(|p| p.unit).collect() } else { Vec::new() }
    }
}

/// The body of a stretch without the units of causes, and how far out a unit of each population must lie; `None`
/// where there is no body.
fn stretch(
    days: (Day, Day),
    levels: &Levels<'_>,
    accepted: f64,
    config: &Config,
) -> Option<Stretch> {
    let inside = || levels.kept.iter().filter(|r| (days.0..=days.1).contains(&r.day));
    if inside().map(|r| r.count).sum::<f64>() < STRETCH_UNITS {
        return None;
    }
    let body = describe(&grouped(inside()).ok()?, levels.edges, &Options::plain(config)).ok()?;
    let low_end = LowerTail::of(inside())?;
    let (typical_ma, x05_ma) = (body.average.quantile(0.5), body.average.quantile(0.05));
    let population = |number: f64| {
        let few = |expected: f64| expected <= accepted * PAY;
        let above = end(typical_ma, |x| few(number * body.healthy_above(x)), 2.0);
        let below = end(typical_ma, |x| few(number * healthy_below(&body, &low_end, x)), 0.5);
        Population { number, reach: (above, below), far_out: Vec::new() }
    };
    let of_causes = levels.causes.iter().map(|c| population(c.units as f64));
    let populations = std::iter::once(population(body.units)).chain(of_causes).collect();
    Some(Stretch { days, low_end, typical_ma, x05_ma, populations, open: Vec::new(), body })
}

/// The share of healthy units at or below a reading: the larger of what the body and the readings' own end say.
fn healthy_below(body: &Body, low_end: &LowerTail, ma: f64) -> f64 {
    body.average.cdf(ma).max(low_end.at_most(ma))
}

/// The place from which on, going by factors of `away` from `from`, something holds: by bisection to a millionth.
/// Without end where it never does.
fn end(from: f64, holds: impl Fn(f64) -> bool, away: f64) -> f64 {
    let without = if away > 1.0 { f64::INFINITY } else { f64::NEG_INFINITY };
    let mut outside = (1..=20).map(|k| from * away.powi(k));
    let Some(mut far) = outside.find(|x| holds(*x)) else { return without };
    let mut near = from;
    while (far - near).abs() > 1e-6 * far.abs() {
        let middle = f64::midpoint(near, far);
        if holds(middle) {
            far = middle;
        } else {
            near = middle;
        }
    }
    far
}

/// The units that are named: from the furthest out, by `place` ascending, down to the last at which no more healthy
/// ones are `expected` than the accepted share of those named, of which so many pay.
fn named(
    mut units: Vec<StrayUnit>,
    [accepted, pay]: [f64; 2],
    place: impl Fn(&StrayUnit) -> f64,
    expected: impl Fn(&StrayUnit) -> f64,
) -> Vec<StrayUnit> {
    units.sort_by(|a, b| place(a).total_cmp(&place(b)));
    let mut seen = 0.0;
    let mut last = 0;
    for (n, unit) in units.iter().enumerate() {
        seen += f64::from(unit.test.count);
        if expected(unit) <= accepted * seen.min(pay) {
            last = n + 1;
        }
    }
    units.truncate(last);
    units
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
