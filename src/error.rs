//! What stops us, and where: every error says what, where, what was expected, what was found and
//! what to do about it.

use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The result of anything that can stop the program.
pub type Result<T> = std::result::Result<T, Error>;

/// Something that stops the run, or one file of it.
///
/// Boxed, so that a `Result` stays small; see [`ErrorKind`] for what can go wrong.
///
/// # Examples
/// ```
/// use leakdrift::error::{Error, Place};
///
/// let cell = Place::file("line.csv".as_ref()).row(118).column("limit_high");
/// let error = Error::input(cell, "a number", "\"n/a\"", "correct the cell");
/// assert_eq!(
///     error.to_string(),
///     "line.csv, row 118, column \"limit_high\": expected a number, found \"n/a\"; correct the cell"
/// );
/// ```
#[derive(Debug, Clone, thiserror::Error)]
#[error("{0}")]
pub struct Error(Box<ErrorKind>);

impl Error {
    /// What went wrong.
    #[must_use]
    pub fn kind(&self) -> &ErrorKind {
        &self.0
    }

    /// An input problem at a place.
    #[must_use]
    pub fn input(
        place: Place,
        expected: impl Into<String>,
        found: impl Into<String>,
        to_do: impl Into<String>,
    ) -> Self {
        Self::from(ErrorKind::Input {
            place,
            expected: expected.into(),
            found: found.into(),
            to_do: to_do.into(),
        })
    }

    /// A file or folder that the operating system refused.
    #[must_use]
    pub fn io(doing: &'static str, path: &Path, source: std::io::Error) -> Self {
        Self::from(ErrorKind::Io { doing, path: path.to_owned(), source: Arc::new(source) })
    }

    /// A problem of the command line or of the inputs as a whole.
    #[must_use]
    pub fn usage(what: impl Into<String>, to_do: impl Into<String>) -> Self {
        Self::from(ErrorKind::Usage { what: what.into(), to_do: to_do.into() })
    }
}

impl From<ErrorKind> for Error {
    fn from(kind: ErrorKind) -> Self {
        Self(Box::new(kind))
    }
}

/// The kinds of trouble that stop a run or a file.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub enum ErrorKind {
    /// An input that cannot be understood.
    Input {
        /// Where it is.
        place: Place,
        /// What a reader expects there.
        expected: String,
        /// What stands there.
        found: String,
        /// What the user can do.
        to_do: String,
    },
    /// The operating system refused.
    Io {
        /// What was tried, for example `read`.
        doing: &'static str,
        /// On which path.
        path: PathBuf,
        /// Its reason.
        source: Arc<std::io::Error>,
    },
    /// The settings file is wrong.
    Config {
        /// The settings file.
        path: PathBuf,
        /// Line, counted from 1, where known.
        line: Option<usize>,
        /// Column, counted from 1, where known.
        column: Option<usize>,
        /// What is wrong, with what was expected and found.
        what: String,
        /// What the user can do.
        to_do: String,
    },
    /// The command as a whole cannot be done.
    Usage {
        /// What is wrong.
        what: String,
        /// What the user can do.
        to_do: String,
    },
}

impl fmt::Display for ErrorKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input { place, expected, found, to_do } => {
                write!(f, "{place}: expected {expected}, found {found}; {to_do}")
            }
            Self::Io { doing, path, source } => {
                write!(f, "cannot {doing} {}: {source}", path.display())
            }
            Self::Config { path, line, column, what, to_do } => {
                write!(f, "{}", path.display())?;
                if let Some(line) = line {
                    write!(f, ", line {line}")?;
                }
                if let Some(column) = column {
                    write!(f, ", column {column}")?;
                }
                write!(f, ": {what}; {to_do}")
            }
            Self::Usage { what, to_do } => write!(f, "{what}; {to_do}"),
        }
    }
}

/// A place in the inputs: file, sheet, row and column as far as they are known.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Place {
    /// The file, as found.
    pub file: PathBuf,
    /// The sheet of a workbook.
    pub sheet: Option<String>,
    /// Line of a text file or row of a sheet, counted from 1.
    pub row: Option<u64>,
    /// The column's header.
    pub column: Option<String>,
}

impl Place {
    /// A whole file.
    #[must_use]
    pub fn file(path: &Path) -> Self {
        Self { file: path.to_owned(), ..Self::default() }
    }

    /// The same place, in a sheet.
    #[must_use]
    pub fn sheet(mut self, name: Option<&str>) -> Self {
        self.sheet = name.map(str::to_owned);
        self
    }

    /// The same place, at a row.
    #[must_use]
    pub fn row(mut self, row: u64) -> Self {
        self.row = Some(row);
        self
    }

    /// The same place, in a column.
    #[must_use]
    pub fn column(mut self, name: &str) -> Self {
        self.column = Some(name.to_owned());
        self
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file.display())?;
        if let Some(sheet) = &self.sheet {
            write!(f, ", sheet {sheet:?}")?;
        }
        if let Some(row) = self.row {
            write!(f, ", row {row}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ", column {column:?}")?;
        }
        Ok(())
    }
}
