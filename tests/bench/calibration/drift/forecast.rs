//! Whether the forecast's interval holds the day on which rejects pass the accepted share: readings of known
//! truth through points, shape, the period judged and the carried body, as a review does.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use leakdrift::analysis::body::healthy::{Ask, Crossing, healthy};
use leakdrift::analysis::body::offsets::ScaleError;
use leakdrift::config::Config;
use leakdrift::day::{Day, date_of, day_number};
use leakdrift::movement::drift::{PointUnits, ReadingLine, Shape, assess, day_points};
use leakdrift::movement::edges::Edges;
use leakdrift::movement::material::{Step, established};
use leakdrift::movement::period::{DayUnits, horizon_end, judged_from};
use leakdrift::movement::readings::Reading;
use leakdrift::series::Says;
use rand_distr::{Distribution, Poisson, StandardNormal};
use rand_pcg::Pcg64;
use rayon::prelude::*;
use statrs::function::erf::erfc;

use super::daily::{calendar, generator};
use super::{Plan, Table, middle, options, percent};

/// Reading step, mA.
const STEP_MA: f64 = 0.001;
/// The accepted share of healthy units rejected.
const ACCEPTED: f64 = 0.001;

/// Where the readings come from.
#[derive(Clone, Copy)]
enum Law {
    /// Normal about a line of constant spread.
    Line {
        /// Change of the level by the last day, in standard deviations of a unit.
        rise: f64,
        /// Lag-1 correlation of daily levels of 0.25 of that standard deviation.
        rho: f64,
    },
    /// Normal about a line that rises a long way, by daily levels of 0.25 of the spread within days.
    Grows {
        /// Rise by the last day, of the first level.
        rise: f64,
        /// Standard deviation of a unit on the first day, of the level then.
        sd: f64,
        /// Lag-1 correlation of the daily levels.
        rho: f64,
        /// Whether units spread in proportion to the level, as a load that all share makes it; else as on the first
        /// day, as a current that is added in phase does.
        in_proportion: bool,
    },
    /// A capacitive current and, from day 65 on, a growing resistive one, at right angles.
    Moisture,
}

/// Part of the history that is done by a day.
fn done(day: Day, days: usize) -> f64 {
    f64::from(day - calendar(0)) / f64::from(calendar(days - 1) - calendar(0))
}

/// Standard deviation of a unit about the line, mA, at a typical reading of 1 mA.
const UNIT_SD: f64 = 0.025;
/// Daily levels, in standard deviations of a unit.
const LEVELS: f64 = 0.25;
/// Moisture begins to grow on production day 65, 2025-12-01.
const BEGINS: usize = 65;

fn above(z: f64) -> f64 {
    erfc(z / std::f64::consts::SQRT_2) / 2.0
}

impl Law {
    fn units_a_day(self) -> f64 {
        match self {
            Self::Line { .. } | Self::Grows { .. } => 24.0,
            Self::Moisture => 34.0,
        }
    }

    /// Share of units that read above `limit` on `day`, `days` the production days of the history.
    fn share(self, day: Day, days: usize, limit: f64) -> f64 {
        match self {
            Self::Line { rise, .. } => {
                let sd = UNIT_SD * 1.0_f64.hypot(LEVELS);
                above((limit - 1.0 - rise * UNIT_SD * done(day, days)) / sd)
            }
            Self::Grows { rise, sd, in_proportion, .. } => {
                let level = 1.0 + rise * done(day, days);
                let sd = sd * 1.0_f64.hypot(LEVELS) * if in_proportion { level } else { 1.0 };
                above((limit - level) / sd)
            }
            Self::Moisture => {
                // Over the resistive current by steps of a twentieth of its standard deviation; the noise of
                // the reading by the three points of Gauss and Hermite.
                let typical = moisture(day);
                let mut share = 0.0;
                let mut weights = 0.0;
                for k in -120..=120 {
                    let z = f64::from(k) / 20.0;
                    let weight = (-z * z / 2.0).exp();
                    weights += weight;
                    let leak = typical * (MOISTURE_SD * z).exp();
                    for (at, part) in [
                        (0.0, 2.0 / 3.0),
                        (3.0_f64.sqrt(), 1.0 / 6.0),
                        (-(3.0_f64.sqrt()), 1.0 / 6.0),
                    ] {
                        let rest = (limit / (1.0 + NOISE * at)).powi(2) - leak * leak;
                        let unit = rest.max(0.0).sqrt() - LEAD;
                        share += weight
                            * part
                            * if unit > 0.0 {
                                above((unit / CAPACITIVE).ln() / 0.042_f64.hypot(0.004))
                            } else {
                                1.0
                            };
                    }
                }
                share / weights
            }
        }
    }

