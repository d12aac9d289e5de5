//! How many readings lie beyond the cut, against how many a description of those below it expects there.
//!
//! An excess is not yet strays: they must explain the readings beyond the threshold better than a long tail
//! by 2 log units (`Tail::gain_of_strays`); else, and where the excess passes the share that is too common
//! for defects, `together` is in use and the report says that re-tests tell which. The cut deepens only
//! where strays do stand apart.

use crate::analysis::NotDone;
use crate::movement::edges::place;
use crate::stats::average::{Average, Influence};
use crate::stats::blocks::block_variance;
use crate::stats::distribution::{Distribution, Law};
use crate::stats::estimate::Estimate;
use crate::stats::sample::{Grouped, Observation};
use crate::stats::special::{normal_quantile, normal_sf, student_t_quantile, student_t_sf};
use crate::stats::tail::Tail;

/// One-sided level at which an excess, or a lack, counts.
const SIGNIFICANT: f64 = 0.05;

/// Readings beyond the cut, against those that the body expects there.
#[derive(Debug, Clone, PartialEq)]
pub struct Excess {
    /// Readings beyond the cut, trips among them.
    pub beyond: f64,
    /// Readings that the body expects there.
    pub expected: f64,
    /// The difference as a share of all readings, with its interval; below zero where some are missing.
    pub share: Estimate,
    /// One-sided p-value of more than expected.
    pub p_more: f64,
    /// One-sided p-value of fewer than expected.
    pub p_fewer: f64,
}

impl Excess {
    /// Significantly more beyond the cut than the body expects.
    #[must_use]
    pub fn significant(&self) -> bool {
        self.p_more < SIGNIFICANT
    }

    /// Significantly fewer: the body is too long.
    #[must_use]
    pub fn missing(&self) -> bool {
        self.p_fewer < SIGNIFICANT
    }

    /// Over `share_max` of the units and so too common to be defects: a second group or a heavy tail, not strays.
    #[must_use]
    pub fn common(&self, share_max: f64) -> bool {
        self.significant() && self.share.value > share_max
    }
}

const EXCESS: NotDone = NotDone::NotFinite("the excess");

/// What a description of the readings below the cut expects beyond it.
pub(super) struct Expecting {
    /// Number of readings.
    value: f64,
    /// Usual variance of the number, from that of the description's parameters.
    of_parameters: f64,
    /// The same from the number of readings that it is scaled by.
    of_counts: f64,
    /// Disagreement between descriptions about the number, squared.
    disagreement: f64,
    /// What each day's readings put to the number, less the mean over days where they only scale it.
    days: Vec<f64>,
}

impl Expecting {
    pub(super) fn of_tail(tail: &Tail, data: &Grouped, cut: f64) -> Result<Self, NotDone> {
        let expected = tail.expected_beyond_cut().ok_or(EXCESS)?;
        let counted = per_day(data, |o| {
            !matches!(o, Observation::Above(_)) && place(o) > tail.threshold && place(o) < cut
        });
        Ok(Self {
            value: expected.value,
            of_parameters: expected.variance,
            of_counts: expected.ratio * expected.value,
            disagreement: 0.0,
            days: counted
                .iter()
                .zip(&expected.influence)
                .map(|(count, influence)| expected.ratio * count + influence)
                .collect(),
        })
    }

