//! What an answer about the tail says: quantiles, bounds, rejects and capability, from the truncated
//! body (`apart`) or from the tail of all readings (`together`).
//!
//! Inside the data the readings answer, inside a step along the best family's curve; the families alone
//! only in a series too small for a tail (under about 120 units).
//!
//! A share is read off the intervals of quantiles, so that both ways of asking agree: the tail's by the
//! root of its profile likelihood next to the estimate, the families' on `-ln(-ln p)` (on log-odds an
//! interval far out ran from 0 to 1), a carried body's by [`super::share_ladder`] with blocks of days left
//! out. Of families and tail weighed, an average reaches no further than both do.
//!
//! Where it cannot be told whether the highest readings are damage or a long healthy tail, the intervals of the answer in
//! use reach as far as both answers do: with 1 % strays in bodies outside every family, those of one answer alone held in
//! 30 to 60 % of series.

use crate::analysis::NotDone;
use crate::analysis::body::capability::{exact_normal, index};
use crate::analysis::body::describe::{Body, Which};
use crate::movement::edges::place;
use crate::stats::average::{Scale, Weighted};
use crate::stats::blocks::block_variance;
use crate::stats::distribution::{Distribution, Family, Law};
use crate::stats::estimate::Estimate;
use crate::stats::expected_share::RAREST;
use crate::stats::mixture::Component;
use crate::stats::sample::Observation;
use crate::stats::special::{normal_ln_pdf, normal_quantile, student_t_quantile};
use crate::stats::tail::{Bounds, Tail};

/// Share of units at or below the upper reference reading of the geometric method (ISO 22514-2).
pub const UPPER_REFERENCE: f64 = 0.998_65;

/// The family counts as normal from this weight.
const NORMAL_FROM: f64 = 0.9;

impl Body {
    /// The answer in use.
    ///
    /// # Errors
    /// Why neither counts.
    pub fn which(&self) -> Result<Which, NotDone> {
        self.in_use.clone().map(|(which, _)| which)
    }

    /// The answers that count, the one in use first: one, or both where both describe the series.
    #[must_use]
    pub fn answers(&self) -> Vec<Which> {
        let Ok(which) = self.which() else {
            return Vec::new();
        };
        let apart = self.local.is_ok() || !self.families_fail();
        match which {
            Which::Apart if self.tail.is_ok() => vec![which, Which::Together],
            Which::Together if apart => vec![which, Which::Apart],
            _ => vec![which],
        }
    }

    /// The other answer, where `which` is in use and the data cannot tell which of both is right.
    pub(super) fn not_told_from(&self, which: Which) -> Option<Which> {
        match self.answers()[..] {
            [used, other] if used == which && !self.told => Some(other),
            _ => None,
        }
    }

    /// What an answer says; with an interval that reaches as far as both do where they cannot be told apart.
    fn wider(
        &self,
        which: Which,
        ask: impl Fn(Which) -> Result<Estimate, NotDone>,
    ) -> Result<Estimate, NotDone> {
        let own = ask(which)?;
        Ok(match self.not_told_from(which).and_then(|other| ask(other).ok()) {
            Some(other) => Estimate {
                low: own.low.min(other.low),
                high: own.high.max(other.high),
                method: "the wider of both answers about the tail".to_owned(),
                ..own
            },
            None => own,
        })
    }

    /// The reading with a share `p` of the units at or below it, with its two-sided interval.
    ///
    /// # Errors
    /// `NoTail` where `together` is asked and there is none; `NotFinite`.
    pub fn quantile(&self, which: Which, p: f64) -> Result<Estimate, NotDone> {
        self.wider(which, |which| self.quantile_by(which, p))
    }

    fn quantile_by(&self, which: Which, p: f64) -> Result<Estimate, NotDone> {
        let confidence = 0.5 + self.level / 2.0;
        let of_families = || self.family_quantile(p);
        match self.region(which, 1.0 - p)? {
            Region::Tail(tail) => tail.quantile_estimate(1.0 - p, self.level),
            Region::Inside => self.inside(which, p, confidence).and_then(|b| {
                Estimate::new(
                    b.value,
                    b.lower,
                    b.upper,
                    self.level,
                    "non-parametric quantile, days in blocks",
                )
            }),
            Region::Blend(tail) => blended(
                self.family_weight,
                of_families(),
                tail.quantile_estimate(1.0 - p, self.level),
                Scale::Linear,
            ),
            Region::Body => of_families(),
        }
        .map(|e| self.out_to_edges(e, which, p, confidence))
        .ok_or(NotDone::NotFinite("a quantile"))
    }

