//! What healthy units of one series read: the body, what lies beyond it, and which of the two answers
//! about the tail counts.
//!
//! In: one series' judged readings by day. Out: [`Body`], which `analysis::body::answer` asks for quantiles,
//! bounds and rejects. Rules and constants are from simulation (tests/bench/RESULTS.md).

use crate::analysis::NotDone;
use crate::analysis::body::below::{self, Below, Beyond};
use crate::analysis::body::excess::Excess;
use crate::analysis::body::strays::{self, Side, Strays};
use crate::config::Config;
use crate::movement::edges::{Edges, place};
use crate::movement::group_rules;
use crate::stats::average::Average;
use crate::stats::empirical::Empirical;
use crate::stats::mixture::{GroupRules, TwoGroups, two_groups};
use crate::stats::sample::{Grouped, Observation};
use crate::stats::tail::{Line, Tail, TailError};

/// Shares that the cut leaves above, tried in order.
const CUT_SHARES: [f64; 3] = [0.02, 0.05, 0.10];
/// Rounds in which strays are kept out of the body that names them.
const ROUNDS: usize = 3;
/// Log-likelihood that strays must gain over a long tail; below it the two cannot be told apart.
const STANDS_APART: f64 = 2.0;
/// Of the passed strays, the part that may lie next to the body, no further beyond it than the cut lies above the median:
/// where more do, a long healthy tail may be what they are. Damage has no reason to lie there: of strays spread evenly to
/// six times the reach of the body a fifth do, of the readings of long-tailed laws most.
const NEAR_BODY: f64 = 0.3;
/// Fewer next to the body are chance.
const FEWEST_NEAR: f64 = 3.0;
/// Settings of [`describe`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Confidence of intervals (two-sided) and bounds (one-sided).
    pub level: f64,
    /// Share of the units from which an excess is too common to be defects.
    pub excess_share_max: f64,
    /// When two groups are reported; `None` where they are not asked for.
    pub groups: Option<GroupRules>,
}

impl Options {
    /// Those of the settings.
    #[must_use]
    pub fn new(config: &Config) -> Self {
        Self {
            level: config.confidence,
            excess_share_max: config.excess_share_max,
            groups: Some(group_rules(config)),
        }
    }

    /// The same without looking for two groups: for bodies that are not reported themselves.
    #[must_use]
    pub fn plain(config: &Config) -> Self {
        Self { groups: None, ..Self::new(config) }
    }
}

impl Default for Options {
    fn default() -> Self {
        Self::new(&Config::default())
    }
}

/// The two answers about the tail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// Strays kept out: the truncated body.
    Apart,
    /// Every reading taken as healthy: the generalised Pareto tail.
    Together,
}

impl Which {
    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Apart => "apart",
            Self::Together => "together",
        }
    }
}

/// Why an answer is in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Because {
    /// No stray, and no more readings beyond the cut than the body expects.
    NothingBeyond,
    /// Readings stand apart from the body.
    Strays,
    /// More readings lie beyond the cut than the body expects.
    Excess,
    /// More readings lie beyond the cut than the body expects, and a long tail explains them as well as
    /// strays would, or they are too common to be defects.
    LongTail,
    /// The series has no tail of its own.
    TooSmall,
    /// Two groups: no single family describes them.
    TwoGroups,
    /// The body expects more readings beyond its cut than lie there.
    BodyTooLong,
}

impl Because {
    /// After "because", for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::NothingBeyond => {
                "no stray, and no more readings in the tail than the body expects"
            }
            Self::Strays => "readings stand apart from the healthy body",
            Self::Excess => "more readings lie in the tail than the body expects",
            Self::LongTail => {
                "more readings lie in the tail than the body expects, and a long tail explains them as well as strays would"
            }
            Self::TooSmall => "the series is too small for a tail of its own",
            Self::TwoGroups => "two groups: no single distribution describes them",
            Self::BodyTooLong => "the fitted body expects more readings in the tail than there are",
        }
    }
}

