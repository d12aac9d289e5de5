//! How a settings file that cannot be used is told: what, where, and what to write instead.

use std::path::Path;

use leakdrift::config::Config;

use super::flavours::english;
use crate::support::run::{folder, put, run_in};

#[track_caller]
fn told(settings: &str) -> String {
    let path = Path::new("leakdrift.toml");
    Config::parse(settings, path).expect_err(settings).to_string()
}

/// The slips of hands that write a settings file for the first time, with the place and what to write instead.
#[test]
fn slips_of_the_hand_are_told_with_their_place_and_what_to_write() {
    for (settings, place, instead) in [
        // Quotes.
        ("name = line 3\n", "line 1, column 8", "name = \"line 3\""),
        (
            "[columns]\nStrom [mA] = \"reading_ma\"\n",
            "line 2, column 1",
            "\"Strom [mA]\" = \"reading_ma\"",
        ),
        ("[columns]\n\"Strom\" = reading_ma\n", "line 2, column 11", "\"Strom\" = \"reading_ma\""),
        ("date_order = day-month-year\n", "line 1, column 14", "\"day-month-year\""),
        ("name = “north”\n", "line 1, column 8", "name = \"north\""),
        ("name = „north“\n", "line 1, column 8", "name = \"north\""),
        (
            "name = \"north\n",
            "line 1, column 14",
            "without its closing quote; write name = \"north\"",
        ),
        ("[columns]\n\"a\"b\" = \"model\"\n", "line 2, column 1", "single quotes"),
        (
            "events = \"C:\\Users\\events.csv\"\n",
            "line 1, column 15",
            "events = 'C:\\Users\\events.csv'",
        ),
        // Numbers.
        (
            "confidence = 0,95\n",
            "line 1, column 14",
            "a decimal comma: 0,95; write confidence = 0.95",
        ),
        ("[tester]\nrange_ma = 1,5\n", "line 2, column 12", "write range_ma = 1.5"),
        ("[tester]\nrange_ma = 20 mA\n", "line 2, column 12", "write range_ma = 20"),
        ("confidence = 95 %\n", "line 1, column 14", "0.95"),
        ("confidence = .95\n", "line 1, column 14", "write confidence = 0.95"),
        ("horizon_months = 06\n", "line 1, column 18", "write horizon_months = 6"),
        ("horizon_months = \"6\"\n", "line 1, column 18", "without quotes: horizon_months = 6"),
        ("[model.M1]\nhigh_limit_ma = \"5,0\"\n", "line 2, column 17", "high_limit_ma = 5.0"),
        ("name = 3\n", "line 1, column 8", "in quotes: name = \"3\""),
        // Lists and sections.
        ("factors = \"filter\"\n", "line 1, column 11", "factors = [\"filter\"]"),
        ("factors = [\"a\", \"b\"\nname = \"x\"\n", "line 1, column 11", "closing bracket"),
        ("factors = [\"a\" \"b\"]\n", "line 1, column 11", "comma"),
        ("[columns\n\"a\" = \"model\"\n", "line 1, column 9", "closing bracket; write [columns]"),
        ("[model.KB 120]\nleak_path_mohm = 1\n", "line 1, column 10", "[model.\"KB 120\"]"),
        ("[[columns]]\n\"a\" = \"model\"\n", "line 1, column 1", "single brackets: [columns]"),
        ("[model]\nhigh_limit_ma = 1\n", "line 2, column 17", "[model.\"NAME\"]"),
        ("columns = \"a\"\n", "line 1, column 11", "a line [columns]"),
        // Twice.
        ("name = \"a\"\nconfidence = 0.9\nname = \"b\"\n", "line 3, column 1", "first in line 1"),
        (
            "[tester]\n[columns]\n[tester]\n",
            "line 3, column 2",
            "[tester] stands twice, first in line 1",
        ),
        (
            "[columns]\n\"a\" = \"model\"\n\"a\" = \"lot\"\n",
            "line 3, column 1",
            "\"a\" stands twice, first in line 2",
        ),
        // Other signs and places.
        ("name: \"north\"\n", "line 1, column 1", "write name = \"north\""),
        ("\tname : north\n", "line 1, column 2", "write name = \"north\""),
        ("name = \n", "line 1, column 8", "nothing behind the sign ="),
        ("name\u{a0}= \"x\"\n", "line 1, column 5", "no-break space"),
        ("// our line\n", "line 1, column 1", "begin a remark with #"),
        ("name = \"a\", confidence = 0.9\n", "line 1, column 11", "a line of its own"),
        ("[columns]\n\"a\" => \"model\"\n", "line 2, column 6", "write \"a\" = \"model\""),
        ("[tester]\nname = \"x\"\n", "line 2, column 1", "above the first line in brackets"),
        ("range_ma = 20.0\n", "line 1, column 1", "stands under [tester]"),
        ("leak_path_mohm = 1.0\n", "line 1, column 1", "stands under [model.\"NAME\"]"),
    ] {
        let told = told(settings);
        assert!(told.starts_with(&format!("leakdrift.toml, {place}: ")), "{settings}: {told}");
        assert!(told.contains(instead), "{settings}: {told}");
        // None of the words that only a reader of TOML knows.
        for theirs in
            ["literal", "mantissa", "key with no value", "u32", "f64", "struct", "sequence"]
        {
            assert!(!told.contains(theirs), "{settings}: {told}");
        }
    }
}

