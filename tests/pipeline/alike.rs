//! Rows of text that say the same as others in all but time, serial and reading are made of what those gave. They
//! must come out as if each were the first of its kind.

use leakdrift::config::Config;
use leakdrift::series::Pass;

use super::flavours::plain;
use crate::support::count::counted;
use crate::support::run::{folder, put};

const HEADER: &str = "tested_at,model,serial,station,test,applied_v,measured_v,frequency_hz,reading_ma,\
                      high_limit_ma,low_limit_ma,outcome,reason,humidity_pct,lot,remark\n";

/// Rows that come in a few hundred kinds, with every way to say a reading, a time, a serial and an outcome among
/// them, and what is wrong in some; `remark` gives the last cell of each.
fn export(remark: impl Fn(usize) -> String) -> String {
    let mut text = HEADER.to_owned();
    for n in 0..4000_usize {
        let day = 1 + n / 200;
        let time = match n % 131 {
            5 => format!("2026-03-{day:02}"),
            6 => format!("2026-03-{day:02}T25:00:00"),
            7 => format!("2026-03-{day:02} 9:05"),
            8 => format!("2026-13-{day:02}T09:05:00"),
            _ => format!("2026-03-{day:02}T{:02}:{:02}:00", 6 + n % 200 / 20, n % 20 * 3),
        };
        let serial = match n % 53 {
            3 => String::new(),
            4 => format!("sn-{} x", n / 2),
            5 => "#N/A".to_owned(),
            _ => format!("SN{}", n / 2),
        };
        let (outcome, reading) = match n % 17 {
            0 => ("FAIL", "1.45".to_owned()),
            1 => ("FAIL", "0.05".to_owned()),
            2 => ("FAIL", "OL".to_owned()),
            3 => ("breakdown", String::new()),
            4 => ("PASS", "0.6 apples".to_owned()),
            5 => ("PASS", "<0.3".to_owned()),
            6 => ("PASS", format!("{} uA", 500 + n % 90)),
            7 => ("PASS", "---".to_owned()),
            _ => ("PASS", format!("0.{}", 500 + n % 90)),
        };
        let test = match n % 71 {
            2 => "insulation resistance",
            3 => "a test nobody knows",
            _ => "ac withstand",
        };
        let (applied, measured) = match n % 29 {
            1 => ("", "1497"),
            2 => ("", "high"),
            _ => ("1500", "1502"),
        };
        let (model, station, lot) = (n % 3, n % 2 + 1, n / 500);
        let humidity = 40 + n % 7;
        let reason = if n % 34 == 17 { "arc" } else { "" };
        text += &format!(
            "{time},M{model},{serial},S{station},{test},{applied},{measured},50,{reading},1.3,0.1,{outcome},{reason},\
             {humidity},L{lot},{}\n",
            remark(n)
        );
        match n % 997 {
            10 => text += "\n",
            11 => text += HEADER,
            12 => text += "Total,4000\n",
            13 => text += "2026-03-01T09:00:00,M1,SN1,S1\n",
            _ => {}
        }
    }
    text
}

/// Everything that is known of each test.
fn tests(pass: &Pass) -> Vec<String> {
    let of_one = |t: leakdrift::series::Test<'_>| {
        let found =
            (t.line(), t.serial(), t.model(), t.station(), t.time(), t.outcome(), t.shown());
        let set = (t.settings(), t.limits(), t.levels(), t.set_aside(), t.count(), t.says());
        format!("{found:?} {set:?}")
    };
    let mut all: Vec<String> =
        pass.tests().flat_map(leakdrift::series::Tests::all).map(of_one).collect();
    all.sort();
    all
}

#[test]
fn rows_that_say_the_same_are_read_as_if_each_were_the_first() {
    let dir = folder();
    let (together, alone) = ("together.csv", "alone.csv");
    put(dir.path(), together, export(|_| String::new()));
    // With a remark of its own no row is like another.
    put(dir.path(), alone, export(|n| format!("n{n}")));
    let read = |name: &str| counted(&[dir.path().join(name)], &Config::default()).1;
    let (together, alone) = (read(together), read(alone));

    assert_eq!(tests(&together), tests(&alone));
    assert_eq!(together.ledger, alone.ledger);
    assert!(together.ledger.unreadable > 100 && together.ledger.stepped_over > 8);
    assert_eq!(together.unreadable, alone.unreadable);
    assert_eq!(together.plant.air, alone.plant.air);
    let told = |pass: &Pass, name: &str| -> Vec<String> {
        pass.notes.iter().map(|note| note.text.replace(name, "")).collect()
    };
    assert_eq!(told(&together, "together.csv"), told(&alone, "alone.csv"));
    assert_eq!(plain(&together), plain(&alone));
}
