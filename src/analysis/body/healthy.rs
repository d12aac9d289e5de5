//! What the healthy units of one series read in the period judged, as numbers with intervals; where a
//! slope is established, of the last day of that period.

use crate::analysis::NotDone;
use crate::analysis::body::carry::{CarryLines, carry, leave_out_blocks};
use crate::analysis::body::describe::{Body, Options, Which, describe};
use crate::analysis::body::lines::Seen;
use crate::analysis::body::low_side::{LowEnd, LowSide, low_quantities};
use crate::analysis::body::offsets::{AtStation, ScaleError, share_over_stations};
use crate::analysis::body::share_ladder::{ShareLadder, rungs};
use crate::config::Config;
use crate::day::Day;
use crate::movement::edges::Edges;
use crate::movement::readings::{Reading, grouped};
use crate::movement::scale::Carry;
use crate::stats::estimate::Estimate;
use crate::stats::sample::Grouped;
use crate::stats::special::student_t_quantile;
use crate::stats::tail::Bounds;

/// The reading that all but the accepted share stay under.
#[derive(Debug, Clone, PartialEq)]
pub struct TailNumbers {
    /// The estimate.
    pub quantile_ma: Estimate,
    /// `L`.
    pub lower_ma: f64,
    /// `U`.
    pub upper_ma: f64,
    /// How much of `U` is only the way to the edge of a wide reading step.
    pub of_step_ma: f64,
    /// `U` at the end of the horizon.
    pub upper_at_horizon_ma: Option<f64>,
}

impl TailNumbers {
    /// With the error of the scale; the bounds at `level`.
    fn with_error(self, error: ScaleError, level: f64) -> Self {
        let value = self.quantile_ma.value;
        let bounds = Bounds { value, lower: self.lower_ma, upper: self.upper_ma };
        let bounds = error.of_bounds(bounds, level);
        Self {
            lower_ma: bounds.lower,
            upper_ma: bounds.upper,
            upper_at_horizon_ma: self
                .upper_at_horizon_ma
                .map(|x| x * (bounds.upper / self.upper_ma)),
            quantile_ma: error.of_current(self.quantile_ma),
            of_step_ma: self.of_step_ma,
        }
    }
}

/// The day on which expected rejects pass the accepted share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Crossing {
    /// Best day.
    pub day: Day,
    /// Early end.
    pub low: Day,
    /// Late end, where the data bound it.
    pub high: Option<Day>,
}

/// Numbers of the healthy body.
#[derive(Debug, Clone)]
pub struct Healthy {
    /// The body they are from; of carried readings where a slope is established.
    pub body: Body,
    /// The answer in use.
    pub in_use: Result<Which, NotDone>,
    /// The share of healthy units that may be rejected, a fraction of 1: the tail is asked for it.
    pub accepted_share: f64,
    /// Quantiles 5, 50, 95, 99 and 99.865 %.
    pub quantiles: [Option<Estimate>; 5],
    /// With strays kept out.
    pub apart: Option<TailNumbers>,
    /// With every reading taken as healthy.
    pub together: Option<TailNumbers>,
    /// The reading that all but the accepted share lie above, by the answer in use: estimate and one-sided
    /// bounds.
    pub low_side: Option<Bounds>,
    /// Expected share above the limit in force.
    pub reject_share: Option<Estimate>,
    /// The same at the end of the horizon, where a slope is established.
    pub reject_share_at_horizon: Option<f64>,
    /// `P_pkU` against the limit in force.
    pub performance: Option<Estimate>,
    /// Against the low limit in force; `None` where there is none.
    pub low: Option<LowSide>,
    /// When the limit is reached.
    pub crossing: Option<Crossing>,
    /// The lines readings were carried along.
    pub lines: Option<CarryLines>,
    /// Where readings were carried, the intervals that shares are read from.
    pub ladder: Option<ShareLadder>,
    /// Stations of the units judged: a limit is typed there.
    pub stations: Vec<AtStation>,
    /// Error of the scale that their readings were brought to.
    pub scale_error: ScaleError,
}

