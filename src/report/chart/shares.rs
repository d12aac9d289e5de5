//! The axis of shares of a probability plot.

use super::{Scale, Tick};
use statrs::function::erf::erfc_inv;

/// How shares are spread along the axis, so that one family is a straight line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProbabilityScale {
    /// Normal quantiles over the reading.
    Normal,
    /// Normal quantiles over the logarithm of the reading.
    Lognormal,
    /// Weibull: `ln(-ln(1 - p))` over the logarithm.
    Weibull,
    /// Gumbel (maximum): `-ln(-ln p)` over the reading.
    Gumbel,
    /// Log-logistic: `ln(p / (1 - p))` over the logarithm.
    LogLogistic,
}

impl ProbabilityScale {
    /// Place of a share on the axis. Infinite at 0 and 1.
    pub fn place(self, p: f64) -> f64 {
        match self {
            Self::Normal | Self::Lognormal => -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p),
            Self::Weibull => (-(-p).ln_1p()).ln(),
            Self::Gumbel => -(-p.ln()).ln(),
            Self::LogLogistic => (p / (1.0 - p)).ln(),
        }
    }

    pub(super) fn readings(self) -> Scale {
        match self {
            Self::Normal | Self::Gumbel => Scale::Linear,
            Self::Lognormal | Self::Weibull | Self::LogLogistic => Scale::Log,
        }
    }

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Lognormal => "lognormal",
            Self::Weibull => "Weibull",
            Self::Gumbel => "Gumbel",
            Self::LogLogistic => "log-logistic",
        }
    }
}

/// Round shares with room for `rows` of them: the middle, then outwards by decades until there is no
/// room left, then those between.
pub(super) fn share_ticks(scale: ProbabilityScale, low: f64, high: f64, rows: usize) -> Vec<Tick> {
    let apart = (high - low) / rows as f64;
    let mut ticks: Vec<Tick> = Vec::new();
    let mut offer = |p: f64| {
        let place = scale.place(p);
        let fits =
            (low..=high).contains(&place) && ticks.iter().all(|t| (t.at - place).abs() >= apart);
        if fits {
            ticks.push(Tick { at: place, label: format!("{} %", share_text(p)) });
        }
        fits
    };
    offer(0.5);
    for decades in
        [[0.1, 0.01, 1e-3, 1e-4, 1e-5, 1e-6], [0.9, 0.99, 0.999, 0.999_9, 0.999_99, 0.999_999]]
    {
        let mut started = false;
        for p in decades {
            let fits = offer(p);
            // A decade left out between two that are shown would mislead.
            if started && !fits {
                break;
            }
            started = fits;
        }
    }
    for p in [0.2, 0.8, 0.3, 0.7, 0.05, 0.95, 0.02, 0.98] {
        offer(p);
    }
    ticks.sort_by(|a, b| a.at.total_cmp(&b.at));
    ticks
}

/// A share given by hand as per cent, not rounded: 99.99 must not read 100.
pub(super) fn share_text(p: f64) -> String {
    let text = format!("{:.4}", p * 100.0);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
