//! Pages of a report: whole, safe to open, and readable from the top, whatever the names and numbers are.

use std::path::Path;

use leakdrift::movement::drift::Shape;
use leakdrift::note::Note;
use leakdrift::records::ma_to_pa;
use leakdrift::report::closing;
use leakdrift::report::format;
use leakdrift::report::json::{not_finite, results};
use leakdrift::report::markdown::pages;
use leakdrift::report::tables::{rows_not_used_csv, units_to_check_csv};
use leakdrift::review::{First, Review};
use leakdrift::stats::estimate::Estimate;
use leakdrift::stats::expected_share::ExpectedShare;
use leakdrift::verdict::cautions::{CAUTIONS, WHO_DECIDES};
use leakdrift::words::currents::Currents;
use leakdrift::words::{numbers, time};
use serde_json::Value;

use super::page_report::{day, report_of};

/// All pages of a report, one after the other.
fn summary(report: &Review) -> String {
    pages(report).into_iter().map(|(_, page)| page).collect()
}

fn hostile() -> String {
    format!(
        "`a` | <script>alert(1)</script>\n# b\r\n| c | [x](y) ![z](w) *d* _e_ 🙂 \u{202e}&lt; {}",
        "x".repeat(400)
    )
}

/// What a line is, seen from its first sign: heading, table row with its number of cells, list, quote, text.
fn kinds(page: &str) -> Vec<(char, usize)> {
    page.lines()
        .map(|l| {
            let bars = l.matches('|').count() - l.matches("\\|").count();
            (l.chars().next().filter(|c| "#|->!<*".contains(*c)).unwrap_or('t'), bars)
        })
        .collect()
}

/// The page has the same lines, headings and table cells, whatever the names are.
#[test]
fn hostile_names_change_nothing_but_themselves() {
    let (plain, bad) = (summary(&report_of("M1")), summary(&report_of(&hostile())));
    assert_eq!(plain.lines().count(), bad.lines().count());
    for ((a, b), (was, is)) in
        plain.lines().zip(bad.lines()).zip(kinds(&plain).into_iter().zip(kinds(&bad)))
    {
        assert_eq!(was, is, "\n{a}\n{b}");
    }
    assert!(!bad.contains("<script") && !bad.contains('\u{202e}'));
    // Our own code spans, links and anchors are in both; names add none.
    for ours in ["](", "<", "`"] {
        let escaped =
            |page: &str| page.replace("\\`", "").replace("\\](", "").matches(ours).count();
        assert_eq!(escaped(&plain), escaped(&bad), "{ours}");
    }
    assert!(bad.contains("🙂") && bad.contains(&"x".repeat(400)), "names are kept whole");
}

/// A note that numbers rest on, buried among others at the end of a page, is read after they were believed.
#[test]
fn what_the_numbers_rest_on_is_said_below_the_title() {
    let notes = [Note::new("one of many"), Note::first("readings rest on this"), Note::new("a|b")];
    let first = First::new(Vec::new(), notes.iter());
    assert_eq!(first.said_first, ["readings rest on this"]);
    let report = Review { first, ..report_of("M1") };
    let page = summary(&report);
    let lines: Vec<&str> = page.lines().filter(|l| !l.is_empty()).collect();
    assert!(lines[0].starts_with("# "), "{}", lines[0]);
    assert_eq!(lines[1], "**readings rest on this**");
    let told = closing(&report, Path::new("out"), false);
    assert!(told.starts_with("readings rest on this\n"), "{told}");
}

#[test]
fn every_table_row_is_as_wide_as_its_header() {
    let page = summary(&report_of(&hostile()));
    let mut width = None;
    for (line, (kind, bars)) in page.lines().zip(kinds(&page)) {
        if kind == '|' {
            assert_eq!(*width.get_or_insert(bars), bars, "{line}");
        } else {
            assert!(width.is_none() || line.is_empty(), "a table ends with an empty line: {line}");
            width = None;
        }
    }
}

