//! Verdicts on high limits, and the actions that follow, on cases worked by hand. Readings and limits are those of the
//! demonstration factory; bands, suggested limits and dates are worked out beside each case.

use leakdrift::analysis::body::rise::{NoBefore, RiseKind};
use leakdrift::config::Config;
use leakdrift::movement::material::{DriftFlag, Material};
use leakdrift::movement::period::Judged;
use leakdrift::report::chart::ladder::Rung;
use leakdrift::stats::estimate::Estimate;
use leakdrift::verdict::action::{ActionKind, actions};
use leakdrift::verdict::band::{BandInput, OtherLeakPath, UpperKind, round_down, round_up};
use leakdrift::verdict::concern::{About, Concern, from_drift, from_verdict};
use leakdrift::verdict::evidence::{Answer, Before, Forecast, RiseEvidence, Tail};
use leakdrift::verdict::limit::judge;
use leakdrift::verdict::physics::LeakAdds;
use leakdrift::verdict::reason::Reason;
use leakdrift::verdict::tester::TesterConcern;
use leakdrift::verdict::{Evidence, Verdict, VerdictKind};
use leakdrift::words::Wording;

use crate::support::days::day;
use crate::support::evidence::{setting, tail};
use crate::support::numbers::{assert_abs, assert_rel};

fn evidence(x50: f64, limit: f64, tail: Tail) -> Evidence {
    Evidence {
        setting: BandInput { x50_ma: x50, ..setting() },
        typical_ma: x50,
        high_limit_ma: Some(limit),
        holds_at: None,
        x05_ma: Some(0.95 * x50),
        apart: Some(tail),
        together: Some(tail),
        in_use: Answer::Apart,
        excess_share: Some(0.0005),
        judged: Judged {
            from: day("2026-05-11"),
            to: day("2026-10-30"),
            units: 2800,
            production_days: 115,
            lots: None,
        },
        healthy_rejects_seen: 0.0,
        expected_reject_share: Estimate::new(0.0001, 0.00005, 0.0002, 0.95, "by hand"),
        units_per_month: 480.0,
        strays_passed: 0,
        limit_reached_on: None,
        rise: None,
        may_rise: false,
    }
}

fn vacuum_cleaner() -> Evidence {
    Evidence {
        healthy_rejects_seen: 140.0,
        expected_reject_share: Estimate::new(0.05, 0.045, 0.056, 0.95, "by hand"),
        ..evidence(4.80, 5.00, tail(5.17, 5.20, 5.236))
    }
}

fn air_purifier() -> Evidence {
    let mut e = evidence(2.00, 5.00, tail(2.15, 2.16, 2.178));
    e.setting.leak_path_mohm = Some(1.0);
    e.strays_passed = 3;
    e
}

fn kettle() -> Evidence {
    let mut e = evidence(0.415, 0.800, tail(0.65, 0.669, 0.69));
    e.setting.applied_v = Some(1250.0);
    for answer in [&mut e.apart, &mut e.together].into_iter().flatten() {
        answer.upper_at_horizon_ma = Some(0.948);
    }
    e.limit_reached_on = Some(Forecast {
        date: day("2027-01-31"),
        low: day("2026-12-20"),
        high: Some(day("2027-03-25")),
    });
    let before = tail(0.352, 0.355, 0.3591);
    e.rise = Some(RiseEvidence {
        kind: RiseKind::Slope,
        since: Some(day("2025-12-01")),
        earliest: Some(day("2025-11-29")),
        before: Ok(Before {
            x50_ma: 0.290,
            apart: Some(before),
            together: Some(before),
            in_use: Answer::Apart,
            judged: Judged { from: day("2025-09-01"), to: day("2025-11-28"), ..e.judged },
        }),
    });
    e
}

fn judged(e: &Evidence) -> Verdict {
    judge(e, &Config::default())
}

/// That a verdict gives a reason of a kind, and that its sentence holds some words.
macro_rules! has {
    ($v:expr, $kind:pat, $part:expr $(,)?) => {
        assert!(
            $v.reasons.iter().any(|r| matches!(r, $kind) && r.sentence($v.say).contains($part)),
            "no {} with {:?} in {:#?}",
            stringify!($kind),
            $part,
            $v.reasons
        )
    };
}

