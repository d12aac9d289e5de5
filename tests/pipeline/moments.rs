//! Dates and times as testers, spreadsheets, databases and people of many countries write them.
//!
//! Each way is one moment written by hand from the rules of its language or format (ISO 8601, RFC 5322, the
//! habits of the country: common practice, no source). What is read must be that moment; what can be read in two
//! ways must be refused with the setting that decides.

use chrono::NaiveDate;
use leakdrift::config::{Config, DateOrder};
use leakdrift::input::dates::{DatesSeen, Unsure};

use crate::support::count::{counted, tried};
use crate::support::run::{folder, put};

/// The texts of one column as they are read, or why they are not.
fn read(texts: &[&str], order: Option<DateOrder>) -> Result<Vec<Option<String>>, Unsure> {
    let mut seen = DatesSeen::default();
    for text in texts {
        seen.look(text);
    }
    let way = seen.decide(order, None)?;
    let shown = |(day_s, second): (i64, Option<i64>)| {
        let at = chrono::DateTime::from_timestamp(day_s + second.unwrap_or(0), 0).unwrap();
        at.format("%Y-%m-%d %H:%M:%S").to_string()
    };
    Ok(texts.iter().map(|text| way.read(text).ok().map(shown)).collect())
}

/// A way to write a moment, and the moment.
const WAYS: &[(&str, &str)] = &[
    ("2026-11-29 14:30:05", "2026-11-29 14:30:05"),
    ("2026-11-29T14:30:05", "2026-11-29 14:30:05"),
    ("2026-11-29T14:30:05Z", "2026-11-29 14:30:05"),
    ("2026-11-29T14:30:05.123Z", "2026-11-29 14:30:05"),
    ("2026-11-29T14:30:05+01:00", "2026-11-29 14:30:05"),
    ("2026-11-29T14:30:05+0100", "2026-11-29 14:30:05"),
    ("2026-11-29T14:30:05+01", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05 +01:00", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05 CET", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05 UTC", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05 UTC+1", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05 GMT+01:00", "2026-11-29 14:30:05"),
    ("2026-11-29T14:30:05+01:00[Europe/Berlin]", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05 Europe/Berlin", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05 (MEZ)", "2026-11-29 14:30:05"),
    ("20261129T143005", "2026-11-29 14:30:05"),
    ("20261129T143005Z", "2026-11-29 14:30:05"),
    ("20261129143005", "2026-11-29 14:30:05"),
    ("20261129 143005", "2026-11-29 14:30:05"),
    ("20261129_143005", "2026-11-29 14:30:05"),
    ("20261129-143005", "2026-11-29 14:30:05"),
    ("20261129143005123", "2026-11-29 14:30:05"),
    ("202611291430", "2026-11-29 14:30:00"),
    ("2026-11-29-14.30.05.123456", "2026-11-29 14:30:05"),
    ("2026-11-29_14-30-05", "2026-11-29 14:30:05"),
    ("2026:11:29 14:30:05", "2026-11-29 14:30:05"),
    ("2026/11/29 14:30:05", "2026-11-29 14:30:05"),
    ("2026.11.29 14:30:05", "2026-11-29 14:30:05"),
    ("2026. 11. 29. 14:30:05", "2026-11-29 14:30:05"),
    ("2026.11.29. 14:30", "2026-11-29 14:30:00"),
    ("2026 11 29 14 30 05", "2026-11-29 14:30:05"),
    ("2026年11月29日 14:30:05", "2026-11-29 14:30:05"),
    ("2026年11月29日14时30分05秒", "2026-11-29 14:30:05"),
    ("2026年11月29日 14時30分", "2026-11-29 14:30:00"),
    ("2026年11月29日(日) 14:30", "2026-11-29 14:30:00"),
    ("2026年11月29日 星期日 下午2:30:05", "2026-11-29 14:30:05"),
    ("2026年11月29日 午後2時30分", "2026-11-29 14:30:00"),
    ("2026년 11월 29일 오후 2:30:05", "2026-11-29 14:30:05"),
    ("2026-11-29 下午 02:30:05", "2026-11-29 14:30:05"),
    ("29.11.2026 14:30:05", "2026-11-29 14:30:05"),
    ("29.11.2026 14:30", "2026-11-29 14:30:00"),
    ("29.11.2026 14.30", "2026-11-29 14:30:00"),
    ("29.11.2026 14.30.05", "2026-11-29 14:30:05"),
    ("29.11.2026, 14:30 Uhr", "2026-11-29 14:30:00"),
    ("29.11.2026 um 14.30 Uhr", "2026-11-29 14:30:00"),
    ("29. 11. 2026 14:30:05", "2026-11-29 14:30:05"),
    ("29.11.26 14:30", "2026-11-29 14:30:00"),
    ("So, 29.11.2026 14:30:05", "2026-11-29 14:30:05"),
    ("Sonntag, 29. November 2026 14:30", "2026-11-29 14:30:00"),
    ("Sonntag, den 29. November 2026 um 14:30 Uhr", "2026-11-29 14:30:00"),
    ("29. Nov. 2026 14:30:05", "2026-11-29 14:30:05"),
    ("29-Nov-2026 14:30:05", "2026-11-29 14:30:05"),
    ("29-NOV-26 02.30.05.000000 PM", "2026-11-29 14:30:05"),
    ("29-NOV-26 02.30.05 PM +01:00", "2026-11-29 14:30:05"),
    ("29NOV2026:14:30:05", "2026-11-29 14:30:05"),
    ("29/Nov/2026:14:30:05 +0100", "2026-11-29 14:30:05"),
    ("Sun, 29 Nov 2026 14:30:05 +0100", "2026-11-29 14:30:05"),
    ("Sun Nov 29 14:30:05 2026", "2026-11-29 14:30:05"),
    ("Sun Nov 29 14:30:05 CET 2026", "2026-11-29 14:30:05"),
    ("Nov 29, 2026 2:30:05 PM", "2026-11-29 14:30:05"),
    ("November 29, 2026 2:30 PM", "2026-11-29 14:30:00"),
    ("Nov 29 2026 2:30PM", "2026-11-29 14:30:00"),
    ("Nov 29, 2026, 2:30:05 p.m.", "2026-11-29 14:30:05"),
    ("November 29th, 2026 14:30", "2026-11-29 14:30:00"),
    ("Nov-29-2026 14:30:05", "2026-11-29 14:30:05"),
    ("2026-Nov-29 14:30:05", "2026-11-29 14:30:05"),
    ("2026 Nov 29 14:30:05", "2026-11-29 14:30:05"),
    ("11/29/2026 2:30:05 PM", "2026-11-29 14:30:05"),
    ("29/11/2026 14:30:05", "2026-11-29 14:30:05"),
    ("29/11/2026 2:30:05 p. m.", "2026-11-29 14:30:05"),
    ("29/11/2026 às 14:30", "2026-11-29 14:30:00"),
    ("29/11/2026 à 14h30", "2026-11-29 14:30:00"),
    ("29/11/2026 14h30", "2026-11-29 14:30:00"),
    ("29/11/2026 14h30min05s", "2026-11-29 14:30:05"),
    ("29-11-2026 14:30:05", "2026-11-29 14:30:05"),
    ("dimanche 29 novembre 2026 à 14h30", "2026-11-29 14:30:00"),
    ("29 nov. 2026 14:30:05", "2026-11-29 14:30:05"),
    ("29 novembre 2026, 14:30", "2026-11-29 14:30:00"),
    ("1er mars 2026 14:30", "2026-03-01 14:30:00"),
    ("domenica 29 novembre 2026 ore 14:30", "2026-11-29 14:30:00"),
    ("29 nov 2026 14.30", "2026-11-29 14:30:00"),
    ("29 de noviembre de 2026, 14:30", "2026-11-29 14:30:00"),
    ("domingo, 29 de novembro de 2026 às 14:30", "2026-11-29 14:30:00"),
    ("29 de nov. de 2026 14:30:05", "2026-11-29 14:30:05"),
    ("29 listopada 2026 r. 14:30", "2026-11-29 14:30:00"),
    ("29 lis 2026 14:30:05", "2026-11-29 14:30:05"),
    ("29.XI.2026 14:30", "2026-11-29 14:30:00"),
    ("niedziela, 29 listopada 2026 14:30:05", "2026-11-29 14:30:05"),
    ("zondag 29 november 2026 om 14:30 uur", "2026-11-29 14:30:00"),
    ("29 nov 2026 14:30", "2026-11-29 14:30:00"),
    ("neděle 29. listopadu 2026 14:30", "2026-11-29 14:30:00"),
    ("29. lis 2026 14:30:05", "2026-11-29 14:30:05"),
    ("29 Kasım 2026 Pazar 14:30", "2026-11-29 14:30:00"),
    ("29 Kas 2026 14:30:05", "2026-11-29 14:30:05"),
    ("29.11.2026 saat 14:30", "2026-11-29 14:30:00"),
    ("mar. 24 nov. 2026 14:30", "2026-11-24 14:30:00"),
    ("14:30:05 29.11.2026", "2026-11-29 14:30:05"),
    ("14:30 29/11/2026", "2026-11-29 14:30:00"),
    ("2026-W48-7 14:30:05", "2026-11-29 14:30:05"),
    ("2026-333 14:30:05", "2026-11-29 14:30:05"),
    ("29112026 143005", "2026-11-29 14:30:05"),
    ("29.11.2026 14:30:05,123", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05:123", "2026-11-29 14:30:05"),
    ("29.11.2026 2:30 ÖS", "2026-11-29 14:30:00"),
    ("29.11.2026 2:30 odp.", "2026-11-29 14:30:00"),
    ("2026-11-29\u{a0}14:30:05", "2026-11-29 14:30:05"),
    ("29/11/2026 14:30:05 h", "2026-11-29 14:30:05"),
    ("2026/11/29 PM 02:30:05", "2026-11-29 14:30:05"),
    ("29 November 2026 at 14:30:05", "2026-11-29 14:30:05"),
    ("2:30:05 PM 11/29/2026", "2026-11-29 14:30:05"),
    ("Sunday, November 29, 2026 2:30:05 PM", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05.123456789 +0100 CET", "2026-11-29 14:30:05"),
    ("2026-11-29 14:30:05 -05:00", "2026-11-29 14:30:05"),
    ("29 Aralık 2026 14:30", "2026-12-29 14:30:00"),
    ("2026-11-29 143005", "2026-11-29 14:30:05"),
    ("2026-11-29T1430", "2026-11-29 14:30:00"),
    ("2026-11-29 14:30:05 PM", "2026-11-29 14:30:05"),
    ("Nov. 29, 2026 2:30 PM", "2026-11-29 14:30:00"),
    ("29.Nov.2026 14:30", "2026-11-29 14:30:00"),
    ("29-nov.-2026 14:30", "2026-11-29 14:30:00"),
    ("29/nov./2026 14:30", "2026-11-29 14:30:00"),
    ("2026/11/29-14:30:05", "2026-11-29 14:30:05"),
    ("2026年11月29日 14：30：05", "2026-11-29 14:30:05"),
    ("29. november 2026 kl. 14.30", "2026-11-29 14:30:00"),
    ("29.11.2026 um 14 Uhr 30", "2026-11-29 14:30:00"),
    ("2026-11-29 02:30:05 下午", "2026-11-29 14:30:05"),
    ("2026-11-29 上午10:30", "2026-11-29 10:30:00"),
    ("2026-11-29 14:30:05 America/New_York", "2026-11-29 14:30:05"),
    ("Sun Nov 29 2026 14:30:05 GMT+0100 (Central European Standard Time)", "2026-11-29 14:30:05"),
    ("dom., 29 nov. 2026 14:30", "2026-11-29 14:30:00"),
    ("29/11/2026 - 14:30", "2026-11-29 14:30:00"),
    ("29/11/2026 12:30 AM", "2026-11-29 00:30:00"),
    ("29/11/2026 12:30 PM", "2026-11-29 12:30:00"),
    ("2:30:05 PM Nov 29 2026", "2026-11-29 14:30:05"),
    ("1795962605", "2026-11-29 14:30:05"),
    ("1795962605123", "2026-11-29 14:30:05"),
    ("1795962605.25", "2026-11-29 14:30:05"),
    ("46355.6042245", "2026-11-29 14:30:05"),
    ("46355,6042245", "2026-11-29 14:30:05"),
];

#[test]
fn a_moment_is_read_in_every_way_it_is_written() {
    assert!(WAYS.len() >= 60);
    for (text, moment) in WAYS {
        let found = read(&[text], None).unwrap_or_else(|e| panic!("{text}: {e:?}"));
        assert_eq!(found, [Some((*moment).to_owned())], "{text}");
    }
}

/// The months of a language, long and short.
const MONTHS: &[&str] = &[
    "January February March April May June July August September October November December",
    "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec",
    "Januar Februar März April Mai Juni Juli August September Oktober November Dezember",
    "Jan. Feb. Mär. Apr. Mai. Jun. Jul. Aug. Sept. Okt. Nov. Dez.",
    "janvier février mars avril mai juin juillet août septembre octobre novembre décembre",
    "janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.",
    "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre",
    "gen feb mar apr mag giu lug ago set ott nov dic",
    "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
    "ene. feb. mar. abr. may. jun. jul. ago. sep. oct. nov. dic.",
    "stycznia lutego marca kwietnia maja czerwca lipca sierpnia września października listopada grudnia",
    "sty lut mar kwi maj cze lip sie wrz paź lis gru",
    "janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro dezembro",
    "jan fev mar abr mai jun jul ago set out nov dez",
    "januari februari maart april mei juni juli augustus september oktober november december",
    "jan feb mrt apr mei jun jul aug sep okt nov dec",
    "ledna února března dubna května června července srpna září října listopadu prosince",
    "led úno bře dub kvě cvn cvc srp zář říj lis pro",
    "Ocak Şubat Mart Nisan Mayıs Haziran Temmuz Ağustos Eylül Ekim Kasım Aralık",
    "Oca Şub Mar Nis May Haz Tem Ağu Eyl Eki Kas Ara",
    "I II III IV V VI VII VIII IX X XI XII",
];

#[test]
fn months_are_read_by_their_names_in_every_language() {
    for names in MONTHS {
        let names: Vec<&str> = names.split(' ').collect();
        assert_eq!(names.len(), 12, "{names:?}");
        for (month, name) in (1_u32..).zip(names) {
            let moment = NaiveDate::from_ymd_opt(2026, month, 28).unwrap();
            let moment = Some(format!("{moment} 07:05:00"));
            let plain = name.trim_end_matches('.');
            for text in [
                format!("28 {name} 2026 07:05"),
                format!("28. {} 2026 07:05", plain.to_uppercase()),
                format!("28-{plain}-2026 7:05"),
                format!("28 {plain} 26 07:05"),
                format!("2026 {plain} 28 07:05"),
            ] {
                assert_eq!(read(&[&text], None), Ok(vec![moment.clone()]), "{text}");
            }
        }
    }
}

#[test]
fn dates_that_can_be_read_in_two_ways_are_refused() {
    for text in ["01/02/2026", "1-2-2026 10:00", "29/11/26", "26-11-29", "01022026", "261129143005"]
    {
        assert!(matches!(read(&[text], None), Err(Unsure::Order(_))), "{text}");
    }
    use DateOrder::{DayMonthYear, MonthDayYear, YearMonthDay};
    for (text, order, day) in [
        ("01/02/2026", DayMonthYear, "2026-02-01"),
        ("01/02/2026", MonthDayYear, "2026-01-02"),
        ("26-11-29", YearMonthDay, "2026-11-29"),
        ("29-11-26", DayMonthYear, "2026-11-29"),
        ("261129", YearMonthDay, "2026-11-29"),
        ("01022026", DayMonthYear, "2026-02-01"),
    ] {
        assert_eq!(read(&[text], Some(order)), Ok(vec![Some(format!("{day} 00:00:00"))]), "{text}");
    }
    // Days of a month that stand in one place, a year in another: only one order makes sense.
    let texts: Vec<String> = (1..=28).map(|day| format!("26-11-{day:02}")).collect();
    let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
    let found = read(&texts, None).unwrap();
    assert_eq!(found[27].as_deref(), Some("2026-11-28 00:00:00"));
    assert!(matches!(
        read(&["29/11/2026", "11/30/2026", "01/02/2026"], None),
        Err(Unsure::BothOrders(..))
    ));
}

#[test]
fn what_is_no_moment_is_read_as_none() {
    for text in [
        "2026-13-01",
        "31.02.2026",
        "29.11.2026 25:00",
        "29.11.2026 14",
        "2569-11-29",
        "29.11",
        "1.2.3",
        "11.2026",
        "Total",
        "12 apples",
        "2026-11-29 14:30 lot 5",
        "29.11.2026 14:30-15:00",
        "2026112914",
        "2611291430",
        "4635",
        "28 Brumaire 2026",
        "29 čer 2026",
    ] {
        let found = read(&[text], Some(DateOrder::DayMonthYear)).unwrap();
        assert_eq!(found, [None], "{text}");
    }
    // Numbers count seconds only where the whole column does.
    assert_eq!(read(&["1795962605", "2026-11-29"], None).unwrap()[0], None);
}

#[test]
fn a_zone_is_told_and_laid_on_the_stated_clock() {
    let table = |moments: [&str; 2]| {
        let rows = [0, 1].map(|n| format!("{};U{n};M1;0.95;3.00;pass\n", moments[n]));
        format!("tested at;serial;model;leakage [mA];high limit [mA];result\n{}", rows.concat())
    };
    let days = |text: String, settings: &str| {
        let dir = folder();
        let path = put(dir.path(), "t.csv", text);
        let config = Config::parse(settings, "leakdrift.toml".as_ref()).unwrap();
        tried(&[path], &config).map(|(read, pass)| {
            let days: Vec<i32> = pass.series[0].tally.iter().map(|l| l.day).collect();
            (days, read.notes.iter().map(|n| n.text.clone()).collect::<Vec<_>>().join("\n"))
        })
    };
    let first = table(["2026-11-29T23:30:05+01:00", "2026-07-01T23:30:05+02:00"]);
    let (found, notes) = days(first, "").unwrap();
    let day = |d: &str| (d.parse::<NaiveDate>().unwrap() - NaiveDate::default()).num_days() as i32;
    assert_eq!(found, [day("2026-07-01"), day("2026-11-29")]);
    assert!(notes.contains("utc_offset"), "{notes}");
    let utc = table(["2026-11-29T23:30:05Z", "2026-11-28 23:30:05.000Z"]);
    let (found, notes) = days(utc.clone(), "utc_offset = \"+01:00\"").unwrap();
    assert_eq!(found, [day("2026-11-29"), day("2026-11-30")]);
    assert!(notes.contains("laid on the clock of +01:00"), "{notes}");
    assert_eq!(days(utc, "").unwrap().0, [day("2026-11-28"), day("2026-11-29")]);
    let two_clocks = table(["2026-11-29T23:30:05Z", "2026-11-29T23:30:05+09:00"]);
    assert!(days(two_clocks, "").unwrap_err().to_string().contains("utc_offset"));
}

#[test]
fn a_column_of_times_beside_the_date_is_read_as_written() {
    let texts = [
        "14:30:05",
        "14.30.05",
        "14h30",
        "2:30:05 PM",
        "2.30 p. m.",
        "14:30 Uhr",
        "下午2:30",
        "14時30分05秒",
        "143005",
        "14:30:05.123",
        "30.12.1899 14:30:05",
        "14-30-05",
    ];
    for text in texts {
        let table = format!(
            "Date;Time;serial;model;leakage [mA];high limit [mA];result\n2026-11-29;{text};U1;M1;0.95;3.00;pass\n"
        );
        let dir = folder();
        let path = put(dir.path(), "t.csv", table);
        let config = Config::parse("day_starts = \"14:30\"", "x.toml".as_ref()).unwrap();
        let (_, pass) = tried(&[path], &config).unwrap_or_else(|e| panic!("{text}: {e}"));
        // A day that starts at half past two holds it, one that starts later does not.
        let same = |pass: &leakdrift::series::Pass| pass.series[0].tally[0].day;
        let path = put(dir.path(), "u.csv", std::fs::read(dir.path().join("t.csv")).unwrap());
        let later = Config::parse("day_starts = \"14:31\"", "x.toml".as_ref()).unwrap();
        let (_, before) = tried(&[path], &later).unwrap();
        assert_eq!(same(&pass) - 1, same(&before), "{text}");
    }
}

#[test]
fn two_orders_of_dates_in_one_file_are_refused() {
    let table = |dates: &[&str]| {
        let mut text = "date;serial;model;leakage [mA];high limit [mA];result\n".to_owned();
        for (n, date) in dates.iter().enumerate() {
            text += &format!("{date};U{n};M1;0.95;3.00;pass\n");
        }
        text
    };
    let dir = folder();
    let path = put(dir.path(), "t.csv", table(&["03/02/2026", "29/11/2026", "11/30/2026"]));
    let told = tried(std::slice::from_ref(&path), &Config::default()).unwrap_err().to_string();
    assert!(told.contains("date_order") && told.contains("11/30/2026"), "{told}");
    let config = Config::parse("date_order = \"day-month-year\"", "x.toml".as_ref()).unwrap();
    let (_, pass) = counted(&[path], &config);
    assert_eq!((pass.ledger.used, pass.ledger.unreadable), (2, 1));
    // Where only a row far behind tells, it is told first.
    let mut dates = vec!["29/11/2026"; 150_000];
    dates[149_000] = "11/30/2026";
    let path = put(dir.path(), "u.csv", table(&dates));
    let (_, pass) = counted(&[path], &Config::default());
    assert_eq!(pass.ledger.unreadable, 1);
    assert!(
        pass.notes.iter().any(|n| n.first && n.text.contains("row 149002")),
        "{:?}",
        pass.notes
    );
    // Two such rows are no slip: days 1 to 12 of the other rows may be months.
    dates[149_001] = "11/30/2026";
    let path = put(dir.path(), "v.csv", table(&dates));
    let (_, pass) = counted(&[path], &Config::default());
    let told = leakdrift::misread(&pass, &Config::default());
    assert!(told.iter().any(|t| t.contains("order of day and month")), "{told:?}");
}

#[test]
fn numbers_of_a_spreadsheet_are_dates_where_the_whole_column_is() {
    let book = |dates: &[f64], format: Option<&str>| {
        let mut workbook = rust_xlsxwriter::Workbook::new();
        let sheet = workbook.add_worksheet();
        for (n, name) in
            ["tested at", "serial", "model", "leakage [mA]", "high limit [mA]", "result"]
                .into_iter()
                .enumerate()
        {
            sheet.write(0, n as u16, name).unwrap();
        }
        for (n, date) in dates.iter().enumerate() {
            let row = n as u32 + 1;
            match format {
                Some(format) => {
                    let format = rust_xlsxwriter::Format::new().set_num_format(format);
                    sheet.write_with_format(row, 0, *date, &format).unwrap()
                }
                None => sheet.write(row, 0, *date).unwrap(),
            };
            sheet.write(row, 1, format!("U{n}")).unwrap();
            sheet.write(row, 2, "M1").unwrap();
            sheet.write(row, 3, 0.95).unwrap();
            sheet.write(row, 4, 3.0).unwrap();
            sheet.write(row, 5, "pass").unwrap();
        }
        workbook.save_to_buffer().unwrap()
    };
    let days = |bytes: Vec<u8>| {
        let dir = folder();
        let path = put(dir.path(), "t.xlsx", bytes);
        let (_, pass) = counted(&[path], &Config::default());
        assert_eq!(pass.ledger.unreadable, 0, "{:?}", pass.unreadable.first());
        pass.series[0].tally.iter().map(|l| l.day).collect::<Vec<_>>()
    };
    // Day 46 355 of a spreadsheet is 29 November 2026.
    let dates = [46_355.604_224_5, 46_356.25, 46_357.0];
    let expected = days(book(&dates, Some("yyyy-mm-dd hh:mm:ss")));
    let first: NaiveDate = "2026-11-29".parse().unwrap();
    assert_eq!(i64::from(expected[0]), (first - NaiveDate::default()).num_days());
    assert_eq!(days(book(&dates, None)), expected);
    assert_eq!(days(book(&[20_261_129.0, 20_261_130.0, 20_261_201.0], None)), expected);
    let seconds = [1_795_962_605.0, 1_796_049_005.0, 1_796_135_405.0];
    assert_eq!(days(book(&seconds, None)), expected);
}

/// Whole columns, of moments spread over two years: the column tells what one of its cells does not.
#[test]
fn a_column_of_any_format_is_read_as_it_was_written() {
    let start = NaiveDate::from_ymd_opt(2025, 3, 7).unwrap().and_hms_opt(6, 2, 3).unwrap();
    let moments: Vec<_> =
        (0..300_i64).map(|n| start + chrono::TimeDelta::seconds(n * 211_013)).collect();
    for format in [
        "%Y-%m-%d %H:%M:%S",
        "%d.%m.%Y %H:%M:%S",
        "%d/%m/%Y %H:%M:%S",
        "%m/%d/%Y %I:%M:%S %p",
        "%d-%m-%y %H:%M:%S",
        "%y-%m-%d %H:%M:%S",
        "%m/%d/%y %H:%M:%S",
        "%d.%m.%y %H.%M.%S",
        "%Y%m%dT%H%M%S",
        "%Y%m%d%H%M%S",
        "%d%m%Y %H%M%S",
        "%m%d%Y%H%M%S",
        "%y%m%d%H%M%S",
        "%d%m%y %H%M%S",
        "%d %B %Y %H:%M:%S",
        "%d-%b-%y %I.%M.%S %p",
        "%y-%b-%d %H:%M:%S",
        "%b %d, %Y %I:%M:%S %p",
        "%a %b %e %H:%M:%S %Y",
        "%H:%M:%S %d.%m.%Y",
        "%G-W%V-%u %H:%M:%S",
        "%Y-%j %H:%M:%S",
        "%s",
        "%s250",
    ] {
        let texts: Vec<String> =
            moments.iter().map(|m| m.and_utc().format(format).to_string()).collect();
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        let found = read(&texts, None).unwrap_or_else(|e| panic!("{format}: {e:?}"));
        for ((found, moment), text) in found.iter().zip(&moments).zip(&texts) {
            assert_eq!(found.as_deref(), Some(&*moment.to_string()), "{format}: {text}");
        }
    }
}
