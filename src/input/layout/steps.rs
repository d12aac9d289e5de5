//! Several tests in one row, told by what the names of its columns share: `Step 1 reading [mA]`, `Step 2 reading
//! [mA]`; `ACW mA`, `IR MΩ`.
//!
//! A name is a title and what the column holds. A title ends with a number or names a kind of test, and only what
//! two titles or more have is a group: one alone is a name like any other. The number of a title is the step of its
//! test, so that two tests of one kind stay two series. Behind `Test 1` the words `type`, `value` and `unit` say the
//! kind, the reading and its unit, which mean other things in a header of their own. Conductors behind what is measured
//! (`Leakage L-PE`, `Leakage N-PE`) are the measuring points of two tests.

use std::collections::BTreeSet;

use super::{Group, Layout};
use crate::input::columns::{Field, Headers, Meaning, squeeze};
use crate::input::kinds::test_kind;
use crate::records::{Quantity, TestKind};

/// What each test of a row may have of its own.
const OWN: [Field; 15] = [
    Field::Reading,
    Field::Outcome,
    Field::Reason,
    Field::HighLimit,
    Field::LowLimit,
    Field::AppliedV,
    Field::MeasuredV,
    Field::Frequency,
    Field::Dwell,
    Field::Ramp,
    Field::Stage,
    Field::Test,
    Field::TestPoint,
    Field::Current,
    Field::ReadingStep,
];

/// Most words of a title.
const TITLE: usize = 4;

/// Words for a unit of numbers, behind a title; as a header they mean the unit under test in some languages.
const UNIT: [&str; 13] = [
    "unit",
    "units",
    "uom",
    "einheit",
    "unité",
    "unità",
    "unidad",
    "unidade",
    "jednostka",
    "eenheid",
    "jednotka",
    "birim",
    "单位",
];

/// Conductors between which is measured, as they are written everywhere (IEC 60445).
const CONDUCTORS: [&str; 12] =
    ["l", "n", "pe", "ln", "pen", "l1", "l2", "l3", "fe", "gnd", "l+n", "l/n"];

/// A name taken apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Part {
    /// The test it belongs to.
    pub title: String,
    /// What it holds.
    pub bare: String,
}

/// The names of a header that belong to one of several tests; none where they belong to one.
pub(super) fn in_names(names: &[String], headers: &Headers) -> Vec<Option<Part>> {
    // Rows of values are no header, and most rows looked at are.
    let is_number = |n: &String| n.trim().replace(',', ".").parse::<f64>().is_ok();
    if names.iter().any(is_number) {
        return vec![None; names.len()];
    }
    let mut parts: Vec<Option<Part>> = names.iter().map(|n| part(n, headers)).collect();
    // A number alone makes a title only where others differ from it by that: `Kzw-7 [mA]` is a name.
    let stem = |title: &str| title.replace(|c: char| c.is_ascii_digit(), "");
    let all: BTreeSet<String> = parts.iter().flatten().map(|p| p.title.clone()).collect();
    let points = all.iter().filter(|t| is_point(t)).count();
    let alone = |t: &str| match is_point(t) {
        true => points < 2,
        false => !is_kind(t) && all.iter().filter(|o| stem(o) == stem(t)).count() < 2,
    };
    for part in &mut parts {
        *part = part.take().filter(|p| !alone(&p.title));
    }
    // Most headers.
    if parts.iter().all(Option::is_none) {
        return parts;
    }
    let titles: BTreeSet<&str> = parts.iter().flatten().map(|p| p.title.as_str()).collect();
    let says = |title: &str, what: fn(&Meaning, &str) -> bool| {
        let mut own = parts.iter().flatten().filter(|p| p.title == title);
        own.any(|p| what(&headers.meaning(&p.bare), &p.bare))
    };
    let is_told = |title: &&str| {
        says(title, |meaning, _| {
            matches!(meaning, Meaning::Field(Field::Reading | Field::Outcome, _))
        })
    };
    // A kind of test is one of several in a row where each measures something: `HV result` beside `Leakage mA` is not.
    let is_test = |title: &&str| {
        of_title(title).step.is_some()
            || says(title, |meaning, bare| {
                matches!(meaning, Meaning::Field(Field::Reading, _))
                    || matches!(
                        Quantity::from_bracketed(bare),
                        Some(Quantity::Resistance(_) | Quantity::Current(_))
                    )
            })
    };
    // `Leakage [mA]` beside `Max. leakage [mA]` are two numbers of one test: titles must tell kinds or steps apart.
    let is_leakage =
        |title: &str| test_kind(title, TestKind::AcWithstand) == Some(TestKind::Leakage);
    let apart = !titles.iter().all(|t| is_leakage(t) && of_title(t).step.is_none());
    // `Limit 1 mA` and `Limit 2 mA` beside `Leakage mA` are limits of one reading: readings of steps are numbered too.
    let is_one_reading = |(name, part): (&String, &Option<Part>)| {
        part.as_ref().is_none_or(|p| of_title(&p.title).step.is_none() && !is_point(&p.title))
            && matches!(headers.meaning(name), Meaning::Field(Field::Reading, _))
    };
    let are_numbers = |title: &&str| {
        of_title(title).kind.is_none()
            && !says(title, |meaning, bare| {
                Quantity::from_bracketed(bare).is_none()
                    && matches!(meaning, Meaning::Field(Field::Reading | Field::Outcome, _))
            })
    };
    let of_one = titles.iter().any(are_numbers) && names.iter().zip(&parts).any(is_one_reading);
    let several = apart && !of_one && titles.iter().any(is_told) && titles.iter().all(is_test);
    if !several {
        parts.fill(None);
    }
    parts
}

