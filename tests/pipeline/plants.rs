//! The same model at two plants: judged apart, set side by side, and no more said than intervals allow.

use std::path::{Path, PathBuf};

use leakdrift::sample::physics::capacitive_ma;
use serde_json::Value;
use tempfile::TempDir;

use crate::support::run::{contents, folder, pages, put, results, run_in};

/// The two plants of the demonstration.
fn two_plants() -> TempDir {
    let dir = folder();
    run_in(dir.path(), ["sample", "two", "--plants", "2"]).expect(0);
    dir
}

/// The report of a review with these arguments.
fn review(dir: &Path, name: &str, paths: &[&str]) -> PathBuf {
    let rest = ["--out", name, "--quiet"];
    run_in(dir, ["review"].iter().chain(paths).chain(&rest)).expect(0);
    dir.join(name)
}

fn difference<'a>(results: &'a Value, model: &str) -> &'a Value {
    let all = results["plants"].as_array().expect("plants stand side by side");
    &all.iter().find(|m| m["model"] == model).expect("both make it")["differences"][0]
}

fn ends(estimate: &Value) -> (f64, f64) {
    let end = |key: &str| estimate[key].as_f64().expect("a bound");
    (end("low"), end("high"))
}

/// What tells a series but its name: the body, limits, verdict, what was seen.
fn judged(series: &Value) -> Vec<Value> {
    let keys = [
        "plant",
        "test",
        "units",
        "outcomes",
        "limit",
        "distribution",
        "capability",
        "expected_reject_ppm",
        "observed_reject_ppm",
        "seen",
        "strays",
        "retests",
        "months",
    ];
    let mut all: Vec<Value> = keys.iter().map(|k| series[*k].clone()).collect();
    // The station's name alone differs in the histories of limits.
    all.extend(["band_low_ma", "band_high_ma"].map(|k| series["verdict"][k].clone()));
    all
}

/// SM415 has a filter of 5.4 nF at South and of 4.8 nF at North, behind leads of 60 pF at the middle station of both;
/// FH205 is the same at both.
#[test]
fn a_true_difference_is_told_and_none_is_where_there_is_none() {
    let dir = two_plants();
    let report = review(dir.path(), "out", &["two"]);
    let found = results(&report);
    let ma = |nf: f64| capacitive_ma(nf + 0.060, 1250.0, 50.0);
    let truth = 100.0 * (ma(5.4) / ma(4.8) - 1.0);
    let (low, high) = ends(&difference(&found, "SM415")["x50_pct"]);
    assert!(low <= truth && truth <= high, "{truth} %, told {low} to {high}");
    assert_eq!(difference(&found, "SM415")["says"], "reads_more");
    let (low, high) = ends(&difference(&found, "FH205")["x50_pct"]);
    assert!(low <= 0.0 && 0.0 <= high, "{low} to {high}");
    assert_eq!(difference(&found, "FH205")["says"], "cannot_be_told");
    let page = std::fs::read_to_string(report.join("plants.md")).unwrap();
    assert!(page.contains("- South reads more than North, by +12."), "{page}");
    assert!(page.contains("- Whether South reads otherwise than North cannot be told: "));
    assert!(page.contains("VC310 \\(South\\), ") || page.contains("VC310 (South), "));
    assert!(page.contains("](charts/plants.png)") && report.join("charts/plants.png").is_file());
    for from in ["summary.md", "README.md"] {
        assert!(
            std::fs::read_to_string(report.join(from)).unwrap().contains("plants.md"),
            "{from}"
        );
    }
    let mailed = std::fs::read_to_string(report.join("report.html")).unwrap();
    assert!(mailed.contains("id=\"page-plants\"") && mailed.contains("Plants side by side"));
}

/// Nothing of one plant says anything of another: numbers are those of its own files alone.
#[test]
fn each_plant_is_judged_as_if_it_were_alone() {
    let dir = two_plants();
    let both = results(&review(dir.path(), "both", &["two"]));
    for plant in ["North", "South"] {
        let folder = format!("two/{plant}");
        let alone =
            results(&review(dir.path(), plant, &[&folder, "--config", "two/leakdrift.toml"]));
        assert_eq!(alone["plants"], Value::Array(Vec::new()), "no other to stand beside");
        let own: Vec<&Value> =
            both["series"].as_array().unwrap().iter().filter(|s| s["plant"] == plant).collect();
        let series = alone["series"].as_array().unwrap();
        assert_eq!(own.len(), series.len());
        for (together, alone) in own.iter().zip(series) {
            let model = alone["model"].as_str().unwrap();
            assert_eq!(together["model"], format!("{model} ({plant})"));
            assert_eq!(judged(together), judged(alone), "{model} at {plant}");
        }
        let offset = |of: &Value, station: String| {
            let all = of["stations"].as_array().unwrap();
            all.iter().find(|s| s["station"] == station).expect("a station")["offset_pct"].clone()
        };
        for station in ["S1", "S2"] {
            let together = offset(&both, format!("{station} ({plant})"));
            assert_eq!(together, offset(&alone, station.to_owned()), "{station} of {plant}");
        }
    }
}

