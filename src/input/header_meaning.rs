//! Which column the concepts of a header name: rules over what its words say, in any order.
//!
//! A rule names the concepts that must be there and those that may; a header with any other is another matter.
//! So `upper limit` and `limit max [mA]` are the high limit, and `upper voltage limit` is nothing that is used.

use std::cell::RefCell;
use std::collections::HashMap;
use std::sync::LazyLock;

use super::field::Field;
use super::header_words::{Concepts, concept, said};
use crate::records::Quantity;

/// What a header names by its words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Named {
    /// Columns it may be, the likelier first; none where its words are not known or say something else.
    pub(super) fields: Vec<Field>,
    /// How well it says so.
    pub(super) clarity: Clarity,
    /// Its unit, of whatever quantity.
    pub(super) unit: Option<Quantity>,
    /// Whether it says that it is another matter.
    pub(super) is_other: bool,
    /// What stands in its brackets and cannot be read.
    pub(super) strange: Option<String>,
}

/// How well the words of a header say which column it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Clarity {
    /// Several columns may be meant, or one only where its values agree: they decide.
    Open,
    /// One column is meant as a rule.
    Usual,
    /// Nothing else can be meant.
    Clear,
}

/// What a column may hold beside a current without being another one.
const CURRENT: &str = "current leak value test set withstand ac dc total trip reading measured";
/// The same of a reading: nothing that is set.
const READ: &str = "current leak value withstand ac dc total reading measured end";
/// What names the product.
const NAMED: &str = "number name product unit device designation type";

