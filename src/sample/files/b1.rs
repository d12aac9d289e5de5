//! B1: workbooks, a sheet a month, two header rows with merged groups, a row for both tests of a unit.

use std::collections::BTreeMap;

use chrono::{Datelike, Timelike};
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatAlign, Workbook, Worksheet, XlsxError,
};

use super::super::schedule::Test;
use super::super::testing::{Outcome, Shown};

/// The sheet whose numbers were saved as text.
const TEXT_SHEET: &str = "2026-04";

const NAMES: [&str; 18] = [
    "Date",
    "Time",
    "Model",
    "Serial no.",
    "A",
    "mOhm",
    "Result",
    "V",
    "Hz",
    "s",
    "mA",
    "Max mA",
    "Min mA",
    "Result",
    "Reason",
    "Lot",
    "Filter",
    "Operator",
];

struct Look {
    title: Format,
    group: Format,
    name: Format,
    date: Format,
    time: Format,
    hundredths: Format,
}

pub(super) fn bytes(tests: &[&Test]) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = Workbook::new();
    // The default is the time of writing: the same plan must give the same bytes.
    let created = ExcelDateTime::from_ymd(2026, 11, 2)?.and_hms(6, 0, 0)?;
    workbook.set_properties(&DocProperties::new().set_creation_datetime(&created));
    let look = Look {
        title: Format::new().set_bold().set_font_size(14),
        group: Format::new().set_bold().set_align(FormatAlign::Center),
        name: Format::new().set_bold(),
        date: Format::new().set_num_format("yyyy-mm-dd"),
        time: Format::new().set_num_format("hh:mm:ss"),
        hundredths: Format::new().set_num_format("0.00"),
    };
    let mut months: BTreeMap<String, Vec<&Test>> = BTreeMap::new();
    for test in tests {
        months.entry(test.month()).or_default().push(test);
    }
    for (month, tests) in &months {
        let sheet = workbook.add_worksheet();
        sheet.set_name(month)?;
        head(sheet, month, &look)?;
        for (n, test) in (4_u32..).zip(tests) {
            row(sheet, n, test, month == TEXT_SHEET, &look)?;
        }
        let last = 4 + tests.len() as u32;
        sheet.write_with_format(last, 0, "Total", &look.name)?;
        sheet.write_with_format(last, 2, tests.len() as u32, &look.name)?;
    }
    workbook.save_to_buffer()
}

fn head(sheet: &mut Worksheet, month: &str, look: &Look) -> Result<(), XlsxError> {
    let title = format!("Station B1, tester P-31, tests of {month}");
    sheet.merge_range(0, 0, 0, NAMES.len() as u16 - 1, &title, &look.title)?;
    sheet.merge_range(2, 4, 2, 6, "Earth bond", &look.group)?;
    sheet.merge_range(2, 7, 2, 14, "Withstand", &look.group)?;
    for (column, name) in (0_u16..).zip(NAMES) {
        sheet.write_with_format(3, column, name, &look.name)?;
    }
    sheet.set_column_width(0, 11)?;
    sheet.set_column_width(3, 16)?;
    Ok(())
}

fn row(
    sheet: &mut Worksheet,
    n: u32,
    test: &Test,
    as_text: bool,
    look: &Look,
) -> Result<(), XlsxError> {
    let (date, time, set) = (test.printed.date(), test.printed.time(), &test.setting);
    let day = ExcelDateTime::from_ymd(date.year() as u16, date.month() as u8, date.day() as u8)?;
    let clock =
        ExcelDateTime::from_hms(time.hour() as u16, time.minute() as u8, f64::from(time.second()))?;
    sheet.write_with_format(n, 0, &day, &look.date)?;
    sheet.write_with_format(n, 1, &clock, &look.time)?;
    sheet.write(n, 2, test.model)?;
    sheet.write(n, 3, test.serial.as_str())?;
    let mut number = |column: u16, x: Option<f64>, digits: usize| -> Result<(), XlsxError> {
        match x {
            None => {}
            Some(x) if as_text => {
                sheet.write(n, column, format!("{x:.digits$}").replace('.', ","))?;
            }
            Some(x) if digits == 2 => {
                sheet.write_with_format(n, column, x, &look.hundredths)?;
            }
            Some(x) => {
                sheet.write(n, column, x)?;
            }
        }
        Ok(())
    };
    let reading = match test.shown {
        Shown::Value(ma) | Shown::Above(ma) => ma,
    };
    number(4, Some(25.0), 1)?;
    number(5, Some(test.bond_mohm), 0)?;
    number(7, Some(set.volts), 0)?;
    number(8, set.hz, 0)?;
    number(9, Some(set.dwell_s), 1)?;
    number(10, Some(reading), 2)?;
    number(11, Some(set.high_ma), 2)?;
    number(12, set.low_ma, 2)?;
    let (result, reason) = match test.outcome {
        Outcome::Pass => ("OK", ""),
        Outcome::OverLimit => ("NOK", "high"),
        Outcome::UnderLimit => ("NOK", "low"),
        Outcome::Breakdown => ("NOK", "flashover"),
        Outcome::Arc => ("NOK", "arc"),
        Outcome::NotCompleted => ("NOK", "stopped"),
    };
    let texts = [
        (6, "OK"),
        (13, result),
        (14, reason),
        (15, test.lot.as_str()),
        (16, test.filter),
        (17, test.operator),
    ];
    for (column, text) in texts {
        if !text.is_empty() {
            sheet.write(n, column, text)?;
        }
    }
    Ok(())
}
