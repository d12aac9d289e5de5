//! Which room of the source may use which, held against the paths that the source names.
//!
//! Data flow one way: files → input → records → series → movement → analysis → verdict → report. A room uses the
//! rooms before it and the ground floor, never one after it. Comments may point anywhere.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// For each room, what it may use of ours: exactly what it needs today, so that a new use is a decision.
const MAP: [(&str, &[&str]); 16] = [
    ("error", &[]),
    ("note", &[]),
    ("day", &[]),
    ("stats", &[]),
    ("words", &["day", "stats"]),
    ("records", &["day"]),
    // Another world: it makes the truth and may know nothing of how the tool reads.
    ("sample", &[]),
    ("config", &["error", "words"]),
    ("input", &["config", "day", "error", "note", "records"]),
    ("series", &["config", "day", "error", "input", "note", "records"]),
    ("movement", &["config", "day", "records", "series", "stats", "words"]),
    ("analysis", &["config", "day", "movement", "records", "series", "stats", "words"]),
    ("verdict", &["analysis", "config", "day", "movement", "records", "series", "stats", "words"]),
    (
        "report",
        &[
            "analysis", "config", "day", "error", "input", "movement", "records", "series",
            "stats", "verdict", "words",
        ],
    ),
    // The default seed of `sample` is shown in the help.
    ("cli", &["sample"]),
    // Runs everything: it and the crate's root are where the rooms meet.
    (
        "commands",
        &[
            "cli",
            "config",
            "error",
            "report",
            "sample",
            "series",
            "JumpRequest",
            "Request",
            "StudyRequest",
            "jump_study",
            "limit_study",
            "pass",
            "review",
        ],
    ),
];

/// Uses that the map allows to some files of a room only: room, what it uses, its files.
const ONLY: [(&str, &str, &[&str]); 1] = [
    // How each file was understood is the question of `peek`; `build` names the files read (`Read`).
    ("report", "input", &["report/build.rs", "report/peek.rs", "report/peek/understood.rs"]),
];

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// Every source file: its path below `src`, and its text without comments.
fn files() -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let mut folders = vec![source()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let name =
                    path.strip_prefix(source()).unwrap().to_string_lossy().replace('\\', "/");
                found.insert(name, code(&std::fs::read_to_string(&path).unwrap()));
            }
        }
    }
    found
}

/// The text without its line comments.
fn code(text: &str) -> String {
    text.lines().filter(|l| !l.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

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
    let found = used(&code(text));
    let want = ["Request", "note", "report", "series", "stats"];
    assert_eq!(found.into_iter().collect::<Vec<_>>(), want);
}

#[test]
fn a_room_uses_only_rooms_before_it() {
    let mut wrong = Vec::new();
    for (file, text) in files() {
        let room = room(&file);
        if ["lib", "main"].contains(&room) {
            continue;
        }
        let Some((_, may)) = MAP.iter().find(|(name, _)| *name == room) else {
            wrong.push(format!("{file}: a room that is not on the map"));
            continue;
        };
        for name in used(&text) {
            if name != room && !may.contains(&name.as_str()) {
                wrong.push(format!("{file} uses {name}"));
            }
            let only = ONLY.iter().find(|(r, n, _)| *r == room && *n == name);
            if only.is_some_and(|(_, _, files)| !files.contains(&file.as_str())) {
                wrong.push(format!("{file} uses {name}, which only other files of the room may"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A map with more roads than there are says nothing.
#[test]
fn the_map_allows_nothing_that_is_not_used() {
    let mut uses: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (file, text) in files() {
        uses.entry(room(&file).to_owned()).or_default().extend(used(&text));
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
