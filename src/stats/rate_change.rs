//! When a share of failures changed: a scan over days that pays for scanning and for rates that vary.

use rand::{Rng, RngExt};
use rand_distr::{Binomial, ChiSquared, Distribution, StandardNormal};
use rand_pcg::Pcg64;

use super::autocorrelation::about_zero;
use super::numeric::{inverse, product};
use super::special::chi_square_sf;

/// Largest correlation of daily rates that is used.
const LARGEST_RHO: f64 = 0.9;
/// Days whose likelihood ratio is within this many long-run dispersions of the best make the interval of the date.
pub const DATE_DROP: f64 = 7.0;
/// Below this ratio of likelihoods over the dispersion no replicate is drawn: chance reaches it in more than
/// one scan of twenty.
const WORTH_ASKING: f64 = 6.0;
/// A rise with an end is looked for in no more than so many pairs of days.
const PAIRS: usize = 20_000;
/// Work that replicates of a rise with an end may take, in pairs looked at.
const PAIR_WORK: usize = 8_000_000;

/// More than rounding can add to a ratio of likelihoods.
const ROUNDING: f64 = 1e-3;

/// Units and failures of one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayCount {
    /// Day, any running number.
    pub day: i32,
    /// Units, above 0; standardised counts need not be whole.
    pub units: f64,
    /// Failures, at most the units.
    pub failed: f64,
}

/// A change of the share of failures.
#[derive(Debug, Clone, PartialEq)]
pub struct RateChange {
    /// Place of the first day of the new rate.
    pub index: usize,
    /// First day of the new rate.
    pub day: i32,
    /// First and last day that the data allow for it.
    pub days: (i32, i32),
    /// Twice the log of the likelihood ratio, over the dispersion.
    pub statistic: f64,
    /// Dispersion of daily counts about the step, at least 1.
    pub phi: f64,
    /// Lag-1 correlation of daily rates used for the p-value.
    pub rho: f64,
    /// Probability of so large a statistic where nothing changed; 1 where it was not worth asking.
    pub p_value: f64,
}

impl RateChange {
    /// Dispersion of counts over many days: rates that hang together vary more over weeks than from day to day,
    /// `1 + (phi − 1)(1 + rho)/(1 − rho)`.
    pub fn long_run(&self) -> f64 {
        long_run(self.phi, self.rho)
    }
}

fn long_run(phi: f64, rho: f64) -> f64 {
    1.0 + (phi - 1.0) * (1.0 + rho) / (1.0 - rho)
}

fn x_ln_x(x: f64) -> f64 {
    if x > 0.0 { x * x.ln() } else { 0.0 }
}

/// Maximised binomial log likelihood of a stretch.
fn cost(failed: f64, units: f64) -> f64 {
    x_ln_x(failed) + x_ln_x((units - failed).max(0.0)) - x_ln_x(units)
}

/// Running sums of units and failures, with a zero in front.
fn running(days: &[DayCount]) -> (Vec<f64>, Vec<f64>) {
    let (mut units, mut failed) = (vec![0.0], vec![0.0]);
    for d in days {
        units.push(units[units.len() - 1] + d.units);
        failed.push(failed[failed.len() - 1] + d.failed);
    }
    (units, failed)
}

/// Twice the log likelihood ratio of a change before each day, `days.len() - 1` of them (place 1 first).
///
/// `LR(k) = 2 (l(first k) + l(rest) − l(all))`, `l` the maximised binomial log likelihood.
pub fn likelihood_ratios(days: &[DayCount]) -> Vec<f64> {
    let (units, failed) = running(days);
    let n = days.len();
    let all = cost(failed[n], units[n]);
    (1..n)
        .map(|k| {
            let before = cost(failed[k], units[k]);
            let after = cost(failed[n] - failed[k], units[n] - units[k]);
            (2.0 * (before + after - all)).max(0.0)
        })
        .collect()
}

