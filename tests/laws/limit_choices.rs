//! What holds for every limit study, whatever the evidence: no proposal above a cap, every candidate once.

use leakdrift::config::Config;
use leakdrift::records::TestKind;
use leakdrift::verdict::VerdictKind;
use leakdrift::verdict::band::BandInput;
use leakdrift::verdict::calculated::calculated;
use leakdrift::verdict::candidate::{Origin, candidates};
use leakdrift::verdict::expected::{Circuit, expected};
use leakdrift::verdict::group::{Member, share_limit};
use leakdrift::verdict::limit::judge;
use leakdrift::verdict::recommend::{Advice, recommend};
use proptest::prelude::*;

use super::verdicts::{evidences, settings};
use crate::support::draws::draws;

proptest! {
    #![proptest_config(draws(3000))]

    #[test]
    fn no_recommendation_lies_above_a_cap_or_outside_the_band(
        e in evidences(),
        other in proptest::option::of((0.5..3.0_f64, 0.0..3.0_f64)),
    ) {
        let e = e.sound();
        let rules = Config::default();
        let v = judge(&e, &rules);
        let x50 = e.setting.x50_ma;
        let group = other.map(|(low, more)| share_limit(
            "g",
            &[
                Member { name: "this".into(), x50_ma: x50, band_ma: v.band.as_ref().and_then(|b| b.workable_ma()) },
                Member { name: "other".into(), x50_ma: x50, band_ma: Some((low * x50, (low + more) * x50)) },
            ],
            e.setting.step_ma(),
        ));
        let r = recommend(&v, &e.setting, group.as_ref(), &rules);
        let sentence = r.sentence();
        prop_assert!(sentence.ends_with('.'), "{sentence}");
        prop_assert_eq!(r.to_ma.is_some(), matches!(r.advice, Advice::Change | Advice::Set));
        for proposed in [r.to_ma, r.tighter_ma].into_iter().flatten() {
            for cap in [e.setting.ceiling_ma, e.setting.tester_range_ma].into_iter().flatten() {
                prop_assert!(proposed <= cap, "{proposed} above {cap}");
            }
            prop_assert!(v.band_low_ma.is_some_and(|low| proposed >= low * (1.0 - 1e-9)));
            prop_assert!(v.band_high_ma.is_none_or(|high| proposed <= high * (1.0 + 1e-9)));
        }
        if let (Some(to), Some(g)) = (r.to_ma, &group) {
            prop_assert!(g.one_limit_serves);
            prop_assert!(g.band_low_ma.is_none_or(|low| to >= low * (1.0 - 1e-9)), "{to} {g:?}");
            prop_assert!(g.band_high_ma.is_none_or(|high| to <= high * (1.0 + 1e-9)), "{to} {g:?}");
        }
        if v.kind == Some(VerdictKind::NoWorkableBand) {
            prop_assert_eq!(r.to_ma, None);
        }
        // Data that do not decide never raise a limit.
        if v.kind == Some(VerdictKind::NotEnoughData) {
            prop_assert!(r.to_ma.is_none_or(|to| e.limit_ma().is_some_and(|l| to < l)));
        }
        for text in r.reasons().iter().chain([&sentence]) {
            prop_assert!(!["NaN", "inf ", "  "].iter().any(|bad| text.contains(bad)), "{text}");
        }
    }

    #[test]
    fn candidates_are_each_looked_at_once(
        e in evidences(),
        tries in prop::collection::vec(prop_oneof![0.1..20.0_f64, Just(f64::NAN), Just(-1.0), Just(0.0)], 0..5),
    ) {
        let e = e.sound();
        let v = judge(&e, &Config::default());
        let step = e.setting.step_ma();
        let cap = [e.setting.ceiling_ma, e.setting.tester_range_ma].into_iter().flatten().reduce(f64::min);
        let all = candidates(&v, &tries, step, cap);
        prop_assert!(all.len() <= 4 + tries.len() + 6, "{all:?}");
        for pair in all.windows(2) {
            prop_assert!(pair[0].limit_ma < pair[1].limit_ma);
        }
        for c in &all {
            prop_assert!(c.limit_ma > 0.0 && c.limit_ma.is_finite());
            prop_assert!(!c.origins.is_empty());
            let proposed = c.origins.iter().any(|o| !matches!(o, Origin::InForce | Origin::Tried));
            prop_assert!(!proposed || cap.is_none_or(|cap| c.limit_ma <= cap), "{c:?} {cap:?}");
        }
        for wanted in tries.iter().copied().filter(|x| *x > 0.0).chain(e.limit_ma()) {
            prop_assert!(all.iter().any(|c| (c.limit_ma - wanted).abs() <= 1e-9 * wanted), "{wanted}");
        }
    }

    #[test]
    fn a_calculated_band_keeps_to_the_caps(
        setting in settings(1.0),
        nf in 0.05..50.0_f64,
        tolerance in 0.0..0.5_f64,
        hertz in prop::sample::select(vec![50.0, 60.0, 400.0]),
        leads in proptest::option::of((0.0..0.1_f64, 0.0..0.1_f64)),
    ) {
        let circuit = Circuit {
            capacitance_nf: nf,
            tolerance,
            applied_v: setting.applied_v.unwrap_or(1000.0),
            frequency_hz: hertz,
            leads_ma: leads.map(|(a, b)| (a.min(b), a.max(b))),
        };
        let x = expected(&circuit).unwrap();
        prop_assert!(x.low_ma <= x.value_ma && x.value_ma <= x.high_ma);
        let setting = BandInput { applied_v: Some(circuit.applied_v), ..setting };
        let band = calculated(TestKind::AcWithstand, &circuit, &x, &setting, &Config::default());
        let caps: Vec<f64> = [setting.ceiling_ma, setting.tester_range_ma].into_iter().flatten().collect();
        let ends = band.workable_ma.iter().flat_map(|w| [w.0, w.1]);
        for proposed in ends.chain(band.suggested.iter().map(|s| s.limit_ma)) {
            prop_assert!(caps.iter().all(|cap| proposed <= *cap), "{proposed} {caps:?}");
        }
        if let Some((low, _)) = band.workable_ma {
            prop_assert!(low > x.high_ma);
        }
    }
}
