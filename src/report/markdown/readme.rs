//! `README.md` in a report's folder: what each file and column is, the words used, the cautions.
//!
//! For whoever gets the folder and nothing else. It says the same of every report of its kind, so that it can be
//! read once; columns are told where they are written ([`super::super::tables`]).

use std::fmt::Write;

use super::super::tables::{Column, MODELS, ROWS_NOT_USED, UNITS_AFFECTED, UNITS_TO_CHECK};
use super::{cautions, glossary, header, row};

/// Its name in the folder.
pub const FILE: &str = "README.md";

/// One file of a folder.
struct Listed {
    file: &'static str,
    what: &'static str,
    columns: &'static [Column],
}

const fn listed(file: &'static str, what: &'static str) -> Listed {
    Listed { file, what, columns: &[] }
}

const CHARTS: Listed = listed("charts/*.png", "the charts of summary.md, for slides");
const RESULTS: Listed = listed(
    "results.json",
    "everything for machines: currents in mA, shares as fractions of 1 (as parts per million where the key ends in `ppm`), days as 2026-10-30; an estimate has value, low, high and level, an expected share also `below` (where its units cannot tell the value, which is null then); a question without an answer is null and its reason is in `notes`",
);
const ORIGIN: Listed = listed(
    "origin.json",
    "what the report was made from: a run about something else does not replace it",
);
const TO_CHECK: Listed = Listed {
    file: "units-to-check.csv",
    what: "every unit that somebody must look at, a line for each reason",
    columns: &UNITS_TO_CHECK,
};

/// What a folder holds, by what was asked.
pub struct Folder {
    title: &'static str,
    files: &'static [Listed],
}

/// The folder of a review.
pub const REVIEW: Folder = Folder {
    title: "A review of test results",
    files: &[
        listed(
            "summary.md",
            "the report for people, in one minute: what needs action, what changed, where to look",
        ),
        listed(
            "report.html",
            "all of it in one file to mail: charts inside, series to sort, units to search",
        ),
        listed(
            "incidents.md",
            "everything that one cause did is one incident: all of them, with their parts",
        ),
        listed("all-series.md", "every series in one table"),
        listed("models/*.md", "a page for each model: verdict, numbers, stations, months, charts"),
        listed(
            "testers.md",
            "stations, check loads, calibrations, settings, what is too good to be true",
        ),
        listed(
            "plants.md",
            "where files name several plants: the same model at each of them, side by side",
        ),
        listed("jumps.md", "each change of the share of failures, with what explains it"),
        listed("month.md", "what changed this month, and since the last report"),
        listed("record.md", "gaps, units to check, rows not used, what ceilings rest on, notes"),
        listed(
            "method.md",
            "how everything was computed: settings, methods with sources, words, inputs",
        ),
        listed(
            "charts/*.png",
            "charts, for slides: of the plant, and of each series that needs attention",
        ),
        RESULTS,
        Listed { file: "models.csv", what: "every series in one line, to sort", columns: &MODELS },
        TO_CHECK,
        Listed {
            file: "rows-not-used.csv",
            what: "every row that was set aside or could not be read",
            columns: &ROWS_NOT_USED,
        },
        ORIGIN,
    ],
};

/// The folder of a limit study.
pub const LIMITS: Folder = Folder {
    title: "A study of one model's limits",
    files: &[
        listed("summary.md", "what each limit would do, and which is recommended"),
        listed(
            "change-note*.md",
            "where a change is recommended or asked for: the page to check, approve and sign",
        ),
        CHARTS,
        RESULTS,
        Listed {
            file: "units-affected.csv",
            what: "every unit that another limit would have treated otherwise, where they are few",
            columns: &UNITS_AFFECTED,
        },
        ORIGIN,
    ],
};

/// The folder of an investigation of jumps.
pub const JUMPS: Folder = Folder {
    title: "An investigation of a jump in failures",
    files: &[
        listed("summary.md", "since when, from what to what, and what explains how much of it"),
        CHARTS,
        RESULTS,
        TO_CHECK,
        ORIGIN,
    ],
};

/// The file of a folder.
#[must_use]
pub fn file(folder: &Folder) -> (String, Vec<u8>) {
    (FILE.to_owned(), page(folder).into_bytes())
}

/// The page, ended by a line break.
fn page(folder: &Folder) -> String {
    let mut page = String::new();
    line!(page, "# {}\n", folder.title);
    line!(page, "Made by leakdrift. Begin with [summary.md](summary.md).\n");
    line!(page, "## Files\n");
    header(&mut page, &["file", "what it is"]);
    for f in folder.files {
        row(&mut page, &[&format!("`{}`", f.file), f.what]);
    }
    for f in folder.files.iter().filter(|f| !f.columns.is_empty()) {
        line!(page, "\n### Columns of {}\n", f.file);
        header(&mut page, &["column", "what it is"]);
        for c in f.columns {
            row(&mut page, &[&format!("`{}`", c.name), c.what]);
        }
    }
    line!(
        page,
        "\nLists are UTF-8 with commas and one header row; a cell that a spreadsheet would take for a formula begins with `'`.\n"
    );
    line!(page, "## Words\n");
    glossary::table(&mut page);
    cautions(&mut page);
    page
}
