//! A tally saved as Parquet, to be merged with others and read back as input.

use std::path::Path;

use polars::prelude::{Series as Column_, *};

use super::units::Counts;
use super::{Pass, Says, Tests};
use crate::day::Day;
use crate::error::{Error, Result};
use crate::input::{BUILT_IN_FACTORS, LEAKAGE_ALONE, MADE_OF, SAID_FIRST};
use crate::records::{Limits, Outcome};

/// One line per distinct combination, in canonical columns; what a reading says is in its outcome.
#[derive(Default)]
struct Columns {
    tested_at: Vec<i32>,
    model: Vec<String>,
    test: Vec<&'static str>,
    test_point: Vec<String>,
    step: Vec<String>,
    current: Vec<&'static str>,
    applied_v: Vec<Option<f64>>,
    frequency_hz: Vec<Option<f64>>,
    dwell_s: Vec<Option<f64>>,
    units_together: Vec<u32>,
    plant: Vec<String>,
    station: Vec<String>,
    outcome: Vec<&'static str>,
    stage: Vec<&'static str>,
    tally_part: Vec<&'static str>,
    reading_ma: Vec<Option<String>>,
    reading_step_ma: Vec<Option<f64>>,
    high_limit_ma: Vec<Option<f64>>,
    low_limit_ma: Vec<Option<f64>>,
    lot: Vec<String>,
    operator: Vec<String>,
    shift: Vec<String>,
    fixture: Vec<String>,
    humidity_pct: Vec<Option<f64>>,
    temperature_c: Vec<Option<f64>>,
    count: Vec<u32>,
    /// The config's own factors, by place.
    factors: Vec<Vec<String>>,
}

/// A test as it is saved: everything that tells one line from another.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Line {
    day: Day,
    station: u16,
    outcome: Outcome,
    reading: Option<(i64, Says)>,
    limits: Limits,
    /// Place of its lot, operator and so on among all that there are.
    factors: usize,
    counts: Counts,
}

/// What goes with a file beside its columns.
#[derive(Debug, Clone, Copy)]
pub struct Beside<'a> {
    /// What numbers rest on: said again by whoever reads it.
    pub said_first: &'a [String],
    /// Checksums of its files, so that none is read beside it.
    pub made_of: &'a [String],
}

impl Beside<'_> {
    pub(super) fn pairs(&self) -> Result<KeyValueMetadata> {
        let json = |lines: &[String]| {
            serde_json::to_string(lines).map_err(|e| Error::usage(e.to_string(), "report it"))
        };
        Ok(KeyValueMetadata::from_static(vec![
            (SAID_FIRST.to_owned(), json(self.said_first)?),
            (MADE_OF.to_owned(), json(self.made_of)?),
        ]))
    }
}

pub(super) fn not_written(path: &Path, why: &PolarsError) -> Error {
    Error::usage(format!("cannot write {}: {why}", path.display()), "choose another place")
}

/// Writes the tally; gives the number of lines.
///
/// Each line stands for `count` first attempts with the same day, station, outcome, reading, limits, lot,
/// operator, shift, fixture and the config's factors; the day's air stands beside it. Where the first test of a
/// unit said nothing of its leakage, the later one that did is a line of its own, which says so in `tally_part`;
/// `stage` says of a trip that it ended the test while the voltage rose. Serials are gone: what else became of a
/// unit is not known.
///
/// # Errors
/// Where the file cannot be written.
pub fn save(pass: &Pass, beside: &Beside<'_>, path: &Path) -> Result<usize> {
    let own = pass.plant.factor_names.get(BUILT_IN_FACTORS.len()..).unwrap_or_default();
    let mut c = Columns { factors: vec![Vec::new(); own.len()], ..Columns::default() };
    // Codes follow whichever thread came first: lines stand in the order of what they are codes of.
    let sets = &pass.plant.factor_sets;
    let mut order: Vec<usize> = (0..sets.len()).collect();
    order.sort_unstable_by(|a, b| sets[*a].cmp(&sets[*b]));
    let mut places = vec![0; order.len()];
    for (place, code) in order.iter().enumerate() {
        places[*code] = place;
    }
    for n in 0..pass.series.len() {
        let mut lines: std::collections::BTreeMap<Line, u32> = std::collections::BTreeMap::new();
        for (line, count) in counted(pass, n, &places) {
            *lines.entry(line).or_default() += count;
        }
        for (line, count) in lines {
            push(&mut c, pass, n, &line, &sets[order[line.factors]], count);
        }
    }
    let height = c.count.len();
    let day = Column_::new("tested_at".into(), c.tested_at).cast(&DataType::Date);
    let broken = |e| not_written(path, &e);
    let mut frame = df!(
        "model" => c.model,
        "test" => c.test,
        "test_point" => c.test_point,
        "step" => c.step,
        "current" => c.current,
        "applied_v" => c.applied_v,
        "frequency_hz" => c.frequency_hz,
        "dwell_s" => c.dwell_s,
        "units_together" => c.units_together,
        "station" => c.station,
        "outcome" => c.outcome,
        "stage" => c.stage,
        "tally_part" => c.tally_part,
        "reading_ma" => c.reading_ma,
        "reading_step_ma" => c.reading_step_ma,
        "high_limit_ma" => c.high_limit_ma,
        "low_limit_ma" => c.low_limit_ma,
        "lot" => c.lot,
        "operator" => c.operator,
        "shift" => c.shift,
        "fixture" => c.fixture,
        "humidity_pct" => c.humidity_pct,
        "temperature_c" => c.temperature_c,
        "count" => c.count,
    )
    .map_err(broken)?;
    frame.with_column(day.map_err(broken)?.into()).map_err(broken)?;
    // A tally of files that name no plant is what it was before there were any.
    if c.plant.iter().any(|p| !p.is_empty()) {
        frame.with_column(Column_::new("plant".into(), c.plant).into()).map_err(broken)?;
    }
    for (name, levels) in own.iter().zip(c.factors) {
        frame.with_column(Column_::new(name.as_str().into(), levels).into()).map_err(broken)?;
    }
    let beside = beside.pairs()?;
    crate::disk::write_whole(path, |out| {
        ParquetWriter::new(out)
            .with_key_value_metadata(Some(beside))
            .finish(&mut frame)
            .map(drop)
            .map_err(broken)
    })?;
    Ok(height)
}