/// Place and size of the best single change; the first of equals.
fn best(ratios: &[f64]) -> Option<(usize, f64)> {
    let mut found: Option<(usize, f64)> = None;
    for (n, lr) in ratios.iter().enumerate() {
        if found.is_none_or(|(_, most)| *lr > most) {
            found = Some((n + 1, *lr));
        }
    }
    found
}

/// Best stretch with a higher share than the days on both sides, as `(from, to, LR)`, `to` exclusive.
///
/// Such a stretch begins and ends on a day with a failure, so only those are tried. A likelihood ratio is at most
/// twice Pearson's chi-square of the same counts (the logarithm is concave), which takes no logarithm: only
/// stretches that can be the best are asked for theirs.
fn best_bump(days: &[DayCount]) -> Option<(usize, usize, f64)> {
    let (units, failed) = running(days);
    let n = days.len();
    let all = cost(failed[n], units[n]);
    let share = failed[n] / units[n];
    let variance = share * (1.0 - share) / units[n];
    let with: Vec<usize> = (0..n).filter(|k| days[*k].failed > 0.0).collect();
    let reach = (PAIRS / with.len().max(1)).max(5);
    let mut found: Option<(usize, usize, f64)> = None;
    for (i, &from) in with.iter().enumerate() {
        for &last in &with[i..(i + reach).min(with.len())] {
            let to = last + 1;
            if from == 0 || to == n {
                continue;
            }
            let (f, u) = (failed[to] - failed[from], units[to] - units[from]);
            let (rest_f, rest_u) = (failed[n] - f, units[n] - u);
            if f * rest_u <= rest_f * u {
                continue;
            }
            let more = f - u * share;
            let chi_square = more * more / (u * rest_u * variance);
            if found.is_some_and(|(_, _, most)| 2.0 * chi_square + ROUNDING < most) {
                continue;
            }
            let lr = 2.0 * (cost(f, u) + cost(rest_f, rest_u) - all);
            if found.is_none_or(|(_, _, most)| lr > most) {
                found = Some((from, to, lr));
            }
        }
    }
    found
}

/// Pearson residuals of the days about shares that hold between the cuts.
fn residuals(days: &[DayCount], cuts: &[usize]) -> Vec<f64> {
    let mut out = Vec::with_capacity(days.len());
    let mut from = 0;
    for &to in cuts.iter().chain([&days.len()]) {
        let stretch = &days[from..to];
        let (u, f) = stretch.iter().fold((0.0, 0.0), |(u, f), d| (u + d.units, f + d.failed));
        let p = if u > 0.0 { f / u } else { 0.0 };
        out.extend(stretch.iter().map(|d| {
            let var = d.units * p * (1.0 - p);
            if var > 0.0 { (d.failed - d.units * p) / var.sqrt() } else { 0.0 }
        }));
        from = to;
    }
    out
}

/// Dispersion about the cuts: Pearson chi-square over days less shares fitted, at least 1.
fn dispersion(residuals: &[f64], shares: usize) -> f64 {
    let freedom = residuals.len().saturating_sub(shares).max(1) as f64;
    (residuals.iter().map(|r| r * r).sum::<f64>() / freedom).max(1.0)
}

/// Daily rates that vary and hang together, as replicates draw them: each with a dispersion and a correlation that
/// the days allow, for those seen are themselves uncertain.
struct Varying {
    p: f64,
    /// Dispersion of days.
    phi: f64,
    /// Lag-1 correlation of residuals.
    r: f64,
    /// Mean units of a day, weighted by units.
    typical: f64,
    days: f64,
}

impl Varying {
    fn new(days: &[DayCount], residuals: &[f64], phi: f64) -> Self {
        let units: f64 = days.iter().map(|d| d.units).sum();
        let failed: f64 = days.iter().map(|d| d.failed).sum();
        Self {
            p: failed / units,
            phi,
            r: about_zero(residuals, 1).unwrap_or(0.0),
            typical: days.iter().map(|d| d.units * d.units).sum::<f64>() / units,
            days: days.len() as f64,
        }
    }

