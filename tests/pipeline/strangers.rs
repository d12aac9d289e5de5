//! Exports as strangers make them, none by a writer of ours: whatever the file, `peek` says what it saw in it, what
//! it lacks and which settings supply that, and starts those settings.

use leakdrift::config::Config;
use serde_json::Value;

use super::flavours::{english, rows, word};
use crate::support::run::{folder, put, results, run_in};

/// An export and some of its headers with the first value below each.
struct Export {
    file: &'static str,
    bytes: Vec<u8>,
    seen: &'static [(&'static str, &'static str)],
}

/// Milliamperes with a comma; blank where there is no reading.
fn comma(ua: Option<u32>) -> String {
    ua.map_or_else(String::new, |x| format!("{},{:03}", x / 1000, x % 1000))
}

/// Semicolons, title lines above the header and a row of units below it, in an older code page.
fn german() -> Vec<u8> {
    let mut text = "Prüfprotokoll Endkontrolle\r\nWerk;Nord\r\nZeitraum;09.02.2026 - 28.02.2026\r\n\r\n\
        Prüfzeitpunkt;Gerätebezeichnung;Fabriknr.;Prüfsp.;Ableitstrom Ist;Ableitstrom Soll max.;Befund\r\n\
        ;;;V;mA;mA;\r\n"
        .to_owned();
    for row in rows() {
        text += &format!(
            "{};M1;{};1500;{};1,300;{}\r\n",
            row.at.format("%d.%m.%Y %H:%M:%S"),
            row.serial,
            comma(row.ua),
            word(row.outcome, ["i.O.", "n.i.O. Grenzwert", "n.i.O. Durchschlag"]),
        );
    }
    encoding_rs::WINDOWS_1252.encode(&text).0.into_owned()
}

/// Tabs, and a serial that is spelled with a degree sign.
fn french() -> Vec<u8> {
    let mut text =
        "Le\tRéf. appareil\tn° série\tBanc\tI fuite (mA)\tSeuil maxi (mA)\tConformité\n".to_owned();
    for row in rows() {
        text += &format!(
            "{}\tM1\t{}\tB2\t{}\t1,300\t{}\n",
            row.at.format("%d/%m/%Y %H:%M"),
            row.serial,
            comma(row.ua),
            word(row.outcome, ["conforme", "hors tolérance", "claquage"]),
        );
    }
    text.into_bytes()
}

/// One row a unit with forty columns, the steps of its sequence beside one another under one header.
fn wide() -> Vec<u8> {
    let mut text = "Tested,Item,Unit".to_owned();
    for step in 1..=6 {
        text += &format!(
            ",Step {step} name,Step {step} kV,Step {step} reading [mA],Step {step} max [mA],Step {step} P/F,Step {step} s"
        );
    }
    text += ",Total\n";
    for row in rows() {
        let result = word(row.outcome, ["P", "F", "F"]);
        let ma = row.ua.map_or_else(String::new, |x| format!("{:.3}", f64::from(x) / 1000.0));
        text += &format!("{},M1,{}", row.at.format("%Y-%m-%d %H:%M:%S"), row.serial);
        for _ in 1..=6 {
            text += &format!(",ACW L+N to PE,1.5,{ma},1.300,{result},2.0");
        }
        text += &format!(",{result}\n");
    }
    text.into_bytes()
}

/// A print: columns by blanks, a page head over every twenty rows.
fn print() -> Vec<u8> {
    let mut text = String::new();
    for (n, row) in rows().iter().enumerate() {
        if n % 20 == 0 {
            text += &format!(
                "\x0cHIGH VOLTAGE TEST RECORD                                  PAGE {:>3}\n\n\
                 DATE        TIME      PRODUCT   UNIT NO   VOLTS   I MEAS   I MAX   STATUS\n\
                 ----------  --------  --------  --------  -----  -------  ------  ----------\n",
                n / 20 + 1
            );
        }
        let ma = row.ua.map_or_else(String::new, |x| format!("{:.3}", f64::from(x) / 1000.0));
        text += &format!(
            "{}  {}  {:<8}  {:<8}  {:>5}  {ma:>7}  {:>6}  {}\n",
            row.at.format("%Y-%m-%d"),
            row.at.format("%H:%M:%S"),
            "M1",
            row.serial,
            1500,
            "1.300",
            word(row.outcome, ["PASSED", "HI LIMIT", "BREAKDOWN"]),
        );
    }
    text.into_bytes()
}

