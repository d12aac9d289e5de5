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

/// A committed report: its folder, the command that writes it where the repository is, and its least charts.
struct Committed {
    /// What makes its exports, where they are not committed.
    exports: &'static [&'static str],
    folder: &'static str,
    command: &'static [&'static str],
    charts: usize,
}

const REPORTS: [Committed; 4] = [
    Committed { exports: &[], folder: "sample", command: &["review", "sample-data"], charts: 20 },
    Committed {
        exports: &[],
        folder: "sample-limits-VC310",
        command: &["limits", "sample-data", "--model", "VC310", "--try", "5.5,6.5"],
        charts: 3,
    },
    Committed { exports: &[], folder: "sample-jump", command: &["jump", "sample-data"], charts: 5 },
    Committed {
        exports: &["sample", "target/two-plants", "--plants", "2"],
        folder: "plants",
        command: &["review", "target/two-plants"],
        charts: 8,
    },
];

impl Committed {
    /// What to do where it is no longer what the program writes.
    fn renew(&self) -> String {
        let made =
            [self.exports, self.command].map(|c| format!("cargo run --release -- {}", c.join(" ")));
        let commands = if self.exports.is_empty() { &made[1..] } else { &made };
        format!(
            "reports/{} is not what the program writes: `{}` renews it; read what changed",
            self.folder,
            commands.join(" && ")
        )
    }

    fn is_fresh(&self) {
        let dir = folder();
        let out = dir.path().join("report");
        let args = self.command.iter().map(std::ffi::OsStr::new);
        let exports = if self.exports.is_empty() {
            committed("")
        } else {
            run_in(dir.path(), self.exports).expect(0);
            dir.path().to_owned()
        };
        run_in(&exports, args.chain(["--out".as_ref(), out.as_os_str()])).expect(0);
        let at = format!("reports/{}", self.folder);
        let (mut fresh, mut committed) = (contents(&out), contents(&committed(&at)));
        // Where the exports lie as seen from the report.
        assert!(fresh.remove("origin.json").is_some());
        let origin = committed.remove("origin.json").unwrap_or_else(|| panic!("{}", self.renew()));
        assert!(
            String::from_utf8_lossy(&origin).contains(&format!("\"../../{}\"", self.command[1]))
        );
        assert!(
            fresh.keys().eq(committed.keys()),
            "{}: {:?}",
            self.renew(),
            differing(&fresh, &committed)
        );
        for name in fresh.keys().filter(|n| n.ends_with(".json") || n.ends_with(".md")) {
            let [new, old] = [&fresh, &committed].map(|of| String::from_utf8_lossy(&of[name]));
            let line = new.lines().zip(old.lines()).position(|(a, b)| a != b);
            assert!(new == old, "{name} differs from line {line:?} on: {}", self.renew());
        }
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
        assert!(stale.is_empty(), "{}: {stale:?}", self.renew());
        assert!(charts >= self.charts, "only {charts} charts");
    }
}

/// The reports of the repository are what their commands write.
#[test]
fn the_committed_reports_are_freshly_written() {
    for report in &REPORTS {
        report.is_fresh();
    }
}

/// The folders are those that the commands of README write by themselves, and README names these commands.
#[test]
fn readme_names_the_commands_of_the_committed_reports() {
    let readme = std::fs::read_to_string(committed("README.md")).unwrap();
    for report in &REPORTS {
        let command = format!("cargo run --release -- {}", report.command.join(" "));
        assert!(readme.lines().any(|l| l.trim_end().starts_with(&command)), "{command}");
        assert!(readme.contains(&format!("reports/{}/", report.folder)), "{}", report.folder);
    }
    // Nothing else is committed there.
    let ignore = std::fs::read_to_string(committed(".gitignore")).unwrap();
    let kept: Vec<&str> = ignore.lines().filter_map(|l| l.strip_prefix("!/reports/")).collect();
    let folders: Vec<&str> = REPORTS.iter().map(|r| r.folder).collect();
    assert_eq!(kept, folders);
}
