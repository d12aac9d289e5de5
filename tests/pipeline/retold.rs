//! JSON, print files, XML, and several tests in one row: what they say, and what is told where they do not say it.

use leakdrift::config::Config;
use leakdrift::records::Outcome;
use leakdrift::series::Pass;

use crate::support::count::{counted, refused, tried};
use crate::support::run::{folder, put, run_in};

fn pass_of(name: &str, text: &str) -> Pass {
    let dir = folder();
    counted(&[put(dir.path(), name, text)], &Config::default()).1
}

/// Line, column and what was expected of each row that could not be understood.
fn told(pass: &Pass) -> Vec<(u32, String)> {
    pass.unreadable.iter().map(|u| (u.line, u.expected.to_string())).collect()
}

/// Picoamperes of each reading, by the step of its series.
fn readings(pass: &Pass) -> Vec<(String, i64)> {
    let of = |s: &leakdrift::series::Series| -> Vec<(String, i64)> {
        s.tally.iter().map(|l| (s.key.step.clone(), l.value_pa)).collect()
    };
    pass.series.iter().flat_map(of).collect()
}

fn object(n: usize, reading: &str) -> String {
    format!(
        "{{\"tested_at\":\"2026-02-13 10:0{n}:00\",\"model\":\"M1\",\"serial\":\"U{n}\",\"reading_ma\":{reading},\"outcome\":\"pass\"}}"
    )
}

/// A line that is no object is one row, and named by its line; so is one with a column that the others lack.
#[test]
fn json_lines_that_cannot_be_read_are_named_by_their_lines() {
    let more = object(4, "0.44").replace("\"model\"", "\"high_limit_ma\":1.3,\"model\"");
    let text =
        [&object(1, "0.41"), "", "{\"tested_at\":\"2026-0", &object(3, "0.43"), "17"].join("\r\n");
    let pass = pass_of("t.jsonl", &text);
    assert_eq!(
        told(&pass),
        [(3, "an object in JSON".to_owned()), (5, "an object in JSON".to_owned())]
    );
    assert_eq!((pass.ledger.read, pass.ledger.used), (4, 2));
    // A key may come with any of the first rows; megabytes further on it is damage.
    let pass = pass_of("t.jsonl", &[object(1, "0.41"), more.clone()].join("\n"));
    assert_eq!(pass.ledger.used, 2);
    let mut long: String = (0..40_000)
        .map(|_| {
            object(2, "0.42").replace("}", ",\"note\":\"nothing to be told of this one\"}") + "\n"
        })
        .collect();
    long += &more;
    let pass = pass_of("t.jsonl", &long);
    assert_eq!(told(&pass), [(40_001, "keys that the first rows have".to_owned())]);
}

#[test]
fn a_document_that_is_not_whole_is_refused_and_told_why() {
    let dir = folder();
    for (name, text, words) in [
        ("t.json", format!("[{},\n{}", object(1, "0.4"), object(2, "0.4")), "JSON"),
        ("t.xml", "<tests>\n<test date='2026-02-13'>".to_owned(), "XML"),
        ("t.xml", "<tests><test></tests>".to_owned(), "XML"),
    ] {
        let told = refused(put(dir.path(), name, text));
        assert!(told.contains(words) && told.contains(name), "{told}");
    }
}

/// `unit="µA"` beside a value makes it a thousandth of the same value in mA.
#[test]
fn a_unit_beside_a_value_in_xml_is_its_unit() {
    let one = |key: &str, unit: &str, value: &str| {
        format!(
            "<tests><test><tested_at>2026-02-13 10:00:00</tested_at><model>M1</model><serial>U1</serial><reading {key}=\"{unit}\">{value}</reading><outcome>pass</outcome></test></tests>"
        )
    };
    for (key, unit, value) in [
        ("unit", "mA", "0.412"),
        ("unit", "µA", "412"),
        ("unit", "A", "0.000412"),
        ("einheit", "µA", "412"),
        ("unidad", "µA", "412"),
    ] {
        let pass = pass_of("t.xml", &one(key, unit, value));
        let found: Vec<i64> = readings(&pass).into_iter().map(|(_, pa)| pa).collect();
        assert_eq!(found, [412_000_000], "{unit}");
    }
}

