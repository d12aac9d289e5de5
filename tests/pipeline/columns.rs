//! How columns are recognised: by the words of their headers in twelve languages, by their values, by the settings;
//! and what is said or refused where none of these decides.

use std::collections::BTreeMap;
use std::path::PathBuf;

use leakdrift::config::Config;
use leakdrift::input::columns::{Field, Headers, Meaning};
use leakdrift::input::layout::find;
use leakdrift::records::Outcome;
use leakdrift::series::Pass;
use tempfile::TempDir;

use crate::support::count::{counted, refused};
use crate::support::run::{committed, folder, put, run_in};

/// A table of 60 tests of two models, one column under each header; a column without a header is left away.
struct Export {
    columns: Vec<(&'static str, String, Vec<String>)>,
}

/// Which tests are failures: at the limit, and a breakdown whose reading lies below it.
fn fails(n: usize) -> bool {
    matches!(n, 7 | 21 | 35 | 49 | 13)
}

impl Export {
    fn new() -> Self {
        let column = |field: &'static str, header: &str, cell: &dyn Fn(usize) -> String| {
            (field, header.to_owned(), (0..60).map(cell).collect::<Vec<String>>())
        };
        let reading = |n: usize| match n {
            13 => 0.700,
            n if fails(n) => 1.310 + n as f64 / 1000.0,
            n => 0.900 + (n * 37 % 100) as f64 / 1000.0,
        };
        Self {
            columns: vec![
                column("date", "Date", &|n| format!("2026-02-{:02}", n / 3 + 1)),
                column("time", "Time", &|n| format!("{:02}:{:02}:00", 8 + n % 3, n % 60)),
                column("model", "Model", &|n| ["M1", "M2"][n / 2 % 2].to_owned()),
                column("serial", "Serial No", &|n| format!("U-{n:04}")),
                column("station", "Station", &|n| ["S1", "S2"][n / 5 % 2].to_owned()),
                column("test", "Test type", &|_| "AC withstand".to_owned()),
                column("applied_v", "Set voltage [V]", &|_| "1500".to_owned()),
                column("reading_ma", "Leakage [mA]", &|n| format!("{:.3}", reading(n))),
                column("high_limit_ma", "High limit [mA]", &|_| "1.300".to_owned()),
                column("outcome", "Result", &|n| if fails(n) { "NOK" } else { "OK" }.to_owned()),
            ],
        }
    }

    fn at(&mut self, field: &str) -> &mut (&'static str, String, Vec<String>) {
        self.columns.iter_mut().find(|c| c.0 == field).unwrap()
    }

    fn under(mut self, field: &str, header: &str) -> Self {
        header.clone_into(&mut self.at(field).1);
        self
    }

    fn without(mut self, field: &str) -> Self {
        self.columns.retain(|c| c.0 != field);
        self
    }

    fn holding(mut self, field: &str, cell: impl Fn(usize) -> String) -> Self {
        self.at(field).2 = (0..60).map(cell).collect();
        self
    }

    fn and(mut self, header: &str, cell: impl Fn(usize) -> String) -> Self {
        self.columns.push(("", header.to_owned(), (0..60).map(cell).collect()));
        self
    }

    fn rows(&self) -> Vec<Vec<String>> {
        let header = self.columns.iter().map(|c| c.1.clone()).collect();
        let row = |n: usize| self.columns.iter().map(|c| c.2[n].clone()).collect();
        std::iter::once(header).chain((0..60).map(row)).collect()
    }

    fn written(&self) -> (TempDir, PathBuf) {
        let text: String = self.rows().iter().map(|row| row.join(";") + "\n").collect();
        let dir = folder();
        let path = put(dir.path(), "t.csv", text);
        (dir, path)
    }

    #[track_caller]
    fn counted(&self) -> (BTreeMap<&'static str, String>, Pass, Vec<String>) {
        let (_dir, path) = self.written();
        let (read, pass) = counted(&[path], &Config::default());
        let layout = &read.tables[0].layout;
        let columns = Field::ALL.iter().filter_map(|(field, name)| {
            let (at, _) = layout.groups[0].columns.get(*field)?;
            Some((*name, layout.names[usize::from(at)].clone()))
        });
        let first = read.notes.iter().filter(|n| n.first).map(ToString::to_string).collect();
        (columns.collect(), pass, first)
    }

    fn refused(&self) -> String {
        let (_dir, path) = self.written();
        refused(path)
    }
}

