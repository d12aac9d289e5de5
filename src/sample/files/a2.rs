//! A2: commas, UTF-8 with mark, English, every current in µA.

use std::fmt::Write as _;

use super::super::calendar::Shift;
use super::super::models::Kind;
use super::super::schedule::Test;
use super::super::testing::{Outcome, Shown};

const HEADER: &str = "tested at,model,serial,step,point,test,set V,measured V,frequency Hz,ramp s,dwell s,\
leakage µA,high limit µA,low limit µA,outcome,stage,lot,filter,shift,operator,room °C,room %RH";

pub(super) fn bytes(tests: &[&Test]) -> Vec<u8> {
    let mut text = format!("\u{feff}{HEADER}\r\n");
    for test in tests {
        line(&mut text, test);
    }
    text.into_bytes()
}

fn line(text: &mut String, test: &Test) {
    let set = &test.setting;
    let digits = usize::from(set.kind == Kind::DcWithstand);
    let microamps = |ma: f64| format!("{:.digits$}", ma * 1000.0);
    let reading = match test.shown {
        Shown::Value(ma) => microamps(ma),
        Shown::Above(ma) => format!(">{}", microamps(ma)),
    };
    let (point, kind) = match set.kind {
        Kind::AcWithstand => ("mains to case", "AC withstand"),
        Kind::DcWithstand => ("mains to case", "DC withstand"),
        Kind::Leakage => ("case to earth", "leakage"),
    };
    let outcome = match test.outcome {
        Outcome::Pass => "pass",
        Outcome::OverLimit => "over limit",
        Outcome::UnderLimit => "under limit",
        Outcome::Breakdown => "breakdown",
        Outcome::Arc => "arc",
        Outcome::NotCompleted => "stopped",
    };
    let shift = match test.shift {
        Shift::Early => "early",
        Shift::Late => "late",
    };
    let volts = |v: f64| {
        if set.kind == Kind::Leakage { format!("{v:.1}") } else { format!("{v:.0}") }
    };
    let _ = write!(
        text,
        "{},{},{},{},{point},{kind},{},{},{},{:.1},{:.1},{reading},{},{},{outcome},{},{},{},{shift},{},{:.1},{:.1}\r\n",
        test.printed.format("%Y-%m-%d %H:%M:%S"),
        test.model,
        test.serial,
        set.step,
        volts(set.volts),
        volts(test.measured_v),
        set.hz.map_or(String::new(), |hz| format!("{hz:.0}")),
        set.ramp_s,
        set.dwell_s,
        microamps(set.high_ma),
        set.low_ma.map_or(String::new(), microamps),
        if test.in_ramp { "ramp" } else { "dwell" },
        test.lot,
        test.filter,
        test.operator,
        test.temperature_c,
        test.humidity_pct,
    );
}
