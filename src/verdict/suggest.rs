//! Which limit to suggest, always inside the workable band, with the loads that prove it.

use crate::config::Config;
use crate::verdict::band::{Band, BandInput, round_down, round_up};
use crate::verdict::physics::{self, ProvingLoads};

/// A limit suggested as advice.
#[derive(Debug, Clone, PartialEq)]
pub struct Suggestion {
    /// The limit, mA: on a limit step wherever the band holds one; inside the band, never above a ceiling.
    pub limit_ma: f64,
    /// Its blind spot for a typical unit, MΩ.
    pub blind_spot_mohm: Option<f64>,
    /// The loads that prove it; `None` where the voltage is unknown.
    pub proving: Option<ProvingLoads>,
    /// Whether it replaces a limit that fits and is only tighter.
    pub only_tighter: bool,
}

/// The limit to suggest: the larger of `X50 + 2 (lower end - X50)` and `1.25 X50`, rounded up to a limit
/// step, then kept inside the band. `None` where no limit works.
#[must_use]
pub fn suggest(input: &BandInput, band: &Band, config: &Config) -> Option<Suggestion> {
    let (low, high) = band.workable_ma()?;
    let x50 = input.x50_ma;
    let wanted = (x50 + config.suggest_distance_factor * (low - x50))
        .max(config.suggest_typical_factor * x50);
    let stepped = round_up(wanted, band.step_ma);
    let limit_ma =
        if stepped > high { round_down(high, band.step_ma).min(high) } else { stepped }.max(low);
    if !(limit_ma > 0.0 && limit_ma.is_finite()) {
        return None;
    }
    Some(Suggestion {
        limit_ma,
        blind_spot_mohm: blind_spot_mohm(input, limit_ma, x50),
        proving: input.applied_v.and_then(|v| physics::proving_loads(v, limit_ma, config)),
        only_tighter: false,
    })
}

/// Blind spot of a limit for a unit whose healthy current is `healthy_ma`, in MΩ.
#[must_use]
pub fn blind_spot_mohm(input: &BandInput, limit_ma: f64, healthy_ma: f64) -> Option<f64> {
    physics::blind_spot_kohm(input.adds, input.applied_v?, limit_ma, healthy_ma).map(|r| r / 1e3)
}
