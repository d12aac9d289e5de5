//! The published cases: one JSON file each in tests/data/checks, with its source.

use serde_json::Value;

/// The whole case `name`, as parsed.
pub fn load(name: &str) -> Value {
    let path = format!(
        "{}/tests/data/checks/{name}.json",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// The companion CSV of the case `name`, as text.
pub fn csv(name: &str) -> String {
    let path = format!(
        "{}/tests/data/checks/{name}.csv",
        env!("CARGO_MANIFEST_DIR")
    );
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// Compares `got` with the case's printed value `key`, and with the full-precision value where the
/// case has one, each within the tolerance the case states.
#[track_caller]
pub fn assert_case(case: &Value, key: &str, got: f64) {
    let mut compared = 0;
    for side in ["expected", "recomputed"] {
        let Some(want) = case[side][key].as_f64() else {
            continue;
        };
        let tolerance = &case["tolerance"][side];
        let pick = |kind: &str| {
            tolerance["by_name"][key][kind]
                .as_f64()
                .or_else(|| tolerance[kind].as_f64())
                .unwrap_or(0.0)
        };
        let allowed = pick("abs") + pick("rel") * want.abs();
        assert!(
            (got - want).abs() <= allowed,
            "{key} ({side}): got {got}, want {want}, allowed {allowed:e}"
        );
        compared += 1;
    }
    assert!(compared > 0, "the case has no number named {key}");
}