/// No header at all.
fn bare() -> Vec<u8> {
    let mut text = String::new();
    for row in rows() {
        let ma = row.ua.map_or_else(String::new, |x| format!("{:.3}", f64::from(x) / 1000.0));
        text += &format!(
            "{},{},M1,1500,{ma},1.300,{}\n",
            row.at.format("%Y-%m-%d %H:%M:%S"),
            row.serial,
            word(row.outcome, ["pass", "over limit", "breakdown"]),
        );
    }
    text.into_bytes()
}

fn chinese() -> Vec<u8> {
    let mut text =
        "\u{feff}检验日期,检验时刻,机种名称,产品编号,泄漏值（mA）,上限设定（mA）,检验结论\r\n"
            .to_owned();
    for row in rows() {
        let ma = row.ua.map_or_else(String::new, |x| format!("{:.3}", f64::from(x) / 1000.0));
        text += &format!(
            "{},{},M1,{},{ma},1.300,{}\r\n",
            row.at.format("%Y/%m/%d"),
            row.at.format("%H:%M:%S"),
            row.serial,
            word(row.outcome, ["合格", "超上限", "击穿"]),
        );
    }
    text.into_bytes()
}

/// Headers that anybody knows over outcomes that only this plant does.
fn codes() -> Vec<u8> {
    let mut text = "tested at;model;serial;leakage mA;high limit mA;result\n".to_owned();
    for row in rows() {
        let ma = row.ua.map_or_else(String::new, |x| format!("{:.3}", f64::from(x) / 1000.0));
        text += &format!(
            "{};M1;{};{ma};1.300;{}\n",
            row.at.format("%Y-%m-%d %H:%M:%S"),
            row.serial,
            word(row.outcome, ["K00", "K17", "K31"]),
        );
    }
    text.into_bytes()
}

/// Headers that say nothing about a test.
fn nonsense() -> Vec<u8> {
    let mut text = "Alpha;Beta;Gamma;Delta;Epsilon\n".to_owned();
    for row in rows() {
        let ma = row.ua.map_or_else(String::new, |x| format!("{:.3}", f64::from(x) / 1000.0));
        text += &format!(
            "{};M1;{};{ma};{}\n",
            row.at.format("%Y-%m-%d %H:%M:%S"),
            row.serial,
            word(row.outcome, ["pass", "over limit", "breakdown"]),
        );
    }
    text.into_bytes()
}

fn exports() -> [Export; 8] {
    [
        Export {
            file: "german.csv",
            bytes: german(),
            seen: &[("Gerätebezeichnung", "M1"), ("Prüfzeitpunkt", "09.02.2026 11:00:00")],
        },
        Export {
            file: "french.txt",
            bytes: french(),
            seen: &[("Le", "09/02/2026 11:00"), ("Conformité", "conforme"), ("n° série", "U-000")],
        },
        Export {
            file: "wide.csv",
            bytes: wide(),
            seen: &[("Step 1 reading [mA]", "0.900"), ("Step 6 P/F", "P"), ("Item", "M1")],
        },
        // As it is split where columns are told by blanks; else its first line at least.
        Export { file: "print.txt", bytes: print(), seen: &[] },
        Export {
            file: "bare.csv",
            bytes: bare(),
            seen: &[("column 1", "2026-02-09 11:00:00"), ("column 7", "pass")],
        },
        Export {
            file: "chinese.csv",
            bytes: chinese(),
            seen: &[("机种名称", "M1"), ("检验结论", "合格")],
        },
        Export {
            file: "codes.csv",
            bytes: codes(),
            seen: &[("result", "K00"), ("leakage mA", "0.900")],
        },
        Export {
            file: "nonsense.csv",
            bytes: nonsense(),
            seen: &[("Beta", "M1"), ("Epsilon", "pass")],
        },
    ]
}

