//! `plants.md`: the same model at several plants, side by side; there where files name more than one plant.

use std::fmt::Write;

use super::super::format::{address, anchor, currents_of, name, text};
use super::series::change;
use super::{band, header, row, verdict_words};
use crate::review::{Review, ReviewedSeries};
use crate::stats::estimate::Estimate;
use crate::verdict::plants::{AtOnePlant, Difference, Says, SideBySide};
use crate::words::currents::Currents;
use crate::words::numbers::{NONE, counted, expected_share, grouped, measured, ppm, with_interval};

/// Its name in the folder.
pub const FILE: &str = "plants.md";

/// The whole page below its head.
pub(super) fn section(page: &mut String, report: &Review) {
    line!(page, "## Plants side by side\n");
    let differences = || report.plants.iter().flat_map(|m| &m.differences);
    let told = differences().filter(|d| d.says != Says::CannotBeTold).count();
    line!(
        page,
        "Each plant is judged alone; no units are pooled. A typical reading is that of the middle station of its plant, so a difference may be of the product, of its parts, or of leads and meters: only a unit tested at both plants tells which.\n"
    );
    line!(
        page,
        "{}; {} told. Where nothing differs, about 1 in 20 is told by chance.\n",
        counted(differences().count() as u64, "comparison"),
        if told == 0 { "none".to_owned() } else { grouped(told as u64) }
    );
    for (path, question) in report.plant_charts(&["plants"]) {
        line!(page, "![{}]({})\n", text(question), address(path));
    }
    for model in &report.plants {
        side_by_side(page, report, model);
    }
    alone(page, report);
}

/// One quantity of a series, as a cell.
type Cell<'a> = &'a dyn Fn(&AtOnePlant, &ReviewedSeries, &Currents) -> String;

fn side_by_side(page: &mut String, report: &Review, model: &SideBySide) {
    line!(page, "### {}, {}\n", name(&model.model), text(&model.test));
    for d in &model.differences {
        line!(page, "- {}", text(&sentence(d)));
    }
    line!(page);
    let plants: Vec<String> = model
        .at
        .iter()
        .map(|at| format!("[{}](#{})", name(&at.plant), anchor(&at.series)))
        .collect();
    header(page, &cells("", &plants));
    let ma = |e: Option<&Estimate>, show: &Currents| {
        e.map_or_else(|| NONE.to_owned(), |e| with_interval(e, |x| show.estimate(x)))
    };
    let set =
        |x: Option<f64>, show: &Currents| x.map_or_else(|| "none".to_owned(), |x| show.set(x));
    let rows: [(&str, Cell<'_>); 10] = [
        ("typical reading", &|at, _, show| ma(at.x50_ma.as_ref(), show)),
        ("5 % to 95 % of healthy units", &|_, s, show| spread(s, show)),
        ("tested in the period judged", &|_, s, _| counted(s.seen.units, "unit")),
        ("seen over the limit", &|_, s, _| {
            let seen = s.observed_reject_ppm.as_ref();
            seen.map_or_else(|| NONE.to_owned(), |e| measured(e, ppm))
        }),
        ("healthy units expected over the limit", &|_, s, _| {
            let share = s.expected_reject_ppm.as_ref();
            share.map_or_else(|| NONE.to_owned(), |e| expected_share(e).to_string())
        }),
        ("high limit", &|_, s, show| set(s.limit.history.now.high_ma(), show)),
        ("low limit", &|_, s, show| set(s.limit.history.now.low_ma(), show)),
        ("workable band", &|_, s, show| band(&s.verdict, show)),
        ("verdict", &|_, s, _| verdict_words(&s.verdict)),
        ("stations, against the middle one of the plant", &|at, _, _| offsets(report, at)),
    ];
    for (what, cell) in rows {
        let own = model.at.iter().map(|at| {
            let series = &report.series[at.index];
            text(&cell(at, series, &currents_of(series)))
        });
        row(page, &cells(what, &own.collect::<Vec<_>>()));
    }
    line!(page);
}

fn cells<'a>(first: &'a str, rest: &'a [String]) -> Vec<&'a str> {
    std::iter::once(first).chain(rest.iter().map(String::as_str)).collect()
}

/// The middle nine tenths of the healthy units.
fn spread(s: &ReviewedSeries, show: &Currents) -> String {
    let body = s.distribution.as_ref();
    let ends = body.and_then(|d| Some((d.x05_ma.as_ref()?.value, d.x95_ma.as_ref()?.value)));
    ends.map_or_else(
        || NONE.to_owned(),
        |(low, high)| format!("{} to {}", show.estimate(low), show.estimate(high)),
    )
}

/// What each station that tests it adds.
fn offsets(report: &Review, at: &AtOnePlant) -> String {
    let own = report.stations.iter().filter(|s| at.stations.contains(&s.station));
    let each = own.map(|s| match &s.offset_pct {
        None => format!("{}: not known", s.station),
        Some(_) if s.is_reference => format!("{}: the middle one", s.station),
        Some(e) => format!("{}: {}", s.station, change(e)),
    });
    each.collect::<Vec<_>>().join("; ")
}

/// What a difference tells, in a sentence.
fn sentence(d: &Difference) -> String {
    let Difference { plant, against, x50_pct, says } = d;
    let Some(e) = x50_pct else {
        return format!(
            "Whether {plant} reads otherwise than {against} cannot be told: a typical reading is not known."
        );
    };
    match says {
        Says::CannotBeTold => {
            format!("Whether {plant} reads otherwise than {against} cannot be told: {}.", change(e))
        }
        Says::ReadsMore => format!("{plant} reads more than {against}, by {}.", change(e)),
        Says::ReadsLess => format!("{plant} reads less than {against}, by {}.", change(e)),
    }
}

/// Series that one plant alone has.
fn alone(page: &mut String, report: &Review) {
    let shared = |n: usize| report.plants.iter().flat_map(|m| &m.at).any(|at| at.index == n);
    let rest: Vec<&ReviewedSeries> =
        (0..report.series.len()).filter(|n| !shared(*n)).map(|n| &report.series[n]).collect();
    if rest.is_empty() {
        return;
    }
    line!(page, "### At one plant alone, or tested otherwise\n");
    for s in rest {
        line!(page, "- [{}](#{})", name(&s.named.title), anchor(&s.named.id));
    }
    line!(page);
}
