//! Exports as nobody here wrote them: one table in many flavours and languages, pollution, old workbooks, files
//! that want to do harm, and what `peek` makes of them.
//!
//! The kinds of pollution are those of the Pollock benchmark (Vitagliano, Hameed, Jiang, Reisener, Wu, Naumann,
//! PVLDB 16(8), 2023; from memory).

use std::io::Write as _;
use std::path::{Path, PathBuf};

use chrono::{Days, NaiveDate, NaiveDateTime};
use leakdrift::config::Config;
use serde_json::Value;

use super::flavours::{by_hand, counted, english, is_the_tally, plain};
use crate::support::run::{PROGRAM, finish, folder, put, results, run_in};

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/exports").join(name)
}

/// 5 000 tests: moment, serial, whole microamperes, and 0 for a pass, 1 for over limit, 2 for a breakdown.
fn many() -> Vec<(NaiveDateTime, String, u32, usize)> {
    let first = NaiveDate::from_ymd_opt(2026, 1, 12).unwrap();
    (0..5000_u32)
        .map(|n| {
            let at = (first + Days::new(u64::from(n / 100))).and_hms_opt(
                6 + n % 100 / 10,
                n % 10 * 6,
                n % 60,
            );
            // 7 and 1 000 have no common factor; a sum of two gives a body with a middle.
            let ua = 900 + n * 7 % 97 + n * 13 % 89;
            let kind = if n % 500 == 77 { 2 } else { usize::from(n % 125 == 7) };
            (at.unwrap(), format!("U-{n:04}"), if kind == 1 { 1300 + n % 50 } else { ua }, kind)
        })
        .collect()
}

