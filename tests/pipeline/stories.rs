//! What the report says of the planted stories, against the factory's truth: one test per story that the
//! questions of limit, drift, station and retest answer.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use leakdrift::sample::{self, Body, Filter, Kind, Model, Planted, Shown, Station, share_at};
use serde_json::Value;

use crate::support::days::day;
use crate::support::run::{
    CsvRow, csv_rows, date, folder, number, plain, put, results, reviewed, run_in, series,
};

/// The eight series: model, kind of test, coarsest reading step of its stations in mA, expected verdict.
/// Steps and verdicts from the factory's description.
const SERIES: [(Model, Kind, f64, &str); 8] = [
    (Model::Kb120, Kind::AcWithstand, 0.001, "moving"),
    (Model::Fh205, Kind::AcWithstand, 0.01, "fits"),
    (Model::Fh205, Kind::Leakage, 0.001, "fits"),
    (Model::Vc310, Kind::AcWithstand, 0.01, "too_tight"),
    (Model::Sm415, Kind::AcWithstand, 0.01, "fits"),
    (Model::Em520, Kind::AcWithstand, 0.01, "fits"),
    (Model::Dh640, Kind::DcWithstand, 0.0001, "fits"),
    (Model::Ap730, Kind::AcWithstand, 0.01, "too_loose"),
];

fn word(kind: Kind) -> &'static str {
    match kind {
        Kind::AcWithstand => "ac_withstand",
        Kind::DcWithstand => "dc_withstand",
        Kind::Leakage => "leakage",
    }
}

fn of(model: Model, kind: Kind) -> &'static Value {
    series(&reviewed().results, model.name(), word(kind))
}

fn body(model: Model, kind: Kind) -> Body {
    Body { model, kind, filter: None }
}

/// The stations of a series in the period judged.
fn stations(series: &Value) -> Vec<Station> {
    let named = series["stations"].as_array().unwrap().iter().map(|s| s["station"].as_str());
    named.map(|n| Station::ALL.into_iter().find(|s| Some(s.name()) == n).unwrap()).collect()
}

/// The station whose latest scale a series is told on.
fn scale(series: &Value) -> Station {
    let is_scale = |s: &Value| s["is_scale"] == true;
    let at = series["stations"].as_array().unwrap().iter().position(is_scale).unwrap();
    stations(series)[at]
}

/// The true share of healthy units that a station, in its state of the last day, would show at or below a reading
/// on each of these days together.
fn share_as_now(body: Body, station: Station, days: &[NaiveDate], ma: f64) -> f64 {
    let now = station.gain(sample::last_day());
    let of = |day: &NaiveDate| share_at(body, station, *day, ma * station.gain(*day) / now);
    days.iter().map(of).sum::<f64>() / days.len() as f64
}

/// The true share of the units at or below a reading on the last day judged, on the series' scale.
fn true_share(series: &Value, body: Body, ma: f64) -> f64 {
    share_as_now(body, scale(series), &[date(&series["verdict"]["judged"]["to"])], ma)
}

/// The days that a series judges: the last where it carries a slope to that day, else all of the period.
fn days_judged(series: &Value, body: Body) -> Vec<NaiveDate> {
    let (from, to) =
        (date(&series["verdict"]["judged"]["from"]), date(&series["verdict"]["judged"]["to"]));
    if body.model == Model::Kb120 { vec![to] } else { days_from(from, to) }
}

fn days_from(from: NaiveDate, to: NaiveDate) -> Vec<NaiveDate> {
    let days: Vec<NaiveDate> =
        sample::production_days().into_iter().filter(|d| (from..=to).contains(d)).collect();
    assert!(days.len() > 20, "{} production days judged", days.len());
    days
}

/// The true quantile of the units that a series judges, on its scale.
fn true_quantile(series: &Value, body: Body, p: f64) -> f64 {
    quantile_over(body, scale(series), &days_judged(series, body), p)
}

/// The true quantile, at each of its stations, of the units that a band is made from: of a product that rises those
/// of the time before.
fn quantiles_of_band(series: &Value, body: Body, p: f64) -> Vec<f64> {
    let days = match &series["verdict"]["rising"] {
        Value::Null => days_judged(series, body),
        rising => days_from(date(&rising["band_from"]), date(&rising["band_to"])),
    };
    stations(series).into_iter().map(|s| quantile_over(body, s, &days, p)).collect()
}

fn quantile_over(body: Body, station: Station, days: &[NaiveDate], p: f64) -> f64 {
    let (mut low, mut high) = (1e-5_f64, 100.0_f64);
    for _ in 0..40 {
        let middle = (low * high).sqrt();
        if share_as_now(body, station, days, middle) < p { low = middle } else { high = middle }
    }
    (low * high).sqrt()
}

fn largest(of: Vec<f64>) -> f64 {
    of.into_iter().fold(f64::NEG_INFINITY, f64::max)
}

fn least(of: Vec<f64>) -> f64 {
    of.into_iter().fold(f64::INFINITY, f64::min)
}

fn verdict_is(model: Model, kind: Kind) {
    let want = SERIES.iter().find(|s| s.0 == model && s.1 == kind).unwrap().3;
    let verdict = &of(model, kind)["verdict"];
    assert_eq!(verdict["verdict"].as_str(), Some(want), "{}: {}", model.name(), verdict["reasons"]);
}

