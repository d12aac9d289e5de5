//! Exports as nobody here wrote them: one table in many flavours and languages, pollution, old workbooks, files
//! that want to do harm, and what `peek` makes of them.
//!
//! The kinds of pollution are those of the Pollock benchmark (Vitagliano, Hameed, Jiang, Reisener, Wu, Naumann,
//! PVLDB 16(8), 2023; from memory).

use std::io::Write as _;

use chrono::{Days, NaiveDateTime};
use leakdrift::config::Config;
use leakdrift::series::Outcome;
use serde_json::Value;

use super::flavours::{by_hand, english, is_the_tally, plain};
use super::hand_written;
use crate::support::count::{counted, tried};
use crate::support::days::day;
use crate::support::run::{PROGRAM, committed, finish, folder, put, results, run_in};

/// 5 000 tests: moment, serial, whole microamperes, and 0 for a pass, 1 for over limit, 2 for a breakdown.
fn many() -> Vec<(NaiveDateTime, String, u32, usize)> {
    let first = day("2026-01-12");
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
        Flavour { line: "\r", ..plain() },
        Flavour { quoted: true, encode: gzip, line: "\r\n", ..german() },
        Flavour {
            names: FRENCH,
            words: ["conforme", "trop élevé", "claquage"],
            delimiter: '\t',
            date: "%d.%m.%Y",
            encode: utf_16_le,
            ..german()
        },
        Flavour {
            names: ITALIAN,
            words: ["superato", "troppo alta", "scarica"],
            date: "%d/%m/%y",
            encode: zip,
            ..german()
        },
        Flavour {
            names: POLISH,
            words: ["dobry", "za wysoki", "przebicie"],
            delimiter: '|',
            quoted: true,
            encode: marked,
            ..german()
        },
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
    let ours = flavours().into_iter().map(|flavour| ("t.csv", flavour.bytes()));
    let all: Vec<(&str, Vec<u8>)> = ours.chain(hand_written::files(&many())).collect();
    assert!(all.len() >= 30);
    for (n, (file, bytes)) in all.into_iter().enumerate() {
        let name = format!("{n}/{file}");
        let path = put(dir.path(), &name, bytes);
        let (_, pass) = counted(&[path], &Config::default());
        assert_eq!(
            (pass.ledger.read, pass.ledger.used),
            (5000, 5000),
            "flavour {n}, {file}: {:?}",
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
                assert!(first.0 == now.0, "flavour {n}, {file}: another tally");
                assert!(first.1 == now.1, "flavour {n}, {file}: other numbers");
            }
        }
    }
}

