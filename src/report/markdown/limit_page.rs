//! The page of a limit study: the recommendation first, then what every other limit would do.

use std::fmt::Write;

use super::super::format::{address, anchor, currents_of, name, text, words};
use super::{band, cautions, first_cautions, header, not_read, row, title, verdict_words};
use crate::analysis::units::what_if::Would;
use crate::day::date_of;
use crate::review::limit_study::{LimitsReport, StudyReport};
use crate::stats::expected_share::ExpectedAtHorizon;
use crate::verdict::calculated::CalculatedBand;
use crate::verdict::candidate::Origin;
use crate::verdict::cautions::WHO_DECIDES;
use crate::verdict::limit_study::WhatIf;
use crate::verdict::limits::End;
use crate::verdict::physics::ProvingLoads;
use crate::words::currents::Currents;
use crate::words::numbers::{
    NONE, a_month, below, counted, digits, expected_share, grouped, measured, one_digit, ppm,
    with_interval,
};
use crate::words::time::date;
use crate::words::time::{month_text, time_text};
use crate::words::{resistance, three_digits};

/// Units listed on the page for one limit; the file holds them all.
const UNITS_SHOWN: usize = 12;

/// The whole page, ended by a line break; `chart` is the file of a calculated band's chart.
#[must_use]
pub fn page(report: &LimitsReport, chart: Option<&str>) -> String {
    let mut page = String::new();
    head(&mut page, report);
    for s in &report.series {
        section(&mut page, s);
    }
    if let Some(c) = &report.calculated {
        calculated(&mut page, report, c, chart);
    }
    groups(&mut page, report);
    method(&mut page, report);
    page
}

fn head(page: &mut String, report: &LimitsReport) {
    title(page, &format!("{}: where should the limit be?", name(&report.model)), &report.first);
    if let Some(((from, to), rows)) = report.from.zip(report.to).zip(report.rows.as_ref()) {
        line!(
            page,
            "{}; files from {} to {}; {} read over all models.\n",
            counted(
                report.series.iter().map(|s| s.series.named.units).sum(),
                "completed first test"
            ),
            date(from),
            date(to),
            counted(rows.read, "row"),
        );
    }
    not_read(page, &report.made.failures);
    first_cautions(page);
    if !report.series.is_empty() {
        line!(page, "## In short\n");
        header(page, &["series", "limit", "verdict", "workable band", "recommendation"]);
        for s in &report.series {
            let show = show(s);
            row(
                page,
                &[
                    &format!("[{}](#{})", name(&s.series.named.title), anchor(&s.series.named.id)),
                    &s.series
                        .limit
                        .history
                        .now
                        .high_ma()
                        .map_or_else(|| "not known".to_owned(), |x| show.set(x)),
                    &verdict_words(&s.series.verdict),
                    &band(&s.series.verdict, &show),
                    &text(&s.study.recommendation.sentence()),
                ],
            );
        }
        line!(page);
    }
}

fn show(s: &StudyReport) -> Currents {
    currents_of(&s.series)
}

fn section(page: &mut String, s: &StudyReport) {
    let show = show(s);
    line!(page, "<a id=\"{}\"></a>\n", anchor(&s.series.named.id));
    line!(page, "## {}\n", name(&s.series.named.title));
    line!(page, "**{}**\n", text(&s.study.recommendation.sentence()));
    let because = s.study.recommendation.reasons();
    for why in &because {
        line!(page, "- {}", text(why));
    }
    if !because.is_empty() {
        line!(page);
    }
    match &s.change_note {
        Some(path) => line!(
            page,
            "A change note to be checked and signed: [{}]({}).\n",
            text(path),
            address(path)
        ),
        None => line!(page, "No change note: no change of the limit is recommended.\n"),
    }
    if s.series.verdict.low.open_lead_passes == Some(true) {
        line!(
            page,
            "**A test with no unit connected would pass: see [the low limit](#low-{}).**\n",
            anchor(&s.series.named.id)
        );
    }
    let j = &s.series.verdict.high.judged;
    line!(
        page,
        "Judged: {} with a reading, from {} to {}.\n",
        counted(j.units, "unit"),
        date(j.from),
        date(j.to)
    );
    for (path, question) in &s.series.charts {
        line!(page, "![{}]({})\n", text(question), address(path));
    }
    what_if(page, s, &show);
    history(page, s, &show);
    units(page, s, &show);
    proof(page, s, &show);
    expected(page, s, &show);
    ends(page, s);
    low_limit(page, s, &show);
    limit_history(page, s, &show);
}