fn not_flagged(model: Model, kind: Kind) {
    let drift = &of(model, kind)["drift"];
    assert_eq!(drift["flagged"], false, "{}, {}: {drift}", model.name(), word(kind));
}

/// Rows of `units-to-check.csv` of a model whose reason contains `reason`.
fn listed(model: &str, reason: &str) -> Vec<&'static CsvRow> {
    reviewed()
        .units
        .iter()
        .filter(|row| row.get("model").is_some_and(|m| m == model))
        .filter(|row| row.get("reason").expect("a column named reason").contains(reason))
        .collect()
}

/// Serial, station and time of planted tests.
fn keys(planted: &[Planted]) -> BTreeSet<(String, String, String)> {
    planted
        .iter()
        .map(|p| {
            (
                plain(&p.serial),
                p.station.to_owned(),
                p.tested_at.format("%Y-%m-%d %H:%M:%S").to_string(),
            )
        })
        .collect()
}

fn serials(planted: &[Planted]) -> BTreeSet<String> {
    planted.iter().map(|p| plain(&p.serial)).collect()
}

fn key(row: &CsvRow) -> (String, String, String) {
    (plain(&row["serial"]), row["station"].clone(), row["tested_at"].clone())
}

#[test]
fn the_series_are_those_of_the_factory_and_no_others() {
    let results = &reviewed().results;
    assert_eq!(results["series"].as_array().unwrap().len(), SERIES.len());
    for (model, kind, ..) in SERIES {
        let found = of(model, kind);
        let setting = model
            .sequence(Station::A2, sample::last_day(), Filter::Only)
            .into_iter()
            .find(|s| s.kind == kind)
            .unwrap();
        assert_eq!(found["applied_v"].as_f64(), Some(setting.volts), "{}", model.name());
        assert_eq!(found["limit"]["high_ma"].as_f64(), Some(setting.high_ma), "{}", model.name());
        assert_eq!(found["limit"]["low_ma"].as_f64(), setting.low_ma, "{}", model.name());
        assert_eq!(found["units_together"], 1);
        assert_eq!(found["current"], "total");
    }
    assert_eq!(results["month"], "2026-10");
    assert_eq!(results["schema"], "leakdrift.results/1");
}

