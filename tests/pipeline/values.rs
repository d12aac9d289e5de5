//! What single cells say: numbers in every notation, units, outcomes, names and dates. What cannot be decided is
//! refused with the setting that decides it, and no value is off by a factor.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use leakdrift::config::Config;
use leakdrift::series::Pass;

use crate::support::count::{counted, tried};
use crate::support::run::{contents, folder, put, results, run_in};

/// A table of `rows`: six cells after date, serial and model.
fn table(columns: &str, rows: &[&str]) -> String {
    let mut text = format!("date;serial;model;{columns}\n");
    for (n, row) in rows.iter().enumerate() {
        text += &format!("2026-03-{:02};U{n:03};M1;{row}\n", n % 28 + 1);
    }
    text
}

fn config(text: &str) -> Config {
    Config::parse(text, Path::new("leakdrift.toml")).unwrap()
}

/// The readings and the high limits of a table, in picoamperes, each once.
fn currents(text: &[u8], settings: &str) -> (Vec<i64>, Vec<Option<i64>>) {
    let dir = folder();
    let path = put(dir.path(), "t.csv", text);
    let (_, pass) = counted(&[path], &config(settings));
    assert_eq!(pass.ledger.unreadable, 0, "{:?}", pass.unreadable.first());
    let all = || pass.series.iter();
    let readings: BTreeSet<i64> = all().flat_map(|s| s.tally.iter().map(|l| l.value_pa)).collect();
    let limits: BTreeSet<Option<i64>> =
        all().flat_map(|s| s.outcomes.iter().map(|o| o.limits.high_pa)).collect();
    (readings.into_iter().collect(), limits.into_iter().collect())
}

/// What is said of a file that is refused.
#[track_caller]
fn refused(text: impl AsRef<[u8]>, settings: &str) -> String {
    let dir = folder();
    let path = put(dir.path(), "t.csv", text);
    match tried(&[path], &config(settings)) {
        Ok((_, pass)) => panic!("{:?}", pass.ledger),
        Err(e) => e.to_string(),
    }
}

const UA: i64 = 1_000_000;
const MA: i64 = 1_000_000_000;

#[test]
fn title_lines_are_read_with_the_decimal_sign_of_the_file() {
    let rows = ["0,412;pass", "0,951;pass", "1,171;pass"];
    let body = table("leakage [mA];result", &rows);
    for (title, limit) in [
        ("High limit: 3,500 mA", 3500 * UA),
        ("High limit: 3,5", 3500 * UA),
        ("High limit [µA]: 3500", 3500 * UA),
        ("High limit: 3.500 µA", 3500 * UA),
    ] {
        let text = format!("Station: S1\n{title}\n\n{body}");
        let (readings, limits) = currents(text.as_bytes(), "");
        assert_eq!(readings, [412 * UA, 951 * UA, 1171 * UA]);
        assert_eq!(limits, [Some(limit)], "{title}");
    }
}

#[test]
fn thousands_signs_do_not_pass_for_decimal_signs() {
    for (sign, other) in [('.', ','), (',', '.')] {
        let marked: Vec<String> = (0..20)
            .map(|n| {
                if n % 2 == 0 {
                    format!("{};pass", 960 + n)
                } else {
                    format!("1{sign}{};pass", 170 + n)
                }
            })
            .collect();
        let rows: Vec<&str> = marked.iter().map(String::as_str).collect();
        let (readings, _) = currents(table("leakage [µA];result", &rows).as_bytes(), "");
        assert_eq!(readings.first(), Some(&(960 * UA)));
        assert_eq!(readings.last(), Some(&(1189 * UA)), "{sign}");
        // The same beside one number of which the sign is certain.
        let limit: Vec<String> = marked.iter().map(|r| format!("1300{other}5;{r}")).collect();
        let rows: Vec<&str> = limit.iter().map(String::as_str).collect();
        let text = table("high limit [µA];leakage [µA];result", &rows);
        let (readings, limits) = currents(text.as_bytes(), "");
        assert_eq!(readings.last(), Some(&(1189 * UA)), "{sign}");
        assert_eq!(limits, [Some(13_005 * UA / 10)]);
    }
    // Blanks of any width and apostrophes.
    let rows = ["975,5;pass", "1\u{a0}171,5;pass", "1\u{202f}180,5;pass", "1'190,5;pass"];
    let (readings, _) = currents(table("leakage [µA];result", &rows).as_bytes(), "");
    assert_eq!(readings.last(), Some(&(11_905 * UA / 10)));
}

