//! One group or two: a mixture of two normal or two lognormal distributions against one distribution.
//!
//! Two groups need a valley in the mixture's density (under 0.9 of the lower hill): two normals fitted a
//! hard-edged hump better than one in nine of ten series. A smoothed look for any valley comes first and
//! spares the search (three quarters of the time of a description).

use crate::moments::Moments;
use crate::numeric::{GAUSS_3, GAUSS_5, Node, last_that, reaching};
use crate::sample::{Observation, Sample};
use crate::special::{ln_diff_exp, ln_sum_exp, normal_ln_cdf, normal_ln_pdf, normal_ln_sf};

/// When two groups are reported.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupRules {
    /// BIC must prefer two groups by more than this.
    pub bic_gain: f64,
    /// Least distance of the means, in standard deviations (root mean square of both).
    pub separation: f64,
    /// Least share of the smaller group.
    pub smallest_share: f64,
    /// Least size of the smaller group.
    pub smallest_units: f64,
}

/// The scale on which the groups are normal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Component {
    /// Normal readings.
    Normal,
    /// Readings whose logs are normal.
    Lognormal,
}

/// One group of a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Group {
    /// Its share of all readings.
    pub share: f64,
    /// Mean, of the logs for lognormal groups.
    pub mean: f64,
    /// Standard deviation, of the logs for lognormal groups.
    pub sd: f64,
    /// Median reading.
    pub median: f64,
}

/// Two groups, the lower one first.
#[derive(Debug, Clone, PartialEq)]
pub struct TwoGroups {
    /// Scale on which the groups are normal.
    pub component: Component,
    /// The groups, by mean.
    pub groups: [Group; 2],
    /// BIC of the better single distribution less that of the mixture.
    pub bic_gain: f64,
    /// Distance of the means in standard deviations.
    pub separation: f64,
    /// The reading between the groups at which both are equally likely.
    pub divide: f64,
    /// Log-likelihood of the mixture.
    pub ln_likelihood: f64,
}

impl TwoGroups {
    /// Density of one group per unit of reading, times its share of all readings; 0 for an unknown group.
    pub fn density(&self, group: usize, x: f64) -> f64 {
        self.of(group, x, |g, at, stretch| {
            (normal_ln_pdf((at - g.mean) / g.sd)).exp() / g.sd * stretch
        })
    }

    /// Share of all readings that belongs to one group and lies at or below `x`; 0 for an unknown group.
    pub fn below(&self, group: usize, x: f64) -> f64 {
        self.of(group, x, |g, at, _| normal_ln_cdf((at - g.mean) / g.sd).exp())
    }

    fn of(&self, group: usize, x: f64, what: impl Fn(&Group, f64, f64) -> f64) -> f64 {
        let (at, stretch) = match self.component {
            Component::Normal => (x, 1.0),
            Component::Lognormal if x > 0.0 => (x.ln(), 1.0 / x),
            Component::Lognormal => return 0.0,
        };
        self.groups.get(group).map_or(0.0, |g| g.share * what(g, at, stretch))
    }
}

/// A single distribution to compare with: its maximum log-likelihood on the same readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Single {
    /// Log-likelihood.
    pub ln_likelihood: f64,
    /// Number of its parameters.
    pub parameters: f64,
}

/// Lines into which a longer tally is gathered for the search; the likelihood compared is of these.
const MOST_LINES: usize = 200;
const ROUNDS: usize = 2_000;
const FIRST_ROUNDS: usize = 40;

