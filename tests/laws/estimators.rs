//! What holds for every estimator that is not a single fit: averages of families, the tail of all readings, the
//! non-parametric estimate, two groups, and the body with all its questions.
//!
//! Rescaled readings give rescaled answers; lines split in two and lines in another order give the same; narrowing
//! intervals give the answer of exact readings; a bound that says nothing changes nothing.

use leakdrift::analysis::body::describe::{Body, Options, Which, describe};
use leakdrift::config::Config;
use leakdrift::movement::edges::Edges;
use leakdrift::movement::group_rules;
use leakdrift::stats::average::{Average, Scale};
use leakdrift::stats::distribution::{Distribution, Family, Law};
use leakdrift::stats::empirical::Empirical;
use leakdrift::stats::likelihood::fit;
use leakdrift::stats::mixture::{Component, TwoGroups, two_groups};
use leakdrift::stats::sample::{Grouped, Observation};
use leakdrift::stats::tail::{Line, Tail};
use rand::RngExt;

use super::families::{draws, generator, laws, rounded};
use crate::support::laws::textbook;
use crate::support::numbers::assert_abs;
use crate::support::samples::straight;

pub type Lines = Vec<(i32, Observation, f64)>;

pub const FACTORS: [f64; 2] = [1e-3, 1e6];

fn by_day(observations: &[Observation], days: usize) -> Lines {
    let n = observations.len();
    let day = |i: usize| i32::try_from(i * days / n).expect("few days");
    observations.iter().enumerate().map(|(i, &o)| (day(i), o, 1.0)).collect()
}

pub fn grouped(lines: &Lines) -> Grouped {
    Grouped::new(lines.iter().copied()).unwrap()
}

fn scaled(lines: &Lines, factor: f64) -> Lines {
    lines.iter().map(|&(day, o, count)| (day, o.map(|x| x * factor), count)).collect()
}

/// Every line as two, of unequal counts, and in another order.
fn split(lines: &Lines) -> Lines {
    lines
        .iter()
        .rev()
        .flat_map(|&(day, o, count)| [(day, o, 0.25 * count), (day, o, 0.75 * count)])
        .collect()
}

/// The first law of each family, 1 500 readings in steps on 30 days, a limit at the highest 0.5 %.
pub fn series() -> Vec<(Law, Lines, f64)> {
    let mut rng = generator(300);
    laws()
        .into_iter()
        .take(6)
        .map(|law| {
            let step = 0.01;
            let limit = (law.quantile(0.995) / step).round() * step + step / 2.0;
            let readings = draws(&law, 1500, &mut rng);
            (law, by_day(&rounded(&readings, step, limit), 30), step)
        })
        .collect()
}

/// Answers of one estimator: those in the readings' unit, and those without a unit.
#[derive(Debug, Default)]
pub struct Answers {
    pub in_unit: Vec<f64>,
    pub bare: Vec<f64>,
}

#[track_caller]
fn assert_same(a: &Answers, b: &Answers, factor: f64, rel: f64) {
    assert_eq!(a.in_unit.len(), b.in_unit.len(), "{a:?}\n{b:?}");
    assert_eq!(a.bare.len(), b.bare.len(), "{a:?}\n{b:?}");
    let pairs = a
        .in_unit
        .iter()
        .map(|x| x * factor)
        .zip(&b.in_unit)
        .chain(a.bare.iter().copied().zip(&b.bare));
    for (x, y) in pairs {
        let same = x == *y || (x - y).abs() <= rel * x.abs().max(y.abs());
        assert!(same, "{x:e} against {y:e} of\n{a:?}\n{b:?}");
    }
}

/// Rescaled lines give rescaled answers, lines split in two and in another order the same; gives the answers
/// themselves. `of` is told the factor.
#[track_caller]
pub fn obeys(
    lines: &Lines,
    factors: [f64; 2],
    [rescaled, halved]: [f64; 2],
    of: impl Fn(&Lines, f64) -> Answers,
) -> Answers {
    let whole = of(lines, 1.0);
    for factor in factors {
        assert_same(&whole, &of(&scaled(lines, factor), factor), factor, rescaled);
    }
    assert_same(&whole, &of(&split(lines), 1.0), 1.0, halved);
    whole
}