#[test]
fn a_decimal_sign_that_cannot_be_told_is_refused_with_its_setting() {
    let rows = ["1.171;pass", "1.212;pass", "1.050;pass"];
    let text = table("leakage [µA];result", &rows);
    assert!(refused(&text, "").contains("decimal_sign"));
    let (readings, _) = currents(text.as_bytes(), "decimal_sign = \"comma\"");
    assert_eq!(readings, [1050 * UA, 1171 * UA, 1212 * UA]);
    let (readings, _) = currents(text.as_bytes(), "decimal_sign = \".\"");
    assert_eq!(readings, [1_050_000, 1_171_000, 1_212_000]);
    // Two signs in one column.
    let both = table("leakage [mA];result", &["1.17;pass", "1,21;pass", "0,05;pass"]);
    assert!(refused(both, "").contains("decimal_sign"));
    // In milliamperes thousands would be amperes: the sign is the decimal one.
    let (readings, _) = currents(table("leakage [mA];result", &rows).as_bytes(), "");
    assert_eq!(readings, [1050 * UA, 1171 * UA, 1212 * UA]);
}

#[test]
fn a_number_in_the_other_notation_is_unreadable_and_never_a_thousand_times_as_large() {
    let mut rows = vec!["1,17;pass"; 300];
    rows[250] = "0.412;pass";
    let dir = folder();
    let path = put(dir.path(), "t.csv", table("leakage [mA];result", &rows));
    let (_, pass) = counted(&[path], &Config::default());
    assert_eq!((pass.ledger.used, pass.ledger.unreadable), (299, 1));
    assert_eq!(pass.unreadable[0].line, 252);
}

#[test]
fn a_unit_that_cannot_be_read_is_refused_with_its_setting() {
    let rows = ["975;1300;pass", "990;1300;pass", "1040;1300;pass"];
    for unit in ["[??]", "[?A]", "[\u{fffd}A]", "(?A)", "(x10 mA)", "[Skt]"] {
        let text = table(&format!("Strom {unit};high limit [µA];result"), &rows);
        let told = refused(&text, "");
        assert!(told.contains("[columns]"), "{unit}: {told}");
        let settings = format!("[columns]\n\"Strom {unit}\" = \"reading_ua\"");
        let (readings, limits) = currents(text.as_bytes(), &settings);
        assert_eq!(readings, [975 * UA, 990 * UA, 1040 * UA], "{unit}");
        assert_eq!(limits, [Some(1300 * UA)]);
    }
    // The settings hold whatever the header shows, also nothing.
    for header in ["Strom", "Strom [mA]", "Strom [x]", "Reading"] {
        let text = table(&format!("{header};high limit [µA];result"), &rows);
        let (readings, _) =
            currents(text.as_bytes(), &format!("[columns]\n\"{header}\" = \"reading_ua\""));
        assert_eq!(readings, [975 * UA, 990 * UA, 1040 * UA], "{header}");
    }
    // Nor does a column of units beside the numbers speak against them.
    let beside = ["975;mA;1300;pass", "990;;1300;pass", "1040;mA;1300;pass"];
    let text = table("Reading;Unit;high limit [µA];result", &beside);
    let (readings, _) = currents(text.as_bytes(), "[columns]\n\"Reading\" = \"reading_ua\"");
    assert_eq!(readings, [975 * UA, 990 * UA, 1040 * UA]);
    let title = format!("High limit [??]: 1300\n\n{}", table("Strom [µA];result", &["975;pass"]));
    // A limit in a unit that cannot be read is none, and said.
    assert!(refused(title, "").contains("1300 [??]"));
    let text = table("Spannung [Skt];Strom [µA];result", &["1500;975;pass"]);
    assert!(refused(text, "").contains("applied_v"));
}

