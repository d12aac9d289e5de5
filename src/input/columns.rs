//! Header spellings: which canonical column a header names, and in which unit.
//!
//! Generic trade words only; anything else is mapped in the config's `[columns]`.

use crate::config::Config;
use crate::error::Result;
use crate::records::Quantity;

/// A canonical column (design section 3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[expect(missing_docs, reason = "each is the canonical column of that name")]
pub enum Field {
    TestedAt,
    Date,
    Time,
    Model,
    Reading,
    Outcome,
    Reason,
    HighLimit,
    LowLimit,
    Serial,
    Station,
    Fixture,
    Instrument,
    Lot,
    Operator,
    Shift,
    Remark,
    Test,
    TestPoint,
    Step,
    Current,
    AppliedV,
    Frequency,
    Dwell,
    Ramp,
    MeasuredV,
    Stage,
    UnitsTogether,
    Temperature,
    Humidity,
    Count,
    ReadingStep,
}

impl Field {
    /// How many there are.
    pub const COUNT: usize = 32;

    /// Every field with its canonical name.
    pub const ALL: [(Self, &'static str); Self::COUNT] = [
        (Self::TestedAt, "tested_at"),
        (Self::Date, "date"),
        (Self::Time, "time"),
        (Self::Model, "model"),
        (Self::Reading, "reading_ma"),
        (Self::Outcome, "outcome"),
        (Self::Reason, "reason"),
        (Self::HighLimit, "high_limit_ma"),
        (Self::LowLimit, "low_limit_ma"),
        (Self::Serial, "serial"),
        (Self::Station, "station"),
        (Self::Fixture, "fixture"),
        (Self::Instrument, "instrument"),
        (Self::Lot, "lot"),
        (Self::Operator, "operator"),
        (Self::Shift, "shift"),
        (Self::Remark, "remark"),
        (Self::Test, "test"),
        (Self::TestPoint, "test_point"),
        (Self::Step, "step"),
        (Self::Current, "current"),
        (Self::AppliedV, "applied_v"),
        (Self::Frequency, "frequency_hz"),
        (Self::Dwell, "dwell_s"),
        (Self::Ramp, "ramp_s"),
        (Self::MeasuredV, "measured_v"),
        (Self::Stage, "stage"),
        (Self::UnitsTogether, "units_together"),
        (Self::Temperature, "temperature_c"),
        (Self::Humidity, "humidity_pct"),
        (Self::Count, "count"),
        (Self::ReadingStep, "reading_step_ma"),
    ];

    /// Its place in an array over all fields.
    #[must_use]
    pub fn index(self) -> usize {
        self as usize
    }

    /// Its canonical name.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::ALL[self.index()].1
    }

    /// The field of a canonical name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().find(|(_, n)| *n == name).map(|(f, _)| *f)
    }

    /// What its numbers measure, in the unit of its canonical name; `None` for text and counts.
    #[must_use]
    pub fn quantity(self) -> Option<Quantity> {
        Some(match self {
            Self::Reading | Self::HighLimit | Self::LowLimit | Self::ReadingStep => {
                Quantity::Current(-3)
            }
            Self::AppliedV | Self::MeasuredV => Quantity::Voltage(0),
            Self::Frequency => Quantity::Frequency(0),
            Self::Dwell | Self::Ramp => Quantity::Time(0),
            Self::Temperature => Quantity::Celsius,
            Self::Humidity => Quantity::Percent,
            _ => return None,
        })
    }
}

/// What one header means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meaning {
    /// A canonical column, with the unit of its numbers.
    Field(Field, Option<Quantity>),
    /// A factor of the config, by its place in the list.
    Factor(usize),
    /// Nothing this tool uses.
    Unknown,
}

/// Reads headers: first by the config's words, then by the trade's.
#[derive(Debug)]
pub struct Headers {
    mapped: Vec<(String, String)>,
    factors: Vec<String>,
}

