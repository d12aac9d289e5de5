//! Faults of the machine: full discs, kills, outputs that close, folders that are protected, two runs at once.
//!
//! Each needs no more than a shell: a limit on the size of files stands for a full disc.
#![cfg(unix)]

use std::os::unix::fs::PermissionsExt as _;
use std::os::unix::process::ExitStatusExt as _;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use leakdrift::report::write::claim;

use crate::support::days::day;
use crate::support::run::{PROGRAM, contents, folder, put, results, run_in, small_table};

fn table() -> String {
    small_table(day("2026-09-01"), 50)
}

/// The program after `before` in a shell, in `dir`.
fn after(before: &str, dir: &Path, args: &[&str]) -> Output {
    let mut command = Command::new("sh");
    command.args(["-c", &format!("{before}; exec \"$0\" \"$@\""), PROGRAM]).args(args);
    command.current_dir(dir).output().expect("a shell")
}

/// No file may grow beyond a few blocks, and the program is told so: a full disc.
const FULL: &str = "trap '' XFSZ; ulimit -f 2";
/// The same, and the system kills it as it writes.
const KILLED: &str = "ulimit -c 0; ulimit -f 2";

fn text(of: &[u8]) -> String {
    String::from_utf8_lossy(of).into_owned()
}

/// Names in a folder, hidden ones too.
fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// Every command that writes files, with what it wrote before: its arguments and what it wrote.
const WRITERS: [(&[&str], &str); 4] = [
    (&["review", "in", "--out", "out"], "out"),
    (&["limits", "in", "--model", "M1", "--out", "out"], "out"),
    (&["jump", "in", "--out", "out"], "out"),
    (&["tally", "in", "--out", "out.parquet"], "out.parquet"),
];

#[test]
fn a_full_disc_leaves_what_was_there_and_nothing_half() {
    for (args, out) in WRITERS {
        let dir = folder();
        put(dir.path(), "in/t.csv", table());
        run_in(dir.path(), args).expect(0);
        put(dir.path(), "in/t.csv", table().replace("3.000", "3.100"));
        let before = contents(dir.path());
        let done = after(FULL, dir.path(), args);
        let said = text(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{args:?}: {said}");
        assert!(said.contains("cannot write") && said.contains(out), "{args:?}: {said}");
        assert!(contents(dir.path()) == before, "{args:?}: {:?}", names(dir.path()));
    }
}

#[test]
fn a_full_disc_leaves_no_half_written_settings_and_no_half_written_exports() {
    let dir = folder();
    // Columns enough for more than a block of settings.
    let many: String = (0..60).map(|n| format!(",remark number {n}")).collect();
    let wide: String = table()
        .lines()
        .enumerate()
        .map(|(n, line)| format!("{line}{}\n", if n == 0 { many.clone() } else { ",".repeat(60) }))
        .collect();
    put(dir.path(), "in/t.csv", wide);
    let done = after(FULL, dir.path(), &["peek", "in", "--write-config"]);
    assert_eq!(done.status.code(), Some(2), "{}", text(&done.stderr));
    assert_eq!(names(&dir.path().join("in")), ["t.csv"]);
    run_in(dir.path(), ["peek", "in", "--write-config"]).expect(0);
    assert_eq!(names(&dir.path().join("in")), ["leakdrift.toml", "t.csv"]);
    let done = after(FULL, dir.path(), &["sample", "demo"]);
    assert_eq!(done.status.code(), Some(2), "{}", text(&done.stderr));
    // A part of a factory would be taken for a whole one.
    assert_eq!(names(dir.path()), ["in"]);
    // What was there stays: the folder, and a file of somebody else.
    put(dir.path(), "demo/mine.txt", "mine");
    after(FULL, dir.path(), &["sample", "demo"]);
    assert_eq!(names(&dir.path().join("demo")), ["mine.txt"]);
    run_in(dir.path(), ["sample", "demo"]).expect(0);
}

#[test]
fn a_run_killed_as_it_writes_leaves_the_old_and_the_next_one_clears_up() {
    for (args, out) in WRITERS {
        let dir = folder();
        put(dir.path(), "in/t.csv", table());
        run_in(dir.path(), args).expect(0);
        let old = contents(dir.path());
        let done = after(KILLED, dir.path(), args);
        assert!(done.status.signal().is_some(), "{args:?}: {:?}", done.status);
        let left = contents(dir.path());
        for (name, bytes) in &old {
            assert!(left.get(name) == Some(bytes), "{args:?}: {name}");
        }
        assert!(left.len() > old.len(), "{args:?}: it was killed while it wrote");
        run_in(dir.path(), args).expect(0);
        assert_eq!(names(dir.path()), ["in", out], "{args:?}");
    }
}

/// Killed at moments over the whole of a run: the folder holds the old report or the new one, always.
#[test]
fn a_run_killed_at_any_moment_leaves_a_whole_report() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let args = ["review", "in", "--out", "report", "--quiet"];
    run_in(dir.path(), args).expect(0);
    let old = contents(&dir.path().join("report"));
    put(dir.path(), "in/t.csv", table().replace(",M1,", ",M2,"));
    let started = std::time::Instant::now();
    run_in(dir.path(), ["review", "in", "--out", "other"]).expect(0);
    let took = started.elapsed();
    let new = contents(&dir.path().join("other"));
    assert!(old != new);
    for n in 1..=12 {
        let mut child = Command::new(PROGRAM).current_dir(dir.path()).args(args).spawn().unwrap();
        std::thread::sleep(took * n / 12);
        // It may have ended by itself.
        let _ = child.kill();
        child.wait().unwrap();
        let now = contents(&dir.path().join("report"));
        assert!(now == old || now == new, "after {n}/12: {:?}", now.keys());
    }
    run_in(dir.path(), args).expect(0);
    assert_eq!(names(dir.path()), ["in", "other", "report"]);
    assert!(contents(&dir.path().join("report")) == new);
}

