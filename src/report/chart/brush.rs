//! The strokes that charts are made of: rectangles, lines, marks and letters.
//!
//! All places are in pixels of the finished picture.
//!
//! Letters are placed by ab_glyph, plotters lays the ink: plotters sets letters on whole pixels.

use super::style::{self, Weight};
use super::{ChartError, Dash, Role, Shape};
use plotters::coord::Shift;
use plotters::prelude::*;

pub(super) fn failed(error: impl std::fmt::Display) -> ChartError {
    ChartError::NotDrawn { reason: error.to_string() }
}

/// A rectangle, y downwards.
#[derive(Debug, Clone, Copy)]
pub(super) struct Area {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

/// Distance between the strokes of a hatching, pixels.
const HATCH: f64 = 15.0;

/// The five strokes that all others are made of.
pub(super) trait Ink {
    fn disc(&self, x: f64, y: f64, r: f64, ink: RGBColor) -> Result<(), ChartError>;

    fn polygon(&self, corners: &[(f64, f64)], ink: RGBColor) -> Result<(), ChartError>;

    fn rect(&self, a: Area, ink: RGBColor) -> Result<(), ChartError>;

    fn polyline(
        &self,
        points: &[(f64, f64)],
        ink: RGBColor,
        thick: f64,
        dash: Dash,
    ) -> Result<(), ChartError>;

    /// Text that starts at `x` with the middle of its capitals at `y`.
    fn text(&self, text: &str, x: f64, y: f64, size: f64, weight: Weight)
    -> Result<(), ChartError>;
}

/// A sheet to draw on, in pixels or in strokes.
pub(super) struct Sheet<I> {
    pub(super) ink: I,
}

impl<I: Ink> Sheet<I> {
    pub(super) fn whisker(
        &self,
        x: f64,
        top: f64,
        bottom: f64,
        ink: RGBColor,
    ) -> Result<(), ChartError> {
        self.ink.rect(Area { left: x - 1.25, right: x + 1.25, top, bottom }, ink)?;
        for y in [top, bottom] {
            self.ink.rect(
                Area { left: x - 6.0, right: x + 6.0, top: y - 1.25, bottom: y + 1.25 },
                ink,
            )?;
        }
        Ok(())
    }

    pub(super) fn mark(
        &self,
        shape: Shape,
        x: f64,
        y: f64,
        r: f64,
        ink: RGBColor,
    ) -> Result<(), ChartError> {
        let corners = |c: &[(f64, f64)]| {
            c.iter().map(|(dx, dy)| (x + dx * r, y + dy * r)).collect::<Vec<_>>()
        };
        let triangle = |c: &[(f64, f64)]| self.ink.polygon(&corners(c), ink);
        match shape {
            Shape::Disc => self.ink.disc(x, y, r, ink),
            Shape::Square => {
                triangle(&[(-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)])
            }
            Shape::Diamond => triangle(&[(0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)]),
            Shape::Up => triangle(&[(0.0, -1.15), (1.1, 0.85), (-1.1, 0.85)]),
            Shape::Down => triangle(&[(0.0, 1.15), (1.1, -0.85), (-1.1, -0.85)]),
            Shape::Right => triangle(&[(1.15, 0.0), (-0.85, 1.1), (-0.85, -1.1)]),
            Shape::Left => triangle(&[(-1.15, 0.0), (0.85, 1.1), (0.85, -1.1)]),
            Shape::Cross => {
                self.ink.polyline(&corners(&[(-1.0, -1.0), (1.0, 1.0)]), ink, 3.5, Dash::Solid)?;
                self.ink.polyline(&corners(&[(-1.0, 1.0), (1.0, -1.0)]), ink, 3.5, Dash::Solid)
            }
            Shape::Upright => self.ink.rect(
                Area { left: x - 3.0, right: x + 3.0, top: y - 2.2 * r, bottom: y + 2.2 * r },
                ink,
            ),
        }
    }

