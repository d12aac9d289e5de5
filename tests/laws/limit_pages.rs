//! Pages and chart of a limit study: whole and safe whatever the names are, and saying what goes in.

use leakdrift::report::chart::trade_off::{Place, TradeOff, chart};
use leakdrift::report::chart::{ChartError, Layer};
use leakdrift::report::limit_model::*;
use leakdrift::report::markdown::{change_note, limit_page};
use leakdrift::report::model::E;
use leakdrift::verdict::cautions::{CAUTIONS, WHO_DECIDES};

use super::chart_inputs::assert_drawn;
use super::page_report::{report_of, series};

fn estimate(value: f64) -> E {
    E { value, low: value / 2.0, high: value * 2.0, level: 0.95, method: "by hand".into() }
}

fn loads() -> LoadsReport {
    let load = |resistance_mohm: f64, current_ma: f64| LoadReport {
        resistance_mohm,
        current_ma,
        power_w: 1.5 * current_ma,
    };
    LoadsReport {
        limit_ma: 2.44,
        applied_v: 1500.0,
        must_trip: load(0.559, 2.684),
        must_pass: load(0.683, 2.196),
    }
}

fn candidate(name: &str, limit_ma: f64, origin: &'static str) -> CandidateReport {
    CandidateReport {
        limit_ma,
        origins: vec![origin],
        verdict: Some("fits"),
        expected_reject_ppm: Some(estimate(120.0)),
        expected_reject_ppm_at_horizon: Some(300.0),
        rejects_per_month: Some(estimate(0.05)),
        blind_spot_mohm: Some(1.08),
        blind_spot_low_reader_mohm: Some(1.0),
        blind_spot: "a steady leak of 1.08 MΩ would still pass".into(),
        to_ceiling_ma: Some(10.0 - limit_ma),
        to_range_ma: Some(20.0 - limit_ma),
        would_reject: 2,
        might_pass: 1,
        strays_caught: 3,
        retests_per_month: Some(-4.2),
        minutes_per_month: None,
        loads: Some(loads()),
        months: vec![RecountMonth {
            month: "2026-10".into(),
            units: 480,
            tripped: 3,
            would_reject: 2,
            might_pass: 1,
        }],
        units: vec![AffectedUnit {
            would: "would be rejected",
            serial: name.into(),
            tested_at: "2026-10-13 10:00:00".into(),
            station: name.into(),
            ma: 4.26,
        }],
        origin_words: "asked for".into(),
        verdict_words: "fits",
    }
}

fn study_of(name: &str) -> LimitsReport {
    let report = report_of(name);
    LimitsReport {
        schema: SCHEMA,
        name: name.into(),
        model: name.into(),
        from: Some(report.from),
        to: Some(report.to),
        rows: Some(report.rows.clone()),
        series: vec![StudyReport {
            series: series(name),
            recommendation: RecommendationReport {
                advice: "change",
                to_ma: Some(2.44),
                tighter_ma: None,
                sentence: format!("Lower the limit of {name}."),
                because: vec![format!("{name} lies above the upper end.")],
                blind_spot_mohm: Some(1.08),
                loads: Some(loads()),
            },
            candidates: vec![candidate(name, 2.44, "suggested"), candidate(name, 5.0, "in_force")],
            rejected_unit: Some(RejectedUnitReport {
                units: 9,
                tests_each: 1.5,
                minutes_each: Some(7.0),
            }),
            expected: Some(ExpectedReport {
                capacitance_nf: 3.45,
                tolerance_pct: 10.0,
                value_ma: 2.006,
                low_ma: 1.787,
                high_ma: 2.225,
                compared: Some("as_expected"),
                difference_pct: Some(estimate(0.5)),
                difference_nf: Some(0.01),
                sentence: format!("{name} reads as it should."),
            }),
            ceiling_ma: Some(10.0),
            tester_range_ma: Some(20.0),
            leak_path_mohm: Some(1.0),
            limit_step_ma: 0.01,
            strays_passed: 3,
            change_note: Some("change-note.md".into()),
        }],
        calculated: Some(CalculatedReport {
            test: "ac_withstand".into(),
            applied_v: 1500.0,
            frequency_hz: 60.0,
            expected: ExpectedReport {
                capacitance_nf: 3.45,
                tolerance_pct: 10.0,
                value_ma: 1.951,
                low_ma: 1.756,
                high_ma: 2.146,
                compared: None,
                difference_pct: None,
                difference_nf: None,
                sentence: String::new(),
            },
            band_low_ma: Some(2.2),
            band_high_ma: Some(3.9),
            suggested_ma: Some(2.45),
            blind_spot_mohm: Some(1.01),
            units_for_provisional: 50,
            units_for_verdict: 200,
            units_without_reject: Some(2995),
            loads: Some(loads()),
            sentences: vec![format!("{name} is calculated.")],
            limit_step_ma: 0.01,
            chart: Some("charts/calculated-limits.png".into()),
        }),
        limit_groups: report.limit_groups.clone(),
        notes: vec![format!("{name}: a note")],
        settings: report.settings.clone(),
        made: report.made,
    }
}