/// Two tallies, and two folders whose names alone say which plant: the same series, side by side.
#[test]
fn tallies_and_folders_of_plants_stand_side_by_side() {
    let dir = two_plants();
    let files = results(&review(dir.path(), "files", &["two"]));
    let settings = ["--config", "two/leakdrift.toml"];
    for plant in ["North", "South"] {
        let (from, to) = (format!("two/{plant}"), format!("{plant}.parquet"));
        run_in(dir.path(), ["tally", &from, "--out", &to].iter().chain(&settings)).expect(0);
    }
    let tallies = ["North.parquet", "South.parquet", settings[0], settings[1]];
    let tallied = results(&review(dir.path(), "tallied", &tallies));
    for (name, text) in contents(&dir.path().join("two")) {
        let text = String::from_utf8(text).unwrap();
        let rows = text.lines().map(|l| l.split_once(',').map_or("", |(_, rest)| rest));
        let without: String = rows.map(|row| format!("{row}\n")).collect();
        let other = "name = \"named\"\n[files]\npattern = \"{plant}/*\"\n".to_owned();
        put(
            dir.path(),
            &format!("named/{name}"),
            if name.ends_with("csv") { without } else { other },
        );
    }
    let named = results(&review(dir.path(), "by-name", &["named"]));
    for model in ["FH205", "SM415"] {
        let of = |results: &Value| difference(results, model)["x50_pct"].clone();
        assert_eq!(of(&tallied), of(&files), "{model}");
        assert_eq!(of(&named), of(&files), "{model}");
    }
    // Its own names stand in a tally: it can be read beside those of any other plant.
    let alone = ["North.parquet", settings[0], settings[1]];
    let north = results(&review(dir.path(), "north", &alone));
    let stations: Vec<&str> = north["stations"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|s| s["station"].as_str())
        .collect();
    assert_eq!(stations, ["S1", "S2"]);
}

/// Two plants with one model, 20 units a day each; `header` names the column of the plant, a letter its serials.
fn small(header: &str, plants: [(&str, char); 2]) -> String {
    let mut text = format!(
        "{header},tested_at,model,serial,station,applied_v,frequency_hz,reading_ma,high_limit_ma,outcome\n"
    );
    for day in 1..=28 {
        for n in 0..40 {
            let ((plant, letter), unit) = (plants[n % 2], day * 40 + n / 2);
            let ma = 0.95 + f64::from(u32::try_from(n * 7 % 20).unwrap()) * 0.005;
            text += &format!(
                "{plant},2026-09-{day:02} 08:{n:02}:00,M1,{letter}{unit},S1,1500,50,{ma:.3},3.000,pass\n"
            );
        }
    }
    text
}

/// In the words of the trade, and settings of a model hold wherever it is made.
#[test]
fn settings_of_a_model_hold_at_every_plant_unless_one_is_named() {
    let dir = folder();
    put(dir.path(), "in/export.csv", small("Werk", [("Nord", 'U'), ("Süd", 'U')]));
    let settings =
        "[model.M1]\nleak_path_mohm = 1.0\n[model.\"M1 (Nord)\"]\nleak_path_mohm = 2.0\n";
    put(dir.path(), "in/leakdrift.toml", settings);
    let found = results(&review(dir.path(), "out", &["in"]));
    let high = |plant: &str| {
        let all = found["series"].as_array().unwrap();
        let series = all.iter().find(|s| s["plant"] == plant).expect("a series of it");
        assert_eq!(series["units"], 560, "{plant}");
        series["verdict"]["band_high_ma"].as_f64().unwrap()
    };
    assert!(high("Nord") < high("Süd"), "{} {}", high("Nord"), high("Süd"));
    assert!(!pages(&dir.path().join("out")).contains("the settings name what no file has"));
}

/// Where some tests name no plant, nothing guesses it for them.
#[test]
fn tests_that_name_no_plant_are_judged_apart_and_said_first() {
    let dir = folder();
    let north = small("plant", [("North", 'U'), ("", 'V')]);
    let south = small("plant", [("South", 'U'), ("", 'W')]);
    put(dir.path(), "in/export.csv", north.clone() + south.split_once('\n').unwrap().1);
    let found = results(&review(dir.path(), "out", &["in"]));
    let models: Vec<&str> =
        found["series"].as_array().unwrap().iter().filter_map(|s| s["model"].as_str()).collect();
    assert_eq!(models, ["M1", "M1 (North)", "M1 (South)"]);
    let said = found["said_first"].to_string();
    assert!(said.contains("some tests name no plant while others do"), "{said}");
    // Beside one plant that is named a blank is that plant, as a blank test point is.
    put(dir.path(), "one/export.csv", north);
    let found = results(&review(dir.path(), "out-one", &["one"]));
    assert_eq!(found["series"].as_array().unwrap().len(), 1);
    assert_eq!(found["series"][0]["model"], "M1");
    assert_eq!(found["series"][0]["units"], 1120);
}
