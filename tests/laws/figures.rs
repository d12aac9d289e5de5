//! One number, one definition: every figure that a report tells more than once is the same wherever it stands, in
//! tables, sentences, lists, the result file and what charts are filled from.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::PathBuf;

use leakdrift::analysis::jump::Scope;
use leakdrift::analysis::jump::cells::Counted;
use leakdrift::config::Config;
use leakdrift::day::date_of;
use leakdrift::progress::nobody;
use leakdrift::report::Rendered;
use leakdrift::report::chart::one_series::OneSeries;
use leakdrift::report::chart::{distribution, failures, ladder, months};
use leakdrift::words::numbers::whole;
use leakdrift::{Request, review};
use serde_json::Value;

use crate::support::run::{committed, csv_rows, folder, put};

/// One report with all that it tells.
struct Told {
    rendered: Rendered,
    page: String,
    json: Value,
}

impl Told {
    fn new(paths: Vec<PathBuf>, config: &Config) -> Self {
        let request = Request { paths, name: "plant".to_owned(), ..Request::default() };
        let rendered = review(&request, config, &nobody).unwrap();
        let mut told = Self { rendered, page: String::new(), json: Value::Null };
        let is_page = |name: &str| name.ends_with(".md") && name != "README.md";
        let names = told.rendered.files.iter().map(|(name, _)| name.clone());
        let mut names: Vec<String> = names.filter(|name| is_page(name)).collect();
        names.sort_by_key(|name| name != "summary.md");
        told.page = names.iter().map(|name| told.file(name)).collect();
        told.json = serde_json::from_str(&told.file("results.json")).unwrap();
        told
    }

    fn file(&self, name: &str) -> String {
        let (_, bytes) = self.rendered.files.iter().find(|(n, _)| n == name).expect(name);
        // Thin spaces group the digits of a number.
        String::from_utf8(bytes.clone()).unwrap().replace('\u{202f}', "")
    }

    fn series(&self) -> &Vec<Value> {
        self.json["series"].as_array().unwrap()
    }

    /// The section of a series.
    fn section(&self, of: &Value) -> &str {
        let id = of["id"].as_str().unwrap();
        let from = self.page.find(&format!("<a id=\"series-{id}\">")).expect(id);
        let rest = &self.page[from + 1..];
        &rest[..rest.find("<a id=").or_else(|| rest.find("\n## ")).unwrap_or(rest.len())]
    }
}

/// The cells of the first table row that begins with these words.
fn cells<'a>(text: &'a str, begins: &str) -> Option<Vec<&'a str>> {
    let line = text.lines().find(|l| l.starts_with(&format!("| {begins}")))?;
    Some(line.trim_matches('|').split(" | ").map(str::trim).collect())
}

/// The whole numbers of a text, in order.
fn numbers(text: &str) -> Vec<u64> {
    text.split(|c: char| !c.is_ascii_digit()).filter_map(|t| t.parse().ok()).collect()
}

fn count(v: &Value) -> u64 {
    v.as_u64().unwrap_or_else(|| panic!("no count: {v}"))
}

