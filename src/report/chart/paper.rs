//! Paper under the drawing crate: ink is laid in eighths of a pixel, with soft edges.
//!
//! The drawing crate's own paper covers whole pixels only: a picture had to be inked at twice its size and averaged,
//! which took longer than all the ink.

use ab_glyph_rasterizer::{Rasterizer, point};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, DrawingBackend, DrawingErrorKind,
};
use std::convert::Infallible;

use super::area::{Area, clipped_polygon};

/// Places in a pixel along each axis: coordinates of the drawing crate are whole numbers of them.
pub(super) const FINE: i32 = 8;
/// Shades between bare paper and full ink: more cannot be told apart and pack worse.
const SHADES: u32 = 16;
/// Wide shapes are covered so many rows at a time, or a long stroke would cost what the rectangle around it does.
const ROWS: i32 = 16;

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// A white sheet of `width` × `height` pixels, three bytes each.
pub(super) struct Paper<'a> {
    pixels: &'a mut Vec<u8>,
    width: i32,
    height: i32,
    cover: Rasterizer,
}

impl<'a> Paper<'a> {
    /// Makes `pixels` a white sheet.
    pub(super) fn new(pixels: &'a mut Vec<u8>, width: u32, height: u32) -> Self {
        pixels.clear();
        pixels.resize(width as usize * height as usize * 3, 255);
        let (width, height) = (width.cast_signed(), height.cast_signed());
        Self { pixels, width, height, cover: Rasterizer::new(0, 0) }
    }

    /// Lays ink on a part of one pixel.
    fn lay(&mut self, x: i32, y: i32, part: f64, ink: [u8; 3]) {
        // Ink outside the paper is lost.
        let shade = (part.min(1.0) * f64::from(SHADES)).round() as u32;
        if shade == 0 || !(0..self.width).contains(&x) || !(0..self.height).contains(&y) {
            return;
        }
        let at = (y as usize * self.width as usize + x as usize) * 3;
        for (below, ink) in self.pixels[at..at + 3].iter_mut().zip(ink) {
            let mixed = u32::from(*below) * (SHADES - shade) + u32::from(ink) * shade;
            *below = ((mixed + SHADES / 2) / SHADES) as u8;
        }
    }

    /// Whole pixels of one row.
    fn lay_row(&mut self, y: i32, from: i32, to: i32, ink: [u8; 3]) {
        let (from, to) = (from.max(0), to.min(self.width));
        if from >= to || !(0..self.height).contains(&y) {
            return;
        }
        let row = y as usize * self.width as usize;
        let pixels = &mut self.pixels[(row + from as usize) * 3..(row + to as usize) * 3];
        pixels.as_chunks_mut::<3>().0.fill(ink);
    }

    /// The part of a shape that lies within some rows.
    fn lay_shape(&mut self, corners: &[(f64, f64)], rows: (i32, i32), ink: [u8; 3]) {
        let sheet = Area {
            left: 0.0,
            right: f64::from(self.width),
            top: f64::from(rows.0),
            bottom: f64::from(rows.1),
        };
        let corners = clipped_polygon(corners, sheet);
        let Some(((left, right), _)) = bounds(&corners) else { return };
        let (across, down) = ((right - left) as usize, (rows.1 - rows.0) as usize);
        self.cover.reset(across, down);
        let at = |(x, y): (f64, f64)| {
            point((x - f64::from(left)) as f32, (y - f64::from(rows.0)) as f32)
        };
        for (n, corner) in corners.iter().enumerate() {
            self.cover.draw_line(at(*corner), at(corners[(n + 1) % corners.len()]));
        }
        let cover = std::mem::replace(&mut self.cover, Rasterizer::new(0, 0));
        cover.for_each_pixel_2d(|x, y, part| {
            self.lay(left + x.cast_signed(), rows.0 + y.cast_signed(), f64::from(part), ink);
        });
        self.cover = cover;
    }
}

