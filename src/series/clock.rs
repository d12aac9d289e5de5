//! Clocks: rows whose date nothing else supports, and whether a file stands in time order.

use crate::records::Record;

const DAY_S: i64 = 86_400;

/// Follows the times of one table, in row order.
#[derive(Debug, Clone, Default)]
pub struct ClockTrack {
    latest: Option<i64>,
    previous: Option<i64>,
    open: Option<(u32, u32, u64)>,
    jumps: Vec<(u32, u32, u64)>,
    backward_days: u32,
    ups: u64,
    downs: u64,
    rows: u64,
}

impl ClockTrack {
    /// Takes the next row.
    pub fn follow(&mut self, record: &Record) {
        self.rows += 1;
        if let Some(previous) = self.previous {
            self.ups += u64::from(record.time > previous);
            self.downs += u64::from(record.time < previous);
        }
        self.previous = Some(record.time);
        let Some(latest) = self.latest else {
            self.latest = Some(record.time);
            return;
        };
        match &mut self.open {
            None if record.time < latest - DAY_S => {
                self.backward_days += 1;
                self.open = Some((record.line, record.line, 1));
            }
            None => self.latest = Some(latest.max(record.time)),
            Some(jump) if record.time < latest => {
                jump.1 = record.line;
                jump.2 += 1;
            }
            Some(jump) => {
                self.jumps.push(*jump);
                self.open = None;
                self.latest = Some(record.time);
            }
        }
    }

    /// Whether the rows stand in time order but for a few.
    #[must_use]
    pub fn ascending(&self) -> bool {
        self.downs * 20 <= self.ups
    }

    /// Lines of jumps back by more than a day, from which the clock returned; empty where the file is
    /// not in order otherwise.
    #[must_use]
    pub fn jumps(&self) -> Vec<(u32, u32)> {
        let rows: u64 = self.jumps.iter().map(|j| j.2).sum();
        if !self.ascending() || self.backward_days > 3 || rows * 5 > self.rows {
            return Vec::new();
        }
        self.jumps.iter().map(|j| (j.0, j.1)).collect()
    }
}