fn of_average(data: &Grouped, cut: Option<f64>, at: f64) -> Answers {
    let average = Average::fit(&Family::ALL, data, cut).unwrap();
    let mut out = Answers::default();
    out.bare.extend(average.fits.iter().map(|w| 1.0 + w.weight));
    for p in [0.001, 0.5, 0.9] {
        out.in_unit.push(average.quantile(p));
        out.in_unit.push(average.upper_quantile(p));
    }
    out.bare.push(average.ln_sf(1.6 * at));
    out.bare.push(average.cdf(at));
    for q in [1e-3, 0.3] {
        let what = move |law: &Law| law.upper_quantile(q);
        for scale in [Scale::Log, Scale::Linear] {
            let estimate = average.estimate(data, scale, 0.95, &what).unwrap();
            out.in_unit.extend([estimate.value, estimate.low, estimate.high]);
        }
        let one = average.one_sided(data, Scale::Log, 0.95, &what).unwrap();
        out.in_unit.extend([one.value, one.lower, one.upper]);
    }
    let share = |law: &Law| law.ln_sf(1.3 * at).exp();
    let estimate = average.estimate(data, Scale::TailShare, 0.95, &share).unwrap();
    out.bare.extend([estimate.value, estimate.low, estimate.high]);
    let averaged = average.averaged(data, Scale::TailShare, &share).unwrap();
    out.bare.push(averaged.dispersion);
    out
}

#[test]
fn averages_obey() {
    for (law, lines, _) in series() {
        let middle = law.quantile(0.5);
        let whole = obeys(&lines, FACTORS, [1e-6, 1e-8], |lines, factor| {
            of_average(&grouped(lines), None, middle * factor)
        });
        // A cut beyond every family's tail truncates nothing.
        let data = grouped(&lines);
        let far = Average::fit(&Family::ALL, &data, None)
            .unwrap()
            .fits
            .iter()
            .map(|w| 2.0 * w.fit.law.upper_quantile(1e-18))
            .fold(0.0, f64::max);
        assert_same(&whole, &of_average(&data, Some(far), middle), 1.0, 1e-6);
    }
}

/// Exact readings and ever narrower intervals: weights and averages alike, though one has densities and the
/// other probabilities.
#[test]
fn averages_of_narrow_intervals_are_those_of_exact_readings() {
    let mut rng = generator(301);
    for law in laws().into_iter().take(6) {
        let readings = draws(&law, 300, &mut rng);
        let with = |half: f64| {
            let around = |x: &f64| match half {
                0.0 => Observation::Exact(*x),
                _ => Observation::Between { low: x - half, high: x + half },
            };
            let observations: Vec<Observation> = readings.iter().map(around).collect();
            of_average(&grouped(&by_day(&observations, 20)), None, law.quantile(0.5))
        };
        assert_same(&with(0.0), &with(1e-7), 1.0, 1e-6);
        // Exact readings in another unit: every family's density changes by the same factor.
        let exact: Vec<Observation> = readings.iter().map(|&x| Observation::Exact(x)).collect();
        let lines = by_day(&exact, 20);
        let middle = law.quantile(0.5);
        for factor in FACTORS {
            let there = of_average(&grouped(&scaled(&lines, factor)), None, middle * factor);
            assert_same(&with(0.0), &there, factor, 1e-6);
        }
    }
}

fn of_tail(data: &Grouped, threshold: f64, unit: f64) -> Answers {
    let tail = Tail::fit(data, threshold, None, Line::Readings).unwrap();
    let mut out = Answers::default();
    out.in_unit.extend([tail.threshold, tail.scale]);
    out.bare.extend([tail.share, 1.0 + tail.shape, tail.beyond]);
    for q in [0.8 * tail.share, 0.01, 1e-3, 1e-6] {
        let bounds = tail.bounds(q, 0.95).unwrap();
        out.in_unit.extend([bounds.value, bounds.lower, bounds.upper]);
        let two = tail.quantile_estimate(q, 0.95).unwrap();
        out.in_unit.extend([two.value, two.low, two.high]);
        let error = tail.dispersion(q).unwrap();
        out.bare.push(error);
    }
    for x in [1.05, 1.3, 1.7] {
        let share = tail.exceedance(threshold + (x - 1.0) * unit, 0.95).unwrap();
        out.bare.extend([1.0 + share.value, 1.0 + share.low, 1.0 + share.high]);
    }
    out
}

#[test]
fn tails_obey() {
    for (law, lines, step) in series() {
        let threshold = (law.quantile(0.85) / step).round() * step + step / 2.0;
        obeys(&lines, FACTORS, [1e-5, 1e-5], |lines, factor| {
            of_tail(&grouped(lines), threshold * factor, factor)
        });
    }
}