/// Every column with an example, what cannot be used with what it lacks and how to supply it, settings for each;
/// and 1 where nothing can be used.
#[test]
fn peek_gives_eight_strange_exports_a_useful_answer_each() {
    for export in exports() {
        let dir = folder();
        let file = format!("in/{}", export.file);
        put(dir.path(), &file, &export.bytes);
        let done = run_in(dir.path(), ["peek", "in", "--write-config"]);
        let page = &done.out;
        let told = format!("{file}: {page}\n{}", done.err);
        assert!(page.contains(&file), "{told}");
        for (header, value) in export.seen {
            let shown = page.lines().any(|l| l.contains(header) && l.contains(value));
            assert!(shown, "{header}, {value}: {told}");
        }
        let refused = page.contains("cannot be used yet: ");
        let used = page.contains(" rows read");
        assert!(refused || used, "{told}");
        let nothing_used = done.err.contains("no row can be used");
        assert_eq!(done.status, i32::from(refused || nothing_used), "{told}");
        if refused {
            for words in
                ["in leakdrift.toml:", "[columns]", "tested_at, date, time, model, reading_ma"]
            {
                assert!(page.contains(words), "{words}: {told}");
            }
        }
        // The settings name every column seen, understood or to be filled in, and are settings.
        let settings = dir.path().join("in/leakdrift.toml");
        let text = std::fs::read_to_string(&settings).unwrap_or_else(|e| panic!("{e}: {told}"));
        Config::read(&settings).unwrap_or_else(|e| panic!("{e}: {text}"));
        for (header, _) in export.seen {
            assert!(text.contains(&format!("\"{header}\" = \"")), "{header}: {text}");
        }
    }
}

/// A row of units below the header says what its columns hold; it makes no test of each.
#[test]
fn a_row_of_units_below_a_header_makes_no_tests_of_its_columns() {
    let dir = folder();
    put(dir.path(), "german.csv", german());
    let json = run_in(dir.path(), ["peek", "german.csv", "--json"]).out;
    let json: Value = serde_json::from_str(&json).unwrap();
    let read = |key: &str| json["rows"][key].as_u64();
    assert!(read("read").is_none_or(|n| n == 60), "{json:#}");
    for table in json["tables"].as_array().unwrap() {
        let columns = table["columns"].as_array().unwrap();
        let readings = columns.iter().filter(|c| c["meaning"] == "reading_ma").count();
        assert_eq!(readings, 1, "{json:#}");
    }
}

/// What is to be filled in is filled in, and every row counts.
#[test]
fn settings_with_blanks_are_filled_in_and_the_file_is_used() {
    let filled = [
        (
            "nonsense.csv",
            nonsense(),
            [
                ("Alpha", "tested_at"),
                ("Beta", "model"),
                ("Gamma", "serial"),
                ("Delta", "reading_ma"),
                ("Epsilon", "outcome"),
            ],
        ),
        (
            "bare.csv",
            bare(),
            [
                ("column 1", "tested_at"),
                ("column 2", "serial"),
                ("column 3", "model"),
                ("column 5", "reading_ma"),
                ("column 7", "outcome"),
            ],
        ),
    ];
    for (name, bytes, columns) in filled {
        let dir = folder();
        put(dir.path(), &format!("in/{name}"), bytes);
        run_in(dir.path(), ["peek", "in", "--write-config"]).expect(1);
        let settings = dir.path().join("in/leakdrift.toml");
        let mut text = std::fs::read_to_string(&settings).unwrap();
        assert!(
            text.lines().all(|l| l.is_empty()
                || l.starts_with('#')
                || l.starts_with("[")
                || l.starts_with('"')),
            "{text}"
        );
        text = text.replace("# [columns]", "[columns]");
        for (header, meaning) in columns {
            let line = text.lines().find(|l| l.starts_with(&format!("# \"{header}\" = "))).unwrap();
            let filled = format!("\"{header}\" = \"{meaning}\"");
            text = text.replace(&line.to_owned(), &filled);
        }
        std::fs::write(&settings, text).unwrap();
        let page = run_in(dir.path(), ["peek", "in"]).expect(0).out;
        assert!(page.contains("60 rows read"), "{name}: {page}");
        let json = run_in(dir.path(), ["peek", "in", "--json"]).expect(0).out;
        let json: Value = serde_json::from_str(&json).unwrap();
        assert_eq!((&json["rows"]["used"], &json["rows"]["unreadable"]), (&60.into(), &0.into()));
        assert_eq!(json["outcomes"]["breakdown"], 2, "{name}");
    }
}

