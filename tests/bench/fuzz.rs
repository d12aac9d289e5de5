//! Damaged and made-up inputs, for as long as wished: no panic, no hang, no unbounded memory, and every row in
//! exactly one place.
//!
//! Cases are drawn with proptest from a seed: sound exports, workbooks or settings, changed at random places
//! with pieces that have hurt readers before. A case that fails is made smaller, written to a file and named;
//! the slowest case and the last that needed much more memory are kept beside it.
//!
//! ```text
//! cargo bench --bench fuzz -- text --minutes 10
//! cargo bench --bench fuzz -- workbook --minutes 10 --seed 7
//! cargo bench --bench fuzz -- config --minutes 10
//! cargo bench --bench fuzz -- json --minutes 10
//! cargo bench --bench fuzz -- print --minutes 10
//! cargo bench --bench fuzz -- xml --minutes 10
//! ```

use std::io::{Cursor, Read as _, Write as _};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use leakdrift::config::Config;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config as Drawing, RngAlgorithm, TestRng, TestRunner};

#[path = "../support/xlsb.rs"]
mod xlsb;

/// A case that takes longer hangs.
const HANGS_AFTER: Duration = Duration::from_secs(30);
/// A case from which on it is told at once, where it is also the slowest so far.
const SLOW: Duration = Duration::from_secs(1);
/// So much more memory than any case before it, in kB, is told at once.
const MEMORY_NOTED: u64 = 100_000;
/// Most memory of the process, in kB.
const MEMORY_MOST: u64 = 3_000_000;
/// Seed of every draw, where none is given.
const SEED: u64 = 20_261_125;

/// Pieces that have hurt readers of tables.
const PIECES: [&str; 52] = [
    "\"",
    "\"\"",
    "\",\"",
    ";",
    ",",
    "\t",
    "|",
    "\n",
    "\r",
    "\r\n",
    "\0",
    "\u{feff}",
    "'",
    "=1+1",
    "@",
    "-",
    "1e999999999",
    "1e-999999999",
    "9223372036854775807",
    "99999999999999999999",
    "-0.0",
    "NaN",
    "inf",
    ">",
    "<5",
    "≥",
    "0,412",
    "1.234,5",
    "31.02.2026",
    "2026-13-45",
    "0000-00-00",
    "99999-01-01",
    "24:61:61",
    "12:00 PM",
    "mA",
    "µA",
    "Ω",
    "\u{202e}",
    "🔌",
    "../../x",
    "<script>",
    "date,model,reading_ma",
    "Total",
    "\u{fffd}",
    "{",
    "}",
    "[",
    "]}",
    "<a b='1'>",
    "</a>",
    "&#0;",
    "   ",
];

const TEXTS: [&str; 5] = [
    "tested at,model,serial,station,set V,frequency Hz,leakage µA,high limit µA,outcome\n2026-02-09 11:00:00,M1,U1,S1,1500,50,912,1300,pass\n2026-02-09 11:05:00,M1,U2,S1,1500,50,1310,1300,over limit\n2026-02-10 11:05:00,M1,U3,S1,1500,50,,1300,breakdown\n",
    "Prüfplatz: S1\n\nDatum;Uhrzeit;Typ;Seriennr.;Spannung [kV];Frequenz [Hz];Strom [mA];Obergrenze [mA];Ergebnis\n09.02.2026;11:00:00;M1;U1;1,50;50;0,912;1,300;gut\n09.02.2026;11:05:00;M1;U2;1,50;50;1,310;1,300;zu hoch\n",
    "Date\tTime\tModel\tSerial No\tVoltage\tCurrent\tHigh\tResult\r\n02/09/2026\t11:00:00 AM\tM1\tU1\t1.5 kV\t912 uA\t1.300 mA\tPass\r\n02/13/2026\t11:05:00 PM\tM1\tU2\t1.5 kV\t>1.3 mA\t1.300 mA\tFail high\r\n",
    "date,,Earth bond,,Withstand,,,\n,model,A,Result,mA,Max mA,Result,remark\n2026-02-09,M1,25,OK,0.412,1.3,OK,\"two\nlines, \"\"quoted\"\"\"\n2026-02-10,M1,25,OK,0.413,1.3,OK,\n",
    "日期|时间|型号|序列号|漏电流 (mA)|上限 (mA)|结果\n2026-02-09|11:00:00|M1|U1|0.412|1.3|合格\n2026-02-10|11:00:00|M1|U2|1.412|1.3|不合格\n",
];

