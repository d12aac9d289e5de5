//! The yardstick of the throughput bench: how long polars takes to count rows per model, station and outcome.
//!
//! Given a delimited text with these three columns, it scans it twice and prints one line of JSON: `seconds` of both scans
//! and `rows` counted.

use std::error::Error;
use std::time::Instant;

use polars::prelude::{Engine, LazyCsvReader, LazyFileListReader, PlRefPath, col, len};

fn main() -> Result<(), Box<dyn Error>> {
    let file = std::env::args().nth(1).ok_or("expected a file")?;
    let ((first, rows), (second, _)) = (scan(&file)?, scan(&file)?);
    println!("{}", serde_json::json!({ "seconds": [first, second], "rows": rows }));
    Ok(())
}

/// Seconds of one streaming scan, and the rows it counted.
fn scan(file: &str) -> Result<(f64, u64), Box<dyn Error>> {
    let start = Instant::now();
    let counts = LazyCsvReader::new(PlRefPath::new(file))
        .with_glob(false)
        .finish()?
        .group_by([col("model"), col("station"), col("outcome")])
        .agg([len()])
        .collect_with_engine(Engine::Streaming)?
        .unwrap_single();
    let took = start.elapsed().as_secs_f64();
    let rows = counts.column("len")?.u32()?.iter().flatten().map(u64::from).sum();
    Ok((took, rows))
}
