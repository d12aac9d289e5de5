//! What is wrong with a settings file, in plain words: what stands there, and what to write instead.
//!
//! The reader of the TOML crate says where it stopped; why is told here from the line itself, since its own words
//! (`key with no value, expected =`) name what a grammar lacks and not what a hand did: left quotes away, wrote a
//! decimal comma, pasted typographic quotes. Where no such slip is seen, its words are given.

use std::path::Path;

use toml::de::DeTable;

use super::{Config, Section, nearest_known, wrong};
use crate::error::Error;

/// What is wrong at a place.
struct Slip {
    /// Byte it is about.
    at: usize,
    what: String,
    to_do: String,
}

fn slip(at: usize, what: impl Into<String>, to_do: impl Into<String>) -> Slip {
    Slip { at, what: what.into(), to_do: to_do.into() }
}

/// The text of a settings file from its bytes: UTF-8, or UTF-16 as some editors write it.
///
/// # Errors
/// Where it is neither: bytes of a code page could be any letters, and headers must match to the letter.
pub(super) fn decoded(bytes: &[u8], path: &Path) -> Result<String, Error> {
    let zeros = |start: usize| bytes.iter().skip(start).step_by(2).filter(|b| **b == 0).count();
    let half = |zeros: usize| bytes.len() >= 4 && zeros * 4 > bytes.len();
    let marked = encoding_rs::Encoding::for_bom(bytes).map(|(encoding, _)| encoding);
    let encoding = match marked {
        Some(encoding) => encoding,
        None if half(zeros(1)) => encoding_rs::UTF_16LE,
        None if half(zeros(0)) => encoding_rs::UTF_16BE,
        None => encoding_rs::UTF_8,
    };
    let (text, _, damaged) = encoding.decode(bytes);
    if !damaged {
        return Ok(text.into_owned());
    }
    let good = std::str::from_utf8(bytes).err().map_or(0, |e| e.valid_up_to());
    let (read, _) = encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes);
    // Up to the first byte that is none, the bytes are UTF-8: as many characters are whole.
    let whole = String::from_utf8_lossy(&bytes[..good]);
    let letter = read.chars().nth(good).unwrap_or('?');
    Err(wrong(
        path,
        &whole,
        Some(whole.len()),
        format!(
            "expected a text in UTF-8, found a byte of an older code page (in Windows-1252 it is {letter:?})"
        ),
        "save the file as UTF-8: in the editor under \"Save as\", encoding UTF-8".to_owned(),
    ))
}

/// An error of the TOML reader with its place, in plain words.
pub(super) fn explain(error: &toml::de::Error, text: &str, path: &Path) -> Error {
    let message = error.message().trim().replace('\n', " ");
    let at = text.floor_char_boundary(error.span().map_or(0, |span| span.start));
    let found = match DeTable::parse(text).is_err() {
        true => not_toml(&message, text, at),
        false => unknown(&message, text, at).or_else(|| wrong_kind(&message, text, at)),
    };
    let found = found.unwrap_or_else(|| slip(at, plainly(&message), "correct the line named"));
    wrong(path, text, error.span().map(|_| found.at), found.what, found.to_do)
}

