//! What is new, open and closed against an earlier report.

use serde::Serialize;

pub use crate::input::earlier::{Earlier, OpenAction, OpenIncident};
use crate::verdict::VerdictKind;
use crate::verdict::action::Action;
use crate::verdict::incident::Incident;

/// What is new, open and closed since an earlier report: `since_report` of `results.json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Since {
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
    /// The same by incident; `null` where the earlier report knows none.
    pub incidents: Option<SinceIncidents>,
}

/// Incidents against those of an earlier report, by id.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct SinceIncidents {
    /// It did not have them.
    pub new: Vec<OpenIncident>,
    /// It had them too, and they are open.
    pub still_open: Vec<OpenIncident>,
    /// It had them, and they are found no more.
    pub ended: Vec<OpenIncident>,
    /// Decisions closed them.
    pub closed: Vec<OpenIncident>,
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

/// How a series stands now.
#[derive(Debug, Clone, Copy)]
pub struct Standing<'a> {
    /// Its id.
    pub series: &'a str,
    /// Its title.
    pub title: &'a str,
    /// Its verdict; `None` where no limit is known.
    pub verdict: Option<VerdictKind>,
}

/// Compares with an earlier report. Actions are the same where kind, subject and key agree; of several such, as
/// many as there were.
#[must_use]
pub fn since<'a>(
    actions: &[Action],
    incidents: &[Incident],
    series: impl Iterator<Item = Standing<'a>>,
    earlier: Earlier,
) -> Since {
    let mut left: Vec<OpenAction> = earlier.actions.clone();
    let (mut new, mut still_open) = (Vec::new(), Vec::new());
    for action in actions {
        let action = OpenAction {
            kind: action.kind.key().to_owned(),
            subject: action.subject.clone(),
            key: action.key.clone(),
            sentence: action.sentence.clone(),
        };
        let same = |a: &OpenAction| {
            (&a.kind, &a.subject, &a.key) == (&action.kind, &action.subject, &action.key)
        };
        match left.iter().position(same) {
            Some(at) => {
                left.remove(at);
                still_open.push(action);
            }
            None => new.push(action),
        }
    }
    // The earlier one may be of another version, with verdicts that this one does not know.
    let words =
        |key: Option<&str>| key.map_or("no limit known".to_owned(), |k| k.replace('_', " "));
    let verdicts = series
        .filter_map(|s| {
            let before = earlier.verdicts.get(s.series)?.as_deref();
            let now = s.verdict.map(VerdictKind::key);
            (before != now).then(|| VerdictChange {
                series: s.series.to_owned(),
                title: s.title.to_owned(),
                before: words(before),
                now: words(now),
            })
        })
        .collect();
    let incidents = (!earlier.incidents.is_empty() || earlier.actions.is_empty())
        .then(|| incidents_since(incidents, &earlier.incidents));
    Since { earlier, new, still_open, closed: left, verdicts, incidents }
}

fn incidents_since(incidents: &[Incident], earlier: &[OpenIncident]) -> SinceIncidents {
    let mut since = SinceIncidents::default();
    for incident in incidents {
        let to = if incident.is_closed() {
            &mut since.closed
        } else if earlier.iter().any(|e| e.id == incident.id) {
            &mut since.still_open
        } else {
            &mut since.new
        };
        to.push(OpenIncident {
            id: incident.id.clone(),
            places: incident.places.clone(),
            what: incident.what.clone(),
            units: incident.units,
        });
    }
    let is_found = |e: &&OpenIncident| incidents.iter().any(|i| i.id == e.id);
    since.ended = earlier.iter().filter(|e| !is_found(e)).cloned().collect();
    since
}