#[test]
fn a_reader_that_goes_away_is_no_fault() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    for args in [
        &["review", "in", "--out", "r"][..],
        &["peek", "in"],
        &["config"],
        &["peek", "in", "--json"],
    ] {
        let mut child = Command::new(PROGRAM)
            .current_dir(dir.path())
            .args(args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let done = child.wait_with_output().unwrap();
        assert_eq!((done.status.code(), text(&done.stderr)), (Some(0), String::new()), "{args:?}");
    }
}

/// What was written stands and is told as not whole; where the text was all that was asked for, nothing is done.
#[test]
fn a_full_disc_behind_standard_output_is_told() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let full = || std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    for (args, status) in [
        (&["review", "in", "--out", "r"][..], 1),
        (&["review", "in", "--out", "r", "--gate"], 3),
        (&["tally", "in", "--out", "t.parquet"], 1),
        (&["peek", "in"], 2),
        (&["config"], 2),
    ] {
        let done = Command::new(PROGRAM)
            .current_dir(dir.path())
            .args(args)
            .stdout(full())
            .output()
            .unwrap();
        let said = text(&done.stderr);
        assert_eq!(done.status.code(), Some(status), "{args:?}: {said}");
        assert!(said.contains("standard output"), "{args:?}: {said}");
        assert!(!said.contains("panic"), "{args:?}: {said}");
    }
    assert_eq!(results(&dir.path().join("r"))["rows"]["used"], 1000);
}

#[test]
fn a_standard_error_that_takes_nothing_changes_nothing() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    put(dir.path(), "in/broken.xlsx", b"PK\x03\x04 and then nothing a workbook holds");
    for (before, args, status) in [
        ("exec 2>/dev/full", &["review", "in", "--out", "r"][..], 1),
        ("exec 2>/dev/full", &["review", "nowhere"], 2),
        ("exec 2>&- 1>&-", &["review", "in", "--out", "r"], 1),
    ] {
        assert_eq!(after(before, dir.path(), args).status.code(), Some(status), "{args:?}");
    }
}

#[test]
fn a_protected_report_is_kept() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let args = ["review", "in", "--out", "report"];
    run_in(dir.path(), args).expect(0);
    let before = contents(&dir.path().join("report"));
    for protected in ["report", "report/charts"] {
        let path = dir.path().join(protected);
        let rights = |mode| {
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(mode)).unwrap();
        };
        rights(0o555);
        let done = run_in(dir.path(), args).expect(2);
        rights(0o755);
        assert!(
            done.err.contains(protected) && done.err.contains("may only be read"),
            "{}",
            done.err
        );
        assert!(contents(&dir.path().join("report")) == before, "{protected}");
        assert_eq!(names(dir.path()), ["in", "report"], "{protected}");
    }
    run_in(dir.path(), ["tally", "in", "--out", "t.parquet"]).expect(0);
    let tally = dir.path().join("t.parquet");
    std::fs::set_permissions(&tally, std::fs::Permissions::from_mode(0o444)).unwrap();
    let done = run_in(dir.path(), ["tally", "in", "--out", "t.parquet"]).expect(2);
    assert!(done.err.contains("may only be read"), "{}", done.err);
}