/// Column, concepts needed, concepts that may be there. A column with `?` is usual; several columns, or one behind
/// `=`, are open; `-` is none, whatever else is said.
const RULES: &[(&str, &str, &str)] = &[
    ("tested_at", "stamp", "test date time clock reading start end"),
    ("tested_at", "date clock", "test reading start end"),
    ("tested_at", "date time", "test reading start end"),
    ("date", "date", "test reading start end measured day"),
    ("date?", "day", "test reading"),
    ("time", "clock", "test reading start end"),
    ("time?", "time", ""),
    ("dwell_s", "time unit_time", "test set value"),
    ("=tested_at time dwell_s", "time test", ""),
    ("=tested_at time date", "start", "test time date"),
    ("=tested_at time date", "end time", "test date"),
    ("=tested_at time date", "end test", ""),
    ("high_limit_ma", "limit high", "@CURRENT outcome"),
    ("high_limit_ma", "trip current", "@CURRENT"),
    ("high_limit_ma", "trip leak", "@CURRENT"),
    ("high_limit_ma", "trip limit", "@CURRENT"),
    ("high_limit_ma", "trip value", "@CURRENT"),
    ("high_limit_ma", "trip point", "@CURRENT"),
    ("high_limit_ma", "trip unit_current", "@CURRENT"),
    ("high_limit_ma?", "limit", "current leak value test set withstand ac dc total"),
    ("high_limit_ma?", "high current", "leak value test withstand ac dc total"),
    ("high_limit_ma?", "high leak", "current value test withstand ac dc total"),
    ("high_limit_ma?", "high unit_current", "value test set withstand ac dc total"),
    ("=high_limit_ma", "high", "value"),
    ("low_limit_ma", "limit low", "@CURRENT outcome"),
    ("low_limit_ma?", "low current", "leak value test withstand ac dc total"),
    ("low_limit_ma?", "low leak", "current value test withstand ac dc total"),
    ("low_limit_ma?", "low unit_current", "value test withstand ac dc total"),
    ("=low_limit_ma", "low", "value"),
    ("current", "current type", "total"),
    ("current", "current sort", "total"),
    ("-", "inphase", "@CURRENT type sort"),
    ("reading_ma", "leak current", "@READ test"),
    ("reading_ma", "leak unit_current", "@READ test"),
    ("=reading_ma test outcome", "leak test", ""),
    ("reading_ma", "leak", "@READ"),
    ("reading_ma", "current measured", "@READ test"),
    ("reading_ma", "current reading", "@READ test"),
    ("reading_ma", "current", "@READ"),
    ("reading_ma", "voltage withstand current", "value measured"),
    ("reading_ma?", "current test", "@READ"),
    ("reading_ma", "reading", "@READ test"),
    ("reading_ma", "measured value", "@READ test"),
    ("reading_ma", "measured unit_current", "@READ test"),
    ("reading_ma?", "measured", "end"),
    ("reading_ma", "unit_current", "withstand ac dc value total"),
    ("reading_ma?", "unit_current test", "withstand ac dc value total"),
    ("reading_ma?", "unit_current outcome", "test withstand ac dc value total end"),
    ("=reading_ma", "value", "test"),
    ("=reading_ma outcome", "outcome value", "@READ test"),
    ("=reading_ma outcome", "outcome reading", "@READ test"),
    ("=reading_ma outcome", "outcome measured", "@READ test"),
    ("=reading_ma outcome", "outcome leak", "@READ test"),
    ("=reading_ma outcome", "outcome current", "@READ test"),
    ("outcome", "outcome", "test unit product total end withstand ac dc pass fail status"),
    ("outcome", "pass fail", "test outcome status total end"),
    ("outcome?", "status", "test total end unit product"),
    ("outcome", "pass status", "test"),
    ("=outcome", "pass", "test"),
    ("=outcome reason", "outcome number", "test"),
    ("reason", "reason", "fail failure outcome test"),
    ("=reason outcome", "failure", ""),
    ("reason?", "failure type", ""),
    ("reason?", "failure sort", ""),
    ("reason?", "failure number", ""),
    ("reason?", "failure designation", ""),
    ("reason?", "fail type", ""),
    ("reason?", "fail number", ""),
    ("instrument", "serial instrument", "number test name"),
    ("serial", "serial", "number unit product device model name barcode made"),
    ("serial", "series number", "unit product device"),
    ("=serial lot", "series", ""),
    ("=serial lot", "made number", "unit product"),
    ("serial?", "barcode", "number unit product"),
    ("serial", "unit number", "test"),
    ("model", "model", "@NAMED"),
    ("model", "product type", "@NAMED"),
    ("model", "unit type", "@NAMED test"),
    ("model", "device type", "@NAMED"),
    ("model?", "type", "number name designation"),
    ("model?", "product", "@NAMED"),
    ("=model remark", "designation", ""),
    ("model?", "device designation", ""),
    ("=serial model", "unit", "name"),
    ("=instrument model serial", "device", "number name"),
    ("plant", "plant", "name designation"),
    ("station", "station", "test number name reading made"),
    ("fixture", "fixture", "test number name"),
    ("instrument", "instrument", "test number name reading withstand"),
    ("lot", "lot", "number name product made"),
    ("operator", "operator", "test number name"),
    ("shift", "shift", "number name"),
    ("remark", "remark", "test"),
    ("test", "test type", "withstand"),
    ("test", "test sort", "withstand"),
    ("test", "test name", ""),
    ("test", "test designation", ""),
    ("test?", "voltage type", ""),
    ("test?", "voltage sort", ""),
    ("test?", "ac dc", "test"),
    ("test?", "test", ""),
    ("=test", "sort", ""),
    ("test_point", "point", "test number name reading measured"),
    ("reading_step_ma?", "step reading", "test"),
    ("step", "step", "test number name"),
    ("measured_v", "voltage measured", "test value ac dc withstand reading end"),
    ("measured_v", "voltage reading", "test value ac dc withstand end"),
    ("measured_v", "measured unit_voltage", "test value ac dc withstand"),
    ("measured_v", "reading unit_voltage", "test value ac dc withstand"),
    ("applied_v", "voltage", "test set withstand ac dc value"),
    ("applied_v", "set unit_voltage", "test withstand ac dc value"),
    ("applied_v", "unit_voltage", "test withstand ac dc value"),
    ("frequency_hz", "frequency", "test set voltage"),
    ("frequency_hz", "unit_frequency", "test set withstand"),
    ("ramp_s", "ramp", "time duration test"),
    ("dwell_s", "dwell", "time duration test"),
    ("dwell_s", "duration", "test set dwell time withstand"),
    ("dwell_s", "unit_time", "test set withstand"),
    ("stage", "stage", ""),
    ("units_together", "count together", ""),
    ("temperature_c", "temperature", "room test"),
    ("temperature_c", "unit_celsius", "room"),
    ("humidity_pct", "humidity", "room relative"),
    ("humidity_pct", "unit_percent", "room relative"),
    ("count", "count", ""),
    ("reading_step_ma", "resolution", "reading test"),
];

