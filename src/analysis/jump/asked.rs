//! What is asked about jumps, by the settings and by who asks.

use super::rise::Demands;
use crate::config::Config;
use crate::day::Day;

/// False discovery rate over all levels asked for one change.
const FALSE_CAUSES: f64 = 0.05;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// p-value of a change.
    pub p: f64,
    /// What a cause must be.
    pub demands: Demands,
    /// Seed of replicates and draws.
    pub seed: u64,
    /// The date, where it is known: then only that is looked at.
    pub since: Option<Day>,
    /// The model looked at; all, and with them stations and the line, where `None`.
    pub model: Option<String>,
}

impl Asked {
    /// Every change of every series, station and the line, by the settings.
    #[must_use]
    pub fn all(config: &Config) -> Self {
        Self {
            p: config.jump_p,
            demands: Demands {
                failures: config.cause_failures,
                share: config.cause_share,
                false_discoveries: FALSE_CAUSES,
                confidence: config.confidence,
            },
            seed: config.seed,
            since: None,
            model: None,
        }
    }

    /// Whether a model is looked at: names are compared without case and blanks around.
    #[must_use]
    pub fn looks_at(&self, model: &str) -> bool {
        let plain = |name: &str| name.trim().to_lowercase();
        self.model.as_deref().is_none_or(|wanted| plain(wanted) == plain(model))
    }
}