/// By hand: band from 5.24 (5.236 rounded up) to 2 x 4.80 = 9.60, as 4.80 + 2 x 0.44 = 5.68 is less and the
/// ceiling is 10; the smallest raise that serves is the lower end and its guard band, 5.24 + 1.5 % of it + 0.02 =
/// 5.3386, rounded up to 5.34. Rejects 0.05 x 480 = 24 a month.
#[test]
fn vacuum_cleaner_is_too_tight() {
    let v = judged(&vacuum_cleaner());
    assert_eq!(v.kind, Some(VerdictKind::TooTight));
    assert_eq!(v.band_low_ma, Some(5.24));
    assert_rel(v.band_high_ma.unwrap(), 9.60, 1e-12);
    assert_eq!(v.suggested_ma(), Some(5.34));
    assert_rel(v.rejects_per_month.as_ref().unwrap().value, 24.0, 1e-12);
    assert!(!v.provisional);
    has!(v, Reason::BelowHealthy(_), "5.00 mA lies below 5.170 mA");
    has!(v, Reason::AskForLeakPath { .. }, "1.73 times");
    // 1500 V / (1.1 x 5.34 mA) = 255.4 kΩ, 8.8 W; 1500 / 4.806 = 312.1 kΩ, 7.2 W.
    has!(
        v,
        Reason::Suggested(_),
        "0.255 MΩ (8.81 W) must trip, one of 0.312 MΩ (7.21 W) must pass"
    );
    // What the raise lets pass stands in the same sentence: 1500 / sqrt(5.34^2 - 4.8^2) = 641 kΩ, and
    // 1500 / sqrt(5^2 - 4.8^2) = 1071 kΩ.
    has!(
        v,
        Reason::Suggested(_),
        "5.34 mA, up from 5.00 mA: a typical unit then passes with a steady leak down to 0.641 MΩ, now down to 1.07 MΩ; no \
         harmful leak path is stated for it. Raising a limit is the unsafe direction: only if the standard",
    );
    // The path stated for another model is set beside it, and its own path where it has one.
    let mut e = vacuum_cleaner();
    e.setting.other_leak_path = Some(OtherLeakPath { model: "AP730".into(), mohm: 1.0 });
    has!(judged(&e), Reason::Suggested(_), "is stated for it, for AP730 1 MΩ is.");
    // Readings that may be rising raise nothing, and the verdict says why.
    let v = judged(&Evidence { may_rise: true, ..vacuum_cleaner() });
    assert_eq!((v.kind, v.suggested_ma()), (Some(VerdictKind::TooTight), None));
    has!(v, Reason::MayRise, "a limit never follows a drift");
}

/// By hand: sqrt(4.80^2 + 1.5^2) = 5.029 mA, less 1.5 % and 0.02 mA = 4.934 mA, below every healthy bound.
#[test]
fn vacuum_cleaner_with_a_leak_path_has_no_band() {
    let mut e = vacuum_cleaner();
    e.setting.leak_path_mohm = Some(1.0);
    let v = judged(&e);
    assert_eq!(v.kind, Some(VerdictKind::NoWorkableBand));
    assert_eq!((v.band_low_ma, v.band_high_ma, v.suggested_ma()), (None, None, None));
    let band = v.band.as_ref().unwrap();
    assert_eq!(band.upper_set_by, UpperKind::LeakPath);
    assert_abs(band.upper_ma, 4.9335, 1e-4);
    has!(v, Reason::WhatHelps(_), "test with DC");
    // The limit itself does not matter.
    e.high_limit_ma = Some(4.0);
    assert_eq!(judged(&e).kind, Some(VerdictKind::NoWorkableBand));
    // Under one answer only it is open for more data.
    e.apart = Some(tail(4.88, 4.90, 4.92));
    e.high_limit_ma = Some(4.93);
    assert_eq!(judged(&e).kind, Some(VerdictKind::NotEnoughData));
}

