//! B2: tabs, UTF-16 with mark, packed; units in the values; a page title and the header again every
//! 400 rows.

use std::fmt::Write as _;
use std::io::Write as _;

use flate2::{Compression, GzBuilder};

use super::super::calendar::Shift;
use super::super::models::Kind;
use super::super::schedule::{Spoiled, Test};
use super::super::testing::{Outcome, Shown};

const HEADER: &str = "Date\tTime\tModel\tSerial No\tTest\tVoltage\tFreq\tRamp\tDwell\tCurrent\tHigh\tLow\t\
Result\tLot\tFilter\tShift\tOperator\tTemp\tHumidity";

/// Rows on a page.
const PAGE: usize = 400;

pub(super) fn bytes(tests: &[&Test]) -> Vec<u8> {
    let mut text = String::from("\u{feff}");
    for (n, page) in tests.chunks(PAGE).enumerate() {
        let _ = write!(text, "Station B2, tester P-35, page {}\r\n{HEADER}\r\n", n + 1);
        for test in page {
            line(&mut text, test);
        }
    }
    let units: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let mut gzip = GzBuilder::new().write(Vec::new(), Compression::best());
    gzip.write_all(&units).and_then(|()| gzip.finish()).expect("writing to memory does not fail")
}

fn line(text: &mut String, test: &Test) {
    let set = &test.setting;
    let dc = set.kind == Kind::DcWithstand;
    let reading = match test.shown {
        Shown::Value(ma) if dc => format!("{:.1} uA", ma * 1000.0),
        Shown::Value(ma) if ma < 2.0 => format!("{ma:.3} mA"),
        Shown::Value(ma) => format!("{ma:.2} mA"),
        Shown::Above(ma) => format!(">{}", limit(ma, dc)),
    };
    let outcome = match test.outcome {
        Outcome::Pass => "Pass",
        Outcome::OverLimit => "Fail high",
        Outcome::UnderLimit => "Fail low",
        Outcome::Breakdown => "Breakdown",
        Outcome::Arc => "Arc",
        Outcome::NotCompleted => "Stopped",
    };
    let kind = match set.kind {
        Kind::AcWithstand => "AC withstand",
        Kind::DcWithstand => "DC withstand",
        Kind::Leakage => "Leakage",
    };
    let shift = match test.shift {
        Shift::Early => "Early",
        Shift::Late => "Late",
    };
    let kilovolts = if dc {
        format!("{:.3} kV", set.volts / 1000.0)
    } else {
        format!("{:.2} kV", set.volts / 1000.0)
    };
    let begin = format!(
        "{}\t{}\t{}\t{}\t{kind}\t{kilovolts}\t",
        test.printed.format("%m/%d/%Y"),
        test.printed.format("%I:%M:%S %p"),
        test.model,
        test.serial,
    );
    text.push_str(&begin);
    if test.spoiled == Some(Spoiled::Cut) {
        return;
    }
    let _ = write!(
        text,
        "{}\t{:.1} s\t{:.0} s\t{reading}\t{}\t{}\t{outcome}\t{}\t{}\t{shift}\t{}\t{:.1} °C\t{:.1} %\r\n",
        set.hz.map_or(String::new(), |hz| format!("{hz:.0} Hz")),
        set.ramp_s,
        set.dwell_s,
        limit(set.high_ma, dc),
        set.low_ma.map_or(String::new(), |ma| limit(ma, dc)),
        test.lot,
        test.filter,
        test.operator,
        test.temperature_c,
        test.humidity_pct,
    );
}

fn limit(ma: f64, dc: bool) -> String {
    if dc { format!("{:.1} uA", ma * 1000.0) } else { format!("{ma:.2} mA") }
}