#[test]
fn tails_of_narrow_intervals_are_those_of_exact_readings() {
    let mut rng = generator(302);
    for law in laws().into_iter().take(6) {
        let readings = draws(&law, 1500, &mut rng);
        let threshold = law.quantile(0.85);
        let with = |half: f64| {
            let around = |x: &f64| match half {
                0.0 => Observation::Exact(*x),
                _ => Observation::Between { low: x - half, high: x + half },
            };
            let observations: Vec<Observation> = readings.iter().map(around).collect();
            of_tail(&grouped(&by_day(&observations, 20)), threshold, 1.0)
        };
        let (exact, near) = (with(0.0), with(1e-7));
        assert_same(&exact, &near, 1.0, 1e-4);
    }
}

/// Many readings are taken in cells: a tail says what it says of exact ones, to a twentieth of its own uncertainty.
#[test]
fn a_tail_of_many_readings_is_that_of_exact_readings() {
    let mut rng = generator(305);
    for law in laws().into_iter().take(6) {
        let readings = draws(&law, 6000, &mut rng);
        let threshold = law.quantile(0.85);
        let with = |around: &dyn Fn(f64) -> Observation| {
            let observations: Vec<Observation> = readings.iter().map(|x| around(*x)).collect();
            Tail::fit(&grouped(&by_day(&observations, 20)), threshold, None, Line::Readings)
                .unwrap()
        };
        let exact = with(&Observation::Exact);
        let near = with(&|x| Observation::Between { low: x - 1e-7, high: x + 1e-7 });
        for q in [0.1, 0.01, 1e-3, 1e-5] {
            let (a, b) = (exact.bounds(q, 0.95).unwrap(), near.bounds(q, 0.95).unwrap());
            let allowed = (a.upper - a.lower) / 40.0;
            assert_abs(b.value, a.value, allowed);
            assert_abs(b.lower, a.lower, allowed);
            assert_abs(b.upper, a.upper, allowed);
        }
    }
}

/// Many readings that overlap are shared among cells: a family fitted to them is that of their currents, to a twentieth
/// of a standard error; below a cut too.
#[test]
fn fits_to_many_overlapping_readings_are_those_of_their_currents() {
    let mut rng = generator(306);
    // A density that rises without end towards zero is another matter: such samples are not gathered.
    for law in laws().into_iter().take(6) {
        let step = (law.quantile(0.75) - law.quantile(0.25)) / 40.0;
        let cut = law.quantile(0.97);
        let currents: Vec<f64> =
            draws(&law, 4000, &mut rng).into_iter().filter(|x| x - step > 0.0).collect();
        let shown: Vec<Observation> = currents
            .iter()
            .map(|x| {
                let place: f64 = rng.random_range(0.0..1.0);
                Observation::Between { low: x - place * step, high: x + (1.0 - place) * step }
            })
            .collect();
        for cut in [None, Some(cut)] {
            let below = |o: &Observation| cut.is_none_or(|cut| o.low() < cut);
            let with = |all: Vec<Observation>| {
                let lines: Lines = by_day(&all, 20);
                fit(law.family(), grouped(&lines).sample(), cut).unwrap()
            };
            let near = with(shown.iter().copied().filter(below).collect());
            let kept = currents.iter().filter(|x| cut.is_none_or(|cut| **x <= cut));
            let exact = with(kept.map(|x| Observation::Exact(*x)).collect());
            for i in 0..2 {
                let error = exact.covariance[i][i].sqrt();
                // A reading that reaches across the cut may be of a current beyond it.
                let allowed = if cut.is_some() { 0.3 } else { 0.05 } * error;
                assert_abs(near.law.internal()[i], exact.law.internal()[i], allowed);
            }
        }
    }
}

fn of_empirical(data: &Grouped, at: f64) -> Answers {
    let empirical = Empirical::of(data.sample());
    let mut out = Answers::default();
    for p in [0.01, 0.3, 0.5, 0.97] {
        out.in_unit.push(straight(&empirical, p).unwrap());
    }
    for x in [0.7, 0.97, 1.033, 1.25] {
        out.bare.push(empirical.cdf(x * at));
        out.bare.push(1.0 + empirical.sf(x * at));
    }
    // What lies at the last edge is all.
    for cell in empirical.cells().iter().filter(|cell| cell.below < 1.0 - 1e-9) {
        out.in_unit.push(cell.high);
        out.bare.push(cell.below);
    }
    out
}

