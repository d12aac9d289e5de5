//! Which column do the words of a header name, in the languages of factories?

use super::field::Field;
use crate::records::Quantity;

/// Common practice, no source: words that headers of test exports use.
pub(super) fn by_trade_words(words: &str, unit: Option<Quantity>) -> Option<Field> {
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
