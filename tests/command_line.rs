//! Arguments, messages and exit statuses; and that a run that fails leaves the old report whole.

use std::path::Path;

use clap::Parser as _;

use crate::support::days::day;
use crate::support::run::{
    Done, PROGRAM, contents, folder, pages, put, results, reviewed, run_in, small_table,
};

const COMMANDS: [&str; 10] = [
    "review",
    "limits",
    "jump",
    "peek",
    "tally",
    "config",
    "schema",
    "completions",
    "man",
    "sample",
];

fn table() -> String {
    small_table(day("2026-09-01"), 50)
}

fn review(dir: &Path, more: &[&str]) -> Done {
    run_in(dir, ["review", "in", "--out", "report"].iter().chain(more))
}

/// The words of a command line; quotes keep a pattern together.
fn words(line: &str) -> Vec<String> {
    line.split_whitespace().map(|w| w.trim_matches('\'').to_owned()).collect()
}

/// Each help page shows an example, and the program takes what it shows.
#[test]
fn every_command_has_help_with_an_example_it_takes() {
    let dir = folder();
    for command in [None].into_iter().chain(COMMANDS.map(Some)) {
        let args: Vec<&str> = command.into_iter().chain(["--help"]).collect();
        let page = run_in(dir.path(), &args).expect(0).out;
        let (_, after) =
            page.split_once("Example:").unwrap_or_else(|| panic!("no example: {page}"));
        let examples: Vec<Vec<String>> = after
            .lines()
            .filter(|l| l.trim_start().starts_with("leakdrift "))
            // What a shell puts into a file is no argument.
            .map(|l| l.split(" > ").next().unwrap_or(l))
            .flat_map(|l| l.split("&&").map(words).collect::<Vec<_>>())
            .collect();
        assert!(!examples.is_empty(), "{page}");
        assert!(command.is_none_or(|c| examples.iter().any(|e| e[1] == c)), "{page}");
        for example in examples {
            let parsed = leakdrift::cli::Cli::try_parse_from(&example);
            assert!(parsed.is_ok(), "{example:?}: {}", parsed.unwrap_err());
        }
    }
}

/// The example of the first help page, with other names for the folders.
#[test]
fn the_first_example_works() {
    let dir = folder();
    run_in(dir.path(), ["sample", "demo"]).expect(0);
    let page = run_in(dir.path(), ["peek", "demo/A1"]).expect(0).out;
    assert!(page.contains("A1_2025-09.csv") && page.contains("windows-1252"), "{page}");
}

#[test]
fn a_sound_review_ends_with_0_and_writes_every_file() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let done = review(dir.path(), &[]).expect(0);
    let files = contents(&dir.path().join("report"));
    for name in ["results.json", "summary.md", "rows-not-used.csv", "units-to-check.csv"] {
        assert!(files.contains_key(name), "{name}: {:?}", files.keys());
    }
    assert!(
        files.keys().any(|n| n.starts_with("charts/") && n.ends_with(".png")),
        "{:?}",
        files.keys()
    );
    // A pipe shows neither a progress bar nor its control characters.
    assert_eq!(done.err, "");
    assert!(!done.out.contains(['\r', '\u{1b}']), "{:?}", done.out);
    let results = results(&dir.path().join("report"));
    assert_eq!(results["rows"]["read"], 1000);
    assert_eq!(results["rows"]["used"], 1000);
}

#[test]
fn quiet_says_nothing() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let done = review(dir.path(), &["--quiet"]).expect(0);
    assert_eq!((done.out.as_str(), done.err.as_str()), ("", ""));
}

/// The demonstration factory has a limit that is too tight, one that is too loose, and a drift.
#[test]
fn the_gate_ends_with_3_and_the_report_is_written() {
    let review = reviewed();
    assert_eq!(review.done.status, 3, "{}", review.done.err);
    assert!(review.files.iter().any(|f| f == "results.json"));
    assert_eq!(review.done.err, "");
}

