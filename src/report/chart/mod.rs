//! Charts: each answers one question, and each is data before it is ink.
//!
//! A file per question turns a small plain input into a [`Chart`]; [`draw`] inks any `Chart` as a PNG.
//! The two are apart so that tests can look at what a chart says (bars, rules, units) without
//! looking at pixels. No file here computes statistics or compares with thresholds: what is shown
//! was decided before.
//!
//! Conventions: days are whole days since 1970-01-01; readings are in the unit that the input names;
//! shares are fractions of 1.

mod area;
pub mod axis;
mod bars;
mod brush;
pub mod distribution;
pub mod draw;
pub mod drift;
pub mod failures;
pub mod heading;
pub mod jump_causes;
pub mod jump_readings;
pub mod jump_split;
pub mod jumps;
pub mod labels;
pub mod ladder;
mod layout;
pub mod marks;
pub mod months;
pub mod one_series;
pub mod over_time;
mod paper;
pub mod picture;
pub mod plants;
pub mod probability;
pub mod room_used;
mod rows;
mod shares;
mod strokes;
pub mod style;
pub mod trade_off;
pub mod unit;

pub use axis::{Axis, Scale, Tick};
pub use heading::Heading;

/// Why a chart could not be made or drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ChartError {
    /// There is nothing to show: the input holds no readings, days or rows.
    #[error("no chart: there are no {what}")]
    NothingToShow {
        /// What is missing.
        what: &'static str,
    },
    /// A number that is to be drawn is NaN or infinite.
    #[error("no chart: {what} is not a finite number")]
    NotFinite {
        /// The number, by the layer or input it belongs to.
        what: String,
    },
    /// The ends of an axis are equal, in the wrong order, or too close to be told apart.
    #[error("no chart: the axis \"{axis}\" has no width, from {low} to {high}")]
    EmptyRange {
        /// Title of the axis.
        axis: String,
        /// Its lower end.
        low: f64,
        /// Its upper end.
        high: f64,
    },
    /// A logarithmic axis that starts at or below zero.
    #[error("no chart: the logarithmic axis \"{axis}\" starts at {low}, which is not above zero")]
    NotPositive {
        /// Title of the axis.
        axis: String,
        /// Its lower end.
        low: f64,
    },
    /// The picture could not be inked, packed or written.
    #[error("chart not drawn: {reason}")]
    NotDrawn {
        /// What the drawing, packing or writing step said.
        reason: String,
    },
}

/// What a mark stands for. Colour follows from it; shape and dash are given beside it, so that no
/// meaning hangs on colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Role {
    /// Readings as observed.
    Reading,
    /// A fitted curve or line.
    Fit,
    /// The limit in force, and units that tripped on it.
    Limit,
    /// A suggested limit.
    Suggested,
    /// The workable band.
    Workable,
    /// The same where only a rule of thumb sets its upper end: hatched.
    NotProven,
    /// A stray reading.
    Stray,
    /// What is expected of the future.
    Forecast,
    /// Something that somebody recorded: a calibration, a new lot.
    Event,
    /// When a step happened, with its uncertainty.
    Step,
    /// The exponentially weighted moving average and its control limits.
    Ewma,
    /// The typical reading.
    Typical,
    /// A breakdown.
    Breakdown,
    /// A unit under the low limit.
    UnderLimit,
    /// Any other class.
    Other,
    /// Two groups together.
    BothGroups,
    /// The lower of two groups.
    LowerGroup,
    /// The upper of two groups.
    UpperGroup,
    /// Background: what matters least.
    Quiet,
}

impl Role {
    /// The role of a workable band, and how it is called in the legend; `ends` are named behind it.
    #[must_use]
    pub fn of_band(proven: bool, before_rise: bool, ends: &str) -> (Self, String) {
        let when = if before_rise { " before the rise" } else { "" };
        let (role, thumb) = match proven {
            true => (Self::Workable, ""),
            false => (Self::NotProven, ", upper end not proven"),
        };
        (role, format!("workable band{when}{ends}{thumb}"))
    }