/// Units and failures of one series, everywhere that they stand.
fn units_agree(told: &Told, s: &Value) {
    let (title, section, o) = (s["title"].as_str().unwrap(), told.section(s), &s["outcomes"]);
    let [pass, over, under, broken, unknown, failed, stopped] = [
        "pass",
        "over_limit",
        "under_limit",
        "breakdown",
        "failed_class_not_known",
        "failed",
        "not_completed",
    ]
    .map(|k| count(&o[k]));
    assert_eq!(failed, over + under + broken + unknown, "{title}: what failed");
    assert_eq!(count(&s["units"]), pass + failed, "{title}: units are completed first tests");
    assert_eq!(count(&s["retests"]["failed"]), failed, "{title}: what failed first");
    let line = section.lines().find(|l| l.starts_with("Units: ")).expect("how many");
    let said = numbers(line);
    let month = count(&s["units_this_month"]);
    assert_eq!(said[..2], [count(&s["units"]), month], "{title}: {line}");
    assert!(line.contains(&format!("; {pass} passed, {failed} failed")), "{title}: {line}");
    let tail = format!(" Not among the units: {stopped} not completed");
    assert_eq!(line.contains(&tail), stopped > 0, "{title}: {line}");

    // Month by month, and the month under review.
    let rows = s["months"].as_array().unwrap();
    assert_eq!(
        rows.iter().map(|m| count(&m["units"])).sum::<u64>(),
        count(&s["units"]),
        "{title}: months"
    );
    for m in rows {
        let name = m["month"].as_str().unwrap();
        let row = cells(section, &format!("{name} |")).unwrap();
        assert_eq!(numbers(row[1]), [count(&m["units"])], "{title}: {name}");
        let at_least = row[3].starts_with("at least ");
        assert_eq!(at_least, m["x95_at_least"].as_bool().unwrap(), "{title}: {name}");
    }
    let m = &s["month"];
    if !m.is_null() {
        assert_eq!(count(&m["units"]), month, "{title}: the month");
        let changed = &told.page[told.page.find("## What changed this month").unwrap()..];
        let row = cells(changed, &format!("[{title}]")).unwrap();
        let [failed, units, before, units_before] =
            ["failed", "units", "failed_before", "units_before"].map(|k| count(&m[k]));
        let [now, was] =
            [row[4].split("; before ").next().unwrap(), row[4].split("; before ").last().unwrap()];
        assert!(now.starts_with(&format!("{failed} of {units}: ")), "{title}: {now}");
        assert!(
            units_before == 0 || was.starts_with(&format!("{before} of {units_before}: ")),
            "{title}: {was}"
        );
        let sentence = m["sentence"].as_str().unwrap();
        assert!(sentence.contains(&format!("{failed} of {units} (")), "{title}: {sentence}");
        // The same share with the same digits in the table and in the sentence.
        let share = now.split(": ").last().unwrap().split(" (").next().unwrap();
        assert!(
            sentence.contains(&format!("{failed} of {units} ({share})")),
            "{title}: {share}, {sentence}"
        );
    }
}