    /// Readings of the history, not yet shown in steps.
    fn readings(self, days: usize, chance: &mut Pcg64) -> Vec<(Day, f64)> {
        let units = Poisson::new(self.units_a_day()).expect("a mean above 0");
        let mut level: f64 = StandardNormal.sample(chance);
        let mut lot: f64 = 0.0;
        let mut out = Vec::new();
        for n in 0..days {
            let day = calendar(n);
            let news: f64 = StandardNormal.sample(chance);
            if let Self::Line { rho, .. } | Self::Grows { rho, .. } = self
                && n > 0
            {
                level = rho * level + (1.0 - rho * rho).sqrt() * news;
            }
            if n % 10 == 0 {
                lot = 0.004 * news;
            }
            let count: f64 = units.sample(chance);
            for _ in 0..count as usize {
                let mut normal = || -> f64 { StandardNormal.sample(chance) };
                out.push((
                    day,
                    match self {
                        Self::Line { rise, .. } => {
                            1.0 + UNIT_SD * (rise * done(day, days) + LEVELS * level + normal())
                        }
                        Self::Grows { rise, sd, in_proportion, .. } => {
                            let typical = 1.0 + rise * done(day, days);
                            let sd = sd * if in_proportion { typical } else { 1.0 };
                            typical + sd * (LEVELS * level + normal())
                        }
                        Self::Moisture => {
                            let capacitive = CAPACITIVE * (lot + 0.042 * normal()).exp() + LEAD;
                            let leak = moisture(day) * (MOISTURE_SD * normal()).exp();
                            capacitive.hypot(leak) * (1.0 + NOISE * normal())
                        }
                    },
                ));
            }
        }
        out
    }
}

/// 0.62 nF at 1250 V 50 Hz, and 60 pF of leads, mA.
const CAPACITIVE: f64 = 0.243_473;
const LEAD: f64 = 0.023_562;
const MOISTURE_SD: f64 = 0.22;
const NOISE: f64 = 0.003;

/// Typical resistive current, mA: 0.100, from December 2025 on 0.020 more a month.
fn moisture(day: Day) -> f64 {
    0.100 + 0.020 * f64::from((day - calendar(BEGINS)).max(0)) / 30.44
}

struct Case {
    law: Law,
    days: usize,
    /// Days after the last one on which the true share passes; `None`: never.
    ahead: Option<Day>,
    /// The limit, where it is not chosen by the day.
    limit: Option<f64>,
    words: String,
}

fn cases() -> Vec<Case> {
    let mut cases = Vec::new();
    for (days, ahead) in [(120, 60), (280, 120)] {
        for rho in [0.0, 0.6] {
            cases.push(Case {
                law: Law::Line { rise: 4.0, rho },
                days,
                ahead: Some(ahead),
                limit: None,
                words: format!("line, {days} days, rises 4 sd, correlation {rho}"),
            });
        }
    }
    for in_proportion in [true, false] {
        for (days, ahead, rise, sd) in
            [(120, 60, 0.5, 0.04), (250, 90, 0.25, 0.06), (250, 120, 0.6, 0.03)]
        {
            for rho in [0.0, 0.5] {
                let how = if in_proportion { "in proportion" } else { "by addition" };
                cases.push(Case {
                    law: Law::Grows { rise, sd, rho, in_proportion },
                    days,
                    ahead: Some(ahead),
                    limit: None,
                    words: format!(
                        "grows {how}, {days} days, by {rise}, spread {sd}, correlation {rho}"
                    ),
                });
            }
        }
    }
    for ahead in [93, 200] {
        cases.push(Case {
            law: Law::Moisture,
            days: 303,
            ahead: Some(ahead),
            limit: None,
            words: "moisture at right angles".to_owned(),
        });
    }
    for (rise, words) in [(0.0, "steady"), (-4.0, "line that falls by 4 sd")] {
        cases.push(Case {
            law: Law::Line { rise, rho: 0.3 },
            days: 280,
            ahead: None,
            limit: Some(1.0 + 4.5 * UNIT_SD),
            words: format!("{words}, 280 days"),
        });
    }
    cases.push(Case {
        law: Law::Line { rise: 4.0, rho: 0.3 },
        days: 280,
        ahead: Some(1_200),
        limit: None,
        words: "line, 280 days, rises 4 sd, reached beyond the longest forecast".to_owned(),
    });
    cases
}

