//! One date and time as written anywhere → what it says, before the order of day and month is known.
//!
//! A text is cut into numbers, words and signs, and read from the left: date then time then zone, or time first, or
//! the year last behind both (`Nov 29 14:30:05 2026`). What does not fit to its end is no date; nothing is
//! skipped but names of weekdays and words that say nothing ([`super::names`]).

use super::names::{Word, is_after_time, is_filler, is_weekday, month, zone};
use super::{Moment, WrittenDate, Zone};

/// Years that a number without signs between its parts may begin or end with.
const YEARS: std::ops::Range<u32> = 1990..2100;
/// Most pieces of a date.
const MOST: usize = 40;

#[derive(Debug, Clone, Copy)]
enum Piece {
    Number { value: u64, digits: u8 },
    Word(Word),
    Sign(char),
}

/// The pieces of a text, without blanks.
struct Pieces {
    all: [Piece; MOST],
    len: usize,
    at: usize,
}

impl Pieces {
    fn new(text: &str) -> Option<Self> {
        let mut pieces = Self { all: [Piece::Sign(' '); MOST], len: 0, at: 0 };
        let mut rest = text;
        while let Some(first) = rest.chars().next() {
            let run = |belongs: fn(char) -> bool| rest.find(|c| !belongs(c)).unwrap_or(rest.len());
            let (piece, len) = if first.is_ascii_digit() {
                let len = run(|c| c.is_ascii_digit());
                let value = rest[..len].parse().ok()?;
                (Some(Piece::Number { value, digits: u8::try_from(len).ok()? }), len)
            } else if is_letter(first) {
                let len = run(is_letter);
                (Some(Piece::Word(Word::new(&rest[..len])?)), len)
            } else if first.is_alphabetic() {
                // Scripts without spaces between words: sign by sign.
                let len = first.len_utf8();
                (Some(Piece::Word(Word::new(&rest[..len])?)), len)
            } else if first.is_whitespace() {
                (None, first.len_utf8())
            } else {
                (Some(Piece::Sign(plain_sign(first))), first.len_utf8())
            };
            if let Some(piece) = piece {
                *pieces.all.get_mut(pieces.len)? = piece;
                pieces.len += 1;
            }
            rest = &rest[len..];
        }
        Some(pieces)
    }

    fn peek(&self, ahead: usize) -> Option<Piece> {
        (self.at + ahead < self.len).then(|| self.all[self.at + ahead])
    }

    fn is_done(&self) -> bool {
        self.at == self.len
    }

    /// Takes a number of so many digits.
    fn number(&mut self, digits: std::ops::RangeInclusive<u8>) -> Option<u32> {
        match self.peek(0)? {
            Piece::Number { value, digits: n } if digits.contains(&n) => {
                self.at += 1;
                u32::try_from(value).ok()
            }
            _ => None,
        }
    }

    fn sign(&mut self, any: &str) -> Option<char> {
        match self.peek(0)? {
            Piece::Sign(c) if any.contains(c) => {
                self.at += 1;
                Some(c)
            }
            _ => None,
        }
    }

    fn word(&mut self, is: impl Fn(&str) -> bool) -> bool {
        let found = matches!(self.peek(0), Some(Piece::Word(word)) if is(word.text()));
        self.at += usize::from(found);
        found
    }

    fn month(&mut self) -> Option<u32> {
        let Piece::Word(word) = self.peek(0)? else { return None };
        let found = month(word.text())?;
        self.at += 1;
        Some(found)
    }

    /// What `read` gives, or nothing and nothing taken.
    fn maybe<T>(&mut self, read: impl FnOnce(&mut Self) -> Option<T>) -> Option<T> {
        let before = self.at;
        let found = read(self);
        if found.is_none() {
            self.at = before;
        }
        found
    }
}

/// Letters of scripts that put words apart.
fn is_letter(c: char) -> bool {
    (c.is_alphabetic() && c < '\u{2e80}') || matches!(c, '\u{300}'..='\u{36f}')
}

