//! The strokes that charts are made of: rectangles, lines, marks and letters.
//!
//! All places are in pixels of the finished picture.
//!
//! Letters are placed by ab_glyph, plotters lays the ink: plotters sets letters on whole pixels.

use super::area::Area;
use super::paper::{FINE, Paper};
use super::style::{self, Weight};
use super::{ChartError, Dash, Role, Shape};
use plotters::coord::Shift;
use plotters::prelude::*;

pub(super) fn failed(error: impl std::fmt::Display) -> ChartError {
    ChartError::NotDrawn { reason: error.to_string() }
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

/// Ink in pixels.
pub(super) struct Pixels<'a, 'b> {
    pub(super) root: &'a DrawingArea<Paper<'b>, Shift>,
}

impl Ink for Pixels<'_, '_> {
    fn disc(&self, x: f64, y: f64, r: f64, ink: RGBColor) -> Result<(), ChartError> {
        let radius = (r * f64::from(FINE)).round() as i32;
        self.root.draw(&Circle::new(at(x, y), radius, ink.filled())).map_err(failed)
    }

    fn polygon(&self, corners: &[(f64, f64)], ink: RGBColor) -> Result<(), ChartError> {
        let corners: Vec<_> = corners.iter().map(|(x, y)| at(*x, *y)).collect();
        self.root.draw(&Polygon::new(corners, ink.filled())).map_err(failed)
    }

    fn rect(&self, a: Area, ink: RGBColor) -> Result<(), ChartError> {
        // Upright and level edges stand on halves of pixels, which keeps grids and limits crisp; nothing vanishes.
        let half = |x: f64| (x * 2.0).round() as i32 * (FINE / 2);
        let (left, top) = (half(a.left), half(a.top));
        let (right, bottom) =
            (half(a.right).max(left + FINE / 2), half(a.bottom).max(top + FINE / 2));
        let ends = [(left, top), (right, bottom)];
        self.root.draw(&Rectangle::new(ends, ink.filled())).map_err(failed)
    }

    fn polyline(
        &self,
        points: &[(f64, f64)],
        ink: RGBColor,
        thick: f64,
        dash: Dash,
    ) -> Result<(), ChartError> {
        let pattern = dash.pattern();
        let strokes = dashed(points, pattern);
        // A dash that ends a line may be too short to be seen: a dot stands for it.
        for ((x0, y0), (x1, y1)) in &strokes {
            if !pattern.is_empty() && (x1 - x0).hypot(y1 - y0) < 2.0 {
                self.disc(*x0, *y0, thick / 2.0, ink)?;
            }
        }
        let mut ribbon: Vec<(f64, f64)> = Vec::new();
        for (from, to) in strokes {
            if ribbon.last() != Some(&from) {
                self.ribbon(&ribbon, thick, ink)?;
                ribbon = vec![from];
            }
            if ribbon.last().is_some_and(|last| (last.0 - to.0).hypot(last.1 - to.1) > 1e-9) {
                ribbon.push(to);
            }
        }
        self.ribbon(&ribbon, thick, ink)
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
        let base = y + style::CAPITALS / 2.0 * size;
        style::ink(text, x, base, size, weight, |dot| {
            let place = (dot.x * FINE, dot.y * FINE);
            self.root.draw_pixel(place, &style::INK.mix(f64::from(dot.cover))).map_err(failed)
        })
    }
}

impl Pixels<'_, '_> {
    /// A line in one stroke where it bends gently, and round where it turns.
    fn ribbon(&self, points: &[(f64, f64)], thick: f64, ink: RGBColor) -> Result<(), ChartError> {
        let half = thick / 2.0;
        let directions: Vec<(f64, f64)> = points
            .windows(2)
            .map(|w| {
                let (dx, dy) = (w[1].0 - w[0].0, w[1].1 - w[0].1);
                let length = dx.hypot(dy);
                (dx / length, dy / length)
            })
            .collect();
        let mut from = 0;
        while from < directions.len() {
            let gentle = |n: &usize| {
                let (a, b) = (directions[*n], directions[n + 1]);
                a.0 * b.0 + a.1 * b.1 > GENTLE
            };
            let last = (from..directions.len() - 1).find(|n| !gentle(n));
            let last = last.unwrap_or(directions.len() - 1);
            let way = &directions[from..=last];
            let along = &points[from..=last + 1];
            if let ([(dx, dy)], [(x0, y0), (x1, y1)]) = (way, along)
                && (dx.abs() < 1e-9 || dy.abs() < 1e-9)
            {
                let (hx, hy) = (dy.abs() * half, dx.abs() * half);
                let area = Area {
                    left: x0.min(*x1) - hx,
                    right: x0.max(*x1) + hx,
                    top: y0.min(*y1) - hy,
                    bottom: y0.max(*y1) + hy,
                };
                self.rect(area, ink)?;
            } else {
                self.polygon(&outline(along, way, half), ink)?;
            }
            if last + 1 < directions.len() {
                let (x, y) = points[last + 1];
                self.disc(x, y, half, ink)?;
            }
            from = last + 1;
        }
        Ok(())
    }
}

/// Cosine of a bend that one stroke follows: 25 degrees.
const GENTLE: f64 = 0.906;

/// Both sides of a line, `half` away from it; `way` the directions from point to point.
fn outline(points: &[(f64, f64)], way: &[(f64, f64)], half: f64) -> Vec<(f64, f64)> {
    let away: Vec<(f64, f64)> = (0..points.len())
        .map(|n| {
            let (a, b) = (way[n.saturating_sub(1)], way[n.min(way.len() - 1)]);
            // Across the middle of both directions, so much further as the bend asks for.
            let (x, y) = (-(a.1 + b.1), a.0 + b.0);
            let further = 2.0 * half / (x * x + y * y);
            (x * further, y * further)
        })
        .collect();
    let there = points.iter().zip(&away).map(|((x, y), (dx, dy))| (x + dx, y + dy));
    let back = points.iter().zip(&away).rev().map(|((x, y), (dx, dy))| (x - dx, y - dy));
    there.chain(back).collect()
}

/// A place as the drawing crate counts it.
fn at(x: f64, y: f64) -> (i32, i32) {
    ((x * f64::from(FINE)).round() as i32, (y * f64::from(FINE)).round() as i32)
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
