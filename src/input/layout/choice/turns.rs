//! Do readings of two sizes take turns, as where each unit is tested twice and nothing says which row is which?
//!
//! Such tests would be one series of two bodies, and every second one a retest.

use std::collections::BTreeMap;

use super::Choice;
use crate::input::columns::Field;
use crate::input::layout::values::ENOUGH;

/// Readings of two kinds in turn lie so many times apart, in so many of a hundred neighbours.
const TURNS_APART: f64 = 1.5;
const TURNS_SHARE: usize = 95;

impl Choice<'_> {
    /// Refuses a table in which readings of two sizes take turns and nothing says what tells them apart.
    pub(super) fn in_turn(&mut self) {
        if self.has(Field::Test) {
            return;
        }
        let told = [Field::Step, Field::TestPoint, Field::Current];
        let differs = |f: Field| self.column(f).is_some_and(|(at, _)| self.values[at].distinct > 1);
        let Some((reading, unit)) = self.column(Field::Reading) else { return };
        if told.iter().any(|f| differs(*f)) || differs(Field::AppliedV) {
            return;
        }
        // `975` beside `1.171`: thousands apart only until it is known which sign is which.
        let cells = &self.values[reading].cells;
        if cells.iter().any(|c| groups_of_three(c)) && cells.iter().any(|c| no_sign(c)) {
            return;
        }
        let place = |row: usize| {
            let of = |f: Field| self.column(f).map_or("", |(at, _)| self.values[at].cells[row]);
            (of(Field::Model), of(Field::Station))
        };
        let mut apart: BTreeMap<(&str, &str), Vec<f64>> = BTreeMap::new();
        for row in 0..self.values[reading].cells.len() {
            if let Some(x) = self.values[reading].ma(row, unit) {
                apart.entry(place(row)).or_default().push(x);
            }
        }
        let (mut turns, mut all) = (0, 0);
        let mut example = (0.0, 0.0);
        for readings in apart.values().filter(|r| r.len() >= ENOUGH) {
            for three in readings.windows(3) {
                let (low, high) = (three[1].min(three[0]), three[1].max(three[0]));
                let turned = (three[1] > three[0]) == (three[1] > three[2]);
                all += 1;
                turns += usize::from(turned && high >= low * TURNS_APART);
                example = (three[0], three[1]);
            }
        }
        if all > 0 && turns * 100 >= all * TURNS_SHARE {
            self.undecided(
                "something that says which kind of test a row is".to_owned(),
                format!("readings of two sizes in turn, such as {} and {} mA", example.0, example.1),
                "name the column that tells them apart under [columns], \"HEADER\" = \"test\" or \"step\"; where all are of one kind, say under [assume] test = \"ac withstand\"".to_owned(),
            );
        }
    }
}

/// One sign with three digits behind it: thousands, or three decimals.
fn groups_of_three(cell: &str) -> bool {
    cell.split_once(['.', ','])
        .is_some_and(|(_, behind)| behind.len() == 3 && behind.bytes().all(|b| b.is_ascii_digit()))
}

/// A whole number without any sign.
fn no_sign(cell: &str) -> bool {
    !cell.is_empty() && cell.bytes().all(|b| b.is_ascii_digit())
}
