//! What charts are made from: a review, with the pass and the settings.

use crate::analysis::Findings;
use crate::config::Config;
use crate::movement::Movement;
use crate::review::Review;
use crate::series::{Pass, Register};
use crate::verdict::jump::JudgedJump;
use crate::verdict::plant::{SeriesVerdict, SharedLimit};

/// Everything a report is built from.
#[derive(Debug, Clone, Copy)]
pub struct Parts<'a> {
    /// The pass.
    pub pass: &'a Pass,
    /// What moved.
    pub movement: &'a Movement,
    /// Changes of the share of failures, judged.
    pub jumps: &'a [JudgedJump],
    /// Findings.
    pub findings: &'a Findings,
    /// Verdicts.
    pub verdicts: &'a [SeriesVerdict],
    /// Models that share one limit.
    pub limit_groups: &'a [SharedLimit],
    /// Events and calibrations.
    pub register: &'a Register,
    /// Settings.
    pub config: &'a Config,
    /// Name of the report.
    pub name: &'a str,
    /// Month under review.
    pub month: (i32, u32),
}

impl<'a> Parts<'a> {
    /// What the charts of a finished review are made from.
    #[must_use]
    pub fn new(review: &'a Review, pass: &'a Pass, config: &'a Config, month: (i32, u32)) -> Self {
        Self {
            pass,
            movement: &review.moved,
            jumps: &review.verdicts.jumps,
            findings: &review.findings,
            verdicts: &review.verdicts.series,
            limit_groups: &review.verdicts.limit_groups,
            register: &review.register,
            config,
            name: &review.name,
            month,
        }
    }
}