    pub(super) fn of_families(
        average: &Average,
        data: &Grouped,
        fitted: &Grouped,
        cut: f64,
    ) -> Result<Self, NotDone> {
        let censored = |o: Observation| matches!(o, Observation::Above(_));
        let lines = fitted.sample().lines().iter();
        let below: f64 = lines.filter(|l| !censored(l.observation)).map(|l| l.count).sum();
        // P(X > cut) / P(X <= cut)
        let odds = |law: &Law| (law.ln_sf(cut) - law.ln_cdf(cut)).exp();
        let ratio = (average.ln_sf(cut) - average.cdf(cut).ln()).exp();
        let counted = per_day(data, |o| !censored(o) && place(o) < cut);
        let mut all = Self {
            value: below * ratio,
            of_parameters: 0.0,
            of_counts: ratio * ratio * below,
            disagreement: 0.0,
            days: counted.iter().map(|count| ratio * count).collect(),
        };
        for weighted in average.fits.iter().filter(|w| w.weight > 0.0) {
            let law = &weighted.fit.law;
            let influence =
                Influence::new(&weighted.fit, &|law| Some(below * odds(law))).ok_or(EXCESS)?;
            let sums = influence.day_sums(law, fitted, average.truncated_above).ok_or(EXCESS)?;
            all.of_parameters += weighted.weight * influence.usual;
            all.disagreement += weighted.weight * (below * odds(law) - all.value).powi(2);
            for (day, sum) in fitted.days().iter().zip(sums) {
                let found = data.days().binary_search_by_key(&day.day, |d| d.day);
                if let Ok(at) = found {
                    all.days[at] += weighted.weight * sum;
                }
            }
        }
        Ok(all)
    }

    /// Two descriptions, the first with weight `w`.
    pub(super) fn blend(self, other: Self, w: f64) -> Self {
        let mix = |a: f64, b: f64| w * a + (1.0 - w) * b;
        let value = mix(self.value, other.value);
        let apart = mix((self.value - value).powi(2), (other.value - value).powi(2));
        Self {
            value,
            of_parameters: mix(self.of_parameters, other.of_parameters),
            of_counts: mix(self.of_counts, other.of_counts),
            disagreement: mix(self.disagreement, other.disagreement) + apart,
            days: self.days.iter().zip(&other.days).map(|(a, b)| mix(*a, *b)).collect(),
        }
    }
}

/// For each day, how many of its readings are wanted.
fn per_day(data: &Grouped, wanted: impl Fn(Observation) -> bool) -> Vec<f64> {
    let lines = data.sample().lines();
    let is: Vec<bool> = lines.iter().map(|line| wanted(line.observation)).collect();
    data.days()
        .iter()
        .map(|day| {
            let counts = day.counts.iter().filter(|(line, _)| is[*line as usize]);
            counts.map(|&(_, count)| count).sum()
        })
        .collect()
}

/// Number beyond the cut less the number expected, its interval and its significance. Influences of the
/// counts and of the description are added per day before they are summed in blocks, since a day that
/// reads high moves both; the disagreement of the descriptions comes on top.
pub(super) fn excess(
    data: &Grouped,
    cut: f64,
    expecting: &Expecting,
    level: f64,
) -> Result<Excess, NotDone> {
    let n = data.sample().total();
    let over = per_day(data, |o| matches!(o, Observation::Above(_)) || place(o) >= cut);
    let beyond: f64 = over.iter().sum();
    let day_sums: Vec<f64> =
        over.iter().zip(&expecting.days).map(|(over, expected)| over - expected).collect();
    let expected = expecting.value;
    let usual = expecting.of_parameters + expecting.of_counts;
    let in_theory = block_variance(&day_sums, usual + expected);
    let seen = block_variance(&day_sums, usual + beyond.max(1.0));
    let difference = beyond - expected;
    let score = difference / (in_theory.variance + expecting.disagreement).sqrt();
    let tail = |t: f64| {
        in_theory.degrees_of_freedom.map_or_else(|| normal_sf(t), |df| student_t_sf(t, df))
    };
    let half = (seen.variance + expecting.disagreement).sqrt()
        * seen.degrees_of_freedom.map_or_else(
            || normal_quantile(0.5 + level / 2.0),
            |df| student_t_quantile(0.5 + level / 2.0, df),
        );
    let share = Estimate::new(
        difference / n,
        (difference - half) / n,
        (difference + half) / n,
        level,
        "readings beyond the cut less those the body expects there, days in blocks",
    )
    .ok_or(EXCESS)?;
    if score.is_nan() {
        return Err(EXCESS);
    }
    Ok(Excess { beyond, expected, share, p_more: tail(score), p_fewer: tail(-score) })
}
