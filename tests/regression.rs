//! One test per defect that was once real, named after it.

use std::fmt::Write;
use std::path::Path;

use leakdrift::analysis::Known;
use leakdrift::analysis::units::checks::checks;
use leakdrift::analysis::units::leads::OpenLeads;
use leakdrift::config::Config;
use leakdrift::movement;
use leakdrift::progress::nobody;
use leakdrift::records::{Register, SerialAt};
use leakdrift::report::chart::jump_split::{self, Part, Split};
use leakdrift::report::chart::months::{self, Months};
use leakdrift::report::chart::{Chart, Layer, over_time};
use leakdrift::stats::estimate::Estimate;
use leakdrift::verdict::tester::concern::of_checks;
use leakdrift::words::time::time_text;

use crate::laws::page_report;
use crate::support::count::{counted, refused};
use crate::support::days::day;
use crate::support::run::{folder, put, results, run_in, small_table};

/// A column headed "Current" was taken for the kind of current (total or in phase), so that the table had
/// no reading and every row was refused.
#[test]
fn a_lone_column_called_current_holds_the_reading() {
    let dir = folder();
    let file = put(
        dir.path(),
        "t.csv",
        "Date,Model,Serial No,Current,High,Result\n2026-02-13,M1,U1,0.412 mA,5.00 mA,Pass\n",
    );
    let (_, pass) = counted(&[file], &Config::default());
    assert_eq!((pass.ledger.read, pass.ledger.used), (1, 1));
    let tally = &pass.series[0].tally;
    assert_eq!(tally.len(), 1);
    assert_eq!(tally[0].value_pa, 412_000_000, "0.412 mA is 412 000 000 pA");
}

/// Found by fuzzing: 4 MB of a packed file held 11 million short rows, and each kept its own copy of what was
/// wrong with it: 1.9 GB. What a row costs must not depend on the words said of it.
#[test]
fn what_is_wrong_with_a_million_rows_is_kept_once() {
    let mut text = "date,model,leakage mA,result\n2026-02-13,M1,0.412,pass\n".to_owned();
    text += &"9,9\n".repeat(1_000_000);
    let dir = folder();
    let file = put(dir.path(), "t.csv", text);
    let (_, pass) = counted(&[file], &Config::default());
    assert_eq!((pass.ledger.used, pass.ledger.unreadable), (1, 1_000_000));
    let copies: std::collections::BTreeSet<*const u8> = pass
        .unreadable
        .iter()
        .flat_map(|u| [u.column.as_ptr(), u.expected.as_ptr(), u.found.as_ptr()])
        .collect();
    // Three texts for each piece of 4 MiB read: here at most two.
    assert!(copies.len() <= 6, "{} copies", copies.len());
    assert!(std::mem::size_of_val(&pass.unreadable[0]) <= 56);
}

/// The day of a check load with the wrong answer was read back from its printed time, and was 1970-01-01 where
/// that failed, as it does for a clock set to a year of five digits.
#[test]
fn the_day_of_a_wrong_check_load_is_its_own() {
    // By hand: 3 660 000 days are 10 020 years of 365.25 days: the year 11 990.
    let time = 3_660_000 * 86_400;
    assert!(time_text(time)[..10].parse::<chrono::NaiveDate>().is_err());
    let mut checks = page_report::checks("A1");
    checks.wrong[0].time = time;
    let day = leakdrift::words::time::day_text(3_660_000);
    assert!(!day.contains("1970"), "{day}");
    let wrong = &of_checks(&checks)[0];
    assert_eq!(wrong.key(), format!("A1 {day}"));
    assert!(wrong.sentence("A1").contains(&format!("wrong answer on {day}:")), "{wrong:?}");
}

/// The legend of the stations said "95 %" whatever `confidence` was.
#[test]
fn intervals_of_stations_say_the_level_they_have() {
    let mut report = page_report::report_of("A1");
    report.stations[0].months[0].offset_pct.level = 0.9;
    let chart = over_time::chart(&over_time::of_stations(&report)).unwrap();
    let names: Vec<&str> = chart.layers().filter_map(Layer::name).collect();
    assert!(names.contains(&"offset of the month with its 90 % interval"), "{names:?}");
}

/// A station with check loads and no product was no station: its wrong answers were told nowhere.
#[test]
fn a_station_without_products_has_its_check_loads() {
    let dir = folder();
    let file = put(
        dir.path(),
        "t.csv",
        "Date,Station,Model,Serial No,Current,High,Result\n\
         2026-02-13,A1,M1,U1,0.412 mA,5.00 mA,Pass\n\
         2026-02-13,B1,LOAD,L1,0.000 mA,5.00 mA,Pass\n",
    );
    let mut config = Config::default();
    let load = toml::from_str("expect = \"over limit\"").unwrap();
    config.check_loads.insert("LOAD".to_owned(), load);
    let (_, pass) = leakdrift::pass(&[file], &config, &|_, _| {}).unwrap();
    let found = checks(&pass.unwrap(), Vec::new(), &OpenLeads::default(), &config).unwrap();
    let told: Vec<(&str, usize)> =
        found.iter().map(|c| (c.station.as_str(), c.wrong.len())).collect();
    assert_eq!(told, [("A1", 0), ("B1", 1)]);
}