/// The period judged: units, those over the limit, bounds and shares.
fn the_period_agrees(told: &Told, s: &Value) {
    let (title, section, seen) = (s["title"].as_str().unwrap(), told.section(s), &s["seen"]);
    let judged = count(&s["verdict"]["judged"]["units"]);
    assert_eq!(numbers(cells(section, "judged").unwrap()[1])[0], judged, "{title}: judged");
    let (units, apart) = (count(&seen["units"]), count(&seen["counted_apart"]));
    let row = numbers(cells(section, "tested in that time").unwrap()[1]);
    assert_eq!(row.first(), Some(&units), "{title}: tested");
    assert_eq!(row.get(1).copied().unwrap_or(0), apart, "{title}: counted apart");
    assert_eq!(seen["without_them"].is_null(), apart == 0, "{title}");
    let of = |what: &str, of: &Value, ppm: &Value| {
        let (over, under_this) = (count(&of["over_limit"]), count(&of["under_this_limit"]));
        let row = cells(section, what).unwrap_or_else(|| panic!("{title}: {what}"));
        assert_eq!(numbers(row[0]), [over, under_this], "{title}: {what}");
        let share = 1e6 * over as f64 / under_this as f64;
        let value = ppm["value"].as_f64().unwrap();
        assert!((value - share).abs() < 1e-6 * (1.0 + share), "{title}: {value} is not {share}");
    };
    if count(&seen["under_this_limit"]) > 0 {
        of("units seen over the limit", seen, &s["observed_reject_ppm"]);
        assert_eq!(s["observed_reject_ppm"], seen["reject_ppm"], "{title}");
    }
    let rest = &seen["without_them"];
    if !rest.is_null() {
        of("the same without", rest, &rest["reject_ppm"]);
        assert!(count(&rest["under_this_limit"]) + apart <= units, "{title}");
    }
    let low = &s["low_side"]["observed_units"];
    assert!(low.is_null() || count(low) == units, "{title}: {low} units against the low limit");

    // What is expected: the same in the table of all series as on the series' own page.
    let overview = &told.page[told.page.find("## All series").unwrap()..];
    let row = cells(overview, &format!("[{title}]")).unwrap();
    if let Some(own) = cells(section, "healthy units expected over the limit |") {
        let whole =
            if own[2] == "–" { own[1].to_owned() } else { format!("{} ({})", own[1], own[2]) };
        assert_eq!(row[4], whole, "{title}: expected");
    }
    assert_eq!(
        row[3],
        cells(section, "workable band for the high limit").unwrap()[1],
        "{title}: band"
    );
    assert!(section.contains(&format!("**{}.**", row[1])), "{title}: verdict {}", row[1]);

    // One-sided bounds are called so, and the one that sets the band's end is the one of the table.
    let bounds = &s["distribution"]["tail"]["bounds"];
    if let Some(upper) = bounds["upper_ma"].as_f64() {
        let row = cells(section, "its one-sided bounds").unwrap();
        let printed = row[2].split("upper ").last().unwrap();
        let number: f64 = printed.split(' ').next().unwrap().parse().unwrap();
        let factor = if printed.ends_with("µA") { 1e3 } else { 1.0 };
        assert!(
            (number - factor * upper).abs() < 0.006 * number,
            "{title}: {printed} is not {upper}"
        );
        let end = section.lines().find(|l| l.contains("upper bound, one-sided, is"));
        let rises = !s["verdict"]["rising"].is_null();
        // Where the end is that of the station which reads most, the page says so beside it.
        let of_station =
            section.contains("The band must hold at each station: its lower end is of");
        assert!(
            rises
                || of_station
                || end.is_none_or(|l| l.contains(&format!("one-sided, is {printed}"))),
            "{title}: {end:?}"
        );
        let answer = &s["distribution"]["tail"]
            [&format!("{}_ma", s["distribution"]["tail"]["in_use"].as_str().unwrap())];
        let high = answer["high"].as_f64().unwrap();
        assert!(upper <= high, "{title}: a one-sided bound lies inside the two-sided interval");
    }
}

/// One number is the typical reading of a series: that on its one scale. Where an end of the band takes that of
/// another station, the station is named beside it.
fn typical_readings_agree(told: &Told, n: usize, s: &Value) {
    let (title, section) = (s["title"].as_str().unwrap(), told.section(s));
    let Some(x50) = s["distribution"]["x50_ma"]["value"].as_f64() else { return };
    let factor = if x50 < 0.01 { 1e3 } else { 1.0 };
    let first = |text: &str| -> f64 { text.split(' ').next().unwrap().parse().unwrap() };
    let near = |printed: f64, ma: f64| (printed - factor * ma).abs() < 0.006 * factor * ma;
    let row = cells(section, "typical reading:").unwrap();
    assert!(near(first(row[1]), x50), "{title}: {}", row[1]);
    let ladder = ladder::from(&told.rendered.review, &[n]);
    let [rung] = &ladder.rungs[..] else { panic!("{title}: {ladder:?}") };
    assert!((rung.typical - x50).abs() <= 1e-12 * x50, "{title}: {} is not {x50}", rung.typical);
    let shown = distribution::from(&OneSeries::new(&told.rendered.review, n));
    assert!(shown.typical.is_some(), "{title}");
    let rises = !s["verdict"]["rising"].is_null();
    for (_, rest) in section
        .match_indices("the typical reading (")
        .map(|(at, found)| (at, &section[at + found.len()..]))
    {
        assert!(near(first(rest), x50), "{title}: {}", &rest[..20]);
    }
    let at = &s["verdict"]["holds_at"];
    let said = "The band must hold at each station: its lower end is of ";
    assert_eq!(!at.is_null(), section.contains(said), "{title}: {at}");
    if at.is_null() {
        return;
    }
    let (low, high) = (&at["lowest"], &at["highest"]);
    let of = |key: &str| at[key].as_f64().unwrap();
    let between = of("lowest_typical_ma") * (1.0 - 1e-9)..=of("highest_typical_ma") * (1.0 + 1e-9);
    assert!(rises || between.contains(&x50), "{title}: {at}");
    // The lower end says where; so does each rule of thumb.
    let end = section.lines().find(|l| l.contains("upper bound, one-sided, is"));
    let wanted = format!(" at {} with", high.as_str().unwrap());
    assert!(end.is_none_or(|l| l.contains(&wanted)), "{title}: {end:?}");
    let reads = if rises { "read" } else { "reads" };
    let thumb = format!("what a typical unit {reads} at {}", low.as_str().unwrap());
    for line in
        section.lines().filter(|l| l.contains(" times as far from ") || l.starts_with("- 2 times "))
    {
        assert!(line.contains(&thumb), "{title}: {line}");
    }
}

