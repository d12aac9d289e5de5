//! What a ceiling rests on is told wherever it is: on the record, to machines, and in the note that asks for a limit.

use leakdrift::config::Config;

use crate::support::days::day;
use crate::support::run::{folder, put, results, run_in, small_table};

const CEILING: &str = "\
[ceiling]
standard = \"works standard 12\"
clause = \"4.2\"
\"ac withstand\" = 10
\"leakage\" = { ma = 0.75, standard = \"works standard 30\" }
\"dc withstand\" = { ma = 2.0, clause = \"5\" }
";

#[test]
fn the_standard_and_clause_of_a_ceiling_are_told_with_it() {
    let dir = folder();
    put(dir.path(), "in/export.csv", small_table(day("2026-09-01"), 30));
    put(dir.path(), "in/leakdrift.toml", CEILING);
    run_in(dir.path(), ["review", "in", "--out", "out", "--quiet"]).expect(0);
    let out = dir.path().join("out");
    let record = std::fs::read_to_string(out.join("record.md")).unwrap();
    assert!(record.contains("| ac withstand | 10.000 mA | works standard 12 | 4.2 |"), "{record}");
    // A clause of one standard is none of another.
    assert!(record.contains("| leakage | 0.750 mA | works standard 30 | not stated |"), "{record}");
    assert!(record.contains("| dc withstand | 2.000 mA | works standard 12 | 5 |"), "{record}");
    let told = &results(&out)["ceilings"];
    assert_eq!(told[0]["test"], "ac withstand");
    assert_eq!(
        (&told[0]["standard"], &told[0]["clause"]),
        (&"works standard 12".into(), &"4.2".into())
    );
    assert!(told[2]["clause"].is_null(), "{told}");
    let note = ["limits", "in", "--model", "M1", "--note-for", "1.3", "--out", "note", "--quiet"];
    run_in(dir.path(), note).expect(0);
    let note = std::fs::read_to_string(dir.path().join("note/change-note.md")).unwrap();
    assert!(note.contains("Ceiling: 10.000 mA (works standard 12, clause 4.2)."), "{note}");
    assert!(
        note.contains(
            "| standard and clause looked at | of the ceiling: works standard 12, clause 4.2; ___"
        ),
        "{note}"
    );
}

#[test]
fn a_ceiling_that_rests_on_nothing_stated_is_told_as_that() {
    let dir = folder();
    put(dir.path(), "in/export.csv", small_table(day("2026-09-01"), 30));
    put(dir.path(), "in/leakdrift.toml", "[ceiling]\n\"ac withstand\" = 10.0\n");
    run_in(dir.path(), ["review", "in", "--out", "out", "--quiet"]).expect(0);
    let record = std::fs::read_to_string(dir.path().join("out/record.md")).unwrap();
    assert!(record.contains("| ac withstand | 10.000 mA | not stated | not stated |"), "{record}");
}

/// Each with its line, and what to do.
#[test]
fn a_ceiling_that_is_no_current_or_no_words_is_refused_where_it_stands() {
    for (line, said) in [
        ("standard = 12", "expected words in quotes"),
        ("\"leakage\" = \"ten\"", "expected a current in mA above 0, found \"ten\""),
        ("\"leakage\" = -1", "expected a current in mA above 0, found -1"),
        ("\"leakage\" = { ma = 0 }", "expected a current in mA above 0, found 0"),
        ("\"leackage\" = 1.0", "unknown test"),
        ("\"leakage\" = { clause = \"4\" }", "ma"),
        ("\"leakage\" = true", "a current in mA, or a table with ma, standard and clause"),
    ] {
        let text = format!("[ceiling]\n{line}\n");
        let refused = Config::parse(&text, "leakdrift.toml".as_ref()).unwrap_err().to_string();
        assert!(refused.starts_with("leakdrift.toml, line 2, "), "{line}: {refused}");
        assert!(refused.contains(said), "{line}: {refused}");
    }
}
