//! The query that makes the tally of a table of rows in a warehouse: the same lines as [`super::save`] writes of the same
//! rows.
//!
//! The rules of the sweep stand a second time here, in SQL, since a plant with billions of rows moves the question to the
//! rows. They stand once for all engines, in `tally.sql`: what differs between engines is a [`Dialect`]. Proved line by
//! line on DuckDB and Spark (`tests/engines`); the query for Postgres is only read by Postgres' own parser there.

use minijinja::syntax::SyntaxConfig;
use minijinja::{Environment, Error as Wrong, context};

use super::row::SetAside;
use crate::config::Config;
use crate::error::{Error, Result};
use crate::input::{BUILT_IN_FACTORS, LEAKAGE_ALONE, plain_serial};
use crate::records::{TestKind, ma_to_pa};

const QUERY: &str = include_str!("tally.sql");

/// Tests of one unit that voltage and limit tell apart.
const SETTINGS: usize = 3;

/// Columns that are texts, beside the factors.
const TEXTS: [&str; 8] = [
    "model",
    "plant",
    "station",
    "instrument",
    "test_point",
    "step",
    "source_file",
    "source_sheet",
];
/// Columns that hold words of ours.
const WORDS: [&str; 5] = ["test", "current", "stage", "outcome", "remark"];
/// What is whole numbers in the query, its column and what makes it one.
const NUMBERS: [(&str, &str, &str); 8] = [
    ("applied_mv", "applied_v", "1000"),
    ("measured_mv", "measured_v", "1000"),
    ("typed_frequency_mhz", "frequency_hz", "1000"),
    ("dwell_ms", "dwell_s", "1000"),
    ("ramp_ms", "ramp_s", "1000"),
    ("step_pa", "reading_step_ma", "1e9"),
    ("typed_high_pa", "high_limit_ma", "1e9"),
    ("typed_low_pa", "low_limit_ma", "1e9"),
];
/// Reasons to set a row aside, by the end of the column that counts them.
const REASONS: [(&str, SetAside); 9] = [
    ("other_test", SetAside::OtherTest),
    ("check_load", SetAside::CheckLoad),
    ("clock", SetAside::Clock),
    ("contradicted", SetAside::Contradicted),
    ("repeated", SetAside::Repeated),
    ("fault_locating", SetAside::FaultLocating),
    ("not_completed", SetAside::NotCompleted),
    ("returned", SetAside::Returned),
    ("retest", SetAside::Retest),
];

/// How engines differ.
#[derive(Debug, Clone, Copy)]
struct Dialect {
    /// As it is asked for.
    name: &'static str,
    /// What stands around names.
    quote: char,
    /// Whether `\` begins an escape in a text.
    escapes: bool,
    /// The type of texts.
    text: &'static str,
    /// The type of floating-point numbers.
    double: &'static str,
    /// Days since 1970-01-01 of a date, `{}`.
    days: &'static str,
    /// The date of such a number, `{}`.
    date: &'static str,
}

const DIALECTS: [Dialect; 3] = [
    Dialect {
        name: "duckdb",
        quote: '"',
        escapes: false,
        text: "VARCHAR",
        double: "DOUBLE",
        days: "DATE_DIFF('day', DATE '1970-01-01', {})",
        date: "DATE '1970-01-01' + CAST({} AS INTEGER)",
    },
    Dialect {
        name: "spark",
        quote: '`',
        escapes: true,
        text: "STRING",
        double: "DOUBLE",
        days: "DATEDIFF({}, DATE '1970-01-01')",
        date: "DATE_ADD(DATE '1970-01-01', CAST({} AS INT))",
    },
    Dialect {
        name: "postgres",
        quote: '"',
        escapes: false,
        text: "TEXT",
        double: "DOUBLE PRECISION",
        days: "({} - DATE '1970-01-01')",
        date: "DATE '1970-01-01' + CAST({} AS INTEGER)",
    },
];

impl Dialect {
    fn ident(self, name: &str) -> String {
        let q = self.quote;
        format!("{q}{}{q}", name.replace(q, &format!("{q}{q}")))
    }

    fn literal(self, text: &str) -> String {
        let inside = match self.escapes {
            true => text.replace('\\', "\\\\").replace('\'', "\\'"),
            false => text.replace('\'', "''"),
        };
        format!("'{inside}'")
    }

    /// Texts between commas.
    fn literals(self, texts: impl Iterator<Item = String>) -> String {
        texts.map(|text| self.literal(&text)).collect::<Vec<_>>().join(", ")
    }

