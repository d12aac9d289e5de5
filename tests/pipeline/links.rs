//! Every link and image of every page of a report leads somewhere, whatever the files hold.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::support::run::{contents, folder, put, reviewed, run_in, small_table};

/// Targets of the links and images of a markdown page.
fn targets(page: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (at, _) in page.match_indices("](") {
        if !page[..at].ends_with('\\') {
            found.extend(page[at + 2..].split(')').next().map(str::to_owned));
        }
    }
    found
}

/// Places on a markdown page: anchors, and headings as a repository shows them.
fn places(page: &str) -> BTreeSet<String> {
    let headings = page.lines().filter(|l| l.starts_with('#')).map(|l| {
        let words = l.trim_start_matches('#').trim().to_lowercase();
        let kept = words.chars().filter(|c| c.is_alphanumeric() || " -_".contains(*c));
        kept.map(|c| if c == ' ' { '-' } else { c }).collect::<String>()
    });
    let anchors = page.split("<a id=\"").skip(1).map(|r| r.split('"').next().unwrap().to_owned());
    headings.chain(anchors).collect()
}

/// The path that a link leads to from a page, `%20` and the like read back.
fn path(from: &str, to: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = to.as_bytes();
    while let [first, tail @ ..] = rest {
        if *first == b'%' {
            let code = std::str::from_utf8(&tail[..2]).unwrap();
            bytes.push(u8::from_str_radix(code, 16).unwrap());
            rest = &tail[2..];
        } else {
            bytes.push(*first);
            rest = tail;
        }
    }
    let to = String::from_utf8(bytes).unwrap();
    let mut parts: Vec<&str> = from.split('/').collect();
    parts.pop();
    for part in to.split('/') {
        if part == ".." {
            parts.pop().expect("no link leads out of the report");
        } else {
            parts.push(part);
        }
    }
    parts.join("/")
}

/// Follows every link and image of every page, and of the one file to mail.
fn follow(files: &BTreeSet<String>, texts: &BTreeMap<String, String>) -> usize {
    let mut followed = 0;
    for (name, page) in texts.iter().filter(|(n, _)| n.ends_with(".md")) {
        for target in targets(page) {
            let (file, place) = target.split_once('#').unwrap_or((&target, ""));
            let to = if file.is_empty() { name.clone() } else { path(name, file) };
            assert!(files.contains(&to), "{name}: no file {to} ({target})");
            if !place.is_empty() {
                assert!(places(&texts[&to]).contains(place), "{name}: no place {target}");
            }
            followed += 1;
        }
    }
    let html = &texts["report.html"];
    let (body, script) = html.split_once("<script").unwrap();
    let quoted = |text: &str, before: &str| -> Vec<String> {
        text.split(before).skip(1).map(|r| r.split('"').next().unwrap().to_owned()).collect()
    };
    let ids = quoted(body, "id=\"");
    let distinct: BTreeSet<&String> = ids.iter().collect();
    for to in quoted(body, "href=\"") {
        let place = to.strip_prefix('#').unwrap_or_else(|| panic!("it leaves the file: {to}"));
        assert!(distinct.contains(&place.to_owned()), "report.html: no place {to}");
        followed += 1;
    }
    for fetched in [" src=", "url(", "@import", "<link", "<img", "<iframe"] {
        assert!(!body.contains(fetched), "report.html fetches by {fetched}");
    }
    assert!(!script.contains("fetch(") && !script.contains("XMLHttpRequest"));
    followed
}

#[test]
fn every_link_of_the_sample_leads_somewhere() {
    let files = reviewed().files.iter().cloned().collect();
    let followed = follow(&files, &reviewed().texts);
    assert!(followed > 100, "{followed}");
}

fn review(dir: &Path, table: &str) -> (BTreeSet<String>, BTreeMap<String, String>) {
    put(dir, "in/t.csv", table);
    // Trips alone are probably misread: a report is written, and says so.
    let done = run_in(dir, ["review", "in", "--out", "out", "--all-charts"]);
    assert!(done.status < 2, "{}", done.err);
    let files = contents(&dir.join("out"));
    let texts = files.iter();
    let texts = texts.filter_map(|(n, b)| Some((n.clone(), String::from_utf8(b.clone()).ok()?)));
    (files.keys().cloned().collect(), texts.collect())
}

/// A chart that has nothing to show is a note, and no page shows its frame.
#[test]
fn links_lead_somewhere_where_charts_cannot_be_drawn() {
    let header =
        "tested_at,model,serial,station,applied_v,frequency_hz,reading_ma,high_limit_ma,outcome\n";
    let row = |n: u32, reading: &str, outcome: &str| {
        format!("2026-09-{:02} 08:00:00,M1,S{n},S1,1500,50,{reading},3.000,{outcome}\n", n % 28 + 1)
    };
    let constant: String = (0..40).map(|n| row(n, "1.000", "pass")).collect();
    let trips: String = (0..40).map(|n| row(n, ">3.000", "over limit")).collect();
    let begin = chrono::NaiveDate::from_ymd_opt(2026, 9, 1).unwrap();
    for (what, table) in [
        ("one reading", format!("{header}{}", row(1, "1.000", "pass"))),
        ("constant readings", format!("{header}{constant}")),
        ("trips only", format!("{header}{trips}")),
        ("a sound month", small_table(begin, 30)),
        ("names of all signs", small_table(begin, 30).replace("M1", "\"M <b>|[1](x) /ü?\"")),
    ] {
        let dir = folder();
        let (files, texts) = review(dir.path(), &table);
        assert!(follow(&files, &texts) > 10, "{what}");
        assert!(texts["summary.md"].lines().count() <= 150, "{what}");
        assert!(files.iter().any(|f| f.starts_with("models/")), "{what}: {files:?}");
    }
}

/// Without `--all-charts` only what needs attention is drawn.
#[test]
fn charts_are_drawn_where_they_are_needed() {
    let drawn = |model: &str| {
        let of_model = |f: &&String| f.starts_with(&format!("charts/{model}"));
        reviewed().files.iter().filter(of_model).count()
    };
    assert!(drawn("ap730") >= 4 && drawn("kb120") >= 4, "{:?}", reviewed().files);
    assert_eq!(drawn("sm415"), 0, "nothing is to be done about it");
}