/// CommonMark 0.31, section 2.4: a backslash before ASCII punctuation makes it plain; section 6.2: entities.
#[test]
fn signs_of_markdown_are_made_plain() {
    for (raw, safe) in [
        ("a|b", "a\\|b"),
        ("<b>", "&lt;b&gt;"),
        ("R&D &lt;", "R&amp;D &amp;lt;"),
        ("`x`", "\\`x\\`"),
        ("one\r\ntwo", "one  two"),
        ("[x](y)", "\\[x\\](y)"),
        ("*a* a_b_c _d_", "\\*a\\* a_b_c \\_d\\_"),
        ("\\|", "\\\\\\|"),
        ("- a", "\\- a"),
        ("12. a", "12\\. a"),
        ("1.5 mA", "1.5 mA"),
        ("# a", "\\# a"),
        ("http://a.b www.a.b", "http\\://a.b www\\.a.b"),
        ("Prüfplatz 🙂", "Prüfplatz 🙂"),
        ("", ""),
    ] {
        assert_eq!(format::text(raw), safe, "{raw:?}");
    }
    assert_eq!(format::name(" \n"), "(no name)");
    assert_eq!(format::address("charts/a b)|é.png"), "charts/a%20b%29%7C%C3%A9.png");
}

#[test]
fn no_page_shows_a_number_that_is_none() {
    let mut report = report_of("M1");
    let nothing = Estimate {
        value: f64::NAN,
        low: f64::NEG_INFINITY,
        high: f64::INFINITY,
        level: 0.95,
        method: String::new(),
    };
    let s = &mut report.series[0];
    s.expected_reject_ppm = Some(ExpectedShare::new(&nothing, 2500, 1e6));
    s.drift.per_month_ma = Some(nothing.clone());
    s.distribution.as_mut().unwrap().x50_ma = Some(nothing.clone());
    report.stations[0].offset_pct = Some(nothing);
    for text in [summary(&report), results(&report)] {
        for word in text.split(|c: char| !c.is_alphanumeric()) {
            assert!(!["nan", "inf", "infinity"].contains(&word.to_lowercase().as_str()), "{word}");
        }
    }
    let json: Value = serde_json::from_str(&results(&report)).unwrap();
    assert!(json["series"][0]["distribution"]["x99_865_ma"]["high"].is_null());
    assert!(!summary(&report).contains("NaN"));
}

/// JSON has no word for a number that is none: wherever one stands, also in settings and check loads, its place
/// is told. Ends of an interval may lack a bound.
#[test]
fn a_number_that_is_none_is_found_wherever_it_stands() {
    let mut report = report_of("M1");
    assert_eq!(not_finite(&report), Vec::<String>::new());
    report.series[0].drift.rho = Some(f64::NAN);
    report.series[0].distribution.as_mut().unwrap().families[0].weight = f64::INFINITY;
    report.settings_short[0].lowest = f64::NEG_INFINITY;
    report.checks.as_mut().unwrap()[0].loads[0].odd[0].reading_ma = f64::NAN;
    assert_eq!(
        not_finite(&report),
        [
            "series.0.distribution.families.0.weight",
            "series.0.drift.rho",
            "checks.0.loads.0.odd.0.reading_ma",
            "settings_short.0.lowest",
        ]
    );
    assert!(!summary(&report).contains("NaN"));
}

/// Of a series whose points all read the same the page said `0.00 mA` for the smallest step it would have found.
#[test]
fn a_constant_series_says_why_no_step_can_be_told() {
    let mut report = report_of("M1");
    let drift = &mut report.series[0].drift;
    (drift.shape, drift.rho, drift.smallest_step_ma) = (Some(Shape::Steady), None, None);
    let page = summary(&report);
    assert!(page.contains("- smallest step that would have been found: not known; every point"));
    assert!(!page.contains("correlation of one point"));
    let json: Value = serde_json::from_str(&results(&report)).unwrap();
    let drift = &json["series"][0]["drift"];
    assert!(drift["rho"].is_null() && drift["smallest_step_ma"].is_null());
}

/// Keys of a JSON object in the order they are written.
fn keys(v: &Value) -> Vec<&str> {
    v.as_object().unwrap_or_else(|| panic!("no object: {v}")).keys().map(String::as_str).collect()
}

