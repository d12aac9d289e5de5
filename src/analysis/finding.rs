//! Everything asked of one series, once it is known which period is judged.

use rayon::prelude::*;

use crate::analysis::NotDone;
use crate::analysis::body::capability::{Capability, Index};
use crate::analysis::body::describe::{Options, describe};
use crate::analysis::body::distribution::{Distribution, Goodness};
use crate::analysis::body::healthy::{Ask, Healthy, healthy};
use crate::analysis::body::low_side::{AgainstLowLimit, UnderLimit, under_limit};
use crate::analysis::body::offsets::{AtStation, ScaleError};
use crate::analysis::body::rise::{Rise, RiseAsked, may_rise, rise};
use crate::analysis::body::seen::Seen;
use crate::analysis::body::stations::{StationOfSeries, stations as each_station};
use crate::analysis::body::tally::PeriodTally;
use crate::analysis::jump::over_time::{Stretch, over_time};
use crate::analysis::jump::{self, Jump, Scope};
use crate::analysis::month::change::{Before, MonthChange, baseline_days, month_change};
use crate::analysis::month::table::{Month, months};
use crate::analysis::month::yields::{Cost, Yield, costs, yields};
use crate::analysis::units::calibration::{Covered, calibrations};
use crate::analysis::units::causes::{Cause, causes, without};
use crate::analysis::units::checks::{StationChecks, checks};
use crate::analysis::units::doubt::{Doubt, doubts};
use crate::analysis::units::gaps::{Gap, gaps};
use crate::analysis::units::happenings::{Happenings, Recorded, of_series};
use crate::analysis::units::leads::{OpenLeads, open_leads};
use crate::analysis::units::practice::{Practice, practice};
use crate::analysis::units::settings::{SettingsRecord, settings};
use crate::analysis::units::strays::{Levels, StrayList, strays};
use crate::analysis::units::too_good::{TooGood, too_good};
use crate::config::Config;
use crate::day::Day;
use crate::day::{first_of, month_of};
use crate::movement::check_record::check_records;
use crate::movement::drift::Shape;
use crate::movement::readings::{Reading, coarsest_step, edges, grouped, ma, readings};
use crate::movement::stations::SeriesFacts;
use crate::movement::{Movement, Period, SeriesMovement};
use crate::progress::{Stage, Tell, Things};
use crate::series::{OutcomeLine, Pass, Register, Says, UnderLimitLine};
use crate::stats::goodness::{bootstrap, largest_gap};
use crate::words::numbers::whole;

/// Everything found out about one series.
#[derive(Debug)]
pub struct Finding {
    /// The period judged.
    pub period: Period,
    /// Units in it.
    pub units_judged: f64,
    /// Production days in it.
    pub days_judged: u64,
    /// Lots in it, where lots are known.
    pub lots_judged: Option<u64>,
    /// Lots whose failures stand out: no part of the body.
    pub causes: Vec<Cause>,
    /// Trips in it at the limit in force, without those lots.
    pub trips_judged: f64,
    /// Its units by reading, without those lots.
    pub tally: PeriodTally,
    /// The healthy body, or why there is none.
    pub healthy: Result<Healthy, NotDone>,
    /// The body as it is told.
    pub distribution: Option<Distribution>,
    /// Whether the product rose with nothing to explain it, and what it read before.
    pub rise: Option<Rise>,
    /// The readings may be rising: too little for a rise, too much to raise a limit on.
    pub may_rise: bool,
    /// The index against the high limit in force.
    pub capability: Option<Capability>,
    /// The low limit in force against healthy units and results; `None` where there is none.
    pub against_low: Option<AgainstLowLimit>,
    /// What the units of the period came to.
    pub seen: Seen,
    /// Results under the low limit in force in the period; `None` where there is none.
    pub observed_low: Option<Result<UnderLimit, NotDone>>,
    /// What was recorded in the time of each step, in their order.
    pub step_events: Vec<Option<String>>,
    /// Strays over the whole history.
    pub strays: StrayList,
    /// Retests.
    pub practice: Practice,
    /// Each station of the period, at its own scale.
    pub stations: Vec<StationOfSeries>,
    /// The same stations, with how their readings come to the scale of the series.
    pub at_stations: Vec<AtStation>,
    /// Month by month.
    pub months: Vec<Month>,
    /// Failures month by month; by weeks where the history is short.
    pub failures: Vec<Stretch>,
    /// The month under review against the time before it; `None` where it has no unit, or none is reviewed.
    pub month: Option<MonthChange>,
    /// Highest open-lead reading among its stations, mA.
    pub open_lead_ma: Option<f64>,
    /// Under-limit results of the period clear above the open-lead reading.
    pub healthy_under_limit: u64,
    /// Coarsest step at the typical reading, mA.
    pub step_ma: f64,
    /// Voltage and frequency.
    pub facts: SeriesFacts,
}

