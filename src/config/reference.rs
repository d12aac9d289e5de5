//! Every key of `leakdrift.toml`, with its default and meaning: what `leakdrift config` prints.
//!
//! The words stand here, the defaults come from [`Config::default`], and a test holds the list of keys
//! against what the settings really take.

use std::fmt::Write as _;

use super::{Config, Tester};

/// A key and what it means.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// Its name in its section.
    pub name: &'static str,
    /// What stands there where it has no default.
    pub example: &'static str,
    /// What it means, with its unit.
    pub meaning: &'static str,
}

/// A section, and whether its keys are fixed or the user's own words.
#[derive(Debug, Clone, Copy)]
pub struct Section {
    /// As it is headed; empty for the keys before all sections.
    pub head: &'static str,
    /// What it is for.
    pub meaning: &'static str,
    /// Its keys; examples where they are the user's own.
    pub keys: &'static [Key],
}

const fn key(name: &'static str, example: &'static str, meaning: &'static str) -> Key {
    Key { name, example, meaning }
}

/// Every section in the order of the reference.
pub const SECTIONS: [Section; 11] = [
    Section {
        head: "",
        meaning: "Before all sections.",
        keys: &[
            key("name", "\"line 3\"", "Name of the report; the first path's name where not given."),
            key(
                "factors",
                "",
                "Further columns that may explain failures, beside lot, operator, shift and fixture.",
            ),
            key("events", "\"events.csv\"", "Events file (date, what, station, model)."),
            key(
                "calibration",
                "\"calibration.csv\"",
                "Calibration register (instrument, station, done_on, due_on, error_pct).",
            ),
            key("day_starts", "", "Clock time at which a production day starts, `HH:MM`."),
            key(
                "date_order",
                "\"day-month-year\"",
                "Order of day and month, only where the files cannot decide it.",
            ),
            key("placeholder_serials", "", "Serials that name no unit, compared like serials."),
            key(
                "fault_locating_words",
                "",
                "Words in a remark that mark a fault-locating run, compared without case.",
            ),
            key("accepted_reject_share", "", "Accepted share of healthy units rejected."),
            key("confidence", "", "Confidence of every interval."),
            key("horizon_months", "", "How far ahead limits must hold, in months."),
            key("judged_months", "", "Longest period judged, in months."),
            key(
                "judged_months_season",
                "",
                "Longest period judged where the shape is `season`, in months.",
            ),
            key("judged_units", "", "Fewest units in the period judged before it is lengthened."),
            key("verdict_units", "", "Units a verdict needs."),
            key("verdict_days", "", "Production days a verdict needs."),
            key("verdict_lots", "", "Lots a verdict needs, where lots are known."),
            key("provisional_units", "", "Units from which a verdict is printed as provisional."),
            key("too_tight_rejects", "", "Healthy rejects that `too tight` needs."),
            key(
                "limit_step_ma",
                "0.05",
                "Limits are set in multiples of this, in mA; the reading step where not given.",
            ),
            key(
                "step_from_readings",
                "",
                "Readings of one station and decade from which the reading step is found.",
            ),
            key("daily_point_units", "", "Units that make a daily point."),
            key("weekly_point_units", "", "Units that make a weekly point where days are thin."),
            key("month_units", "", "Units from which a month has a row."),
            key(
                "material_room_share",
                "",
                "Share of the room that a drift must eat within the horizon to be material.",
            ),
            key("material_steps", "", "Reading steps that a material drift must move."),
            key("material_step_room_share", "", "Share of the room that makes a step material."),
            key(
                "material_step_typical_share",
                "",
                "Share of the typical reading that makes a step material.",
            ),
            key("baseline_days", "", "Production days of the baseline."),
            key("baseline_units", "", "Units of the baseline."),
            key("groups_bic_gain", "", "BIC gain from which two groups are reported."),
            key("groups_separation", "", "Standard deviations between the means of two groups."),
            key("groups_smaller_share", "", "Share of the smaller of two groups."),
            key("groups_smaller_units", "", "Units of the smaller of two groups."),
            key("strays_listed", "", "Strays listed in the summary for one series."),
            key(
                "frozen_readings",
                "",
                "Equal readings in a row at one station that make a display that stands still.",
            ),
            key(
                "frozen_chance",
                "",
                "Expected number of such runs by chance below which they are reported.",
            ),
            key(
                "fault_run_tests",
                "",
                "Tests of one unit that make an unmarked fault-locating run.",
            ),
            key("fault_run_gap_s", "", "Longest gap between tests of such a run, in seconds."),
            key("returned_after_days", "", "Days after which the same serial is a returned unit."),
            key(
                "placeholder_days",
                "",
                "Days on which a serial is seen from which it names no unit.",
            ),
            key(
                "believable_years",
                "",
                "Dates further than this many years from the median day are not believed.",
            ),
            key("retests_allowed", "", "Retests allowed after a failure."),
            key("jump_p", "", "p-value from which a change of the share of failures is reported."),
            key("jump_failures", "", "Failures after a jump from which it is flagged."),
            key("jump_ratio", "", "Ratio of the shares from which a jump is flagged."),
            key(
                "jump_rise",
                "",
                "Rise of the share from which a jump is flagged, a fraction of 1.",
            ),
            key("cause_failures", "", "Failures that a cause of a jump must have."),
            key(
                "cause_share",
                "",
                "Share of the excess failures that a cause of a jump must explain.",
            ),
            key("seed", "", "Seed of every random draw."),
        ],
    },
    Section {
        head: "[columns]",
        meaning: "Header as exported = canonical column, or a factor.",
        keys: &[key(
            "\"Strom [mA]\"",
            "\"reading_ma\"",
            "One line for each header that is not recognised.",
        )],
    },
    Section {
        head: "[outcomes]",
        meaning: "Word as exported = pass, fail, over limit, under limit, breakdown, arc or not completed.",
        keys: &[key(
            "\"E17\"",
            "\"breakdown\"",
            "One line for each word; an unknown word is unreadable, never a pass.",
        )],
    },
    Section {
        head: "[values.test_point]",
        meaning: "For any text column or factor: value as exported = value to use.",
        keys: &[key("\"Netz gegen Gehäuse\"", "\"mains to case\"", "One line for each value.")],
    },
    Section {
        head: "[files]",
        meaning: "Pieces of file and folder names that are columns.",
        keys: &[key(
            "pattern",
            "\"{station}/*\"",
            "The last folders and the file name; names in braces are columns, a star is anything.",
        )],
    },
    Section {
        head: "[assume]",
        meaning: "Values of canonical columns that the files lack, or where they are blank.",
        keys: &[
            key("test", "\"ac withstand\"", "Or dc withstand, leakage."),
            key("frequency_hz", "50", "Any other canonical column in the same way."),
        ],
    },
    Section {
        head: "[tester]",
        meaning: "Range and accuracy of the testers.",
        keys: &[
            key("range_ma", "20.0", "End of the current range, in mA."),
            key("accuracy_pct", "", "Accuracy in per cent of the reading."),
            key("accuracy_steps", "", "Accuracy in reading steps, added to the per cent."),
        ],
    },
    Section {
        head: "[check_loads.\"LOAD-FAIL\"]",
        meaning: "A known load, by serial or model; never counted as product.",
        keys: &[
            key("resistance_mohm", "0.150", "Its resistance in megohms, where it is a resistor."),
            key("expect", "\"over limit\"", "The outcome it must give."),
        ],
    },
    Section {
        head: "[ceiling]",
        meaning: "The user's own standard: by test, the highest limit in mA. Nothing above it is proposed.",
        keys: &[key("\"ac withstand\"", "10.0", "Or dc withstand, leakage.")],
    },
    Section {
        head: "[open_lead_ma]",
        meaning: "By station: the reading with no unit connected, in mA at 1000 V and 50 Hz.",
        keys: &[key("A1", "0.05", "Found from under-limit results where not given.")],
    },
    Section {
        head: "[model.\"AP730\"]",
        meaning: "Overrides, by model.",
        keys: &[
            key("leak_path_mohm", "1.0", "Smallest harmful leak path, in megohms."),
            key("high_limit_ma", "5.0", "High limit in mA, where the files do not carry it."),
            key("low_limit_ma", "0.2", "Low limit in mA, where the files do not carry it."),
            key("capacitance_nf", "3.45", "Capacitance between the tested parts, in nF."),
            key("limit_group", "\"air care\"", "Models of one group share one limit."),
            key("limit_step_ma", "0.05", "Limits are set in multiples of this, in mA."),
            key("required_v", "1500", "Lowest voltage that the test must be made at, in V."),
            key("required_dwell_s", "2", "Shortest dwell the test must have, in s."),
        ],
    },
];

