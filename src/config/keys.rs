//! Every setting of the program: one row a key, from which its field, its default, its line of the reference,
//! its range and its line of the method page are made. No other file holds a threshold of a verdict.

use std::collections::BTreeMap;
use std::path::PathBuf;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::table::Range::{Above, Any, AtLeast, Between, Within};
use super::table::{Key, Section, Value, settings};
use super::{Ceilings, ClockTime, DateOrder, DecimalSign, People, UtcOffset, whole};

/// Serials that people type where there is none.
const NO_SERIALS: [&str; 16] = [
    "0", "00", "000", "0000", "00000", "000000", "test", "n/a", "na", "none", "unknown", "x",
    "xxx", "xxxx", "-", "?",
];

/// Fault locating, in the languages of factories.
const FAULT_LOCATING: [&str; 8] = [
    "fault locating",
    "fault location",
    "fault finding",
    "troubleshooting",
    "Fehlersuche",
    "recherche de défaut",
    "ricerca guasto",
    "búsqueda de fallo",
];

fn words(list: &[&str]) -> Vec<String> {
    list.iter().map(|w| (*w).to_owned()).collect()
}

/// A key of a section whose keys are the user's own words: an example of one.
const fn own(name: &'static str, example: &'static str, meaning: &'static str) -> Key {
    Key { name, unit: "", range: Any, meaning, reason: "", example }
}