fn plain_sign(c: char) -> char {
    match c {
        '：' => ':',
        '／' => '/',
        '．' | '。' => '.',
        '，' | '、' => ',',
        '−' | '–' | '‐' | '‑' => '-',
        '（' => '(',
        '）' => ')',
        other => other,
    }
}

/// Reads a date with or without a time, in whichever order they stand.
#[must_use]
pub fn moment(text: &str) -> Option<Moment> {
    let mut pieces = Pieces::new(text)?;
    for skip_weekday in [false, true] {
        pieces.at = 0;
        if skip_weekday && !weekday(&mut pieces) {
            continue;
        }
        let start = pieces.at;
        for read in [date_first, time_first, year_last] {
            pieces.at = start;
            if let Some(found) = read(&mut pieces)
                && pieces.is_done()
            {
                return Some(found);
            }
        }
    }
    None
}

/// A time of day without a date, in seconds since midnight, and its zone.
#[must_use]
pub fn time_of_day(text: &str) -> Option<(i64, Option<Zone>)> {
    let mut pieces = Pieces::new(text)?;
    let second = time(&mut pieces, false)?;
    let zone = zone_behind(&mut pieces);
    pieces.is_done().then_some((second, zone))
}

fn date_first(p: &mut Pieces) -> Option<Moment> {
    let (date, own_time) = date(p)?;
    if own_time.is_some() || p.is_done() {
        let zone = if own_time.is_some() { zone_behind(p) } else { None };
        return Some(Moment { date, second: own_time, zone });
    }
    weekday(p);
    while p.sign(",:-_;").is_some() || p.word(is_filler) {}
    p.sign(".");
    if p.is_done() {
        return Some(Moment { date, second: None, zone: None });
    }
    let second = time(p, true)?;
    let zone = zone_behind(p);
    Some(Moment { date, second: Some(second), zone })
}

fn time_first(p: &mut Pieces) -> Option<Moment> {
    let second = time(p, false)?;
    let zone = zone_behind(p);
    while p.sign(",-;|").is_some() || p.word(is_filler) {}
    weekday(p);
    let (date, own_time) = date(p)?;
    own_time.is_none().then_some(Moment { date, second: Some(second), zone })
}

/// `Nov 29 14:30:05 CET 2026`, behind its weekday.
fn year_last(p: &mut Pieces) -> Option<Moment> {
    let (month, day) = match p.month() {
        Some(month) => (month, p.number(1..=2)?),
        None => {
            let day = p.number(1..=2)?;
            (p.month()?, day)
        }
    };
    p.sign(",");
    let second = time(p, false)?;
    let zone = zone_behind(p);
    let year = p.number(4..=4)?;
    Some(Moment { date: WrittenDate::known(year, month, day), second: Some(second), zone })
}

/// A name of a weekday, also in brackets, with its full stop or comma.
fn weekday(p: &mut Pieces) -> bool {
    p.maybe(|p| {
        let open = p.sign("([").is_some();
        let found = p.word(is_weekday)
            || (p.word(|w| w == "星" || w == "周" || w == "週") && {
                p.word(|w| w == "期");
                p.word(|w| !w.is_ascii())
            })
            || (p.word(|w| "日月火水木金土일월화수목금토".contains(w)) && {
                p.word(|w| w == "曜" || w == "요");
                p.word(|w| w == "日" || w == "일");
                true
            });
        p.sign(".");
        if p.sign("-").is_some() {
            // `terça-feira`
            p.word(|w| w == "feira");
        }
        if open {
            p.sign(")]")?;
        }
        p.sign(",");
        found.then_some(())
    })
    .is_some()
}

/// A date, and the time of day where both are one number.
fn date(p: &mut Pieces) -> Option<(WrittenDate, Option<i64>)> {
    while p.word(is_filler) {}
    if let Some(Piece::Number { value, digits }) = p.peek(0)
        && digits >= 6
    {
        p.at += 1;
        return compact(value, digits, p);
    }
    let found = p
        .maybe(year_first)
        .or_else(|| p.maybe(day_first))
        .or_else(|| p.maybe(month_first))
        .or_else(|| p.maybe(three_numbers))?;
    Some((found, None))
}

