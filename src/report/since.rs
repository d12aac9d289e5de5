//! An earlier report, and what is new, open and closed since.
//!
//! Actions are the same where kind, subject and key (a day, an instrument) agree. A report carries the one
//! it was compared with, so that making it again says the same; a report of the same days is no earlier
//! one.

use std::path::Path;

use chrono::NaiveDate;
use serde::Deserialize;

use super::model::{Earlier, OpenAction, SinceReport, VerdictChange};
use crate::error::{Error, Place, Result};
use crate::review::{ReviewedSeries, SCHEMA};
use crate::verdict::VerdictKind;
use crate::verdict::action::Action;
use std::collections::BTreeMap;

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
    series: Vec<SeriesOf>,
    #[serde(default)]
    since_report: Option<Carried>,
}

#[derive(Debug, Deserialize)]
struct SeriesOf {
    id: String,
    verdict: VerdictOf,
}

#[derive(Debug, Deserialize)]
struct VerdictOf {
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
    let results: Results = serde_json::from_str(&text).map_err(|e| {
        Error::input(
            Place::file(path),
            "the results.json of an earlier review",
            e.to_string(),
            "name the results.json of a review, or leave --since-report out",
        )
    })?;
    if results.schema != SCHEMA {
        return Err(Error::input(
            Place::file(path),
            format!("schema {SCHEMA}"),
            results.schema,
            "name the results.json of a review, or leave --since-report out",
        ));
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
        verdicts: results
            .series
            .into_iter()
            .map(|s| (s.id, s.verdict.verdict))
            .collect::<BTreeMap<_, _>>(),
    }
}

/// The report that somebody named.
///
/// # Errors
/// Where it cannot be read, or is no result of a review.
pub fn named(path: &Path) -> Result<Earlier> {
    read(path).map(earlier)
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

/// What is new, open and closed in a report against an earlier one. Actions are the same where kind, subject and
/// key agree; of several such, as many as there were.
#[must_use]
pub fn since(actions: &[Action], series: &[ReviewedSeries], earlier: Earlier) -> SinceReport {
    let identity = |a: &OpenAction| (a.kind.clone(), a.subject.clone(), a.key.clone());
    let mut left: Vec<OpenAction> = earlier.actions.clone();
    let (mut new, mut still_open) = (Vec::new(), Vec::new());
    for line in actions {
        let action = OpenAction {
            kind: line.kind.key().to_owned(),
            subject: line.subject.clone(),
            key: line.key.clone(),
            sentence: line.sentence.clone(),
        };
        match left.iter().position(|a| identity(a) == identity(&action)) {
            Some(at) => {
                left.remove(at);
                still_open.push(action);
            }
            None => new.push(action),
        }
    }
    let words =
        |v: Option<&str>| v.map_or_else(|| "no limit known".to_owned(), super::format::words);
    let verdicts = series
        .iter()
        .filter_map(|s| {
            let before = earlier.verdicts.get(&s.named.id)?.as_deref();
            let now = s.verdict.high.kind.map(VerdictKind::key);
            (before != now).then(|| VerdictChange {
                series: s.named.id.clone(),
                title: s.named.title.clone(),
                before: words(before),
                now: words(now),
            })
        })
        .collect();
    SinceReport { earlier, new, still_open, closed: left, verdicts }
}
