//! Pages and chart of a limit study: whole and safe whatever the names are, and saying what goes in.

use leakdrift::analysis::units::what_if::{MonthRecount, RecountUnit, RetestCost, Would};
use leakdrift::config::Config;
use leakdrift::records::TestKind;
use leakdrift::report::chart::trade_off::{Place, TradeOff, chart};
use leakdrift::report::chart::{ChartError, Layer};
use leakdrift::report::markdown::{change_note, limit_page};
use leakdrift::review::limit_study::{LimitsReport, SCHEMA, StudyReport};
use leakdrift::stats::estimate::Estimate;
use leakdrift::stats::expected_share::ExpectedAtHorizon;
use leakdrift::verdict::VerdictKind;
use leakdrift::verdict::calculated::{CalculatedBand, calculated};
use leakdrift::verdict::candidate::Origin;
use leakdrift::verdict::cautions::{ALL, CAUTIONS, WHO_DECIDES};
use leakdrift::verdict::expected::{Beside, Circuit, Expectation, compare, expected};
use leakdrift::verdict::group::{Member, share_limit};
use leakdrift::verdict::limit_study::{BlindSpot, LimitStudy, WhatIf};
use leakdrift::verdict::physics::{ProvingLoads, proving_loads};
use leakdrift::verdict::reason::{Above, Reason};
use leakdrift::verdict::recommend::{Advice, Because, Recommendation};
use leakdrift::words::Wording;

use super::chart_inputs::assert_drawn;
use super::page_report::{expected_share, report_of, series};
use crate::support::evidence;

fn estimate(value: f64) -> Estimate {
    Estimate { value, low: value / 2.0, high: value * 2.0, level: 0.95, method: "by hand".into() }
}

fn loads() -> ProvingLoads {
    proving_loads(1500.0, 2.44, &Config::default()).unwrap()
}

fn candidate(name: &str, limit_ma: f64, origin: Origin) -> WhatIf {
    WhatIf {
        limit_ma,
        origins: vec![origin],
        verdict: Some(VerdictKind::Fits),
        expected_reject_ppm: Some(expected_share(estimate(120.0), 1e6)),
        at_horizon: ExpectedAtHorizon::new(Some(300e-6), 2500),
        rejects_per_month: Some(expected_share(estimate(0.05), 420.0)),
        blind_spot_mohm: Some(1.08),
        blind_spot_low_reader_mohm: Some(1.0),
        blind_spot: BlindSpot::From(1.08),
        to_ceiling_ma: Some(10.0 - limit_ma),
        to_range_ma: Some(20.0 - limit_ma),
        would_reject: 2,
        might_pass: 1,
        strays_caught: 3,
        retests_per_month: Some(-4.2),
        minutes_per_month: None,
        loads: Some(loads()),
        months: vec![MonthRecount {
            month: (2026, 10),
            units: 480,
            tripped: 3,
            rejected: 2,
            might_pass: 1,
        }],
        units: vec![RecountUnit {
            would: Would::BeRejected,
            serial: name.into(),
            time: 1_791_885_600,
            station: name.into(),
            ma: 4.26,
        }],
    }
}

const CIRCUIT: Circuit = Circuit {
    capacitance_nf: 3.45,
    tolerance: 0.1,
    applied_v: 1500.0,
    frequency_hz: 60.0,
    leads_ma: Some((0.031, 0.079)),
};

fn recommendation(name: &str) -> Recommendation {
    let say = Wording::new(2.0, 0.01);
    // A group that names the model: it has no band to share.
    let alone = Member { name: name.into(), x50_ma: 2.0, band_ma: None };
    Recommendation {
        advice: Advice::Change,
        limit_ma: Some(5.0),
        to_ma: Some(2.44),
        tighter_ma: None,
        fits_until: None,
        because: vec![
            Because::Verdict(Reason::AboveUpperEnd(Above {
                limit_ma: 5.0,
                end_ma: 2.446,
                proven: true,
            })),
            Because::Shared(share_limit(name, &[alone], 0.01)),
        ],
        loads: Some(loads()),
        blind_spot_mohm: Some(1.08),
        say,
    }
}

fn measured(name: &str) -> LimitStudy {
    let reading = expected(&CIRCUIT).unwrap();
    let compared = compare(&CIRCUIT, &reading, &estimate(2.0)).unwrap();
    LimitStudy {
        series: 0,
        recommendation: recommendation(name),
        candidates: vec![
            candidate(name, 2.44, Origin::Suggested),
            candidate(name, 5.0, Origin::InForce),
        ],
        rejected_unit: Some(RetestCost { units: 9, tests_each: 1.5, minutes_each: Some(7.0) }),
        expected: Some(Expectation {
            circuit: CIRCUIT,
            reading,
            beside: Beside::Measured(compared),
            say: Wording::new(2.0, 0.01),
        }),
        ceiling_ma: Some(10.0),
        tester_range_ma: Some(20.0),
        leak_path_mohm: Some(1.0),
        limit_step_ma: 0.01,
        strays_passed: 3,
        accepted_share: 0.001,
        typical_ma: 2.0,
        curve: Vec::new(),
    }
}

fn new_model() -> CalculatedBand {
    let reading = expected(&CIRCUIT).unwrap();
    let setting = evidence::setting();
    calculated(TestKind::AcWithstand, &CIRCUIT, &reading, &setting, &Config::default())
}

fn study_of(name: &str) -> LimitsReport {
    let report = report_of(name);
    LimitsReport {
        schema: SCHEMA,
        cautions: ALL,
        name: name.into(),
        model: name.into(),
        first: report.first,
        from: Some(report.from),
        to: Some(report.to),
        rows: Some(report.rows.clone()),
        series: vec![StudyReport {
            series: series(name),
            study: measured(name),
            change_note: Some("change-note.md".into()),
        }],
        calculated: Some(new_model()),
        limit_groups: report.limit_groups.clone(),
        notes: vec![format!("{name}: a note")],
        settings: report.settings.clone(),
        ceilings: report.ceilings.clone(),
        made: report.made,
    }
}

/// The page with a chart of the calculated band.
fn page(report: &LimitsReport) -> String {
    limit_page::page(report, Some("charts/calculated-limits.png"))
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
    for (a, b) in [(page(&plain), page(&bad)), (note(&plain), note(&bad))] {
        assert_eq!(outline(&a), outline(&b), "{b}");
        assert!(!b.contains("<script") && !b.contains('\u{202e}'), "{b}");
    }
}

#[test]
fn tables_are_as_wide_as_their_headers() {
    let report = study_of(&hostile());
    for page in [page(&report), note(&report)] {
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
    let text = page(&report);
    let note = note(&report);
    for caution in CAUTIONS.iter().chain([&WHO_DECIDES]) {
        assert!(text.contains(caution), "{caution}");
        assert!(note.contains(caution), "{caution}");
    }
    for asked in [
        "standard and clause looked at",
        "reason of a raise",
        "units affected",
        "valid until",
        "way back",
    ] {
        let row = note.lines().find(|l| l.starts_with(&format!("| {asked} |"))).expect(asked);
        assert!(row.len() > asked.len() + 20, "{row}");
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
                rejected_ppm: Estimate::new(ppm, ppm / 5.0, ppm * 5.0, 0.95, "by hand"),
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
        before_rise: true,
        proven: false,
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
    assert!(made.notes.iter().any(|n| n.contains("no limit above the one in force")));
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
