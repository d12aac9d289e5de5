//! Roots: from the ends, from a guess, and where there is none.

use leakdrift::stats::numeric::{increasing_root, increasing_root_about};

use crate::support::numbers::{assert_abs, assert_rel};

/// The cube root of 2 is found from a guess on either side of it, from the root itself and from an end, and is that of
/// [`increasing_root`].
#[test]
fn a_guess_changes_no_root() {
    let cubed = |x: f64| x * x * x - 2.0;
    let root = increasing_root(cubed, 0.0, 3.0).unwrap();
    assert_rel(root, 2.0_f64.cbrt(), 1e-14);
    for guess in [0.0, 0.7, 1.259, 2.0_f64.cbrt(), 1.27, 2.9, 40.0] {
        let found = increasing_root_about(cubed, [guess, 0.01], [0.0, 3.0], 1e-10).unwrap();
        assert_abs(found, root, 1e-10);
    }
}

/// Between ends that hold none, and among values that are no numbers, there is no root.
#[test]
fn what_has_no_root_gives_none() {
    for guess in [0.0, 1.5, 3.0] {
        assert_eq!(increasing_root_about(|x| x + 1.0, [guess, 0.1], [0.0, 3.0], 1e-9), None);
        assert_eq!(increasing_root_about(|x| x - 4.0, [guess, 0.1], [0.0, 3.0], 1e-9), None);
        assert_eq!(increasing_root_about(|_| f64::NAN, [guess, 0.1], [0.0, 3.0], 1e-9), None);
    }
}