/// The columns and the rows that hold some corners.
fn bounds(corners: &[(f64, f64)]) -> Option<((i32, i32), (i32, i32))> {
    let of = |axis: fn(&(f64, f64)) -> f64| {
        let low = corners.iter().map(axis).fold(f64::INFINITY, f64::min);
        let high = corners.iter().map(axis).fold(f64::NEG_INFINITY, f64::max);
        (low.floor() as i32, high.ceil() as i32)
    };
    let (columns, rows) = (of(|p| p.0), of(|p| p.1));
    (columns.0 < columns.1 && rows.0 < rows.1).then_some((columns, rows))
}

/// The pixels from a place to another, each with its part of the way.
fn parts(from: i32, to: i32) -> impl Iterator<Item = (i32, f64)> + Clone {
    (from.div_euclid(FINE)..=(to - 1).div_euclid(FINE)).map(move |pixel| {
        let inside = to.min((pixel + 1) * FINE) - from.max(pixel * FINE);
        (pixel, f64::from(inside) / f64::from(FINE))
    })
}

fn fine((x, y): BackendCoord) -> (f64, f64) {
    (f64::from(x) / f64::from(FINE), f64::from(y) / f64::from(FINE))
}

fn ink_of(color: BackendColor) -> [u8; 3] {
    color.rgb.into()
}

