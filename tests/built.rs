//! How the source is built: no file and no function too long, few circles of files, nothing public that only
//! tests call.
//!
//! A list named `OWED_…` holds what does not keep a rule yet. It may only shrink: what is not on it fails, and so
//! does a line of it that is no longer needed.

use std::collections::{BTreeMap, BTreeSet};

use crate::support::source::{Source, sources, words};

/// Lines of a file.
const FILE: usize = 600;
/// Lines of a function.
const FUNCTION: usize = 100;
/// Circles of files.
const CIRCLES: usize = 5;

const OWED_FILES: &[&str] = &[];

/// One line a word: they are read as tables.
const TABLES_OF_WORDS: &[&str] =
    &["input/outcomes.rs trade_word", "verdict/limit_words.rs sentence"];

const OWED_FUNCTIONS: &[&str] = &[];

/// Functions of the door, called by programs that use the crate.
const DOOR: &[&str] = &["progress.rs nobody"];

const OWED_CALLERS: &[&str] = &[];

/// Fails with what is found and not listed, and with what is listed and not found.
#[track_caller]
pub fn is_the_list(rule: &str, found: impl IntoIterator<Item = String>, listed: &[&str]) {
    let found: BTreeSet<String> = found.into_iter().collect();
    let listed: BTreeSet<String> = listed.iter().map(|l| (*l).to_owned()).collect();
    let against: Vec<&String> = found.difference(&listed).collect();
    let settled: Vec<&String> = listed.difference(&found).collect();
    assert!(against.is_empty(), "{rule}: {against:#?}");
    assert!(settled.is_empty(), "{rule}: no longer needed on the list: {settled:#?}");
}

#[test]
fn no_file_is_too_long() {
    let long = sources().into_iter().filter(|(_, s)| s.text.lines().count() > FILE);
    is_the_list("at most 600 lines a file", long.map(|(name, _)| name), OWED_FILES);
}

#[test]
fn no_function_is_too_long() {
    let mut long = Vec::new();
    for (file, source) in sources() {
        for function in functions(&source.bare) {
            if function.lines > FUNCTION {
                long.push(format!("{file} {}", function.name));
            }
        }
    }
    let listed = [TABLES_OF_WORDS, OWED_FUNCTIONS].concat();
    is_the_list("at most 100 lines a function", long, &listed);
}

/// What is printed goes through one place, which knows of closed outputs and of signs that terminals obey.
#[test]
fn only_the_terminal_prints() {
    let prints = |source: &Source| {
        ["print!(", "println!(", "eprint!(", "eprintln!("].iter().any(|p| source.code.contains(p))
    };
    let found: Vec<String> =
        sources().into_iter().filter(|(_, s)| prints(s)).map(|(name, _)| name).collect();
    assert!(found.is_empty(), "{found:?}");
}

/// A file that no `mod` names is not compiled: nobody reads it, and it only looks like code.
#[test]
fn every_file_is_a_module() {
    let all = sources();
    let mut outside = Vec::new();
    let roots = ["lib.rs", "main.rs", "stats/mod.rs"];
    for file in all.keys().filter(|file| !roots.contains(&file.as_str())) {
        let path = file.trim_end_matches(".rs");
        let path = path.strip_suffix("/mod").unwrap_or(path);
        let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
        let parents = [format!("{folder}/mod.rs"), format!("{folder}.rs"), "lib.rs".to_owned()];
        let parent = parents.iter().find_map(|p| all.get(p.as_str()));
        let is_named = parent.is_some_and(|parent| {
            let names: Vec<&str> = words(&parent.bare).map(|(word, _)| word).collect();
            names.windows(2).any(|pair| pair == ["mod", name])
        });
        outside.extend((!is_named).then_some(file));
    }
    assert!(outside.is_empty(), "no module: {outside:?}");
}

struct Function<'a> {
    name: &'a str,
    is_public: bool,
    /// From its name to the end of its body.
    lines: usize,
}