    /// Standard deviation of log rates and their lag-1 correlation, by the dispersion of days and the lag-1
    /// correlation of residuals.
    fn rates(&self, phi: f64, r: f64) -> (f64, f64) {
        if phi <= 1.0 || self.p <= 0.0 || self.p >= 1.0 {
            return (0.0, 0.0);
        }
        let s2 = ((phi - 1.0) * (1.0 - self.p) / (self.typical * self.p)).ln_1p();
        let d = self.days;
        let rho = if d > 3.0 {
            (((d * r + 1.0) / (d - 3.0)).max(0.0) * phi / (phi - 1.0)).min(LARGEST_RHO)
        } else {
            0.0
        };
        (s2.sqrt(), rho)
    }

    fn draw(&self, days: &[DayCount], rng: &mut impl Rng, into: &mut Vec<DayCount>) {
        into.clear();
        let freedom = (self.days - 2.0).max(1.0);
        let spread: f64 = ChiSquared::new(freedom).map_or(freedom, |c| c.sample(rng));
        let e: f64 = rng.sample(StandardNormal);
        let (s, rho) = self.rates(self.phi * freedom / spread, self.r + e / self.days.sqrt());
        let mut x: f64 = rng.sample(StandardNormal);
        let fresh = (1.0 - rho * rho).sqrt();
        for (n, d) in days.iter().enumerate() {
            if n > 0 {
                let e: f64 = rng.sample(StandardNormal);
                x = rho * x + fresh * e;
            }
            let p = (self.p * (s * x - s * s / 2.0).exp()).min(1.0);
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "units of one day"
            )]
            let units = d.units.round() as u64;
            let failed = Binomial::new(units, p).map_or(0, |b| b.sample(rng));
            into.push(DayCount {
                day: d.day,
                units: (units as f64).max(d.units),
                failed: failed as f64,
            });
        }
    }
}

/// Share of replicates with a statistic as large, the seen one counted: 199, 999 near `threshold`, and 4 999
/// where none of those reached it.
fn p_value(seen: f64, threshold: f64, most: usize, mut replicate: impl FnMut() -> f64) -> f64 {
    let mut reached = 0;
    let mut drawn = 0;
    for goal in [199, 999, 4_999] {
        if goal > most {
            break;
        }
        while drawn < goal {
            drawn += 1;
            if replicate() >= seen {
                reached += 1;
            }
        }
        let p = (f64::from(reached) + 1.0) / (drawn as f64 + 1.0);
        let near = match goal {
            199 => p <= 5.0 * threshold,
            _ => reached == 0,
        };
        if !near {
            break;
        }
    }
    (f64::from(reached) + 1.0) / (drawn.max(1) as f64 + 1.0)
}

/// The days that the data allow for a change: those whose ratio is within `drop` of the best.
fn allowed(days: &[DayCount], ratios: &[f64], most: f64, drop: f64) -> (i32, i32) {
    let inside = |lr: &f64| *lr >= most - drop;
    let first = ratios.iter().position(inside).map_or(0, |n| n + 1);
    let last = ratios.iter().rposition(inside).map_or(0, |n| n + 1);
    (days[first].day, days[last].day)
}

