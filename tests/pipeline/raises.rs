//! No raise without knowing that the product stands still.

use std::fmt::Write as _;

use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;

use crate::support::run::{folder, put, results, run_in};

/// A verdict, and whether a limit above the one in force is suggested, of a model of so many units a day on 84 days of
/// twelve weeks, of which the limit trips the highest of sixteen.
fn judged(units_a_day: usize) -> (String, bool, String) {
    let mut random = Pcg64::seed_from_u64(20_261_130);
    let mut text = "Tested at,Serial,Model,Station,Test type,Voltage [V],Frequency [Hz],Leakage [mA],High limit [mA],Outcome\n"
        .to_owned();
    for day in 0..84 {
        for unit in 0..units_a_day {
            let spread: f64 = random.sample(StandardNormal);
            let ma = 0.5 * (1.0 + 0.05 * spread);
            let outcome = if ma > 0.54 { "over limit" } else { "pass" };
            let (month, of_month, hour) = (day / 28 + 1, day % 28 + 1, 8 + unit % 10);
            writeln!(
                text,
                "2026-{month:02}-{of_month:02} {hour:02}:{:02}:00,{day}-{unit},M1,A1,AC,1250,50,{ma:.3},0.54,{outcome}",
                unit / 10
            )
            .unwrap();
        }
    }
    let dir = folder();
    put(dir.path(), "t.csv", text);
    run_in(dir.path(), ["review", "t.csv", "--out", "report", "--quiet"]).expect(0);
    let report = dir.path().join("report");
    let series = &results(&report)["series"][0];
    let verdict = &series["verdict"];
    let raised = verdict["suggested_ma"].as_f64().is_some_and(|ma| ma > 0.54);
    let page = std::fs::read_to_string(report.join("models/M1.md")).unwrap();
    (verdict["verdict"].as_str().unwrap().to_owned(), raised, page)
}

/// Too few units a day for daily points, and twelve weeks of weekly ones allow no shape: what rises slowly looks the
/// same. With more units a day the points say that the product stands still.
#[test]
fn no_raise_where_points_do_not_allow_to_say_that_the_product_stands_still() {
    let (kind, raised, page) = judged(4);
    assert_eq!(kind, "too_tight");
    assert!(!raised);
    assert!(page.contains("their points do not allow to say that they stand still"), "{page}");
    let (kind, raised, page) = judged(12);
    assert_eq!((kind.as_str(), raised), ("too_tight", true), "{page}");
}
