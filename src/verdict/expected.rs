//! What a unit should read by its capacitors, before or beside any measurement.
//!
//! The tolerance of capacitors is 10 % where none is stated (common practice, no source), so that 12 % too
//! little is found.

use serde::{Serialize, Serializer};

use crate::stats::estimate::Estimate;
use crate::verdict::physics;
use crate::words::{Wording, object, percent, three_digits};

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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Compared {
    /// Inside the tolerance, or not certainly outside.
    AsExpected,
    /// Certainly lower: a capacitor or a connection may be missing.
    Lower,
    /// Certainly higher.
    Higher,
}

/// Measured against expected.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// How they stand to each other.
    pub kind: Compared,
    /// Measured typical reading, mA.
    pub typical_ma: f64,
    /// Measured typical reading over the expected one, less 1, in per cent.
    pub difference_pct: Estimate,
    /// The capacitance that would make the difference, nF: below zero where it is missing.
    pub difference_nf: f64,
}

/// Sets a measured typical reading beside the expected one; `None` where the interval is not finite.
#[must_use]
pub fn compare(circuit: &Circuit, expected: &Expected, x50: &Estimate) -> Option<Comparison> {
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
    Some(Comparison { kind, typical_ma: x50.value, difference_pct, difference_nf })
}

/// What stands beside an expected reading.
#[derive(Debug, Clone, PartialEq)]
pub enum Beside {
    /// The measured typical reading.
    Measured(Comparison),
    /// Nothing: the series has no typical reading.
    NotMeasured,
    /// Nothing: the model has no history.
    NewModel,
}

/// The reading that a circuit should give, and what stands beside it: `expected` of a limit study.
#[derive(Debug, Clone, PartialEq)]
pub struct Expectation {
    /// The circuit.
    pub circuit: Circuit,
    /// Its reading.
    pub reading: Expected,
    /// What stands beside it.
    pub beside: Beside,
    /// How its currents are printed.
    pub say: Wording,
}

impl Expectation {
    /// The measured reading against it.
    #[must_use]
    pub fn compared(&self) -> Option<&Comparison> {
        match &self.beside {
            Beside::Measured(compared) => Some(compared),
            Beside::NotMeasured | Beside::NewModel => None,
        }
    }

    /// In one sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        let value = self.say.estimate(self.reading.value_ma);
        match &self.beside {
            Beside::Measured(compared) => self.stands(compared),
            Beside::NotMeasured => {
                format!("A unit should read {value}; no typical reading is known to set beside it.")
            }
            Beside::NewModel => self.carries(),
        }
    }

    fn range(&self) -> String {
        let [low, high] = [self.reading.low_ma, self.reading.high_ma].map(|x| self.say.estimate(x));
        format!("{low} to {high}")
    }

    fn stands(&self, compared: &Comparison) -> String {
        let (say, circuit) = (self.say, &self.circuit);
        let stands = format!(
            "The typical unit reads {}, {} % {} than the {} that {} nF should give at {} V and {} Hz{}",
            say.estimate(compared.typical_ma),
            three_digits(compared.difference_pct.value.abs()),
            if compared.difference_pct.value < 0.0 { "less" } else { "more" },
            say.estimate(self.reading.value_ma),
            three_digits(circuit.capacitance_nf),
            circuit.applied_v,
            circuit.frequency_hz,
            if circuit.leads_ma.is_some() {
                " with the leads of its stations"
            } else {
                " (leads and fixtures not known and not counted)"
            },
        );
        let (range, nf) = (self.range(), three_digits(compared.difference_nf.abs()));
        match compared.kind {
            Compared::AsExpected => format!("{stands}: inside the tolerance ({range})."),
            Compared::Lower => format!(
                "{stands}: below the tolerance ({range}). About {nf} nF are missing: look for a capacitor or a \
                 connection that is not there, and check the value against the parts list."
            ),
            Compared::Higher => format!(
                "{stands}: above the tolerance ({range}). About {nf} nF are too many, or a leak adds to every \
                 unit: check the value against the parts list, and the fixture."
            ),
        }
    }

    fn carries(&self) -> String {
        let (say, circuit) = (self.say, &self.circuit);
        let leads = match circuit.leads_ma {
            None => "; leads and fixtures are not known and come on top".to_owned(),
            Some((least, most)) if least == most => {
                format!(", leads and fixture {}", say.estimate(most))
            }
            Some((least, most)) => {
                format!(", leads and fixtures {} to {}", say.estimate(least), say.estimate(most))
            }
        };
        format!(
            "{} nF at {} V and {} Hz carry {}{leads}: a unit should read {} ({} over the tolerance of {}).",
            three_digits(circuit.capacitance_nf),
            circuit.applied_v,
            circuit.frequency_hz,
            say.estimate(self.reading.capacitive_ma),
            say.estimate(self.reading.value_ma),
            self.range(),
            percent(circuit.tolerance),
        )
    }
}

impl Serialize for Expectation {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let compared = self.compared();
        object!(to;
            "capacitance_nf": self.circuit.capacitance_nf,
            "tolerance_pct": 100.0 * self.circuit.tolerance,
            "value_ma": self.reading.value_ma,
            "low_ma": self.reading.low_ma,
            "high_ma": self.reading.high_ma,
            "compared": compared.map(|c| c.kind),
            "difference_pct": compared.map(|c| &c.difference_pct),
            "difference_nf": compared.map(|c| c.difference_nf),
            "sentence": self.sentence(),
        )
    }
}
