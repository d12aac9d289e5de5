//! The unit in which the currents of one series are drawn.

use crate::words::currents::PRINTED_IN_UA_BELOW_MA;

/// mA, or µA where typical readings are small.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// `mA` or `µA`.
    pub name: &'static str,
    /// So many of it are one mA.
    pub factor: f64,
}

impl Unit {
    /// For readings of the size `typical_ma`.
    pub fn of(typical_ma: f64) -> Self {
        if typical_ma < PRINTED_IN_UA_BELOW_MA {
            Self { name: "µA", factor: 1e3 }
        } else {
            Self { name: "mA", factor: 1.0 }
        }
    }

    /// A current in this unit.
    pub fn of_ma(self, ma: f64) -> f64 {
        ma * self.factor
    }
}
