//! How a unit is tested again is said in one phrase, wherever a re-test is asked for.

use leakdrift::verdict::cautions::{CAUTIONS, HOW_TO_RE_TEST, re_test};

use crate::support::run::{committed, pages};
use crate::support::source::sources;

/// Words that ask somebody to test a unit again.
const ASKS: [&str; 7] = [
    "e-test ",
    "e-tests ",
    "e-test.",
    "e-tested",
    "est them again",
    "est again",
    "nits again at another",
];

/// Every sentence of the source that asks goes through the one function that adds the phrase.
#[test]
fn every_sentence_that_asks_for_a_re_test_is_made_by_one_function() {
    let mut asked = 0;
    for (path, source) in sources() {
        if path == "verdict/cautions.rs" || path.starts_with("sample/") {
            continue;
        }
        for words in ASKS {
            for (at, _) in source.code.match_indices(words) {
                // The quote that the words stand in, and what calls it.
                let begin = source.code[..at].rfind('"').unwrap_or(0);
                let quoted = source.bare[begin..at].trim().is_empty();
                if !quoted {
                    continue;
                }
                let before = source.code[..begin].trim_end();
                let made =
                    ["re_test(", "re_test(&format!("].iter().any(|call| before.ends_with(call));
                assert!(made, "{path}: {}", &source.code[begin..(at + 60).min(source.code.len())]);
                asked += 1;
            }
        }
    }
    assert!(asked >= 10, "{asked} sentences: is the law still looking at them?");
}

/// Nobody reads half of it: the line that asks is the line that says how.
#[test]
fn every_line_of_the_report_that_asks_for_a_re_test_says_how() {
    let page = pages(&committed("reports/sample"));
    let asking: Vec<&str> =
        page.lines().filter(|l| ASKS.iter().any(|words| l.contains(words))).collect();
    assert!(asking.len() >= 5, "{asking:?}");
    for line in asking {
        assert!(line.contains(HOW_TO_RE_TEST), "{line}");
    }
    assert!(CAUTIONS.iter().any(|c| c.contains("suspect") && c.contains(HOW_TO_RE_TEST)));
    assert_eq!(re_test("Do it."), format!("Do it. A re-test: {HOW_TO_RE_TEST}."));
}

/// Units that were tested too often are not asked to be tested once more.
#[test]
fn the_next_step_for_units_tested_too_often_is_no_further_test() {
    let page = std::fs::read_to_string(committed("reports/sample/incidents.md")).unwrap();
    let is_part = |l: &&str| l.starts_with("- ") && l.contains("tested again more often than");
    let part = page.lines().find(is_part).expect("the part");
    let at = page.find("tested again more often than").expect("the incident");
    let next = page[at..].lines().find(|l| l.starts_with("**Next:**")).expect("its next step");
    for step in [part, next] {
        assert!(step.contains("No further test of these units"), "{step}");
        assert!(!step.contains(HOW_TO_RE_TEST) && !step.contains("e-test"), "{step}");
    }
}
