//! A report stays readable whatever the plant: one model, eight or eight hundred.

use std::collections::HashMap;

use leakdrift::report::html;
use leakdrift::report::markdown::{incidents, models, pages};
use leakdrift::review::{First, Review};
use leakdrift::verdict::incident::{Group, Incident};

use super::page_report::report_of;

/// A report of so many models, each of which needs attention, with an incident for each.
fn plant(models: usize) -> Review {
    let mut report = report_of("M1");
    report.first = First::default();
    let (series, incident) = (report.series[0].clone(), report.incidents[0].clone());
    report.series = (0..models)
        .map(|n| {
            let mut s = series.clone();
            s.named.key.model = format!("M{n:03}");
            s.named.title = format!("M{n:03}, AC withstand");
            s.named.id = format!("m{n:03}-ac");
            s
        })
        .collect();
    report.incidents = (0..models)
        .map(|n| Incident {
            id: format!("i-{n:06}"),
            group: Group::ALL[n * 4 / models],
            places: vec![format!("M{n:03}")],
            ..incident.clone()
        })
        .collect();
    report.attention = (0..models).collect();
    report
}

#[test]
fn the_summary_has_at_most_150_lines() {
    for models in [1, 8, 800] {
        let all = pages(&plant(models));
        let (path, summary) = &all[0];
        assert_eq!(path, "summary.md");
        let lines = summary.lines().count();
        assert!(lines <= 150, "{models} models: {lines} lines");
        // Ten rows, with a heading for each group.
        let screen: Vec<&str> = summary.lines().take(36).collect();
        let rows = screen.iter().filter(|l| l.starts_with("| [") && l.contains("](#i-")).count();
        assert_eq!(rows, models.min(10), "{models} models");
        assert_eq!(all.iter().filter(|(p, _)| p.starts_with("models/")).count(), models);
    }
}

/// Whatever is said before anything else stays short there, and whole in the record.
#[test]
fn what_is_said_first_does_not_push_the_summary_beyond_its_length() {
    let mut report = plant(800);
    report.first.said_first = (0..60).map(|n| format!("Said first {n}.")).collect();
    let all = pages(&report);
    assert!(all[0].1.lines().count() <= 150);
    let record = &all.iter().find(|(path, _)| path == "record.md").unwrap().1;
    assert_eq!(record.matches("**Said first ").count(), 60);
}

/// The first screen shows something of each group that asks for a decision, and of the others what room is left.
#[test]
fn each_group_is_on_the_first_screen() {
    for models in [4, 40, 800] {
        let report = plant(models);
        let shown = incidents::on_the_first_screen(&report.incidents);
        assert_eq!(shown.len(), models.min(10));
        assert!(shown.is_sorted());
        for group in [Group::UnitsToTrace, Group::LimitsToDecide, Group::ToWatch] {
            assert!(shown.iter().any(|n| report.incidents[*n].group == group), "{group:?}");
        }
    }
    assert!(incidents::on_the_first_screen(&[]).is_empty());
}

/// Names that differ by signs or capitals alone are pages of their own, on any file system.
#[test]
fn pages_of_models_are_files_of_their_own() {
    let mut report = plant(6);
    for (s, model) in
        report.series.iter_mut().zip(["a/b", "A B", "a:b", "..", "", "\u{fc}\u{4e2d}"])
    {
        s.named.key.model = model.to_owned();
    }
    let paths: Vec<String> = models::pages(&report).into_iter().map(|m| m.path).collect();
    let want = ["a-b", "A-B-2", "a-b-3", "model", "model-2", "\u{fc}\u{4e2d}"];
    assert_eq!(paths, want.map(|name| format!("models/{name}.md")));
}

#[test]
fn the_file_to_mail_shows_names_as_text() {
    let name = "<script>alert(1)</script> \"'& --> ]]>";
    let mut report = report_of(name);
    report.units[0].serial = "</script><b>".to_owned();
    let all = pages(&report);
    let chart = "<svg role=\"img\"></svg>".to_owned();
    let charts = HashMap::from([("charts/m1-ac-1500-months.png".to_owned(), chart.clone())]);
    let page = html::page(&report, &all, &charts);
    assert_eq!(page.matches("<script").count(), 2, "its own two, and no other");
    assert_eq!(page.matches("</script").count(), 2);
    assert!(page.contains("&lt;script&gt;alert(1)&lt;"), "the name is shown");
    assert!(!page.contains("<b>") && page.contains("\\u003c/script>\\u003cb>"));
    assert!(page.contains(&chart), "a chart stands inside");
    assert_eq!(page.matches("<img").count(), 0, "and none beside it");
    assert_eq!(page, html::page(&report, &all, &charts), "same report, same bytes");
}

/// Of so many units that not all stand in the file: said where no search takes it away.
#[test]
fn the_file_to_mail_says_that_it_lists_only_the_first_units() {
    let mut report = report_of("M1");
    let page = html::page(&report, &pages(&report), &HashMap::new());
    assert!(!page.contains("lines of units-to-check.csv, which holds"));
    report.units = vec![report.units[0].clone(); 20_001];
    let page = html::page(&report, &pages(&report), &HashMap::new());
    let cut =
        "<p class=\"quiet\">The first 20000 lines of units-to-check.csv, which holds 20001.</p>";
    assert!(page.contains(cut), "not in the place that the search writes to");
}

#[test]
fn two_hundred_models_can_be_mailed() {
    let mut report = plant(200);
    let mut charts = HashMap::new();
    for (n, s) in report.series.iter_mut().enumerate() {
        s.charts.clear();
        for chart in 0..5 {
            let path = format!("charts/m{n:03}-{chart}.png");
            s.charts.push((path.clone(), "How did it move?".to_owned()));
            // As large as that of a year of days.
            let points = "M800 500h0".repeat(1_000);
            charts.insert(path, format!("<svg><path d=\"{points}\"/></svg>"));
        }
    }
    let page = html::page(&report, &pages(&report), &charts);
    assert!(page.len() < 10_000_000, "{} bytes", page.len());
    // What has no room says where it lies; what needs attention most has room.
    assert!(page.matches("<svg>").count() > 400);
    assert!(page.contains("(beside this file: charts/m199-4.png)"));
}
