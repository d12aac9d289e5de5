//! Changes of the share of failures: the paragraph first, then causes and parts as tables, then charts.

use std::fmt::Write;

use super::super::format::{address, name, text};
use super::{cautions, first_cautions, header, not_read, row, title};
use crate::analysis::jump::{Explained, Named, Parts};
use crate::day::date_of;
use crate::review::jump_study::JumpPage;
use crate::review::{JumpChart, Review};
use crate::verdict::incident::Evidence;
use crate::verdict::jump::JudgedJump;
use crate::words::numbers::{
    NONE, counted, digits, grouped, p_value, share_pct, whole, with_interval,
};
use crate::words::time::date;

/// The section of the review; nothing where no change was found.
pub(super) fn section(page: &mut String, report: &Review) {
    let Some(jumps) = report.jumps.as_ref() else {
        return;
    };
    line!(page, "## Jumps in failures\n");
    if jumps.is_empty() {
        line!(page, "No series, station or outcome changed its share of failures beyond chance.\n");
        return;
    }
    found(page, jumps, &report.jump_charts);
}

/// Those that matter in full, the others as a list.
fn found(page: &mut String, jumps: &[JudgedJump], charts: &[JumpChart]) {
    let mut told: Vec<(usize, &JudgedJump)> =
        jumps.iter().enumerate().filter(|(_, j)| j.is_told()).collect();
    told.sort_by_key(|(_, j)| (!j.flagged, std::cmp::Reverse(j.found.date.day)));
    for (n, jump) in told {
        line!(page, "<a id=\"{}\"></a>\n", Evidence::Jump(n).anchor());
        one(page, jump);
        for chart in charts.iter().filter(|c| c.jump == n) {
            line!(page, "![{}]({})\n", text(&chart.question), address(&chart.path));
        }
    }
    let small: Vec<(usize, &JudgedJump)> =
        jumps.iter().enumerate().filter(|(_, j)| !j.is_told()).collect();
    if !small.is_empty() {
        line!(page, "Certain, but small:\n");
        for (n, jump) in small {
            line!(
                page,
                "- <a id=\"{}\"></a>{}",
                Evidence::Jump(n).anchor(),
                text(&jump.paragraph())
            );
        }
        line!(page);
    }
}

fn one(page: &mut String, jump: &JudgedJump) {
    let found = &jump.found;
    let flagged = if jump.flagged { " (flagged)" } else { "" };
    line!(page, "### {}, {}{flagged}\n", name(&found.place.title), date(date_of(found.date.day)));
    line!(page, "{}\n", text(&jump.paragraph()));
    line!(page, "**Next:** {}\n", text(&jump.next_step.to_string()));
    causes(page, &found.explained);
    if let Some(split) = &found.parts {
        parts(page, split);
    }
    let how = if found.given {
        format!("The date was given; {} for a change on that day,", p_value(found.p_value))
    } else {
        format!(
            "{} after paying for the scan over days and for shares that vary from day to day;",
            p_value(found.p_value)
        )
    };
    line!(
        page,
        "Share before {}, since {}. {how} dispersion of days {}.\n",
        with_interval(&found.before.share, share_pct),
        with_interval(&found.after.share, share_pct),
        digits(found.phi)
    );
}

fn causes(page: &mut String, found: &Explained) {
    if found.causes.is_empty() {
        return;
    }
    header(
        page,
        &[
            "cause",
            "units",
            "failures",
            "expected",
            "how many times as often as before",
            "how many times as likely as others of the same day",
            "share of the failures beyond those expected",
        ],
    );
    for c in &found.causes {
        let same = if c.same_units.is_empty() {
            String::new()
        } else {
            let names: Vec<String> = c.same_units.iter().map(Named::to_string).collect();
            format!(" (not to be told from {})", text(&names.join(", ")))
        };
        row(
            page,
            &[
                &format!("{} {}{same}", text(&c.what.factor()), name(&c.what.level())),
                &grouped(whole(c.units)),
                &grouped(whole(c.failures)),
                &digits(c.expected),
                &c.ratio.as_ref().map_or_else(
                    || {
                        let bound = c.ratio_at_least;
                        bound.map_or(NONE.to_owned(), |b| format!("at least {}", digits(b.value)))
                    },
                    |r| with_interval(r, digits),
                ),
                &c.odds_within_days.as_ref().map_or_else(
                    || {
                        if c.others_failed == Some(0) {
                            "no other unit failed".to_owned()
                        } else {
                            NONE.to_owned()
                        }
                    },
                    |r| with_interval(r, digits),
                ),
                &share_pct(c.share_of_excess.min(1.0)),
            ],
        );
    }
    if found.unexplained_share > 0.0 {
        row(page, &["not explained", "", "", "", "", "", &share_pct(found.unexplained_share)]);
    }
    line!(page);
}

