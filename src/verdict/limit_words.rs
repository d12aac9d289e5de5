//! The sentences of a verdict on a limit, each said here and nowhere else.
//!
//! Takes a reason with its numbers and how the currents of its series are printed, gives a full sentence with
//! units. Apart from the judge, so that what is decided never hangs on how it is worded.

use chrono::NaiveDate;

use crate::analysis::body::rise::{NoBefore, RiseKind};
use crate::stats::expected_share::ExpectedShare;
use crate::verdict::band_words::{at_station, lower_end};
use crate::verdict::cautions::{WHO_DECIDES, re_test};
use crate::verdict::evidence::Forecast;
use crate::verdict::limit::{Verdict, VerdictKind};
use crate::verdict::low_limit::{LowLimit, LowReason};
use crate::verdict::physics::LeakAdds;
use crate::verdict::reason::{Below, Between, Reason, Short};
use crate::verdict::suggest::{Raise, Suggestion};
use crate::words::numbers::by_interval;
use crate::words::{Wording, capital, count, percent, resistance, three_digits};

impl Reason {
    /// The reason as one or more full sentences.
    #[must_use]
    pub fn sentence(&self, say: Wording) -> String {
        let set = |ma: f64| say.current(ma);
        let estimate = |ma: f64| say.estimate(ma);
        match self {
            Self::AboveCeiling(a) => format!(
                "The limit of {} lies above the ceiling of {} that the stated standard sets: this is unsafe.",
                set(a.limit_ma),
                set(a.end_ma)
            ),
            Self::AboveTesterRange(a) => format!(
                "The limit of {} lies above the end of the tester's range at {}: it can never trip.",
                set(a.limit_ma),
                set(a.end_ma)
            ),
            Self::NoLimitKnown => "No high limit is known for these units, so there is no verdict on one; give \
                 high_limit_ma in the settings."
                .to_owned(),
            Self::Misread => "A file that these units are read from is probably misread: neither limit is judged, \
                 and none is suggested."
                .to_owned(),
            Self::TooFewUnits { units, provisional, verdict } => format!(
                "Only {} {} judged; a provisional verdict needs {provisional}, a verdict {verdict}.",
                count(*units, "unit"),
                if *units == 1 { "was" } else { "were" },
            ),
            Self::NoTailEstimate => {
                "The upper tail of the readings could not be estimated; see the notes for the cause."
                    .to_owned()
            }
            Self::Provisional(short) => provisional(short),
            Self::NoBand { healthy_ma, upper_ma } => format!(
                "Healthy units reach at least {} (lower bound, one-sided), above the highest workable limit of {}: every limit either \
                 rejects good units or lets a bad one through, and more units cannot change that.",
                estimate(*healthy_ma),
                estimate(*upper_ma)
            ),
            Self::WhatHelps(adds) => what_helps(*adds),
            Self::BelowHealthy(b) => format!("{}.", below(b, say)),
            Self::FewRejects { below: b, rejects, asked } => format!(
                "{}, but only {} healthy rejects were seen or are expected in the period; calling a limit too tight takes {asked}.",
                below(b, say),
                three_digits(*rejects)
            ),
            Self::AboveUpperEnd(a) => format!(
                "The limit of {} lies above the upper end of the workable band, {}{}.",
                set(a.limit_ma),
                estimate(a.end_ma),
                if a.proven { "" } else { NOT_PROVEN }
            ),
            Self::InsideBand(b) => inside(b, say),
            Self::AboveEarlierEnd(a) => format!(
                "The limit of {} lies above {}, the upper end of the band before the rise{}.",
                set(a.limit_ma),
                estimate(a.end_ma),
                if a.proven { "" } else { NOT_PROVEN }
            ),
            Self::Rising { kind, since, earliest, limit_ma, until } => {
                rising(*kind, [*since, *earliest], *until, &set(*limit_ma))
            }
            Self::BandBefore(judged) => format!(
                "The band is that of the time before the rise: {} from {} to {}.",
                count(judged.units, "unit"),
                judged.from,
                judged.to
            ),
            Self::NoBandBefore(why) => no_band_before(*why),
            Self::HealthyMeanwhile { today_ma, at_horizon_ma } => {
                let later = at_horizon_ma.map_or_else(String::new, |then| {
                    format!(", and at the end of the planning horizon it would be {}", estimate(then))
                });
                format!(
                    "What nearly all healthy units stay under today is at most {} (upper bound, one-sided){later}: \
                     this is no limit to set.",
                    estimate(*today_ma)
                )
            }
            Self::MayRise => "No raise is suggested: the readings may be rising, or their points do not allow to say that they stand \
                 still, and a limit never follows a drift; find that out first."
                .to_owned(),
            Self::BetweenBounds(b) => between(b, say),
            Self::AnswersDisagree { limit_ma, lower_ma, answer } => format!(
                "The limit of {} lies below {}, which healthy units reach (lower bound, one-sided) {}, but not so by \
                 the other answer.",
                set(*limit_ma),
                estimate(*lower_ma),
                answer.words()
            ),
            Self::ExcessTooCommon { share, most } => format!(
                "{} of the units lie beyond where the healthy body ends, more than the {} that defects could \
                 explain, and the two answers about them lead to different verdicts.",
                percent(*share),
                percent(*most)
            ),
            Self::UnitsDecide(Some(units)) => {
                format!("About {} would decide it.", count(*units, "unit"))
            }
            Self::UnitsDecide(None) => re_test(
                "No number of units that a line makes would decide it; re-tests of the units in the tail might.",
            ),
            Self::RetestsDecide => re_test(
                "Re-tests of the units with the highest readings decide whether they are healthy or damaged; more \
                 units alone do not.",
            ),
            Self::HoldsAtEach(at) => {
                let (reads, then) =
                    if at.before_rise { ("read", " before the rise") } else { ("reads", "") };
                format!(
                    "The band must hold at each station: its lower end is of {}, where a typical unit {reads} \
                     most{then} ({}), its upper end of {}, where it {reads} least ({}).",
                    at.highest,
                    estimate(at.highest_typical_ma),
                    at.lowest,
                    estimate(at.lowest_typical_ma)
                )
            }
            Self::LowerEnd(end) => lower_end(end, say),
            Self::UpperEnd { end, sets, of } => end.sentence_of_band(*sets, of, say),
            Self::AskForLeakPath { leak_ma, typical_ma, of } => format!(
                "No smallest harmful leak path is stated. At the upper end a unit passes that leaks {}, {} times \
                 {}: state leak_path_mohm for this model in the settings.",
                estimate(*leak_ma),
                three_digits(leak_ma / typical_ma),
                of.typical()
            ),
            Self::LeakPathWithoutVoltage(mohm) => format!(
                "A smallest harmful leak path of {} is stated, but no test voltage is known to turn it into a current.",
                resistance(*mohm)
            ),
            Self::RepeatsCeiling { limit_ma, suggested_ma } => {
                let rest = suggested_ma.map_or_else(String::new, |s| {
                    format!("; a working limit of {} would find a changed product", set(s))
                });
                format!("{} is the legal limit{rest}.", set(*limit_ma))
            }
            Self::Suggested(s) => suggested(s, say),
            Self::NoLimitBetween => "No limit is suggested: the bounds leave no limit between them; more units may \
                 open the band."
                .to_owned(),
            Self::NotRaised => {
                "No limit is suggested: a limit is not raised on data that do not decide.".to_owned()
            }
            Self::RejectsPerMonth(rejects) => rejects_per_month(rejects),
            Self::StraysPassed(units) => re_test(&format!(
                "{} passed although the reading does not belong with the healthy units; re-test before shipment.",
                count(*units, "unit")
            )),
            Self::BlindSpot { limit_ma, typical_mohm, low_reader_mohm } => {
                let low = low_reader_mohm.map_or_else(String::new, |low| {
                    format!(", a unit that reads low with one down to {}", resistance(low))
                });
                format!(
                    "At {} a typical unit passes with a steady leak path down to {}{low}; this says nothing about a \
                     gap that only flashes over.",
                    set(*limit_ma),
                    resistance(*typical_mohm)
                )
            }
        }
    }
}