    /// The value of [`Body::quantile`] alone, for answers that are asked many times.
    ///
    /// # Errors
    /// As [`Body::quantile`].
    pub fn quantile_value(&self, which: Which, p: f64) -> Result<f64, NotDone> {
        let of_families = || {
            self.average.averaged_value(Scale::Log, &|law: &Law| {
                if p > 0.5 { law.upper_quantile(1.0 - p) } else { law.quantile(p) }
            })
        };
        match self.region(which, 1.0 - p)? {
            Region::Tail(tail) => tail.upper_quantile(1.0 - p),
            Region::Inside => {
                let p = self.of_all(which, p);
                let law = &self.average.best().fit.law;
                self.empirical.quantile_along(p, law)
            }
            Region::Blend(tail) => match self.family_weight {
                w if w < 0.001 => tail.upper_quantile(1.0 - p),
                w if w > 0.999 => of_families(),
                w => of_families()
                    .zip(tail.upper_quantile(1.0 - p))
                    .map(|(f, t)| w * f + (1.0 - w) * t),
            },
            Region::Body => of_families(),
        }
        .filter(|x| x.is_finite())
        .ok_or(NotDone::NotFinite("a quantile"))
    }

    /// A share of the healthy units as one of all units.
    pub(super) fn of_all(&self, which: Which, p: f64) -> f64 {
        match which {
            // Kept out, strays above are no part of the units that the share is of.
            Which::Apart => p * (1.0 - self.excess.share.value.max(0.0)),
            Which::Together => p,
        }
    }

    /// The reading with a share `p` of the units at or below it by the families alone: the fitted line of a
    /// probability plot.
    #[must_use]
    pub fn family_quantile(&self, p: f64) -> Option<Estimate> {
        self.average.estimate(&self.fitted, Scale::Log, self.level, &|law: &Law| {
            if p > 0.5 { law.upper_quantile(1.0 - p) } else { law.quantile(p) }
        })
    }

    /// `L` and `U`: one-sided bounds, each at the body's level, of the reading that all but a share
    /// `accepted` of the healthy units stay under.
    ///
    /// # Errors
    /// As [`Body::quantile`].
    pub fn bounds(&self, which: Which, accepted: f64) -> Result<Bounds, NotDone> {
        let own = self.bounds_by(which, accepted)?;
        let other =
            self.not_told_from(which).and_then(|other| self.bounds_by(other, accepted).ok());
        Ok(other.map_or(own, |other| Bounds {
            lower: own.lower.min(other.lower),
            upper: own.upper.max(other.upper),
            ..own
        }))
    }

    fn bounds_by(&self, which: Which, accepted: f64) -> Result<Bounds, NotDone> {
        let fitted = self.bounds_as_fitted(which, accepted)?;
        let ends = (fitted.lower, fitted.upper);
        let (lower, upper) = self.to_edges_of_steps(ends, which, 1.0 - accepted, self.level);
        Ok(Bounds { lower, upper, ..fitted })
    }

    /// The bounds of one answer before they are moved out to the edges of reading steps.
    pub(super) fn bounds_as_fitted(&self, which: Which, accepted: f64) -> Result<Bounds, NotDone> {
        let of_families = || {
            let bounds =
                self.average.one_sided(&self.fitted, Scale::Log, self.level, &|law: &Law| {
                    law.upper_quantile(accepted)
                });
            bounds.map(|b| Bounds { value: b.value, lower: b.lower, upper: b.upper })
        };
        match self.region(which, accepted)? {
            Region::Tail(tail) => tail.bounds(accepted, self.level),
            Region::Inside => self.inside(which, 1.0 - accepted, self.level),
            Region::Body => of_families(),
            Region::Blend(tail) => {
                let estimate = |b: Bounds| {
                    // Two one-sided bounds are an interval of twice the risk.
                    Estimate::new(b.value, b.lower, b.upper, 2.0 * self.level - 1.0, "")
                };
                blended(
                    self.family_weight,
                    of_families().and_then(estimate),
                    tail.bounds(accepted, self.level).and_then(estimate),
                    Scale::Linear,
                )
                .map(|e| Bounds { value: e.value, lower: e.low, upper: e.high })
            }
        }
        .filter(|b| b.value.is_finite() && !b.lower.is_nan() && !b.upper.is_nan())
        .ok_or(NotDone::NotFinite("the bounds of the accepted share"))
    }

    /// Share of the healthy units expected above `limit`, with its two-sided interval.
    ///
    /// # Errors
    /// As [`Body::quantile`].
    pub fn reject_share(&self, which: Which, limit: f64) -> Result<Estimate, NotDone> {
        self.wider(which, |which| self.reject_share_by(which, limit))
    }

