//! Laws of healthy readings whose every quantile is known, some of the fitted families and some not.

use rand_distr::{Distribution, Gamma, Gumbel, Normal, StandardNormal, Weibull};
use rand_pcg::Pcg64;
use statrs::distribution::ContinuousCDF;
use statrs::function::erf::erfc;

type Share = Box<dyn Fn(f64) -> f64 + Send + Sync>;
type Draw = Box<dyn Fn(&mut Pcg64) -> f64 + Send + Sync>;

/// A law of healthy readings, in mA.
pub struct Truth {
    /// As the table names it.
    pub name: &'static str,
    /// Whether one of the six families is this law.
    pub of_a_family: bool,
    above: Share,
    draw: Draw,
    inside: (f64, f64),
}

impl Truth {
    /// Share of units that read above `x`.
    pub fn above(&self, x: f64) -> f64 {
        (self.above)(x)
    }

    /// One reading.
    pub fn draw(&self, chance: &mut Pcg64) -> f64 {
        (self.draw)(chance)
    }

    /// The reading that a share `q` lies above: bisection.
    pub fn upper_quantile(&self, q: f64) -> f64 {
        let (mut low, mut high) = self.inside;
        for _ in 0..200 {
            let middle = f64::midpoint(low, high);
            if self.above(middle) > q {
                low = middle;
            } else {
                high = middle;
            }
        }
        f64::midpoint(low, high)
    }

    /// Half the distance between the 15.87 and the 84.13 % reading: the standard deviation of a normal.
    pub fn spread(&self) -> f64 {
        (self.upper_quantile(0.158_655_254) - self.upper_quantile(0.841_344_746)) / 2.0
    }

    /// Share of units above `x` where every day's readings are moved by a normal level of standard
    /// deviation `sd`.
    pub fn above_with_levels(&self, x: f64, sd: f64) -> f64 {
        simpson(-7.0, 7.0, 140, |z| normal_pdf(z) * self.above(x - sd * z))
    }

    /// The reading that a share `q` lies above, with such levels.
    pub fn upper_quantile_with_levels(&self, q: f64, sd: f64) -> f64 {
        if sd == 0.0 {
            return self.upper_quantile(q);
        }
        let (mut low, mut high) = (self.inside.0 - 8.0 * sd, self.inside.1 + 8.0 * sd);
        for _ in 0..80 {
            let middle = f64::midpoint(low, high);
            if self.above_with_levels(middle, sd) > q {
                low = middle;
            } else {
                high = middle;
            }
        }
        f64::midpoint(low, high)
    }
}

fn normal_pdf(z: f64) -> f64 {
    (-z * z / 2.0).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

fn normal_above(z: f64) -> f64 {
    erfc(z / std::f64::consts::SQRT_2) / 2.0
}

fn simpson(from: f64, to: f64, parts: u32, f: impl Fn(f64) -> f64) -> f64 {
    let h = (to - from) / f64::from(parts);
    let sum: f64 = (0..=parts)
        .map(|i| {
            let weight = match i {
                0 => 1.0,
                i if i == parts => 1.0,
                i if i % 2 == 1 => 4.0,
                _ => 2.0,
            };
            weight * f(from + h * f64::from(i))
        })
        .sum();
    sum * h / 3.0
}

/// Parameters of the laws: the rules of the product were chosen on one set, the table is of the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Set {
    /// For choosing rules.
    Trial,
    /// For the table.
    Proof,
}

/// All laws, those of the families first.
pub fn laws(set: Set) -> Vec<Truth> {
    let pick = |trial: f64, proof: f64| match set {
        Set::Trial => trial,
        Set::Proof => proof,
    };
    vec![
        normal(2.0, pick(0.10, 0.07)),
        lognormal(pick(0.08, 0.16)),
        gamma(pick(40.0, 20.0), pick(0.05, 0.1)),
        weibull(pick(9.0, 6.0), 2.0),
        log_logistic(pick(22.0, 14.0), 2.0),
        gumbel(2.0, pick(0.08, 0.12)),
        right_angles(pick(0.02, 0.015), pick(0.5, 0.6), pick(0.35, 0.3)),
        skewed_mixture("skewed mixture", pick(0.15, 0.25), pick(0.10, 0.14)),
        hard_edge(pick(0.6, 0.5)),
        two_winders(pick(0.5, 0.6), pick(0.07, 0.09)),
        smeared("sorted parts", sorted_parts(pick(1.2, 1.6))),
        smeared("flat top", flat(pick(0.12, 0.18))),
        skewed_mixture("late tail", pick(0.02, 0.03), pick(0.10, 0.14)),
    ]
}

