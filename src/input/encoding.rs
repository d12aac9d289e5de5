//! Bytes of a text → UTF-8: by a mark, zero bytes, what the text says of itself, else by its letters.
//!
//! Old testers write the code page of DOS (850, western Europe), which no standard for the web lists and so no crate
//! that reads those. It is told by letters such as `ä` and `é` between two others: where Windows has these, code page
//! 850 has none, and the other way round Windows has quotes and dashes, which stand at the edge of a word. The `µ`
//! alone tells nothing and is read from its sign (`records::Quantity::from_unit`).

use std::collections::BTreeSet;
use std::io::Read;

use chardetng::{EncodingDetector, Iso2022JpDetection, Utf8Detection};
use encoding_rs::{
    BIG5, EUC_JP, Encoding, GB18030, GBK, SHIFT_JIS, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1250,
    WINDOWS_1252, WINDOWS_1254,
};
use encoding_rs_io::DecodeReaderBytesBuilder;

/// Code pages of the languages whose words are known, beside the one of western Europe.
const CODE_PAGES: [&Encoding; 7] =
    [WINDOWS_1250, WINDOWS_1254, GBK, GB18030, BIG5, SHIFT_JIS, EUC_JP];
/// Different signs beyond ASCII from which a code page is guessed.
const SIGNS: usize = 3;
/// Bytes turned into text at a time.
const BLOCK: usize = 64 << 10;

/// What the bytes from 128 on stand for in code page 850.
const DOS: &str = "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜø£Ø×ƒáíóúñÑªº¿®¬½¼¡«»░▒▓│┤ÁÂÀ©╣║╗╝¢¥┐└┴┬├─┼ãÃ╚╔╩╦╠═╬¤ðÐÊËÈıÍÎÏ┘┌█▄¦Ì▀ÓßÔÒõÕµþÞÚÛÙýÝ¯´\u{ad}±‗¾¶§÷¸°¨·¹³²■\u{a0}";
/// Small letters of words in code page 850, where Windows has quotes, a dagger, dots, a circumflex, or nothing.
const TELLING: [u8; 8] = [0x81, 0x82, 0x84, 0x85, 0x87, 0x88, 0x93, 0x94];
/// Signs of a table of tests in code page 850, beside its letters: `ª º ± ° ² ³ µ`.
const OTHER_SIGNS: [u8; 7] = [0xa6, 0xa7, 0xf1, 0xf8, 0xfd, 0xfc, 0xe6];

/// What the bytes of a text stand for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Letters {
    /// What the standard of encodings for the web lists.
    Listed(&'static Encoding),
    /// Code page 850.
    Dos,
}

impl Letters {
    /// Of a text from its first bytes.
    #[must_use]
    pub fn of(head: &[u8]) -> Self {
        if let Some((encoding, _)) = Encoding::for_bom(head) {
            return Self::Listed(encoding);
        }
        if let Some(encoding) = declared(head) {
            return Self::Listed(encoding);
        }
        let zeros = |start: usize| head.iter().skip(start).step_by(2).filter(|b| **b == 0).count();
        if head.len() >= 8 && zeros(1) * 4 > head.len() {
            return Self::Listed(UTF_16LE);
        }
        if head.len() >= 8 && zeros(0) * 4 > head.len() {
            return Self::Listed(UTF_16BE);
        }
        match std::str::from_utf8(head) {
            Ok(_) => Self::Listed(UTF_8),
            // A character cut at the end of the bytes looked at is no sign of another encoding.
            Err(e) if e.error_len().is_none() => Self::Listed(UTF_8),
            Err(_) if is_dos(head) => Self::Dos,
            Err(_) => Self::Listed(code_page(head)),
        }
    }

    /// Of a text of western Europe in which each letter is one byte.
    #[must_use]
    pub fn of_one_byte(text: &[u8]) -> Self {
        if is_dos(text) { Self::Dos } else { Self::Listed(WINDOWS_1252) }
    }

