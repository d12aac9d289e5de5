//! What is asked of a body on its one scale about limits that are typed at stations, and what offsets that are
//! estimates add to its intervals.
//!
//! In: the stations of the period judged with their part of the units, how their readings come to the one scale, and
//! the limit in force there. A share of healthy units above a limit is the mean over stations, each at its own scale.
//! The error of the scale is independent of the readings' own, so the distances of an interval's ends add up as
//! squares ([`crate::movement::scale`] says why).

use crate::movement::scale::Carry;
use crate::stats::estimate::Estimate;
use crate::stats::special::normal_quantile;
use crate::stats::tail::Bounds;

/// A station that tested units of the period judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtStation {
    /// Index into the pass's stations.
    pub station: u16,
    /// Units judged.
    pub units: f64,
    /// How its readings come to the one scale, in its latest state.
    pub carry: Carry,
    /// High limit in force there, mA; `None` where none is known.
    pub limit_ma: Option<f64>,
}

/// The mean over stations of the share above the limit that `limit` gives for each, mA as typed there; `share` is
/// asked on the one scale, once for stations that agree. `None` where a share is not known or no station has units.
pub fn share_over_stations(
    stations: &[AtStation],
    limit: impl Fn(&AtStation) -> Option<f64>,
    share: impl Fn(f64) -> Option<Estimate>,
) -> Option<Estimate> {
    let mut limits: Vec<(f64, f64)> = Vec::new();
    for s in stations.iter().filter(|s| s.units > 0.0) {
        let at = s.carry.on_scale(limit(s)?);
        match limits.iter_mut().find(|(known, _)| (*known - at).abs() <= 1e-12 * at) {
            Some((_, units)) => *units += s.units,
            None => limits.push((at, s.units)),
        }
    }
    let all: f64 = limits.iter().map(|l| l.1).sum();
    let mut of_limits = limits.iter().map(|(at, units)| Some((share(*at)?, units / all)));
    let (first, part) = of_limits.next()??;
    if limits.len() == 1 {
        return Some(first);
    }
    let sum = Estimate { value: 0.0, low: 0.0, high: 0.0, ..first.clone() };
    std::iter::once(Some((first, part))).chain(of_limits).try_fold(sum, |sum, next| {
        let (e, part) = next?;
        Some(Estimate {
            value: sum.value + part * e.value,
            low: sum.low + part * e.low,
            high: sum.high + part * e.high,
            ..sum
        })
    })
}

/// Standard error of the one scale, on the scale of logs; 0 where nothing was taken off.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ScaleError(pub f64);

impl ScaleError {
    /// So many standard errors, for a two-sided interval at `level`.
    fn two_sided(self, level: f64) -> f64 {
        self.0 * normal_quantile(0.5 + level / 2.0)
    }

    /// An interval of a current.
    #[must_use]
    pub fn of_current(self, e: Estimate) -> Estimate {
        let reach = self.two_sided(e.level);
        let (low, high) = (lower(e.value, e.low, reach), upper(e.value, e.high, reach));
        Estimate { low, high, ..e }
    }

    /// One-sided bounds of a current, each at `level`.
    #[must_use]
    pub fn of_bounds(self, b: Bounds, level: f64) -> Bounds {
        let reach = self.0 * normal_quantile(level);
        let (low, high) = (lower(b.value, b.lower, reach), upper(b.value, b.upper, reach));
        Bounds { lower: low, upper: high, ..b }
    }

    /// The share above a limit, where `share` gives that above others.
    #[must_use]
    pub fn of_share(self, e: Estimate, limit: f64, share: impl Fn(f64) -> Option<f64>) -> Estimate {
        if self.0 == 0.0 {
            return e;
        }
        let reach = self.two_sided(e.level);
        let away =
            |side: f64| share(limit * (side * reach).exp()).map_or(0.0, |at| (at - e.value).abs());
        Estimate {
            low: (e.value - (e.value - e.low).hypot(away(1.0))).max(0.0),
            high: (e.value + (e.high - e.value).hypot(away(-1.0))).min(1.0),
            ..e
        }
    }

    /// The index of a limit: it falls by `limit / (reference − median)` times what all readings grow.
    #[must_use]
    pub fn of_index(self, e: Estimate, limit: f64, median: f64, reference: f64) -> Estimate {
        if self.0 == 0.0 {
            return e;
        }
        let away = self.two_sided(e.level) * limit / (reference - median);
        Estimate {
            low: e.value - (e.value - e.low).hypot(away),
            high: e.value + (e.high - e.value).hypot(away),
            ..e
        }
    }
}

impl ScaleError {
    /// The index against a low limit, whose reference reading lies below the median: it grows by
    /// `limit / (median − reference)` times what all readings grow.
    #[must_use]
    pub fn of_low_index(self, e: Estimate, limit: f64, median: f64) -> Estimate {
        let reference = median - (median - limit) / e.value;
        if reference.is_finite() { self.of_index(e, limit, reference, median) } else { e }
    }

    /// The share below a limit, where `share` gives that below others.
    #[must_use]
    pub fn of_share_below(
        self,
        e: Estimate,
        limit: f64,
        share: impl Fn(f64) -> Option<f64>,
    ) -> Estimate {
        // More lie below where the limit is higher: the ends of the interval change places.
        self.of_share(e, limit, |at| share(limit * limit / at))
    }

    /// Standard error of the log of the days until what healthy units read comes to a limit, from that by the
    /// readings alone: of readings that are `x` times larger the way left is shorter by `limit / (limit − reading)`
    /// times as much. What a step's error does to the slope is left out: half of the units stepping by 0.2 % in
    /// mid-history make 0.15 % of the level over the whole of it, far less than a slope that is material.
    #[must_use]
    pub fn of_log_days(self, error: f64, limit: f64, reading: f64) -> f64 {
        if self.0 == 0.0 { error } else { error.hypot(self.0 * limit / (limit - reading)) }
    }
}

/// A lower end of a current, further away by a distance of logs.
fn lower(value: f64, low: f64, reach: f64) -> f64 {
    let usable = reach > 0.0 && value > 0.0 && low > 0.0;
    if usable { value * (-(value / low).ln().hypot(reach)).exp() } else { low }
}

/// An upper end likewise.
fn upper(value: f64, high: f64, reach: f64) -> f64 {
    let usable = reach > 0.0 && value > 0.0 && high.is_finite();
    if usable { value * (high / value).ln().hypot(reach).exp() } else { high }
}