/// What charts are filled from is what the result file tells.
fn charts_agree(told: &Told, n: usize, s: &Value) {
    let title = s["title"].as_str().unwrap();
    let one = OneSeries::new(&told.rendered.review, n);
    let shown = distribution::from(&one);
    let drawn: u64 =
        shown.tally.iter().map(|l| l.count).chain(shown.trips.iter().map(|t| t.count)).sum();
    assert_eq!(
        drawn,
        count(&s["verdict"]["judged"]["units"]),
        "{title}: units of the distribution"
    );
    let of = |ma: &Value| ma.as_f64().map(|ma| one.unit.of_ma(ma));
    let same = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-12 * a.abs(),
        _ => a == b,
    };
    assert!(same(shown.high_limit, of(&s["limit"]["high_ma"])), "{title}");
    assert!(same(shown.typical, of(&s["distribution"]["x50_ma"]["value"])), "{title}");
    assert!(same(shown.band.map(|b| b.0), of(&s["verdict"]["band_low_ma"])), "{title}");
    let apart = count(&s["seen"]["counted_apart"]);
    let left_out = shown.notes.iter().find(|l| l.starts_with("Left out: "));
    assert_eq!(
        left_out.map_or(0, |l| numbers(&l.replace('\u{202f}', ""))[0]),
        apart,
        "{title}: {left_out:?}"
    );
    let by_month: BTreeMap<String, u64> = months::from(&one)
        .months
        .iter()
        .map(|m| (date_of(m.first_day).format("%Y-%m").to_string(), m.units))
        .collect();
    // Months with too few units are not drawn.
    for m in s["months"].as_array().unwrap().iter().filter(|m| !m["x50_ma"].is_null()) {
        assert_eq!(by_month[m["month"].as_str().unwrap()], count(&m["units"]), "{title}: {m}");
    }
    let failures = failures::from(&one, one.largest_jump);
    let units: u64 = failures.stretches.iter().map(|f| f.units).sum();
    assert_eq!(units, count(&s["units"]), "{title}: units of the failures");
    let failed: f64 = failures.stretches.iter().map(|f| f.failures.of(Counted::Failed)).sum();
    assert_eq!(whole(failed), count(&s["outcomes"]["failed"]), "{title}: failures drawn");
}

