//! The rows as they were understood, saved as Parquet: one a test, in canonical columns, in the order in which they were
//! read.
//!
//! For whoever makes the tally with an engine of their own ([`super::sql`]), and to go beside a tally: reviewed in place
//! of the files, they give the same answers. Where each was read first stands beside it, since the order of a file's
//! rows, and equal rows of two files, decide what counts; `set_aside` says what was decided, and is not read back. What
//! the model's other tests fill stays blank. Of the air no more is kept than the mean of a day, which each of its
//! rows carries.
//!
//! Serials go out as first written, or as numbers in the order in which they first appear. Rejected: to leave them out
//! (retests would be first attempts); a checksum (serials are short and in sequence: whoever tries them all finds each
//! again, and a key would have to be kept somewhere, or make other bytes each time).

use std::collections::BTreeSet;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::path::Path;
use std::sync::Arc;

use polars::prelude::*;

use super::kinds::{Kept, Kinds};
use super::order::Block;
use super::pass::files_of;
use super::row::{Row, SetAside, Use};
use super::save::{Beside, not_written};
use super::units::SetupFacts;
use super::{Air, Pass};
use crate::config::Config;
use crate::day::day_of;
use crate::error::Result;
use crate::input::{
    SET_ASIDE, SOURCE_FILE, SOURCE_ORDER, SOURCE_PART, SOURCE_ROW, SOURCE_SHEET, plain_serial,
};
use crate::records::{Limits, Shown, Source, TestKind, pa_to_ma};

/// Rows that are held as columns at once: a group of rows of the file.
const GROUP: usize = 1 << 16;

/// How serials are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SerialsAs {
    /// As the files first wrote them.
    Written,
    /// As numbers in order of appearance, and files as numbers too: a file may be called by a serial. Loads and words
    /// that the settings name are no units and stay.
    Numbers,
}

/// Writes all rows; gives their number. Beside the rows of the pass it holds 16 bytes a row, and one group as columns.
///
/// # Errors
/// Where the file cannot be written.
pub fn save_rows(
    pass: &Pass,
    config: &Config,
    serials: SerialsAs,
    beside: &Beside<'_>,
    path: &Path,
) -> Result<usize> {
    let order = in_reading_order(&pass.units.blocks, &pass.units.kinds);
    let mut writing = Writing::new(pass, config, serials);
    let broken = |e| not_written(path, &e);
    let schema = writing.frame(&[], 0).map_err(broken)?;
    let beside = beside.pairs()?;
    crate::disk::write_whole(path, |out| {
        let writer = ParquetWriter::new(out).with_key_value_metadata(Some(beside));
        let mut writer = writer.batched(schema.schema()).map_err(broken)?;
        for (n, group) in order.chunks(GROUP).enumerate() {
            let rows: Vec<Row> = group.iter().map(|(_, at)| writing.row(*at)).collect();
            let rows: Vec<&Row> = rows.iter().collect();
            let frame = writing.frame(&rows, n * GROUP).map_err(broken)?;
            writer.write_batch(&frame).map_err(broken)?;
        }
        writer.finish().map(drop).map_err(broken)
    })?;
    Ok(order.len())
}

/// The places of all rows, by what orders them: table, line and part.
fn in_reading_order(blocks: &[Block], kinds: &Kinds) -> Vec<(u64, u32)> {
    let key = |row: Row| {
        (row.source.index() as u64) << 40 | u64::from(row.line) << 8 | u64::from(row.part)
    };
    let rows = blocks.iter().flat_map(|b| &b.rows).map(|row| kinds.row(row));
    let mut order: Vec<(u64, u32)> = rows.map(key).zip(0..).collect();
    order.sort_unstable();
    order
}

/// What is known while rows are written.
struct Writing<'a> {
    pass: &'a Pass,
    /// Where each block begins in the count of all rows.
    starts: Vec<usize>,
    /// Name and sheet of each table, as written.
    tables: Vec<(String, String)>,
    numbers: Option<Numbers>,
    /// What a remark says of a fault-locating run.
    fault_locating: &'a str,
}

impl<'a> Writing<'a> {
    fn new(pass: &'a Pass, config: &'a Config, serials: SerialsAs) -> Self {
        let units = &pass.units;
        let mut next = 0;
        let starts = units.blocks.iter().map(|b| {
            next += b.rows.len();
            next - b.rows.len()
        });
        let named = |(n, (source, file)): (usize, (&Arc<Source>, u32))| {
            let sheet = source.sheet.as_ref();
            let (file, sheet) = match serials {
                SerialsAs::Written => (source.file.display().to_string(), sheet.cloned()),
                SerialsAs::Numbers => {
                    (format!("file {}", file + 1), sheet.map(|_| format!("table {}", n + 1)))
                }
            };
            (file, sheet.unwrap_or_default())
        };
        let sources = units.sources.iter().zip(files_of(&units.sources));
        Self {
            starts: starts.collect(),
            tables: sources.enumerate().map(named).collect(),
            numbers: (serials == SerialsAs::Numbers).then(|| Numbers::new(pass, config)),
            fault_locating: config.fault_locating_words.first().map_or("", String::as_str),
            pass,
        }
    }