/// The contract of `results.json`: these keys, in this order; others may stand between them.
#[test]
fn the_result_file_has_every_key_of_the_contract() {
    let text = results(&report_of("M1"));
    assert!(text.ends_with("}\n"));
    let json: Value = serde_json::from_str(&text).unwrap();
    let s = &json["series"][0];
    let d = &s["distribution"];
    for (at, want) in [
        (
            &json,
            "schema rows series stations limit_groups calibration checks units_to_check settings_changes gaps too_good movement jumps notes",
        ),
        (&json["rows"], "read used set_aside unreadable"),
        (
            s,
            "id model test applied_v frequency_hz test_point step current dwell_s units_together units outcomes limit distribution capability expected_reject_ppm observed_reject_ppm verdict strays retests drift months",
        ),
        (&s["outcomes"], "pass over_limit under_limit breakdown arc not_completed not_reached"),
        (&s["limit"], "high_ma low_ma since history open_lead_ma"),
        (&s["limit"]["history"][0], "from high_ma low_ma station"),
        (d, "family families goodness x05_ma x50_ma x95_ma x99_ma x99_865_ma groups split_by tail"),
        (&d["families"][0], "name aicc weight params stopped"),
        (&d["goodness"], "p_value largest_gap"),
        (&d["x50_ma"], "value low high level method"),
        (&d["tail"], "in_use apart_ma together_ma excess_share"),
        (&s["capability"], "index value"),
        (
            &s["low_side"],
            "index value expected_reject_ppm expected_reject_ppm_at_horizon rejects_per_month observed_reject_ppm observed_rejects observed_units",
        ),
        (
            &s["verdict"],
            "verdict provisional band_low_ma band_high_ma band_high_basis blind_spot_mohm reasons judged suggested_ma fits_until units_needed rejects_per_month low_limit_from_ma low_limit_to_ma low_limit_suggested_ma open_lead_passes",
        ),
        (&s["verdict"]["judged"], "from to units"),
        (&s["strays"], "above below units"),
        (&s["strays"]["units"][0], "serial tested_at station reading_ma side"),
        (&s["retests"], "failed then_passed repeatability_ma"),
        (
            &s["drift"],
            "shape since flagged per_month_ma p_value rho smallest_step_ma steps explained limit_reached_on",
        ),
        (&s["drift"]["steps"][0], "date date_low date_high size_ma event"),
        (&s["drift"]["explained"][0], "what share"),
        (&s["drift"]["limit_reached_on"], "date low high"),
        (&s["months"][0], "month units x50_ma x95_ma reject_share p_pku"),
        (
            &json["stations"][0],
            "station offset_pct flagged moved acts_as offset_ma passes_in_doubt",
        ),
        (&json["stations"][0]["moved"][0], "date date_low date_high size_pct"),
        (&json["limit_groups"][0], "group band_low_ma band_high_ma low_set_by high_set_by"),
        (&json["checks"][0], "station days_without wrong"),
        (&json["calibration"][0], "instrument station due_on done_on tests_overdue error_pct"),
        (&json["settings_changes"][0], "date station model what from to event"),
        (&json["gaps"][0], "station from to days"),
        (&json["too_good"][0], "station series from to what"),
        (
            &json["checks"][0]["wrong"][0],
            "tested_at load expected found units_until_next_good units_since_last_good",
        ),
        (&json["movement"][0], "what name date size_pct"),
    ] {
        let found = keys(at);
        let mut rest = found.iter();
        for key in want.split(' ') {
            assert!(rest.any(|k| *k == key), "{key} is missing or out of order: {found:?}");
        }
    }
    assert_eq!(json["schema"], "leakdrift.results/1");
    assert!(!text.contains("not_used") && !text.contains("sentence\": \"M1 rises"), "pages only");
}

/// Forty lines are a first screen: the state, the caution, and each incident with what to do next.
#[test]
fn the_first_screen_holds_the_incidents() {
    let mut report = report_of("M1");
    report.first = First::default();
    report.incidents[0].decision = None;
    let (_, page) = &pages(&report)[0];
    let first: Vec<&str> = page.lines().take(40).collect();
    assert!(first[0].starts_with("# M1") && first[0].contains("2026-10"));
    assert!(first[2].starts_with("**") && first[2].contains("first-pass yield of 2026-10"));
    assert!(first.iter().any(|l| l.contains(CAUTIONS[1])));
    let row = "| [1](#i-abcdef) | M1 | M1 passes leaks. | since 2026-03-16 | 3 | Set the limit to 2.46 mA. |";
    assert!(first.contains(&row), "{first:#?}");
    assert!(
        first.contains(&"| | **Limits to decide** | | | | |")
            || first.iter().any(|l| l.contains("**Limits to decide**"))
    );
    // Closed by a decision it leaves the screen; with units that joined since it is there again.
    for (closes, on_screen) in [(true, false), (false, true)] {
        let mut report = report_of("M1");
        report.incidents[0].decision.as_mut().unwrap().closes = closes;
        let all = pages(&report);
        assert_eq!(all[0].1.contains("M1 passes leaks."), on_screen);
        assert_eq!(all[0].1.contains("**Open again**, decided on 2026-03-01"), on_screen);
        assert!(all[1].1.contains("M1 stays."), "its decision is told either way");
    }
    report.incidents.clear();
    let (_, page) = &pages(&report)[0];
    assert!(page.lines().take(16).any(|l| l.starts_with("Nothing was found that needs action")));
}