/// Totals of the whole plant, in page, result file and lists.
fn totals_agree(told: &Told) {
    let sum = |of: &dyn Fn(&Value) -> u64| -> u64 { told.series().iter().map(of).sum() };
    let head = told.page.lines().find(|l| l.contains("completed first tests")).expect("the head");
    let units = sum(&|s| count(&s["units"]));
    assert!(head.contains(&format!(": {units} completed first tests")), "{head}");
    let stopped = sum(&|s| count(&s["outcomes"]["not_completed"]));
    assert_eq!(head.contains(&format!("({stopped} not completed)")), stopped > 0, "{head}");
    let listed = csv_rows(&told.file("units-to-check.csv"));
    let section = &told.page[told.page.find("## Units to check").unwrap()..];
    for (key, n) in told.json["units_to_check"].as_object().unwrap() {
        let words = key.replace('_', " ");
        let row = cells(section, &format!("{words} |")).unwrap_or_else(|| panic!("{words}"));
        assert_eq!(numbers(row[1]), [count(n)], "{key}");
        let lines = listed.iter().filter(|l| l["reason"] == row[0]).count() as u64;
        assert_eq!(lines, count(n), "{key}: lines of the list");
    }
    let not_used = csv_rows(&told.file("rows-not-used.csv"));
    let rows = &told.json["rows"];
    let aside = |v: &Value| v.as_object().unwrap().values().map(count).sum::<u64>();
    assert_eq!(not_used.len() as u64, aside(&rows["set_aside"]) + count(&rows["unreadable"]));
}

fn hold(told: &Told) {
    totals_agree(told);
    for (n, s) in told.series().iter().enumerate() {
        units_agree(told, s);
        the_period_agrees(told, s);
        typical_readings_agree(told, n, s);
        charts_agree(told, n, s);
    }
}

/// Two models on 60 days: failures of every kind, tests that were stopped and made again, a lot whose failures stand
/// out, and a model that trips too often for its 95 % point to be known.
fn plant() -> String {
    let mut text = "tested_at,model,serial,station,lot,applied_v,frequency_hz,reading_ma,low_limit_ma,high_limit_ma,outcome\n".to_owned();
    let first: chrono::NaiveDate = "2026-08-03".parse().unwrap();
    let mut made = 0_u64;
    for day in 0..60_u64 {
        let date = first + chrono::Days::new(day);
        for k in 0..40_u64 {
            made += 1;
            // Spread evenly over the sum of two uniform parts: a body without a long tail.
            let (a, b) = (made * 7919 % 997, made * 104_729 % 991);
            let z = (a as f64 / 997.0 + b as f64 / 991.0 - 1.0) * 2.4;
            let (model, typical, sd, low, high) = if k % 2 == 0 {
                ("M1", 1.0, 0.03, "0.3", 1.25)
            } else {
                ("M2", 0.9, 0.06, "0.3", 0.96)
            };
            let reading = typical + sd * z;
            let bad_lot = model == "M1" && (40..45).contains(&day);
            let lot = if bad_lot { "L9".to_owned() } else { format!("L{}", day / 8) };
            let clock = format!("{date} {:02}:{:02}", 7 + k / 6, k % 6 * 9);
            let mut line = |second: u64, reading: f64, outcome: &str| {
                let _ = writeln!(
                    text,
                    "{clock}:{second:02},{model},{model}-{made:05},S{},{lot},1500,50,{reading:.3},{low},{high},{outcome}",
                    made % 2
                );
            };
            if made.is_multiple_of(97) {
                line(0, 0.2, "not completed");
                line(30, reading.min(high - 0.01), "pass");
            } else if made.is_multiple_of(151) {
                line(0, 2.0, "breakdown");
            } else if made.is_multiple_of(211) {
                line(0, 0.05, "under limit");
            } else if (bad_lot && k % 8 == 0) || reading > high {
                line(0, high, "over limit");
            } else {
                line(0, reading, "pass");
            }
        }
    }
    text
}

