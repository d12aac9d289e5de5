//! A failed unit is no pass by default: codes, flags, blanks, one outcome for several tests, two outcomes that differ.
//! What cannot be told is refused with lines of the settings, and these lead to a right reading.

use std::collections::{BTreeMap, BTreeSet};

use leakdrift::config::Config;
use leakdrift::records::{Outcome, TestKind};
use leakdrift::series::Pass;

use crate::support::count::{counted, tried};
use crate::support::run::{folder, put, run_in};

/// Units of a table, of which three failed: two at the limit of 1.3 mA, one by breakdown at 0.2 mA.
const UNITS: usize = 40;

fn is_beyond(n: usize) -> bool {
    n == 9 || n == 21
}

fn breaks_down(n: usize) -> bool {
    n == 30
}

fn failed(n: usize) -> bool {
    is_beyond(n) || breaks_down(n)
}

fn ma(n: usize) -> f64 {
    match n {
        n if is_beyond(n) => 1.4,
        n if breaks_down(n) => 0.2,
        n => 0.8 + (n % 10) as f64 / 100.0,
    }
}

/// A table of units with more columns.
fn table(columns: &str, more: impl Fn(usize) -> String) -> String {
    let mut text = format!("Tested at,Serial,Model,Leakage [mA],High limit [mA],{columns}\n");
    for n in 0..UNITS {
        text +=
            &format!("2026-02-{:02} 08:{n:02}:00,U{n},M1,{},1.3,{}\n", n % 28 + 1, ma(n), more(n));
    }
    text
}

/// Their outcome in two words.
fn said(n: usize, pass: &str, fail: &str) -> String {
    if failed(n) { fail } else { pass }.to_owned()
}

fn outcomes(pass: &Pass) -> BTreeMap<Outcome, u32> {
    let mut all = BTreeMap::new();
    for o in pass.series.iter().flat_map(|s| &s.outcomes) {
        *all.entry(o.outcome).or_default() += o.count;
    }
    all
}

/// By hand: 37 passes, two over the limit, one breakdown.
fn right() -> BTreeMap<Outcome, u32> {
    BTreeMap::from([(Outcome::Pass, 37), (Outcome::OverLimit, 2), (Outcome::Breakdown, 1)])
}

#[track_caller]
fn refused(text: &str, settings: &str) -> String {
    let dir = folder();
    let path = put(dir.path(), "t.csv", text);
    let config = Config::parse(settings, &dir.path().join("leakdrift.toml")).unwrap();
    match tried(&[path], &config) {
        Ok((_, pass)) => panic!("read as {:?}", outcomes(&pass)),
        Err(error) => error.to_string(),
    }
}

#[track_caller]
fn read(text: &str, settings: &str) -> Pass {
    let dir = folder();
    let path = put(dir.path(), "t.csv", text);
    let config = Config::parse(settings, &dir.path().join("leakdrift.toml")).unwrap();
    counted(&[path], &config).1
}

/// That a table is refused with these lines of the settings, and read rightly with them.
#[track_caller]
fn settled(text: &str, columns: &[&str], words: &[&str], meant: &[&str]) {
    let told = refused(text, "");
    for line in columns.iter().chain(words) {
        assert!(told.contains(line), "{line} in {told}");
    }
    let settings = format!("[columns]\n{}\n[outcomes]\n{}\n", columns.join("\n"), meant.join("\n"));
    assert_eq!(outcomes(&read(text, &settings)), right(), "{settings}");
}

#[test]
fn codes_under_a_header_of_outcomes_are_asked_for_and_never_derived() {
    for (header, pass, fail) in [
        ("Result", "0", "1"),
        ("Bewertung", "1", "2"),
        ("Test Status", "0", "16"),
        ("Result", "Y", "N"),
    ] {
        let text = table(header, |n| said(n, pass, fail));
        let open = [format!("{pass:?} = \"…\""), format!("{fail:?} = \"…\"")];
        let meant = [format!("{pass:?} = \"pass\""), format!("{fail:?} = \"fail\"")];
        settled(
            &text,
            &[],
            &open.each_ref().map(String::as_str),
            &meant.each_ref().map(String::as_str),
        );
    }
}

#[test]
fn flags_are_asked_for_with_the_sense_of_their_header() {
    for (header, pass, fail) in [
        ("Passed", "1", "0"),
        ("Pass", "Y", "N"),
        ("Failed", "FALSE", "TRUE"),
        ("Alarm", "False", "True"),
        ("HV defect", "false", "true"),
        ("is_defective", "false", "true"),
        ("isDefective", "0", "1"),
        ("Tripped", "no", "yes"),
        ("Fehler", "nein", "ja"),
        ("NOK", "", "x"),
    ] {
        let text = table(header, |n| said(n, pass, fail));
        let column = format!("{header:?} = \"outcome\"");
        let words = [format!("{pass:?} = \"pass\""), format!("{fail:?} = \"fail\"")];
        let words = words.each_ref().map(String::as_str);
        let column: &[&str] = &[&column];
        settled(&text, column, &words, &words);
        // Named alone, their words still mean nothing.
        let told = refused(&text, &format!("[columns]\n{}\n", column[0]));
        assert!(words.iter().all(|line| told.contains(line)), "{told}");
    }
}