const JSON: [&str; 3] = [
    "{\"testedAt\":\"2026-02-09T11:00:00\",\"model\":\"M1\",\"serial\":\"U1\",\"leakageMa\":0.912,\"highLimitMa\":1.3,\"result\":\"pass\"}\n{\"testedAt\":\"2026-02-09T11:05:00\",\"model\":\"M1\",\"serial\":\"U2\",\"leakageMa\":null,\"highLimitMa\":1.3,\"result\":\"breakdown\"}\n",
    "{\"station\":{\"name\":\"S1\"},\n\"units\":[{\"serial\":\"U1\",\"model\":\"M1\",\"date\":\"2026-02-09\",\"steps\":[{\"mA\":0.4,\"result\":\"pass\"},{\"mA\":0.5,\"result\":\"pass\"}]},\n{\"serial\":\"U2\",\"model\":\"M1\",\"date\":\"2026-02-09\",\"steps\":[{\"mA\":0.4,\"result\":\"pass\"}]}]}",
    "{\"date\":\"2026-02-09\",\"model\":\"M1\",\"steps\":[{\"mA\":0.4,\"result\":\"pass\"},{\"mA\":1.4,\"result\":\"fail\"}]}\r\n{\"date\":\"2026-02-10\",\"model\":\"M1\",\"steps\":[{\"mA\":0.4,\"result\":\"pass\"}]}\r\n",
];

const PRINTED: [&str; 2] = [
    "Line 3, results of the day                      page 1\n\nDate        Time      Model  Serial   mA      High limit mA  Result\n----------  --------  -----  -------  ------  -------------  ---------\n2026-02-13  10:00:00  M1     U-00001   0.412          1.300  pass\n2026-02-13  10:01:00  M1     U-00002   0.413          1.300  pass\n2026-02-13  10:02:00  M1     U-00003                  1.300  breakdown\n\u{c}Line 3, results of the day                      page 2\n",
    "Prüfplatz: S1\r\n\r\nDatum       Uhrzeit   Typ   Seriennr.   Ableitstrom [mA]  Obergrenze [mA]  Ergebnis\r\n09.02.2026  11:00:00  M1    U1          0,912             1,300            gut\r\n13.02.2026  11:05:00  M1    U2          1,310             1,300            zu hoch\r\n",
];

const XML: [&str; 3] = [
    "<?xml version=\"1.0\" encoding=\"UTF-8\"?><tests station=\"S1\"><test><date>2026-02-09</date><time>11:00:00</time><model>M1</model><serial>U1</serial><leakage unit=\"&#181;A\">912</leakage><highLimit unit=\"mA\">1.3</highLimit><result><![CDATA[pass]]></result></test><test><date>2026-02-10</date><model>M1</model><serial>U2</serial><leakage/><result>breakdown</result></test></tests>",
    "<?xml version='1.0' encoding='ISO-8859-1'?><Report><Station id='S1'/><Units><Unit SerialNumber='U1' Type='M1' Date='2026-02-09' LeakageMA='0.4' Result='pass'/><Unit SerialNumber='U2' Type='M1' Date='2026-02-10' LeakageMA='0.5' Result='pass'/></Units></Report>",
    "<lot no=\"L7\"><unit><serial>U1</serial><test mA=\"0.4\" outcome=\"pass\"/><test mA=\"0.5\" outcome=\"pass\"/></unit><model>M1</model><date>2026-02-13</date></lot>",
];

