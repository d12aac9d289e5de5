//! Ids of incidents: the same in every later report, as long as the cause is.
//!
//! An id is made from what the cause is, never from what was counted or estimated of it: not from the date of a step or
//! a jump, which moves by a day with the next export, nor from how bad it is. Stations and models count by the name
//! that the files give them, so that a new name in the settings changes nothing; the order of files has no part. Of
//! causes that agree in all that (two jumps of a series that nothing explains) the later ones get a number. Six letters
//! and digits after `i-`: a spreadsheet takes none of them for a number or a date.

use std::collections::BTreeMap;

use sha2::{Digest, Sha256};

use super::{Cause, Ground};
use crate::analysis::jump::Scope;
use crate::series::SeriesKey;
use crate::words::time::day_text;

/// Signs of an id: no two that look alike.
const SIGNS: &[u8; 32] = b"abcdefghjkmnpqrstuvwxyz023456789";

/// The id of each cause, in their order.
pub(super) fn of_all<'a>(
    ground: &Ground<'_>,
    causes: impl Iterator<Item = &'a Cause>,
) -> Vec<String> {
    let mut seen: BTreeMap<String, u32> = BTreeMap::new();
    causes
        .map(|cause| {
            let key = key(ground, cause);
            let n = seen.entry(key.clone()).or_default();
            *n += 1;
            id(&if *n > 1 { format!("{key} {n}") } else { key })
        })
        .collect()
}

fn id(key: &str) -> String {
    let hash = Sha256::digest(key.as_bytes());
    let signs = hash.iter().take(6).map(|b| char::from(SIGNS[usize::from(*b) % SIGNS.len()]));
    format!("i-{}", signs.collect::<String>())
}

/// What the cause is, in words that later reports say again.
fn key(ground: &Ground<'_>, cause: &Cause) -> String {
    let station = |name: &str| exported(ground, "station", name);
    let model = |name: &str| exported(ground, "model", name);
    let series = |n: usize| {
        let key = &ground.pass.series[n].key;
        SeriesKey { model: model(&key.model), ..key.clone() }.slug()
    };
    match cause {
        Cause::Check { station: s, day } => format!("check {} {}", station(s), day_text(*day)),
        Cause::Limits { model: m } => format!("limits {}", model(m)),
        Cause::Tester { station: s, step } => {
            let which = step.map_or_else(|| "calibration".to_owned(), |n| n.to_string());
            format!("tester {} {which}", station(s))
        }
        Cause::Jump(n) => {
            let jump = &ground.jumps[*n];
            let found = &jump.found;
            let at = match found.scope {
                Scope::Series(n) => series(n as usize),
                Scope::Station(s) => station(&ground.pass.plant.stations[usize::from(s)]),
                Scope::Overall => "line".to_owned(),
            };
            let why = found.answers_to().unwrap_or_else(|| format!("{:?}", jump.answer));
            format!("jump {at} {:?} {why}", found.counted)
        }
        Cause::Lot { series: n, named } => format!("lot {} {named}", series(*n)),
        Cause::Product(n) => format!("product {}", series(*n)),
        Cause::Strays(n) => format!("strays {}", series(*n)),
        Cause::Retests(n) => format!("retests {}", series(*n)),
        Cause::Settings { model: m } => format!("settings {}", model(m)),
        Cause::Station { station: s, kind, key } => {
            format!("station {} {} {key}", station(s), kind.key())
        }
        Cause::Plant(kind) => format!("plant {}", kind.key()),
        Cause::Misread(place) => format!("misread {place}"),
    }
}

/// The name in the files of what the settings may have renamed: the first of several.
fn exported(ground: &Ground<'_>, column: &str, name: &str) -> String {
    let renamed = ground.config.values.get(column);
    let raw =
        renamed.and_then(|names| names.iter().find(|(_, to)| *to == name).map(|(raw, _)| raw));
    raw.map_or(name, String::as_str).trim().to_lowercase()
}
