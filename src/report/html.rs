//! `report.html`: all of a review in one file to mail, with charts inside and no network.
//!
//! Takes the pages as they are written for readers of markdown, before their links lead from file to file, and the charts
//! as strokes. A page's text is told once, in markdown, and shown twice: a second set of templates would say the same in
//! other words sooner or later. The engine fills one template, which holds style and script; a policy in its head lets
//! nothing be fetched. Text of somebody's files passes the markdown's escaping, the engine's, or stands in JSON that the
//! script shows as text.

use std::collections::{BTreeSet, HashMap};

use minijinja::Environment;
use minijinja::value::Serde;
use pulldown_cmark::{CowStr, Event, Options, Parser, Tag, TagEnd, html};
use serde::Serialize;

use super::format::{Cell, anchor, currents_of};
use super::markdown::links::place_of;
use super::markdown::{Page, front, models, series_cells};
use super::tables::UNITS_IN_PAGE;
use crate::review::Review;
use crate::words::numbers::counted;

/// Its name in the folder.
pub const FILE: &str = "report.html";
/// Style, script and the order of parts.
const TEMPLATE: &str = include_str!("html/report.html");
/// Bytes of charts inside: more cannot be mailed. The other charts lie beside the page.
const CHARTS: usize = 6_000_000;
/// Lines of units that the page can search; the list beside it holds them all.
const UNITS: usize = 20_000;

/// A part that folds.
#[derive(Debug, Serialize)]
struct Part {
    id: String,
    title: String,
    body: String,
}

/// One series of the table that sorts.
#[derive(Debug, Serialize)]
struct Row {
    anchor: String,
    cells: Vec<Cell>,
}

/// What the template is filled with.
#[derive(Debug, Serialize)]
struct Filled {
    title: String,
    front: String,
    columns: [&'static str; super::markdown::SERIES_COLUMNS.len()],
    series: Vec<Row>,
    models: Vec<Part>,
    pages: Vec<Part>,
    units: String,
    units_cut: Option<String>,
    units_said: String,
    unit_columns: [&'static str; UNITS_IN_PAGE.len()],
}

/// The page, of `pages` with links to places and `charts` by path.
///
/// # Panics
/// Never: the template is part of the program and is filled in every test of a report.
#[must_use]
pub fn page(review: &Review, pages: &[Page], charts: &HashMap<String, String>) -> String {
    let mut shown = Shown { charts: inside(review, charts), ids: BTreeSet::new(), pages };
    let part = |shown: &mut Shown<'_>, path: &str, id: String, title: &str| Part {
        id,
        title: title.to_owned(),
        body: shown.html(text_of(pages, path)),
    };
    let front = shown.html(text_of(pages, front::FILE));
    let of_models: Vec<Part> = models::pages(review)
        .iter()
        .enumerate()
        .map(|(n, m)| part(&mut shown, &m.path, format!("model-{}", n + 1), &m.model))
        .collect();
    let others: Vec<Part> = front::beside_of(review)
        .map(|p| part(&mut shown, p.path, place_of_page(p.path), p.title))
        .collect();
    let rows = review
        .series
        .iter()
        .map(|s| Row { anchor: anchor(&s.named.id), cells: series_cells(s, &currents_of(s)) });
    let units: Vec<[&str; UNITS_IN_PAGE.len()]> =
        review.units.iter().take(UNITS).map(super::tables::unit_in_page).collect();
    // Stays in sight whatever is searched: a serial that is not found here may be among the others.
    let cut = (review.units.len() > UNITS).then(|| {
        format!(
            "The first {UNITS} lines of units-to-check.csv, which holds {}.",
            review.units.len()
        )
    });
    let said = counted(units.len() as u64, "line");
    // Inside a script nothing may look like its end.
    let units = serde_json::to_string(&units).expect("texts are JSON").replace('<', "\\u003c");
    let mut engine = Environment::new();
    engine.add_template(FILE, TEMPLATE).expect("the template is sound");
    let template = engine.get_template(FILE).expect("it was added");
    template
        .render(Serde(&Filled {
            title: format!("{}: review of {}", review.name, review.month),
            front,
            columns: super::markdown::SERIES_COLUMNS,
            series: rows.collect(),
            models: of_models,
            pages: others,
            units,
            units_cut: cut,
            units_said: said,
            unit_columns: UNITS_IN_PAGE,
        }))
        .expect("every name of the template is given")
}

fn text_of<'a>(pages: &'a [Page], path: &str) -> &'a str {
    pages.iter().find(|(p, _)| p == path).map_or("", |(_, text)| text)
}

