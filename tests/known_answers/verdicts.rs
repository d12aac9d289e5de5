//! Verdicts, flags, periods and actions on cases worked by hand. Readings and limits are those of the
//! demonstration factory; bands, suggested limits and dates are worked out beside each case.

use chrono::NaiveDate;
use leakdrift::stats::estimate::Estimate;
use leakdrift::verdict::action::{About, ActionKind, Concern, actions, from_drift, from_verdict};
use leakdrift::verdict::band::{BandInput, UpperKind, round_down, round_up};
use leakdrift::verdict::evidence::{Answer, Forecast, Judged, Tail};
use leakdrift::verdict::group::{Member, share_limit};
use leakdrift::verdict::low_limit::{LowEvidence, judge_low};
use leakdrift::verdict::movement::{DriftNumbers, Material, Shape, Step, established, flag};
use leakdrift::verdict::period::{DayUnits, StartedBy, horizon_end, judged_from};
use leakdrift::verdict::physics::LeakAdds;
use leakdrift::verdict::reason::ReasonKind;
use leakdrift::verdict::wording::Wording;
use leakdrift::verdict::{Evidence, Rules, Verdict, VerdictKind, judge};

use crate::support::numbers::{assert_abs, assert_rel};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn tail(lower: f64, quantile: f64, upper: f64) -> Tail {
    Tail {
        quantile_ma: quantile,
        lower_ma: lower,
        upper_ma: upper,
        upper_at_horizon_ma: None,
    }
}

