//! The workable band: the limits that neither reject healthy units nor let a bad one through.

use crate::config::Config;
use crate::verdict::physics::{self, LeakAdds};
use crate::words::{Wording, percent, resistance};

/// What the band is made from. Currents in mA, voltage in V, resistance in MΩ.
#[derive(Debug, Clone, PartialEq)]
pub struct BandInput {
    /// Typical reading X50.
    pub x50_ma: f64,
    /// `U`: upper bound of the reading that `1 - a` of the healthy body stays under, today. May be infinite.
    pub upper_now_ma: f64,
    /// `U` carried to the end of the planning horizon, where a slope is established.
    pub upper_at_horizon_ma: Option<f64>,
    /// How a leak joins the healthy current.
    pub adds: LeakAdds,
    /// Set voltage.
    pub applied_v: Option<f64>,
    /// The smallest harmful leak path, where the user states it.
    pub leak_path_mohm: Option<f64>,
    /// Ceiling of the user's own standard.
    pub ceiling_ma: Option<f64>,
    /// End of the tester's range.
    pub tester_range_ma: Option<f64>,
    /// The instrument's reading step at the size of the limit.
    pub reading_step_ma: f64,
    /// Limits are set in multiples of it; the reading step where absent.
    pub limit_step_ma: Option<f64>,
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

/// One candidate for the upper end.
#[derive(Debug, Clone, PartialEq)]
pub struct UpperEnd {
    /// Which rule.
    pub kind: UpperKind,
    /// The limit it allows at most, mA.
    pub ma: f64,
    /// The rule with its numbers, as a full sentence.
    pub sentence: String,
}

/// The workable band.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Lower end: `U`, carried to the end of the horizon where a slope is established, rounded up to a
    /// limit step, mA. Infinite where the data do not bound it.
    pub lower_ma: f64,
    /// The same for today, not carried, mA.
    pub lower_today_ma: f64,
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
    /// Whether a limit exists that serves to the end of the horizon.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.lower_ma.is_finite() && self.lower_ma <= self.upper_ma
    }

    /// Whether a limit exists that serves today.
    #[must_use]
    pub fn is_open_today(&self) -> bool {
        self.lower_today_ma.is_finite() && self.lower_today_ma <= self.upper_ma
    }

    /// The ends to print and to propose inside, `(low, high)` in mA: to the end of the horizon, or
    /// today's where drift closes the band before. `None` where no limit works.
    #[must_use]
    pub fn workable_ma(&self) -> Option<(f64, f64)> {
        if self.is_open() {
            Some((self.lower_ma, self.upper_ma))
        } else if self.is_open_today() {
            Some((self.lower_today_ma, self.upper_ma))
        } else {
            None
        }
    }
}

/// The workable band.
///
/// - Formulas: lower end `U`, rounded up. Upper end the smallest of the ceiling, the range and either
///   the reading of the stated leak path less `guard_pct` % and `guard_steps` steps, or the larger of
///   `X50 + 2 (lower - X50)` and `2 X50`.
/// - A stated leak path without a known voltage cannot be turned into a current and counts as not stated.
#[must_use]
pub fn band(input: &BandInput, config: &Config) -> Band {
    let step_ma = input.step_ma();
    let x50 = input.x50_ma;
    let upper_now = input.upper_now_ma.max(x50);
    // A falling slope must not take the band below what today's units need.
    let carried =
        input.upper_at_horizon_ma.filter(|u| !u.is_nan()).map_or(upper_now, |u| u.max(upper_now));
    let lower_today_ma = round_up(upper_now, step_ma);
    let lower_ma = round_up(carried, step_ma);
    let say = Wording::new(x50, step_ma);
    let mut ends = Vec::new();

    if let Some(end) = leak_path_end(input, config, say) {
        ends.push(end);
    } else {
        let far = x50 + config.upper_distance_factor * (lower_ma - x50);
        let twice = config.upper_typical_factor * x50;
        if far.is_finite() {
            ends.push(UpperEnd {
                kind: UpperKind::TwiceAsFar,
                ma: far,
                sentence: format!(
                    "{} times as far from the typical reading ({}) as the lower end ({}) is {}.",
                    config.upper_distance_factor,
                    say.estimate(x50),
                    say.current(lower_ma),
                    say.estimate(far)
                ),
            });
        }
        ends.push(UpperEnd {
            kind: UpperKind::TwiceTypical,
            ma: twice,
            sentence: format!(
                "{} times the typical reading is {}.",
                config.upper_typical_factor,
                say.estimate(twice)
            ),
        });
        if far.is_infinite() {
            // Nothing can be called too far from a lower end that is not known.
            ends.clear();
        }
    }
    let by_distance =
        ends.iter().max_by(|p, q| p.ma.total_cmp(&q.ma)).map(|end| (end.ma, end.kind));

    for (kind, ma, what) in [
        (UpperKind::Ceiling, input.ceiling_ma, "The ceiling of the stated standard is"),
        (UpperKind::TesterRange, input.tester_range_ma, "The tester's range ends at"),
    ] {
        if let Some(ma) = ma.filter(|x| *x > 0.0 && x.is_finite()) {
            ends.push(UpperEnd { kind, ma, sentence: format!("{what} {}.", say.current(ma)) });
        }
    }
    let caps = ends
        .iter()
        .filter(|end| matches!(end.kind, UpperKind::Ceiling | UpperKind::TesterRange))
        .map(|end| (end.ma, end.kind));
    let (upper_ma, upper_set_by) = by_distance
        .into_iter()
        .chain(caps)
        .min_by(|p, q| p.0.total_cmp(&q.0))
        .unwrap_or((f64::INFINITY, UpperKind::TwiceAsFar));
    Band { lower_ma, lower_today_ma, upper_ma, upper_set_by, ends, step_ma }
}

fn leak_path_end(input: &BandInput, config: &Config, say: Wording) -> Option<UpperEnd> {
    let mohm = input.leak_path_mohm?;
    let volts = input.applied_v.filter(|v| *v > 0.0)?;
    let reading = physics::reading_with_leak_ma(input.adds, input.x50_ma, volts, mohm * 1e3)?;
    let guard = config.tester.accuracy_pct / 100.0 * reading
        + config.tester.accuracy_steps * input.reading_step_ma.max(0.0);
    let ma = reading - guard;
    Some(UpperEnd {
        kind: UpperKind::LeakPath,
        ma,
        sentence: format!(
            "A leak path of {} at {volts} V makes a typical unit read {}; less the guard band of {} \
             ({} of the reading and {} reading steps) that is {}.",
            resistance(mohm),
            say.estimate(reading),
            say.estimate(guard),
            percent(config.tester.accuracy_pct / 100.0),
            config.tester.accuracy_steps,
            say.estimate(ma)
        ),
    })
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
