//! How a level stands against the units beside it, and on days of its own: odds, likelihood ratios.

/// Standard deviation of the log odds ratio between two levels that is taken as ordinary before data say more.
pub(super) const ORDINARY: f64 = 0.5;
/// Ordinary variance added before a dispersion is taken from what remains within days.
const FEW: f64 = 5.0;
/// Largest log odds ratio tried.
const LARGEST_LOG_ODDS: f64 = 9.0;

/// Failures and units of a level in one series and day, those expected of it, and all of that series and day.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Stratum {
    pub(super) failed: f64,
    pub(super) units: f64,
    /// Failures that the share before lets expect.
    pub(super) expected: f64,
    pub(super) all_failed: f64,
    pub(super) all_units: f64,
}

impl Stratum {
    pub(super) fn shared(&self) -> bool {
        self.all_units - self.units > 0.5
    }
}

/// Log likelihood, slope and information of a common log odds ratio `theta`, given the failures of each stratum.
fn likelihood(strata: &[Stratum], theta: f64) -> (f64, f64, f64) {
    let (mut l, mut slope, mut information) = (0.0, 0.0, 0.0);
    for s in strata.iter().filter(|s| s.shared() && s.all_failed > 0.0) {
        let others = s.all_units - s.units;
        let pi = 1.0 / (1.0 + others / s.units * (-theta).exp());
        if s.failed > 0.0 {
            l += s.failed * pi.ln();
        }
        if s.all_failed > s.failed {
            l += (s.all_failed - s.failed) * (1.0 - pi).ln();
        }
        slope += s.failed - s.all_failed * pi;
        information += s.all_failed * pi * (1.0 - pi);
    }
    (l, slope, information)
}

/// The log odds ratio of largest likelihood, with a normal prior of standard deviation `ordinary` where given,
/// and its information.
pub(super) fn best_theta(strata: &[Stratum], ordinary: Option<f64>) -> (f64, f64) {
    let precision = ordinary.map_or(0.0, |sd| 1.0 / (sd * sd));
    let (mut low, mut high) = (-LARGEST_LOG_ODDS, LARGEST_LOG_ODDS);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        let (_, slope, _) = likelihood(strata, middle);
        if slope - precision * middle > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let theta = 0.5 * (low + high);
    (theta, likelihood(strata, theta).2 + precision)
}

/// `2 Σ F ln(F/E)` against one common ratio.
pub(super) fn poisson_ratio(a: (f64, f64), b: (f64, f64)) -> f64 {
    let term = |(failed, expected): (f64, f64)| {
        if failed > 0.0 { failed * (failed / expected).ln() } else { 0.0 }
    };
    2.0 * (term(a) + term(b) - term((a.0 + b.0, a.1 + b.1)))
}

/// Signed likelihood ratio within series and day, over the dispersion that remains there.
///
/// The level's odds against those of before (drawn to 1 where little is known): first as if those were certain, by which
/// levels are ranked; then with their uncertainty, by which a level is believed.
pub(super) fn shared_ratio(now: &[Stratum], (usual, unsure): (f64, f64)) -> (f64, f64) {
    if !now.iter().any(|s| s.shared() && s.all_failed > 0.0) {
        return (0.0, 0.0);
    }
    let (theta, information) = best_theta(now, None);
    let gain = 2.0 * (likelihood(now, theta).0 - likelihood(now, usual).0);
    let own = 1.0 / information.max(1e-9);
    let (mut left, mut ordinary) = (0.0, 0.0);
    for s in now.iter().filter(|s| s.shared() && s.all_failed > 0.0) {
        let pi = 1.0 / (1.0 + (s.all_units - s.units) / s.units * (-theta).exp());
        left += (s.failed - s.all_failed * pi).powi(2);
        ordinary += s.all_failed * pi * (1.0 - pi);
    }
    // Where one level takes nearly all failures little is left to tell a dispersion by.
    let phi = ((left + FEW) / (ordinary + FEW)).max(1.0);
    let ratio = gain.max(0.0) / phi * (theta - usual).signum();
    (ratio, ratio * own / (own + unsure))
}

/// Signed likelihood ratio of days that the level had alone against all units of others.
pub(super) fn own_ratio(own: (f64, f64), others: (f64, f64), usual: f64) -> f64 {
    if own.1 <= 0.0 {
        return 0.0;
    }
    let own = (own.0, own.1 * usual);
    poisson_ratio(own, others).max(0.0) * (own.0 / own.1 - others.0 / others.1).signum()
}