/// The two groups of a sample where the rules find them, else `None`.
///
/// - Method: where the smoothed readings have a valley at all, EM from seven starts, on the interval-censored tally (Dempster, Laird, Rubin 1977), normal
///   and lognormal (the latter where every reading is above zero), against the best of one normal,
///   one lognormal and `single`; the density must fall between the means; BIC `= parameters ln n - 2 ln likelihood` (Schwarz 1978; from memory).
pub fn two_groups(
    sample: &Sample,
    single: Option<Single>,
    rules: &GroupRules,
) -> Option<TwoGroups> {
    let n = sample.total();
    let positive = sample.lines().iter().all(|line| {
        line.observation.low() > 0.0 || matches!(line.observation, Observation::Below(x) if x > 0.0)
    });
    let kinds: &[Component] =
        if positive { &[Component::Lognormal, Component::Normal] } else { &[Component::Normal] };
    let gathered = gather(sample, MOST_LINES);
    if !may_have_valley(&gathered, rules.smallest_share) {
        return None;
    }
    let exact = gathered.len() == sample.lines().len();
    let bic = |parameters: f64, ln_likelihood: f64| parameters * n.ln() - 2.0 * ln_likelihood;
    // A single fit from elsewhere is comparable only where no lines were gathered.
    let mut one =
        single.filter(|_| exact).map_or(f64::INFINITY, |s| bic(s.parameters, s.ln_likelihood));
    let mut best: Option<(f64, Component, Fit)> = None;
    for &kind in kinds {
        let (lines, ln_jacobian) = on_scale(&gathered, kind);
        let alone = single_normal(&lines)?;
        one = one.min(bic(2.0, alone.ln_likelihood - ln_jacobian));
        if let Some(mut fit) = two_normals(&lines, &alone) {
            fit.ln_likelihood -= ln_jacobian;
            let value = bic(5.0, fit.ln_likelihood);
            if best.as_ref().is_none_or(|b| value < b.0) {
                best = Some((value, kind, fit));
            }
        }
    }
    let (two, component, fit) = best?;
    let [a, b] = [fit.parts[0], fit.parts[1]];
    let separation = (b.mean - a.mean).abs() / ((a.sd * a.sd + b.sd * b.sd) / 2.0).sqrt();
    let smaller = a.share.min(b.share);
    let found = one - two > rules.bic_gain
        && dips(a, b)
        && separation >= rules.separation
        && smaller >= rules.smallest_share
        && smaller * n >= rules.smallest_units;
    if !found {
        return None;
    }
    let back = |x: f64| {
        if component == Component::Lognormal { x.exp() } else { x }
    };
    let group = |p: Part| Group { share: p.share, mean: p.mean, sd: p.sd, median: back(p.mean) };
    let (low, high) = if a.mean <= b.mean { (a, b) } else { (b, a) };
    Some(TwoGroups {
        component,
        groups: [group(low), group(high)],
        bic_gain: one - two,
        separation,
        divide: back(divide(low, high)),
        ln_likelihood: fit.ln_likelihood,
    })
}

#[derive(Debug, Clone, Copy)]
struct Part {
    share: f64,
    mean: f64,
    sd: f64,
}

#[derive(Debug, Clone)]
struct Fit {
    parts: Vec<Part>,
    ln_likelihood: f64,
}

/// Neighbouring interval lines joined until few enough are left; other kinds stay as they are.
fn gather(sample: &Sample, most: usize) -> Vec<(Observation, f64)> {
    let lines = sample.lines();
    if lines.len() <= most {
        return lines.iter().map(|line| (line.observation, line.count)).collect();
    }
    let share = sample.total() / most as f64;
    let mut out: Vec<(Observation, f64)> = Vec::new();
    for line in lines {
        if let (
            Some((Observation::Between { low, high }, count)),
            Observation::Between { low: next_low, high: next_high },
        ) = (out.last_mut(), line.observation)
            && *count + line.count <= share
            && next_low <= *high + (*high - *low) * 1e-6
        {
            *low = low.min(next_low);
            *high = high.max(next_high);
            *count += line.count;
            continue;
        }
        out.push((line.observation, line.count));
    }
    out
}

