//! A saved tally stands for the files it was made from, and tallies add up.

use std::io::Write as _;

use serde_json::Value;

use crate::support::days::day;
use crate::support::run::{
    committed, contents, folder, put, results, reviewed, run_in, sample_data, series, small_table,
};

/// Verdicts that the factory's description expects in its last month.
const EXPECTED: [(&str, &str, &str); 8] = [
    ("KB120", "ac_withstand", "moving"),
    ("FH205", "ac_withstand", "fits"),
    ("FH205", "leakage", "fits"),
    ("VC310", "ac_withstand", "too_tight"),
    ("SM415", "ac_withstand", "fits"),
    ("EM520", "ac_withstand", "fits"),
    ("DH640", "dc_withstand", "fits"),
    ("AP730", "ac_withstand", "too_loose"),
];

fn units_of(results: &Value) -> Vec<u64> {
    EXPECTED
        .iter()
        .map(|(model, test, _)| series(results, model, test)["units"].as_u64().unwrap())
        .collect()
}

/// The settings of the demonstration, with one more factor: its tally has other bytes.
fn other_settings() -> String {
    let dir = sample_data();
    let text = std::fs::read_to_string(format!("{dir}/leakdrift.toml")).unwrap();
    let beside =
        |text: String, file: &str| text.replace(&format!("{file:?}"), &format!("\"{dir}/{file}\""));
    let text = beside(beside(text, "events.csv"), "calibration.csv");
    text.replace("factors = [\"filter\"]", "factors = [\"filter\", \"room\"]")
}

/// The same export in other bytes, as another plant has its own: a blank line, or a remark in a workbook's archive.
fn in_other_bytes(name: &str, mut bytes: Vec<u8>) -> Vec<u8> {
    if name.ends_with(".gz") {
        let mut line = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        line.write_all(b"\n").unwrap();
        bytes.extend(line.finish().unwrap());
    } else if name.ends_with(".xlsx") {
        let remark = bytes.len() - 2;
        assert_eq!(bytes[remark..], [0, 0], "{name}: an archive without a remark");
        bytes[remark] = 1;
        bytes.push(b' ');
    } else {
        bytes.push(b'\n');
    }
    bytes
}

/// The factor column and the air must go with a tally: without them SM415 would be called drifting and
/// DH640's season would have no cause. Two plants with equal lines have twice the units.
#[test]
fn a_saved_tally_is_judged_like_its_files_and_two_add_up() {
    let dir = folder();
    let tally = ["tally", &sample_data(), "--out"];
    run_in(dir.path(), tally.iter().chain(&["north.parquet"])).expect(0);
    put(dir.path(), "south.toml", other_settings());
    // What lies in the folders of the stations: the lists beside them are named by the settings.
    let exports = contents(&committed("sample-data")).into_iter().filter(|(n, _)| n.contains('/'));
    for (name, bytes) in exports {
        put(dir.path(), &format!("south/{name}"), in_other_bytes(&name, bytes));
    }
    let south = ["tally", "south", "--out", "south.parquet", "--config", "south.toml"];
    run_in(dir.path(), south).expect(0);
    let config = &format!("{}/leakdrift.toml", sample_data());
    let one = ["review", "north.parquet", "--config", config, "--out", "one"];
    run_in(dir.path(), one).expect(0);
    let both = ["review", "north.parquet", "south.parquet", "--config", config, "--out", "both"];
    run_in(dir.path(), both).expect(0);

    let one = results(&dir.path().join("one"));
    for (model, test, verdict) in EXPECTED {
        let found = series(&one, model, test);
        assert_eq!(found["verdict"]["verdict"], verdict, "{model}, {test}");
    }
    let mixed = series(&one, "SM415", "ac_withstand");
    assert_eq!(mixed["distribution"]["split_by"], "filter");
    assert_eq!(mixed["drift"]["flagged"], false);
    assert_eq!(series(&one, "DH640", "dc_withstand")["drift"]["shape"], "season");
    as_its_files(&one);

    let twice: Vec<u64> = units_of(&one).iter().map(|n| 2 * n).collect();
    assert_eq!(units_of(&results(&dir.path().join("both"))), twice);
}