    /// As it is called.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Listed(encoding) => encoding.name(),
            Self::Dos => "code page 850",
        }
    }

    /// A text as UTF-8.
    #[must_use]
    pub fn decode(self, text: &[u8]) -> String {
        match self {
            Self::Listed(encoding) => encoding.decode_without_bom_handling(text).0.into_owned(),
            Self::Dos => {
                let letters: Vec<char> = DOS.chars().collect();
                let letter = |b: &u8| match b.checked_sub(0x80) {
                    None => char::from(*b),
                    Some(n) => letters[usize::from(n)],
                };
                text.iter().map(letter).collect()
            }
        }
    }

    /// Turns a text into UTF-8 without a mark as it is read.
    pub fn decoded<'a>(self, reader: impl Read + 'a) -> Box<dyn Read + 'a> {
        match self {
            Self::Listed(encoding) => Box::new(
                DecodeReaderBytesBuilder::new()
                    // Bytes that are none of UTF-8 may come with a later piece: they are passed on as they are.
                    .encoding(Some(encoding).filter(|e| *e != UTF_8))
                    .bom_override(true)
                    .strip_bom(true)
                    .utf8_passthru(encoding == UTF_8)
                    .build(reader),
            ),
            Self::Dos => Box::new(Decoded { reader, letters: self, text: Vec::new(), given: 0 }),
        }
    }
}

/// A text of which each byte is a letter, as it is read.
struct Decoded<R> {
    reader: R,
    letters: Letters,
    text: Vec<u8>,
    /// How much of it was given.
    given: usize,
}

impl<R: Read> Read for Decoded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        if self.given == self.text.len() {
            let mut bytes = vec![0; BLOCK];
            let n = self.reader.read(&mut bytes)?;
            (self.text, self.given) = (self.letters.decode(&bytes[..n]).into_bytes(), 0);
        }
        let n = (&self.text[self.given..]).read(buffer)?;
        self.given += n;
        Ok(n)
    }
}

/// Whether a text is in code page 850: a letter that tells it stands between two others, every byte beyond ASCII is
/// one that such a text may hold, and few follow one another, as they do where two make a sign.
fn is_dos(text: &[u8]) -> bool {
    // Letters, among them `ß`, capitals with accents and those of Portuguese, and a few signs.
    let letters: Vec<char> = DOS.chars().collect();
    let is_one = |b: &u8| {
        b.is_ascii() || OTHER_SIGNS.contains(b) || letters[usize::from(*b - 0x80)].is_alphabetic()
    };
    let tells = |three: &[u8]| {
        three[0].is_ascii_alphabetic()
            && TELLING.contains(&three[1])
            && three[2].is_ascii_alphabetic()
    };
    let beyond = text.iter().filter(|b| !b.is_ascii()).count();
    let in_pairs = text.windows(2).filter(|two| !two[0].is_ascii() && !two[1].is_ascii()).count();
    in_pairs * 2 <= beyond && text.windows(3).any(tells) && text.iter().all(is_one)
}

/// The code page of a text that is no Unicode, by how often letters follow each other in the languages that use
/// it, where these are ones whose words are known. A few signs (`µ`, `°`) tell nothing: then the one of western Europe.
fn code_page(head: &[u8]) -> &'static Encoding {
    let mut detector = EncodingDetector::new(Iso2022JpDetection::Deny);
    detector.feed(head, true);
    let guessed = detector.guess(None, Utf8Detection::Deny);
    let (text, damaged) = guessed.decode_without_bom_handling(head);
    let signs: BTreeSet<char> = text.chars().filter(|c| !c.is_ascii()).collect();
    let is_known = CODE_PAGES.contains(&guessed) && signs.len() >= SIGNS && !damaged;
    if is_known { guessed } else { WINDOWS_1252 }
}

/// The encoding that an XML document says of itself, where a byte of it is a letter.
fn declared(head: &[u8]) -> Option<&'static Encoding> {
    let head = head.strip_prefix(b"<?xml")?;
    let head = String::from_utf8_lossy(head.split(|b| *b == b'>').next()?).into_owned();
    let (_, after) = head.split_once("encoding=")?;
    let name = after.get(1..)?.split(['"', '\'']).next()?;
    Encoding::for_label(name.as_bytes()).filter(|e| ![UTF_16LE, UTF_16BE].contains(e))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn code_page_850_has_a_letter_for_every_byte() {
        assert_eq!(DOS.chars().count(), 128);
        assert_eq!(Letters::Dos.decode(b"Pr\x81fger\x84t \xe6A \xe1 \xf8C"), "Prüfgerät µA ß °C");
    }

    #[test]
    fn words_of_windows_are_no_words_of_dos() {
        for text in ["Prüfgerät µA", "courant d’essai élevé", "„Gut“ – geprüft", "Größe…"]
        {
            let (bytes, _, _) = WINDOWS_1252.encode(text);
            assert_eq!(Letters::of(&bytes), Letters::Listed(WINDOWS_1252), "{text}");
        }
        assert_eq!(Letters::of(b"Pr\x81fger\x84t \xe6A"), Letters::Dos);
        assert_eq!(Letters::of(b"Num\x82ro de s\x82rie"), Letters::Dos);
    }
}