/// What comes of a damaged export of 60 tests.
enum Comes {
    /// The tests are those of the sound export less those of these lines, which are listed as unreadable; so are
    /// lines here that are no tests.
    Unreadable(Vec<u32>),
    /// Nothing can be counted, and the message says so in these words.
    Refused(&'static str),
}

/// How a damaged export differs from what is expected of it, if it does.
fn otherwise(bytes: Vec<u8>, expected: &Comes, tests: u64) -> Option<String> {
    let dir = folder();
    let path = put(dir.path(), "t.csv", bytes);
    let (read, pass) = match (tried(&[path], &Config::default()), expected) {
        (Ok(found), Comes::Unreadable(_)) => found,
        (Err(e), Comes::Refused(words)) => {
            let told = e.to_string();
            return (!told.contains("t.csv") || !told.contains(words)).then_some(told);
        }
        (Ok((_, pass)), Comes::Refused(_)) => return Some(format!("{:?}", pass.ledger)),
        (Err(e), Comes::Unreadable(_)) => return Some(e.to_string()),
    };
    let Comes::Unreadable(lines) = expected else { return None };
    let listed: Vec<u32> = pass.unreadable.iter().map(|u| u.line).collect();
    let (found, sound) = (plain(&pass), by_hand(1));
    let among_sound = found
        .outcomes
        .iter()
        .all(|(key, n)| sound.outcomes.get(key).is_some_and(|m| n <= m))
        && found.readings.iter().all(|(key, n)| sound.readings.get(key).is_some_and(|m| n <= m));
    let is_expected = read.failures.is_empty()
        && (&listed, pass.ledger.used) == (lines, tests)
        && among_sound
        && (tests < 60 || found == sound);
    let said = || format!("{:?}, lines {listed:?}, failures {:?}", pass.ledger, read.failures);
    (!is_expected).then(said)
}

/// A row that lost or gained a cell is unreadable, and it alone; quotes that close, or stand behind a value, are no
/// damage.
#[test]
fn pollution_of_any_cell_of_any_row_is_seen() {
    let text = String::from_utf8(english()).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let mut wrong = Vec::new();
    for row in [1_u32, 2, 31, 60] {
        let at = row as usize;
        let cells: Vec<&str> = lines[at].split(',').collect();
        for column in 0..cells.len() {
            let mut with = |what: &str, new: &[&str], lost: bool| {
                let row_now = new.join(",");
                let all = [&lines[..at], &[row_now.as_str()], &lines[at + 1..]].concat();
                let unreadable = Comes::Unreadable(if lost { vec![row + 1] } else { vec![] });
                let tests = if lost { 59 } else { 60 };
                let bytes = (all.join("\n") + "\n").into_bytes();
                let differs = otherwise(bytes, &unreadable, tests);
                wrong.extend(differs.map(|d| format!("{what} in row {row}, column {column}: {d}")));
            };
            let (before, after) = cells.split_at(column);
            with("a missing cell", &[before, &after[1..]].concat(), true);
            for extra in ["", "17", cells[column]] {
                with("an extra cell", &[before, &[extra], after].concat(), true);
            }
            // A quote that opens and does not close takes the cells after it with it, where there are any.
            let swallows = after.len() > 1;
            for (quote, lost) in
                [("\"{}", swallows), ("{}\"", false), ("\"{}\"", false), ("\"{}\"\"", swallows)]
            {
                let quoted = quote.replace("{}", cells[column]);
                with(quote, &[before, &[quoted.as_str()], &after[1..]].concat(), lost);
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn pollution_of_the_whole_table_is_seen() {
    use Comes::{Refused, Unreadable};
    let text = String::from_utf8(english()).unwrap();
    let header = text.lines().next().unwrap().trim_start_matches('\u{feff}').to_owned();
    let body: String = text.lines().skip(1).map(|l| format!("{l}\n")).collect();
    let sound = format!("{header}\n{body}");
    let swapped = header.replace("leakage µA,high limit µA", "high limit µA,leakage µA");
    let whole = || Unreadable(vec![]);
    let mut wrong = Vec::new();
    // The header stands in line 1, the tests in lines 2 to 61.
    for (what, polluted, tests, comes) in [
        ("a preamble", format!("Line 3; north\n\"printed, by\"\n\n{sound}"), 60, whole()),
        ("a footnote", format!("{sound}\n* all units tested\nTotal,60\n"), 60, whole()),
        ("two header rows", format!("{header}\n(text),,,V,Hz,uA,uA,\n{body}"), 60, whole()),
        ("no record end at the end", sound.trim_end().to_owned(), 60, whole()),
        ("record ends of the other kind", sound.replace('\n', "\r"), 60, whole()),
        ("mixed record ends", sound.replacen('\n', "\r\n", 9), 60, whole()),
        (
            "another delimiter in one row",
            sound.replacen(",U-005,", ";U-005;", 1),
            59,
            Unreadable(vec![7]),
        ),
        ("a quote of another kind", sound.replace(",M1,", ",'M1',"), 60, whole()),
        ("the header twice", format!("{sound}{header}\n"), 60, whole()),
        ("no header", body.clone(), 0, Refused("header")),
        ("an empty file", String::new(), 0, Refused("empty")),
        (
            "another table below",
            format!("{sound}\nshift,operator,units\nearly,op1,30\n"),
            60,
            whole(),
        ),
        (
            "another table of the same width with columns swapped",
            format!("{sound}\n{swapped}\n{body}"),
            60,
            Unreadable((64..=123).collect()),
        ),
        (
            "a column name twice",
            format!("{header},leakage µA\n{}", body.replace('\n', ",1\n")),
            0,
            Refused("rename one"),
        ),
    ] {
        let differs = otherwise(polluted.into_bytes(), &comes, tests);
        wrong.extend(differs.map(|d| format!("{what}: {d}")));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
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

/// However many of up to three cells of a row are blank, odd or lost, the row is told as unreadable or used: it is
/// never taken for a title and passed over.
#[test]
fn a_row_of_which_up_to_three_cells_are_damaged_is_counted() {
    let tables = [
        ("date,model,reading_ma,outcome,high_limit_ma", "2026-02-13,M1,0.4,pass,1.3", 5),
        ("date,model,serial,reading_ma,outcome", "2026-02-13,M1,U1,0.4,pass", 5),
        (
            "date;time;model;serial;station;reading_ma;outcome",
            "2026-02-13;10:00:00;M1;U1;S1;0.4;pass",
            7,
        ),
        ("model,serial,tested_at,reading_ma,outcome", "M1,U1,2026-02-13 10:00:00,0.4,pass", 5),
    ];
    let mut wrong = Vec::new();
    for (header, row, width) in tables {
        let delimiter = if row.contains(';') { ";" } else { "," };
        let cells: Vec<&str> = row.split(delimiter).collect();
        for which in 1_u32..1 << width {
            if which.count_ones() > 3 {
                continue;
            }
            let hit = |n: usize| which >> n & 1 == 1;
            for damage in ["", "?", "\u{fffd}#", "lost"] {
                let now: Vec<&str> = (0..width)
                    .filter(|n| !(hit(*n) && damage == "lost"))
                    .map(|n| if hit(n) { damage } else { cells[n] })
                    .collect();
                let checked = |c: &&str| !["U1", "S1", "10:00:00"].contains(c);
                if damage == "lost" && now.iter().copied().filter(|c| checked(c)).count() < 2 {
                    // A serial beside one other cell may be anything.
                    continue;
                }
                let text = format!(
                    "{header}\n{row}\n{row}\n{}\n{row}\nTotal{delimiter}3\n",
                    now.join(delimiter)
                );
                let dir = folder();
                let path = put(dir.path(), "t.csv", text);
                let (_, pass) = counted(&[path], &Config::default());
                if pass.ledger.read != 4 {
                    wrong.push(format!("{header}: {now:?}: {:?}", pass.ledger));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A remark that holds a line like a test, or many, is the remark of its row.
#[test]
fn a_quoted_remark_that_holds_a_line_like_a_test_is_one_cell() {
    let text = String::from_utf8(english()).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let dir = folder();
    for (copies, line_end) in [(1, "\n"), (3, "\r\n")] {
        let table: String = lines
            .iter()
            .enumerate()
            .map(|(n, l)| match n {
                0 => format!("{l},remark{line_end}"),
                31 => {
                    let copied = lines[17..17 + copies].join(line_end);
                    format!(
                        "{l},\"see \"\"first\"\" test{line_end}{copied},{line_end}end\"{line_end}"
                    )
                }
                _ => format!("{l},{line_end}"),
            })
            .collect();
        let pass = is_the_tally(put(dir.path(), "t.csv", table));
        assert_eq!(pass.ledger.read, 60, "{copies}");
    }
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
    let path = committed("tests/data/exports/wide-titles.gz");
    let done = finish(std::process::Command::new(PROGRAM).arg("peek").arg(path)).expect(1);
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

/// A table as it is written where its language is spoken, in the code page of older programs there.
#[test]
fn code_pages_of_twelve_languages_are_told_apart() {
    let pages = [
        ("检验日期,机型,序列号,漏电流 [mA],上限 [mA],结果", "合格", "击穿", encoding_rs::GB18030),
        (
            "検査日,機種,製造番号,漏れ電流 [mA],上限 [mA],判定",
            "合格",
            "不合格",
            encoding_rs::SHIFT_JIS,
        ),
        (
            "Data badania,Model,Numer seryjny,Prąd upływu [mA],Górna granica [mA],Wynik próby wytrzymałości",
            "pozytywny",
            "zły",
            encoding_rs::WINDOWS_1250,
        ),
        (
            "Datum zkoušky,Model,Výrobní číslo,Unikající proud [mA],Horní mez [mA],Výsledek zkoušky výrobku",
            "vyhověl",
            "nevyhověl",
            encoding_rs::WINDOWS_1250,
        ),
        (
            "Test tarihi,Model,Seri numarası,Kaçak akım [mA],Üst sınır [mA],Sonuç",
            "geçti",
            "kaldı",
            encoding_rs::WINDOWS_1254,
        ),
        (
            "Prüfdatum,Typ,Seriennummer,Ableitstrom [mA],Obergrenze [mA],Ergebnis",
            "bestanden",
            "Durchschlag",
            encoding_rs::WINDOWS_1252,
        ),
        (
            "Date de l'essai,Modèle,Numéro de série,Courant de fuite [mA],Limite supérieure [mA],Résultat",
            "réussi",
            "échec",
            encoding_rs::WINDOWS_1252,
        ),
    ];
    for (header, pass, fail, page) in pages {
        let mut text = format!("{header}\n");
        for n in 0..60 {
            let outcome = if n % 20 == 7 { fail } else { pass };
            text += &format!(
                "2026-03-{:02} 08:{n:02}:00,M1,U{n},0.{},1.30,{outcome}\n",
                1 + n / 10,
                41 + n % 5
            );
        }
        let dir = folder();
        let (bytes, _, lost) = page.encode(&text);
        assert!(!lost, "{header}");
        let path = put(dir.path(), "t.csv", bytes);
        let (_, counted) = counted(&[path], &Config::default());
        assert_eq!(counted.ledger.used, 60, "{header}");
        let passed: u64 = counted.series.iter().map(|s| s.count(Outcome::Pass)).sum();
        assert_eq!(passed, 57, "{header}");
    }
}