fn evidence(x50: f64, limit: f64, tail: Tail) -> Evidence {
    Evidence {
        setting: BandInput {
            x50_ma: x50,
            upper_now_ma: 0.0,
            upper_at_horizon_ma: None,
            adds: LeakAdds::AtRightAngles,
            applied_v: Some(1500.0),
            leak_path_mohm: None,
            ceiling_ma: Some(10.0),
            tester_range_ma: Some(20.0),
            reading_step_ma: 0.01,
            limit_step_ma: None,
        },
        high_limit_ma: Some(limit),
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
    e
}

fn judged(e: &Evidence) -> Verdict {
    judge(e, &Rules::default())
}

#[track_caller]
fn has(v: &Verdict, kind: ReasonKind, part: &str) {
    assert!(
        v.reasons
            .iter()
            .any(|r| r.kind == kind && r.sentence.contains(part)),
        "no {kind:?} with {part:?} in {:#?}",
        v.reasons
    );
}

fn lacks(v: &Verdict, kind: ReasonKind) -> bool {
    v.reasons.iter().all(|r| r.kind != kind)
}

/// By hand: band from 5.24 (5.236 rounded up) to 2 x 4.80 = 9.60, as 4.80 + 2 x 0.44 = 5.68 is less and the
/// ceiling is 10; suggested the larger of 5.68 and 1.25 x 4.80 = 6.00. Rejects 0.05 x 480 = 24 a month.
#[test]
fn vacuum_cleaner_is_too_tight() {
    let v = judged(&vacuum_cleaner());
    assert_eq!(v.kind, Some(VerdictKind::TooTight));
    assert_eq!(v.band_low_ma, Some(5.24));
    assert_rel(v.band_high_ma.unwrap(), 9.60, 1e-12);
    assert_eq!(v.suggested_ma(), Some(6.00));
    assert_rel(v.rejects_per_month.as_ref().unwrap().value, 24.0, 1e-12);
    assert!(!v.provisional);
    has(&v, ReasonKind::BelowHealthy, "5.00 mA lies below 5.170 mA");
    has(&v, ReasonKind::AskForLeakPath, "1.73 times");
    // 1500 V / (1.1 x 6.00 mA) = 227.3 kΩ, 9.9 W; 1500 / 5.4 = 277.8 kΩ, 8.1 W.
    has(&v, ReasonKind::Suggested, "0.227 MΩ (9.9 W) must trip, one of 0.278 MΩ (8.1 W) must pass");
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
    has(&v, ReasonKind::WhatHelps, "Test with DC");
    // The limit itself does not matter.
    e.high_limit_ma = Some(4.0);
    assert_eq!(judged(&e).kind, Some(VerdictKind::NoWorkableBand));
    // Under one answer only it is open for more data.
    e.apart = Some(tail(4.88, 4.90, 4.92));
    e.high_limit_ma = Some(4.93);
    assert_eq!(judged(&e).kind, Some(VerdictKind::NotEnoughData));
}

/// By hand: 2.50 mA less 0.0375 and 0.02 = 2.4425; lower end 2.18; suggested the larger of 2.36 and 2.50, kept at
/// 2.44. Blind spot 327 kΩ; for X05 = 1.90: 1500 / sqrt(25 - 3.61) = 324.3 kΩ.
#[test]
fn air_purifier_is_too_loose() {
    let v = judged(&air_purifier());
    assert_eq!(v.kind, Some(VerdictKind::TooLoose));
    assert_eq!(v.band_low_ma, Some(2.18));
    assert_rel(v.band_high_ma.unwrap(), 2.4425, 1e-12);
    assert_eq!(v.suggested_ma(), Some(2.44));
    assert_rel(v.blind_spot_mohm.unwrap(), 0.327_327, 1e-5);
    assert_rel(v.blind_spot_low_reader_mohm.unwrap(), 0.324_331, 1e-5);
    has(&v, ReasonKind::StraysPassed, "3 units passed");
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
    assert!(v.sentence.starts_with("The limit of 1.25 mA fits;"), "{}", v.sentence);
}

/// By hand: carried lower end 0.95 above the limit 0.80, today's 0.69 below it.
#[test]
fn kettle_fits_until_a_date() {
    let v = judged(&kettle());
    assert_eq!(v.kind, Some(VerdictKind::Fits));
    assert_eq!(v.fits_until.map(|f| f.date), Some(day("2027-01-31")));
    assert_eq!(v.band_low_ma, Some(0.95));
    // 0.415 + 2 (0.95 - 0.415) = 1.485.
    assert_rel(v.band_high_ma.unwrap(), 1.485, 1e-12);
    has(&v, ReasonKind::FitsUntil, "2027-01-31 (2026-12-20 to 2027-03-25)");
    // Without a date it still says that drift comes.
    let mut e = kettle();
    e.limit_reached_on = None;
    let v = judged(&e);
    assert_eq!((v.kind, v.fits_until), (Some(VerdictKind::Fits), None));
    has(&v, ReasonKind::FitsUntil, "no date can be given yet");
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
    has(&v, ReasonKind::NothingSuggested, "not raised");
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
    has(&v, ReasonKind::AnswersDisagree, "with every reading taken as healthy");
    has(&v, ReasonKind::WhatDecides, "Re-tests");
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
    assert!(v.answers_differ());
    has(&v, ReasonKind::ExcessTooCommon, "3.1 %");
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
    has(&v, ReasonKind::NoTailEstimate, "");
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
        has(&v, ReasonKind::NoLimitKnown, "");
    }
}

#[test]
fn unsafe_limits_are_flagged_first() {
    let mut e = evidence(2.0, 12.0, tail(2.15, 2.16, 2.18));
    let v = judged(&e);
    assert!(v.above_ceiling && !v.above_tester_range);
    assert_eq!(v.reasons[0].kind, ReasonKind::AboveCeiling);
    assert_eq!(v.kind, Some(VerdictKind::TooLoose));
    e.high_limit_ma = Some(25.0);
    let v = judged(&e);
    assert_eq!(v.reasons[1].kind, ReasonKind::AboveTesterRange);
    // A limit that repeats the ceiling is worded as that: 1.25 x 2.00 = 2.50 would work.
    e.high_limit_ma = Some(10.0);
    let v = judged(&e);
    assert!(v.repeats_ceiling && !v.above_ceiling);
    has(
        &v,
        ReasonKind::RepeatsCeiling,
        "10.00 mA is the legal limit; a working limit of 2.50 mA would find a changed product.",
    );
}

