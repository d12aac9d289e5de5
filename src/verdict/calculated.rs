//! A first band for a model that has no history: calculated from its circuit, not measured. Its lower end is the
//! highest expected reading and the guard band.

use serde::{Serialize, Serializer};

use crate::config::Config;
use crate::series::TestKind;
use crate::stats::tolerance::distribution_free_sample;
use crate::verdict::band::{Band, BandInput, Guard, band};
use crate::verdict::evidence::Whose;
use crate::verdict::expected::{Beside, Circuit, Expectation, Expected};
use crate::verdict::physics::LeakAdds;
use crate::verdict::suggest::{Suggestion, suggest};
use crate::words::{Wording, count, object, percent};

/// The band with all that is known of it: `calculated` of a limit study.
#[derive(Debug, Clone, PartialEq)]
pub struct CalculatedBand {
    /// Kind of test.
    pub test: TestKind,
    /// The reading that the circuit should give.
    pub expected: Expectation,
    /// Voltage, leak path, ceiling, range and steps, around that reading.
    pub setting: BandInput,
    /// The guard band of the instrument at the highest expected reading.
    pub guard: Guard,
    /// The band; its lower end is the highest expected reading and the guard band.
    pub band: Band,
    /// Ends to print, mA; `None` where no limit works. The upper one may be infinite.
    pub workable_ma: Option<(f64, f64)>,
    /// A first limit.
    pub suggested: Option<Suggestion>,
    /// Units until a provisional verdict.
    pub units_for_provisional: u64,
    /// Units until a verdict.
    pub units_for_verdict: u64,
    /// Production days until a verdict.
    pub days_for_verdict: u64,
    /// Lots until a verdict.
    pub lots_for_verdict: u64,
    /// Share of healthy units that a limit may reject.
    pub accepted_share: f64,
    /// Units of which none may be rejected until the accepted share is shown whatever the distribution.
    pub units_without_reject: Option<u64>,
}

/// The first workable band of a new model, from its circuit alone.
///
/// - Lower end: the highest expected reading, plus the guard band of the instrument, rounded up to a limit step.
///   Upper end: as for a measured series ([`band()`]), around the expected reading.
/// - `setting`: voltage, leak path, ceiling, range and steps; its X50 and bounds are not read.
#[must_use]
pub fn calculated(
    test: TestKind,
    circuit: &Circuit,
    expected: &Expected,
    setting: &BandInput,
    config: &Config,
) -> CalculatedBand {
    let guard = Guard::at(expected.high_ma, setting.reading_step_ma, config);
    let setting = BandInput {
        x50_ma: expected.value_ma,
        upper_now_ma: expected.high_ma + guard.ma,
        of_step_ma: 0.0,
        adds: LeakAdds::AtRightAngles,
        ..setting.clone()
    };
    let band = band(&setting, config);
    CalculatedBand {
        test,
        expected: Expectation {
            circuit: *circuit,
            reading: *expected,
            beside: Beside::NewModel,
            say: Wording::new(expected.value_ma, setting.step_ma()),
        },
        guard,
        workable_ma: band.workable_ma(),
        suggested: suggest(&setting, &band, None, config),
        band,
        setting,
        units_without_reject: distribution_free_sample(
            1.0 - config.accepted_reject_share,
            config.confidence,
        )
        .map(
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a whole number below 2^53"
            )]
            |n| n as u64,
        ),
        units_for_provisional: config.provisional_units,
        units_for_verdict: config.verdict_units,
        days_for_verdict: config.verdict_days,
        lots_for_verdict: config.verdict_lots,
        accepted_share: config.accepted_reject_share,
    }
}

impl CalculatedBand {
    /// Where each end comes from, in sentences.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let (say, band) = (self.expected.say, &self.band);
        let mut sentences = vec![
            self.expected.sentence(),
            format!(
                "The lower end of the band is {}: the highest expected reading and the guard band of {}, rounded \
                 up to a limit step.",
                say.current(band.lower_ma),
                self.guard.words(say)
            ),
        ];
        sentences.extend(
            band.ends.iter().map(|e| e.sentence_of_band(band.is_set_by(e), &Whose::default(), say)),
        );
        let free = self.units_without_reject.map_or_else(String::new, |n| {
            format!(
                "; {} without one above a limit show, whatever the distribution, that it rejects at most {} of \
                 healthy units",
                count(n, "unit"),
                percent(self.accepted_share)
            )
        });
        sentences.push(format!(
            "Calculated, not measured. {} give a provisional verdict, {} over {} and {} a verdict{free}.",
            count(self.units_for_provisional, "unit"),
            count(self.units_for_verdict, "unit"),
            count(self.days_for_verdict, "production day"),
            count(self.lots_for_verdict, "lot"),
        ));
        sentences
    }
}

impl Serialize for CalculatedBand {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let suggested = self.suggested.as_ref();
        object!(to;
            "test": self.test.key().replace(' ', "_"),
            "applied_v": self.expected.circuit.applied_v,
            "frequency_hz": self.expected.circuit.frequency_hz,
            "expected": self.expected,
            "band_low_ma": self.workable_ma.map(|w| w.0),
            "band_high_ma": self.workable_ma.map(|w| w.1).filter(|high| high.is_finite()),
            "suggested_ma": suggested.map(|s| s.limit_ma),
            "blind_spot_mohm": suggested.and_then(|s| s.blind_spot_mohm),
            "units_for_provisional": self.units_for_provisional,
            "units_for_verdict": self.units_for_verdict,
            "units_without_reject": self.units_without_reject,
            "loads": suggested.and_then(|s| s.proving.as_ref()),
            "sentences": self.sentences(),
            "limit_step_ma": self.setting.step_ma(),
        )
    }
}