/// What a tally says is what its files say: units by outcome, tests not completed among them, open leads, limits,
/// the healthy body. What it cannot know is not asked, and that is said first.
fn as_its_files(tally: &Value) {
    let files = &reviewed().results;
    for (model, test, _) in EXPECTED {
        let (of_tally, of_files) = (series(tally, model, test), series(files, model, test));
        for key in ["units", "outcomes", "limit"] {
            assert_eq!(of_tally[key], of_files[key], "{model}, {test}: {key}");
        }
        for key in ["family", "x05_ma", "x50_ma", "x99_ma", "tail"] {
            let (a, b) = (&of_tally["distribution"][key], &of_files["distribution"][key]);
            assert_eq!(a, b, "{model}, {test}: {key}");
        }
        // What a tally cannot know is not said as none.
        for key in ["failed", "then_passed", "more_than_allowed"] {
            assert!(of_files["retests"][key].is_number(), "{model}, {test}: retests {key}");
            assert!(of_tally["retests"][key].is_null(), "{model}, {test}: retests {key}");
        }
        for key in ["above", "below"] {
            let (a, b) = (&of_tally["strays"][key], &of_files["strays"][key]);
            assert_eq!(a, b, "{model}, {test}: strays {key}");
        }
    }
    let kinds = |of: &Value, kind: &str| {
        let actions = of["actions"].as_array().unwrap();
        actions.iter().filter(|a| a["kind"] == kind).map(|a| a["sentence"].clone()).collect()
    };
    for kind in ["passed_open_lead", "strays_passed"] {
        let of: [Vec<Value>; 2] = [kinds(tally, kind), kinds(files, kind)];
        assert_eq!(of[0], of[1], "{kind}");
    }
    for kind in ["never_passed", "checks_missing", "passed_against_reading"] {
        let of: Vec<Value> = kinds(tally, kind);
        assert!(of.is_empty(), "{kind}: {of:?}");
    }
    let good: Vec<Value> = kinds(tally, "too_good");
    assert!(good.iter().all(|s| !s.as_str().unwrap().contains("stood still")), "{good:?}");
    assert!(tally["units_to_check"].get("never passed").is_none());
    let first = tally["said_first"][0].as_str().unwrap();
    assert!(first.contains("known from a tally") && first.contains("check loads"), "{first}");
}

/// A production day that starts at six in the morning is the same day in a tally.
#[test]
fn a_tally_keeps_its_production_days_whenever_they_start() {
    let dir = folder();
    put(dir.path(), "in/t.csv", small_table(day("2026-08-03"), 40));
    put(dir.path(), "leakdrift.toml", "day_starts = \"07:30\"\n");
    let with = ["--config", "leakdrift.toml"];
    run_in(dir.path(), ["tally", "in", "--out", "t.parquet"].iter().chain(&with)).expect(0);
    run_in(dir.path(), ["review", "in", "--out", "files"].iter().chain(&with)).expect(0);
    run_in(dir.path(), ["review", "t.parquet", "--out", "tally"].iter().chain(&with)).expect(0);
    let of = |name: &str| results(&dir.path().join(name));
    assert_eq!(of("tally")["from"], of("files")["from"]);
    assert_eq!(of("tally")["to"], of("files")["to"]);
}

/// Named beside the file that it was made of, and beside another one made of that.
#[test]
fn a_tally_beside_what_it_was_made_of_is_refused() {
    let dir = folder();
    let table = small_table(day("2026-08-03"), 40);
    put(dir.path(), "in/a.csv", &table);
    put(dir.path(), "more/b.csv", table.replace(",M1,", ",M2,"));
    run_in(dir.path(), ["tally", "in", "--out", "t.parquet"]).expect(0);
    run_in(dir.path(), ["tally", "t.parquet", "more", "--out", "both.parquet"]).expect(0);
    for (beside, named) in [
        (&["t.parquet", "in/a.csv"][..], "in/a.csv"),
        (&["in", "t.parquet"], "in/a.csv"),
        // A tally of a tally holds its files too.
        (&["both.parquet", "in"], "in/a.csv"),
        (&["both.parquet", "t.parquet"], "both.parquet"),
    ] {
        for command in ["review", "peek"] {
            let done = run_in(dir.path(), [&[command], beside].concat()).expect(2);
            assert!(done.err.contains(named), "{beside:?}: {}", done.err);
            assert!(done.err.contains("count twice"), "{beside:?}: {}", done.err);
        }
    }
    run_in(dir.path(), ["review", "t.parquet", "more", "--out", "out"]).expect(0);
    assert_eq!(results(&dir.path().join("out"))["series"][0]["units"], 800);
}

