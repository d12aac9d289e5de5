//! A saved tally stands for the files it was made from, and tallies add up.

use serde_json::Value;

use crate::support::run::{folder, results, run_in, sample_data, series};

/// Verdicts that the factory's description expects in its last month.
const EXPECTED: [(&str, &str, &str); 8] = [
    ("KB120", "ac_withstand", "moving"),
    ("FH205", "ac_withstand", "fits"),
    ("FH205", "leakage", "fits"),
    ("VC310", "ac_withstand", "too_tight"),
    ("SM415", "ac_withstand", "fits"),
    ("EM520", "ac_withstand", "fits"),
    ("DH640", "dc_withstand", "fits"),
    ("AP730", "ac_withstand", "too_loose"),
];

fn units_of(results: &Value) -> Vec<u64> {
    EXPECTED
        .iter()
        .map(|(model, test, _)| series(results, model, test)["units"].as_u64().unwrap())
        .collect()
}

/// The factor column and the air must go with a tally: without them SM415 would be called drifting and
/// DH640's season would have no cause. Two plants with equal lines have twice the units.
#[test]
fn a_saved_tally_is_judged_like_its_files_and_two_add_up() {
    let dir = folder();
    run_in(dir.path(), ["tally", &sample_data(), "--out", "north.parquet"]).expect(0);
    std::fs::copy(dir.path().join("north.parquet"), dir.path().join("south.parquet")).unwrap();
    let config = &format!("{}/leakdrift.toml", sample_data());
    let one = ["review", "north.parquet", "--config", config, "--out", "one"];
    run_in(dir.path(), one).expect(0);
    let both = ["review", "north.parquet", "south.parquet", "--config", config, "--out", "both"];
    run_in(dir.path(), both).expect(0);

    let one = results(&dir.path().join("one"));
    for (model, test, verdict) in EXPECTED {
        let found = series(&one, model, test);
        assert_eq!(found["verdict"]["verdict"], verdict, "{model}, {test}");
    }
    let mixed = series(&one, "SM415", "ac_withstand");
    assert_eq!(mixed["distribution"]["split_by"], "filter");
    assert_eq!(mixed["drift"]["flagged"], false);
    assert_eq!(series(&one, "DH640", "dc_withstand")["drift"]["shape"], "season");

    let twice: Vec<u64> = units_of(&one).iter().map(|n| 2 * n).collect();
    assert_eq!(units_of(&results(&dir.path().join("both"))), twice);
}