/// Every function with a body.
fn functions(bare: &str) -> Vec<Function<'_>> {
    let mut found = Vec::new();
    let mut before: [&str; 3] = [""; 3];
    let mut all = words(bare).peekable();
    while let Some((word, _)) = all.next() {
        if word == "fn"
            && let Some((name, end)) = all.peek()
            && let Some(body) = body(&bare[*end..])
        {
            let lines = body.lines().count();
            found.push(Function { name, is_public: before.contains(&"pub"), lines });
        }
        // What may stand between `pub` and `fn`: `pub(super) const fn`, `pub async fn`.
        let stays = ["const", "async", "crate", "super", "in", "pub"].contains(&word);
        before = if stays { [before[1], before[2], word] } else { [""; 3] };
    }
    found
}

/// From the end of a function's name to the end of its body, where it has one.
fn body(rest: &str) -> Option<&str> {
    let (mut inside, mut depth) = (0_i32, 0_i32);
    for (at, c) in rest.char_indices() {
        match c {
            '(' | '[' => inside += 1,
            ')' | ']' => inside -= 1,
            ';' if inside == 0 && depth == 0 => return None,
            '{' => depth += 1,
            '}' => {
                depth -= 1;
                if depth == 0 {
                    return Some(&rest[..=at]);
                }
            }
            _ => {}
        }
    }
    None
}

#[test]
fn functions_are_found_with_their_lines() {
    let text = "pub(crate) const fn a<T: X>(x: [u8; 3]) -> T {\n if y {\n }\n}\ntrait B { fn c(); }\nfn d() { 1 }\n";
    let found: Vec<_> =
        functions(text).into_iter().map(|f| (f.name, f.is_public, f.lines)).collect();
    assert_eq!(found, [("a", true, 4), ("d", false, 1)]);
}

/// What only tests call proves nothing about a report. A name that stands anywhere in `src` beside its
/// definitions counts as called.
#[test]
fn every_public_function_has_a_caller() {
    let all = sources();
    let mut named: BTreeMap<&str, i32> = BTreeMap::new();
    for source in all.values() {
        let mut before = "";
        for (word, _) in words(&source.code) {
            *named.entry(word).or_default() += i32::from(before != "fn");
            before = word;
        }
    }
    let mut uncalled = Vec::new();
    for (file, source) in &all {
        for f in functions(&source.bare).iter().filter(|f| f.is_public) {
            if named.get(f.name).is_none_or(|times| *times == 0) {
                uncalled.push(format!("{file} {}", f.name));
            }
        }
    }
    is_the_list("only tests call it", uncalled, &[DOOR, OWED_CALLERS].concat());
}

/// Files that use each other, directly or around a corner. A file and the files of the folder of its name are one.
const OWED_CIRCLES: &[&str] = &["report/chart/bars report/chart/distribution"];

#[test]
fn files_stand_in_few_circles() {
    let circles = circles(&uses(&sources()));
    let few = circles.len() <= CIRCLES;
    is_the_list("a circle of files", circles, OWED_CIRCLES);
    assert!(few || OWED_CIRCLES.len() > CIRCLES, "more than {CIRCLES} circles");
}

/// Which file uses which, by the paths of `use` lines; what is made public again is no use.
fn uses(all: &BTreeMap<String, Source>) -> BTreeMap<String, BTreeSet<String>> {
    // Modules by path; the file a module belongs to is the one of its name where it has a folder of parts.
    let path_of = |file: &str| -> Vec<String> {
        let path = file.trim_end_matches(".rs");
        let path = path.strip_suffix("/mod").unwrap_or(path);
        path.split('/').filter(|p| *p != "lib").map(str::to_owned).collect()
    };
    let modules: BTreeMap<Vec<String>, &str> =
        all.keys().map(|file| (path_of(file), file.as_str())).collect();
    let whole = |path: &[String]| -> String {
        let owner = (1..path.len())
            .find(|n| modules.get(&path[..*n]).is_some_and(|file| !file.ends_with("/mod.rs")));
        path[..owner.unwrap_or(path.len())].join("/")
    };
    let mut found: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (file, source) in all {
        let own = path_of(file);
        let from = found.entry(whole(&own)).or_default();
        for path in used_paths(&source.bare) {
            let mut names = path.split("::").map(str::trim).peekable();
            let mut to = match names.peek() {
                // The mathematics is a crate of its own.
                Some(&"crate") if own[..1] == ["stats"] => own[..1].to_vec(),
                Some(&"crate") => Vec::new(),
                Some(&("self" | "super")) => own.clone(),
                Some(child)
                    if modules.contains_key(&[&own[..], &[(*child).to_owned()]].concat()) =>
                {
                    own.clone()
                }
                _ => continue,
            };
            for name in names {
                match name {
                    "crate" | "self" => {}
                    "super" => {
                        to.pop();
                    }
                    name => {
                        to.push(name.to_owned());
                        if !modules.contains_key(&to) {
                            to.pop();
                            break;
                        }
                    }
                }
            }
            from.insert(whole(&to));
        }
        from.remove(&whole(&own));
    }
    found
}