/// The tables of candidate limits: what each costs and hides, and what comes with it.
fn what_if(page: &mut String, s: &StudyReport, show: &Currents) {
    if s.study.candidates.is_empty() {
        return;
    }
    line!(page, "### What each limit would do\n");
    costs(page, s, show);
    line!(
        page,
        "\nppm: units per million. A blind spot is of a typical unit and says nothing about a gap that only flashes over.\n"
    );
    header(
        page,
        &[
            "high limit",
            "strays it stops",
            "distance to the ceiling",
            "distance to the end of range",
            "retests a month",
            "minutes a month",
        ],
    );
    for c in &s.study.candidates {
        let in_force = c.origins.contains(&Origin::InForce);
        let room = |x: Option<f64>, whole: Option<f64>| match (x, whole) {
            (Some(x), Some(_)) if x < 0.0 => format!("**above it by {}**", show.set(-x)),
            (Some(x), Some(whole)) => {
                format!("{} ({} %)", show.set(x), three_digits(100.0 * x / whole))
            }
            _ => "not stated".to_owned(),
        };
        let change =
            |x: Option<f64>| x.filter(|_| !in_force).map_or_else(|| NONE.to_owned(), signed);
        row(
            page,
            &[
                &show.set(c.limit_ma),
                &format!("{} of {}", c.strays_caught, s.study.strays_passed),
                &room(c.to_ceiling_ma, s.study.ceiling_ma),
                &room(c.to_range_ma, s.study.tester_range_ma),
                &change(c.retests_per_month),
                &change(c.minutes_per_month),
            ],
        );
    }
    line!(
        page,
        "\nStrays: units above the healthy body that passed, over the whole history. Retests and minutes: more (+) or fewer (−) than at the limit in force{}.\n",
        cost_words(s)
    );
}

fn costs(page: &mut String, s: &StudyReport, show: &Currents) {
    let drifts = s.study.candidates.iter().any(|c| c.at_horizon.is_known());
    let mut cells = vec!["high limit", "", "verdict if set", "healthy units rejected", "interval"];
    if drifts {
        cells.push("at the end of the planning horizon");
    }
    cells.extend(["a month", "blind spot"]);
    header(page, &cells);
    for c in &s.study.candidates {
        let share = c.expected_reject_ppm.as_ref().map(expected_share);
        let mut cells = vec![
            show.set(c.limit_ma),
            origins(c),
            c.verdict.map_or("not known", |v| v.words()).to_owned(),
            share.as_ref().map_or_else(|| "not known".to_owned(), |e| e.value.clone()),
            share.and_then(|e| e.interval).unwrap_or_else(|| NONE.to_owned()),
        ];
        if drifts {
            cells.push(about(c.at_horizon));
        }
        cells.extend([
            c.rejects_per_month.as_ref().map_or_else(|| NONE.to_owned(), |e| measured(e, a_month)),
            text(&c.blind_spot.to_string()),
        ]);
        let cells: Vec<&str> = cells.iter().map(String::as_str).collect();
        row(page, &cells);
    }
}

/// A share at the end of the horizon, parts per million: it has no interval, and so one digit.
fn about(share: ExpectedAtHorizon) -> String {
    let told = share.ppm.map(|share| format!("about {}", ppm(one_digit(share))));
    told.or_else(|| share.below_ppm.map(below)).unwrap_or_else(|| NONE.to_owned())
}

