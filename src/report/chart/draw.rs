//! Inks any [`Chart`] as a PNG, or as strokes inside a page.
//!
//! All places below are in pixels of the finished picture.

use super::area::{Area, clipped_line, clipped_polygon};
use super::brush::{Ink, Pixels, Sheet, failed};
use super::labels;
use super::layout::{Placed, ROW, edge_room, edge_words, place, upright_rules};
use super::paper::Paper;
use super::strokes::Strokes;
use super::style::{self, EDGE, Weight};
use super::{Along, Chart, ChartError, Dash, Layer, Shape};
use plotters::prelude::*;
use std::cell::RefCell;

/// The chart as the bytes of a PNG file; same chart, same bytes.
///
/// # Errors
/// Those of [`Chart::check`], and `NotDrawn`.
pub fn png(chart: &Chart) -> Result<Vec<u8>, ChartError> {
    chart.check()?;
    let (w, h) = (chart.width, chart.height);
    PAPER.with_borrow_mut(|pixels| {
        let root = Paper::new(pixels, w, h).into_drawing_area();
        Sheet { ink: Pixels { root: &root } }.chart(chart)?;
        root.present().map_err(failed)?;
        drop(root);
        super::picture::pack(pixels, w, h)
    })
}

thread_local! {
    /// The canvas of one chart after the other: asking the system for megabytes takes as long as drawing on them.
    static PAPER: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
}

/// A chart drawn both ways.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Inked {
    /// The bytes of a PNG file.
    pub png: Vec<u8>,
    /// The SVG element.
    pub svg: String,
}

/// The chart drawn both ways.
///
/// # Errors
/// Those of [`png()`].
pub fn inked(chart: &Chart) -> Result<Inked, ChartError> {
    Ok(Inked { png: png(chart)?, svg: svg(chart)? })
}

/// The chart as an SVG element for a page: same chart, same text. Words stay words, to be read aloud and found.
///
/// # Errors
/// Those of [`Chart::check`].
pub fn svg(chart: &Chart) -> Result<String, ChartError> {
    chart.check()?;
    let sheet = Sheet { ink: Strokes::default() };
    sheet.chart(chart)?;
    Ok(sheet.ink.element(chart))
}

impl<I: Ink> Sheet<I> {
    fn chart(&self, chart: &Chart) -> Result<(), ChartError> {
        let (width, height) = (f64::from(chart.width), f64::from(chart.height));
        let room = width - 2.0 * EDGE;
        let mut y = EDGE - 8.0;
        for line in style::wrapped(&chart.title, style::TITLE, Weight::Bold, room, 2) {
            self.ink.text(&line, EDGE, y + 25.0, style::TITLE, Weight::Bold)?;
            y += 52.0;
        }
        for line in style::wrapped(&chart.subtitle, style::SUBTITLE, Weight::Regular, room, 2) {
            self.ink.text(&line, EDGE, y + 19.0, style::SUBTITLE, Weight::Regular)?;
            y += 40.0;
        }
        y = self.legend(chart, y + 6.0, room)?;

        let mut notes = Vec::new();
        for note in &chart.notes {
            notes.extend(style::wrapped(note, style::NOTE, Weight::Regular, room, 2));
        }
        let mut bottom = height - 16.0 - 33.0 * notes.len() as f64;
        for (i, line) in notes.iter().enumerate() {
            let at = bottom + 33.0 * i as f64 + 16.0;
            self.ink.text(line, EDGE, at, style::NOTE, Weight::Regular)?;
        }
        bottom -= 6.0;

        for placed in place(chart, y, bottom, width) {
            self.panel(&placed)?;
        }
        Ok(())
    }