impl DrawingBackend for Paper<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        ((self.width * FINE).cast_unsigned(), (self.height * FINE).cast_unsigned())
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    /// The whole pixel around a place, as far as the colour covers it.
    fn draw_pixel(&mut self, (x, y): BackendCoord, color: BackendColor) -> Drawn {
        self.lay(x.div_euclid(FINE), y.div_euclid(FINE), color.alpha, ink_of(color));
        Ok(())
    }

    /// A rectangle between two places.
    fn draw_rect<S: BackendStyle>(
        &mut self,
        (left, top): BackendCoord,
        (right, bottom): BackendCoord,
        style: &S,
        _fill: bool,
    ) -> Drawn {
        let ink = ink_of(style.color());
        let (left, right) = (left.max(0), right.min(self.width * FINE));
        for (y, high) in parts(top.max(0), bottom.min(self.height * FINE)) {
            if high < 1.0 {
                parts(left, right).for_each(|(x, wide)| self.lay(x, y, wide * high, ink));
                continue;
            }
            let (from, to) = (left.div_euclid(FINE), right.div_euclid(FINE));
            let whole = from + i32::from(left % FINE != 0);
            self.lay_row(y, whole, to, ink);
            let edges = parts(left, right).filter(|(_, wide)| *wide < 1.0);
            edges.for_each(|(x, wide)| self.lay(x, y, wide, ink));
        }
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        vert: I,
        style: &S,
    ) -> Drawn {
        let corners: Vec<(f64, f64)> = vert.into_iter().map(fine).collect();
        let Some((columns, rows)) = bounds(&corners) else { return Ok(()) };
        let (top, bottom) = (rows.0.max(0), rows.1.min(self.height));
        let at_a_time = if columns.1 - columns.0 > 4 * ROWS { ROWS } else { (bottom - top).max(1) };
        let mut from = top;
        while from < bottom {
            let to = (from + at_a_time).min(bottom);
            self.lay_shape(&corners, (from, to), ink_of(style.color()));
            from = to;
        }
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        center: BackendCoord,
        radius: u32,
        style: &S,
        _fill: bool,
    ) -> Drawn {
        let (x, y) = fine(center);
        let r = f64::from(radius) / f64::from(FINE);
        let ink = ink_of(style.color());
        let reach = |at: f64, most: i32| {
            ((at - r).floor() as i32).max(0)..((at + r).ceil() as i32).min(most)
        };
        for row in reach(y, self.height) {
            for column in reach(x, self.width) {
                // What lies within half a pixel of the edge is covered in part.
                let away = (f64::from(column) + 0.5 - x).hypot(f64::from(row) + 0.5 - y);
                self.lay(column, row, (r + 0.5 - away).clamp(0.0, 1.0), ink);
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plotters_backend::BackendColor;

    const BLACK: BackendColor = BackendColor { alpha: 1.0, rgb: (0, 0, 0) };
    const SIZE: u32 = 300;

    /// Ink on the paper, in whole black pixels.
    fn inked(draw: impl FnOnce(&mut Paper<'_>)) -> f64 {
        let mut pixels = Vec::new();
        draw(&mut Paper::new(&mut pixels, SIZE, SIZE));
        assert_eq!(pixels.len(), (SIZE * SIZE * 3) as usize);
        pixels.iter().map(|byte| f64::from(255 - byte)).sum::<f64>() / 255.0 / 3.0
    }

    /// Twice the area inside corners goes once around with each edge (the shoelace formula).
    fn area(corners: &[BackendCoord]) -> f64 {
        let next = corners.iter().cycle().skip(1);
        let twice: i64 = corners
            .iter()
            .zip(next)
            .map(|(a, b)| i64::from(a.0) * i64::from(b.1) - i64::from(b.0) * i64::from(a.1))
            .sum();
        (twice as f64 / 2.0).abs() / f64::from(FINE * FINE)
    }

    #[test]
    fn a_shape_gets_as_much_ink_as_it_has_area() {
        let shapes: [&[BackendCoord]; 4] = [
            // Small, wide, notched, and a thin stroke from corner to corner.
            &[(83, 91), (203, 105), (150, 290)],
            &[(13, 1207), (2101, 405), (2390, 1833), (700, 2111)],
            &[(100, 100), (2000, 200), (2000, 2000), (1000, 700), (100, 2000)],
            &[(16, 8), (24, 0), (2392, 2384), (2384, 2392)],
        ];
        for corners in shapes {
            let ink = inked(|paper| {
                paper.fill_polygon(corners.iter().copied(), &BLACK).expect("cannot fail");
            });
            let area = area(corners);
            // Shades are rounded to sixteenths, as often up as down.
            assert!((ink - area).abs() < 0.003 * area + 0.5, "{ink} of {area}");
        }
    }

    #[test]
    fn rectangles_and_discs_too() {
        for (left, top, right, bottom) in [(80, 80, 160, 240), (83, 85, 171, 90), (4, 4, 6, 2399)] {
            let ink = inked(|paper| {
                paper.draw_rect((left, top), (right, bottom), &BLACK, true).expect("cannot fail");
            });
            let area = f64::from((right - left) * (bottom - top)) / f64::from(FINE * FINE);
            assert!((ink - area).abs() < 0.15 * area.sqrt(), "{ink} of {area}");
        }
        for radius in [8, 30, 52, 400] {
            let ink = inked(|paper| {
                paper.draw_circle((1203, 1190), radius, &BLACK, true).expect("cannot fail");
            });
            let r = f64::from(radius) / f64::from(FINE);
            let area = std::f64::consts::PI * r * r;
            assert!((ink - area).abs() < 0.05 * area + 0.2, "{ink} of {area}");
        }
    }

    #[test]
    fn what_lies_outside_the_paper_is_lost() {
        let far = 20 * FINE * SIZE.cast_signed();
        let ink = inked(|paper| {
            let corners = [(-far, -far), (far, -far), (far, far), (-far, far)];
            paper.fill_polygon(corners, &BLACK).expect("cannot fail");
            paper.draw_rect((-far, -far), (far, far), &BLACK, true).expect("cannot fail");
            paper.draw_circle((-80, -80), 40, &BLACK, true).expect("cannot fail");
            paper.draw_pixel((far, -9), BLACK).expect("cannot fail");
        });
        assert!((ink - f64::from(SIZE * SIZE)).abs() < 1e-6, "{ink}");
    }
}
