//! What holds for every verdict, whatever the evidence.

use chrono::{Days, NaiveDate};
use leakdrift::analysis::body::rise::{NoBefore, RiseKind};
use leakdrift::config::Config;
use leakdrift::movement::period::Judged;
use leakdrift::movement::period::{DayUnits, judged_from};
use leakdrift::stats::estimate::Estimate;
use leakdrift::verdict::VerdictKind;
use leakdrift::verdict::band::{BandInput, UpperRule, band};
use leakdrift::verdict::candidate::{Origin, candidates};
use leakdrift::verdict::evidence::{Answer, Before, Evidence, RiseEvidence, Tail, Whose};
use leakdrift::verdict::limit::judge;
use leakdrift::verdict::physics::{self, LeakAdds};
use leakdrift::verdict::recommend::recommend;
use leakdrift::words::Wording;
use proptest::prelude::*;

use crate::support::days::day;
use crate::support::draws::draws;

fn epoch() -> NaiveDate {
    day("2026-01-01")
}

fn tails(x50: f64) -> impl Strategy<Value = Tail> {
    (
        0.01..1.0_f64,
        0.0..0.2_f64,
        0.0..0.3_f64,
        proptest::option::of(0.8..2.0_f64),
        prop::bool::weighted(0.05),
        prop_oneof![Just(0.0), 0.0..1.0_f64],
    )
        .prop_map(move |(far, down, up, carried, unbounded, of_step)| {
            let quantile_ma = x50 * (1.0 + far);
            let upper_ma = if unbounded { f64::INFINITY } else { quantile_ma * (1.0 + up) };
            Tail {
                quantile_ma,
                lower_ma: quantile_ma * (1.0 - down),
                upper_ma,
                of_step_ma: if unbounded { 0.0 } else { of_step * (upper_ma - quantile_ma) },
                upper_at_horizon_ma: carried.map(|c| c * upper_ma),
            }
        })
}

pub(super) fn settings(x50_ma: f64) -> impl Strategy<Value = BandInput> {
    let around = |low: f64, high: f64| proptest::option::of(low..high);
    (
        prop::bool::ANY,
        around(100.0, 5000.0),
        around(0.02, 20.0),
        around(0.8, 4.0),
        around(1.0, 6.0),
        prop::sample::select(vec![0.0, 1e-4, 0.001, 0.01, 0.05]),
        around(0.001, 0.1),
    )
        .prop_map(move |(ac, applied_v, leak, ceiling, range, step, limit_step)| BandInput {
            x50_ma,
            upper_now_ma: 0.0,
            of_step_ma: 0.0,
            adds: if ac { LeakAdds::AtRightAngles } else { LeakAdds::InPhase },
            applied_v,
            leak_path_mohm: leak,
            other_leak_path: None,
            ceiling_ma: ceiling.map(|c| c * x50_ma),
            tester_range_ma: range.map(|r| r * x50_ma),
            reading_step_ma: step,
            limit_step_ma: limit_step.map(|s| s * x50_ma),
        })
}

pub(super) fn evidences() -> impl Strategy<Value = Evidence> {
    (0.002..10.0_f64)
        .prop_flat_map(|x50| {
            (
                settings(x50),
                proptest::option::weighted(0.9, (0.5..5.0_f64).prop_map(move |f| f * x50)),
                proptest::option::weighted(0.9, tails(x50)),
                proptest::option::weighted(0.9, tails(x50)),
                (prop::bool::ANY, proptest::option::of(0.0..0.1_f64)),
                (0_u64..5000, 0_u64..100, proptest::option::of(0_u64..10)),
                (0.0..10.0_f64, 0_u64..5, proptest::option::of(0.0..0.1_f64)),
            )
        })
        .prop_map(
            |(
                setting,
                limit,
                apart,
                together,
                (first, excess),
                counts,
                (rejects, strays, share),
            )| Evidence {
                x05_ma: Some(0.9 * setting.x50_ma),
                typical_ma: setting.x50_ma,
                holds_at: None,
                setting,
                high_limit_ma: limit,
                apart,
                together,
                in_use: if first { Answer::Apart } else { Answer::Together },
                excess_share: excess,
                judged: Judged {
                    from: epoch(),
                    to: epoch() + Days::new(100),
                    units: counts.0,
                    production_days: counts.1,
                    lots: counts.2,
                },
                healthy_rejects_seen: rejects,
                expected_reject_share: share
                    .and_then(|s| Estimate::new(s, s / 2.0, 2.0 * s, 0.95, "random")),
                units_per_month: 400.0,
                strays_passed: strays,
                limit_reached_on: None,
                rise: None,
                may_rise: false,
            },
        )
}

