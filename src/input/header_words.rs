//! The words of headers: the table of `header_words.txt`, and a header taken apart by it.
//!
//! Takes a header as written, gives what its words say ([`Said`]): the concepts of all of them and the unit.
//! Headers are too many to be listed whole: `Grenzw. ob. [mA]`, `limit_high_ma` and `I max` are the same few words
//! in another order, glued, cut short or with signs between. A header with a word that is not known says nothing:
//! `rated voltage` is another matter than `voltage`. Where a word may mean two things every way to read the header
//! is given, and [`super::header_meaning`] asks whether they come to the same.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use unicode_normalization::UnicodeNormalization as _;
use unicode_normalization::char::is_combining_mark;

use crate::records::Quantity;

/// Letters of a word that may be glued to another.
const GLUED_FROM: usize = 3;
/// Letters of the beginning of a word that stand for the whole, and of one with a point after it.
const BEGINNING_FROM: usize = 4;
const BEGINNING_WITH_POINT_FROM: usize = 3;
/// Letters of a word that is known without one that an export lost.
const LOST_FROM: usize = 5;
/// Letters of a stem, and most of an ending, in languages that change the ends of words.
const STEM_FROM: usize = 6;
const ENDING: usize = 3;
const INFLECTED: [&str; 3] = ["pl", "cs", "tr"];
/// Words that are glued although they are shorter.
const GLUED_SHORT: [&str; 3] = ["nr", "no", "id"];
/// Letters between the words of a compound or at their end.
const LINKS: [&str; 6] = ["es", "en", "er", "e", "s", "n"];
/// Ways to read one header that are followed.
const MOST_WAYS: usize = 16;
/// Letters of a header looked at; a longer one is a sentence.
const MOST_LETTERS: usize = 80;

/// Concepts beside those of the words: what the unit of a header measures.
const UNITS: [&str; 7] = [
    "unit_current",
    "unit_voltage",
    "unit_resistance",
    "unit_frequency",
    "unit_time",
    "unit_celsius",
    "unit_percent",
];

/// Concepts, each a bit by its place among all names of the table.
pub(super) type Concepts = u128;

/// What the words of a header say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Said {
    /// The concepts of all words, for each way to read them; none where a word is not known.
    pub(super) ways: BTreeSet<Concepts>,
    /// The unit it names.
    pub(super) unit: Option<Quantity>,
    /// What stands in brackets and is neither a unit nor known words; the ways are those of the words outside then.
    pub(super) strange: Option<String>,
}

/// A word of the table.
#[derive(Debug)]
struct Word {
    letters: Vec<char>,
    /// Where it may be broken by a sign.
    breaks: BTreeSet<usize>,
    concepts: Concepts,
    /// Whether its language changes the ends of words.
    is_inflected: bool,
}

/// The table, by the first letter of its words.
struct Table {
    words: BTreeMap<char, Vec<Word>>,
    names: Vec<String>,
}

static TABLE: LazyLock<Table> = LazyLock::new(|| Table::read(include_str!("header_words.txt")));

/// The bit of a concept that the table names.
pub(super) fn concept(name: &str) -> Concepts {
    let at = TABLE.names.iter().position(|n| n == name).expect("a name of the table");
    1 << at
}

impl Table {
    fn read(text: &str) -> Self {
        let names = UNITS.map(str::to_owned).to_vec();
        let mut table = Self { words: BTreeMap::new(), names };
        let mut concepts = 0;
        for line in text.lines().filter(|l| !l.is_empty() && !l.starts_with('#')) {
            if let Some(names) = line.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
                concepts = 0;
                for name in names.split(' ') {
                    let at = table.names.iter().position(|n| n == name).unwrap_or_else(|| {
                        table.names.push(name.to_owned());
                        table.names.len() - 1
                    });
                    concepts |= 1 << at;
                }
            } else if let Some((language, words)) = line.split_once(' ') {
                for word in words.split(',') {
                    table.add(word.trim(), concepts, INFLECTED.contains(&language));
                }
            }
        }
        table
    }

    fn add(&mut self, word: &str, concepts: Concepts, is_inflected: bool) {
        let umlauts = word.replace('ä', "ae").replace('ö', "oe").replace('ü', "ue");
        for spelling in BTreeSet::from([plain(word), plain(&umlauts)]) {
            let (mut letters, mut breaks) = (Vec::new(), BTreeSet::new());
            for c in spelling.chars() {
                if c == ' ' {
                    breaks.insert(letters.len());
                } else {
                    letters.push(c);
                }
            }
            let words = self.words.entry(letters[0]).or_default();
            match words.iter_mut().find(|w| w.letters == letters && w.concepts == concepts) {
                Some(word) => word.breaks.extend(breaks),
                None => words.push(Word { letters, breaks, concepts, is_inflected }),
            }
        }
    }
}