settings! {
    /// All settings. Every key has a default; unknown keys are refused.
    #[serde(default, deny_unknown_fields)]
    Config {
        name: Option<String> = None, "", Any, "Name of the report; the first path's name where not given.", like "\"line 3\"";
        factors: Vec<String> = Vec::new(), "", Any, "Further columns that may explain failures, beside lot, operator, shift and fixture.";
        events: Option<PathBuf> = None, "", Any, "Events file (date, what, station, model).", like "\"events.csv\"";
        calibration: Option<PathBuf> = None, "", Any, "Calibration register (instrument, station, done_on, due_on, error_pct).", like "\"calibration.csv\"";
        decisions: Option<PathBuf> = None, "", Any, "Decisions that close incidents (incident, decision, who, when, remark); `decisions.csv` beside the settings or the inputs where not given.", like "\"decisions.csv\"";
        date_order: Option<DateOrder> = None, "", Any, "Order of day, month and year, only where the files cannot decide it: `day-month-year`, `month-day-year`, or `year-month-day` for years of two digits.", like "\"day-month-year\"";
        utc_offset: Option<UtcOffset> = None, "", Any, "Clock on which times that name their zone, and seconds since 1970, are laid; the clock that the file shows where not given.", like "\"+01:00\"";
        decimal_sign: Option<DecimalSign> = None, "", Any, "Decimal sign of numbers in text, `point` or `comma`, only where the files cannot decide it.", like "\"comma\"";
        people: People = People::Coded, "", Any, "How operators are named in every page, list, result file and tally: `coded`, by a code made of the name, or `shown`, as the files name them. The code is no secret: whoever has the list of names can find each again.";
        placeholder_serials: Vec<String> = words(&NO_SERIALS), "", Any, "Serials that name no unit, compared like serials.";
        fault_locating_words: Vec<String> = words(&FAULT_LOCATING), "", Any, "Words in a remark that mark a fault-locating run, compared without case.";

        accepted_reject_share: f64 = 0.001, "share of units", Between(0.0, 0.1), "Accepted share of healthy units rejected.", why "default of the project: one healthy unit in a thousand";
        confidence: f64 = 0.95, "share", Between(0.5, 1.0), "Confidence of every interval.", why "usual level of ISO 16269-6 tolerance bounds (from memory)";
        #[serde(deserialize_with = "whole")]
        horizon_months: u32 = 6, "months", Within(1.0, 120.0), "How far ahead limits must hold, in months; never longer than the history.", why "limits are reviewed twice a year";
        #[serde(deserialize_with = "whole")]
        judged_months: u32 = 6, "months", Within(1.0, 120.0), "Longest period judged, in months.", why "older units no longer describe the product";
        #[serde(deserialize_with = "whole")]
        judged_months_season: u32 = 12, "months", Within(1.0, 120.0), "Longest period judged where the shape is `season`, in months.", why "a season needs the whole year";
        #[serde(deserialize_with = "whole")]
        judged_units: u64 = 300, "units", AtLeast(0.0), "Fewest units in the period judged before it is lengthened.", why "the 99.9 % point cannot be judged from fewer";
        #[serde(deserialize_with = "whole")]
        verdict_units: u64 = 200, "units", AtLeast(1.0), "Units a verdict needs.", why "below this the bounds on the tail are too wide";
        verdict_days: u64 = 10, "production days", AtLeast(1.0), "Production days a verdict needs.", why "readings of one day are not independent";
        verdict_lots: u64 = 3, "lots", AtLeast(1.0), "Lots a verdict needs, where lots are known.", why "readings of one lot are not independent";
        #[serde(deserialize_with = "whole")]
        provisional_units: u64 = 50, "units", AtLeast(1.0), "Units from which a verdict is printed as provisional.", why "below this no verdict is printed";
        too_tight_rejects: f64 = 3.0, "healthy rejects", AtLeast(0.0), "Healthy rejects, seen or expected in the period, that `too tight` needs.", why "one or two may be chance, and raising a limit is the unsafe direction";
        excess_share_max: f64 = 0.03, "share of units", Within(0.0, 1.0), "Share of readings beyond the body that is too common to be defects.", why "more is a second group or a heavy tail";
        upper_distance_factor: f64 = 2.0, "distances of the lower end", AtLeast(1.0), "Upper end of the band without a stated leak path: distance from the typical reading.", why "about six standard deviations for normal data, the order of the part-average-testing limits of AEC-Q001 (from memory)";
        upper_typical_factor: f64 = 2.0, "typical readings", AtLeast(1.0), "Upper end of the band without a stated leak path: at least so many typical readings.", why "a narrow body would leave nothing for the next lot, the supply voltage and the meter";
        suggest_distance_factor: f64 = 2.0, "distances of the lower end", AtLeast(1.0), "Suggested limit: distance from the typical reading.", why "as far again as healthy units reach";
        suggest_typical_factor: f64 = 1.25, "typical readings", AtLeast(1.0), "Suggested limit: at least so many typical readings.", why "allows for supply voltage, meter and the next lot";
        tighter_advice_factor: f64 = 1.5, "distances of the suggested limit", AtLeast(1.0), "A tighter limit is advised where the limit lies so much farther from the typical reading than the suggested one.", why "advice only; smaller differences are not worth a change";
        trip_load_factor: f64 = 1.1, "limits", AtLeast(1.0), "A proving load that must trip draws so much of the limit.", why "clear of the meter's error";
        pass_load_factor: f64 = 0.9, "limits", Within(0.1, 1.0), "A proving load that must pass draws so much of the limit.", why "clear of the meter's error";
        material_room_share: f64 = 0.20, "share of the room", Within(0.0, 1.0), "Share of the room that a drift must eat within the horizon to be material.", why "less does not change a decision before the next review";
        material_steps: f64 = 3.0, "reading steps", AtLeast(0.0), "Reading steps that a material drift must move.", why "less is not visible on the instrument";
        material_step_room_share: f64 = 0.10, "share of the room", Within(0.0, 1.0), "Share of the room that makes a step material.", why "a sudden change has a cause worth finding";
        material_step_typical_share: f64 = 0.02, "share of the typical reading", Within(0.0, 1.0), "Share of the typical reading that makes a step material.", why "about the error of a meter, so a calibration shows";
        retests_allowed: u32 = 1, "retests", AtLeast(0.0), "Retests allowed after a failure.", why "each test at full voltage stresses sound insulation";
        day_starts: ClockTime = ClockTime::default(), "clock time", Any, "Clock time at which a production day starts, `HH:MM`.", why "a production day may start after midnight";
        limit_step_ma: Option<f64> = None, "mA", Above(0.0), "Limits are set in multiples of this, in mA; the reading step where not given.", why "stated", like "0.05";
        step_from_readings: u64 = 200, "readings", AtLeast(1.0), "Readings of one station and decade from which the reading step is found.", why "fewer do not show the reading step";
        daily_point_units: f64 = 5.0, "units", AtLeast(1.0), "Units that make a daily point.", why "the median of fewer says little";
        weekly_point_units: f64 = 10.0, "units", AtLeast(1.0), "Units that make a weekly point where days are thin.", why "the median of fewer says little";
        month_units: f64 = 30.0, "units", AtLeast(1.0), "Units from which a month has a row.", why "fewer make no quantiles of a month";
        baseline_days: u32 = 25, "production days", AtLeast(2.0), "Production days of the baseline.", why "of the moving average";
        baseline_units: f64 = 300.0, "units", AtLeast(1.0), "Units of the baseline.", why "of the moving average";
        groups_bic_gain: f64 = 10.0, "", AtLeast(0.0), "BIC gain from which two groups are reported.", why "two groups are reported from this gain";
        groups_separation: f64 = 2.0, "standard deviations", AtLeast(0.0), "Standard deviations between the means of two groups.", why "between two groups";
        groups_smaller_share: f64 = 0.05, "%", Within(0.0, 0.5), "Share of the smaller of two groups.", why "of the smaller of two groups";
        groups_smaller_units: f64 = 30.0, "units", AtLeast(1.0), "Units of the smaller of two groups.", why "of the smaller of two groups";
        strays_listed: usize = 200, "strays a series", AtLeast(0.0), "Strays listed in the summary for one series.", why "the rest is in the file";
        fault_run_tests: usize = 8, "tests", AtLeast(2.0), "Tests of one unit that make an unmarked fault-locating run.", why "of one unit make a fault-locating run";
        fault_run_gap_s: i64 = 60, "s", AtLeast(0.0), "Longest gap between tests of such a run, in seconds.", why "longest gap between them";
        returned_after_days: i64 = 30, "days", Within(1.0, 36_500.0), "Days after which the same serial is a returned unit.", why "then the same serial is a returned unit";
        placeholder_days: usize = 20, "days", AtLeast(2.0), "Days on which a serial is seen from which it names no unit.", why "a serial seen on so many names no unit";
        believable_years: f64 = 10.0, "years", Between(0.0, 200.0), "Dates further than this many years from the median day are not believed.", why "around the median day";
        frozen_readings: usize = 12, "readings", AtLeast(2.0), "Equal readings in a row at one station that make a display that stands still.", why "one after the other with one value, for a display that stands still";
        frozen_chance: f64 = 1e-6, "runs by chance", Between(0.0, 1.0), "Expected number of such runs by chance below which they are reported.", why "more expected, and a display does not stand still";
        jump_p: f64 = 0.01, "", Between(0.0, 1.0), "p-value from which a change of the share of failures is reported.", why "a change of the share of failures is reported from this p-value";
        jump_failures: f64 = 5.0, "failures", AtLeast(1.0), "Failures after a jump from which it is flagged.", why "after a jump, to be flagged";
        jump_ratio: f64 = 2.0, "times", AtLeast(1.0), "Ratio of the shares from which a jump is flagged.", why "the share before, to be flagged";
        jump_rise: f64 = 0.005, "share of units", Within(0.0, 1.0), "Rise of the share from which a jump is flagged, a fraction of 1.", why "more fail, to be flagged";
        cause_failures: f64 = 3.0, "failures", AtLeast(1.0), "Failures that a cause of a jump must have.", why "of a cause";
        cause_share: f64 = 0.10, "share of the excess", Within(0.0, 1.0), "Share of the excess failures that a cause of a jump must explain.", why "of a cause";
        minute_cost: Option<f64> = None, "money a minute", AtLeast(0.0), "What a minute at a station costs, in your currency: retests are then told in money.", like "1.5";
        made_by: Option<String> = None, "", Any, "Who makes the report: printed with the time of its making, unless `--reproducible` leaves that out.", like "\"quality, line 3\"";
        seed: u64 = 20_261_030, "", Any, "Seed of every random draw.";
    }
    sections {
        columns: BTreeMap<String, String> = "[columns]", "Header as exported = canonical column, or a factor.",
            &[own("\"Strom [mA]\"", "\"reading_ma\"", "One line for each header that is not recognised.")];
        outcomes: BTreeMap<String, String> = "[outcomes]", "Word as exported = pass, fail, over limit, under limit, breakdown, arc or not completed.",
            &[own("\"E17\"", "\"breakdown\"", "One line for each word; an unknown word is unreadable, never a pass.")];
        values: BTreeMap<String, BTreeMap<String, String>> = "[values.test_point]", "For any text column or factor: value as exported = value to use.",
            &[own("\"Netz gegen Gehäuse\"", "\"mains to case\"", "One line for each value.")];
        family: BTreeMap<String, String> = "[family]", "Pattern over model names = family: tables of many models are folded by it.",
            &[own("\"KB*\"", "\"kettles\"", "One line for each family; the first pattern that fits counts.")];
        files: Files = "[files]", "Pieces of file and folder names that are columns.", Files::KEYS;
        assume: BTreeMap<String, toml::Value> = "[assume]", "Values of canonical columns that the files lack, or where they are blank.",
            &[own("test", "\"ac withstand\"", "Or dc withstand, leakage."), own("frequency_hz", "50", "Any other canonical column in the same way.")];
        tester: Tester = "[tester]", "Range and accuracy of the testers.", Tester::KEYS;
        check_loads: BTreeMap<String, CheckLoad> = "[check_loads.\"LOAD-FAIL\"]", "A known load, by serial or model; never counted as product.", CheckLoad::KEYS;
        ceiling: Ceilings = "[ceiling]", "The user's own standard: by test, the highest limit in mA. Nothing above it is proposed.",
            &[
                Key { range: Above(0.0), ..own("\"ac withstand\"", "10.0", "Or dc withstand, leakage; or a table { ma = 10.0, standard = \"…\", clause = \"…\" }.") },
                own("standard", "\"our own standard 12\"", "Where the ceilings stand; printed with them for an audit."),
                own("clause", "\"4.2\"", "Its clause."),
            ];
        open_lead_ma: BTreeMap<String, f64> = "[open_lead_ma]", "By station: the reading with no unit connected, in mA at 1000 V and 50 Hz.",
            &[Key { range: Above(0.0), ..own("A1", "0.05", "Found from under-limit results where not given.") }];
        model: BTreeMap<String, ModelConfig> = "[model.\"AP730\"]", "Overrides, by model.", ModelConfig::KEYS;
    }
    beside {
        /// Where the settings came from; paths in them are relative to its folder.
        #[serde(skip)]
        path: Option<PathBuf>;
        /// The text of that file, for naming a place in it.
        #[serde(skip)]
        text: String;
    }
}