/// Why a limit is looked at, in words.
fn origins(c: &WhatIf) -> String {
    let words = c.origins.iter().map(|o| o.words()).filter(|w| !w.is_empty());
    words.collect::<Vec<_>>().join(", ")
}

fn cost_words(s: &StudyReport) -> String {
    match &s.study.rejected_unit {
        None => "; not known, as no unit was rejected".to_owned(),
        Some(r) => {
            let minutes = r.minutes_each.map_or_else(
                || "; minutes not known, as none was tested again in the same shift".to_owned(),
                |m| {
                    format!(
                        " and {} minutes (median, first test to last of the same shift)",
                        digits(m)
                    )
                },
            );
            format!(
                ", from {} that took {} retests each{minutes}",
                counted(r.units, "rejected unit"),
                three_digits(r.tests_each)
            )
        }
    }
}

/// A change with its sign; next to nothing is nothing.
fn signed(x: f64) -> String {
    if x.abs() < 0.05 {
        "0".to_owned()
    } else if x < 0.0 {
        format!("−{}", digits(-x))
    } else {
        format!("+{}", digits(x))
    }
}

/// What each limit would have done to the history, month by month.
fn history(page: &mut String, s: &StudyReport, show: &Currents) {
    let Some(first) = s.study.candidates.first().filter(|c| !c.months.is_empty()) else {
        return;
    };
    line!(page, "### What each limit would have done\n");
    line!(
        page,
        "`+`: passes that read above the limit and would have been rejected. `?`: units that tripped at a lower limit and might have passed; the voltage was cut, so their leakage is only known to lie above that limit.\n"
    );
    let mut cells =
        vec!["month".to_owned(), "units with a reading".to_owned(), "tripped".to_owned()];
    cells.extend(s.study.candidates.iter().map(|c| show.set(c.limit_ma)));
    header(page, &cells.iter().map(String::as_str).collect::<Vec<_>>());
    let said = |rejected: u64, might: u64| match (rejected, might) {
        (0, 0) => "0".to_owned(),
        (r, 0) => format!("+{}", grouped(r)),
        (0, m) => format!("?{}", grouped(m)),
        (r, m) => format!("+{} ?{}", grouped(r), grouped(m)),
    };
    for (n, month) in first.months.iter().enumerate() {
        let mut cells = vec![month_text(month.month), grouped(month.units), grouped(month.tripped)];
        cells.extend(s.study.candidates.iter().map(|c| {
            let m = &c.months[n];
            said(m.rejected, m.might_pass)
        }));
        row(page, &cells.iter().map(String::as_str).collect::<Vec<_>>());
    }
    let mut cells = vec![
        "all".to_owned(),
        grouped(first.months.iter().map(|m| m.units).sum()),
        grouped(first.months.iter().map(|m| m.tripped).sum()),
    ];
    cells.extend(s.study.candidates.iter().map(|c| said(c.would_reject, c.might_pass)));
    row(page, &cells.iter().map(String::as_str).collect::<Vec<_>>());
    line!(page);
}

/// Serials of the rare ones.
fn units(page: &mut String, s: &StudyReport, show: &Currents) {
    let listed: Vec<&WhatIf> = s.study.candidates.iter().filter(|c| !c.units.is_empty()).collect();
    if listed.is_empty() {
        return;
    }
    line!(page, "### Units that a limit would treat otherwise\n");
    line!(
        page,
        "Where they are 100 or fewer of a kind; up to {UNITS_SHOWN} of each limit here, all of them in [units-affected.csv](units-affected.csv).\n"
    );
    header(page, &["high limit", "would", "serial", "tested at", "station", "reading"]);
    for c in listed {
        for u in c.units.iter().take(UNITS_SHOWN) {
            let reading = match u.would {
                Would::MightPass => format!("tripped at {}", show.set(u.ma)),
                Would::BeRejected => show.reading(u.ma),
            };
            row(
                page,
                &[
                    &show.set(c.limit_ma),
                    u.would.words(),
                    &name(&u.serial),
                    &time_text(u.time),
                    &name(&u.station),
                    &reading,
                ],
            );
        }
        if c.units.len() > UNITS_SHOWN {
            row(
                page,
                &[
                    &show.set(c.limit_ma),
                    &format!("and {} more", c.units.len() - UNITS_SHOWN),
                    "",
                    "",
                    "",
                    "",
                ],
            );
        }
    }
    line!(page);
}

