//! Many tests at once; the source is in the case under tests/data/checks.

use crate::support::checks::{assert_case, assert_case_list, load, numbers};
use leakdrift::stats::multiple::benjamini_hochberg;

/// Benjamini & Hochberg (1995), section 3.2.
#[test]
fn fifteen_p_values() {
    let case = load("bh-1995");
    let p = numbers(&case["data"]["p"]);
    let adjusted = benjamini_hochberg(&p);
    assert_case_list(&case, "adjusted_p", &adjusted);
    for key in ["rejected_bonferroni", "bonferroni_threshold"] {
        case.leave_out(key, "a bound of one division, nowhere a function of its own");
    }
    assert_case(&case, "rejected_bh", adjusted.iter().filter(|a| **a <= 0.05).count() as f64);
    // The order given does not matter.
    let turned: Vec<f64> = p.iter().rev().copied().collect();
    let back: Vec<f64> = benjamini_hochberg(&turned).into_iter().rev().collect();
    assert_eq!(back, adjusted);
}
