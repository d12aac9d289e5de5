//! Incidents of the demonstration factory, against its truth: everything that one cause did is one row.

use std::collections::{BTreeMap, BTreeSet};

use leakdrift::day::day_number;
use serde_json::Value;

use crate::support::days::day;
use crate::support::run::{date, reviewed};

fn incidents() -> &'static Vec<Value> {
    reviewed().results["incidents"].as_array().unwrap()
}

/// Kinds of the actions of an incident.
fn kinds(incident: &Value) -> BTreeSet<&'static str> {
    let actions = reviewed().results["actions"].as_array().unwrap();
    let ranks = incident["actions"].as_array().unwrap();
    let of = |rank: &Value| actions.iter().find(|a| a["rank"] == *rank).unwrap();
    ranks.iter().map(|rank| of(rank)["kind"].as_str().unwrap()).collect()
}

/// The one incident at a place that holds an action of a kind.
#[track_caller]
fn incident(place: &str, kind: &str) -> &'static Value {
    let at = |i: &&Value| i["where"].as_array().unwrap().iter().any(|w| w == place);
    let found: Vec<&Value> =
        incidents().iter().filter(at).filter(|i| kinds(i).contains(kind)).collect();
    assert_eq!(found.len(), 1, "{place} {kind}: {found:?}");
    found[0]
}

fn what(incident: &Value) -> &str {
    incident["what"].as_str().unwrap()
}

/// Rows of `units-to-check.csv` that name the incident, by reason.
fn listed(incident: &Value) -> BTreeMap<&'static str, u64> {
    let mut found = BTreeMap::new();
    for row in
        reviewed().units.iter().filter(|r| r["incident"] == *incident["id"].as_str().unwrap())
    {
        *found.entry(row["reason"].as_str()).or_default() += 1;
    }
    found
}

#[test]
fn every_action_is_part_of_exactly_one_incident() {
    let actions = reviewed().results["actions"].as_array().unwrap();
    assert!(actions.len() > 20, "{}", actions.len());
    let mut ranks: Vec<u64> = incidents()
        .iter()
        .flat_map(|i| i["actions"].as_array().unwrap())
        .map(|rank| rank.as_u64().unwrap())
        .collect();
    ranks.sort_unstable();
    assert_eq!(ranks, (1..=actions.len() as u64).collect::<Vec<_>>());
}

#[test]
fn ids_of_incidents_are_their_own() {
    let ids: BTreeSet<&str> = incidents().iter().map(|i| i["id"].as_str().unwrap()).collect();
    assert_eq!(ids.len(), incidents().len());
    for row in &reviewed().units {
        let id = row["incident"].as_str();
        assert!(id.is_empty() || ids.contains(id), "{row:?}");
    }
}

#[test]
fn groups_come_in_their_order_and_the_worst_first() {
    let order = ["units_to_trace", "limits_to_decide", "to_watch", "record_to_put_right"];
    let groups: Vec<usize> =
        incidents().iter().map(|i| order.iter().position(|g| i["group"] == *g).unwrap()).collect();
    assert!(groups.is_sorted(), "{groups:?}");
    for (n, group) in order.iter().enumerate() {
        let of_group = incidents().iter().zip(&groups).filter(|(_, g)| **g == n);
        let first = of_group.map(|(i, _)| i["actions"][0].as_u64().unwrap());
        assert!(first.collect::<Vec<_>>().is_sorted(), "group {group}");
    }
}

#[test]
fn the_open_return_lead_of_b2_is_one_incident() {
    let found = incident("B2", "wrong_check_load");
    assert_eq!(found["group"], "units_to_trace");
    assert!(date(&found["from"]) <= day("2026-04-22") && day("2026-04-22") <= date(&found["to"]));
    assert!(what(found).contains("2026-04-22") && what(found).contains("11 in a row"), "{found}");
    let checks = reviewed().results["checks"].as_array().unwrap();
    let wrong = &checks.iter().find(|c| c["station"] == "B2").unwrap()["wrong"][0];
    let units = wrong["units_since_last_good"].as_u64().unwrap();
    let reasons = listed(found);
    assert_eq!(reasons["passed before a wrong check load, after the last good one"], units);
    // 11 planted in a row, all at B2 on that day.
    let in_a_row = reviewed().factory.truth.open_lead_passes.iter();
    let of_the_day =
        in_a_row.filter(|p| p.station == "B2" && p.tested_at.date() == day("2026-04-22"));
    assert_eq!(of_the_day.count(), 11);
}