/// A series' body and tail; made by [`describe`].
#[derive(Debug, Clone)]
pub struct Body {
    /// The families, fitted below the cut.
    pub average: Average,
    /// The upper cut of the body.
    pub cut: f64,
    /// Readings below this count only as below it.
    pub low_cut: Option<f64>,
    /// Number of readings judged.
    pub units: f64,
    /// What lies beyond the cut.
    pub excess: Excess,
    /// Readings that do not belong.
    pub strays: Strays,
    /// Whether strays above are listed by serial: not where they are too common to be defects.
    pub list_strays: bool,
    /// Two groups, where found.
    pub groups: Option<TwoGroups>,
    /// The tail of all readings, or why there is none.
    pub tail: Result<Tail, TailError>,
    /// The tail of the readings below the cut, or why there is none: what the families would say beyond
    /// it, where they are right, and what the readings say where they are not.
    pub local: Result<Tail, TailError>,
    /// Weight of the families against that tail, 0 to 1; 1 where there is none.
    pub family_weight: f64,
    /// Whether it can be told if what lies beyond the body is damage or a long healthy tail; where it cannot, the
    /// intervals of the answer in use are the wider of both answers.
    pub told: bool,
    /// The answer in use and why, or why neither counts.
    pub in_use: Result<(Which, Because), NotDone>,
    /// The non-parametric distribution of all readings.
    pub empirical: Empirical,
    /// Confidence of intervals and bounds.
    pub level: f64,
    /// The readings as the families were fitted to them.
    pub(crate) fitted: Grouped,
    /// Every reading.
    pub(crate) all: Grouped,
}

impl Body {
    /// Whether quantiles are taken from the tails and the readings alone: in a series too small for that,
    /// from the families.
    #[must_use]
    pub fn without_families(&self) -> bool {
        self.tail.is_ok() && self.local.is_ok()
    }

    /// Whether no average of families describes the series.
    #[must_use]
    pub fn families_fail(&self) -> bool {
        self.groups.is_some() || (self.local.is_err() && self.excess.missing())
    }

    /// Whether the body's families were fitted to readings of which this is one.
    #[must_use]
    pub fn holds(&self, observation: Observation) -> bool {
        place(observation) < self.cut && !self.strays.has(observation)
    }

    /// Share of the healthy units that read more than `x`, by whatever describes them as reaching furthest; where two
    /// groups are found, or what lies beyond the body is too common to be defects, by their common tail too.
    #[must_use]
    pub fn healthy_above(&self, x: f64) -> f64 {
        let Self { average, cut, family_weight, .. } = self;
        let local = self.local.as_ref().ok();
        let below = below::Healthy { average, local, weight: *family_weight, cut: *cut };
        let common = self
            .tail
            .as_ref()
            .ok()
            .filter(|_| self.families_fail() && self.local.is_err() || !self.list_strays);
        below.sf_at_most(x).max(common.and_then(|tail| tail.sf(x)).unwrap_or(0.0))
    }

    /// Every reading with how often it occurred.
    pub fn observed(&self) -> impl Iterator<Item = &crate::stats::sample::Counted> {
        self.all.sample().lines().iter()
    }

    /// The readings that the families were fitted to, for a goodness of fit: below the cut, the lowest censored; with
    /// those beyond censored at the cut where [`Average::truncated_above`] names none.
    #[must_use]
    pub fn fitted(&self) -> &Grouped {
        &self.fitted
    }
}

