//! Circuit theory: the published cases of topic electrical, and numbers worked by hand from the
//! demonstration factory's circuit values.

use leakdrift::config::Config;
use leakdrift::verdict::physics::{self, LeakAdds};

use crate::support::checks::{assert_case, load};
use crate::support::numbers::{assert_abs, assert_rel};

#[test]
fn capacitive_current_cases() {
    let case = load("electrical-capacitive-current-a");
    for (key, hz, nf, volts) in [
        ("I_mA[f=50,C=1e-9,V=1500]", 50.0, 1.0, 1500.0),
        ("I_mA[f=60,C=4.7e-9,V=1500]", 60.0, 4.7, 1500.0),
        ("I_mA[f=50,C=10e-9,V=3000]", 50.0, 10.0, 3000.0),
        ("I_mA[f=60,C=100e-12,V=4000]", 60.0, 0.1, 4000.0),
    ] {
        assert_case(&case, key, physics::capacitive_current_ma(hz, nf, volts));
    }
}

#[test]
fn vector_sum_cases() {
    let case = load("electrical-vector-sum-a");
    for (label, in_phase, capacitive) in
        [("IR=0.3,IC=0.4", 0.3, 0.4), ("IR=0.05,IC=0.471238898038469", 0.05, 0.471_238_898_038_469)]
    {
        let total = physics::total_current_ma(in_phase, capacitive);
        let back = physics::in_phase_current_ma(total, capacitive).unwrap();
        assert_case(&case, &format!("I_total_mA[{label}]"), total);
        case.leave_out(&format!("phase_deg[{label}]"), "no page tells an angle");
        assert_case(&case, &format!("IR_from_total_mA[{label}]"), back);
    }
}

#[test]
fn dc_cases() {
    let case = load("electrical-dc-and-peak");
    assert_case(
        &case,
        "I_leak_uA[V=1000V,R=100Mohm]",
        physics::resistive_current_ma(1000.0, 100e3).unwrap() * 1e3,
    );
    assert_case(
        &case,
        "R_Mohm[V=500V,I=2.5uA]",
        physics::resistance_kohm(500.0, 2.5e-3).unwrap() / 1e3,
    );
    case.leave_out("I_charge_uA[C=10nF,dV=1500V,t=2s]", "no page tells a ramp's current");
    case.leave_out("V_peak[Vrms=1500]", "voltages are told as rms");
}

/// By hand: 1500 V through 1 MΩ is 1.5 mA; `sqrt(4.80^2 + 1.5^2) = sqrt(25.29) = 5.0289 mA`.
#[test]
fn leak_path_beside_a_filter_by_hand() {
    let ac = physics::reading_with_leak_ma(LeakAdds::AtRightAngles, 4.80, 1500.0, 1000.0);
    assert_abs(ac.unwrap(), 5.0289, 5e-5);
    // In phase the same path adds plainly: 4.80 + 1.5.
    let dc = physics::reading_with_leak_ma(LeakAdds::InPhase, 4.80, 1500.0, 1000.0);
    assert_rel(dc.unwrap(), 6.30, 1e-12);
}

/// By hand, 1500 V and 2.00 mA: at 2.25 mA `sqrt(5.0625 - 4) = 1.03078 mA`, 1500 V / 1.03078 mA = 1455 kΩ;
/// at 5.00 mA `sqrt(21) = 4.58258 mA`, 327.3 kΩ. In phase: 1500 / 0.25 = 6000 kΩ; 1500 / 3 = 500 kΩ.
#[test]
fn blind_spot_by_hand() {
    for (adds, limit, want_kohm) in [
        (LeakAdds::AtRightAngles, 2.25, 1455.21),
        (LeakAdds::AtRightAngles, 5.00, 327.327),
        (LeakAdds::InPhase, 2.25, 6000.0),
        (LeakAdds::InPhase, 5.00, 500.0),
    ] {
        let got = physics::blind_spot_kohm(adds, 1500.0, limit, 2.00).unwrap();
        assert_rel(got, want_kohm, 1e-5);
    }
    // A limit at or below the healthy current hides no leak.
    for limit in [2.00, 1.00, 0.0] {
        for adds in [LeakAdds::AtRightAngles, LeakAdds::InPhase] {
            assert_eq!(physics::blind_spot_kohm(adds, 1500.0, limit, 2.00), None);
        }
    }
}

/// By hand, 1500 V and a limit of 5 mA: 1500 / 5.5 = 272.73 kΩ, 1500 V x 5.5 mA = 8.25 W;
/// 1500 / 4.5 = 333.33 kΩ, 6.75 W.
#[test]
fn proving_loads_by_hand() {
    let rules = Config::default();
    let loads = physics::proving_loads(1500.0, 5.0, &rules).unwrap();
    assert_rel(loads.must_trip.resistance_mohm, 0.272_727_272_7, 1e-9);
    assert_rel(loads.must_trip.power_w, 8.25, 1e-12);
    assert_rel(loads.must_pass.resistance_mohm, 0.333_333_333_3, 1e-9);
    assert_rel(loads.must_pass.power_w, 6.75, 1e-12);
    assert_eq!(physics::proving_loads(1500.0, 0.0, &rules), None);
}

/// By hand: 2 pi 50 Hz x 10.1 nF x 1500 V = 4.7595 mA, with 60 pF of leads 4.7878 mA.
#[test]
fn filter_and_leads_by_hand() {
    assert_abs(physics::capacitive_current_ma(50.0, 10.1, 1500.0), 4.7595, 5e-5);
    assert_abs(physics::capacitive_current_ma(50.0, 10.16, 1500.0), 4.7878, 5e-5);
}