    fn row(&self, at: u32) -> Row {
        let at = at as usize;
        let block = self.starts.partition_point(|start| *start <= at) - 1;
        self.pass.units.kinds.row(&self.pass.units.blocks[block].rows[at - self.starts[block]])
    }

    fn setup(&self, row: &Row) -> &'a SetupFacts {
        &self.pass.units.setups[row.setup as usize]
    }

    /// Rows as columns; `before` rows came before them.
    fn frame(&mut self, rows: &[&Row], before: usize) -> PolarsResult<DataFrame> {
        let serials: Vec<String> = rows.iter().map(|r| self.serial(r)).collect();
        let this = &*self;
        let air: Vec<Air> = rows.iter().map(|r| this.air(r)).collect();
        let levels = |n: usize| {
            let level = move |r: &&Row| this.pass.plant.factor_sets[r.factors as usize].get(n);
            rows.iter().map(level).map(|l| l.map_or("", String::as_str)).collect::<Vec<_>>()
        };
        let setups: Vec<&SetupFacts> = rows.iter().map(|r| this.setup(r)).collect();
        let text = |of: fn(&SetupFacts) -> &str| setups.iter().map(|s| of(s)).collect::<Vec<_>>();
        let thousandth = |of: fn(&SetupFacts) -> Option<i64>| {
            let value = |s: &&SetupFacts| of(s).map(thousandth);
            setups.iter().map(value).collect::<Vec<Option<f64>>>()
        };
        let ma = |of: fn(Limits) -> Option<i64>| {
            let limits = |r: &&Row| of(this.pass.units.limits[r.limits as usize]).map(pa_to_ma);
            rows.iter().map(limits).collect::<Vec<Option<f64>>>()
        };
        let table = |r: &Row| &this.tables[r.source.index()];
        let order = i64::try_from(before).unwrap_or(i64::MAX);
        let tested_at: Vec<i64> = rows.iter().map(|r| r.time * 1000).collect();
        let mut columns = vec![
            Column::new("tested_at".into(), tested_at)
                .cast(&DataType::Datetime(TimeUnit::Milliseconds, None))?,
            Column::new("model".into(), text(|s| &s.at.own)),
            Column::new("plant".into(), text(|s| &s.at.plant)),
            Column::new("serial".into(), serials),
            Column::new("station".into(), rows.iter().map(|r| this.station(r)).collect::<Vec<_>>()),
            Column::new("instrument".into(), text(|s| &s.instrument)),
            Column::new("test".into(), text(|s| s.given.test.key())),
            Column::new("test_point".into(), text(|s| &s.test_point)),
            Column::new("step".into(), text(|s| &s.step)),
            Column::new("current".into(), text(|s| s.given.current.key())),
            Column::new("applied_v".into(), thousandth(|s| s.given.applied_mv)),
            Column::new(
                "measured_v".into(),
                rows.iter().map(|r| this.measured(r)).collect::<Vec<_>>(),
            ),
            Column::new("frequency_hz".into(), thousandth(|s| s.given.frequency_mhz)),
            Column::new("dwell_s".into(), thousandth(|s| s.given.dwell_ms)),
            Column::new("ramp_s".into(), thousandth(|s| s.given.ramp_ms)),
            Column::new(
                "units_together".into(),
                setups.iter().map(|s| u32::from(s.given.units_together)).collect::<Vec<_>>(),
            ),
            Column::new(
                "outcome".into(),
                rows.iter().map(|r| r.outcome.words()).collect::<Vec<_>>(),
            ),
            Column::new(
                "stage".into(),
                rows.iter()
                    .map(|r| if r.is(Row::IN_RAMP) { "ramp" } else { "" })
                    .collect::<Vec<_>>(),
            ),
            Column::new("reading_ma".into(), rows.iter().map(|r| reading(r)).collect::<Vec<_>>()),
            Column::new(
                "reading_step_ma".into(),
                rows.iter().map(|r| this.step(r)).collect::<Vec<_>>(),
            ),
            Column::new("high_limit_ma".into(), ma(|l| l.high_pa)),
            Column::new("low_limit_ma".into(), ma(|l| l.low_pa)),
            Column::new(
                "humidity_pct".into(),
                air.iter().map(|a| a.humidity_pct).collect::<Vec<_>>(),
            ),
            Column::new(
                "temperature_c".into(),
                air.iter().map(|a| a.temperature_c).collect::<Vec<_>>(),
            ),
            Column::new("remark".into(), rows.iter().map(|r| this.remark(r)).collect::<Vec<_>>()),
        ];
        for (n, name) in this.pass.plant.factor_names.iter().enumerate() {
            columns.push(Column::new(name.as_str().into(), levels(n)));
        }
        let aside = |r: &&Row| match r.used {
            Use::Used => None,
            Use::SetAside(reason) => Some(reason.words()),
        };
        columns.extend([
            Column::new(SET_ASIDE.into(), rows.iter().map(aside).collect::<Vec<_>>()),
            Column::new(
                SOURCE_FILE.into(),
                rows.iter().map(|r| table(r).0.as_str()).collect::<Vec<_>>(),
            ),
            Column::new(
                SOURCE_SHEET.into(),
                rows.iter().map(|r| table(r).1.as_str()).collect::<Vec<_>>(),
            ),
            Column::new(SOURCE_ROW.into(), rows.iter().map(|r| r.line).collect::<Vec<_>>()),
            Column::new(
                SOURCE_PART.into(),
                rows.iter().map(|r| u32::from(r.part)).collect::<Vec<_>>(),
            ),
            Column::new(SOURCE_ORDER.into(), (order + 1..).take(rows.len()).collect::<Vec<i64>>()),
        ]);
        DataFrame::new(rows.len(), columns)
    }

    fn serial(&mut self, row: &Row) -> String {
        let written = self.pass.units.serials.at(row.serial);
        match &mut self.numbers {
            None => written.to_owned(),
            Some(numbers) => numbers.of(written),
        }
    }

    /// The air of the row's plant and day.
    fn air(&self, row: &Row) -> Air {
        let day = day_of(row.time, self.pass.units.day_starts_s);
        let days = self.pass.plant.air.get(&self.setup(row).at.plant);
        days.and_then(|days| days.get(&day)).copied().unwrap_or_default()
    }

    fn station(&self, row: &Row) -> &'a str {
        let station = usize::from(self.setup(row).station);
        let own = self.pass.plant.at[station].as_ref().map(|at| &at.own);
        own.unwrap_or(&self.pass.plant.stations[station])
    }

    /// Volts, where they were measured and not set: what the series takes for the set voltage.
    fn measured(&self, row: &Row) -> Option<f64> {
        let SetupFacts { given, series, .. } = self.setup(row);
        let key = &self.pass.series[(*series)? as usize].key;
        key.applied_mv.filter(|_| given.applied_mv.is_none()).map(thousandth)
    }

    /// The step of what is shown: as the file states it, else as the readings show it.
    fn step(&self, row: &Row) -> Option<f64> {
        let SetupFacts { given, series, station, .. } = self.setup(row);
        if row.shown() == Shown::Nothing || given.test == TestKind::Other {
            return None;
        }
        let found =
            |series: u32| self.pass.plant.steps.at(series as usize, *station, row.reading_pa);
        given.reading_step_pa.or_else(|| series.map(found)).map(pa_to_ma)
    }

    /// A run that was found by itself says so like one that was marked: found again, it is the same.
    fn remark(&self, row: &Row) -> &'a str {
        match row.used {
            Use::SetAside(SetAside::FaultLocating) => self.fault_locating,
            _ => "",
        }
    }
}

