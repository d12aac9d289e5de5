//! Where everything goes: how panels share a picture, and what stands at their edges.

use super::area::Area;
use super::labels::{self, Flag};
use super::style::{self, EDGE, Weight};
use super::{Along, Axis, Chart, Dash, Layer, Panel, Point, Role};

pub(super) const ROW: f64 = 36.0;
pub(super) const LANES: usize = 6;

/// A panel with its place on the sheet.
pub(super) struct Placed<'a> {
    pub(super) panel: &'a Panel,
    pub(super) x: &'a Axis,
    pub(super) area: Area,
    pub(super) flags: Vec<Option<Flag>>,
    pub(super) titled: bool,
}

impl Placed<'_> {
    pub(super) fn x(&self, value: f64) -> f64 {
        self.area.left + self.x.fraction(value) * (self.area.right - self.area.left)
    }
    pub(super) fn y(&self, value: f64) -> f64 {
        self.area.bottom - self.panel.y.fraction(value) * (self.area.bottom - self.area.top)
    }
    pub(super) fn point(&self, p: Point) -> (f64, f64) {
        (self.x(p.x), self.y(p.y))
    }
}

/// Shares the room between `top` and `bottom` out to the panels.
pub(super) fn place(chart: &Chart, top: f64, bottom: f64, width: f64) -> Vec<Placed<'_>> {
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
    let words = chart.panels.iter().flat_map(edge_words).map(|w| w.1).collect();
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
        let rows = flags.iter().flatten().map(|f| f.lane + 1).max().unwrap_or(0);
        let titled = panel.x.is_some() || i == last;
        let below = match (titled, x.title.is_empty()) {
            (_, false) if titled => 84.0,
            _ => 50.0,
        };
        let above = rows as f64 * ROW + 50.0;
        fixed += above + below;
        let area = Area { left, top: above, right, bottom: below };
        placed.push((Placed { panel, x, area, flags, titled }, panel.share));
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

pub(super) fn upright_rules<'a>(
    panel: &'a Panel,
    x: &'a Axis,
) -> impl Iterator<Item = (Role, Dash, f64, &'a str)> {
    panel.layers.iter().filter_map(|layer| match layer {
        Layer::Rule { role, dash, along: Along::Upright, at, label } if x.holds(*at) => {
            Some((*role, *dash, *at, label.as_str()))
        }
        _ => None,
    })
}

pub(super) fn edge_words(panel: &Panel) -> Vec<(f64, String, Option<Role>)> {
    let rules = panel.layers.iter().filter_map(|layer| match layer {
        Layer::Rule { role, along: Along::Level, at, label, .. } if panel.y.holds(*at) => {
            Some((*at, label.clone(), Some(*role)))
        }
        _ => None,
    });
    let beside = panel.beside.iter().map(|t| (t.at, t.label.clone(), None));
    rules.chain(beside).collect()
}

pub(super) fn edge_room(placed: &Placed, x: f64) -> f64 {
    // Symmetric with `place`: what was kept free to the right of the panel.
    let words = edge_words(placed.panel);
    let widest = words
        .iter()
        .map(|w| style::text_width(&w.1, style::TEXT, Weight::Regular))
        .fold(0.0, f64::max);
    let sheet = f64::from(style::WIDTH);
    widest.min(sheet * 0.24).min(sheet - EDGE + 20.0 - x) + 1.0
}
