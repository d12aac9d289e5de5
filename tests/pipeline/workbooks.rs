//! Workbooks as plants have them: old and open formats, hidden sheets, formula errors, and damaged ones that
//! would be read for ever or fill the memory.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use leakdrift::config::Config;

use super::exports::ENGLISH;
use super::flavours::{english, is_the_tally, rows, word};
use crate::support::count::counted;
use crate::support::days::day;
use crate::support::run::{PROGRAM, committed, finish, folder, put, run_in};
use crate::support::xlsb::{Held, xlsb};

fn text_cell(text: &str) -> String {
    format!(
        "<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>"
    )
}

fn row(cells: String) -> String {
    format!("<table:table-row>{cells}</table:table-row>")
}

/// `content.xml` with one table named a.
fn sheet_of(rows: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"a\">{rows}</table:table></office:spreadsheet></office:body></office:document-content>"
    )
}

/// An Open Document workbook around this `content.xml`.
fn ods(content: &str) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let stored = zip::write::SimpleFileOptions::default();
    for (name, text) in [
        ("mimetype", "application/vnd.oasis.opendocument.spreadsheet"),
        ("META-INF/manifest.xml", "<manifest/>"),
        ("content.xml", content),
    ] {
        archive.start_file(name, stored).unwrap();
        archive.write_all(text.as_bytes()).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

#[test]
fn an_old_workbook_with_a_hidden_sheet() {
    let (read, _) = counted(&[committed("tests/data/exports/small.xls")], &Config::default());
    assert!(read.notes.iter().any(|n| n.to_string().contains("Old")), "{:?}", read.notes);
    is_the_tally(committed("tests/data/exports/small.xls"));
}

#[test]
fn an_open_document_sheet() {
    let number =
        |x: f64| format!("<table:table-cell office:value-type=\"float\" office:value=\"{x}\"/>");
    let mut sheet = row(ENGLISH.map(text_cell).concat());
    for r in rows() {
        let cells = [
            format!(
                "<table:table-cell office:value-type=\"date\" office:date-value=\"{}\"/>",
                r.at.format("%Y-%m-%d")
            ),
            text_cell(&r.at.format("%H:%M:%S").to_string()),
            text_cell("M1"),
            text_cell(&r.serial),
            text_cell("S1"),
            number(1500.0),
            number(50.0),
            r.ua.map_or_else(|| text_cell(""), |x| number(f64::from(x) / 1000.0)),
            number(1.3),
            text_cell(word(r.outcome, ["ok", "too high", "flashover"])),
        ];
        sheet += &row(cells.concat());
    }
    let sheet = sheet_of(&sheet);
    let dir = folder();
    is_the_tally(put(dir.path(), "t.ods", ods(&sheet)));
}

#[track_caller]
fn refused(path: &Path, words: &[&str]) {
    let done = finish(std::process::Command::new(PROGRAM).arg("peek").arg(path));
    let told = format!("{}{}", done.out, done.err);
    assert_eq!(done.status, 1, "{told}");
    for word in words {
        assert!(told.contains(word), "{word}: {told}");
    }
    assert!(!told.contains("panicked"), "{told}");
}

/// Found by fuzzing: where a tag was damaged, the reader looked for the end of the table for ever. Rows and tags
/// below are counted by hand: the header is row 1.
#[test]
fn an_open_document_sheet_with_a_damaged_tag_is_refused_and_the_others_count() {
    let sound = sheet_of(&[row(text_cell("date")), row(text_cell("Pass"))].concat());
    for (damaged, found) in [
        (
            sound.replace("<text:p>Pass", "<text:pYPass"),
            "row 2: expected </text:pYPass</text:p>, found </table:table-cell>",
        ),
        (
            sound.replace("</table:table>", "</tabe:table>"),
            "row 3: expected </table:table>, found </tabe:table>",
        ),
        (
            sound.split("</table:table-row></table:table>").next().unwrap().to_owned(),
            "row 2: expected </table:table-row>, found the end of content.xml",
        ),
        (
            sound.replace("Pass</text:p>", "Pass</text:p><office:annotation>"),
            "row 2: expected </office:annotation>, found </table:table-cell>",
        ),
    ] {
        assert_ne!(damaged, sound);
        let dir = folder();
        put(dir.path(), "a.csv", english());
        put(dir.path(), "b.ods", ods(&damaged));
        let done = run_in(dir.path(), ["peek", "."]).expect(1);
        assert!(done.out.contains("60 rows read"), "{}", done.out);
        for words in ["b.ods, sheet \"a\", ", found] {
            assert!(done.out.contains(words), "{words}: {}", done.out);
        }
    }
}

/// A cell may say how often it is repeated, and a run of spaces how many there are: room is made for all of them.
#[test]
fn an_open_document_sheet_that_repeats_cells_without_reason_is_refused() {
    let dir = folder();
    let cell = text_cell("1");
    let wide = cell
        .replace("<table:table-cell", "<table:table-cell table:number-columns-repeated=\"16384\"");
    let often = row(cell.repeat(9))
        .replace("<table:table-row", "<table:table-row table:number-rows-repeated=\"1000000\"");
    let gap = row(String::new())
        .replace("<table:table-row", "<table:table-row table:number-rows-repeated=\"1000000\"");
    let spaces = row(cell.replace('1', "<text:s text:c=\"9999999999\"/>"));
    for (rows, words) in [
        (row(wide).repeat(1000), "far outside"),
        (often, "far outside"),
        ([row(cell.repeat(9)), gap, row(cell)].concat(), "far outside"),
        (spaces, "9999999999 spaces"),
    ] {
        let path = put(dir.path(), "t.ods", ods(&sheet_of(&rows)));
        refused(&path, &["t.ods", "sheet \"a\"", words]);
    }
}

/// Programs write the blank rest of a sheet as repeated blank cells, up to its last row and column.
#[test]
fn an_open_document_sheet_may_be_blank_to_its_end() {
    let blank = "<table:table-cell table:number-columns-repeated=\"16380\"/>";
    let rest = "<table:table-row table:number-rows-repeated=\"1048500\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row>";
    let cells = |words: [&str; 4]| row(words.map(text_cell).concat() + blank);
    let sheet = [
        cells(["date", "model", "leakage mA", "result"]),
        cells(["2026-02-13", "M1", "0.412", "pass"]),
        rest.to_owned(),
    ];
    let dir = folder();
    let path = put(dir.path(), "t.ods", ods(&sheet_of(&sheet.concat())));
    let (_, pass) = counted(&[path], &Config::default());
    assert_eq!((pass.ledger.read, pass.ledger.used), (1, 1));
}

/// Found by fuzzing: sectors that follow each other in a circle filled the memory.
#[test]
fn an_old_workbook_whose_sectors_run_in_a_circle_is_refused() {
    refused(&committed("tests/data/exports/circle.xls"), &["circle.xls", "in a circle"]);
}

/// Found by fuzzing: a sheet whose last row stands before its first was given room for 96 GB.
#[test]
fn an_old_workbook_whose_sheet_runs_backwards_is_refused() {
    refused(&committed("tests/data/exports/backwards.xls"), &["backwards.xls", "outside"]);
}

/// Found by fuzzing: a date of the year 300 000 000 panicked.
#[test]
fn a_date_far_beyond_the_calendar_is_no_panic() {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    let dated = rust_xlsxwriter::Format::new().set_num_format("yyyy-mm-dd");
    for (n, name) in (0..).zip(["date", "model", "reading mA", "result"]) {
        sheet.write(0, n, name).unwrap();
    }
    sheet.write_with_format(1, 0, 1e15, &dated).unwrap();
    sheet.write(1, 1, "M1").unwrap();
    sheet.write(1, 2, 0.4).unwrap();
    sheet.write(1, 3, "pass").unwrap();
    let dir = folder();
    let path = put(dir.path(), "t.xlsx", book.save_to_buffer().unwrap());
    let done = finish(std::process::Command::new(PROGRAM).arg("peek").arg(path));
    assert!(!done.err.contains("panicked"), "{}", done.err);
}

/// One cell in the far corner would be a sheet of 17 000 million.
#[test]
fn a_workbook_with_a_stray_cell_far_outside_is_refused() {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    sheet.write(0, 0, "date").unwrap();
    sheet.write(1_048_575, 16_383, "x").unwrap();
    let dir = folder();
    let path = put(dir.path(), "t.xlsx", book.save_to_buffer().unwrap());
    refused(&path, &["t.xlsx", "far outside"]);
}

fn held(text: &str) -> Held {
    Held::Text(text.to_owned())
}

/// The 60 tests as a sheet of binary records.
fn binary_rows() -> Vec<Vec<Held>> {
    let mut sheet = vec![ENGLISH.map(held).to_vec()];
    // Spreadsheets count days from 30 December 1899 on.
    let start = day("1899-12-30");
    for r in rows() {
        let days = (r.at.date() - start).num_days();
        sheet.push(vec![
            Held::Day(f64::from(i32::try_from(days).unwrap())),
            held(&r.at.format("%H:%M:%S").to_string()),
            held("M1"),
            held(&r.serial),
            held("S1"),
            Held::Number(1500.0),
            Held::Number(50.0),
            r.ua.map_or(Held::Blank, |x| Held::Number(f64::from(x) / 1000.0)),
            Held::Number(1.3),
            held(word(r.outcome, ["ok", "too high", "flashover"])),
        ]);
    }
    sheet
}

#[test]
fn a_workbook_of_binary_records() {
    let dir = folder();
    let path = put(dir.path(), "t.xlsb", xlsb(&[("a", false, binary_rows())]));
    is_the_tally(path);
}

/// Rows are named with line, column as headed, and what stands there.
#[track_caller]
fn are_unreadable(path: PathBuf, read: u64, places: &[(u32, &str, &str)]) {
    let (_, pass) = counted(&[path], &Config::default());
    let found: Vec<_> = pass.unreadable.iter().map(|u| (u.line, &*u.column, &*u.found)).collect();
    assert_eq!(found, places);
    let used = read - places.len() as u64;
    assert_eq!((pass.ledger.read, pass.ledger.used), (read, used));
}

/// By hand: row n of the table stands in row n + 2 of its sheet.
#[test]
fn a_formula_error_is_unreadable_wherever_a_column_has_a_meaning() {
    let dir = folder();
    let mut rows = binary_rows();
    (rows[3][7], rows[5][3], rows[9][9], rows[11][2]) =
        (Held::Error(7), Held::Error(42), Held::Error(42), Held::Error(7));
    let places = [
        (4, "Leakage", "#DIV/0!"),
        (6, "Serial No", "#N/A"),
        (10, "Result", "#N/A"),
        (12, "Model", "#DIV/0!"),
    ];
    let binary = xlsb(&[("a", false, rows.clone())]);
    are_unreadable(put(dir.path(), "t.xlsb", binary), 60, &places);

    let error = |code: u8| if code == 7 { "#DIV/0!" } else { "#N/A" };
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    let dated = rust_xlsxwriter::Format::new().set_num_format("yyyy-mm-dd");
    for (r, row) in (0..).zip(&rows) {
        for (c, cell) in (0..).zip(row) {
            match cell {
                Held::Blank => continue,
                Held::Text(t) => sheet.write(r, c, t),
                Held::Number(x) => sheet.write(r, c, *x),
                Held::Day(x) => sheet.write_with_format(r, c, *x, &dated),
                Held::Error(e) => {
                    let formula = rust_xlsxwriter::Formula::new("=A1/0").set_result(error(*e));
                    sheet.write_formula(r, c, formula)
                }
            }
            .unwrap();
        }
    }
    let path = put(dir.path(), "t.xlsx", book.save_to_buffer().unwrap());
    are_unreadable(path, 60, &places);

    // As a common open program writes it, and as a spreadsheet saved as text.
    let cell = |held: &Held| match held {
        Held::Blank => text_cell(""),
        Held::Text(t) => text_cell(t),
        Held::Number(x) => {
            format!("<table:table-cell office:value-type=\"float\" office:value=\"{x}\"/>")
        }
        Held::Day(x) => {
            let start = day("1899-12-30");
            text_cell(&(start + chrono::TimeDelta::days(*x as i64)).to_string())
        }
        Held::Error(e) => format!(
            "<table:table-cell table:formula=\"of:=[.A1]/0\" office:value-type=\"string\" office:string-value=\"\" calcext:value-type=\"error\"><text:p>{}</text:p></table:table-cell>",
            error(*e)
        ),
    };
    let sheet: String = rows.iter().map(|r| row(r.iter().map(cell).collect())).collect();
    let path = put(dir.path(), "t.ods", ods(&sheet_of(&sheet)));
    are_unreadable(path, 60, &places);
    let text = String::from_utf8(english()).unwrap();
    let damaged = text.replacen(",U-007,", ",#NV,", 1).replacen(",U-009,", ",#WERT!,", 1);
    let path = put(dir.path(), "t.csv", damaged);
    are_unreadable(path, 60, &[(9, "serial", "#NV"), (11, "serial", "#WERT!")]);
}

/// Hidden sheets are told of and not read: each holds the same table again, and would double the count.
#[test]
fn hidden_sheets_are_named_and_not_read() {
    let dir = folder();
    let is_named = |path: &Path, name: &str| {
        let (read, pass) = counted(&[path.to_owned()], &Config::default());
        assert_eq!((pass.ledger.read, read.tables.len()), (60, 1), "{}", path.display());
        let told = read.notes.iter().any(|n| {
            let text = n.to_string();
            text.contains("hidden sheets were not read") && text.contains(name)
        });
        assert!(told, "{}: {:?}", path.display(), read.notes);
    };
    let sheets = [("a", false, binary_rows()), ("Earlier", true, binary_rows())];
    is_named(&put(dir.path(), "t.xlsb", xlsb(&sheets)), "Earlier");

    let text = String::from_utf8(english()).unwrap();
    let mut book = rust_xlsxwriter::Workbook::new();
    for name in ["a", "Hidden", "Very hidden"] {
        let sheet = book.add_worksheet();
        sheet.set_name(name).unwrap();
        match name {
            "Hidden" => sheet.set_hidden(true),
            "Very hidden" => sheet.set_very_hidden(true),
            _ => sheet,
        };
        for (r, line) in (0..).zip(text.trim_start_matches('\u{feff}').lines()) {
            for (c, cell) in (0..).zip(line.split(',')) {
                sheet.write(r, c, cell).unwrap();
            }
        }
    }
    let path = put(dir.path(), "t.xlsx", book.save_to_buffer().unwrap());
    is_named(&path, "Hidden, Very hidden");

    let table: String = text
        .trim_start_matches('\u{feff}')
        .lines()
        .map(|l| row(l.split(',').map(text_cell).collect()))
        .collect();
    let style = "<office:automatic-styles><style:style style:name=\"h\" style:family=\"table\"><style:table-properties table:display=\"false\"/></style:style></office:automatic-styles><office:body>";
    let both = format!(
        "{table}</table:table><table:table table:name=\"Old\" table:style-name=\"h\">{table}"
    );
    let content = sheet_of(&both).replacen("<office:body>", style, 1);
    is_named(&put(dir.path(), "t.ods", ods(&content)), "Old");
}
