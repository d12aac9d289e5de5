//! A1: semicolons, decimal comma, Windows-1252, German.

use std::fmt::Write as _;

use super::super::calendar::Shift;
use super::super::dirt::exported_on;
use super::super::models::Kind;
use super::super::schedule::{Spoiled, Test};
use super::super::testing::{Outcome, Shown};

const HEADER: &str = "Datum;Uhrzeit;Typ;Seriennr.;Schritt;Prüfpunkt;Prüfart;Spannung [kV];Frequenz [Hz];\
Prüfzeit [s];Strom [mA];Obergrenze [mA];Untergrenze [mA];Ergebnis;Los;Filter;Schicht;Prüfer;Bemerkung";

pub(super) fn bytes(month: &str, tests: &[&Test]) -> Vec<u8> {
    let exported = exported_on(month);
    let mut text = format!(
        "Prüfplatz: A1\r\nGerät: P-17\r\nExportiert am: {} 06:04\r\n\r\n{HEADER}\r\n",
        exported.format("%d.%m.%Y")
    );
    for test in tests {
        line(&mut text, test);
    }
    let (bytes, _, unmappable) = encoding_rs::WINDOWS_1252.encode(&text);
    debug_assert!(!unmappable, "German text fits into Windows-1252");
    bytes.into_owned()
}

fn line(text: &mut String, test: &Test) {
    let set = &test.setting;
    let date = match test.spoiled {
        Some(Spoiled::Date) => "31.02.2026".to_string(),
        _ => test.printed.format("%d.%m.%Y").to_string(),
    };
    let reading = match (test.spoiled, test.shown) {
        (Some(Spoiled::Reading), _) => "#,##".to_string(),
        (_, Shown::Value(ma)) if ma < 1.0 => comma(ma, 3),
        (_, Shown::Value(ma)) => comma(ma, 2),
        (_, Shown::Above(ma)) => format!(">{}", comma(ma, 2)),
    };
    let (point, kind) = match set.kind {
        Kind::Leakage => ("Gehäuse gegen Erde", "Ableitstrom"),
        Kind::AcWithstand | Kind::DcWithstand => ("Netz gegen Gehäuse", "Hochspannung AC"),
    };
    let outcome = match (test.spoiled, test.outcome) {
        (Some(Spoiled::Outcome), _) => "??",
        (_, Outcome::Pass) => "gut",
        (_, Outcome::OverLimit) => "zu hoch",
        (_, Outcome::UnderLimit) => "zu niedrig",
        (_, Outcome::Breakdown) => "Durchschlag",
        (_, Outcome::Arc) => "Lichtbogen",
        (_, Outcome::NotCompleted) => "abgebrochen",
    };
    let shift = match test.shift {
        Shift::Early => "Früh",
        Shift::Late => "Spät",
    };
    let kilovolts = comma(set.volts / 1000.0, if set.kind == Kind::Leakage { 4 } else { 2 });
    let _ = write!(
        text,
        "{date};{};{};{};{};{point};{kind};{kilovolts};{};{};{reading};{};{};{outcome};{};{};{shift};{};{}\r\n",
        test.printed.format("%H:%M:%S"),
        test.model,
        test.serial,
        set.step,
        set.hz.map_or(String::new(), |hz| format!("{hz:.0}")),
        comma(set.dwell_s, 1),
        comma(set.high_ma, 3),
        set.low_ma.map_or(String::new(), |ma| comma(ma, 3)),
        test.lot,
        test.filter,
        test.operator,
        test.remark,
    );
}

fn comma(x: f64, digits: usize) -> String {
    format!("{x:.digits$}").replace('.', ",")
}