fn parts(page: &mut String, p: &Parts) {
    header(page, &["part of the change", "percentage points"]);
    let mix = p
        .mix_of
        .as_ref()
        .map_or_else(|| "mix of models or stations".to_owned(), |f| format!("mix of {}", text(f)));
    let points = |x: f64| {
        let text = format!("{:.2}", 100.0 * x);
        if text == "-0.00" { "0.00".to_owned() } else { text }
    };
    for (words, part) in [
        (mix.as_str(), &p.mix),
        ("another limit", &p.limit),
        ("charging current while the voltage rose", &p.charging),
        ("readings moved as a whole", &p.shift),
        ("strays over the limit", &p.strays),
        ("breakdowns", &p.breakdown),
        ("other", &p.other),
        ("**together**", &p.rise),
    ] {
        let nothing = part.value == 0.0 && part.low == 0.0 && part.high == 0.0;
        if nothing && words.starts_with("charging") {
            continue;
        }
        let shown = if nothing { "0".to_owned() } else { with_interval(part, points) };
        row(page, &[words, &shown]);
    }
    line!(page);
}

/// The page of the command `jump`, ended by a line break.
#[must_use]
pub fn page(report: &JumpPage) -> String {
    let mut page = String::new();
    let about = report.model.as_ref().map_or_else(
        || name(&report.name),
        |m| format!("{}, model {}", name(&report.name), name(m)),
    );
    let question = report.since.map_or_else(
        || "did failures jump, and why?".to_owned(),
        |d| format!("what changed on {}?", date(d)),
    );
    title(&mut page, &format!("{about}: {question}"), &report.first);
    line!(
        page,
        "{} looked at; files from {} to {}; {} read.\n",
        counted(report.series.len() as u64, "series"),
        date(report.from),
        date(report.to),
        counted(report.rows.read, "row")
    );
    not_read(&mut page, &report.made.failures);
    first_cautions(&mut page);
    line!(page, "## The answer\n");
    if report.jumps.is_empty() {
        line!(page, "No series, station or outcome changed its share of failures beyond chance.\n");
    } else {
        found(&mut page, &report.jumps, &report.jump_charts);
    }
    habits(&mut page, report);
    method(&mut page, report);
    line!(page, "## Notes\n");
    if report.notes.is_empty() {
        line!(page, "None.");
    }
    for note in &report.notes {
        line!(page, "- {}", text(note));
    }
    line!(page);
    cautions(&mut page);
    page
}

fn habits(page: &mut String, report: &JumpPage) {
    if report.habits.is_empty() {
        return;
    }
    line!(page, "## Tested again until it passes\n");
    line!(
        page,
        "This is no jump: first tests alone are counted here. But it hides failures from whoever counts last tests.\n"
    );
    for habit in &report.habits {
        line!(page, "- {}", text(habit));
    }
    line!(page);
}

fn method(page: &mut String, report: &JumpPage) {
    line!(page, "## How it was computed\n");
    line!(page, "First tests of each unit are counted by day.\n");
    super::method::of_jumps(page);
    line!(page);
    line!(page, "Settings: {}.\n", text(&report.settings.join("; ")));
    line!(page, "Series looked at:\n");
    for s in &report.series {
        line!(page, "- {}", name(s));
    }
    line!(page, "\nleakdrift {}, seed {}; inputs:\n", text(&report.made.version), report.made.seed);
    super::inputs::table(page, &report.made.inputs);
}