/// Its units would count twice: once in the exports, once in their tally.
#[test]
fn a_tally_among_the_exports_is_left_out_and_told() {
    let dir = folder();
    put(dir.path(), "in/t.csv", small_table(day("2026-08-03"), 40));
    run_in(dir.path(), ["tally", "in", "--out", "in/t.parquet"]).expect(0);
    let review = |paths: &[&str], out: &str| {
        let args = [&["review"], paths, &["--out", out]].concat();
        run_in(dir.path(), args).expect(0);
        results(&dir.path().join(out))
    };
    let found = review(&["in"], "out");
    assert_eq!(found["series"][0]["units"], 800);
    let said = |n: &Value| n.as_str().unwrap().contains("in/t.parquet: a tally");
    assert!(found["notes"].as_array().unwrap().iter().any(said), "{}", found["notes"]);
    // Tallies alone are what a company keeps them for, and one that is named is meant.
    assert_eq!(review(&["in/*.parquet"], "tallies")["series"][0]["units"], 800);
    assert_eq!(review(&["in/t.parquet"], "named")["series"][0]["units"], 800);
}

/// A folder copied beside itself, or an export downloaded twice: rows without serials, and lines of a tally,
/// would count twice.
#[test]
fn files_of_the_same_bytes_are_counted_once_and_told() {
    let dir = folder();
    let table = small_table(day("2026-08-03"), 40);
    let without = table.lines().map(|row| {
        let mut cells: Vec<&str> = row.split(',').collect();
        cells.remove(2);
        cells.join(",") + "\n"
    });
    put(dir.path(), "none/a.csv", without.collect::<String>());
    put(dir.path(), "serials/a.csv", &table);
    run_in(dir.path(), ["tally", "serials", "--out", "t.parquet"]).expect(0);
    put(dir.path(), "tally/a.parquet", std::fs::read(dir.path().join("t.parquet")).unwrap());
    for (name, file) in [("serials", "a.csv"), ("none", "a.csv"), ("tally", "a.parquet")] {
        let bytes = std::fs::read(dir.path().join(name).join(file)).unwrap();
        put(dir.path(), &format!("{name}/copy/{file}"), bytes);
        let out = format!("out-{name}");
        run_in(dir.path(), ["review", name, "--out", &out]).expect(0);
        let found = results(&dir.path().join(&out));
        assert_eq!(found["series"][0]["units"], 800, "{name}");
        assert_eq!(found["rows"]["set_aside"]["repeated row"], found["rows"]["used"], "{name}");
        let said = |n: &Value| n.as_str().unwrap().contains("hold the same bytes");
        assert!(found["notes"].as_array().unwrap().iter().any(said), "{}", found["notes"]);
    }
}

/// Outcomes taken from readings, a unit that is assumed: whoever reads the tally must know as well.
#[test]
fn what_is_said_first_of_the_files_is_said_first_of_their_tally() {
    let dir = folder();
    let rows: String = (0..300)
        .map(|n| {
            let ma = 0.40 + f64::from(n % 7) / 100.0;
            format!("2026-03-{:02} 08:{:02}:00;M1;U{n};{ma:.2};0.80\n", 1 + n / 50, n % 60)
        })
        .collect();
    put(dir.path(), "in/t.csv", format!("tested at;model;serial;leakage;high limit mA\n{rows}"));
    run_in(dir.path(), ["review", "in", "--out", "files"]).expect(0);
    let done = run_in(dir.path(), ["tally", "in", "--out", "t.parquet"]).expect(0);
    run_in(dir.path(), ["review", "t.parquet", "--out", "tally"]).expect(0);
    let said = |report: &str| results(&dir.path().join(report))["said_first"].clone();
    let (files, tally) = (said("files"), said("tally"));
    let files: Vec<&str> = files.as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(files.iter().any(|f| f.contains("no column says outcomes")), "{files:?}");
    for first in files {
        assert!(done.err.contains(first), "{first}: {}", done.err);
        let again = |t: &Value| t.as_str().is_some_and(|t| t.contains(first));
        assert!(tally.as_array().unwrap().iter().any(again), "{first}: {tally}");
    }
}
