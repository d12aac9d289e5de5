//! Whether verdicts are right: series of known truth through the path that a review takes from a tally on,
//! each with a limit of its own, some with a stated leak path or a ceiling.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use rand_distr::{Distribution, Open01};
use rand_pcg::Pcg64;
use rayon::prelude::*;

use leakdrift::analysis::body::healthy::{Ask, healthy};
use leakdrift::analysis::body::offsets::ScaleError;
use leakdrift::config::Config;
use leakdrift::movement::edges::Edges;
use leakdrift::movement::period::Judged;
use leakdrift::movement::readings::Reading;
use leakdrift::series::Says;
use leakdrift::verdict::band::{BandInput, band, round_up};
use leakdrift::verdict::limit::judge;
use leakdrift::verdict::physics::LeakAdds;
use leakdrift::verdict::plant::{Counted, evidence_of};
use leakdrift::verdict::{Verdict, VerdictKind};

use crate::plan::{Cell, Made, chance, draw};
use crate::truth::Truth;

/// Volts of the simulated tests.
const VOLTS: f64 = 1500.0;
/// Units of the series, with the days that they are spread over.
const SIZES: [(usize, usize); 7] =
    [(60, 20), (200, 40), (600, 40), (2_000, 60), (2_000, 60), (6_000, 120), (20_000, 120)];
/// True reject shares outside these multiples of the accepted one are clear.
const CLEAR_SHARE: (f64, f64) = (0.3, 3.0);
/// Limits outside these multiples of the true upper end are clear.
const CLEAR_END: (f64, f64) = (0.8, 1.25);

const KINDS: [VerdictKind; 4] =
    [VerdictKind::TooTight, VerdictKind::Fits, VerdictKind::TooLoose, VerdictKind::NoWorkableBand];

/// What one series was and what was said of it.
struct Case {
    truth: VerdictKind,
    said: VerdictKind,
    clear: bool,
    groups: Vec<String>,
    /// The limit rejects at most 0.3 of the accepted share.
    safe: bool,
    /// A suggested limit: whether it truly rejects no more than accepted, and, where a leak path or a ceiling is
    /// stated, whether it lies below the true upper end.
    suggested: Option<(bool, Option<bool>)>,
    /// The band's lower end: whether it lies at or above the true one.
    low_holds: Option<bool>,
}

/// Simulates `n` series and prints the tables.
pub fn run(laws: &[Truth], n: usize, seed: u64) {
    let cases: Vec<Case> =
        (0..n as u64).into_par_iter().filter_map(|k| case(laws, seed, k)).collect();
    println!("{} series of {n} drawn could be made.\n", cases.len());
    confusion("clear cases", &cases, |c| c.clear);
    confusion("near an edge of the band", &cases, |c| !c.clear);
    by_group(&cases);
    others(&cases);
}

fn uniform(chance: &mut Pcg64) -> f64 {
    Open01.sample(chance)
}

fn log_uniform(chance: &mut Pcg64, from: f64, to: f64) -> f64 {
    from * (to / from).powf(uniform(chance))
}

fn pick<T: Copy>(chance: &mut Pcg64, of: &[T]) -> T {
    of[((uniform(chance) * of.len() as f64) as usize).min(of.len() - 1)]
}