/// What stands around records holds for each of them, before or after them.
#[test]
fn records_have_what_stands_around_them() {
    let text = "<export><head><station>S9</station></head><lot no=\"L7\"><unit><serial>U1</serial><test mA=\"0.4\" outcome=\"pass\"/><test mA=\"0.5\" outcome=\"pass\"/></unit><unit><serial>U2</serial><test mA=\"0.6\" outcome=\"pass\"/></unit><model>M1</model><date>2026-02-13</date></lot></export>";
    let pass = pass_of("t.xml", text);
    assert_eq!(pass.ledger.used, 3, "{:?}", pass.unreadable);
    let first = "1".to_owned();
    let second = "2".to_owned();
    assert_eq!(
        readings(&pass),
        [(first.clone(), 400_000_000), (first, 600_000_000), (second, 500_000_000)]
    );
    assert_eq!(pass.plant.stations, ["S9"]);
}

const PRINTED: &str = "Line 3, results of the day                      page 1\n\nDate        Time      Model  Serial   mA      High limit mA  Result\n----------  --------  -----  -------  ------  -------------  ---------\n2026-02-13  10:00:00  M1     U-00001   0.412          1.300  pass\n2026-02-13  10:01:00  M1     U-00002   0.413          1.300  pass\n2026-02-13  10:02:00  M1     U-00003                  1.300  breakdown\n";

/// A cell that runs into the next one makes its row unreadable, and that row alone.
#[test]
fn a_printed_row_whose_cells_run_together_is_told() {
    let text = format!(
        "{PRINTED}\u{c}Line 3, results of the day                      page 2\n\n{}2026-02-13  10:03:00  M1     U-0000000000000047   0.414    1.300  pass\n2026-02-13  10:04:00  M1     U-00005   0.415          1.300  pass\n",
        PRINTED.lines().nth(2).map(|l| format!("{l}\n")).unwrap(),
    );
    for text in [text.clone(), text.replace('\n', "\r\n")] {
        let pass = pass_of("t.prn", &text);
        assert_eq!(told(&pass), [(11, "cells that stand under their headers".to_owned())]);
        assert_eq!((pass.ledger.read, pass.ledger.used), (5, 4));
    }
}

/// Each step of a unit is a test; steps of one kind are series of their own, and one not made is none.
#[test]
fn a_row_of_several_steps_is_as_many_tests() {
    let text = "date,model,serial,Step 1 reading [mA],Step 1 high limit [mA],Step 1 result,Step 2 reading [mA],Step 2 high limit [mA],Step 2 result\n2026-02-13,M1,U1,0.4,1.3,pass,0.8,1.3,pass\n2026-02-13,M1,U2,0.5,1.3,pass,,,\n";
    let pass = pass_of("t.csv", text);
    assert_eq!(
        readings(&pass),
        [
            ("1".to_owned(), 400_000_000),
            ("1".to_owned(), 500_000_000),
            ("2".to_owned(), 800_000_000),
        ]
    );
    assert_eq!(pass.ledger.read, 3);
}

#[test]
fn columns_named_by_kind_of_test_are_that_test() {
    let text = "date,model,serial,ACW mA,ACW result,IR MΩ,IR result\n2026-02-13,M1,U1,0.4,pass,500,pass\n2026-02-13,M1,U2,0.5,pass,0.1,fail\n";
    let pass = pass_of("t.csv", text);
    assert_eq!(readings(&pass), [(String::new(), 400_000_000), (String::new(), 500_000_000)]);
    assert_eq!((pass.ledger.read, pass.ledger.used), (4, 2), "insulation is set aside");
}

/// One failure for several tests: the one whose reading says so failed, of the others nobody knows; never passes.
#[test]
fn one_failure_for_several_tests_of_a_row_is_laid_on_none_without_a_reason() {
    let text = "date,model,serial,AC mA,AC limit high mA,IR MΩ,Result\n2026-02-13,M1,U1,0.4,1.3,500,pass\n2026-02-13,M1,U2,0.5,1.3,0.1,fail\n2026-02-13,M1,U3,1.4,1.3,500,fail\n";
    let pass = pass_of("t.csv", text);
    assert_eq!(told(&pass), [(3, "an outcome for each test of the row".to_owned())]);
    let counts =
        [Outcome::Pass, Outcome::OverLimit, Outcome::Breakdown].map(|o| pass.series[0].count(o));
    assert_eq!(counts, [1, 1, 0]);
}