/// What was shown, in mA; `None` where nothing was.
fn reading(row: &Row) -> Option<String> {
    let sign = match row.shown() {
        Shown::Value => "",
        Shown::Below => "<",
        Shown::Above => ">",
        Shown::Nothing => return None,
    };
    Some(format!("{sign}{}", pa_to_ma(row.reading_pa)))
}

#[expect(clippy::cast_precision_loss, reason = "settings stay far below 2^53")]
fn thousandth(n: i64) -> f64 {
    n as f64 / 1000.0
}

/// Numbers in place of serials.
struct Numbers {
    /// What the settings name: loads, and words for no serial.
    kept: BTreeSet<String>,
    /// What tells the serials apart, sorted.
    known: Vec<u64>,
    /// The number of each, 0 where it has not appeared yet.
    number: Vec<u32>,
    last: u32,
}

impl Numbers {
    fn new(pass: &Pass, config: &Config) -> Self {
        let named = config.check_loads.keys().chain(&config.placeholder_serials);
        let serial = |row: &Kept| {
            let row = pass.units.kinds.row(row);
            mark(&plain_serial(pass.units.serials.at(row.serial)))
        };
        let mut known: Vec<u64> = pass.units.rows().map(serial).collect();
        known.sort_unstable();
        known.dedup();
        Self {
            kept: named.map(|name| plain_serial(name)).collect(),
            number: vec![0; known.len()],
            known,
            last: 0,
        }
    }

    /// What is written in place of a serial.
    fn of(&mut self, written: &str) -> String {
        let plain = plain_serial(written);
        if plain.is_empty() || self.kept.contains(&plain) {
            return written.to_owned();
        }
        let place = self.known.binary_search(&mark(&plain)).expect("all serials were counted");
        if self.number[place] == 0 {
            self.last += 1;
            self.number[place] = self.last;
        }
        format!("unit {}", self.number[place])
    }
}

/// Tells serials apart while they are numbered: of ten million, two share one in a run of 300 000.
fn mark(plain: &str) -> u64 {
    let mut hasher = DefaultHasher::new();
    plain.hash(&mut hasher);
    hasher.finish()
}