/// The lines on the scale where groups are normal, and what the log-likelihood there is above that of the
/// readings: the density of an exact reading is that of its logarithm over the reading.
fn on_scale(lines: &[(Observation, f64)], kind: Component) -> (Vec<(Observation, f64)>, f64) {
    if kind == Component::Normal {
        return (lines.to_vec(), 0.0);
    }
    let mut ln_jacobian = 0.0;
    let logs = lines
        .iter()
        .map(|&(o, count)| {
            let log = match o {
                Observation::Exact(x) => {
                    ln_jacobian += count * x.ln();
                    Observation::Exact(x.ln())
                }
                // Edges one rounding apart have one logarithm: a point, times the width.
                Observation::Between { low, high } if low.ln() >= high.ln() => {
                    ln_jacobian += count * (low.ln() - (high - low).ln());
                    Observation::Exact(low.ln())
                }
                _ => o.map(f64::ln),
            };
            (log, count)
        })
        .collect();
    (logs, ln_jacobian)
}

fn middle(observation: Observation) -> f64 {
    match observation {
        Observation::Between { low, high } => (low + high) / 2.0,
        Observation::Exact(x) | Observation::Above(x) | Observation::Below(x) => x,
    }
}

/// Log-probability, mean and mean square of a normal variable inside the observation.
fn moments(observation: Observation, part: Part) -> (f64, f64, f64) {
    let Part { mean, sd, .. } = part;
    let standard = |x: f64| (x - mean) / sd;
    match observation {
        Observation::Exact(x) => (normal_ln_pdf(standard(x)) - sd.ln(), x, x * x),
        Observation::Above(x) => {
            let z = standard(x);
            let ln_p = normal_ln_sf(z);
            let h = (normal_ln_pdf(z) - ln_p).exp();
            let (first, second) = (h, 1.0 + z * h);
            (ln_p, mean + sd * first, mean * mean + 2.0 * mean * sd * first + sd * sd * second)
        }
        Observation::Below(x) => {
            let z = standard(x);
            let ln_p = normal_ln_cdf(z);
            let h = (normal_ln_pdf(z) - ln_p).exp();
            let (first, second) = (-h, 1.0 - z * h);
            (ln_p, mean + sd * first, mean * mean + 2.0 * mean * sd * first + sd * sd * second)
        }
        Observation::Between { low, high } => {
            let (a, b) = (standard(low), standard(high));
            if b - a < 2.0 {
                return narrow(low, high, part);
            }
            let ln_p = if a > 0.0 {
                ln_diff_exp(normal_ln_sf(a), normal_ln_sf(b))
            } else {
                ln_diff_exp(normal_ln_cdf(b), normal_ln_cdf(a))
            };
            let (da, db) = ((normal_ln_pdf(a) - ln_p).exp(), (normal_ln_pdf(b) - ln_p).exp());
            let (first, second) = (da - db, 1.0 + a * da - b * db);
            (ln_p, mean + sd * first, mean * mean + 2.0 * mean * sd * first + sd * sd * second)
        }
    }
}

/// As [`moments`], for an interval up to two standard deviations wide: Gauss-Legendre of five points, or
/// three in a quarter of one, since differences of tails lose their digits there.
fn narrow(low: f64, high: f64, part: Part) -> (f64, f64, f64) {
    let (centre, half) = ((low + high) / 2.0, (high - low) / 2.0);
    let peak = normal_ln_pdf((part.mean.clamp(low, high) - part.mean) / part.sd);
    let (mut p, mut x1, mut x2) = (0.0, 0.0, 0.0);
    let nodes: &[Node] = if high - low < 0.25 * part.sd { &GAUSS_3 } else { &GAUSS_5 };
    for node in nodes {
        let x = centre + half * node.at;
        let w = node.weight * (normal_ln_pdf((x - part.mean) / part.sd) - peak).exp();
        p += w;
        x1 += w * x;
        x2 += w * x * x;
    }
    (peak + (p * 2.0 * half / part.sd).ln(), x1 / p, x2 / p)
}