/// The small table's limit of 3 mA is above twice its typical reading of 1 mA and beyond twice as far as
/// its lower end: too loose.
#[test]
fn the_gate_comes_before_a_file_that_cannot_be_read() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    put(dir.path(), "in/broken.xlsx", b"PK\x03\x04 and then nothing a workbook holds");
    let verdict = |dir: &Path| results(dir)["series"][0]["verdict"]["verdict"].clone();
    review(dir.path(), &[]).expect(1);
    assert_eq!(verdict(&dir.path().join("report")), "too_loose");
    review(dir.path(), &["--gate"]).expect(3);
}

/// A plant of which nothing is wrong, and the same with one thing that can hurt somebody.
#[test]
fn the_gate_stops_for_what_can_hurt() {
    let sound = small_table(day("2026-08-03"), 60).replace(",3.000,", ",1.700,");
    let load = "2026-08-20 06:00:00,LOAD,L1,S1,1500,50,0.000,1.700,pass\n";
    let one =
        |reading: &str| format!("2026-08-20 13:00:00,M1,X1,S1,1500,50,{reading},1.700,pass\n");
    let open_leads: String = (0..12)
        .map(|n| {
            let outcome = if n < 10 { "under limit" } else { "pass" };
            format!("2026-08-20 13:{n:02}:00,M1,X{n},S1,1500,50,0.020,1.700,{outcome}\n")
        })
        .collect();
    for (what, more, kind) in [
        ("nothing", String::new(), None),
        ("a pass against its reading", one("1.900"), Some("passed_against_reading")),
        ("suspect insulation", one("1.680"), Some("strays_passed")),
        ("open leads", open_leads, Some("passed_open_lead")),
        ("a wrong check load", load.to_owned(), Some("wrong_check_load")),
    ] {
        let dir = folder();
        put(dir.path(), "in/t.csv", format!("{sound}{more}"));
        put(dir.path(), "in/leakdrift.toml", "[check_loads.\"LOAD\"]\nexpect = \"over limit\"\n");
        let status = if kind.is_some() { 3 } else { 0 };
        let done = review(dir.path(), &["--gate"]);
        assert_eq!(done.status, status, "{what}: {}", done.out);
        let actions = results(&dir.path().join("report"))["actions"].clone();
        let found = |kind| actions.as_array().unwrap().iter().any(|a| a["kind"] == kind);
        assert!(kind.is_none_or(found), "{what}: {actions}");
    }
}

#[test]
fn a_damaged_file_among_good_ones_ends_with_1_and_is_named() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    put(dir.path(), "in/broken.xlsx", b"PK\x03\x04 and then nothing a workbook holds");
    let done = review(dir.path(), &[]).expect(1);
    assert!(done.err.contains("broken.xlsx"), "{}", done.err);
    let results = results(&dir.path().join("report"));
    assert_eq!(results["rows"]["used"], 1000);
    let named = results["made"]["failures"].to_string();
    assert!(named.contains("broken.xlsx"), "{named}");
    let summary = pages(&dir.path().join("report"));
    assert!(summary.contains("broken.xlsx"), "the page names it");
}

/// A packed file that breaks off: the rows before the damage count, and the file is named.
#[test]
fn a_file_cut_off_in_the_middle_keeps_its_rows_and_is_named() {
    use std::io::Write as _;
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let other = table().replace(",M1,", ",M2,");
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packed.write_all(other.as_bytes()).unwrap();
    let whole = packed.finish().unwrap();
    put(dir.path(), "in/cut.csv.gz", &whole[..whole.len() / 2]);
    let done = review(dir.path(), &[]).expect(1);
    assert!(done.err.contains("cut.csv.gz"), "{}", done.err);
    let rows = results(&dir.path().join("report"))["rows"]["read"].as_u64().unwrap();
    assert!((1100..2000).contains(&rows), "1000 rows and about half of another 1000: {rows}");
}