/// `2026-11-29`, `2026年11月29日`, `2026 Nov 29`, `2026-W48-7`, `2026-333`.
fn year_first(p: &mut Pieces) -> Option<WrittenDate> {
    let year = p.number(4..=4)?;
    let between = |p: &mut Pieces, word: &[&str]| {
        if p.word(|w| word.contains(&w)) { Some(' ') } else { p.sign("-/.:_") }
    };
    let first = between(p, &["年", "년", "r"]);
    p.sign(" ");
    if p.word(|w| w == "w") {
        let week = p.number(2..=2)?;
        p.sign("-");
        return WrittenDate::of_week(year, week, p.number(1..=1)?);
    }
    if first == Some('-')
        && let Some(day) = p.number(3..=3)
    {
        return WrittenDate::of_year(year, day);
    }
    let month = p.month().or_else(|| p.number(1..=2))?;
    let second = between(p, &["月", "월"]);
    if first.is_some() != second.is_some() && second != Some('.') {
        return None;
    }
    let day = p.number(1..=2)?;
    p.word(|w| ["日", "号", "일"].contains(&w));
    if first == Some('.') {
        p.sign(".");
    }
    Some(WrittenDate::known(year, month, day))
}

/// `29 Nov 2026`, `29. listopadu 2026`, `1er mars 26`, `29-Nov-26`, `29 de noviembre de 2026`, `29.XI.2026`.
fn day_first(p: &mut Pieces) -> Option<WrittenDate> {
    let Some(Piece::Number { value, digits: 1..=2 }) = p.peek(0) else { return None };
    p.at += 1;
    let day = u32::try_from(value).ok()?;
    p.word(|w| ["st", "nd", "rd", "th", "er", "º", "ª", "o", "a", "e"].contains(&w));
    p.sign("º°");
    p.sign("./-_ ");
    while p.word(is_filler) {}
    let month = p.month()?;
    while p.sign("./-_,").is_some() || p.word(is_filler) {}
    match p.peek(0)? {
        Piece::Number { value, digits: 4 } => {
            p.at += 1;
            p.word(|w| w == "r");
            p.sign(".");
            Some(WrittenDate::known(u32::try_from(value).ok()?, month, day))
        }
        Piece::Number { value, digits: 2 } => {
            p.at += 1;
            let last = u32::try_from(value).ok()?;
            Some(WrittenDate::Named { first: day, month, last })
        }
        _ => None,
    }
}

/// `Nov 29, 2026`, `November 29th 2026`, `Nov-29-2026`.
fn month_first(p: &mut Pieces) -> Option<WrittenDate> {
    let month = p.month()?;
    p.sign("./-_");
    let day = p.number(1..=2)?;
    p.word(|w| ["st", "nd", "rd", "th"].contains(&w));
    p.sign(",/-_.");
    let year = p.number(4..=4)?;
    Some(WrittenDate::known(year, month, day))
}

/// Two numbers and a year, or three of two digits.
fn three_numbers(p: &mut Pieces) -> Option<WrittenDate> {
    let Some(Piece::Number { digits, .. }) = p.peek(0) else { return None };
    let first = p.number(1..=2)?;
    let sign = p.sign("-/._");
    let second = p.number(1..=2)?;
    if p.sign("-/._") != sign {
        return None;
    }
    let points = sign == Some('.');
    match p.peek(0)? {
        Piece::Number { value, digits: 4 } => {
            p.at += 1;
            let year = i32::try_from(value).ok()?;
            Some(WrittenDate::Open { first, second, year, points })
        }
        Piece::Number { value, digits: 2 } if sign.is_some() => {
            p.at += 1;
            let third = u32::try_from(value).ok()?;
            // A year has both its digits.
            let is_whole = digits == 2;
            Some(WrittenDate::Short { numbers: [first, second, third], points, is_whole })
        }
        _ => None,
    }
}