/// The user's own lines stand as they were; what is new is added once.
#[test]
fn settings_in_use_keep_every_line_when_peek_adds_to_them() {
    let own = "# our own\nname = \"north\"   # hall\n\n[columns]\n'Zeugnis' = \"tested_at\"\n\n[tester]\nrange_ma = 20.0";
    let table = "Zeugnis;Ding;Strom mA;Urteil\n13.02.2026;M1;0,412;gut\n";
    let dir = folder();
    put(dir.path(), "in/t.csv", table);
    let settings = put(dir.path(), "in/leakdrift.toml", own);
    let done = run_in(dir.path(), ["peek", "in", "--write-config"]).expect(1);
    assert!(done.err.contains("what it said is kept"), "{}", done.err);
    let text = std::fs::read_to_string(&settings).unwrap();
    let mut rest = text.as_str();
    for line in own.lines() {
        let (_, after) = rest.split_once(line).unwrap_or_else(|| panic!("{line}: {text}"));
        rest = after;
    }
    assert!(text.contains("\n# \"Ding\" = \"…\""), "{text}");
    let config = Config::read(&settings).unwrap();
    assert_eq!(config.name.as_deref(), Some("north"));
    assert_eq!(config.tester.range_ma, Some(20.0));
    assert_eq!(config.columns["Zeugnis"], "tested_at");
    // Nothing is said twice.
    let again = run_in(dir.path(), ["peek", "in", "--write-config"]).expect(1);
    assert!(again.err.contains("nothing to add"), "{}", again.err);
    assert_eq!(std::fs::read_to_string(&settings).unwrap(), text);
    // A file that is no settings file is left as it is.
    let other = put(dir.path(), "other.csv", english());
    run_in(dir.path(), ["peek", "in", "--write-config=other.csv"]).expect(2);
    assert_eq!(std::fs::read(other).unwrap(), english());
    // Under another name, what is in use goes on to hold.
    run_in(dir.path(), ["peek", "in", "--write-config=new.toml"]).expect(1);
    let new = Config::read(&dir.path().join("new.toml")).unwrap();
    assert_eq!(new.name.as_deref(), Some("north"));
    let left: Vec<_> = std::fs::read_dir(dir.path().join("in")).unwrap().collect();
    assert_eq!(left.len(), 2, "nothing is left beside: {left:?}");
}