fn case(laws: &[Truth], seed: u64, k: u64) -> Option<Case> {
    let law = &laws[k as usize % laws.len()];
    let rules = Config::default();
    let config = Config::default();
    let a = rules.accepted_reject_share;
    // Only its stream counts: what the cell is is drawn from it.
    let blank = Cell { units: 0, days: 1, levels: false, steps: 25.0, strays: 0.0, trips: 0.0 };
    let mut chance = chance(seed, law.name, &blank, k);
    let (units, days) = pick(&mut chance, &SIZES);
    let cell = Cell {
        units,
        days,
        levels: uniform(&mut chance) < 1.0 / 3.0,
        steps: pick(&mut chance, &[25.0, 6.0, 1.5]),
        strays: pick(&mut chance, &[0.0, 0.0, 0.003, 0.01, 0.02]),
        trips: 0.0,
    };
    let mut made = Made::new(law, &cell);
    let x = |q: f64| law.upper_quantile_with_levels(q, made.level_sd);
    let (x50, end) = (made.median, made.tail_end);
    let step = made.step;
    let setting = BandInput {
        x50_ma: x50,
        upper_now_ma: end,
        of_step_ma: 0.0,
        adds: LeakAdds::AtRightAngles,
        applied_v: Some(VOLTS),
        leak_path_mohm: (uniform(&mut chance) < 0.4).then(|| {
            // A leak path that lets the upper end lie from half to six times as far out as healthy units go.
            let reading = x50 + (end - x50) * log_uniform(&mut chance, 0.5, 6.0);
            VOLTS / (reading * reading - x50 * x50).sqrt() / 1e3
        }),
        other_leak_path: None,
        ceiling_ma: (uniform(&mut chance) < 0.2)
            .then(|| x50 + (end - x50) * log_uniform(&mut chance, 0.5, 6.0)),
        tester_range_ma: None,
        reading_step_ma: step,
        limit_step_ma: None,
    };
    let true_band = band(&setting, &rules);
    let upper = true_band.upper_ma;
    let wanted = match uniform(&mut chance) {
        u if u < 0.5 => x(log_uniform(&mut chance, 0.1 * a, (100.0 * a).min(0.3))),
        u if u < 0.75 => upper * log_uniform(&mut chance, 1.0, 3.0),
        _ => end + (upper.max(end) - end) * uniform(&mut chance),
    };
    let limit = round_up(wanted, step);
    // A reading is shown in steps: what trips is what is shown above the limit.
    let rejects = |limit: f64| law.above_with_levels(limit + step / 2.0, made.level_sd);
    let share = rejects(limit);
    let truth = if upper < end {
        VerdictKind::NoWorkableBand
    } else if share > a {
        VerdictKind::TooTight
    } else if limit > upper {
        VerdictKind::TooLoose
    } else {
        VerdictKind::Fits
    };
    let clear_share = |s: f64| s < CLEAR_SHARE.0 * a || s > CLEAR_SHARE.1 * a;
    let ratio = limit / upper;
    let clear = clear_share(share)
        && (ratio < CLEAR_END.0 || ratio > CLEAR_END.1 || truth == VerdictKind::TooTight)
        && clear_share(rejects(upper));
    made.limit = limit;
    let verdict = judged(law, &cell, &made, &setting, limit, &config, &mut chance)?;
    let said = verdict.kind?;
    let mut groups = vec![
        if law.of_a_family { "laws of the families".to_owned() } else { "laws outside".to_owned() },
        format!("{units} units"),
        if cell.levels { "daily levels".to_owned() } else { "days alike".to_owned() },
        format!("{} % strays", 100.0 * cell.strays),
    ];
    if cell.steps < 4.0 {
        groups.push("coarse step".to_owned());
    }
    Some(Case {
        truth,
        said,
        clear,
        groups,
        safe: share <= CLEAR_SHARE.0 * a && truth != VerdictKind::NoWorkableBand,
        suggested: verdict.suggested_ma().map(|s| {
            // Without either the upper end itself follows from the data.
            let stated = setting.leak_path_mohm.is_some() || setting.ceiling_ma.is_some();
            (rejects(s) <= a, stated.then_some(s <= upper * 1.000_001))
        }),
        low_holds: verdict.band_low_ma.map(|low| low + step / 2.0 >= end),
    })
}

/// The verdict on a simulated series: tally → body → evidence → verdict, as in a review.
fn judged(
    law: &Truth,
    cell: &Cell,
    made: &Made,
    setting: &BandInput,
    limit: f64,
    config: &Config,
    chance: &mut Pcg64,
) -> Option<Verdict> {
    let mut tally: BTreeMap<(i32, i64, bool), f64> = BTreeMap::new();
    for (day, reading) in draw(law, cell, made, chance) {
        let shown = (reading / made.step).round().max(0.0);
        let trips = shown * made.step > limit * (1.0 + 1e-9);
        let key = if trips { 0 } else { shown as i64 };
        *tally.entry((day, key, trips)).or_default() += 1.0;
    }
    let readings: Vec<Reading> = tally
        .iter()
        .map(|(&(day, shown, trips), &count)| Reading {
            day,
            station: 0,
            ma: if trips { limit } else { shown as f64 * made.step },
            step_ma: made.step,
            says: if trips { Says::Above } else { Says::Value },
            count,
        })
        .collect();
    let edges = Edges::uniform(made.step);
    let last = i32::try_from(cell.days).ok()? - 1;
    let ask = Ask {
        edges: edges.clone(),
        step_ma: made.step,
        limit_ma: Some(limit),
        low_limit_ma: None,
        slope: false,
        to: last,
        horizon: last + 180,
        longest_forecast: last,
        stations: Vec::new(),
        scale_error: ScaleError::default(),
    };
    let body = healthy(&readings, &ask, config).ok();
    let from = NaiveDate::default();
    let counted = Counted {
        limit_ma: Some(limit),
        judged: Judged {
            from,
            to: from + Days::new(cell.days as u64 - 1),
            units: cell.units as u64,
            production_days: cell.days as u64,
            lots: None,
        },
        trips: readings.iter().filter(|r| r.says == Says::Above).map(|r| r.count).sum(),
        units_per_month: cell.units as f64,
        strays_passed: 0,
    };
    let x50 =
        body.as_ref().and_then(|h| h.quantiles[1].as_ref()).map_or(setting.x50_ma, |e| e.value);
    let setting = BandInput { x50_ma: x50, ..setting.clone() };
    let evidence = evidence_of(setting, body.as_ref(), &counted);
    Some(judge(&evidence, &Config::default()))
}