/// The best single change of a history, whether it is one or chance.
///
/// - Statistic: binomial likelihood ratio over the dispersion about the step.
/// - p-value: replicates with lognormal AR(1) daily rates, each scanned and divided by its own dispersion:
///   `s² = ln(1 + (phi − 1)(1 − p)/(n̄ p))`, `n̄ = Σn²/Σn`,
///   `rho = min(0.9, max(0, (D r + 1)/(D − 3)) phi/(phi − 1))`; at `phi` = 1 both are 0. Every replicate draws its
///   own `phi` (seen times `f` over a chi-square of `f = D − 2`) and `r` (seen, standard deviation `1/√D`): few
///   failures tell little of how rates vary.
/// - Interval of the date: days whose ratio is within 7 long-run dispersions ([`RateChange::long_run`]) of the best.
/// - Source: own simulation (a binomial scan alone gives up to 77 % false alarms).
/// - `None` where there are under four days or no failure.
pub fn single_change(days: &[DayCount], threshold: f64, seed: u64) -> Option<RateChange> {
    let ratios = likelihood_ratios(days);
    if days.len() < 4 || !days.iter().any(|d| d.failed > 0.0) {
        return None;
    }
    let (index, most) = best(&ratios)?;
    let about = residuals(days, &[index]);
    let phi = dispersion(&about, 2);
    let statistic = most / phi;
    let varying = Varying::new(days, &about, phi);
    let (_, rho) = varying.rates(phi, varying.r);
    let p_value = if statistic < WORTH_ASKING {
        1.0
    } else {
        let mut rng = Pcg64::new(u128::from(seed), 0x5eed);
        let mut drawn = Vec::with_capacity(days.len());
        p_value(statistic, threshold, 4_999, || {
            varying.draw(days, &mut rng, &mut drawn);
            best(&likelihood_ratios(&drawn))
                .map_or(0.0, |(k, lr)| lr / dispersion(&residuals(&drawn, &[k]), 2))
        })
    };
    Some(RateChange {
        index,
        day: days[index].day,
        days: allowed(days, &ratios, most, DATE_DROP * long_run(phi, rho)),
        statistic,
        phi,
        rho,
        p_value,
    })
}

/// What a history says of a change at a date that is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownChange {
    /// Likelihood ratio over the dispersion.
    pub statistic: f64,
    /// Dispersion about the change.
    pub phi: f64,
    /// p-value by chi-square of one degree of freedom.
    pub p_value: f64,
}

/// A change at a date that is known (place of its first day); `None` where a side has no day or there is no failure.
pub fn change_at(days: &[DayCount], index: usize) -> Option<KnownChange> {
    if index == 0 || index >= days.len() || !days.iter().any(|d| d.failed > 0.0) {
        return None;
    }
    let phi = dispersion(&residuals(days, &[index]), 2);
    let statistic = likelihood_ratios(days)[index - 1] / phi;
    Some(KnownChange { statistic, phi, p_value: chi_square_sf(statistic, 1.0) })
}

/// A rise with an end inside the history, which a scan for one change may miss: its first and last change.
/// The p-value is doubled, since it is asked beside that of one change.
fn bump(days: &[DayCount], threshold: f64, seed: u64) -> Option<(usize, usize, f64)> {
    let (from, to, lr) = best_bump(days)?;
    let about = residuals(days, &[from, to]);
    let phi = dispersion(&about, 3);
    let statistic = lr / phi;
    if statistic < 2.0 * WORTH_ASKING {
        return None;
    }
    let varying = Varying::new(days, &about, phi);
    let with = days.iter().filter(|d| d.failed > 0.0).count();
    let pairs = (with * with / 2).clamp(1, PAIRS);
    let most = (PAIR_WORK / pairs).max(999);
    let mut rng = Pcg64::new(u128::from(seed), 0xb0b0);
    let mut drawn = Vec::with_capacity(days.len());
    let p = p_value(statistic, threshold / 2.0, most, || {
        varying.draw(days, &mut rng, &mut drawn);
        best_bump(&drawn).map_or(0.0, |(a, b, lr)| lr / dispersion(&residuals(&drawn, &[a, b]), 3))
    });
    Some((from, to, (2.0 * p).min(1.0)))
}