#[test]
fn an_empty_folder_ends_with_2() {
    let dir = folder();
    std::fs::create_dir(dir.path().join("in")).unwrap();
    let done = review(dir.path(), &[]).expect(2);
    assert!(done.err.contains("in: expected exported result files, found none"), "{}", done.err);
    assert!(!dir.path().join("report").exists());
}

#[test]
fn a_path_that_does_not_exist_ends_with_2() {
    let dir = folder();
    let done = review(dir.path(), &[]).expect(2);
    assert!(done.err.contains("in: no such file or folder"), "{}", done.err);
}

#[test]
fn a_file_without_columns_it_knows_ends_with_2_and_nothing_is_written() {
    let dir = folder();
    put(dir.path(), "in/t.csv", "alpha,beta,gamma\n1,2,3\n4,5,6\n");
    let done = review(dir.path(), &[]).expect(2);
    for word in ["t.csv", "header", "[columns]"] {
        assert!(done.err.contains(word), "{word}: {}", done.err);
    }
    assert_eq!(contents(dir.path()).into_keys().collect::<Vec<_>>(), ["in/t.csv"]);
}

#[test]
fn an_unknown_key_ends_with_2_and_names_line_and_nearest_key() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    put(dir.path(), "in/leakdrift.toml", "name = \"x\"\n\nhorizon_month = 6\n");
    let done = review(dir.path(), &[]).expect(2);
    for word in ["leakdrift.toml", "line 3", "\"horizon_month\"", "\"horizon_months\""] {
        assert!(done.err.contains(word), "{word}: {}", done.err);
    }
    assert!(!dir.path().join("report").exists());
}

#[test]
fn a_settings_file_can_be_named() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    put(dir.path(), "mine.toml", "name = \"north hall\"\n");
    review(dir.path(), &["--config", "mine.toml"]).expect(0);
    assert_eq!(results(&dir.path().join("report"))["name"], "north hall");
}

#[test]
fn a_month_that_is_none_ends_with_2() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    for month in ["2026-13", "2026-00", "October", "2026"] {
        let done = review(dir.path(), &["--month", month]).expect(2);
        assert!(done.err.contains("--month") && done.err.contains(month), "{}", done.err);
    }
    assert!(!dir.path().join("report").exists());
}

/// 50 days from 2026-09-01 on: the last month is October, with 20 days of 20 units; September has 30.
#[test]
fn the_month_under_review_is_the_last_one_or_the_one_named() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let of = |more: &[&str]| {
        review(dir.path(), more).expect(0);
        let results = results(&dir.path().join("report"));
        (
            results["month"].as_str().unwrap().to_owned(),
            results["series"][0]["units_this_month"].as_u64().unwrap(),
        )
    };
    assert_eq!(of(&[]), ("2026-10".to_owned(), 400));
    assert_eq!(of(&["--month", "2026-09"]), ("2026-09".to_owned(), 600));
}

#[test]
fn a_folder_that_holds_something_else_is_refused() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    put(dir.path(), "report/my-notes.txt", "not a report");
    let before = contents(dir.path());
    let done = review(dir.path(), &[]).expect(2);
    assert!(done.err.contains("report"), "{}", done.err);
    assert!(contents(dir.path()) == before, "nothing was touched");
}

#[test]
fn the_next_report_replaces_the_last_one() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    review(dir.path(), &[]).expect(0);
    let first = contents(&dir.path().join("report"));
    put(dir.path(), "in/t.csv", table().replace(",M1,", ",M2,"));
    review(dir.path(), &[]).expect(0);
    assert_eq!(results(&dir.path().join("report"))["series"][0]["model"], "M2");
    put(dir.path(), "in/t.csv", table());
    review(dir.path(), &[]).expect(0);
    assert!(
        contents(&dir.path().join("report")) == first,
        "same input, same bytes, and nothing of M2 left"
    );
    let beside: Vec<_> =
        std::fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(beside.len(), 2, "no temporary folder is left: {beside:?}");
}