#[test]
fn a_second_run_into_one_folder_is_refused_while_the_first_is_at_it() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let report = dir.path().join("report");
    let first = claim(&report).unwrap();
    let done = run_in(dir.path(), ["review", "in", "--out", "report"]).expect(2);
    assert!(done.err.contains("another run"), "{}", done.err);
    assert_eq!(names(dir.path()), [".report.lock", "in"]);
    drop(first);
    run_in(dir.path(), ["review", "in", "--out", "report"]).expect(0);
    // What a killed run leaves is no lock.
    put(dir.path(), ".report.lock", "");
    run_in(dir.path(), ["review", "in", "--out", "report"]).expect(0);
    assert_eq!(names(dir.path()), ["in", "report"]);
}

#[test]
fn two_runs_at_once_mix_nothing() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let args = |out: &str| ["review", "in", "--quiet", "--out", out].map(str::to_owned);
    run_in(dir.path(), args("alone")).expect(0);
    let runs: Vec<_> = (0..4)
        .map(|_| {
            Command::new(PROGRAM).current_dir(dir.path()).args(args("report")).spawn().unwrap()
        })
        .collect();
    let ended: Vec<_> = runs.into_iter().map(|mut r| r.wait().unwrap().code()).collect();
    assert!(ended.iter().all(|s| matches!(s, Some(0 | 2))), "{ended:?}");
    assert!(ended.contains(&Some(0)), "{ended:?}");
    assert!(contents(&dir.path().join("report")) == contents(&dir.path().join("alone")));
    assert_eq!(names(dir.path()), ["alone", "in", "report"]);
}

/// Two plants that were given one folder: whoever comes first has it, whole.
#[test]
fn runs_about_two_plants_at_once_into_one_folder_leave_one_report_whole() {
    let dir = folder();
    put(dir.path(), "north/t.csv", table());
    put(dir.path(), "south/t.csv", table().replace(",M1,", ",M2,"));
    let run = |from: &str, out: &str| {
        let args = ["review", from, "--quiet", "--out", out];
        Command::new(PROGRAM).current_dir(dir.path()).args(args).stderr(Stdio::piped()).spawn()
    };
    for alone in ["north", "south"] {
        assert!(run(alone, &format!("{alone}-alone")).unwrap().wait().unwrap().success());
    }
    let both = ["north", "south"].map(|from| run(from, "report").unwrap());
    let ended = both.map(|child| child.wait_with_output().unwrap());
    let status = ended.each_ref().map(|done| done.status.code());
    assert!(matches!(status, [Some(0), Some(2)] | [Some(2), Some(0)]), "{ended:?}");
    let (winner, refused) = if status[0] == Some(0) { ("north", 1) } else { ("south", 0) };
    let said = text(&ended[refused].stderr);
    assert!(said.contains("another run") || said.contains("another"), "{said}");
    let report = contents(&dir.path().join("report"));
    assert!(report == contents(&dir.path().join(format!("{winner}-alone"))), "{winner} is whole");
    assert_eq!(names(dir.path()), ["north", "north-alone", "report", "south", "south-alone"]);
}

/// Commands to a terminal in every name that a file can carry.
#[test]
fn names_give_no_commands_to_a_terminal_or_a_page() {
    let dir = folder();
    let evil = "\u{1b}[31m\u{9b}2J\u{7}";
    let bad = table()
        .replace(",M1,", &format!(",M{evil}1,"))
        .replace(",S1,", &format!(",S{evil}1,"))
        .replace("outcome\n", &format!("outcome,ou{evil}t\n"))
        .replace("pass\n", "pass,x\n");
    put(dir.path(), &format!("in/t{evil}.csv"), bad);
    put(
        dir.path(),
        &format!("in/broken{evil}.xlsx"),
        b"PK\x03\x04 and then nothing a workbook holds",
    );
    let is_clean = |of: &str, what: &str| {
        let found = of.chars().find(|c| c.is_control() && !matches!(c, '\n' | '\t'));
        assert_eq!(found, None, "{what}: {of}");
    };
    for args in [
        &["review", "in", "--out", "r", "-v"][..],
        &["peek", "in"],
        &["peek", "in", "--json"],
        &["jump", "in", "--out", "j"],
        &["tally", "in", "--out", "t.parquet"],
        &["limits", "in", "--model", "nothing\u{1b}[31m"],
    ] {
        let done = run_in(dir.path(), args);
        is_clean(&done.out, &format!("{args:?}"));
        is_clean(&done.err, &format!("{args:?}"));
    }
    let mut pages = 0;
    for (name, bytes) in contents(dir.path()).iter().filter(|(name, _)| name.ends_with(".md")) {
        is_clean(&text(bytes), name);
        pages += 1;
    }
    assert!(pages >= 2, "{pages} pages");
    for (name, bytes) in contents(dir.path()).iter().filter(|(name, _)| name.ends_with(".csv")) {
        if !name.starts_with("in/") {
            is_clean(&text(bytes), name);
        }
    }
    let peek = run_in(dir.path(), ["peek", "in", "--json"]).out;
    let read: serde_json::Value = serde_json::from_str(&peek).unwrap();
    let name = read["tables"][0]["source"].as_str().unwrap();
    assert!(name.contains(evil), "machines are told the name as it is: {name:?}");
}

