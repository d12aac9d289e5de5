//! A tail against other explanations of the same readings: the law of its line, strays, and what lies
//! beyond its cut.

use super::Tail;
use crate::blocks::block_variance;
use crate::numeric::quadratic;
use crate::pareto::{Line, Place};
use crate::sample::{Grouped, Observation};

/// Rounds in which strays are told from the body, and the gain of one that is none.
const ROUNDS: usize = 200;
const NO_GAIN: f64 = 1e-6;
/// A probability below every tail of a double.
const NEVER: f64 = 1e-300;

/// Readings beyond a cut that a tail fitted below it expects.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// Their number.
    pub value: f64,
    /// Its usual variance from that of scale and shape.
    pub variance: f64,
    /// Expected beyond the cut for each reading between threshold and cut.
    pub ratio: f64,
    /// Influence of each day's readings on the number, through scale and shape.
    pub influence: Vec<f64>,
}

/// A reading beyond the threshold as the body and strays see it.
struct Seen {
    count: f64,
    /// Probability under the body, of those beyond the threshold.
    of_body: f64,
    /// Excess on the line from here
    from: f64,
    /// to here, infinite for a trip.
    to: f64,
}

impl Tail {
    /// How many readings beyond the cut the tail expects; `None` without a cut.
    pub fn expected_beyond_cut(&self) -> Option<Expected> {
        self.excesses.cut?;
        let (ratio, by) = self.excesses.odds_beyond_cut([self.scale.ln(), self.shape]);
        let n = self.excesses.total;
        let g = by.map(|b| b * n);
        Some(Expected {
            value: n * ratio,
            variance: quadratic(&self.covariance, g),
            ratio,
            influence: self.influence.iter().map(|day| g[0] * day[0] + g[1] * day[1]).collect(),
        })
    }

    /// Twice the log-likelihood that the readings between threshold and cut gain over the line's own law
    /// (scale 1, shape 0, and the law's share between the two), for three parameters more: about
    /// chi-squared with three degrees of freedom where the law is theirs. Divided by how much more days
    /// vary than independent readings would. `None` without a cut or a law.
    pub fn gain_over_law(&self) -> Option<f64> {
        if self.line == Line::Readings {
            return None;
        }
        let cut = self.start + self.excesses.cut?;
        let at = [self.scale.ln(), self.shape];
        let own = self.excesses.likelihood(at)?.value;
        let of_law = self.excesses.likelihood([0.0, 0.0])?.value;
        // Share of the readings below the cut that lies beyond the threshold.
        let above = |w: f64| (-w).exp();
        let expected = (above(self.start) - above(cut)) / (1.0 - above(cut));
        let (inside, below) = (self.beyond, self.below);
        let seen = inside / (inside + below);
        let of_share =
            inside * (seen / expected).ln() + below * ((1.0 - seen) / (1.0 - expected)).ln();
        let days: Vec<f64> = self.influence.iter().map(|day| day[2]).collect();
        let dispersion = block_variance(&days, self.share_variance).ratio.max(1.0);
        Some(2.0 * (own - of_law + of_share).max(0.0) / dispersion)
    }

    /// Log-likelihood that a body and strays gain over this tail, for the readings beyond its threshold: how
    /// much better "a share of the units does not belong" explains them than "the tail is long".
    ///
    /// - `body`: share of healthy units above a reading. Strays: exponential on the tail's line, with the
    ///   share and mean that fit best (EM), so that both sides have two parameters.
    /// - `data`: those of the fit, as intervals. `None` where a reading is exact (it has no probability), or
    ///   the body gives nothing beyond the threshold.
    pub fn gain_of_strays(&self, data: &Grouped, body: impl Fn(f64) -> f64) -> Option<f64> {
        let all = body(self.threshold);
        if !(all > 0.0 && all.is_finite()) {
            return None;
        }
        let exact = |o: Observation| matches!(o, Observation::Exact(_));
        if data.sample().lines().iter().any(|line| exact(line.observation)) {
            return None;
        }
        let lines = data.sample().lines().iter();
        let seen: Vec<Seen> = lines
            .filter_map(|counted| {
                let o = counted.observation;
                let place = Place::of(o, self.threshold, None, self.line, self.start);
                if !matches!(place, Place::Inside(_)) {
                    return None;
                }
                let low = o.low().max(self.threshold);
                let (past, to) = if o.high().is_finite() {
                    (body(o.high()), self.excess_at(o.high()))
                } else {
                    (0.0, f64::INFINITY)
                };
                Some(Seen {
                    count: counted.count,
                    of_body: ((body(low) - past) / all).max(NEVER),
                    from: self.excess_at(low),
                    to,
                })
            })
            .collect();
        // From near the body and from the farthest reading: one start alone may miss a lone far reading.
        let farthest = seen.iter().map(|line| line.from).fold(0.0, f64::max);
        let starts = [5.0 * self.scale, farthest.max(self.scale) / 2.0];
        let gain = starts
            .map(|mean| body_and_strays(&seen, mean, self.scale))
            .into_iter()
            .fold(f64::NEG_INFINITY, f64::max);
        let own = self.excesses.objective_of_each([self.scale.ln(), self.shape])?;
        Some(gain - own.value).filter(|gain| gain.is_finite())
    }
}

