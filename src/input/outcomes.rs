//! Outcome words: the config's first, then the trade's in the languages of factories.

use std::collections::BTreeMap;

use super::mapped::Mapped;
use crate::config::Config;
use crate::error::Result;
use crate::records::Outcome;

/// What an outcome word says: a class, or only that the unit failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// One of the classes of design section 4.
    Class(Outcome),
    /// A failure whose class must come from a reason or from the reading.
    Fail,
}

/// Reads outcome words.
#[derive(Debug)]
pub struct Outcomes {
    mapped: BTreeMap<String, Mapped<Said>>,
}

impl Outcomes {
    /// A reader for these settings.
    ///
    /// # Errors
    /// Where the config maps a word to something that is no outcome, or expects such of a check load.
    pub fn new(config: &Config) -> Result<Self> {
        let mut mapped = BTreeMap::new();
        let unknown = |section: &str, word: &str| {
            let known = Outcome::ALL.iter().map(|o| o.words());
            // A word of the trade means one all the same.
            let meant = trade_word(&super::columns::squeeze(word)).map(|said| match said {
                Said::Class(outcome) => outcome.words(),
                Said::Fail => "fail",
            });
            config.unknown(section, "outcome", word, meant, known.chain(["fail"]))
        };
        for (word, target) in &config.outcomes {
            let Some(said) = canonical(target) else {
                return Err(unknown(&format!("[outcomes] {word:?}"), target));
            };
            mapped.insert(super::columns::squeeze(word), Mapped::new(said));
        }
        for (load, settings) in &config.check_loads {
            // Word for word: what a check load gave is compared with it as it stands.
            let known = |word: &str| Outcome::ALL.iter().any(|o| o.words() == word);
            if settings.expect != "fail" && !known(&settings.expect) {
                let section = format!("[check_loads.{load:?}] expect");
                return Err(unknown(&section, &settings.expect));
            }
        }
        Ok(Self { mapped })
    }

    /// What a word says; `None` where it is unknown. Unknown is never a pass.
    #[must_use]
    pub fn said(&self, word: &str) -> Option<Said> {
        let word = super::columns::squeeze(word);
        self.whole(&word).or_else(|| self.begins_with_failure(&word))
    }

    /// Whether a file has this word of the settings.
    pub(super) fn is_met(&self, word: &str) -> bool {
        self.mapped.get(&super::columns::squeeze(word)).is_some_and(Mapped::is_met)
    }

    fn whole(&self, word: &str) -> Option<Said> {
        self.mapped
            .get(word)
            .map(|said| *said.met())
            .or_else(|| canonical(word))
            .or_else(|| trade_word(word))
    }

    /// A word that begins with one for a failure is that failure (`FAIL: arc`, `NG2`, `不良(高)`), unless what
    /// follows takes it back. What begins with a pass stays unknown: what follows may take that back.
    fn begins_with_failure(&self, word: &str) -> Option<Said> {
        // No known word is longer, so that a remark of a megabyte costs no more than a word.
        let longest = self.mapped.keys().map(String::len).fold(LONGEST_WORD, usize::max);
        let ends = word.char_indices().skip(1).take_while(|(at, _)| *at <= longest);
        let ends = ends.filter(|(at, next)| {
            let before = word[..*at].chars().next_back();
            // Scripts without spaces between words end a word anywhere.
            !next.is_alphabetic() || before.is_some_and(|c| c > '\u{2e80}')
        });
        let apart = |c: char| !c.is_alphanumeric();
        for (at, _) in ends.collect::<Vec<_>>().into_iter().rev() {
            // `n.i.O.: current` ends in a point of its own.
            let (head, rest) = (word[..at].trim_end(), word[at..].trim_matches(apart));
            let bare = head.trim_end_matches(apart);
            let known = self.whole(head).map(|said| (head, said));
            let known = known.or_else(|| self.whole(bare).map(|said| (bare, said)));
            let (head, said) = match known {
                Some(known) if known.1 != Said::Class(Outcome::Pass) => known,
                _ => continue,
            };
            if ALONE.contains(&head) {
                continue;
            }
            let passes = |w: &str| self.whole(w) == Some(Said::Class(Outcome::Pass));
            if passes(rest) || words(rest).any(passes) || takes_back(head, rest, said) {
                return None;
            }
            return match self.whole(rest) {
                Some(Said::Class(class)) if said == Said::Fail => Some(Said::Class(class)),
                _ => Some(said),
            };
        }
        None
    }
}

