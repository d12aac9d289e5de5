//! What `peek` shows of exports, the settings it starts, and how settings are refused and documented.

use std::collections::BTreeSet;
use std::path::Path;

use leakdrift::config::reference::reference;
use leakdrift::config::{Config, Section};
use leakdrift::records::Outcome;
use serde_json::Value;

use super::flavours::english;
use crate::support::days::day;
use crate::support::run::{committed, folder, put, results, run_in, small_table};

#[test]
fn peek_starts_settings_that_review_takes_and_changes_no_number() {
    let dir = folder();
    let text = String::from_utf8(english()).unwrap().replacen(",pass\r\n", ",so lala\r\n", 1);
    put(dir.path(), "in/t.csv", text);
    run_in(dir.path(), ["review", "in", "--out", "before"]).expect(0);
    let page = run_in(dir.path(), ["peek", "in", "--write-config"]).expect(0).out;
    assert!(page.contains("\"so lala\" = \"…\""), "{page}");
    assert!(page.contains("in µA") && page.contains("reading_ma 0.9"), "{page}");
    let settings = std::fs::read_to_string(dir.path().join("in/leakdrift.toml")).unwrap();
    assert!(settings.contains("\"leakage µA\" = \"reading_ua\""), "{settings}");
    assert!(settings.contains("# \"so lala\" = \"…\""), "{settings}");
    run_in(dir.path(), ["review", "in", "--out", "after"]).expect(0);
    let series = |name: &str| results(&dir.path().join(name))["series"].clone();
    assert_eq!(series("before"), series("after"));
    // Settings that say it all are left as they are.
    run_in(dir.path(), ["peek", "in", "--write-config"]).expect(0);
    assert_eq!(std::fs::read_to_string(dir.path().join("in/leakdrift.toml")).unwrap(), settings);
    let json = run_in(dir.path(), ["peek", "in", "--json"]).expect(0).out;
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["rows"]["read"], 60);
    assert_eq!(json["unknown_outcomes"]["so lala"], 1);
    assert_eq!(json["tables"][0]["columns"][6]["meaning"], "reading_ma");
}

/// What a table lacks comes with the lines that supply it.
#[test]
fn peek_names_what_is_missing_and_the_settings_for_it() {
    let dir = folder();
    put(dir.path(), "t.csv", "date,model,leakage,result\n2026-02-13,M1,0.4,pass\n");
    let page = run_in(dir.path(), ["peek", "t.csv"]);
    for words in ["high_limit_ma = ", "pattern = \"{station}/*\"", "likely", "mA is taken"] {
        assert!(page.out.contains(words), "{words}: {}", page.out);
    }
}

