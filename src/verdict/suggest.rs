//! Which limit to suggest, always inside the workable band, with the loads that prove it.
//!
//! Raising a limit is the unsafe direction: a raise is the smallest that serves, the lower end and the guard band.
//! A limit that is lowered, or set first, may leave healthy units more air.

use crate::config::Config;
use crate::verdict::band::{Band, BandInput, Guard, OtherLeakPath, round_down, round_up};
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
    /// What it raises; `None` where it raises nothing.
    pub raise: Option<Raise>,
}

/// A limit raised, and what must be looked at before it may be.
#[derive(Debug, Clone, PartialEq)]
pub struct Raise {
    /// The limit in force, mA.
    pub from_ma: f64,
    /// Its blind spot for a typical unit, MΩ.
    pub from_mohm: Option<f64>,
    /// The limit it is raised to, mA.
    pub to_ma: f64,
    /// Its blind spot.
    pub to_mohm: Option<f64>,
    /// The smallest harmful leak path stated for this model, MΩ.
    pub stated_mohm: Option<f64>,
    /// The lowest one stated for another model, where none is for this one.
    pub other: Option<OtherLeakPath>,
}

/// The limit to suggest. `None` where no limit works.
///
/// - To raise a limit (`from_ma` below the lower end): the lower end and the guard band there, rounded up to three
///   digits and a limit step.
/// - Else the larger of `X50 + 2 (lower end - X50)` and `1.25 X50`, rounded up alike; where the band is too narrow
///   for that, the first of the two, or the middle of the band.
///
/// Kept inside the band in every case.
#[must_use]
pub fn suggest(
    input: &BandInput,
    band: &Band,
    from_ma: Option<f64>,
    config: &Config,
) -> Option<Suggestion> {
    let (low, high) = band.workable_ma()?;
    let x50 = input.x50_ma;
    let raised = from_ma.filter(|limit| *limit < low);
    let set = |ma: f64| round_up(ma, people_set(ma).max(band.step_ma));
    let wanted = if raised.is_some() {
        set(low + Guard::at(low, input.reading_step_ma, config).ma)
    } else {
        let away = x50 + config.suggest_distance_factor * (low - x50);
        let far = away.max(config.suggest_typical_factor * x50);
        let inside = |ma: &f64| *ma < high;
        [far, away].map(set).into_iter().find(inside).unwrap_or_else(|| set((low + high) / 2.0))
    };
    let limit_ma =
        if wanted > high { round_down(high, band.step_ma).min(high) } else { wanted }.max(low);
    (limit_ma > 0.0 && limit_ma.is_finite()).then(|| Suggestion {
        limit_ma,
        blind_spot_mohm: blind_spot_mohm(input, limit_ma, x50),
        proving: input.applied_v.and_then(|v| physics::proving_loads(v, limit_ma, config)),
        only_tighter: false,
        raise: raised.map(|from_ma| Raise::new(input, from_ma, limit_ma)),
    })
}

impl Raise {
    /// A raise of the limit of `input`'s units, mA.
    #[must_use]
    pub fn new(input: &BandInput, from_ma: f64, to_ma: f64) -> Self {
        let blind = |limit: f64| blind_spot_mohm(input, limit, input.x50_ma);
        Self {
            from_ma,
            from_mohm: blind(from_ma),
            to_ma,
            to_mohm: blind(to_ma),
            stated_mohm: input.leak_path_mohm,
            other: input.other_leak_path.clone().filter(|_| input.leak_path_mohm.is_none()),
        }
    }
}

/// The step of what people set: three digits of a limit.
fn people_set(ma: f64) -> f64 {
    if ma > 0.0 && ma.is_finite() { 10_f64.powf(ma.log10().floor() - 2.0) } else { 0.0 }
}

/// Blind spot of a limit for a unit whose healthy current is `healthy_ma`, in MΩ.
#[must_use]
pub fn blind_spot_mohm(input: &BandInput, limit_ma: f64, healthy_ma: f64) -> Option<f64> {
    physics::blind_spot_kohm(input.adds, input.applied_v?, limit_ma, healthy_ma).map(|r| r / 1e3)
}