fn hostile() -> String {
    format!(
        "`a` | <script>alert(1)</script>\n# b\r\n| c | [x](y) ![z](w) *d* 🙂 \u{202e}&lt; {}",
        "x".repeat(400)
    )
}

fn note(report: &LimitsReport) -> String {
    change_note::note(report, &report.series[0], 2.44)
}

/// First sign and number of cell borders of every line.
fn outline(page: &str) -> Vec<(Option<char>, usize)> {
    page.lines()
        .map(|l| {
            let bars = l.matches('|').count() - l.matches("\\|").count();
            (l.chars().next().filter(|c| "#|-->!<".contains(*c)), bars)
        })
        .collect()
}

#[test]
fn hostile_names_change_nothing_but_themselves() {
    let (plain, bad) = (study_of("M1"), study_of(&hostile()));
    for (a, b) in [(limit_page::page(&plain), limit_page::page(&bad)), (note(&plain), note(&bad))] {
        assert_eq!(outline(&a), outline(&b), "{b}");
        assert!(!b.contains("<script") && !b.contains('\u{202e}'), "{b}");
    }
}

#[test]
fn tables_are_as_wide_as_their_headers() {
    let report = study_of(&hostile());
    for page in [limit_page::page(&report), note(&report)] {
        let mut width = None;
        for (line, (kind, bars)) in page.lines().zip(outline(&page)) {
            if kind == Some('|') {
                assert_eq!(*width.get_or_insert(bars), bars, "{line}");
            } else {
                assert!(width.is_none() || line.is_empty(), "{line}");
                width = None;
            }
        }
    }
}

#[test]
fn both_pages_print_every_caution() {
    let report = study_of("M1");
    let page = limit_page::page(&report);
    let note = note(&report);
    for caution in CAUTIONS.iter().chain([&WHO_DECIDES]) {
        assert!(page.contains(caution), "{caution}");
        assert!(note.contains(caution), "{caution}");
    }
    for blank in ["checked against", "approved", "signature", "________"] {
        assert!(note.contains(blank), "{blank}");
    }
}

fn input() -> TradeOff {
    let row = (0..40)
        .map(|k| {
            let limit = 2.1 + 0.08 * f64::from(k);
            let ppm = 1e5 * (-4.0 * (limit - 2.1)).exp();
            Place {
                limit,
                rejected_ppm: Some((ppm, ppm / 5.0, ppm * 5.0)),
                blind_mohm: Some(1.5 / (limit * limit - 4.0).sqrt()),
                blind_low_mohm: Some(1.5 / (limit * limit - 3.7).sqrt()),
            }
        })
        .collect();
    TradeOff {
        series: "AP730".into(),
        answer: "limit of 5.00 mA is too loose".into(),
        period: "judged: 2432 units".into(),
        unit: "mA".into(),
        step: 0.01,
        row,
        accepted_ppm: 1000.0,
        band: Some((2.18, Some(2.446))),
        low_today: Some(2.15),
        limit: Some(5.0),
        suggested: Some(2.44),
        tried: vec![3.0, 3.05],
        ceiling: Some(10.0),
        range: Some(4.9),
        leak_path_mohm: Some(1.0),
    }
}

/// Every limit inside the axis is marked on both panels, once with words; what lies beyond is said below.
#[test]
fn the_trade_off_marks_every_limit_on_both_panels() {
    let made = chart(&input()).unwrap();
    assert_eq!(made.panels.len(), 2);
    let upright: Vec<(f64, &str)> = made
        .layers()
        .filter_map(|l| match l {
            Layer::Rule { at, label, along, .. }
                if *along == leakdrift::report::chart::Along::Upright =>
            {
                Some((*at, label.as_str()))
            }
            _ => None,
        })
        .collect();
    for (at, words) in [
        (5.0, "limit in force 5.00 mA"),
        (2.44, "suggested 2.44 mA"),
        (3.0, "asked for 3.00 mA"),
        (3.05, "asked for 3.05 mA"),
        (4.9, "end of range 4.90 mA"),
    ] {
        assert!(upright.contains(&(at, words)), "{words}: {upright:?}");
        assert!(upright.contains(&(at, "")), "{words}: {upright:?}");
    }
    assert!(made.notes.iter().any(|n| n.contains("ceiling, 10.00 mA, lies beyond")));
    assert!(made.notes.iter().any(|n| n.contains("today 2.15 mA")));
    assert_drawn(&made);
}

#[test]
fn odd_numbers_make_no_odd_chart() {
    let empty = TradeOff { row: Vec::new(), ..input() };
    assert!(matches!(chart(&empty), Err(ChartError::NothingToShow { .. })));
    let mut nan = input();
    nan.row[3].blind_mohm = Some(f64::NAN);
    assert!(matches!(chart(&nan), Err(ChartError::NotFinite { .. })));
    // Only one of the two questions has an answer.
    let mut no_rejects = input();
    no_rejects.row.iter_mut().for_each(|p| p.rejected_ppm = None);
    let mut no_volts = input();
    for place in &mut no_volts.row {
        (place.blind_mohm, place.blind_low_mohm) = (None, None);
    }
    for one in [no_rejects, no_volts] {
        let made = chart(&one).unwrap();
        assert_eq!(made.panels.len(), 1);
        assert_drawn(&made);
    }
}
