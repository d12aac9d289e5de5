//! Ink as strokes: the elements of an SVG, for pages that show charts without files beside them.
//!
//! Takes the strokes of a sheet and gives text. The drawing crate's own SVG backend writes an element of 80 to 110 bytes
//! for each stroke and point, and lines as chains of polygons: a series' charts come to half a megabyte, and the page of 200
//! models to more than can be mailed. Here points of one colour and size are one path, and a line is one path with its
//! dashes. Letters are set by whoever shows the page, in the width
//! that the bundled font gives them, so that nothing runs over.

use std::cell::RefCell;
use std::fmt::Write;

use plotters::style::RGBColor;

use super::area::Area;
use super::brush::Ink;
use super::style::{self, Weight};
use super::{Chart, ChartError, DOT, Dash};

/// The elements so far; a path is held open while more of its kind follow.
#[derive(Debug, Default)]
pub(super) struct Strokes {
    out: RefCell<String>,
    open: RefCell<Option<Open>>,
}

/// A path of one kind: the attributes that tell it from others, and its pieces.
#[derive(Debug)]
struct Open {
    kind: String,
    path: String,
}

/// A line of more points is drawn on whole pixels: half of one cannot be seen.
const FEW_POINTS: usize = 20;

impl Strokes {
    /// The whole element, with its title for those who do not see it.
    pub(super) fn element(&self, chart: &Chart) -> String {
        self.close();
        let (w, h) = (chart.width, chart.height);
        format!(
            "<svg viewBox=\"0 0 {w} {h}\" role=\"img\" aria-label=\"{}\" {}>{}</svg>",
            escaped(&format!("{}. {}", chart.title, chart.subtitle)),
            painted("fill", style::INK),
            self.out.borrow()
        )
    }

    fn add(&self, element: std::fmt::Arguments<'_>) {
        self.close();
        let _ = self.out.borrow_mut().write_fmt(element);
    }

    /// Adds a piece to the open path where it is of this kind, else begins one.
    fn piece(&self, kind: String, piece: &str) {
        let mut open = self.open.borrow_mut();
        if let Some(same) = open.as_mut().filter(|o| o.kind == kind) {
            same.path.push_str(piece);
            return;
        }
        drop(open);
        self.close();
        *self.open.borrow_mut() = Some(Open { kind, path: piece.to_owned() });
    }

    /// Ends the open path.
    fn close(&self) {
        if let Some(Open { kind, path }) = self.open.borrow_mut().take() {
            let _ = write!(self.out.borrow_mut(), "<path d=\"{path}\" {kind}/>");
        }
    }
}

/// A paint by its colour.
fn painted(what: &str, RGBColor(r, g, b): RGBColor) -> String {
    format!("{what}=\"#{r:02x}{g:02x}{b:02x}\"")
}

/// A length with one decimal, where it has one.
fn short(x: f64) -> String {
    let text = format!("{x:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

fn path_of(points: &[(f64, f64)]) -> String {
    let mut path = String::new();
    let place = |x: f64| if points.len() > FEW_POINTS { short(x.round()) } else { short(x) };
    for (n, (x, y)) in points.iter().enumerate() {
        let _ = write!(path, "{}{} {}", if n == 0 { 'M' } else { 'L' }, place(*x), place(*y));
    }
    path
}

/// Any text between tags or in quotes.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c => out.push(c),
        }
    }
    out
}

impl Ink for Strokes {
    fn disc(&self, x: f64, y: f64, r: f64, ink: RGBColor) -> Result<(), ChartError> {
        let kind = format!(
            "{} stroke-width=\"{}\" stroke-linecap=\"round\" fill=\"none\"",
            painted("stroke", ink),
            short(2.0 * r)
        );
        // A line of no length with round ends is a disc.
        self.piece(kind, &format!("M{} {}h0", short(x.round()), short(y.round())));
        Ok(())
    }

    fn polygon(&self, corners: &[(f64, f64)], ink: RGBColor) -> Result<(), ChartError> {
        self.piece(painted("fill", ink), &format!("{}Z", path_of(corners)));
        Ok(())
    }

    fn rect(&self, a: Area, ink: RGBColor) -> Result<(), ChartError> {
        let [left, top, right, bottom] = [a.left, a.top, a.right, a.bottom].map(short);
        self.piece(painted("fill", ink), &format!("M{left} {top}H{right}V{bottom}H{left}Z"));
        Ok(())
    }

    fn polyline(
        &self,
        points: &[(f64, f64)],
        ink: RGBColor,
        thick: f64,
        dash: Dash,
    ) -> Result<(), ChartError> {
        let mut kind =
            format!("{} stroke-width=\"{}\" fill=\"none\"", painted("stroke", ink), short(thick));
        let pattern = dash.pattern();
        if !pattern.is_empty() {
            let lengths: Vec<String> = pattern.iter().map(|x| short(*x)).collect();
            let _ = write!(kind, " stroke-dasharray=\"{}\"", lengths.join(" "));
        }
        if pattern.contains(&DOT) {
            kind.push_str(" stroke-linecap=\"round\"");
        }
        self.piece(kind, &path_of(points));
        Ok(())
    }

    fn text(
        &self,
        text: &str,
        x: f64,
        y: f64,
        size: f64,
        weight: Weight,
    ) -> Result<(), ChartError> {
        if text.is_empty() {
            return Ok(());
        }
        let bold = if weight == Weight::Bold { " font-weight=\"bold\"" } else { "" };
        self.add(format_args!(
            "<text x=\"{}\" y=\"{}\" font-size=\"{}\"{bold} textLength=\"{}\">{}</text>",
            short(x.round()),
            short((y + style::CAPITALS / 2.0 * size).round()),
            short(size),
            short(style::text_width(text, size, weight).round()),
            escaped(text)
        ));
        Ok(())
    }
}
