//! The words of a report, each in one sense: on the page that tells the method, and in the folder's `README.md`.
//!
//! Twenty-five at most: more is not read. A word that the trade uses in its own sense is not here.

use std::fmt::Write;

use super::{header, row};

/// A word and what it means wherever a report uses it.
pub struct Word {
    /// The word, or a few that belong together.
    pub word: &'static str,
    /// What it means.
    pub meaning: &'static str,
}

const fn word(word: &'static str, meaning: &'static str) -> Word {
    Word { word, meaning }
}

/// The words, those about single units first.
pub const GLOSSARY: [Word; 25] = [
    word("unit", "one serial in one series, counted once, by its first test that was completed"),
    word(
        "pass",
        "the result of a test that ended under the high limit and over the low one; said of units and of check loads, of nothing else",
    ),
    word(
        "failed",
        "over limit, under limit, breakdown or arc (or of no known class) in that first test",
    ),
    word(
        "not completed",
        "a first test that was stopped: neither pass nor failed, and counted apart from units",
    ),
    word("retest", "any later test of a unit: set aside, and studied by itself"),
    word(
        "series",
        "all readings that may be compared: one model, kind of test, test point, place in the sequence, current and voltage",
    ),
    word("period judged", "the time that verdicts rest on"),
    word(
        "judged",
        "units of the period judged with a reading; one whose first test was not completed is judged by its next, one that broke down has none",
    ),
    word(
        "counted apart",
        "units of a lot whose failures stand out: in no number about healthy units",
    ),
    word(
        "healthy units, healthy body",
        "units that belong together, and the distribution of their readings",
    ),
    word("stray", "a reading that does not belong with the healthy body"),
    word(
        "apart, together",
        "the two answers about the highest readings: strays kept out, or every reading taken as healthy",
    ),
    word(
        "typical reading",
        "what half of the healthy units stay under (the median), as the middle station shows it; of another station, that station is named",
    ),
    word("room", "the distance from the typical reading to the limit in force"),
    word(
        "workable band",
        "limits from what healthy units need up to what the smallest harmful leak path allows",
    ),
    word(
        "not proven",
        "an upper end of the band that only a rule of thumb sets, as no leak path is stated",
    ),
    word(
        "guard band",
        "what is kept free for the instrument's error: 1.5 % of the reading and 2 reading steps, unless the settings say otherwise",
    ),
    word(
        "blind spot",
        "the largest steady leak, as the lowest resistance, with which a unit still passes, at the station that reads least",
    ),
    word(
        "step",
        "a change of level from one day to the next; a reading step is the smallest difference the instrument shows, a limit step what limits are set in",
    ),
    word("group", "one of two kinds of healthy units of a series that read differently"),
    word("since", "from that day on, up to the last day unless an end is given"),
    word(
        "expected, seen over the limit",
        "the share of healthy units that the body puts over the limit in force; the units of the period that were over it",
    ),
    word(
        "interval, bound",
        "an interval has two sides and holds with its level; a bound is one-sided and holds with the same level by itself, so it lies inside that interval",
    ),
    word(
        "ppm",
        "units in a million; a share below one in a hundred times the units is said to be below that, and not printed",
    ),
    word(
        "C_pkU, P_pkU",
        "how many times the distance from the typical reading to what 99.865 % stay under goes into the room: capability of a steady series, performance of another; with L against the low limit",
    ),
];

/// Writes the words as a table.
pub(super) fn table(page: &mut String) {
    header(page, &["word", "means"]);
    for w in &GLOSSARY {
        row(page, &[w.word, w.meaning]);
    }
    line!(page);
}