#[test]
fn the_sign_for_micro_is_read_in_every_code_page() {
    let rows = ["975;pass", "990;pass"];
    let dos = |text: &str| -> Vec<u8> {
        text.chars().map(|c| if c == 'µ' { 0xe6 } else { c as u8 }).collect()
    };
    let text = table("Strom [µA];result", &rows);
    let twice = text.replace('µ', "Âµ");
    let words = text.replace("µA", "microamps");
    let rms = text.replace("[µA]", "(µA rms)");
    for bytes in [dos(&text), twice.into_bytes(), words.into_bytes(), rms.into_bytes()] {
        let (readings, _) = currents(&bytes, "");
        assert_eq!(readings, [975 * UA, 990 * UA]);
    }
    let behind = table("Strom;result", &["975 µA;pass", "990 µA;pass"]);
    assert_eq!(currents(&dos(&behind), "").0, [975 * UA, 990 * UA]);
}

#[test]
fn a_row_of_units_below_the_header_names_the_units() {
    let rows = ["1.5;975;1300;pass", "1.5;1040;1300;pass"];
    let plain = table("voltage;leakage;high limit;result", &rows);
    for units in
        [";;;kV;µA;µA;", "(text);(text);(text);(kV);(uA);(uA);(text)", ";;;[kV];[µA];[µA];"]
    {
        let text = plain.replacen('\n', &format!("\n{units}\n"), 1);
        let (readings, limits) = currents(text.as_bytes(), "");
        assert_eq!(readings, [975 * UA, 1040 * UA], "{units}");
        assert_eq!(limits, [Some(1300 * UA)]);
    }
    let text = plain.replacen('\n', "\n;;;kV;?A;?A;\n", 1);
    assert!(refused(text, "").contains("reading_ua"));
    let against = plain.replace("leakage", "leakage [mA]").replacen('\n', "\n;;;kV;µA;µA;\n", 1);
    assert!(refused(against, "").contains("reading_ua"));
}

#[test]
fn a_limit_without_a_unit_has_that_of_the_reading() {
    let rows = ["975;1300;pass", "990;1300;pass"];
    let (readings, limits) =
        currents(table("Strom [µA];Oberer Grenzwert;result", &rows).as_bytes(), "");
    assert_eq!((readings, limits), (vec![975 * UA, 990 * UA], vec![Some(1300 * UA)]));
    // Where no column names one it is milliamperes, which is told.
    let dir = folder();
    let path = put(dir.path(), "t.csv", table("Strom;result", &["0.975;pass", "0.99;pass"]));
    let (read, pass) = counted(&[path], &Config::default());
    assert_eq!(pass.series[0].tally[0].value_pa, 975 * MA / 1000);
    assert!(read.notes.iter().any(|n| n.text.contains("without a unit")), "{:?}", read.notes);
}

/// How often each outcome was counted in all series, in words.
fn outcomes(pass: &Pass) -> BTreeMap<&'static str, u64> {
    let mut counted = BTreeMap::new();
    for line in pass.series.iter().flat_map(|s| &s.outcomes) {
        *counted.entry(line.outcome.words()).or_default() += u64::from(line.count);
    }
    counted
}

#[test]
fn a_word_that_begins_with_a_failure_is_a_failure() {
    // As long as a file is: hours, where each place in it is tried as an end of the word.
    let remark = format!("fail {}", "-x ".repeat(100_000));
    let failures = [
        (&*remark, "breakdown"),
        ("FAIL (2)", "breakdown"),
        ("Fail: arc", "arc"),
        ("FAILED - over limit", "over limit"),
        ("NG2", "breakdown"),
        ("Durchschlag L-PE", "breakdown"),
        ("Fehler 17", "breakdown"),
        ("不良(高)", "breakdown"),
        ("breakdown at 1.2 kV", "breakdown"),
        ("aborted by operator", "not completed"),
        ("Trip", "breakdown"),
        ("FAIL no contact", "breakdown"),
        ("FAIL (0 retries)", "breakdown"),
        ("FAIL [0.31]", "breakdown"),
        ("FAIL 0.16 mA", "breakdown"),
        ("Breakdown at 0.9 kV", "breakdown"),
        ("n.i.O. (OG)", "breakdown"),
        ("n.i.O.: Strom", "breakdown"),
        ("nicht i.O.", "breakdown"),
    ];
    let unknown = [
        "Fehler: 0",
        "FAIL -> PASS",
        "fail: none",
        "Fehler: keine gefunden",
        "fail 0",
        "Fehler: 0 Stück",
        "breakdown: not seen",
        "passed?",
        "Fehlerfrei",
        "high voltage",
        "OK 2",
    ];
    let mut rows: Vec<String> = vec!["0.95;3.00;pass".to_owned(); 9];
    rows.extend(failures.iter().map(|(word, _)| format!("0.95;3.00;{word}")));
    rows.extend(unknown.iter().map(|word| format!("0.95;3.00;{word}")));
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let dir = folder();
    let path = put(dir.path(), "t.csv", table("leakage [mA];high limit [mA];result", &rows));
    let (_, pass) = counted(&[path], &Config::default());
    let mut expected = BTreeMap::from([("pass", 9)]);
    for (_, outcome) in failures {
        *expected.entry(outcome).or_default() += 1;
    }
    assert_eq!(outcomes(&pass), expected);
    let unread: Vec<&str> = pass.unreadable.iter().map(|u| &*u.found).collect();
    assert_eq!(unread, unknown);
}