    /// Draws the legend in rows and returns where it ends.
    fn legend(&self, chart: &Chart, top: f64, room: f64) -> Result<f64, ChartError> {
        let mut seen: Vec<&str> = Vec::new();
        let (mut x, mut y, mut any) = (EDGE, top + 18.0, false);
        for layer in chart.layers() {
            let Some(name) = layer.name() else { continue };
            if seen.contains(&name) {
                continue;
            }
            seen.push(name);
            any = true;
            let text = style::shortened(name, style::TEXT, Weight::Regular, room - 66.0);
            let width = 58.0 + style::text_width(&text, style::TEXT, Weight::Regular);
            if x > EDGE && x + width > EDGE + room {
                x = EDGE;
                y += ROW;
            }
            self.swatch(layer, x, y)?;
            self.ink.text(&text, x + 58.0, y, style::TEXT, Weight::Regular)?;
            x += width + 36.0;
        }
        Ok(if any { y + ROW / 2.0 + 8.0 } else { top })
    }

    fn swatch(&self, layer: &Layer, x: f64, y: f64) -> Result<(), ChartError> {
        let area = |h: f64| Area { left: x, top: y - h, right: x + 46.0, bottom: y + h };
        match layer {
            Layer::Bars { role, .. } => self.ink.rect(area(11.0), style::colour(*role)),
            Layer::Line { role, dash, .. } => self.ink.polyline(
                &[(x, y), (x + 46.0, y)],
                style::colour(*role),
                style::thickness(*role),
                *dash,
            ),
            Layer::Band { role, .. } | Layer::Zone { role, .. } => self.shaded(area(11.0), *role),
            Layer::Points { role, shape, .. } => {
                let size = if *shape == Shape::Upright { 6.5 } else { 9.0 };
                self.mark(*shape, x + 28.0, y, size, style::colour(*role))
            }
            Layer::Whiskers { role, .. } => {
                self.whisker(x + 28.0, y - 13.0, y + 13.0, style::colour(*role))
            }
            Layer::Span { role, thickness, shaded, .. } => {
                let half = (thickness / 2.0).clamp(2.0, 11.0);
                if *shaded {
                    self.shaded(area(half), *role)
                } else {
                    self.ink.rect(area(half), style::colour(*role))
                }
            }
            Layer::Rule { .. } => Ok(()),
        }
    }

    fn panel(&self, placed: &Placed) -> Result<(), ChartError> {
        let Area { left, top, right, bottom } = placed.area;
        let panel = placed.panel;
        // Shades first, then the grid, then all that must be read.
        for layer in &panel.layers {
            self.shades(placed, layer)?;
        }
        for tick in panel.y.ticks((((bottom - top) / 55.0) as usize).max(3)) {
            let y = placed.y(tick.at);
            self.ink.rect(Area { left, top: y - 0.5, right, bottom: y + 0.5 }, style::GRID)?;
            // A second line says more about the first, in smaller letters.
            let lines: Vec<&str> = tick.label.lines().take(2).collect();
            for (i, line) in lines.iter().enumerate() {
                let size = if i == 0 { style::TEXT } else { style::NOTE };
                let label = style::shortened(line, size, Weight::Regular, left - EDGE - 14.0);
                let width = style::text_width(&label, size, Weight::Regular);
                let shift = if lines.len() > 1 { 34.0 * i as f64 - 17.0 } else { 0.0 };
                self.ink.text(&label, left - 14.0 - width, y + shift, size, Weight::Regular)?;
            }
        }
        let ticks = placed.x.ticks(((right - left) / 150.0) as usize);
        for tick in &ticks {
            let x = placed.x(tick.at);
            self.ink.rect(Area { left: x - 0.5, top, right: x + 0.5, bottom }, style::GRID)?;
        }
        for layer in &panel.layers {
            self.layer(placed, layer)?;
        }
        self.ink
            .rect(Area { left, top: bottom - 1.0, right, bottom: bottom + 1.0 }, style::FRAME)?;
        self.ink.rect(Area { left: left - 1.0, top, right: left + 1.0, bottom }, style::FRAME)?;
        self.ink.text(
            &panel.y.title,
            EDGE,
            placed.area.top - self.above(placed) - 27.0,
            style::TEXT,
            Weight::Bold,
        )?;
        let mut free_from = EDGE;
        for tick in &ticks {
            let x = placed.x(tick.at);
            let width = style::text_width(&tick.label, style::TEXT, Weight::Regular);
            let start = (x - width / 2.0).min(placed.area.right + 120.0 - width);
            self.ink.rect(
                Area { left: x - 1.0, top: bottom, right: x + 1.0, bottom: bottom + 8.0 },
                style::FRAME,
            )?;
            if start >= free_from {
                self.ink.text(&tick.label, start, bottom + 26.0, style::TEXT, Weight::Regular)?;
                free_from = start + width + 14.0;
            }
        }
        if placed.titled && !placed.x.title.is_empty() {
            let title = style::shortened(&placed.x.title, style::TEXT, Weight::Bold, right - left);
            let width = style::text_width(&title, style::TEXT, Weight::Bold);
            self.ink.text(
                &title,
                (left + right - width) / 2.0,
                bottom + 62.0,
                style::TEXT,
                Weight::Bold,
            )?;
        }
        self.upright_labels(placed)?;
        self.edge_labels(placed)
    }