fn outcomes(pass: &Pass) -> BTreeMap<Outcome, u32> {
    let mut all = BTreeMap::new();
    for o in pass.series.iter().flat_map(|s| &s.outcomes) {
        *all.entry(o.outcome).or_default() += o.count;
    }
    all
}

/// The headers of a list: of each the column wanted.
fn listed(name: &str) -> Vec<(String, String)> {
    let text = std::fs::read_to_string(committed(&format!("tests/data/headers/{name}"))).unwrap();
    let mut want = String::new();
    let mut found = Vec::new();
    for line in text.lines().filter(|l| !l.is_empty() && !l.starts_with('#')) {
        if let Some((columns, header)) = line.split_once(" | ") {
            found.push((columns.to_owned(), header.to_owned()));
        } else if line.starts_with('[') && Field::from_name(line.trim_matches(['[', ']'])).is_some()
        {
            line.trim_matches(['[', ']']).clone_into(&mut want);
        } else {
            found.push((want.clone(), line.to_owned()));
        }
    }
    assert!(found.len() > 100, "{name}");
    found
}

/// By column: how many headers there are, and which of them are not known or taken for another column.
fn measured(name: &str, meaning: impl Fn(&str, &str) -> Option<String>) {
    let mut of: BTreeMap<String, (usize, Vec<String>)> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (want, header) in listed(name) {
        let found = meaning(&want, &header);
        let (all, missed) = of.entry(want.clone()).or_default();
        *all += 1;
        match found {
            Some(found) if found != want => wrong.push(format!("{header}: {found}, not {want}")),
            None => missed.push(header),
            Some(_) => {}
        }
    }
    assert!(wrong.is_empty(), "{name}: {wrong:#?}");
    for (want, (all, missed)) in of {
        assert!(missed.len() * 10 <= all, "{name}: {want}, {} of {all}: {missed:?}", missed.len());
    }
}

const LISTS: [&str; 4] = ["tuned.txt", "more.txt", "unseen.txt", "fresh.txt"];

#[test]
fn of_the_headers_of_strangers_nine_in_ten_are_known_and_none_is_taken_for_another() {
    let headers = Headers::new(&Config::default());
    for name in LISTS {
        measured(name, |_, header| match headers.meaning(header) {
            // A lone column of this name holds the reading.
            Meaning::Field(Field::Current, _) => Some(Field::Reading.name().to_owned()),
            Meaning::Field(field, _) => Some(field.name().to_owned()),
            Meaning::Factor(_) | Meaning::Unknown => None,
        });
    }
}

#[test]
fn a_header_of_strangers_over_its_values_is_never_taken_for_another_column() {
    let headers = Headers::new(&Config::default());
    for name in LISTS {
        let mut wrong = Vec::new();
        for (want, header) in listed(name) {
            let export = match &*want {
                "tested_at" => {
                    Export::new().without("time").under("date", &header).holding("date", |n| {
                        format!("2026-02-{:02} {:02}:{:02}:00", n / 3 + 1, 8 + n % 3, n % 60)
                    })
                }
                field => Export::new().under(field, &header),
            };
            let found = find(&export.rows(), &[], &headers, &BTreeMap::new());
            let columns = match found {
                Ok((_, layout)) => layout,
                Err(partial) => partial.layout,
            };
            let at = columns.names.iter().position(|n| *n == header).unwrap();
            if let Meaning::Field(field, _) = columns.taken[at].meaning
                && field.name() != want
            {
                wrong.push(format!("{header}: {}, not {want}", field.name()));
            }
        }
        assert!(wrong.is_empty(), "{name}: {wrong:#?}");
    }
}

