//! Words of a report: each in one sense, said as a shift leader would say it; numbers with no more digits than their
//! interval leaves.

use std::collections::BTreeSet;

use leakdrift::stats::estimate::Estimate;
use leakdrift::stats::expected_share::ExpectedShare;
use leakdrift::verdict::cautions::ALL;
use leakdrift::words::currents::Wording;
use leakdrift::words::numbers::{
    by_interval, expected_share, measured, one_digit, share_pct, three_digits,
};
use serde_json::Value;

use super::page_report::report_of;
use crate::support::run::{committed, pages, results};
use crate::support::source::sources;

fn e(value: f64, low: f64, high: f64) -> Estimate {
    Estimate { value, low, high, level: 0.95, method: "by hand".to_owned() }
}

/// Worked by hand: half of the width's first two digits give the place; a number that would vanish keeps one digit.
#[test]
fn an_estimate_has_the_digits_that_its_interval_leaves() {
    let inf = f64::INFINITY;
    for (from, to) in [
        // Half width 449.8: tens.
        (e(56.83, 0.4886, 900.03), (60.0, 0.5, 900.0)),
        // Half width 0.0122: thousandths.
        (e(0.000743, -0.0114, 0.0129), (0.001, -0.011, 0.013)),
        // Half width 2.39: tenths.
        (e(20.25, 18.05, 22.83), (20.3, 18.1, 22.8)),
        // One side known, 0.36 from the value: hundredths.
        (e(1.517, 1.157, inf), (1.52, 1.16, inf)),
        // Nothing to go by.
        (e(1.2345, 1.2345, 1.2345), (1.2345, 1.2345, 1.2345)),
        (e(0.0, 0.0, 0.00479), (0.0, 0.0, 0.0048)),
    ] {
        let got = by_interval(&from);
        assert_eq!((got.value, got.low, got.high), to, "{from:?}");
    }
    assert_eq!(measured(&e(0.0843, 0.0321, 0.1552), share_pct), "8.4 % (3.2 % to 15.5 %)");
    assert_eq!(measured(&e(12.61, 7.08, 23.42), three_digits), "12.6 (7.1 to 23.4)");
    let slope = Wording::new(2.0, 0.01).change(&e(0.000_231, -0.000_357, 0.000_822));
    assert_eq!(slope, "0.00023 mA (-0.00036 mA to 0.00082 mA)");
    assert_eq!([one_digit(0.00734), one_digit(0.0), one_digit(-96.0)], [0.007, 0.0, -100.0]);
}

/// 2432 units cannot tell one in a million from none: below one in 243 200 nothing is printed as a number.
#[test]
fn no_share_is_printed_that_the_units_cannot_tell() {
    let told =
        |value: f64, low, high| ExpectedShare::new(&e(value, low, high).scaled(1e-6), 2432, 1e6);
    let printed = |value, low, high| expected_share(&told(value, low, high)).to_string();
    assert_eq!(printed(1e-9, 1e-12, 2e-7), "below 1 in 243\u{202f}000");
    assert_eq!(printed(2.5, 1e-3, 740.0), "below 1 in 243\u{202f}000 (at most 740 ppm)");
    assert_eq!(printed(57.0, 0.4, 900.0), "60 ppm (at most 900 ppm)");
    assert_eq!(
        printed(52_900.0, 45_600.0, 66_400.0),
        "53\u{202f}000 ppm (46\u{202f}000 ppm to 66\u{202f}000 ppm)"
    );
    let page = pages(&committed("reports/sample"));
    let tiny = ["< 0.01 ppm", "0.0000", " e-"];
    for line in page.lines().filter(|l| l.contains("over the limit") || l.contains("below it")) {
        assert!(tiny.iter().all(|t| !line.contains(t)), "{line}");
    }
    // In a result file: nothing, and what it is below; an end is 0, or that bound.
    let json = |value, low, high| serde_json::to_value(told(value, low, high)).unwrap();
    let least = 1e6 / 243_200.0;
    let number = |v: &Value| v.as_f64().unwrap();
    let nothing = json(1e-9, 1e-12, 2e-7);
    assert!(nothing["value"].is_null() && nothing["low"] == 0.0, "{nothing}");
    for key in ["high", "below"] {
        assert!((number(&nothing[key]) - least).abs() < 1e-9, "{key}: {nothing}");
    }
    let some = json(57.0, 0.4, 900.0);
    assert!(some["below"].is_null() && some["low"] == 0.0, "{some}");
    assert!((number(&some["value"]) - 57.0).abs() < 1e-9, "{some}");
    assert!((number(&some["high"]) - 900.0).abs() < 1e-9, "{some}");
}

/// Every share, per million or a month, that a committed result file says is expected of healthy units.
fn expected_in<'a>(at: &'a Value, found: &mut Vec<(&'a str, &'a Value)>) {
    match at {
        Value::Array(list) => list.iter().for_each(|v| expected_in(v, found)),
        Value::Object(map) => {
            for (key, v) in map {
                let is_one = key.starts_with("expected_reject_ppm")
                    || ["expected_share", "rejects_per_month"].contains(&key.as_str());
                if is_one && !v.is_null() {
                    found.push((key, v));
                }
                expected_in(v, found);
            }
        }
        _ => {}
    }
}

