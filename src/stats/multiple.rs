//! Many questions asked at once.

/// Benjamini-Hochberg adjusted p-values, in the order given: an adjusted value at most `q` is a
/// discovery at false discovery rate `q`.
///
/// - Formula: `min over j >= i of (m p_(j) / j)`, at most 1, `p_(j)` the j-th smallest.
/// - Source: Benjamini & Hochberg (1995), J. R. Statist. Soc. B 57, 289-300.
/// - A value that is not a number counts as 1.
pub fn benjamini_hochberg(p: &[f64]) -> Vec<f64> {
    let clean: Vec<f64> = p.iter().map(|v| if v.is_nan() { 1.0 } else { *v }).collect();
    let mut order: Vec<usize> = (0..clean.len()).collect();
    order.sort_by(|a, b| clean[*b].total_cmp(&clean[*a]));
    let m = clean.len() as f64;
    let mut adjusted = vec![1.0; clean.len()];
    let mut smallest = 1.0_f64;
    for (from_top, i) in order.into_iter().enumerate() {
        let rank = m - from_top as f64;
        smallest = smallest.min(clean[i] * m / rank);
        adjusted[i] = smallest;
    }
    adjusted
}
