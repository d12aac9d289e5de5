//! The limit study of one model → its files: page, change notes, charts, lists.

use rayon::prelude::*;

use super::chart::distribution;
use super::chart::ladder;
use super::chart::one_series::OneSeries;
use super::chart::trade_off::{self, TradeOff};
use super::chart::{Chart, ChartError, draw, style};
use super::markdown::{change_note, limit_page, readme};
use super::{json, tables};
use crate::review::Review;
use crate::review::limit_study::LimitsReport;
use crate::verdict::limit_study::LimitStudy;

/// A finished study, not yet written.
#[derive(Debug)]
pub struct Study {
    /// Everything its pages show.
    pub report: LimitsReport,
    /// Relative path and content of each file.
    pub files: Vec<(String, Vec<u8>)>,
}

/// All files of a study; `review` is what it was asked of, `None` where there are no measurements.
#[must_use]
pub fn render(mut report: LimitsReport, review: Option<&Review>, note_for: Option<f64>) -> Study {
    let mut files = change_notes(&mut report, note_for);
    let mut chart = None;
    match (&report.calculated, review) {
        (Some(band), _) => {
            let model = style::printable(&report.model, "new model");
            let drawn = trade_off::chart(&TradeOff::of_calculated(model, band));
            match drawn.and_then(|c| draw::png(&c)) {
                Ok(png) => {
                    let path = "charts/calculated-limits.png".to_owned();
                    files.push((path.clone(), png));
                    chart = Some(path);
                }
                Err(why) => report.notes.push(format!("no chart: {why}")),
            }
        }
        (None, Some(review)) => files.extend(charts(review, &mut report)),
        (None, None) => {}
    }
    let page = limit_page::page(&report, chart.as_deref());
    files.push(("summary.md".to_owned(), page.into_bytes()));
    files.push(("results.json".to_owned(), json::results(&report).into_bytes()));
    files.push(readme::file(&readme::LIMITS));
    if report.calculated.is_none() {
        let list = tables::units_affected_csv(&report);
        files.push(("units-affected.csv".to_owned(), list.into_bytes()));
    }
    files.sort_by(|a, b| a.0.cmp(&b.0));
    Study { report, files }
}

/// Change notes: one for every series whose limit is to be changed.
fn change_notes(report: &mut LimitsReport, note_for: Option<f64>) -> Vec<(String, Vec<u8>)> {
    let alone = report.series.len() == 1;
    let mut files = Vec::new();
    for n in 0..report.series.len() {
        let s = &report.series[n];
        let Some(to) = s.note_to(note_for) else { continue };
        let path = if alone {
            "change-note.md".to_owned()
        } else {
            format!("change-note-{}.md", s.series.named.id)
        };
        files.push((path.clone(), change_note::note(report, s, to).into_bytes()));
        report.series[n].change_note = Some(path);
    }
    files
}

/// Makes one chart of a series, from its review and its study.
type Maker = fn(&Review, &LimitStudy) -> Result<Chart, ChartError>;

/// The charts of every series: name, question and maker.
const CHARTS: [(&str, &str, Maker); 3] = [
    ("limits", "What does each limit cost, and what does it hide?", |review, study| {
        let series = OneSeries::new(review, study.series);
        trade_off::chart(&TradeOff::of_study(&series.title, study, &series.decided.limits.high))
    }),
    ("ladder", "Where does the limit lie?", |review, study| {
        ladder::chart(&ladder::from(review, &[study.series]))
    }),
    ("distribution", "What do healthy units read, and where is the limit?", |review, study| {
        distribution::chart(&distribution::from(&OneSeries::new(review, study.series)))
    }),
];

/// Charts of the study, drawn in parallel; a chart that cannot be drawn is a note.
fn charts(review: &Review, report: &mut LimitsReport) -> Vec<(String, Vec<u8>)> {
    let jobs: Vec<(usize, &str, &str, Maker)> = (0..report.series.len())
        .flat_map(|n| CHARTS.map(|(name, question, make)| (n, name, question, make)))
        .collect();
    let drawn: Vec<_> = jobs
        .par_iter()
        .map(|&(n, _, _, make)| make(review, &report.series[n].study).and_then(|c| draw::png(&c)))
        .collect();
    let mut files = Vec::new();
    for s in &mut report.series {
        s.series.charts.clear();
    }
    for ((n, name, question, _), png) in jobs.into_iter().zip(drawn) {
        let of = &mut report.series[n].series;
        match png {
            Ok(png) => {
                let path = format!("charts/{}-{name}.png", of.named.id);
                of.charts.push((path.clone(), question.to_owned()));
                files.push((path, png));
            }
            Err(why) => {
                report.notes.push(format!("{}: no chart for \"{question}\": {why}", of.named.title))
            }
        }
    }
    report.notes.sort();
    files
}

/// What is printed when a study was written.
#[must_use]
pub fn closing(report: &LimitsReport, out: &std::path::Path) -> String {
    let mut text = super::first_lines(&report.first);
    for s in &report.series {
        let said = s.study.recommendation.sentence();
        text.push_str(&format!("{}: {said}\n", s.series.named.title));
    }
    if let Some(c) = &report.calculated {
        text.push_str(&format!("{}: calculated. {}\n", report.model, c.expected.sentence()));
    }
    text.push_str(&format!("study: {}\n", out.join("summary.md").display()));
    text
}