/// What a series counts: first attempts, and later tests that tell the leakage of a unit.
fn counted<'a>(
    pass: &'a Pass,
    series: usize,
    places: &'a [usize],
) -> impl Iterator<Item = (Line, u32)> + 'a {
    pass.tests_of(series).flat_map(Tests::all).filter_map(move |test| {
        let line = Line {
            day: test.day(),
            station: test.station(),
            outcome: test.outcome(),
            // What a trip shows is not the leakage.
            reading: test.says().filter(|_| test.outcome() != Outcome::OverLimit),
            limits: test.limits(),
            factors: places[test.factors() as usize],
            counts: test.counts()?,
        };
        Some((line, test.count()))
    })
}

fn push(c: &mut Columns, pass: &Pass, n: usize, line: &Line, levels: &[String], count: u32) {
    let key = &pass.series[n].key;
    #[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
    let ma = |pa: i64| pa as f64 / 1e9;
    let factor = |n: usize| levels.get(n).cloned().unwrap_or_default();
    c.tested_at.push(line.day);
    c.model.push(key.own_model().to_owned());
    c.test.push(key.test.key());
    c.test_point.push(key.test_point.clone());
    c.step.push(key.step.clone());
    c.current.push(key.current.key());
    c.applied_v.push(key.applied_v());
    c.frequency_hz.push(key.frequency_hz());
    c.dwell_s.push(key.dwell_s());
    c.units_together.push(u32::from(key.units_together));
    let station = usize::from(line.station);
    let own = pass.plant.at[station].as_ref().map(|at| &at.own);
    c.plant.push(key.plant().to_owned());
    c.station.push(own.unwrap_or(&pass.plant.stations[station]).clone());
    c.outcome.push(line.outcome.words());
    // A trip that counts for its outcome alone came while a DC voltage rose.
    let in_ramp = line.outcome == Outcome::OverLimit && line.counts == Counts::Outcome;
    c.stage.push(if in_ramp { "ramp" } else { "" });
    c.tally_part.push(if line.counts == Counts::Leakage { LEAKAGE_ALONE } else { "" });
    c.reading_ma.push(line.reading.map(|(pa, says)| match says {
        Says::Value => format!("{}", ma(pa)),
        Says::Below => format!("<{}", ma(pa)),
        Says::Above => format!(">{}", ma(pa)),
    }));
    c.reading_step_ma
        .push(line.reading.map(|(pa, _)| ma(pass.plant.steps.at(n, line.station, pa))));
    c.high_limit_ma.push(line.limits.high_pa.map(ma));
    c.low_limit_ma.push(line.limits.low_pa.map(ma));
    c.lot.push(factor(0));
    c.operator.push(factor(1));
    c.shift.push(factor(2));
    c.fixture.push(factor(3));
    let air = pass.plant.air.get(key.plant()).and_then(|days| days.get(&line.day)).copied();
    c.humidity_pct.push(air.and_then(|a| a.humidity_pct));
    c.temperature_c.push(air.and_then(|a| a.temperature_c));
    c.count.push(count);
    for (n, levels) in c.factors.iter_mut().enumerate() {
        levels.push(factor(BUILT_IN_FACTORS.len() + n));
    }
}
