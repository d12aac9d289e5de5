//! Every threshold of the verdict, with its default, unit and reason. No other file holds one.

use serde::{Deserialize, Serialize};

/// One rule as printed in the method section of a report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleLine {
    /// Its name, as in the config.
    pub name: &'static str,
    /// The value in use.
    pub value: String,
    /// Unit of the value, or what it counts.
    pub unit: &'static str,
    /// Why this default: source or reason.
    pub reason: &'static str,
}

macro_rules! rules {
    ($( $(#[doc = $doc:literal])+ $name:ident: $kind:ty = $value:expr, $unit:literal, $reason:literal; )+) => {
        /// The thresholds and defaults in use. Currents are relative to the series; shares are fractions of 1.
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        #[serde(default, deny_unknown_fields)]
        pub struct Rules {
            $( $(#[doc = $doc])+ pub $name: $kind, )+
        }

        impl Default for Rules {
            fn default() -> Self {
                Self { $( $name: $value, )+ }
            }
        }

        impl Rules {
            /// All rules in the order of this file, one line each.
            #[must_use]
            pub fn lines(&self) -> Vec<RuleLine> {
                vec![ $( RuleLine {
                    name: stringify!($name),
                    value: self.$name.to_string(),
                    unit: $unit,
                    reason: $reason,
                }, )+ ]
            }
        }
    };
}

rules! {
    /// Accepted share `a` of healthy units rejected.
    accepted_reject_share: f64 = 0.001, "share of units", "default of the project: one healthy unit in a thousand";
    /// Confidence of bounds and intervals.
    confidence: f64 = 0.95, "share", "usual level of ISO 16269-6 tolerance bounds (from memory)";
    /// Planning horizon; never longer than the history.
    horizon_months: u32 = 6, "months", "limits are reviewed twice a year";
    /// Longest period judged.
    judged_months: u32 = 6, "months", "older units no longer describe the product";
    /// Longest period judged where the shape is a season.
    judged_months_season: u32 = 12, "months", "a season needs the whole year";
    /// The period judged is longer where it would hold fewer units.
    judged_units_min: u64 = 300, "units", "the 99.9 % point cannot be judged from fewer";
    /// Units for a verdict.
    verdict_units: u64 = 200, "units", "below this the bounds on the tail are too wide";
    /// Production days for a verdict.
    verdict_days: u64 = 10, "production days", "readings of one day are not independent";
    /// Lots for a verdict, where lots are known.
    verdict_lots: u64 = 3, "lots", "readings of one lot are not independent";
    /// Units for a provisional verdict.
    provisional_units: u64 = 50, "units", "below this no verdict is printed";
    /// Healthy rejects, seen or expected in the period, that `too tight` needs.
    too_tight_rejects: f64 = 3.0, "healthy rejects", "one or two may be chance, and raising a limit is the unsafe direction";
    /// Excess of readings beyond the cut that is too common to be defects.
    excess_share_max: f64 = 0.03, "share of units", "more is a second group or a heavy tail";
    /// Guard band: share of the reading.
    guard_pct: f64 = 1.5, "% of reading", "accuracy of a common tester; state your own";
    /// Guard band: reading steps on top.
    guard_steps: f64 = 2.0, "reading steps", "accuracy of a common tester; state your own";
    /// Upper end without a stated leak path: distance from the typical reading, in distances of the lower end.
    upper_distance_factor: f64 = 2.0, "distances of the lower end", "about six standard deviations for normal data, the order of the part-average-testing limits of AEC-Q001 (from memory)";
    /// Upper end without a stated leak path, at least this often the typical reading.
    upper_typical_factor: f64 = 2.0, "typical readings", "a narrow body would leave no room for the next lot, the supply voltage and the meter";
    /// Suggested limit: distance from the typical reading, in distances of the lower end.
    suggest_distance_factor: f64 = 2.0, "distances of the lower end", "as far again as healthy units reach";
    /// Suggested limit, at least this often the typical reading.
    suggest_typical_factor: f64 = 1.25, "typical readings", "room for supply voltage, meter and the next lot";
    /// A tighter limit is advised where the limit lies this much farther from the typical reading than the suggested one.
    tighter_advice_factor: f64 = 1.5, "distances of the suggested limit", "advice only; smaller differences are not worth a change";
    /// Proving load that must trip draws this share of the limit.
    trip_load_factor: f64 = 1.1, "limits", "clear of the meter's error";
    /// Proving load that must pass draws this share of the limit.
    pass_load_factor: f64 = 0.9, "limits", "clear of the meter's error";
    /// Material drift: share of the room used within the horizon.
    drift_room_share: f64 = 0.20, "share of the room", "less does not change a decision before the next review";
    /// Material drift: at least this many reading steps within the horizon.
    drift_reading_steps: f64 = 3.0, "reading steps", "less is not visible on the instrument";
    /// Material step: share of the room.
    step_room_share: f64 = 0.10, "share of the room", "a sudden change has a cause worth finding";
    /// Material step: share of the typical reading.
    step_typical_share: f64 = 0.02, "share of the typical reading", "about the error of a meter, so a calibration shows";
    /// Retests allowed for one unit.
    retests_allowed: u64 = 1, "retests", "each test at full voltage stresses sound insulation";
}

impl Rules {
    /// What is wrong with the values, one sentence each; empty where all can be used.
    #[must_use]
    pub fn problems(&self) -> Vec<String> {
        let mut found = Vec::new();
        let mut need = |ok: bool, name: &str, what: &str, value: f64| {
            if !ok {
                found.push(format!("{name}: expected {what}, found {value}"));
            }
        };
        let a = self.accepted_reject_share;
        need(a > 0.0 && a < 0.5, "accepted_reject_share", "a share above 0 and below 0.5", a);
        let c = self.confidence;
        need(c > 0.5 && c < 1.0, "confidence", "a share above 0.5 and below 1", c);
        for (name, value) in [
            ("guard_pct", self.guard_pct),
            ("guard_steps", self.guard_steps),
            ("excess_share_max", self.excess_share_max),
            ("drift_room_share", self.drift_room_share),
            ("drift_reading_steps", self.drift_reading_steps),
            ("step_room_share", self.step_room_share),
            ("step_typical_share", self.step_typical_share),
            ("too_tight_rejects", self.too_tight_rejects),
        ] {
            need(value >= 0.0 && value.is_finite(), name, "a number of 0 or more", value);
        }
        for (name, value) in [
            ("upper_distance_factor", self.upper_distance_factor),
            ("upper_typical_factor", self.upper_typical_factor),
            ("suggest_distance_factor", self.suggest_distance_factor),
            ("suggest_typical_factor", self.suggest_typical_factor),
            ("tighter_advice_factor", self.tighter_advice_factor),
            ("trip_load_factor", self.trip_load_factor),
        ] {
            need(value >= 1.0 && value.is_finite(), name, "a factor of 1 or more", value);
        }
        let p = self.pass_load_factor;
        need(p > 0.0 && p <= 1.0, "pass_load_factor", "a factor above 0, at most 1", p);
        found
    }
}

impl From<&super::Config> for Rules {
    /// The rules of these settings.
    fn from(config: &super::Config) -> Self {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "checked settings: small and above zero"
        )]
        let whole = |x: f64| x.round().max(0.0) as u64;
        Self {
            accepted_reject_share: config.accepted_reject_share,
            confidence: config.confidence,
            horizon_months: u32::try_from(whole(config.horizon_months)).unwrap_or(6),
            judged_months: u32::try_from(whole(config.judged_months)).unwrap_or(6),
            judged_months_season: u32::try_from(whole(config.judged_months_season)).unwrap_or(12),
            judged_units_min: whole(config.judged_units),
            verdict_units: whole(config.verdict_units),
            verdict_days: u64::from(config.verdict_days),
            verdict_lots: u64::from(config.verdict_lots),
            provisional_units: whole(config.provisional_units),
            too_tight_rejects: config.too_tight_rejects,
            guard_pct: config.tester.accuracy_pct,
            guard_steps: config.tester.accuracy_steps,
            drift_room_share: config.material_room_share,
            drift_reading_steps: config.material_steps,
            step_room_share: config.material_step_room_share,
            step_typical_share: config.material_step_typical_share,
            retests_allowed: u64::from(config.retests_allowed),
            ..Self::default()
        }
    }
}