/// All changes of a history with a p-value at most `threshold`, in order of time.
///
/// Found by cutting at the best change and asking each side again, where no single change stands out also by a
/// rise that ended; each is then dated and tested anew between its neighbours (binary segmentation, Scott & Knott
/// 1974, from memory), and dropped where it no longer stands out.
pub fn changes(days: &[DayCount], threshold: f64, seed: u64) -> Vec<RateChange> {
    let mut cuts: Vec<usize> = Vec::new();
    let mut found_p: Vec<(usize, f64)> = Vec::new();
    split(days, 0, threshold, seed, &mut cuts, &mut found_p);
    cuts.sort_unstable();
    cuts.dedup();
    loop {
        let mut refined: Vec<RateChange> = Vec::new();
        for (n, &cut) in cuts.iter().enumerate() {
            let from = refined.last().map_or(0, |c: &RateChange| c.index).min(cut);
            let to = cuts.get(n + 1).copied().unwrap_or(days.len());
            let Some(mut change) = single_change(&days[from..to], threshold, seed) else {
                continue;
            };
            change.index += from;
            // A short rise is tested as what it was found as: the two sides of a day or two prove nothing.
            if let Some((_, p)) = found_p.iter().find(|(c, _)| *c == cut) {
                change.p_value = change.p_value.min(*p);
            }
            refined.push(change);
        }
        let weakest = refined
            .iter()
            .enumerate()
            .filter(|(_, c)| c.p_value > threshold)
            .max_by(|a, b| a.1.p_value.total_cmp(&b.1.p_value))
            .map(|(n, _)| n);
        match weakest {
            Some(n) => {
                cuts = refined.iter().map(|c| c.index).collect();
                cuts.remove(n);
                found_p.retain(|(c, _)| cuts.contains(c));
            }
            None => return refined,
        }
    }
}

fn split(
    days: &[DayCount],
    offset: usize,
    threshold: f64,
    seed: u64,
    cuts: &mut Vec<usize>,
    found: &mut Vec<(usize, f64)>,
) {
    let Some(change) = single_change(days, threshold, seed) else {
        return;
    };
    let mut here: Vec<(usize, f64)> = Vec::new();
    if change.p_value <= threshold {
        here.push((change.index, change.p_value));
    } else if let Some((from, to, p)) = bump(days, threshold, seed)
        && p <= threshold
    {
        here.push((from, p));
        here.push((to, p));
    }
    let mut from = 0;
    for (cut, p) in here.iter().copied().chain([(days.len(), 1.0)]) {
        if cut < days.len() {
            cuts.push(offset + cut);
            found.push((offset + cut, p));
        }
        // A part as long as the whole would never end.
        if cut - from < days.len() {
            split(&days[from..cut], offset + from, threshold, seed, cuts, found);
        }
        from = cut;
    }
}

/// Twice the log likelihood ratio of a share that rises or falls evenly (logit in the day) against a steady
/// one; 0 where the search does not settle.
pub fn even_trend_ratio(days: &[DayCount]) -> f64 {
    let units: f64 = days.iter().map(|d| d.units).sum();
    let failed: f64 = days.iter().map(|d| d.failed).sum();
    if days.len() < 4 || failed <= 0.0 || failed >= units {
        return 0.0;
    }
    let middle = days.iter().map(|d| f64::from(d.day) * d.units).sum::<f64>() / units;
    let span = f64::from(days[days.len() - 1].day - days[0].day).max(1.0);
    let x = |d: &DayCount| (f64::from(d.day) - middle) / span;
    let value = |a: f64, b: f64| -> f64 {
        days.iter()
            .map(|d| {
                let eta = a + b * x(d);
                d.failed * eta - d.units * (eta.max(0.0) + (-eta.abs()).exp().ln_1p())
            })
            .sum()
    };
    let start = (failed / (units - failed)).ln();
    let (mut a, mut b) = (start, 0.0);
    for _ in 0..50 {
        let (mut g, mut h) = ([0.0; 2], [0.0; 3]);
        for d in days {
            let p = 1.0 / (1.0 + (-(a + b * x(d))).exp());
            let (left, w) = (d.failed - d.units * p, d.units * p * (1.0 - p));
            g[0] += left;
            g[1] += left * x(d);
            h[0] += w;
            h[1] += w * x(d);
            h[2] += w * x(d) * x(d);
        }
        let Some(covariance) = inverse(h, 0.0) else {
            break;
        };
        let [da, db] = product(&covariance, g);
        let size = (da.abs() + db.abs()).max(1.0);
        a += da * 2.0_f64.min(size) / size;
        b += db * 2.0_f64.min(size) / size;
        if da.abs() + db.abs() < 1e-9 {
            break;
        }
    }
    let gain = 2.0 * (value(a, b) - value(start, 0.0));
    if gain.is_finite() { gain.max(0.0) } else { 0.0 }
}
