//! What needs action: one line each with its next step, worst first.

use serde::{Serialize, Serializer};

use crate::verdict::concern::{About, Concern};
use crate::words::count;

/// Kinds of action, worst first: their order is the order of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "each is described at the concern of the same name")]
pub enum ActionKind {
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
    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
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

/// One line of the table "what needs action".
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Action {
    /// 1 is the worst; no two lines share a rank.
    pub rank: usize,
    /// Its kind.
    pub kind: ActionKind,
    /// What tells it from others of its kind and subject: a day, an instrument; mostly empty.
    pub key: String,
    /// The series, model or station it is about.
    pub subject: String,
    /// What was found, a full sentence.
    pub sentence: String,
    /// What to do next, a full sentence.
    pub next_step: String,
}

/// The table: worst kind first; within a kind the nearer date or the larger number, then by subject.
#[must_use]
pub fn actions(concerns: &[About]) -> Vec<Action> {
    let mut lines: Vec<(Line, &About)> = concerns.iter().map(|a| (line(a), a)).collect();
    lines.sort_by(|(p, a), (q, b)| {
        (p.kind, p.before, &a.subject, &p.sentence).cmp(&(
            q.kind,
            q.before,
            &b.subject,
            &q.sentence,
        ))
    });
    lines
        .into_iter()
        .enumerate()
        .map(|(i, (line, about))| Action {
            rank: i + 1,
            kind: line.kind,
            subject: about.subject.clone(),
            key: key(&about.concern),
            sentence: line.sentence,
            next_step: line.next_step,
        })
        .collect()
}

/// What tells a concern from others of its kind and subject.
fn key(concern: &Concern) -> String {
    match concern {
        Concern::Tester(tester) => tester.key(),
        _ => String::new(),
    }
}

struct Line {
    kind: ActionKind,
    /// Smaller comes first among lines of one kind.
    before: i64,
    sentence: String,
    next_step: String,
}

fn line(about: &About) -> Line {
    use ActionKind as K;
    let make = |kind, before: i64, sentence: String, next_step: String| Line {
        kind,
        before,
        sentence,
        next_step,
    };
    let most = |n: u64| -i64::try_from(n).unwrap_or(i64::MAX);
    let units = |n: &u64, rest: &str| format!("{} {rest}", count(*n, "unit"));
    let set = |to: &Option<String>, otherwise: &str| {
        to.as_ref().map_or_else(
            || otherwise.to_owned(),
            |to| format!("Have a limit of {to} approved, set it and prove it with the loads named in the section."),
        )
    };
    match &about.concern {
        Concern::UnsafeLimit { sentence } => make(
            K::UnsafeLimit,
            0,
            sentence.clone(),
            "Correct the limit before the next unit is tested; decide on the units passed under it.".into(),
        ),
        Concern::PassedOpenLead { units: n } => make(
            K::PassedOpenLead,
            most(*n),
            units(n, "passed with no lead connected: untested."),
            "Hold and test the units listed in units-to-check.csv; set a low limit above the open-lead reading.".into(),
        ),
        Concern::StraysPassed { units: n } => make(
            K::StraysPassed,
            most(*n),
            units(n, "passed with a reading that does not belong with the healthy units: suspect insulation."),
            "Hold and re-test the units listed in units-to-check.csv.".into(),
        ),
        Concern::PassedAgainstReading { units: n } => make(
            K::PassedAgainstReading,
            most(*n),
            format!("{} passed although the reading contradicts it.", count(*n, "test")),
            "Find out who released them and why; re-test the units.".into(),
        ),
        Concern::NeverPassed { units: n } => make(
            K::NeverPassed,
            most(*n),
            units(n, "never passed: the last test is no pass."),
            "Check that the units listed in units-to-check.csv were scrapped or repaired and tested.".into(),
        ),
        Concern::Jump {
            sentence,
            next_step,
        } => make(K::Jump, 0, sentence.clone(), next_step.clone()),
        Concern::OpenLeadWouldPass { workable } => make(
            K::OpenLeadWouldPass,
            0,
            "A test with no unit connected would pass.".into(),
            workable.as_ref().map_or_else(
                || "No low limit can find it: check the connection by other means.".to_owned(),
                |w| format!("Set a low limit {w}."),
            ),
        ),
        Concern::TooLoose { sentence, suggested } => make(
            K::TooLoose,
            0,
            sentence.clone(),
            set(suggested, "Collect more units and state the smallest harmful leak path."),
        ),
        Concern::NoWorkableBand { sentence } => make(
            K::NoWorkableBand,
            0,
            sentence.clone(),
            "Choose among the ways to open a band that the section names.".into(),
        ),
        Concern::Drift { sentence, reached } => make(
            K::Drift,
            reached.map_or(i64::MAX, |f| i64::from(f.date.to_epoch_days())),
            reached.map_or_else(
                || sentence.clone(),
                |f| {
                    format!(
                        "{sentence} Rejects of healthy units pass the accepted share on {}{}.",
                        f.date,
                        crate::verdict::explain::interval(&f)
                    )
                },
            ),
            "Find what changed when the movement began; look at the drift chart and its events.".into(),
        ),
        Concern::TooTight { sentence, suggested } => make(
            K::TooTight,
            0,
            sentence.clone(),
            set(suggested, "Collect more units: no limit can be suggested yet."),
        ),
        Concern::LowLimitTooHigh { sentence } => make(
            K::LowLimitTooHigh,
            0,
            sentence.clone(),
            "Lower the low limit into the workable range, and re-test the units it rejected.".into(),
        ),
        Concern::RetestedUntilPass { units: n, allowed } => make(
            K::RetestedUntilPass,
            most(*n),
            format!(
                "{} tested again more than the {} allowed.",
                if *n == 1 { "1 unit was".to_owned() } else { format!("{n} units were") },
                count(*allowed, "retest")
            ),
            "Stop retesting until it passes; have the units listed in units-to-check.csv examined.".into(),
        ),
        Concern::NotEnoughData { sentence, units_needed } => make(
            K::NotEnoughData,
            0,
            sentence.clone(),
            units_needed.map_or_else(
                || "Re-test the units with the highest readings, and keep the limit meanwhile.".to_owned(),
                |n| format!("Keep the limit and judge again at about {}.", count(n, "unit")),
            ),
        ),
        Concern::NoLimitKnown => make(
            K::NoLimitKnown,
            0,
            "No high limit is known: the band is printed without a verdict.".into(),
            "Give `high_limit_ma` for the model in the config.".into(),
        ),
        Concern::Tester(tester) => make(
            tester.kind(),
            tester.before(),
            tester.sentence(&about.subject),
            tester.next_step().into(),
        ),
    }
}