fn normal(mean: f64, sd: f64) -> Truth {
    Truth {
        name: "normal",
        of_a_family: true,
        above: Box::new(move |x| normal_above((x - mean) / sd)),
        draw: Box::new(move |chance| mean + sd * gauss(chance)),
        inside: (mean - 12.0 * sd, mean + 12.0 * sd),
    }
}

fn gauss(chance: &mut Pcg64) -> f64 {
    StandardNormal.sample(chance)
}

fn lognormal(sd: f64) -> Truth {
    let median = 2.0_f64;
    Truth {
        name: "lognormal",
        of_a_family: true,
        above: Box::new(move |x| if x <= 0.0 { 1.0 } else { normal_above((x / median).ln() / sd) }),
        draw: Box::new(move |chance| median * (sd * gauss(chance)).exp()),
        inside: (0.0, median * (12.0 * sd).exp()),
    }
}

fn gamma(shape: f64, scale: f64) -> Truth {
    let law = statrs::distribution::Gamma::new(shape, 1.0 / scale).expect("shape and rate above 0");
    let chance_of = Gamma::new(shape, scale).expect("shape and scale above 0");
    Truth {
        name: "gamma",
        of_a_family: true,
        above: Box::new(move |x| if x <= 0.0 { 1.0 } else { law.sf(x) }),
        draw: Box::new(move |chance| chance_of.sample(chance)),
        inside: (0.0, scale * (shape + 20.0 * shape.sqrt() + 60.0)),
    }
}

fn weibull(shape: f64, scale: f64) -> Truth {
    let chance_of = Weibull::new(scale, shape).expect("shape and scale above 0");
    Truth {
        name: "Weibull",
        of_a_family: true,
        above: Box::new(move |x| (-(x.max(0.0) / scale).powf(shape)).exp()),
        draw: Box::new(move |chance| chance_of.sample(chance)),
        inside: (0.0, scale * 70.0_f64.powf(1.0 / shape)),
    }
}

fn log_logistic(shape: f64, scale: f64) -> Truth {
    Truth {
        name: "log-logistic",
        of_a_family: true,
        above: Box::new(move |x| 1.0 / (1.0 + (x.max(0.0) / scale).powf(shape))),
        draw: Box::new(move |chance| {
            let u: f64 = rand_distr::Open01.sample(chance);
            scale * (u / (1.0 - u)).powf(1.0 / shape)
        }),
        inside: (0.0, scale * 1e30_f64.powf(1.0 / shape)),
    }
}

fn gumbel(location: f64, scale: f64) -> Truth {
    let chance_of = Gumbel::new(location, scale).expect("scale above 0");
    Truth {
        name: "Gumbel",
        of_a_family: true,
        above: Box::new(move |x| -(-(-(x - location) / scale).exp()).exp_m1()),
        draw: Box::new(move |chance| chance_of.sample(chance)),
        inside: (location - 6.0 * scale, location + 70.0 * scale),
    }
}

/// A capacitive current, normal, and a resistive one, lognormal, that add at right angles.
fn right_angles(capacitive_sd: f64, resistive: f64, resistive_sd: f64) -> Truth {
    let capacitive = move |z: f64| 1.8 * (1.0 + capacitive_sd * z);
    Truth {
        name: "currents at right angles",
        of_a_family: false,
        above: Box::new(move |x| {
            simpson(-7.0, 7.0, 280, |z| {
                let rest = x * x - capacitive(z).powi(2);
                let above = if rest <= 0.0 {
                    1.0
                } else {
                    normal_above((rest.sqrt() / resistive).ln() / resistive_sd)
                };
                normal_pdf(z) * above
            })
        }),
        draw: Box::new(move |chance| {
            let (z, w) = (gauss(chance), gauss(chance));
            capacitive(z).hypot(resistive * (resistive_sd * w).exp())
        }),
        inside: (0.0, 20.0),
    }
}

