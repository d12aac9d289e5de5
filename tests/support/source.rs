//! The source as text, for tests that hold how it is built.

use std::collections::BTreeMap;

use super::run::{committed, contents};

/// One file of `src`.
pub struct Source {
    /// As it stands.
    pub text: String,
    /// Without comments and without tests of its own; every line keeps its place.
    pub code: String,
    /// The same, with nothing inside quotes.
    pub bare: String,
}

/// Every file of `src` by its path there.
pub fn sources() -> BTreeMap<String, Source> {
    let rust = contents(&committed("src")).into_iter().filter(|(name, _)| name.ends_with(".rs"));
    rust.map(|(name, bytes)| (name, Source::new(String::from_utf8(bytes).expect("UTF-8"))))
        .collect()
}

impl Source {
    /// Takes a text apart.
    pub fn new(text: String) -> Self {
        let shipped = |text: String| match text.find("#[cfg(test)]") {
            Some(at) => text[..at].to_owned(),
            None => text,
        };
        let (code, bare) = (shipped(blanked(&text, true)), shipped(blanked(&text, false)));
        Self { text, code, bare }
    }
}

/// The text with spaces for comments and, unless they are kept, for what stands in quotes.
fn blanked(text: &str, keep_quoted: bool) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    while at < chars.len() {
        let (end, quoted) = piece(&chars, at);
        for c in &chars[at..end] {
            let keep =
                *c == '\n' || quoted == Piece::Code || quoted == Piece::Quoted && keep_quoted;
            out.push(if keep { *c } else { ' ' });
        }
        at = end;
    }
    out
}

#[derive(PartialEq)]
enum Piece {
    Code,
    Quoted,
    Comment,
}

/// The piece that begins at `at`: after its end, and what it is.
fn piece(chars: &[char], at: usize) -> (usize, Piece) {
    let rest = &chars[at..];
    let until = |end: &[char], from: usize| {
        let found = rest[from..].windows(end.len()).position(|w| w == end);
        at + found.map_or(rest.len(), |n| from + n + end.len())
    };
    let in_a_word = at > 0 && (chars[at - 1].is_alphanumeric() || chars[at - 1] == '_');
    match rest {
        ['/', '/', ..] => (until(&['\n'], 2), Piece::Comment),
        ['/', '*', ..] => (until(&['*', '/'], 2), Piece::Comment),
        ['"', ..] => (at + quoted(rest), Piece::Quoted),
        ['r', '"' | '#', ..] if !in_a_word => {
            let signs = rest[1..].iter().take_while(|c| **c == '#').count();
            if rest.get(1 + signs) != Some(&'"') {
                return (at + 1, Piece::Code);
            }
            let end: Vec<char> = std::iter::once('"').chain(vec!['#'; signs]).collect();
            (until(&end, signs + 2), Piece::Quoted)
        }
        ['\'', '\\', 'u', ..] => (until(&['\''], 3), Piece::Quoted),
        // `'\''` too.
        ['\'', '\\', _, ..] => (until(&['\''], 3), Piece::Quoted),
        ['\'', _, '\'', ..] => (at + 3, Piece::Quoted),
        _ => (at + 1, Piece::Code),
    }
}

/// Length of the quoted text at the beginning.
fn quoted(rest: &[char]) -> usize {
    let mut at = 1;
    while at < rest.len() && rest[at] != '"' {
        at += if rest[at] == '\\' { 2 } else { 1 };
    }
    at + 1
}

/// The words (names, numbers) of a text, each with the place after its end.
pub fn words(text: &str) -> impl Iterator<Item = (&str, usize)> {
    let is_sign = |c: char| !(c.is_alphanumeric() || c == '_');
    text.split(is_sign)
        .filter(|word| !word.is_empty())
        .map(move |word| (word, word.as_ptr() as usize - text.as_ptr() as usize + word.len()))
}

#[test]
fn comments_and_quotes_are_blanked_and_lines_stay() {
    let text = "let a = \"fn // b\\\"\"; // fn c\nlet r = r#\"x \"y\" { \"#; /* fn\n d */ let q = '\"'; let n = '\\''; &'a str\n#[cfg(test)]\nmod tests { }";
    let source = Source::new(text.to_owned());
    let want = "let a =        ; \nlet r =  ; \n let q = ; let n = ; &'a str\n";
    let squeezed = |t: &str| {
        t.split('\n')
            .map(|l| l.split_whitespace().collect::<Vec<_>>().join(" "))
            .collect::<Vec<_>>()
    };
    assert_eq!(squeezed(&source.bare), squeezed(want));
    assert!(source.code.contains("fn // b") && !source.code.contains("fn c"));
}