/// Every path of the `use` lines that are not public, braces taken apart.
fn used_paths(bare: &str) -> Vec<String> {
    let lines = bare.match_indices("use ").filter_map(|(at, found)| {
        let line = bare[..at].rfind('\n').map_or(0, |n| n + 1);
        let rest = &bare[at + found.len()..];
        bare[line..at].trim().is_empty().then(|| &rest[..rest.find(';').unwrap_or(0)])
    });
    lines.flat_map(taken_apart).collect()
}

/// `a::{b, c::{d, e}}` as `a::b`, `a::c::d`, `a::c::e`.
fn taken_apart(path: &str) -> Vec<String> {
    let Some(open) = path.find('{') else {
        return vec![path.split(" as ").next().unwrap_or(path).trim().to_owned()];
    };
    let close = path.rfind('}').unwrap_or(path.len());
    let (mut depth, mut items) = (0, vec![String::new()]);
    for c in path[open + 1..close].chars() {
        depth += i32::from(c == '{') - i32::from(c == '}');
        match items.last_mut() {
            Some(_) if c == ',' && depth == 0 => items.push(String::new()),
            Some(item) => item.push(c),
            None => {}
        }
    }
    let items = items.iter().filter(|item| !item.trim().is_empty());
    items
        .flat_map(|item| taken_apart(item))
        .map(|item| format!("{}{item}", path[..open].trim()))
        .collect()
}

#[test]
fn paths_in_braces_are_taken_apart() {
    let text = "pub mod x;\npub use a::B;\npub(crate) use a::C;\nuse super::d::{self, e, f::{G, h as i}};\nfn j() {\n use crate::k;\n}";
    let want = ["super::d::self", "super::d::e", "super::d::f::G", "super::d::f::h", "crate::k"];
    assert_eq!(used_paths(text), want);
}

/// Groups of two and more that reach each other, each as its names in order.
fn circles(uses: &BTreeMap<String, BTreeSet<String>>) -> Vec<String> {
    let reached = |from: &str| -> BTreeSet<String> {
        let mut seen = BTreeSet::new();
        let mut next: Vec<&String> = uses.get(from).into_iter().flatten().collect();
        while let Some(file) = next.pop() {
            if seen.insert(file.clone()) {
                next.extend(uses.get(file).into_iter().flatten());
            }
        }
        seen
    };
    let reach: BTreeMap<&String, BTreeSet<String>> =
        uses.keys().map(|file| (file, reached(file))).collect();
    let back = |file: &String| -> Vec<&str> {
        let both = reach[file].iter().filter(|to| reach.get(to).is_some_and(|r| r.contains(file)));
        both.map(String::as_str).collect()
    };
    let found: BTreeSet<String> = uses
        .keys()
        .map(|file| back(file).join(" "))
        .filter(|circle| circle.contains(' '))
        .collect();
    found.into_iter().collect()
}

#[test]
fn circles_are_found() {
    let uses = [("a", "b"), ("b", "c"), ("c", "a"), ("d", "a"), ("e", "f"), ("f", "e")];
    let mut map: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (from, to) in uses {
        map.entry(from.to_owned()).or_default().insert(to.to_owned());
    }
    assert_eq!(circles(&map), ["a b c", "e f"]);
}