#[test]
fn a_header_that_only_looks_like_a_column_is_none() {
    let headers = Headers::new(&Config::default());
    let mut wrong = Vec::new();
    for (want, header) in listed("traps.txt") {
        let found = match headers.meaning(&header) {
            Meaning::Field(field, _) => field.name(),
            Meaning::Factor(_) | Meaning::Unknown => "-",
        };
        if found != want {
            wrong.push(format!("{header}: {found}, not {want}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn signs_accents_and_blanks_of_any_kind_change_no_header() {
    let headers = Headers::new(&Config::default());
    let same = [
        [
            "High limit [mA]",
            "High\u{a0}limit\u{2009}[mA]",
            "high_limit (mA)",
            "HighLimit_mA",
            "HIGH-LIMIT / mA",
        ],
        ["Prüfplatz", "Pruefplatz", "PRÜFPLATZ", "Pru\u{308}fplatz", "Prüf\u{ad}platz"],
        [
            "Courant mesuré",
            "courant mesure",
            "COURANT MESURÉ",
            "Courant\u{202f}mesuré",
            "\u{feff}courant_mesuré",
        ],
        ["漏电流(mA)", "漏电流（ｍＡ）", "漏电流 mA", "漏电流[mA]", "漏电流_mA"],
        ["Seri No", "SERİ NO", "seri no", "Seri\u{a0}No", "seri\u{200b} no"],
    ];
    for spellings in same {
        let meant = headers.meaning(spellings[0]);
        assert_ne!(meant, Meaning::Unknown, "{}", spellings[0]);
        for other in spellings {
            assert_eq!(headers.meaning(other), meant, "{other:?}");
        }
    }
}

#[test]
fn a_unit_that_cannot_be_read_makes_no_milliamperes() {
    let headers = Headers::new(&Config::default());
    for header in
        ["Leakage [xyz]", "Leakage [gal]", "High limit (MW)", "Leakage [kA/s]", "Zeit [min]"]
    {
        assert_eq!(headers.meaning(header), Meaning::Unknown, "{header}");
    }
    // Of a text they are only more words.
    assert_eq!(Export::new().under("model", "Model (xyz)").counted().0["model"], "Model (xyz)");
    let told = Export::new().under("reading_ma", "Leakage [xyz]").refused();
    assert!(told.contains("xyz") && told.contains("reading_ma"), "{told}");
    let (_dir, path) = Export::new().under("reading_ma", "Leakage [xyz]").written();
    let mut config = Config::default();
    config.columns.insert("Leakage [xyz]".to_owned(), "reading_ma".to_owned());
    counted(&[path], &config);
}

#[test]
fn a_column_of_outcome_words_is_the_outcome_whatever_its_header() {
    let (columns, pass, first) = Export::new().under("outcome", "Kzw-7").counted();
    assert_eq!(columns["outcome"], "Kzw-7");
    // By hand: 60 tests, five of them NOK, four at the limit and one below it.
    assert_eq!(outcomes(&pass)[&Outcome::Pass], 55);
    assert_eq!(outcomes(&pass)[&Outcome::OverLimit], 4);
    assert_eq!(first.len(), 1, "{first:?}");
    assert!(first[0].contains("Kzw-7") && first[0].contains("outcome"), "{first:?}");
}

#[test]
fn of_two_columns_of_outcome_words_none_is_the_outcome_unasked() {
    let two = Export::new()
        .under("outcome", "Kzw-7")
        .and("Zwk-8", |n| if n % 9 == 0 { "NOK" } else { "OK" }.to_owned());
    let told = two.refused();
    for part in ["Kzw-7", "Zwk-8", "\"outcome\"", "[columns]"] {
        assert!(told.contains(part), "{told}");
    }
    let weak = Export::new().under("outcome", "Kzw-7").holding("outcome", |n| fails(n).to_string());
    assert!(weak.refused().contains("Kzw-7"), "{}", weak.refused());
}

#[test]
fn a_failure_in_a_column_that_is_not_the_outcome_is_refused_or_said_first() {
    let beside = Export::new().and("Kzw-7", |n| if n == 30 { "NOK" } else { "OK" }.to_owned());
    let told = beside.refused();
    for part in ["\"Kzw-7\" = \"outcome\"", "\"Result\" = \"outcome\"", "[columns]"] {
        assert!(told.contains(part), "{told}");
    }
    // Of another matter a failure is none of this test.
    let other = Export::new().and("Ground bond", |n| if n == 30 { "NOK" } else { "OK" }.to_owned());
    let (columns, _, first) = other.counted();
    assert_eq!(columns["outcome"], "Result");
    assert!(first.iter().any(|n| n.contains("Ground bond")), "{first:?}");
    let agrees = Export::new().and("Kzw-7", |n| if fails(n) { "NOK" } else { "OK" }.to_owned());
    assert!(agrees.counted().2.is_empty());
}

#[test]
fn outcomes_derived_from_readings_are_said_first_on_the_page() {
    let (_, pass, first) = Export::new().without("outcome").counted();
    assert_eq!(outcomes(&pass)[&Outcome::Pass], 56);
    assert!(first.iter().any(|n| n.contains("derived from readings")), "{first:?}");
    let (dir, _) = Export::new().without("outcome").written();
    run_in(dir.path(), ["review", "t.csv", "--out", "out", "--quiet"]).expect(0);
    let page = std::fs::read_to_string(dir.path().join("out/summary.md")).unwrap();
    let top: String = page.lines().take(12).collect();
    assert!(top.contains("derived from readings"), "{top}");
}

#[test]
fn a_limit_under_an_unknown_header_is_the_limit_or_is_told() {
    let (columns, _, first) = Export::new().under("high_limit_ma", "Kzw-7 [mA]").counted();
    assert_eq!(columns["high_limit_ma"], "Kzw-7 [mA]");
    assert!(first.iter().any(|n| n.contains("Kzw-7")), "{first:?}");
    // Where no test was stopped by it, nothing shows that it is the limit.
    let calm = Export::new()
        .under("high_limit_ma", "Kzw-7")
        .holding("reading_ma", |n| format!("{:.3}", 0.9 + (n * 37 % 100) as f64 / 1000.0))
        .holding("outcome", |_| "OK".to_owned());
    let (columns, _, first) = calm.counted();
    assert!(!columns.contains_key("high_limit_ma"));
    assert!(first.iter().any(|n| n.contains("Kzw-7") && n.contains("high_limit_ma")), "{first:?}");
}

#[test]
fn a_number_that_is_no_current_is_never_the_limit() {
    let export = Export::new()
        .under("high_limit_ma", "Kzw-7")
        .holding("high_limit_ma", |_| "1500".to_owned());
    let (columns, ..) = export.counted();
    assert!(!columns.contains_key("high_limit_ma"), "{columns:?}");
}

#[test]
fn a_kind_of_test_under_an_unknown_header_is_known_by_its_words() {
    let export = Export::new()
        .under("test", "Kzw-7")
        .holding("test", |n| ["AC withstand", "DC withstand"][n % 2].to_owned());
    let (columns, pass, first) = export.counted();
    assert_eq!(columns["test"], "Kzw-7");
    assert!(first.iter().any(|n| n.contains("Kzw-7")), "{first:?}");
    // Two models, two kinds of test.
    assert_eq!(pass.series.len(), 4);
}

#[test]
fn serials_under_an_unknown_header_are_known_as_they_never_repeat() {
    let (columns, _, first) = Export::new().under("serial", "Kzw-7").counted();
    assert_eq!(columns["serial"], "Kzw-7");
    assert!(first.iter().any(|n| n.contains("Kzw-7")), "{first:?}");
    // The number of a row is no serial.
    let rows = Export::new().under("serial", "Kzw-7").holding("serial", |n| (n + 1).to_string());
    assert!(!rows.counted().0.contains_key("serial"));
    let two = Export::new().under("serial", "Kzw-7").and("Zwk-8", |n| format!("B{n:05}"));
    let (columns, _, first) = two.counted();
    assert!(!columns.contains_key("serial"));
    assert!(first.iter().any(|n| n.contains("Kzw-7") && n.contains("Zwk-8")), "{first:?}");
}

#[test]
fn dates_and_readings_under_unknown_headers_are_known_by_their_values() {
    let (columns, ..) = Export::new().under("date", "Kzw-7").under("reading_ma", "Zwk-8").counted();
    assert_eq!((&*columns["date"], &*columns["reading_ma"]), ("Kzw-7", "Zwk-8"));
}

#[test]
fn readings_of_two_kinds_in_turn_are_refused_where_nothing_tells_them_apart() {
    let turns = || {
        Export::new()
            .without("test")
            .holding("reading_ma", |n| {
                format!("{:.3}", [0.5, 1.0][n % 2] + (n * 37 % 100) as f64 / 1000.0)
            })
            .holding("model", |_| "M1".to_owned())
            .holding("station", |_| "S1".to_owned())
    };
    let told = turns().refused();
    for part in ["in turn", "\"test\"", "[assume]"] {
        assert!(told.contains(part), "{told}");
    }
    let (_dir, path) = turns().written();
    let mut config = Config::default();
    config.assume.insert("test".to_owned(), "ac withstand".into());
    counted(&[path], &config);
    turns().and("Step", |n| (n % 2 + 1).to_string()).counted();
}

#[test]
fn of_two_columns_of_one_meaning_none_is_taken_unasked() {
    let two = || {
        Export::new()
            .and("Leakage current [mA]", |n| format!("{:.3}", 0.5 + (n * 31 % 100) as f64 / 1000.0))
    };
    let told = two().refused();
    for part in ["Leakage [mA]", "Leakage current [mA]", "reading_ma", "[columns]"] {
        assert!(told.contains(part), "{told}");
    }
    let (_dir, path) = two().written();
    let mut config = Config::default();
    config.columns.insert("Leakage [mA]".to_owned(), "reading_ma".to_owned());
    let (read, _) = counted(&[path], &config);
    let (at, _) = read.tables[0].layout.groups[0].columns.get(Field::Reading).unwrap();
    assert_eq!(read.tables[0].layout.names[usize::from(at)], "Leakage [mA]");
    // What comes to the same leaves nothing to decide.
    let same = Export::new().and("Article number", |n| ["117", "118"][n / 2 % 2].to_owned());
    assert_eq!(same.counted().0["model"], "Model");
}

#[test]
fn a_header_that_may_mean_two_columns_is_decided_by_its_values() {
    let (columns, ..) = Export::new().under("serial", "Prüfling").counted();
    assert_eq!(columns["serial"], "Prüfling");
    let (columns, ..) = Export::new().under("model", "Prüfling").counted();
    assert_eq!(columns["model"], "Prüfling");
    let (columns, ..) =
        Export::new().under("reading_ma", "Result").under("outcome", "Judgement").counted();
    assert_eq!((&*columns["reading_ma"], &*columns["outcome"]), ("Result", "Judgement"));
}

/// The highest reading of each test: 8 % above it.
fn highest(n: usize) -> String {
    format!("{:.3}", (0.900 + (n * 37 % 100) as f64 / 1000.0) * 1.08)
}

#[test]
fn a_highest_reading_is_never_the_limit() {
    for header in [
        "Max leakage mA",
        "Highest leakage mA",
        "Imax mA",
        "Leakage max [mA]",
        "Max. Ableitstrom [mA]",
        "最大漏电流(mA)",
    ] {
        let (columns, pass, _) = Export::new().and(header, highest).counted();
        assert_eq!(columns["high_limit_ma"], "High limit [mA]", "{header}");
        assert_eq!(outcomes(&pass)[&Outcome::Pass], 55, "{header}");
        // Where no other column is the limit, none is, and it is said.
        let alone = Export::new().without("high_limit_ma").and(header, highest);
        let (columns, _, first) = alone.counted();
        assert!(!columns.contains_key("high_limit_ma"), "{header}");
        assert!(first.iter().any(|n| n.contains(header) && n.contains("changes")), "{first:?}");
        // Where no other column is the reading, it is that.
        let reading = Export::new().under("reading_ma", header);
        let (columns, _, first) = reading.counted();
        assert_eq!(columns["reading_ma"], header);
        assert!(first.iter().any(|n| n.contains(header)), "{first:?}");
    }
}

#[test]
fn a_limit_that_changes_with_every_test_makes_a_file_that_is_probably_misread() {
    let export = Export::new().without("high_limit_ma").and("high_limit_ma", highest);
    let (dir, _) = export.written();
    let done = run_in(dir.path(), ["review", "t.csv", "--out", "out", "--quiet"]).expect(1);
    assert!(
        done.err.contains("probably misread") && done.err.contains("high limits"),
        "{}",
        done.err
    );
}

#[test]
fn of_two_limits_the_lines_that_decide_name_both() {
    let told = Export::new().and("Limit max [mA]", |_| "1.100".to_owned()).refused();
    for line in
        ["\"High limit [mA]\" = \"high_limit_ma\"", "\"Limit max [mA]\" = \"high_limit_ma\""]
    {
        assert!(told.contains(line), "{told}");
    }
}

#[test]
fn dates_and_kinds_of_test_under_words_for_other_matters_are_known_by_their_values() {
    let full = |n: usize| format!("202602{:02}T{:02}{:02}00", n / 3 + 1, 8 + n % 3, n % 60);
    let export = Export::new().without("time").under("date", "time").holding("date", full);
    assert_eq!(export.counted().0["tested_at"], "time");
    // By hand: 2026-02-01 00:00 UTC is 1 769 904 000.
    let seconds = |n: usize| (1_769_904_000 + 613 * n).to_string();
    let export = Export::new().without("time").under("date", "ts").holding("date", seconds);
    let (columns, _, first) = export.counted();
    assert_eq!(columns["tested_at"], "ts");
    assert!(first.iter().any(|n| n.contains("seconds since 1970")), "{first:?}");
    // Serials count on by one.
    let serials = |n: usize| (1_769_904_000 + n).to_string();
    let export = Export::new().without("time").under("date", "ts").holding("date", serials);
    export.refused();
    let mode = Export::new()
        .under("test", "Mode")
        .holding("test", |n| ["ACW", "GB", "DCW"][n % 3].to_owned());
    let (columns, pass, _) = mode.counted();
    assert_eq!(columns["test"], "Mode");
    // Two models, of two kinds each that are judged.
    assert_eq!(pass.series.len(), 4);
}

#[test]
fn a_title_line_above_the_header_is_no_group_of_columns() {
    let mut text =
        "Model;KL9\nHigh limit;1300 uA\nVoltage;1,250 V\n\nDate;Time;SN;Leakage [mA];Result\n"
            .to_owned();
    for n in 0..30 {
        text += &format!("02 Feb 2026;08:{n:02};U{n};0.8{n:02};pass\n");
    }
    let dir = folder();
    let (_, pass) = counted(&[put(dir.path(), "t.csv", text)], &Config::default());
    let [series] = &pass.series[..] else { panic!("{}", pass.series.len()) };
    assert_eq!((&*series.key.model, series.key.applied_mv), ("KL9", Some(1_250_000)));
}

/// Seconds since 1970 under a header that says nothing, however they are counted and below whatever title.
#[test]
fn seconds_since_1970_are_known_by_their_values_in_either_order_and_below_a_title() {
    let rows = |time: &dyn Fn(u64) -> String| -> Vec<String> {
        (0..60)
            .map(|n| format!("{};KL9;U{n};0.8{n:02};1.3;pass", time(1_769_990_400 + 47 * n)))
            .collect()
    };
    let header = "ts;model;serial;leakage [mA];high limit [mA];result";
    let seconds = rows(&|s| s.to_string());
    let mut newest_first = seconds.clone();
    newest_first.reverse();
    for (title, rows) in [
        ("", &seconds),
        ("", &newest_first),
        ("", &rows(&|s| format!("{s}.125"))),
        ("", &rows(&|s| format!("{s}125"))),
        ("HV test protocol;Line 3\n", &seconds),
        ("Report of line 3, March\n", &seconds),
    ] {
        let dir = folder();
        let text = format!("{title}{header}\n{}\n", rows.join("\n"));
        let file = put(dir.path(), "t.csv", &text);
        let (read, pass) = counted(&[file], &Config::default());
        assert_eq!(pass.ledger.used, 60, "{}", &text[..120]);
        let day = leakdrift::day::day_number(crate::support::days::day("2026-02-02"));
        assert_eq!(pass.plant.days, Some((day, day)), "{}", &text[..120]);
        let told =
            |n: &leakdrift::note::Note| n.first && n.to_string().contains("seconds since 1970");
        assert!(read.notes.iter().any(told), "{:?}", read.notes);
    }
    // Numbers of rows, and serials that count on by one, are none.
    let serials = rows(&|s| (s / 47).to_string());
    let dir = folder();
    let text = format!("{header}\n{}\n", serials.join("\n"));
    assert!(refused(put(dir.path(), "t.csv", text)).contains("a date"));
}

/// The unit beside each value of a row, as a word or in brackets: the same readings.
#[test]
fn a_unit_beside_a_value_is_read_in_brackets_too() {
    let read = |unit: &str, ma: fn(usize) -> String| {
        let mut text = "Date,Serial,Model,Test 1 type,Test 1 value,Test 1 unit,Test 1 result,Test 2 type,Test 2 value,Test 2 unit,Test 2 result\n".to_owned();
        for n in 0..60 {
            let value = ma(30 + n % 7);
            text += &format!(
                "2026-01-{:02} 08:{n:02}:00,S{n},M1,ACW,{value},{unit},PASS,IR,{},MOhm,PASS\n",
                n % 28 + 1,
                500 + n
            );
        }
        let dir = folder();
        let (_, pass) = counted(&[put(dir.path(), "t.csv", text)], &Config::default());
        let [series] = &pass.series[..] else { panic!("{}", pass.series.len()) };
        let mut values: Vec<_> = series.tally.iter().map(|l| (l.value_pa, l.count)).collect();
        values.sort_unstable();
        values
    };
    let plain = read("mA", |n| format!("0.{n}"));
    assert_eq!(plain.first().unwrap().0, 300_000_000);
    assert_eq!(read("[mA]", |n| format!("0.{n}")), plain);
    assert_eq!(read("(µA)", |n| format!("{n}0")), plain);
}