fn percent(part: usize, of: usize) -> String {
    if of == 0 { "–".to_owned() } else { format!("{:.1}", 100.0 * part as f64 / of as f64) }
}

fn confusion(title: &str, cases: &[Case], which: impl Fn(&Case) -> bool) {
    let of: Vec<&Case> = cases.iter().filter(|c| which(c)).collect();
    println!(
        "| {title}: true state | series | too tight | fits | too loose | no workable band | not enough data | wrong, % |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    let mut wrong_in_all = 0;
    for truth in KINDS {
        let row: Vec<&&Case> = of.iter().filter(|c| c.truth == truth).collect();
        let said = |kind: VerdictKind| row.iter().filter(|c| c.said == kind).count();
        let wrong = row.iter().filter(|c| is_wrong(c)).count();
        wrong_in_all += wrong;
        println!(
            "| {} | {} | {} | {} | {} | {} | {} | {} |",
            truth.words(),
            row.len(),
            said(VerdictKind::TooTight),
            said(VerdictKind::Fits),
            said(VerdictKind::TooLoose),
            said(VerdictKind::NoWorkableBand),
            said(VerdictKind::NotEnoughData),
            percent(wrong, row.len())
        );
    }
    println!("| all | {} | | | | | | {} |\n", of.len(), percent(wrong_in_all, of.len()));
}

fn is_wrong(c: &Case) -> bool {
    c.said != c.truth && c.said != VerdictKind::NotEnoughData
}

fn by_group(cases: &[Case]) {
    let mut names: Vec<&String> = cases.iter().flat_map(|c| &c.groups).collect();
    names.sort();
    names.dedup();
    println!(
        "| series | clear cases | wrong, % | not decided, % | sound limits | called too tight, % | lower end holds, % |"
    );
    println!("|---|---|---|---|---|---|---|");
    for name in names {
        let of: Vec<&Case> = cases.iter().filter(|c| c.groups.contains(name)).collect();
        let clear = of.iter().filter(|c| c.clear).count();
        let wrong = of.iter().filter(|c| c.clear && is_wrong(c)).count();
        let open = of.iter().filter(|c| c.clear && c.said == VerdictKind::NotEnoughData).count();
        let safe = of.iter().filter(|c| c.safe).count();
        let tight = of.iter().filter(|c| c.safe && c.said == VerdictKind::TooTight).count();
        let lows: Vec<bool> = of.iter().filter_map(|c| c.low_holds).collect();
        println!(
            "| {name} | {clear} | {} | {} | {safe} | {} | {} |",
            percent(wrong, clear),
            percent(open, clear),
            percent(tight, safe),
            percent(lows.iter().filter(|l| **l).count(), lows.len())
        );
    }
    println!();
}

fn others(cases: &[Case]) {
    let suggested: Vec<(bool, Option<bool>)> = cases.iter().filter_map(|c| c.suggested).collect();
    let stated: Vec<bool> = suggested.iter().filter_map(|s| s.1).collect();
    let lows: Vec<bool> = cases.iter().filter_map(|c| c.low_holds).collect();
    println!(
        "Suggested limits: {}; truly reject no more than accepted {} %. Where a leak path or a ceiling is stated: {}; lie below the true upper end {} %.",
        suggested.len(),
        percent(suggested.iter().filter(|s| s.0).count(), suggested.len()),
        stated.len(),
        percent(stated.iter().filter(|s| **s).count(), stated.len()),
    );
    println!(
        "Lower ends of a band: {}; at or above the true one {} %.",
        lows.len(),
        percent(lows.iter().filter(|l| **l).count(), lows.len())
    );
}