/// One EM round; returns the log-likelihood of the parts it was given.
fn round(lines: &[(Observation, f64)], parts: &mut [Part], floor: f64) -> f64 {
    let mut sums = vec![[0.0_f64; 3]; parts.len()];
    let (mut ln_likelihood, mut total) = (0.0, 0.0);
    let mut each = vec![(0.0, 0.0, 0.0); parts.len()];
    for &(observation, count) in lines {
        let mut ln_p = f64::NEG_INFINITY;
        for (slot, part) in each.iter_mut().zip(parts.iter()) {
            let (l, m1, m2) = moments(observation, *part);
            *slot = (l + part.share.ln(), m1, m2);
            ln_p = ln_sum_exp(ln_p, slot.0);
        }
        // Beyond every tail of a double: worth as little as the smallest one.
        let ln_p = if ln_p.is_finite() { ln_p } else { -745.0 };
        ln_likelihood += count * ln_p;
        total += count;
        for (sum, &(l, m1, m2)) in sums.iter_mut().zip(&each) {
            let weight = count * (l - ln_p).exp();
            if weight > 0.0 && m1.is_finite() && m2.is_finite() {
                sum[0] += weight;
                sum[1] += weight * m1;
                sum[2] += weight * m2;
            }
        }
    }
    for (part, sum) in parts.iter_mut().zip(&sums) {
        if sum[0] > 0.0 {
            let mean = sum[1] / sum[0];
            let variance = sum[2] / sum[0] - mean * mean;
            *part = Part { share: sum[0] / total, mean, sd: variance.max(floor * floor).sqrt() };
        }
    }
    ln_likelihood
}

fn climb(lines: &[(Observation, f64)], parts: Vec<Part>, floor: f64, rounds: usize) -> Fit {
    let mut parts = parts;
    let mut last = f64::NEG_INFINITY;
    for _ in 0..rounds {
        let given = parts.clone();
        let value = round(lines, &mut parts, floor);
        if (value - last).abs() < 1e-6 {
            return Fit { parts: given, ln_likelihood: value };
        }
        last = value;
    }
    Fit { parts, ln_likelihood: last }
}

fn single_normal(lines: &[(Observation, f64)]) -> Option<Fit> {
    let whole = Moments::of(lines.iter().map(|&(o, count)| (middle(o), count)))?;
    let sd = whole.population_variance().sqrt();
    if sd <= 0.0 {
        return None;
    }
    Some(climb(lines, vec![Part { share: 1.0, mean: whole.mean, sd }], sd * 1e-6, ROUNDS))
}

fn two_normals(lines: &[(Observation, f64)], alone: &Fit) -> Option<Fit> {
    let whole = alone.parts[0];
    let total: f64 = lines.iter().map(|line| line.1).sum();
    // A group no wider than a step would make the likelihood of exact ties endless.
    let floor = whole.sd * 0.02;
    let mut best: Option<Fit> = None;
    for split in [0.08, 0.2, 0.35, 0.5, 0.65, 0.8, 0.92] {
        let parts = halves(lines, split * total, floor)?;
        let fit = climb(lines, parts, floor, FIRST_ROUNDS);
        if best.as_ref().is_none_or(|b| fit.ln_likelihood > b.ln_likelihood) {
            best = Some(fit);
        }
    }
    let best = best?;
    Some(climb(lines, best.parts, floor, ROUNDS))
}

/// Mean and spread of the readings below and above the split.
fn halves(lines: &[(Observation, f64)], split: f64, floor: f64) -> Option<Vec<Part>> {
    let mut ordered = lines.to_vec();
    ordered.sort_by(|a, b| middle(a.0).total_cmp(&middle(b.0)));
    let mut sides = [Vec::new(), Vec::new()];
    let mut seen = 0.0;
    for (o, count) in ordered {
        sides[usize::from(seen + count / 2.0 > split)].push((middle(o), count));
        seen += count;
    }
    let parts = sides.into_iter().map(|side| {
        let side = Moments::of(side)?;
        Some(Part {
            share: side.count / seen,
            mean: side.mean,
            sd: side.population_variance().max(floor * floor).sqrt(),
        })
    });
    parts.collect()
}