    fn reject_share_by(&self, which: Which, limit: f64) -> Result<Estimate, NotDone> {
        let of_families = || {
            self.average.estimate(&self.fitted, Scale::TailShare, self.level, &|law: &Law| {
                law.ln_sf(limit).exp()
            })
        };
        let tail = self.tail_of(which)?;
        match tail.filter(|tail| limit >= tail.threshold) {
            Some(tail) if which == Which::Apart => {
                let parts = (of_families(), tail.exceedance(limit, self.level));
                let reach = |end: fn(&Estimate) -> f64| {
                    let (f, t) = (parts.0.as_ref().map(end), parts.1.as_ref().map(end));
                    f.zip(t)
                };
                // Far out the two differ by more than either could be wrong: an average of them reaches no further
                // than both do.
                let (lows, highs) = (reach(|e| e.low), reach(|e| e.high));
                blended(self.family_weight, parts.0, parts.1, Scale::TailShare).map(|e| Estimate {
                    low: lows.map_or(e.low, |(f, t)| e.low.max(f.min(t))).min(e.value),
                    high: highs.map_or(e.high, |(f, t)| e.high.min(f.max(t))).max(e.value),
                    ..e
                })
            }
            Some(tail) => tail.exceedance(limit, self.level),
            None if self.without_families() => {
                let (t, error) = self.share_error(limit, 0.5 + self.level / 2.0);
                let law = &self.average.best().fit.law;
                let sf = self.empirical.sf_along(limit, law);
                Estimate::new(
                    sf,
                    (sf - t * error).max(0.0),
                    (sf + t * error).min(1.0),
                    self.level,
                    "non-parametric share, days in blocks",
                )
            }
            None => of_families(),
        }
        .map(|share| self.no_rarer_than_known(which, self.over_the_step(share, limit)))
        .ok_or(NotDone::NotFinite("the expected rejects"))
    }

    /// A share of the units with an upper end that so many units can vouch for: at least 1 in 100 times their number;
    /// where no family describes the highest readings, and only a general law of tails says what lies beyond them, 1 in
    /// their number.
    pub(super) fn no_rarer_than_known(&self, which: Which, share: Estimate) -> Estimate {
        let rarest = if self.is_outside_families(which) { 1.0 } else { RAREST };
        Estimate { high: share.high.max(rarest / self.units), ..share }
    }

    /// Whether the families have so little weight against the tail below the cut that none of them describes the highest
    /// readings.
    #[must_use]
    pub fn is_outside_families(&self, which: Which) -> bool {
        let describes = match which {
            Which::Apart => 0.5,
            Which::Together => 0.01,
        };
        self.local.is_ok() && self.family_weight < describes
    }

    /// The value of [`Body::reject_share`] alone, for answers that are asked many times.
    ///
    /// # Errors
    /// As [`Body::quantile`].
    pub fn share_above(&self, which: Which, limit: f64) -> Result<f64, NotDone> {
        let tail = self
            .tail_of(which)?
            .and_then(|tail| tail.sf(limit).filter(|_| limit >= tail.threshold));
        let of_families =
            || self.average.averaged_value(Scale::TailShare, &|law: &Law| law.ln_sf(limit).exp());
        match tail {
            Some(share) if which == Which::Apart => {
                let (w, on) = (self.family_weight, |p| Scale::TailShare.to(p));
                match of_families() {
                    _ if w < 0.001 => Some(share),
                    Some(f) if w > 0.999 => Some(f),
                    Some(f) => on(f)
                        .zip(on(share))
                        .map(|(f, s)| Scale::TailShare.from(w * f + (1.0 - w) * s)),
                    None => None,
                }
            }
            Some(share) => Some(share),
            None if self.without_families() => {
                let law = &self.average.best().fit.law;
                Some(self.empirical.sf_along(limit, law))
            }
            None => of_families(),
        }
        .filter(|share| share.is_finite())
        .ok_or(NotDone::NotFinite("the expected rejects"))
    }

    /// `P_pkU = (limit - X50) / (X99.865 - X50)` with its two-sided interval.
    ///
    /// - Source: ISO 22514-2 and -4, general geometric method (from memory). Where median and reference come
    ///   from different fits, their intervals are combined by the distances of their ends (Zou G.Y.,
    ///   Donner A. (2008) Statistics in Medicine 27:1693-1702; from memory).
    /// # Errors
    /// As [`Body::quantile`].
    pub fn performance(&self, which: Which, limit: f64) -> Result<Estimate, NotDone> {
        self.wider(which, |which| self.performance_by(which, limit))
    }