/// `daily_point_units` and `weekly_point_units` stood in the reference and were taken, but never read.
#[test]
fn points_in_time_hold_as_many_units_as_the_settings_ask() {
    let dir = folder();
    // 20 units on each of 28 days in a row, from a Monday on.
    let from = chrono::NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    let file = put(dir.path(), "t.csv", small_table(from, 28));
    let points = |daily: f64, weekly: f64| {
        let config =
            Config { daily_point_units: daily, weekly_point_units: weekly, ..Config::default() };
        let (_, pass) = leakdrift::pass(std::slice::from_ref(&file), &config, &|_, _| {}).unwrap();
        let moved = movement::find(&pass.unwrap(), &Register::default(), &config, &nobody);
        moved.series[0].points.len()
    };
    assert_eq!(points(20.0, 10.0), 28);
    assert_eq!(points(21.0, 140.0), 4);
    assert_eq!(points(21.0, 141.0), 0);
}

/// A negative accuracy and a number of rejects that is none were accepted, and judged limits.
#[test]
fn a_threshold_that_no_limit_can_be_judged_by_is_refused() {
    for text in ["too_tight_rejects = nan", "[tester]\naccuracy_pct = -1.5", "material_steps = -3"]
    {
        let told = Config::parse(text, Path::new("x.toml")).unwrap_err().to_string();
        assert!(told.contains("line") && told.contains("expected a number"), "{told}");
    }
}

/// As many tests as stations, each at a station of its own.
fn at_so_many_stations(stations: u32) -> String {
    let mut text = "date,model,serial,station,leakage mA,result\n".to_owned();
    for n in 0..stations {
        text += &format!("2026-02-13,M1,U{n},S{n:05},0.412,pass\n");
    }
    text
}

/// A station past the 65 535th was counted as the first one.
#[test]
fn a_station_past_65_535_keeps_its_name_or_is_refused() {
    let dir = folder();
    let most = put(dir.path(), "most.csv", at_so_many_stations(65_536));
    let (_, pass) = counted(&[most], &Config::default());
    assert_eq!(pass.plant.stations[65_535], "S65535");
    let last = pass.series[0].tally.iter().max_by_key(|line| line.station).unwrap();
    assert_eq!((last.station, last.count), (65_535, 1));
    assert_eq!(pass.series[0].tally.iter().find(|line| line.station == 0).unwrap().count, 1);

    let more = put(dir.path(), "more.csv", at_so_many_stations(65_537));
    let refused = refused(more);
    assert!(refused.contains("65537 stations") && refused.contains("[columns]"), "{refused}");
}

/// A serial that began past 4 GB of serials was read as the first one.
#[test]
fn a_serial_past_4_gb_is_found_again() {
    let past = (1 << 32) + 7;
    assert_eq!(SerialAt::new(past).offset(), past);
    assert_eq!(SerialAt::new(3).read("U1\nU2\n"), "U2");
}

/// All words of a chart's legend and notes.
fn words(chart: &Chart) -> String {
    chart.layers().filter_map(Layer::name).chain(chart.notes.iter().map(String::as_str)).collect()
}

/// The charts of months and parts of a jump said "95 %" whatever `confidence` was; the months' intervals
/// were of 95 % too.
#[test]
fn charts_say_the_level_that_their_intervals_have() {
    let mut text = "date,model,serial,leakage mA,high limit mA,result\n".to_owned();
    for day in 1..=28 {
        for unit in 0..10 {
            let (ma, result) =
                if unit == 9 && day % 3 == 0 { (0.60, "over limit") } else { (0.41, "pass") };
            let _ = writeln!(text, "2026-02-{day:02},M1,U{day}-{unit},{ma},0.50,{result}");
        }
    }
    let dir = folder();
    let file = put(dir.path(), "t.csv", text);
    let config = Config { confidence: 0.9, ..Config::default() };
    let (_, pass) = counted(&[file], &config);
    let register = Register::default();
    let movement = movement::find(&pass, &register, &config, &nobody);
    let known = Known { movement: &movement, register: &register, month: None, jumps: None };
    let finding = &leakdrift::analysis::findings(&pass, &known, &config, &nobody).series[0];

    let months = months::chart(&Months {
        series: "M1".into(),
        unit: "mA".into(),
        step: 0.01,
        months: months::shown(&finding.months, 1.0),
        limits: Vec::new(),
    });
    let size = Estimate::new(0.02, 0.01, 0.03, 0.9, "by hand").unwrap();
    let parts =
        ["another limit", "together"].map(|words| Part { words: words.into(), size: size.clone() });
    let split = jump_split::chart(&Split {
        scope: "M1".into(),
        period: "February".into(),
        parts: parts.to_vec(),
    });
    for chart in [months, split] {
        let said = words(&chart.unwrap());
        assert!(said.contains("90 % interval") && !said.contains("95 %"), "{said}");
    }
    // Nine of 280 failed, P(X <= 9) and P(X >= 9) of 5 % at the ends of a two-sided 90 %.
    let share = finding.months[0].reject_share.as_ref().unwrap();
    assert!((share.value - 9.0 / 280.0).abs() < 1e-12);
    for (p, from, to) in [(share.low, 9, 280), (share.high, 0, 9)] {
        let tail: f64 = (from..=to).map(|k| binomial(280, k, p)).sum();
        assert!((tail - 0.05).abs() < 1e-6, "{tail}");
    }
}