#[test]
fn non_parametric_estimates_obey() {
    for (law, mut lines, step) in series() {
        // Some readings of a coarser station: overlapping intervals, so that the masses must be searched for.
        for (i, line) in lines.iter_mut().enumerate().filter(|(i, _)| i % 7 == 0) {
            if let Observation::Between { low, high } = line.1 {
                let shown = ((low + high) / (20.0 * step)).round() * 10.0 * step;
                line.1 = Observation::Between { low: shown - 5.0 * step, high: shown + 5.0 * step };
            }
            line.0 = i32::try_from(i % 30).unwrap();
        }
        let middle = law.quantile(0.5);
        // Edges that differ by a rounding are different edges; by a power of two none moves.
        let factors = FACTORS.map(|f| f.log2().round().exp2());
        let whole = obeys(&lines, factors, [1e-9, 1e-7], |lines, factor| {
            of_empirical(&grouped(lines), middle * factor)
        });
        let mut more = lines.clone();
        more.extend([(3, Observation::Below(1e6), 40.0)]);
        more.extend([(3, Observation::Above(-1e6), 40.0)]);
        let with_bounds = of_empirical(&grouped(&more), middle);
        // Masses are searched for, and the search ends where they stand still to 1e-13 a round.
        assert_same(&whole, &with_bounds, 1.0, 1e-5);
    }
}

#[test]
fn narrow_intervals_approach_kaplan_meier() {
    let mut rng = generator(303);
    let law = laws()[2];
    let readings = draws(&law, 400, &mut rng);
    let limit = law.quantile(0.9);
    let with = |half: f64| {
        let around = |x: &f64| match half {
            _ if *x > limit => Observation::Above(limit),
            0.0 => Observation::Exact(*x),
            _ => Observation::Between { low: x - half, high: x + half },
        };
        let observations: Vec<Observation> = readings.iter().map(around).collect();
        Empirical::of(grouped(&by_day(&observations, 20)).sample())
    };
    let (exact, near) = (with(0.0), with(1e-9));
    for i in 0..200 {
        let x = law.quantile((f64::from(i) + 0.37) / 240.0);
        assert_abs(near.cdf(x), exact.cdf(x), 1e-12);
        let p = (f64::from(i) + 0.5) / 250.0;
        assert_abs(straight(&near, p).unwrap(), straight(&exact, p).unwrap(), 3e-9);
    }
}

/// Readings that were carried, each by something of its own, overlap by parts of a step. They say what the currents say
/// that they are of: the same mean, the same shares as far as a step tells, whether a step is a thirtieth
/// or a thousandth of the spread; and beyond a limit as many as there are.
#[test]
fn carried_readings_that_overlap_say_what_their_currents_say() {
    let mut rng = generator(304);
    for law in laws().into_iter().take(4) {
        let currents = draws(&law, 4000, &mut rng);
        let spread = law.quantile(0.75) - law.quantile(0.25);
        let limit = law.quantile(0.98);
        for step in [spread / 30.0, spread / 1000.0] {
            let around = |x: f64, place: f64| Observation::Between {
                low: x - place * step,
                high: x + (1.0 - place) * step,
            };
            let observations: Vec<Observation> = currents
                .iter()
                .map(|x| match *x > limit {
                    true => Observation::Above(limit),
                    // A reading that passed lies below the limit.
                    false if *x + step > limit => around(*x, 1.0),
                    false => around(*x, rng.random_range(0.0..1.0)),
                })
                .collect();
            let empirical = Empirical::of(grouped(&by_day(&observations, 20)).sample());
            let beyond = observations.iter().filter(|o| o.high().is_infinite()).count() as f64;
            assert_abs(empirical.sf(limit + step), beyond / 4000.0, 1e-9);
            let middle = |low: f64, high: f64| f64::midpoint(low, high);
            let bounded = |c: &&leakdrift::stats::empirical::Cell| c.high.is_finite();
            let mean: f64 = empirical
                .cells()
                .iter()
                .filter(bounded)
                .map(|c| c.mass * middle(c.low, c.high))
                .sum();
            let kept = observations.iter().filter(|o| o.high().is_finite());
            let of_readings: f64 = kept.map(|o| middle(o.low(), o.high())).sum::<f64>() / 4000.0;
            // But for the few in the cell that the limit cuts.
            assert_abs(mean, of_readings, 0.01 * step);
            for i in 1..40 {
                let x = law.quantile(f64::from(i) / 41.0);
                let share = currents.iter().filter(|c| **c <= x).count() as f64 / 4000.0;
                assert_abs(empirical.cdf(x), share, 0.005);
            }
            assert!(empirical.cells().len() <= 2 * 4000, "{}", empirical.cells().len());
        }
    }
}

