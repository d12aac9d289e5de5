//! The cautions that every report prints.

/// In words that a constant can be made of.
macro_rules! how_to_re_test {
    () => {
        "once, at the voltage the standard gives for repeats, never of a unit that broke down before its repair"
    };
}

/// Cautions, in the order they are printed; each is one or more full sentences.
pub const CAUTIONS: [&str; 6] = [
    "High-voltage testing can kill: only trained people, guarded test areas, and the tester maker's and the \
     applicable standard's instructions.",
    "A report is evidence for a decision, not a certificate of compliance.",
    "Each further test at full voltage stresses sound insulation too: the standard says how often and at what \
     voltage a unit may be tested again.",
    "A low reading can be an open lead: it is no proof of good insulation.",
    "Local codes and licensed practice decide.",
    concat!(
        "Units listed as suspect must be re-tested before shipment. A re-test: ",
        how_to_re_test!(),
        "."
    ),
];

/// How a unit is tested again, if at all. Every sentence of the project that asks for a re-test says it in these
/// words, by [`re_test`]: whoever reads one line only has read this too.
pub const HOW_TO_RE_TEST: &str = how_to_re_test!();

/// A sentence that asks for re-tests, with the one way in which they are made.
#[must_use]
pub fn re_test(asked: &str) -> String {
    format!("{asked} A re-test: {HOW_TO_RE_TEST}.")
}

/// Printed with every proposed limit.
pub const WHO_DECIDES: &str =
    "The applicable safety standard and a competent person decide on the limit; this is advice.";

/// All of them, and who decides: as every page, folder and result file has them.
pub const ALL: [&str; CAUTIONS.len() + 1] = {
    let (mut all, mut n) = ([WHO_DECIDES; CAUTIONS.len() + 1], 0);
    while n < CAUTIONS.len() {
        all[n] = CAUTIONS[n];
        n += 1;
    }
    all
};