#[test]
fn the_limits_of_the_air_purifier_are_one_incident() {
    let truth = &reviewed().factory.truth;
    let found = incident("AP730", "too_loose");
    let want = [
        "open_lead_would_pass",
        "passed_open_lead",
        "settings_differ",
        "strays_passed",
        "too_loose",
    ];
    assert_eq!(kinds(found), BTreeSet::from(want));
    let let_through = truth.open_lead_passes.len() + truth.leak_path_passes.len();
    assert_eq!(found["units"], let_through);
    assert_eq!(listed(found).values().sum::<u64>(), let_through as u64);
    assert!(date(&found["from"]) <= day("2026-03-16"), "{found}");
    assert_eq!(found["open"], true, "the limit is still in force");
    assert!(what(found).contains("without a record"), "{found}");
}

#[test]
fn the_calibration_of_a2_is_one_incident() {
    let found = incident("A2", "passes_in_doubt");
    assert_eq!(kinds(found), BTreeSet::from(["jump", "passes_in_doubt"]));
    let said = what(found);
    for told in ["calibrated and adjusted", "its check load", "VC310"] {
        assert!(said.contains(told), "{told}: {said}");
    }
    let of_station: Vec<&Value> = incidents()
        .iter()
        .filter(|i| i["where"].as_array().unwrap().iter().any(|w| w == "A2"))
        .filter(|i| {
            kinds(i).iter().any(|k| ["jump", "tester_moved", "passes_in_doubt"].contains(k))
        })
        .collect();
    assert_eq!(of_station.len(), 1, "{of_station:?}");
    assert_eq!(listed(found).keys().count(), 1, "{:?}", listed(found));
}

#[test]
fn the_bad_lot_is_one_incident_and_has_ended() {
    let truth = &reviewed().factory.truth;
    let found = incident("EM520", "jump");
    assert_eq!(kinds(found), BTreeSet::from(["jump", "strays_passed"]));
    assert!(what(found).contains("lot HE-26-31") && what(found).contains("ended"), "{found}");
    assert_eq!(found["open"], false);
    let ended = day_number(date(&found["to"]));
    assert!((ended - day_number(day("2026-10-12"))).abs() <= 2, "{found}");
    let passed = truth.lot_healthy.len() + truth.lot_high_passes.len();
    assert_eq!(listed(found)["passed, of a lot whose failures stand out"], passed as u64);
}

#[test]
fn the_rise_of_the_kettle_stands_with_the_seal_of_the_day_before() {
    let found = incident("KB120", "drift");
    assert!(what(found).contains("new terminal seal, on 2025-12-01"), "{found}");
    assert_eq!(found["group"], "to_watch");
    assert_eq!((found["open"].as_bool(), found["units"].as_u64()), (Some(true), Some(0)));
}

/// Units that never passed have not left the house, as far as the files tell: the first line counts them apart, and a
/// unit that two incidents name once.
#[test]
fn the_first_line_counts_passed_units_to_trace_apart_from_those_that_never_passed() {
    let open: BTreeSet<&str> = incidents()
        .iter()
        .filter(|i| i["group"] == "units_to_trace" && i["decision"].is_null())
        .map(|i| i["id"].as_str().unwrap())
        .collect();
    let mut sides = [BTreeSet::new(), BTreeSet::new()];
    for row in reviewed().units.iter().filter(|r| open.contains(r["incident"].as_str())) {
        let place = if row["serial"].is_empty() { row["place"].as_str() } else { "" };
        let never = row["reason"] == "never passed";
        sides[usize::from(never)].insert((row["model"].as_str(), row["serial"].as_str(), place));
    }
    let [passed, never] = &sides;
    let passed = passed.difference(never).count();
    assert!(passed > 100 && never.len() > 100, "{passed} {}", never.len());
    let told = &reviewed().results["units_to_trace"];
    assert_eq!(told["passed"], passed);
    assert_eq!(told["never_passed"], never.len());
    let line =
        format!(", {passed} passed units to hold or trace ({} more never passed);", never.len());
    let summary = &reviewed().texts["summary.md"];
    assert!(summary.contains(&line), "{line}");
}