/// Words and numbers of a text; `0.31` is one.
fn words(text: &str) -> impl Iterator<Item = &str> {
    let apart = |c: char| !c.is_alphanumeric() && !['.', ','].contains(&c);
    text.split(apart).map(|w| w.trim_matches(['.', ','])).filter(|w| !w.is_empty())
}

/// Whether what stands behind a word for a failure may say that there is none: `none`, `0`, `not found`; of a
/// breakdown or a trip, whose place a count may take, any such word. `FAIL no contact` and `FAIL (0 retries)` failed.
fn takes_back(head: &str, rest: &str, said: Said) -> bool {
    let none = |w: &str| {
        NONE_OF_IT.contains(&w) || w.replace(',', ".").parse().is_ok_and(|x: f64| x == 0.0)
    };
    match &words(rest).collect::<Vec<_>>()[..] {
        [] => false,
        [only] => none(only),
        [first, second, ..] if said == Said::Fail => {
            none(first) && (COUNTED.contains(&head) || FOUND.contains(second))
        }
        all => all.iter().any(|w| none(w)),
    }
}

/// Failures that are counted: `Fehler: 0 Stück` names none. Common practice, no source.
const COUNTED: [&str; 9] =
    ["fehler", "failure", "défaut", "fallo", "falla", "falha", "chyba", "hata", "fout"];

/// What is not there where a failure is taken back. Common practice, no source.
const FOUND: [&str; 24] = [
    "detected",
    "found",
    "seen",
    "fault",
    "faults",
    "failure",
    "failures",
    "error",
    "errors",
    "defect",
    "defects",
    "gefunden",
    "erkannt",
    "festgestellt",
    "fehler",
    "détecté",
    "trouvé",
    "défaut",
    "rilevato",
    "detectado",
    "wykryto",
    "gevonden",
    "发现",
    "なし",
];

/// Bytes of the longest word that this file knows, and some.
const LONGEST_WORD: usize = 96;

/// Words that are a failure only where they stand alone. Common practice, no source.
const ALONE: [&str; 18] = [
    "f",
    "red",
    "ret",
    "mau",
    "high",
    "low",
    "over",
    "under",
    "short",
    "stop",
    "false",
    "arco",
    "scarica",
    "limite haute",
    "limite basse",
    "high limit",
    "low limit",
    "ko",
];

/// What takes a failure back behind its word. Common practice, no source.
const NONE_OF_IT: [&str; 17] = [
    "0", "00", "none", "no", "not", "without", "free", "keine", "kein", "ohne", "aucun", "nessuno",
    "ninguno", "brak", "无", "なし", "無し",
];

/// Whether a text is nothing but dashes and points: no number was shown.
#[must_use]
pub fn is_dashes(text: &str) -> bool {
    text.contains(['-', '–', '—']) && text.chars().all(|c| "-–—_. ".contains(c))
}

/// Whether a text beside a failure stands for a reading that was not taken, or was beyond the range. Common practice,
/// no source.
#[must_use]
pub fn is_no_reading(text: &str) -> bool {
    let word = super::columns::squeeze(text);
    !word.contains(|c: char| c.is_alphanumeric())
        || [
            "ol",
            "o.l",
            "o.l.",
            "0l",
            "ovl",
            "ovld",
            "ofl",
            "over",
            "overload",
            "overflow",
            "overrange",
            "over range",
            "out of range",
            "range",
            "über",
            "überlauf",
            "hi",
            "high",
            "n/a",
            "na",
            "n.a.",
            "n.v.",
            "k.a.",
            "nan",
            "null",
            "nil",
            "none",
            "no data",
            "no reading",
            "inf",
            "infinity",
            "err",
            "error",
            "fail",
            "failed",
            "invalid",
            "trip",
            "tripped",
            "arc",
            "short",
            "x",
            "xx",
            "xxx",
        ]
        .contains(&word.as_str())
}

