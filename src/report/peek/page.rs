//! What `peek` prints on a terminal.

use std::fmt::Write;

use super::{Peek, Seen, Sure, quoted};
use crate::words::numbers::row_sum;
use crate::words::one_line;

/// Files that cannot be used or read, as many as the page shows.
const FAULTS_SHOWN: usize = 5;
/// Columns of one table, as many as the page shows.
const COLUMNS_SHOWN: usize = 200;

impl Peek {
    /// For a terminal.
    #[must_use]
    pub fn text(&self) -> String {
        let mut page = String::new();
        let mut last: Option<&Seen> = None;
        for table in self.tables.iter().chain(self.refused.iter().take(FAULTS_SHOWN)) {
            let names = |t: &Seen| t.columns.iter().map(|c| c.name.clone()).collect::<Vec<_>>();
            let alike = last.is_some_and(|l| {
                l.flavour == table.flavour
                    && names(l) == names(table)
                    && l.fixed == table.fixed
                    && (&l.lacks, &l.undecided) == (&table.lacks, &table.undecided)
            });
            last = Some(table);
            if alike {
                let _ = writeln!(page, "{}: as above", one_line(&table.source));
            } else {
                table_text(&mut page, table);
            }
        }
        let more = |page: &mut String, of: usize, what: &str| {
            if let Some(more) = of.checked_sub(FAULTS_SHOWN).filter(|more| *more > 0) {
                let _ = writeln!(page, "and {more} more {what}: --json lists them all");
            }
        };
        more(&mut page, self.refused.len(), "that cannot be used yet");
        if !self.refused.is_empty() {
            let _ = writeln!(
                page,
                "columns may be called, in the files or under [columns]: {}\n  `leakdrift config --columns` says what each means; --write-config starts the settings",
                self.canonical_columns.join(", ")
            );
        }
        for failure in self.unseen.iter().take(FAULTS_SHOWN) {
            let _ = writeln!(page, "could not be read: {}", one_line(failure));
        }
        more(&mut page, self.unseen.len(), "that could not be read");
        if let Some(rows) = &self.rows {
            let aside = rows.set_aside.values().sum();
            let sum = row_sum(rows.read, rows.used, aside, rows.unreadable);
            let _ = writeln!(page, "\n{sum}");
            for (reason, n) in &rows.set_aside {
                let _ = writeln!(page, "  set aside, {reason}: {n}");
            }
            if rows.stepped_over > 0 {
                let _ = writeln!(
                    page,
                    "  beside them {} lines that are no rows (blank, titles, the header again, totals)",
                    rows.stepped_over
                );
            }
            for (outcome, n) in &self.outcomes {
                let _ = writeln!(page, "  {outcome}: {n}");
            }
            for reason in &self.unreadable_reasons {
                let found: Vec<String> = reason.found.iter().map(|f| quoted(f)).collect();
                let column = match reason.column.as_str() {
                    "" => String::new(),
                    column => format!("column {}: ", quoted(column)),
                };
                let _ = writeln!(
                    page,
                    "  unreadable, {} rows: {column}expected {}, found {} (first: {})",
                    reason.rows,
                    reason.expected,
                    found.join(", "),
                    one_line(&reason.first)
                );
            }
            let _ = writeln!(page, "\n{} series", self.series.len());
            for (title, units) in &self.series {
                let _ = writeln!(page, "  {:<50} {units:>9} units", one_line(title));
            }
        }
        if !self.unknown_outcomes.is_empty() {
            let _ = writeln!(
                page,
                "\nunknown outcome words, never taken for a pass; say what they mean in leakdrift.toml:\n  [outcomes]"
            );
            for (word, n) in &self.unknown_outcomes {
                let _ = writeln!(
                    page,
                    "  {} = \"…\"    # {n} rows; pass, fail, over limit, under limit, breakdown, arc or not completed",
                    quoted(word)
                );
            }
        }
        for note in &self.notes {
            let _ = writeln!(page, "note: {}", one_line(note));
        }
        page
    }
}

fn table_text(page: &mut String, table: &Seen) {
    let header = match table.header_row {
        // A Parquet file names its columns itself.
        0 if table.flavour == "Parquet" => String::new(),
        0 => ", no header".to_owned(),
        row => format!(", header in row {row} of those with cells"),
    };
    let _ = writeln!(page, "{}\n  {}{header}", one_line(&table.source), table.flavour);
    if !table.lacks.is_empty() {
        let _ = writeln!(page, "  cannot be used yet: without {}", table.lacks.join(" and "));
    }
    if let Some(order) = table.date_order {
        let _ = writeln!(page, "  dates are {order}");
    }
    if let Some(undecided) = &table.undecided {
        let _ = writeln!(page, "  cannot be used yet: {undecided}");
    }
    if table.columns.is_empty() {
        let _ = writeln!(page, "  no columns: its rows hold no ; tab , or | that parts them");
    }
    for column in table.columns.iter().take(COLUMNS_SHOWN) {
        let meaning = column.meaning.as_deref().unwrap_or("not used");
        let unit = column.unit.map_or_else(String::new, |u| format!(" in {u}"));
        let example =
            column.example.as_ref().map_or_else(String::new, |e| format!("e.g. {}", quoted(e)));
        let sure = match (column.sure, &column.why) {
            (Sure::Sure, _) => "sure".to_owned(),
            (Sure::NotUsed, why) => why.clone().unwrap_or_default(),
            (Sure::Likely, why) => format!("likely: {}", why.as_deref().unwrap_or("")),
            (Sure::Doubtful, why) => format!("doubtful: {}", why.as_deref().unwrap_or("")),
        };
        let line = format!(
            "  {:<28} {:<28} {example:<28} {sure}",
            quoted(&column.name),
            format!("{meaning}{unit}")
        );
        let _ = writeln!(page, "{}", line.trim_end());
    }
    if let Some(more) = table.columns.len().checked_sub(COLUMNS_SHOWN).filter(|n| *n > 0) {
        let _ = writeln!(page, "  and {more} more columns");
    }
    for (field, value) in &table.fixed {
        let _ = writeln!(page, "  {field:<28} {} for rows without one", quoted(value));
    }
    for (n, row) in table.first_rows.iter().enumerate() {
        let cells: Vec<String> =
            row.iter().map(|(name, value)| format!("{name} {}", one_line(value))).collect();
        let _ = writeln!(page, "  row {} as understood: {}", n + 1, cells.join("; "));
    }
    for missing in &table.missing {
        let _ = writeln!(page, "  missing: {}; in leakdrift.toml:", missing.what);
        for line in missing.lines.lines() {
            let _ = writeln!(page, "      {line}");
        }
    }
}