/// A key or a word that is not known, with the nearest that is, or the section it belongs to.
fn unknown(message: &str, text: &str, at: usize) -> Option<Slip> {
    let quoted: Vec<&str> = message.split('`').skip(1).step_by(2).collect();
    let (found, known) = quoted.split_first()?;
    if message.starts_with("unknown variant") {
        let to_do = nearest_known(found, known.iter().copied());
        return Some(slip(at, format!("unknown value {found:?}"), to_do));
    }
    if !message.starts_with("unknown field") {
        return None;
    }
    let near = super::nearest(found, known.iter().copied());
    let homes = |section: &&Section| section.keys.iter().any(|k| k.name == *found);
    let home = Config::SECTIONS.iter().find(homes);
    let to_do = match (near.is_empty(), home) {
        (true, Some(Section { head: "", .. })) => {
            format!("{found} stands before all sections: move it above the first line in brackets")
        }
        (true, Some(section)) => {
            // What stands behind the point is an example of a name.
            let head = section
                .head
                .split_once('.')
                .map_or(section.head.to_owned(), |(head, _)| format!("{head}.\"NAME\"]"));
            format!("{found} stands under {head}")
        }
        (true, None) => {
            let all = known.len() <= 8;
            match all {
                true => format!(
                    "known here are {}; `leakdrift config` prints every key",
                    known.join(", ")
                ),
                false => "`leakdrift config` prints every key".to_owned(),
            }
        }
        (false, _) => nearest_known(found, known.iter().copied()),
    };
    let section = section_at(text, at);
    let whose = if section.is_empty() { String::new() } else { format!("{section}: ") };
    Some(slip(at, format!("{whose}unknown key {found:?}"), to_do))
}

/// A value of another kind than its key takes: a number in quotes, a text without a list.
fn wrong_kind(message: &str, text: &str, at: usize) -> Option<Slip> {
    let rest = message
        .strip_prefix("invalid type: ")
        .or_else(|| message.strip_prefix("invalid value: "))?;
    let (found, expected) = rest.split_once(", expected ")?;
    let line = Line::at(text, at);
    let (key, value) = (line.key(), line.value());
    let expected = plainly(expected);
    let what = format!("{key}: expected {}, found {}", in_words(&expected), kind_found(found));
    let bare = value.trim_matches(['"', '\'']);
    let to_do = if line.is_section() && expected.contains("map") {
        let head = line.head();
        return Some(slip(
            at,
            format!("[[{head}]]: expected a section"),
            format!("write it with single brackets: [{head}]"),
        ));
    } else if expected.contains("struct") {
        // A key right under [model] or [check_loads] stands for a name.
        let section = section_at(text, at);
        let inside = section.trim_matches(['[', ']']);
        return Some(slip(
            at,
            format!("{section}: expected a section for each name, found the key {key}"),
            format!("head its lines [{inside}.\"NAME\"]"),
        ));
    } else if expected.contains("map") {
        format!("it is a section: a line [{key}], and below it a line for each")
    } else if expected.contains("sequence") {
        format!("write a list: {key} = [{}]", as_text(value))
    } else if expected.contains("string") {
        format!("write it in quotes: {key} = {}", as_text(value))
    } else if bare.replace(',', ".").parse::<f64>().is_ok() && bare != value {
        format!("write it without quotes: {key} = {}", bare.replace(',', "."))
    } else {
        "correct the line named".to_owned()
    };
    Some(slip(at, what, to_do))
}

/// A line that is no TOML, by the slip of the hand that made it so.
fn not_toml(message: &str, text: &str, at: usize) -> Option<Slip> {
    let line = Line::at(text, at);
    if message.starts_with("duplicate key") {
        return Some(twice(text, &line, at));
    }
    if message.starts_with("unclosed array") || message.starts_with("missing comma between array") {
        // Where it stopped can be lines below: where the list begins says more.
        let opened = text[..at].rfind('[').unwrap_or(at);
        return Some(slip(
            opened,
            "a list without its closing bracket, or without a comma between two of its words",
            "write it as factors = [\"filter\", \"shift\"]",
        ));
    }
    line.signs()
        .or_else(|| line.no_setting(at))
        .or_else(|| line.wrong_name(at))
        .or_else(|| line.wrong_value(message, at))
}

/// A key or section that stands twice.
fn twice(text: &str, line: &Line<'_>, at: usize) -> Slip {
    let name = |line: &Line<'_>| match line.is_section() {
        true => format!("the section [{}]", line.head()),
        false => line.key().to_owned(),
    };
    let own = name(line);
    let starts = [0].into_iter().chain(text[..line.start].match_indices('\n').map(|(n, _)| n + 1));
    let mut before = starts.take_while(|n| *n < line.start).enumerate();
    let last = before.by_ref().filter(|(_, start)| name(&Line::at(text, *start)) == own).last();
    let first = last.map_or(String::new(), |(n, _)| format!(", first in line {}", n + 1));
    let to_do = match line.is_section() {
        true => "put the lines of both under one",
        false => "keep one of the two lines",
    };
    slip(at, format!("{own} stands twice{first}"), to_do)
}