/// `20261129`, `20261129143005`, `29112026`, `291126`.
fn compact(value: u64, digits: u8, p: &mut Pieces) -> Option<(WrittenDate, Option<i64>)> {
    let part = |from: u8, count: u8| {
        let rest = value / 10_u64.pow(u32::from(digits - from - count));
        u32::try_from(rest % 10_u64.pow(u32::from(count))).unwrap_or(u32::MAX)
    };
    let (date_digits, time_digits) = match digits {
        6 | 8 => (digits, 0),
        12 if YEARS.contains(&part(0, 4)) && (1..=12).contains(&part(4, 2)) => (8, 4),
        12 => (6, 6),
        14 => (8, 6),
        17 => (8, 9),
        _ => return None,
    };
    let year = part(0, 4);
    let date = if date_digits == 6 {
        let numbers = [part(0, 2), part(2, 2), part(4, 2)];
        WrittenDate::Short { numbers, points: false, is_whole: true }
    } else if YEARS.contains(&year) && (1..=12).contains(&part(4, 2)) {
        WrittenDate::known(year, part(4, 2), part(6, 2))
    } else {
        let year = Some(part(4, 4)).filter(|y| YEARS.contains(y))?;
        let year = i32::try_from(year).ok()?;
        WrittenDate::Open { first: part(0, 2), second: part(2, 2), year, points: false }
    };
    if time_digits == 0 {
        return Some((date, None));
    }
    let at = |n: u8| i64::from(part(date_digits + n, 2));
    let second = of_day(at(0), at(2), if time_digits >= 6 { at(4) } else { 0 })?;
    fraction(p);
    Some((date, Some(second)))
}

/// A time of day; `behind` a date also one without a sign that is its own: `1430`, `143005`, `14 30`.
fn time(p: &mut Pieces, behind: bool) -> Option<i64> {
    let mut half = half_of_day(p);
    let Piece::Number { value, digits } = p.peek(0)? else { return None };
    p.at += 1;
    let value = i64::try_from(value).ok()?;
    let (hour, minute, second) = match digits {
        6 if behind => (value / 10_000, value / 100 % 100, value % 100),
        4 if behind => (value / 100, value % 100, 0),
        1..=2 => rest_of_time(p, value, behind)?,
        _ => return None,
    };
    fraction(p);
    if half.is_none() {
        half = half_of_day(p);
    }
    p.maybe(|p| p.word(is_after_time).then(|| p.sign("."))).unwrap_or_default();
    let hour = match half {
        None => hour,
        // `14:30 PM` says it twice.
        Some(Half::After) if hour > 12 => hour,
        Some(_) if hour > 12 => return None,
        Some(Half::Before) => hour % 12,
        Some(Half::After) => hour % 12 + 12,
    };
    of_day(hour, minute, second)
}

/// What follows the hour of a time: minutes and seconds.
fn rest_of_time(p: &mut Pieces, hour: i64, behind: bool) -> Option<(i64, i64, i64)> {
    let two = |p: &mut Pieces| p.number(2..=2).map(i64::from);
    let is_hour =
        |w: &str| ["h", "hs", "hrs", "std", "uhr", "時", "时", "点", "點", "시"].contains(&w);
    let is_minute = |w: &str| ["m", "min", "mn", "分", "분"].contains(&w);
    if p.word(is_hour) {
        let Some(minute) = p.number(1..=2) else { return Some((hour, 0, 0)) };
        let sign = p.sign(":").is_some();
        let second = if p.word(is_minute) || sign { p.number(1..=2) } else { None };
        p.word(|w| ["s", "sec", "秒", "초"].contains(&w));
        return Some((hour, i64::from(minute), i64::from(second.unwrap_or(0))));
    }
    if let Some(sign) = p.sign(":.-_") {
        let minute = two(p)?;
        let second = p.maybe(|p| {
            p.sign(&sign.to_string())?;
            two(p)
        });
        // `14:30.05` would be minutes and seconds.
        return Some((hour, minute, second.unwrap_or(0)));
    }
    if behind && let Some(minute) = two(p) {
        return Some((hour, minute, p.maybe(two).unwrap_or(0)));
    }
    // An hour alone is a time only with its half of the day.
    follows_half(p).then_some((hour, 0, 0))
}

