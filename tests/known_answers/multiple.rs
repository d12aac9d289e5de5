//! Many tests at once; the source is in the case under tests/data/checks.

use crate::support::checks::{assert_case, load};
use crate::support::numbers::assert_abs;
use leakdrift::stats::multiple::benjamini_hochberg;

/// Benjamini & Hochberg (1995), section 3.2.
#[test]
fn fifteen_p_values() {
    let case = load("bh-1995");
    let list = |v: &serde_json::Value| -> Vec<f64> {
        v.as_array()
            .expect("a list")
            .iter()
            .map(|p| p.as_f64().expect("a number"))
            .collect()
    };
    let p = list(&case["data"]["p"]);
    let adjusted = benjamini_hochberg(&p);
    for (got, want) in adjusted.iter().zip(list(&case["recomputed"]["adjusted_p"])) {
        assert_abs(*got, want, 1e-12);
    }
    assert_case(
        &case,
        "rejected_bh",
        adjusted.iter().filter(|a| **a <= 0.05).count() as f64,
    );
    // The order given does not matter.
    let turned: Vec<f64> = p.iter().rev().copied().collect();
    let back: Vec<f64> = benjamini_hochberg(&turned).into_iter().rev().collect();
    assert_eq!(back, adjusted);
}
