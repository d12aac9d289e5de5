//! What a unit should read by its capacitors, before or beside any measurement.
//!
//! The calculated band of a new model takes the highest expected reading and the guard band as its lower
//! end; the tolerance of capacitors is 10 % where none is stated (common practice, no source), so that 12 %
//! too little is found.

use crate::config::Config;
use crate::stats::estimate::Estimate;
use crate::stats::tolerance::distribution_free_sample;
use crate::verdict::band::{Band, BandInput, band};
use crate::verdict::physics::{self, LeakAdds};
use crate::verdict::suggest::{Suggestion, suggest};
use crate::words::{Wording, count, percent, three_digits};

/// What is known of a model's circuit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circuit {
    /// Capacitance between the tested parts, nF.
    pub capacitance_nf: f64,
    /// Its tolerance, a fraction of 1.
    pub tolerance: f64,
    /// Set voltage, V rms.
    pub applied_v: f64,
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Current of leads and fixture alone, lowest and highest station, mA; `None` where not known.
    pub leads_ma: Option<(f64, f64)>,
}

/// The reading that follows, mA.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// Current of the capacitance alone.
    pub capacitive_ma: f64,
    /// With leads and fixture in the middle of what is known of them.
    pub value_ma: f64,
    /// At the lower end of the tolerance, leads of the lowest station.
    pub low_ma: f64,
    /// At the upper end of the tolerance, leads of the highest station.
    pub high_ma: f64,
}

/// The reading that a circuit should give.
///
/// - Formula: `2 pi f C V` plus the current of the leads, which is capacitive too; ends by the tolerance.
///
/// `None` where a number is not above zero.
#[must_use]
pub fn expected(circuit: &Circuit) -> Option<Expected> {
    let positive = |x: f64| x > 0.0 && x.is_finite();
    if ![circuit.capacitance_nf, circuit.applied_v, circuit.frequency_hz].into_iter().all(positive)
        || !(0.0..1.0).contains(&circuit.tolerance)
    {
        return None;
    }
    let capacitive_ma = physics::capacitive_current_ma(
        circuit.frequency_hz,
        circuit.capacitance_nf,
        circuit.applied_v,
    );
    let (least, most) = circuit.leads_ma.unwrap_or((0.0, 0.0));
    Some(Expected {
        capacitive_ma,
        value_ma: capacitive_ma + f64::midpoint(least, most),
        low_ma: capacitive_ma * (1.0 - circuit.tolerance) + least,
        high_ma: capacitive_ma * (1.0 + circuit.tolerance) + most,
    })
}

/// How a measured typical reading stands to the expected one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Compared {
    /// Inside the tolerance, or not certainly outside.
    AsExpected,
    /// Certainly lower: a capacitor or a connection may be missing.
    Lower,
    /// Certainly higher.
    Higher,
}

impl Compared {
    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::AsExpected => "as_expected",
            Self::Lower => "lower",
            Self::Higher => "higher",
        }
    }
}

/// Measured against expected.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// How they stand to each other.
    pub kind: Compared,
    /// Measured typical reading over the expected one, less 1, in per cent.
    pub difference_pct: Estimate,
    /// The capacitance that would make the difference, nF: below zero where it is missing.
    pub difference_nf: f64,
    /// One sentence.
    pub sentence: String,
}

/// Sets a measured typical reading beside the expected one; `None` where the interval is not finite.
#[must_use]
pub fn compare(
    circuit: &Circuit,
    expected: &Expected,
    x50: &Estimate,
    say: Wording,
) -> Option<Comparison> {
    let pct = |ma: f64| 100.0 * (ma / expected.value_ma - 1.0);
    let difference_pct = Estimate::new(
        pct(x50.value),
        pct(x50.low),
        pct(x50.high),
        x50.level,
        "measured typical reading over the calculated one",
    )
    .filter(|e| e.low.is_finite() && e.high.is_finite())?;
    let per_nf = physics::capacitive_current_ma(circuit.frequency_hz, 1.0, circuit.applied_v);
    let difference_nf = (x50.value - expected.value_ma) / per_nf;
    let kind = if x50.high < expected.low_ma {
        Compared::Lower
    } else if x50.low > expected.high_ma {
        Compared::Higher
    } else {
        Compared::AsExpected
    };
    let stands = format!(
        "The typical unit reads {}, {} % {} than the {} that {} nF should give at {} V and {} Hz{}",
        say.estimate(x50.value),
        three_digits(difference_pct.value.abs()),
        if difference_pct.value < 0.0 { "less" } else { "more" },
        say.estimate(expected.value_ma),
        three_digits(circuit.capacitance_nf),
        circuit.applied_v,
        circuit.frequency_hz,
        if circuit.leads_ma.is_some() {
            " with the leads of its stations"
        } else {
            " (leads and fixtures not known and not counted)"
        },
    );
    let range = format!("{} to {}", say.estimate(expected.low_ma), say.estimate(expected.high_ma));
    let sentence = match kind {
        Compared::AsExpected => format!("{stands}: inside the tolerance ({range})."),
        Compared::Lower => format!(
            "{stands}: below the tolerance ({range}). About {} nF are missing: look for a capacitor or a \
             connection that is not there, and check the value against the parts list.",
            three_digits(difference_nf.abs())
        ),
        Compared::Higher => format!(
            "{stands}: above the tolerance ({range}). About {} nF are too many, or a leak adds to every unit: \
             check the value against the parts list, and the fixture.",
            three_digits(difference_nf.abs())
        ),
    };
    Some(Comparison { kind, difference_pct, difference_nf, sentence })
}

