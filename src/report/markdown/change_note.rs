//! A change note: one page that asks for another high limit, to be checked and approved by people.

use std::fmt::Write;

use super::super::format::{currents_of, name, text};
use super::limit_page::loads_table;
use super::{cautions, header, row};
use crate::config::Ceiling;
use crate::review::limit_study::{LimitsReport, StudyReport};
use crate::verdict::cautions::WHO_DECIDES;
use crate::words::currents::Currents;
use crate::words::numbers::{a_month, counted, expected_share, grouped, measured};
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
    decision(page, report, s, to_ma, &show);
    line!(page, "\n## Proof at the station, after the change\n");
    match s.study.at(to_ma).and_then(|c| c.loads.as_ref()) {
        Some(l) => loads_table(page, l, &show),
        None => line!(page, "The test voltage is not known: no load can be named.\n"),
    }
    signatures(page);
    line!(page);
    cautions(page);
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
    both("healthy units expected over the limit", page, &|x| {
        Some(expected_share(of(x)?.expected_reject_ppm.as_ref()?).to_string())
    });
    both("the same a month", page, &|x| {
        Some(measured(of(x)?.rejects_per_month.as_ref()?, a_month))
    });
    both("lowest steady leak path that passes, typical unit", page, &|x| {
        Some(resistance(of(x)?.blind_spot_mohm?))
    });
    both("strays of the history that it stops", page, &|x| {
        Some(format!("{} of {}", of(x)?.strays_caught, study.strays_passed))
    });
    both("distance to the ceiling", page, &|x| study.ceiling_ma.map(|c| show.set(c - x)));
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
        "- Period: {} to {}, {} with a reading; history from {} on, {}.",
        date(j.from),
        date(j.to),
        counted(j.units, "unit"),
        report.from.map_or_else(|| "not known".to_owned(), date),
        counted(s.series.named.units, "unit")
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
        study.ceiling_ma.map_or_else(
            || "not stated".to_owned(),
            |x| match ceiling_of(report, s) {
                Some(c) => format!("{} ({})", show.set(x), text(&c.basis())),
                None => show.set(x),
            }
        ),
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

/// What whoever approves must have before them: what was looked at, why, whom it touches, how long, and the way back.
fn decision(
    page: &mut String,
    report: &LimitsReport,
    s: &StudyReport,
    to_ma: f64,
    show: &Currents,
) {
    let high = &s.series.verdict.high;
    let now = s.series.limit.history.now.high_ma();
    line!(page, "\n## For the decision\n");
    header(page, &["", ""]);
    let stated = ceiling_of(report, s).filter(|c| c.standard.is_some());
    let stated =
        stated.map_or_else(String::new, |c| format!("of the ceiling: {}; ", text(&c.basis())));
    row(page, &["standard and clause looked at", &format!("{stated}{BLANK}")]);
    let reason = match now {
        Some(now) if to_ma <= now => "no raise: the limit is lowered".to_owned(),
        _ => {
            let why = s.study.recommendation.reasons();
            let why = why.first().cloned().unwrap_or_else(|| high.sentence());
            format!("{} Agreed reason: {BLANK}", text(&why))
        }
    };
    row(page, &["reason of a raise", &reason]);
    let affected = s.study.at(to_ma).map_or_else(
        || "not known".to_owned(),
        |c| {
            format!(
                "{} of the history passed and would be rejected, {} tripped and might pass (units-affected.csv, where they are few)",
                counted(c.would_reject, "unit"),
                grouped(c.might_pass)
            )
        },
    );
    row(page, &["units affected", &affected]);
    let until = high.fits_until.map_or_else(
        || format!("{BLANK} (at the latest {} months after the last day judged)", months(report)),
        |f| format!("{} at the latest: the product is rising", date(f.date)),
    );
    row(page, &["valid until", &until]);
    let back = now.map_or_else(
        || "take the limit off again".to_owned(),
        |now| {
            let passed = if to_ma > now {
                "; units passed meanwhile above it are held and decided on"
            } else {
                ""
            };
            format!(
                "set {} again at every station and prove it with the loads for that limit{passed}",
                show.set(now)
            )
        },
    );
    row(page, &["way back", &back]);
}

/// The ceiling of the series' kind of test.
fn ceiling_of<'a>(report: &'a LimitsReport, s: &StudyReport) -> Option<&'a Ceiling> {
    report.ceilings.iter().find(|c| c.test == s.series.named.key.test.key())
}

/// The planning horizon, as the settings have it.
fn months(report: &LimitsReport) -> String {
    let line = report.settings.iter().find(|s| s.name == "horizon_months");
    line.map_or_else(|| "6".to_owned(), |s| text(&s.value))
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