    fn performance_by(&self, which: Which, limit: f64) -> Result<Estimate, NotDone> {
        const NAME: &str = "the performance index";
        let reference = 1.0 - UPPER_REFERENCE;
        let of_families = || {
            let what = |law: &Law| {
                index(limit, law.quantile(0.5), law.upper_quantile(reference)).unwrap_or(f64::NAN)
            };
            self.exact_performance(limit, &what)
                .or_else(|| self.average.estimate(&self.fitted, Scale::Linear, self.level, &what))
        };
        match self.region(which, reference)? {
            Region::Body if !self.has_wide_steps() => of_families(),
            Region::Blend(tail) if !self.has_wide_steps() => {
                let upper = tail.quantile_estimate(reference, self.level);
                let upper = upper.ok_or(NotDone::NotFinite(NAME))?;
                blended(
                    self.family_weight,
                    of_families(),
                    Some(self.index_of(limit, &self.quantile_by(which, 0.5)?, &upper)?),
                    Scale::Linear,
                )
            }
            _ => {
                let upper = self.quantile_by(which, UPPER_REFERENCE)?;
                Some(self.index_of(limit, &self.quantile_by(which, 0.5)?, &upper)?)
            }
        }
        .ok_or(NotDone::NotFinite(NAME))
    }

    /// The index of a median and a reference reading from different fits.
    fn index_of(
        &self,
        limit: f64,
        middle: &Estimate,
        upper: &Estimate,
    ) -> Result<Estimate, NotDone> {
        const NAME: &str = "the performance index";
        let at = |x50: f64, x: f64| index(limit, x50, x).ok_or(NotDone::NotFinite(NAME));
        let value = at(middle.value, upper.value)?;
        // The index falls with the reference reading; which way the median moves it depends on the limit.
        let by_reference = [
            at(middle.value, upper.high)?,
            at(middle.value, upper.low.max(middle.value * 1.000_001))?,
        ];
        let by_middle = [
            at(middle.low, upper.value)?,
            at(middle.high.min(upper.value * 0.999_999), upper.value)?,
        ];
        let (down, up) = distances(value, [by_reference, by_middle]);
        Estimate::new(
            value,
            value - down,
            value + up,
            self.level,
            "geometric method, generalised Pareto tail, days in blocks",
        )
        .ok_or(NotDone::NotFinite(NAME))
    }

    /// Density per unit of reading: of the two groups where there are two, else of the averaged families.
    #[must_use]
    pub fn density(&self, x: f64) -> f64 {
        let Some(two) = &self.groups else {
            let of = |w: &Weighted| w.weight * w.fit.law.ln_pdf(x).exp();
            return self.average.fits.iter().map(of).sum();
        };
        let (at, stretch) = match two.component {
            Component::Normal => (x, 1.0),
            Component::Lognormal if x > 0.0 => (x.ln(), 1.0 / x),
            Component::Lognormal => return 0.0,
        };
        two.groups
            .iter()
            .map(|g| g.share * normal_ln_pdf((at - g.mean) / g.sd).exp() / g.sd * stretch)
            .sum()
    }

    /// The exact bound where the family is normal and days vary no more than independent readings would.
    ///
    /// The readings are censored, so the number of readings is the one that would carry the fit's
    /// information: `(1/9 + c²/2) / variance`, the large-sample variance of the index turned round.
    pub(super) fn exact_performance(
        &self,
        limit: f64,
        what: &dyn Fn(&Law) -> f64,
    ) -> Option<Estimate> {
        let best = self.average.best();
        if best.fit.law.family() != Family::Normal || best.weight < NORMAL_FROM {
            return None;
        }
        let averaged = self.average.averaged(&self.fitted, Scale::Linear, what)?;
        // Weights that add up to 1 but for rounding make a ratio of 1 a rounding more.
        if averaged.dispersion > 1.0 + 1e-9 || !limit.is_finite() {
            return None;
        }
        let value = averaged.on_scale;
        let n = (1.0 / 9.0 + value * value / 2.0) / averaged.standard_error.powi(2);
        exact_normal(value, n.min(self.fitted.sample().total()), self.level)
    }

    fn tail_of(&self, which: Which) -> Result<Option<&Tail>, NotDone> {
        match which {
            Which::Apart => Ok(self.local.as_ref().ok()),
            Which::Together => {
                self.tail.as_ref().map(Some).map_err(|reason| NotDone::NoTail(reason.to_string()))
            }
        }
    }

