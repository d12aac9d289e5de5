//! Which column says what came of a test, and whether its words say it.
//!
//! Failed units that pass unseen are the worst that reading can do, so nothing is a pass by default here. Words of the
//! trade or of the settings are the outcome. Codes and flags (`0`, `TRUE`, `x`, a blank) are none by themselves, since
//! `FALSE` under `Failed` is a pass: the table is refused with the lines of the settings that say what they mean, filled
//! in only where the header's own sense decides it. Before outcomes are derived from readings, each column that could
//! hold them is asked for: one that the header's sense makes an outcome, or that is filled with a few values one of
//! which holds most rows. Of two columns that differ neither is taken.

use super::{AskedOutcome, AskedWord, Choice, DERIVED, Undecided};
use crate::input::columns::{By, Field, squeeze};
use crate::input::header_words::plain;
use crate::input::layout::values::{Values, is_often_something_else};
use crate::input::outcomes::Said;
use crate::input::taken::Sure;
use crate::note::Note;
use crate::records::Outcome;

/// Different values of a column of outcomes whose words are not known, a blank among them.
const MOST_CODES: usize = 12;
/// The same where no header says that it may be one.
const MOST_UNSAID: usize = 8;
/// Rows from which on a value can be said to hold most of them.
const LEAST_ROWS: usize = 8;

/// Values that affirm what a header says, and values that deny it. Common practice, no source.
const AFFIRM: &[&str] = &[
    "true",
    "t",
    "yes",
    "y",
    "ja",
    "j",
    "oui",
    "o",
    "si",
    "sí",
    "sì",
    "s",
    "tak",
    "sim",
    "ano",
    "evet",
    "是",
    "はい",
    "wahr",
    "vrai",
    "vero",
    "verdadero",
    "prawda",
    "on",
    "1",
    "-1",
    "x",
    "✓",
    "✔",
    "*",
];
const DENY: &[&str] = &[
    "false",
    "f",
    "no",
    "n",
    "nein",
    "non",
    "nie",
    "não",
    "nao",
    "ne",
    "nee",
    "hayır",
    "否",
    "无",
    "いいえ",
    "falsch",
    "faux",
    "falso",
    "fałsz",
    "off",
    "0",
    "none",
    "keine",
    "kein",
    "aucun",
    "nessuno",
    "ninguno",
    "brak",
];
/// Beginnings of words of a header that affirms a failure, and of one that affirms a pass, without accents. Common
/// practice, no source.
const FAILS: &[&str] = &[
    "fail",
    "fault",
    "defect",
    "defekt",
    "alarm",
    "tripped",
    "error",
    "reject",
    "fehler",
    "ausfall",
    "ausschuss",
    "schlecht",
    "beanstand",
    "defaut",
    "erreur",
    "rebut",
    "echec",
    "panne",
    "guasto",
    "difett",
    "errore",
    "scart",
    "fallo",
    "falla",
    "defecto",
    "rechaz",
    "blad",
    "usterk",
    "wadliw",
    "falha",
    "defeit",
    "rejeit",
    "fout",
    "afkeur",
    "storing",
    "zavad",
    "vadn",
    "chyb",
    "zmetek",
    "hata",
    "ariza",
    "scrap",
    "nonconform",
    "不良",
    "不合格",
    "故障",
    "缺陷",
    "异常",
    "报警",
    "エラー",
    "異常",
    "アラーム",
];
const FAILS_WHOLE: &[&str] =
    &["trip", "trips", "err", "nok", "ng", "nogo", "ko", "bad", "nio", "wada", "vada", "niok"];
const PASSES: &[&str] = &[
    "pass",
    "accept",
    "bestand",
    "conform",
    "reuss",
    "superat",
    "aprobad",
    "aprovad",
    "zgodn",
    "goedgekeurd",
    "vyhov",
    "合格",
    "良品",
];
const PASSES_WHOLE: &[&str] = &[
    "ok", "okay", "good", "gut", "io", "bon", "buono", "apto", "idoneo", "dobry", "goed", "gecti",
    "uygun",
];
/// Words that turn the sense of a header.
const NOT: &[&str] = &[
    "not", "no", "non", "without", "free", "nicht", "kein", "keine", "ohne", "sans", "pas",
    "senza", "sin", "bez", "nie", "nao", "niet", "zonder",
];

/// What a header affirms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sense {
    Passes,
    Fails,
    /// It is about an outcome and affirms neither.
    Outcome,
    /// Nothing of an outcome.
    None,
}