const SETTINGS: &str = "name = \"sample\"\nfactors = [\"filter\", \"shift\"]\nday_starts = \"06:00\"\ndate_order = \"day-month-year\"\naccepted_reject_share = 0.001\nconfidence = 0.95\nseed = 3\nplaceholder_serials = [\"0\"]\n\n[columns]\n\"Strom [mA]\" = \"reading_ma\"\n\n[outcomes]\n\"gut\" = \"pass\"\n\n[values.test_point]\n\"a\" = \"b\"\n\n[files]\npattern = \"{station}/*\"\n\n[assume]\ntest = \"ac withstand\"\nfrequency_hz = 50\n\n[tester]\nrange_ma = 20.0\n\n[check_loads.\"L\"]\nresistance_mohm = 0.150\nexpect = \"over limit\"\n\n[ceiling]\n\"ac withstand\" = 10.0\n\n[open_lead_ma]\nS1 = 0.05\n\n[model.\"M1\"]\nleak_path_mohm = 1.0\nhigh_limit_ma = 5.0\n";

/// One change to bytes; places are fractions of the length.
#[derive(Debug, Clone)]
enum Change {
    Put(f64, usize),
    Byte(f64, u8),
    Cut(f64, f64),
    Again(f64, f64, u16),
    End(f64),
}

fn change() -> impl Strategy<Value = Change> {
    let place = || 0.0..1.0_f64;
    prop_oneof![
        5 => (place(), 0..PIECES.len()).prop_map(|(at, n)| Change::Put(at, n)),
        4 => (place(), any::<u8>()).prop_map(|(at, b)| Change::Byte(at, b)),
        2 => (place(), 0.0..0.2_f64).prop_map(|(at, share)| Change::Cut(at, share)),
        1 => (place(), 0.0..0.3_f64, 1..400_u16).prop_map(|(at, share, n)| Change::Again(at, share, n)),
        1 => place().prop_map(Change::End),
    ]
}

fn changed(mut bytes: Vec<u8>, changes: &[Change]) -> Vec<u8> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a place inside a short text"
    )]
    let place = |bytes: &Vec<u8>, at: f64| (bytes.len() as f64 * at) as usize;
    for change in changes {
        match change {
            Change::Put(at, n) => {
                let at = place(&bytes, *at);
                bytes.splice(at..at, PIECES[*n].bytes());
            }
            Change::Byte(at, b) => {
                let at = place(&bytes, *at);
                if let Some(byte) = bytes.get_mut(at) {
                    *byte = *b;
                }
            }
            Change::Cut(at, share) => {
                let (from, to) = (place(&bytes, *at), place(&bytes, (at + share).min(1.0)));
                bytes.drain(from..to);
            }
            Change::Again(at, share, n) => {
                let (from, to) = (place(&bytes, *at), place(&bytes, (at + share).min(1.0)));
                let copy = bytes[from..to].repeat(usize::from(*n));
                if bytes.len() + copy.len() < 4 << 20 {
                    bytes.splice(to..to, copy);
                }
            }
            Change::End(at) => {
                let at = place(&bytes, *at);
                bytes.truncate(at);
            }
        }
    }
    bytes
}

/// What is fuzzed.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Text,
    Workbook,
    Config,
    Json,
    Print,
    Xml,
}

impl Kind {
    /// What is damaged, and the ending of its files.
    fn texts(self) -> (&'static [&'static str], &'static str) {
        match self {
            Self::Json => (&JSON, "jsonl"),
            Self::Print => (&PRINTED, "prn"),
            Self::Xml => (&XML, "xml"),
            Self::Text | Self::Workbook | Self::Config => (&TEXTS, "csv"),
        }
    }
}

/// A case: a template, how it is packed, and changes before and after packing.
type Case = (usize, u8, Vec<Change>, Vec<Change>);

