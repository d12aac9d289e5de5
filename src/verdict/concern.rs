//! What somebody must act on: findings and verdicts turned into concerns.

use std::collections::BTreeSet;

use crate::analysis::units::causes::Cause;
use crate::analysis::units::strays::Lies;
use crate::analysis::{Finding, Findings};
use crate::config::Config;
use crate::movement::material::DriftFlag;
use crate::movement::{Movement, SeriesMovement};
use crate::series::Pass;
use crate::verdict::action_kind::ActionKind;
use crate::verdict::band::{BandInput, leak_path_end};
use crate::verdict::cautions::re_test;
use crate::verdict::evidence::Forecast;
use crate::verdict::limit::{Verdict, VerdictKind};
use crate::verdict::plant::SeriesVerdict;
use crate::verdict::seen::Seen;
use crate::verdict::tester::{ConcernAt, TesterConcern};
use crate::words::numbers::counted;
use crate::words::{count, resistance, three_digits};

/// Something that somebody must act on. The numbers are those the line prints.
#[derive(Debug, Clone, PartialEq)]
pub enum Concern {
    /// Tables that are probably misread.
    Misread {
        /// What says so.
        sentence: String,
        /// What likely causes it, and what to do.
        next_step: String,
    },
    /// A limit above the stated ceiling, or a limit that can never trip; with the verdict's sentence.
    UnsafeLimit {
        /// What is wrong.
        sentence: String,
    },
    /// Units passed while no lead was connected.
    PassedOpenLead {
        /// How many.
        units: u64,
    },
    /// Strays above that passed: suspect insulation.
    StraysPassed {
        /// How many.
        units: u64,
    },
    /// Passes whose reading lies above the limit in force.
    PassedAgainstReading {
        /// How many.
        units: u64,
    },
    /// Units whose last test is no pass.
    NeverPassed {
        /// How many.
        units: u64,
    },
    /// Failures jumped.
    Jump {
        /// First sentence of the finding.
        sentence: String,
        /// Factor and level of a cause that stands out by itself; `None` of a change in time.
        alone: Option<String>,
        /// What to check next.
        next_step: String,
    },
    /// An unconnected lead would pass.
    OpenLeadWouldPass {
        /// What to do about it.
        next_step: String,
    },
    /// No leak path is stated for some series: what they are, and what their limits would be for one.
    LeakPathNotStated {
        /// What is missing, and what it would mean.
        sentence: String,
    },
    /// A limit that passes harmful leaks.
    TooLoose {
        /// The verdict's sentence.
        sentence: String,
        /// The suggested limit, printed.
        suggested: Option<String>,
    },
    /// No limit works.
    NoWorkableBand {
        /// The verdict's sentence.
        sentence: String,
    },
    /// The product drifts toward the limit, or moved.
    Drift {
        /// The flag's sentence.
        sentence: String,
        /// When the limit is reached.
        reached: Option<Forecast>,
        /// Whether the limit must not follow: the product rises.
        rising: bool,
    },
    /// A limit that rejects healthy units.
    TooTight {
        /// The verdict's sentence.
        sentence: String,
        /// The smallest raise that serves, with what must be looked at before; `None` where none is suggested.
        raise: Option<String>,
    },
    /// A low limit that rejects healthy units.
    LowLimitTooHigh {
        /// The finding.
        sentence: String,
    },
    /// Units tested again until they passed.
    RetestedUntilPass {
        /// Units with more retests than allowed.
        units: u64,
        /// Of these, passed in the end.
        passed: u64,
        /// Retests allowed.
        allowed: u64,
    },
    /// The data do not decide.
    NotEnoughData {
        /// The verdict's sentence.
        sentence: String,
        /// Units that would decide.
        units_needed: Option<u64>,
    },
    /// No limit known.
    NoLimitKnown,
    /// About a tester or its record.
    Tester(TesterConcern),
}

