//! Links between the pages of a report: a section names a place, and here it is found on whichever page it stands.
//!
//! Takes pages written with `](#place)` and `](file)` as if all were one page at the top of the folder, and gives them
//! with addresses that work from where each page lies. So a section may move to another page and none of those that
//! point to it must know. Only our own markup is touched: names pass `text`, which leaves no `](` of theirs.

use std::collections::HashMap;

/// The pages with links that lead from page to page; a place that stands nowhere stays as it is.
#[must_use]
pub fn linked(pages: Vec<(String, String)>) -> Vec<(String, String)> {
    let mut places: HashMap<String, usize> = HashMap::new();
    let mut own: Vec<Vec<String>> = Vec::new();
    for (n, (_, text)) in pages.iter().enumerate() {
        let found = places_of(text);
        for place in &found {
            places.entry(place.clone()).or_insert(n);
        }
        own.push(found);
    }
    let paths: Vec<String> = pages.iter().map(|(path, _)| path.clone()).collect();
    let one = |(n, (path, text)): (usize, (String, String))| {
        let up = "../".repeat(path.matches('/').count());
        let resolved = |target: &str| match target.strip_prefix('#') {
            None => format!("{up}{target}"),
            Some(place) if own[n].iter().any(|p| p == place) => target.to_owned(),
            Some(place) => places.get(place).map_or_else(
                || target.to_owned(),
                |at| format!("{up}{}#{place}", super::address(&paths[*at])),
            ),
        };
        (path, with_targets(&text, resolved))
    };
    pages.into_iter().enumerate().map(one).collect()
}

/// Names of the places on a page: its anchors, and its headings as readers of markdown name them.
fn places_of(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for line in text.lines() {
        for rest in line.split("<a id=\"").skip(1) {
            found.extend(rest.split('"').next().map(str::to_owned));
        }
        if line.starts_with('#') {
            found.push(place_of(line.trim_start_matches('#')));
        }
    }
    found
}

/// The place of a heading, as readers of markdown name it.
#[must_use]
pub fn place_of(heading: &str) -> String {
    let words = heading.trim().to_lowercase();
    let kept = words.chars().filter(|c| c.is_alphanumeric() || " -_".contains(*c));
    kept.map(|c| if c == ' ' { '-' } else { c }).collect()
}

/// The text with the target of each link changed.
fn with_targets(text: &str, change: impl Fn(&str) -> String) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 16);
    let mut rest = text;
    while let Some(at) = rest.find("](") {
        let (before, after) = rest.split_at(at + 2);
        out.push_str(before);
        rest = after;
        // Escaped, it is somebody's name and no link.
        if before.ends_with("\\](") {
            continue;
        }
        if let Some(end) = after.find(')') {
            out.push_str(&change(&after[..end]));
            rest = &after[end..];
        }
    }
    out.push_str(rest);
    out
}