/// A tab is a blank as any other.
#[test]
fn tabs_are_blanks() {
    let config = Config::parse("\tname\t=\t\"north\"\t# hall\n", Path::new("x")).unwrap();
    assert_eq!(config.name.as_deref(), Some("north"));
}

/// As editors save it: UTF-8 with or without a mark and UTF-16 are read; bytes of a code page could be any letters
/// and are refused with their place.
#[test]
fn settings_are_read_in_any_unicode_and_refused_in_a_code_page() {
    let dir = folder();
    let text = "name = \"Prüffeld\"\n";
    let utf16 = |order: fn(u16) -> [u8; 2], mark: &str| -> Vec<u8> {
        format!("{mark}{text}").encode_utf16().flat_map(order).collect()
    };
    for bytes in [
        text.as_bytes().to_vec(),
        format!("\u{feff}{text}").into_bytes(),
        utf16(u16::to_le_bytes, "\u{feff}"),
        utf16(u16::to_be_bytes, "\u{feff}"),
        utf16(u16::to_le_bytes, ""),
        utf16(u16::to_be_bytes, ""),
    ] {
        let path = put(dir.path(), "leakdrift.toml", bytes);
        assert_eq!(Config::read(&path).unwrap().name.as_deref(), Some("Prüffeld"));
    }
    let path = put(dir.path(), "leakdrift.toml", b"confidence = 0.9\nname = \"Pr\xfcffeld\"\n");
    let told = Config::read(&path).unwrap_err().to_string();
    assert!(told.contains("line 2, column 11: expected a text in UTF-8"), "{told}");
    assert!(told.contains("'ü'") && told.contains("encoding UTF-8"), "{told}");
}

/// A word of the trade for a column or an outcome names its canonical one; what looks like none names none.
#[test]
fn unknown_names_are_answered_with_those_that_make_sense() {
    let dir = folder();
    put(dir.path(), "t.csv", english());
    for (settings, named, not) in [
        ("[columns]\n\"x\" = \"leakage current\"\n", "called \"reading_ma\"", "nearest"),
        ("[columns]\n\"x\" = \"Prüfplatz\"\n", "called \"station\"", "nearest"),
        ("[columns]\n\"x\" = \"zzz\"\n", "--columns", "nearest"),
        ("[outcomes]\n\"x\" = \"Durchschlag\"\n", "called \"breakdown\"", "nearest"),
        ("[outcomes]\n\"x\" = \"zzz\"\n", "known are \"pass\"", "nearest"),
        ("[model.\"M1\"]\nlimit = 3.0\n", "\"high_limit_ma\", \"low_limit_ma\"", "capacitance"),
        ("guard = 2\n", "`leakdrift config`", "nearest"),
        ("[ceiling]\n\"AC\" = 5.0\n", "\"ac withstand\"", "leakage"),
    ] {
        put(dir.path(), "leakdrift.toml", settings);
        let told = run_in(dir.path(), ["peek", "t.csv"]).expect(2).err;
        assert!(told.contains(named) && !told.contains(not), "{settings}: {told}");
    }
}