    /// All of them.
    pub const ALL: [Self; 19] = [
        Self::Reading,
        Self::Fit,
        Self::Limit,
        Self::Suggested,
        Self::Workable,
        Self::NotProven,
        Self::Stray,
        Self::Forecast,
        Self::Event,
        Self::Step,
        Self::Ewma,
        Self::Typical,
        Self::Breakdown,
        Self::UnderLimit,
        Self::Other,
        Self::BothGroups,
        Self::LowerGroup,
        Self::UpperGroup,
        Self::Quiet,
    ];
}

/// How a line is interrupted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dash {
    /// Not at all.
    Solid,
    /// Long dashes.
    Dashed,
    /// Dots.
    Dotted,
    /// A dash and a dot in turn.
    DashDot,
}

/// Length of a dot.
const DOT: f64 = 1.0;

impl Dash {
    /// Lengths of what is drawn and what is left out, in turn, in pixels; none of a whole line.
    fn pattern(self) -> &'static [f64] {
        match self {
            Self::Solid => &[],
            Self::Dashed => &[16.0, 11.0],
            Self::Dotted => &[DOT, 9.0],
            Self::DashDot => &[16.0, 9.0, DOT, 9.0],
        }
    }
}

/// Outline of a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shape {
    /// A filled disc.
    Disc,
    /// A filled square.
    Square,
    /// A filled diamond.
    Diamond,
    /// A triangle that points up.
    Up,
    /// A triangle that points down.
    Down,
    /// A triangle that points right: the true value lies further to the right.
    Right,
    /// A triangle that points left: the true value lies further to the left.
    Left,
    /// A diagonal cross.
    Cross,
    /// A tall upright bar.
    Upright,
}

/// One place on a panel, in the units of its axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Position along the x axis.
    pub x: f64,
    /// Position along the y axis.
    pub y: f64,
}

/// Shorthand for a [`Point`].
pub fn at(x: f64, y: f64) -> Point {
    Point { x, y }
}

/// One upright bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Left edge.
    pub from: f64,
    /// Right edge.
    pub to: f64,
    /// Where it stands: nothing, or the top of the bar below it.
    pub foot: f64,
    /// Its upper end.
    pub top: f64,
}

/// An upright interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Whisker {
    /// Position along the x axis.
    pub x: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Which way a rule runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Along {
    /// Upright: it marks a place on the x axis.
    Upright,
    /// Level: it marks a place on the y axis.
    Level,
}

/// One kind of mark on a panel. `name` is its entry in the legend; layers with the same name share one.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)] // the fields are those of the types above
pub enum Layer {
    /// Upright bars.
    Bars { role: Role, name: Option<String>, bars: Vec<Bar> },
    /// A line through points, in the order given.
    Line { role: Role, name: Option<String>, dash: Dash, points: Vec<Point> },
    /// A shaded area between two edges.
    Band { role: Role, name: Option<String>, low: Vec<Point>, high: Vec<Point> },
    /// A shaded upright stripe across the whole panel.
    Zone { role: Role, name: Option<String>, from: f64, to: f64 },
    /// Single points.
    Points { role: Role, name: Option<String>, shape: Shape, points: Vec<Point> },
    /// Upright intervals.
    Whiskers { role: Role, name: Option<String>, whiskers: Vec<Whisker> },
    /// A level bar from one reading to another, in full colour or as a shade behind what matters more;
    /// `thickness` in pixels of the finished picture.
    Span {
        role: Role,
        name: Option<String>,
        y: f64,
        from: f64,
        to: f64,
        thickness: f64,
        shaded: bool,
    },
    /// A straight line across the whole panel, with its label at the edge.
    Rule { role: Role, dash: Dash, along: Along, at: f64, label: String },
}

/// A staircase: each value holds from its place until the next one, the last until `end`.
pub fn steps(role: Role, name: Option<String>, dash: Dash, from: &[Point], end: f64) -> Layer {
    let mut points = Vec::with_capacity(from.len() * 2);
    for (i, step) in from.iter().enumerate() {
        points.push(*step);
        let until = from.get(i + 1).map_or(end, |next| next.x);
        points.push(at(until.max(step.x), step.y));
    }
    Layer::Line { role, name, dash, points }
}

/// One plotting area. Panels of a chart lie one above the other.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// An x axis of its own; without one the panel shares the chart's.
    pub x: Option<Axis>,
    /// The y axis. Its title stands above the panel.
    pub y: Axis,
    /// What is drawn, first below last.
    pub layers: Vec<Layer>,
    /// Words at the right edge, each at a place on the y axis.
    pub beside: Vec<Tick>,
    /// Height relative to the other panels.
    pub share: f64,
}