/// The head of the section in which a byte stands; empty before all of them.
fn section_at(text: &str, at: usize) -> &str {
    let start = Line::at(text, at).start;
    let mut heads = text[..start].lines().rev().map(str::trim).filter(|l| l.starts_with('['));
    heads.next().map_or("", |head| head.split('#').next().unwrap_or("").trim())
}

/// One line of a settings file.
struct Line<'t> {
    /// Where it begins.
    start: usize,
    /// Without blanks around it.
    text: &'t str,
    /// Where the sign `=` stands in it that is in no quotes.
    equals: Option<usize>,
}

impl<'t> Line<'t> {
    /// The line in which a byte stands.
    fn at(text: &'t str, at: usize) -> Self {
        let start = text[..at].rfind('\n').map_or(0, |n| n + 1);
        let whole = text[start..].lines().next().unwrap_or("");
        let start = start + (whole.len() - whole.trim_start().len());
        let text = whole.trim();
        let mut open = None;
        let equals = text.char_indices().find_map(|(n, c)| match (c, open) {
            ('=', None) => Some(n),
            ('"' | '\'', None) => {
                open = Some(c);
                None
            }
            (c, Some(quote)) if c == quote => {
                open = None;
                None
            }
            _ => None,
        });
        Self { start, text, equals }
    }

    fn is_section(&self) -> bool {
        self.text.starts_with('[')
    }