/// By hand: 2.50 mA less 0.0375 and 0.02 = 2.4425; lower end 2.18; suggested 2.36, since 2.50
/// lies outside. Blind spot 327 kΩ; for X05 = 1.90: 1500 / sqrt(25 - 3.61) = 324.3 kΩ.
#[test]
fn air_purifier_is_too_loose() {
    let v = judged(&air_purifier());
    assert_eq!(v.kind, Some(VerdictKind::TooLoose));
    assert_eq!(v.band_low_ma, Some(2.18));
    assert_rel(v.band_high_ma.unwrap(), 2.4425, 1e-12);
    assert_eq!(v.suggested_ma(), Some(2.36));
    assert_rel(v.blind_spot_mohm.unwrap(), 0.327_327, 1e-5);
    assert_rel(v.blind_spot_low_reader_mohm.unwrap(), 0.324_331, 1e-5);
    has!(v, Reason::StraysPassed(_), "3 units passed");
    // At the limit of before the change it fits, blind spot 1.44 to 1.46 MΩ.
    let mut before = air_purifier();
    before.high_limit_ma = Some(2.25);
    let v = judged(&before);
    assert_eq!(v.kind, Some(VerdictKind::Fits));
    assert_abs(v.blind_spot_mohm.unwrap(), 1.45, 0.011);
}

#[test]
fn fan_heater_fits() {
    let v = judged(&evidence(1.138, 1.25, tail(1.207, 1.212, 1.218)));
    assert_eq!(v.kind, Some(VerdictKind::Fits));
    assert_eq!((v.fits_until, v.units_needed), (None, None));
    assert_eq!(v.suggested_ma(), None);
    assert!(v.sentence().starts_with("The limit of 1.25 mA fits;"), "{}", v.sentence());
}

/// KB120 by hand. Before the rise its healthy units stayed under 0.360 mA: the band began there and ended, by the rule
/// of thumb, at 2 x 0.290 = 0.580, more than 0.290 + 2 x 0.07 = 0.43.
#[test]
fn a_limit_never_follows_a_rise() {
    let v = judged(&kettle());
    assert_eq!(v.kind, Some(VerdictKind::Moving));
    assert_eq!(v.fits_until.map(|f| f.date), Some(day("2027-01-31")));
    assert_eq!((v.band_low_ma, v.suggested_ma()), (Some(0.36), None));
    assert_rel(v.band_high_ma.unwrap(), 0.58, 1e-12);
    has!(v, Reason::Rising { .. }, "2027-01-31 (2026-12-20 to 2027-03-25)");
    has!(v, Reason::Rising { .. }, "do not raise the limit");
    has!(v, Reason::Rising { .. }, "since 2025-12-01 (perhaps 2025-11-29)");
    has!(v, Reason::BandBefore(_), "2025-09-01 to 2025-11-28");
    has!(v, Reason::HealthyMeanwhile { .. }, "at most 0.690 mA");
    // Above an upper end that is not proven it is still moving, and says both.
    has!(
        v,
        Reason::AboveEarlierEnd(_),
        "0.580 mA, the upper end of the band before the rise (a rule of thumb, not proven)"
    );
    assert!(
        v.sentence().starts_with(
            "The product is rising; the limit of 0.80 mA still serves until 2027-01-31;"
        )
    );
    // Healthy units that read more than the limit do not make it too tight.
    let low = judged(&Evidence { high_limit_ma: Some(0.5), ..kettle() });
    assert_eq!((low.kind, low.suggested_ma()), (Some(VerdictKind::Moving), None));
    // A note may lower the limit as long as it spares what healthy units read today, 0.69 mA, and never raise it.
    assert!(v.serves(0.75) && v.serves(0.69));
    assert!(!v.serves(0.80) && !v.serves(1.2) && !v.serves(0.68) && !v.serves(0.45));
}

/// Above an end that a stated leak path sets the limit is too loose, rising or not. By hand: 1250 V through
/// 2.5 MΩ is 0.5 mA; sqrt(0.29^2 + 0.5^2) = 0.5780 mA, less 1.5 % and 0.02 is 0.5493. With 6 MΩ sqrt(0.29^2 +
/// 0.2083^2) = 0.3571 mA, less 0.0254 is 0.3317, below 0.352: no band.
#[test]
fn a_rising_product_under_a_loose_limit() {
    let mut e = kettle();
    e.setting.leak_path_mohm = Some(2.5);
    let v = judged(&e);
    assert_eq!((v.kind, v.suggested_ma()), (Some(VerdictKind::TooLoose), None));
    assert_abs(v.band_high_ma.unwrap(), 0.5493, 5e-5);
    assert!(!v.serves(0.75), "a leak path is stated");
    e.setting.leak_path_mohm = Some(6.0);
    assert_eq!(judged(&e).kind, Some(VerdictKind::NoWorkableBand));
}