/// A whole chart, ready to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// The answer, in one line.
    pub title: String,
    /// What the answer is about: which units, which period.
    pub subtitle: String,
    /// The x axis that the panels share.
    pub x: Axis,
    /// One or more panels, top to bottom.
    pub panels: Vec<Panel>,
    /// Short remarks below the chart.
    pub notes: Vec<String>,
    /// Width of the finished picture in pixels.
    pub width: u32,
    /// Height of the finished picture in pixels.
    pub height: u32,
}

impl Chart {
    /// A chart of the usual size, checked.
    ///
    /// # Errors
    /// Those of [`Chart::check`].
    pub fn new(
        heading: Heading,
        x: Axis,
        panels: Vec<Panel>,
        notes: Vec<String>,
    ) -> Result<Self, ChartError> {
        let chart = Self {
            title: heading.title,
            subtitle: heading.subtitle,
            x,
            panels,
            notes,
            width: style::WIDTH,
            height: style::HEIGHT,
        };
        chart.check()?;
        Ok(chart)
    }

    /// Checks all that drawing relies on: at least one panel, axes of finite and positive width,
    /// logarithmic axes above zero, every number finite. An infinite axis would never finish.
    ///
    /// # Errors
    /// `NothingToShow`, `NotFinite`, `EmptyRange`, `NotPositive`.
    pub fn check(&self) -> Result<(), ChartError> {
        if self.panels.is_empty() {
            return Err(ChartError::NothingToShow { what: "panels" });
        }
        self.x.check()?;
        for panel in &self.panels {
            if let Some(x) = &panel.x {
                x.check()?;
            }
            panel.y.check()?;
            if !(panel.share.is_finite() && panel.share > 0.0) {
                return Err(ChartError::NotFinite { what: "height of a panel".to_owned() });
            }
            for layer in &panel.layers {
                layer.check()?;
            }
            for tick in &panel.beside {
                finite("place of a word at the edge", [tick.at])?;
            }
        }
        Ok(())
    }

    /// All layers of all panels, top to bottom.
    pub fn layers(&self) -> impl Iterator<Item = &Layer> {
        self.panels.iter().flat_map(|panel| &panel.layers)
    }
}

impl Layer {
    /// Its entry in the legend, if it has one.
    pub fn name(&self) -> Option<&str> {
        match self {
            Self::Bars { name, .. }
            | Self::Line { name, .. }
            | Self::Band { name, .. }
            | Self::Zone { name, .. }
            | Self::Points { name, .. }
            | Self::Whiskers { name, .. }
            | Self::Span { name, .. } => name.as_deref(),
            Self::Rule { .. } => None,
        }
    }

    fn check(&self) -> Result<(), ChartError> {
        let what = self.name().unwrap_or("a mark");
        let of = |points: &[Point]| {
            finite(what, points.iter().flat_map(|p| [p.x, p.y]).collect::<Vec<_>>())
        };
        match self {
            Self::Bars { bars, .. } => finite(
                what,
                bars.iter().flat_map(|b| [b.from, b.to, b.foot, b.top]).collect::<Vec<_>>(),
            ),
            Self::Line { points, .. } | Self::Points { points, .. } => of(points),
            Self::Band { low, high, .. } => of(low).and_then(|()| of(high)),
            Self::Zone { from, to, .. } => finite(what, [*from, *to]),
            Self::Whiskers { whiskers, .. } => {
                finite(what, whiskers.iter().flat_map(|w| [w.x, w.low, w.high]).collect::<Vec<_>>())
            }
            Self::Span { y, from, to, thickness, .. } => finite(what, [*y, *from, *to, *thickness]),
            Self::Rule { at, label, .. } => finite(label, [*at]),
        }
    }
}

/// Refuses numbers that cannot be drawn, naming what they belong to.
pub(crate) fn finite(what: &str, numbers: impl IntoIterator<Item = f64>) -> Result<(), ChartError> {
    if numbers.into_iter().all(f64::is_finite) {
        Ok(())
    } else {
        Err(ChartError::NotFinite { what: what.to_owned() })
    }
}
