//! From the plan to bytes: one file for each flavour of export, and the small files beside them.

use super::dirt::PlannedFile;
use super::schedule::Test;
use super::stations::Station;
use super::{Factory, WriteError};

mod a1;
mod a2;
mod b1;
mod b2;
mod side;

/// A file's name below the folder, and its bytes.
pub(super) type Written = (String, Vec<u8>);

/// Every file of the factory.
pub(super) fn all(factory: &Factory) -> Result<Vec<Written>, WriteError> {
    let mut written = Vec::new();
    for file in &factory.files {
        let tests: Vec<&Test> =
            file.rows.iter().map(|r| &factory.tests[&file.station][r.test]).collect();
        let name = format!("{}/{}", file.station.name(), file.name);
        let bytes = bytes(file, &tests)
            .map_err(|source| WriteError::Workbook { name: name.clone(), source })?;
        written.push((name, bytes));
    }
    written.extend(side::files());
    Ok(written)
}

fn bytes(file: &PlannedFile, tests: &[&Test]) -> Result<Vec<u8>, rust_xlsxwriter::XlsxError> {
    Ok(match file.station {
        Station::A1 => a1::bytes(&file.month, tests),
        Station::A2 => a2::bytes(tests),
        Station::B1 => b1::bytes(tests)?,
        Station::B2 => b2::bytes(tests),
    })
}