/// What a title says.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Told {
    /// A kind of test in words.
    pub kind: Option<String>,
    /// The number of a step.
    pub step: Option<String>,
    /// Conductors.
    pub point: Option<String>,
}

/// What a title says of its test.
pub(super) fn of_title(title: &str) -> Told {
    if is_point(title) {
        return Told { point: Some(title.to_owned()), ..Told::default() };
    }
    let words: Vec<&str> =
        title.split([' ', '_', '.', ':', '-', '#']).filter(|w| !w.is_empty()).collect();
    let number = words.iter().position(|w| number_of(w).is_some());
    let step = number.and_then(|n| number_of(words[n])).map(str::to_owned);
    let kind = (step.is_none() || is_kind(title)).then(|| title.to_owned());
    Told { kind, step, point: None }
}

impl Group {
    /// Whether nothing says what came of it: neither a reading nor an outcome of its own.
    #[must_use]
    pub fn is_silent(&self, is_empty: impl Fn(usize) -> bool) -> bool {
        let results = [Field::Reading, Field::Outcome, Field::Reason];
        let mut own = results
            .iter()
            .filter_map(|field| self.columns.get(*field))
            .filter(|(column, _)| self.own.contains(column))
            .peekable();
        own.peek().is_some() && own.all(|(column, _)| is_empty(usize::from(column)))
    }
}

/// Whether a title is conductors and nothing else.
fn is_point(title: &str) -> bool {
    let apart = |c: char| c.is_whitespace() || "-–/+→>_".contains(c);
    let words: Vec<String> = title.split(apart).filter(|w| !w.is_empty()).map(squeeze).collect();
    !words.is_empty() && words.iter().all(|w| CONDUCTORS.contains(&&**w) || w == "to")
}

/// Conductors behind what a column holds: `Leakage L-PE [mA]`.
fn at_a_point(name: &str, headers: &Headers) -> Option<Part> {
    let outside = name.split(['[', '(']).next().unwrap_or(name).trim_end();
    let starts =
        outside.char_indices().filter(|(at, c)| *at > 0 && (c.is_whitespace() || *c == '_'));
    for (at, _) in starts {
        let point = outside[at..].trim_matches(|c: char| c.is_whitespace() || c == '_');
        if !is_point(point) {
            continue;
        }
        let bare = format!("{}{}", &outside[..at], &name[outside.len()..]);
        if matches!(headers.meaning(&bare), Meaning::Field(field, _) if OWN.contains(&field)) {
            return Some(Part { title: point.to_owned(), bare });
        }
    }
    None
}