impl Healthy {
    /// Share of healthy units above a limit typed at every station (mA), of the last day judged, by the answer in
    /// use.
    #[must_use]
    pub fn share_above(&self, limit_ma: f64) -> Option<Estimate> {
        share_over_stations(&self.stations, |_| Some(limit_ma), |at| self.share_on_scale(at))
    }

    /// The same above the limit in force at each station.
    #[must_use]
    pub fn share_above_limits(&self) -> Option<Estimate> {
        share_over_stations(&self.stations, |s| s.limit_ma, |at| self.share_on_scale(at))
    }

    /// The same at one station, above the limit in force there.
    #[must_use]
    pub fn share_at(&self, station: &AtStation) -> Option<Estimate> {
        self.share_on_scale(station.carry.on_scale(station.limit_ma?))
    }

    /// Share of healthy units above a limit on the one scale.
    fn share_on_scale(&self, limit_ma: f64) -> Option<Estimate> {
        let which = *self.in_use.as_ref().ok()?;
        let above = |limit: f64| self.body.share_above(which, limit).ok();
        let share = match (&self.lines, &self.ladder) {
            (None, _) => self.body.reject_share(which, limit_ma).ok(),
            (Some(_), None) => None,
            (Some(_), Some(ladder)) => ladder.share(above(limit_ma)?, limit_ma, CARRIED),
        };
        let share = self.body.no_rarer_than_known(which, share?);
        Some(self.scale_error.of_share(share, limit_ma, above))
    }

    /// Share above a limit typed at every station so many days later, where readings were carried along lines.
    #[must_use]
    pub fn share_ahead(&self, limit_ma: f64, days: f64) -> Option<f64> {
        let which = *self.in_use.as_ref().ok()?;
        let lines = self.lines.as_ref()?;
        let ahead = |at: f64| {
            let share = self.body.share_above(which, lines.back(at, days)).ok()?;
            Estimate::new(share, share, share, self.body.level, CARRIED)
        };
        share_over_stations(&self.stations, |_| Some(limit_ma), ahead).map(|e| e.value)
    }

    /// With the error of the scale in every interval.
    fn on_scale_of(mut self, ask: &Ask) -> Self {
        let (error, level) = (ask.scale_error, self.body.level);
        self.scale_error = error;
        let one =
            AtStation { station: 0, units: 1.0, carry: Carry::AS_SHOWN, limit_ma: ask.limit_ma };
        let known = !ask.stations.is_empty();
        self.stations = if known { ask.stations.clone() } else { vec![one] };
        let index = self.quantiles[1].as_ref().zip(self.quantiles[4].as_ref());
        let index = index.map(|(median, reference)| (median.value, reference.value));
        self.performance = self.performance.zip(ask.limit_ma).map(|(e, limit)| match index {
            Some((median, reference)) => error.of_index(e, limit, median, reference),
            None => e,
        });
        let median = index.map(|(median, _)| median);
        self.low = self.low.zip(ask.low_limit_ma).map(|(low, limit)| match median {
            Some(median) => low.with_error(error, &self.body, limit, median),
            None => low,
        });
        self.quantiles = self.quantiles.map(|q| q.map(|e| error.of_current(e)));
        self.apart = self.apart.map(|t| t.with_error(error, level));
        self.together = self.together.map(|t| t.with_error(error, level));
        self.low_side = self.low_side.map(|b| error.of_bounds(b, level));
        self.reject_share = self.share_above_limits();
        self
    }
}

const CARRIED: &str = "readings carried to the last day, leaving out blocks of days";

/// The shares of [`Healthy::quantiles`].
pub const SHARES: [f64; 5] = [0.05, 0.50, 0.95, 0.99, 0.998_65];