#[test]
fn the_page_says_what_an_auditor_asks() {
    let page = summary(&report_of("M1"));
    for said in [
        "56\u{202f}123 rows read = 45\u{202f}500 used + 10\u{202f}619 set aside + 4 unreadable",
        "**too loose; the limit serves until 2027-01-31 (provisional).** The limit of 5.00 mA is too loose (provisional);",
        "**Suggested limit: 2.46 mA.** Loads that prove it at the station: 0.554 MΩ (4.06 W) must trip",
        "| high limit | 5.00 mA, at the last of its stations since 2026-03-16 |",
        "| workable band for the high limit | 2.18 mA to 2.46 mA |",
        "0.327 MΩ: a steady leak path of 0.327 MΩ or more would still pass",
        "| 99.865 % stay under | 2.130 mA | at least 2.110 mA | 95 % | maximum likelihood |",
        "| healthy units expected over the limit | below 1 in 250\u{202f}000 | – |",
        "| units seen over the limit: 37 of 2\u{202f}503 | 15\u{202f}000 ppm | 3\u{202f}000 ppm to 45\u{202f}000 ppm",
        "| the same without the units counted apart: 1 of 2\u{202f}323 | 400 ppm | 10 ppm to 2\u{202f}400 ppm",
        "goodness of fit p &lt; 0.001",
        "| M1 | 2026-10-13 10:22:00 | M1 | 4.26 mA | above: suspect insulation |",
        "from 2027-01-31 on (at the earliest 2026-12-15, at the latest perhaps never)",
        "![How did it move?](charts/m1-ac-1500-months.png)",
        "- 2026-10-05: tester at M1 moved by +3.63 %",
        "[M1](#series-m1-ac-1500)",
        "(ISO 22514-2:2017 and ISO 22514-4:2016; from memory)",
        "(Clopper & Pearson 1934; Korn & Graubard 1998; checked)",
        "00ff",
        "seed 1",
    ] {
        assert!(page.contains(said), "not said: {said}\n{page}");
    }
    for caution in CAUTIONS.iter().chain([&WHO_DECIDES]) {
        assert!(page.contains(&format!("- {caution}\n")), "{caution}");
    }
    // Every link to a place on the page finds it.
    for target in page.split("](#").skip(1).map(|rest| rest.split(')').next().unwrap()) {
        let heading = page.lines().any(|l| {
            l.starts_with('#')
                && l.trim_start_matches('#').trim().to_lowercase().replace(' ', "-") == target
        });
        assert!(heading || page.contains(&format!("<a id=\"{target}\">")), "{target}");
    }
    assert_eq!(page, summary(&report_of("M1")), "same report, same bytes");
}

/// A low limit has one line of its own, in numbers a reader can use; without one there is none.
#[test]
fn a_low_limit_has_one_line() {
    let lines = |report: &Review| -> Vec<String> {
        let page = summary(report);
        let own = page.lines().filter(|l| l.starts_with("Low limit "));
        own.map(str::to_owned).collect()
    };
    let mut report = report_of("M1");
    report.series[0].limit.history.now.low_pa = ma_to_pa(0.6);
    let found = lines(&report);
    assert_eq!(found.len(), 1, "{found:?}");
    for said in ["0.60 mA", "P_pkL 2.31 (2.20 to 2.44)", "9 units of 2\u{202f}500", "open lead"] {
        assert!(found[0].replace('\\', "").contains(said), "{said}: {}", found[0]);
    }
    // Asked but not answered: words, no numbers.
    let low = report.series[0].low_side.as_mut().unwrap();
    (low.value, low.expected_reject_ppm, low.observed_rejects) = (None, None, None);
    (low.observed_reject_ppm, low.rejects_per_month) = (None, None);
    assert!(lines(&report)[0].contains("not known"));
    report.series[0].low_side = None;
    report.series[0].limit.history.now.low_pa = None;
    assert!(lines(&report).is_empty());
    let json: Value = serde_json::from_str(&results(&report)).unwrap();
    assert!(json["series"][0]["low_side"].is_null());
}