#[test]
fn flags_under_a_header_of_a_pass_or_of_both_are_outcomes() {
    for header in ["Passed", "Result"] {
        let text = table(header, |n| said(n, "TRUE", "FALSE"));
        assert_eq!(outcomes(&read(&text, "")), right(), "{header}");
    }
}

#[test]
fn outcomes_are_not_derived_while_a_column_could_say_them() {
    let bin = |n: usize| if is_beyond(n) { "2".to_owned() } else { said(n, "1", "3") };
    let cases: [(&str, &dyn Fn(usize) -> String); 3] = [
        ("bin", &bin),
        ("Lampe", &|n| said(n, "grün", "rot")),
        ("Результат", &|n| said(n, "Годен", "Брак")),
    ];
    for (header, cell) in cases {
        let text = table(header, cell);
        let column = format!("{header:?} = \"outcome\"");
        let words: Vec<String> = (0..UNITS)
            .map(|n| format!("{:?} = {:?}", cell(n), if failed(n) { "fail" } else { "pass" }))
            .collect();
        let words: BTreeSet<&str> = words.iter().map(String::as_str).collect();
        settled(&text, &[&column], &[], &words.into_iter().collect::<Vec<_>>());
        let told = refused(&text, "");
        let ignored = format!("{header:?} = \"ignored\"");
        assert!(told.contains(&ignored), "{told}");
        // What the settings leave out is no outcome: they are derived, and breakdowns not seen.
        let derived = read(&text, &format!("[columns]\n{ignored}\n"));
        assert_eq!(outcomes(&derived)[&Outcome::Pass], 38);
    }
    // What says something else, or never the same twice, is none.
    let text = table("Rated power,Remark no", |n| format!("5,{n}"));
    assert_eq!(outcomes(&read(&text, ""))[&Outcome::Pass], 38);
}

#[test]
fn a_blank_is_a_pass_where_the_settings_say_so() {
    let word = |n: usize| if is_beyond(n) { "HI".to_owned() } else { said(n, "", "BD") };
    let text = table("Error", word);
    let told = refused(&text, "");
    for part in ["\"Error\" = \"outcome\"", "\"\" = \"pass\"", "\"BD\" = \"fail\""] {
        assert!(told.contains(part), "{told}");
    }
    let settings = "[columns]\n\"Error\" = \"outcome\"\n[outcomes]\n\"\" = \"pass\"\n\"HI\" = \"over limit\"\n\"BD\" = \"breakdown\"\n";
    assert_eq!(outcomes(&read(&text, settings)), right());
    // A reason without a result is asked for as well.
    let told = refused(&table("Failure reason", word), "");
    assert!(told.contains("\"Failure reason\" = \"outcome\""), "{told}");
}

#[test]
fn what_is_not_used_is_named_among_the_columns() {
    let dir = folder();
    let page = run_in(dir.path(), ["config", "--columns"]).expect(0).out;
    assert!(page.lines().any(|l| l.starts_with("ignored ")), "{page}");
}

#[test]
fn of_two_outcomes_that_differ_neither_is_taken() {
    let text = table("Step result,Unit result", |n| {
        format!("{},{}", said(n, "PASS", "FAIL"), if n == 9 { "FAIL" } else { "PASS" })
    });
    let told = refused(&text, "");
    for part in ["\"Step result\" = \"outcome\"", "\"Unit result\" = \"outcome\"", "differ"] {
        assert!(told.contains(part), "{told}");
    }
    assert_eq!(outcomes(&read(&text, "[columns]\n\"Step result\" = \"outcome\"\n")), right());
    // A text of failures beside passes is no kind of test.
    let text = table("Result,Fehlertext", |n| format!("OK,{}", said(n, "", "Durchschlag")));
    assert!(refused(&text, "").contains("Fehlertext"));
}

#[test]
fn a_column_that_always_says_ok_is_no_outcome_beside_one_that_may_be() {
    let text = table("Contact check,Disposition", |n| format!("OK,{}", said(n, "ship", "scrap")));
    let told = refused(&text, "");
    assert!(told.contains("Contact check") && told.contains("Disposition"), "{told}");
}

