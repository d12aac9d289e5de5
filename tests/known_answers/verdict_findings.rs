//! Low limits, flags, periods and shared limits on cases worked by hand.

use chrono::NaiveDate;
use leakdrift::config::Config;
use leakdrift::movement::drift::Shape;
use leakdrift::movement::material::{DriftNumbers, Material, Step, established, flag};
use leakdrift::movement::period::{DayUnits, StartedBy, horizon_end, judged_from};
use leakdrift::verdict::group::{Member, share_limit};
use leakdrift::verdict::low_limit::{LowEvidence, judge_low};

use crate::support::days::day;
use crate::support::evidence::tail;

/// AP730: open lead 0.079 mA on the long leads, healthy from about 1.85 mA.
#[test]
fn low_limits() {
    let base = LowEvidence {
        low_limit_ma: None,
        open_lead_ma: Some(0.079),
        healthy: Some(tail(1.853, 1.86, 1.87)),
        x50_ma: 2.0,
        x05_ma: Some(1.93),
        reading_step_ma: 0.01,
        healthy_under_limit: 0,
        limit_step_ma: 0.01,
    };
    let rules = Config::default();
    let open = judge_low(&base, &rules);
    assert_eq!(open.open_lead_passes, Some(true));
    assert_eq!((open.from_ma, open.to_ma), (Some(0.08), Some(1.85)));
    // Half of 1.93 mA, rounded up to a step; far from 0.08 + 0.0212 and 1.85 - 0.04775 mA.
    assert_eq!(open.suggested_ma, Some(0.97));
    assert_eq!(open.next_step(), "Set a low limit of 0.97 mA (0.08 mA to 1.85 mA would work).");
    // Leads of 1.2 mA: 1.21 and its guard band of 0.03815 mA, rounded up.
    let long =
        judge_low(&LowEvidence { open_lead_ma: Some(1.2), ..base.clone() }, &Config::default());
    assert_eq!(long.suggested_ma, Some(1.25));
    // Unknown is not impossible.
    let unknown =
        judge_low(&LowEvidence { open_lead_ma: None, ..base.clone() }, &Config::default());
    assert!(
        unknown
            .next_step()
            .starts_with("A low limit of at most 1.85 mA spares healthy units: test once")
    );
    let with = |limit, under| {
        judge_low(
            &LowEvidence { low_limit_ma: Some(limit), healthy_under_limit: under, ..base.clone() },
            &rules,
        )
    };
    assert_eq!(with(1.0, 0).open_lead_passes, Some(false));
    assert_eq!(with(0.05, 0).open_lead_passes, Some(true));
    // At the limit itself a test is not below it: it passes.
    assert_eq!(with(0.079, 0).open_lead_passes, Some(true));
    assert!(with(1.90, 3).cuts_into_healthy().is_some());
    assert!(with(1.90, 2).cuts_into_healthy().is_none());
    assert!(with(1.86, 30).cuts_into_healthy().is_none());
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

/// What must be done about a low limit that cuts into healthy units begins with just that, not with what an
/// unconnected lead does.
#[test]
fn a_low_limit_that_cuts_says_so() {
    let low = judge_low(
        &LowEvidence {
            low_limit_ma: Some(1.90),
            open_lead_ma: Some(0.079),
            healthy: Some(tail(1.853, 1.86, 1.87)),
            x50_ma: 2.0,
            x05_ma: Some(1.93),
            reading_step_ma: 0.01,
            healthy_under_limit: 12,
            limit_step_ma: 0.01,
        },
        &Config::default(),
    );
    let said = low.cuts_into_healthy().unwrap();
    assert!(said.contains("1.90 mA cuts into the healthy units: 12 units"), "{said}");
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
    let rules = Config::default();
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
    let rules = Config::default();
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
    let rules = Config::default();
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
    let rules = Config::default();
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
    assert!(!g.one_limit_serves && g.sentence().contains("four"));
}

/// The defaults of the design, and every one of them printed.
#[test]
fn rules_are_printed() {
    let rules = Config::default();
    let lines = rules.lines();
    for (name, value) in [
        ("accepted_reject_share", "0.001"),
        ("confidence", "0.95"),
        ("horizon_months", "6"),
        ("judged_units", "300"),
        ("verdict_units", "200"),
        ("tester.accuracy_pct", "1.5"),
        ("excess_share_max", "0.03"),
    ] {
        assert!(lines.iter().any(|l| l.name == name && l.value == value), "{name}");
    }
}