fn proof(page: &mut String, s: &StudyReport, show: &Currents) {
    let Some(l) = &s.study.recommendation.loads else {
        return;
    };
    line!(page, "### Proof at the station\n");
    loads_table(page, l, show);
}

/// Loads as a table; used by the change note too.
pub(super) fn loads_table(page: &mut String, l: &ProvingLoads, show: &Currents) {
    header(
        page,
        &["at a limit of", "load", "must", "draws", &format!("power at {} V", l.applied_v)],
    );
    for (load, must) in [(&l.must_trip, "trip"), (&l.must_pass, "pass")] {
        row(
            page,
            &[
                &show.set(l.limit_ma),
                &resistance(load.resistance_mohm),
                must,
                &show.estimate(load.current_ma),
                &format!("{} W", three_digits(load.power_w)),
            ],
        );
    }
    line!(
        page,
        "\nResistors rated for the full test voltage and this power, tested in place of a unit. The current of leads and fixture adds to what they draw: at right angles in AC.\n"
    );
}

fn expected(page: &mut String, s: &StudyReport, show: &Currents) {
    let Some(x) = &s.study.expected else { return };
    line!(page, "### What it should read\n");
    line!(page, "{}\n", text(&x.sentence()));
    header(page, &["number", "value"]);
    row(
        page,
        &[
            "capacitance between the tested parts, stated",
            &format!(
                "{} nF ± {} %",
                three_digits(x.circuit.capacitance_nf),
                three_digits(100.0 * x.circuit.tolerance)
            ),
        ],
    );
    row(
        page,
        &[
            "expected reading",
            &format!(
                "{} ({} to {})",
                show.estimate(x.reading.value_ma),
                show.estimate(x.reading.low_ma),
                show.estimate(x.reading.high_ma)
            ),
        ],
    );
    if let Some(c) = x.compared() {
        let difference = with_interval(&c.difference_pct, crate::words::numbers::change_pct);
        row(page, &["measured against expected", &difference]);
        let nf = format!("{} nF", three_digits(c.difference_nf));
        row(page, &["capacitance that makes the difference", &nf]);
    }
    line!(page);
}

fn ends(page: &mut String, s: &StudyReport) {
    let ends = s.series.verdict.band_ends();
    if ends.is_empty() {
        return;
    }
    line!(page, "### Where the band ends\n");
    header(page, &["end", "rule", "", "why"]);
    for end in &ends {
        row(
            page,
            &[
                if end.end == End::Low { "lower" } else { "upper" },
                &words(end.rule),
                if end.sets { "**sets it**" } else { "" },
                &text(&end.sentence),
            ],
        );
    }
    line!(page);
}

fn low_limit(page: &mut String, s: &StudyReport, show: &Currents) {
    let v = &s.series.verdict.low;
    line!(page, "<a id=\"low-{}\"></a>\n", anchor(&s.series.named.id));
    line!(page, "### The low limit\n");
    let now =
        s.series.limit.history.now.low_ma().map_or_else(|| "none".to_owned(), |x| show.set(x));
    let passes = match v.open_lead_passes {
        Some(true) => "**would pass**",
        Some(false) => "would be found",
        None => "not known",
    };
    let range = match (v.from_ma, v.to_ma) {
        (Some(from), Some(to)) => format!("{} to {}", show.set(from), show.set(to)),
        _ => "none can be given".to_owned(),
    };
    let open =
        s.series.limit.open_lead_ma.map_or_else(|| "not known".to_owned(), |x| show.estimate(x));
    line!(
        page,
        "In force: {now}. A test with no unit connected reads {open} and {passes}. Workable low limits: {range}.\n"
    );
}

