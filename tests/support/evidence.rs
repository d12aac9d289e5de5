//! Parts of the evidence that verdicts are reached from, made by hand.

use leakdrift::verdict::band::BandInput;
use leakdrift::verdict::evidence::Tail;
use leakdrift::verdict::physics::LeakAdds;

/// The end of the healthy body: `L`, the estimate and `U`.
pub fn tail(lower: f64, quantile: f64, upper: f64) -> Tail {
    Tail {
        quantile_ma: quantile,
        lower_ma: lower,
        upper_ma: upper,
        of_step_ma: 0.0,
        upper_at_horizon_ma: None,
    }
}

/// An AC test at 1500 V under a ceiling of 10 mA, on a tester of 20 mA that shows 0.01 mA; nothing is measured and no
/// leak path stated.
pub fn setting() -> BandInput {
    BandInput {
        x50_ma: 0.0,
        upper_now_ma: 0.0,
        of_step_ma: 0.0,
        adds: LeakAdds::AtRightAngles,
        applied_v: Some(1500.0),
        leak_path_mohm: None,
        other_leak_path: None,
        ceiling_ma: Some(10.0),
        tester_range_ma: Some(20.0),
        reading_step_ma: 0.01,
        limit_step_ma: None,
    }
}
