//! The workable band: the limits that neither reject healthy units nor let a bad one through.

use crate::config::Config;
use crate::verdict::physics::{self, LeakAdds};
use crate::words::{Wording, percent};

/// What the band is made from. Currents in mA, voltage in V, resistance in MΩ.
#[derive(Debug, Clone, PartialEq)]
pub struct BandInput {
    /// Typical reading X50.
    pub x50_ma: f64,
    /// `U`: upper bound of the reading that `1 - a` of the healthy body stays under. May be infinite.
    pub upper_now_ma: f64,
    /// How much of `upper_now_ma` is only the way to the edge of a wide reading step.
    pub of_step_ma: f64,
    /// How a leak joins the healthy current.
    pub adds: LeakAdds,
    /// Set voltage.
    pub applied_v: Option<f64>,
    /// The smallest harmful leak path, where the user states it.
    pub leak_path_mohm: Option<f64>,
    /// The lowest leak path that is stated for another model.
    pub other_leak_path: Option<OtherLeakPath>,
    /// Ceiling of the user's own standard.
    pub ceiling_ma: Option<f64>,
    /// End of the tester's range.
    pub tester_range_ma: Option<f64>,
    /// The instrument's reading step at the size of the limit.
    pub reading_step_ma: f64,
    /// Limits are set in multiples of it; the reading step where absent.
    pub limit_step_ma: Option<f64>,
}

/// A leak path stated for another model: what a limit without one of its own is set beside.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherLeakPath {
    /// That model.
    pub model: String,
    /// Resistance, MΩ.
    pub mohm: f64,
}

impl BandInput {
    /// The step in which limits are set, mA; 0 where none is known.
    #[must_use]
    pub fn step_ma(&self) -> f64 {
        let usable = |s: &f64| *s > 0.0 && s.is_finite();
        self.limit_step_ma
            .filter(usable)
            .or(Some(self.reading_step_ma).filter(usable))
            .unwrap_or(0.0)
    }
}

/// What can set the upper end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UpperKind {
    /// The reading of the stated harmful leak path, less the guard band.
    LeakPath,
    /// Twice as far from the typical reading as the lower end.
    TwiceAsFar,
    /// Twice the typical reading.
    TwiceTypical,
    /// The ceiling of the user's own standard.
    Ceiling,
    /// The end of the tester's range.
    TesterRange,
}

impl UpperKind {
    /// Whether something stated sets it: a rule of thumb proves nothing.
    #[must_use]
    pub fn is_proven(self) -> bool {
        !matches!(self, Self::TwiceAsFar | Self::TwiceTypical)
    }

    /// What an upper end stands on, as in `results.json`: both rules of thumb alike.
    #[must_use]
    pub fn basis(self) -> &'static str {
        match self {
            Self::LeakPath => "leak_path",
            Self::Ceiling => "ceiling",
            Self::TesterRange => "range",
            Self::TwiceAsFar | Self::TwiceTypical => "rule_of_thumb",
        }
    }

    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::LeakPath => "leak_path",
            Self::TwiceAsFar => "twice_as_far",
            Self::TwiceTypical => "twice_typical",
            Self::Ceiling => "ceiling",
            Self::TesterRange => "tester_range",
        }
    }
}

/// A rule about the upper end, with its numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum UpperRule {
    /// The reading of the stated harmful leak path, less the guard band.
    LeakPath {
        /// The leak path, MΩ.
        mohm: f64,
        /// Set voltage.
        applied_v: f64,
        /// Reading of a typical unit with it.
        reading_ma: f64,
        /// What is taken off.
        guard: Guard,
    },
    /// So many times as far from the typical reading as the lower end.
    TwiceAsFar {
        /// How many times.
        times: f64,
        /// Typical reading.
        typical_ma: f64,
        /// Lower end, but for the way to the edge of a wide reading step.
        lower_ma: f64,
        /// Whether it is nearer than the lower end for that.
        within_step: bool,
        /// What the distance comes to; where that is nearer than the lower end, the end is the lower end itself.
        sum_ma: f64,
    },
    /// So many times the typical reading.
    TwiceTypical {
        /// How many times.
        times: f64,
    },
    /// The ceiling of the user's own standard.
    Ceiling,
    /// The end of the tester's range.
    TesterRange,
}

impl UpperRule {
    /// Which rule it is.
    #[must_use]
    pub fn kind(self) -> UpperKind {
        match self {
            Self::LeakPath { .. } => UpperKind::LeakPath,
            Self::TwiceAsFar { .. } => UpperKind::TwiceAsFar,
            Self::TwiceTypical { .. } => UpperKind::TwiceTypical,
            Self::Ceiling => UpperKind::Ceiling,
            Self::TesterRange => UpperKind::TesterRange,
        }
    }
}

/// What a tester may be wrong by at a reading: a share of it and so many reading steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Guard {
    /// In all, mA.
    pub ma: f64,
    /// Share of the reading, a fraction of 1.
    pub share: f64,
    /// Reading steps on top.
    pub steps: f64,
}

impl Guard {
    /// The guard band at a reading, by the config.
    #[must_use]
    pub fn at(reading_ma: f64, reading_step_ma: f64, config: &Config) -> Self {
        let tester = &config.tester;
        let (share, steps) = (tester.accuracy_pct / 100.0, tester.accuracy_steps);
        Self { ma: share * reading_ma + steps * reading_step_ma.max(0.0), share, steps }
    }

    /// `0.058 mA (1.5 % of the reading and 2 reading steps)`.
    #[must_use]
    pub fn words(&self, say: Wording) -> String {
        format!(
            "{} ({} of the reading and {} reading steps)",
            say.estimate(self.ma),
            percent(self.share),
            self.steps
        )
    }
}