/// Evidence of products that rise, by slopes and steps, with a time before that may be missing.
pub(super) fn rises() -> impl Strategy<Value = Evidence> {
    let before = evidences().prop_flat_map(|e| {
        let x50 = e.setting.x50_ma;
        let shrunk =
            (0.3..1.0_f64).prop_flat_map(move |f| (Just(f * x50), tails(f * x50), tails(f * x50)));
        (Just(e), proptest::option::weighted(0.9, shrunk), prop::bool::ANY)
    });
    before.prop_map(|(e, before, slope)| {
        let judged = e.judged;
        let before =
            before.ok_or(NoBefore::SinceTheFirstDay).map(|(x50_ma, apart, together)| Before {
                x50_ma,
                apart: Some(apart),
                together: Some(together),
                in_use: e.in_use,
                judged,
            });
        let kind = if slope { RiseKind::Slope } else { RiseKind::Step };
        Evidence {
            rise: Some(RiseEvidence {
                kind,
                since: Some(epoch()),
                earliest: Some(epoch()),
                before,
            }),
            ..e
        }
    })
}

/// From rejecting too much to letting too much through.
fn order(kind: VerdictKind) -> u8 {
    match kind {
        VerdictKind::TooTight => 0,
        VerdictKind::Fits | VerdictKind::NotEnoughData | VerdictKind::Moving => 1,
        VerdictKind::TooLoose => 2,
        VerdictKind::NoWorkableBand => 3,
    }
}

