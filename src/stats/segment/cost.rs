//! What a segment costs.

/// The cost of describing points `from..to` as one segment; lower is better.
pub trait Cost {
    /// Number of points.
    fn len(&self) -> usize;
    /// Cost of the points `from..to` (`to` excluded); 0 for an empty range.
    fn cost(&self, from: usize, to: usize) -> f64;
    /// Whether there is no point.
    fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// Sum of squares about the segment's own mean, by prefix sums: any segment in constant time.
#[derive(Debug, Clone)]
pub struct SquaredError {
    sums: Vec<f64>,
    squares: Vec<f64>,
    centre: f64,
}

impl SquaredError {
    /// Prepares the sums; the series is centred first, so that no digits are lost to a large mean.
    #[must_use]
    pub fn new(x: &[f64]) -> Self {
        let centre = if x.is_empty() { 0.0 } else { x.iter().sum::<f64>() / x.len() as f64 };
        let (mut sums, mut squares) = (vec![0.0], vec![0.0]);
        let (mut sum, mut square) = (0.0, 0.0);
        for v in x {
            sum += v - centre;
            square += (v - centre).powi(2);
            sums.push(sum);
            squares.push(square);
        }
        Self { sums, squares, centre }
    }

    /// Mean of the points `from..to`; `None` for an empty range.
    #[must_use]
    pub fn mean(&self, from: usize, to: usize) -> Option<f64> {
        (to > from).then(|| self.centre + (self.sums[to] - self.sums[from]) / (to - from) as f64)
    }
}

impl Cost for SquaredError {
    fn len(&self) -> usize {
        self.sums.len() - 1
    }

    fn cost(&self, from: usize, to: usize) -> f64 {
        if to <= from {
            return 0.0;
        }
        let sum = self.sums[to] - self.sums[from];
        (self.squares[to] - self.squares[from] - sum * sum / (to - from) as f64).max(0.0)
    }
}