    /// Height of the rows of flags above a panel.
    fn above(&self, placed: &Placed) -> f64 {
        let rows = placed.flags.iter().flatten().map(|f| f.lane + 1).max().unwrap_or(0);
        rows as f64 * ROW
    }

    fn shades(&self, placed: &Placed, layer: &Layer) -> Result<(), ChartError> {
        let a = placed.area;
        match layer {
            Layer::Zone { role, from, to, .. } => {
                let at = |x: f64| placed.x(x).clamp(a.left, a.right);
                self.shaded(Area { left: at(*from), right: at(*to), ..a }, *role)
            }
            Layer::Band { role, low, high, .. } => {
                let corners: Vec<(f64, f64)> =
                    low.iter().chain(high.iter().rev()).map(|p| placed.point(*p)).collect();
                let corners = clipped_polygon(&corners, a);
                if corners.len() < 3 {
                    return Ok(());
                }
                self.ink.polygon(&corners, style::shade(*role))
            }
            Layer::Span { role, y, from, to, thickness, shaded: true, .. } => {
                let area = span(placed, *y, *from, *to, *thickness);
                area.map_or(Ok(()), |area| self.shaded(area, *role))
            }
            _ => Ok(()),
        }
    }

    fn layer(&self, placed: &Placed, layer: &Layer) -> Result<(), ChartError> {
        let a = placed.area;
        match layer {
            Layer::Bars { role, bars, .. } => {
                for bar in bars.iter().filter(|b| b.top > b.foot) {
                    let (from, to) = (placed.x(bar.from), placed.x(bar.to));
                    if to < a.left || from > a.right {
                        continue;
                    }
                    // A hair of white between wide bars; no bar thinner or lower than can be seen.
                    let gap = if to - from > 6.0 { 0.5 } else { 0.0 };
                    let middle = f64::midpoint(from, to);
                    let half = ((to - from) / 2.0 - gap).max(1.5);
                    let bottom = placed.y(bar.foot).clamp(a.top + 3.0, a.bottom);
                    let bar = Area {
                        left: (middle - half).max(a.left),
                        right: (middle + half).min(a.right),
                        top: placed.y(bar.top).clamp(a.top, bottom - 3.0),
                        bottom,
                    };
                    self.ink.rect(bar, style::colour(*role))?;
                }
                Ok(())
            }
            Layer::Line { role, dash, points, .. } => {
                let points: Vec<_> = points.iter().map(|p| placed.point(*p)).collect();
                for piece in clipped_line(&points, a) {
                    self.ink.polyline(
                        &piece,
                        style::colour(*role),
                        style::thickness(*role),
                        *dash,
                    )?;
                }
                Ok(())
            }
            Layer::Points { role, shape, points, .. } => {
                let size = match shape {
                    Shape::Disc if points.len() > 60 => style::POINT * 0.75,
                    Shape::Disc => style::POINT,
                    _ => style::POINT * 1.5,
                };
                for p in points.iter().filter(|p| placed.x.holds(p.x) && placed.panel.y.holds(p.y))
                {
                    let (x, y) = placed.point(*p);
                    self.mark(*shape, x, y, size, style::colour(*role))?;
                }
                Ok(())
            }
            Layer::Whiskers { role, whiskers, .. } => {
                for w in whiskers.iter().filter(|w| placed.x.holds(w.x)) {
                    let high = placed.y(w.high).clamp(a.top, a.bottom);
                    let low = placed.y(w.low).clamp(a.top, a.bottom);
                    self.whisker(placed.x(w.x), high, low, style::colour(*role))?;
                }
                Ok(())
            }
            Layer::Span { role, y, from, to, thickness, shaded: false, .. } => {
                let area = span(placed, *y, *from, *to, *thickness);
                area.map_or(Ok(()), |area| self.ink.rect(area, style::colour(*role)))
            }
            Layer::Rule { role, dash, along: Along::Level, at, .. }
                if placed.panel.y.holds(*at) =>
            {
                let y = placed.y(*at);
                self.ink.polyline(
                    &[(a.left, y), (a.right, y)],
                    style::colour(*role),
                    style::LINE,
                    *dash,
                )
            }
            _ => Ok(()),
        }
    }

