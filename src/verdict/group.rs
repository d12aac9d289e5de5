//! Models that share one limit: can one limit serve them all?

use serde::Serialize;

use crate::verdict::band::{round_down, round_up};
use crate::words::Wording;

/// One model's workable band.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    /// The model, or the series' title where a model has several.
    pub name: String,
    /// Typical reading, mA: chooses the unit of the sentence.
    pub x50_ma: f64,
    /// Ends of its workable band, mA; `None` where it has none. The upper end may be infinite.
    pub band_ma: Option<(f64, f64)>,
}

/// The band that a group of models shares: an entry of `limit_groups` in `results.json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupBand {
    /// Name of the group.
    pub group: String,
    /// Highest of the lower ends, mA, rounded up to a limit step; `None` where a member has no band.
    pub band_low_ma: Option<f64>,
    /// Lowest of the upper ends, mA, rounded down to a limit step; `None` where none is bounded or a member has no band.
    pub band_high_ma: Option<f64>,
    /// The model that sets the lower end.
    pub low_set_by: Option<String>,
    /// The model that sets the upper end.
    pub high_set_by: Option<String>,
    /// Whether one limit can serve them all.
    pub one_limit_serves: bool,
    /// Models without a band.
    #[serde(skip)]
    pub without: Vec<String>,
    /// How its currents are printed.
    #[serde(skip)]
    pub say: Wording,
}

impl GroupBand {
    /// What the group can share, in one sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        let (group, say) = (&self.group, self.say);
        let set_by = |ma: f64, by: &Option<String>| {
            format!("{} (set by {})", say.current(ma), by.as_deref().unwrap_or_default())
        };
        let Some(low) = self.band_low_ma else {
            return if self.without.is_empty() {
                format!("The limit group {group} has no model with readings.")
            } else {
                format!(
                    "One limit cannot be given for the group {group}: no workable band for {}.",
                    self.without.join(", ")
                )
            };
        };
        let low = set_by(low, &self.low_set_by);
        match self.band_high_ma.map(|high| set_by(high, &self.high_set_by)) {
            Some(high) if self.one_limit_serves => {
                format!("One limit can serve the group {group}: from {low} to {high}.")
            }
            Some(high) => format!(
                "One limit cannot serve the group {group}: it would have to be at least {low} and at most {high}."
            ),
            None => format!("One limit can serve the group {group}: from {low}."),
        }
    }
}

/// Intersection of the members' bands, in limit steps of `limit_step_ma` (0: no step). Ties go to the
/// member named first. Where the ends cross, both are given and no limit serves all.
#[must_use]
pub fn share_limit(group: &str, members: &[Member], limit_step_ma: f64) -> GroupBand {
    let typical = members.iter().map(|m| m.x50_ma).fold(0.0, f64::max);
    let mut out = GroupBand {
        group: group.to_owned(),
        band_low_ma: None,
        band_high_ma: None,
        low_set_by: None,
        high_set_by: None,
        one_limit_serves: false,
        without: members.iter().filter(|m| m.band_ma.is_none()).map(|m| m.name.clone()).collect(),
        say: Wording::new(typical, limit_step_ma),
    };
    if members.is_empty() || !out.without.is_empty() {
        return out;
    }
    for member in members {
        let Some((low, high)) = member.band_ma else {
            continue;
        };
        let (low, high) = (round_up(low, limit_step_ma), round_down(high, limit_step_ma));
        if out.band_low_ma.is_none_or(|best| low > best) {
            out.band_low_ma = Some(low);
            out.low_set_by = Some(member.name.clone());
        }
        if high.is_finite() && out.band_high_ma.is_none_or(|best| high < best) {
            out.band_high_ma = Some(high);
            out.high_set_by = Some(member.name.clone());
        }
    }
    let low = out.band_low_ma.unwrap_or(0.0);
    out.one_limit_serves = out.band_high_ma.is_none_or(|high| low <= high);
    out
}
