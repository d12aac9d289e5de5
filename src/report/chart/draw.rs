//! Inks any [`Chart`] as a PNG.
//!
//! All places below are in pixels of the finished picture; the ink itself is laid on a canvas
//! [`style::OVERSIZE`] times larger, which is then averaged.

use super::labels::{self, Flag};
use super::style::{self, Weight};
use super::{Along, Axis, Chart, ChartError, Dash, Layer, Panel, Point, Role, Shape, Side};
use plotters::coord::Shift;
use plotters::prelude::*;
use std::path::Path;

const EDGE: f64 = 34.0;
const ROW: f64 = 36.0;
const LANES: usize = 6;

/// The chart as the bytes of a PNG file; same chart, same bytes.
///
/// # Errors
/// Those of [`Chart::check`], and `NotDrawn`.
pub fn png(chart: &Chart) -> Result<Vec<u8>, ChartError> {
    chart.check()?;
    let (w, h, times) = (chart.width, chart.height, style::OVERSIZE);
    let mut pixels = vec![255u8; (w * times) as usize * (h * times) as usize * 3];
    {
        let root =
            BitMapBackend::with_buffer(&mut pixels, (w * times, h * times)).into_drawing_area();
        root.fill(&WHITE).map_err(failed)?;
        Sheet { root: &root }.chart(chart)?;
        root.present().map_err(failed)?;
    }
    super::picture::pack(&super::picture::shrink(&pixels, w, h, times), w, h)
}

/// Writes the chart as a PNG file.
///
/// # Errors
/// Those of [`png`]; `NotDrawn` where the file cannot be written.
pub fn write(chart: &Chart, path: &Path) -> Result<(), ChartError> {
    let bytes = png(chart)?;
    std::fs::write(path, bytes).map_err(|e| ChartError::NotDrawn {
        reason: format!("{}: {e}", path.display()),
    })
}

fn failed(error: impl std::fmt::Display) -> ChartError {
    ChartError::NotDrawn {
        reason: error.to_string(),
    }
}

/// A rectangle, y downwards.
#[derive(Debug, Clone, Copy)]
struct Area {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

/// A panel with its place on the sheet.
struct Placed<'a> {
    panel: &'a Panel,
    x: &'a Axis,
    area: Area,
    flags: Vec<Option<Flag>>,
    titled: bool,
}

impl Placed<'_> {
    fn x(&self, value: f64) -> f64 {
        self.area.left + self.x.fraction(value) * (self.area.right - self.area.left)
    }
    fn y(&self, value: f64) -> f64 {
        self.area.bottom - self.panel.y.fraction(value) * (self.area.bottom - self.area.top)
    }
    fn point(&self, p: Point) -> (f64, f64) {
        (self.x(p.x), self.y(p.y))
    }
}

struct Sheet<'a, 'b> {
    root: &'a DrawingArea<BitMapBackend<'b>, Shift>,
}

impl Sheet<'_, '_> {
    fn chart(&self, chart: &Chart) -> Result<(), ChartError> {
        let (width, height) = (f64::from(chart.width), f64::from(chart.height));
        let room = width - 2.0 * EDGE;
        let mut y = EDGE - 8.0;
        for line in style::wrapped(&chart.title, style::TITLE, Weight::Bold, room, 2) {
            self.text(&line, EDGE, y + 25.0, style::TITLE, Weight::Bold)?;
            y += 52.0;
        }
        for line in style::wrapped(&chart.subtitle, style::SUBTITLE, Weight::Regular, room, 2) {
            self.text(&line, EDGE, y + 19.0, style::SUBTITLE, Weight::Regular)?;
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
            self.text(line, EDGE, at, style::NOTE, Weight::Regular)?;
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
            self.text(&text, x + 58.0, y, style::TEXT, Weight::Regular)?;
            x += width + 36.0;
        }
        Ok(if any { y + ROW / 2.0 + 8.0 } else { top })
    }