/// A report written among the exports is no export, however the next run meets it.
#[test]
fn a_report_among_the_exports_is_not_read() {
    let dir = folder();
    put(dir.path(), "in/a.csv", table());
    let rows = |paths: &str| {
        run_in(dir.path(), ["review", paths, "--out", "in/report"]).expect(0);
        let found = results(&dir.path().join("in/report"));
        (found["rows"].clone(), found["notes"].to_string())
    };
    let (first, notes) = rows("in");
    assert!(!notes.contains("not read"), "{notes}");
    for paths in ["in", "in/**/*"] {
        let (again, notes) = rows(paths);
        assert_eq!(again, first, "{paths}");
        assert!(notes.contains("a report that leakdrift wrote"), "{notes}");
    }
}

#[test]
fn a_failed_run_leaves_the_old_report() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    review(dir.path(), &[]).expect(0);
    let before = contents(&dir.path().join("report"));
    put(dir.path(), "in/t.csv", "alpha,beta\n1,2\n");
    review(dir.path(), &[]).expect(2);
    assert!(contents(&dir.path().join("report")) == before);
}

/// Killed at several moments: the report is the old one or the new one, never a part.
#[test]
fn an_interrupted_run_leaves_a_whole_report() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    review(dir.path(), &[]).expect(0);
    let old = contents(&dir.path().join("report"));
    put(dir.path(), "in/t.csv", table().replace(",M1,", ",M2,"));
    run_in(dir.path(), ["review", "in", "--out", "other"]).expect(0);
    let new = contents(&dir.path().join("other"));
    assert!(old != new);
    for wait_ms in [5, 100, 300] {
        let mut child = std::process::Command::new(PROGRAM)
            .current_dir(dir.path())
            .args(["review", "in", "--out", "report", "--quiet"])
            .spawn()
            .unwrap();
        std::thread::sleep(std::time::Duration::from_millis(wait_ms));
        // It may have ended by itself.
        let _ = child.kill();
        child.wait().unwrap();
        // Killed between its two renames, a run leaves the old report aside; the next run puts it back.
        if !dir.path().join("report").exists() {
            run_in(dir.path(), ["review", "nowhere", "--out", "report"]).expect(2);
        }
        let now = contents(&dir.path().join("report"));
        assert!(now == old || now == new, "after {wait_ms} ms: {:?}", now.keys());
    }
}

#[test]
fn a_wrong_argument_ends_with_2() {
    let dir = folder();
    for args in [&["review"][..], &["review", "in", "--speed"], &["dance"], &[]] {
        let done = run_in(dir.path(), args).expect(2);
        assert!(done.err.contains("Usage"), "{args:?}: {}", done.err);
    }
}

/// Two plants with an `exports` each: the second report is refused, and says what to give.
#[test]
fn another_plants_report_is_not_replaced() {
    let dir = folder();
    put(dir.path(), "north/exports/t.csv", table());
    put(dir.path(), "south/exports/t.csv", table().replace(",M1,", ",M2,"));
    let reports = || contents(&dir.path().join("reports"));
    run_in(dir.path(), ["review", "north/exports"]).expect(0);
    let before = reports();
    for more in [&[][..], &["--out", "reports/exports"]] {
        let args = ["review", "south/exports"].iter().chain(more);
        let done = run_in(dir.path(), args).expect(2);
        for word in ["north/exports", "south/exports", "--out", "name = ", "--since-report"] {
            assert!(done.err.contains(word), "{word}: {}", done.err);
        }
        assert!(reports() == before);
    }
    // The way out that the message names.
    let args = ["review", "south/exports", "--since-report", "reports/exports/results.json"];
    run_in(dir.path(), args).expect(0);
    assert_eq!(results(&dir.path().join("reports/exports"))["series"][0]["model"], "M2");
}

/// Somebody copied the settings with the report's name in them.
#[test]
fn a_name_in_copied_settings_does_not_make_two_plants_one() {
    let dir = folder();
    for plant in ["north", "south"] {
        put(dir.path(), &format!("{plant}/t.csv"), table());
        put(dir.path(), &format!("{plant}/leakdrift.toml"), "name = \"line\"\n");
    }
    run_in(dir.path(), ["review", "north"]).expect(0);
    run_in(dir.path(), ["review", "north"]).expect(0);
    run_in(dir.path(), ["review", "south"]).expect(2);
}