/// What a word behind `Test 1` says, as a header that says it alone; `None` where it is nothing of a test.
fn behind_a_number(bare: &str, headers: &Headers) -> Option<String> {
    let heading = headers.heading(bare);
    if matches!(heading.meaning, Meaning::Field(field, _) if OWN.contains(&field)) {
        return Some(bare.to_owned());
    }
    let is =
        |header: &str, field| matches!(headers.meaning(header), Meaning::Field(f, _) if f == field);
    if heading.meaning == Meaning::Unknown && heading.may_be == [Field::Reading] {
        Some(format!("reading {bare}")).filter(|header| is(header, Field::Reading))
    } else if UNIT.contains(&&*squeeze(bare)) {
        Some(bare.to_owned())
    } else {
        Some(format!("test {bare}")).filter(|header| is(header, Field::Test))
    }
}

/// Finds the columns that hold the units of a test's numbers beside them.
pub(super) fn units_beside(layout: &mut Layout, below: &[Vec<String>]) {
    let are_units = |column: u16| {
        let cells = below.iter().filter_map(|row| row.get(usize::from(column))).map(|c| c.trim());
        let filled: Vec<&str> = cells.filter(|c| !c.is_empty() && *c != "-").collect();
        !filled.is_empty() && filled.iter().all(|c| Quantity::from_bracketed(c).is_some())
    };
    let mut found = Vec::new();
    for group in &layout.groups {
        let is_free = |c: &&u16| layout.taken[usize::from(**c)].meaning == Meaning::Unknown;
        let units: Vec<u16> =
            group.own.iter().filter(is_free).copied().filter(|c| are_units(*c)).collect();
        let [beside] = units[..] else { continue };
        for field in [Field::Reading, Field::HighLimit, Field::LowLimit] {
            if let Some((number, None)) = group.columns.get(field)
                && group.own.contains(&number)
            {
                found.push((number, beside));
            }
        }
    }
    for (number, beside) in found {
        layout.units_beside.insert(number, beside);
        let of = &layout.names[usize::from(number)];
        let why = &mut layout.taken[usize::from(beside)].why;
        why.get_or_insert_with(|| format!("it holds the units of column {of:?}"));
        // One unit throughout is that of the column.
        let mut units =
            below.iter().filter_map(|row| Quantity::from_bracketed(row.get(usize::from(beside))?));
        let Some(first) = units.next().filter(|first| units.all(|other| other == *first)) else {
            continue;
        };
        if let Meaning::Field(field, of) = &mut layout.taken[usize::from(number)].meaning
            && field.quantity().is_some_and(|own| own.same_kind(first))
        {
            *of = Some(first);
        }
    }
}

/// A title before what the column holds, or a number behind it.
fn part(name: &str, headers: &Headers) -> Option<Part> {
    let ends: Vec<usize> = name
        .char_indices()
        .filter(|(at, c)| *at > 0 && (c.is_whitespace() || "_.:-/[(".contains(*c)))
        .map(|(at, _)| at)
        .collect();
    let holds = |bare: &str| match headers.meaning(bare) {
        Meaning::Field(field, _) => OWN.contains(&field),
        Meaning::Factor(_) => false,
        Meaning::Unknown => Quantity::from_bracketed(bare).is_some(),
    };
    if let Some(part) = at_a_point(name, headers) {
        return Some(part);
    }
    // `Reading 1 [mA]`, `Limit 1 [mA]`: what stands before the number says what the column holds.
    let outside = name.split(['[', '(']).next().unwrap_or(name).trim_end();
    let number = outside.rsplit([' ', '_', '.', '#']).next().unwrap_or("");
    let before = outside[..outside.len() - number.len()].trim_end_matches([' ', '_', '.', '#']);
    let is_number = !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit());
    if is_number && !before.is_empty() && !is_kind(before) {
        let bare = format!("{before}{}", &name[outside.len()..]);
        if matches!(headers.meaning(&bare), Meaning::Field(field, _) if OWN.contains(&field)) {
            return Some(Part { title: number.to_owned(), bare });
        }
    }
    let is_whole = matches!(headers.meaning(name), Meaning::Field(..));
    for &end in ends.iter().take(TITLE) {
        let (title, bare) =
            (name[..end].trim(), name[end..].trim_start_matches([' ', '_', '.', ':', '-', '/']));
        let is_numbered = title
            .split([' ', '_', '.', ':', '-', '#'])
            .next_back()
            .is_some_and(|w| number_of(w).is_some());
        // A leakage current is one reading, not the current of a test called leakage.
        let is_one = is_whole
            && Quantity::from_bracketed(bare).is_none()
            && test_kind(title, TestKind::AcWithstand) == Some(TestKind::Leakage);
        if (is_numbered || is_kind(title) && !is_one) && holds(bare) {
            return Some(Part { title: squeeze(title), bare: bare.to_owned() });
        }
        if is_numbered && let Some(bare) = behind_a_number(bare, headers) {
            return Some(Part { title: squeeze(title), bare });
        }
    }
    None
}