    /// What stands inside the brackets of a section.
    fn head(&self) -> &'t str {
        self.text.split('#').next().unwrap_or("").trim().trim_matches(['[', ']']).trim()
    }

    /// What stands before the sign `=`, or all of it.
    fn key(&self) -> &'t str {
        self.equals.map_or(self.text, |n| &self.text[..n]).trim()
    }

    /// What stands behind it, without a remark.
    fn value(&self) -> &'t str {
        let value = self.equals.map_or("", |n| &self.text[n + 1..]).trim();
        match value.starts_with(['"', '\'']) {
            true => value,
            false => value.split('#').next().unwrap_or("").trim(),
        }
    }

    /// Signs that look like others: typographic quotes, no-break blanks.
    fn signs(&self) -> Option<Slip> {
        let blank = self.text.find(['\u{a0}', '\u{2007}', '\u{202f}', '\u{200b}', '\u{feff}']);
        let outside = |n: &usize| self.text[..*n].matches('"').count().is_multiple_of(2);
        if let Some(n) = blank.filter(outside) {
            return Some(slip(
                self.start + n,
                "a blank that is none: a no-break space",
                "type an ordinary space there",
            ));
        }
        let curly = ['“', '”', '„', '‟', '‘', '’', '‚', '«', '»', '″'];
        let at = self.text.find(curly).filter(outside)?;
        let sign = self.text[at..].chars().next()?;
        let plain = self.text.replace(curly, "\"");
        Some(slip(
            self.start + at,
            format!("a typographic quote {sign}"),
            format!("write straight ones: {plain}"),
        ))
    }

    /// A line that is no setting at all: a remark with another sign, `key: value`, words, half a section.
    fn no_setting(&self, at: usize) -> Option<Slip> {
        if self.text.starts_with("//") || self.text.starts_with(';') {
            return Some(slip(self.start, "a line that is no setting", "begin a remark with #"));
        }
        if self.is_section() {
            let inside = self.head();
            let name = inside.split_once('.').map(|(_, name)| name.trim_matches(['"', '\'', ' ']));
            let plain = inside.split('.').next().unwrap_or("").trim();
            let head = match name {
                Some(name) => format!("[{plain}.\"{name}\"]"),
                None if inside.is_empty() => "[columns]".to_owned(),
                None => format!("[{}]", inside.split(']').next().unwrap_or("").trim()),
            };
            let closed = self.text.contains(']');
            let what = match (closed, inside.contains(']')) {
                (false, _) => "a section without its closing bracket",
                (true, true) => "a section with something behind its bracket",
                (true, false) => "a section that cannot be read",
            };
            return Some(slip(at, what, format!("write {head} in a line of its own")));
        }
        if self.equals.is_some() {
            return None;
        }
        let quotes = self.text.matches('"').count();
        if quotes % 2 == 1 {
            return Some(slip(
                self.start,
                "quotes that do not close",
                "give each text a quote before and one behind it; a text that holds one itself stands in single quotes",
            ));
        }
        let pair = self.text.split_once(':').or_else(|| self.text.split_once(char::is_whitespace));
        let to_do =
            match pair.filter(|(key, value)| is_bare(key.trim()) && !value.trim().is_empty()) {
                Some((key, value)) => format!("write {} = {}", key.trim(), as_value(value.trim())),
                None => "write it as key = value, or begin a remark with #".to_owned(),
            };
        Some(slip(self.start, "a line without the sign =", to_do))
    }

    /// A name before the sign `=` that needs quotes.
    fn wrong_name(&self, at: usize) -> Option<Slip> {
        let key = self.key();
        if key.is_empty() {
            return Some(slip(at, "no name before the sign =", "write it as key = value"));
        }
        let quoted = key.len() >= 2
            && (key.starts_with('"') && key.ends_with('"')
                || key.starts_with('\'') && key.ends_with('\''));
        if quoted && key.matches('"').count() <= 2 || key.split('.').all(|k| is_bare(k.trim())) {
            return None;
        }
        let bare = key.replace('"', "");
        Some(slip(
            self.start,
            format!("a name with blanks or signs that is not in quotes: {key}"),
            format!("write \"{bare}\" = {}", as_value(self.value())),
        ))
    }

    /// A value that is no TOML.
    fn wrong_value(&self, message: &str, at: usize) -> Option<Slip> {
        let (key, value) = (self.key(), self.value());
        let start = self.start + self.text.len() - self.text[self.equals? + 1..].trim_start().len();
        if value.is_empty() {
            return Some(slip(
                at,
                format!("{key}: nothing behind the sign ="),
                "write its value, or put a # before the line",
            ));
        }
        if message.contains("escape")
            || message.contains("unicode value")
            || message.contains("hexadecimal")
        {
            let bare = value.trim_matches('"');
            return Some(slip(
                at,
                format!(
                    "{key}: a backslash inside double quotes, where it begins a sign of its own"
                ),
                format!("write it in single quotes: {key} = '{bare}'"),
            ));
        }
        if let Some(quote) = value.chars().next().filter(|c| ['"', '\''].contains(c)) {
            let behind = value[1..].find(quote).map(|n| value[n + 2..].trim());
            return Some(match behind {
                None => slip(
                    at,
                    format!("{key}: a text without its closing quote"),
                    format!("write {key} = {value}{quote}"),
                ),
                Some(behind) if behind.starts_with([',', ';']) => slip(
                    at,
                    format!("{key}: {:?} behind the value", &behind[..1]),
                    "end the line behind the value: each setting has a line of its own",
                ),
                Some(_) => slip(
                    at,
                    format!("{key}: something behind the value"),
                    "write each setting in a line of its own, and quotes only around a text",
                ),
            });
        }
        if let Some(behind) = value.strip_prefix(['=', '>']) {
            let to_do = format!("write {key} = {}", as_value(behind.trim()));
            return Some(slip(start, format!("{key}: a second sign behind the ="), to_do));
        }
        let (what, instead) = number_meant(value)?;
        let to_do = match instead {
            Some(number) => format!("write {key} = {number}"),
            None => format!("write it in quotes: {key} = {}", as_text(value)),
        };
        Some(slip(start, format!("{key}: {what}"), to_do))
    }
}

