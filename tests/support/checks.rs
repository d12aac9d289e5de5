//! The published cases: one JSON file each in tests/data/checks, with its source.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Index;

use serde_json::Value;

use super::run::committed;

/// A case, which sees to it that each of its numbers is compared: a test that forgets one fails.
pub struct Case {
    name: String,
    value: Value,
    /// Names of the numbers that no test has compared yet.
    open: RefCell<BTreeSet<String>>,
}

impl Case {
    /// Says that the number `key` is not compared, since `_why`.
    #[track_caller]
    pub fn leave_out(&self, key: &str, _why: &str) {
        let was_open = self.open.borrow_mut().remove(key);
        assert!(was_open, "{}: no number {key} left to compare", self.name);
    }

    /// The number `key` as printed in the source, or where it prints none the full-precision one; the
    /// test compares it itself.
    #[track_caller]
    pub fn wanted(&self, key: &str) -> f64 {
        self.open.borrow_mut().remove(key);
        ["expected", "recomputed"]
            .iter()
            .find_map(|side| self.value[side][key].as_f64())
            .unwrap_or_else(|| panic!("{}: no number named {key}", self.name))
    }
}

impl Index<&str> for Case {
    type Output = Value;

    fn index(&self, key: &str) -> &Value {
        &self.value[key]
    }
}

impl Drop for Case {
    fn drop(&mut self) {
        let open = self.open.borrow();
        assert!(
            open.is_empty() || std::thread::panicking(),
            "{}: never compared: {open:?}",
            self.name
        );
    }
}

fn read(file: &str) -> String {
    let path = committed("tests/data/checks").join(file);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{file}: {e}"))
}

/// The whole case `name`.
pub fn load(name: &str) -> Case {
    let value: Value = serde_json::from_str(&read(&format!("{name}.json")))
        .unwrap_or_else(|e| panic!("{name}: {e}"));
    let open = ["expected", "recomputed"]
        .iter()
        .filter_map(|side| value[side].as_object())
        .flatten()
        .filter(|(_, number)| number.is_number() || number.is_array())
        .map(|(key, _)| key.clone())
        .collect();
    Case { name: name.to_owned(), value, open: RefCell::new(open) }
}

/// The companion CSV of the case `name`, as text.
pub fn csv(name: &str) -> String {
    read(&format!("{name}.csv"))
}

/// A column of numbers of a companion CSV, by its place from 0; the first line is a heading.
pub fn column(name: &str, place: usize) -> Vec<f64> {
    let number = |line: &str| -> f64 {
        let cell = line.split(',').nth(place).expect("a cell");
        cell.trim().parse().expect("a number")
    };
    csv(name).lines().skip(1).map(number).collect()
}

/// A list of numbers.
pub fn numbers(value: &Value) -> Vec<f64> {
    let list = value.as_array().expect("a list");
    list.iter().map(|x| x.as_f64().expect("a number")).collect()
}

/// How far from `want` the case lets the number `key` of this side be.
fn allowed(case: &Case, side: &str, key: &str, want: f64) -> f64 {
    let tolerance = &case["tolerance"][side];
    let pick = |kind: &str| {
        tolerance["by_name"][key][kind].as_f64().or_else(|| tolerance[kind].as_f64()).unwrap_or(0.0)
    };
    pick("abs") + pick("rel") * want.abs()
}

/// Compares `got` with the case's printed value `key`, and with the full-precision value where the
/// case has one, each within the tolerance the case states.
#[track_caller]
pub fn assert_case(case: &Case, key: &str, got: f64) {
    let mut compared = false;
    for side in ["expected", "recomputed"] {
        if let Some(want) = case[side][key].as_f64() {
            let allowed = allowed(case, side, key, want);
            assert!(
                (got - want).abs() <= allowed,
                "{}, {key} ({side}): got {got}, want {want}, allowed {allowed:e}",
                case.name
            );
            compared = true;
        }
    }
    assert!(compared, "{}: no number named {key}", case.name);
    case.open.borrow_mut().remove(key);
}

/// Compares a list of numbers, each as [`assert_case`] does.
#[track_caller]
pub fn assert_case_list(case: &Case, key: &str, got: &[f64]) {
    let mut compared = false;
    for side in ["expected", "recomputed"] {
        if case[side][key].is_array() {
            let wanted = numbers(&case[side][key]);
            assert_eq!(got.len(), wanted.len(), "{}, {key} ({side})", case.name);
            for (i, (got, want)) in got.iter().zip(wanted).enumerate() {
                let allowed = allowed(case, side, key, want);
                assert!(
                    (got - want).abs() <= allowed,
                    "{}, {key}[{i}] ({side}): got {got}, want {want}, allowed {allowed:e}",
                    case.name
                );
            }
            compared = true;
        }
    }
    assert!(compared, "{}: no list named {key}", case.name);
    case.open.borrow_mut().remove(key);
}