fn provisional(short: &[Short]) -> String {
    let short: Vec<String> =
        short.iter().map(|s| format!("{} of {}", s.holds, count(s.needs, s.of))).collect();
    format!("Provisional: the period judged holds {}.", short.join(" and "))
}

fn what_helps(adds: LeakAdds) -> String {
    let dc = match adds {
        LeakAdds::AtRightAngles => {
            "test with DC or judge the in-phase current, which leaves out the capacitive current; reduce the \
             filter capacitance; "
        }
        LeakAdds::InPhase => "",
    };
    format!(
        "What helps: {dc}split the units into groups that read alike; or fix the process that spreads the readings."
    )
}

fn inside(b: &Between, say: Wording) -> String {
    let high = if b.high_ma.is_finite() {
        format!(" to {}", say.estimate(b.high_ma))
    } else {
        String::new()
    };
    format!(
        "The limit of {} lies inside the limits that serve now, {}{high}: at least {} of healthy units stay under it.",
        say.current(b.limit_ma),
        say.estimate(b.low_ma),
        percent(b.share)
    )
}

fn below(b: &Below, say: Wording) -> String {
    format!(
        "The limit of {} lies below {}, the lower bound, one-sided, of the reading that {} of healthy units stay \
         under{}",
        say.current(b.limit_ma),
        say.estimate(b.lower_ma),
        percent(b.share),
        at_station(b.at.as_deref())
    )
}

