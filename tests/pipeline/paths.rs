//! What paths lead to: folders, patterns, links, pipes, and what cannot be read among them.

use std::path::Path;

use leakdrift::config::Config;

use super::flavours::{by_hand, english, is_the_tally, plain};
use crate::support::count::{counted, tried};
use crate::support::days::day;
use crate::support::run::{folder, pages, put, results, run_in, small_table};

/// A tab file of 60 000 tests (over 4 MB) whose dates could be read both ways until its last 40 rows.
fn long_and_open() -> String {
    let mut text =
        "Date\tTime\tModel\tSerial\tStation\tLeakage [mA]\tHigh limit [mA]\tResult\tRemark\n"
            .to_owned();
    for n in 0..60_000 {
        let day = if n < 59_960 { 1 + n / 6000 } else { 21 };
        text += &format!(
            "{day:02}/03/2026\t{:02}:{:02}:{:02}\tM1\tU{n:06}\tS1\t0.{:03}\t1.300\tpass\tnothing to be told\n",
            6 + n / 3600 % 12,
            n / 60 % 60,
            n % 60,
            900 + n % 90,
        );
    }
    text
}

#[cfg(unix)]
mod on_unix {
    use std::io::Write as _;
    use std::os::unix::fs::{PermissionsExt as _, symlink};
    use std::os::unix::process::CommandExt as _;
    use std::process::{Command, Stdio};
    use std::time::{Duration, Instant};

    use super::*;
    use crate::support::run::{Done, PROGRAM};