/// Part of the range of nearly all readings over which the first look smooths them.
const SMOOTHED: f64 = 0.04;
/// A smoothed valley shallower than this part of the lower hill is none; smoothing fills a real one a little.
const SMOOTH_VALLEY: f64 = 0.96;

/// Whether the smoothed readings fall and rise again with enough units on both sides: a look that costs a
/// hundredth of the search it spares a series of one hump.
fn may_have_valley(lines: &[(Observation, f64)], smallest: f64) -> bool {
    let mut at: Vec<(f64, f64)> = lines.iter().map(|&(o, count)| (middle(o), count)).collect();
    at.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = at.iter().map(|p| p.1).sum();
    let place =
        |share: f64| reaching(at.iter().map(|p| p.1), share).map_or(0.0, |found| at[found.index].0);
    let (low, high) = (place(0.01), place(0.99));
    let width = SMOOTHED * (high - low);
    if !(width > 0.0 && width.is_finite()) {
        return false;
    }
    // A group no wider than a reading step is one line, and its valley is empty at any smoothing.
    let mut heights = Vec::new();
    let mut below = Vec::new();
    for i in 0..=PLACES / 2 {
        let x = low + (high - low) * f64::from(i) / f64::from(PLACES / 2);
        let kernel = |p: &(f64, f64)| p.1 * (-((p.0 - x) / width).powi(2) / 2.0).exp();
        heights.push(at.iter().map(kernel).sum::<f64>());
        below.push(at.iter().take_while(|p| p.0 <= x).map(|p| p.1).sum::<f64>() / total);
    }
    // Of the hills left and right of each place, the lower.
    let mut left = 0.0_f64;
    let hills_left: Vec<f64> = heights
        .iter()
        .map(|h| {
            left = left.max(*h);
            left
        })
        .collect();
    let mut right = 0.0_f64;
    (0..heights.len()).rev().any(|i| {
        right = right.max(heights[i]);
        // Half of the smallest group may lie beyond a valley's lowest place.
        let enough = below[i] >= smallest / 2.0 && 1.0 - below[i] >= smallest / 2.0;
        enough && heights[i] < SMOOTH_VALLEY * right.min(hills_left[i])
    })
}

/// A valley shallower than this part of the lower hill is none.
const VALLEY: f64 = 0.9;
/// Places between the means at which the density is looked at.
const PLACES: i32 = 200;

/// Whether the density of two parts falls between their means: two parts also fit one hump of a shape that
/// is no family's, whose parts are no groups.
fn dips(a: Part, b: Part) -> bool {
    let density = |x: f64| -> f64 {
        [a, b].iter().map(|p| p.share * normal_ln_pdf((x - p.mean) / p.sd).exp() / p.sd).sum()
    };
    let heights: Vec<f64> = (0..=PLACES)
        .map(|i| density(a.mean + (b.mean - a.mean) * f64::from(i) / f64::from(PLACES)))
        .collect();
    let lowest = (0..heights.len()).min_by(|&i, &j| heights[i].total_cmp(&heights[j])).unwrap_or(0);
    let hill = |side: &[f64]| side.iter().copied().fold(0.0, f64::max);
    let lower = hill(&heights[..=lowest]).min(hill(&heights[lowest..]));
    heights[lowest] < VALLEY * lower
}

/// Where both parts are equally likely between their means, by halving.
fn divide(low: Part, high: Part) -> f64 {
    let density = |p: Part, x: f64| p.share.ln() + normal_ln_pdf((x - p.mean) / p.sd) - p.sd.ln();
    last_that(|x| density(low, x) > density(high, x), low.mean, high.mean, 60)
}
