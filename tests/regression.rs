//! One test per defect that was once real, named after it.

use leakdrift::config::Config;

use crate::support::run::{folder, put};

/// A column headed "Current" was taken for the kind of current (total or in phase), so that the table had
/// no reading and every row was refused.
#[test]
fn a_lone_column_called_current_holds_the_reading() {
    let dir = folder();
    let file = put(
        dir.path(),
        "t.csv",
        "Date,Model,Serial No,Current,High,Result\n2026-02-13,M1,U1,0.412 mA,5.00 mA,Pass\n",
    );
    let (read, pass) = leakdrift::pass(&[file], &Config::default(), &|_, _| {}).unwrap();
    let pass = pass.unwrap();
    assert!(read.failures.is_empty());
    assert_eq!((pass.ledger.read, pass.ledger.used), (1, 1));
    let tally = &pass.series[0].tally;
    assert_eq!(tally.len(), 1);
    assert_eq!(tally[0].value_pa, 412_000_000, "0.412 mA is 412 000 000 pA");
}