fn case(kind: Kind) -> impl Strategy<Value = Case> {
    let after = if kind == Kind::Config { 0..1_usize } else { 0..3 };
    (
        0..kind.texts().0.len(),
        any::<u8>(),
        prop::collection::vec(change(), 0..12),
        prop::collection::vec(change(), after),
    )
}

fn bytes_of(kind: Kind, (template, packing, inner, outer): &Case) -> (Vec<u8>, &'static str) {
    match kind {
        Kind::Config => (changed(SETTINGS.as_bytes().to_vec(), inner), "toml"),
        Kind::Text | Kind::Json | Kind::Print | Kind::Xml => {
            let (texts, ending) = kind.texts();
            let text = texts[*template];
            let bytes = match packing % 5 {
                0 => {
                    let units = text.encode_utf16();
                    let mut bytes = vec![0xff, 0xfe];
                    bytes.extend(units.flat_map(u16::to_le_bytes));
                    bytes
                }
                _ => text.as_bytes().to_vec(),
            };
            let bytes = changed(bytes, inner);
            let (bytes, ending): (Vec<u8>, &'static str) = match packing % 7 {
                1 => (gzipped(&bytes), "gz"),
                2 => (zipped(&[("t.csv".to_owned(), bytes)]), "zip"),
                _ => return (bytes, ending),
            };
            (changed(bytes, outer), ending)
        }
        Kind::Workbook => {
            let (book, ending) = match packing % 4 {
                0 => (xlsx(TEXTS[*template]), "xlsx"),
                1 => (ods(TEXTS[*template]), "ods"),
                2 => (binary(TEXTS[*template]), "xlsb"),
                _ => (include_bytes!("../data/exports/small.xls").to_vec(), "xls"),
            };
            if ending == "xls" {
                return (changed(book, inner), ending);
            }
            // Changes inside an entry pass the check sum of the zip.
            let mut entries = entries(&book);
            let n = usize::from(*packing) / 4 % entries.len();
            let data = std::mem::take(&mut entries[n].1);
            entries[n].1 = changed(data, inner);
            (changed(zipped(&entries), outer), ending)
        }
    }
}

fn gzipped(bytes: &[u8]) -> Vec<u8> {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packed.write_all(bytes).expect("memory takes every byte");
    packed.finish().expect("memory takes every byte")
}

fn zipped(entries: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, data) in entries {
        archive
            .start_file(name.as_str(), zip::write::SimpleFileOptions::default())
            .expect("memory takes every entry");
        archive.write_all(data).expect("memory takes every byte");
    }
    archive.finish().expect("memory takes the end").into_inner()
}

fn entries(book: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = zip::ZipArchive::new(Cursor::new(book)).expect("a sound zip");
    (0..archive.len())
        .map(|n| {
            let mut entry = archive.by_index(n).expect("a sound entry");
            let mut data = Vec::new();
            entry.read_to_end(&mut data).expect("a sound entry");
            (entry.name().expect("a plain name").into_owned(), data)
        })
        .collect()
}

fn cells(text: &str) -> Vec<Vec<&str>> {
    text.lines().map(|l| l.split([',', ';', '\t', '|']).collect()).collect()
}

fn xlsx(text: &str) -> Vec<u8> {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (r, row) in (0..).zip(cells(text)) {
        for (c, cell) in (0..).zip(row) {
            match cell.parse::<f64>() {
                Ok(x) => sheet.write(r, c, x),
                Err(_) => sheet.write(r, c, cell),
            }
            .expect("a small sheet");
        }
    }
    book.save_to_buffer().expect("memory takes the book")
}