/// The default of a key as TOML; `None` where it has none.
fn default_of(section: &Section, key: &Key) -> Option<String> {
    let table = match section.head {
        "" => toml::Table::try_from(Config::default()),
        "[tester]" => toml::Table::try_from(Tester::default()),
        _ => return None,
    };
    // Whole numbers of a kind that may be fractions are shown as such; texts and lists as TOML writes them.
    table.ok()?.get(key.name).map(ToString::to_string)
}

/// The whole reference as TOML: every key with its default, or an example behind a `#` where it has none.
#[must_use]
pub fn reference() -> String {
    let mut page = String::from(
        "# Every key of leakdrift.toml. What has a default shows it; the rest is an example behind a #.\n\
         # The file is found beside the inputs or given with --config. Unknown keys are refused.\n",
    );
    for section in &SECTIONS {
        let _ = writeln!(page, "\n# {}", section.meaning);
        let no_default = section.keys.iter().all(|k| default_of(section, k).is_none());
        if !section.head.is_empty() {
            let _ = writeln!(page, "{}{}", if no_default { "# " } else { "" }, section.head);
        }
        for key in section.keys {
            let line = match default_of(section, key) {
                Some(value) => format!("{} = {value}", key.name),
                None => format!("# {} = {}", key.name, key.example),
            };
            let _ = writeln!(page, "{line:<40} # {}", key.meaning);
        }
    }
    page
}