settings! {
    /// `[files]`.
    #[serde(default, deny_unknown_fields)]
    Files {
        pattern: Option<String> = None, "", Any, "The last folders and the file name; names in braces are columns, a star is anything.", like "\"{station}/*\"";
        believed: Vec<String> = Vec::new(), "", Any, "Files that are right although they look misread, by their names; a star is anything.", like "[\"line-3-*.csv\"]";
    }
}

settings! {
    /// `[tester]`. Accuracy is the guard band, used once, at the upper end of the band.
    #[serde(default, deny_unknown_fields)]
    Tester {
        range_ma: Option<f64> = None, "mA", Above(0.0), "End of the current range, in mA.", like "20.0";
        accuracy_pct: f64 = 1.5, "% of reading", Within(0.0, 100.0), "Accuracy in per cent of the reading.", why "accuracy of a common tester; state your own";
        accuracy_steps: f64 = 2.0, "reading steps", AtLeast(0.0), "Accuracy in reading steps, added to the per cent.", why "accuracy of a common tester; state your own";
    }
}

settings! {
    /// `[check_loads."NAME"]`.
    #[serde(deny_unknown_fields)]
    CheckLoad {
        resistance_mohm: Option<f64> = None, "MΩ", Above(0.0), "Its resistance in megohms, where it is a resistor.", like "0.150";
        expect: String = String::new(), "", Any, "The outcome it must give.", like "\"over limit\"";
    }
}

