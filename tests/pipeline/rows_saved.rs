//! The rows as they were understood stand for their files, with serials or without; the query holds the settings.

use polars::prelude::{ParquetReader, SerReader};
use serde_json::Value;

use crate::support::days::day;
use crate::support::run::{
    committed, folder, put, results, reviewed, run_in, sample_data, small_table,
};

/// The texts of a column of a Parquet file; blank where there is none.
fn column(path: &std::path::Path, name: &str) -> Vec<String> {
    let frame = ParquetReader::new(std::fs::File::open(path).unwrap()).finish().unwrap();
    let column = frame.column(name).unwrap();
    column.str().unwrap().iter().map(|cell| cell.unwrap_or_default().to_owned()).collect()
}

/// The lines of a tally, sorted, but for the air.
fn lines(path: &std::path::Path) -> Vec<String> {
    let frame = ParquetReader::new(std::fs::File::open(path).unwrap()).finish().unwrap();
    let frame = frame.drop_many(["humidity_pct", "temperature_c"]);
    let cell =
        |row: usize| frame.columns().iter().map(move |c| format!("{} ", c.get(row).unwrap()));
    let mut lines: Vec<String> = (0..frame.height()).map(|row| cell(row).collect()).collect();
    lines.sort_unstable();
    lines
}

/// What a report says beside its name, its files, and what is said of reading them.
fn found(report: &Value) -> Value {
    let mut found = report.clone();
    let all = found.as_object_mut().unwrap();
    for of_the_run in ["name", "files", "notes", "said_first", "made", "rows", "misread"] {
        all.remove(of_the_run);
    }
    found
}

/// Holds two reports equal; numbers to nine digits, since the mean of a day's air is written with twelve.
#[track_caller]
fn is_the_same(at: &str, a: &Value, b: &Value) {
    match (a, b) {
        (Value::Object(a), Value::Object(b)) => {
            assert!(a.keys().eq(b.keys()), "{at}: {:?}, {:?}", a.keys(), b.keys());
            a.iter().for_each(|(key, a)| is_the_same(&format!("{at}/{key}"), a, &b[key]));
        }
        (Value::Array(a), Value::Array(b)) => {
            assert_eq!(a.len(), b.len(), "{at}");
            let each = a.iter().zip(b).enumerate();
            each.for_each(|(n, (a, b))| is_the_same(&format!("{at}/{n}"), a, b));
        }
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            assert!((a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1e-3), "{at}: {a}, {b}");
        }
        _ => assert_eq!(a, b, "{at}"),
    }
}

/// The settings of the demonstration, wherever its rows lie.
fn settings() -> String {
    committed("sample-data/leakdrift.toml").to_string_lossy().into_owned()
}

/// Retests, units that never passed, check loads, repeated rows, a wrong clock: all of the factory's stories need rows.
#[test]
fn the_rows_of_files_are_reviewed_like_the_files() {
    let dir = folder();
    let both = ["tally", &sample_data(), "--out", "t.parquet", "--rows", "r.parquet"];
    run_in(dir.path(), both).expect(0);
    let config = settings();
    let review = |paths: &[&str], out: &str| {
        let with = ["--config", &config, "--out", out];
        run_in(dir.path(), [&["review"], paths, &with].concat()).expect(0);
        results(&dir.path().join(out))
    };
    let of_files = &reviewed().results;
    let of_rows = review(&["r.parquet"], "rows");
    is_the_same("", &found(&of_rows), &found(of_files));
    // What could not be understood is no row, and that is said first.
    let unreadable = of_files["rows"]["unreadable"].as_u64().unwrap();
    assert!(unreadable > 0, "the factory has rows that cannot be understood");
    assert_eq!(of_rows["rows"]["unreadable"], 0);
    for key in ["used", "set_aside"] {
        assert_eq!(of_rows["rows"][key], of_files["rows"][key], "{key}");
    }
    let said = of_rows["said_first"].to_string();
    assert!(said.contains(&format!("{unreadable} of ")), "{said}");
    // The tally of the rows is the tally of the files, and beside its rows it is read by them.
    run_in(dir.path(), ["tally", "r.parquet", "--out", "again.parquet", "--config", &config])
        .expect(0);
    let of = |file: &str| lines(&dir.path().join(file));
    assert!(of("again.parquet") == of("t.parquet"), "the tally of the rows is another");
    let beside = review(&["t.parquet", "r.parquet"], "beside");
    is_the_same("", &found(&beside), &found(&of_rows));
    let told =
        |note: &Value| note.as_str().unwrap().contains("t.parquet: a tally of what r.parquet");
    assert!(beside["notes"].as_array().unwrap().iter().any(told), "{}", beside["notes"]);
}

