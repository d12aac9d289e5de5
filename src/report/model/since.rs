//! This report against an earlier one.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// What is new, open and closed since an earlier report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SinceReport {
    /// The earlier report, as far as it is needed to compare with it again.
    pub earlier: Earlier,
    /// Actions that it did not have.
    pub new: Vec<OpenAction>,
    /// Actions that it had too, as they are now.
    pub still_open: Vec<OpenAction>,
    /// Its actions that are none any more.
    pub closed: Vec<OpenAction>,
    /// Series whose verdict changed.
    pub verdicts: Vec<VerdictChange>,
}

/// An earlier report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Earlier {
    /// Its name.
    pub name: String,
    /// Month it reviewed.
    pub month: String,
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
    /// Its actions.
    pub actions: Vec<OpenAction>,
    /// Verdict of each series by id; `null` where it had none.
    pub verdicts: BTreeMap<String, Option<String>>,
}

/// An action, as reports are compared by it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct OpenAction {
    /// Kind.
    pub kind: String,
    /// Subject.
    pub subject: String,
    /// What tells it from others of its kind and subject; mostly empty.
    #[serde(default)]
    pub key: String,
    /// What was found.
    pub sentence: String,
}

/// A verdict that changed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VerdictChange {
    /// Id of the series.
    pub series: String,
    /// Its title.
    pub title: String,
    /// Verdict before, in words.
    pub before: String,
    /// Verdict now, in words.
    pub now: String,
}