impl Headers {
    /// A reader of headers for these settings.
    #[must_use]
    pub fn new(config: &Config) -> Self {
        Self {
            mapped: config
                .columns
                .iter()
                .map(|(k, v)| (squeeze(k), v.clone()))
                .collect(),
            factors: config.factors.iter().map(|f| squeeze(f)).collect(),
        }
    }

    /// What `header` means.
    #[must_use]
    pub fn meaning(&self, header: &str) -> Meaning {
        let plain = squeeze(header);
        if plain.is_empty() {
            return Meaning::Unknown;
        }
        let (words, unit) = split_unit(header);
        if let Some((_, target)) = self.mapped.iter().find(|(k, _)| *k == plain) {
            if let Some(field) = Field::from_name(target) {
                let unit = unit.filter(|u| field.quantity().is_some_and(|q| q.same_kind(*u)));
                return Meaning::Field(field, unit);
            }
            let target = squeeze(target);
            return match self.factors.iter().position(|f| *f == target) {
                Some(n) => Meaning::Factor(n),
                None => Meaning::Unknown,
            };
        }
        if let Some(field) = Field::from_name(&plain) {
            return Meaning::Field(field, field.quantity());
        }
        match by_trade_words(&words, unit) {
            Some(field) => {
                let unit = unit.filter(|u| field.quantity().is_some_and(|q| q.same_kind(*u)));
                Meaning::Field(field, unit)
            }
            None => match self.factors.iter().position(|f| *f == plain) {
                Some(n) => Meaning::Factor(n),
                None => Meaning::Unknown,
            },
        }
    }
}

/// Refuses settings that name a column which does not exist: they would do nothing, without a word.
///
/// # Errors
/// With the nearest name that exists.
pub fn check(config: &Config) -> Result<()> {
    let fields = || Field::ALL.iter().map(|(_, name)| *name);
    let factors: Vec<String> = config.factors.iter().map(|f| squeeze(f)).collect();
    let is_factor = |name: &str| factors.contains(&squeeze(name));
    let both = || fields().chain(config.factors.iter().map(String::as_str));
    for target in config.columns.values() {
        if Field::from_name(target).is_none() && !is_factor(target) {
            return Err(config.unknown("[columns]", "column", target, both()));
        }
    }
    for name in config.values.keys() {
        if Field::from_name(name).is_none() && !is_factor(name) {
            return Err(config.unknown("[values]", "column", name, both()));
        }
    }
    for name in config.assume.keys() {
        if Field::from_name(name).is_none() {
            return Err(config.unknown("[assume]", "column", name, fields()));
        }
    }
    let pattern = config.files.pattern.as_deref().unwrap_or("");
    for piece in pattern.split('{').skip(1) {
        let name = piece.split('}').next().unwrap_or("");
        if Field::from_name(name).is_none() {
            return Err(config.unknown("[files] pattern", "column", name, fields()));
        }
    }
    Ok(())
}