/// Most units normal, a share exponentially modified: one hump with a long side.
fn skewed_mixture(name: &'static str, share: f64, longer: f64) -> Truth {
    const SD: f64 = 0.06;
    // P(N + E > x) for a normal N and an exponential E of mean `longer`.
    let modified = move |x: f64| {
        let z = (x - 2.0) / SD;
        let k = SD / longer;
        let ln_factor = k * k / 2.0 - k * z;
        normal_above(z) + (ln_factor + (1.0 - normal_above(z - k)).max(1e-300).ln()).exp()
    };
    Truth {
        name,
        of_a_family: false,
        above: Box::new(move |x| {
            (1.0 - share) * normal_above((x - 2.0) / SD) + share * modified(x).min(1.0)
        }),
        draw: Box::new(move |chance| {
            let body = Normal::new(2.0, SD).expect("sd above 0").sample(chance);
            let u: f64 = rand_distr::Open01.sample(chance);
            let long: f64 = rand_distr::Exp1.sample(chance);
            body + if u < share { longer * long } else { 0.0 }
        }),
        inside: (1.0, 10.0),
    }
}

/// Between two hard edges, the density falling towards both: sorted or trimmed parts.
fn hard_edge(width: f64) -> Truth {
    // Density 12 t (1 - t)^2 on 0 to 1 has the distribution function t^2 (6 - 8 t + 3 t^2).
    let place = move |x: f64| ((x - 1.7) / width).clamp(0.0, 1.0);
    Truth {
        name: "hard upper edge",
        of_a_family: false,
        above: Box::new(move |x| {
            let u = 1.0 - place(x);
            // From the upper edge, so that small shares keep their digits.
            u * u * u * (4.0 - 3.0 * u)
        }),
        draw: Box::new(move |chance| {
            let [mut a, mut b, mut c, mut d]: [f64; 4] =
                std::array::from_fn(|_| rand_distr::Open01.sample(chance));
            // The second smallest of four uniform numbers has that density.
            if a > b {
                (a, b) = (b, a);
            }
            if c > d {
                (c, d) = (d, c);
            }
            let second = a.max(c).min(if a > c { d } else { b });
            1.7 + width * second
        }),
        inside: (1.7, 1.7 + width),
    }
}

/// Parts of two machines side by side, too near to each other to be told apart.
fn two_winders(share: f64, apart: f64) -> Truth {
    const SD: f64 = 0.05;
    Truth {
        name: "two winders",
        of_a_family: false,
        above: Box::new(move |x| {
            share * normal_above((x - 2.0) / SD)
                + (1.0 - share) * normal_above((x - 2.0 - apart) / SD)
        }),
        draw: Box::new(move |chance| {
            let u: f64 = rand_distr::Open01.sample(chance);
            2.0 + if u < share { 0.0 } else { apart } + SD * gauss(chance)
        }),
        inside: (1.0, 3.0),
    }
}

/// A law of parts between two places, by the share of them at or below each of its hundredths.
type Parts = [f64; 101];

/// Normal parts of which those further out than so many standard deviations were sorted out.
fn sorted_parts(reach: f64) -> (Parts, f64) {
    let below = |z: f64| 1.0 - normal_above(z);
    let (first, last) = (below(-reach), below(reach));
    let at = |k: usize| (below(reach * (k as f64 / 50.0 - 1.0)) - first) / (last - first);
    (std::array::from_fn(at), 0.1 * reach)
}

/// Parts that are as frequent everywhere between two places.
fn flat(half_width: f64) -> (Parts, f64) {
    (std::array::from_fn(|k| k as f64 / 100.0), half_width)
}

/// Parts about 2 mA with the scatter of what measures them.
fn smeared(name: &'static str, (parts, half_width): (Parts, f64)) -> Truth {
    const NOISE: f64 = 0.02;
    let place = move |k: f64| 2.0 + half_width * (k / 50.0 - 1.0);
    Truth {
        name,
        of_a_family: false,
        // Even inside a hundredth: that of the smear over it by Simpson's rule.
        above: Box::new(move |x| {
            let of = |k: f64| normal_above((x - place(k)) / NOISE);
            (0..100)
                .map(|k| {
                    let at = k as f64;
                    (parts[k + 1] - parts[k]) * (of(at) + 4.0 * of(at + 0.5) + of(at + 1.0)) / 6.0
                })
                .sum()
        }),
        draw: Box::new(move |chance| {
            let u: f64 = rand_distr::Open01.sample(chance);
            let k = parts.partition_point(|p| *p <= u).clamp(1, 100);
            let part = (u - parts[k - 1]) / (parts[k] - parts[k - 1]);
            place((k - 1) as f64 + part) + NOISE * gauss(chance)
        }),
        inside: (1.0, 3.0),
    }
}