/// Whether the half of the day follows; nothing is taken.
fn follows_half(p: &mut Pieces) -> bool {
    let at = p.at;
    let found = half_of_day(p).is_some();
    p.at = at;
    found
}

/// Parts of a second: they are not kept.
fn fraction(p: &mut Pieces) {
    p.maybe(|p| {
        p.sign(".,:")?;
        p.number(1..=9)
    });
}

#[derive(Debug, Clone, Copy)]
enum Half {
    Before,
    After,
}

/// `AM`, `p. m.`, `下午` …: the half of the day.
fn half_of_day(p: &mut Pieces) -> Option<Half> {
    p.maybe(|p| {
        let Piece::Word(word) = p.peek(0)? else { return None };
        p.at += 1;
        let half = match word.text() {
            "am" | "oo" | "dop" | "vorm" | "vm" => Half::Before,
            "pm" | "os" | "odp" | "nachm" | "nm" => Half::After,
            "a" | "p" => {
                p.sign(".");
                if !p.word(|w| w == "m") {
                    return None;
                }
                if word.text() == "a" { Half::Before } else { Half::After }
            }
            "上" | "오" | "下" | "午" => {
                let Piece::Word(next) = p.peek(0)? else { return None };
                p.at += 1;
                match (word.text(), next.text()) {
                    ("上", "午") | ("午", "前") | ("오", "전") => Half::Before,
                    ("下", "午") | ("午", "後" | "后") | ("오", "후") => Half::After,
                    _ => return None,
                }
            }
            _ => return None,
        };
        p.sign(".");
        Some(half)
    })
}

/// The zone behind a time.
fn zone_behind(p: &mut Pieces) -> Option<Zone> {
    let bracket = p.sign("([").is_some();
    let mut found = None;
    if let Some(Piece::Word(word)) = p.peek(0)
        && let Some(quarters) = zone(word.text())
    {
        p.at += 1;
        found = Some(Zone { east_s: quarters.map(|q| q * 900) });
        // `UTC+1`; behind another name the offset says the same once more.
        if let Some(east_s) = offset(p) {
            found = Some(Zone { east_s: Some(east_s) });
        }
    } else if let Some(east_s) = offset(p) {
        found = Some(Zone { east_s: Some(east_s) });
        p.word(|w| zone(w).is_some());
    } else if let (Some(Piece::Word(_)), Some(Piece::Sign('/')), Some(Piece::Word(_))) =
        (p.peek(0), p.peek(1), p.peek(2))
    {
        p.at += 3;
        while p.sign("_").is_some() && p.word(|_| true) {}
        found = Some(Zone { east_s: None });
    }
    if bracket {
        p.sign(")]");
    } else if found.is_some() && p.sign("([").is_some() {
        // `+01:00[Europe/Berlin]`, `+0100 (CET)`
        while p.word(|_| true) || p.sign("/_").is_some() {}
        p.sign(")]");
    }
    found
}

/// `+01:00`, `-0500`, `+1`, in seconds.
fn offset(p: &mut Pieces) -> Option<i64> {
    p.maybe(|p| {
        let west = p.sign("+-")? == '-';
        let Piece::Number { value, digits } = p.peek(0)? else { return None };
        p.at += 1;
        let value = i64::try_from(value).ok()?;
        let (hours, minutes) = match digits {
            1..=2 if p.sign(":").is_some() => (value, i64::from(p.number(2..=2)?)),
            1..=2 => (value, 0),
            4 => (value / 100, value % 100),
            _ => return None,
        };
        let east = hours * 3600 + minutes * 60;
        (hours <= 14 && minutes < 60).then_some(if west { -east } else { east })
    })
}

fn of_day(hour: i64, minute: i64, second: i64) -> Option<i64> {
    let holds = (0..24).contains(&hour) && (0..60).contains(&minute) && (0..61).contains(&second);
    holds.then_some(hour * 3600 + minute * 60 + second)
}
