//! Change of a share between two months.

use leakdrift::analysis::month_change::{Share, difference};

use crate::support::numbers::assert_abs;

/// Newcombe R.G. (1998) Statistics in Medicine 17:873-890, table II, example (a), method 10: 56 of 70 against
/// 48 of 80 differ by 0.2, interval 0.0524 to 0.3339; example (b) 9 of 10 against 3 of 10: 0.1705 to 0.8090
/// (both from memory).
#[test]
fn two_shares_differ_as_published() {
    let share = |failed, judged| Share {
        failed,
        judged,
        share: None,
    };
    for (before, now, value, low, high) in [
        ((48, 80), (56, 70), 0.2, 0.0524, 0.3339),
        ((3, 10), (9, 10), 0.6, 0.1705, 0.8090),
    ] {
        let shares = [share(before.0, before.1), share(now.0, now.1)];
        let found = difference(&shares, 0.95).unwrap();
        assert_abs(found.value, value, 1e-12);
        assert_abs(found.low, low, 5e-5);
        assert_abs(found.high, high, 5e-5);
    }
}
