//! Two by two tables: one exactly, many together.

use super::estimate::Estimate;
use super::special::{chi_square_sf, ln_gamma, normal_quantile};

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

/// p-values of Fisher's exact test of a two by two table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fisher {
    /// Of a first cell as small or smaller.
    pub less: f64,
    /// Of a first cell as large or larger.
    pub greater: f64,
    /// Of a table no more likely than the one seen.
    pub two_sided: f64,
}

/// Fisher's exact test of the table `[[a, b], [c, d]]`, its margins held.
///
/// - Formula: hypergeometric probabilities; the two-sided value sums the tables that are no more likely
///   (within 1e-7 relative, so that equal ones count) than the one seen.
/// - Source: Fisher R.A. (1935) The Design of Experiments; published cases in tests/known_answers/exact_tests.rs.
#[must_use]
pub fn fisher_exact(table: [[u64; 2]; 2]) -> Fisher {
    let [[a, b], [c, d]] = table;
    let (row, other, column) = (a + b, c + d, a + c);
    let ln_choose = |n: u64, k: u64| {
        ln_gamma(n as f64 + 1.0) - ln_gamma(k as f64 + 1.0) - ln_gamma((n - k) as f64 + 1.0)
    };
    let all = ln_choose(row + other, column);
    let (first, last) = (column.saturating_sub(other), row.min(column));
    let p = |x: u64| (ln_choose(row, x) + ln_choose(other, column - x) - all).exp();
    let seen = p(a);
    let mut found = Fisher { less: 0.0, greater: 0.0, two_sided: 0.0 };
    for x in first..=last {
        let p = p(x);
        if x <= a {
            found.less += p;
        }
        if x >= a {
            found.greater += p;
        }
        if p <= seen * (1.0 + 1e-7) {
            found.two_sided += p;
        }
    }
    Fisher {
        less: found.less.min(1.0),
        greater: found.greater.min(1.0),
        two_sided: found.two_sided.min(1.0),
    }
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
    /// Chi-square of one degree of freedom, without correction for continuity.
    pub chi_square: f64,
    /// Its p-value.
    pub p_value: f64,
}

/// The common odds ratio over strata: what differs between strata (days) cancels.
///
/// - Formula: `OR = Σ(a d/N) / Σ(b c/N)`; `chi² = (Σa − ΣE)² / ΣV`, `E = n m/N`,
///   `V = n n' m m' / (N² (N − 1))`; interval on the log scale with the variance of Robins, Breslow and
///   Greenland.
/// - Source: Mantel N., Haenszel W. (1959) J. Natl. Cancer Inst. 22:719-748; Robins, Breslow, Greenland (1986)
///   Biometrics 42:311-323 (both from memory).
/// - `None` where no table has both groups and a failure among them.
#[must_use]
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
    if variance <= 0.0 {
        return None;
    }
    let chi_square = (observed - expected).powi(2) / variance;
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
        chi_square,
        p_value: chi_square_sf(chi_square, 1.0),
    })
}
