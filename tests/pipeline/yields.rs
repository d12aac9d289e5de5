//! The month in yields and costs, and who made the report, on a plant counted by hand.

use serde_json::Value;

use crate::support::run::{contents, folder, number, put, results, run_in};

/// Two kettles and a grill at two stations over September and October: of each 40 units a month, of which in October
/// 4 of K1 at S1 fail first; 3 of them pass ten minutes later, one after two tests more.
fn plant() -> String {
    let mut text = String::from(
        "tested_at,model,serial,station,applied_v,frequency_hz,reading_ma,high_limit_ma,outcome\n",
    );
    let mut row =
        |day: &str, time: String, model: &str, serial: &str, station: &str, fails: bool| {
            let (reading, outcome) =
                if fails { ("3.100", "over limit") } else { ("1.000", "pass") };
            text.push_str(&format!(
                "{day} {time},{model},{serial},{station},1500,50,{reading},3.000,{outcome}\n"
            ));
        };
    for month in [9, 10] {
        for (model, station) in [("K1", "S1"), ("K2", "S2"), ("G1", "S1")] {
            for unit in 0..40 {
                let day = format!("2026-{month:02}-{:02}", unit % 20 + 1);
                let serial = format!("{model}-{month}-{unit}");
                let fails = month == 10 && model == "K1" && unit < 4;
                let hour = 6 + unit / 20 * 6;
                row(&day, format!("{hour:02}:00:00"), model, &serial, station, fails);
                if fails && unit < 3 {
                    row(&day, format!("{hour:02}:10:00"), model, &serial, station, unit == 2);
                }
                if fails && unit == 2 {
                    row(&day, format!("{hour:02}:20:00"), model, &serial, station, false);
                }
            }
        }
    }
    text
}

fn review(settings: &str, further: &[&str]) -> (Value, String) {
    let dir = folder();
    put(dir.path(), "in/t.csv", plant());
    put(dir.path(), "in/leakdrift.toml", format!("name = \"plant\"\n{settings}"));
    run_in(dir.path(), [&["review", "in", "--out", "out"], further].concat()).expect(0);
    let page = std::fs::read_to_string(dir.path().join("out/month.md")).unwrap();
    (results(&dir.path().join("out")), page)
}

fn yield_of<'a>(results: &'a Value, what: &str, name: &str) -> &'a Value {
    let all = results["yields"].as_array().unwrap();
    let is = |y: &&Value| y["what"] == what && y["name"] == name;
    all.iter().find(is).unwrap_or_else(|| panic!("{what} {name}: {all:?}"))
}

/// By hand: October has 120 units, 4 of which failed first; kettles 80, S1 80, S2 40 without a failure.
#[test]
fn yields_are_those_of_first_tests() {
    let (results, page) = review("[family]\n\"K*\" = \"kettles\"\n", &[]);
    for (what, name, units, passed) in [
        ("month", "2026-09", 120, 120),
        ("month", "2026-10", 120, 116),
        ("family", "kettles", 80, 76),
        ("family", "G1", 40, 40),
        ("station", "S1", 80, 76),
        ("station", "S2", 40, 40),
    ] {
        let found = yield_of(&results, what, name);
        assert_eq!((&found["units"], &found["passed"]), (&units.into(), &passed.into()), "{name}");
        let share = &found["share"];
        let truth = f64::from(passed) / f64::from(units);
        assert!((number(&share["value"]) - truth).abs() < 1e-12, "{name}: {share}");
        assert!(number(&share["low"]) < truth && truth <= number(&share["high"]), "{name}");
    }
    assert_eq!(results["yields"].as_array().unwrap().len(), 6);
    assert!(page.contains("| kettles | 80 | 76 | 95 % ("), "{page}");
}

/// By hand: 3 units passed on retest, 4 retests, 10 + 10 + 20 minutes at 1.50 each.
#[test]
fn rejected_good_units_cost_their_retests() {
    let (results, page) = review("minute_cost = 1.5\n", &[]);
    let costs = results["costs"].as_array().unwrap();
    assert_eq!(costs.len(), 1, "{costs:?}");
    assert_eq!((&costs[0]["model"], &costs[0]["month"]), (&"K1".into(), &"2026-10".into()));
    assert_eq!((&costs[0]["good_rejected"], &costs[0]["retests"]), (&3.into(), &4.into()));
    assert_eq!((number(&costs[0]["minutes"]), number(&costs[0]["money"])), (40.0, 60.0));
    assert!(page.contains("| K1 | 3 | 4 | 40 | 60.00 |"), "{page}");
    assert!(review("", &[]).0["costs"][0]["money"].is_null());
}

/// Who made it stands there with the time, unless the report must be the same each time; without a name neither does.
#[test]
fn who_made_a_report_and_when_is_told_on_request() {
    let (nobody, _) = review("", &[]);
    assert!(nobody["made_by"].is_null() && nobody["made_at"].is_null());
    let by = "made_by = \"quality, line 3\"\n";
    let (named, _) = review(by, &[]);
    assert_eq!(named["made_by"], "quality, line 3");
    assert_eq!(named["made_at"].as_str().unwrap().len(), "2026-11-02 08:00 +01:00".len());
    let (timeless, _) = review(by, &["--reproducible"]);
    assert!(timeless["made_at"].is_null() && timeless["made_by"] == "quality, line 3");
    // The settings are named with their checksum.
    let side = named["made"]["side_files"].as_array().unwrap();
    assert_eq!(side.len(), 1);
    assert_eq!(side[0]["path"], "leakdrift.toml");
    assert_eq!(side[0]["sha256"].as_str().unwrap().len(), 64);
}

#[test]
fn a_reproducible_report_is_the_same_each_time() {
    let dir = folder();
    put(dir.path(), "in/t.csv", plant());
    put(dir.path(), "in/leakdrift.toml", "made_by = \"quality\"\n");
    let whole = || {
        run_in(dir.path(), ["review", "in", "--out", "out", "--reproducible"]).expect(0);
        contents(&dir.path().join("out"))
    };
    assert_eq!(whole(), whole());
}