#[test]
fn a_folder_that_is_called_an_outcome_is_asked_about() {
    let dir = folder();
    let text = |all: bool| -> String {
        let rows = table("Station", |_| "S1".to_owned());
        let kept = rows.lines().enumerate().filter(|(n, _)| *n == 0 || failed(n - 1) != all);
        kept.map(|(_, line)| format!("{line}\n")).collect()
    };
    put(dir.path(), "in/PASS/data.csv", text(true));
    put(dir.path(), "in/FAIL/data.csv", text(false));
    let done = run_in(dir.path(), ["review", "in", "--out", "out", "--quiet"]);
    assert_ne!(done.status, 0, "{}", done.out);
    assert!(done.err.contains("pattern = \"{outcome}/*\""), "{}", done.err);
    let config =
        Config::parse("[files]\npattern = \"{outcome}/*\"\n", &dir.path().join("x.toml")).unwrap();
    let (_, pass) = counted(&[dir.path().join("in")], &config);
    assert_eq!(outcomes(&pass), right());
}

/// By kind of test: how often each outcome, of a table whose rows say one outcome for several tests.
fn by_kind(pass: &Pass) -> BTreeMap<(TestKind, Outcome), u32> {
    let mut all = BTreeMap::new();
    for s in &pass.series {
        for o in &s.outcomes {
            *all.entry((s.key.test, o.outcome)).or_default() += o.count;
        }
    }
    all
}

#[test]
fn a_failure_said_once_for_a_row_is_booked_on_the_test_that_shows_it_or_on_none() {
    let row = |n: usize, ac: &str, dc: &str, result: &str| {
        format!("2026-02-{:02} 08:00:00,U{n},M1,{ac},1.3,{dc},0.2,{result}\n", n % 28 + 1)
    };
    let mut text =
        "Tested at,Serial,Model,ACW mA,ACW limit mA,DCW mA,DCW limit mA,Result\n".to_owned();
    for n in 0..30 {
        text += &row(n, "0.8", "0.05", "PASS");
    }
    // Over the limit of the second: the first passed. Over that of the first: of the second nothing is known.
    text += &row(30, "0.8", "0.25", "FAIL");
    text += &row(31, "1.4", "0.05", "FAIL");
    // The second has no reading: it failed, and the first passed.
    text += &row(32, "0.8", "", "FAIL");
    // Nothing shows which.
    text += &row(33, "0.8", "0.05", "FAIL");
    text += &row(34, "0.1", "0.01", "BREAKDOWN");
    let pass = read(&text, "");
    let by_kind = by_kind(&pass);
    assert_eq!(by_kind[&(TestKind::AcWithstand, Outcome::Pass)], 32);
    assert_eq!(by_kind[&(TestKind::DcWithstand, Outcome::Pass)], 30);
    assert_eq!(by_kind[&(TestKind::AcWithstand, Outcome::OverLimit)], 1);
    assert_eq!(by_kind[&(TestKind::DcWithstand, Outcome::OverLimit)], 1);
    assert_eq!(by_kind[&(TestKind::DcWithstand, Outcome::Breakdown)], 1);
    assert_eq!(by_kind.len(), 5, "{by_kind:?}");
    let of = |word: &str| pass.ledger.unreadable_by_outcome.get(word).copied().unwrap_or(0);
    assert_eq!(of(Outcome::Failed.words()), 2, "{:?}", pass.ledger.unreadable_by_outcome);
    assert_eq!(of(Outcome::Breakdown.words()), 2);
    assert_eq!(pass.unreadable.len(), 5);
}

#[test]
fn a_breakdown_of_a_row_is_that_of_its_only_withstand_test() {
    let mut text =
        "Tested at,Serial,Model,HV leakage mA,HV limit mA,GB mOhm,IR MOhm,Result\n".to_owned();
    for n in 0..UNITS {
        let result = match n {
            n if breaks_down(n) => "BREAKDOWN",
            12 => "FAIL",
            n if is_beyond(n) => "FAIL",
            _ => "PASS",
        };
        text +=
            &format!("2026-02-{:02} 08:00:00,U{n},M1,{},1.3,55,900,{result}\n", n % 28 + 1, ma(n));
    }
    let pass = read(&text, "");
    let want = [(Outcome::Pass, 36), (Outcome::OverLimit, 2), (Outcome::Breakdown, 1)];
    assert_eq!(outcomes(&pass), BTreeMap::from(want));
    assert_eq!(pass.ledger.unreadable_by_outcome[Outcome::Failed.words()], 1);
}

#[test]
fn numbered_limits_of_one_reading_are_no_steps_and_are_asked_for() {
    for (low, high) in [("Limit 1 mA", "Limit 2 mA"), ("Spec 1 mA", "Spec 2 mA")] {
        let text: String = table(&format!("{low},{high},Result"), |n| {
            format!("0.1,1.3,{}", said(n, "PASS", "FAIL"))
        });
        let text = text.replace("High limit [mA],", "").replace(",1.3,0.1", ",0.1");
        let told = refused(&text, "");
        let line = format!("{high:?} = \"high_limit_ma\"");
        assert!(told.contains(&line), "{told}");
        let settings = format!("[columns]\n{line}\n{low:?} = \"ignored\"\n");
        assert_eq!(outcomes(&read(&text, &settings)), right());
    }
}