#[test]
fn words_in_place_of_a_reading_beside_a_failure_are_no_reading() {
    let words =
        ["-", "---", "--.--", "OL", "O.L.", "n/a", "N/A", "****", "overload", "NaN", "?", ""];
    let mut rows: Vec<String> = vec!["0.95;3.00;pass".to_owned(); 9];
    rows.extend(words.iter().map(|word| format!("{word};3.00;breakdown")));
    rows.extend(words.iter().map(|word| format!("{word};3.00;over limit")));
    rows.extend(words.iter().map(|word| format!("{word};3.00;pass")));
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let dir = folder();
    let path = put(dir.path(), "t.csv", table("leakage [mA];high limit [mA];result", &rows));
    let (_, pass) = counted(&[path], &Config::default());
    let n = words.len() as u64;
    let expected = BTreeMap::from([("pass", 9), ("breakdown", n), ("over limit", n)]);
    assert_eq!(outcomes(&pass), expected);
    // A pass without a reading is none.
    assert_eq!(pass.ledger.unreadable, n);
    assert_eq!(pass.ledger.unreadable_by_outcome, BTreeMap::from([("pass", n)]));
}

#[test]
fn unreadable_rows_that_may_be_failures_are_counted_first() {
    let mut rows = vec!["0.95;3.00;pass"; 90];
    rows.extend(["3.10;3.00;over limit"; 3]);
    rows.extend(["abc;3.00;breakdown"; 4]);
    rows.extend(["abc;3.00;pass"; 2]);
    rows.extend(["0.95;3.00;E17"; 5]);
    let dir = folder();
    let path = put(dir.path(), "t.csv", table("leakage [mA];high limit [mA];result", &rows));
    let (_, pass) = counted(&[path], &Config::default());
    let expected = BTreeMap::from([("breakdown", 4), ("not known", 5), ("pass", 2)]);
    assert_eq!(pass.ledger.unreadable_by_outcome, expected);
    let first = pass.notes.iter().find(|n| n.first && n.text.contains("unreadable")).unwrap();
    assert!(first.text.contains("4 breakdown") && first.text.contains("5 \"E17\""), "{first}");
}

#[test]
fn a_failure_where_no_limit_is_known_has_no_class() {
    let mut rows = vec!["0.95;pass"; 60];
    rows.extend(["1.10;fail"; 5]);
    rows.extend([";NG"; 2]);
    let text = table("leakage [mA];result", &rows);
    let dir = folder();
    put(dir.path(), "in/t.csv", &text);
    let (_, pass) = counted(&[dir.path().join("in/t.csv")], &Config::default());
    let expected = BTreeMap::from([("pass", 60), ("failed, class not known", 7)]);
    assert_eq!(outcomes(&pass), expected);
    // It says nothing of the leakage.
    let readings: u64 = pass.series[0].tally.iter().map(|l| u64::from(l.count)).sum();
    assert_eq!(readings, 60);
    // A limit tells: at it or above a trip, else a breakdown.
    let limit = config("[model.M1]\nhigh_limit_ma = 1.05");
    let (_, pass) = counted(&[dir.path().join("in/t.csv")], &limit);
    let expected = BTreeMap::from([("pass", 60), ("over limit", 5), ("breakdown", 2)]);
    assert_eq!(outcomes(&pass), expected);
    run_in(dir.path(), ["review", "in", "--out", "out"]).expect(0);
    let results = results(&dir.path().join("out"));
    assert_eq!(results["series"][0]["outcomes"]["failed_class_not_known"], 7);
    assert_eq!(results["series"][0]["outcomes"]["breakdown"], 0);
    let pages = contents(&dir.path().join("out"));
    let said =
        |text: &[u8]| String::from_utf8_lossy(text).contains("7 failed: 7 of no known class");
    assert!(pages.iter().any(|(name, text)| name.ends_with(".md") && said(text)));
}