    /// An area in the shade of its role; hatched where that is `NotProven`.
    pub(super) fn shaded(&self, a: Area, role: Role) -> Result<(), ChartError> {
        let ink = style::shade(role);
        if role != Role::NotProven {
            return self.ink.rect(a, ink);
        }
        // Along x + y = c, cut at the edges.
        let mut c = ((a.left + a.top) / HATCH).ceil() * HATCH;
        while c < a.right + a.bottom {
            let (x0, x1) = ((c - a.bottom).max(a.left), (c - a.top).min(a.right));
            if x1 > x0 {
                self.ink.polyline(&[(x0, c - x0), (x1, c - x1)], ink, HATCH / 3.0, Dash::Solid)?;
            }
            c += HATCH;
        }
        Ok(())
    }

    /// Text on a white ground, so that it stays legible over data.
    pub(super) fn backed(&self, text: &str, x: f64, y: f64) -> Result<(), ChartError> {
        let width = style::text_width(text, style::TEXT, Weight::Regular);
        self.ink.rect(
            Area { left: x - 5.0, right: x + width + 5.0, top: y - 17.0, bottom: y + 17.0 },
            WHITE,
        )?;
        self.ink.text(text, x, y, style::TEXT, Weight::Regular)
    }
}

/// Ink in pixels, on a canvas that is averaged afterwards.
pub(super) struct Pixels<'a, 'b> {
    pub(super) root: &'a DrawingArea<BitMapBackend<'b>, Shift>,
}

impl Ink for Pixels<'_, '_> {
    fn disc(&self, x: f64, y: f64, r: f64, ink: RGBColor) -> Result<(), ChartError> {
        let radius = (r * f64::from(style::OVERSIZE)).round().max(1.0) as i32;
        self.root.draw(&Circle::new(large(x, y), radius, ink.filled())).map_err(failed)
    }

    fn polygon(&self, corners: &[(f64, f64)], ink: RGBColor) -> Result<(), ChartError> {
        let corners: Vec<_> = corners.iter().map(|(x, y)| large(*x, *y)).collect();
        self.root.draw(&Polygon::new(corners, ink.filled())).map_err(failed)
    }

    fn rect(&self, a: Area, ink: RGBColor) -> Result<(), ChartError> {
        let (from, (x, y)) = (large(a.left, a.top), large(a.right, a.bottom));
        // The drawing crate includes both ends.
        let to = ((x - 1).max(from.0), (y - 1).max(from.1));
        self.root.draw(&Rectangle::new([from, to], ink.filled())).map_err(failed)
    }

    fn polyline(
        &self,
        points: &[(f64, f64)],
        ink: RGBColor,
        thick: f64,
        dash: Dash,
    ) -> Result<(), ChartError> {
        let pattern = dash.pattern();
        for (i, ((x0, y0), (x1, y1))) in dashed(points, pattern).into_iter().enumerate() {
            let length = (x1 - x0).hypot(y1 - y0);
            if length > 0.0 {
                // Each stroke as a rectangle of its own, round where two meet: the drawing crate's thick paths
                // grow spikes at sharp corners.
                let (dx, dy) = ((x1 - x0) / length * thick / 2.0, (y1 - y0) / length * thick / 2.0);
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
pub(super) fn clipped_line(points: &[(f64, f64)], a: Area) -> Vec<Vec<(f64, f64)>> {
    let mut out: Vec<Vec<(f64, f64)>> = Vec::new();
    for w in points.windows(2) {
        let ((x0, y0), (x1, y1)) = (w[0], w[1]);
        let (dx, dy) = (x1 - x0, y1 - y0);
        let (mut from, mut to) = (0.0f64, 1.0f64);
        for (p, q) in
            [(-dx, x0 - a.left), (dx, a.right - x0), (-dy, y0 - a.top), (dy, a.bottom - y0)]
        {
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
pub(super) fn clipped_polygon(corners: &[(f64, f64)], a: Area) -> Vec<(f64, f64)> {
    let mut shape = corners.to_vec();
    // Signed distances inside each of the four edges.
    let inside: [&dyn Fn((f64, f64)) -> f64; 4] =
        [&|p| p.0 - a.left, &|p| a.right - p.0, &|p| p.1 - a.top, &|p| a.bottom - p.1];
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