#[test]
fn a_report_is_replaced_where_all_it_looked_at_is_looked_at_again() {
    let dir = folder();
    put(dir.path(), "in/09/t.csv", table());
    put(dir.path(), "in/10/t.csv", table().replace("2026-09", "2026-08"));
    put(dir.path(), "plant.toml", "name = \"north\"\n");
    let run = |args: &[&str]| run_in(dir.path(), ["review", "--out", "r"].iter().chain(args));
    run(&["in/09"]).expect(0);
    run(&["in/09", "in/10"]).expect(0);
    run(&["in"]).expect(0);
    // What lies elsewhere would be called closed.
    let done = run(&["in/10"]).expect(2);
    assert!(done.err.contains("--since-report r"), "{}", done.err);
    // One settings file gives both their name: month after month of one plant.
    let run = |month| run_in(dir.path(), ["review", month, "--config", "plant.toml"]);
    run("in/09").expect(0);
    run("in/10").expect(0);
}

/// A tree that is moved as a whole stays what it is, and so does the report in a copied repository.
#[test]
fn a_report_that_moves_with_its_files_is_still_theirs() {
    let dir = folder();
    put(dir.path(), "here/in/t.csv", table());
    run_in(&dir.path().join("here"), ["review", "in"]).expect(0);
    std::fs::rename(dir.path().join("here"), dir.path().join("there")).unwrap();
    run_in(&dir.path().join("there"), ["review", "in"]).expect(0);
}

#[test]
fn a_report_of_something_else_or_of_nobody_knows_what_is_not_replaced() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    run_in(dir.path(), ["review", "in", "--out", "r"]).expect(0);
    run_in(dir.path(), ["jump", "in", "--out", "r"]).expect(2);
    run_in(dir.path(), ["limits", "in", "--model", "M1", "--out", "r"]).expect(2);
    std::fs::remove_file(dir.path().join("r/origin.json")).unwrap();
    let done = run_in(dir.path(), ["review", "in", "--out", "r"]).expect(2);
    assert!(done.err.contains("does not say what it was made from"), "{}", done.err);
}

#[test]
fn a_report_has_the_whole_name_of_its_folder() {
    let dir = folder();
    put(dir.path(), "2026.10/t.csv", table());
    put(dir.path(), "line.a/deep/t.csv", table());
    run_in(dir.path(), ["review", "2026.10"]).expect(0);
    run_in(dir.path(), ["review", "line.a/*/*.csv"]).expect(0);
    run_in(dir.path(), ["review", "2026.10/t.csv"]).expect(0);
    let made: Vec<_> = std::fs::read_dir(dir.path().join("reports"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    for name in ["2026.10", "line.a", "t"] {
        assert!(made.iter().any(|m| m == name), "{name}: {made:?}");
    }
    assert_eq!(results(&dir.path().join("reports/2026.10"))["name"], "2026.10");
}

#[test]
fn no_output_takes_the_place_of_what_is_read() {
    let dir = folder();
    let file = put(dir.path(), "in.csv", table());
    put(dir.path(), "leakdrift.toml", "events = \"events.csv\"\n");
    put(dir.path(), "events.csv", "date,what\n");
    put(dir.path(), "notes.txt", "years of work");
    std::fs::create_dir(dir.path().join("sub")).unwrap();
    std::fs::hard_link(&file, dir.path().join("hard.parquet")).unwrap();
    let mut spellings =
        vec!["in.csv", "./in.csv", "sub/../in.csv", "hard.parquet", "leakdrift.toml"];
    spellings.extend(["events.csv", "notes.txt", file.to_str().unwrap()]);
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("in.csv", dir.path().join("soft.parquet")).unwrap();
        spellings.push("soft.parquet");
    }
    let before = contents(dir.path());
    for out in spellings {
        let done = run_in(dir.path(), ["tally", "in.csv", "--out", out]).expect(2);
        assert!(done.err.contains("lost"), "{out}: {}", done.err);
        // Settings may be added to; nothing else is taken for them.
        if out != "leakdrift.toml" {
            let config = format!("--write-config={out}");
            run_in(dir.path(), ["peek", "in.csv", &config]).expect(2);
        }
        for args in [&["review"][..], &["jump"], &["limits", "--model", "M1"]] {
            run_in(dir.path(), args.iter().chain(&["in.csv", "--out", out])).expect(2);
        }
        assert!(contents(dir.path()) == before, "{out}");
    }
}

/// A list of a report is read by name; the report that would replace its folder would take it along.
#[test]
fn no_report_takes_the_place_of_a_folder_it_reads_from() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    run_in(dir.path(), ["review", "in", "--out", "r"]).expect(0);
    let list = put(dir.path(), "r/units-to-check.csv", table());
    let before = contents(dir.path());
    let named = ["--since-report", "r/results.json", "--out", "r"];
    let args = ["review", list.to_str().unwrap()];
    let done = run_in(dir.path(), args.iter().chain(&named)).expect(2);
    assert!(done.err.contains("lost"), "{}", done.err);
    assert!(contents(dir.path()) == before);
}

