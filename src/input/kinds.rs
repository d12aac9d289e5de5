//! Which kind of test do words name?

use super::columns::squeeze;
use crate::records::TestKind;

/// The kind of test that words name; `None` where they are not known.
#[must_use]
pub fn test_kind(words: &str, default: TestKind) -> Option<TestKind> {
    let words = squeeze(words);
    let has = |list: &[&str]| list.iter().any(|w| words.contains(w));
    let token = |t: &str| words.split([' ', '-', '_', '/']).any(|w| w == t);
    if has(&[
        "earth",
        "ground bond",
        "continuity",
        "insulation",
        "resistance",
        "function",
        "schutzleiter",
        "isolation",
        "mise à la terre",
        "continuité",
        "isolement",
        "résistance",
        "messa a terra",
        "continuità",
        "isolamento",
        "resistenza",
        "funzional",
        "puesta a tierra",
        "continuidad",
        "aislamiento",
        "resistencia",
        "funcional",
        "uziemieni",
        "ciągłoś",
        "rezystancj",
        "接地",
        "绝缘",
        "电阻",
        "功能",
    ]) {
        return Some(TestKind::Other);
    }
    if has(&[
        "leakage",
        "touch current",
        "ableitstrom",
        "courant de fuite",
        "dispersione",
        "corriente de fuga",
        "prąd upływ",
        "漏电",
        "泄漏",
    ]) {
        return Some(TestKind::Leakage);
    }
    let withstand = has(&[
        "withstand",
        "dielectric",
        "high voltage",
        "hochspannung",
        "hipot",
        "hi-pot",
        "flash",
        "diélectrique",
        "haute tension",
        "dielettric",
        "alta tensione",
        "dieléctric",
        "alta tensión",
        "wysokie napięcie",
        "wytrzymałoś",
        "耐压",
        "高压",
    ]);
    let dc = token("dc") || token("cc") || has(&["直流"]);
    let ac = token("ac") || token("ca") || has(&["交流"]);
    if dc && (withstand || words == "dc") {
        return Some(TestKind::DcWithstand);
    }
    if ac && (withstand || words == "ac") {
        return Some(TestKind::AcWithstand);
    }
    withstand.then_some(default)
}