proptest! {
    #![proptest_config(draws(2000))]

    #[test]
    fn nothing_is_proposed_above_a_cap(e in evidences()) {
        let v = judge(&e, &Config::default());
        let caps = [e.setting.ceiling_ma, e.setting.tester_range_ma];
        for cap in caps.into_iter().flatten() {
            for proposed in [v.band_low_ma, v.band_high_ma, v.suggested_ma()].into_iter().flatten() {
                prop_assert!(proposed <= cap, "{proposed} above {cap}");
            }
        }
    }

    #[test]
    fn nothing_rises_with_a_product(e in rises()) {
        let v = judge(&e, &Config::default());
        let limit = e.limit_ma();
        prop_assert!(v.kind != Some(VerdictKind::TooTight) && v.kind != Some(VerdictKind::Fits));
        if let Some((proposed, limit)) = v.suggested_ma().zip(limit) {
            prop_assert!(proposed < limit, "{proposed} above {limit}");
        }
        // No band above that of the time before, whose own verdict would print it.
        let then = e.for_band().map(|before| judge(&Evidence { rise: None, ..before }, &Config::default()));
        prop_assert_eq!(v.band_low_ma, then.as_ref().and_then(|t| t.band_low_ma));
        prop_assert_eq!(v.band_high_ma, then.as_ref().and_then(|t| t.band_high_ma));
        // Nothing that a page or a study names beside it goes up either.
        let r = recommend(&v, &e.sound().setting, None, &Config::default());
        for named in [r.to_ma, r.tighter_ma].into_iter().flatten() {
            prop_assert!(limit.is_none_or(|limit| named < limit));
        }
        for candidate in candidates(&v, &[], e.setting.step_ma(), limit) {
            let proposed = !candidate.origins.contains(&Origin::InForce) && !candidate.origins.contains(&Origin::BandLow);
            prop_assert!(!proposed || limit.is_none_or(|l| candidate.limit_ma <= l), "{candidate:?}");
        }
        if let Some(limit) = limit {
            prop_assert!(!v.serves(limit * 1.01));
        }
    }

    #[test]
    fn a_proposal_lies_inside_the_band_and_is_judged_well(e in evidences()) {
        let v = judge(&e, &Config::default());
        if let Some(proposed) = v.suggested_ma() {
            prop_assert!(proposed >= v.band_low_ma.unwrap());
            prop_assert!(v.band_high_ma.is_none_or(|high| proposed <= high));
            // Put in force it is never the fault it was to cure, nor unsafe.
            let then = judge(&Evidence { high_limit_ma: Some(proposed), ..e.clone() }, &Config::default());
            prop_assert!(!then.above_ceiling && !then.above_tester_range);
            prop_assert!(!matches!(
                then.kind,
                Some(VerdictKind::TooTight | VerdictKind::TooLoose | VerdictKind::NoWorkableBand)
            ));
        }
    }

    /// What a reading step leaves open keeps sound limits above the lower end; it lets no limit be called less far.
    #[test]
    fn a_wide_step_moves_no_upper_end(e in evidences(), of_step in 0.0..1.0_f64) {
        let end_of = |tail: Tail| band(&tail.of(&e.setting), &Config::default());
        for (_, tail) in e.answers() {
            let within = Tail { of_step_ma: 0.0, ..tail };
            let out = of_step * (within.upper_ma - within.quantile_ma);
            prop_assume!(out.is_finite());
            let moved = Tail { upper_ma: within.upper_ma + out, of_step_ma: out, ..within };
            let (before, after) = (end_of(within), end_of(moved));
            prop_assert!(after.lower_ma >= before.lower_ma);
            let allowed = before.upper_ma.max(after.lower_ma);
            // Rounding of the sum apart.
            prop_assert!(after.upper_ma <= allowed * (1.0 + 1e-9) + 2.1 * before.step_ma, "{before:?} {after:?}");
            if before.step_ma == 0.0 {
                prop_assert!(after.upper_ma <= allowed * (1.0 + 1e-9), "{before:?} {after:?}");
            }
            prop_assert!(after.upper_ma >= before.upper_ma * (1.0 - 1e-9));
            // Where the lower end stands for the sum, the sentence says so.
            for end in &after.ends {
                if let UpperRule::TwiceAsFar { sum_ma, .. } = end.rule {
                    let of = Whose { station: None, before_rise: false };
                    let text = end.sentence(&of, Wording::new(1.0, 0.01));
                    prop_assert_eq!(text.contains("that stands for it"), sum_ma < end.ma, "{}", text);
                    prop_assert!(sum_ma >= end.ma || end.ma.total_cmp(&after.lower_ma).is_eq(), "{:?}", after);
                }
            }
        }
    }

    #[test]
    fn a_raised_limit_never_gets_tighter(e in evidences(), raise in 1.0..4.0_f64) {
        let low = judge(&e, &Config::default()).kind;
        let high = judge(
            &Evidence { high_limit_ma: e.high_limit_ma.map(|l| l * raise), ..e.clone() },
            &Config::default(),
        )
        .kind;
        prop_assert_eq!(low.is_some(), high.is_some());
        if let (Some(low), Some(high)) = (low, high) {
            prop_assert!(order(low) <= order(high), "{low:?} to {high:?}");
        }
    }

    #[test]
    fn a_lower_ceiling_never_makes_a_loose_limit_fit(e in evidences(), factor in 0.3..1.0_f64) {
        let kind = |ceiling| {
            let mut e = e.clone();
            e.setting.ceiling_ma = ceiling;
            e.excess_share = None;
            judge(&e, &Config::default()).kind
        };
        let before = e.setting.ceiling_ma;
        if kind(before) == Some(VerdictKind::TooLoose) {
            let after = kind(before.map(|c| c * factor)).unwrap();
            prop_assert!(matches!(after, VerdictKind::TooLoose | VerdictKind::NoWorkableBand));
        }
    }

    #[test]
    fn rescaled_currents_rescale_the_band(e in evidences(), power in -4_i32..5) {
        // Powers of two scale without rounding, so that no verdict turns on the last digit.
        let f = 2_f64.powi(power);
        let tail = |t: Tail| Tail {
            quantile_ma: t.quantile_ma * f,
            lower_ma: t.lower_ma * f,
            upper_ma: t.upper_ma * f,
            of_step_ma: t.of_step_ma * f,
            upper_at_horizon_ma: t.upper_at_horizon_ma.map(|u| u * f),
        };
        let by = |x: Option<f64>| x.map(|x| x * f);
        let scaled = Evidence {
            setting: BandInput {
                x50_ma: e.setting.x50_ma * f,
                leak_path_mohm: e.setting.leak_path_mohm.map(|r| r / f),
                ceiling_ma: by(e.setting.ceiling_ma),
                tester_range_ma: by(e.setting.tester_range_ma),
                reading_step_ma: e.setting.reading_step_ma * f,
                limit_step_ma: by(e.setting.limit_step_ma),
                ..e.setting.clone()
            },
            high_limit_ma: by(e.high_limit_ma),
            x05_ma: by(e.x05_ma),
            apart: e.apart.map(tail),
            together: e.together.map(tail),
            ..e.clone()
        };
        let (v, w) = (judge(&e, &Config::default()), judge(&scaled, &Config::default()));
        prop_assert_eq!(v.kind, w.kind);
        prop_assert_eq!(v.units_needed, w.units_needed);
        // A suggestion is rounded to three digits, which powers of two do not keep.
        for (x, y) in [
            (v.band_low_ma, w.band_low_ma),
            (v.band_high_ma, w.band_high_ma),
            (v.blind_spot_mohm, w.blind_spot_mohm.map(|r| r * f * f)),
        ] {
            match (x, y) {
                (Some(x), Some(y)) => prop_assert!((x * f - y).abs() <= 1e-9 * y.abs(), "{x} {y}"),
                _ => prop_assert_eq!(x.is_some(), y.is_some()),
            }
        }
    }

    #[test]
    fn every_verdict_has_its_reasons(e in evidences()) {
        let v = judge(&e, &Config::default());
        prop_assert!(!v.reasons.is_empty());
        for text in v.reasons.iter().map(|r| r.sentence(v.say)).chain([v.sentence()]) {
            prop_assert!(text.ends_with('.'), "{text}");
            prop_assert!(!["NaN", "inf ", "  "].iter().any(|bad| text.contains(bad)), "{text}");
        }
        prop_assert!(v.blind_spot_low_reader_mohm <= v.blind_spot_mohm || v.blind_spot_mohm.is_none());
        prop_assert!(v.kind.is_some() == e.high_limit_ma.is_some());
    }

    #[test]
    fn no_numbers_make_it_panic(
        x in prop::collection::vec(
            prop_oneof![prop::num::f64::ANY, Just(0.0), Just(-1.0), Just(f64::NAN), Just(f64::INFINITY), 0.0..9.0_f64],
            16
        ),
        units in any::<u64>(),
    ) {
        let tail = |i: usize| Tail {
            quantile_ma: x[i], lower_ma: x[i + 1], upper_ma: x[i + 2], of_step_ma: x[i + 3], upper_at_horizon_ma: Some(x[i + 3]),
        };
        let e = Evidence {
            typical_ma: x[0],
            holds_at: None,
            setting: BandInput {
                x50_ma: x[0], upper_now_ma: 0.0, of_step_ma: 0.0, adds: LeakAdds::AtRightAngles,
                applied_v: Some(x[1]), leak_path_mohm: Some(x[2]), other_leak_path: None, ceiling_ma: Some(x[3]),
                tester_range_ma: Some(x[4]), reading_step_ma: x[5], limit_step_ma: Some(x[6]),
            },
            high_limit_ma: Some(x[7]),
            x05_ma: Some(x[8]),
            apart: Some(tail(9)),
            together: Some(tail(12)),
            in_use: Answer::Together,
            excess_share: Some(x[13]),
            judged: Judged { from: epoch(), to: epoch(), units, production_days: 20, lots: None },
            healthy_rejects_seen: x[14],
            expected_reject_share: None,
            units_per_month: x[15],
            strays_passed: 0,
            limit_reached_on: None,
            rise: None,
            may_rise: false,
        };
        let v = judge(&e, &Config::default());
        prop_assert!(!v.reasons.is_empty());
        for number in [v.band_low_ma, v.band_high_ma, v.suggested_ma(), v.blind_spot_mohm].into_iter().flatten() {
            prop_assert!(number.is_finite(), "{number}");
        }
        for text in v.reasons.iter().map(|r| r.sentence(v.say)).chain([v.sentence()]) {
            prop_assert!(!text.contains("NaN"), "{text}");
        }
    }

    #[test]
    fn the_blind_spot_undoes_the_leak(healthy in 0.01..9.0_f64, volts in 100.0..5000.0_f64, kohm in 10.0..2000.0_f64) {
        for adds in [LeakAdds::AtRightAngles, LeakAdds::InPhase] {
            let reading = physics::reading_with_leak_ma(adds, healthy, volts, kohm).unwrap();
            let back = physics::blind_spot_kohm(adds, volts, reading, healthy).unwrap();
            // Digits are lost where the leak is small beside the healthy current.
            let leak = volts / kohm;
            prop_assert!((back / kohm - 1.0).abs() <= 1e-13 * (1.0 + (healthy / leak).powi(2)), "{back} {kohm}");
        }
    }

    #[test]
    fn the_period_keeps_its_promises(
        units in prop::collection::vec(0_u64..30, 1..700),
        steps in prop::collection::vec(0_u64..700, 0..4),
        season in prop::bool::ANY,
    ) {
        let rules = Config::default();
        let days: Vec<DayUnits> = units
            .iter()
            .enumerate()
            .map(|(i, &units)| DayUnits { day: epoch() + Days::new(i as u64), units })
            .collect();
        let steps: Vec<NaiveDate> = steps.iter().map(|&s| epoch() + Days::new(s)).collect();
        let Some(period) = judged_from(&steps, &days, season, &rules) else {
            prop_assert!(units.iter().all(|n| *n == 0));
            return Ok(());
        };
        let j = period.judged;
        let first = days.iter().find(|d| d.units > 0).unwrap().day;
        let step = steps.iter().copied().filter(|s| *s <= j.to).max().unwrap_or(first).max(first);
        prop_assert!(j.from >= step);
        let inside: u64 = days.iter().filter(|d| d.day >= j.from && d.day <= j.to).map(|d| d.units).sum();
        prop_assert_eq!(inside, j.units);
        // Longer than the cap only as far as 300 units need.
        let cap = if season { 366 } else { 184 };
        if (j.to - j.from).num_days() > cap {
            let later: u64 = days.iter().filter(|d| d.day > j.from).map(|d| d.units).sum();
            prop_assert!(later < rules.judged_units);
        }
        // Fewer than 300 only where nothing earlier may be used.
        if j.units < rules.judged_units {
            let earlier: u64 = days.iter().filter(|d| d.day >= step && d.day < j.from).map(|d| d.units).sum();
            prop_assert_eq!(earlier, 0);
        }
    }
}