/// What a word says under a header: nothing, a pass or a failure.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Says {
    Nothing,
    Pass,
    Failure,
}

impl Choice<'_> {
    /// The outcome is what a header or the settings name, else a column of outcome words; else it is derived, if no
    /// column could be it.
    pub(super) fn outcome(&mut self) {
        if let Some((taken, _)) = self.column(Field::Outcome) {
            self.words_of_outcome(taken);
            if self.headings[taken].by < By::Settings {
                (0..self.names.len()).for_each(|other| self.two_outcomes(taken, other));
            }
            return;
        }
        if self.has(Field::Outcome) {
            return;
        }
        let plain = self.free_columns(|v| v.are_plainly_outcomes());
        let suspects = self.suspects();
        if let [at] = plain[..]
            && !self.headings[at].is_other
            && (self.tells(at) || suspects == [at])
        {
            self.only(Field::Outcome, &plain, "outcome words");
            return;
        }
        self.ask_or_derive(&suspects);
    }

    /// Refuses to derive outcomes while a column could say them; else tells that they are derived.
    pub(super) fn ask_or_derive(&mut self, suspects: &[usize]) {
        let Some(&first) = suspects.first() else {
            if self.has(Field::Reading) {
                self.chosen.told.push(Note::first(DERIVED));
            }
            return;
        };
        let lines = match self.lines(first) {
            lines if lines.is_empty() => lines,
            lines => format!(" and {lines}"),
        };
        let others = match &suspects[1..] {
            [] => String::new(),
            others => format!(
                "; {} may be it as well, for each the same is to be said",
                self.quoted(others)
            ),
        };
        self.ask(
            first,
            "a column that says what came of each test".to_owned(),
            format!("{} with {}{others}", self.quoted(&[first]), self.counted(first)),
            format!(
                "say in leakdrift.toml what it is: under [columns] {:?} = \"outcome\"{}; or, where it says something else, {:?} = \"ignored\" under [columns]",
                self.names[first],
                lines,
                self.names[first],
            ),
        );
    }

    /// Leaves the table undecided until it is said what a column's words mean.
    fn ask(&mut self, at: usize, expected: String, found: String, next: String) {
        if self.chosen.undecided.is_none() {
            let (header, words) = (self.names[at].clone(), self.asked_words(at));
            let asked = Some(AskedOutcome { header, words });
            self.chosen.undecided = Some(Undecided { expected, found, next, asked });
        }
    }

    /// Columns not used that could say what came of a test, the likelier first.
    pub(super) fn suspects(&self) -> Vec<usize> {
        let mut found: Vec<(u8, usize)> =
            (0..self.names.len()).filter_map(|at| Some((self.rank(at)?, at))).collect();
        found.sort_unstable();
        found.into_iter().map(|(_, at)| at).collect()
    }

    /// How likely a column is the outcome, the likeliest first; `None` where it is none.
    fn rank(&self, at: usize) -> Option<u8> {
        let (heading, values) = (&self.headings[at], &self.values[at]);
        let is_reason = self.column(Field::Reason).is_some_and(|(reason, _)| reason == at);
        let is_used = self.chosen.taken[at].sure != Sure::NotUsed && !is_reason;
        let is_measure = heading.unit.is_some() || values.are_units();
        let is_time = values.are_dates() || values.are_clocks();
        if is_used || heading.by >= By::Name || is_measure || is_time || values.filled == 0 {
            return None;
        }
        let all = values.different();
        let is_code = all.len() <= MOST_CODES && !values.have_fractions();
        let is_constant = all.len() == 1;
        let are_words = values.are_outcomes();
        if values.are_plainly_outcomes() {
            // One that always says the same is the likeliest to be about another matter.
            return Some(if is_constant { 5 } else { u8::from(heading.is_other) });
        }
        let sense = self.sense(at);
        if sense != Sense::None || is_reason {
            let says = are_words || all.iter().all(|(word, _)| is_flag(word));
            return (is_code && (!is_constant || says)).then_some(2);
        }
        if are_words {
            return Some(3);
        }
        let rows = values.cells.len();
        let most = all.first().map_or(0, |(_, n)| *n);
        let is_known = heading.is_other || !heading.may_be.is_empty();
        let few = all.len() <= MOST_UNSAID && !is_constant && !values.have_fractions();
        (!is_known && few && self.has(Field::Reading) && rows >= LEAST_ROWS && most * 2 > rows)
            .then_some(4)
    }

    /// Refuses a table whose outcomes are codes or flags that nothing explains.
    fn words_of_outcome(&mut self, at: usize) {
        let (values, sense) = (&self.values[at], self.sense(at));
        let open = |word: &str| {
            let is_said = self.says(word) != Says::Nothing;
            !self.is_mapped(word)
                && is_code(word)
                && !(is_said && [Sense::Passes, Sense::Outcome].contains(&sense))
        };
        let different = values.different();
        let words = || different.iter().filter(|(word, _)| !word.is_empty());
        // `F` beside `P` is a word, and a lone `x` among words costs its row.
        let are_flags = words().all(|(word, _)| is_flag(word) || self.is_mapped(word));
        let blank = different.iter().find(|(word, _)| word.is_empty());
        let rows = values.cells.len();
        let is_blank = |n: usize| rows >= LEAST_ROWS && n * 2 > rows && !self.is_mapped("");
        let is_open = blank.is_some_and(|(_, n)| is_blank(*n))
            || words().any(|(word, n)| open(word) && (are_flags || n * 2 > values.filled));
        if !is_open {
            return;
        }
        let lines = self.lines(at);
        self.ask(
            at,
            format!("outcome words in column {}", self.quoted(&[at])),
            self.counted(at),
            format!("say in leakdrift.toml what they mean: {lines}"),
        );
    }

    /// Refuses a table two of whose columns say outcomes that differ; of one that is about another matter it is told.
    fn two_outcomes(&mut self, taken: usize, other: usize) {
        let is_reason = self.column(Field::Reason).is_some_and(|(reason, _)| reason == other);
        let is_free = self.is_free(other) || is_reason;
        if other == taken || !is_free || !self.values[other].are_outcomes() {
            return;
        }
        let is_plain = self.values[other].are_plainly_outcomes();
        // What codes mean under one header they need not mean under another.
        let fails_plainly = |word: &str| {
            self.says(word) == Says::Failure && !is_often_something_else(word) && !is_code(word)
        };
        if !is_plain && !self.values[other].different().iter().any(|(word, _)| fails_plainly(word))
        {
            return;
        }
        let said = |at: usize, row: usize| self.says(self.values[at].cells[row]);
        let rows = self.values[taken].cells.len();
        let lost = (0..rows)
            .filter(|row| said(taken, *row) == Says::Pass && said(other, *row) == Says::Failure)
            .count();
        let more = (0..rows)
            .filter(|row| said(taken, *row) == Says::Failure && said(other, *row) == Says::Pass)
            .count();
        let (one, two) = (self.quoted(&[taken]), self.quoted(&[other]));
        if self.headings[other].is_other && !is_reason {
            if lost > 0 {
                self.chosen.told.push(Note::first(format!(
                    "column {two} is not used and says a failure where column {one} says a pass, {lost} times among the first {rows} rows: say under [columns] which is the outcome",
                )));
            }
        } else if lost > 0 || (is_plain && more > 0) {
            let (times, fails, passes) =
                if lost > 0 { (lost, &two, &one) } else { (more, &one, &two) };
            self.undecided(
                "one column that is the outcome".to_owned(),
                format!("{one} and {two}, which differ: {fails} says a failure where {passes} says a pass, {times} times among the first {rows} rows"),
                format!("say which under [columns]: {one} = \"outcome\" or {two} = \"outcome\""),
            );
        }
    }

    /// Whether it holds passes and failures.
    fn tells(&self, at: usize) -> bool {
        let all = self.values[at].different();
        let any = |says: Says| all.iter().any(|(word, _)| self.says(word) == says);
        any(Says::Pass) && any(Says::Failure)
    }

    fn says(&self, word: &str) -> Says {
        let mapped = self.headers.values.get(Field::Outcome.name());
        let word = mapped.and_then(|words| words.get(&squeeze(word))).map_or(word, String::as_str);
        match self.headers.outcomes.as_ref().and_then(|o| o.said(word)) {
            None => Says::Nothing,
            Some(Said::Class(Outcome::Pass)) => Says::Pass,
            Some(_) => Says::Failure,
        }
    }

    fn is_mapped(&self, word: &str) -> bool {
        self.headers.outcome_words.contains(&squeeze(word))
    }

    /// Whether codes in a column might be outcomes: by its header, or as no header says what they are.
    pub(super) fn may_be_code(&self, at: usize) -> bool {
        let heading = &self.headings[at];
        let is_known = heading.is_other || !heading.may_be.is_empty();
        !is_known || self.sense(at) != Sense::None
    }

    /// What a header affirms, by its words.
    fn sense(&self, at: usize) -> Sense {
        let name = self.names[at].as_str();
        match self.says(name) {
            Says::Pass => return Sense::Passes,
            Says::Failure => return Sense::Fails,
            Says::Nothing => {}
        }
        let simple = plain(&spaced(name));
        let words: Vec<&str> =
            simple.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
        let has = |beginnings: &[&str], whole: &[&str]| {
            words.iter().any(|w| whole.contains(w) || beginnings.iter().any(|b| begins(w, b)))
        };
        let turned = words.iter().any(|w| NOT.contains(w));
        match (has(FAILS, FAILS_WHOLE), has(PASSES, PASSES_WHOLE)) {
            (true, false) if !turned => Sense::Fails,
            (false, true) if !turned => Sense::Passes,
            (false, false) if !self.may_be_outcome[at] => Sense::None,
            _ => Sense::Outcome,
        }
    }

    /// The lines under `[outcomes]` that say what the values of a column mean; empty where all are known.
    fn lines(&self, at: usize) -> String {
        let lines: Vec<String> = self
            .asked_words(at)
            .iter()
            .map(|asked| format!("{:?} = {:?}", asked.word, asked.meant))
            .collect();
        match &lines[..] {
            [] => String::new(),
            lines => format!(
                "under [outcomes] {}, each pass, fail or a kind of failure",
                lines.join(", ")
            ),
        }
    }

    /// The values of a column whose meaning is not known, each with what it likely means.
    fn asked_words(&self, at: usize) -> Vec<AskedWord> {
        let (sense, all) = (self.sense(at), self.values[at].different());
        let most = all.first().map_or("", |(word, _)| word);
        let is_denied = |word: &str| word.is_empty() || DENY.contains(&&*squeeze(word));
        let of_known_sense = [Sense::Passes, Sense::Outcome].contains(&sense);
        all.iter()
            .filter(|(word, _)| {
                let is_known =
                    self.says(word) != Says::Nothing && (of_known_sense || !is_flag(word));
                !is_known && !self.is_mapped(word)
            })
            .take(MOST_CODES)
            .map(|(word, _)| {
                let affirms = AFFIRM.contains(&&*squeeze(word));
                let meant = match sense {
                    Sense::Fails if is_denied(word) => "pass",
                    Sense::Fails if affirms || is_denied(most) => "fail",
                    Sense::Passes if affirms => "pass",
                    Sense::Passes if is_denied(word) && !word.is_empty() => "fail",
                    _ => "…",
                };
                AskedWord { word: crate::input::layout::header_text(word), meant }
            })
            .collect()
    }

    /// The values of a column with how often each stands there, for a message.
    fn counted(&self, at: usize) -> String {
        let all = self.values[at].different();
        let shown = all.iter().take(4).map(|(word, n)| match *word {
            "" => format!("a blank in {n}"),
            word => format!("{:?} in {n}", crate::input::layout::header_text(word)),
        });
        let more = if all.len() > 4 { " and others" } else { "" };
        let rows = self.values[at].cells.len();
        format!("{}{more} of the first {rows} rows", shown.collect::<Vec<_>>().join(", "))
    }
}

fn is_flag(word: &str) -> bool {
    let word = squeeze(word);
    word.is_empty() || AFFIRM.contains(&&*word) || DENY.contains(&&*word)
}

/// Whether a word says something only where it is known what of.
pub(in crate::input) fn is_code(word: &str) -> bool {
    is_flag(word) || word.bytes().all(|b| b.is_ascii_digit())
}

/// Whether a word begins so; in scripts without spaces whether it holds it.
fn begins(word: &str, beginning: &str) -> bool {
    word.starts_with(beginning) || !beginning.is_ascii() && word.contains(beginning)
}

/// `isDefective` as two words.
fn spaced(name: &str) -> String {
    let mut all = String::new();
    let mut was_small = false;
    for c in name.chars() {
        if c.is_uppercase() && was_small {
            all.push(' ');
        }
        was_small = c.is_lowercase();
        all.push(c);
    }
    all
}

/// Whether numbers of a column stand for something: few, whole, and no reading.
pub(super) fn are_codes(values: &Values<'_>, is_other_reading: bool) -> bool {
    let different = values.different().len();
    let few = different <= 3 || (different <= MOST_CODES && different * 4 <= values.filled);
    !values.have_fractions() && few && (is_other_reading || different <= 2)
}
