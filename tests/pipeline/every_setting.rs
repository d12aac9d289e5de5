//! Every key of the settings turned once, in a plant where it matters: some number of a report must change.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, OnceLock};

use chrono::{Days, NaiveDate};
use leakdrift::config::{Config, Range};
use serde_json::Value;

use crate::support::run::{contents, folder, put, results, run_in};

/// A number from 0 to 1 that follows from `n` alone.
fn chance(n: u64) -> f64 {
    let mut x = n.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((x ^ (x >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
}

/// A standard normal number that follows from `n` alone (Box–Muller).
fn normal(n: u64) -> f64 {
    let (u, v) = (chance(2 * n + 1).max(1e-12), chance(2 * n));
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// One test.
#[derive(Clone)]
struct Test {
    day: u64,
    second: u64,
    model: &'static str,
    serial: String,
    station: &'static str,
    reading_ma: f64,
    limit_ma: f64,
    outcome: &'static str,
    lot: String,
    filter: &'static str,
    humidity: f64,
    remark: &'static str,
}

/// `units` tests of `model` on each of `days` days; readings lie about `middle(day)`.
fn tests(
    model: &'static str,
    days: u64,
    units: u64,
    middle: impl Fn(u64, u64) -> f64,
    spread: f64,
    limit_ma: f64,
) -> Vec<Test> {
    let mut all = Vec::new();
    for day in 0..days {
        for unit in 0..units {
            let n = day * units + unit + model.len() as u64 * 1_000_003;
            let reading_ma = middle(day, unit) * (1.0 + spread * normal(n));
            all.push(Test {
                day,
                // The first of a day is tested in the night.
                second: if unit == 0 { 5_400 } else { 28_800 + unit * 900 },
                model,
                serial: format!("{model}{n:07}"),
                station: if unit % 2 == 0 { "S1" } else { "S2" },
                reading_ma,
                limit_ma,
                outcome: if reading_ma > limit_ma { "over limit" } else { "pass" },
                lot: format!("L{}", day / 10),
                filter: if unit % 3 == 0 { "old" } else { "new" },
                humidity: 50.0,
                remark: "",
            });
        }
    }
    all
}

/// The table that holds these tests, without the columns in `without`.
fn table(tests: &[Test], without: &[&str]) -> String {
    let header = "date,time,model,serial,station,applied_v,frequency_hz,dwell_s,reading_ma,high_limit_ma,outcome,lot,filter,humidity_pct,remark";
    let kept: Vec<bool> = header.split(',').map(|name| !without.contains(&name)).collect();
    let row = |cells: Vec<String>| {
        let cells = cells.into_iter().zip(&kept).filter(|(_, kept)| **kept);
        cells.map(|(cell, _)| cell).collect::<Vec<_>>().join(",") + "\n"
    };
    let mut text = row(header.split(',').map(str::to_owned).collect());
    for t in tests {
        let date = NaiveDate::from_ymd_opt(2025, 6, 2).unwrap() + Days::new(t.day);
        let (h, m, s) = (t.second / 3600, t.second / 60 % 60, t.second % 60);
        text += &row(vec![
            date.to_string(),
            format!("{h:02}:{m:02}:{s:02}"),
            t.model.to_owned(),
            t.serial.clone(),
            t.station.to_owned(),
            "1500".to_owned(),
            "50".to_owned(),
            "2".to_owned(),
            // Three digits, as a common tester shows.
            if t.reading_ma < 1.0 {
                format!("{:.3}", t.reading_ma)
            } else {
                format!("{:.2}", t.reading_ma)
            },
            format!("{:.3}", t.limit_ma),
            t.outcome.to_owned(),
            t.lot.clone(),
            t.filter.to_owned(),
            format!("{:.0}", t.humidity),
            t.remark.to_owned(),
        ]);
    }
    text
}

/// One model that stands still, and everything that makes a row no plain first test.
fn steady() -> String {
    let mut all = tests("M1", 100, 8, |_, _| 1.0, 0.05, 3.0);
    let plain = all[400].clone();
    let mut add = |day: u64, second: u64, serial: &str, outcome: &'static str, reading_ma: f64| {
        let serial = serial.to_owned();
        all.push(Test { day, second, serial, outcome, reading_ma, ..plain.clone() });
    };
    for n in 0..12 {
        add(n * 7, 40_000, "DUMMY", "pass", 1.01);
    }
    add(5, 41_000, "BACK", "over limit", 3.2);
    add(45, 41_000, "BACK", "pass", 1.01);
    for n in 0..6 {
        add(30, 42_000 + 20 * n, "PROBED", "over limit", 3.2);
    }
    for n in 0..9 {
        add(31, 42_000 + 100 * n, "SLOWLY", "over limit", 3.2);
    }
    for n in 0..3 {
        add(33, 43_000 + 300 * n, "AGAIN", ["over limit", "pass"][n as usize / 2], 1.01);
    }
    add(35, 43_000, "WORD", "so so", 1.01);
    for n in 0..4 {
        add(50 + n, 44_000, "LOAD", "over limit", 3.2);
        add(70 + n, 51_000, &format!("STRAY{n}"), "pass", 2.0 + 0.1 * n as f64);
    }
    for n in 0..13 {
        add(60, 50_000 + 60 * n, &format!("STILL{n}"), "pass", 1.01);
    }
    add(34, 43_000, "LOUD", "over limit", 3.2);
    all.last_mut().unwrap().remark = "probing here";
    // Three years before all others.
    table(&all, &[]) + "2022-06-02,10:00:00,M1,OLD1,S1,1500,50,2,1.000,3.000,pass,L1,old,50,\n"
}

/// The table of a plant, by name.
fn plant(name: &str) -> String {
    match name {
        "steady" => steady(),
        // A level that rises towards its limit.
        "rising" => table(&tests("R1", 120, 5, |day, _| 1.0 + 0.003 * day as f64, 0.04, 2.2), &[]),
        // A narrow body under a limit that rejects healthy units.
        "tight" => table(&tests("T1", 80, 8, |_, _| 1.0, 0.05, 1.08), &[]),
        // A limit inside the band, much farther out than needed.
        "loose" => table(&tests("L1", 60, 5, |_, _| 1.0, 0.03, 1.8), &[]),
        // Microamperes under a header that says milliamperes.
        "micro" => table(&tests("U1", 60, 5, |_, _| 1000.0, 0.03, 3000.0), &[]),
        // Few units a day, so that points are weekly; the lot has a name of this plant only.
        "thin" => {
            table(&tests("W1", 200, 2, |_, _| 0.97, 0.04, 3.0), &[]).replace(",lot,", ",Kennung,")
        }
        // Two digits from 0.6 mA on, three below it.
        "coarser" => {
            let mut all = tests("Q1", 200, 4, |_, _| 0.555, 0.1, 3.0);
            for t in all.iter_mut().filter(|t| t.reading_ma >= 0.6) {
                t.reading_ma = (t.reading_ma * 100.0).round() / 100.0;
            }
            table(&all, &[])
        }
        // Nothing but date, model, reading and outcome; days and months can be read both ways.
        "bare" => {
            let without = ["station", "frequency_hz", "high_limit_ma", "lot", "filter"];
            let mut text = String::new();
            for line in table(&tests("B1", 10, 36, |_, _| 1.0, 0.03, 3.0), &without).lines() {
                let (date, rest) = line.split_once(',').unwrap();
                match date.strip_prefix("2025-06-") {
                    Some(day) => writeln!(text, "{day}.06.2025,{rest}").unwrap(),
                    None => writeln!(text, "{line}").unwrap(),
                }
            }
            text
        }
        // One reading in ten far out: too many to be strays.
        "heavy" => {
            let far = |day: u64, unit: u64| if (day * 8 + unit) % 10 == 7 { 1.8 } else { 1.0 };
            table(&tests("E1", 60, 8, far, 0.04, 3.0), &[])
        }
        // Readings that follow the humidity of the room, which rises.
        "humid" => {
            let wave = |day: u64| day as f64 / 60.0 - 1.0 + 0.4 * normal(day);
            let mut all = tests("H1", 120, 6, |day, _| (0.1 * wave(day)).exp(), 0.02, 3.0);
            for t in &mut all {
                t.humidity = 50.0 + 20.0 * wave(t.day);
            }
            table(&all, &[])
        }
        // Two groups side by side, by filter; and a second model.
        "two groups" => {
            let middle = |_, unit: u64| if unit.is_multiple_of(3) { 1.4 } else { 1.0 };
            let mut all = tests("G1", 60, 9, middle, 0.03, 3.0);
            all.extend(tests("G1b", 30, 8, |_, _| 1.1, 0.03, 3.0));
            table(&all, &[])
        }
        // A step up of 6 % of the typical reading, and a load that is tested every day.
        "step" => {
            let level = |day: u64, _| if day < 40 { 1.0 } else { 1.06 };
            let mut all = tests("P1", 80, 8, level, 0.03, 1.9);
            all.extend(tests("LOAD", 80, 1, |_, _| 1.5, 0.001, 1.9));
            table(&all, &[])
        }
        // More failures since one day, of one filter.
        "jump" => {
            let mut all = tests("J1", 100, 12, |_, _| 1.0, 0.03, 3.0);
            for (n, t) in all.iter_mut().enumerate() {
                let share = if t.day >= 70 && t.filter == "old" { 0.12 } else { 0.01 };
                if chance(n as u64 + 77) < share {
                    (t.reading_ma, t.outcome) = (3.5, "over limit");
                }
            }
            table(&all, &[])
        }
        // Times that name their zone.
        "zoned" => {
            table(&tests("Z1", 40, 8, |_, _| 1.0, 0.05, 3.0), &[]).replace(":00,Z1,", ":00Z,Z1,")
        }
        other => panic!("{other}"),
    }
}

/// A key turned: the plant, and what its settings say before and after.
struct Turn {
    key: &'static str,
    plant: &'static str,
    before: &'static str,
    after: &'static str,
}

const fn turn(
    key: &'static str,
    plant: &'static str,
    before: &'static str,
    after: &'static str,
) -> Turn {
    Turn { key, plant, before, after }
}

#[rustfmt::skip]
const TURNS: &[Turn] = &[
    turn("name", "steady", "", "name = \"other\""),
    turn("factors", "two groups", "", "factors = [\"filter\"]"),
    turn("events", "step", "", "events = \"events.csv\""),
    turn("calibration", "steady", "", "calibration = \"calibration.csv\""),
    turn("decisions", "steady", "", "decisions = \"decided.csv\""),
    turn("minute_cost", "steady", "", "minute_cost = 1.5"),
    turn("made_by", "steady", "", "made_by = \"quality\""),
    turn("family", "two groups", "", "[family]\n\"G*\" = \"grills\""),
    turn("date_order", "bare", "", "date_order = \"month-day-year\""),
    turn("utc_offset", "zoned", "", "utc_offset = \"-03:00\""),
    turn("decimal_sign", "steady", "", "decimal_sign = \"comma\""),
    turn("people", "jump", "[columns]\nfilter = \"operator\"", "people = \"shown\"\n[columns]\nfilter = \"operator\""),
    turn("day_starts", "steady", "", "day_starts = \"06:00\""),
    turn("placeholder_serials", "steady", "", "placeholder_serials = [\"DUMMY\"]"),
    turn("fault_locating_words", "steady", "", "fault_locating_words = [\"probing\"]"),
    turn("accepted_reject_share", "steady", "", "accepted_reject_share = 0.01"),
    turn("confidence", "steady", "", "confidence = 0.9"),
    turn("horizon_months", "rising", "", "horizon_months = 2"),
    turn("judged_months", "rising", "", "judged_months = 3"),
    turn("judged_months_season", "humid", "judged_units = 1", "judged_units = 1\njudged_months_season = 1"),
    turn("judged_units", "rising", "judged_months = 1", "judged_months = 1\njudged_units = 10"),
    turn("verdict_units", "steady", "", "verdict_units = 5000"),
    turn("verdict_days", "steady", "", "verdict_days = 500"),
    turn("verdict_lots", "steady", "", "verdict_lots = 500"),
    turn("provisional_units", "steady", "", "provisional_units = 5000"),
    turn("too_tight_rejects", "tight", "", "too_tight_rejects = 1000.0"),
    turn("excess_share_max", "heavy", "", "excess_share_max = 0.5"),
    turn("upper_distance_factor", "two groups", "", "upper_distance_factor = 20.0"),
    turn("upper_typical_factor", "steady", "", "upper_typical_factor = 5.0"),
    turn("suggest_distance_factor", "steady", "", "suggest_distance_factor = 20.0"),
    turn("suggest_typical_factor", "steady", "", "suggest_typical_factor = 1.5"),
    turn("tighter_advice_factor", "loose", "", "tighter_advice_factor = 50.0"),
    turn("trip_load_factor", "steady", "", "trip_load_factor = 1.3"),
    turn("pass_load_factor", "steady", "", "pass_load_factor = 0.7"),
    turn("material_room_share", "rising", "", "material_room_share = 1.0"),
    turn("material_steps", "rising", "", "material_steps = 100000.0"),
    turn("material_step_room_share", "step", "material_step_typical_share = 1.0", "material_step_typical_share = 1.0\nmaterial_step_room_share = 0.01"),
    turn("material_step_typical_share", "step", "", "material_step_typical_share = 1.0"),
    turn("retests_allowed", "steady", "", "retests_allowed = 3"),
    turn("limit_step_ma", "steady", "", "limit_step_ma = 0.5"),
    turn("step_from_readings", "coarser", "step_from_readings = 100", "step_from_readings = 50"),
    turn("daily_point_units", "steady", "", "daily_point_units = 9.0"),
    turn("weekly_point_units", "thin", "", "weekly_point_units = 14.5"),
    turn("month_units", "steady", "", "month_units = 1000.0"),
    turn("baseline_days", "rising", "", "baseline_days = 10"),
    turn("baseline_units", "rising", "", "baseline_units = 20.0"),
    turn("groups_bic_gain", "two groups", "", "groups_bic_gain = 1e6"),
    turn("groups_separation", "two groups", "", "groups_separation = 100.0"),
    turn("groups_smaller_share", "two groups", "", "groups_smaller_share = 0.45"),
    turn("groups_smaller_units", "two groups", "", "groups_smaller_units = 10000.0"),
    turn("strays_listed", "steady", "", "strays_listed = 1"),
    turn("fault_run_tests", "steady", "", "fault_run_tests = 5"),
    turn("fault_run_gap_s", "steady", "", "fault_run_gap_s = 200"),
    turn("frozen_readings", "steady", "", "frozen_readings = 20"),
    turn("frozen_chance", "steady", "", "frozen_chance = 1e-60"),
    turn("returned_after_days", "steady", "", "returned_after_days = 60"),
    turn("placeholder_days", "steady", "", "placeholder_days = 10"),
    turn("believable_years", "steady", "", "believable_years = 2.0"),
    turn("jump_p", "jump", "", "jump_p = 1e-30"),
    turn("jump_failures", "jump", "", "jump_failures = 1000.0"),
    turn("jump_ratio", "jump", "", "jump_ratio = 1000.0"),
    turn("jump_rise", "jump", "", "jump_rise = 0.9"),
    turn("cause_failures", "jump", "factors = [\"filter\"]", "factors = [\"filter\"]\ncause_failures = 1000.0"),
    turn("cause_share", "jump", "factors = [\"filter\"]", "factors = [\"filter\"]\ncause_share = 1.0"),
    turn("seed", "steady", "", "seed = 7"),
    turn("columns", "thin", "", "[columns]\nKennung = \"lot\""),
    turn("outcomes", "steady", "", "[outcomes]\n\"so so\" = \"pass\""),
    turn("values", "steady", "", "[values.station]\nS2 = \"S1\""),
    turn("files.pattern", "bare", "", "[files]\npattern = \"{station}/*\""),
    turn("files.believed", "micro", "", "[files]\nbelieved = [\"t.csv\"]"),
    turn("assume", "bare", "", "[assume]\nfrequency_hz = 60"),
    turn("tester.range_ma", "steady", "", "[tester]\nrange_ma = 1.5"),
    turn("tester.accuracy_pct", "steady", "[model.M1]\nleak_path_mohm = 1.0", "[model.M1]\nleak_path_mohm = 1.0\n[tester]\naccuracy_pct = 10"),
    turn("tester.accuracy_steps", "steady", "[model.M1]\nleak_path_mohm = 1.0", "[model.M1]\nleak_path_mohm = 1.0\n[tester]\naccuracy_steps = 20"),
    turn("check_loads.resistance_mohm", "step", "[check_loads.LOAD]\nexpect = \"pass\"", "[check_loads.LOAD]\nexpect = \"pass\"\nresistance_mohm = 1.0"),
    turn("check_loads.expect", "steady", "[check_loads.LOAD]\nexpect = \"over limit\"", "[check_loads.LOAD]\nexpect = \"pass\""),
    turn("ceiling", "steady", "", "[ceiling]\n\"ac withstand\" = 1.5"),
    turn("open_lead_ma", "steady", "", "[open_lead_ma]\nS1 = 0.2"),
    turn("model.leak_path_mohm", "steady", "", "[model.M1]\nleak_path_mohm = 1.0"),
    turn("model.high_limit_ma", "bare", "", "[model.B1]\nhigh_limit_ma = 2.0"),
    turn("model.low_limit_ma", "bare", "[model.B1]\nhigh_limit_ma = 2.0", "[model.B1]\nhigh_limit_ma = 2.0\nlow_limit_ma = 0.4"),
    turn("model.capacitance_nf", "steady", "", "[model.M1]\ncapacitance_nf = 2.2"),
    turn("model.limit_group", "two groups", "", "[model.G1]\nlimit_group = \"g\"\n[model.G1b]\nlimit_group = \"g\""),
    turn("model.accepted_since", "step", "", "[model.P1]\naccepted_since = \"2027-01-01\""),
    turn("model.limit_step_ma", "steady", "", "[model.M1]\nlimit_step_ma = 0.5"),
    turn("model.required_v", "steady", "", "[model.M1]\nrequired_v = 1800"),
    turn("model.required_dwell_s", "steady", "", "[model.M1]\nrequired_dwell_s = 3"),
];

/// The program's arguments for the report that shows a key.
fn arguments(key: &str) -> &'static [&'static str] {
    match key {
        // Expected currents are a question of the limit study.
        "model.capacitance_nf" => &["limits", "in", "--model", "M1", "--config", "x.toml"],
        _ => &["review", "in", "--config", "x.toml", "--all-charts"],
    }
}

/// The numbers of a report: its results without the list of settings and how it was made, and its charts.
fn numbers(turn: &Turn, settings: &str) -> (Value, BTreeMap<String, Vec<u8>>) {
    let dir = folder();
    put(dir.path(), "in/A7/t.csv", plant(turn.plant));
    put(dir.path(), "events.csv", "date,what,station,model\n2025-07-12,new supplier,,P1\n");
    put(
        dir.path(),
        "calibration.csv",
        "station,done_on,instrument,due_on,error_pct\nS1,2025-07-01,T1,2025-08-01,-1.0\n",
    );
    // The one incident that every plant has, by its id: no leak path is stated.
    put(
        dir.path(),
        "decided.csv",
        "incident,decision,who,when,remark\ni-00g9fz,asked for,QA,2026-01-05,\n",
    );
    put(dir.path(), "x.toml", settings);
    let done = run_in(dir.path(), [arguments(turn.key), &["--out", "out"]].concat());
    assert!(done.status < 2, "{settings}: {}", done.err);
    let mut results = results(&dir.path().join("out"));
    for not_found_out in ["settings", "made"] {
        results.as_object_mut().unwrap().remove(not_found_out);
    }
    let mut charts = contents(&dir.path().join("out"));
    charts.retain(|name, _| name.ends_with(".png"));
    (results, charts)
}

/// Every key of the reference, with its section; a section of the user's own words is one key.
fn keys() -> BTreeSet<String> {
    let own_words =
        ["columns", "outcomes", "values", "assume", "ceiling", "open_lead_ma", "family"];
    let mut keys = BTreeSet::new();
    for section in Config::SECTIONS {
        let head = section.head.trim_matches(['[', ']']).split('.').next().unwrap();
        if own_words.contains(&head) {
            keys.insert(head.to_owned());
            continue;
        }
        let prefix = if head.is_empty() { String::new() } else { format!("{head}.") };
        keys.extend(section.keys.iter().map(|key| format!("{prefix}{}", key.name)));
    }
    keys
}

#[test]
fn every_key_is_turned() {
    let turned: BTreeSet<String> = TURNS.iter().map(|t| t.key.to_owned()).collect();
    assert_eq!(turned, keys());
    assert_eq!(turned.len(), TURNS.len());
}

/// A key that is taken and never read changes nothing: two stood in the reference for long.
#[test]
fn every_key_changes_some_number_of_a_report() {
    // What stands before is the same for many keys of a plant.
    let before: Mutex<BTreeMap<_, Arc<OnceLock<_>>>> = Mutex::default();
    let next = AtomicUsize::new(0);
    let same = Mutex::new(Vec::new());
    let turn_all = || {
        while let Some(turn) = TURNS.get(next.fetch_add(1, Ordering::Relaxed)) {
            let place = (turn.plant, turn.before, arguments(turn.key));
            let known = before.lock().unwrap().entry(place).or_default().clone();
            let was = known.get_or_init(|| numbers(turn, turn.before));
            if *was == numbers(turn, turn.after) {
                same.lock().unwrap().push(turn.key);
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, std::num::NonZero::get) {
            scope.spawn(turn_all);
        }
    });
    assert_eq!(same.into_inner().unwrap(), Vec::<&str>::new());
}

/// For every key with a range: a number that is none, one below, and one above where there is an end.
#[test]
fn a_number_out_of_its_range_is_refused_with_line_and_column() {
    let mut asked = 0;
    for section in Config::SECTIONS {
        for key in section.keys {
            let above = match key.range {
                Range::Any => continue,
                Range::Between(_, high) | Range::Within(_, high) => format!("{}", high + 1.0),
                Range::Above(_) | Range::AtLeast(_) => "inf".to_owned(),
            };
            let needed =
                if section.head.starts_with("[check_loads") { "expect = \"pass\"" } else { "" };
            for value in ["nan", "-1", &above] {
                let text = format!("{}\n{needed}\n  {} = {value}\n", section.head, key.name);
                let told = Config::parse(&text, Path::new("x.toml")).unwrap_err().to_string();
                let place = format!("line 3, column {}:", key.name.chars().count() + 6);
                assert!(told.contains(&place), "{text}: {told}");
                assert!(told.contains("expected"), "{text}: {told}");
                asked += 1;
            }
        }
    }
    assert!(asked > 150, "{asked}");
}

/// The ends of a range are in it or not, as the words say.
#[test]
fn a_range_holds_what_it_says() {
    for (range, words, inside, outside) in [
        (Range::Above(0.0), "above 0", 1e-9, 0.0),
        (Range::AtLeast(1.0), "of 1 or more", 1.0, 0.999),
        (Range::Between(0.5, 1.0), "above 0.5 and below 1", 0.51, 1.0),
        (Range::Within(0.0, 1.0), "from 0 to 1", 1.0, 1.001),
    ] {
        assert_eq!(range.to_string(), words);
        assert!(range.holds(inside) && !range.holds(outside), "{range}");
        assert!(!range.holds(f64::NAN) && !range.holds(f64::INFINITY), "{range}");
    }
}