/// Without a time before the rise there is no band, and nothing is suggested.
#[test]
fn a_rise_from_the_first_day_has_no_band() {
    for (why, says) in [
        (NoBefore::SinceTheFirstDay, "since the first day"),
        (NoBefore::TooFew { days: 4, units: 90 }, "only 90 units on 4 production days"),
    ] {
        let mut e = kettle();
        e.rise.as_mut().unwrap().before = Err(why);
        let v = judged(&e);
        assert_eq!(
            (v.kind, v.band_low_ma, v.suggested_ma()),
            (Some(VerdictKind::Moving), None, None)
        );
        has!(v, Reason::NoBandBefore(_), says);
    }
}

/// Of a falling series the lower end is that of the last day: 1.218 rounds up to 1.22.
#[test]
fn falling_slope_keeps_the_lower_end_of_today() {
    let mut falling = tail(1.207, 1.212, 1.218);
    falling.upper_at_horizon_ma = Some(1.10);
    let v = judged(&evidence(1.05, 1.25, falling));
    assert_eq!(v.kind, Some(VerdictKind::Fits));
    assert_eq!((v.band_low_ma, v.fits_until), (Some(1.22), None));
}

/// By hand: limit 1.22 between 1.20 and 1.24, estimate 1.21; half-width ln(1.24/1.20)/2 = 0.016395,
/// distance ln(1.22/1.21) = 0.0082305: 1000 (1.99196)^2 = 3967.9, so 3968 units.
#[test]
fn between_the_bounds_is_not_enough_data() {
    let mut e = evidence(1.10, 1.22, tail(1.20, 1.21, 1.24));
    e.judged.units = 1000;
    let v = judged(&e);
    assert_eq!(v.kind, Some(VerdictKind::NotEnoughData));
    assert_eq!(v.units_needed, Some(3968));
    // No raise on data that do not decide: 1.375 would be suggested.
    assert_eq!(v.suggested_ma(), None);
    has!(v, Reason::NotRaised, "not raised");
    // On the estimate itself no number decides.
    e.high_limit_ma = Some(1.21);
    assert_eq!(judged(&e).units_needed, None);
}

#[test]
fn raising_needs_both_answers_and_three_rejects() {
    let low = tail(1.15, 1.18, 1.22);
    let high = tail(1.40, 1.50, 1.60);
    let mut e = evidence(1.0, 1.30, low);
    e.together = Some(high);
    let v = judged(&e);
    assert_eq!(v.kind, Some(VerdictKind::NotEnoughData));
    has!(v, Reason::AnswersDisagree { .. }, "with every reading taken as healthy");
    has!(v, Reason::RetestsDecide, "Re-tests");
    // Below L under both: too tight with 3 rejects, undecided with 2; expected ones count as well.
    e.high_limit_ma = Some(1.10);
    e.expected_reject_share = None;
    for (seen, kind) in [(3.0, VerdictKind::TooTight), (2.0, VerdictKind::NotEnoughData)] {
        e.healthy_rejects_seen = seen;
        assert_eq!(judged(&e).kind, Some(kind));
    }
    // 2800 units hold 2 rejects, so 4200 hold 3.
    assert_eq!(judged(&e).units_needed, Some(4200));
    e.expected_reject_share = Estimate::new(3.5 / 2800.0, 0.0, 0.01, 0.95, "by hand");
    assert_eq!(judged(&e).kind, Some(VerdictKind::TooTight));
    // One answer alone is enough where there is only one.
    e.together = None;
    assert_eq!(judged(&e).kind, Some(VerdictKind::TooTight));
}

#[test]
fn excess_too_common_needs_equal_answers() {
    // Apart says too loose (above 2.00), together fits (up to 2.40).
    let mut e = evidence(1.0, 2.20, tail(1.15, 1.18, 1.22));
    e.together = Some(tail(1.50, 1.60, 1.70));
    e.excess_share = Some(0.03);
    assert_eq!(judged(&e).kind, Some(VerdictKind::TooLoose));
    e.excess_share = Some(0.031);
    let v = judged(&e);
    assert_eq!(v.kind, Some(VerdictKind::NotEnoughData));
    has!(v, Reason::ExcessTooCommon { .. }, "3.1 %");
    // Both too loose: common or not, it is too loose.
    e.high_limit_ma = Some(3.0);
    assert_eq!(judged(&e).kind, Some(VerdictKind::TooLoose));
}