impl Concern {
    /// The kind of its action.
    #[must_use]
    pub fn kind(&self) -> ActionKind {
        match self {
            Self::Misread { .. } => ActionKind::ProbablyMisread,
            Self::UnsafeLimit { .. } => ActionKind::UnsafeLimit,
            Self::PassedOpenLead { .. } => ActionKind::PassedOpenLead,
            Self::StraysPassed { .. } => ActionKind::StraysPassed,
            Self::PassedAgainstReading { .. } => ActionKind::PassedAgainstReading,
            Self::NeverPassed { .. } => ActionKind::NeverPassed,
            Self::Jump { .. } => ActionKind::Jump,
            Self::OpenLeadWouldPass { .. } => ActionKind::OpenLeadWouldPass,
            Self::LeakPathNotStated { .. } => ActionKind::LeakPathNotStated,
            Self::TooLoose { .. } => ActionKind::TooLoose,
            Self::NoWorkableBand { .. } => ActionKind::NoWorkableBand,
            Self::Drift { .. } => ActionKind::Drift,
            Self::TooTight { .. } => ActionKind::TooTight,
            Self::LowLimitTooHigh { .. } => ActionKind::LowLimitTooHigh,
            Self::RetestedUntilPass { .. } => ActionKind::RetestedUntilPass,
            Self::NotEnoughData { .. } => ActionKind::NotEnoughData,
            Self::NoLimitKnown => ActionKind::NoLimitKnown,
            Self::Tester(tester) => tester.kind(),
        }
    }