/// Lower case without accents, ß as ss; no-break and full-width signs as the usual ones.
pub(super) fn plain(text: &str) -> String {
    let plain: String = text
        .nfkd()
        .filter(|c| !is_combining_mark(*c) || !('\u{300}'..='\u{36f}').contains(c))
        .nfc()
        .collect();
    let letters = plain.chars().flat_map(char::to_lowercase);
    let letters = letters.filter(|c| !('\u{300}'..='\u{36f}').contains(c));
    letters.fold(String::new(), |mut all, c| {
        match c {
            'ß' => all.push_str("ss"),
            'ł' => all.push('l'),
            'ı' => all.push('i'),
            'ø' => all.push('o'),
            'đ' => all.push('d'),
            c => all.push(c),
        }
        all
    })
}

/// One piece of a header between signs.
struct Piece {
    text: String,
    /// Whether a point follows it.
    is_cut: bool,
}

/// What a header says, by its words.
pub(super) fn said(header: &str) -> Said {
    let mut unit = None;
    let (outside, inside) = by_brackets(header);
    let (mut pieces, mut texts) = (Vec::new(), Vec::new());
    for text in inside {
        match unit_of(&text) {
            Some(found) => unit = unit.or(Some(found)),
            None if is_date_pattern(&text) => {}
            None => {
                pieces.extend(split(&text));
                texts.push(text);
            }
        }
    }
    let mut words = split(&outside);
    if unit.is_none() {
        unit = take_unit(&mut words);
    }
    let before = Letters::of(&words).ways();
    words.extend(pieces);
    let ways = Letters::of(&words).ways();
    if ways.is_empty() && !before.is_empty() && !texts.is_empty() {
        return Said { ways: before, unit, strange: Some(texts.join(" ")) };
    }
    Said { ways, unit, strange: None }
}

/// What stands outside of brackets, and what in each pair.
fn by_brackets(header: &str) -> (String, Vec<String>) {
    let (mut outside, mut inside) = (String::new(), Vec::new());
    let mut depth = 0_u32;
    for c in header.nfkc().filter(|c| !super::cell::is_invisible(*c)) {
        match c {
            '[' | '(' | '（' | '【' | '［' | '{' => {
                depth += 1;
                outside.push(' ');
                inside.push(String::new());
            }
            ']' | ')' | '）' | '】' | '］' | '}' => depth = depth.saturating_sub(1),
            c => match inside.last_mut().filter(|_| depth > 0) {
                Some(text) => text.push(c),
                None => outside.push(c),
            },
        }
    }
    (outside, inside)
}

/// `dd.mm.yyyy`, `TT.MM.JJJJ`, `hh:mm`: how dates are written, which the dates show themselves.
fn is_date_pattern(text: &str) -> bool {
    let pieces: Vec<&str> =
        text.split(|c: char| !c.is_alphabetic()).filter(|p| !p.is_empty()).collect();
    let is_repeated = |piece: &&str| {
        let lower = piece.to_lowercase();
        let first = lower.chars().next().unwrap_or(' ');
        "dmyhstjagr".contains(first) && lower.len() > 1 && lower.chars().all(|c| c == first)
    };
    pieces.len() > 1 && pieces.iter().all(is_repeated)
}

/// A unit, in the spellings of cells and in words.
fn unit_of(text: &str) -> Option<Quantity> {
    // A sign for micro whose two bytes were read as a letter each.
    let text = text.trim().trim_start_matches("in ").trim_start_matches('Â');
    let known = Quantity::from_unit(text);
    known.or_else(|| {
        Some(match plain(text).as_str() {
            "amps" | "amp" | "ampere" | "amperes" | "安" | "安培" => Quantity::Current(0),
            "milliamps" | "milliampere" | "milliamperes" | "milliamp" | "ma ac" | "ma dc"
            | "maac" | "madc" | "ma rms" | "marms" | "ma eff" | "毫安" => Quantity::Current(-3),
            "microamps" | "microampere" | "microamperes" | "微安" => Quantity::Current(-6),
            "volts" | "volt" | "v ac" | "v dc" | "vrms" | "v rms" | "veff" | "v eff" | "伏"
            | "伏特" => Quantity::Voltage(0),
            "kilovolts" | "kilovolt" | "kv ac" | "kv dc" | "kvac" | "kvdc" | "kvrms" | "kveff"
            | "千伏" => Quantity::Voltage(3),
            "sek" | "sekunden" | "secs" | "second" | "seconde" | "secondes" | "secondi"
            | "segundos" | "seg" | "sekund" | "sekundy" | "sekundes" | "saniye" | "秒" => {
                Quantity::Time(0)
            }
            "hertz" | "赫兹" => Quantity::Frequency(0),
            "°c" | "celsius" | "grad c" | "摄氏度" => Quantity::Celsius,
            "% r.f." | "% rf" | "% hr" | "% ur" | "percent" | "prozent" => Quantity::Percent,
            _ => return None,
        })
    })
}

