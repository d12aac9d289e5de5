//! What stands behind the verdict of one series: strays, retests, movement, months, and the healthy body.

use std::fmt::Write;

use super::super::format::{name, text};
use super::{header, index, row};
use crate::analysis::body::describe::Which;
use crate::analysis::body::distribution::Distribution;
use crate::day::date_of;
use crate::movement::drift::Shape;
use crate::review::{NamedStep, ReviewedSeries};
use crate::words::currents::Currents;
use crate::words::numbers::{
    NONE, by_interval, counted, expected_share, grouped, measured, p_value, share_pct,
    with_interval,
};
use crate::words::time::date;
use crate::words::time::month_text;

/// Readings that do not belong with the healthy body; those that passed are listed.
pub(super) fn strays(page: &mut String, s: &ReviewedSeries, show: &Currents) {
    let strays = &s.strays;
    let none = strays.above + strays.below == 0 && strays.units.is_empty();
    if none && s.distribution.is_none() {
        line!(page, "Strays: not known, as the healthy body could not be described.\n");
        return;
    }
    if none {
        line!(page, "Strays: none; every reading belongs with the healthy body.\n");
        return;
    }
    line!(
        page,
        "Strays, readings that do not belong with the healthy body: {} above (trips included, those of lots that stand out not), {} below.\n",
        grouped(strays.above),
        grouped(strays.below)
    );
    if strays.units.is_empty() {
        line!(
            page,
            "None that passed is listed here; all are in [units-to-check.csv](units-to-check.csv).\n"
        );
        return;
    }
    line!(
        page,
        "Passed with such a reading; any more are in [units-to-check.csv](units-to-check.csv):\n"
    );
    header(page, &["serial", "tested at", "station", "reading", "points to"]);
    for u in &strays.units {
        row(
            page,
            &[
                &name(&u.serial),
                &text(&u.tested_at),
                &name(&u.station),
                &show.reading(u.reading_ma),
                u.points_to.words(),
            ],
        );
    }
    line!(page);
}

/// Each station that tested units of the period, at its own scale, and what was taken off there.
pub(super) fn stations(page: &mut String, s: &ReviewedSeries, show: &Currents) {
    if s.stations.is_empty() {
        return;
    }
    let scale = s.stations.iter().find(|st| st.is_scale).filter(|_| s.stations.len() > 1);
    let told = scale.map_or_else(String::new, |st| {
        format!(
            " All numbers of this series are on the scale of {} as it is now, the station in the middle; a limit is typed at each station and must serve there.",
            name(&st.station)
        )
    });
    line!(page, "Stations in the period judged, each as it would show its readings now.{told}\n");
    header(
        page,
        &[
            "station",
            "units judged",
            "median of its units",
            "high limit",
            "seen over it",
            "healthy units expected over it",
            "readings come to the scale by",
        ],
    );
    let none = || NONE.to_owned();
    for st in &s.stations {
        let seen = st.reject_share.as_ref().map_or_else(none, |e| {
            let (over, of) = (grouped(st.over_limit), grouped(st.under_this_limit));
            format!("{over} of {of}: {}", with_interval(e, share_pct))
        });
        let expected = st.expected_share.as_ref().map(|e| expected_share(&e.scaled(1e6)));
        let mut by = Vec::new();
        if (st.times - 1.0).abs() > 1e-9 {
            by.push(format!("× {:.4}", st.times));
        }
        if st.plus_ma != 0.0 {
            let sign = if st.plus_ma < 0.0 { "−" } else { "+" };
            by.push(format!("{sign} {}", show.estimate(st.plus_ma.abs())));
        }
        row(
            page,
            &[
                &name(&st.station),
                &grouped(st.units),
                &st.x50_ma.map_or_else(none, |x| show.estimate(x)),
                &st.limit_ma.map_or_else(none, |x| show.set(x)),
                &seen,
                &expected.map_or_else(none, |e| e.to_string()),
                &if by.is_empty() { "as shown".to_owned() } else { by.join(" ") },
            ],
        );
    }
    line!(page);
    let steps = s.stations.iter().flat_map(|st| st.steps.iter().map(move |step| (st, step)));
    for (st, step) in steps.clone() {
        line!(
            page,
            "- Readings of {} before {} are taken {} {} (± {}): the step of its tester, which is in the intervals.",
            name(&st.station),
            date(date_of(step.day)),
            share_pct(step.size_pct.abs() / 100.0),
            if step.size_pct > 0.0 { "higher" } else { "lower" },
            share_pct(step.reach_pct / 100.0)
        );
    }
    if steps.count() > 0 {
        line!(page);
    }
}