    fn swatch(&self, layer: &Layer, x: f64, y: f64) -> Result<(), ChartError> {
        let area = |h: f64| Area {
            left: x,
            top: y - h,
            right: x + 46.0,
            bottom: y + h,
        };
        match layer {
            Layer::Bars { role, .. } => self.rect(area(11.0), style::colour(*role)),
            Layer::Line { role, dash, .. } => self.polyline(
                &[(x, y), (x + 46.0, y)],
                style::colour(*role),
                style::LINE,
                *dash,
            ),
            Layer::Band { role, .. } | Layer::Zone { role, .. } => {
                self.rect(area(11.0), style::shade(*role))
            }
            Layer::Points { role, shape, .. } => {
                let size = if *shape == Shape::Upright { 6.5 } else { 9.0 };
                self.mark(*shape, x + 28.0, y, size, style::colour(*role))
            }
            Layer::Whiskers { role, .. } => {
                self.whisker(x + 28.0, y - 13.0, y + 13.0, style::colour(*role))
            }
            Layer::Span {
                role, thickness, ..
            } => {
                let half = (thickness / 2.0).clamp(2.0, 11.0);
                let ink = if *thickness > 20.0 {
                    style::shade(*role)
                } else {
                    style::colour(*role)
                };
                self.rect(area(half), ink)
            }
            Layer::Rule { .. } | Layer::Text { .. } => Ok(()),
        }
    }

