//! The `results.json` of an earlier review → what a later one is compared with.

use std::collections::BTreeMap;
use std::path::Path;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::error::{Error, Place, Result};

/// The schema named in every result file of a review: what this version writes, and all that it reads.
pub const SCHEMA: &str = "leakdrift.results/1";

/// An earlier report, as far as it is needed to compare with it again.
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
    /// Its incidents; none where it is of a version that had none.
    #[serde(default)]
    pub incidents: Vec<OpenIncident>,
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

/// An incident, as reports are compared by it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OpenIncident {
    /// Its id.
    pub id: String,
    /// Models, series and stations.
    #[serde(rename = "where")]
    pub places: Vec<String>,
    /// What was found.
    pub what: String,
    /// Units that somebody must look at.
    #[serde(default)]
    pub units: u64,
}

/// What is read of a `results.json`.
#[derive(Debug, Deserialize)]
struct Results {
    schema: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    month: String,
    #[serde(default)]
    from: Option<NaiveDate>,
    #[serde(default)]
    to: Option<NaiveDate>,
    #[serde(default)]
    actions: Vec<OpenAction>,
    #[serde(default)]
    incidents: Vec<OpenIncident>,
    #[serde(default)]
    series: Vec<SeriesRead>,
    #[serde(default)]
    since_report: Option<Carried>,
}

#[derive(Debug, Deserialize)]
struct SeriesRead {
    id: String,
    verdict: VerdictRead,
}

#[derive(Debug, Deserialize)]
struct VerdictRead {
    verdict: Option<String>,
}

/// The earlier report that a report was itself compared with.
#[derive(Debug, Deserialize)]
struct Carried {
    earlier: Earlier,
}

fn read(path: &Path) -> Result<Results> {
    let text =
        std::fs::read_to_string(path).map_err(|e| Error::io("read the earlier report", path, e))?;
    let refused = |expected: String, found: String| {
        let next = "name the results.json of a review, or leave --since-report out";
        Error::input(Place::file(path), expected, found, next)
    };
    let results: Results = serde_json::from_str(&text)
        .map_err(|e| refused("the results.json of an earlier review".to_owned(), e.to_string()))?;
    if results.schema != SCHEMA {
        return Err(refused(format!("schema {SCHEMA}"), results.schema));
    }
    Ok(results)
}

fn earlier(results: Results) -> Earlier {
    Earlier {
        name: results.name,
        month: results.month,
        from: results.from.unwrap_or_default(),
        to: results.to.unwrap_or_default(),
        actions: results.actions,
        incidents: results.incidents,
        verdicts: results.series.into_iter().map(|s| (s.id, s.verdict.verdict)).collect(),
    }
}

/// The report that somebody named, by its result file or its folder.
///
/// # Errors
/// Where it cannot be read, or is no result of a review.
pub fn named(path: &Path) -> Result<Earlier> {
    let file = if path.is_dir() { &path.join("results.json") } else { path };
    read(file).map(earlier)
}

/// The report in the folder that is about to be replaced, where it is an earlier one.
///
/// A report made again from the same days is not earlier than itself: it is compared with what it was
/// compared with before. One that reaches further than the new one, and a file that is no result, say nothing.
#[must_use]
pub fn beside(folder: &Path, month: &str, to: NaiveDate) -> Option<Earlier> {
    let results = read(&folder.join("results.json")).ok()?;
    let found_to = results.to?;
    if found_to < to || (found_to == to && results.month.as_str() < month) {
        Some(earlier(results))
    } else if found_to == to && results.month == month {
        results.since_report.map(|s| s.earlier)
    } else {
        None
    }
}