impl Finding {
    /// Units judged per month of the period.
    #[must_use]
    pub fn units_per_month(&self) -> f64 {
        self.period.units_per_month(self.units_judged)
    }
}

/// All findings.
#[derive(Debug)]
pub struct Findings {
    /// One entry per series of the pass.
    pub series: Vec<Finding>,
    /// Check loads by station; `None` where none are named.
    pub checks: Option<Vec<StationChecks>>,
    /// The calibration register against the tests; `None` without a register.
    pub calibrations: Option<Vec<Covered>>,
    /// Passes of testers that read too low.
    pub doubts: Vec<Doubt>,
    /// What was set, when it changed and where it differs.
    pub settings: SettingsRecord,
    /// What is too good to be true.
    pub too_good: TooGood,
    /// Production days without rows where a station's habit predicts some.
    pub gaps: Vec<Gap>,
    /// Changes of the share of failures; empty where none are asked for.
    pub jumps: Vec<Jump>,
    /// First-pass yield by month, family and station; none where no month is under review.
    pub yields: Vec<Yield>,
    /// What good units that were rejected cost, by model and month.
    pub costs: Vec<Cost>,
}

impl Findings {
    /// The largest jump in the failures of a series that is still felt.
    #[must_use]
    pub fn largest_jump(&self, series: usize) -> Option<&Jump> {
        let size = |j: &Jump| (j.after.share.value - j.before.share.value).abs();
        let of_series = |j: &&Jump| matches!(j.scope, Scope::Series(n) if n as usize == series);
        self.jumps.iter().filter(of_series).max_by(|a, b| size(a).total_cmp(&size(b)))
    }

    /// What was recorded about the whole plant.
    #[must_use]
    pub fn recorded<'a>(&'a self, register: &'a Register) -> Recorded<'a> {
        Recorded { register, settings: &self.settings, calibrations: self.calibrations.as_deref() }
    }
}

/// What findings are made from beside the pass.
#[derive(Debug, Clone, Copy)]
pub struct Known<'a> {
    /// What moved.
    pub movement: &'a Movement,
    /// Events and calibrations.
    pub register: &'a Register,
    /// Month under review; `None` where none is.
    pub month: Option<(i32, u32)>,
    /// What is asked about jumps in failures; `None` where nothing is.
    pub jumps: Option<&'a jump::Asked>,
}

/// Asks everything of every series.
#[must_use]
pub fn findings(pass: &Pass, known: &Known<'_>, config: &Config, tell: &Tell<'_>) -> Findings {
    let each = Things::new(tell, Stage::Ask, pass.series.len());
    let facts = crate::movement::facts(pass);
    let leads = open_leads(pass, &facts, config);
    let calibrations = calibrations(pass, known.register);
    let settings = settings(pass, config);
    let recorded = Recorded {
        register: known.register,
        settings: &settings,
        calibrations: calibrations.as_deref(),
    };
    let series: Vec<Finding> = known
        .movement
        .series
        .par_iter()
        .enumerate()
        .map(|(n, _)| finding(pass, n, known, &recorded, &leads, facts[n], config))
        .inspect(|_| each.one_more())
        .collect();
    let found = known.jumps.map_or_else(Vec::new, |asked| jump::jumps(pass, asked));
    let jumps = found
        .into_iter()
        .map(|j| {
            let Scope::Series(n) = j.scope else { return j };
            let n = n as usize;
            let (before, after, step_ma) = (j.before.window, j.after.window, series[n].step_ma);
            let readings = jump::readings::readings(&pass.series[n], before, after, step_ma);
            Jump { readings: Some(readings), ..j }
        })
        .collect();
    Findings {
        jumps,
        series,
        yields: known.month.map_or_else(Vec::new, |month| yields(pass, month, config)),
        costs: costs(pass, config),
        checks: checks(pass, check_records(pass, config), &leads, config),
        gaps: gaps(pass),
        doubts: doubts(
            pass,
            known.movement.stations.as_ref().ok(),
            calibrations.as_deref(),
            config.tester.accuracy_pct,
        ),
        calibrations,
        settings,
        too_good: too_good(pass, known.movement, config),
    }
}

