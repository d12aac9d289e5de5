//! How often each setup showed each value: what reading steps are found from.
//!
//! Asked of every row while it is read, so that it must cost little: most readings are whole microamperes and small, and
//! stand in a table of their setup that is looked up by the value itself; a map of all of them misses the cache at every
//! row.

use hashbrown::HashMap;

/// A microampere in picoamperes.
const MICRO: i64 = 1_000_000;
/// Readings from here on are in the map: 8.192 mA.
const MOST: usize = 1 << 13;

/// Counts by setup code and value, in picoamperes.
#[derive(Debug, Default)]
pub struct ShownCounts {
    /// By setup, then by whole microamperes.
    small: Vec<Vec<u32>>,
    others: HashMap<(u32, i64), u64>,
}

impl ShownCounts {
    /// Counts a value.
    pub fn add(&mut self, setup: u32, value_pa: i64, count: u32) {
        let micro = usize::try_from(value_pa / MICRO).unwrap_or(usize::MAX);
        if micro >= MOST || value_pa % MICRO != 0 {
            *self.others.entry((setup, value_pa)).or_default() += u64::from(count);
            return;
        }
        let setup_at = setup as usize;
        if self.small.len() <= setup_at {
            self.small.resize(setup_at + 1, Vec::new());
        }
        let table = &mut self.small[setup_at];
        if table.len() <= micro {
            table.resize(micro + 1, 0);
        }
        match table[micro].checked_add(count) {
            Some(sum) => table[micro] = sum,
            None => *self.others.entry((setup, value_pa)).or_default() += u64::from(count),
        }
    }

    /// Every setup and value with its count; a value may come in two parts.
    pub fn counts(self) -> impl Iterator<Item = (u32, i64, u64)> {
        let small = (0..).zip(self.small).flat_map(|(setup, table)| {
            let values = (0..).zip(table).filter(|(_, count)| *count > 0);
            values.map(move |(micro, count): (i64, u32)| (setup, micro * MICRO, u64::from(count)))
        });
        let others = self.others.into_iter().map(|((setup, value), count)| (setup, value, count));
        small.chain(others)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    #[test]
    fn every_value_is_counted_once() {
        let values = [
            0,
            1,
            999_999,
            MICRO,
            2_175_000_000,
            8_191_000_000,
            8_192_000_000,
            -MICRO,
            i64::MAX,
            i64::MIN,
        ];
        let (mut shown, mut want) = (ShownCounts::default(), BTreeMap::new());
        for (n, value) in (0_u32..).zip(values.iter().cycle().take(70)) {
            for count in [n, u32::MAX] {
                shown.add(n % 3, *value, count);
                *want.entry((n % 3, *value)).or_insert(0) += u64::from(count);
            }
        }
        let mut found = BTreeMap::new();
        for (setup, value, count) in shown.counts() {
            *found.entry((setup, value)).or_insert(0) += count;
        }
        assert_eq!(found, want);
    }
}
