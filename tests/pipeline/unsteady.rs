//! Files that vanish, change while they are read, or may not be read: each is named, and the others count.

use std::io::Write as _;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use leakdrift::config::Config;
use leakdrift::series::Pass;

use super::flavours::english;
use crate::support::run::{folder, put, results, run_in};

/// A link to a file that is gone stands for a file that vanishes between listing and reading.
#[cfg(unix)]
#[test]
fn a_file_that_vanishes_is_named_and_the_others_count() {
    let dir = folder();
    put(dir.path(), "a.csv", english());
    std::os::unix::fs::symlink(dir.path().join("gone"), dir.path().join("b.csv")).unwrap();
    let done = run_in(dir.path(), ["peek", "."]).expect(1);
    assert!(done.out.contains("b.csv") && done.out.contains("60 rows read"), "{}", done.out);
}

/// More than one piece of 4 MiB, so that there is a middle: 60 tests, then the header again and again, which is
/// no row, then one test of model M9.
fn long() -> String {
    let head = String::from_utf8(english()).unwrap();
    let header = head.lines().next().unwrap().trim_start_matches('\u{feff}').to_owned() + "\n";
    let last = "2026-03-10 11:00:00,M9,U-900,S1,1500,50,912,1300,pass\n";
    let again = header.repeat((9 << 20) / header.len());
    head + &again + last
}

/// Reads two files and does something to the first when its first piece has been read; gives what failed, and
/// what was counted.
fn disturbed(does: impl Fn(&Path) + Sync) -> (Vec<String>, Pass) {
    let dir = folder();
    let first = put(dir.path(), "a.csv", long());
    let small = String::from_utf8(english()).unwrap().replace(",M1,", ",M2,");
    let second = put(dir.path(), "b.csv", small);
    let done = AtomicBool::new(false);
    let (read, pass) = leakdrift::pass(&[first.clone(), second], &Config::default(), &|_, _| {
        if !done.swap(true, Ordering::Relaxed) {
            does(&first);
        }
    })
    .unwrap();
    let failures = read.failures.iter().map(ToString::to_string).collect();
    (failures, pass.unwrap())
}

fn units(pass: &Pass, model: &str) -> f64 {
    let series = pass.series.iter();
    series.filter(|s| s.key.model == model).map(|s| s.units() as f64).sum()
}

#[track_caller]
fn is_named(failures: &[String], words: &[&str]) {
    assert_eq!(failures.len(), 1, "{failures:?}");
    for word in ["a.csv"].iter().chain(words) {
        assert!(failures[0].contains(word), "{word}: {failures:?}");
    }
}

#[test]
fn files_at_rest_are_read_without_a_word() {
    let (failures, pass) = disturbed(|_| {});
    assert!(failures.is_empty(), "{failures:?}");
    assert_eq!((pass.ledger.read, units(&pass, "M9")), (121, 1.0));
}

#[test]
fn a_file_that_is_still_written_to_is_named_and_the_others_count() {
    let (failures, pass) = disturbed(|path| {
        let mut file = std::fs::OpenOptions::new().append(true).open(path).unwrap();
        file.write_all(b"2026-03-10 11:05:00,M9,U-901,S1,15").unwrap();
    });
    is_named(&failures, &["changed meanwhile", "run again"]);
    // The half row has lost cells: it is unreadable, and never a test.
    assert_eq!((pass.ledger.used, pass.ledger.unreadable), (121, 1));
    assert!(units(&pass, "M2") > 0.0);
}

#[test]
fn a_file_that_is_cut_while_it_is_read_is_named_and_the_others_count() {
    let (failures, pass) = disturbed(|path| {
        let file = std::fs::OpenOptions::new().write(true).open(path).unwrap();
        file.set_len(6 << 20).unwrap();
    });
    is_named(&failures, &["changed meanwhile", &(6 << 20).to_string()]);
    assert_eq!((units(&pass, "M9"), pass.ledger.used), (0.0, 120));
}

#[cfg(unix)]
#[test]
fn a_file_that_goes_away_while_it_is_read_is_named_and_the_others_count() {
    let (failures, pass) = disturbed(|path| std::fs::remove_file(path).unwrap());
    is_named(&failures, &["went away meanwhile"]);
    assert!(units(&pass, "M2") > 0.0);
}

/// A socket bears a name as a file does, but nobody may open it for reading, the administrator neither: in a folder it
/// is stepped over with a note, named by itself it is told.
#[cfg(unix)]
#[test]
fn a_file_that_may_not_be_read_is_named_and_the_others_count() {
    let dir = folder();
    put(dir.path(), "a.csv", english());
    let _locked = std::os::unix::net::UnixListener::bind(dir.path().join("b.csv")).unwrap();
    let done = run_in(dir.path(), ["peek", "a.csv", "b.csv"]).expect(1);
    for words in ["cannot read b.csv", "60 rows read"] {
        assert!(done.out.contains(words), "{words}: {}", done.out);
    }
    run_in(dir.path(), ["review", ".", "--out", "out"]).expect(0);
    let notes = results(&dir.path().join("out"))["notes"].to_string();
    assert!(notes.contains("pipes or devices in the folders given were not read"), "{notes}");
}