fn limit_history(page: &mut String, s: &StudyReport, show: &Currents) {
    if s.series.limit.history.changes.len() < 2 {
        return;
    }
    line!(page, "### Limits that were in force\n");
    header(page, &["from", "high limit", "low limit", "station"]);
    for change in &s.series.limit.history.changes {
        let set = |x: Option<f64>| x.map_or_else(|| "none".to_owned(), |x| show.set(x));
        row(
            page,
            &[
                &date(date_of(change.day)),
                &set(change.limits.high_ma()),
                &set(change.limits.low_ma()),
                &change.station.as_ref().map_or_else(|| "all".to_owned(), |n| name(n)),
            ],
        );
    }
    line!(page);
}

fn calculated(page: &mut String, report: &LimitsReport, c: &CalculatedBand, chart: Option<&str>) {
    let show = Currents::new(c.setting.x50_ma, c.setting.step_ma());
    line!(page, "## Calculated, not measured\n");
    let band = match c.workable_ma {
        Some((low, high)) if high.is_finite() => format!("{} to {}", show.set(low), show.set(high)),
        Some((low, _)) => format!("from {}", show.set(low)),
        None => {
            "none: the highest expected reading lies above what the upper end allows".to_owned()
        }
    };
    line!(
        page,
        "**A first workable band for {}: {band}{}.** {WHO_DECIDES}\n",
        name(&report.model),
        c.suggested
            .as_ref()
            .map_or_else(String::new, |s| { format!("; a first limit: {}", show.set(s.limit_ma)) })
    );
    for sentence in c.sentences() {
        line!(page, "- {}", text(&sentence));
    }
    if let Some(r) = c.suggested.as_ref().and_then(|s| s.blind_spot_mohm) {
        line!(
            page,
            "- At the first limit a steady leak of {} would still pass; this says nothing about a gap that only flashes over.",
            resistance(r)
        );
    }
    line!(page);
    if let Some(path) = chart {
        line!(page, "![What does each limit hide?]({})\n", address(path));
    }
    if let Some(l) = c.suggested.as_ref().and_then(|s| s.proving.as_ref()) {
        line!(page, "### Proof at the station\n");
        loads_table(page, l, &show);
    }
}

fn groups(page: &mut String, report: &LimitsReport) {
    if report.limit_groups.is_empty() {
        return;
    }
    line!(page, "## Models that share this limit\n");
    for g in &report.limit_groups {
        line!(page, "- {}", text(&g.sentence()));
    }
    line!(page);
}

fn method(page: &mut String, report: &LimitsReport) {
    line!(page, "## Notes\n");
    for note in &report.notes {
        line!(page, "- {}", text(note));
    }
    if report.notes.is_empty() {
        line!(page, "None.");
    }
    line!(page, "\n## How it was computed\n");
    line!(
        page,
        "As in a review: the method section of its summary.md tells each step with its source. Rejects at another limit are those of the same healthy body, asked at that limit; the history is counted again with the readings as they were shown, over all days and not only the period judged. Retests and minutes are those of units rejected so far.\n"
    );
    header(page, &["setting", "value", "unit"]);
    for s in &report.settings {
        row(page, &[&text(&s.name), &text(&s.value), &text(s.unit)]);
    }
    line!(page, "\nleakdrift {}, seed {}.\n", text(&report.made.version), report.made.seed);
    if !report.made.inputs.is_empty() {
        super::inputs::table(page, &report.made.inputs);
    }
    cautions(page);
}
