//! One test per defect that was once real, named after it.

use leakdrift::config::Config;

use crate::support::count::counted;
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
    let (_, pass) = counted(&[file], &Config::default());
    assert_eq!((pass.ledger.read, pass.ledger.used), (1, 1));
    let tally = &pass.series[0].tally;
    assert_eq!(tally.len(), 1);
    assert_eq!(tally[0].value_pa, 412_000_000, "0.412 mA is 412 000 000 pA");
}

/// Found by fuzzing: 4 MB of a packed file held 11 million short rows, and each kept its own copy of what was
/// wrong with it: 1.9 GB. What a row costs must not depend on the words said of it.
#[test]
fn what_is_wrong_with_a_million_rows_is_kept_once() {
    let mut text = "date,model,leakage mA,result\n2026-02-13,M1,0.412,pass\n".to_owned();
    text += &"9,9\n".repeat(1_000_000);
    let dir = folder();
    let file = put(dir.path(), "t.csv", text);
    let (_, pass) = counted(&[file], &Config::default());
    assert_eq!((pass.ledger.used, pass.ledger.unreadable), (1, 1_000_000));
    let copies: std::collections::BTreeSet<*const u8> = pass
        .unreadable
        .iter()
        .flat_map(|u| [u.column.as_ptr(), u.expected.as_ptr(), u.found.as_ptr()])
        .collect();
    // Three texts for each piece of 4 MiB read: here at most two.
    assert!(copies.len() <= 6, "{} copies", copies.len());
    assert!(std::mem::size_of_val(&pass.unreadable[0]) <= 56);
}