/// How one flavour is written.
struct Flavour {
    /// Date, time, model, serial, station, voltage, frequency, current, high limit, result.
    names: [&'static str; 10],
    /// Pass, over limit, breakdown.
    words: [&'static str; 3],
    delimiter: char,
    date: &'static str,
    /// Milliamperes with this decimal sign; else microamperes.
    decimal: Option<char>,
    quoted: bool,
    line: &'static str,
    before: &'static str,
    encode: fn(&str) -> Vec<u8>,
}

fn utf_8(text: &str) -> Vec<u8> {
    text.as_bytes().to_vec()
}

fn marked(text: &str) -> Vec<u8> {
    format!("\u{feff}{text}").into_bytes()
}

fn single_byte(text: &str) -> Vec<u8> {
    text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect()
}

fn utf_16_le(text: &str) -> Vec<u8> {
    text.encode_utf16().flat_map(u16::to_le_bytes).collect()
}

fn utf_16_be(text: &str) -> Vec<u8> {
    format!("\u{feff}{text}").encode_utf16().flat_map(u16::to_be_bytes).collect()
}

fn gzip(text: &str) -> Vec<u8> {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packed.write_all(text.as_bytes()).unwrap();
    packed.finish().unwrap()
}

fn zip(text: &str) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    archive.start_file("t.csv", zip::write::SimpleFileOptions::default()).unwrap();
    archive.write_all(text.as_bytes()).unwrap();
    archive.finish().unwrap().into_inner()
}

pub(super) const ENGLISH: [&str; 10] = [
    "Date",
    "Time",
    "Model",
    "Serial No",
    "Station",
    "Voltage [V]",
    "Frequency [Hz]",
    "Leakage",
    "High limit",
    "Result",
];
const GERMAN: [&str; 10] = [
    "Datum",
    "Uhrzeit",
    "Typ",
    "Seriennr.",
    "Prüfplatz",
    "Spannung [V]",
    "Frequenz [Hz]",
    "Ableitstrom",
    "Oberer Grenzwert",
    "Ergebnis",
];
const FRENCH: [&str; 10] = [
    "Date",
    "Heure",
    "Modèle",
    "Numéro de série",
    "Poste",
    "Tension d'essai [V]",
    "Fréquence [Hz]",
    "Courant de fuite",
    "Limite haute",
    "Résultat",
];
const ITALIAN: [&str; 10] = [
    "Data",
    "Ora",
    "Modello",
    "Matricola",
    "Stazione",
    "Tensione di prova [V]",
    "Frequenza [Hz]",
    "Corrente di dispersione",
    "Limite superiore",
    "Esito",
];
const SPANISH: [&str; 10] = [
    "Fecha",
    "Hora",
    "Modelo",
    "Número de serie",
    "Estación",
    "Tensión de prueba [V]",
    "Frecuencia [Hz]",
    "Corriente de fuga",
    "Límite superior",
    "Resultado",
];
const POLISH: [&str; 10] = [
    "Data",
    "Godzina",
    "Wyrób",
    "Numer seryjny",
    "Stanowisko",
    "Napięcie [V]",
    "Częstotliwość [Hz]",
    "Prąd upływu",
    "Limit górny",
    "Wynik",
];
const CHINESE: [&str; 10] = [
    "日期",
    "时间",
    "型号",
    "序列号",
    "工位",
    "测试电压 [V]",
    "频率 [Hz]",
    "漏电流",
    "上限",
    "结果",
];

fn flavours() -> Vec<Flavour> {
    let plain = || Flavour {
        names: ENGLISH,
        words: ["pass", "over limit", "breakdown"],
        delimiter: ',',
        date: "%Y-%m-%d",
        decimal: Some('.'),
        quoted: false,
        line: "\n",
        before: "",
        encode: utf_8,
    };
    let german = || Flavour {
        names: GERMAN,
        words: ["gut", "zu hoch", "Durchschlag"],
        delimiter: ';',
        date: "%d.%m.%Y",
        decimal: Some(','),
        ..plain()
    };
    vec![
        plain(),
        Flavour { encode: marked, line: "\r\n", ..plain() },
        Flavour { decimal: None, delimiter: '\t', ..plain() },
        Flavour { quoted: true, decimal: Some(','), ..plain() },
        Flavour {
            delimiter: '|',
            date: "%m/%d/%Y",
            words: ["OK", "Fail high", "Flashover"],
            ..plain()
        },
        Flavour { encode: utf_16_le, ..plain() },
        Flavour { encode: utf_16_be, delimiter: '\t', line: "\r\n", ..plain() },
        Flavour { encode: gzip, ..plain() },
        Flavour { encode: zip, quoted: true, line: "\r\n", ..plain() },
        Flavour {
            before: "Safety tests of line 3\nPrinted: 02.03.2026\n\n",
            date: "%d-%m-%Y",
            ..plain()
        },
        german(),
        Flavour { encode: single_byte, line: "\r\n", date: "%d.%m.%y", ..german() },
        Flavour {
            names: FRENCH,
            words: ["conforme", "trop élevé", "claquage"],
            date: "%d/%m/%Y",
            ..german()
        },
        Flavour {
            names: ITALIAN,
            words: ["superato", "troppo alta", "scarica"],
            decimal: None,
            ..german()
        },
        Flavour { names: SPANISH, words: ["apto", "demasiado alto", "perforación"], ..german() },
        Flavour { names: POLISH, words: ["dobry", "za wysoki", "przebicie"], ..german() },
        Flavour {
            names: CHINESE, words: ["合格", "过高", "击穿"], date: "%Y/%m/%d", ..plain()
        },
    ]
}

impl Flavour {
    fn bytes(&self) -> Vec<u8> {
        let line = |cells: [String; 10]| {
            let cells = cells.map(|c| if self.quoted { format!("\"{c}\"") } else { c });
            cells.join(&self.delimiter.to_string()) + self.line
        };
        let unit = if self.decimal.is_some() { "mA" } else { "µA" };
        let current = |ua: u32| match self.decimal {
            Some(sign) => format!("{}{sign}{:03}", ua / 1000, ua % 1000),
            None => ua.to_string(),
        };
        let mut names = self.names.map(str::to_owned);
        for n in [7, 8] {
            names[n] += &format!(" [{unit}]");
        }
        let mut text = self.before.to_owned() + &line(names);
        for (at, serial, ua, kind) in many() {
            text += &line([
                at.format(self.date).to_string(),
                at.format("%H:%M:%S").to_string(),
                "M1".to_owned(),
                serial,
                "S1".to_owned(),
                "1500".to_owned(),
                "50".to_owned(),
                if kind == 2 { String::new() } else { current(ua) },
                current(1300),
                self.words[kind].to_owned(),
            ]);
        }
        (self.encode)(&text)
    }
}

#[test]
fn five_thousand_tests_in_every_flavour_are_one_tally_and_one_result() {
    let dir = folder();
    let mut first: Option<(super::flavours::Plain, Value)> = None;
    let flavours = flavours();
    assert!(flavours.len() >= 15);
    for (n, flavour) in flavours.iter().enumerate() {
        let name = format!("{n}/t.csv");
        let path = put(dir.path(), &name, flavour.bytes());
        let (_, pass) = counted(&[path], &Config::default());
        assert_eq!(
            (pass.ledger.read, pass.ledger.used),
            (5000, 5000),
            "flavour {n}: {:?}",
            pass.unreadable.first()
        );
        let out = format!("out-{n}");
        run_in(dir.path(), ["review", &name, "--out", &out, "--quiet"]).expect(0);
        let all = results(&dir.path().join(out));
        let numbers = serde_json::json!([
            all["rows"],
            all["series"],
            all["stations"],
            all["movement"],
            all["jumps"]
        ]);
        let now = (plain(&pass), numbers);
        // By hand: 40 trips (n of 5 000 with n mod 125 = 7) and 10 breakdowns (n mod 500 = 77), the rest passes.
        let outcomes = |v: &Value| v[1][0]["outcomes"].clone();
        assert_eq!(outcomes(&now.1)["pass"], 4950, "{}", outcomes(&now.1));
        assert_eq!(outcomes(&now.1)["over_limit"], 40);
        assert_eq!(outcomes(&now.1)["breakdown"], 10);
        match &first {
            None => first = Some(now),
            Some(first) => {
                assert!(first.0 == now.0, "flavour {n}: another tally");
                assert!(first.1 == now.1, "flavour {n}: other numbers");
            }
        }
    }
}

/// What may come of a damaged export: an error that names the file, or rows that are all accounted for, of which
/// the used ones are those of the sound export.
#[track_caller]
fn is_honest(what: &str, bytes: Vec<u8>) {
    let dir = folder();
    let path = put(dir.path(), "t.csv", bytes);
    let (read, pass) = match leakdrift::pass(&[path], &Config::default(), &|_, _| {}) {
        Ok((read, Ok(pass))) => (read, pass),
        Ok((_, Err(e))) | Err(e) => {
            assert!(e.to_string().contains("t.csv"), "{what}: {e}");
            return;
        }
    };
    let l = &pass.ledger;
    assert_eq!(l.read, l.used + l.set_aside.values().sum::<u64>() + l.unreadable, "{what}");
    let (found, sound) = (plain(&pass), by_hand(1));
    for (key, n) in &found.outcomes {
        assert!(sound.outcomes.get(key).is_some_and(|m| n <= m), "{what}: {key:?}");
    }
    for (key, n) in &found.readings {
        assert!(sound.readings.get(key).is_some_and(|m| n <= m), "{what}: {key:?}");
    }
    let lost = 60 - l.used;
    assert!(
        lost <= l.unreadable + l.set_aside.values().sum::<u64>() || !read.failures.is_empty(),
        "{what}: {lost} rows are gone without a word: {l:?}"
    );
}

#[test]
fn pollution_of_any_cell_of_any_row_is_seen() {
    let text = String::from_utf8(english()).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let with = |row: usize, new: String| {
        let mut all: Vec<String> = lines.iter().map(|l| (*l).to_owned()).collect();
        all[row] = new;
        (all.join("\n") + "\n").into_bytes()
    };
    for row in [1, 2, 31, 60] {
        let cells: Vec<&str> = lines[row].split(',').collect();
        for column in 0..cells.len() {
            let changed = |new: &[String]| with(row, new.join(","));
            let own = || cells.iter().map(|c| (*c).to_owned()).collect::<Vec<_>>();
            let at = |what: &str| format!("{what} in row {row}, column {column}");
            let mut missing = own();
            missing.remove(column);
            is_honest(&at("a missing cell"), changed(&missing));
            for extra in ["", "17", cells[column]] {
                let mut more = own();
                more.insert(column, extra.to_owned());
                is_honest(&at("an extra cell"), changed(&more));
            }
            for quote in ["\"{}", "{}\"", "\"{}\"", "\"{}\"\""] {
                let mut quoted = own();
                quoted[column] = quote.replace("{}", cells[column]);
                is_honest(&at(quote), changed(&quoted));
            }
        }
    }
}

/// Two stray quotes far apart would else swallow the rows between them.
#[test]
fn rows_between_two_stray_quotes_are_not_swallowed() {
    let text = String::from_utf8(english()).unwrap();
    let text = text.replace(",U-010,", ",\"U-010,").replace(",U-030,", ",\"U-030,");
    let dir = folder();
    let (_, pass) = counted(&[put(dir.path(), "t.csv", text)], &Config::default());
    assert_eq!((pass.ledger.read, pass.ledger.used, pass.ledger.unreadable), (60, 58, 2));
    let lines: Vec<u32> = pass.unreadable.iter().map(|u| u.line).collect();
    assert_eq!(lines, [12, 32], "row n stands in line n + 2");
}

#[test]
fn pollution_of_the_whole_table_is_seen() {
    let text = String::from_utf8(english()).unwrap();
    let header = text.lines().next().unwrap().trim_start_matches('\u{feff}').to_owned();
    let body: String = text.lines().skip(1).map(|l| format!("{l}\n")).collect();
    let swapped = header.replace("leakage µA,high limit µA", "high limit µA,leakage µA");
    for (what, polluted) in [
        ("a preamble", format!("Line 3; north\n\"printed, by\"\n\n{header}\n{body}")),
        ("a footnote", format!("{header}\n{body}\n* all units tested\nTotal,60\n")),
        ("two header rows", format!("{header}\n(text),,,V,Hz,uA,uA,\n{body}")),
        ("no record end at the end", format!("{header}\n{}", body.trim_end())),
        ("record ends of the other kind", format!("{header}\n{body}").replace('\n', "\r")),
        ("mixed record ends", format!("{header}\r\n{body}").replacen('\n', "\r\n", 9)),
        (
            "another delimiter in one row",
            format!("{header}\n{body}").replacen(",U-005,", ";U-005;", 1),
        ),
        ("a quote of another kind", format!("{header}\n{body}").replace(",M1,", ",'M1',")),
        ("the header twice", format!("{header}\n{body}{header}\n")),
        ("no header", body.clone()),
        ("an empty file", String::new()),
        ("another table below", format!("{header}\n{body}\nshift,operator,units\nearly,op1,30\n")),
        (
            "another table of the same width with columns swapped",
            format!("{header}\n{body}{swapped}\n{body}"),
        ),
        ("a column name twice", format!("{header},leakage µA\n{}", body.replace('\n', ",1\n"))),
    ] {
        is_honest(what, polluted.into_bytes());
    }
}

/// A remark over two lines, with quotes in it, is one cell of one row.
#[test]
fn a_quoted_cell_may_run_over_lines() {
    let text = String::from_utf8(english()).unwrap();
    let dir = folder();
    let table: String = text
        .lines()
        .enumerate()
        .map(|(n, l)| {
            if n == 0 {
                format!("{l},remark\n")
            } else {
                format!("{l},\"seen\nby \"\"X\"\", twice\"\n")
            }
        })
        .collect();
    is_the_tally(put(dir.path(), "t.csv", table));
}

/// Some exporters leave blank cells at the end of a row away.
#[test]
fn rows_without_their_blank_last_cells_are_whole_where_that_is_the_manner() {
    let text = String::from_utf8(english()).unwrap();
    let dir = folder();
    let table: String = text
        .lines()
        .enumerate()
        .map(|(n, l)| if n == 0 { format!("{l},remark\n") } else { format!("{l}\n") })
        .collect();
    is_the_tally(put(dir.path(), "t.csv", table));
}

/// Found by fuzzing: a long cell taken for a title was copied to each of 17 000 columns (5 GB, one minute).
#[test]
fn a_long_cell_before_many_columns_is_no_title_of_each() {
    let path = data("wide-titles.gz");
    let done = finish(std::process::Command::new(PROGRAM).arg("peek").arg(path)).expect(0);
    assert!(done.err.contains("no row can be used"), "{}", done.err);
}

#[test]
fn a_file_that_unpacks_without_end_is_named() {
    let dir = folder();
    let text = String::from_utf8(english()).unwrap() + &"x".repeat(300 << 20);
    put(dir.path(), "a.csv", english());
    put(dir.path(), "bomb.gz", gzip(&text));
    put(dir.path(), "bomb.zip", zip(&text));
    let done = run_in(dir.path(), ["peek", "."]).expect(1);
    assert_eq!(done.out.matches("200 times its packed size").count(), 2, "{}", done.out);
}

#[test]
fn one_line_of_ten_megabytes_costs_one_row() {
    let dir = folder();
    let text = String::from_utf8(english()).unwrap() + &"9,".repeat(5 << 20) + "\n";
    let (_, pass) = counted(&[put(dir.path(), "t.csv", text)], &Config::default());
    assert_eq!((pass.ledger.read, pass.ledger.used, pass.ledger.unreadable), (61, 60, 1));
}