#[test]
fn a_tally_replaces_a_tally_and_a_link_stays_one() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let tally = |out: &str| run_in(dir.path(), ["tally", "in", "--out", out]);
    tally("a.parquet").expect(0);
    let first = std::fs::read(dir.path().join("a.parquet")).unwrap();
    tally("a.parquet").expect(0);
    assert!(std::fs::read(dir.path().join("a.parquet")).unwrap() == first);
    #[cfg(unix)]
    {
        let link = dir.path().join("link.parquet");
        std::os::unix::fs::symlink("a.parquet", &link).unwrap();
        tally("link.parquet").expect(0);
        assert!(link.is_symlink() && std::fs::read(&link).unwrap() == first);
        // What is no file is written to as it stands.
        tally("/dev/null").expect(0);
        assert!(!Path::new("/dev/null").is_file());
    }
}

#[test]
fn the_demonstration_replaces_nobodys_files() {
    let dir = folder();
    put(dir.path(), "mine/events.csv", "date,what\n");
    let done = run_in(dir.path(), ["sample", "mine"]).expect(2);
    assert!(done.err.contains("events.csv"), "{}", done.err);
    assert_eq!(contents(&dir.path().join("mine")).len(), 1);
    run_in(dir.path(), ["sample", "demo"]).expect(0);
    run_in(dir.path(), ["sample", "demo"]).expect(0);
}

/// The page itself, or the list: nothing is looked up and nothing is read.
#[test]
fn a_desk_gets_its_completions_pages_and_schema() {
    let dir = folder();
    for (shell, word) in [
        ("bash", "complete"),
        ("zsh", "#compdef"),
        ("fish", "complete -c"),
        ("powershell", "Register"),
    ] {
        let text = run_in(dir.path(), ["completions", shell]).expect(0).out;
        assert!(text.contains(word) && text.contains("since-report"), "{shell}");
    }
    let page = run_in(dir.path(), ["man"]).expect(0).out;
    assert!(page.contains(".TH leakdrift 1") && page.contains("review"), "{page}");
    let page = run_in(dir.path(), ["man", "review"]).expect(0).out;
    assert!(page.contains(".TH") && page.contains("since\\-report"), "{page}");
    let done = run_in(dir.path(), ["man", "dance"]).expect(2);
    assert!(done.err.contains("review") && done.err.contains("dance"), "{}", done.err);
    let text = run_in(dir.path(), ["schema"]).expect(0).out;
    let schema: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert!(schema["$schema"].is_string() && schema["properties"]["series"].is_object());
}

