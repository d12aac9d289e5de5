//! Which room of the source may use which, held against the paths that the source names.
//!
//! Data flow one way: files → input → records → series → movement → analysis → verdict → review → report. A room uses the
//! rooms before it and the ground floor, never one after it. Comments may point anywhere.

use std::collections::{BTreeMap, BTreeSet};

use crate::built::is_the_list;
use crate::support::source::{Source, sources, words};

/// For each room, what it may use of ours: exactly what it needs today, so that a new use is a decision.
const MAP: [(&str, &[&str]); 21] = [
    ("error", &[]),
    ("note", &[]),
    ("day", &[]),
    ("progress", &[]),
    ("stats", &[]),
    ("disk", &["error"]),
    ("words", &["day", "stats"]),
    ("records", &["day"]),
    // Another world: it makes the truth and may know nothing of how the tool reads.
    ("sample", &["disk", "error"]),
    ("config", &["error", "words"]),
    ("input", &["config", "day", "error", "note", "records"]),
    ("series", &["config", "day", "disk", "error", "input", "note", "records", "words"]),
    ("movement", &["config", "day", "progress", "series", "stats", "words"]),
    ("analysis", &["config", "day", "error", "movement", "progress", "series", "stats", "words"]),
    ("verdict", &["analysis", "config", "day", "input", "movement", "series", "stats", "words"]),
    (
        "review",
        &[
            "analysis", "config", "day", "input", "movement", "note", "series", "stats", "verdict",
            "words",
        ],
    ),
    (
        "report",
        &[
            "analysis", "config", "day", "disk", "error", "input", "movement", "progress",
            "records", "review", "series", "stats", "verdict", "words",
        ],
    ),
    // Leads the rooms to the page of a limit study.
    (
        "study",
        &[
            "analysis", "config", "day", "error", "movement", "report", "review", "series",
            "verdict",
        ],
    ),
    ("terminal", &["error", "progress", "words"]),
    // The default seed of `sample` is shown in the help.
    ("cli", &["sample"]),
    // Runs everything: it and the crate's root are where the rooms meet.
    (
        "commands",
        &[
            "cli",
            "config",
            // When a report is made.
            "day",
            "disk",
            "error",
            "input",
            "progress",
            "report",
            "sample",
            "series",
            "terminal",
            "JumpRequest",
            "Request",
            "StudyRequest",
            "jump_study",
            "limit_study",
            "misread",
            "pass",
            "review",
        ],
    ),
];

/// Uses that the map allows to some files of a room only: room, what it uses, its files.
const ONLY: [(&str, &str, &[&str]); 2] = [
    // How a column was understood names what it measures.
    ("report", "records", &["report/peek/understood.rs"]),
    // How each file was understood is the question of `peek`.
    ("report", "input", &["report/peek.rs", "report/peek/understood.rs"]),
];

/// First names of all `crate::` paths in a text, also of those in one pair of braces.
fn used(code: &str) -> BTreeSet<String> {
    let first = |path: &str| -> String {
        path.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
    };
    let mut names = BTreeSet::new();
    for (at, _) in code.match_indices("crate::") {
        // `$crate::` and the end of a longer name are no paths of ours.
        if code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == '$') {
            continue;
        }
        let rest = &code[at + "crate::".len()..];
        let Some(inside) = rest.strip_prefix('{') else {
            names.insert(first(rest));
            continue;
        };
        // Split at the commas that no inner brace encloses.
        let (mut depth, mut item) = (0_u32, String::new());
        for c in inside.chars() {
            match c {
                '{' => depth += 1,
                '}' if depth == 0 => break,
                '}' => depth -= 1,
                ',' if depth == 0 => {
                    names.insert(first(&item));
                    item.clear();
                    continue;
                }
                _ => {}
            }
            item.push(c);
        }
        names.insert(first(&item));
    }
    names.remove("");
    names
}

fn room(file: &str) -> &str {
    file.split(['/', '.']).next().unwrap_or(file)
}

#[test]
fn paths_are_found_in_every_form() {
    let text = "use crate::note::Note;\nuse crate::{Request, report, stats::{a, b}};\nlet x = crate::series::save(y);\n// crate::not\n";
    let found = used(&Source::new(text.to_owned()).bare);
    let want = ["Request", "note", "report", "series", "stats"];
    assert_eq!(found.into_iter().collect::<Vec<_>>(), want);
}

/// Uses against the map that are still there: this list may only shrink.
const OWED_USES: &[&str] = &[];

#[test]
fn a_room_uses_only_rooms_before_it() {
    let mut wrong = Vec::new();
    for (file, source) in sources() {
        let room = room(&file);
        // `stats` is a crate of its own: the compiler holds that it uses no room.
        if ["lib", "main", "stats"].contains(&room) {
            continue;
        }
        let Some((_, may)) = MAP.iter().find(|(name, _)| *name == room) else {
            wrong.push(format!("{file}: a room that is not on the map"));
            continue;
        };
        for name in used(&source.bare) {
            if name != room && !may.contains(&name.as_str()) {
                wrong.push(format!("{file} uses {name}"));
            }
            let only = ONLY.iter().find(|(r, n, _)| *r == room && *n == name);
            if only.is_some_and(|(_, _, files)| !files.contains(&file.as_str())) {
                wrong.push(format!("{file} uses {name}, which only other files of the room may"));
            }
        }
    }
    is_the_list("against the map", wrong, OWED_USES);
}

/// A map with more roads than there are says nothing.
#[test]
fn the_map_allows_nothing_that_is_not_used() {
    let mut uses: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (file, source) in sources() {
        uses.entry(room(&file).to_owned()).or_default().extend(used(&source.bare));
    }
    for (room, may) in MAP {
        for name in may {
            assert!(
                uses[room].contains(*name),
                "{room} no longer uses {name}: take it off the map"
            );
        }
    }
}

/// The flow has no way back: of two rooms, at most one uses the other.
#[test]
fn the_map_has_no_circle() {
    let order: Vec<&str> = MAP.iter().map(|(room, _)| *room).collect();
    for (n, (room, may)) in MAP.iter().enumerate() {
        for name in *may {
            if let Some(at) = order.iter().position(|r| r == name) {
                assert!(at < n, "{room} uses {name}, which stands after it");
            }
        }
    }
}

/// A page shows what is decided: it sees no row, no code of one, no setting and no rule. What does not hold yet is
/// on this list, which may only shrink; `peek` explains and starts settings, so it sees them.
const OWED_BY_REPORT: &[&str] = &["report/peek.rs series", "report/peek/understood.rs records"];

#[test]
fn report_sees_no_rows_and_no_thresholds() {
    let mut found = Vec::new();
    for (file, source) in sources().iter().filter(|(file, _)| room(file) == "report") {
        let uses = used(&source.bare);
        let names: BTreeSet<&str> = words(&source.bare).map(|(word, _)| word).collect();
        let is_peek = file.starts_with("report/peek");
        let sees = [
            ("records", uses.contains("records")),
            ("series", uses.contains("series")),
            ("settings", !is_peek && (names.contains("Config") || source.bare.contains("config."))),
            ("rules", names.contains("Rules")),
        ];
        found.extend(
            sees.iter().filter(|(_, does)| *does).map(|(what, _)| format!("{file} {what}")),
        );
    }
    is_the_list("report sees", found, OWED_BY_REPORT);
}
