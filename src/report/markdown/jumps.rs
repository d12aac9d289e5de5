//! Changes of the share of failures: the paragraph first, then causes and parts as tables, then charts.

use std::fmt::Write;

use super::super::format::{
    NONE, address, counted, date, digits, grouped, name, p_value, percent, text, with_interval,
};
use super::super::jump_model::{JumpPage, JumpReport};
use super::super::model::Report;
use super::{first_cautions, header, not_read, row};
use crate::verdict::cautions::{CAUTIONS, WHO_DECIDES};

/// The section of the review; nothing where no change was found.
pub(super) fn section(page: &mut String, report: &Report) {
    let Some(jumps) = report.jumps.as_ref() else {
        return;
    };
    line!(page, "## Jumps in failures\n");
    if jumps.is_empty() {
        line!(page, "No series, station or outcome changed its share of failures beyond chance.\n");
        return;
    }
    found(page, jumps);
}

/// Those that matter in full, the others as a list.
fn found(page: &mut String, jumps: &[JumpReport]) {
    let mut told: Vec<&JumpReport> = jumps.iter().filter(|j| j.material || j.date_given).collect();
    told.sort_by_key(|j| (!j.flagged, std::cmp::Reverse(j.date)));
    for jump in told {
        one(page, jump);
    }
    let small: Vec<&JumpReport> = jumps.iter().filter(|j| !j.material && !j.date_given).collect();
    if !small.is_empty() {
        line!(page, "Certain, but small:\n");
        for jump in small {
            line!(page, "- {}", text(&jump.sentences.join(" ")));
        }
        line!(page);
    }
}

fn one(page: &mut String, jump: &JumpReport) {
    let flagged = if jump.flagged { " (flagged)" } else { "" };
    line!(page, "### {}, {}{flagged}\n", name(&jump.scope), date(jump.date));
    line!(page, "{}\n", text(&jump.sentences.join(" ")));
    line!(page, "**Next:** {}\n", text(&jump.next_step));
    causes(page, jump);
    parts(page, jump);
    let how = if jump.date_given {
        format!(
            "The date was given; {} for a change on that day, dispersion of days {}.",
            p_value(jump.p_value),
            digits(jump.dispersion)
        )
    } else {
        format!(
            "{} after paying for the scan over days and for shares that vary from day to day; dispersion of days {}.",
            p_value(jump.p_value),
            digits(jump.dispersion)
        )
    };
    line!(
        page,
        "Share before {}, since {}. {how}\n",
        with_interval(&jump.before, percent),
        with_interval(&jump.after, percent)
    );
    for (path, question) in &jump.charts {
        line!(page, "![{}]({})\n", text(question), address(path));
    }
}

fn causes(page: &mut String, jump: &JumpReport) {
    if jump.causes.is_empty() {
        return;
    }
    header(
        page,
        &[
            "cause",
            "units",
            "failures",
            "expected",
            "times the share before",
            "odds against units of the same day",
            "share of the excess",
        ],
    );
    for c in &jump.causes {
        let same = if c.same_units.is_empty() {
            String::new()
        } else {
            format!(" (not to be told from {})", text(&c.same_units.join(", ")))
        };
        row(
            page,
            &[
                &format!("{} {}{same}", text(&c.factor), name(&c.level)),
                &grouped(c.units),
                &grouped(c.failures),
                &digits(c.expected),
                &c.ratio.as_ref().map_or_else(|| NONE.to_owned(), |r| with_interval(r, digits)),
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
                &percent(c.share_of_excess.min(1.0)),
            ],
        );
    }
    if jump.unexplained_share > 0.0 {
        row(page, &["not explained", "", "", "", "", "", &percent(jump.unexplained_share)]);
    }
    line!(page);
}

fn parts(page: &mut String, jump: &JumpReport) {
    let Some(p) = &jump.parts else { return };
    header(page, &["part of the change", "points of per cent"]);
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
        ("readings moved as a whole", &p.shift),
        ("a separate group over the limit", &p.strays),
        ("breakdowns", &p.breakdown),
        ("other", &p.other),
        ("**together**", &p.rise),
    ] {
        let nothing = part.value == 0.0 && part.low == 0.0 && part.high == 0.0;
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
    line!(page, "# {about}: {question}\n");
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
        found(&mut page, &report.jumps);
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
    line!(page, "\n## Cautions\n");
    for caution in CAUTIONS.iter().chain([&WHO_DECIDES]) {
        line!(page, "- {caution}");
    }
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
    for input in &report.made.inputs {
        line!(
            page,
            "- {} ({} bytes, SHA-256 {})",
            text(&input.path),
            grouped(input.bytes),
            text(&input.sha256)
        );
    }
    line!(page);
}