/// Probability of `k` of `n` at `p`, multiplied up term by term.
fn binomial(n: u32, k: u32, p: f64) -> f64 {
    let ways: f64 = (0..k).map(|i| f64::from(n - i) / f64::from(k - i)).product();
    ways * p.powi(k as i32) * (1.0 - p).powi((n - k) as i32)
}

/// Two tests of each unit, at 1500 V under 5 mA and at 1000 V under 0.5 mA, were one test and its retest: the
/// second was judged nowhere. A repeat at a lower voltage shares the limit, and stays a retest.
#[test]
fn an_attempt_at_another_voltage_and_another_limit_is_another_test_of_the_unit() {
    let dir = folder();
    let file = put(
        dir.path(),
        "t.csv",
        "Date,Model,Serial No,Set V,Leakage mA,High limit mA,Result\n\
         2026-02-13 08:00:00,M1,U1,1500,1.00,5.00,Pass\n\
         2026-02-13 08:01:00,M1,U1,1000,0.20,0.50,Pass\n\
         2026-02-13 08:02:00,M1,U2,1500,5.00,5.00,over limit\n\
         2026-02-13 08:03:00,M1,U2,1200,0.90,5.00,Pass\n\
         2026-02-13 08:04:00,M1,U2,1000,0.21,0.50,Pass\n",
    );
    let (_, pass) = counted(&[file], &Config::default());
    let units = |volts: f64| {
        let of = pass.series.iter().find(|s| s.key.applied_v() == Some(volts));
        of.map(leakdrift::series::Series::units)
    };
    assert_eq!((units(1500.0), units(1000.0), units(1200.0)), (Some(2), Some(2), None));
    assert_eq!((pass.ledger.used, pass.ledger.set_aside_in_all()), (4, 1));
}

/// A unit without a serial that failed was said never to have passed, though nobody can know what became of it.
#[test]
fn units_without_a_serial_are_not_said_never_to_have_passed() {
    let dir = folder();
    let table = small_table(day("2026-08-03"), 40);
    let without: Vec<String> = table
        .lines()
        .enumerate()
        .map(|(n, row)| {
            let mut cells: Vec<&str> = row.split(',').collect();
            if n > 0 {
                cells[2] = "";
            }
            if n % 40 == 7 {
                cells[8] = "over limit";
            }
            cells.join(",") + "\n"
        })
        .collect();
    put(dir.path(), "t.csv", without.concat());
    run_in(dir.path(), ["review", "t.csv", "--out", "out"]).expect(0);
    let found = results(&dir.path().join("out"));
    assert_eq!(found["series"][0]["outcomes"]["over_limit"], 20);
    assert!(found["units_to_check"].get("never passed").is_none(), "{}", found["units_to_check"]);
    let actions = found["actions"].as_array().unwrap();
    assert!(actions.iter().all(|a| a["kind"] != "never_passed"), "{actions:?}");
    let said = |n: &serde_json::Value| n.as_str().unwrap().contains("never passed is not known");
    assert!(found["notes"].as_array().unwrap().iter().any(said));
}

/// More stations than an index of two bytes tells apart were booked on the first one.
#[test]
fn more_stations_than_can_be_told_apart_are_refused() {
    let mut text = "Date,Station,Model,Serial No,Current,High,Result\n".to_owned();
    for n in 0..=65_536 {
        writeln!(text, "2026-02-13,S{n},M1,U{n},0.412 mA,5.00 mA,Pass").unwrap();
    }
    let dir = folder();
    let told = refused(put(dir.path(), "t.csv", text));
    assert!(told.contains("65537 stations") && told.contains("at most 65536"), "{told}");
}
