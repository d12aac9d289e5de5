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
}

impl Field {
    /// How many there are.
    pub const COUNT: usize = 32;

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

    /// The field of a canonical name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().find(|(_, n)| *n == name).map(|(f, _)| *f)
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