/// Describes the readings of one series.
///
/// - Shape: passes as `Between` reading ∓ half a step, trips as `Above` their limit, readings of zero and
///   healthy units under a low limit as `Below`. `edges` is of the coarsest step in use.
/// # Errors
/// [`NotDone`] where no family can be fitted below the cut.
pub fn describe(data: &Grouped, edges: &Edges, options: &Options) -> Result<Body, NotDone> {
    let units = data.sample().total();
    let empirical = Empirical::of(data.sample());
    let first = below::cut(data, edges, CUT_SHARES[0])
        .ok_or_else(|| NotDone::TooFewDistinct { found: below::distinct(data, f64::INFINITY) })?;
    let mut below = Below::fit(data, (data, Beyond::AtMost), edges, first, options.level)?;
    // The line of the tail is of the law of nearly all readings.
    let line = Line::Scores(below.average.best().fit.law);
    let tail = below::tail_threshold(data, edges)
        .and_then(|threshold| Tail::fit(data, threshold, None, line));
    let apart = |below: &Below| {
        let tail = tail.as_ref().ok()?;
        tail.gain_of_strays(data, |x| below.healthy().sf(x))
    };
    let mut gain = apart(&below);
    for (i, share) in CUT_SHARES.into_iter().enumerate().skip(1) {
        let many = below.excess.beyond - below.excess.expected > CUT_SHARES[i - 1] / 2.0 * units;
        // A long tail is no reason to look for strays deeper in the body.
        if !many || gain.is_some_and(|gain| gain < STANDS_APART) {
            break;
        }
        let Some(deeper) = below::cut(data, edges, share).filter(|c| *c < below.cut) else {
            break;
        };
        let Ok(found) = Below::fit(data, (data, Beyond::AtMost), edges, deeper, options.level)
        else {
            break;
        };
        below = found;
        gain = apart(&below);
    }
    if below.cut == first {
        below = with_all_healthy(below, data, edges, options.level, tail.is_err());
    }
    let (mut below, above) = kept_apart(below, data, edges, options.level);
    let Below { cut, low_cut, .. } = below;
    let mut strays = Strays { above, below: Side::default() };
    strays.below = low_cut.map_or_else(Side::default, |from| {
        let healthy = healthy_units(units, &below.excess);
        strays::below(data.sample(), edges, from, healthy, |x| below.average.cdf(x))
    });
    let groups = options.groups.as_ref().and_then(|rules| {
        let kept = data.filter_map(|_, o| (!strays.has(o)).then_some(o)).ok()?;
        two_groups(kept.sample(), None, rules)
    });
    if groups.is_some() {
        // No family describes two groups: the tail next to the cut does, else the common one.
        below = below.by_tail_alone(data, options.level)?;
        let common = tail.as_ref().ok().filter(|_| below.local.is_err());
        strays.above = strays_above(&below, data, edges, |x| common.and_then(|t| t.sf(x)));
    }
    let gain = apart(&below);
    let Below { fitted, average, local, weight, excess, .. } = below;
    let common = excess.common(options.excess_share_max);
    let in_use =
        in_use(&excess, common, &strays, groups.is_some(), tail.as_ref(), local.as_ref(), gain);
    let list_strays = !common;
    let told = told(&in_use, data, strays.above.threshold, cut, average.quantile(0.5));
    Ok(Body {
        average,
        cut,
        low_cut,
        units,
        excess,
        strays,
        list_strays,
        groups,
        tail,
        local,
        family_weight: weight,
        told,
        in_use,
        empirical,
        level: options.level,
        fitted,
        all: data.clone(),
    })
}

/// The body where nothing beyond its cut looks like strays: fitted up to the limit that tripped, since all that passed may
/// be of it, and with many trips the readings next to the limit say most about it; in a series too small for a tail of
/// its own from all readings, which are healthy then: taken only where the fit expects more, they shorten it.
fn with_all_healthy(
    below: Below,
    data: &Grouped,
    edges: &Edges,
    level: f64,
    too_small: bool,
) -> Below {
    let quiet = |below: &Below| {
        let strays = strays_above(below, data, edges, |_| None);
        !below.excess.significant() && strays.threshold.is_none()
    };
    let trips = data.sample().lowest_above().is_finite();
    if !(trips || too_small) || !quiet(&below) {
        return below;
    }
    let cut = if trips { below::cut(data, edges, 0.0).unwrap_or(below.cut) } else { below.cut };
    let beyond = if too_small { Beyond::All } else { Beyond::AtMost };
    let fitted = Below::fit(data, (data, beyond), edges, cut.max(below.cut), level);
    fitted.ok().filter(quiet).unwrap_or(below)
}

