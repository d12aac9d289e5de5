//! What a report says of a file that is probably misread: nothing but that, and that first.

use crate::support::days::day;
use crate::support::run::{folder, put, results, run_in, series, small_table};

/// A sound file of M1, and one of M2 whose microamperes stand under a header that says nothing of them.
fn two_files(dir: &std::path::Path) {
    put(dir, "in/sound.csv", small_table(day("2026-08-03"), 40));
    let table = small_table(day("2026-08-03"), 40).replace(",M1,S", ",M2,T");
    let rows = table.lines().skip(1).map(|row| {
        let mut cells: Vec<String> = row.split(',').map(str::to_owned).collect();
        for n in [6, 7] {
            cells[n] = format!("{}", cells[n].parse::<f64>().unwrap() * 1000.0);
        }
        cells.join(",") + "\n"
    });
    let header = table.lines().next().unwrap();
    put(dir, "in/other.csv", format!("{header}\n{}", rows.collect::<String>()));
}

#[test]
fn a_file_that_is_probably_misread_is_the_first_line_and_has_no_verdict() {
    let dir = folder();
    two_files(dir.path());
    let done = run_in(dir.path(), ["review", "in", "--out", "out"]).expect(1);
    let first = "in/other.csv is probably misread";
    assert!(done.err.contains(first), "{}", done.err);
    let page = std::fs::read_to_string(dir.path().join("out/summary.md")).unwrap();
    let line = page.lines().next().unwrap();
    assert!(line.contains(first) && line.contains("µA"), "{line}");
    assert!(line.contains("No verdict is given on M2"), "{line}");
    let found = results(&dir.path().join("out"));
    assert_eq!(found["misread"][0]["file"], "in/other.csv");
    assert_eq!(found["misread"][0]["signs"][0]["sign"], "too_large");
    assert_eq!(found["misread"].as_array().unwrap().len(), 1);
    assert_eq!(found["actions"][0]["kind"], "probably_misread");
    let withheld = &series(&found, "M2", "ac_withstand")["verdict"];
    for key in [
        "verdict",
        "band_low_ma",
        "band_high_ma",
        "suggested_ma",
        "blind_spot_mohm",
        "fits_until",
        "rejects_per_month",
        "low_limit_from_ma",
        "low_limit_to_ma",
        "open_lead_passes",
    ] {
        assert!(withheld[key].is_null(), "{key}: {withheld}");
    }
    assert!(withheld["reasons"][0].as_str().unwrap().contains("probably misread"), "{withheld}");
    assert!(found["actions"].as_array().unwrap().iter().all(|a| a["subject"] != "M2"));
    let judged = &series(&found, "M1", "ac_withstand")["verdict"];
    assert!(!judged["verdict"].is_null() && !judged["band_low_ma"].is_null(), "{judged}");
}

#[test]
fn every_command_says_that_a_file_is_probably_misread() {
    let dir = folder();
    two_files(dir.path());
    let first = "in/other.csv is probably misread";
    for (args, page) in [
        (&["limits", "in", "--model", "M1", "--out", "limits"][..], Some("limits/summary.md")),
        (&["jump", "in", "--out", "jump"], Some("jump/summary.md")),
        (&["peek", "in"], None),
    ] {
        let done = run_in(dir.path(), args).expect(1);
        assert!(done.err.contains(first), "{args:?}: {}", done.err);
        let Some(page) = page else { continue };
        let page = std::fs::read_to_string(dir.path().join(page)).unwrap();
        assert!(page.lines().next().unwrap().contains(first), "{args:?}: {page}");
    }
    let done = run_in(dir.path(), ["limits", "in", "--model", "M2", "--out", "limits"]).expect(2);
    assert!(done.err.contains(first), "{}", done.err);
    // A tally would hand the numbers on without the warning.
    let done = run_in(dir.path(), ["tally", "in", "--out", "t.parquet"]).expect(2);
    assert!(done.err.contains(first) && done.err.contains("no tally is written"), "{}", done.err);
    assert!(!dir.path().join("t.parquet").exists());
    put(dir.path(), "leakdrift.toml", "[files]\nbelieved = [\"oth*.csv\"]\n");
    let args = ["tally", "in", "--out", "t.parquet", "--config", "leakdrift.toml"];
    run_in(dir.path(), args).expect(0);
}

/// A limit that was truly multiplied by ten, an export of failures alone: whoever knows says so.
#[test]
fn a_file_that_is_right_as_it_stands_is_judged_where_the_settings_name_it() {
    let dir = folder();
    two_files(dir.path());
    put(dir.path(), "leakdrift.toml", "[files]\nbelieved = [\"oth*.csv\"]\n");
    let args = ["review", "in", "--out", "out", "--config", "leakdrift.toml"];
    run_in(dir.path(), args).expect(0);
    let found = results(&dir.path().join("out"));
    assert!(found["misread"].as_array().unwrap().is_empty());
    assert!(!series(&found, "M2", "ac_withstand")["verdict"]["verdict"].is_null());
    let said = |n: &serde_json::Value| n.as_str().unwrap().contains("taken as it stands");
    assert!(found["notes"].as_array().unwrap().iter().any(said));
}