/// The charts that have room inside: first those of the plant and of jumps, then of the series that need most attention.
fn inside<'a>(
    review: &'a Review,
    charts: &'a HashMap<String, String>,
) -> HashMap<&'a str, &'a String> {
    let of_plant = review.charts.iter().map(|(path, _)| path);
    let of_jumps = review.jump_charts.iter().map(|c| &c.path);
    let of_series =
        review.by_attention().flat_map(|n| &review.series[n].charts).map(|(path, _)| path);
    let mut left = CHARTS;
    let mut chosen = HashMap::new();
    for path in of_plant.chain(of_jumps).chain(of_series) {
        let Some(svg) = charts.get(path).filter(|svg| svg.len() <= left) else { continue };
        left -= svg.len();
        chosen.insert(path.as_str(), svg);
    }
    chosen
}

/// The place of a page inside this one.
fn place_of_page(path: &str) -> String {
    format!("page-{}", path.trim_end_matches(".md"))
}

/// What was shown so far.
struct Shown<'a> {
    charts: HashMap<&'a str, &'a String>,
    /// Places of headings: one of a name.
    ids: BTreeSet<String>,
    pages: &'a [Page],
}

impl Shown<'_> {
    /// A page of markdown as HTML: places stay, files beside the page do not, charts stand inside.
    fn html(&mut self, markdown: &str) -> String {
        let mut events: Vec<Event<'_>> = Vec::new();
        let mut inside_image = false;
        let mut links: Vec<bool> = Vec::new();
        let mut heading: Option<usize> = None;
        for event in Parser::new_ext(markdown, Options::ENABLE_TABLES) {
            match event {
                Event::Start(Tag::Image { dest_url, .. }) => {
                    inside_image = true;
                    events.push(match self.charts.get(dest_url.as_ref()) {
                        Some(svg) => Event::InlineHtml(CowStr::from((*svg).clone())),
                        None => {
                            Event::Text(CowStr::from(format!("(beside this file: {dest_url})")))
                        }
                    });
                }
                Event::End(TagEnd::Image) => inside_image = false,
                _ if inside_image => {}
                Event::Start(Tag::Link { link_type, dest_url, title, id }) => {
                    let to = self.target(&dest_url);
                    links.push(to.is_some());
                    events.extend(to.map(|dest_url| {
                        let dest_url = CowStr::from(dest_url);
                        Event::Start(Tag::Link { link_type, dest_url, title, id })
                    }));
                }
                Event::End(TagEnd::Link) => {
                    if links.pop() == Some(true) {
                        events.push(Event::End(TagEnd::Link));
                    }
                }
                Event::Start(Tag::Heading { .. }) => {
                    heading = Some(events.len());
                    events.push(event);
                }
                Event::End(TagEnd::Heading(_)) => {
                    if let Some(at) = heading.take() {
                        self.name(&mut events, at);
                    }
                    events.push(event);
                }
                Event::Start(Tag::Table(_)) => {
                    events.push(Event::Html(CowStr::from("<div class=\"table\">")));
                    events.push(event);
                }
                Event::End(TagEnd::Table) => {
                    events.push(event);
                    events.push(Event::Html(CowStr::from("</div>")));
                }
                other => events.push(other),
            }
        }
        let mut out = String::with_capacity(2 * markdown.len());
        html::push_html(&mut out, events.into_iter());
        out
    }

    /// Where a link leads inside the file; nowhere where it is to a file beside it.
    fn target(&self, to: &str) -> Option<String> {
        if to.starts_with('#') {
            return Some(to.to_owned());
        }
        let is_page = self.pages.iter().any(|(path, _)| path == to);
        if to == front::FILE {
            Some("#front".to_owned())
        } else {
            is_page.then(|| format!("#{}", place_of_page(to)))
        }
    }

    /// Gives the heading that begins at `at` its place, where no other has that name.
    fn name(&mut self, events: &mut [Event<'_>], at: usize) {
        let words: String = events[at + 1..]
            .iter()
            .filter_map(|e| {
                if let Event::Text(t) | Event::Code(t) = e { Some(t.as_ref()) } else { None }
            })
            .collect();
        let place = place_of(&words);
        if let Event::Start(Tag::Heading { id, .. }) = &mut events[at]
            && self.ids.insert(place.clone())
        {
            *id = Some(CowStr::from(place));
        }
    }
}
