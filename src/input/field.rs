//! The canonical columns: what a header may name, and what a row may say.
//!
//! A file of its own, since both the config's words for headers and the trade's end here.

use crate::records::Quantity;

/// A canonical column (design section 3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[expect(missing_docs, reason = "each is the canonical column of that name")]
pub enum Field {
    TestedAt,
    Date,
    Time,
    Model,
    Reading,
    Outcome,
    Reason,
    HighLimit,
    LowLimit,
    Serial,
    Station,
    Fixture,
    Instrument,
    Lot,
    Operator,
    Shift,
    Remark,
    Test,
    TestPoint,
    Step,
    Current,
    AppliedV,
    Frequency,
    Dwell,
    Ramp,
    MeasuredV,
    Stage,
    UnitsTogether,
    Temperature,
    Humidity,
    Count,
    ReadingStep,
    TallyPart,
    Plant,
}

impl Field {
    /// How many there are.
    pub const COUNT: usize = 34;

    /// Every field with its canonical name.
    pub const ALL: [(Self, &'static str); Self::COUNT] = [
        (Self::TestedAt, "tested_at"),
        (Self::Date, "date"),
        (Self::Time, "time"),
        (Self::Model, "model"),
        (Self::Reading, "reading_ma"),
        (Self::Outcome, "outcome"),
        (Self::Reason, "reason"),
        (Self::HighLimit, "high_limit_ma"),
        (Self::LowLimit, "low_limit_ma"),
        (Self::Serial, "serial"),
        (Self::Station, "station"),
        (Self::Fixture, "fixture"),
        (Self::Instrument, "instrument"),
        (Self::Lot, "lot"),
        (Self::Operator, "operator"),
        (Self::Shift, "shift"),
        (Self::Remark, "remark"),
        (Self::Test, "test"),
        (Self::TestPoint, "test_point"),
        (Self::Step, "step"),
        (Self::Current, "current"),
        (Self::AppliedV, "applied_v"),
        (Self::Frequency, "frequency_hz"),
        (Self::Dwell, "dwell_s"),
        (Self::Ramp, "ramp_s"),
        (Self::MeasuredV, "measured_v"),
        (Self::Stage, "stage"),
        (Self::UnitsTogether, "units_together"),
        (Self::Temperature, "temperature_c"),
        (Self::Humidity, "humidity_pct"),
        (Self::Count, "count"),
        (Self::ReadingStep, "reading_step_ma"),
        (Self::TallyPart, "tally_part"),
        (Self::Plant, "plant"),
    ];

    /// Its place in an array over all fields.
    #[must_use]
    pub fn index(self) -> usize {
        self as usize
    }

    /// Its canonical name.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::ALL[self.index()].1
    }

    /// What it holds, for whoever looks for the column that a header names.
    #[must_use]
    pub fn meaning(self) -> &'static str {
        match self {
            Self::TestedAt => "date and time of the test, as exported; needed, or date",
            Self::Date => "its date, where date and time are two columns",
            Self::Time => "its time of day, beside date",
            Self::Model => "model of the unit under test; needed",
            Self::Reading => {
                "leakage current at the end of the test; this or the outcome is needed"
            }
            Self::Outcome => "pass, fail, over limit, under limit, breakdown, arc or not completed",
            Self::Reason => "why it failed, where result and reason are two columns",
            Self::HighLimit => "high limit in force; without it there is no verdict",
            Self::LowLimit => "low limit in force",
            Self::Serial => "serial of the unit: tells retests from first attempts",
            Self::Station => "test station: tells a moving tester from a moving product",
            Self::Fixture => "fixture or adapter",
            Self::Instrument => "tester by its own number",
            Self::Lot => "lot of the product or of a part",
            Self::Operator => "who tested",
            Self::Shift => "shift",
            Self::Remark => "remark; words in it may mark a fault-locating run",
            Self::Test => {
                "kind of test: ac withstand, dc withstand or leakage; others are set aside"
            }
            Self::TestPoint => "where the voltage was applied",
            Self::Step => "step of a sequence of tests",
            Self::Current => "kind of current: total or in phase",
            Self::AppliedV => "test voltage as set",
            Self::Frequency => "frequency of the test voltage",
            Self::Dwell => "time at full voltage, as set",
            Self::Ramp => "time of the rise, as set",
            Self::MeasuredV => "test voltage as read back",
            Self::Stage => "where the test ended: ramp or dwell",
            Self::UnitsTogether => "units tested together on one tester",
            Self::Temperature => "temperature of the room",
            Self::Humidity => "relative humidity of the room",
            Self::Count => "units that a row stands for, in a saved tally",
            Self::ReadingStep => "smallest difference that the tester shows",
            Self::Plant => {
                "plant: the same model at two of them is judged apart and set side by side"
            }
            Self::TallyPart => "what a line of a saved tally counts for, where not for all",
        }
    }

    /// The field of a canonical name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().find(|(_, n)| *n == name).map(|(f, _)| *f)
    }

    /// The field of a name in the settings, and the unit that it states: a canonical name, or one with another
    /// unit behind it (`reading_ua`, `applied_kv`).
    #[must_use]
    pub fn with_unit(name: &str) -> Option<(Self, Option<Quantity>)> {
        if let Some(field) = Self::from_name(name) {
            return Some((field, field.quantity()));
        }
        let (stem, unit) = name.rsplit_once('_')?;
        let unit = Quantity::from_unit(unit)?;
        Self::ALL.iter().find_map(|(field, own)| {
            let same = own.rsplit_once('_').is_some_and(|(s, _)| s == stem)
                && field.quantity().is_some_and(|q| q.same_kind(unit));
            same.then_some((*field, Some(unit)))
        })
    }

    /// What its numbers measure, in the unit of its canonical name; `None` for text and counts.
    #[must_use]
    pub fn quantity(self) -> Option<Quantity> {
        Some(match self {
            Self::Reading | Self::HighLimit | Self::LowLimit | Self::ReadingStep => {
                Quantity::Current(-3)
            }
            Self::AppliedV | Self::MeasuredV => Quantity::Voltage(0),
            Self::Frequency => Quantity::Frequency(0),
            Self::Dwell | Self::Ramp => Quantity::Time(0),
            Self::Temperature => Quantity::Celsius,
            Self::Humidity => Quantity::Percent,
            _ => return None,
        })
    }
}

/// What the settings call a column that is not used, whatever its header and values look like.
pub const IGNORED: &str = "ignored";

/// Every canonical column with its unit and meaning, a line each.
#[must_use]
pub fn reference() -> String {
    let mut page = String::from(
        "# What a column may be called: in the files themselves, or behind the sign = under [columns] of\n\
         # leakdrift.toml, where a line \"HEADER AS EXPORTED\" = \"reading_ma\" maps a header that is not recognised.\n\
         # A unit in a header (Strom [µA]) or behind a value counts; else numbers are in the unit of the name.\n\
         # Of a file without a header, columns are called by their places: \"column 1\" = \"tested_at\".\n\n",
    );
    for (field, name) in Field::ALL {
        page += &format!("{name:<16} {}\n", field.meaning());
    }
    page +=
        &format!("{IGNORED:<16} none of these: a column that is not used, under [columns] alone\n");
    page
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_stands_at_its_own_index() {
        for (n, (field, name)) in Field::ALL.iter().enumerate() {
            assert_eq!(field.index(), n);
            assert_eq!(Field::from_name(name), Some(*field));
        }
    }
}
