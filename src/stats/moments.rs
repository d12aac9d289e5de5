//! Mean and spread of a tally, to nearly all digits of a double however large the mean.

/// A running sum that carries along what rounding took from it.
///
/// - Error: at most about one rounding of the result, plus `n ε²` of the sum of absolute values.
/// - Source: Neumaier A. (1974) ZAMM 54:39-51, the improved Kahan sum (from memory).
#[derive(Debug, Clone, Copy, Default)]
pub struct CompensatedSum {
    sum: f64,
    lost: f64,
}

impl CompensatedSum {
    /// Adds `x`.
    pub fn add(&mut self, x: f64) {
        let next = self.sum + x;
        self.lost +=
            if self.sum.abs() >= x.abs() { (self.sum - next) + x } else { (x - next) + self.sum };
        self.sum = next;
    }

    /// The sum so far.
    pub fn total(self) -> f64 {
        self.sum + self.lost
    }
}

impl FromIterator<f64> for CompensatedSum {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut sum = Self::default();
        values.into_iter().for_each(|x| sum.add(x));
        sum
    }
}

/// Sum of values, compensated; 0 of none.
pub fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    CompensatedSum::from_iter(values).total()
}

/// Count, mean and sum of squares of a tally of values.
///
/// - Units: `mean` that of the values, `sum_of_squares` its square.
/// - Invariant: all finite, `count > 0`, `sum_of_squares >= 0`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    /// How many values: the sum of the counts.
    pub count: f64,
    /// Arithmetic mean.
    pub mean: f64,
    /// Sum of squares about the mean.
    pub sum_of_squares: f64,
}

impl Moments {
    /// Moments of values with how often each occurred, in any order; a value may come more than once.
    ///
    /// - Formula: two passes. `m = Σ c x / n`; with `d = x - m`, the mean is `m + Σ c d / n` and the sum
    ///   of squares `Σ c d² - (Σ c d)² / n`; all sums compensated.
    /// - Digits: those the values have beyond the digits they share. Rounding of the values to doubles
    ///   is in the data: 13 leading digits in common leave 3 or so of the spread.
    /// - Source: Chan T.F., Golub G.H., LeVeque R.J. (1983) Am. Statist. 37:242-247 (from memory).
    /// - `None` where no count is above zero, a count is negative, or anything is not finite.
    pub fn of<T>(tally: T) -> Option<Self>
    where
        T: IntoIterator<Item = (f64, f64), IntoIter: Clone>,
    {
        let tally = tally.into_iter();
        let (mut total, mut weighted) = (CompensatedSum::default(), CompensatedSum::default());
        for (value, count) in tally.clone() {
            if !value.is_finite() || !count.is_finite() || count < 0.0 {
                return None;
            }
            total.add(count);
            weighted.add(count * value);
        }
        let count = total.total();
        let about = weighted.total() / count;
        let (mut first, mut second) = (CompensatedSum::default(), CompensatedSum::default());
        for (value, count) in tally {
            // Exact where value and mean are within a factor of two of each other.
            let d = value - about;
            first.add(count * d);
            second.add(count * d * d);
        }
        let left = first.total();
        let mean = about + left / count;
        let squares = second.total() - left * left / count;
        (count > 0.0 && mean.is_finite() && squares.is_finite()).then(|| Self {
            count,
            mean,
            sum_of_squares: squares.max(0.0),
        })
    }

    /// Moments of values that each occurred once; `None` as for [`Moments::of`].
    pub fn of_values(values: &[f64]) -> Option<Self> {
        Self::of(values.iter().map(|x| (*x, 1.0)))
    }

    /// Sample variance, `n - 1` in the denominator; `None` where the count is not above 1.
    pub fn variance(&self) -> Option<f64> {
        (self.count > 1.0).then(|| self.sum_of_squares / (self.count - 1.0))
    }

    /// Sample standard deviation, the root of [`Moments::variance`].
    pub fn sd(&self) -> Option<f64> {
        self.variance().map(f64::sqrt)
    }

    /// Variance with `n` in the denominator, as maximum likelihood has it for a normal.
    pub fn population_variance(&self) -> f64 {
        self.sum_of_squares / self.count
    }
}