/// Both sides of a jump count units as everything else does: serials by their first test, where that was completed.
fn jumps_agree(told: &Told, text: &str) {
    let mut first: BTreeMap<&str, (&str, &str, &str)> = BTreeMap::new();
    for line in text.lines().skip(1) {
        let cell: Vec<&str> = line.split(',').collect();
        let (day, model, outcome) = (&cell[0][..10], cell[1], *cell.last().unwrap());
        first.entry(cell[2]).or_insert((day, model, outcome));
    }
    let jumps = told.rendered.review.jumps.as_ref().unwrap();
    let of_series = jumps.iter().filter(|j| matches!(j.found.scope, Scope::Series(_)));
    let mut held = 0;
    for jump in of_series.filter(|j| j.found.counted == Counted::Failed) {
        let model = &jump.found.place.title[..2];
        for side in [&jump.found.before, &jump.found.after] {
            let [from, to] = [side.window.from, side.window.to].map(|d| date_of(d).to_string());
            let inside = first.values().filter(|(day, of, outcome)| {
                *of == model
                    && (from.as_str()..=to.as_str()).contains(day)
                    && *outcome != "not completed"
            });
            let (units, failed) =
                inside.fold((0, 0), |(n, f), t| (n + 1, f + u64::from(t.2 != "pass")));
            assert_eq!(whole(side.units), units, "{model} {from} to {to}");
            assert_eq!(whole(side.failures.of(Counted::Failed)), failed, "{model} {from} to {to}");
            let said = format!("({failed} of {units} units)");
            assert!(jump.paragraph().contains(&said), "{said}: {}", jump.paragraph());
            held += 1;
        }
    }
    assert!(held >= 2, "the lot's failures are a jump");
}

/// A plant made here, so that the law does not rest on one report: every case of it is met.
#[test]
fn every_figure_told_twice_is_told_the_same() {
    let dir = folder();
    let text = plant();
    let told = Told::new(vec![put(dir.path(), "t.csv", text.clone())], &Config::default());
    hold(&told);
    jumps_agree(&told, &text);
    let s = told.series();
    assert_eq!(s.len(), 2);
    assert!(s.iter().all(|s| count(&s["outcomes"]["not_completed"]) > 5), "some were stopped");
    assert!(s.iter().any(|s| count(&s["seen"]["counted_apart"]) > 50), "a lot is counted apart");
    let unknown = |m: &Value| m["x95_at_least"] == true;
    assert!(
        s.iter().any(|s| s["months"].as_array().unwrap().iter().any(unknown)),
        "a 95 % point is not known"
    );
}

/// The table of the first page that a reader sees is a part of the report's.
#[test]
fn the_readme_shows_what_the_report_says() {
    let read =
        |path: &str| std::fs::read_to_string(committed(path)).unwrap().replace('\u{202f}', "");
    let (readme, summary) = (read("README.md"), read("reports/sample/summary.md"));
    let begin = |line: &str| -> Option<String> {
        let mut cells = line.strip_prefix("| ")?.split(" | ");
        let n: u32 = cells.next()?.parse().ok()?;
        Some(format!("| [{n}](incidents.md#")).filter(|_| cells.count() == 4)
    };
    let mut held = 0;
    for line in readme.lines() {
        let Some(begin) = begin(line) else { continue };
        let told = summary.lines().find(|l| l.starts_with(&begin)).expect(&begin);
        let figure = |c: char| !(c.is_ascii_digit() || c == '.' || c == '-');
        let figures = line.split(figure).map(|t| t.trim_matches(['.', '-']));
        for number in figures.filter(|t| t.starts_with(|c: char| c.is_ascii_digit())) {
            let mut said = told.split(figure).map(|t| t.trim_matches(['.', '-']));
            assert!(said.any(|t| t == number), "{number} of {line} is not in {told}");
            held += 1;
        }
    }
    assert!(held >= 20, "{held} figures");
}

/// The same of the demonstration factory.
#[test]
fn every_figure_of_the_sample_told_twice_is_told_the_same() {
    let exports = committed("sample-data");
    let config = Config::read(&exports.join("leakdrift.toml")).unwrap();
    let told = Told::new(vec![exports], &config);
    hold(&told);
    assert_eq!(told.series().len(), 8);
}
