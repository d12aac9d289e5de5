//! No row is lost: where every row of the demonstration factory went, against the factory's own ledger.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::support::run::reviewed;

#[test]
fn every_row_ends_where_the_factory_says() {
    let review = reviewed();
    let (rows, truth) = (&review.results["rows"], &review.factory.truth.ledger.total);
    assert_eq!(rows["read"].as_u64(), Some(truth.read), "read");
    assert_eq!(rows["unreadable"].as_u64(), Some(truth.unreadable), "unreadable");
    let aside: BTreeMap<&str, u64> = rows["set_aside"]
        .as_object()
        .unwrap()
        .iter()
        .map(|(reason, n)| (reason.as_str(), n.as_u64().unwrap()))
        .filter(|(_, n)| *n > 0)
        .collect();
    assert_eq!(aside, truth.set_aside);
    assert_eq!(rows["used"].as_u64(), Some(truth.used), "used");
}

#[test]
fn rows_read_are_used_set_aside_or_unreadable() {
    let rows = &reviewed().results["rows"];
    let aside: u64 =
        rows["set_aside"].as_object().unwrap().values().map(|n| n.as_u64().unwrap()).sum();
    let read = rows["read"].as_u64().unwrap();
    assert!(read > 0);
    assert_eq!(read, rows["used"].as_u64().unwrap() + aside + rows["unreadable"].as_u64().unwrap());
}

/// The page for people names the same numbers as the result file, each with its word: at its head and in its
/// account of the rows.
#[test]
fn the_summary_prints_the_counts_of_rows() {
    let review = reviewed();
    let rows = &review.results["rows"];
    let count = |n: &Value| grouped(n.as_u64().unwrap());
    let aside = rows["set_aside"].as_object().unwrap();
    let all_aside = grouped(aside.values().map(|n| n.as_u64().unwrap()).sum());
    let [read, used, unreadable] = ["read", "used", "unreadable"].map(|key| count(&rows[key]));
    let head =
        format!("; {read} rows read, {used} used, {all_aside} set aside, {unreadable} unreadable.");
    let account = format!(
        "{read} rows read = {used} used + {all_aside} set aside + {unreadable} unreadable. "
    );
    let mut lines = review.pages.lines();
    assert!(lines.clone().any(|l| l.ends_with(&head)), "no line ends with {head:?}");
    assert!(lines.any(|l| l.starts_with(&account)), "no line starts with {account:?}");
    for (reason, n) in aside {
        let line = format!("| set aside: {reason} | {} |", count(n));
        assert!(review.pages.lines().any(|l| l == line), "no line {line:?}");
    }
}

/// A count with a narrow space that does not break between groups of three digits.
fn grouped(n: u64) -> String {
    if n < 1000 {
        return n.to_string();
    }
    format!("{}\u{202f}{:03}", grouped(n / 1000), n % 1000)
}

#[test]
fn the_file_of_rows_not_used_has_a_line_for_each() {
    let review = reviewed();
    let truth = &review.factory.truth.ledger.total;
    let aside: u64 = truth.set_aside.values().sum();
    assert_eq!(review.not_used.len() as u64, aside + truth.unreadable);
    for (reason, n) in &truth.set_aside {
        let lines =
            review.not_used.iter().filter(|row| row.values().any(|cell| cell == reason)).count();
        assert_eq!(lines as u64, *n, "{reason}");
    }
}

/// The same by file: a row that cannot be used is listed under the file that holds it.
#[test]
fn rows_not_used_are_listed_under_their_file() {
    let review = reviewed();
    let mut listed: BTreeMap<String, u64> = BTreeMap::new();
    for row in &review.not_used {
        let file = row.get("file").expect("a column named file");
        let name: Vec<&str> = file.rsplit('/').take(2).collect();
        *listed.entry(format!("{}/{}", name[1], name[0])).or_default() += 1;
    }
    let truth: BTreeMap<String, u64> = review
        .factory
        .truth
        .ledger
        .files
        .iter()
        .map(|(name, c)| (name.clone(), c.set_aside.values().sum::<u64>() + c.unreadable))
        .filter(|(_, n)| *n > 0)
        .collect();
    // The second export of a month repeats the first; which of the two counts is read first by name, and
    // the name with `_2` sorts after the one without only where the ending is not compared.
    let twins = ["A2/a2-2026-02.csv", "A2/a2-2026-02_2.csv"];
    let apart = |of: &BTreeMap<String, u64>| -> (BTreeMap<String, u64>, u64) {
        let twin = twins.iter().filter_map(|t| of.get(*t)).sum();
        (
            of.iter()
                .filter(|(k, _)| !twins.contains(&k.as_str()))
                .map(|(k, v)| (k.clone(), *v))
                .collect(),
            twin,
        )
    };
    assert_eq!(apart(&listed), apart(&truth));
}

/// A row that cannot be read is listed with what was expected and what was found there.
#[test]
fn unreadable_rows_say_what_was_expected_and_found() {
    let review = reviewed();
    let unreadable: Vec<_> = review
        .not_used
        .iter()
        .filter(|row| row.values().any(|cell| cell == "unreadable"))
        .collect();
    assert_eq!(unreadable.len() as u64, review.factory.truth.ledger.total.unreadable);
    // The dirt that the factory plants at A1.
    for planted in ["#,##", "31.02.2026", "??"] {
        assert!(
            unreadable.iter().any(|row| row.values().any(|cell| cell.contains(planted))),
            "{planted} is not listed"
        );
    }
    assert!(unreadable.iter().all(|row| row.get("expected").is_some_and(|e| !e.is_empty())));
}