fn between(b: &Between, say: Wording) -> String {
    let high = if b.high_ma.is_finite() {
        say.estimate(b.high_ma)
    } else {
        "an upper bound that the data cannot give".to_owned()
    };
    format!(
        "The limit of {} lies between {} and {high}, the one-sided bounds of the reading that {} of healthy units stay under.",
        say.current(b.limit_ma),
        say.estimate(b.low_ma),
        percent(b.share)
    )
}

/// After an upper end that only a rule of thumb sets.
pub(super) const NOT_PROVEN: &str = " (a rule of thumb, not proven)";

fn rising(
    kind: RiseKind,
    [since, earliest]: [Option<NaiveDate>; 2],
    until: Option<Forecast>,
    limit: &str,
) -> String {
    let perhaps = earliest
        .filter(|day| Some(*day) != since)
        .map_or_else(String::new, |day| format!(" (perhaps {day})"));
    let since = since.map_or_else(|| "the first day".to_owned(), |day| format!("{day}{perhaps}"));
    let (rises, accept) = match kind {
        RiseKind::Slope => (format!("The product has been rising since {since}"), ""),
        RiseKind::Step => (
            format!("The product stepped up on {since}, and nothing recorded explains it"),
            " Where the new level is meant, state accepted_since for the model in the settings.",
        ),
    };
    let serves = until.map_or_else(String::new, |f| {
        format!(" The limit of {limit} still serves until {}{}.", f.date, f.interval())
    });
    format!(
        "{rises}: a limit never follows a drift, as rising leakage may be insulation that goes bad. Find what \
         changed; do not raise the limit.{serves}{accept}"
    )
}

fn no_band_before(why: NoBefore) -> String {
    let why = match why {
        NoBefore::SinceTheFirstDay => "it has risen since the first day of the history".to_owned(),
        NoBefore::TooFew { days, units } => format!(
            "only {} on {} are known from the time before the rise",
            count(units, "unit"),
            count(days, "production day")
        ),
        NoBefore::NotDescribed => {
            "the readings of the time before the rise could not be described".to_owned()
        }
    };
    format!("No band is given: {why}.")
}

fn suggested(s: &Suggestion, say: Wording) -> String {
    let limit = say.current(s.limit_ma);
    let lead = match &s.raise {
        Some(raise) => format!("{}.", raise.words(say)),
        None if s.only_tighter => format!("A tighter limit is possible: {limit}."),
        None => format!("A limit of {limit} is suggested."),
    };
    let blind = s
        .blind_spot_mohm
        .filter(|_| s.raise.is_none())
        .map_or_else(String::new, |r| format!(" Its blind spot is {}.", resistance(r)));
    let proof = s.proving.as_ref().map_or_else(String::new, |p| {
        format!(
            " Prove it at the station: a load of {} must trip, one of {} must pass.",
            p.must_trip, p.must_pass
        )
    });
    format!("{lead}{blind}{proof} {WHO_DECIDES}")
}

