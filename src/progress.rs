//! How far a run is, told while it goes on: by whoever does the work, to whoever asked for it.

use std::sync::atomic::{AtomicU64, Ordering};

/// What a run is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Reads files; counts bytes.
    Read,
    /// Puts tests in order and counts them.
    Count,
    /// Looks for what moved; counts series.
    Move,
    /// Asks everything of each series; counts series.
    Ask,
    /// Decides, and puts the review together.
    Judge,
    /// Draws; counts charts.
    Draw,
    /// Puts files on the disk.
    Write,
}

/// Takes what is done, how much of it, and of how much; 0 of 0 where nothing is counted.
pub type Tell<'a> = dyn Fn(Stage, u64, u64) + Sync + 'a;

/// Tells nobody.
pub fn nobody(_: Stage, _: u64, _: u64) {}

/// Things of one stage that are done in any order.
pub struct Things<'a> {
    tell: &'a Tell<'a>,
    stage: Stage,
    done: AtomicU64,
    of: u64,
}

impl<'a> Things<'a> {
    /// Tells that the stage begins.
    #[must_use]
    pub fn new(tell: &'a Tell<'a>, stage: Stage, of: usize) -> Self {
        let of = of as u64;
        tell(stage, 0, of);
        Self { tell, stage, done: AtomicU64::new(0), of }
    }

    /// Tells that one more is done.
    pub fn one_more(&self) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        (self.tell)(self.stage, done, self.of);
    }
}