settings! {
    /// `[model."NAME"]`.
    #[serde(default, deny_unknown_fields)]
    ModelConfig {
        leak_path_mohm: Option<f64> = None, "MΩ", Above(0.0), "Smallest harmful leak path, in megohms.", like "1.0";
        high_limit_ma: Option<f64> = None, "mA", Above(0.0), "High limit in mA, where the files do not carry it.", like "5.0";
        low_limit_ma: Option<f64> = None, "mA", Above(0.0), "Low limit in mA, where the files do not carry it.", like "0.2";
        capacitance_nf: Option<f64> = None, "nF", Above(0.0), "Capacitance between the tested parts, in nF.", like "3.45";
        limit_group: Option<String> = None, "", Any, "Models of one group share one limit.", like "\"air care\"";
        limit_step_ma: Option<f64> = None, "mA", Above(0.0), "Limits are set in multiples of this, in mA.", like "0.05";
        accepted_since: Option<NaiveDate> = None, "", Any, "Upward steps up to this day are accepted: the level after them is the product's.", like "\"2026-03-01\"";
        required_v: Option<f64> = None, "V", Above(0.0), "Lowest voltage that the test must be made at, in V.", like "1500";
        required_dwell_s: Option<f64> = None, "s", Above(0.0), "Shortest dwell the test must have, in s.", like "2";
    }
}