impl Raise {
    /// The raise with all that must be looked at before it may be made, without its full stop.
    #[must_use]
    pub fn words(&self, say: Wording) -> String {
        let passes = self.from_mohm.zip(self.to_mohm).map_or_else(String::new, |(from, to)| {
            format!(
                ": a typical unit then passes with a steady leak down to {}, now down to {}",
                resistance(to),
                resistance(from)
            )
        });
        let beside = match (&self.stated_mohm, &self.other) {
            (Some(mohm), _) => {
                format!("; the smallest harmful leak path stated for it is {}", resistance(*mohm))
            }
            (None, Some(o)) => format!(
                "; no harmful leak path is stated for it, for {} {} is",
                o.model,
                resistance(o.mohm)
            ),
            (None, None) => "; no harmful leak path is stated for it".to_owned(),
        };
        format!(
            "The smallest limit that serves is {}, up from {}{passes}{beside}. Raising a limit is the unsafe direction: \
             only if the standard and your leak path allow it; else test with DC or split the groups",
            say.current(self.to_ma),
            say.current(self.from_ma),
        )
    }
}

/// Fewer rejects a month than this are printed as just that: less than one in eight years.
const HARDLY_ANY: f64 = 0.01;

fn rejects_per_month(r: &ExpectedShare) -> String {
    let r = by_interval(r);
    let few = |x: f64| {
        if x < HARDLY_ANY { format!("fewer than {HARDLY_ANY}") } else { three_digits(x) }
    };
    if r.high < HARDLY_ANY {
        return format!("Fewer than {HARDLY_ANY} healthy units a month are rejected.");
    }
    let interval = if r.high.is_finite() {
        format!("{} to {}", few(r.low), three_digits(r.high))
    } else {
        format!("at least {}", few(r.low))
    };
    if r.value < HARDLY_ANY {
        format!(
            "Fewer than {HARDLY_ANY} healthy units a month are rejected (at most {}).",
            three_digits(r.high)
        )
    } else {
        format!("About {} healthy units a month are rejected ({interval}).", three_digits(r.value))
    }
}

impl Forecast {
    /// Its interval in brackets: ` (2026-12-20 to 2027-03-25)`.
    #[must_use]
    pub fn interval(&self) -> String {
        self.high.map_or_else(
            || format!(" (not before {})", self.low),
            |high| format!(" ({} to {high})", self.low),
        )
    }
}

impl Verdict {
    /// The verdict in one sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        if self.is_withheld() {
            return Reason::Misread.sentence(self.say);
        }
        let clause = self.clause();
        match self.kind {
            Some(
                VerdictKind::TooTight
                | VerdictKind::TooLoose
                | VerdictKind::Fits
                | VerdictKind::Moving,
            ) => {
                format!("The {clause}.")
            }
            _ => format!("{}.", capital(&clause)),
        }
    }

    /// The same without its beginning and end.
    fn clause(&self) -> String {
        let say = self.say;
        let answer = self.answer();
        if self.kind == Some(VerdictKind::NoWorkableBand) && self.limit_ma.is_some() {
            return answer;
        }
        let band = match (self.band_low_ma, self.band_high_ma) {
            (Some(low), Some(high)) => {
                let proven = self.high_end_is_proven();
                format!(
                    "workable limits {} from {} to {}{}",
                    if self.rising.is_some() { "ran before the rise" } else { "run" },
                    say.current(low),
                    say.estimate(high),
                    if proven { "" } else { NOT_PROVEN }
                )
            }
            (Some(low), None) => format!("workable limits start at {}", say.current(low)),
            _ => "no workable limit can be given".to_owned(),
        };
        format!("{answer}; {band}")
    }

    /// What is said of the limit in force, without the band: to stand in a title.
    #[must_use]
    pub fn answer(&self) -> String {
        if self.is_withheld() {
            return "the limit is not judged: a file is probably misread".to_owned();
        }
        let say = self.say;
        let start = match self.limit_ma.map(|ma| say.current(ma)).zip(self.kind) {
            Some((limit, VerdictKind::NoWorkableBand)) => {
                return format!(
                    "no workable band: no limit, {limit} or another, keeps healthy units and stops a harmful leak"
                );
            }
            Some((limit, VerdictKind::NotEnoughData)) => {
                format!("not enough data to judge the limit of {limit}")
            }
            Some((limit, VerdictKind::Moving)) => format!(
                "product is rising; the limit of {limit} {}",
                self.fits_until.map_or_else(
                    || "is not to be raised".to_owned(),
                    |f| format!("still serves until {}", f.date)
                )
            ),
            Some((limit, kind @ VerdictKind::Fits)) => format!("limit of {limit} {kind}"),
            Some((limit, kind)) => format!("limit of {limit} is {kind}"),
            None => "no high limit is known".to_owned(),
        };
        let provisional = if self.provisional { " (provisional)" } else { "" };
        format!("{start}{provisional}")
    }
}

