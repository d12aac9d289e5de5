//! What the healthy units of one series read in the period judged, as numbers with intervals; where a
//! slope is established, of the last day of that period.

use crate::analysis::NotDone;
use crate::analysis::body::carry::{CarryLines, SpreadLine, carry, leave_out_blocks};
use crate::analysis::body::describe::{Body, Options, Which, describe};
use crate::analysis::body::low_side::{LowEnd, LowSide, low_quantities};
use crate::analysis::body::offsets::{AtStation, ScaleError, share_over_stations};
use crate::analysis::body::share_ladder::{ShareLadder, rungs};
use crate::config::Config;
use crate::day::Day;
use crate::movement::edges::Edges;
use crate::movement::readings::{Reading, grouped};
use crate::movement::scale::Carry;
use crate::series::Says;
use crate::stats::estimate::Estimate;
use crate::stats::sample::Grouped;
use crate::stats::special::student_t_quantile;
use crate::stats::tail::Bounds;
use crate::stats::trend::correlated_trend;

/// The reading that all but the accepted share stay under.
#[derive(Debug, Clone, PartialEq)]
pub struct TailNumbers {
    /// The estimate.
    pub quantile_ma: Estimate,
    /// `L`.
    pub lower_ma: f64,
    /// `U`.
    pub upper_ma: f64,
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
        Some(self.scale_error.of_share(share?, limit_ma, above))
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

/// Straight lines of the period: daily medians and, where it moves with certainty, weekly spread.
#[must_use]
pub fn lines(judged: &[Reading], target: Day, level: f64) -> Option<CarryLines> {
    let mut x = Vec::new();
    let mut y = Vec::new();
    for day in judged.chunk_by(|a, b| a.day == b.day) {
        if day.iter().map(|r| r.count).sum::<f64>() < 3.0 {
            continue;
        }
        if let Some(median) = BySize::new(day).quantile(0.5) {
            x.push(f64::from(day[0].day - target));
            y.push(median);
        }
    }
    let median = correlated_trend(&x, &y, level)?;
    let (mut wx, mut wy) = (Vec::new(), Vec::new());
    for week in judged.chunk_by(|a, b| (a.day + 3).div_euclid(7) == (b.day + 3).div_euclid(7)) {
        if week.iter().map(|r| r.count).sum::<f64>() < 20.0 {
            continue;
        }
        let week_by_size = BySize::new(week);
        let upper = week_by_size.quantile(0.841_344_746);
        if let Some((upper, middle)) = upper.zip(week_by_size.quantile(0.5)) {
            wx.push(f64::from((week[0].day + 3).div_euclid(7)) - f64::from(target + 3) / 7.0);
            wy.push(upper - middle);
        }
    }
    let spread = correlated_trend(&wx, &wy, level)
        .filter(|t| t.p_value <= 1.0 - level)
        .map(|t| SpreadLine { at_target: t.line.at(0.0), per_week: t.line.slope.value })
        .filter(|s| s.at_target > 0.0);
    Some(CarryLines {
        target_day: target,
        median: median.line.at(0.0),
        median_per_day: median.line.slope.value,
        spread,
    })
}

/// Readings in order of size, for quantiles.
pub struct BySize<'a> {
    total: f64,
    readings: Vec<(f64, &'a Reading)>,
}

impl<'a> BySize<'a> {
    /// Sorts a group of readings; trips lie above all others.
    #[must_use]
    pub fn new(group: &'a [Reading]) -> Self {
        let place = |r: &Reading| match r.says {
            Says::Above => f64::INFINITY,
            Says::Below => r.ma - r.step_ma,
            Says::Value => r.ma,
        };
        let mut readings: Vec<_> = group.iter().map(|r| (place(r), r)).collect();
        readings.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { total: group.iter().map(|r| r.count).sum(), readings }
    }

    /// Quantile in mA, interpolated inside the reading step; `None` where it lies among trips.
    #[must_use]
    pub fn quantile(&self, p: f64) -> Option<f64> {
        let want = p * self.total;
        let mut before = 0.0;
        for same in self.readings.chunk_by(|(_, a), (_, b)| a.ma == b.ma && a.says == b.says) {
            let count: f64 = same.iter().map(|(_, r)| r.count).sum();
            if before + count >= want {
                let first = same[0].1;
                return (first.says == Says::Value)
                    .then(|| first.ma + first.step_ma * ((want - before) / count - 0.5));
            }
            before += count;
        }
        None
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
        let per_day = lines.median_per_day
            + (x - lines.median) * lines.spread.map_or(0.0, |s| s.per_week / 7.0 / s.at_target);
        let days = (limit - x) / per_day;
        (days > 0.0 && days.is_finite()).then(|| days.ln())
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

/// The carried answer; `None` where the lines or the body cannot be had.
fn carried(judged: &[Reading], data: &Grouped, ask: &Ask, config: &Config) -> Option<Healthy> {
    let a = config.accepted_reject_share;
    let body_of = |rows: &[Reading], data: &Grouped, how: &Options| {
        let lines = lines(rows, ask.to, config.confidence)?;
        let moved = carry(data, &lines, ask.step_ma).ok()?;
        let body = describe(&moved, &Edges::anywhere(), how).ok()?;
        Some((body, lines))
    };
    let (body, all_lines) = body_of(judged, data, &Options::new(config))?;
    // Without two groups in the whole there is no need to look for them with each block left out.
    let how = if body.groups.is_some() { Options::new(config) } else { Options::plain(config) };
    let answers = body.answers();
    let value = quantities(&body, &answers, &all_lines, ask, a);
    let days: Vec<Day> = data.days().iter().map(|d| d.day).collect();
    let left_out = leave_out_blocks(&days, |keeps| {
        let rest: Vec<Reading> = judged.iter().filter(|r| keeps(r.day)).copied().collect();
        let carried = grouped(rest.iter()).ok().and_then(|data| body_of(&rest, &data, &how));
        carried.map_or_else(Vec::new, |(body, lines)| quantities(&body, &answers, &lines, ask, a))
    })?;
    let df = left_out.degrees_of_freedom();
    let error = |n: usize| left_out.variance(n).map(f64::sqrt);
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
            upper_at_horizon_ma: value[n + 1]
                .zip(error(n + 1))
                .map(|(v, e)| (v + one_sided * e).exp()),
        })
    };
    let of_tail = if answers.first() == Some(&Which::Together) { at::TOGETHER } else { at::APART };
    let reading = value[of_tail].map(f64::exp);
    let crossing = value[at::CROSSING].zip(error(at::CROSSING)).and_then(|(v, e)| {
        let e = ask.scale_error.of_log_days(e, ask.limit_ma?, reading?);
        #[expect(clippy::cast_possible_truncation, reason = "bounded by the longest forecast")]
        let day = |x: f64| {
            let days = x.exp();
            (days <= f64::from(ask.longest_forecast)).then(|| ask.to + days.round() as Day)
        };
        Some(Crossing { day: day(v)?, low: day(v - two_sided * e)?, high: day(v + two_sided * e) })
    });
    let mut plain = as_it_stands(body, ask, config);
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