/// The body with the strays above it. Those among the readings that say how many healthy units lie beyond the cut would
/// stretch it: it is fitted anew without them.
fn kept_apart(mut below: Below, data: &Grouped, edges: &Edges, level: f64) -> (Below, Side) {
    let mut above = strays_above(&below, data, edges, |_| None);
    for _ in 0..ROUNDS {
        if !below.counts_beyond() || above.threshold.is_none() {
            break;
        }
        let strays = Strays { above, below: Side::default() };
        let kept = data.filter_map(|_, o| (!strays.has(o)).then_some(o));
        let fitted = kept
            .ok()
            .and_then(|k| Below::fit(data, (&k, Beyond::AtMost), edges, below.cut, level).ok());
        let Some(fitted) = fitted else { break };
        below = fitted;
        let was = above.threshold;
        above = strays_above(&below, data, edges, |_| None);
        if above.threshold == was {
            break;
        }
    }
    (below, above)
}

/// Strays above a body, `common` the share above a reading by another description that may expect them.
fn strays_above(
    below: &Below,
    data: &Grouped,
    edges: &Edges,
    common: impl Fn(f64) -> Option<f64>,
) -> Side {
    let expected = |x: f64| below.healthy().sf_at_most(x).max(common(x).unwrap_or(0.0));
    let healthy = healthy_units(data.sample().total(), &below.excess);
    strays::above(data.sample(), edges, below.cut, healthy, expected)
}

/// How many of the units are healthy: those beyond the cut as far as they are expected there.
fn healthy_units(units: f64, excess: &Excess) -> f64 {
    units - excess.beyond + excess.expected
}

fn in_use(
    excess: &Excess,
    common: bool,
    strays: &Strays,
    two_groups: bool,
    tail: Result<&Tail, &TailError>,
    local: Result<&Tail, &TailError>,
    apart: Option<f64>,
) -> Result<(Which, Because), NotDone> {
    // Where the families do not describe the series, nor a tail below the cut, the open tail must.
    if local.is_err() && (two_groups || excess.missing()) {
        let why = if two_groups { Because::TwoGroups } else { Because::BodyTooLong };
        return match tail {
            Ok(_) => Ok((Which::Together, why)),
            Err(reason) => Err(NotDone::Neither(reason.to_string())),
        };
    }
    let something = strays.above.threshold.is_some() || excess.significant();
    if something && tail.is_ok() && (common || apart.is_some_and(|gain| gain < STANDS_APART)) {
        return Ok((Which::Together, Because::LongTail));
    }
    Ok(if strays.above.threshold.is_some() {
        (Which::Apart, Because::Strays)
    } else if excess.significant() {
        (Which::Apart, Because::Excess)
    } else if tail.is_err() {
        (Which::Apart, Because::TooSmall)
    } else {
        let why = if two_groups { Because::TwoGroups } else { Because::NothingBeyond };
        (Which::Together, why)
    })
}

/// Whether what lies beyond the body can be told from a long tail of it: strays can, unless many lie next to the body;
/// trips, which may lie anywhere, say nothing.
fn told(
    in_use: &Result<(Which, Because), NotDone>,
    data: &Grouped,
    strays_from: Option<f64>,
    cut: f64,
    median: f64,
) -> bool {
    match in_use {
        Ok((_, Because::LongTail | Because::Excess)) => false,
        Ok((_, Because::Strays)) => {
            let from = strays_from.unwrap_or(f64::INFINITY);
            let passed = data.sample().lines().iter().filter(|line| {
                !matches!(line.observation, Observation::Above(_)) && place(line.observation) > from
            });
            let (mut near, mut all) = (0.0, 0.0);
            for line in passed {
                all += line.count;
                near +=
                    if place(line.observation) <= from + (cut - median) { line.count } else { 0.0 };
            }
            near < FEWEST_NEAR || near <= NEAR_BODY * all
        }
        _ => true,
    }
}