/// Nothing is recognised: what stands there is shown, so that it can be mapped.
#[test]
fn a_table_without_a_known_header_is_shown() {
    let dir = folder();
    let text = "Zeugnis;Ding;Strom mA;Urteil\n13.02.2026;M1;0,412;gut\n";
    put(dir.path(), "in/t.csv", text);
    put(dir.path(), "a.csv", english());
    let told = run_in(dir.path(), ["peek", "in", "a.csv"]).expect(1).out;
    for words in ["t.csv", "\"Zeugnis\"", "\"Ding\"", "\"Strom mA\"", "\"Urteil\"", "[columns]"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    // A row that names some columns is shown with what it lacks.
    put(dir.path(), "in/t.csv", text.replace("Zeugnis", "Datum").replace("Urteil", "Ergebnis"));
    let told = run_in(dir.path(), ["peek", "in"]).expect(1).err;
    for words in ["row 1", "\"Ding\"", "without a model"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    // As it says, so it is done.
    put(
        dir.path(),
        "in/leakdrift.toml",
        "[columns]\n\"Ding\" = \"model\"\n[model.\"M1\"]\nhigh_limit_ma = 1.3\n",
    );
    let told = run_in(dir.path(), ["peek", "in"]).expect(0).out;
    assert!(told.contains("1 rows read"), "{told}");
}

/// A Parquet file is shown as any other: here a saved tally of the 60 tests; and a bracket in its name means itself.
#[test]
fn the_first_rows_of_a_parquet_file_are_shown() {
    let dir = folder();
    put(dir.path(), "t.csv", english());
    run_in(dir.path(), ["tally", "t.csv", "--out", "k[1].parquet"]).expect(0);
    let told = run_in(dir.path(), ["peek", "k[1].parquet"]).expect(0).out;
    for words in ["Parquet", "e.g. \"M1\"", "row 1 as understood: ", "model M1"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let json = run_in(dir.path(), ["peek", "k[1].parquet", "--json"]).expect(0).out;
    let json: Value = serde_json::from_str(&json).unwrap();
    let columns = json["tables"][0]["columns"].as_array().unwrap();
    let model = columns.iter().find(|c| c["meaning"] == "model").unwrap();
    assert_eq!(model["example"], "M1");
}

#[test]
fn the_reference_holds_every_key_and_is_itself_a_settings_file() {
    let page = reference();
    let read = Config::parse(&page, Path::new("leakdrift.toml")).unwrap();
    let default = Config::default();
    assert_eq!(toml::Table::try_from(&read).unwrap(), toml::Table::try_from(&default).unwrap());
}

/// The keys that a section takes, told by the refusal of one that does not exist; `None` where any key is taken.
fn taken(head: &str) -> Option<BTreeSet<String>> {
    // What a section cannot do without stands there.
    let needed = if head.starts_with("[check_loads") { "expect = \"pass\"\n" } else { "" };
    let error = toml::from_str::<Config>(&format!("{head}\n{needed}zz = 1\n")).err()?;
    let message = error.message();
    if !message.starts_with("unknown field") {
        return None;
    }
    let words = message.split('`').skip(1).step_by(2).map(str::to_owned);
    Some(words.filter(|w| w != "zz").collect())
}

/// Both ways, at every level: what the settings take stands in the reference, and nothing else does.
#[test]
fn the_reference_lists_the_keys_that_the_settings_take() {
    let names = |section: &Section| -> BTreeSet<String> {
        let keys = section.keys.iter();
        keys.map(|k| k.name.to_owned()).collect()
    };
    // `[values.test_point]` and `[model."AP730"]` are told of under `values` and `model`.
    let head = |section: &Section| -> String {
        let inside = section.head.trim_matches(['[', ']']);
        inside.split('.').next().unwrap_or("").to_owned()
    };
    let (first, sections) = Config::SECTIONS.split_first().unwrap();
    let mut listed = names(first);
    for section in sections {
        assert!(listed.insert(head(section)), "{} twice", section.head);
    }
    assert_eq!(Some(listed), taken(""));
    let mut fixed = Vec::new();
    for section in sections {
        if let Some(taken) = taken(section.head) {
            assert_eq!(names(section), taken, "{}", section.head);
            fixed.push(head(section));
        }
    }
    // The others take the user's own words.
    assert_eq!(fixed, ["files", "tester", "check_loads", "model"]);
    assert!(Config::SECTIONS.iter().flat_map(|s| s.keys).all(|k| k.meaning.len() > 4));
}

/// Whoever looks for a key finds the way to all of them.
#[test]
fn the_read_me_names_the_command_that_prints_the_reference() {
    let path = committed("README.md");
    assert!(std::fs::read_to_string(path).unwrap().contains("`leakdrift config`"));
    let dir = folder();
    assert_eq!(run_in(dir.path(), ["config"]).expect(0).out.trim(), reference().trim());
}

#[test]
fn unknown_names_are_refused_at_every_level_with_line_and_nearest() {
    let dir = folder();
    put(dir.path(), "t.csv", english());
    for (settings, line, words) in [
        ("\n[columns]\n\"a\" = \"readng_ma\"\n", 3, ["readng_ma", "reading_ma"]),
        ("[assume]\nfrequency = 50\n", 2, ["frequency", "frequency_hz"]),
        ("[values.test_pont]\n\"a\" = \"b\"\n", 1, ["test_pont", "test_point"]),
        ("[files]\npattern = \"{staton}/*\"\n", 2, ["staton", "station"]),
        ("[tester]\nrange = 2.0\n", 2, ["range", "range_ma"]),
        ("[model.\"M1\"]\nhigh_limit = 2.0\n", 2, ["high_limit", "high_limit_ma"]),
        ("[check_loads.\"L\"]\nexpects = \"pass\"\n", 2, ["expects", "expect"]),
        ("[check_loads.\"L\"]\nresistance_mohm = 0.1\nexpect = \"pas\"\n", 3, ["pas", "pass"]),
        ("[check_loads.\"L\"]\nexpect = \"over_limit\"\n", 2, ["over_limit", "over limit"]),
        ("name = \"x\"\n[outcomes]\n\"gut\" = \"breakdwn\"\n", 3, ["breakdwn", "breakdown"]),
    ] {
        put(dir.path(), "leakdrift.toml", settings);
        let done = run_in(dir.path(), ["peek", "t.csv"]).expect(2);
        let told = &done.err;
        assert!(told.contains(&format!("line {line}")), "{settings}: {told}");
        for word in words {
            assert!(told.contains(&format!("{word:?}")), "{settings}: {told}");
        }
    }
}

/// What a check load must give is a pass, a failure of any kind, or one outcome.
#[test]
fn every_outcome_word_and_a_plain_failure_may_be_expected_of_a_check_load() {
    let dir = folder();
    put(dir.path(), "t.csv", english());
    for word in ["fail"].into_iter().chain(Outcome::ALL.iter().map(|o| o.words())) {
        let settings = format!("[check_loads.\"L\"]\nexpect = \"{word}\"\n");
        put(dir.path(), "leakdrift.toml", settings);
        run_in(dir.path(), ["peek", "t.csv"]).expect(0);
    }
}

/// A misspelt name is silent otherwise: its limit, its load, its column is none.
#[test]
fn names_of_the_settings_that_no_file_has_are_told() {
    let dir = folder();
    put(dir.path(), "t.csv", small_table(day("2026-08-03"), 40));
    let settings = "factors = [\"colour\"]\n[columns]\n\"serial\" = \"serial\"\n\"Strom\" = \"reading_ma\"\n\
        [outcomes]\n\"pass\" = \"pass\"\n\"gutt\" = \"pass\"\n[values.station]\n\"S1\" = \"S1\"\n\"S77\" = \"S1\"\n\
        [ceiling]\n\"ac withstand\" = 9.0\n\"dc withstand\" = 9.0\n[open_lead_ma]\nS1 = 0.01\nS9 = 0.01\n\
        [check_loads.LOAD]\nexpect = \"pass\"\n[model.M1]\nleak_path_mohm = 1.0\n[model.M11]\nleak_path_mohm = 1.0\n";
    put(dir.path(), "leakdrift.toml", settings);
    run_in(dir.path(), ["review", "t.csv", "--out", "out"]).expect(0);
    let found = results(&dir.path().join("out"));
    let notes = found["notes"].as_array().unwrap().iter().map(|n| n.as_str().unwrap());
    let told: Vec<&str> = notes.filter(|n| n.contains("what no file has")).collect();
    assert_eq!(told.len(), 1, "{}", found["notes"]);
    for name in ["colour", "Strom", "gutt", "S77", "dc withstand", "S9", "LOAD", "M11"] {
        assert!(told[0].contains(&format!("{name:?}")), "{name}: {}", told[0]);
    }
    for name in ["serial", "pass", "ac withstand", "S1", "M1"] {
        assert!(!told[0].contains(&format!("{name:?}")), "{name}: {}", told[0]);
    }
}
