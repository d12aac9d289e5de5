//! Rectangles of a picture, and the parts of lines and shapes that lie inside them. Places are in pixels.

/// A rectangle, y downwards.
#[derive(Debug, Clone, Copy)]
pub(super) struct Area {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
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