#[test]
fn a_current_may_carry_its_unit() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let tried = |text: &str| {
        let out = format!("r-{}", text.len());
        run_in(dir.path(), ["limits", "in", "--model", "M1", "--try", text, "--out", &out])
            .expect(0);
        let found = results(&dir.path().join(&out))["series"][0]["candidates"].clone();
        std::fs::remove_dir_all(dir.path().join(out)).unwrap();
        found
    };
    let plain = tried("1.85");
    for same in ["1.85mA", "1.85 mA", "1850µA", "1850uA", "0.00185A"] {
        assert_eq!(tried(same), plain, "{same}");
    }
    assert_ne!(tried("1.95"), plain);
    for (wrong, word) in
        [("6.5mV", "mV"), ("about 6", "about 6"), ("6.5.1", "6.5.1"), ("5,5", "decimal point")]
    {
        let done = run_in(dir.path(), ["limits", "in", "--model", "M1", "--try", wrong]).expect(2);
        assert!(done.err.contains(word) && done.err.contains("mA"), "{}", done.err);
    }
}

#[test]
fn a_date_beyond_the_files_is_told_with_what_they_hold() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    for (since, word) in
        [("2027-01-01", "after the last day"), ("2026-09-01", "not after the first day")]
    {
        let done = run_in(dir.path(), ["jump", "in", "--since", since]).expect(2);
        for word in [word, "2026-09-01 to 2026-10-20"] {
            assert!(done.err.contains(word), "{word}: {}", done.err);
        }
    }
}

#[test]
fn an_earlier_report_may_be_named_by_its_folder() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    run_in(dir.path(), ["review", "in", "--out", "r"]).expect(0);
    for earlier in ["r", "r/results.json"] {
        run_in(dir.path(), ["review", "in", "--out", "next", "--since-report", earlier]).expect(0);
        let since = &results(&dir.path().join("next"))["since_report"];
        assert_eq!(since["earlier"]["month"], "2026-10", "{earlier}");
    }
}

/// The page and the terminal say it before any number.
#[test]
fn a_past_month_judged_with_later_data_says_what_is_judged() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let done = review(dir.path(), &["--month", "2026-09"]).expect(0);
    let page = std::fs::read_to_string(dir.path().join("report/summary.md")).unwrap();
    for text in [&done.out, &page] {
        let at = text
            .find("2026-09 is under review and the files go on to 2026-10-20")
            .expect("it is said");
        assert!(text[at..].contains("judged from all days"), "{text}");
    }
    let done = review(dir.path(), &["--month", "2026-10"]).expect(0);
    assert!(!done.out.contains("under review"), "{}", done.out);
}

#[test]
fn a_file_of_a_header_alone_is_named() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    put(dir.path(), "in/idle.csv", table().lines().next().unwrap());
    review(dir.path(), &[]).expect(0);
    let notes = results(&dir.path().join("report"))["notes"].to_string();
    assert!(notes.contains("idle.csv: a header, and no row below it"), "{notes}");
    assert!(!notes.contains("t.csv: a header"), "{notes}");
    let peeked = run_in(dir.path(), ["peek", "in/idle.csv"]).out;
    assert!(peeked.contains("idle.csv: a header, and no row below it"), "{peeked}");
    let refused = run_in(dir.path(), ["review", "in/idle.csv"]).expect(2);
    assert!(refused.err.contains("idle.csv: a header, and no row below it"), "{}", refused.err);
}

/// One line for each part of the way, with its time; in a pipe too.
#[test]
fn verbose_says_what_is_done_and_how_long_it_took() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let done = review(dir.path(), &["-v"]).expect(0);
    let mut rest = done.err.as_str();
    for part in [
        "settings: none found",
        "reading ",
        "counting tests",
        "looking for movement in 1 series",
        "examining 1 series",
        "judging",
        "drawing ",
        "writing ",
    ] {
        let at = rest.find(part).unwrap_or_else(|| panic!("{part}, in order: {}", done.err));
        rest = &rest[at..];
    }
    assert!(done.err.lines().skip(1).all(|line| line.ends_with(" s")), "{}", done.err);
}
