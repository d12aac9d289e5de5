//! The cautions that every report prints.

/// Cautions, in the order they are printed; each is one or more full sentences.
pub const CAUTIONS: [&str; 6] = [
    "High-voltage testing can kill: only trained people, guarded test areas, and the tester maker's and the \
     applicable standard's instructions.",
    "A report is evidence for a decision, not a certificate of compliance.",
    "Each further test at full voltage stresses sound insulation too: the standard says how often and at what \
     voltage a unit may be tested again.",
    "A low reading can be an open lead: it is no proof of good insulation.",
    "Local codes and licensed practice decide.",
    "Units listed as suspect must be re-tested before shipment.",
];

/// Printed with every proposed limit.
pub const WHO_DECIDES: &str =
    "The applicable safety standard and a competent person decide on the limit; this is advice.";