/// Thirty rows unreadable for one reason are one line with a count, also where no other row is left.
#[test]
fn reasons_for_unreadable_rows_are_told_once_with_a_count() {
    let dir = folder();
    let text = String::from_utf8(english()).unwrap();
    let rows: Vec<&str> = text.lines().collect();
    let with = |from: usize, found: &str| {
        let changed = rows.iter().enumerate().map(|(n, row)| match n {
            0 => (*row).to_owned(),
            n if n >= from => row.replace(",pass", &format!(",{found}{}", n % 2)),
            _ => (*row).to_owned(),
        });
        changed.collect::<Vec<_>>().join("\n")
    };
    put(dir.path(), "t.csv", with(31, "so lala "));
    let page = run_in(dir.path(), ["peek", "t.csv"]).expect(0).out;
    // Of the last 30 rows two failed under another word.
    assert_eq!(page.matches("\n  unreadable, ").count(), 1, "{page}");
    assert!(page.contains("unreadable, 27 rows: column \"outcome\""), "{page}");
    assert!(page.contains("\"so lala 1\", \"so lala 0\" (first: t.csv, row 32)"), "{page}");
    let all =
        with(1, "so lala ").replace("over limit", "so lala 2").replace("breakdown", "so lala 3");
    put(dir.path(), "t.csv", all);
    let done = run_in(dir.path(), ["peek", "t.csv"]).expect(1);
    assert!(done.out.contains("unreadable, 60 rows: column \"outcome\""), "{}", done.out);
    assert!(done.out.contains("\"so lala 1\" = \"…\""), "{}", done.out);
    assert!(done.err.contains("no row can be used"), "{}", done.err);
}

/// Which column of the settings is meant by what: every canonical name with its meaning.
#[test]
fn the_canonical_columns_are_listed_with_their_meaning() {
    let dir = folder();
    let page = run_in(dir.path(), ["config", "--columns"]).expect(0).out;
    for name in ["tested_at", "reading_ma", "high_limit_ma", "units_together", "reading_step_ma"] {
        let line = page.lines().find(|l| l.starts_with(&format!("{name} ")));
        assert!(line.is_some_and(|l| l.len() > name.len() + 10), "{name}: {page}");
    }
    // Any of them may stand behind the sign = under [columns].
    let names: Vec<&str> = page
        .lines()
        .filter(|l| !l.starts_with('#') && !l.is_empty())
        .filter_map(|l| l.split_whitespace().next())
        .collect();
    assert!(names.len() > 30, "{names:?}");
    put(dir.path(), "t.csv", english());
    for name in names {
        put(dir.path(), "leakdrift.toml", format!("[columns]\n\"zz\" = \"{name}\"\n"));
        run_in(dir.path(), ["peek", "t.csv", "-q"]).expect(0);
    }
}

/// Exports lie by station and year below the folder of a line, and its settings there.
#[test]
fn settings_up_to_two_folders_above_the_files_are_found_and_named() {
    let dir = folder();
    put(dir.path(), "line/leakdrift.toml", "name = \"line 3\"\n");
    let file = put(dir.path(), "line/A1/2026/t.csv", english());
    put(dir.path(), "line/A2/2026/t.csv", english());
    for (n, inputs) in [
        &["line/A1/2026/t.csv"][..],
        &["line/A1/2026"],
        &["line/A1"],
        &["line/*/2026/*.csv"],
        &["line/A1/2026/t.csv", "line/A2/2026/t.csv"],
    ]
    .into_iter()
    .enumerate()
    {
        let out = format!("report-{n}");
        let args = [&["review"], inputs, &["--out", &out]].concat();
        let done = run_in(dir.path(), args).expect(0);
        assert_eq!(results(&dir.path().join(&out))["name"], "line 3", "{inputs:?}");
        // A pattern begins in the folder of the settings.
        let above = done.err.contains("line/leakdrift.toml, above the inputs");
        assert_eq!(above, !inputs[0].contains('*'), "{}", done.err);
    }
    // From inside the folder, too.
    let inside = file.parent().unwrap();
    let done = run_in(inside, ["peek", "t.csv"]).expect(0);
    assert!(done.err.contains("../../leakdrift.toml"), "{}", done.err);
    // The nearest one holds; two for one run are refused by name.
    put(dir.path(), "line/A1/leakdrift.toml", "name = \"station A1\"\n");
    run_in(dir.path(), ["review", "line/A1/2026", "--out", "report"]).expect(0);
    assert_eq!(results(&dir.path().join("report"))["name"], "station A1");
    let done = run_in(dir.path(), ["peek", "line/A1", "line/A2"]).expect(2);
    for words in ["line/A1/leakdrift.toml", "line/leakdrift.toml", "--config"] {
        assert!(done.err.contains(words), "{words}: {}", done.err);
    }
    // Three folders above is another matter.
    put(dir.path(), "line/A2/2026/05/01/t.csv", english());
    let done = run_in(dir.path(), ["peek", "line/A2/2026/05/01/t.csv"]).expect(0);
    assert!(!done.err.contains("settings:"), "{}", done.err);
}