    /// Which part answers for the reading that a share `q` lies beyond.
    fn region(&self, which: Which, q: f64) -> Result<Region<'_>, NotDone> {
        Ok(match self.tail_of(which)? {
            Some(tail) if q <= tail.share && which == Which::Apart => Region::Blend(tail),
            Some(tail) if q <= tail.share => Region::Tail(tail),
            Some(_) if self.without_families() => Region::Inside,
            _ => Region::Body,
        })
    }

    /// A quantile from the readings alone: the readings at which the non-parametric share passes `p` with
    /// its own uncertainty (Woodruff R.S. (1952) JASA 47:635-646; from memory).
    fn inside(&self, which: Which, p: f64, confidence: f64) -> Option<Bounds> {
        let p = self.of_all(which, p);
        let law = &self.average.best().fit.law;
        let quantile = |p: f64| self.empirical.quantile_along(p, law);
        let value = quantile(p)?;
        let (t, error) = self.share_error(value, confidence);
        let low = (p - t * error).max(1e-9);
        let high = (p + t * error).min(1.0 - 1e-9);
        Some(Bounds {
            value,
            lower: quantile(low).unwrap_or(f64::NEG_INFINITY),
            upper: quantile(high).unwrap_or(f64::INFINITY),
        })
    }

    /// Quantile of the reference law and standard error of the share above `x`, days in blocks.
    pub(super) fn share_error(&self, x: f64, confidence: f64) -> (f64, f64) {
        let n = self.units;
        let share = self.empirical.sf(x);
        let lines = self.all.sample().lines();
        let days: Vec<f64> = self
            .all
            .days()
            .iter()
            .map(|day| {
                let over: f64 = day
                    .counts
                    .iter()
                    .filter(|&&(line, _)| {
                        let o = lines[line as usize].observation;
                        matches!(o, Observation::Above(limit) if limit >= x) || place(o) > x
                    })
                    .map(|&(_, count)| count)
                    .sum();
                (over - share * day.total()) / n
            })
            .collect();
        let block = block_variance(&days, share * (1.0 - share) / n);
        let t = block
            .degrees_of_freedom
            .map_or_else(|| normal_quantile(confidence), |df| student_t_quantile(confidence, df));
        (t, block.variance.sqrt())
    }
}

enum Region<'a> {
    Tail(&'a Tail),
    /// Families and tail below the cut, weighed.
    Blend(&'a Tail),
    Inside,
    Body,
}

/// Two estimates of one quantity, the first with weight `w`: weighted mean, and for each side
/// `sum w_i sqrt(d_i^2 + (z (v_i - mean))^2)`, `d_i` the distance of the end from its value, as for
/// [`Average`](crate::stats::average::Average). `None` where one of two that count is missing.
fn blended(
    w: f64,
    first: Option<Estimate>,
    second: Option<Estimate>,
    scale: Scale,
) -> Option<Estimate> {
    if w > 0.999 {
        return first;
    }
    if w < 0.001 {
        return second;
    }
    let (first, second) = (first?, second?);
    let z = normal_quantile(0.5 + first.level / 2.0);
    let parts = [(w, &first), (1.0 - w, &second)].map(|(w, e)| {
        let on = |x: f64| scale.to(x);
        Some((w, on(e.value)?, on(e.low)?, on(e.high)?))
    });
    let [Some(a), Some(b)] = parts else {
        // An end at infinity, or at zero on a scale of logs.
        return Estimate::new(
            w * first.value + (1.0 - w) * second.value,
            first.low.min(second.low),
            first.high.max(second.high),
            first.level,
            second.method,
        );
    };
    let mean = a.0 * a.1 + b.0 * b.1;
    let side = |ends: [f64; 2]| -> f64 {
        let parts = [a, b].into_iter().zip(ends);
        parts.map(|((w, value, ..), end)| w * (end - value).hypot(z * (value - mean))).sum()
    };
    Estimate::new(
        scale.from(mean),
        scale.from(mean - side([a.2, b.2])),
        scale.from(mean + side([a.3, b.3])),
        first.level,
        "average of families and of a tail below the cut, days in blocks",
    )
}

/// Root sum of squares of how far each pair of ends lies below and above the value.
pub(super) fn distances(value: f64, pairs: [[f64; 2]; 2]) -> (f64, f64) {
    let (mut down, mut up) = (0.0, 0.0);
    for pair in pairs {
        let low = pair[0].min(pair[1]).min(value);
        let high = pair[0].max(pair[1]).max(value);
        down += (value - low).powi(2);
        up += (high - value).powi(2);
    }
    (down.sqrt(), up.sqrt())
}
