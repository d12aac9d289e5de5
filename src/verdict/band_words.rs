//! The sentences about the ends of a band: which rule each comes from, and at which station.
//!
//! Takes a rule with its numbers and how the currents of its series are printed, gives a full sentence with units.
//! The typical reading of a series is that on its one scale; where an end of the band takes that of the station which
//! reads most or least, the station is named, so that no two numbers have one name.

use crate::verdict::band::{UpperEnd, UpperRule};
use crate::verdict::evidence::Whose;
use crate::verdict::reason::LowerEnd;
use crate::words::{Wording, percent, resistance};

/// ` at B2`; nothing where stations read alike.
pub(super) fn at_station(at: Option<&str>) -> String {
    at.map_or_else(String::new, |station| format!(" at {station}"))
}

impl Whose {
    /// The typical reading, in words that say whose it is.
    pub(super) fn typical(&self) -> String {
        match (&self.station, self.before_rise) {
            (None, false) => "the typical reading".to_owned(),
            (None, true) => "the typical reading before the rise".to_owned(),
            (Some(station), false) => format!("what a typical unit reads at {station}"),
            (Some(station), true) => {
                format!("what a typical unit read at {station} before the rise")
            }
        }
    }
}

/// Where the lower end comes from.
pub(super) fn lower_end(end: &LowerEnd, say: Wording) -> String {
    let rounded = if end.step_ma > 0.0 {
        format!(", rounded up to a limit step of {}", say.estimate(end.step_ma))
    } else {
        String::new()
    };
    let stays = format!(
        "{} of healthy units stay under {}{} {}; its {} upper bound, one-sided, is {}{rounded}",
        percent(end.share),
        say.estimate(end.tail.quantile_ma),
        at_station(end.at.as_deref()),
        end.answer.words(),
        percent(end.confidence),
        say.estimate(end.tail.upper_ma),
    );
    format!("{stays}: this sets the lower end of the band, {}.", say.current(end.lower_ma))
}

impl UpperEnd {
    /// The rule with its numbers, as a full sentence; `of` is whose typical reading it takes.
    #[must_use]
    pub fn sentence(&self, of: &Whose, say: Wording) -> String {
        let ma = say.estimate(self.ma);
        match &self.rule {
            UpperRule::LeakPath { mohm, applied_v, reading_ma, guard } => format!(
                "A leak path of {} at {applied_v} V makes a typical unit{} read {}; less the guard band of {} that \
                 is {ma}.",
                resistance(*mohm),
                at_station(of.station.as_deref()),
                say.estimate(*reading_ma),
                guard.words(say),
            ),
            UpperRule::TwiceAsFar { times, typical_ma, lower_ma, within_step, sum_ma } => {
                let reach = say.current(*lower_ma);
                let end = if *within_step {
                    format!(
                        "the lower end, before it is moved out to the edge of its reading step ({reach}),"
                    )
                } else {
                    format!("the lower end ({reach})")
                };
                let typical = say.estimate(*typical_ma);
                let far =
                    format!("{times} times as far from {} ({typical}) as {end}", of.typical());
                if *sum_ma < self.ma {
                    format!(
                        "{far} would be {}, nearer than the lower end itself: that stands for it, {ma}.",
                        say.estimate(*sum_ma)
                    )
                } else {
                    format!("{far} is {ma}.")
                }
            }
            UpperRule::TwiceTypical { times } => {
                format!("{times} times {} is {ma}.", of.typical())
            }
            UpperRule::Ceiling => {
                format!("The ceiling of the stated standard is {}.", say.current(self.ma))
            }
            UpperRule::TesterRange => {
                format!("The tester's range ends at {}.", say.current(self.ma))
            }
        }
    }

    /// The same, and whether it sets the end of the band.
    #[must_use]
    pub fn sentence_of_band(&self, sets: bool, of: &Whose, say: Wording) -> String {
        let sets = match (sets, self.rule.kind().is_proven()) {
            (false, _) => "",
            (true, true) => " This sets the upper end of the band.",
            (true, false) => {
                " This rule of thumb stands in for the upper end of the band: it is not proven."
            }
        };
        format!("{}{sets}", self.sentence(of, say))
    }
}