/// Too little memory for the work: a message, no report, and the old one as it was. (Below some 100 MB the
/// program is not even loaded, and the system says so in its own way.)
#[test]
fn memory_that_runs_out_leaves_a_message_and_the_old_report() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    let args = ["review", "in", "--out", "report"];
    run_in(dir.path(), args).expect(0);
    let before = contents(&dir.path().join("report"));
    let mut failed_to_allocate = 0;
    for kilobytes in (60_000..400_000).step_by(10_000) {
        let done = after(&format!("ulimit -c 0; ulimit -v {kilobytes}"), dir.path(), &args);
        if done.status.success() {
            break;
        }
        // Not loaded.
        if done.stderr.is_empty() {
            continue;
        }
        // Where there is hardly enough to load it, threads cannot start: how much that is hangs on the build.
        let (said, status) = (text(&done.stderr), done.status);
        let is_told = match status.code() {
            Some(2) => said.contains("memory or threads ran out"),
            _ => status.signal() == Some(6) && said.contains("memory allocation"),
        };
        assert!(is_told, "{kilobytes}: {status:?}: {said}");
        failed_to_allocate += u32::from(status.code().is_none());
    }
    assert!(failed_to_allocate > 0, "no limit was too narrow");
    assert!(contents(&dir.path().join("report")) == before);
    run_in(dir.path(), args).expect(0);
    assert_eq!(names(dir.path()), ["in", "report"]);
}

/// A line break in a name would begin a line of somebody else's words: it is shown, on pages, lists and terminals.
#[test]
fn a_line_break_in_a_name_begins_no_line() {
    let dir = folder();
    let name = "t\nnote: all is well.csv";
    let bad = table().replacen(",pass\n", ",what is this\n", 3);
    put(dir.path(), &format!("in/{name}"), bad);
    put(dir.path(), "in/u\nnote: all is well.csv", table());
    put(dir.path(), "in/broken\nnote: all is well.xlsx", b"PK\x03\x04 and no workbook");
    put(dir.path(), "in/v\nnote: all is well.csv", "neither;header\nnor;rows\n");
    put(dir.path(), "in/v\nnote: all is well.what", "of another ending");
    for args in [
        &["review", "in", "--out", "r"][..],
        &["peek", "in"],
        &["tally", "in", "--out", "t.parquet"],
    ] {
        let done = run_in(dir.path(), args);
        for said in [&done.out, &done.err] {
            assert!(said.lines().all(|l| !l.starts_with("note: all")), "{args:?}: {said}");
        }
    }
    let lists = contents(&dir.path().join("r"));
    let mut shown = 0;
    for (name, bytes) in lists.iter().filter(|(n, _)| n.ends_with(".csv") || n.ends_with(".md")) {
        let said = text(bytes);
        assert!(said.lines().all(|l| !l.starts_with("note: all")), "{name}: {said}");
        shown += usize::from(said.contains("t\\u{a}note: all is well.csv"));
    }
    assert!(shown > 0, "no list and no page names it");
}

/// Of hundreds of bad files the first are named and the others counted; the report lists them all.
#[test]
fn many_bad_files_are_a_few_lines_on_the_terminal() {
    let dir = folder();
    put(dir.path(), "in/t.csv", table());
    for n in 0..300 {
        put(dir.path(), &format!("in/bad{n:03}.xlsx"), b"PK\x03\x04 and no workbook");
        put(dir.path(), &format!("in/worse{n:03}.csv"), "neither;header\nnor;rows\n");
    }
    for args in [
        &["review", "in", "--out", "r"][..],
        &["peek", "in"],
        &["tally", "in", "--out", "t.parquet"],
    ] {
        let done = run_in(dir.path(), args).expect(1);
        let lines = done.out.lines().count() + done.err.lines().count();
        assert!(lines < 130, "{args:?}: {lines} lines");
        let said = done.out + &done.err;
        assert!(said.contains("bad000.xlsx"), "{args:?}: {said}");
        assert!(said.contains(" more "), "{args:?}: {said}");
    }
    let failures = results(&dir.path().join("r"))["made"]["failures"].as_array().map(Vec::len);
    assert_eq!(failures, Some(600));
}