impl LowLimit {
    /// What to do where an unconnected lead would pass, a full sentence.
    #[must_use]
    pub fn next_step(&self) -> String {
        let set = |ma: f64| self.say.current(ma);
        if let (Some(one), Some(from), Some(to)) = (self.suggested_ma, self.from_ma, self.to_ma) {
            return format!(
                "Set a low limit of {} ({} to {} would work).",
                set(one),
                set(from),
                set(to)
            );
        }
        match self.reasons.iter().find(|r| !matches!(r, LowReason::NoLowLimit)) {
            Some(LowReason::Workable { from_ma, to_ma }) => format!(
                "Only a low limit from {} to {} works, too narrow for the tester's accuracy: shorten the leads or check \
                 the connection by other means.",
                set(*from_ma),
                set(*to_ma)
            ),
            Some(LowReason::AtMost { to_ma }) => format!(
                "A low limit of at most {} spares healthy units: test once with no unit connected, to see whether it \
                 finds an open lead.",
                set(*to_ma)
            ),
            Some(LowReason::NoneWorks { .. }) => {
                "No low limit can find it: check the connection by other means.".to_owned()
            }
            _ => "Test once with no unit connected, and judge again with more units.".to_owned(),
        }
    }
}

impl LowReason {
    /// The reason as one or more full sentences.
    #[must_use]
    pub fn sentence(&self, say: Wording) -> String {
        let set = |ma: f64| say.current(ma);
        match *self {
            Self::NoLowLimit => {
                "There is no low limit: a test with no unit connected passes.".to_owned()
            }
            Self::OpenLeadPasses { open_ma, limit_ma } => format!(
                "An unconnected lead reads {} and passes the low limit of {}.",
                set(open_ma),
                set(limit_ma)
            ),
            Self::OpenLeadFound { open_ma, limit_ma } => format!(
                "An unconnected lead reads {} and fails the low limit of {}.",
                set(open_ma),
                set(limit_ma)
            ),
            Self::OpenLeadUnknown { limit_ma } => format!(
                "Whether an unconnected lead fails the low limit of {} is not known: record one test with no unit \
                 connected.",
                set(limit_ma)
            ),
            Self::Workable { from_ma, to_ma } => format!(
                "A low limit works from {} (above an unconnected lead) to {} (below healthy units).",
                set(from_ma),
                set(to_ma)
            ),
            Self::NoneWorks { open_ma, healthy_ma } => format!(
                "No low limit works: an unconnected lead reads {} and healthy units go down to {}. Shorten or \
                 reroute the leads, or check the connection by other means.",
                set(open_ma),
                say.estimate(healthy_ma)
            ),
            Self::AtMost { to_ma } => format!(
                "A low limit of at most {} spares healthy units; how low it may be needs the open-lead reading.",
                set(to_ma)
            ),
            Self::HealthyUnknown => "The lower end of the healthy units is not known.".to_owned(),
            Self::CutsIntoHealthy { limit_ma, units } => format!(
                "The low limit of {} cuts into the healthy units: {} below it read more than an unconnected lead.",
                set(limit_ma),
                count(units, "unit")
            ),
        }
    }
}