/// One candidate for the upper end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UpperEnd {
    /// Which rule.
    pub rule: UpperRule,
    /// The limit it allows at most, mA.
    pub ma: f64,
}

/// The workable band.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Lower end: `U` rounded up to a limit step, mA. Infinite where the data do not bound it.
    pub lower_ma: f64,
    /// Upper end, mA: the smallest of `ends`, except the smaller of the two rules that stand in for a
    /// leak path. Never above a stated ceiling or tester range. Infinite where nothing bounds it.
    pub upper_ma: f64,
    /// Which rule sets the upper end.
    pub upper_set_by: UpperKind,
    /// All rules looked at, in the order of [`UpperKind`].
    pub ends: Vec<UpperEnd>,
    /// The step in which limits are set, mA; 0 where none is known.
    pub step_ma: f64,
}

impl Band {
    /// Whether a rule sets the upper end.
    #[must_use]
    pub fn is_set_by(&self, end: &UpperEnd) -> bool {
        end.rule.kind() == self.upper_set_by
    }

    /// The ends to print and to propose inside, `(low, high)` in mA. `None` where no limit works.
    #[must_use]
    pub fn workable_ma(&self) -> Option<(f64, f64)> {
        let open = self.lower_ma.is_finite() && self.lower_ma <= self.upper_ma;
        open.then_some((self.lower_ma, self.upper_ma))
    }
}

/// The workable band.
///
/// - Formulas: lower end `U`, rounded up. Upper end the smallest of the ceiling, the range and either
///   the reading of the stated leak path less `guard_pct` % and `guard_steps` steps, or the larger of
///   `X50 + 2 (lower - X50)` and `2 X50`; `lower` there without the way to the edge of a wide reading step,
///   but the end no nearer than the lower end itself.
/// - A stated leak path without a known voltage cannot be turned into a current and counts as not stated.
#[must_use]
pub fn band(input: &BandInput, config: &Config) -> Band {
    let step_ma = input.step_ma();
    let x50 = input.x50_ma;
    let lower_ma = round_up(input.upper_now_ma.max(x50), step_ma);
    let mut ends = Vec::new();
    if let Some(end) = leak_path_end(input, config) {
        ends.push(end);
    } else {
        let times = config.upper_distance_factor;
        let within = input.upper_now_ma - input.of_step_ma;
        let from =
            if input.of_step_ma > 0.0 { round_up(within.max(x50), step_ma) } else { lower_ma };
        let within_step = from < lower_ma;
        // What a step leaves open keeps sound limits above the lower end; it makes no limit less far.
        let sum_ma = x50 + times * (from - x50);
        let far = if within_step { sum_ma.max(lower_ma) } else { sum_ma };
        // Nothing can be called too far from a lower end that is not known.
        if !far.is_infinite() {
            let (typical_ma, lower_ma) = (x50, from);
            let rule = UpperRule::TwiceAsFar { times, typical_ma, lower_ma, within_step, sum_ma };
            ends.extend(far.is_finite().then_some(UpperEnd { rule, ma: far }));
            let times = config.upper_typical_factor;
            ends.push(UpperEnd { rule: UpperRule::TwiceTypical { times }, ma: times * x50 });
        }
    }
    let by_distance = ends.iter().copied().max_by(|p, q| p.ma.total_cmp(&q.ma));
    let caps =
        [(UpperRule::Ceiling, input.ceiling_ma), (UpperRule::TesterRange, input.tester_range_ma)]
            .into_iter()
            .filter_map(|(rule, ma)| {
                Some(UpperEnd { rule, ma: ma.filter(|x| *x > 0.0 && x.is_finite())? })
            });
    let caps: Vec<UpperEnd> = caps.collect();
    let (upper_ma, upper_set_by) = by_distance
        .iter()
        .chain(&caps)
        .min_by(|p, q| p.ma.total_cmp(&q.ma))
        .map_or((f64::INFINITY, UpperKind::TwiceAsFar), |end| (end.ma, end.rule.kind()));
    ends.extend(caps);
    Band { lower_ma, upper_ma, upper_set_by, ends, step_ma }
}

/// The upper end that the leak path stated in `input` sets; `None` where none is, or no voltage is known.
#[must_use]
pub fn leak_path_end(input: &BandInput, config: &Config) -> Option<UpperEnd> {
    let mohm = input.leak_path_mohm?;
    let applied_v = input.applied_v.filter(|v| *v > 0.0)?;
    let reading_ma =
        physics::reading_with_leak_ma(input.adds, input.x50_ma, applied_v, mohm * 1e3)?;
    let guard = Guard::at(reading_ma, input.reading_step_ma, config);
    let rule = UpperRule::LeakPath { mohm, applied_v, reading_ma, guard };
    Some(UpperEnd { rule, ma: reading_ma - guard.ma })
}

/// The next multiple of `step` at or above `x`; `x` itself where no step is known.
#[must_use]
pub fn round_up(x: f64, step: f64) -> f64 {
    to_step(x, step, |k| (k - SAME_STEP).ceil())
}

/// The multiple of `step` at or below `x`; `x` itself where no step is known.
#[must_use]
pub fn round_down(x: f64, step: f64) -> f64 {
    to_step(x, step, |k| (k + SAME_STEP).floor())
}

/// A value this near to a step, in steps, is on it: `1.15 / 0.05` is not quite 23 in binary.
const SAME_STEP: f64 = 1e-6;

fn to_step(x: f64, step: f64, round: fn(f64) -> f64) -> f64 {
    if !(step > 0.0 && step.is_finite() && x.is_finite()) {
        return x;
    }
    let exact = round(x / step) * step;
    // Twelve digits, so that 23 steps of 0.05 print and compare as 1.15.
    format!("{exact:.11e}").parse().unwrap_or(exact)
}