#[test]
fn blanks_of_any_kind_make_no_new_model_station_or_serial() {
    let names = [
        "AP 730",
        "AP\u{a0}730",
        "AP\u{202f}730",
        "AP  730",
        "\u{a0}AP 730\u{200b}",
        "A\u{ad}P\u{3000}730",
        "AP\t730",
    ];
    let mut text = "date;serial;model;station;lot;leakage [mA];high limit [mA];result\n".to_owned();
    for (n, name) in names.iter().enumerate() {
        text += &format!("2026-03-{:02};U {n};{name};{};{name};0.95;3.00;pass\n", n + 1, name);
        text += &format!(
            "2026-04-{:02};U\u{a0}\u{200b}{n};{name};S 730;{name};0.95;3.00;pass\n",
            n + 1
        );
    }
    let dir = folder();
    let path = put(dir.path(), "t.csv", text);
    let (_, pass) = counted(&[path], &Config::default());
    assert_eq!(pass.series.len(), 1);
    assert_eq!(pass.series[0].key.model, "AP 730");
    assert_eq!(pass.plant.stations, ["AP 730", "S 730"]);
    let lots: BTreeSet<&String> = pass.plant.factor_sets.iter().map(|set| &set[0]).collect();
    assert_eq!(lots.len(), 1, "{lots:?}");
    // The second test of a unit is a later one of the same.
    assert_eq!(pass.series[0].units(), names.len() as u64);
}

/// Microamperes, with the unit in a column, a key or an attribute beside the number.
#[test]
fn a_unit_in_a_neighbouring_column_key_or_attribute_is_the_unit_of_the_numbers() {
    let rows = |columns: &str, row: &dyn Fn(usize) -> String| -> String {
        let rows: String =
            (0..30).map(|n| format!("2026-02-13 10:{n:02}:00,U{n},M1,{},pass\n", row(n))).collect();
        format!("Tested at,Serial,Model,{columns},Result\n{rows}")
    };
    let json: String = (0..30)
        .map(|n| format!("{{\"tested_at\": \"2026-02-13 10:{n:02}:00\", \"serial\": \"U{n}\", \"model\": \"M1\", \"leakage\": {{\"value\": 19, \"unit\": \"uA\"}}, \"high_limit\": {{\"value\": 30, \"unit\": \"uA\"}}, \"result\": \"PASS\"}}\n"))
        .collect();
    for text in [
        rows("Reading,Unit,Limit", &|_| "19,uA,30".to_owned()),
        rows("Reading,Limit,Einheit", &|_| "19,30,µA".to_owned()),
        rows("Leakage value,Leakage unit,Limit value,Limit unit", &|_| "19,uA,0.03,mA".to_owned()),
        json,
    ] {
        let (readings, limits) = currents(text.as_bytes(), "");
        assert!(readings.iter().all(|pa| *pa == 19_000_000), "{text}: {readings:?}");
        assert!(limits.iter().all(|pa| *pa == Some(30_000_000)), "{text}: {limits:?}");
    }
    // Row by row, and with a row whose unit is no unit.
    let mixed = rows("Reading,Unit,Limit", &|n| ["19,uA,30", "0.019,mA,0.03"][n % 2].to_owned());
    let (readings, limits) = currents(mixed.as_bytes(), "");
    assert!(readings.iter().all(|pa| *pa == 19_000_000), "{readings:?}");
    assert!(limits.iter().all(|pa| *pa == Some(30_000_000)), "{limits:?}");
    let blank =
        rows("Reading,Unit,Limit", &|n| if n == 7 { "19,,30" } else { "19,uA,30" }.to_owned());
    let dir = folder();
    let (_, pass) = counted(&[put(dir.path(), "t.csv", blank)], &Config::default());
    assert_eq!(pass.ledger.unreadable, 1);
}
