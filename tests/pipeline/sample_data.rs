//! The committed demonstration data and report are what the program writes.

use std::collections::BTreeMap;

use leakdrift::sample::{self, Kind, Outcome};

use crate::support::picture::Picture;
use crate::support::run::{committed, contents, folder, run_in};

/// Names of the first few files that differ, for a message that can be read.
fn differing(a: &BTreeMap<String, Vec<u8>>, b: &BTreeMap<String, Vec<u8>>) -> Vec<String> {
    a.keys().chain(b.keys()).filter(|k| a.get(*k) != b.get(*k)).take(5).cloned().collect()
}

/// `sample-data` is what `leakdrift sample` writes, byte for byte, and its README that stays.
#[test]
fn sample_data_is_freshly_written() {
    let dir = folder();
    run_in(dir.path(), ["sample", "demo"]).expect(0);
    let fresh = contents(&dir.path().join("demo"));
    let mut committed = contents(&committed("sample-data"));
    assert!(committed.remove("README.md").is_some(), "the page that explains it");
    assert_eq!(differing(&fresh, &committed), Vec::<String>::new());
    let size: usize = committed.values().map(Vec::len).sum();
    assert!(size < 10_000_000, "{size} bytes");
}

#[test]
fn another_seed_writes_other_data() {
    let dir = folder();
    run_in(dir.path(), ["sample", "a", "--seed", "7"]).expect(0);
    let other = contents(&dir.path().join("a"));
    assert!(other != contents(&committed("sample-data")));
    assert_ne!(sample::DEFAULT_SEED, 7);
}

/// A flashover needs a test voltage: a little over mains voltage a unit may be short, but nothing arcs, and nothing
/// breaks down while the voltage still rises. Common practice, no source.
#[test]
fn no_leakage_test_arcs_or_breaks_down_in_its_ramp() {
    let factory = sample::plan(sample::DEFAULT_SEED);
    let (leakage, withstand): (Vec<&sample::Test>, Vec<&sample::Test>) =
        factory.tests.values().flatten().partition(|t| t.setting.kind == Kind::Leakage);
    let broken = |t: &&&sample::Test| matches!(t.outcome, Outcome::Breakdown | Outcome::Arc);
    assert!(leakage.iter().filter(broken).count() >= 5, "some are short");
    assert!(leakage.iter().filter(broken).all(|t| t.outcome == Outcome::Breakdown && !t.in_ramp));
    assert!(withstand.iter().any(|t| t.outcome == Outcome::Arc && t.in_ramp), "others do");
}

/// `reports/sample` is what `leakdrift review sample-data` writes when run where the repository is.
#[test]
fn the_committed_report_is_freshly_written() {
    let dir = folder();
    let out = dir.path().join("report");
    let args = ["review".as_ref(), "sample-data".as_ref(), "--out".as_ref(), out.as_os_str()];
    run_in(&committed(""), args).expect(0);
    let (mut fresh, mut committed) = (contents(&out), contents(&committed("reports/sample")));
    // Where the exports lie as seen from the report.
    assert!(fresh.remove("origin.json").is_some());
    let origin = committed.remove("origin.json").expect("it says what it was made from");
    assert!(String::from_utf8_lossy(&origin).contains("\"../../sample-data\""));
    for name in ["results.json", "summary.md"] {
        let text = |of: &BTreeMap<String, Vec<u8>>| {
            String::from_utf8(of.get(name).unwrap_or_else(|| panic!("{name} is missing")).clone())
                .unwrap()
        };
        let (new, old) = (text(&fresh), text(&committed));
        let line = new.lines().zip(old.lines()).position(|(a, b)| a != b);
        assert!(
            new == old,
            "{name} differs from line {line:?} on: write the report again and read what changed"
        );
    }
    assert!(fresh.keys().eq(committed.keys()), "{:?}", differing(&fresh, &committed));
    // The same pixels may be packed otherwise; everything else is the same to the byte.
    let (mut charts, mut stale) = (0, Vec::new());
    for (name, new) in &fresh {
        let old = &committed[name];
        let is_chart = name.ends_with(".png");
        charts += usize::from(is_chart);
        if new != old && !(is_chart && Picture::decode(new) == Picture::decode(old)) {
            stale.push(name);
        }
    }
    assert!(stale.is_empty(), "write the report again and look at {stale:?}");
    assert!(charts > 20, "only {charts} charts");
}
