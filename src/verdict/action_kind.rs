//! Kinds of action: what the table of actions is ordered by.

use serde::{Serialize, Serializer};

/// Kinds of action, worst first: their order is the order of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "each is described at the concern of the same name")]
pub enum ActionKind {
    /// Files that are probably misread: nothing of them is judged.
    ProbablyMisread,
    /// A limit above the stated ceiling, or one that can never trip.
    UnsafeLimit,
    /// Units passed while no lead was connected.
    PassedOpenLead,
    /// Strays above that passed: suspect insulation.
    StraysPassed,
    /// Passes whose reading lies above the limit in force.
    PassedAgainstReading,
    /// A check load that must trip passed, or the other way round.
    WrongCheckLoad,
    /// A check load that passed at a reading far from its usual one.
    OddCheckReading,
    /// Earlier passes that would have failed at the corrected reading.
    PassesInDoubt,
    /// Units whose last test is no pass.
    NeverPassed,
    /// Failures jumped.
    Jump,
    /// A limit that passes harmful leaks.
    TooLoose,
    /// No limit works.
    NoWorkableBand,
    /// An unconnected lead would pass.
    OpenLeadWouldPass,
    /// The product drifts toward the limit, or moved.
    Drift,
    /// A tester moved.
    TesterMoved,
    /// A station reads differently from the others on every model.
    StationDiffers,
    /// A limit that rejects healthy units.
    TooTight,
    /// A low limit that rejects healthy units.
    LowLimitTooHigh,
    /// No leak path is stated, so upper ends of bands are not proven.
    LeakPathNotStated,
    /// Units tested again until they passed.
    RetestedUntilPass,
    /// Voltage, dwell or limit differ from what they should be.
    SettingsDiffer,
    /// Too good to be true: frozen display, no failure where others see several.
    TooGood,
    /// Tests made while the calibration was overdue.
    CalibrationOverdue,
    /// Production days without a check load.
    ChecksMissing,
    /// Days without rows where some were expected.
    MissingDays,
    /// The data do not decide.
    NotEnoughData,
    /// No limit known.
    NoLimitKnown,
}

impl ActionKind {
    /// What the record lacks, in a few words; `None` of other kinds.
    #[must_use]
    pub fn of_the_record(self) -> Option<&'static str> {
        Some(match self {
            Self::SettingsDiffer => "settings changed, differ or fall short",
            Self::CalibrationOverdue => "calibration overdue",
            Self::ChecksMissing => "days without a check load",
            Self::MissingDays => "days without rows",
            _ => return None,
        })
    }

    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::ProbablyMisread => "probably_misread",
            Self::UnsafeLimit => "unsafe_limit",
            Self::PassedOpenLead => "passed_open_lead",
            Self::StraysPassed => "strays_passed",
            Self::PassedAgainstReading => "passed_against_reading",
            Self::WrongCheckLoad => "wrong_check_load",
            Self::OddCheckReading => "odd_check_reading",
            Self::PassesInDoubt => "passes_in_doubt",
            Self::NeverPassed => "never_passed",
            Self::Jump => "jump",
            Self::TooLoose => "too_loose",
            Self::NoWorkableBand => "no_workable_band",
            Self::OpenLeadWouldPass => "open_lead_would_pass",
            Self::Drift => "drift",
            Self::TesterMoved => "tester_moved",
            Self::StationDiffers => "station_differs",
            Self::TooTight => "too_tight",
            Self::LowLimitTooHigh => "low_limit_too_high",
            Self::LeakPathNotStated => "leak_path_not_stated",
            Self::RetestedUntilPass => "retested_until_pass",
            Self::SettingsDiffer => "settings_differ",
            Self::TooGood => "too_good",
            Self::CalibrationOverdue => "calibration_overdue",
            Self::ChecksMissing => "checks_missing",
            Self::MissingDays => "missing_days",
            Self::NotEnoughData => "not_enough_data",
            Self::NoLimitKnown => "no_limit_known",
        }
    }
}

impl Serialize for ActionKind {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.key())
    }
}
