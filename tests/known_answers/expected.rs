//! What a unit should read by its capacitors: worked by hand.

use leakdrift::config::Config;
use leakdrift::records::TestKind;
use leakdrift::stats::estimate::Estimate;
use leakdrift::verdict::band::BandInput;
use leakdrift::verdict::calculated::calculated;
use leakdrift::verdict::expected::{Beside, Circuit, Compared, Expectation, compare, expected};
use leakdrift::words::Wording;

use crate::support::evidence::setting;
use crate::support::numbers::{assert_abs, assert_rel};

const PURIFIER: Circuit = Circuit {
    capacitance_nf: 3.45,
    tolerance: 0.10,
    applied_v: 1500.0,
    frequency_hz: 60.0,
    leads_ma: Some((0.031, 0.079)),
};

/// By hand: 2 pi x 60 Hz x 3.45 nF x 1500 V = 376.991 x 5.175e-6 A = 1.95093 mA. Leads of 0.031 to 0.079 mA add
/// 0.055 in the middle; ends 0.9 x 1.95093 + 0.031 = 1.78684 and 1.1 x 1.95093 + 0.079 = 2.22502 mA.
#[test]
fn expected_reading_by_hand() {
    let x = expected(&PURIFIER).unwrap();
    assert_abs(x.capacitive_ma, 1.950_93, 5e-6);
    assert_abs(x.value_ma, 2.005_93, 5e-6);
    assert_abs(x.low_ma, 1.786_84, 5e-6);
    assert_abs(x.high_ma, 2.225_02, 5e-6);
    for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        for circuit in [
            Circuit { capacitance_nf: wrong, ..PURIFIER },
            Circuit { applied_v: wrong, ..PURIFIER },
            Circuit { frequency_hz: wrong, ..PURIFIER },
        ] {
            assert_eq!(expected(&circuit), None);
        }
    }
}

/// By hand: a model whose capacitors of 10.1 nF should give 4.7595 mA (leads not counted) but that reads 12 %
/// less, 4.18836 mA, lacks 0.12 x 10.1 = 1.212 nF: certainly outside 10 % where the interval is narrow, not so
/// where it reaches 4.30 mA (the tolerance ends at 4.28355 mA).
#[test]
fn twelve_per_cent_under_has_a_capacitor_missing() {
    let circuit = Circuit {
        capacitance_nf: 10.1,
        tolerance: 0.10,
        applied_v: 1500.0,
        frequency_hz: 50.0,
        leads_ma: None,
    };
    let x = expected(&circuit).unwrap();
    let measured = |high: f64| {
        let x50 = Estimate::new(0.88 * x.value_ma, 4.17, high, 0.95, "by hand").unwrap();
        compare(&circuit, &x, &x50).unwrap()
    };
    let narrow = measured(4.20);
    assert_eq!(narrow.kind, Compared::Lower);
    assert_rel(narrow.difference_pct.value, -12.0, 1e-12);
    assert_rel(narrow.difference_nf, -1.212, 1e-12);
    let beside = Beside::Measured(narrow);
    let said = Expectation { circuit, reading: x, beside, say: Wording::new(4.8, 0.01) }.sentence();
    assert!(said.contains("1.21 nF are missing"), "{said}");
    assert_eq!(measured(4.30).kind, Compared::AsExpected);
    let more = Estimate::new(5.4, 5.3, 5.5, 0.95, "by hand").unwrap();
    assert_eq!(compare(&circuit, &x, &more).unwrap().kind, Compared::Higher);
}

/// By hand: highest expected reading 2.22502 mA, guard band 1.5 % of it and 2 steps of 0.01 mA = 0.05338 mA,
/// together 2.27839, rounded up 2.28 mA. Upper end with 1 MΩ stated: sqrt(2.00593^2 + 1.5^2) = 2.504747 mA less
/// 0.037571 + 0.02 = 2.447176 mA. Units: 200 over 10 days for a verdict; ln 0.05 / ln 0.999 = 2994.2, so 2 995
/// without a reject show 0.1 % whatever the distribution (Wilks 1941).
#[test]
fn calculated_band_by_hand() {
    let x = expected(&PURIFIER).unwrap();
    let setting = BandInput { leak_path_mohm: Some(1.0), ..setting() };
    let band = calculated(TestKind::AcWithstand, &PURIFIER, &x, &setting, &Config::default());
    let (low, high) = band.workable_ma.unwrap();
    assert_rel(low, 2.28, 1e-12);
    assert_abs(high, 2.447_176, 5e-6);
    assert_eq!((band.units_for_provisional, band.units_for_verdict), (50, 200));
    assert_eq!(band.units_without_reject, Some(2995));
    assert!(band.sentences().iter().any(|s| s.contains("Calculated, not measured")));
    // 1.25 typical readings would be 2.507 mA, outside of the band; 2.006 + 2 (2.28 - 2.006) is 2.554 mA, outside too: the
    // middle of the band, 2.364 mA, rounded up.
    assert_rel(band.suggested.unwrap().limit_ma, 2.37, 1e-12);
    // A ceiling below what the capacitors carry leaves no band, and nothing is suggested.
    let closed = calculated(
        TestKind::AcWithstand,
        &PURIFIER,
        &x,
        &BandInput { ceiling_ma: Some(2.2), ..setting },
        &Config::default(),
    );
    assert_eq!(closed.workable_ma, None);
    assert_eq!(closed.suggested, None);
}