/// A first band for a model that has no history: calculated, not measured.
#[derive(Debug, Clone, PartialEq)]
pub struct CalculatedBand {
    /// The band; its lower end is the highest expected reading and the guard band.
    pub band: Band,
    /// Ends to print, mA; `None` where no limit works.
    pub workable_ma: Option<(f64, f64)>,
    /// A first limit.
    pub suggested: Option<Suggestion>,
    /// Units until a provisional verdict, until a verdict, and until the accepted share is shown without any
    /// assumption about the distribution, if none of them is rejected.
    pub units: (u64, u64, Option<u64>),
    /// Where each end comes from, in sentences.
    pub sentences: Vec<String>,
}

/// The first workable band of a new model, from its circuit alone.
///
/// - Lower end: the highest expected reading, plus the guard band of the instrument, rounded up to a limit step.
///   Upper end: as for a measured series ([`band()`]), around the expected reading.
/// - `setting`: voltage, leak path, ceiling, range and steps; its X50 and bounds are not read.
#[must_use]
pub fn calculated(
    circuit: &Circuit,
    expected: &Expected,
    setting: &BandInput,
    config: &Config,
) -> CalculatedBand {
    let guard = config.tester.accuracy_pct / 100.0 * expected.high_ma
        + config.tester.accuracy_steps * setting.reading_step_ma.max(0.0);
    let input = BandInput {
        x50_ma: expected.value_ma,
        upper_now_ma: expected.high_ma + guard,
        upper_at_horizon_ma: None,
        adds: LeakAdds::AtRightAngles,
        ..setting.clone()
    };
    let band = band(&input, config);
    let suggested = suggest(&input, &band, config);
    let say = Wording::new(expected.value_ma, input.step_ma());
    let mut sentences = vec![
        format!(
            "{} nF at {} V and {} Hz carry {}{}: a unit should read {} ({} to {} over the tolerance of {}).",
            three_digits(circuit.capacitance_nf),
            circuit.applied_v,
            circuit.frequency_hz,
            say.estimate(expected.capacitive_ma),
            circuit.leads_ma.map_or_else(
                || "; leads and fixtures are not known and come on top".to_owned(),
                |(least, most)| {
                    if least == most {
                        format!(", leads and fixture {}", say.estimate(most))
                    } else {
                        format!(
                            ", leads and fixtures {} to {}",
                            say.estimate(least),
                            say.estimate(most)
                        )
                    }
                }
            ),
            say.estimate(expected.value_ma),
            say.estimate(expected.low_ma),
            say.estimate(expected.high_ma),
            percent(circuit.tolerance),
        ),
        format!(
            "The lower end of the band is {}: the highest expected reading and the guard band of {} ({} of the \
             reading and {} reading steps), rounded up to a limit step.",
            say.current(band.lower_ma),
            say.estimate(guard),
            percent(config.tester.accuracy_pct / 100.0),
            config.tester.accuracy_steps
        ),
    ];
    sentences.extend(band.ends.iter().map(|end| {
        if end.kind == band.upper_set_by {
            format!("{} This sets the upper end of the band.", end.sentence)
        } else {
            end.sentence.clone()
        }
    }));
    let free = distribution_free_sample(1.0 - config.accepted_reject_share, config.confidence).map(
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a whole number below 2^53"
        )]
        |n| n as u64,
    );
    sentences.push(format!(
        "Calculated, not measured. {} give a provisional verdict, {} over {} and {} a verdict{}.",
        count(config.provisional_units, "unit"),
        count(config.verdict_units, "unit"),
        count(config.verdict_days, "production day"),
        count(config.verdict_lots, "lot"),
        free.map_or_else(String::new, |n| format!(
            "; {} without one above a limit show, whatever the distribution, that it rejects at most {} of healthy units",
            count(n, "unit"),
            percent(config.accepted_reject_share)
        ))
    ));
    CalculatedBand {
        workable_ma: band.workable_ma(),
        band,
        suggested,
        units: (config.provisional_units, config.verdict_units, free),
        sentences,
    }
}
