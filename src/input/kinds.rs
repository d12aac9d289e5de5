//! Which kind of test do words name?

use super::columns::squeeze;
use crate::records::TestKind;

/// Words for the test that the voltage is withstood.
const WITHSTAND: [&str; 36] = [
    "withstand",
    "dielectric",
    "high voltage",
    "hochspannung",
    "spannungsfestigkeit",
    "durchschlag",
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
    "hoogspanning",
    "doorslag",
    "diëlektr",
    "vysoké napětí",
    "vysokým napětím",
    "elektrická pevnost",
    "elektrické pevnosti",
    "dielétric",
    "alta tensão",
    "yüksek gerilim",
    "dielektrik",
    "dayanım",
    "耐压",
    "高压",
    "耐壓",
    "高壓",
    "耐圧",
    "耐電圧",
    "高電圧",
];

/// Words for insulation: its resistance is another kind of test.
const INSULATION: [&str; 14] = [
    "insulation",
    "isolation",
    "isolement",
    "isolamento",
    "aislamiento",
    "isolatie",
    "izolac",
    "izolač",
    "isolação",
    "izolasyon",
    "yalıtım",
    "绝缘",
    "絕緣",
    "絶縁",
];

/// The kind of test that words name; `None` where they are not known.
#[must_use]
pub fn test_kind(words: &str, default: TestKind) -> Option<TestKind> {
    let words = squeeze(words);
    if words == TestKind::Other.key() {
        return Some(TestKind::Other);
    }
    let has = |list: &[&str]| list.iter().any(|w| words.contains(w));
    let token = |t: &str| words.split([' ', '-', '_', '/']).any(|w| w == t);
    let withstand = has(&WITHSTAND) || ["acw", "dcw", "hv"].iter().any(|t| token(t));
    // What is between live parts and earth is `insulation` in the names of both tests in some languages.
    let insulation = has(&INSULATION) && !withstand;
    if insulation
        || token("ir")
        || token("gb")
        || has(&[
            "earth",
            "ground bond",
            "continuity",
            "resistance",
            "function",
            "schutzleiter",
            "mise à la terre",
            "continuité",
            "résistance",
            "messa a terra",
            "continuità",
            "resistenza",
            "funzional",
            "puesta a tierra",
            "continuidad",
            "resistencia",
            "funcional",
            "uziemieni",
            "ciągłoś",
            "rezystancj",
            "aarding",
            "weerstand",
            "functione",
            "uzemn",
            "ochrann",
            "spojitost",
            "odpor",
            "funkčn",
            "aterramento",
            "continuidade",
            "resistência",
            "topraklama",
            "toprak",
            "süreklilik",
            "direnç",
            "fonksiyon",
            "接地",
            "导通",
            "電阻",
            "电阻",
            "功能",
            "アース",
            "導通",
            "抵抗",
            "機能",
        ])
    {
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
        "泄露",
        "漏電",
        "leckstrom",
        "berührungsstrom",
        "courant de contact",
        "corrente di fuga",
        "corrente de fuga",
        "lekstroom",
        "unikající proud",
        "svodový proud",
        "kaçak akım",
        "漏れ電流",
        "漏洩電流",
        "リーク電流",
    ]) {
        return Some(TestKind::Leakage);
    }
    let dc = token("dc") || token("cc") || token("dcw") || has(&["直流"]);
    let ac = token("ac") || token("ca") || token("acw") || has(&["交流"]);
    if dc && (withstand || words == "dc") {
        return Some(TestKind::DcWithstand);
    }
    if ac && (withstand || words == "ac") {
        return Some(TestKind::AcWithstand);
    }
    withstand.then_some(default)
}