/// Lower case, single spaces.
pub(super) fn squeeze(text: &str) -> String {
    text.trim_start_matches('\u{feff}')
        .to_lowercase()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// The words of a header without its unit, lower case; and the unit, from brackets or the last word.
fn split_unit(header: &str) -> (String, Option<Quantity>) {
    let mut unit = None;
    let mut rest = String::new();
    let mut inside = String::new();
    let mut depth = 0_u32;
    for c in header.trim().chars() {
        match c {
            '[' | '(' | '（' | '【' => depth += 1,
            ']' | ')' | '）' | '】' => depth = depth.saturating_sub(1),
            _ if depth > 0 => inside.push(c),
            _ => rest.push(c),
        }
    }
    if !inside.is_empty() {
        unit = Quantity::from_unit(&inside);
    }
    let spaced: String = rest
        .chars()
        .map(|c| match c {
            '_' | '.' | ':' | '/' | '-' | '#' | '：' => ' ',
            '’' => '\'',
            other => other,
        })
        .collect();
    let mut words: Vec<&str> = spaced.split_whitespace().collect();
    if unit.is_none()
        && let Some(last) = words.last()
        && let Some(found) = Quantity::from_unit(last)
    {
        unit = Some(found);
        words.pop();
        if words.last() == Some(&"in") {
            words.pop();
        }
    }
    (words.join(" ").to_lowercase(), unit)
}

/// Common practice, no source: words that headers of test exports use.
fn by_trade_words(words: &str, unit: Option<Quantity>) -> Option<Field> {
    use Field as F;
    let is_current = matches!(unit, Some(Quantity::Current(_)));
    // A time of day has no unit: a time in seconds is how long the test lasted.
    let is_duration = matches!(unit, Some(Quantity::Time(_)));
    Some(match words {
        "" => match unit? {
            Quantity::Current(_) => F::Reading,
            Quantity::Voltage(_) => F::AppliedV,
            Quantity::Frequency(_) => F::Frequency,
            Quantity::Time(_) => F::Dwell,
            Quantity::Celsius => F::Temperature,
            Quantity::Percent => F::Humidity,
            Quantity::Resistance(_) => return None,
        },
        "tested at" | "timestamp" | "date time" | "datetime" | "tested on" | "date and time"
        | "zeitstempel" | "datum uhrzeit" | "datum und uhrzeit" | "horodatage" | "date heure"
        | "date et heure" | "data ora" | "data e ora" | "fecha hora" | "fecha y hora"
        | "data godzina" | "data i godzina" | "data i czas" | "日期时间" => F::TestedAt,
        "test time" | "测试时间" if !is_duration => F::TestedAt,
        "date" | "test date" | "datum" | "prüfdatum" | "date d'essai" | "date essai" | "data"
        | "data prova" | "data di prova" | "fecha" | "fecha de prueba" | "fecha de ensayo"
        | "data testu" | "data badania" | "日期" | "测试日期" => F::Date,
        "time" | "time of day" | "uhrzeit" | "zeit" | "heure" | "ora" | "hora" | "godzina"
        | "czas" | "时间"
            if !is_duration =>
        {
            F::Time
        }
        "model" | "model no" | "model number" | "type" | "product" | "part number" | "part no"
        | "article" | "typ" | "modell" | "artikel" | "artikelnummer" | "gerätetyp" | "modèle"
        | "modele" | "produit" | "modello" | "articolo" | "codice articolo" | "prodotto"
        | "modelo" | "artículo" | "producto" | "wyrób" | "numer artykułu" | "型号" | "产品型号"
        | "机型" => F::Model,
        "reading"
        | "leakage"
        | "leakage current"
        | "i leak"
        | "ileak"
        | "leak"
        | "current"
        | "measured current"
        | "strom"
        | "ableitstrom"
        | "leckstrom"
        | "gemessener strom"
        | "courant"
        | "courant de fuite"
        | "courant mesuré"
        | "fuite"
        | "corrente"
        | "corrente di dispersione"
        | "corrente di fuga"
        | "corrente misurata"
        | "dispersione"
        | "corriente"
        | "corriente de fuga"
        | "corriente medida"
        | "fuga"
        | "prąd"
        | "prąd upływu"
        | "prąd upływowy"
        | "prąd zmierzony"
        | "upływ"
        | "电流"
        | "漏电流"
        | "泄漏电流"
        | "测量电流" => F::Reading,
        "outcome" | "result" | "verdict" | "judgement" | "judgment" | "pass fail" | "ergebnis"
        | "bewertung" | "prüfergebnis" | "résultat" | "resultat" | "risultato" | "esito"
        | "resultado" | "wynik" | "ocena" | "结果" | "测试结果" | "判定" => F::Outcome,
        "reason" | "fail reason" | "failure reason" | "grund" | "fehlergrund" | "motif"
        | "cause" | "cause du défaut" | "motivo" | "causa" | "motivo del fallo" | "przyczyna"
        | "powód" | "原因" | "不良原因" => F::Reason,
        "high limit" | "upper limit" | "limit high" | "high" | "hi limit" | "max limit"
        | "limit max" | "obergrenze" | "oberer grenzwert" | "grenzwert oben" | "grenzwert max"
        | "limite haute" | "limite supérieure" | "seuil haut" | "limite superiore"
        | "limite alto" | "limite max" | "soglia alta" | "límite superior" | "límite alto"
        | "límite máx" | "limit górny" | "górny limit" | "granica górna" | "上限" | "电流上限" => {
            F::HighLimit
        }
        "max" if is_current => F::HighLimit,
        "low limit" | "lower limit" | "limit low" | "low" | "lo limit" | "min limit"
        | "limit min" | "untergrenze" | "unterer grenzwert" | "grenzwert unten"
        | "grenzwert min" | "limite basse" | "limite inférieure" | "seuil bas"
        | "limite inferiore" | "limite basso" | "limite min" | "soglia bassa"
        | "límite inferior" | "límite bajo" | "límite mín" | "limit dolny" | "dolny limit"
        | "granica dolna" | "下限" | "电流下限" => F::LowLimit,
        "min" if is_current => F::LowLimit,
        "serial" | "serial no" | "serial number" | "s n" | "sn" | "unit id" | "uut" | "dut"
        | "barcode" | "seriennr" | "serien nr" | "seriennummer" | "numéro de série"
        | "no de série" | "n° de série" | "n° série" | "numero di serie" | "n di serie"
        | "n° di serie" | "matricola" | "número de serie" | "nº de serie" | "n° de serie"
        | "nro de serie" | "numer seryjny" | "nr seryjny" | "序列号" | "条码" => F::Serial,
        "station" | "test station" | "bench" | "line" | "prüfplatz" | "prüfstation"
        | "arbeitsplatz" | "poste" | "poste d'essai" | "banc" | "banc d'essai" | "stazione"
        | "postazione" | "banco" | "estación" | "puesto" | "stanowisko" | "stacja" | "工位"
        | "测试工位" => F::Station,
        "fixture" | "adapter" | "nest" | "aufnahme" | "montage" | "attrezzatura" | "utillaje"
        | "uchwyt" | "夹具" | "治具" => F::Fixture,
        "instrument" | "tester" | "device" | "equipment" | "gerät" | "prüfgerät" | "appareil"
        | "testeur" | "strumento" | "instrumento" | "equipo" | "przyrząd" | "仪器" | "设备" => {
            F::Instrument
        }
        "lot" | "batch" | "lot no" | "batch no" | "los" | "losnummer" | "charge"
        | "numéro de lot" | "n° de lot" | "lotto" | "numero lotto" | "lote" | "número de lote"
        | "partia" | "numer partii" | "批次" | "批号" => F::Lot,
        "operator" | "user" | "inspector" | "prüfer" | "bediener" | "opérateur" | "operatore"
        | "operador" | "operario" | "操作员" | "作业员" => F::Operator,
        "shift" | "schicht" | "équipe" | "turno" | "zmiana" | "班次" => F::Shift,
        "remark" | "remarks" | "comment" | "comments" | "note" | "bemerkung" | "bemerkungen"
        | "kommentar" | "remarque" | "remarques" | "commentaire" | "observations" | "nota"
        | "commento" | "osservazioni" | "observaciones" | "comentario" | "uwagi" | "komentarz"
        | "备注" => F::Remark,
        "test" | "test type" | "test name" | "test kind" | "prüfart" | "prüfung" | "essai"
        | "type d'essai" | "prova" | "tipo prova" | "tipo di prova" | "prueba" | "ensayo"
        | "tipo de prueba" | "tipo de ensayo" | "próba" | "rodzaj próby" | "rodzaj testu"
        | "badanie" | "测试项目" | "测试类型" => F::Test,
        "test point" | "point" | "connection" | "prüfpunkt" | "messpunkt" | "point d'essai"
        | "point de mesure" | "punto di prova" | "punto de prueba" | "punkt pomiarowy"
        | "测试点" => F::TestPoint,
        "step" | "step no" | "test step" | "schritt" | "prüfschritt" | "étape" | "passo"
        | "paso" | "krok" | "步骤" => F::Step,
        "set"
        | "set voltage"
        | "applied"
        | "voltage"
        | "test voltage"
        | "applied voltage"
        | "spannung"
        | "prüfspannung"
        | "tension"
        | "tension d'essai"
        | "tension appliquée"
        | "tensione"
        | "tensione di prova"
        | "tensione applicata"
        | "tensión"
        | "tensión de prueba"
        | "tensión de ensayo"
        | "voltaje"
        | "napięcie"
        | "napięcie probiercze"
        | "napięcie próby"
        | "电压"
        | "测试电压"
        | "设定电压" => F::AppliedV,
        "measured" if matches!(unit, Some(Quantity::Voltage(_))) => F::MeasuredV,
        "measured" if is_current => F::Reading,
        "measured voltage"
        | "actual voltage"
        | "readback"
        | "gemessene spannung"
        | "tension mesurée"
        | "tensione misurata"
        | "tensión medida"
        | "napięcie zmierzone"
        | "实测电压" => F::MeasuredV,
        "frequency" | "freq" | "frequenz" | "fréquence" | "frequenza" | "frecuencia"
        | "częstotliwość" | "频率" => F::Frequency,
        "dwell"
        | "dwell time"
        | "hold"
        | "hold time"
        | "prüfzeit"
        | "prüfdauer"
        | "haltezeit"
        | "durée"
        | "durée d'essai"
        | "maintien"
        | "temps de maintien"
        | "durata"
        | "durata prova"
        | "tempo di prova"
        | "tempo di mantenimento"
        | "duración"
        | "tiempo de prueba"
        | "tiempo de ensayo"
        | "tiempo de mantenimiento"
        | "czas próby"
        | "czas testu"
        | "czas trwania"
        | "保持时间" => F::Dwell,
        "time" | "test time" | "zeit" | "temps" | "tempo" | "tiempo" | "czas" | "时间"
        | "测试时间"
            if is_duration =>
        {
            F::Dwell
        }
        "ramp" | "ramp time" | "rise time" | "ramp up" | "rampenzeit" | "anstiegszeit"
        | "rampe" | "temps de montée" | "rampa" | "tempo di salita" | "tiempo de subida"
        | "czas narastania" | "上升时间" | "缓升时间" => F::Ramp,
        "stage" | "phase of test" => F::Stage,
        "units together" | "units at once" => F::UnitsTogether,
        "temperature" | "temp" | "room temperature" | "ambient" | "temperatur" | "température"
        | "temperatura" | "温度" => F::Temperature,
        "room" if unit == Some(Quantity::Celsius) => F::Temperature,
        "room" if unit == Some(Quantity::Percent) => F::Humidity,
        "humidity"
        | "relative humidity"
        | "rh"
        | "feuchte"
        | "luftfeuchte"
        | "luftfeuchtigkeit"
        | "rel feuchte"
        | "humidité"
        | "humidité relative"
        | "umidità"
        | "umidità relativa"
        | "humedad"
        | "humedad relativa"
        | "wilgotność"
        | "wilgotność względna"
        | "湿度" => F::Humidity,
        "count" | "units" => F::Count,
        "reading step" | "resolution" => F::ReadingStep,
        "current kind" | "kind of current" => F::Current,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_stands_at_its_own_index() {
        for (n, (field, name)) in Field::ALL.iter().enumerate() {
            assert_eq!(field.index(), n);
            assert_eq!(Field::from_name(name), Some(*field));
        }
    }

    #[test]
    fn units_come_from_brackets_or_the_last_word() {
        let headers = Headers::new(&Config::default());
        for (header, field, unit) in [
            ("Leakage [µA]", Field::Reading, Quantity::Current(-6)),
            ("i_leak_ua", Field::Reading, Quantity::Current(-6)),
            ("set V", Field::AppliedV, Quantity::Voltage(0)),
            ("room %RH", Field::Humidity, Quantity::Percent),
            ("Max mA", Field::HighLimit, Quantity::Current(-3)),
        ] {
            assert_eq!(
                headers.meaning(header),
                Meaning::Field(field, Some(unit)),
                "{header}"
            );
        }
    }
}
