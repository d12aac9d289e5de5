//! How much longer a messy export takes to read than a clean one of the same tests (bar: 3 times).
//!
//! ```text
//! cargo bench --bench flavours
//! ```
//!
//! 300 000 tests, once as plain comma text and once in each messy flavour; the best of three readings of each,
//! from the page cache. It prints what it measured and asserts nothing.

use std::fmt::Write as _;
use std::io::Write as _;
use std::time::Instant;

use leakdrift::config::Config;

const ROWS: u64 = 300_000;

/// Date, time, serial, microamperes, whether it passed.
fn rows() -> impl Iterator<Item = (chrono::NaiveDateTime, u64, u64, bool)> {
    let first =
        chrono::DateTime::from_timestamp(1_767_596_400, 0).expect("a date of 2026").naive_utc();
    (0..ROWS).map(move |n| {
        let at = first + chrono::TimeDelta::seconds(i64::try_from(n * 60).expect("few rows"));
        let ua = 800 + n * 7919 % 400;
        (at, n, ua, ua < 1190)
    })
}

fn clean() -> Vec<u8> {
    let mut text =
        "tested_at,model,serial,station,applied_v,frequency_hz,reading_ma,high_limit_ma,outcome\n"
            .to_owned();
    for (at, n, ua, passed) in rows() {
        let outcome = if passed { "pass" } else { "over limit" };
        let _ = writeln!(
            text,
            "{at},M{},U{n:07},S{},1500,50,{}.{:03},1.190,{outcome}",
            n % 12,
            n % 4,
            ua / 1000,
            ua % 1000
        );
    }
    text.into_bytes()
}

/// Page titles, the header again on each page, units in the values, dates that need their order, quotes.
fn paged(quote: &str, delimiter: &str, comma: bool) -> String {
    let names = [
        "Datum",
        "Uhrzeit",
        "Typ",
        "Seriennr.",
        "Prüfplatz",
        "Spannung",
        "Frequenz",
        "Strom",
        "Obergrenze",
        "Ergebnis",
        "Bemerkung",
    ];
    let line = |cells: &[String]| {
        let cells: Vec<String> = cells.iter().map(|c| format!("{quote}{c}{quote}")).collect();
        cells.join(delimiter) + "\r\n"
    };
    let header = line(&names.map(str::to_owned));
    let mut text = String::new();
    for (at, n, ua, passed) in rows() {
        if n % 60 == 0 {
            let _ = write!(text, "\r\nWerk Nord, Seite {}\r\n{header}", n / 60 + 1);
        }
        let decimal = |t: String| if comma { t.replace('.', ",") } else { t };
        text += &line(&[
            at.format("%d.%m.%y").to_string(),
            at.format("%H:%M:%S").to_string(),
            format!("M{}", n % 12),
            format!("U{n:07}"),
            format!("S{}", n % 4),
            decimal("1.50 kV".to_owned()),
            "50 Hz".to_owned(),
            if n % 2 == 0 {
                format!("{ua} µA")
            } else {
                decimal(format!("{}.{:03} mA", ua / 1000, ua % 1000))
            },
            decimal("1.190 mA".to_owned()),
            if passed { "gut" } else { "zu hoch" }.to_owned(),
            String::new(),
        ]);
    }
    text
}

fn utf_16(text: &str) -> Vec<u8> {
    let mut bytes = vec![0xff, 0xfe];
    bytes.extend(text.encode_utf16().flat_map(u16::to_le_bytes));
    bytes
}

fn gzipped(bytes: &[u8]) -> Vec<u8> {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packed.write_all(bytes).expect("memory takes every byte");
    packed.finish().expect("memory takes every byte")
}

fn main() {
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let dir = tempfile::tempdir().expect("a folder");
    let single_byte: Vec<u8> =
        paged("", ";", true).chars().map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')).collect();
    let flavours = [
        ("clean: comma, UTF-8", "a.csv", clean()),
        ("pages, units, Windows-1252, decimal comma", "b.csv", single_byte),
        ("pages, units, UTF-8, all cells quoted", "c.csv", paged("\"", ",", false).into_bytes()),
        ("pages, units, UTF-16, tab", "d.txt", utf_16(&paged("", "\t", true))),
        ("pages, units, UTF-16, tab, gzip", "e.gz", gzipped(&utf_16(&paged("", "\t", true)))),
    ];
    let mut bare = None;
    for (name, file, bytes) in flavours {
        let path = dir.path().join(file);
        std::fs::write(&path, &bytes).expect("a file");
        let mut best = f64::INFINITY;
        let mut used = 0;
        for _ in 0..3 {
            let start = Instant::now();
            let (_, pass) =
                leakdrift::pass(std::slice::from_ref(&path), &Config::default(), &|_, _| {})
                    .expect("a sound export");
            best = best.min(start.elapsed().as_secs_f64());
            used = pass.expect("a sound export").ledger.used;
        }
        let bare = *bare.get_or_insert(best);
        println!("{name:<45} {used} rows {best:>7.3} s  {:>5.2} times the clean one", best / bare);
    }
}