/// Two groups on the scale `component`, 3 to 1, about four standard deviations apart.
fn two_peaks(component: Component, seed: u64) -> Vec<f64> {
    let normal = textbook(Family::Normal, 0.0, 1.0);
    let mut rng = generator(seed);
    let z = draws(&normal, 1200, &mut rng);
    z.iter()
        .enumerate()
        .map(|(i, z)| match component {
            Component::Normal if i % 4 == 0 => 2.0 + 0.2 * z,
            Component::Normal => 1.2 + 0.2 * z,
            Component::Lognormal if i % 4 == 0 => (1.0 + 0.25 * z).exp(),
            Component::Lognormal => (0.25 * z).exp(),
        })
        .collect()
}

fn answers_of(two: &TwoGroups, factor: f64) -> Answers {
    let mut out = Answers::default();
    out.in_unit.push(two.divide);
    out.bare.extend([two.separation, two.bic_gain]);
    for group in &two.groups {
        out.in_unit.push(group.median);
        out.bare.push(group.share);
        match two.component {
            Component::Normal => out.in_unit.extend([group.mean, group.sd]),
            Component::Lognormal => out.bare.extend([1.0 + group.mean - factor.ln(), group.sd]),
        }
    }
    out
}

#[test]
fn two_groups_obey() {
    for (component, seed) in [(Component::Normal, 310), (Component::Lognormal, 311)] {
        let readings = two_peaks(component, seed);
        for exact in [false, true] {
            let observations: Vec<Observation> = if exact {
                readings.iter().map(|&x| Observation::Exact(x)).collect()
            } else {
                rounded(&readings, 0.02, 3.4)
            };
            let lines = by_day(&observations, 20);
            let find = |lines: &Lines, factor: f64| {
                let rules = group_rules(&Config::default());
                let found = two_groups(grouped(lines).sample(), None, &rules).unwrap();
                assert_eq!(found.component, component, "exact: {exact}, {factor}");
                answers_of(&found, factor)
            };
            let here = obeys(&lines, FACTORS, [1e-3, 1e-4], find);
            if exact {
                // Intervals no wider than a rounding error of the meter.
                let narrow: Vec<Observation> = readings
                    .iter()
                    .map(|x| Observation::Between { low: x - 1e-7, high: x + 1e-7 })
                    .collect();
                assert_same(&here, &find(&by_day(&narrow, 20), 1.0), 1.0, 0.02);
            }
        }
    }
}

/// Everything a body is asked, with `unit` the size of a reading of 1.
fn of_body(body: &Body, unit: f64) -> Answers {
    let mut out = Answers::default();
    out.in_unit.push(body.cut);
    out.in_unit.extend(body.low_cut);
    out.in_unit.extend(body.strays.above.threshold);
    out.in_unit.extend(body.strays.below.threshold);
    out.bare.extend([
        body.units,
        body.excess.beyond,
        body.excess.expected,
        1.0 + body.excess.share.value,
        body.excess.p_more,
        body.strays.above.count,
    ]);
    for which in [Which::Apart, Which::Together] {
        for p in [0.05, 0.5, 0.95, 0.99, 0.998_65] {
            if let Ok(e) = body.quantile(which, p) {
                out.in_unit.extend([e.value, e.low, e.high]);
            }
        }
        for accepted in [0.01, 1e-3, 1e-5] {
            if let Ok(b) = body.bounds(which, accepted) {
                out.in_unit.extend([b.value, b.lower, b.upper]);
            }
        }
        for x in [0.8, 1.0, 1.3, 1.6, 2.5] {
            if let Ok(e) = body.reject_share(which, x * unit) {
                out.bare.extend([1.0 + e.value, 1.0 + e.low, 1.0 + e.high]);
            }
            if let Ok(e) = body.performance(which, x * unit) {
                out.bare.extend([10.0 + e.value, 10.0 + e.low, 10.0 + e.high]);
            }
        }
    }
    out.bare.extend([0.9, 1.1].map(|x| 1.0 + body.density(x * unit) * unit));
    out
}

#[test]
fn bodies_obey() {
    for (law, mut lines, step) in series() {
        // Two strays, as a factory has them.
        lines.push((3, Observation::Above(5.0), 2.0));
        let unit = law.quantile(0.5);
        let of = |lines: &Lines, factor: f64| {
            let edges = Edges::uniform(step * factor);
            let body = describe(&grouped(lines), &edges, &Options::default()).unwrap();
            of_body(&body, unit * factor)
        };
        let here = obeys(&lines, FACTORS, [1e-4, 1e-4], of);
        assert!(here.in_unit.len() > 20);
    }
}