/// A retest that is told from a first attempt by its serial alone, a load, a blank, and a file called by a serial.
fn with_retests() -> String {
    let mut table = small_table(day("2026-08-03"), 40);
    for unit in 0..12 {
        let at = format!("1{} 09:0{}", 1 + unit / 10, unit % 10);
        let first = format!("2026-09-{at}:00,M1,RT-{unit},S1,1500,50,3.100,3.000,over limit\n");
        table += &first;
        let passed = first.replace("3.100", "1.000").replace("over limit", "pass");
        table += &passed.replace(" 09:", " 10:");
    }
    table += "2026-09-12 07:00:00,M1,LOAD-1,S1,1500,50,3.100,3.000,over limit\n";
    table + "2026-09-12 07:01:00,M1,,S1,1500,50,0.990,3.000,pass\n"
}

const LOADS: &str = "[check_loads.\"load 1\"]\nresistance_mohm = 0.4\nexpect = \"over limit\"\n";

#[test]
fn numbers_in_place_of_serials_tell_units_apart_and_nothing_else() {
    let dir = folder();
    put(dir.path(), "in/S03919.csv", with_retests());
    put(dir.path(), "in/leakdrift.toml", LOADS);
    let with = ["--config", "in/leakdrift.toml"];
    let rows = ["tally", "in", "--rows", "r.parquet", "--without-serials"];
    run_in(dir.path(), rows).expect(0);
    let path = dir.path().join("r.parquet");
    let serials = column(&path, "serial");
    let is_kept = |s: &&String| s.is_empty() || *s == "LOAD-1";
    assert_eq!(serials.iter().filter(is_kept).count(), 2);
    let (first, last) = (&serials[0], &serials[serials.len() - 3]);
    // 800 units and 12 with a retest, in the order of their first rows.
    assert_eq!([first.as_str(), last.as_str()], ["unit 1", "unit 812"]);
    assert!(serials.iter().all(|s| is_kept(&s) || s.starts_with("unit ")));
    assert!(column(&path, "source_file").iter().all(|file| file == "file 1"));
    let review = |paths: &str, out: &str| {
        run_in(dir.path(), ["review", paths, "--out", out].iter().chain(&with)).expect(0);
        results(&dir.path().join(out))
    };
    let (files, rows) = (review("in", "files"), review("r.parquet", "rows"));
    assert_eq!(rows["rows"], files["rows"]);
    assert_eq!(files["rows"]["set_aside"]["retest"], 12);
    assert_eq!(files["rows"]["set_aside"]["check load"], 1);
    assert_eq!(rows["series"], files["series"]);
    let list = std::fs::read_to_string(dir.path().join("rows/units-to-check.csv")).unwrap();
    assert!(!list.contains("RT-") && !list.contains("S03919"), "{list}");
}

