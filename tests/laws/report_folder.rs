//! A report appears whole or not at all, and takes nobody's files with it.

use std::fs;
use std::path::Path;

use leakdrift::error::Result;
use leakdrift::report::write::claim;

/// Files of a report whose summary is `summary`.
fn files(summary: &str) -> Vec<(String, Vec<u8>)> {
    let results = b"{\n  \"schema\": \"leakdrift.results/1\"\n}\n".to_vec();
    [
        ("summary.md", summary.as_bytes().to_vec()),
        ("results.json", results),
        ("charts/a.png", vec![1]),
    ]
    .map(|(name, bytes)| (name.to_owned(), bytes))
    .to_vec()
}

/// What a run does when it has its files.
fn write_whole(dir: &Path, files: Vec<(String, Vec<u8>)>) -> Result<()> {
    claim(dir)?.write(files)
}

/// What it does before.
fn check_folder(dir: &Path) -> Result<()> {
    claim(dir).map(drop)
}

/// Names in a folder, hidden ones too.
fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn a_report_replaces_the_last_one_whole() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("deep/report");
    write_whole(&out, files("one")).unwrap();
    fs::write(out.join("charts/old.png"), "old").unwrap();
    write_whole(&out, files("two")).unwrap();
    assert_eq!(fs::read_to_string(out.join("summary.md")).unwrap(), "two");
    assert_eq!(names(&out), ["charts", "results.json", "summary.md"]);
    assert_eq!(names(&out.join("charts")), ["a.png"]);
    assert_eq!(names(&dir.path().join("deep")), ["report"], "nothing is left beside it");
}

/// A file below a file, a path that comes twice, a path that leads out: each fails after some were written.
#[test]
fn a_write_that_fails_leaves_the_last_report() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("report");
    write_whole(&out, files("one")).unwrap();
    for bad in ["summary.md/x", "results.json", "../outside", "/outside", "a\\b", ""] {
        let mut broken = files("two");
        broken.push((bad.to_owned(), vec![2]));
        assert!(write_whole(&out, broken).is_err(), "{bad}");
        assert_eq!(fs::read_to_string(out.join("summary.md")).unwrap(), "one", "{bad}");
        assert_eq!(names(&out), ["charts", "results.json", "summary.md"]);
        assert_eq!(names(dir.path()), ["report"], "{bad}");
    }
}

#[test]
fn folders_with_other_files_are_refused_and_kept() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("report");
    let refused = |found: &str| {
        let said = write_whole(&out, files("two")).unwrap_err().to_string();
        for word in [out.to_str().unwrap(), "expected", found, "--out"] {
            assert!(said.contains(word), "{word}: {said}");
        }
        assert!(check_folder(&out).is_err());
        assert_eq!(names(dir.path()), ["report"]);
    };
    fs::create_dir(&out).unwrap();
    check_folder(&out).expect("an empty folder may be used");
    fs::write(out.join("thesis.txt"), "years of work").unwrap();
    refused("thesis.txt");
    // Not even where a report lies beside it.
    for (name, bytes) in files("one").iter().filter(|(n, _)| !n.contains('/')) {
        fs::write(out.join(name), bytes).unwrap();
    }
    refused("thesis.txt");
    assert_eq!(fs::read_to_string(out.join("thesis.txt")).unwrap(), "years of work");
    fs::remove_file(out.join("thesis.txt")).unwrap();
    check_folder(&out).expect("a report may be replaced");
    fs::create_dir(out.join("charts")).unwrap();
    fs::write(out.join("charts/holiday.jpg"), "x").unwrap();
    refused("charts/holiday.jpg");
    fs::remove_dir_all(out.join("charts")).unwrap();
    fs::write(out.join("results.json"), "{\"mine\": 1}").unwrap();
    refused("results.json that is not of a report");
    fs::remove_dir_all(&out).unwrap();
    fs::write(&out, "a file").unwrap();
    refused("a file");
}

/// Every state that a kill leaves, of a run that can exchange names and of one that cannot: the folder holds a
/// whole report, or the next run puts it back, and nothing is left.
#[test]
fn an_interrupted_run_is_mended_by_the_next() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name);
    let (out, aside, fresh) = (at("report"), at(".report.previous"), at(".report.new"));
    let summary = || fs::read_to_string(out.join("summary.md")).unwrap();
    let half = |folder: &Path| {
        fs::create_dir(folder).unwrap();
        fs::write(folder.join("results.json"), "half written or half removed").unwrap();
    };
    let is_mended = |what: &str| {
        fs::write(at(".report.lock"), "").unwrap();
        check_folder(&out).unwrap();
        assert_eq!(summary(), "one", "{what}");
        assert_eq!(names(dir.path()), ["report"], "{what}");
    };
    write_whole(&out, files("one")).unwrap();
    is_mended("killed before it wrote");
    half(&fresh);
    is_mended("killed as it wrote, or as the old report went");
    fs::rename(&out, &aside).unwrap();
    is_mended("killed between two renames");
    fs::rename(&out, &aside).unwrap();
    half(&fresh);
    is_mended("the same, with the new report on its way");
    half(&aside);
    is_mended("killed as the old report went from where it waited");
    half(&aside);
    write_whole(&out, files("two")).unwrap();
    assert_eq!(summary(), "two");
    assert_eq!(names(dir.path()), ["report"]);
    // What lies there under such a name and is not ours stays.
    fs::create_dir(&fresh).unwrap();
    fs::write(fresh.join("thesis.txt"), "years of work").unwrap();
    assert!(write_whole(&out, files("three")).is_err());
    assert!(fresh.join("thesis.txt").is_file());
    assert_eq!(summary(), "two");
}