    /// What tells it from others of its kind and subject.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Self::Tester(tester) => tester.key(),
            _ => String::new(),
        }
    }

    /// Smaller comes first among concerns of one kind.
    #[must_use]
    pub fn before(&self) -> i64 {
        match self {
            Self::PassedOpenLead { units }
            | Self::StraysPassed { units }
            | Self::PassedAgainstReading { units }
            | Self::NeverPassed { units }
            | Self::RetestedUntilPass { units, .. } => -i64::try_from(*units).unwrap_or(i64::MAX),
            Self::Drift { reached, .. } => {
                reached.map_or(i64::MAX, |f| i64::from(f.date.to_epoch_days()))
            }
            Self::Tester(tester) => tester.before(),
            _ => 0,
        }
    }

    /// What was found, a full sentence.
    #[must_use]
    pub fn sentence(&self, subject: &str) -> String {
        let units = |n: u64, rest: &str| format!("{} {rest}", count(n, "unit"));
        match self {
            Self::Misread { sentence, .. }
            | Self::UnsafeLimit { sentence }
            | Self::Jump { sentence, .. }
            | Self::TooLoose { sentence, .. }
            | Self::NoWorkableBand { sentence }
            | Self::Drift { sentence, reached: None, .. }
            | Self::TooTight { sentence, .. }
            | Self::LowLimitTooHigh { sentence }
            | Self::LeakPathNotStated { sentence }
            | Self::NotEnoughData { sentence, .. } => sentence.clone(),
            Self::PassedOpenLead { units: n } => {
                units(*n, "passed with no lead connected: untested.")
            }
            Self::StraysPassed { units: n } => units(
                *n,
                "passed with a reading that does not belong with the healthy units: suspect insulation.",
            ),
            Self::PassedAgainstReading { units: n } => {
                format!("{} passed although the reading contradicts it.", count(*n, "test"))
            }
            Self::NeverPassed { units: n } => units(*n, "did not pass in the last test."),
            Self::OpenLeadWouldPass { .. } => {
                "A test with no unit connected would pass.".to_owned()
            }
            Self::Drift { sentence, reached: Some(f), .. } => {
                format!("{sentence} They exceed the accepted share on {}{}.", f.date, f.interval())
            }
            Self::RetestedUntilPass { units: n, passed, allowed } => format!(
                "{} tested again more often than the {} allowed; {passed} of them passed in the end.",
                if *n == 1 { "1 unit was".to_owned() } else { format!("{n} units were") },
                count(*allowed, "retest")
            ),
            Self::NoLimitKnown => {
                "No high limit is known: the band is printed without a verdict.".to_owned()
            }
            Self::Tester(tester) => tester.sentence(subject),
        }
    }

    /// What to do next, a full sentence.
    #[must_use]
    pub fn next_step(&self) -> String {
        let set = |to: &Option<String>, otherwise: &'static str| {
            to.as_ref().map_or_else(
                || otherwise.to_owned(),
                |to| format!("Have a limit of {to} approved, set it and prove it with the loads named in the section."),
            )
        };
        match self {
            Self::UnsafeLimit { .. } => {
                "Correct the limit before the next unit is tested; decide on the units passed under it."
            }
            Self::PassedOpenLead { .. } => {
                "Hold and test the units listed in units-to-check.csv; set a low limit above the open-lead reading."
            }
            Self::StraysPassed { .. } => {
                return re_test("Hold and re-test the units listed in units-to-check.csv.");
            }
            Self::PassedAgainstReading { .. } => {
                return re_test("Find out who released them and why; re-test the units.");
            }
            Self::NeverPassed { .. } => {
                "Check that the units listed in units-to-check.csv were scrapped or repaired and tested."
            }
            Self::Misread { next_step, .. } | Self::Jump { next_step, .. } => next_step,
            Self::OpenLeadWouldPass { next_step } => next_step,
            Self::LeakPathNotStated { .. } => {
                "State leak_path_mohm for these models in the settings, by the applicable standard and the design of the product."
            }
            Self::TooLoose { suggested, .. } => {
                return set(
                    suggested,
                    "Collect more units and state the smallest harmful leak path.",
                );
            }
            Self::NoWorkableBand { .. } => {
                "Choose among the ways to open a band that the section names."
            }
            Self::Drift { rising: true, .. } => {
                "Find what changed when the rise began: a wrong part, moisture, a worn process; do not raise the limit."
            }
            Self::Drift { .. } => {
                "Find what changed when the movement began; look at the drift chart and its events."
            }
            Self::TooTight { raise: Some(raise), .. } => return format!("{raise}."),
            Self::TooTight { raise: None, .. } => {
                "Do not raise the limit yet: the reasons stand in the section."
            }
            Self::LowLimitTooHigh { .. } => {
                return re_test(
                    "Lower the low limit into the workable range, and re-test the units it rejected.",
                );
            }
            Self::RetestedUntilPass { allowed, .. } => {
                return format!(
                    "No further test of these units: each stresses sound insulation too. Decide in writing, by the readings of the tests they had, whether those that passed (units-to-check.csv) are accepted or examined. From now on a unit that fails after {} is examined and repaired before anything else.",
                    count(*allowed, "retest")
                );
            }
            Self::NotEnoughData { units_needed: Some(n), .. } => {
                return format!("Keep the limit and judge again at about {}.", count(*n, "unit"));
            }
            Self::NotEnoughData { units_needed: None, .. } => {
                return re_test(
                    "Re-test the units with the highest readings, and keep the limit meanwhile.",
                );
            }
            Self::NoLimitKnown => "Give `high_limit_ma` for the model in the config.",
            Self::Tester(tester) => return tester.next_step(),
        }
        .to_owned()
    }
}

/// A concern and what it is about.
#[derive(Debug, Clone, PartialEq)]
pub struct About {
    /// The series, model or station.
    pub subject: String,
    /// The concern.
    pub concern: Concern,
    /// Where and when it was seen.
    pub seen: Seen,
}

impl About {
    /// A concern of no day.
    #[must_use]
    pub fn new(subject: &str, concern: Concern) -> Self {
        Self { subject: subject.to_owned(), concern, seen: Seen::default() }
    }
}

impl From<ConcernAt> for About {
    fn from(ConcernAt { subject, concern, seen }: ConcernAt) -> Self {
        Self { subject, concern: Concern::Tester(concern), seen }
    }
}

