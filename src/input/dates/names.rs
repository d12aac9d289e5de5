//! Names in dates: of months, of days of the week, of time zones, and the words around them.
//!
//! Common practice, no source. Compared in small letters without accents ([`Word`]). A short name that means two
//! months of one language is in no list (Czech `čer`).

use std::collections::HashMap;
use std::sync::LazyLock;

/// Month by month: English, German, French, Italian, Spanish, Polish, Portuguese, Dutch, Czech, Turkish, and the
/// Roman numbers that stand for months between day and year.
const MONTHS: [&str; 12] = [
    "january jan januar janner jaenner janvier janv gennaio gen enero ene styczen stycznia sty janeiro januari leden ledna led ocak oca i",
    "february feb februar feber fevrier fevr fev febbraio febr febrero luty lutego lut fevereiro februari unor unora uno subat sub ii",
    "march mar marz maerz mrz mars marzo marzec marca marco maart mrt brezen brezna bre mart iii",
    "april apr avril avr aprile abril abr kwiecien kwietnia kwi duben dubna dub nisan nis iv",
    "may mai maggio mag mayo maj maja maio mei kveten kvetna kve mayis v",
    "june jun juni juin giugno giu junio czerwiec czerwca cze junho cerven cervna cvn haziran haz vi",
    "july jul juli juillet juil luglio lug julio lipiec lipca lip julho cervenec cervence cvc temmuz tem vii",
    "august aug aout aou agosto ago sierpien sierpnia sie augustus srpen srpna srp agustos agu viii",
    "september sep sept septembre settembre set septiembre setiembre wrzesien wrzesnia wrz setembro zari zar eylul eyl ix",
    "october oct oktober okt octobre ottobre ott octubre pazdziernik pazdziernika paz outubro out rijen rijna rij ekim eki x",
    "november nov novembre noviembre listopad listopada listopadu lis novembro kasim kas xi",
    "december dec dezember dez decembre dicembre dic diciembre grudzien grudnia gru dezembro prosinec prosince pro aralik ara xii",
];

/// Names of days of the week: they are skipped.
const WEEKDAYS: &str = "monday tuesday wednesday thursday friday saturday sunday mon tue tues wed thu thur thurs fri sat sun \
    montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag mo di mi do fr sa so \
    lundi mardi mercredi jeudi vendredi samedi dimanche lun mar mer jeu ven sam dim \
    lunedi martedi mercoledi giovedi venerdi sabato domenica gio sab dom \
    lunes martes miercoles jueves viernes sabado domingo mie jue vie \
    poniedzialek wtorek sroda czwartek piatek sobota niedziela pon wt sr czw pt sob niedz nie ndz \
    segunda terca quarta quinta sexta seg ter qua qui sex feira \
    maandag dinsdag woensdag donderdag vrijdag zaterdag zondag ma wo vr za zo \
    pondeli utery streda ctvrtek patek nedele po ut st ct pa ne \
    pazartesi sali carsamba persembe cuma cumartesi pazar pzt sal car per cum cmt paz";

/// Words before or inside a date that say nothing, and between a date and its time.
const FILLERS: &str = "de del of the den der le el il lo am on den dnia dne do vom \
    t um at a as alle alla las la ore o og kl klo saat godz godzina ora hora heure hour uur om";

/// Words behind a time of day that say nothing.
const AFTER_TIMES: &str = "uhr h hs hrs hr hours std s sec sek seg godz hod heures heure uur r g";

fn words(list: &'static str) -> impl Iterator<Item = &'static str> {
    list.split_ascii_whitespace()
}

static MONTH: LazyLock<HashMap<&str, u32>> = LazyLock::new(|| {
    (1_u32..).zip(MONTHS).flat_map(|(n, list)| words(list).map(move |word| (word, n))).collect()
});

/// The month of a name, 1 to 12.
pub fn month(word: &str) -> Option<u32> {
    MONTH.get(word).copied()
}

/// Whether a word is the name of a day of the week.
pub fn is_weekday(word: &str) -> bool {
    words(WEEKDAYS).any(|w| w == word)
}

/// Whether a word may stand in or after a date and says nothing.
pub fn is_filler(word: &str) -> bool {
    words(FILLERS).any(|w| w == word)
}

/// Whether a word may stand behind a time and says nothing.
pub fn is_after_time(word: &str) -> bool {
    words(AFTER_TIMES).any(|w| w == word)
}

/// Hours east of Greenwich of a zone's name in quarters of an hour; `Some(None)` where the name is used for
/// several zones, `None` where it is none.
pub fn zone(word: &str) -> Option<Option<i64>> {
    let hours = |h: i64| Some(Some(h * 4));
    match word {
        "z" | "utc" | "gmt" | "wet" => hours(0),
        "cet" | "mez" | "west" | "hnec" => hours(1),
        "cest" | "mesz" | "eet" | "oez" | "haec" => hours(2),
        "eest" | "trt" | "msk" | "oesz" => hours(3),
        "hkt" | "sgt" => hours(8),
        "jst" | "kst" => hours(9),
        "brt" | "art" => hours(-3),
        "edt" => hours(-4),
        "cdt" => hours(-5),
        "mdt" => hours(-6),
        "mst" | "pdt" => hours(-7),
        "pst" => hours(-8),
        "est" | "cst" | "ist" | "bst" => Some(None),
        _ => None,
    }
}

/// A word of a date in small letters without accents.
#[derive(Debug, Clone, Copy)]
pub struct Word {
    bytes: [u8; 24],
    len: u8,
}

impl Word {
    /// Folds a run of letters; `None` where it is longer than any word of a date.
    pub fn new(letters: &str) -> Option<Self> {
        let mut word = Self { bytes: [0; 24], len: 0 };
        for c in letters.chars().flat_map(char::to_lowercase) {
            let c = plain_letter(c);
            if matches!(c, '\u{300}'..='\u{36f}') {
                continue;
            }
            let (from, to) = (usize::from(word.len), usize::from(word.len) + c.len_utf8());
            c.encode_utf8(word.bytes.get_mut(from..to)?);
            word.len = u8::try_from(to).ok()?;
        }
        Some(word)
    }

    /// The word.
    pub fn text(&self) -> &str {
        std::str::from_utf8(&self.bytes[..usize::from(self.len)]).unwrap_or("")
    }
}

/// A letter without its accent.
fn plain_letter(c: char) -> char {
    match c {
        'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' | 'ā' | 'ă' | 'ą' => 'a',
        'ç' | 'ć' | 'č' => 'c',
        'ď' | 'đ' => 'd',
        'è' | 'é' | 'ê' | 'ë' | 'ě' | 'ę' | 'ē' => 'e',
        'ğ' => 'g',
        'ì' | 'í' | 'î' | 'ï' | 'ı' => 'i',
        'ł' | 'ľ' => 'l',
        'ñ' | 'ń' | 'ň' => 'n',
        'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' | 'ő' => 'o',
        'ř' | 'ŕ' => 'r',
        'ś' | 'š' | 'ş' | 'ș' => 's',
        'ť' | 'ţ' | 'ț' => 't',
        'ù' | 'ú' | 'û' | 'ü' | 'ů' | 'ű' => 'u',
        'ý' | 'ÿ' => 'y',
        'ź' | 'ż' | 'ž' => 'z',
        other => other,
    }
}
