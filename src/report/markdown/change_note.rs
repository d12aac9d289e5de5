//! A change note: one page that asks for another high limit, to be checked and approved by people.

use std::fmt::Write;

use super::super::format::{currents_of, name, text};
use super::limit_page::{few, loads_table};
use super::{header, row};
use crate::review::limit_study::{LimitsReport, StudyReport};
use crate::verdict::cautions::{CAUTIONS, WHO_DECIDES};
use crate::words::currents::Currents;
use crate::words::numbers::{counted, expected_ppm, grouped, with_interval};
use crate::words::resistance;
use crate::words::time::date;

/// For somebody to fill in.
const BLANK: &str = "______________________________";

/// The change note of one series, to a limit of `to_ma`.
#[must_use]
pub fn note(report: &LimitsReport, s: &StudyReport, to_ma: f64) -> String {
    let mut page = String::new();
    let page = &mut page;
    let show = currents_of(&s.series);
    line!(page, "# Change of the high limit: {}\n", name(&s.series.named.title));
    line!(page, "**Proposed, not approved.** {WHO_DECIDES}\n");
    from_to(page, s, to_ma, &show);
    evidence(page, report, s, to_ma);
    assumptions(page, report, s, &show);
    line!(page, "\n## Proof at the station, after the change\n");
    match s.study.at(to_ma).and_then(|c| c.loads.as_ref()) {
        Some(l) => loads_table(page, l, &show),
        None => line!(page, "The test voltage is not known: no load can be named.\n"),
    }
    signatures(page);
    line!(page, "\n## Cautions\n");
    for caution in &CAUTIONS {
        line!(page, "- {caution}");
    }
    let inputs = report.made.inputs.len() as u64;
    line!(
        page,
        "\nMade by leakdrift {} from {}{}; results.json beside this note names each with its checksum.",
        text(&report.made.version),
        counted(inputs, "file"),
        if inputs == 0 { "" } else { " of exported results" }
    );
    std::mem::take(page)
}

/// The limit in force beside the new one, and what each costs and hides.
fn from_to(page: &mut String, s: &StudyReport, to_ma: f64, show: &Currents) {
    let study = &s.study;
    let of = |limit: f64| study.at(limit);
    let now = s.series.limit.history.now.high_ma();
    header(page, &["", "from", "to"]);
    let set = |x: Option<f64>| x.map_or_else(|| "not known".to_owned(), |x| show.set(x));
    row(page, &["high limit", &set(now), &format!("**{}**", show.set(to_ma))]);
    let low = &s.series.verdict.low;
    if low.suggested_ma.is_some() || s.series.limit.history.now.low_ma().is_some() {
        let now = s.series.limit.history.now.low_ma();
        let passes = low.open_lead_passes == Some(true);
        let to = low.suggested_ma.filter(|_| passes).or(now);
        let is_set = |x: Option<f64>| x.map_or_else(|| "none".to_owned(), |x| show.set(x));
        row(page, &["low limit", &is_set(now), &format!("**{}**", is_set(to))]);
    }
    let both = |what: &str, page: &mut String, say: &dyn Fn(f64) -> Option<String>| {
        let cell = |x: Option<f64>| x.and_then(say).unwrap_or_else(|| "not known".to_owned());
        row(page, &[what, &cell(now), &cell(Some(to_ma))]);
    };
    both("healthy units rejected, per million", page, &|x| {
        Some(with_interval(of(x)?.expected_reject_ppm.as_ref()?, expected_ppm))
    });
    both("healthy units rejected a month", page, &|x| {
        Some(with_interval(of(x)?.rejects_per_month.as_ref()?, few))
    });
    both("lowest steady leak path that passes, typical unit", page, &|x| {
        Some(resistance(of(x)?.blind_spot_mohm?))
    });
    both("strays of the history that it stops", page, &|x| {
        Some(format!("{} of {}", of(x)?.strays_caught, study.strays_passed))
    });
    both("room to the ceiling", page, &|x| study.ceiling_ma.map(|c| show.set(c - x)));
    line!(page);
}

/// What speaks for the change.
fn evidence(page: &mut String, report: &LimitsReport, s: &StudyReport, to_ma: f64) {
    line!(page, "## Evidence\n");
    line!(page, "- {}", text(&s.series.verdict.high.sentence()));
    for why in s.study.recommendation.reasons() {
        line!(page, "- {}", text(&why));
    }
    for end in s.series.verdict.band_ends().iter().filter(|e| e.sets) {
        line!(page, "- {}", text(&end.sentence));
    }
    let j = &s.series.verdict.high.judged;
    line!(
        page,
        "- Period: {} to {}, {}; history from {} on, {}.",
        date(j.from),
        date(j.to),
        counted(j.units, "unit"),
        report.from.map_or_else(|| "not known".to_owned(), date),
        counted(s.series.named.units, "first test")
    );
    if let Some(c) = s.study.at(to_ma) {
        line!(
            page,
            "- Over that history the new limit would have rejected {} that passed, and might have passed {} that tripped.",
            counted(c.would_reject, "unit"),
            grouped(c.might_pass)
        );
    }
}

/// What the change rests on.
fn assumptions(page: &mut String, report: &LimitsReport, s: &StudyReport, show: &Currents) {
    let study = &s.study;
    line!(page, "\n## Assumptions\n");
    let setting = |key: &str| {
        report
            .settings
            .iter()
            .find(|s| s.name == key)
            .map_or_else(|| "not known".to_owned(), |s| format!("{} ({})", s.value, s.unit))
    };
    line!(
        page,
        "- Accepted share of healthy units rejected: {}; confidence {}; planning horizon {}.",
        text(&setting("accepted_reject_share")),
        text(&setting("confidence")),
        text(&setting("horizon_months"))
    );
    line!(
        page,
        "- Smallest harmful leak path: {}. Ceiling: {}. End of the tester's range: {}.",
        study.leak_path_mohm.map_or_else(|| "not stated".to_owned(), resistance),
        study.ceiling_ma.map_or_else(|| "not stated".to_owned(), |x| show.set(x)),
        study.tester_range_ma.map_or_else(|| "not stated".to_owned(), |x| show.set(x)),
    );
    line!(
        page,
        "- Voltage, frequency, dwell and test point stay as they are; the units of the period are like those to come."
    );
    for note in &report.notes {
        line!(page, "- {}", text(note));
    }
}

/// For people to check, approve, set and prove.
fn signatures(page: &mut String) {
    line!(page, "## Checked and approved\n");
    header(page, &["", "name", "date", "signature"]);
    for who in [
        "checked against the applicable standard",
        "approved",
        "set at stations",
        "proved with both loads",
    ] {
        row(page, &[who, BLANK, "______________", BLANK]);
    }
}