#[test]
fn rows_are_refused_where_they_would_not_be_what_they_say() {
    let dir = folder();
    put(dir.path(), "in/a.csv", with_retests());
    put(dir.path(), "text.csv", "years of work");
    let run = |args: &[&str], status: i32| run_in(dir.path(), args).expect(status).err;
    run(&["tally", "in", "--out", "t.parquet", "--rows", "r.parquet"], 0);
    for (args, why) in [
        // Lines of a tally stand for many units.
        (&["tally", "t.parquet", "--rows", "x.parquet"][..], "single tests"),
        (&["tally", "in", "--rows", "text.csv"], "lost"),
        (&["tally", "in", "--rows", "in/a.csv"], "lost"),
        (&["tally", "in", "--rows", "x.parquet", "--out", "x.parquet"], "two files"),
        (&["tally", "in", "--out", "x.parquet", "--without-serials"], "--rows"),
        (&["tally", "in"], "--out"),
        (&["tally", "--sql", "duckdb", "--rows", "x.parquet"], "cannot be used with"),
        (&["tally", "--sql", "other"], "duckdb, spark, postgres"),
        (&["tally", "in", "--out", "x.parquet", "--table", "t"], "cannot be used with"),
        // Its units would count twice.
        (&["review", "r.parquet", "in/a.csv"], "count twice"),
    ] {
        let said = run(args, 2);
        assert!(said.contains(why), "{args:?}: {said}");
        assert!(!dir.path().join("x.parquet").exists(), "{args:?}");
    }
    // Among exports they are left out and told, like a tally.
    run(&["tally", "in", "--rows", "in/r.parquet"], 0);
    run(&["review", "in", "--out", "out"], 0);
    let out = results(&dir.path().join("out"));
    // No settings name the load here.
    assert_eq!(out["series"][0]["units"], 814);
    let told = |n: &Value| n.as_str().unwrap().contains("in/r.parquet: a tally, or rows");
    assert!(out["notes"].as_array().unwrap().iter().any(told), "{}", out["notes"]);
}

/// Every setting that decides what counts stands in the query of each engine, as that engine writes texts.
#[test]
fn the_query_holds_the_settings_and_names_of_its_engine() {
    let dir = folder();
    put(
        dir.path(),
        "leakdrift.toml",
        "returned_after_days = 41\nfault_run_tests = 7\nfault_run_gap_s = 83\nplaceholder_days = 17\nbelievable_years = 3.0\n\
         day_starts = \"05:30\"\nplaceholder_serials = [\"none yet\"]\nfault_locating_words = [\"Fitter's run\"]\n\
         factors = [\"filter kind\"]\n[assume]\ntest = \"leakage\"\n[check_loads.\"LOAD-9\"]\nresistance_mohm = 3.3\n\
         expect = \"pass\"\n[model.\"M 7\"]\nhigh_limit_ma = 4.25\nlow_limit_ma = 0.5\n",
    );
    let settings = [
        "3542400",
        ">= 7 ",
        "<= 83 ",
        ">= 17",
        "- 1095",
        "< 19800",
        "'noneyet'",
        "'load9'",
        "'leakage'",
        "c_model = 'M 7' THEN 4250000000",
        "THEN 500000000",
    ];
    for (engine, own) in [
        ("duckdb", &["\"filter kind\"", "'fitter''s run'", "DATE_DIFF('day'"][..]),
        ("spark", &["`filter kind`", "'fitter\\'s run'", "DATE_ADD("]),
        ("postgres", &["\"filter kind\"", "'fitter''s run'", "DOUBLE PRECISION"]),
    ] {
        let args =
            ["tally", "--sql", engine, "--table", "house.tests", "--config", "leakdrift.toml"];
        let query = run_in(dir.path(), args).expect(0).out;
        for part in settings.iter().chain(own).chain(&["FROM house.tests", "-- What it cannot do"])
        {
            assert!(query.contains(part), "{engine}: no {part}");
        }
        let code: String =
            query.lines().filter(|line| !line.trim_start().starts_with("--")).collect();
        assert!(
            !["{{", "{%", "None", "undefined"].iter().any(|left| code.contains(left)),
            "{engine}"
        );
        let count = |sign: char| code.matches(sign).count();
        assert_eq!(count('('), count(')'), "{engine}");
    }
}

/// Lines of a tally stand in the order of their texts, whichever came first: the same rows, the same bytes.
#[test]
fn lines_of_a_tally_do_not_follow_the_order_of_the_rows() {
    let mut text = "Tested at,Serial,Model,Leakage [mA],High limit [mA],Lot,Outcome\n".to_owned();
    for n in 0..60 {
        let lot = ["L3", "L1", "L2"][n % 3];
        text += &format!("2026-02-02 08:{n:02}:00,U{n},M1,0.800,1.3,{lot},pass\n");
    }
    let dir = folder();
    put(dir.path(), "t.csv", text);
    run_in(dir.path(), ["tally", "t.csv", "--out", "t.parquet"]).expect(0);
    assert_eq!(column(&dir.path().join("t.parquet"), "lot"), ["L1", "L2", "L3"]);
}