/// What is asked about the body.
#[derive(Debug, Clone)]
pub struct Ask {
    /// Edges of the coarsest step, over the whole history.
    pub edges: Edges,
    /// Coarsest step at the typical reading, mA.
    pub step_ma: f64,
    /// The limit in force, mA, which is of the one scale.
    pub limit_ma: Option<f64>,
    /// The low limit in force, mA.
    pub low_limit_ma: Option<f64>,
    /// Whether a slope is established.
    pub slope: bool,
    /// Last day of the period judged.
    pub to: Day,
    /// End of the planning horizon.
    pub horizon: Day,
    /// Longest forecast, in days: as far as the history reaches back.
    pub longest_forecast: Day,
    /// Stations of the units judged, with the limit in force at each; none where readings are as shown.
    pub stations: Vec<AtStation>,
    /// Error of the scale that readings were brought to.
    pub scale_error: ScaleError,
}

/// Answers for the readings judged.
///
/// # Errors
/// Why the body could not be described.
pub fn healthy(judged: &[Reading], ask: &Ask, config: &Config) -> Result<Healthy, NotDone> {
    let data = grouped(judged.iter()).map_err(|_| NotDone::TooFewReadings { found: 0.0 })?;
    if ask.slope
        && let Some(found) = carried(judged, &data, ask, config)
    {
        return Ok(found);
    }
    let body = describe(&data, &ask.edges, &Options::new(config))?;
    Ok(as_it_stands(body, ask, config).on_scale_of(ask))
}

fn end_of_tail(value: f64, low: f64, high: f64, level: f64) -> Option<Estimate> {
    Estimate::new(value, low, high, level, "quantile 1 − a")
}

fn as_it_stands(body: Body, ask: &Ask, config: &Config) -> Healthy {
    let in_use = body.which();
    let a = config.accepted_reject_share;
    let tail = |which: Which| {
        let bounds = body.bounds(which, a).ok()?;
        let two_sided = body.quantile(which, 1.0 - a).ok()?;
        Some(TailNumbers {
            quantile_ma: end_of_tail(bounds.value, two_sided.low, two_sided.high, body.level)?,
            lower_ma: bounds.lower,
            upper_ma: bounds.upper,
            of_step_ma: body.moved_out(which, a, bounds.upper),
            upper_at_horizon_ma: None,
        })
    };
    let counts = body.answers();
    let only = |which: Which| counts.contains(&which).then(|| tail(which)).flatten();
    let (apart, together) = (only(Which::Apart), only(Which::Together));
    let ask_body = |f: &dyn Fn(Which) -> Option<Estimate>| in_use.as_ref().ok().and_then(|w| f(*w));
    let quantiles = SHARES.map(|p| ask_body(&|w| body.quantile(w, p).ok()));
    let performance = ask.limit_ma.and_then(|limit| ask_body(&|w| body.performance(w, limit).ok()));
    let low_side = LowEnd::of(&body).and_then(|end| end.bounds(a)).ok();
    let low = ask.low_limit_ma.map(|limit| LowSide::of(&body, limit));
    Healthy {
        in_use,
        accepted_share: a,
        quantiles,
        apart,
        together,
        low_side,
        reject_share: None,
        reject_share_at_horizon: None,
        performance,
        low,
        crossing: None,
        lines: None,
        ladder: None,
        stations: Vec::new(),
        scale_error: ScaleError::default(),
        body,
    }
}

/// All that is asked of one carried body, in a fixed order.
fn quantities(
    body: &Body,
    answers: &[Which],
    lines: &CarryLines,
    ask: &Ask,
    a: f64,
) -> Vec<Option<f64>> {
    let days = f64::from(ask.horizon - lines.target_day);
    let quantile = |w: Which, p: f64| body.quantile_value(w, p).ok();
    let mut all = Vec::new();
    for which in [Which::Apart, Which::Together] {
        let x = answers.contains(&which).then(|| quantile(which, 1.0 - a)).flatten();
        all.push(x.map(f64::ln));
        all.push(x.map(|x| lines.ahead(x, days)).filter(|x| *x > 0.0).map(f64::ln));
    }
    let used = answers.first().copied();
    for p in SHARES {
        all.push(used.and_then(|w| quantile(w, p)).map(f64::ln));
    }
    // The limit carried back from the horizon, so that its share can be asked of today's body.
    let back = |limit: f64| lines.back(limit, days);
    all.push(ask.limit_ma.and_then(|limit| {
        let (x50, x) = (quantile(used?, 0.5)?, quantile(used?, SHARES[4])?);
        crate::analysis::body::capability::index(limit, x50, x)
    }));
    all.push(ask.limit_ma.and_then(|limit| {
        let x = quantile(used?, 1.0 - a)?;
        days_on_scale(lines.days_to(x, limit))
    }));
    let low = ask.low_limit_ma;
    let alone = answers == [Which::Together];
    all.extend(low_quantities(body, alone, low, low.map(back), a));
    all.extend(
        rungs()
            .into_iter()
            .map(|q| used.and_then(|w| quantile(w, 1.0 - q)).filter(|x| *x > 0.0).map(f64::ln)),
    );
    all
}