fn binary(text: &str) -> Vec<u8> {
    // A true date (9 February 2026) and a formula error among them.
    let held = |cell: &&str| match (*cell, cell.parse::<f64>()) {
        ("", _) => xlsb::Held::Blank,
        ("25", _) => xlsb::Held::Error(7),
        (date, _) if date.starts_with("2026-") => xlsb::Held::Day(46_062.0),
        (_, Ok(x)) => xlsb::Held::Number(x),
        (text, Err(_)) => xlsb::Held::Text(text.to_owned()),
    };
    let cells = cells(text);
    let rows = cells.iter().map(|r| r.iter().map(held).collect());
    xlsb::xlsb(&[("a", false, rows.collect())])
}

fn ods(text: &str) -> Vec<u8> {
    let escaped = |t: &str| t.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    let rows: String = cells(text)
        .iter()
        .map(|row| {
            let cells: String = row
                .iter()
                .map(|c| format!("<table:table-cell office:value-type=\"string\"><text:p>{}</text:p></table:table-cell>", escaped(c)))
                .collect();
            format!("<table:table-row>{cells}</table:table-row>")
        })
        .collect();
    let content = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"a\">{rows}</table:table></office:spreadsheet></office:body></office:document-content>"
    );
    zipped(&[
        ("mimetype".to_owned(), b"application/vnd.oasis.opendocument.spreadsheet".to_vec()),
        ("META-INF/manifest.xml".to_owned(), b"<manifest/>".to_vec()),
        ("content.xml".to_owned(), content.into_bytes()),
    ])
}

/// What a case did wrong, if anything.
fn tried(kind: Kind, bytes: &[u8], ending: &str, dir: &Path) -> Result<&'static str, String> {
    let work = || -> Result<&'static str, String> {
        if kind == Kind::Config {
            let text = String::from_utf8_lossy(bytes);
            return Ok(match Config::parse(&text, Path::new("leakdrift.toml")) {
                Ok(_) => "taken",
                Err(e) if e.to_string().trim().is_empty() => {
                    return Err("an error without words".into());
                }
                Err(_) => "refused",
            });
        }
        let path = dir.join(format!("t.{ending}"));
        std::fs::write(&path, bytes).map_err(|e| e.to_string())?;
        let config = Config::default();
        let Ok((read, pass)) = leakdrift::pass(&[path], &config, &|_, _| {}) else {
            return Ok("refused");
        };
        let _ = leakdrift::report::peek::Peek::new(&read, pass.as_ref().ok(), &config).text();
        let Ok(pass) = pass else {
            return Ok("without a usable row");
        };
        let l = &pass.ledger;
        if l.read != l.used + l.set_aside.values().sum::<u64>() + l.unreadable {
            return Err(format!("the rows do not add up: {l:?}"));
        }
        Ok("read")
    };
    std::panic::catch_unwind(std::panic::AssertUnwindSafe(work))
        .unwrap_or_else(|_| Err("a panic".into()))
}

/// The largest memory that the process has had, in kB; 0 where the system does not tell.
fn peak_kb() -> u64 {
    std::fs::read_to_string("/proc/self/status")
        .ok()
        .and_then(|s| {
            let line = s.lines().find(|l| l.starts_with("VmHWM:"))?;
            line.split_whitespace().nth(1)?.parse().ok()
        })
        .unwrap_or(0)
}