/// What one series said.
struct Said {
    shape: Option<Shape>,
    carried: bool,
    crossing: Option<Crossing>,
    /// Whether the begin's interval holds the day on which moisture begins.
    began: Option<bool>,
    /// Day printed, first and last of its interval.
    since: Option<(Day, Day, Day)>,
}

fn ask(case: &Case, limit: f64, n: u64, chance: &mut Pcg64, config: &Config) -> Said {
    let rules = Config::default();
    let mut tally: BTreeMap<(Day, i64, bool), f64> = BTreeMap::new();
    for (day, reading) in case.law.readings(case.days, chance) {
        let shown = (reading / STEP_MA).round().max(0.0);
        let trips = shown * STEP_MA > limit * (1.0 + 1e-9);
        *tally.entry((day, if trips { 0 } else { shown as i64 }, trips)).or_default() += 1.0;
    }
    let readings: Vec<Reading> = tally
        .iter()
        .map(|(&(day, shown, trips), &count)| Reading {
            day,
            station: 0,
            ma: if trips { limit } else { shown as f64 * STEP_MA },
            step_ma: STEP_MA,
            says: if trips { Says::Above } else { Says::Value },
            count,
        })
        .collect();
    let lines: Vec<ReadingLine> = readings
        .iter()
        .map(|r| ReadingLine {
            day: r.day,
            centre_ma: r.ma,
            tripped: r.says == Says::Above,
            step_ma: STEP_MA,
            count: r.count,
        })
        .collect();
    let points = day_points(&lines, &BTreeMap::new(), PointUnits { daily: 5.0, weekly: 10.0 });
    let drift = assess(&points, &options(n));
    let certain = drift.p_value <= 0.05;
    let x50 = {
        let mut last: Vec<f64> = points.iter().rev().take(25).map(|p| p.value_ma).collect();
        last.sort_by(f64::total_cmp);
        last[last.len() / 2]
    };
    let steps: Vec<NaiveDate> = drift
        .steps
        .iter()
        .map(|s| Step { date: date_of(s.day), size_ma: s.size_ma.value, adjusted_p: drift.p_value })
        .filter(|s| established(s, x50, Some(limit), &rules))
        .map(|s| s.date)
        .collect();
    let mut units: BTreeMap<Day, f64> = BTreeMap::new();
    for r in &readings {
        *units.entry(r.day).or_default() += r.count;
    }
    let days: Vec<DayUnits> =
        units.iter().map(|(day, n)| DayUnits { day: date_of(*day), units: *n as u64 }).collect();
    let first = points.first().map_or(0, |p| p.day);
    let period = judged_from(&steps, &days, false, &rules).expect("days with units");
    let (from, to) = (day_number(period.judged.from), day_number(period.judged.to));
    let carried = certain
        && matches!(drift.shape, Some(Shape::Slope | Shape::SlopeAndStep))
        && drift.per_month_ma.as_ref().is_some_and(|m| {
            m.value.abs() * f64::from(rules.horizon_months) >= rules.material_steps * STEP_MA
        });
    let judged: Vec<Reading> =
        readings.iter().filter(|r| (from..=to).contains(&r.day)).copied().collect();
    let edges = Edges::uniform(STEP_MA);
    let ask = Ask {
        edges: edges.clone(),
        step_ma: STEP_MA,
        limit_ma: Some(limit),
        low_limit_ma: None,
        slope: carried,
        to,
        horizon: day_number(horizon_end(date_of(first), date_of(to), &rules)),
        longest_forecast: to - first,
        stations: Vec::new(),
        scale_error: ScaleError::default(),
    };
    let begins = calendar(BEGINS);
    Said {
        shape: drift.shape,
        carried,
        crossing: carried
            .then(|| healthy(&judged, &ask, config).ok())
            .flatten()
            .and_then(|h| h.crossing),
        began: (drift.shape == Some(Shape::Slope))
            .then(|| Some(drift.since_low? <= begins && begins <= drift.since_high?))
            .flatten(),
        since: drift
            .since
            .zip(drift.since_low)
            .zip(drift.since_high)
            .map(|((at, low), high)| (at, low, high)),
    }
}