/// A rule, as bits.
struct Rule {
    fields: Vec<Field>,
    clarity: Clarity,
    needs: Concepts,
    may: Concepts,
}

static COMPILED: LazyLock<Vec<Rule>> = LazyLock::new(|| {
    RULES.iter().map(|(fields, needs, may)| compiled(fields, needs, may)).collect()
});

fn compiled(fields: &str, needs: &str, may: &str) -> Rule {
    let (names, clarity) = match (fields.strip_prefix('='), fields.strip_suffix('?')) {
        (Some(names), _) => (names, Clarity::Open),
        (None, Some(names)) => (names, Clarity::Usual),
        (None, None) => (fields, Clarity::Clear),
    };
    let fields: Vec<Field> = names.split(' ').filter_map(Field::from_name).collect();
    let units = fields.iter().filter_map(|f| f.quantity()).map(|q| concept(unit_name(q)));
    let units = units.fold(concept("filler"), |all, unit| all | unit);
    let needs = concepts(needs);
    Rule { may: needs | units | concepts(may), fields, clarity, needs }
}

fn concepts(names: &str) -> Concepts {
    names.split_whitespace().fold(0, |all, name| {
        all | match name {
            "@CURRENT" => concepts(CURRENT),
            "@READ" => concepts(READ),
            "@NAMED" => concepts(NAMED),
            name => concept(name),
        }
    })
}

/// The name of a unit among the concepts.
fn unit_name(unit: Quantity) -> &'static str {
    match unit {
        Quantity::Current(_) => "unit_current",
        Quantity::Voltage(_) => "unit_voltage",
        Quantity::Resistance(_) => "unit_resistance",
        Quantity::Frequency(_) => "unit_frequency",
        Quantity::Time(_) => "unit_time",
        Quantity::Celsius => "unit_celsius",
        Quantity::Percent => "unit_percent",
    }
}

/// Headers that each thread remembers: files of a folder have the same ones, and rows are tried as headers too.
const REMEMBERED: usize = 4096;

thread_local! {
    static SEEN: RefCell<HashMap<String, Named>> = RefCell::new(HashMap::new());
}

/// Which columns a header may name by its words.
pub(super) fn named(header: &str) -> Named {
    SEEN.with_borrow_mut(|seen| {
        if let Some(known) = seen.get(header) {
            return known.clone();
        }
        if seen.len() >= REMEMBERED {
            seen.clear();
        }
        let found = by_rules(header);
        seen.insert(header.to_owned(), found.clone());
        found
    })
}

fn by_rules(header: &str) -> Named {
    let said = said(header);
    let foreign = concept("foreign");
    let is_other = said.ways.iter().any(|way| way & foreign != 0);
    let mut found = Named {
        fields: Vec::new(),
        clarity: Clarity::Clear,
        unit: said.unit,
        is_other,
        strange: said.strange,
    };
    if is_other || is_lone_letter(header) {
        return found;
    }
    let unit = said.unit.map_or(0, |u| concept(unit_name(u)));
    let rules = said.ways.iter().map(|way| way | unit).filter(|all| *all != 0);
    let rules = rules
        .filter_map(|all| COMPILED.iter().find(|r| all & r.needs == r.needs && all & !r.may == 0));
    for (n, rule) in rules.enumerate() {
        if rule.fields.is_empty() {
            return Named { fields: Vec::new(), ..found };
        }
        if n > 0 && found.fields != rule.fields {
            found.clarity = Clarity::Open;
        }
        found.clarity = found.clarity.min(rule.clarity);
        let new: Vec<Field> =
            rule.fields.iter().filter(|f| !found.fields.contains(f)).copied().collect();
        found.fields.extend(new);
    }
    found
}

/// Whether a header is one letter that names columns of any kind; those of current and voltage are known.
fn is_lone_letter(header: &str) -> bool {
    let mut letters = header.chars().filter(|c| c.is_alphanumeric());
    let first = letters.next().filter(char::is_ascii);
    first.is_some_and(|c| !"iuv".contains(c.to_ascii_lowercase())) && letters.next().is_none()
}