#[test]
fn numbers_of_units_and_days() {
    let mut e = vacuum_cleaner();
    for (units, days, lots, kind, provisional) in [
        (49, 30, None, VerdictKind::NotEnoughData, false),
        (50, 30, None, VerdictKind::TooTight, true),
        (199, 30, None, VerdictKind::TooTight, true),
        (200, 9, None, VerdictKind::TooTight, true),
        (200, 10, None, VerdictKind::TooTight, false),
        (200, 10, Some(2), VerdictKind::TooTight, true),
        (200, 10, Some(3), VerdictKind::TooTight, false),
    ] {
        e.judged.units = units;
        e.judged.production_days = days;
        e.judged.lots = lots;
        let v = judged(&e);
        assert_eq!((v.kind, v.provisional), (Some(kind), provisional), "{units} {days} {lots:?}");
    }
    e.judged.units = 49;
    let v = judged(&e);
    assert_eq!((v.units_needed, v.suggested_ma()), (Some(200), None));
    // No tail at all.
    e.judged.units = 500;
    e.apart = None;
    e.together = None;
    let v = judged(&e);
    assert_eq!(v.kind, Some(VerdictKind::NotEnoughData));
    has!(v, Reason::NoTailEstimate, "");
}

#[test]
fn no_limit_known_prints_the_band() {
    for blank in [None, Some(0.0)] {
        let mut e = vacuum_cleaner();
        e.high_limit_ma = blank;
        let v = judged(&e);
        assert_eq!(v.kind, None);
        assert_eq!((v.band_low_ma, v.suggested_ma()), (Some(5.24), Some(6.0)));
        assert_eq!((v.blind_spot_mohm, v.rejects_per_month.as_ref()), (None, None));
        has!(v, Reason::NoLimitKnown, "");
    }
}

#[test]
fn unsafe_limits_are_flagged_first() {
    let mut e = evidence(2.0, 12.0, tail(2.15, 2.16, 2.18));
    let v = judged(&e);
    assert!(v.above_ceiling && !v.above_tester_range);
    assert!(matches!(v.reasons[0], Reason::AboveCeiling(_)));
    assert_eq!(v.kind, Some(VerdictKind::TooLoose));
    e.high_limit_ma = Some(25.0);
    let v = judged(&e);
    assert!(matches!(v.reasons[1], Reason::AboveTesterRange(_)));
    // A limit that repeats the ceiling is worded as that: 1.25 x 2.00 = 2.50 would work.
    e.high_limit_ma = Some(10.0);
    let v = judged(&e);
    assert!(v.repeats_ceiling && !v.above_ceiling);
    has!(
        v,
        Reason::RepeatsCeiling { .. },
        "10.00 mA is the legal limit; a working limit of 2.50 mA would find a changed product.",
    );
}

/// By hand: limit 4 against the suggested 2.50: (4 - 2) is more than 1.5 (2.5 - 2); at 2.70 it is not.
#[test]
fn a_tighter_limit_is_advice() {
    let mut e = evidence(2.0, 4.0, tail(2.15, 2.16, 2.18));
    let v = judged(&e);
    assert_eq!((v.kind, v.suggested_ma()), (Some(VerdictKind::Fits), Some(2.5)));
    has!(v, Reason::Suggested(_), "A tighter limit is possible: 2.50 mA.");
    e.high_limit_ma = Some(2.70);
    assert_eq!(judged(&e).suggested_ma(), None);
}

/// The chart of all limits shows the tail that the verdict rests on: here every reading is taken as healthy, up to
/// 2.40 mA, and 2.16 mA would be the answer with strays kept out.
#[test]
fn the_ladder_draws_the_tail_that_is_in_use() {
    let mut e = evidence(2.0, 5.0, tail(2.15, 2.16, 2.18));
    e.together = Some(tail(2.38, 2.40, 2.43));
    e.in_use = Answer::Together;
    let rung = Rung::new("AP730".into(), &e, &judged(&e)).unwrap();
    assert_eq!(rung.healthy, (0.95 * 2.0, 2.40));
    assert_eq!((rung.limit, rung.band.map(|b| b.0)), (Some(5.0), Some(2.43)));
}

