//! Incidents: ten on the first screen, the rest folded by group, and each with all its parts on a page of its own.

use std::fmt::Write;

use super::super::format::{name, text};
use super::{header, row};
use crate::review::Review;
use crate::verdict::incident::{Decided, Evidence, Group, Incident};
use crate::words::capital;
use crate::words::numbers::{NONE, counted, grouped};
use crate::words::time::{date, day_text};

/// Incidents on the first screen.
const FIRST_SCREEN: usize = 10;
/// Of each group but the last so many before any group gets more: who decides limits must not look for them.
const OF_EACH: usize = 2;
/// Further incidents of a group that the first page names.
const NAMED_OF_GROUP: usize = 6;
/// Places of an incident that a row names.
const PLACES: usize = 3;

/// The incidents of the first screen, by their place among all, in order.
#[must_use]
pub fn on_the_first_screen(incidents: &[Incident]) -> Vec<usize> {
    let urgent = |i: &Incident| i.group != Group::RecordToPutRight && !i.is_closed();
    let mut chosen: Vec<usize> = Vec::new();
    for group in Group::ALL {
        let of_group = incidents.iter().enumerate().filter(|(_, i)| i.group == group && urgent(i));
        chosen.extend(of_group.map(|(n, _)| n).take(OF_EACH));
    }
    for (n, incident) in incidents.iter().enumerate() {
        if chosen.len() < FIRST_SCREEN && !chosen.contains(&n) && !incident.is_closed() {
            chosen.push(n);
        }
    }
    chosen.sort_unstable();
    chosen
}

/// What needs action, on the first screen.
pub(super) fn first_screen(page: &mut String, report: &Review) {
    line!(page, "## What needs action\n");
    let all = &report.incidents;
    let closed = all.iter().filter(|i| i.is_closed()).count();
    if closed > 0 {
        line!(
            page,
            "{} closed by decision: see [which](#closed-by-decision).\n",
            counted(closed as u64, "incident")
        );
    }
    if all.len() == closed {
        line!(
            page,
            "Nothing was found that needs action. What was not examined is said under [notes](#notes).\n"
        );
        return;
    }
    let chosen = on_the_first_screen(all);
    header(page, &["", "where", "what", "first – last seen", "units", "what to do next"]);
    let mut group = None;
    for n in &chosen {
        let incident = &all[*n];
        if group != Some(incident.group) {
            group = Some(incident.group);
            let words = capital(incident.group.words());
            let step = text(incident.group.heading_step());
            row(page, &["", &format!("**{words}**"), "", "", "", &step]);
        }
        incident_row(page, *n, incident);
    }
    line!(page);
    rest(page, report, &chosen);
}

fn incident_row(page: &mut String, n: usize, incident: &Incident) {
    let units = if incident.units == 0 { NONE.to_owned() } else { grouped(incident.units) };
    let id = &incident.id;
    row(
        page,
        &[
            &format!("[{}](#{id})", n + 1),
            &places(incident),
            &format!("{}{}", open_again(incident), text(&incident.what)),
            &seen(incident),
            &units,
            &text(&incident.step_below),
        ],
    );
}

/// That it was decided about, and is open again.
fn open_again(incident: &Incident) -> String {
    incident.decision.as_ref().filter(|d| !d.closes).map_or_else(String::new, |d| {
        format!("**Open again**, decided on {}. ", day_text(d.made.when))
    })
}

/// Where, the first few.
fn places(incident: &Incident) -> String {
    let shown: Vec<String> = incident.places.iter().take(PLACES).map(|p| name(p)).collect();
    let more = incident.places.len() - shown.len();
    let shown = shown.join("; ");
    if more > 0 { format!("{shown} and {more} more") } else { shown }
}

/// First and last seen; what goes on has no last day.
fn seen(incident: &Incident) -> String {
    match (incident.from, incident.to) {
        (None, None) if incident.open => "open".to_owned(),
        (None, None) => NONE.to_owned(),
        (Some(from), Some(to)) if from == to => date(from),
        (Some(from), Some(to)) => format!("{} – {}", date(from), date(to)),
        (Some(from), None) => format!("since {}", date(from)),
        (None, Some(to)) => format!("until {}", date(to)),
    }
}