/// By hand: limit 4 against the suggested 2.50: (4 - 2) is more than 1.5 (2.5 - 2); at 2.70 it is not.
#[test]
fn a_tighter_limit_is_advice() {
    let mut e = evidence(2.0, 4.0, tail(2.15, 2.16, 2.18));
    let v = judged(&e);
    assert_eq!((v.kind, v.suggested_ma()), (Some(VerdictKind::Fits), Some(2.5)));
    has(&v, ReasonKind::TighterPossible, "A tighter limit is possible: 2.50 mA.");
    e.high_limit_ma = Some(2.70);
    assert_eq!(judged(&e).suggested_ma(), None);
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
    assert!(v.sentence.contains("9.0 µA is too loose"), "{}", v.sentence);
    assert!(lacks(&v, ReasonKind::AskForLeakPath));
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

/// AP730: open lead 0.079 mA on the long leads, healthy from about 1.85 mA.
#[test]
fn low_limits() {
    let base = LowEvidence {
        low_limit_ma: None,
        open_lead_ma: Some(0.079),
        healthy: Some(tail(1.853, 1.86, 1.87)),
        x50_ma: 2.0,
        healthy_under_limit: 0,
        limit_step_ma: 0.01,
    };
    let rules = Rules::default();
    let open = judge_low(&base, &rules);
    assert_eq!(open.open_lead_passes, Some(true));
    assert_eq!((open.from_ma, open.to_ma), (Some(0.08), Some(1.85)));
    let with = |limit, under| {
        judge_low(
            &LowEvidence {
                low_limit_ma: Some(limit),
                healthy_under_limit: under,
                ..base.clone()
            },
            &rules,
        )
    };
    assert_eq!(with(1.0, 0).open_lead_passes, Some(false));
    assert_eq!(with(0.05, 0).open_lead_passes, Some(true));
    assert!(with(1.90, 3).cuts_into_healthy);
    assert!(!with(1.90, 2).cuts_into_healthy);
    assert!(!with(1.86, 30).cuts_into_healthy);
    // On a step the lead itself would pass, so the next step is the first that works.
    let on_step = judge_low(&LowEvidence { open_lead_ma: Some(0.08), ..base.clone() }, &rules);
    assert_eq!(on_step.from_ma, Some(0.09));
    // A unit without a filter reads like its lead.
    let none = judge_low(&LowEvidence { open_lead_ma: Some(1.90), ..base.clone() }, &rules);
    assert_eq!((none.from_ma, none.to_ma), (None, None));
    // Unknown open lead: only with a low limit is the answer unknown.
    let unknown = LowEvidence { open_lead_ma: None, low_limit_ma: Some(1.0), ..base };
    assert_eq!(judge_low(&unknown, &rules).open_lead_passes, None);
}

fn kettle_drift() -> DriftNumbers {
    DriftNumbers {
        shape: Some(Shape::Slope),
        adjusted_p: Some(0.005),
        x50_ma: 0.415,
        high_limit_ma: Some(0.800),
        reading_step_ma: 0.001,
        change_in_horizon_ma: Some(0.084),
        largest_step_ma: None,
        reject_share_now: Some(0.00005),
        reject_share_at_horizon: Some(0.01),
    }
}

/// By hand: room 0.385 mA, a fifth of it 0.077 mA.
#[test]
fn drift_is_flagged_when_certain_and_material() {
    let rules = Rules::default();
    let f = flag(&kettle_drift(), &rules);
    assert!(f.flagged);
    assert_eq!(f.material, [Material::SlopeUsesRoom, Material::RejectsPassAccepted]);
    assert!(f.sentence.contains("21.8 % of the room"), "{}", f.sentence);
    let mut n = DriftNumbers { reject_share_at_horizon: Some(0.0005), ..kettle_drift() };
    for (change, material) in [(0.078, true), (0.076, false), (-0.078, true)] {
        n.change_in_horizon_ma = Some(change);
        assert_eq!(flag(&n, &rules).flagged, material, "{change}");
    }
    // Three reading steps of 0.03 mA are 0.09 mA.
    n = DriftNumbers { reading_step_ma: 0.03, reject_share_at_horizon: None, ..kettle_drift() };
    assert!(!flag(&n, &rules).flagged);
    for (p, shape) in [
        (Some(0.051), Some(Shape::Slope)),
        (None, Some(Shape::Slope)),
        (Some(0.001), Some(Shape::Steady)),
        (Some(0.001), None),
    ] {
        let n = DriftNumbers { adjusted_p: p, shape, ..kettle_drift() };
        assert!(!flag(&n, &rules).flagged, "{p:?} {shape:?}");
    }
    assert!(flag(&DriftNumbers { adjusted_p: Some(0.05), ..kettle_drift() }, &rules).flagged);
    // A season comes back by itself.
    let season = DriftNumbers {
        shape: Some(Shape::Season),
        reject_share_at_horizon: Some(0.0),
        ..kettle_drift()
    };
    let f = flag(&season, &rules);
    assert!(f.certain && !f.flagged);
}

/// By hand, X50 4.80 and limit 5.00: a tenth of the room is 0.02 mA; limit 9.60: 2 % of X50 is 0.096 mA.
#[test]
fn steps_are_established_when_certain_and_material() {
    let rules = Rules::default();
    let step = |size_ma, adjusted_p| Step { date: day("2026-05-11"), size_ma, adjusted_p };
    for (size, p, limit, want) in [
        (0.021, 0.01, Some(5.0), true),
        (-0.021, 0.01, Some(5.0), true),
        (0.019, 0.01, Some(5.0), false),
        (0.021, 0.06, Some(5.0), false),
        (0.097, 0.01, Some(9.6), true),
        (0.095, 0.01, Some(9.6), false),
        (0.097, 0.01, None, true),
        (0.095, 0.01, None, false),
    ] {
        assert_eq!(established(&step(size, p), 4.80, limit, &rules), want, "{size} {p} {limit:?}");
    }
}

/// Every day from 2025-09-01 to 2026-10-30, so many units a day.
fn history(units: u64) -> Vec<DayUnits> {
    day("2025-09-01")
        .iter_days()
        .take_while(|d| *d <= day("2026-10-30"))
        .map(|day| DayUnits { day, units })
        .collect()
}

/// By hand: six months to 30 October 2026 begin on 1 May, 183 days; twelve on 31 October 2025.
#[test]
fn period_judged() {
    let rules = Rules::default();
    let p = |steps: &[&str], units, season| {
        let steps: Vec<NaiveDate> = steps.iter().map(|t| day(t)).collect();
        judged_from(&steps, &history(units), season, &rules).unwrap()
    };
    let six = p(&[], 10, false);
    assert_eq!((six.judged.from, six.judged.to), (day("2026-05-01"), day("2026-10-30")));
    assert_eq!((six.judged.units, six.judged.production_days), (1830, 183));
    assert_eq!(six.started_by, StartedBy::LongestPeriod);
    assert_eq!(p(&[], 10, true).judged.from, day("2025-10-31"));
    // The step of the demonstration factory's station is later than 1 May, an older one is not.
    let step = p(&["2025-12-01", "2026-05-11"], 10, false);
    assert_eq!((step.judged.from, step.started_by), (day("2026-05-11"), StartedBy::Step));
    assert_eq!(p(&["2025-12-01"], 10, false).judged.from, day("2026-05-01"));
    // One unit a day: 300 of them end on 30 October and begin on 4 January 2026 (day 300 counted back).
    let long = p(&[], 1, false);
    assert_eq!((long.judged.from, long.judged.units), (day("2026-01-04"), 300));
    assert_eq!(long.started_by, StartedBy::EnoughUnits);
    // Never across a step.
    let step = p(&["2026-04-01"], 1, false);
    assert_eq!((step.judged.from, step.started_by), (day("2026-04-01"), StartedBy::Step));
    assert!(judged_from(&[], &[], false, &rules).is_none());
    // A step after the last day, or on the first, changes nothing.
    assert_eq!(p(&["2026-11-02", "2025-09-01"], 10, false), six);
}

#[test]
fn horizon_is_never_longer_than_the_history() {
    let rules = Rules::default();
    let to = day("2026-10-30");
    assert_eq!(horizon_end(day("2025-09-01"), to, &rules), day("2027-04-30"));
    // 60 days of history, 60 days ahead.
    assert_eq!(horizon_end(day("2026-08-31"), to, &rules), day("2026-12-29"));
    assert_eq!(horizon_end(day("2026-12-01"), to, &rules), to);
}

#[test]
fn models_that_share_a_limit() {
    let member = |name: &str, band_ma| Member { name: name.into(), x50_ma: 2.0, band_ma };
    let wide = member("one", Some((2.18, 4.0)));
    let narrow = member("two", Some((2.31, 3.0)));
    let g = share_limit("air care", &[wide.clone(), narrow.clone()], 0.05);
    assert_eq!((g.band_low_ma, g.band_high_ma), (Some(2.35), Some(3.0)));
    assert_eq!(g.low_set_by.as_deref(), Some("two"));
    assert_eq!(g.high_set_by.as_deref(), Some("two"));
    assert!(g.one_limit_serves);
    let far = member("three", Some((3.2, f64::INFINITY)));
    let g = share_limit("air care", &[wide.clone(), narrow, far], 0.05);
    assert!(!g.one_limit_serves);
    assert_eq!((g.low_set_by.as_deref(), g.high_set_by.as_deref()), (Some("three"), Some("two")));
    let g = share_limit("air care", &[wide, member("four", None)], 0.05);
    assert!(!g.one_limit_serves && g.sentence.contains("four"));
}

#[test]
fn actions_come_worst_first() {
    let rules = Rules::default();
    let say = Wording::new(2.0, 0.01);
    let mut all = Vec::new();
    all.extend(from_verdict("VC310", &judged(&vacuum_cleaner()), |x| say.current(x)));
    all.extend(from_drift("KB120", &flag(&kettle_drift(), &rules), kettle().limit_reached_on));
    all.extend(from_verdict("AP730", &judged(&air_purifier()), |x| say.current(x)));
    for (subject, concern) in [
        ("A2", Concern::ChecksMissing { days: 3 }),
        ("VC310", Concern::RetestedUntilPass { units: 40, allowed: 1 }),
        ("AP730", Concern::PassedOpenLead { units: 23 }),
    ] {
        all.push(About { subject: subject.into(), concern });
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
    assert!(table[4].next_step.contains("2.44 mA"));
    assert!(table[5].sentence.contains("2027-01-31"));
}

/// The defaults of the design, and every one of them printed.
#[test]
fn rules_are_printed() {
    let rules = Rules::default();
    let lines = rules.lines();
    for (name, value) in [
        ("accepted_reject_share", "0.001"),
        ("confidence", "0.95"),
        ("horizon_months", "6"),
        ("judged_units_min", "300"),
        ("verdict_units", "200"),
        ("guard_pct", "1.5"),
        ("excess_share_max", "0.03"),
    ] {
        assert!(lines.iter().any(|l| l.name == name && l.value == value), "{name}");
    }
    assert!(lines.iter().all(|l| !l.unit.is_empty() && !l.reason.is_empty()));
    assert!(rules.problems().is_empty());
    let bad = Rules { accepted_reject_share: 0.0, pass_load_factor: 1.2, ..rules };
    assert_eq!(bad.problems().len(), 2);
}