/// The concerns that follow from a verdict; `print` writes a current of the series. Strays that passed are
/// among them.
#[must_use]
pub fn from_verdict(subject: &str, verdict: &Verdict, print: impl Fn(f64) -> String) -> Vec<About> {
    let suggested = verdict.suggested_ma().map(print);
    let sentence = verdict.sentence();
    let mut found = Vec::new();
    if verdict.above_ceiling || verdict.above_tester_range {
        let first = verdict.reasons.first().map_or_else(String::new, |r| r.sentence(verdict.say));
        found.push(Concern::UnsafeLimit { sentence: first });
    }
    if verdict.strays_passed > 0 {
        found.push(Concern::StraysPassed { units: verdict.strays_passed });
    }
    match verdict.kind {
        // The unsafe limit already has its line, and the same next step.
        Some(VerdictKind::TooLoose) if verdict.above_ceiling || verdict.above_tester_range => {}
        Some(VerdictKind::TooLoose) => found.push(Concern::TooLoose { sentence, suggested }),
        Some(VerdictKind::TooTight) => {
            let raise = verdict.suggested.as_ref().and_then(|s| s.raise.as_ref());
            let raise = raise.map(|raise| raise.words(verdict.say));
            found.push(Concern::TooTight { sentence, raise });
        }
        Some(VerdictKind::NoWorkableBand) => found.push(Concern::NoWorkableBand { sentence }),
        Some(VerdictKind::NotEnoughData) => {
            found.push(Concern::NotEnoughData { sentence, units_needed: verdict.units_needed })
        }
        // The movement has its own line.
        Some(VerdictKind::Fits | VerdictKind::Moving) => {}
        None => found.push(Concern::NoLimitKnown),
    }
    found.into_iter().map(|concern| About::new(subject, concern)).collect()
}

/// The concern that follows from a drift flag; `None` where nothing is flagged.
#[must_use]
pub fn from_drift(
    subject: &str,
    flag: &DriftFlag,
    reached: Option<Forecast>,
    rising: bool,
) -> Option<About> {
    flag.flagged.then(|| {
        let sentence = flag.sentence.clone();
        About::new(subject, Concern::Drift { sentence, reached, rising })
    })
}

/// What somebody must do about single series.
#[must_use]
pub fn concerns_of_series(
    pass: &Pass,
    movement: &Movement,
    findings: &Findings,
    verdicts: &[SeriesVerdict],
    config: &Config,
) -> Vec<About> {
    let mut about: Vec<About> = Vec::new();
    for (n, (v, finding)) in verdicts.iter().zip(&findings.series).enumerate() {
        if v.limits.high.is_withheld() {
            continue;
        }
        let subject = pass.called[n].subject.clone();
        let high = &v.limits.high;
        let mut own = from_verdict(&subject, high, |x| v.wording.current(x));
        own.extend(from_drift(&subject, &v.flag, v.forecast, high.rising.is_some()));
        let mut add = |concern| own.push(About::new(&subject, concern));
        let open = finding.strays.passed(Lies::OpenLead);
        if open > 0 {
            add(Concern::PassedOpenLead { units: open });
        }
        let low = &v.limits.low;
        if low.open_lead_passes == Some(true) {
            add(Concern::OpenLeadWouldPass { next_step: low.next_step() });
        }
        if let Some(sentence) = low.cuts_into_healthy() {
            add(Concern::LowLimitTooHigh { sentence });
        }
        let practice = &finding.practice;
        if !practice.habits.is_empty() {
            add(Concern::RetestedUntilPass {
                units: practice.more_than_allowed.unwrap_or(0),
                passed: practice.more_than_allowed_passed.unwrap_or(0),
                allowed: u64::from(config.retests_allowed),
            });
        }
        let of_series = OfSeries { pass, n, finding, moved: &movement.series[n] };
        for concern in &mut own {
            concern.seen = of_series.seen(&concern.concern);
        }
        // A jump says it better: since when, and how sure.
        let alone = |c: &&Cause| !findings.jumps.iter().any(|j| j.covers(n, &c.factor, &c.level));
        own.extend(finding.causes.iter().filter(alone).map(|c| {
            let concern = Concern::Jump {
                sentence: c.to_string(),
                alone: Some(format!("{} {}", c.factor, c.level)),
                next_step: re_test(
                    "Re-test its units that passed before shipment (units-to-check.csv).",
                ),
            };
            let seen = Seen::between(c.days.0, c.days.1).of([n]);
            About { seen: seen.units(c.units - c.failed), ..About::new(&subject, concern) }
        }));
        about.extend(own);
    }
    about.extend(leak_path_not_stated(pass, verdicts, config));
    about
}