/// DC in µA, by hand: 1768 V through 500 MΩ is 3.536 µA; X50 1.84 + 3.536 = 5.376 µA, less 1.5 % and
/// 0.2 µA = 5.0954 µA.
#[test]
fn direct_current_in_microamperes() {
    let mut e = evidence(0.00184, 0.0090, tail(0.0040, 0.0044, 0.00482));
    e.setting.adds = LeakAdds::InPhase;
    e.setting.applied_v = Some(1768.0);
    e.setting.reading_step_ma = 0.0001;
    let v = judged(&e);
    // Without a path: 1.84 + 2 (4.9 - 1.84) = 7.96 µA, so 9.0 is above it.
    assert_rel(v.band_high_ma.unwrap(), 0.00796, 1e-9);
    assert_eq!(v.band_low_ma, Some(0.0049));
    e.setting.leak_path_mohm = Some(500.0);
    let v = judged(&e);
    assert_rel(v.band_high_ma.unwrap(), 0.005_095_36, 1e-9);
    assert!(v.sentence().contains("9.0 µA is too loose"), "{}", v.sentence());
    assert!(v.reasons.iter().all(|r| !matches!(r, Reason::AskForLeakPath { .. })));
}

#[test]
fn steps_round_to_what_is_typed() {
    assert_eq!(round_up(1.1501, 0.05), 1.20);
    assert_eq!(round_up(1.15, 0.05), 1.15);
    assert_eq!(round_down(1.15, 0.05), 1.15);
    assert_eq!(round_down(1.1499, 0.05), 1.10);
    assert_eq!(round_up(0.3, 0.1), 0.3);
    assert_eq!(round_up(1.234, 0.0), 1.234);
    let say = Wording::new(2.0, 0.05);
    assert_eq!((say.current(1.2), say.estimate(1.2)), ("1.20 mA".into(), "1.200 mA".into()));
}

#[test]
fn actions_come_worst_first() {
    let drift = DriftFlag {
        flagged: true,
        certain: true,
        material: vec![Material::SlopeUsesRoom],
        sentence: "Certain and material.".into(),
    };
    let say = Wording::new(2.0, 0.01);
    let mut all = Vec::new();
    all.extend(from_verdict("VC310", &judged(&vacuum_cleaner()), |x| say.current(x)));
    all.extend(from_drift("KB120", &drift, kettle().limit_reached_on, true));
    all.extend(from_verdict("AP730", &judged(&air_purifier()), |x| say.current(x)));
    for (subject, concern) in [
        ("A2", Concern::Tester(TesterConcern::ChecksMissing { days: 3 })),
        ("VC310", Concern::RetestedUntilPass { units: 40, passed: 30, allowed: 1 }),
        ("AP730", Concern::PassedOpenLead { units: 23 }),
    ] {
        all.push(About::new(subject, concern));
    }
    let mut high = evidence(2.0, 12.0, tail(2.15, 2.16, 2.18));
    high.strays_passed = 1;
    all.extend(from_verdict("XX001", &judged(&high), |x| say.current(x)));
    let table = actions(&all);
    let order: Vec<(ActionKind, &str)> =
        table.iter().map(|a| (a.kind, a.subject.as_str())).collect();
    assert_eq!(
        order,
        [
            (ActionKind::UnsafeLimit, "XX001"),
            (ActionKind::PassedOpenLead, "AP730"),
            (ActionKind::StraysPassed, "AP730"),
            (ActionKind::StraysPassed, "XX001"),
            (ActionKind::TooLoose, "AP730"),
            (ActionKind::Drift, "KB120"),
            (ActionKind::TooTight, "VC310"),
            (ActionKind::RetestedUntilPass, "VC310"),
            (ActionKind::ChecksMissing, "A2"),
        ]
    );
    assert_eq!(table.iter().map(|a| a.rank).collect::<Vec<_>>(), (1..=9).collect::<Vec<_>>());
    assert!(table[4].next_step.contains("2.36 mA"));
    assert!(table[5].sentence.contains("2027-01-31"));
}