/// How many failures passed when tested again, and who tests until it passes; nothing where none failed.
pub(super) fn retests(page: &mut String, s: &ReviewedSeries) {
    let r = &s.retests;
    let Some(failed) = r.failed else { return };
    if failed == 0 && r.habits.is_empty() {
        return;
    }
    let at_other_settings = r.then_passed_at_other_settings.unwrap_or(0);
    let otherwise = match at_other_settings {
        0 => String::new(),
        n => format!(", {} of them only at other settings, as after a repair", grouped(n)),
    };
    line!(
        page,
        "Retests: {} failed first, {} of these passed in the end{otherwise}.\n",
        counted(failed, "unit"),
        grouped(r.then_passed.unwrap_or(0) + at_other_settings)
    );
    for habit in &r.habits {
        line!(page, "- {}", text(&habit.to_string()));
    }
    if !r.habits.is_empty() {
        line!(page);
    }
}

/// How the series moved, with the numbers behind it.
pub(super) fn drift(page: &mut String, s: &ReviewedSeries, show: &Currents) {
    let d = &s.drift;
    let ma = |x: f64| show.estimate(x);
    let Some(shape) = d.shape else {
        line!(page, "Movement: not known, see [notes](#notes). {}\n", text(&d.sentence));
        return;
    };
    let flagged = if d.flagged { " (flagged: certain, and large enough to matter)" } else { "" };
    line!(page, "Movement: {}{flagged}. {}\n", shape.words(), text(&d.sentence));
    for NamedStep { step, event } in &d.steps {
        let event = event
            .as_ref()
            .map_or_else(String::new, |e| format!("; event in that time: {}", text(e)));
        line!(
            page,
            "- step on {} ({} to {}): {}{event}",
            date(date_of(step.day)),
            date(date_of(step.day_low)),
            date(date_of(step.day_high)),
            with_interval(&step.size_ma, ma)
        );
    }
    if let Some(slope) = &d.per_month_ma {
        line!(page, "- slope a month (30.44 days): {}", show.change(slope));
    }
    for x in &d.explained {
        line!(
            page,
            "- {} explains {} of the movement",
            x.what.words(),
            measured(&x.share, share_pct)
        );
    }
    if let Some(r) = &d.limit_reached_on {
        let late = r.high.map_or_else(|| "perhaps never".to_owned(), date);
        line!(
            page,
            "- healthy units expected over the limit exceed the accepted share from {} on (at the earliest {}, at the latest {late})",
            date(r.date),
            date(r.low)
        );
    }
    if let Some(average) = &d.moving_average {
        let since = average.first_signal.map_or_else(
            || "not left since".to_owned(),
            |day| format!("first left on {}", date(date_of(day))),
        );
        line!(
            page,
            "- moving average of the medians: its limits, {} to {} by the days and lots of {} to {}, were {since}",
            ma(average.low_ma),
            ma(average.high_ma),
            date(date_of(average.baseline_from)),
            date(date_of(average.baseline_to))
        );
    }
    match d.smallest_step_ma {
        Some(x) => line!(page, "- smallest step that would have been found: {}", ma(x)),
        None if shape == Shape::Steady && d.rho.is_none() => line!(
            page,
            "- smallest step that would have been found: not known; every point reads the same, so nothing shows how far points scatter"
        ),
        None if shape == Shape::Steady => line!(
            page,
            "- smallest step that would have been found: none; the record does not vary, is too short, or has too few lots, to tell a step from chance"
        ),
        None => {}
    }
    let mut proof = Vec::new();
    proof.extend(d.p_value.map(|p| format!("{}, adjusted over all series", p_value(p))));
    proof.extend(
        d.rho
            .filter(|x| x.is_finite())
            .map(|r| format!("correlation of one point with the next {r:.2}")),
    );
    if !proof.is_empty() {
        line!(page, "- {}", text(&proof.join("; ")));
    }
    line!(page);
}