/// A tail asked far beyond its readings gave shares like 3e-108, which a machine took for a number.
#[test]
fn no_result_file_has_a_share_that_no_line_could_tell() {
    // The largest series of the sample has fewer than 4 000 units in its period.
    let least_of_1 = 0.01 / 4000.0;
    for name in ["sample", "sample-limits-VC310"] {
        let json: Value = results(&committed(&format!("reports/{name}")));
        let mut found = Vec::new();
        expected_in(&json, &mut found);
        assert!(found.len() >= 20, "{name}: {} shares", found.len());
        for (key, v) in found {
            let unit = match key {
                "expected_share" => 1.0,
                // At least 300 units a month.
                "rejects_per_month" => 300.0,
                _ => 1e6,
            };
            let ends: Vec<&Value> =
                if v.is_object() { vec![&v["value"], &v["low"], &v["high"]] } else { vec![v] };
            for x in ends.into_iter().filter_map(Value::as_f64) {
                assert!(x == 0.0 || x >= unit * least_of_1, "{name}: {key} {x}");
            }
            if v.is_object() {
                assert_eq!(v["value"].is_null(), v["below"].is_number(), "{name}: {key} {v}");
            }
        }
    }
}

/// Parameters of families: four digits, none of which has an interval of its own.
#[test]
fn no_parameter_has_six_digits() {
    let page = pages(&committed("reports/sample"));
    let rows: Vec<&str> = page.lines().filter(|l| l.ends_with("| gradient zero |")).collect();
    assert!(rows.len() >= 48, "{} families", rows.len());
    for row in rows {
        let parameters = row.split(" | ").nth(3).unwrap();
        for number in parameters
            .split(' ')
            .filter(|w| w.starts_with(|c: char| c.is_ascii_digit() || c == '-'))
        {
            let digits = number
                .split('e')
                .next()
                .unwrap()
                .trim_start_matches(['-', '0', '.'])
                .chars()
                .filter(char::is_ascii_digit)
                .count();
            assert!((1..=4).contains(&digits), "{row}");
        }
    }
}

/// What was said and is said no more, and each word in another sense than the glossary gives it.
const NOT_SAID: [&str; 23] = [
    "points of per cent",
    "odds against",
    "last test is no pass",
    "times the share before",
    "room's air",
    "room to the ceiling",
    "room to the end",
    "room for",
    "leave no room",
    "a separate group",
    "next step |",
    "Rejects of healthy units pass",
    "rejects of healthy units pass",
    "a leak path passes",
    "passes a leak of",
    "the least that the",
    "at 95 % confidence is",
    "since rising",
    "since raising",
    "since none",
    "since no ",
    "since it ",
    "first tests)",
];

#[test]
fn words_are_said_in_one_sense() {
    let page = pages(&committed("reports/sample"));
    for words in NOT_SAID {
        assert!(!page.contains(words), "the sample report says {words:?}");
    }
    for (path, source) in sources() {
        let room = path.split('/').next().unwrap_or_default();
        if !["analysis", "movement", "verdict", "report", "words", "review"].contains(&room)
            || path.starts_with("report/chart/")
        {
            continue;
        }
        for words in NOT_SAID {
            let quoted = source
                .code
                .match_indices(words)
                .find(|(at, _)| source.bare.as_bytes()[*at] == b' ');
            assert!(quoted.is_none(), "{path} says {words:?}");
        }
    }
}

/// The words stand where the method does and in the folder, at most twenty-five, each once.
#[test]
fn the_glossary_is_short_and_stands_on_the_page_and_in_the_folder() {
    let read =
        |name: &str| std::fs::read_to_string(committed("reports/sample").join(name)).unwrap();
    let table = |text: &str| -> Vec<String> {
        let rest = &text[text.find("| word | means |").expect("a glossary")..];
        rest.lines().skip(2).take_while(|l| l.starts_with('|')).map(str::to_owned).collect()
    };
    let words = table(&read("method.md"));
    assert_eq!(words, table(&read("README.md")));
    let distinct: BTreeSet<&str> = words.iter().map(|l| l.split(" | ").next().unwrap()).collect();
    assert_eq!(distinct.len(), words.len());
    assert!((15..=25).contains(&words.len()), "{} words", words.len());
    for word in ["pass", "room", "step", "failed", "group", "since"] {
        assert!(words.iter().any(|l| l.starts_with(&format!("| {word} |"))), "{word}");
    }
}

/// Whoever has the folder and nothing else knows what each file and column is, and reads the cautions.
#[test]
fn the_folder_says_what_it_holds() {
    let folder = committed("reports/sample");
    let readme = std::fs::read_to_string(folder.join("README.md")).unwrap();
    for entry in std::fs::read_dir(&folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let is_folder = ["charts", "models"].contains(&name.as_str());
        let named = if is_folder { format!("`{name}/") } else { format!("`{name}`") };
        assert!(name == "README.md" || readme.contains(&named), "{name}");
        if name.ends_with(".csv") {
            let list = std::fs::read_to_string(folder.join(&name)).unwrap();
            let at = readme.find(&format!("### Columns of {name}")).expect(&name);
            let table = &readme[at..];
            let columns: Vec<&str> = table
                .lines()
                .skip(4)
                .take_while(|l| l.starts_with('|'))
                .map(|l| l.split('`').nth(1).unwrap())
                .collect();
            assert_eq!(
                columns,
                list.lines().next().unwrap().split(',').collect::<Vec<_>>(),
                "{name}"
            );
        }
    }
    let json = results(&folder);
    let in_json: Vec<&str> =
        json["cautions"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert_eq!(in_json, ALL);
    for caution in ALL {
        assert!(readme.contains(caution), "{caution}");
    }
    assert_eq!(report_of("M1").cautions, ALL);
}
