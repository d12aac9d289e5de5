//! Rows of one panel, top to bottom: where each lies, and the words at its edges.

use super::{Axis, Layer, Panel, Scale, Tick};

/// Height of row `i` of `n`; the first lies highest, rows are 1 apart.
pub(super) fn place(n: usize, i: usize) -> f64 {
    (n - 1 - i) as f64
}

/// The axis of rows with their names, and so much room above the first.
pub(super) fn axis(title: &str, above: f64, names: Vec<String>) -> Axis {
    let high = names.len() as f64 - 1.0 + above;
    Axis::new(title, "", Scale::Linear, -0.6, high).with_ticks(beside(names))
}

/// Words beside each row, the first one's first.
pub(super) fn beside(words: Vec<String>) -> Vec<Tick> {
    let n = words.len();
    words.into_iter().enumerate().map(|(i, label)| Tick { at: place(n, i), label }).collect()
}

/// The one panel of such a chart; `words` stand at its right edge.
pub(super) fn panel(y: Axis, layers: Vec<Layer>, words: Vec<String>) -> Panel {
    Panel { x: None, y, layers, beside: beside(words), share: 1.0 }
}
