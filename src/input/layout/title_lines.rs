//! What the lines above a header say of the whole table: `Model: KB120`, `High limit = 3.5 mA`, `Voltage` beside `1250 V`.

use std::collections::BTreeMap;

use crate::input::columns::{By, Field, Headers, Meaning};
use crate::records::Quantity;

/// `name: value` pairs in the lines before a header.
#[must_use]
pub fn titles(rows: &[Vec<String>], headers: &Headers) -> BTreeMap<Field, String> {
    preamble(rows, headers).into_iter().map(|(field, (value, _))| (field, value)).collect()
}

/// The same, each with the unit that its name states.
pub(super) fn preamble(
    rows: &[Vec<String>],
    headers: &Headers,
) -> BTreeMap<Field, (String, Option<Quantity>)> {
    let mut found = BTreeMap::new();
    for row in rows {
        let cells: Vec<&str> = row.iter().map(|c| c.trim()).filter(|c| !c.is_empty()).collect();
        let pair = match cells.as_slice() {
            [one] => one.split_once(':').or_else(|| one.split_once('=')),
            [name, value] if name.ends_with(':') => Some((name.trim_end_matches(':'), *value)),
            [name, value]
                if is_plain_title(name, headers) && headers.meaning(value) == Meaning::Unknown =>
            {
                Some((*name, *value))
            }
            _ => None,
        };
        let Some((name, value)) = pair else { continue };
        // What came of a test holds for no whole table.
        if let Meaning::Field(field, unit) = headers.meaning(name)
            && ![Field::Reading, Field::Outcome, Field::Reason].contains(&field)
            && !value.trim().is_empty()
        {
            let unread = field.quantity().and_then(|own| headers.unread_unit(name, own));
            // With a unit that is none the value is no number.
            let value = unread.map_or(value.trim().to_owned(), |unit| format!("{value} [{unit}]"));
            found.entry(field).or_insert((value, unit));
        }
    }
    found
}

/// Whether a name without a colon says what the cell beside it is. A date may be that of the export.
fn is_plain_title(name: &str, headers: &Headers) -> bool {
    let heading = headers.heading(name);
    let dates = [Field::TestedAt, Field::Date, Field::Time];
    heading.by >= By::ClearWords
        && matches!(heading.meaning, Meaning::Field(field, _) if !dates.contains(&field))
}