/// Prints the table.
pub fn run(plan: &Plan) {
    let mut table = Table::new(&[
        "the day on which rejects pass 0.1 %",
        "carried along a slope, %",
        "forecast given, %",
        "interval holds, %",
        "ends too early",
        "begins too late",
        "open, %",
        "days of a closed interval",
        "error of the day, days (sign)",
    ]);
    let config = Config::default();
    let mut begins = Vec::new();
    for case in cases() {
        let last = calendar(case.days - 1);
        let limit = case.limit.unwrap_or_else(|| {
            let day = last + case.ahead.unwrap_or(0);
            let (mut low, mut high) = (0.1, 100.0);
            for _ in 0..100 {
                let limit = f64::midpoint(low, high);
                // A reading is shown in steps: what trips is what is shown above the limit.
                if case.law.share(day, case.days, limit + STEP_MA / 2.0) > ACCEPTED {
                    low = limit;
                } else {
                    high = limit;
                }
            }
            // Limits are set in steps.
            (low / STEP_MA).round() * STEP_MA
        });
        let truth = (0..5_000)
            .map(|n| last + n)
            .find(|day| case.law.share(*day, case.days, limit + STEP_MA / 2.0) > ACCEPTED);
        let words = match truth {
            Some(day) => format!("{}; in {} days", case.words, day - last),
            None => format!("{}; never", case.words),
        };
        if !plan.wants(&format!("forecast: {words}")) {
            continue;
        }
        // Each takes seconds: its body is described anew for every block left out.
        let all: Vec<Said> = (0..plan.replicates.div_ceil(10) as u64)
            .into_par_iter()
            .map(|n| ask(&case, limit, n, &mut generator(plan.seed, &words, n), &config))
            .collect();
        let n = all.len();
        let given: Vec<Crossing> = all.iter().filter_map(|s| s.crossing).collect();
        let day = truth.unwrap_or(Day::MAX);
        let early = given.iter().filter(|c| c.high.is_some_and(|h| h < day)).count();
        let late = given.iter().filter(|c| c.low > day).count();
        table.row(&[
            words.clone(),
            percent(all.iter().filter(|s| s.carried).count(), n),
            percent(given.len(), n),
            percent(given.len() - early - late, given.len()),
            percent(early, given.len()),
            percent(late, given.len()),
            percent(given.iter().filter(|c| c.high.is_none()).count(), given.len()),
            middle(given.iter().filter_map(|c| Some(f64::from(c.high? - c.low))).collect(), 0),
            match truth {
                Some(day) => middle(given.iter().map(|c| f64::from(c.day - day)).collect(), 0),
                None => "–".to_owned(),
            },
        ]);
        if matches!(case.law, Law::Moisture) {
            begins.extend(all);
        }
    }
    if !begins.is_empty() {
        began(&begins);
    }
}

/// When the moisture began, as printed.
fn began(all: &[Said]) {
    let mut table = Table::new(&[
        "moisture from 2025-12-01",
        "slope, %",
        "interval holds the day, %",
        "day printed less the true one, median",
        "days of the interval",
    ]);
    let true_day = calendar(BEGINS);
    let slopes: Vec<&Said> = all.iter().filter(|s| s.shape == Some(Shape::Slope)).collect();
    let since: Vec<(Day, Day, Day)> = slopes.iter().filter_map(|s| s.since).collect();
    table.row(&[
        format!("{} series", all.len()),
        percent(slopes.len(), all.len()),
        percent(slopes.iter().filter(|s| s.began == Some(true)).count(), slopes.len()),
        middle(since.iter().map(|s| f64::from(s.0 - true_day)).collect(), 0),
        middle(since.iter().map(|s| f64::from(s.2 - s.1)).collect(), 0),
    ]);
}
