//! What a column says only below the rows that are looked at: it makes a file that is probably misread, and never a pass.

use serde_json::Value;

use crate::support::run::{Done, folder, put, results, run_in};

/// 1200 tests of one model, with a column that no header names; `cell` says what stands there.
fn table(header: &str, outcome: bool, cell: impl Fn(usize) -> &'static str) -> String {
    let mut text = format!("tested at;model;serial;leakage [mA];high limit [mA];{header}");
    text += if outcome { ";result\n" } else { "\n" };
    for n in 0..1200 {
        let ma = 0.90 + (n * 37 % 100) as f64 / 1000.0;
        let (day, hour, minute) = (1 + n / 50, 6 + n % 50 / 5, n % 60);
        text +=
            &format!("2026-03-{day:02} {hour:02}:{minute:02}:00;M1;U{n};{ma:.3};1.300;{}", cell(n));
        text += if outcome { ";pass\n" } else { "\n" };
    }
    text
}

fn review(text: &str, settings: &str) -> (Done, Value) {
    let dir = folder();
    put(dir.path(), "t.csv", text);
    put(dir.path(), "leakdrift.toml", settings);
    let done = run_in(dir.path(), ["review", "t.csv", "--out", "r"]);
    (done, results(&dir.path().join("r")))
}

#[test]
fn a_column_that_changes_below_the_rows_looked_at_makes_a_file_that_is_probably_misread() {
    let after = |first: &'static str, then: &'static str| {
        move |n: usize| if n >= 700 && n.is_multiple_of(100) { then } else { first }
    };
    for (header, outcome, first, then, likely) in [
        // A failure, of tests that count as passed.
        ("Angabe Z", true, "frei", "NOK", "an outcome"),
        ("Angabe Z", false, "", "durchgefallen: FAIL", ""),
        ("Angabe Z", false, "", "FAIL", "an outcome"),
        // A code, where no column says outcomes.
        ("Kz", false, "0", "7", "an outcome"),
        ("Defect", false, "", "x", "an outcome"),
        // A second kind of test.
        ("Mode", true, "AC", "DC", "a kind of test"),
    ] {
        let told = format!("{header}: {first:?}, then {then:?}");
        let (done, found) = review(&table(header, outcome, after(first, then)), "");
        let signs: Vec<&Value> = found["misread"]
            .as_array()
            .unwrap()
            .iter()
            .flat_map(|m| m["signs"].as_array().unwrap())
            .collect();
        if likely.is_empty() {
            assert!(signs.is_empty(), "{told}: no outcome word: {signs:?}");
            continue;
        }
        assert_eq!(done.status, 1, "{told}: {}", done.err);
        assert_eq!(signs.len(), 1, "{told}: {signs:?}");
        assert_eq!(signs[0]["sign"], "column_changes", "{told}");
        let sentence = signs[0]["sentence"].as_str().unwrap();
        // The header is row 1, test 700 stands in row 702.
        for words in [header, then, "row 702", "5 rows"] {
            assert!(sentence.contains(words), "{told}: {words}: {sentence}");
        }
        assert!(signs[0]["likely"].as_str().unwrap().contains(likely), "{told}: {}", signs[0]);
        assert!(found["series"][0]["verdict"]["verdict"].is_null(), "{told}");
        let ignored = format!("[columns]\n\"{header}\" = \"ignored\"\n");
        let (done, found) = review(&table(header, outcome, after(first, then)), &ignored);
        assert_eq!((done.status, found["misread"].as_array().unwrap().len()), (0, 0), "{told}");
    }
}

/// What changes later and says nothing of a test is no sign: texts, numbers, a failure of a test that failed.
#[test]
fn a_column_that_changes_and_says_nothing_of_a_test_is_no_sign() {
    let words = ["blau", "rot", "AB12", "see remark 7", "17.5"];
    let (done, found) =
        review(&table("Angabe Z", true, |n| if n < 700 { "" } else { words[n % 5] }), "");
    assert_eq!((done.status, found["misread"].as_array().unwrap().len()), (0, 0), "{}", done.err);
    let failed = table("Angabe Z", true, |n| if n == 900 { "NOK" } else { "frei" });
    let failed = failed.replace(";NOK;pass", ";NOK;breakdown");
    let (done, found) = review(&failed, "");
    assert_eq!((done.status, found["misread"].as_array().unwrap().len()), (0, 0), "{}", done.err);
}