/// Places in [`quantities`]: after two answers of two each and five quantiles.
mod at {
    pub const APART: usize = 0;
    pub const TOGETHER: usize = 2;
    pub const QUANTILES: usize = 4;
    pub const PERFORMANCE: usize = 9;
    pub const CROSSING: usize = 10;
    pub const LOW: usize = 11;
    pub const RUNGS: usize = 15;
}

/// Days ahead that are told apart, and where their scale turns from even to that of logarithms: a limit that is reached
/// within days, or has been, is as near in both directions.
const FARTHEST_DAYS: f64 = 1e5;
const EVEN_DAYS: f64 = 20.0;

/// Days until a limit is reached, on the scale of their interval; never, where there are none.
fn days_on_scale(days: Option<f64>) -> Option<f64> {
    let days = days.unwrap_or(FARTHEST_DAYS).clamp(-FARTHEST_DAYS, FARTHEST_DAYS);
    Some((days / EVEN_DAYS).asinh())
}

/// The day on which a limit is reached, from the days until then and their reach to either side on their scale; `None`
/// where that is behind, or further ahead than a forecast goes.
fn crossing(days: f64, reach: f64, ask: &Ask) -> Option<Crossing> {
    #[expect(clippy::cast_possible_truncation, reason = "bounded by the longest forecast")]
    let day = |x: f64| {
        let days = EVEN_DAYS * x.sinh();
        // What may have been reached before the last day is reached.
        (days <= f64::from(ask.longest_forecast)).then(|| ask.to + days.max(0.0).round() as Day)
    };
    let low = day(days - reach)?;
    Some(Crossing { day: day(days).filter(|_| days > 0.0)?, low, high: day(days + reach) })
}