/// Pieces between signs, and between small and capital letters: `LimitHigh_mA` is three.
fn split(text: &str) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut now = String::new();
    let mut push = |now: &mut String, is_cut: bool| {
        if !now.is_empty() {
            by_case(&std::mem::take(now), is_cut, &mut pieces);
        }
    };
    for c in text.chars() {
        match c {
            '°' | 'º' if plain(&now) == "n" => {
                now.push('o');
                push(&mut now, false);
            }
            '#' => {
                push(&mut now, false);
                now.push_str("no");
                push(&mut now, false);
            }
            c if c.is_alphanumeric() || "%°Ωµμ\u{fffd}".contains(c) || is_combining_mark(c) => {
                if now.chars().last().is_some_and(|last| is_wide(last) != is_wide(c) && c != 'ー')
                {
                    push(&mut now, false);
                }
                now.push(c);
            }
            c => push(&mut now, c == '.'),
        }
    }
    push(&mut now, false);
    pieces
}

/// Whether a character belongs to a writing without spaces.
fn is_wide(c: char) -> bool {
    c >= '\u{2e80}'
}

fn by_case(piece: &str, is_cut: bool, pieces: &mut Vec<Piece>) {
    if unit_of(piece).is_some() && piece.chars().count() > 1 {
        pieces.push(Piece { text: piece.to_owned(), is_cut });
        return;
    }
    // A unit in its own case behind a word in small letters: `LeakagemA`.
    for unit in ["mA", "uA", "µA", "μA", "kV", "Hz"] {
        if let Some(word) = piece.strip_suffix(unit).filter(|w| w.chars().count() > 1) {
            by_case(word, false, pieces);
            pieces.push(Piece { text: unit.to_owned(), is_cut });
            return;
        }
    }
    let letters: Vec<char> = piece.chars().collect();
    let mut from = 0;
    for at in 1..letters.len() {
        let (before, here) = (letters[at - 1], letters[at]);
        let next_is_small = letters.get(at + 1).is_some_and(|c| c.is_lowercase());
        if here.is_uppercase()
            && (before.is_lowercase()
                || (before.is_uppercase() && next_is_small && at + 1 < letters.len()))
            && !(before.is_uppercase() && at - from < 2)
        {
            pieces.push(Piece { text: letters[from..at].iter().collect(), is_cut: false });
            from = at;
        }
    }
    pieces.push(Piece { text: letters[from..].iter().collect(), is_cut });
}

/// Takes the unit from the pieces: a lone letter only at their end, where it is no word.
fn take_unit(pieces: &mut Vec<Piece>) -> Option<Quantity> {
    let last = pieces.len().checked_sub(1)?;
    let at = (0..pieces.len()).rev().find(|&n| {
        let text = &pieces[n].text;
        unit_of(text).is_some() && (text.chars().count() > 1 || n == last) && !pieces[n].is_cut
    })?;
    let unit = unit_of(&pieces[at].text);
    pieces.remove(at);
    unit
}

/// The letters of a header's pieces in a row.
struct Letters {
    all: Vec<char>,
    /// Whether a piece begins here; one more than letters.
    begins: Vec<bool>,
    /// Whether the piece of this letter ends in a point.
    is_cut: Vec<bool>,
}

/// Ways to read the letters from one on: concepts by the cost of the words used.
#[derive(Debug, Clone, Default)]
struct Ways {
    cost: u32,
    concepts: BTreeSet<Concepts>,
}

impl Ways {
    fn offer(&mut self, cost: u32, concepts: impl Iterator<Item = Concepts>) {
        if self.concepts.is_empty() || cost < self.cost {
            self.cost = cost;
            self.concepts.clear();
        }
        if cost == self.cost {
            self.concepts.extend(concepts);
            while self.concepts.len() > MOST_WAYS {
                self.concepts.pop_last();
            }
        }
    }
}

impl Letters {
    fn of(pieces: &[Piece]) -> Self {
        let mut letters = Self { all: Vec::new(), begins: Vec::new(), is_cut: Vec::new() };
        for piece in pieces {
            for (n, c) in plain(&piece.text).chars().enumerate() {
                letters.all.push(c);
                letters.begins.push(n == 0);
                letters.is_cut.push(piece.is_cut);
            }
        }
        letters.begins.push(true);
        letters
    }