    fn panel(&self, placed: &Placed) -> Result<(), ChartError> {
        let Area {
            left,
            top,
            right,
            bottom,
        } = placed.area;
        let panel = placed.panel;
        // Shades first, then the grid, then all that must be read.
        for layer in &panel.layers {
            self.shades(placed, layer)?;
        }
        for tick in panel.y.ticks((((bottom - top) / 55.0) as usize).max(3)) {
            let y = placed.y(tick.at);
            self.rect(
                Area {
                    left,
                    top: y - 0.5,
                    right,
                    bottom: y + 0.5,
                },
                style::GRID,
            )?;
            // A second line says more about the first, in smaller letters.
            let lines: Vec<&str> = tick.label.lines().take(2).collect();
            for (i, line) in lines.iter().enumerate() {
                let size = if i == 0 { style::TEXT } else { style::NOTE };
                let label = style::shortened(line, size, Weight::Regular, left - EDGE - 14.0);
                let width = style::text_width(&label, size, Weight::Regular);
                let shift = if lines.len() > 1 {
                    34.0 * i as f64 - 17.0
                } else {
                    0.0
                };
                self.text(
                    &label,
                    left - 14.0 - width,
                    y + shift,
                    size,
                    Weight::Regular,
                )?;
            }
        }
        let ticks = placed.x.ticks(((right - left) / 150.0) as usize);
        for tick in &ticks {
            let x = placed.x(tick.at);
            self.rect(
                Area {
                    left: x - 0.5,
                    top,
                    right: x + 0.5,
                    bottom,
                },
                style::GRID,
            )?;
        }
        for layer in &panel.layers {
            self.layer(placed, layer)?;
        }
        self.rect(
            Area {
                left,
                top: bottom - 1.0,
                right,
                bottom: bottom + 1.0,
            },
            style::FRAME,
        )?;
        self.rect(
            Area {
                left: left - 1.0,
                top,
                right: left + 1.0,
                bottom,
            },
            style::FRAME,
        )?;
        self.text(
            &panel.y.title,
            EDGE,
            placed.area.top - self.above(placed) - 20.0,
            style::TEXT,
            Weight::Bold,
        )?;
        let mut free_from = EDGE;
        for tick in &ticks {
            let x = placed.x(tick.at);
            let width = style::text_width(&tick.label, style::TEXT, Weight::Regular);
            let start = (x - width / 2.0).min(placed.area.right + 120.0 - width);
            self.rect(
                Area {
                    left: x - 1.0,
                    top: bottom,
                    right: x + 1.0,
                    bottom: bottom + 8.0,
                },
                style::FRAME,
            )?;
            if start >= free_from {
                self.text(
                    &tick.label,
                    start,
                    bottom + 26.0,
                    style::TEXT,
                    Weight::Regular,
                )?;
                free_from = start + width + 14.0;
            }
        }
        if placed.titled && !placed.x.title.is_empty() {
            let title = style::shortened(&placed.x.title, style::TEXT, Weight::Bold, right - left);
            let width = style::text_width(&title, style::TEXT, Weight::Bold);
            self.text(
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
        let rows = placed
            .flags
            .iter()
            .flatten()
            .map(|f| f.lane + 1)
            .max()
            .unwrap_or(0);
        rows as f64 * ROW
    }

    fn shades(&self, placed: &Placed, layer: &Layer) -> Result<(), ChartError> {
        let a = placed.area;
        match layer {
            Layer::Zone {
                role,
                along,
                from,
                to,
                ..
            } => {
                let ink = style::shade(*role);
                let zone = match along {
                    Along::Upright => Area {
                        left: placed.x(*from).clamp(a.left, a.right),
                        right: placed.x(*to).clamp(a.left, a.right),
                        ..a
                    },
                    Along::Level => Area {
                        top: placed.y(*to).clamp(a.top, a.bottom),
                        bottom: placed.y(*from).clamp(a.top, a.bottom),
                        ..a
                    },
                };
                self.rect(zone, ink)
            }
            Layer::Band {
                role, low, high, ..
            } => {
                let corners: Vec<(f64, f64)> = low
                    .iter()
                    .chain(high.iter().rev())
                    .map(|p| placed.point(*p))
                    .collect();
                let corners = clipped_polygon(&corners, a);
                if corners.len() < 3 {
                    return Ok(());
                }
                self.polygon(&corners, style::shade(*role))
            }
            Layer::Span {
                role,
                y,
                from,
                to,
                thickness,
                ..
            } if *thickness > 20.0 => {
                self.span(placed, *y, *from, *to, *thickness, style::shade(*role))
            }
            _ => Ok(()),
        }
    }

    fn span(
        &self,
        placed: &Placed,
        y: f64,
        from: f64,
        to: f64,
        thick: f64,
        ink: RGBColor,
    ) -> Result<(), ChartError> {
        let a = placed.area;
        let (left, right) = (placed.x(from), placed.x(to));
        if right < a.left || left > a.right {
            return Ok(());
        }
        // Never thinner than can be seen.
        let middle = f64::midpoint(left, right);
        let half = ((right - left) / 2.0).max(2.0);
        let y = placed.y(y);
        self.rect(
            Area {
                left: (middle - half).max(a.left),
                right: (middle + half).min(a.right),
                top: y - thick / 2.0,
                bottom: y + thick / 2.0,
            },
            ink,
        )
    }

    fn layer(&self, placed: &Placed, layer: &Layer) -> Result<(), ChartError> {
        let a = placed.area;
        match layer {
            Layer::Bars { role, bars, .. } => {
                for bar in bars.iter().filter(|b| b.top > 0.0) {
                    let (from, to) = (placed.x(bar.from), placed.x(bar.to));
                    if to < a.left || from > a.right {
                        continue;
                    }
                    // A hair of white between wide bars; no bar thinner or lower than can be seen.
                    let gap = if to - from > 6.0 { 0.5 } else { 0.0 };
                    let middle = f64::midpoint(from, to);
                    let half = ((to - from) / 2.0 - gap).max(1.5);
                    let bar = Area {
                        left: (middle - half).max(a.left),
                        right: (middle + half).min(a.right),
                        top: placed.y(bar.top).clamp(a.top, a.bottom - 3.0),
                        bottom: a.bottom,
                    };
                    self.rect(bar, style::colour(*role))?;
                }
                Ok(())
            }
            Layer::Line {
                role, dash, points, ..
            } => {
                let points: Vec<_> = points.iter().map(|p| placed.point(*p)).collect();
                for piece in clipped_line(&points, a) {
                    self.polyline(&piece, style::colour(*role), style::thickness(*role), *dash)?;
                }
                Ok(())
            }
            Layer::Points {
                role,
                shape,
                points,
                ..
            } => {
                let size = match shape {
                    Shape::Disc if points.len() > 60 => style::POINT * 0.75,
                    Shape::Disc => style::POINT,
                    _ => style::POINT * 1.5,
                };
                for p in points
                    .iter()
                    .filter(|p| placed.x.holds(p.x) && placed.panel.y.holds(p.y))
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
            Layer::Span {
                role,
                y,
                from,
                to,
                thickness,
                ..
            } if *thickness <= 20.0 => {
                self.span(placed, *y, *from, *to, *thickness, style::colour(*role))
            }
            Layer::Rule {
                role,
                dash,
                along: Along::Level,
                at,
                ..
            } if placed.panel.y.holds(*at) => {
                let y = placed.y(*at);
                self.polyline(
                    &[(a.left, y), (a.right, y)],
                    style::colour(*role),
                    style::LINE,
                    *dash,
                )
            }
            Layer::Text { at, side, text } => {
                let text = style::shortened(text, style::TEXT, Weight::Regular, a.right - a.left);
                let width = style::text_width(&text, style::TEXT, Weight::Regular);
                let (x, y) = placed.point(*at);
                let (x, y) = match side {
                    Side::Right => (x + 18.0, y),
                    Side::Left => (x - 18.0 - width, y),
                    Side::Above => (x - width / 2.0, y - 26.0),
                };
                let x = x.clamp(a.left + 6.0, (a.right - width - 4.0).max(a.left + 6.0));
                let y = y.clamp(a.top + 16.0, a.bottom - 16.0);
                self.backed(&text, x, y)
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
            self.polyline(
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
                self.polyline(&ends, style::colour(*role), 2.0, Dash::Solid)?;
                x += 16.0;
            }
            let text = style::shortened(text, style::TEXT, Weight::Regular, edge_room(placed, x));
            self.text(&text, x, *y, style::TEXT, Weight::Regular)?;
        }
        Ok(())
    }

    fn whisker(&self, x: f64, top: f64, bottom: f64, ink: RGBColor) -> Result<(), ChartError> {
        self.rect(
            Area {
                left: x - 1.25,
                right: x + 1.25,
                top,
                bottom,
            },
            ink,
        )?;
        for y in [top, bottom] {
            self.rect(
                Area {
                    left: x - 6.0,
                    right: x + 6.0,
                    top: y - 1.25,
                    bottom: y + 1.25,
                },
                ink,
            )?;
        }
        Ok(())
    }

    fn mark(&self, shape: Shape, x: f64, y: f64, r: f64, ink: RGBColor) -> Result<(), ChartError> {
        let corners = |c: &[(f64, f64)]| {
            c.iter()
                .map(|(dx, dy)| (x + dx * r, y + dy * r))
                .collect::<Vec<_>>()
        };
        let triangle = |c: &[(f64, f64)]| self.polygon(&corners(c), ink);
        match shape {
            Shape::Disc => self.disc(x, y, r, ink),
            Shape::Ring => {
                self.disc(x, y, r, ink)?;
                self.disc(x, y, (r - 3.0).max(1.0), WHITE)
            }
            Shape::Square => {
                triangle(&[(-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)])
            }
            Shape::Diamond => triangle(&[(0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)]),
            Shape::Up => triangle(&[(0.0, -1.15), (1.1, 0.85), (-1.1, 0.85)]),
            Shape::Down => triangle(&[(0.0, 1.15), (1.1, -0.85), (-1.1, -0.85)]),
            Shape::Right => triangle(&[(1.15, 0.0), (-0.85, 1.1), (-0.85, -1.1)]),
            Shape::Left => triangle(&[(-1.15, 0.0), (0.85, 1.1), (0.85, -1.1)]),
            Shape::Cross => {
                self.polyline(&corners(&[(-1.0, -1.0), (1.0, 1.0)]), ink, 3.5, Dash::Solid)?;
                self.polyline(&corners(&[(-1.0, 1.0), (1.0, -1.0)]), ink, 3.5, Dash::Solid)
            }
            Shape::Upright => self.rect(
                Area {
                    left: x - 3.0,
                    right: x + 3.0,
                    top: y - 2.2 * r,
                    bottom: y + 2.2 * r,
                },
                ink,
            ),
        }
    }

    fn disc(&self, x: f64, y: f64, r: f64, ink: RGBColor) -> Result<(), ChartError> {
        let radius = (r * f64::from(style::OVERSIZE)).round().max(1.0) as i32;
        self.root
            .draw(&Circle::new(large(x, y), radius, ink.filled()))
            .map_err(failed)
    }

    fn polygon(&self, corners: &[(f64, f64)], ink: RGBColor) -> Result<(), ChartError> {
        let corners: Vec<_> = corners.iter().map(|(x, y)| large(*x, *y)).collect();
        self.root
            .draw(&Polygon::new(corners, ink.filled()))
            .map_err(failed)
    }

    fn rect(&self, a: Area, ink: RGBColor) -> Result<(), ChartError> {
        let (from, (x, y)) = (large(a.left, a.top), large(a.right, a.bottom));
        // The drawing crate includes both ends.
        let to = ((x - 1).max(from.0), (y - 1).max(from.1));
        self.root
            .draw(&Rectangle::new([from, to], ink.filled()))
            .map_err(failed)
    }

    fn polyline(
        &self,
        points: &[(f64, f64)],
        ink: RGBColor,
        thick: f64,
        dash: Dash,
    ) -> Result<(), ChartError> {
        let pattern: &[f64] = match dash {
            Dash::Solid => &[],
            Dash::Dashed => &[16.0, 11.0],
            Dash::Dotted => &[1.0, 9.0],
            Dash::DashDot => &[16.0, 9.0, 1.0, 9.0],
        };
        for (i, ((x0, y0), (x1, y1))) in dashed(points, pattern).into_iter().enumerate() {
            let length = (x1 - x0).hypot(y1 - y0);
            if length > 0.0 {
                // Each stroke as a rectangle of its own, round where two meet: the drawing crate's thick paths
                // grow spikes at sharp corners.
                let (dx, dy) = (
                    (x1 - x0) / length * thick / 2.0,
                    (y1 - y0) / length * thick / 2.0,
                );
                if dx.abs() < 1e-9 || dy.abs() < 1e-9 {
                    let (hx, hy) = (dy.abs(), dx.abs());
                    self.rect(
                        Area {
                            left: x0.min(x1) - hx,
                            right: x0.max(x1) + hx,
                            top: y0.min(y1) - hy,
                            bottom: y0.max(y1) + hy,
                        },
                        ink,
                    )?;
                } else {
                    self.polygon(
                        &[
                            (x0 - dy, y0 + dx),
                            (x1 - dy, y1 + dx),
                            (x1 + dy, y1 - dx),
                            (x0 + dy, y0 - dx),
                        ],
                        ink,
                    )?;
                }
            }
            let joint = pattern.is_empty() && i > 0;
            if joint || (!pattern.is_empty() && length < 2.0) {
                self.disc(x0, y0, thick / 2.0, ink)?;
            }
        }
        Ok(())
    }

    /// Text on a white ground, so that it stays legible over data.
    fn backed(&self, text: &str, x: f64, y: f64) -> Result<(), ChartError> {
        let width = style::text_width(text, style::TEXT, Weight::Regular);
        self.rect(
            Area {
                left: x - 5.0,
                right: x + width + 5.0,
                top: y - 17.0,
                bottom: y + 17.0,
            },
            WHITE,
        )?;
        self.text(text, x, y, style::TEXT, Weight::Regular)
    }

    /// Text that starts at `x` with the middle of its capitals at `y`.
    fn text(
        &self,
        text: &str,
        x: f64,
        y: f64,
        size: f64,
        weight: Weight,
    ) -> Result<(), ChartError> {
        // The drawing crate sets letters on whole pixels, which makes gaps uneven: the letters are
        // placed here, and it only lays their ink.
        let times = f64::from(style::OVERSIZE);
        let base = y + style::CAPITALS / 2.0 * size;
        for dot in style::ink(text, x * times, base * times, size * times, weight) {
            self.root
                .draw_pixel((dot.x, dot.y), &style::INK.mix(f64::from(dot.cover)))
                .map_err(failed)?;
        }
        Ok(())
    }
}

fn large(x: f64, y: f64) -> (i32, i32) {
    let times = f64::from(style::OVERSIZE);
    ((x * times).round() as i32, (y * times).round() as i32)
}

/// Shares the room between `top` and `bottom` out to the panels.
fn place(chart: &Chart, top: f64, bottom: f64, width: f64) -> Vec<Placed<'_>> {
    let widest = |texts: Vec<String>, most: f64| {
        texts
            .iter()
            .map(|t| style::text_width(t, style::TEXT, Weight::Regular))
            .fold(0.0, f64::max)
            .min(most)
    };
    let ticks = chart
        .panels
        .iter()
        .flat_map(|p| p.y.ticks(12))
        .flat_map(|t| t.label.lines().map(str::to_owned).collect::<Vec<_>>())
        .collect();
    let left = EDGE + widest(ticks, width * 0.26) + 18.0;
    let words = chart
        .panels
        .iter()
        .flat_map(edge_words)
        .map(|w| w.1)
        .collect();
    let words = widest(words, width * 0.24);
    let right = width - EDGE - if words > 0.0 { words + 32.0 } else { 26.0 };

    let last = chart.panels.len() - 1;
    let mut fixed = 0.0;
    let mut placed: Vec<(Placed, f64)> = Vec::new();
    for (i, panel) in chart.panels.iter().enumerate() {
        let x = panel.x.as_ref().unwrap_or(&chart.x);
        let scale = |v: f64| left + x.fraction(v) * (right - left);
        let poles: Vec<(f64, f64)> = upright_rules(panel, x)
            .map(|(.., at, label)| {
                let label_width = style::text_width(label, style::TEXT, Weight::Regular);
                (scale(at), label_width.min((right - left) * 0.6) + 2.0)
            })
            .collect();
        let flags = labels::flags(&poles, EDGE, width - EDGE, LANES);
        let rows = flags
            .iter()
            .flatten()
            .map(|f| f.lane + 1)
            .max()
            .unwrap_or(0);
        let titled = panel.x.is_some() || i == last;
        let below = match (titled, x.title.is_empty()) {
            (_, false) if titled => 84.0,
            _ => 50.0,
        };
        let above = rows as f64 * ROW + 44.0;
        fixed += above + below;
        let area = Area {
            left,
            top: above,
            right,
            bottom: below,
        };
        placed.push((
            Placed {
                panel,
                x,
                area,
                flags,
                titled,
            },
            panel.share,
        ));
    }
    let shares: f64 = placed.iter().map(|p| p.1).sum();
    let room = (bottom - top - fixed).max(60.0 * placed.len() as f64);
    let mut y = top;
    placed
        .into_iter()
        .map(|(mut p, share)| {
            let (above, below) = (p.area.top, p.area.bottom);
            p.area.top = y + above;
            p.area.bottom = p.area.top + room * share / shares;
            y = p.area.bottom + below;
            p
        })
        .collect()
}

fn upright_rules<'a>(
    panel: &'a Panel,
    x: &'a Axis,
) -> impl Iterator<Item = (Role, Dash, f64, &'a str)> {
    panel.layers.iter().filter_map(|layer| match layer {
        Layer::Rule {
            role,
            dash,
            along: Along::Upright,
            at,
            label,
        } if x.holds(*at) => Some((*role, *dash, *at, label.as_str())),
        _ => None,
    })
}

fn edge_words(panel: &Panel) -> Vec<(f64, String, Option<Role>)> {
    let rules = panel.layers.iter().filter_map(|layer| match layer {
        Layer::Rule {
            role,
            along: Along::Level,
            at,
            label,
            ..
        } if panel.y.holds(*at) => Some((*at, label.clone(), Some(*role))),
        _ => None,
    });
    let beside = panel.beside.iter().map(|t| (t.at, t.label.clone(), None));
    rules.chain(beside).collect()
}

fn edge_room(placed: &Placed, x: f64) -> f64 {
    // Symmetric with `place`: what was kept free to the right of the panel.
    let words = edge_words(placed.panel);
    let widest = words
        .iter()
        .map(|w| style::text_width(&w.1, style::TEXT, Weight::Regular))
        .fold(0.0, f64::max);
    let sheet = f64::from(style::WIDTH);
    widest.min(sheet * 0.24).min(sheet - EDGE + 20.0 - x) + 1.0
}

/// Cuts a line into strokes by a pattern of drawn and left-out lengths; without one, its own pieces.
fn dashed(points: &[(f64, f64)], pattern: &[f64]) -> Vec<((f64, f64), (f64, f64))> {
    let pieces = points.windows(2).map(|w| (w[0], w[1]));
    if pattern.is_empty() {
        return pieces.collect();
    }
    let mut out = Vec::new();
    let (mut i, mut rest) = (0, pattern[0]);
    for ((x0, y0), (x1, y1)) in pieces {
        let length = (x1 - x0).hypot(y1 - y0);
        let mut done = 0.0;
        while done < length {
            let next = (done + rest).min(length);
            let along = |d: f64| (x0 + (x1 - x0) * d / length, y0 + (y1 - y0) * d / length);
            if i % 2 == 0 {
                out.push((along(done), along(next)));
            }
            rest -= next - done;
            done = next;
            if rest <= 1e-9 {
                i = (i + 1) % pattern.len();
                rest = pattern[i];
            }
        }
    }
    out
}

/// The parts of a line that lie inside an area (Liang and Barsky 1984, from memory).
fn clipped_line(points: &[(f64, f64)], a: Area) -> Vec<Vec<(f64, f64)>> {
    let mut out: Vec<Vec<(f64, f64)>> = Vec::new();
    for w in points.windows(2) {
        let ((x0, y0), (x1, y1)) = (w[0], w[1]);
        let (dx, dy) = (x1 - x0, y1 - y0);
        let (mut from, mut to) = (0.0f64, 1.0f64);
        for (p, q) in [
            (-dx, x0 - a.left),
            (dx, a.right - x0),
            (-dy, y0 - a.top),
            (dy, a.bottom - y0),
        ] {
            if p == 0.0 {
                if q < 0.0 {
                    to = -1.0;
                }
            } else if p < 0.0 {
                from = from.max(q / p);
            } else {
                to = to.min(q / p);
            }
        }
        if from > to {
            continue;
        }
        let start = (x0 + from * dx, y0 + from * dy);
        let end = (x0 + to * dx, y0 + to * dy);
        match out.last_mut() {
            Some(piece) if from == 0.0 && piece.last() == Some(&start) => piece.push(end),
            _ => out.push(vec![start, end]),
        }
    }
    out
}

/// The part of a polygon that lies inside an area (Sutherland and Hodgman 1974, from memory).
fn clipped_polygon(corners: &[(f64, f64)], a: Area) -> Vec<(f64, f64)> {
    let mut shape = corners.to_vec();
    // Signed distances inside each of the four edges.
    let inside: [&dyn Fn((f64, f64)) -> f64; 4] = [
        &|p| p.0 - a.left,
        &|p| a.right - p.0,
        &|p| p.1 - a.top,
        &|p| a.bottom - p.1,
    ];
    for depth in inside {
        let mut kept = Vec::with_capacity(shape.len() + 4);
        for i in 0..shape.len() {
            let (p, q) = (shape[i], shape[(i + 1) % shape.len()]);
            let (dp, dq) = (depth(p), depth(q));
            if dp >= 0.0 {
                kept.push(p);
            }
            if (dp >= 0.0) != (dq >= 0.0) {
                let t = dp / (dp - dq);
                kept.push((p.0 + t * (q.0 - p.0), p.1 + t * (q.1 - p.1)));
            }
        }
        shape = kept;
    }
    shape
}