/// What a value that is neither a text nor a number of TOML was meant to be: what is wrong with it, and the number
/// to write; `None` for the number where it is a text.
fn number_meant(value: &str) -> Option<(String, Option<String>)> {
    let digits = value.trim_end_matches([',', ';']);
    let number = |text: &str| text.parse::<f64>().ok().filter(|x| x.is_finite());
    let starts =
        value.starts_with(|c: char| c.is_ascii_digit() || ['.', ',', '-', '+'].contains(&c));
    if !starts {
        return Some((format!("a text that is not in quotes: {value}"), None));
    }
    let end =
        digits.find(|c: char| !(c.is_ascii_digit() || ['.', ',', '-', '+', 'e', 'E'].contains(&c)));
    let (figures, behind) = digits.split_at(end.unwrap_or(digits.len()));
    let plain = figures.replace(',', ".");
    let Some(x) = number(&plain) else {
        return Some((format!("a text that is not in quotes: {value}"), None));
    };
    // As it is written, with what TOML wants of it.
    let mut written = plain.trim_start_matches('+').to_owned();
    if written.starts_with('.') {
        written.insert(0, '0');
    }
    if written.ends_with('.') {
        written.push('0');
    }
    let leading = written.trim_start_matches('0');
    if written.len() > 1 && written.starts_with('0') && !written.starts_with("0.") {
        written = if leading.is_empty() { "0".to_owned() } else { leading.to_owned() };
    }
    let what = match behind.trim() {
        "" if figures.contains(',') => format!("a decimal comma: {value}"),
        "" => format!("a number that cannot be read: {value}"),
        "%" => {
            return Some((
                format!("a number with a sign behind it: {value}"),
                Some(format!(
                    "{written}, or as a fraction of 1 where the key asks for a share: {}",
                    x / 100.0
                )),
            ));
        }
        unit if unit.chars().count() <= 4 && !unit.contains(|c: char| c.is_ascii_digit()) => {
            format!("a number with something behind it: {value}; the unit is that of the key")
        }
        _ => return Some((format!("a text that is not in quotes: {value}"), None)),
    };
    Some((what, Some(written)))
}

/// Whether a name needs no quotes.
fn is_bare(name: &str) -> bool {
    !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-')
}

/// A value as TOML: a number as it is, anything else as a text.
fn as_value(value: &str) -> String {
    let known = value.starts_with(['"', '\'', '[']) || value.parse::<f64>().is_ok();
    if known { value.to_owned() } else { as_text(value) }
}

/// A text in quotes, once.
fn as_text(value: &str) -> String {
    let bare = value.trim_matches(['"', '\'']);
    toml::Value::String(bare.to_owned()).to_string()
}

/// What the reader found, in plain words.
fn kind_found(found: &str) -> String {
    let (kind, value) = found.split_once(' ').unwrap_or((found, ""));
    let value = value.trim_start_matches("point ").trim_matches('`');
    match kind {
        "string" => format!("the text {value}"),
        "integer" | "floating" => format!("the number {value}"),
        "boolean" => value.to_owned(),
        "sequence" => "a list".to_owned(),
        "map" => "a section".to_owned(),
        _ => found.to_owned(),
    }
}

/// What the reader expected, in plain words.
fn in_words(expected: &str) -> String {
    let words = [("a string", "a text"), ("a sequence", "a list"), ("a map", "a section")];
    words.iter().fold(expected.to_owned(), |text, (theirs, ours)| text.replace(theirs, ours))
}

/// The reader's words for kinds of numbers, in plain ones.
fn plainly(message: &str) -> String {
    let whole = "a whole number of 0 or more";
    let kinds = [
        ("u32", whole),
        ("u64", whole),
        ("usize", whole),
        ("i64", "a whole number"),
        ("f64", "a number"),
    ];
    kinds.iter().fold(message.to_owned(), |m, (kind, words)| m.replace(kind, words))
}