    fn upright_labels(&self, placed: &Placed) -> Result<(), ChartError> {
        let a = placed.area;
        let rules: Vec<_> = upright_rules(placed.panel, placed.x).collect();
        for ((role, dash, at, _), flag) in rules.iter().zip(&placed.flags) {
            let x = placed.x(*at);
            let top = match flag {
                Some(f) => a.top - f.lane as f64 * ROW - ROW + 6.0,
                None => a.top,
            };
            self.ink.polyline(
                &[(x, a.bottom), (x, top)],
                style::colour(*role),
                style::LINE,
                *dash,
            )?;
        }
        for ((_, _, _, label), flag) in rules.iter().zip(&placed.flags) {
            if let Some(f) = flag {
                let label =
                    style::shortened(label, style::TEXT, Weight::Regular, f.right - f.left + 1.0);
                let y = a.top - f.lane as f64 * ROW - ROW / 2.0;
                self.backed(&label, f.left, y)?;
            }
        }
        Ok(())
    }

    /// Labels of level rules and words beside the panel, at its right edge.
    fn edge_labels(&self, placed: &Placed) -> Result<(), ChartError> {
        let a = placed.area;
        let labels = edge_words(placed.panel);
        let wishes: Vec<f64> = labels.iter().map(|(at, ..)| placed.y(*at)).collect();
        let places = labels::nudged(&wishes, 33.0, a.top + 6.0, a.bottom - 6.0);
        for (((_, text, role), wish), y) in labels.iter().zip(&wishes).zip(&places) {
            let mut x = a.right + 14.0;
            if let Some(role) = role {
                let ends = [(a.right + 1.0, *wish), (a.right + 22.0, *y)];
                self.ink.polyline(&ends, style::colour(*role), 2.0, Dash::Solid)?;
                x += 16.0;
            }
            let text = style::shortened(text, style::TEXT, Weight::Regular, edge_room(placed, x));
            self.ink.text(&text, x, *y, style::TEXT, Weight::Regular)?;
        }
        Ok(())
    }
}

/// Where a level bar lies; `None` where it lies outside the panel.
fn span(placed: &Placed, y: f64, from: f64, to: f64, thick: f64) -> Option<Area> {
    let a = placed.area;
    let (left, right) = (placed.x(from), placed.x(to));
    // Never thinner than can be seen.
    let (middle, half) = (f64::midpoint(left, right), ((right - left) / 2.0).max(2.0));
    let y = placed.y(y);
    (right >= a.left && left <= a.right).then(|| Area {
        left: (middle - half).max(a.left),
        right: (middle + half).min(a.right),
        top: y - thick / 2.0,
        bottom: y + thick / 2.0,
    })
}