/// A series about which nothing is known still has its section.
#[test]
fn a_report_without_answers_is_a_page() {
    let mut report = report_of("M1");
    let s = &mut report.series[0];
    (s.distribution, s.capability, s.expected_reject_ppm, s.observed_reject_ppm) =
        (None, None, None, None);
    let v = &mut s.verdict.high;
    (v.kind, v.band_low_ma, v.band_high_ma, v.blind_spot_mohm) = (None, None, None, None);
    (s.limit.history.now.high_pa, s.drift.shape, v.suggested) = (None, None, None);
    s.months.clear();
    (s.strays.above, s.strays.below) = (0, 0);
    s.strays.units.clear();
    report.checks = None;
    let page = summary(&report);
    assert!(
        page.contains("| high limit | not known")
            && page.contains("whether the stations still trip is not known")
    );
    assert!(page.contains("not described: see [notes](#notes)"));
    assert!(page.contains("Strays: not known") && !page.contains("every reading belongs"));
    (report.series, report.stations) = (vec![], vec![]);
    assert!(summary(&report).contains("No series was found."));
}

/// By hand: rounding half away from nothing to three digits; 0.0004 is below 0.001.
#[test]
fn numbers_are_written_for_people() {
    assert_eq!(numbers::ppm(53_140.0), "53\u{202f}100 ppm");
    assert_eq!(numbers::ppm(1.254), "1.25 ppm");
    assert_eq!(numbers::ppm(0.0), "0 ppm");
    assert_eq!(numbers::ppm(999_999.0), "1\u{202f}000\u{202f}000 ppm");
    assert_eq!(numbers::p_value(0.003), "p = 0.003");
    assert_eq!(numbers::p_value(0.0004), "p < 0.001");
    assert_eq!(numbers::p_value(0.234), "p = 0.23");
    assert_eq!(numbers::share_pct(0.0015), "0.15 %");
    assert_eq!(numbers::grouped(1_234_567), "1\u{202f}234\u{202f}567");
    assert_eq!(numbers::grouped(999), "999");
    assert_eq!(numbers::counted(1, "unit"), "1 unit");
    assert_eq!(numbers::counted(9, "series"), "9 series");
    assert_eq!(time::date(day("2026-03-01")), "2026-03-01");
    let (small, large) = (Currents::new(0.0016, 0.0001), Currents::new(2.0, 0.01));
    assert_eq!(small.set(0.009), "9.0 µA");
    assert_eq!(large.set(1.25), "1.25 mA");
    assert_eq!(large.set(2.255), "2.255 mA", "a limit between two steps is not rounded away");
    assert_eq!(large.estimate(2.1634), "2.163 mA");
    assert_eq!(large.set(f64::NAN), "not bounded");
}

#[test]
fn lists_hold_no_formula_and_every_sign() {
    for bad in ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx"] {
        let report = report_of(bad);
        for text in [rows_not_used_csv(&report), units_to_check_csv(&report.units)] {
            let mut reader = csv::Reader::from_reader(text.as_bytes());
            let held = format!("'{}", leakdrift::words::one_line(bad));
            let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
            assert!(!rows.is_empty());
            for row in rows {
                assert!(row.iter().any(|cell| cell == held), "{bad}: {row:?}");
                assert!(
                    row.iter().all(|cell| !cell.starts_with(['=', '+', '-', '@', '\t', '\r'])),
                    "{row:?}"
                );
            }
        }
    }
    let report = report_of(&hostile());
    let text = units_to_check_csv(&report.units);
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    assert_eq!(
        header,
        [
            "first_step",
            "incident",
            "reason",
            "outcome",
            "model",
            "serial",
            "station",
            "lot",
            "reading_ma",
            "limit_ma",
            "tested_at",
            "place"
        ]
    );
    let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
    let name = leakdrift::words::one_line(&hostile()).into_owned();
    assert_eq!(
        (rows.len(), &rows[0][5]),
        (1, name.as_str()),
        "the name comes back whole, on one line"
    );
    let text = rows_not_used_csv(&report);
    let header = "file,sheet,row,part,kind,reason,expected,found,model,serial,tested_at\n";
    assert!(text.starts_with(header), "{text}");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
    let said = |n: usize| [2, 3, 4, 6].map(|cell: usize| rows[n][cell].to_owned());
    assert_eq!(said(0), ["7", "1", "set aside", ""]);
    assert_eq!(said(1), ["7", "1", "unreadable", "a number"]);
    assert_eq!(rows.len(), 2);
}