/// The carried answer; `None` where the lines or the body cannot be had.
fn carried(judged: &[Reading], data: &Grouped, ask: &Ask, config: &Config) -> Option<Healthy> {
    let a = config.accepted_reject_share;
    let body_of = |lines: CarryLines, data: &Grouped, how: &Options| {
        let moved = carry(data, &lines, ask.step_ma).ok()?;
        let body = describe(&moved, &Edges::anywhere(), how).ok()?;
        Some((body, lines))
    };
    let seen = Seen::of(judged, ask.to, config.confidence)?;
    let choice = seen.spread_choice();
    let (body, all_lines) = body_of(seen.lines(&choice, 0.0), data, &Options::new(config))?;
    // Without two groups in the whole there is no need to look for them with each block left out.
    let how = if body.groups.is_some() { Options::new(config) } else { Options::plain(config) };
    let answers = body.answers();
    let of = |(body, lines): (Body, CarryLines)| quantities(&body, &answers, &lines, ask, a);
    let value = quantities(&body, &answers, &all_lines, ask, a);
    let days: Vec<Day> = data.days().iter().map(|d| d.day).collect();
    let left_out = leave_out_blocks(&days, |keeps| {
        let rest: Vec<Reading> = judged.iter().filter(|r| keeps(r.day)).copied().collect();
        let lines = Seen::of(&rest, ask.to, config.confidence).map(|s| s.lines(&choice, 0.0));
        let data = grouped(rest.iter()).ok();
        lines.zip(data).and_then(|(l, d)| body_of(l, &d, &how)).map_or_else(Vec::new, of)
    })?;
    // As far off as the choice may be.
    let moved = body_of(seen.lines(&choice, choice.error), data, &how).map_or_else(Vec::new, of);
    let of_choice = |n: usize| {
        let moved = moved.get(n).copied().flatten();
        moved.zip(value[n]).map_or(0.0, |(moved, value)| moved - value)
    };
    let df = left_out.degrees_of_freedom();
    let error = |n: usize| left_out.variance(n).map(|v| v.sqrt().hypot(of_choice(n)));
    let two_sided = student_t_quantile(0.5 + config.confidence / 2.0, df);
    let one_sided = student_t_quantile(config.confidence, df);
    let level = config.confidence;
    let method = CARRIED;
    let estimate = |n: usize, back: &dyn Fn(f64) -> f64| {
        let (v, e) = (value[n]?, error(n)?);
        Estimate::new(back(v), back(v - two_sided * e), back(v + two_sided * e), level, method)
    };
    let exp = |x: f64| x.exp();
    let tail = |n: usize| {
        let (v, e) = (value[n]?, error(n)?);
        let at = |t: f64| (v + t * e).exp();
        Some(TailNumbers {
            quantile_ma: end_of_tail(v.exp(), at(-two_sided), at(two_sided), level)?,
            lower_ma: (v - one_sided * e).exp(),
            upper_ma: (v + one_sided * e).exp(),
            of_step_ma: 0.0,
            upper_at_horizon_ma: value[n + 1]
                .zip(error(n + 1))
                .map(|(v, e)| (v + one_sided * e).exp()),
        })
    };
    let of_tail = if answers.first() == Some(&Which::Together) { at::TOGETHER } else { at::APART };
    let reading = value[of_tail].map(f64::exp);
    let crossing = value[at::CROSSING].zip(error(at::CROSSING)).and_then(|(v, e)| {
        // On the scale of days, which is that of their logarithm only far ahead.
        let of_scale = ask.scale_error.of_log_days(0.0, ask.limit_ma?, reading?) * v.tanh();
        crossing(v, two_sided * e.hypot(of_scale), ask)
    });
    // Blocks are left out of one answer at a time: its intervals do not reach as far as the other's.
    let mut plain = as_it_stands(Body { told: true, ..body }, ask, config);
    plain.apart = tail(at::APART);
    plain.together = tail(at::TOGETHER);
    let q = at::QUANTILES;
    plain.quantiles = [q, q + 1, q + 2, q + 3, q + 4].map(|n| estimate(n, &exp));
    let intervals: Vec<Option<(f64, f64)>> = (at::RUNGS..value.len())
        .map(|n| {
            let (v, e) = (value[n]?, error(n)?);
            Some(((v - two_sided * e).exp(), (v + two_sided * e).exp()))
        })
        .collect();
    plain.ladder = ShareLadder::new(&intervals, level);
    plain.lines = Some(all_lines);
    plain.performance = estimate(at::PERFORMANCE, &|x| x);
    let odds = |x: f64| 1.0 / (1.0 + (-x).exp());
    plain.low = plain.low.map(|low| {
        low.carried(
            estimate(at::LOW, &|x| x),
            estimate(at::LOW + 1, &odds),
            value[at::LOW + 2].map(odds),
        )
    });
    let n = at::LOW + 3;
    let low_end = value[n].zip(error(n)).map(|(v, e)| {
        let at = |t: f64| (v + t * e).exp();
        Bounds { value: at(0.0), lower: at(-one_sided), upper: at(one_sided) }
    });
    plain.low_side = low_end.or(plain.low_side);
    plain.crossing = crossing;
    let mut plain = plain.on_scale_of(ask);
    let days = f64::from(ask.horizon - all_lines.target_day);
    plain.reject_share_at_horizon = ask.limit_ma.and_then(|limit| plain.share_ahead(limit, days));
    Some(plain)
}