/// The readings that a series' body is asked of in the period judged, and what is asked.
#[derive(Debug)]
pub struct Asked {
    /// All its readings as shown, sorted by day.
    pub shown: Vec<Reading>,
    /// Readings of the whole history on the one scale, units of causes left out; sorted by day.
    pub kept: Vec<Reading>,
    /// Those of the period, with healthy units under a low limit; sorted by day.
    pub judged: Vec<Reading>,
    /// Trips of the period at the limit in force.
    pub trips_at_limit: f64,
    /// What is asked about them.
    pub ask: Ask,
    /// Highest open-lead reading among its stations, mA.
    pub open_lead_ma: Option<f64>,
    /// Under-limit results of the period clear above the open-lead reading.
    pub healthy_under_limit: u64,
    /// Lots whose failures stand out: no part of the body.
    pub causes: Vec<Cause>,
}

/// Gathers what one series' body is asked with; `leads` and `facts` are of the whole plant.
#[must_use]
pub fn asked(
    pass: &Pass,
    n: usize,
    moved: &SeriesMovement,
    leads: &OpenLeads,
    facts: SeriesFacts,
) -> Asked {
    let (series, judge) = (&pass.series[n], &moved.period);
    let low_pa = moved.limits.now.low_pa.filter(|low| *low > 0);
    let inside = |day: Day| (judge.from..=judge.to).contains(&day);
    let causes = causes(pass, n);
    let readings = readings(pass, n);
    let stations = &moved.used_at;
    let open_lead_ma = leads.highest(stations, facts);
    // Clear above an unconnected lead; all where that is not known.
    let clear: Vec<&UnderLimitLine> = series
        .under_limit
        .iter()
        .filter(|l| inside(l.day) && open_lead_ma.is_none_or(|open| ma(l.value_pa) > 1.5 * open))
        .collect();
    let shown = without(pass, n, &readings, &causes);
    let limit_ma = moved.limits.now.high_pa.map(ma);
    let at_limit = |r: &&Reading| {
        r.says == Says::Above
            && inside(r.day)
            && limit_ma.is_some_and(|l| (r.ma - l).abs() <= 1e-9 * l)
    };
    let trips_at_limit = shown.iter().filter(at_limit).map(|r| r.count).sum();
    let edges = edges(pass, n, stations);
    let kept = moved.scale.on_edges(&shown, &edges);
    let mut judged: Vec<Reading> = kept.iter().filter(|r| inside(r.day)).copied().collect();
    let typical =
        crate::stats::numeric::median(&moved.points.iter().map(|p| p.value_ma).collect::<Vec<_>>())
            .or_else(|| readings.first().map(|r| r.ma))
            .unwrap_or(0.0);
    let step_ma = coarsest_step(pass, n, stations, typical);
    // Healthy units under a low limit that cuts into them say only that they lie below it. Without the
    // open-lead reading they cannot be told from open leads, which say nothing.
    if let (Some(low), Some(_)) = (low_pa, open_lead_ma) {
        judged.extend(clear.iter().map(|line| Reading {
            day: line.day,
            station: line.station,
            ma: moved.scale.carry(line.station, line.day).on_scale(ma(low)),
            step_ma,
            says: Says::Below,
            count: 1.0,
        }));
        judged.sort_by_key(|r| r.day);
    }
    let first_day = readings.first().map_or(judge.from, |r| r.day);
    let judged_shown: Vec<Reading> = shown.into_iter().filter(|r| inside(r.day)).collect();
    Asked {
        kept,
        judged,
        trips_at_limit,
        ask: Ask {
            edges,
            stations: stations
                .iter()
                .map(|s| AtStation {
                    station: *s,
                    units: units_of(judged_shown.iter().filter(|r| r.station == *s)),
                    carry: moved.scale.latest(*s),
                    limit_ma: moved.limits.at_stations.get(s).and_then(|l| l.high_ma()),
                })
                .filter(|s| s.units > 0.0)
                .collect(),
            scale_error: ScaleError(moved.scale.error(&judged_shown)),
            step_ma,
            limit_ma,
            low_limit_ma: low_pa.map(ma),
            slope: judge.slope,
            to: judge.to,
            horizon: judge.horizon,
            longest_forecast: judge.to - first_day,
        },
        open_lead_ma,
        healthy_under_limit: clear.len() as u64,
        causes,
        shown: readings,
    }
}

