//! Running the program, and the one review of the demonstration factory that many tests read.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use leakdrift::sample::{self, Factory};
use serde_json::Value;
use tempfile::TempDir;

/// The program under test.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_leakdrift");

/// How a run ended.
#[derive(Debug)]
pub struct Done {
    /// Exit status.
    pub status: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Done {
    /// Panics with both outputs unless the run ended with `status`.
    #[track_caller]
    pub fn expect(self, status: i32) -> Self {
        assert_eq!(self.status, status, "out: {}\nerr: {}", self.out, self.err);
        self
    }
}

/// Runs a prepared command to its end.
pub fn finish(command: &mut Command) -> Done {
    let output = command.output().expect("the program starts");
    Done {
        status: output.status.code().expect("no signal ended the program"),
        out: String::from_utf8(output.stdout).expect("the program prints UTF-8"),
        err: String::from_utf8(output.stderr).expect("the program prints UTF-8"),
    }
}

/// Runs the program with these arguments, in `dir`.
pub fn run_in<I, S>(dir: &Path, args: I) -> Done
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    finish(Command::new(PROGRAM).current_dir(dir).args(args))
}

/// The file or folder at this path of the repository.
pub fn committed(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// The committed demonstration exports, as an argument.
pub fn sample_data() -> String {
    committed("sample-data").to_string_lossy().into_owned()
}

/// An empty folder that goes away with the value.
pub fn folder() -> TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

/// Writes `bytes` to `dir/name`, with the folders in between, and gives the path.
pub fn put(dir: &Path, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
    let path = dir.join(name);
    std::fs::create_dir_all(path.parent().expect("a file has a folder")).expect("a folder");
    std::fs::write(&path, bytes).expect("a file");
    path
}

/// The result file of a report.
pub fn results(report: &Path) -> Value {
    let text = std::fs::read_to_string(report.join("results.json")).expect("results.json is there");
    serde_json::from_str(&text).expect("results.json is JSON")
}

/// All pages of a report, `summary.md` first; the folder's own `README.md` is none of them.
pub fn pages(report: &Path) -> String {
    let first = std::fs::read_to_string(report.join("summary.md")).expect("summary.md is there");
    let is_page =
        |name: &str| name.ends_with(".md") && !["summary.md", "README.md"].contains(&name);
    let others = contents(report).into_iter().filter(|(name, _)| is_page(name));
    others.fold(first, |all, (_, page)| all + std::str::from_utf8(&page).expect("a page is text"))
}

/// Every file below `dir` with its bytes, by its path there.
pub fn contents(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![dir.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder that can be listed") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name =
                    path.strip_prefix(dir).expect("below dir").to_string_lossy().replace('\\', "/");
                found.insert(name, std::fs::read(&path).expect("a file that can be read"));
            }
        }
    }
    found
}

/// A sound little export: `days` production days from `from` on (days in a row), 20 units of model M1 a day
/// at station S1, readings spread evenly over 0.951 to 1.045 mA against a limit of 3 mA.
pub fn small_table(from: chrono::NaiveDate, days: u64) -> String {
    let mut text = String::from(
        "tested_at,model,serial,station,applied_v,frequency_hz,reading_ma,high_limit_ma,outcome\n",
    );
    for day in 0..days {
        let date = from + chrono::Days::new(day);
        for unit in 0..20_u64 {
            // 7 has no factor in common with 20, so each day shows every one of the 20 readings once.
            let reading = 950 + (unit * 7 + day * 3) % 20 * 5;
            text.push_str(&format!(
                "{date} {:02}:{:02}:00,M1,S{day:03}{unit:02},S1,1500,50,{:.3},3.000,pass\n",
                8 + unit / 4,
                unit % 4 * 15,
                reading as f64 / 1000.0,
            ));
        }
    }
    text
}

/// One row of a CSV file, by header.
pub type CsvRow = BTreeMap<String, String>;

/// The rows of a CSV text.
pub fn csv_rows(text: &str) -> Vec<CsvRow> {
    let mut reader = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let headers = reader.headers().expect("a header").clone();
    reader
        .records()
        .map(|row| {
            let row = row.expect("a row as wide as the header");
            headers.iter().zip(row.iter()).map(|(h, c)| (h.to_owned(), c.to_owned())).collect()
        })
        .collect()
}

/// The review of a freshly written demonstration factory, run once per test binary.
#[derive(Debug)]
pub struct Reviewed {
    /// The factory with its truth.
    pub factory: Factory,
    /// Exit status of `review --gate`.
    pub done: Done,
    /// `results.json`.
    pub results: Value,
    /// All its pages, `summary.md` first.
    pub pages: String,
    /// `rows-not-used.csv`.
    pub not_used: Vec<CsvRow>,
    /// `units-to-check.csv`.
    pub units: Vec<CsvRow>,
    /// Names of all files of the report.
    pub files: Vec<String>,
    /// Those that are text, by name.
    pub texts: BTreeMap<String, String>,
}

/// That review; the first test that asks makes it.
pub fn reviewed() -> &'static Reviewed {
    static ONCE: OnceLock<Reviewed> = OnceLock::new();
    ONCE.get_or_init(|| {
        let dir = folder();
        let factory = sample::plan(sample::DEFAULT_SEED);
        sample::write(&factory, &dir.path().join("exports")).expect("the factory is written");
        let done = run_in(dir.path(), ["review", "exports", "--out", "report", "--gate"]);
        let report = dir.path().join("report");
        assert!(report.join("results.json").is_file(), "no report: {}", done.err);
        let text = |name: &str| {
            std::fs::read_to_string(report.join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
        };
        Reviewed {
            factory,
            results: results(&report),
            pages: pages(&report),
            not_used: csv_rows(&text("rows-not-used.csv")),
            units: csv_rows(&text("units-to-check.csv")),
            files: contents(&report).into_keys().collect(),
            texts: contents(&report)
                .into_iter()
                .filter_map(|(name, bytes)| Some((name, String::from_utf8(bytes).ok()?)))
                .collect(),
            done,
        }
    })
}

/// The series of a model and kind of test (`ac_withstand`, `dc_withstand`, `leakage`); it must be the only one.
#[track_caller]
pub fn series<'a>(results: &'a Value, model: &str, test: &str) -> &'a Value {
    let found: Vec<&Value> = results["series"]
        .as_array()
        .expect("series are a list")
        .iter()
        .filter(|s| s["model"] == model && s["test"] == test)
        .collect();
    assert_eq!(found.len(), 1, "series of {model}, {test}");
    found[0]
}

/// A date of the results.
#[track_caller]
pub fn date(value: &Value) -> chrono::NaiveDate {
    value
        .as_str()
        .and_then(|t| t.parse().ok())
        .unwrap_or_else(|| panic!("expected a date, found {value}"))
}

/// A number of the results.
#[track_caller]
pub fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("expected a number, found {value}"))
}

/// A serial without case, spaces and dashes, as serials are compared.
pub fn plain(serial: &str) -> String {
    serial.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}