/// Month by month.
pub(super) fn months(page: &mut String, s: &ReviewedSeries, show: &Currents) {
    if s.months.is_empty() {
        return;
    }
    header(
        page,
        &[
            "month",
            "units",
            "median",
            "95 % stay under",
            "over limit",
            "performance index against the month's limit",
        ],
    );
    let ma = |x: Option<f64>| x.map_or_else(|| NONE.to_owned(), |x| show.estimate(x));
    for m in &s.months {
        let share = m
            .reject_share
            .as_ref()
            .map_or_else(|| NONE.to_owned(), |e| share_pct(by_interval(e).value));
        let index = m
            .p_pku
            .as_ref()
            .filter(|e| e.value.is_finite())
            .map_or_else(|| NONE.to_owned(), |e| with_interval(e, index(e)));
        let at_least = if m.x95_at_least { "at least " } else { "" };
        row(
            page,
            &[
                &month_text(m.month),
                &grouped(m.units),
                &ma(m.x50_ma),
                &format!("{at_least}{}", ma(m.x95_ma)),
                &share,
                &index,
            ],
        );
    }
    line!(page);
}

/// How the healthy body was described, for the auditor.
pub(super) fn body(page: &mut String, d: &Distribution) {
    let mut fit = Vec::new();
    fit.extend(d.goodness.p_value.map(|p| format!("goodness of fit {}", p_value(p))));
    fit.extend(
        d.goodness
            .largest_gap
            .map(|g| format!("largest gap between fit and data {}", share_pct(g))),
    );
    let since = d.second_group_since.map_or_else(String::new, |since| {
        let by = d.split_by.as_deref().unwrap_or_default();
        let came_later = format!("{by} {}", d.came_later.join(", "));
        format!("A second group, {}, since {}. ", text(&came_later), date(since))
    });
    let groups = match (d.groups, &d.split_by) {
        (2, Some(by)) => format!("Two groups, told apart by {}. {}", name(by), since),
        (2, None) => "Two groups; no factor tells them apart. ".to_owned(),
        _ => String::new(),
    };
    line!(
        page,
        "Healthy body: {groups}The family with the largest weight is {}; {}. Answer in use: {}, because: {}.\n",
        text(&d.family),
        if fit.is_empty() { "no goodness of fit".to_owned() } else { text(&fit.join(", ")) },
        d.tail.in_use.map_or("none", Which::key),
        text(&d.in_use_because)
    );
    header(
        page,
        &["family", "weight", "AICc above the best", "parameters (of mA)", "how its search ended"],
    );
    let best = d.families.iter().filter_map(|f| f.aicc).fold(f64::INFINITY, f64::min);
    for f in &d.families {
        let params: Vec<String> = f
            .params
            .iter()
            .filter(|(_, x)| x.is_finite())
            .map(|(k, x)| format!("{} {}", text(k), parameter(*x)))
            .collect();
        let aicc = f
            .aicc
            .filter(|x| x.is_finite())
            .map_or_else(|| NONE.to_owned(), |x| format!("{:.1}", x - best));
        let params = if params.is_empty() { NONE.to_owned() } else { params.join(", ") };
        row(
            page,
            &[
                &text(f.name),
                &format!("{:.0} %", 100.0 * f.weight),
                &aicc,
                &params,
                &text(&f.stopped),
            ],
        );
    }
    line!(page);
}

/// A parameter with four significant digits: no interval of its own is known, and more than that is never certain.
fn parameter(x: f64) -> String {
    if x == 0.0 || (1e-4..1e7).contains(&x.abs()) {
        let whole = if x == 0.0 { 0 } else { x.abs().log10().floor() as i32 };
        let decimals = usize::try_from(3 - whole).unwrap_or(0);
        format!("{x:.decimals$}")
    } else {
        format!("{x:.3e}")
    }
}