/// Words that name a kind of test alone, without what it measures.
fn is_kind(title: &str) -> bool {
    let words = squeeze(title);
    let named = |w: &str| ["acw", "dcw", "ac", "dc", "ir", "gb", "hv", "pe"].contains(&w);
    words.split([' ', '_', '-']).any(named) || test_kind(&words, TestKind::AcWithstand).is_some()
}

/// The number of `1`, `s1`, `step2`.
fn number_of(word: &str) -> Option<&str> {
    let at = word.find(|c: char| c.is_ascii_digit())?;
    let (letters, digits) = word.split_at(at);
    let is_it = letters.len() <= 8
        && letters.chars().all(char::is_alphabetic)
        && digits.len() <= 3
        && digits.bytes().all(|b| b.is_ascii_digit());
    is_it.then_some(digits)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;

    fn titles(names: &[&str]) -> Vec<String> {
        let names: Vec<String> = names.iter().map(|n| (*n).to_owned()).collect();
        let parts = in_names(&names, &Headers::new(&Config::default()));
        parts.into_iter().map(|p| p.map_or_else(String::new, |p| p.title)).collect()
    }

    #[test]
    fn columns_of_several_tests_are_told_by_their_names() {
        assert_eq!(
            titles(&[
                "Date",
                "Model",
                "Step 1 reading [mA]",
                "Step 1 result",
                "Step 2 reading [mA]"
            ]),
            ["", "", "step 1", "step 1", "step 2"]
        );
        assert_eq!(titles(&["Date", "ACW mA", "ACW result", "IR MΩ"]), ["", "acw", "acw", "ir"]);
        assert_eq!(titles(&["Reading 1 [mA]", "Reading 2 [mA]"]), ["1", "2"]);
        assert_eq!(
            titles(&["Reading 1 [mA]", "Limit 1 [mA]", "Reading 2 [mA]", "Limit 2 [mA]"]),
            ["1", "1", "2", "2"]
        );
        assert_eq!(
            titles(&["Date", "Leakage [mA]", "High limit [mA]", "Result"]),
            ["", "", "", ""]
        );
        assert_eq!(
            titles(&["test time", "set V", "leakage current", "test result"]),
            ["", "", "", ""]
        );
        assert_eq!(
            titles(&["Date", "Leakage L-PE [mA]", "Leakage N-PE [mA]", "Result"]),
            ["", "L-PE", "N-PE", ""]
        );
        assert_eq!(titles(&["Date", "Leakage L-PE [mA]", "Leakage [mA]"]), ["", "", ""]);
        let of_test = |n: u8| ["type", "value", "unit", "result"].map(|w| format!("Test {n} {w}"));
        let names: Vec<String> = [of_test(1), of_test(2)].concat();
        assert_eq!(
            titles(&names.iter().map(String::as_str).collect::<Vec<_>>()),
            [["test 1"; 4], ["test 2"; 4]].concat()
        );
        assert_eq!(titles(&["HV result", "Leakage [mA]", "High limit [mA]"]), ["", "", ""]);
    }

    #[test]
    fn a_title_says_kind_and_step() {
        let of = |title| of_title(title);
        let some = |text: &str| Some(text.to_owned());
        assert_eq!(of("step 2"), Told { step: some("2"), ..Told::default() });
        assert_eq!(of("acw"), Told { kind: some("acw"), ..Told::default() });
        let both = Told { kind: some("withstand 1"), step: some("1"), point: None };
        assert_eq!(of("withstand 1"), both);
        assert_eq!(of("L-PE"), Told { point: some("L-PE"), ..Told::default() });
        assert_eq!(of("L to PE"), Told { point: some("L to PE"), ..Told::default() });
    }
}
