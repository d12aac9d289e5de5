//! `results.json`: the report for machines.

use crate::review::Review;

/// The whole report as indented JSON, keys in the order of [`Review`], ended by a line break.
///
/// A number that is not finite is never written: an end without a bound is `null`, and everything else is
/// finite by the model's own rule (see [`not_finite`], which a debug build holds against every report).
#[must_use]
pub fn results(report: &Review) -> String {
    debug_assert_eq!(not_finite(report), Vec::<String>::new(), "numbers of a report are finite");
    let mut text =
        serde_json::to_string_pretty(report).expect("every map of the report has text for keys");
    text.push('\n');
    text
}

/// Names of plain numbers (no ends of an interval) that are not finite; none in a sound report.
#[must_use]
pub fn not_finite(report: &Review) -> Vec<String> {
    let mut wrong = Vec::new();
    for s in &report.series {
        let mut see = |name: &str, x: Option<f64>| {
            if x.is_some_and(|x| !x.is_finite()) {
                wrong.push(format!("{}: {name}", s.id));
            }
        };
        see("applied_v", s.applied_v);
        see("frequency_hz", s.frequency_hz);
        see("dwell_s", s.dwell_s);
        see("limit.open_lead_ma", s.limit.open_lead_ma);
        see("limit.high_ma", s.limit.high_ma);
        see("limit.low_ma", s.limit.low_ma);
        for change in &s.limit.history {
            see("limit.history.high_ma", change.high_ma);
            see("limit.history.low_ma", change.low_ma);
        }
        if let Some(d) = &s.distribution {
            for family in &d.families {
                see("distribution.families.aicc", family.aicc);
                see("distribution.families.weight", Some(family.weight));
                for x in family.params.values() {
                    see("distribution.families.params", Some(*x));
                }
            }
            see("distribution.goodness.p_value", d.goodness.p_value);
            see("distribution.goodness.largest_gap", d.goodness.largest_gap);
        }
        if let Some(low) = &s.low_side {
            see("low_side.expected_reject_ppm_at_horizon", low.expected_reject_ppm_at_horizon);
        }
        let v = &s.verdict;
        see("verdict.band_low_ma", v.band_low_ma);
        see("verdict.band_high_ma", v.band_high_ma);
        see("verdict.blind_spot_mohm", v.blind_spot_mohm);
        see("verdict.suggested_ma", v.suggested_ma);
        see("verdict.low_limit_from_ma", v.low_limit_from_ma);
        see("verdict.low_limit_to_ma", v.low_limit_to_ma);
        for unit in &s.strays.units {
            see("strays.units.reading_ma", Some(unit.reading_ma));
        }
        see("drift.p_value", s.drift.p_value);
        see("drift.rho", s.drift.rho);
        see("drift.smallest_step_ma", s.drift.smallest_step_ma);
        for month in &s.months {
            see("months.x50_ma", month.x50_ma);
            see("months.x95_ma", month.x95_ma);
            see("months.reject_share", month.reject_share);
            see("months.p_pku", month.p_pku);
        }
    }
    for group in &report.limit_groups {
        for x in [group.band_low_ma, group.band_high_ma] {
            if x.is_some_and(|x| !x.is_finite()) {
                wrong.push(format!("{}: band", group.group));
            }
        }
    }
    wrong
}