fn main() {
    let (mut kind, mut minutes, mut seed, mut whole) = (None, 10.0, SEED, false);
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        let mut number = || arguments.next().and_then(|t| t.parse::<f64>().ok());
        match argument.as_str() {
            "text" => kind = Some(Kind::Text),
            "workbook" => kind = Some(Kind::Workbook),
            "config" => kind = Some(Kind::Config),
            "json" => kind = Some(Kind::Json),
            "print" => kind = Some(Kind::Print),
            "xml" => kind = Some(Kind::Xml),
            "--minutes" => minutes = number().unwrap_or(minutes),
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a seed typed by hand"
            )]
            "--seed" => seed = number().map_or(seed, |x| x as u64),
            "--bench" => whole = true,
            other => eprintln!("fuzz: {other:?} is passed over"),
        }
    }
    let Some(kind) = kind.filter(|_| whole) else {
        eprintln!(
            "fuzz: say text, workbook, config, json, print or xml, and --minutes N; see the head of this file"
        );
        return;
    };
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if std::thread::current().name() != Some(leakdrift::input::WORKBOOK_THREAD) {
            usual(panic);
        }
    }));
    // A case that hangs cannot be stopped from inside: say which, and end.
    let started = std::sync::Arc::new(AtomicU64::new(0));
    let begin = Instant::now();
    let keep = std::env::temp_dir().join("leakdrift-fuzz");
    std::fs::create_dir_all(&keep).expect("a folder for what fails");
    let dir = tempfile::tempdir().expect("a folder for cases");
    let watch = started.clone();
    let kept = keep.clone();
    std::thread::spawn(move || {
        loop {
            std::thread::sleep(Duration::from_secs(1));
            let since = begin.elapsed().as_millis() as u64 - watch.load(Ordering::Relaxed);
            if u128::from(since) > HANGS_AFTER.as_millis() || peak_kb() > MEMORY_MOST {
                eprintln!(
                    "fuzz: the case in {}/last took {since} ms and {} kB",
                    kept.display(),
                    peak_kb()
                );
                std::process::exit(1);
            }
        }
    });
    let mut seed_bytes = [0_u8; 32];
    seed_bytes[..8].copy_from_slice(&seed.to_le_bytes());
    let mut runner = TestRunner::new_with_rng(
        Drawing::default(),
        TestRng::from_seed(RngAlgorithm::ChaCha, &seed_bytes),
    );
    let strategy = case(kind);
    let mut ends = std::collections::BTreeMap::<&str, u64>::new();
    let (mut cases, mut bad, mut slowest) = (0_u64, 0_u64, Duration::ZERO);
    while begin.elapsed().as_secs_f64() < minutes * 60.0 && bad < 20 {
        let mut tree = strategy.new_tree(&mut runner).expect("every draw is a case");
        let (bytes, ending) = bytes_of(kind, &tree.current());
        std::fs::write(keep.join("last"), &bytes).expect("a file for the case");
        started.store(begin.elapsed().as_millis() as u64, Ordering::Relaxed);
        let (at, peak) = (Instant::now(), peak_kb());
        let outcome = tried(kind, &bytes, ending, dir.path());
        cases += 1;
        let (took, grew) = (at.elapsed(), peak_kb().saturating_sub(peak));
        if took > slowest || grew > MEMORY_NOTED {
            let which = if took > slowest { "slowest" } else { "largest" };
            let name = format!("{kind:?}-{which}.{ending}").to_lowercase();
            std::fs::write(keep.join(&name), &bytes).expect("a file for the case");
            if took > SLOW || grew > MEMORY_NOTED {
                println!(
                    "case {cases} took {} ms and {} MB more, {} bytes: {name}",
                    took.as_millis(),
                    grew / 1000,
                    bytes.len()
                );
            }
        }
        slowest = slowest.max(took);
        match outcome {
            Ok(end) => *ends.entry(end).or_default() += 1,
            Err(what) => {
                bad += 1;
                for _ in 0..300 {
                    if !tree.simplify() {
                        break;
                    }
                    let (bytes, ending) = bytes_of(kind, &tree.current());
                    if tried(kind, &bytes, ending, dir.path()).is_ok() && !tree.complicate() {
                        break;
                    }
                }
                let (bytes, ending) = bytes_of(kind, &tree.current());
                let file = keep.join(format!("{kind:?}-{bad}.{ending}").to_lowercase());
                std::fs::write(&file, &bytes).expect("a file for the case");
                println!("{what}: {}", file.display());
            }
        }
    }
    println!(
        "{kind:?}: {cases} cases in {:.1} minutes, {bad} bad; {ends:?}; slowest {} ms, peak memory {} MB, seed {seed}",
        begin.elapsed().as_secs_f64() / 60.0,
        slowest.as_millis(),
        peak_kb() / 1000
    );
}