/// Whether a text in the place of a limit says that there is none. Common practice, no source.
#[must_use]
pub fn is_no_limit(text: &str) -> bool {
    let word = super::columns::squeeze(text);
    ["off", "none", "n/a", "na", "n.a.", "no", "aus", "keine", "disabled", "null", "nan", "inf"]
        .contains(&word.as_str())
}

/// The words of the config and of JSON.
fn canonical(word: &str) -> Option<Said> {
    Some(match word.replace('_', " ").as_str() {
        "pass" => Said::Class(Outcome::Pass),
        "fail" => Said::Fail,
        "over limit" => Said::Class(Outcome::OverLimit),
        "under limit" => Said::Class(Outcome::UnderLimit),
        "breakdown" => Said::Class(Outcome::Breakdown),
        "arc" => Said::Class(Outcome::Arc),
        "not completed" => Said::Class(Outcome::NotCompleted),
        "failed, class not known" => Said::Class(Outcome::Failed),
        _ => return None,
    })
}

/// Common practice, no source.
fn trade_word(word: &str) -> Option<Said> {
    Some(match word {
        "passed" | "ok" | "good" | "accept" | "accepted" | "true" | "gut" | "bestanden"
        | "i.o." | "io" | "in ordnung" | "bon" | "conforme" | "réussi" | "accepté" | "superato"
        | "passato" | "idoneo" | "buono" | "correcto" | "aprobado" | "apto" | "aceptado"
        | "bueno" | "dobry" | "dobra" | "pozytywny" | "pozytywna" | "zaliczony" | "zaliczone"
        | "zgodny" | "p" | "pass." | "okay" | "conform" | "go" | "gut." | "i. o."
        | "in ordnung." | "geprüft ok" | "conformes" | "positivo" | "conforme." | "superata"
        | "correcta" | "aprobada" | "satisfactorio" | "aprovado" | "aprovada" | "aceito"
        | "aceite" | "bom" | "passou" | "goed" | "goedgekeurd" | "geslaagd" | "voldoet"
        | "akkoord" | "vyhověl" | "vyhověla" | "vyhovuje" | "vyhovující" | "dobrý" | "shoda"
        | "prošel" | "v pořádku" | "geçti" | "başarılı" | "uygun" | "kabul" | "iyi" | "olumlu"
        | "合格" | "通过" | "良品" | "良" | "合格品" | "正常" | "及格" | "適合" | "良好" => {
            Said::Class(Outcome::Pass)
        }
        "failed" | "failure" | "trip" | "tripped" | "nok" | "not ok" | "ng" | "ko" | "bad"
        | "reject" | "rejected" | "false" | "schlecht" | "n.i.o." | "nio" | "nicht in ordnung"
        | "nicht bestanden" | "fehler" | "fehlerhaft" | "ausschuss" | "mauvais"
        | "non conforme" | "échec" | "échoué" | "défaut" | "refusé" | "rebut" | "non superato"
        | "nicht i.o." | "nicht i. o." | "nicht io" | "nicht ok" | "non idoneo" | "fallito"
        | "scarto" | "difettoso" | "no conforme" | "no apto" | "fallo" | "falla" | "rechazado"
        | "incorrecto" | "malo" | "zły" | "negatywny" | "niezaliczony" | "niezgodny"
        | "wadliwy" | "odrzucony" | "wadliwa" | "negatywna" | "zła" | "niezgodna"
        | "niezaliczone" | "f" | "no go" | "nogo" | "n. i. o." | "negativ" | "échoué(e)"
        | "non-conforme" | "non conformes" | "negativo" | "respinto" | "no conforme."
        | "rechazada" | "no aprobado" | "reprobado" | "insatisfactorio" | "reprovado"
        | "reprovada" | "rejeitado" | "não conforme" | "não aprovado" | "falha" | "falhou"
        | "mau" | "fout" | "afgekeurd" | "gezakt" | "niet goed" | "niet geslaagd"
        | "voldoet niet" | "slecht" | "nevyhověl" | "nevyhověla" | "nevyhovuje"
        | "nevyhovující" | "vadný" | "neshoda" | "neprošel" | "špatný" | "chyba" | "kaldı"
        | "başarısız" | "uygun değil" | "ret" | "red" | "hata" | "hatalı" | "olumsuz"
        | "不合格" | "不良" | "不良品" | "失败" | "不通过" | "未通过" | "不及格" | "异常"
        | "不可" | "不適合" | "失敗" => Said::Fail,
        "fail high"
        | "high"
        | "too high"
        | "above limit"
        | "over"
        | "high fail"
        | "high limit"
        | "zu hoch"
        | "über grenzwert"
        | "grenzwert überschritten"
        | "trop haut"
        | "trop élevé"
        | "limite haute"
        | "limite supérieure"
        | "dépassement"
        | "troppo alto"
        | "troppo alta"
        | "limite superiore"
        | "oltre il limite"
        | "demasiado alto"
        | "demasiado alta"
        | "límite superior"
        | "za wysoki"
        | "powyżej limitu"
        | "limit górny"
        | "过高"
        | "偏高"
        | "超上限"
        | "超过上限"
        | "upper limit"
        | "over limit fail"
        | "exceeded"
        | "limit exceeded"
        | "over upper limit"
        | "obergrenze überschritten"
        | "über obergrenze"
        | "über limit"
        | "limite dépassée"
        | "au-dessus de la limite"
        | "trop haute"
        | "limite superata"
        | "sopra il limite"
        | "fuori limite superiore"
        | "por encima del límite"
        | "sobre el límite"
        | "límite superado"
        | "przekroczony limit"
        | "powyżej granicy"
        | "za duży"
        | "za duże"
        | "acima do limite"
        | "muito alto"
        | "alto demais"
        | "limite excedido"
        | "te hoog"
        | "boven limiet"
        | "boven grens"
        | "boven grenswaarde"
        | "grens overschreden"
        | "příliš vysoký"
        | "nad limitem"
        | "nad limit"
        | "nad mezí"
        | "překročen limit"
        | "çok yüksek"
        | "limit üstü"
        | "limit aşıldı"
        | "üst limit"
        | "üst limit aşıldı"
        | "sınır üstü"
        | "超限"
        | "上限超"
        | "上限超过"
        | "上限超過"
        | "上限オーバー"
        | "過大" => Said::Class(Outcome::OverLimit),
        "fail low"
        | "low"
        | "too low"
        | "below limit"
        | "under"
        | "low fail"
        | "low limit"
        | "zu niedrig"
        | "unter grenzwert"
        | "grenzwert unterschritten"
        | "trop bas"
        | "limite basse"
        | "limite inférieure"
        | "troppo basso"
        | "troppo bassa"
        | "limite inferiore"
        | "sotto il limite"
        | "demasiado bajo"
        | "demasiado baja"
        | "límite inferior"
        | "za niski"
        | "poniżej limitu"
        | "limit dolny"
        | "过低"
        | "偏低"
        | "低于下限"
        | "lower limit"
        | "under lower limit"
        | "untergrenze unterschritten"
        | "unter untergrenze"
        | "unter limit"
        | "trop basse"
        | "en dessous de la limite"
        | "sotto limite"
        | "por debajo del límite"
        | "bajo el límite"
        | "poniżej granicy"
        | "za mały"
        | "za małe"
        | "abaixo do limite"
        | "muito baixo"
        | "baixo demais"
        | "te laag"
        | "onder limiet"
        | "onder grens"
        | "onder grenswaarde"
        | "příliš nízký"
        | "pod limitem"
        | "pod mezí"
        | "çok düşük"
        | "limit altı"
        | "alt limit"
        | "sınır altı"
        | "低于限值"
        | "下限未満"
        | "下限割れ"
        | "過小" => Said::Class(Outcome::UnderLimit),
        "flashover"
        | "short"
        | "short circuit"
        | "flash over"
        | "durchschlag"
        | "überschlag"
        | "kurzschluss"
        | "claquage"
        | "court-circuit"
        | "perforation"
        | "scarica"
        | "scarica distruttiva"
        | "perforazione"
        | "cortocircuito"
        | "corto circuito"
        | "ruptura"
        | "perforación"
        | "przebicie"
        | "zwarcie"
        | "击穿"
        | "短路"
        | "闪络"
        | "break down"
        | "dielectric breakdown"
        | "insulation breakdown"
        | "spannungsdurchschlag"
        | "isolationsdurchschlag"
        | "claquage diélectrique"
        | "contournement"
        | "scarica elettrica"
        | "rottura"
        | "rottura dielettrica"
        | "ruptura dieléctrica"
        | "perforado"
        | "descarga disruptiva"
        | "przeskok"
        | "przebicie izolacji"
        | "ruptura dielétrica"
        | "perfuração"
        | "curto-circuito"
        | "curto circuito"
        | "descarga"
        | "doorslag"
        | "overslag"
        | "kortsluiting"
        | "průraz"
        | "přeskok"
        | "zkrat"
        | "delinme"
        | "atlama"
        | "kısa devre"
        | "绝缘击穿"
        | "破坏"
        | "絶縁破壊"
        | "破壊"
        | "短絡"
        | "フラッシュオーバー"
        | "閃絡" => Said::Class(Outcome::Breakdown),
        "arcing"
        | "arc detected"
        | "lichtbogen"
        | "arc électrique"
        | "arco"
        | "łuk"
        | "łuk elektryczny"
        | "electric arc"
        | "arc fail"
        | "arc failure"
        | "arc électrique détecté"
        | "amorçage"
        | "arco elettrico"
        | "arco eléctrico"
        | "arco elétrico"
        | "vlamboog"
        | "lichtboog"
        | "oblouk"
        | "elektrický oblouk"
        | "ark"
        | "elektrik arkı"
        | "电弧"
        | "拉弧"
        | "打弧"
        | "飞弧"
        | "アーク"
        | "アーク放電" => Said::Class(Outcome::Arc),
        "stopped" | "stop" | "aborted" | "abort" | "interrupted" | "incomplete" | "cancelled"
        | "canceled" | "interlock" | "abgebrochen" | "abbruch" | "gestoppt" | "unvollständig"
        | "interrompu" | "arrêté" | "annulé" | "incomplet" | "interrotto" | "annullato"
        | "incompleto" | "interrumpido" | "cancelado" | "detenido" | "przerwany" | "przerwano"
        | "anulowany" | "zatrzymany" | "niezakończony" | "niedokończony" | "not finished"
        | "unfinished" | "terminated" | "user abort" | "user stop" | "emergency stop"
        | "not tested" | "nicht beendet" | "unterbrochen" | "not-halt" | "abandonné"
        | "inachevé" | "non terminé" | "interrompue" | "non completato" | "sospeso"
        | "arrestato" | "no completado" | "abortado" | "parado" | "anulado" | "interrompido"
        | "não concluído" | "não completado" | "onderbroken" | "afgebroken" | "gestopt"
        | "niet voltooid" | "geannuleerd" | "onvolledig" | "přerušeno" | "přerušen"
        | "nedokončeno" | "zastaveno" | "zrušeno" | "nedokončený" | "durduruldu"
        | "yarıda kesildi" | "iptal" | "iptal edildi" | "tamamlanmadı" | "kesildi" | "中断"
        | "停止" | "中止" | "取消" | "未完成" | "未测" | "终止" | "未完了" | "非常停止" => {
            Said::Class(Outcome::NotCompleted)
        }
        _ => return None,
    })
}