/// The interval of the typical reading holds the true one, within one reading step.
#[test]
fn typical_readings_are_the_true_ones() {
    let mut wrong = Vec::new();
    for (model, kind, step, _) in SERIES {
        let series = of(model, kind);
        let x50 = &series["distribution"]["x50_ma"];
        let truth = true_quantile(series, body(model, kind), 0.5);
        let (low, high) = (number(&x50["low"]) - step, number(&x50["high"]) + step);
        // An interval wide enough to hold anything would prove nothing: X50 is known to a fifth, that of DH640 through
        // the year of its season to half.
        let most = if model == Model::Dh640 { 0.6 } else { 0.2 };
        if !(low..=high).contains(&truth) || high - low - 2.0 * step > most * truth {
            wrong.push(format!("{}, {}: {truth} against {x50}", model.name(), word(kind)));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The lower end of the band covers the reading that all but one in a thousand healthy units stay under;
/// where the limit fits, it lies above the lower end.
#[test]
fn no_band_begins_below_what_healthy_units_read() {
    let mut wrong = Vec::new();
    for (model, kind, _, verdict) in SERIES {
        let series = of(model, kind);
        let low = number(&series["verdict"]["band_low_ma"]);
        let truth = largest(quantiles_of_band(series, body(model, kind), 0.999));
        let limit = number(&series["limit"]["high_ma"]);
        // The bound holds in 95 of 100 series: one of eight may miss, by little.
        let at_least = if model == Model::Kb120 { 0.99 * truth } else { truth };
        if low < at_least || (verdict == "fits" && low > limit) {
            wrong.push(format!(
                "{}, {}: band from {low}, healthy to {truth}, limit {limit}",
                model.name(),
                word(kind)
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The band that the factory's physics gives lies inside the printed one at its lower end by the data's
/// uncertainty only, and at its upper end agrees: `sqrt(X50^2 + (V/R)^2)` less the guard band where a leak path
/// is stated, else the larger of `X50 + 2 (lower end - X50)` and `2 X50`, never above the ceiling.
#[test]
fn bands_are_those_of_the_physics() {
    for (model, kind, step, _) in SERIES {
        let series = of(model, kind);
        let what = format!("{}, {}", model.name(), word(kind));
        let verdict = &series["verdict"];
        let (low, high) = (number(&verdict["band_low_ma"]), number(&verdict["band_high_ma"]));
        // The band holds at each station: at the one that reads most below, at the one that reads least above.
        let x50 = least(quantiles_of_band(series, body(model, kind), 0.5));
        let ends = largest(quantiles_of_band(series, body(model, kind), 0.999));
        // DH640 spreads by a factor of two and is judged over its season.
        let reach = if model == Model::Dh640 { 1.5 } else { 1.06 };
        let at_least = if model == Model::Kb120 { 0.99 } else { 1.0 };
        assert!(low >= at_least * ends && low <= reach * ends, "{what}: {low} against {ends}");
        let want = if model == Model::Ap730 {
            let leak = (x50 * x50 + 1.5 * 1.5_f64).sqrt();
            leak * 0.985 - 2.0 * step
        } else {
            (x50 + 2.0 * (low - x50)).max(2.0 * x50)
        };
        let thumb = model != Model::Ap730;
        assert_eq!(verdict["band_high_basis"], if thumb { "rule_of_thumb" } else { "leak_path" });
        let ceiling: f64 = if kind == Kind::Leakage { 0.75 } else { 10.0 };
        let want = want.min(ceiling);
        assert!((high / want - 1.0).abs() < 0.02, "{what}: {high} against {want}");
        // Every rule about an end stands with its number, and exactly one sets each end.
        let rules = verdict["band_ends"].as_array().unwrap();
        for end in ["low", "high"] {
            let sets: Vec<_> =
                rules.iter().filter(|r| r["end"] == end && r["sets"] == true).collect();
            assert_eq!(sets.len(), 1, "{what}: {rules:?}");
        }
    }
}

/// Every series with a low limit shows its index, near the true one of the units judged, and that no
/// healthy unit is rejected; the limits lie far below what healthy units read. Without one there is none.
#[test]
fn low_limits_are_judged_against_the_true_low_end() {
    let mut judged = 0;
    for (model, kind, _, _) in SERIES {
        let series = of(model, kind);
        let low = &series["low_side"];
        let Some(limit) = series["limit"]["low_ma"].as_f64() else {
            assert!(low.is_null(), "{}: {low}", model.name());
            continue;
        };
        judged += 1;
        let x = |p: f64| true_quantile(series, body(model, kind), p);
        let truth = (x(0.5) - limit) / (x(0.5) - x(0.001_35));
        // The interval, widened by what a reading step is in the denominator.
        let (from, to) = (number(&low["value"]["low"]), number(&low["value"]["high"]));
        assert!(
            (0.9 * from..=1.1 * to).contains(&truth),
            "{}: true index {truth}, {low}",
            model.name()
        );
        let steady = series["drift"]["shape"] == "steady";
        assert_eq!(low["index"], if steady { "C_pkL" } else { "P_pkL" });
        let healthy_below = 1e6 * true_share(series, body(model, kind), limit);
        assert!(healthy_below < 0.01, "{}: {healthy_below}", model.name());
        // So few that the units cannot tell them, all of the interval too.
        let expected = &low["expected_reject_ppm"];
        assert!(expected["value"].is_null() && expected["high"] == expected["below"], "{low}");
        assert_eq!(number(&low["observed_reject_ppm"]["low"]), 0.0);
        let title = series["title"].as_str().unwrap();
        let section = reviewed().pages.split(&format!("### {title}\n")).nth(1);
        let line = section.and_then(|s| s.lines().find(|l| l.starts_with("Low limit ")));
        assert!(line.is_some_and(|l| l.contains("Seen below it: no unit of")), "{title}");
    }
    assert_eq!(judged, 5);
    assert_eq!(reviewed().pages.matches("\nLow limit ").count(), judged);
}

#[test]
fn no_interval_is_upside_down() {
    fn walk(value: &Value, at: &str, seen: &mut u32) {
        match value {
            Value::Object(map) => {
                if map.contains_key("level") && map.contains_key("method") {
                    *seen += 1;
                    let get = |k: &str| map[k].as_f64();
                    if let (Some(low), Some(high)) = (get("low"), get("high")) {
                        assert!(low <= high, "{at}: {value}");
                    }
                    if let (Some(low), Some(x)) = (get("low"), get("value")) {
                        assert!(low <= x, "{at}: {value}");
                    }
                    if let (Some(x), Some(high)) = (get("value"), get("high")) {
                        assert!(x <= high, "{at}: {value}");
                    }
                }
                map.iter().for_each(|(k, v)| walk(v, &format!("{at}.{k}"), seen));
            }
            Value::Array(list) => {
                list.iter().enumerate().for_each(|(n, v)| walk(v, &format!("{at}[{n}]"), seen));
            }
            _ => {}
        }
    }
    let mut seen = 0;
    walk(&reviewed().results, "", &mut seen);
    // Five quantiles of each of eight series.
    assert!(seen >= 40, "{seen} intervals");
}

/// Story 1.
#[test]
fn fan_heater_fits_twice_and_stands_still() {
    verdict_is(Model::Fh205, Kind::AcWithstand);
    verdict_is(Model::Fh205, Kind::Leakage);
    not_flagged(Model::Fh205, Kind::AcWithstand);
    not_flagged(Model::Fh205, Kind::Leakage);
}

/// Story 2. The limit that is suggested instead must not reject: it lies above the true X99.9.
#[test]
fn vacuum_cleaner_limit_is_too_tight() {
    verdict_is(Model::Vc310, Kind::AcWithstand);
    let series = of(Model::Vc310, Kind::AcWithstand);
    let suggested = number(&series["verdict"]["suggested_ma"]);
    assert!(suggested > true_quantile(series, body(Model::Vc310, Kind::AcWithstand), 0.999));
    assert!(suggested <= 10.0, "the maker's own ceiling is 10 mA");
    not_flagged(Model::Vc310, Kind::AcWithstand);
}

/// Story 3: units over limit in the late shift at B1, by the rows as the files show them. B1 exports no shift, so
/// that it is told of an operator, by a code.
#[test]
fn retesting_until_it_passes_is_told_with_the_units_tested_too_often() {
    let review = reviewed();
    let mut units: BTreeMap<String, bool> = BTreeMap::new();
    let mut tests: BTreeMap<String, u64> = BTreeMap::new();
    for test in &review.factory.tests[&Station::B1] {
        // Rows whose clock is not believed are set aside.
        let believed = test.printed.date() >= sample::first_day();
        if test.model != "VC310" || test.operator != "op07" || !believed {
            continue;
        }
        let pass = test.outcome == sample::Outcome::Pass;
        let completed = test.outcome != sample::Outcome::NotCompleted;
        if completed && units.contains_key(&plain(&test.serial)) {
            *tests.entry(plain(&test.serial)).or_default() += 1;
        }
        match units.get_mut(&plain(&test.serial)) {
            Some(passed) => *passed |= pass,
            None if test.outcome == sample::Outcome::OverLimit => {
                units.insert(plain(&test.serial), false);
            }
            None => {}
        }
    }
    let passed = units.values().filter(|p| **p).count();
    let habits: Vec<&str> = review.pages.lines().filter(|l| l.contains("further tests")).collect();
    // Nobody else retests until it passes.
    let [line] = habits[..] else { panic!("{habits:?}") };
    assert!(line.contains("on B1"), "{line}");
    let numbers = |line: &str| -> Vec<String> {
        let of = line.split(|c: char| !c.is_ascii_digit()).filter(|n| !n.is_empty());
        of.map(str::to_owned).collect()
    };
    for want in [units.len().to_string(), passed.to_string()] {
        assert!(numbers(line).contains(&want), "{want} is not in: {line}");
    }
    // One retest is allowed: it is the units tested more often that are counted, not all that tripped.
    let often: Vec<&String> = tests.iter().filter(|(_, n)| **n > 1).map(|(u, _)| u).collect();
    let then_passed = often.iter().filter(|u| units[**u]).count();
    assert_eq!((often.len(), then_passed), (51, 36));
    let actions = review.results["actions"].as_array().unwrap();
    let action = actions.iter().find(|a| a["kind"] == "retested_until_pass").expect("an action");
    let said = numbers(action["sentence"].as_str().unwrap());
    assert_eq!(said, ["51", "1", "36"], "{action}");
    let next = action["next_step"].as_str().unwrap();
    assert!(next.starts_with("No further test of these units"), "{next}");
    assert!(!next.contains("until it passes"), "{next}");
    let series = of(Model::Vc310, Kind::AcWithstand);
    assert_eq!(series["retests"]["more_than_allowed"], 51);
    assert_eq!(series["retests"]["more_than_allowed_passed"], 36);
    assert_eq!(listed("VC310", "more retests than allowed").len(), 36);
}

/// Operators stay in the house: by default no file of the report names one, neither page nor list nor result file.
#[test]
fn no_operator_is_named_unless_the_settings_say_so() {
    let review = reviewed();
    let operators: BTreeSet<&str> =
        review.factory.tests.values().flatten().map(|t| t.operator).collect();
    assert!(operators.len() > 5, "{operators:?}");
    for (file, text) in &review.texts {
        let words: BTreeSet<&str> = text.split(|c: char| !c.is_alphanumeric()).collect();
        let named: Vec<&&str> = operators.iter().filter(|o| words.contains(**o)).collect();
        assert!(named.is_empty(), "{file} names {named:?}");
    }
    assert!(review.texts.len() > 3, "{:?}", review.texts.keys());
    assert!(review.pages.contains("operator p-"), "the habit at B1 is told");
}

/// Story 4.
#[test]
fn kettle_drifts_from_december_and_the_date_is_foretold() {
    verdict_is(Model::Kb120, Kind::AcWithstand);
    let series = of(Model::Kb120, Kind::AcWithstand);
    let drift = &series["drift"];
    assert_eq!(drift["flagged"], true, "{drift}");
    assert_eq!(drift["shape"], "slope", "{drift}");
    assert_eq!(drift["steps"].as_array().map(Vec::len), Some(0), "{drift}");
    let since = date(&drift["since"]);
    assert!((since - day("2025-12-01")).num_days().abs() <= 45, "since {since}");
    assert!(number(&drift["per_month_ma"]["low"]) > 0.0, "{drift}");
    let reached = &drift["limit_reached_on"];
    let (low, at) = (date(&reached["low"]), date(&reached["date"]));
    assert!(low > sample::last_day(), "{reached}");
    assert!(low <= at, "{reached}");
    let truth = sample::crossing_date(0.001).unwrap();
    assert!(low <= truth, "true date {truth}, {reached}");
    if !reached["high"].is_null() {
        let high = date(&reached["high"]);
        assert!(at <= high && truth <= high, "true date {truth}, {reached}");
    }
    let until = date(&series["verdict"]["fits_until"]);
    assert!(until > sample::last_day(), "{until}");
    // Its band is that of the time before the rise, and no raise is suggested.
    let rising = &series["verdict"]["rising"];
    assert!(date(&rising["band_to"]) < day("2025-12-01"), "{rising}");
    assert_eq!(series["verdict"]["suggested_ma"], Value::Null);
    let said = reviewed().results["actions"].as_array().unwrap().iter();
    let said = said.filter(|a| a["subject"] == "KB120" && a["kind"] == "drift");
    let steps: Vec<&str> = said.map(|a| a["next_step"].as_str().unwrap()).collect();
    assert!(matches!(steps[..], [step] if step.contains("do not raise the limit")), "{steps:?}");
}

/// Story 5, the step: gain 0.965 to 1.000 is 1/0.965 − 1 = 3.627 %.
#[test]
fn the_step_of_a2_is_the_testers() {
    let stations = reviewed().results["stations"].as_array().unwrap();
    assert_eq!(stations.len(), 4);
    for station in stations {
        let moved = station["moved"].as_array().unwrap();
        if station["station"] != "A2" {
            assert!(moved.is_empty(), "{station}");
            continue;
        }
        assert_eq!(moved.len(), 1, "{station}");
        let (low, high) = (date(&moved[0]["date_low"]), date(&moved[0]["date_high"]));
        let truth = sample::a2_calibrated();
        assert!((low..=high).contains(&truth), "{station}");
        assert!((low..=high).contains(&date(&moved[0]["date"])), "{station}");
        let size = &moved[0]["size_pct"];
        let truth = 100.0 * (1.0 / 0.965 - 1.0);
        assert!((number(&size["low"])..=number(&size["high"])).contains(&truth), "{truth}: {size}");
        assert!(number(&size["high"]) - number(&size["low"]) < 2.0, "{size}");
    }
    let movement = reviewed().results["movement"].as_array().unwrap();
    assert!(movement.iter().any(|m| m["what"] == "tester" && m["name"] == "A2"), "{movement:?}");
    assert!(
        !movement.iter().any(|m| m["what"] == "product" && m["name"] != "KB120"),
        "{movement:?}"
    );
}

/// Story 5, the leads: B2 adds capacitance, and so the same mA on every model.
#[test]
fn the_long_leads_of_b2_act_as_milliampere() {
    let stations = reviewed().results["stations"].as_array().unwrap();
    let b2 = stations.iter().find(|s| s["station"] == "B2").unwrap();
    assert_eq!(b2["acts_as"], "ma", "{b2}");
    assert!(number(&b2["offset_ma"]["low"]) > 0.0, "{b2}");
}

/// Story 6, the limit: one bad lot among many sound ones is no reason to doubt it.
#[test]
fn espresso_machine_fits_after_the_jump() {
    verdict_is(Model::Em520, Kind::AcWithstand);
    not_flagged(Model::Em520, Kind::AcWithstand);
}

/// Story 6, those of the four high passes that can be told from healthy units.
///
/// The rule of the strays, with the true body in place of the fitted one: of the lot's units as many healthy ones
/// expected at or above the reading at its station as 5 % of the passes found there, of which two count; half of that
/// here, since the program must estimate the body. The lowest of the four lies among healthy units.
#[test]
fn high_passes_of_the_bad_lot_are_strays() {
    let truth = &reviewed().factory.truth;
    let series = of(Model::Em520, Kind::AcWithstand);
    let strays = series["strays"]["units"].as_array().unwrap();
    let above: BTreeSet<String> = strays
        .iter()
        .filter(|s| s["points_to"] == "suspect_insulation")
        .map(|s| plain(s["serial"].as_str().unwrap()))
        .collect();
    let body = body(Model::Em520, Kind::AcWithstand);
    let beyond = |p: &Planted| {
        let station = Station::ALL.into_iter().find(|s| s.name() == p.station).unwrap();
        180.0 * (1.0 - share_at(body, station, p.tested_at.date(), p.reading_ma.unwrap() - 0.005))
    };
    let mut told_apart = 0;
    for planted in &truth.lot_high_passes {
        let healthy = beyond(planted);
        let found = truth.lot_high_passes.iter().filter(|p| beyond(p) <= healthy).count();
        if healthy <= 0.5 * 0.05 * found.min(2) as f64 {
            told_apart += 1;
            let named = above.contains(&plain(&planted.serial));
            assert!(named, "{planted:?} is not among {above:?}");
        }
    }
    assert!(told_apart >= 3, "{told_apart} of the four can be told apart");
}

/// Every pass listed as suspect was planted; no unit is suspect since its station reads high or low. What is not
/// decided is listed as that: one unit in ten thousand at most. None of them reads low.
#[test]
fn no_healthy_unit_is_listed_as_suspect() {
    let truth = &reviewed().factory.truth;
    let mut planted = keys(&truth.leak_path_passes);
    planted.extend(keys(&truth.lot_high_passes));
    let rows = |reason: &str| -> Vec<&CsvRow> {
        reviewed().units.iter().filter(|r| r["reason"].contains(reason)).collect()
    };
    for reason in ["above the healthy body", "below the healthy body"] {
        let listed: BTreeSet<_> = rows(reason).into_iter().map(key).collect();
        let healthy: Vec<_> = listed.difference(&planted).collect();
        assert!(healthy.is_empty(), "{reason}: {healthy:?}");
    }
    assert!(rows("not decided").len() <= 5);
    assert!(rows("reads low").is_empty(), "{:?}", rows("reads low"));
}

/// The step of A2 cuts no history: each series judges the last six months, of a season the last twelve, also the days
/// before the calibration.
#[test]
fn the_calibration_of_a2_cuts_no_history() {
    for (model, kind, ..) in SERIES {
        let series = of(model, kind);
        let judged = &series["verdict"]["judged"];
        assert!(date(&judged["from"]) < sample::a2_calibrated(), "{}: {judged}", model.name());
    }
    // DH640 has its dry season back.
    let season = &of(Model::Dh640, Kind::DcWithstand)["verdict"]["judged"];
    assert!(date(&season["from"]) < day("2025-11-15"), "{season}");
}

/// Months show the product, not the calibration of a tester: three in ten VC310 units were tested at A2, whose step
/// moved the median of all by 1.1 %.
#[test]
fn months_do_not_show_the_calibration() {
    let months = of(Model::Vc310, Kind::AcWithstand)["months"].as_array().unwrap();
    let mean = |inside: &dyn Fn(&str) -> bool| {
        let of: Vec<f64> = months
            .iter()
            .filter(|m| inside(m["month"].as_str().unwrap()))
            .map(|m| number(&m["x50_ma"]))
            .collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    let (before, after) = (mean(&|m| m < "2026-05"), mean(&|m| m > "2026-05"));
    assert!((after / before - 1.0).abs() < 0.005, "{before} before, {after} after");
}

/// Each station's share over the limit agrees with what is expected there: B1 and A2 now reject VC310 alike.
#[test]
fn stations_are_told_at_their_own_scale() {
    for (model, kind, step, _) in SERIES {
        let series = of(model, kind);
        let told = series["stations"].as_array().unwrap();
        let days = days_judged(series, body(model, kind));
        let units: f64 = told.iter().map(|s| number(&s["units"])).sum();
        assert!((units - number(&series["verdict"]["judged"]["units"])).abs() < 1.0, "{told:?}");
        for (s, station) in told.iter().zip(stations(series)) {
            if model == Model::Kb120 {
                continue;
            }
            let truth = quantile_over(body(model, kind), station, &days, 0.5);
            let within = if model == Model::Dh640 { 0.1 } else { 0.006 };
            let shown = number(&s["x50_ma"]);
            let near = (shown / truth - 1.0).abs() < within + step / truth;
            assert!(near, "{} at {}: {shown} against {truth}", model.name(), station.name());
        }
    }
    let told = of(Model::Vc310, Kind::AcWithstand)["stations"].as_array().unwrap();
    for s in told {
        let (seen, expected) = (&s["reject_share"], &s["expected_share"]);
        assert!(number(&seen["low"]) <= number(&expected["high"]), "{s}");
        assert!(number(&expected["low"]) <= number(&seen["high"]), "{s}");
    }
}

/// Story 6, the failed units: 25 pass later, but at 1060 V only; the other 18 never.
#[test]
fn failed_espresso_machines_are_listed_by_what_became_of_them() {
    let truth = &reviewed().factory.truth;
    let reworked = serials(&truth.lot_reworked);
    let failed: BTreeSet<String> =
        serials(&truth.lot_over_limit).union(&serials(&truth.lot_breakdowns)).cloned().collect();
    assert_eq!((failed.len(), reworked.len()), (43, 25));
    let rows = |reason| {
        listed("EM520", reason).into_iter().map(|r| plain(&r["serial"])).collect::<BTreeSet<_>>()
    };
    let (elsewhere, never) = (rows("other settings"), rows("never passed"));
    assert_eq!(
        reworked.difference(&elsewhere).collect::<Vec<_>>(),
        Vec::<&String>::new(),
        "at other settings"
    );
    let lost: BTreeSet<String> = failed.difference(&reworked).cloned().collect();
    assert_eq!(lost.difference(&never).collect::<Vec<_>>(), Vec::<&String>::new(), "never passed");
    assert_eq!(never.intersection(&reworked).collect::<Vec<_>>(), Vec::<&String>::new());
}

/// Story 7: the cause stands in column `filter`; within its levels nothing moved.
#[test]
fn stand_mixer_has_two_groups_by_filter_and_no_drift() {
    verdict_is(Model::Sm415, Kind::AcWithstand);
    let distribution = &of(Model::Sm415, Kind::AcWithstand)["distribution"];
    assert_eq!(distribution["groups"], 2);
    assert_eq!(distribution["split_by"], "filter");
    not_flagged(Model::Sm415, Kind::AcWithstand);
    for (model, kind, ..) in SERIES {
        if model != Model::Sm415 {
            assert_eq!(of(model, kind)["distribution"]["groups"], 1, "{}", model.name());
        }
    }
}

/// Story 8: the limit, and when and where it was changed.
#[test]
fn air_purifier_limit_was_loosened_midway_and_is_too_loose() {
    verdict_is(Model::Ap730, Kind::AcWithstand);
    not_flagged(Model::Ap730, Kind::AcWithstand);
    let series = of(Model::Ap730, Kind::AcWithstand);
    let history = series["limit"]["history"].as_array().unwrap();
    let loosened: Vec<&Value> =
        history.iter().filter(|c| c["high_ma"].as_f64() == Some(5.0)).collect();
    assert!(loosened.iter().all(|c| c["low_ma"].is_null()), "{history:?}");
    // Each station on its own day, and none "all" while one still had the old limit.
    let found: BTreeSet<(String, NaiveDate)> = loosened
        .iter()
        .map(|c| (c["station"].as_str().expect("a station").to_owned(), date(&c["from"])))
        .collect();
    let testing = [Station::A2, Station::B1, Station::B2];
    let truth: BTreeSet<(String, NaiveDate)> =
        testing.iter().map(|s| (s.name().to_owned(), sample::ap730_loosened(*s))).collect();
    assert_eq!(found, truth, "{history:?}");
    assert_eq!(date(&series["limit"]["since"]), truth.iter().map(|t| t.1).max().unwrap());
    assert!(
        history
            .iter()
            .any(|c| c["high_ma"].as_f64() == Some(2.25) && c["low_ma"].as_f64() == Some(1.0)),
        "{history:?}"
    );
    // V / sqrt(limit² − X50²) = 1.5 kV / sqrt(25 − 4) mA = 0.327 MΩ.
    let blind = number(&series["verdict"]["blind_spot_mohm"]);
    let x50 = least(quantiles_of_band(series, body(Model::Ap730, Kind::AcWithstand), 0.5));
    assert!((blind - 1.5 / (25.0 - x50 * x50).sqrt()).abs() < 0.002, "{blind}");
    assert_eq!(series["verdict"]["open_lead_passes"], true);
}

/// Story 8: three leak paths that passed. The list may hold one false stray in twenty, so one at most here.
#[test]
fn air_purifiers_with_a_leak_path_are_listed() {
    let truth = keys(&reviewed().factory.truth.leak_path_passes);
    let rows: BTreeSet<_> =
        listed("AP730", "above the healthy body").into_iter().map(key).collect();
    assert_eq!(truth.len(), 3);
    assert!(truth.is_subset(&rows), "{truth:?} against {rows:?}");
    assert!(rows.len() <= truth.len() + 1, "{rows:?}");
    for planted in &reviewed().factory.truth.leak_path_passes {
        let row = listed("AP730", "above the healthy body")
            .into_iter()
            .find(|r| plain(&r["serial"]) == plain(&planted.serial))
            .unwrap();
        assert_eq!(row["reading_ma"].parse::<f64>().ok(), planted.reading_ma);
    }
}

/// Story 9.
#[test]
fn passes_with_an_open_lead_are_listed_one_and_all() {
    let truth = keys(&reviewed().factory.truth.open_lead_passes);
    let rows: BTreeSet<_> = listed("AP730", "open lead").into_iter().map(key).collect();
    assert_eq!(truth.len(), 23);
    assert_eq!(rows, truth);
    // No other model was ever tested without its lead.
    let others = reviewed()
        .units
        .iter()
        .filter(|r| r["reason"].contains("open lead") && r["model"] != "AP730");
    assert_eq!(others.count(), 0);
}

/// Story 9, the check load that passed where it must trip, and who was tested before the next good check.
#[test]
fn the_failed_check_of_the_broken_lead_is_found() {
    let checks = reviewed().results["checks"].as_array().unwrap();
    let wrong: Vec<(&Value, &Value)> = checks
        .iter()
        .flat_map(|c| c["wrong"].as_array().unwrap().iter().map(move |w| (&c["station"], w)))
        .collect();
    assert_eq!(wrong.len(), 1, "{wrong:?}");
    let (station, check) = wrong[0];
    assert_eq!(station, "B2");
    assert_eq!(check["load"], "LOAD-FAIL");
    assert_eq!(check["found"], "pass");
    let at = check["tested_at"].as_str().unwrap();
    assert!(at.starts_with(&sample::broken_lead_day().to_string()), "{at}");
}

/// A1 exported nothing for 2026-05-18 to 05-20; no other station misses days that its habit predicts.
#[test]
fn the_missing_days_of_a1_are_the_only_gap() {
    let gaps = reviewed().results["gaps"].as_array().unwrap();
    assert_eq!(gaps.len(), 1, "{gaps:?}");
    assert_eq!(gaps[0]["station"], "A1");
    assert_eq!(date(&gaps[0]["from"]), day("2026-05-18"));
    assert_eq!(date(&gaps[0]["to"]), day("2026-05-20"));
    assert_eq!(gaps[0]["days"], 3);
    assert!(reviewed().pages.contains("| A1 | 2026-05-18 | 2026-05-20 | 3 |"));
}

/// Days with product and no check load, from the rows as written. Days whose clock is not believed count
/// for neither.
#[test]
fn days_without_a_check_load_are_counted() {
    let review = reviewed();
    for (station, tests) in &review.factory.tests {
        let days = |check: bool| -> BTreeSet<NaiveDate> {
            tests
                .iter()
                .map(|t| (t.model == "CHECK", t.printed.date()))
                .filter(|(c, d)| *c == check && *d >= sample::first_day())
                .map(|(_, d)| d)
                .collect()
        };
        let truth = days(false).difference(&days(true)).count() as u64;
        let checks = review.results["checks"].as_array().unwrap();
        let found = checks.iter().find(|c| c["station"] == station.name()).unwrap();
        assert_eq!(found["days_without"].as_u64(), Some(truth), "{found}");
    }
}

/// Story 10.
#[test]
fn dehumidifier_follows_humidity_and_does_not_drift() {
    verdict_is(Model::Dh640, Kind::DcWithstand);
    not_flagged(Model::Dh640, Kind::DcWithstand);
    let drift = &of(Model::Dh640, Kind::DcWithstand)["drift"];
    assert!(["season", "steady"].contains(&drift["shape"].as_str().unwrap_or("none")), "{drift}");
    let explained = drift["explained"].as_array().unwrap();
    assert!(
        explained.iter().any(|x| x["what"] == "humidity" && number(&x["share"]["low"]) > 0.0),
        "{drift}"
    );
}

/// Passes that their own reading contradicts: released by hand.
#[test]
fn units_released_by_hand_are_listed() {
    let truth = keys(&reviewed().factory.truth.released_by_hand);
    let rows: BTreeSet<_> = listed("VC310", "against its reading").into_iter().map(key).collect();
    assert_eq!(rows, truth);
}

/// Outcomes of first attempts, from the rows as written; first attempts with a blank or placeholder serial
/// count each. Trips are counted for models whose failures are all in the truth's lists.
#[test]
fn under_limit_results_are_those_planted() {
    let truth = &reviewed().factory.truth;
    let outcomes = &of(Model::Ap730, Kind::AcWithstand)["outcomes"];
    assert_eq!(
        outcomes["under_limit"].as_u64(),
        Some(truth.open_lead_failures.len() as u64),
        "{outcomes}"
    );
}

/// Serials are printed as first written: retests typed by hand in lower case do not replace them.
#[test]
fn serials_are_printed_as_first_written() {
    let review = reviewed();
    let written: BTreeSet<&str> = review
        .factory
        .tests
        .values()
        .flatten()
        .map(|t| t.serial.as_str())
        .filter(|s| s.contains('-'))
        .collect();
    assert!(!review.units.is_empty());
    let typed: Vec<&str> = review
        .units
        .iter()
        .map(|row| row["serial"].as_str())
        .filter(|s| !s.is_empty() && *s != "0000" && !written.contains(s))
        .collect();
    assert!(typed.is_empty(), "{} serials, for example {:?}", typed.len(), typed.first());
}

/// What a tripped test shows has no meaning: no trip is listed as a unit that passed.
#[test]
fn no_trip_is_listed_as_a_pass() {
    let review = reviewed();
    let mut passes: BTreeSet<(String, String)> = BTreeSet::new();
    for test in review.factory.tests.values().flatten() {
        if test.outcome == sample::Outcome::Pass && matches!(test.shown, Shown::Value(_)) {
            passes.insert((
                plain(&test.serial),
                test.printed.format("%Y-%m-%d %H:%M:%S").to_string(),
            ));
        }
    }
    let mut seen = 0;
    for series in review.results["series"].as_array().unwrap() {
        for stray in series["strays"]["units"].as_array().unwrap() {
            let key = (
                plain(stray["serial"].as_str().unwrap()),
                stray["tested_at"].as_str().unwrap().to_owned(),
            );
            assert!(passes.contains(&key), "{stray}");
            seen += 1;
        }
    }
    assert!(seen >= 23 + 3 + 4, "{seen} strays");
}

/// A model of a few units in which two had no lead: no body can be described, and the two are listed all the same;
/// units of a model that reads little are not.
#[test]
fn an_open_lead_among_too_few_units_for_a_body_is_listed() {
    let dir = folder();
    let mut text = "tested_at,model,serial,station,applied_v,frequency_hz,reading_ma,high_limit_ma,low_limit_ma,outcome\n".to_owned();
    let mut row = |n: usize, model: &str, ma: f64, low: &str, outcome: &str| {
        let (day, minute) = (1 + n / 10, n % 60);
        text += &format!(
            "2026-03-{day:02} 08:{minute:02}:00,{model},{model}-{n},S1,1000,50,{ma:.3},3.000,{low},{outcome}\n"
        );
    };
    // What the station shows without a unit: 0.060 mA, from units that its low limit stopped.
    for n in 0..60 {
        row(n, "KB1", 0.95 + (n * 7 % 20) as f64 / 200.0, "0.400", "pass");
    }
    for n in 60..64 {
        row(n, "KB1", 0.060, "0.400", "under limit");
    }
    for n in 0..18 {
        let ma = if n == 5 || n == 11 { 0.062 } else { 0.40 + (n * 7 % 18) as f64 / 200.0 };
        row(n, "FEW", ma, "", "pass");
        row(n, "LOW", 0.068 + (n * 7 % 18) as f64 / 1000.0, "", "pass");
        row(n, "WIDE", 0.060 + (n * 7 % 18) as f64 / 100.0, "", "pass");
    }
    put(dir.path(), "t.csv", text);
    run_in(dir.path(), ["review", "t.csv", "--out", "out"]).expect(0);
    let units =
        csv_rows(&std::fs::read_to_string(dir.path().join("out/units-to-check.csv")).unwrap());
    let open = units.iter().filter(|u| u["reason"].contains("open lead"));
    let serials: BTreeSet<&str> = open.map(|u| u["serial"].as_str()).collect();
    assert_eq!(serials, BTreeSet::from(["FEW-5", "FEW-11"]));
    let found = results(&dir.path().join("out"));
    assert!(series(&found, "FEW", "ac_withstand")["distribution"].is_null(), "too few for a body");
}