/// What is known of a series, for where and when a concern about it was seen.
struct OfSeries<'a> {
    pass: &'a Pass,
    n: usize,
    finding: &'a Finding,
    moved: &'a SeriesMovement,
}

impl OfSeries<'_> {
    fn seen(&self, concern: &Concern) -> Seen {
        match concern {
            Concern::PassedOpenLead { .. } => self.strays(Lies::OpenLead),
            Concern::StraysPassed { .. } => self.strays(Lies::Above),
            Concern::RetestedUntilPass { units, .. } => {
                let failed = self.pass.histories_of(self.n).iter().filter(|h| h.retests > 0);
                Seen::on(failed.map(|h| h.day)).of([self.n]).units(*units)
            }
            Concern::Drift { .. } => {
                let drift = &self.moved.drift;
                let began = drift.since.or(drift.steps.first().map(|s| s.day));
                Seen::since(began).of([self.n])
            }
            // What a limit does it does since it is in force.
            _ => Seen::since(self.moved.limits.since).of([self.n]),
        }
    }

    /// Strays that passed, on their days, where they were tested.
    fn strays(&self, lies: Lies) -> Seen {
        let units = self.finding.strays.units.iter().filter(|u| u.lies == lies);
        let seen = Seen::on(units.clone().map(|u| u.test.day)).of([self.n]);
        let stations: BTreeSet<u16> = units.map(|u| u.test.station).collect();
        let named = stations.into_iter().map(|s| &self.pass.plant.stations[usize::from(s)]);
        named.fold(seen, |seen, s| seen.at(s)).units(self.finding.strays.passed(lies))
    }
}

/// One question for the whole plant: the leak path of all series whose band ends at a rule of thumb.
fn leak_path_not_stated(pass: &Pass, verdicts: &[SeriesVerdict], config: &Config) -> Option<About> {
    let thumb = |v: &&SeriesVerdict| !v.limits.high.high_end_is_proven();
    let open: Vec<(usize, &SeriesVerdict)> =
        verdicts.iter().enumerate().filter(|(_, v)| thumb(v)).collect();
    let (_, first) = open.first()?;
    let other = first.evidence.setting.other_leak_path.as_ref();
    let allowed = |(n, v): &(usize, &SeriesVerdict)| {
        let mohm = other?.mohm;
        let evidence = v.evidence.for_band()?;
        let end =
            leak_path_end(&BandInput { leak_path_mohm: Some(mohm), ..evidence.setting }, config)?;
        Some(format!("{} {} mA", pass.called[*n].subject, three_digits(end.ma)))
    };
    let would: Vec<String> = open.iter().filter_map(allowed).collect();
    let would = other.filter(|_| !would.is_empty()).map_or_else(String::new, |o| {
        format!(
            " With the {} stated for {} a limit would have to be at most: {}.",
            resistance(o.mohm),
            o.model,
            would.join(", ")
        )
    });
    let sentence = format!(
        "No smallest harmful leak path is stated for {}: the upper end of each band is a rule of thumb and proves nothing.{would}",
        counted(open.len() as u64, "series")
    );
    Some(About {
        subject: "whole line".to_owned(),
        concern: Concern::LeakPathNotStated { sentence },
        seen: Seen::since(None).of(open.iter().map(|(n, _)| *n)),
    })
}