/// What is not on the first screen, folded by group.
fn rest(page: &mut String, report: &Review, chosen: &[usize]) {
    let all = &report.incidents;
    let left: Vec<usize> =
        (0..all.len()).filter(|n| !chosen.contains(n) && !all[*n].is_closed()).collect();
    for group in Group::ALL {
        let of_group: Vec<usize> =
            left.iter().copied().filter(|n| all[*n].group == group).collect();
        if of_group.is_empty() {
            continue;
        }
        line!(page, "More: **{}**\n", group.words());
        for n in of_group.iter().take(NAMED_OF_GROUP) {
            let (incident, place) = (&all[*n], places(&all[*n]));
            let what = text(&folded(report, incident));
            line!(page, "- [{}](#{}) {place}: {what}", n + 1, incident.id);
        }
        let more = of_group.len().saturating_sub(NAMED_OF_GROUP);
        if more > 0 {
            line!(page, "- and {} more: see [incidents](#incidents)", grouped(more as u64));
        }
        line!(page);
    }
}

/// What a folded incident is: of the record its kind, which is all that one reads there; else what was found.
fn folded(report: &Review, incident: &Incident) -> String {
    let first = incident.actions_of(&report.actions).next();
    let kind = first.and_then(|action| action.kind.of_the_record());
    kind.map_or_else(|| incident.what.clone(), str::to_owned)
}

/// All incidents with their parts.
pub(super) fn section(page: &mut String, report: &Review) {
    line!(page, "<a id=\"incidents\"></a>\n");
    line!(
        page,
        "Everything that one cause did is one incident. Its id stays the same from report to report.\n"
    );
    if report.incidents.is_empty() {
        line!(page, "None.\n");
    }
    let (closed, open): (Vec<_>, Vec<_>) =
        report.incidents.iter().enumerate().partition(|(_, i)| i.is_closed());
    let mut group = None;
    for (n, incident) in open {
        if group != Some(incident.group) {
            group = Some(incident.group);
            line!(page, "## {}\n", capital(incident.group.words()));
        }
        one(page, report, n, incident);
    }
    if closed.is_empty() {
        return;
    }
    line!(page, "## Closed by decision\n");
    line!(
        page,
        "By the file of decisions. One opens again when a unit or an event joins it after the day of its decision.\n"
    );
    for (n, incident) in closed {
        one(page, report, n, incident);
    }
}

fn one(page: &mut String, report: &Review, n: usize, incident: &Incident) {
    line!(page, "<a id=\"{}\"></a>\n", incident.id);
    line!(page, "### {}. {}\n", n + 1, places(incident));
    line!(page, "{}{}\n", open_again(incident), text(&incident.what));
    if let Some(Decided { made, .. }) = &incident.decision {
        let remark = if made.remark.is_empty() {
            String::new()
        } else {
            format!(" ({})", text(&made.remark))
        };
        line!(
            page,
            "**Decided** on {} by {}: {}{remark}\n",
            day_text(made.when),
            name(&made.who),
            text(&made.decision)
        );
    }
    line!(page, "**Next:** {}\n", text(&incident.next_step));
    let units = match incident.units {
        0 => String::new(),
        n => format!("; units: {}", grouped(n)),
    };
    line!(
        page,
        "Seen: {}{units}; id `{}`; evidence: {}.\n",
        seen(incident),
        incident.id,
        evidence(report, incident)
    );
    for action in incident.actions_of(&report.actions) {
        line!(
            page,
            "- {}: {} {}",
            name(&action.subject),
            text(&action.sentence),
            text(&action.next_step)
        );
    }
    line!(page);
}

fn evidence(report: &Review, incident: &Incident) -> String {
    let link = |e: &Evidence| {
        let words = match e {
            Evidence::Series(id) => {
                let of = report.series.iter().find(|s| s.named.id == *id);
                of.map_or_else(|| name(id), |s| name(&s.named.title))
            }
            Evidence::Jump(_) => "the jump".to_owned(),
            Evidence::Testers(section) => section.replace('-', " "),
            Evidence::Units => "units to check".to_owned(),
            Evidence::Rows => "files and rows".to_owned(),
            Evidence::AllSeries => "all series".to_owned(),
        };
        format!("[{words}](#{})", e.anchor())
    };
    incident.evidence.iter().map(link).collect::<Vec<_>>().join(", ")
}