    /// The ways to read all letters that take fewest words; none where they cannot all be read.
    fn ways(&self) -> BTreeSet<Concepts> {
        let end = self.all.len();
        if end > MOST_LETTERS {
            return BTreeSet::new();
        }
        // Forwards to where words can begin at all: most cells that are no header end here.
        let mut steps: Vec<Vec<(usize, u32, Concepts)>> = vec![Vec::new(); end];
        let mut is_reached = vec![false; end + 1];
        is_reached[0] = true;
        for at in 0..end {
            if !is_reached[at] {
                continue;
            }
            for (to, cost, concepts) in self.words_at(at) {
                // The end of a word may be inflected, or linked to the next.
                for (link, more) in std::iter::once((0, 0)).chain(self.links_at(to).map(|n| (n, 3)))
                {
                    is_reached[to + link] = true;
                    steps[at].push((to + link, cost + more, concepts));
                }
            }
        }
        let mut from: Vec<Ways> = vec![Ways::default(); end + 1];
        from[end].concepts.insert(0);
        for at in (0..end).rev() {
            let mut here = Ways::default();
            for (to, cost, concepts) in &steps[at] {
                let rest = &from[*to];
                if !rest.concepts.is_empty() {
                    here.offer(cost + rest.cost, rest.concepts.iter().map(|c| c | concepts));
                }
            }
            from[at] = here;
        }
        std::mem::take(&mut from[0].concepts)
    }

    /// Words that stand at a letter: where each ends, what it costs and what it says.
    fn words_at(&self, at: usize) -> Vec<(usize, u32, Concepts)> {
        let known = TABLE.words.get(&self.all[at]).map_or(&[][..], Vec::as_slice);
        let mut found = Vec::new();
        for word in known {
            let to = at + word.letters.len();
            if to <= self.all.len() && self.reads(word, at, to) && self.stands(word, at, to) {
                let glued = u32::from(!self.begins[at]) + u32::from(!self.begins[to]);
                found.push((to, 10 + glued, word.concepts));
            }
        }
        if self.begins[at] {
            found.extend(self.beginning(at, known));
            found.extend(self.inflected(at, known));
        }
        found
    }

    /// Whether the letters are those of a word, but for what an export lost of a longer one.
    fn reads(&self, word: &Word, at: usize, to: usize) -> bool {
        let lost = word.letters.len() >= LOST_FROM;
        let mut both = self.all[at..to].iter().zip(&word.letters);
        both.all(|(here, letter)| here == letter || (lost && *here == '\u{fffd}'))
    }

    /// Whether a word may stand here: whole, or glued to its neighbours where it is long enough.
    fn stands(&self, word: &Word, at: usize, to: usize) -> bool {
        let is = |short: &&str| word.letters.iter().copied().eq(short.chars());
        let may_glue = word.letters.len() >= GLUED_FROM
            || is_wide(word.letters[0])
            || GLUED_SHORT.iter().any(is);
        let edges = (self.begins[at] && self.begins[to]) || may_glue;
        let lone = |n: usize| self.begins[n] && self.begins[n + 1];
        let initials = (at..to).all(lone);
        edges
            && (at + 1..to).all(|n| {
                !self.begins[n]
                    || word.breaks.contains(&(n - at))
                    || initials
                    || is_wide(self.all[n])
            })
    }

    /// A piece that is the beginning of words which all say the same.
    fn beginning(&self, at: usize, known: &'static [Word]) -> Option<(usize, u32, Concepts)> {
        let to = (at + 1..self.begins.len()).find(|&n| self.begins[n])?;
        let enough = if self.is_cut[at] { BEGINNING_WITH_POINT_FROM } else { BEGINNING_FROM };
        if to - at < enough {
            return None;
        }
        let mut longer = known
            .iter()
            .filter(|w| w.breaks.is_empty() && w.letters.starts_with(&self.all[at..to]))
            .map(|w| w.concepts);
        let first = longer.next()?;
        longer.all(|c| c == first).then_some((to, 15, first))
    }

    /// A piece that is a word of a language of many endings with another one.
    fn inflected(
        &self,
        at: usize,
        known: &'static [Word],
    ) -> impl Iterator<Item = (usize, u32, Concepts)> {
        let to = (at + 1..self.begins.len()).find(|&n| self.begins[n]).unwrap_or(at);
        let piece = self.all[at..to].to_vec();
        known.iter().filter_map(move |word| {
            let same = word.letters.iter().zip(&piece).take_while(|(a, b)| a == b).count();
            let ends = |length: usize| length - same <= ENDING;
            let fits = word.is_inflected
                && word.breaks.is_empty()
                && same >= STEM_FROM
                && ends(word.letters.len())
                && ends(piece.len());
            fits.then_some((to, 16, word.concepts))
        })
    }

    fn links_at(&self, at: usize) -> impl Iterator<Item = usize> + '_ {
        LINKS.iter().filter_map(move |link| {
            let to = at + link.len();
            let stands = to <= self.all.len()
                && !self.begins[at]
                && self.all[at..to].iter().copied().eq(link.chars())
                && (at + 1..to).all(|n| !self.begins[n]);
            stands.then_some(link.len())
        })
    }
}