/// Largest log-likelihood of a body and exponential strays of mean at least `least`, from a mean to start with.
///
/// Rounds of EM move little where strays lie next to the body. Two of them tell how far the next ones would go, and that is
/// gone at once (squared extrapolation, Varadhan and Roland 2008, from memory); where the likelihood falls by it, the
/// rounds themselves count.
fn body_and_strays(seen: &[Seen], start: f64, least: f64) -> f64 {
    let total: f64 = seen.iter().map(|line| line.count).sum();
    let round = |at: Strays| at.round(seen, total, least);
    let mut at = Strays::of(0.05, start);
    let mut best = f64::NEG_INFINITY;
    for _ in 0..ROUNDS {
        let (value, Some(one)) = round(at) else { return best };
        let still = (value - best).abs() < NO_GAIN;
        best = best.max(value);
        if still {
            break;
        }
        let (value, Some(two)) = round(one) else { return best };
        best = best.max(value);
        at = match at.beyond(one, two, least).map(|far| (far, round(far))) {
            Some((_, (value, Some(next)))) if value >= best => {
                best = value;
                next
            }
            _ => two,
        };
    }
    best
}

/// Exponential strays among a body: the logarithms of their odds and of their mean.
#[derive(Debug, Clone, Copy)]
struct Strays([f64; 2]);

impl Strays {
    fn of(share: f64, mean: f64) -> Self {
        let share = share.clamp(1e-9, 0.999);
        Self([(share / (1.0 - share)).ln(), mean.ln()])
    }

    /// The log-likelihood here, and what a round of EM makes of it; `None` where no stray is left.
    fn round(self, seen: &[Seen], total: f64, least: f64) -> (f64, Option<Self>) {
        let (odds, mean) = (self.0[0].exp(), self.0[1].exp());
        let share = odds / (1.0 + odds);
        let (mut of_strays, mut excess, mut value) = (0.0, 0.0, 0.0);
        for line in seen {
            let far = if line.to.is_finite() { (-line.to / mean).exp() } else { 0.0 };
            let stray = share * ((-line.from / mean).exp() - far).max(NEVER);
            let both = (1.0 - share) * line.of_body + stray;
            let w = line.count * stray / both;
            value += line.count * both.ln();
            of_strays += w;
            // Where inside a wide interval hardly matters for the mean of strays.
            excess += w * if line.to.is_finite() {
                f64::midpoint(line.from, line.to)
            } else {
                line.from + mean
            };
        }
        let next = Self::of(of_strays / total, (excess / of_strays).max(least));
        (value, (of_strays > 0.0).then_some(next))
    }

    /// Where rounds that led from here to `one` and to `two` lead in the end; `None` where they do not slow down.
    fn beyond(self, one: Self, two: Self, least: f64) -> Option<Self> {
        let first: [f64; 2] = std::array::from_fn(|i| one.0[i] - self.0[i]);
        let bend: [f64; 2] = std::array::from_fn(|i| two.0[i] - one.0[i] - first[i]);
        let length = |v: [f64; 2]| v[0].hypot(v[1]);
        let times = length(first) / length(bend);
        let far: [f64; 2] =
            std::array::from_fn(|i| self.0[i] + 2.0 * times * first[i] + times * times * bend[i]);
        let odds = far[0].exp().min(f64::MAX);
        let inside = || Self::of(odds / (1.0 + odds), far[1].exp().max(least));
        (times.is_finite() && times > 1.0).then(inside)
    }
}