#[test]
fn settings_up_to_two_folders_above_the_files_are_found() {
    let dir = folder();
    put(dir.path(), "leakdrift.toml", "name = \"of the plant\"\n[assume]\nmodel = \"M7\"\n");
    let file = "date,serial,reading_ma,high_limit_ma,outcome\n2026-02-13,U1,0.4,1.3,pass\n";
    put(dir.path(), "a/b/t.csv", file);
    put(dir.path(), "a/b/c/t.csv", file);
    for path in ["a/b/t.csv", "a/b", "a", ".", "a/b/*.csv", "a/*/*.csv"] {
        let done = run_in(dir.path(), ["peek", path]).expect(0);
        assert!(done.out.contains("M7"), "{path}: {}", done.out);
    }
    // Further up, settings may be those of anything.
    assert_ne!(run_in(dir.path(), ["peek", "a/b/c/t.csv"]).status, 0);
    assert!(tried(&[dir.path().join("a/b/t.csv")], &Config::default()).is_err());
}

/// JSON of others is found in a folder, and what we wrote is not.
#[test]
fn json_in_a_folder_is_read_unless_we_wrote_it() {
    let rows: Vec<String> = (0..20)
        .map(|n| format!("{{\"tested_at\": \"2026-02-13 10:{n:02}:00\", \"serial\": \"U{n}\", \"model\": \"M1\", \"leakage_ma\": 0.8, \"high_limit_ma\": 1.3, \"result\": \"PASS\"}}"))
        .collect();
    let dir = folder();
    put(dir.path(), "in/t.json", format!("{{\"line\": 4, \"tests\": [{}]}}", rows.join(",")));
    put(
        dir.path(),
        "in/peek.json",
        "{\n  \"schema\": \"leakdrift.peek/1\",\n  \"tables\": []\n}\n",
    );
    let (read, pass) = counted(&[dir.path().join("in")], &Config::default());
    assert_eq!(read.tables.len(), 1);
    assert_eq!(pass.ledger.read, 20);
}

/// `type`, `value` and `unit` behind the number of a test are its kind, its reading and the unit of that.
#[test]
fn type_value_and_unit_behind_a_number_are_those_of_its_test() {
    let names = |words: [&str; 5]| {
        let of = |n: u8| words.map(|w| format!("Test {n} {w}")).join(",");
        format!("date,model,serial,{},{}\n", of(1), of(2))
    };
    let rows = "2026-02-13,M1,U1,ACW,410,µA,1300,pass,IR,500,MΩ,2,pass\n\
        2026-02-13,M1,U2,ACW,520,µA,1300,pass,IR,0.1,MΩ,2,fail\n";
    // The sequence ended with the first test: of the second there are name and limit alone.
    let stopped = "2026-02-13,M1,U3,ACW,,µA,1300,fail,IR,,MΩ,2,\n";
    for words in [
        ["type", "value", "unit", "limit", "result"],
        ["Typ", "Messwert", "Einheit", "Grenzwert", "Ergebnis"],
    ] {
        let pass = pass_of("t.csv", &(names(words) + rows + stopped));
        let one = |pa| ("1".to_owned(), pa);
        assert_eq!(readings(&pass), [one(410_000_000), one(520_000_000)], "{words:?}");
        let rows = (pass.ledger.read, pass.ledger.used, pass.ledger.unreadable);
        assert_eq!(rows, (5, 3, 0), "{words:?}: insulation is set aside");
    }
}

/// Two points of one unit are two tests, each of its own series.
#[test]
fn readings_at_two_measuring_points_of_a_row_are_two_tests() {
    for (one, other) in [("L-PE", "N-PE"), ("L to PE", "N to PE"), ("L", "N")] {
        let text = format!(
            "date,model,serial,Leakage {one} [mA],Leakage {other} [µA],High limit [mA],Result\n\
             2026-02-13,M1,U1,0.4,800,1.3,pass\n2026-02-13,M1,U2,0.5,900,1.3,pass\n"
        );
        let pass = pass_of("t.csv", &text);
        let points: Vec<&str> = pass.series.iter().map(|s| &*s.key.test_point).collect();
        assert_eq!(points, [one, other]);
        let of: Vec<i64> = readings(&pass).into_iter().map(|(_, pa)| pa).collect();
        assert_eq!(of, [400_000_000, 500_000_000, 800_000_000, 900_000_000]);
    }
}