    /// Runs the program with these bytes in its standard input.
    fn fed(dir: &Path, arguments: &[&str], bytes: Vec<u8>) -> Done {
        let mut child = Command::new(PROGRAM)
            .current_dir(dir)
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut to = child.stdin.take().unwrap();
        // A program that does not read to the end closes the pipe.
        let writer = std::thread::spawn(move || drop(to.write_all(&bytes)));
        let output = child.wait_with_output().unwrap();
        writer.join().unwrap();
        Done {
            status: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    fn gzip(text: &str) -> Vec<u8> {
        let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
        packed.write_all(text.as_bytes()).unwrap();
        packed.finish().unwrap()
    }

    fn pipe_at(path: &Path) {
        assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
    }

    /// Runs a command that must not wait for anybody.
    fn in_time(command: &mut Command) -> Done {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let begin = Instant::now();
        while child.try_wait().unwrap().is_none() {
            if begin.elapsed() > Duration::from_secs(60) {
                child.kill().unwrap();
                panic!("still waiting after a minute");
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let output = child.wait_with_output().unwrap();
        Done {
            status: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// The order of day and month shows only at its end, and it cannot be opened a second time.
    #[test]
    fn every_row_that_comes_through_a_pipe_is_read() {
        let dir = folder();
        let text = long_and_open();
        for bytes in [gzip(&text), text.into_bytes()] {
            let done = fed(dir.path(), &["peek", "/dev/stdin"], bytes).expect(0);
            let all = "60000 rows read = 60000 used";
            assert!(done.out.contains(all), "{}", done.out);
        }
    }

    #[test]
    fn a_pipe_named_by_itself_is_read_once_and_to_its_end() {
        let dir = folder();
        let path = dir.path().join("results.pipe");
        pipe_at(&path);
        let to = path.clone();
        let writer = std::thread::spawn(move || std::fs::write(to, english()).unwrap());
        is_the_tally(path);
        writer.join().unwrap();
    }

    #[test]
    fn a_parquet_file_in_a_pipe_is_refused_and_told_why() {
        let dir = folder();
        let done = fed(dir.path(), &["peek", "/dev/stdin"], b"PAR1 and so on".to_vec());
        assert!(done.status != 0 && done.err.contains("write it to a file first"), "{}", done.err);
    }

    #[test]
    fn a_pipe_in_a_folder_is_passed_over_and_named() {
        let dir = folder();
        put(dir.path(), "in/a.csv", english());
        for name in ["in/b.csv", "in/results.json"] {
            pipe_at(&dir.path().join(name));
        }
        let mut peek = Command::new(PROGRAM);
        let done = in_time(peek.current_dir(dir.path()).args(["peek", "in"])).expect(0);
        assert!(done.out.contains("60 rows read"), "{}", done.out);
        assert!(
            done.out.contains("pipes or devices") && done.out.contains("b.csv"),
            "{}",
            done.out
        );
    }

    /// Down a link to the folder it stands in, the same rows stand for ever.
    #[test]
    fn a_link_to_its_own_folder_is_followed_no_second_time() {
        let dir = folder();
        put(dir.path(), "in/a/t.csv", english());
        symlink(".", dir.path().join("in/a/0-here")).unwrap();
        symlink("..", dir.path().join("in/a/up")).unwrap();
        symlink("t.csv", dir.path().join("in/a/0.csv")).unwrap();
        for path in ["in", "in/a", "in/*", "in/**/*.csv", "in/a/up/a/0-here"] {
            let (read, pass) = counted(&[dir.path().join(path)], &Config::default());
            assert_eq!(pass.ledger.read, 60, "{path}");
            assert_eq!(plain(&pass), by_hand(1), "{path}");
            assert_eq!(read.files.len(), 1, "{path}: {:?}", read.files);
        }
        let (read, _) = counted(&[dir.path().join("in")], &Config::default());
        assert_eq!(read.files[0].path, dir.path().join("in/a/t.csv"), "under its own name");
        assert!(read.notes.iter().any(|n| n.to_string().contains("links")), "{:?}", read.notes);
    }

    /// What a link leads to outside of the folder is read.
    #[test]
    fn a_link_to_another_folder_is_followed() {
        let dir = folder();
        put(dir.path(), "archive/t.csv", english());
        std::fs::create_dir(dir.path().join("in")).unwrap();
        symlink("../archive", dir.path().join("in/old")).unwrap();
        is_the_tally(dir.path().join("in"));
    }

    /// A folder that nobody may read, until it is let go.
    struct Shut(std::path::PathBuf);

    impl Shut {
        fn new(path: std::path::PathBuf) -> Self {
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o000)).unwrap();
            Self(path)
        }
    }

    impl Drop for Shut {
        fn drop(&mut self) {
            std::fs::set_permissions(&self.0, std::fs::Permissions::from_mode(0o755)).unwrap();
        }
    }

    #[test]
    fn a_folder_that_cannot_be_read_is_named_and_ends_with_1() {
        let dir = folder();
        put(dir.path(), "in/a.csv", english());
        put(dir.path(), "in/shut/b.csv", english());
        std::fs::set_permissions(dir.path(), std::fs::Permissions::from_mode(0o777)).unwrap();
        let program = dir.path().join("program");
        std::fs::copy(PROGRAM, &program).unwrap();
        let shut = Shut::new(dir.path().join("in/shut"));
        for (n, paths) in ["in", "in/*", "in/*/*.csv in/a.csv"].into_iter().enumerate() {
            let mut command = Command::new(&program);
            // Nothing is shut to whoever may do everything.
            if std::fs::read_dir(&shut.0).is_ok() {
                command.uid(65_534).gid(65_534);
            }
            command.current_dir(dir.path()).arg("review").args(paths.split(' '));
            let done = in_time(command.args(["--out", &format!("out-{n}")])).expect(1);
            assert!(done.err.contains("shut"), "{paths}: {}", done.err);
        }
    }
}

/// A pattern says which files are meant; their ending says nothing then.
#[test]
fn files_that_a_pattern_matches_are_read_whatever_they_are_called() {
    let dir = folder();
    put(dir.path(), "x/2026-01.results", english());
    put(dir.path(), "x/leakdrift.toml", "");
    for pattern in ["x/*.results", "x/2026-*", "x/[0-9]*"] {
        is_the_tally(dir.path().join(pattern));
    }
    // Stars alone say no more than the folder.
    assert!(tried(&[dir.path().join("x/*")], &Config::default()).is_err());
}

/// Log, data and print files are found in folders.
#[test]
fn a_folder_is_searched_for_the_endings_of_print_files() {
    for ending in ["log", "dat", "prn", "LOG"] {
        let dir = folder();
        put(dir.path(), &format!("in/t.{ending}"), english());
        is_the_tally(dir.path().join("in"));
    }
}

#[test]
fn the_pages_of_many_files_are_no_longer_than_those_of_a_hundred() {
    let dir = folder();
    let text = String::from_utf8(english()).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let mut length = Vec::new();
    for copies in [2_usize, 12] {
        for n in 0..copies * 60 {
            let row = lines[1 + n % 60].replace("U-", &format!("V{}-", n / 60));
            put(dir.path(), &format!("in/{n:05}.csv"), format!("{}\n{row}\n", lines[0]));
        }
        run_in(dir.path(), ["review", "in", "--out", "out", "--quiet"]).expect(0);
        let page = pages(&dir.path().join("out"));
        assert!(page.contains(&format!("{} more files", copies * 60 - 100)), "{copies}");
        length.push(page.matches("in/00").count());
    }
    assert_eq!(length[0], length[1]);
}

/// Files as Windows writes them, settings among them: line ends, a mark before the first sign, and `\\` in paths.
#[test]
fn line_ends_marks_and_paths_of_windows_change_nothing() {
    let dir = folder();
    let table = small_table(day("2026-08-03"), 40).replace("serial", "Stueck");
    let events = "date,what,station,model\n2026-08-20,new leads,S1,\n";
    let settings = "name = \"line\"\nevents = 'side\\events.csv'\n[columns]\n\"Stueck\" = \"serial\"\n\
        [files]\npattern = \"*\\\\{lot}.csv\"\n";
    let report = |name: &str, end: &str, mark: &str| {
        let written = |text: &str| format!("{mark}{}", text.replace('\n', end));
        put(dir.path(), &format!("{name}/x/LOT7.csv"), written(&table));
        put(dir.path(), &format!("{name}/side/events.csv"), written(events));
        put(dir.path(), &format!("{name}/leakdrift.toml"), written(settings));
        let out = format!("out-{name}");
        run_in(dir.path(), ["review", &format!("{name}/x"), "--out", &out]).expect(0);
        results(&dir.path().join(out))
    };
    let unix = report("unix", "\n", "");
    assert_eq!(unix["series"][0]["units"], 800);
    let windows = report("windows", "\r\n", "\u{feff}");
    for key in ["rows", "series", "settings_changes", "name"] {
        assert_eq!(windows[key], unix[key], "{key}");
    }
    // What is added to settings stands in lines of its own, and their own lines stay.
    put(dir.path(), "windows/x/other.csv", "Zeit;Ding\r\n13.02.2026;M1\r\n");
    run_in(dir.path(), ["peek", "windows/x", "--write-config"]).expect(1);
    let text = std::fs::read_to_string(dir.path().join("windows/leakdrift.toml")).unwrap();
    assert!(text.contains("\r\nevents = 'side\\events.csv'\r\n"), "{text:?}");
    assert!(text.contains("\n# \"Ding\" = \"…\""), "{text:?}");
    // Ends of lines as they were written before.
    put(dir.path(), "old/LOT7.csv", table.replace('\n', "\r"));
    put(dir.path(), "old/leakdrift.toml", settings.replace("events", "#"));
    run_in(dir.path(), ["review", "old", "--out", "out-old"]).expect(0);
    assert_eq!(results(&dir.path().join("out-old"))["rows"], unix["rows"]);
}
