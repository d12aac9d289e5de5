//! Whether groups differ by more than their members do, and by how much.

use super::moments::{Moments, sum};
use super::special::f_sf;

/// One-way analysis of variance, with the variance between groups beyond that within them.
///
/// Units: sums of squares, mean squares and variances in the square of the values' unit.
#[derive(Debug, Clone, PartialEq)]
pub struct OneWay {
    /// Groups that hold a value.
    pub groups: usize,
    /// How many values there are.
    pub count: f64,
    /// Mean of all values.
    pub mean: f64,
    /// Sum of squares of the group means about the mean of all, each as often as its group has values.
    pub ss_between: f64,
    /// Sum of squares of the values about their group's mean.
    pub ss_within: f64,
    /// `groups - 1`.
    pub df_between: f64,
    /// `count - groups`.
    pub df_within: f64,
    /// `ss_between / df_between`.
    pub ms_between: f64,
    /// `ss_within / df_within`: the variance of one value within its group.
    pub ms_within: f64,
    /// `ms_between / ms_within`; `None` where nothing varies within the groups.
    pub f: Option<f64>,
    /// Probability of an `f` at least as large where all groups have one mean; `None` as for `f`.
    pub p_value: Option<f64>,
    /// Share of the whole sum of squares that lies between groups; `None` where all values are equal.
    pub r_squared: Option<f64>,
    /// Root of `ms_within`.
    pub residual_sd: f64,
    /// The group size that unequal sizes amount to, `(N - Σ n_i²/N)/(k - 1)`: their mean if all are equal.
    pub effective_size: f64,
    /// Variance of the groups' true means, `max(0, (ms_between - ms_within)/effective_size)`.
    pub variance_between: f64,
}

/// One-way analysis of variance of groups of values with how often each occurred.
///
/// - Shape: at least two groups that hold a value, and more values than groups; else `None`, as where a
///   number is not finite or a count negative. Empty groups do not count.
/// - Method: everything is centred at the mean of all values first, so that large values in common cost
///   no digits but those that their rounding to doubles has taken.
/// - Variance between groups: the moment estimate for unequal sizes. Source: Searle S.R., Casella G.,
///   McCulloch C.E. (1992) Variance Components, chapter 3 (from memory).
/// - Meant for groups whose members are alike: readings of one day, or tests of one unit, where
///   `ms_within` is the variance of repeating a test.
#[must_use]
pub fn one_way<G: AsRef<[(f64, f64)]>>(groups: &[G]) -> Option<OneWay> {
    let lists = || groups.iter().map(|group| group.as_ref().iter().copied());
    let all = Moments::of(lists().flatten())?;
    let parts: Vec<Moments> = lists()
        .filter_map(|group| Moments::of(group.map(|(value, count)| (value - all.mean, count))))
        .collect();
    let (count, k) = (all.count, parts.len());
    let (df_between, df_within) = (k as f64 - 1.0, count - k as f64);
    if k < 2 || df_within <= 0.0 {
        return None;
    }
    // What the mean of all has lost to rounding.
    let centre = sum(parts.iter().map(|part| part.count * part.mean)) / count;
    let ss_between = sum(parts.iter().map(|part| part.count * (part.mean - centre).powi(2)));
    let ss_within = sum(parts.iter().map(|part| part.sum_of_squares));
    let (ms_between, ms_within) = (ss_between / df_between, ss_within / df_within);
    let effective_size =
        (count - sum(parts.iter().map(|p| p.count * p.count)) / count) / df_between;
    let f = (ms_within > 0.0).then(|| ms_between / ms_within);
    let total = ss_between + ss_within;
    Some(OneWay {
        groups: k,
        count,
        mean: all.mean,
        ss_between,
        ss_within,
        df_between,
        df_within,
        ms_between,
        ms_within,
        f,
        p_value: f.map(|f| f_sf(f, df_between, df_within)),
        r_squared: (total > 0.0).then(|| ss_between / total),
        residual_sd: ms_within.sqrt(),
        effective_size,
        variance_between: ((ms_between - ms_within) / effective_size).max(0.0),
    })
}
