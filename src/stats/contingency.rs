//! Two by two tables, many together.

use super::estimate::Estimate;
use super::special::{chi_square_sf, normal_quantile};

/// A two by two table: failures and units of a group and of the others beside it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Table {
    /// Failures of the group.
    pub failed: f64,
    /// Units of the group.
    pub units: f64,
    /// Failures of the others.
    pub failed_others: f64,
    /// Units of the others.
    pub units_others: f64,
}

/// What many tables say together about one common odds ratio.
#[derive(Debug, Clone, PartialEq)]
pub struct MantelHaenszel {
    /// Common odds ratio with its interval; `None` where the tables do not bound it.
    pub odds_ratio: Option<Estimate>,
    /// Failures of the group.
    pub observed: f64,
    /// Failures of the others.
    pub others_failed: f64,
    /// Failures expected of it where the group fails like the others of its table.
    pub expected: f64,
    /// p-value of the common odds ratio against 1: chi-square of one degree of freedom, without correction for
    /// continuity.
    pub p_value: f64,
}

/// The common odds ratio over strata: what differs between strata (days) cancels.
///
/// - Formula: `OR = Σ(a d/N) / Σ(b c/N)`; `chi² = (Σa − ΣE)² / ΣV`, `E = n m/N`,
///   `V = n n' m m' / (N² (N − 1))`; interval on the log scale with the variance of Robins, Breslow and
///   Greenland.
/// - Source: Mantel N., Haenszel W. (1959) J. Natl. Cancer Inst. 22:719-748; Robins, Breslow, Greenland (1986)
///   Biometrics 42:311-323 (both from memory).
/// - `None` where no table has both groups and a failure among them, or a number is none.
pub fn mantel_haenszel(tables: &[Table], level: f64) -> Option<MantelHaenszel> {
    let (mut r, mut s, mut pr, mut mixed, mut qs) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut observed, mut others_failed, mut expected, mut variance) = (0.0, 0.0, 0.0, 0.0);
    for t in tables {
        let n = t.units + t.units_others;
        let m = t.failed + t.failed_others;
        if t.units <= 0.0 || t.units_others <= 0.0 || n <= 1.0 {
            continue;
        }
        let (b, d) = (t.units - t.failed, t.units_others - t.failed_others);
        let (ri, si) = (t.failed * d / n, b * t.failed_others / n);
        let (pi, qi) = ((t.failed + d) / n, (b + t.failed_others) / n);
        r += ri;
        s += si;
        pr += pi * ri;
        mixed += pi * si + qi * ri;
        qs += qi * si;
        observed += t.failed;
        others_failed += t.failed_others;
        expected += t.units * m / n;
        variance += t.units * t.units_others * m * (n - m) / (n * n * (n - 1.0));
    }
    let chi_square = (observed - expected).powi(2) / variance;
    if !(variance > 0.0 && chi_square.is_finite()) {
        return None;
    }
    let odds_ratio = (r > 0.0 && s > 0.0)
        .then(|| {
            let ln = (r / s).ln();
            let var = pr / (2.0 * r * r) + mixed / (2.0 * r * s) + qs / (2.0 * s * s);
            let half = normal_quantile(0.5 + level / 2.0) * var.sqrt();
            Estimate::new(
                r / s,
                (ln - half).exp(),
                (ln + half).exp(),
                level,
                "Mantel-Haenszel odds ratio",
            )
        })
        .flatten();
    Some(MantelHaenszel {
        odds_ratio,
        observed,
        others_failed,
        expected,
        p_value: chi_square_sf(chi_square, 1.0),
    })
}