    /// What the settings give for a limit that the row does not: a branch of a `CASE` for each model.
    fn limit_of_model(self, side: &str, config: &Config) -> String {
        let mut branches = String::new();
        for (name, model) in &config.model {
            let (ma, only) = match side {
                "high" => (model.high_limit_ma, ""),
                // Beside a limit that was typed, one that is not there is none.
                _ => (model.low_limit_ma, " AND COALESCE(typed_high_pa, 0) <= 0"),
            };
            if let Some(pa) = ma.and_then(ma_to_pa) {
                let name = self.literal(name);
                branches += &format!("WHEN c_model = {name}{only} THEN {pa} ");
            }
        }
        branches
    }
}

/// The query for an engine, over a table that is named as the engine names it.
///
/// # Errors
/// Where there is no such engine.
pub fn sql(engine: &str, table: &str, config: &Config) -> Result<String> {
    let dialect = DIALECTS.into_iter().find(|d| d.name == engine).ok_or_else(|| {
        let known: Vec<&str> = DIALECTS.iter().map(|d| d.name).collect();
        Error::usage(
            format!("--sql: expected an engine, found {engine:?}"),
            format!("name one of {}", known.join(", ")),
        )
    })?;
    query(dialect, table, config)
        .map_err(|e| Error::usage(format!("the query cannot be written: {e}"), "report it"))
}

fn query(dialect: Dialect, table: &str, config: &Config) -> std::result::Result<String, Wrong> {
    let mut engine = Environment::new();
    engine.set_syntax(SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build()?);
    engine.add_filter("ident", move |name: &str| dialect.ident(name));
    engine.add_filter("text", move |text: &str| dialect.literal(text));
    engine.add_filter("days", move |date: &str| dialect.days.replace("{}", date));
    engine.add_filter("date", move |day: &str| dialect.date.replace("{}", day));
    let limits = ["high", "low"].map(|side| dialect.limit_of_model(side, config));
    engine.add_function("limit_of_model", move |side: &str| {
        limits[usize::from(side == "low")].clone()
    });
    let kind = move |aside: u32| {
        let current = dialect.ident("current");
        format!(
            "PARTITION BY aside_{aside} IS NULL, c_model, plant, plain, alone, test, {current}, point, place"
        )
    };
    let of_kind = kind(3);
    engine.add_function("attempts", move |aside: u32| format!("{}, setting", kind(aside)));
    let built_in = BUILT_IN_FACTORS.iter().map(|(_, name)| (*name).to_owned());
    let factors: Vec<String> = built_in.chain(config.factors.iter().cloned()).collect();
    let texts: Vec<String> = TEXTS.map(str::to_owned).into_iter().chain(factors.clone()).collect();
    let plain = |names: &mut dyn Iterator<Item = &String>| {
        dialect.literals(names.map(|name| plain_serial(name)).filter(|name| !name.is_empty()))
    };
    let assumed = config.assumed("test");
    let kinds =
        [TestKind::AcWithstand, TestKind::DcWithstand, TestKind::Leakage].map(TestKind::key);
    let default_test =
        kinds.into_iter().find(|k| assumed.as_deref() == Some(k)).unwrap_or(kinds[0]);
    #[expect(clippy::cast_possible_truncation, reason = "a few thousand days")]
    let believable_days = (config.believable_years * 365.25) as i64;
    let words = config.fault_locating_words.iter().map(|w| w.trim().to_lowercase());
    engine.template_from_named_str("tally.sql", QUERY)?.render(context! {
        engine => dialect.name,
        table,
        text => dialect.text,
        double => dialect.double,
        settings => SETTINGS,
        kind => of_kind,
        texts,
        words => WORDS,
        numbers => NUMBERS,
        factors,
        reasons => REASONS.map(|(name, reason)| (name, reason.words())),
        leakage_alone => LEAKAGE_ALONE,
        default_test,
        placeholders => plain(&mut config.placeholder_serials.iter()),
        loads => plain(&mut config.check_loads.keys()),
        fault_locating => words.filter(|w| !w.is_empty()).collect::<Vec<_>>(),
        day_starts_s => config.day_starts_s(),
        believable_days,
        placeholder_days => config.placeholder_days,
        fault_run_tests => config.fault_run_tests,
        fault_run_gap_s => config.fault_run_gap_s,
        returned_after_days => config.returned_after_days,
        returned_after_s => config.returned_after_days * 86_400,
    })
}