/// A model that nearly is one of the files names those; one that is none does not.
#[test]
fn a_model_that_is_mistyped_names_those_that_it_looks_like() {
    let dir = folder();
    let text = String::from_utf8(english()).unwrap();
    let of = |model: &str| {
        text.lines().skip(1).fold(String::new(), |all, row| {
            all + &row.replace(",M1,", &format!(",{model},")) + "\n"
        })
    };
    let head = text.lines().next().unwrap();
    put(dir.path(), "t.csv", format!("{head}\n{}{}{}", of("KB120"), of("KB125"), of("VC310")));
    for command in ["limits", "jump"] {
        let told = |model: &str| {
            run_in(dir.path(), [command, "t.csv", "--model", model, "--out", "x"]).expect(2).err
        };
        let near = told("kb12");
        assert!(near.contains("\"KB120\", \"KB125\"") && !near.contains("VC310"), "{near}");
        let near = told("VC301");
        assert!(near.contains("\"VC310\"") && !near.contains("KB120"), "{near}");
        let far = told("toaster");
        assert!(!far.contains("nearest") && far.contains("KB120, KB125, VC310"), "{far}");
    }
}

/// What is asked for stands in the settings that are started, with blanks to fill in; a guess is no fact.
#[test]
fn settings_that_are_started_ask_for_outcomes_and_mark_guesses() {
    let dir = folder();
    let codes = |n: usize| if n % 20 == 7 { "3" } else { "8" };
    let mut text = "Gepr\u{fc}ft am;Typ;Nr;Ableitstrom;Grenzwert;Urteil\n".to_owned();
    for n in 0..60 {
        text += &format!("{:02}.03.2026;M1;A{n:05};0,9{n:02};1,3;{}\n", 13 + n / 10, codes(n));
    }
    put(dir.path(), "in/t.csv", &text);
    let page = run_in(dir.path(), ["peek", "in", "--write-config"]).expect(1).out;
    let file = dir.path().join("in/leakdrift.toml");
    let settings = std::fs::read_to_string(&file).unwrap();
    for line in ["# [outcomes]", "# \"8\" = \"…\"", "# \"3\" = \"…\""] {
        assert!(settings.lines().any(|l| l.trim() == line), "{line}: {settings}");
    }
    for line in ["\"8\" = \"…\"", "\"3\" = \"…\""] {
        assert!(page.lines().any(|l| l.trim() == line), "{line}: {page}");
    }
    // Nothing that rests on a guess holds unasked: each such line stands behind a sign and says why.
    for (header, meaning) in [("Typ", "model"), ("Ableitstrom", "reading_ma")] {
        let is_guess =
            |l: &str| l.starts_with(&format!("# \"{header}\" = \"{meaning}\"    # a guess: "));
        assert!(settings.lines().any(is_guess), "{header}: {settings}");
    }
    let filled = settings
        .replace("# [outcomes]", "[outcomes]")
        .replace("# \"8\" = \"…\"", "\"8\" = \"pass\"")
        .replace("# \"3\" = \"…\"", "\"3\" = \"breakdown\"");
    std::fs::write(&file, filled).unwrap();
    let json = run_in(dir.path(), ["peek", "in", "--json"]).expect(0).out;
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(
        (&json["outcomes"]["pass"], &json["outcomes"]["breakdown"]),
        (&57.into(), &3.into())
    );
}