/// How many lots there are among outcomes; `None` where no lot is known.
fn lots_of<'a>(pass: &Pass, outcomes: impl Iterator<Item = &'a OutcomeLine>) -> Option<u64> {
    let mut lots: Vec<&str> = outcomes
        .filter_map(|o| pass.plant.factor_sets.get(o.factors as usize)?.first().map(String::as_str))
        .filter(|l| !l.is_empty())
        .collect();
    lots.sort_unstable();
    lots.dedup();
    (!lots.is_empty()).then_some(lots.len() as u64)
}

fn units_of<'a>(readings: impl Iterator<Item = &'a Reading>) -> f64 {
    readings.map(|r| r.count).sum()
}

fn finding(
    pass: &Pass,
    n: usize,
    known: &Known<'_>,
    recorded: &Recorded<'_>,
    leads: &OpenLeads,
    facts: SeriesFacts,
    config: &Config,
) -> Finding {
    let series = &pass.series[n];
    let moved = &known.movement.series[n];
    let judge = &moved.period;
    let limits = &moved.limits;
    let inside = |day: Day| (judge.from..=judge.to).contains(&day);
    let asked = asked(pass, n, moved, leads, facts);
    let low_pa = limits.now.low_pa.filter(|low| *low > 0);
    let healthy = healthy(&asked.judged, &asked.ask, config);
    let outcomes = || series.outcomes.iter().filter(|o| inside(o.day));
    let mut days: Vec<Day> = outcomes().map(|o| o.day).collect();
    days.dedup();
    let seen = Seen::new(pass, outcomes(), &asked.causes, limits.now.high_pa, config.confidence);
    let observed_low = low_pa.map(|low| under_limit(outcomes(), low, config.confidence));
    let steady = moved.drift.shape == Some(Shape::Steady);
    let units_judged = asked.judged.iter().map(|r| r.count).sum();
    let distribution = healthy
        .as_ref()
        .ok()
        .map(|h| Distribution::new(h, goodness(h, config.seed), moved.split.as_ref()));
    let performance = healthy.as_ref().ok().and_then(|h| h.performance.clone());
    let low = healthy.as_ref().ok().and_then(|h| h.low.as_ref());
    let against_low = observed_low.as_ref().map(|seen| {
        let a_month = judge.units_per_month(units_judged);
        AgainstLowLimit::new(low, seen.as_ref().ok(), steady, (whole(units_judged), a_month))
    });
    let moving = judge.slope || moved.drift.shape == Some(Shape::Season);
    let levels = Levels {
        moved,
        shown: &asked.shown,
        kept: &asked.kept,
        causes: &asked.causes,
        moving,
        edges: &asked.ask.edges,
        leads,
        facts,
    };
    let strays = strays(pass, n, &levels, config);
    let on_scale = moved.scale.on_edges(&asked.shown, &asked.ask.edges);
    // Two groups are looked for month by month only where the series has them: it takes most of the time.
    let two_groups =
        moved.split.is_some() || healthy.as_ref().is_ok_and(|h| h.body.groups.is_some());
    let monthly = if two_groups { Options::new(config) } else { Options::plain(config) };
    let in_period: Vec<Reading> = asked.kept.iter().filter(|r| inside(r.day)).copied().collect();
    let happened = of_series(pass, n, moved, recorded);
    let (rise, may_rise) = risen(pass, n, known, &happened, &asked, config);
    Finding {
        tally: PeriodTally::new(&in_period, seen.counted_apart, healthy.as_ref().ok(), &strays),
        month: known
            .month
            .and_then(|month| against_before(pass, n, known, month, &asked, &monthly, config)),
        months: months(series, &on_scale, limits, &asked.ask.edges, &monthly, config),
        stations: each_station(
            pass,
            series,
            moved,
            &asked.shown,
            &asked.ask.stations,
            healthy.as_ref().ok(),
            config.confidence,
        ),
        at_stations: asked.ask.stations,
        failures: over_time(series, config.confidence),
        units_judged,
        days_judged: days.len() as u64,
        lots_judged: lots_of(pass, outcomes()),
        trips_judged: asked.trips_at_limit,
        healthy,
        distribution,
        capability: performance
            .map(|value| Capability { index: Index { steady, low: false }, value }),
        against_low,
        observed_low,
        strays,
        practice: practice(pass, n, config.retests_allowed, config.confidence),
        seen,
        open_lead_ma: asked.open_lead_ma,
        healthy_under_limit: asked.healthy_under_limit,
        step_ma: asked.ask.step_ma,
        causes: asked.causes,
        facts,
        period: judge.clone(),
        step_events: happened.name(&moved.drift.steps),
        rise,
        may_rise,
    }
}

