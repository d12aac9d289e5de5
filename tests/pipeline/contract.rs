//! `results.json` keeps its contract: the JSON Schema in `tests/data`, draft 2020-12.

use boon::{Compiler, Draft, SchemaIndex, Schemas};
use serde_json::{Value, json};

use crate::support::days::day;
use crate::support::run::{committed, folder, put, results, reviewed, run_in, small_table};

fn schema() -> Value {
    let text = std::fs::read_to_string(committed("src/review/results.schema.json")).unwrap();
    serde_json::from_str(&text).unwrap()
}

/// The schema, ready to hold reports against.
struct Contract {
    schemas: Schemas,
    index: SchemaIndex,
}

impl Contract {
    fn new() -> Self {
        let mut compiler = Compiler::new();
        compiler.set_default_draft(Draft::V2020_12);
        // Else `format` says nothing: dates are dates.
        compiler.enable_format_assertions();
        let name = "results.schema.json";
        compiler.add_resource(name, schema()).unwrap();
        let mut schemas = Schemas::new();
        let index = compiler.compile(name, &mut schemas).unwrap_or_else(|e| panic!("{e:#}"));
        Self { schemas, index }
    }

    /// What breaks it, if anything.
    fn broken(&self, results: &Value) -> Option<String> {
        self.schemas.validate(results, self.index).err().map(|e| format!("{e:#}"))
    }

    #[track_caller]
    fn holds(&self, results: &Value) {
        if let Some(why) = self.broken(results) {
            panic!("{why}");
        }
    }
}

#[test]
fn reports_of_the_demonstration_factory_keep_the_contract() {
    let contract = Contract::new();
    contract.holds(&results(&committed("reports/sample")));
    contract.holds(&reviewed().results);
}

/// Little is known of a small plant: most answers are null there.
#[test]
fn the_report_of_a_small_plant_keeps_the_contract() {
    let dir = folder();
    let other_units = small_table(day("2026-09-01"), 3).replace(",M1,S", ",M1,R");
    put(dir.path(), "a/t.csv", other_units);
    put(dir.path(), "b/t.csv", small_table(day("2026-08-03"), 40));
    run_in(dir.path(), ["review", "b", "--out", "earlier", "--quiet"]).expect(0);
    let since = "earlier/results.json";
    run_in(dir.path(), ["review", "a", "b", "--out", "now", "--quiet", "--since-report", since])
        .expect(0);
    run_in(dir.path(), ["review", "a", "--out", "few", "--quiet"]).expect(0);
    let contract = Contract::new();
    for report in ["earlier", "now", "few"] {
        contract.holds(&results(&dir.path().join(report)));
    }
    assert!(!results(&dir.path().join("now"))["since_report"].is_null());
}

/// A contract that nothing breaks is none.
#[test]
fn every_breach_of_the_contract_is_seen() {
    let contract = Contract::new();
    let sound = results(&committed("reports/sample"));
    contract.holds(&sound);
    let renamed = |at: &str, from: &str, to: &str| {
        let mut now = sound.clone();
        let object = now.pointer_mut(at).unwrap().as_object_mut().unwrap();
        let value = object.remove(from).unwrap();
        object.insert(to.to_owned(), value);
        now
    };
    let set = |at: &str, value: Value| {
        let mut now = sound.clone();
        *now.pointer_mut(at).unwrap_or_else(|| panic!("{at}")) = value;
        now
    };
    let mut added = sound.clone();
    added["rows"]["skipped"] = json!(0);
    for (what, report) in [
        ("a key renamed", renamed("/series/0/verdict", "suggested_ma", "proposed_ma")),
        ("a top key renamed", renamed("", "movement", "movements")),
        ("a key nobody knows", added),
        ("a number as text", set("/series/0/limit/high_ma", json!("5.0"))),
        ("a count that is none", set("/rows/used", json!(1.5))),
        ("a count below zero", set("/series/0/outcomes/pass", json!(-1))),
        ("another word", set("/series/0/verdict/verdict", json!("too tight"))),
        ("another reason", set("/rows/set_aside", json!({"lost": 3}))),
        ("a date that is none", set("/from", json!("2026-02-30"))),
        ("an estimate without a value", set("/stations/0/offset_pct/value", json!(null))),
        ("a share over one", set("/jumps/0/p_value", json!(1.2))),
        ("nothing where something must be", set("/series/0/outcomes", json!(null))),
        ("another schema", set("/schema", json!("leakdrift.results/2"))),
    ] {
        assert!(contract.broken(&report).is_some(), "{what} is not seen");
    }
    let open_end = set("/series/0/distribution/x99_865_ma/high", json!(null));
    contract.holds(&open_end);
}

/// Every object that has named keys requires each of them and allows no other; so no key can be lost or added
/// without a line of the schema.
#[test]
fn the_schema_leaves_no_key_open() {
    fn look(at: &str, schema: &Value, seen: &mut usize) {
        if let Some(keys) = schema.get("properties").and_then(Value::as_object) {
            *seen += 1;
            assert_eq!(schema["additionalProperties"], json!(false), "{at}");
            let required = schema["required"].as_array().unwrap();
            assert!(required.iter().map(|k| k.as_str().unwrap()).eq(keys.keys()), "{at}");
        }
        for (key, inner) in schema.as_object().into_iter().flatten() {
            look(&format!("{at}/{key}"), inner, seen);
        }
        for inner in schema.as_array().into_iter().flatten() {
            look(at, inner, seen);
        }
    }
    let mut seen = 0;
    look("", &schema(), &mut seen);
    assert!(seen > 50, "{seen} objects");
}