/// Whether the product rose with nothing to explain it, and whether it may.
fn risen(
    pass: &Pass,
    n: usize,
    known: &Known<'_>,
    happened: &Happenings,
    asked: &Asked,
    config: &Config,
) -> (Option<Rise>, bool) {
    let series = &pass.series[n];
    let asked = RiseAsked {
        series,
        moved: &known.movement.series[n],
        happened,
        stations_known: known.movement.stations.is_ok(),
        accepted: series.key.settings(config).accepted_since,
        kept: &asked.kept,
        ask: &asked.ask,
    };
    (rise(&asked, config), may_rise(&asked))
}

/// The month under review against the time before it; `None` where the month has no unit.
fn against_before(
    pass: &Pass,
    n: usize,
    known: &Known<'_>,
    month: (i32, u32),
    asked: &Asked,
    options: &Options,
    config: &Config,
) -> Option<MonthChange> {
    let moved = &known.movement.series[n];
    let judge = &moved.period;
    let outcomes = &pass.series[n].outcomes;
    let from = first_of(month);
    let days = from..first_of(month_of(from + 31));
    if !outcomes.iter().any(|o| days.contains(&o.day)) {
        return None;
    }
    let baseline = baseline_days(outcomes.iter().map(|o| o.day), month, judge);
    let expected = |inside: &dyn Fn(Day) -> bool| {
        let readings: Vec<Reading> = asked.kept.iter().filter(|r| inside(r.day)).copied().collect();
        let data = grouped(readings.iter()).ok()?;
        let body = describe(&data, &asked.ask.edges, options).ok()?;
        body.reject_share(body.which().ok()?, asked.ask.limit_ma?).ok()
    };
    let shares = [
        baseline.and_then(|(a, b)| expected(&|d| (a..=b).contains(&d))),
        expected(&|d| days.contains(&d)),
    ];
    let carried: Vec<Reading> = asked.shown.iter().map(|r| moved.scale.carried(r)).collect();
    let before = Before {
        readings: &carried,
        points: &moved.points,
        drift: &moved.drift,
        scale: &moved.scale,
        outcomes,
        limit_ma: asked.ask.limit_ma,
        level: config.confidence,
    };
    Some(month_change(&before, month, baseline, shares))
}

/// Replicates of the goodness of fit.
const REPLICATES: usize = 199;

fn goodness(healthy: &Healthy, seed: u64) -> Goodness {
    use crate::stats::distribution::Distribution;
    use crate::stats::likelihood::fit;
    let body = &healthy.body;
    let gap = largest_gap(&body.empirical, |x| {
        if x < body.cut { body.average.cdf(x) } else { body.empirical.cdf(x) }
    });
    let family = body.average.best().fit.law.family();
    let cut = body.average.truncated_above;
    let p_value = bootstrap(
        body.fitted().sample(),
        &|sample| {
            let fitted = fit(family, sample, cut).ok()?;
            let law = fitted.law;
            let top = cut.map_or(1.0, |c| law.ln_cdf(c).exp());
            Some(Box::new(move |x: f64| (law.ln_cdf(x).exp() / top).min(1.0)))
        },
        REPLICATES,
        seed,
    );
    Goodness { p_value, largest_gap: gap }
}
