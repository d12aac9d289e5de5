//! What a column is taken for, how sure that is, and why.

use serde::Serialize;

use super::columns::Meaning;

/// How sure the meaning of a column is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Sure {
    /// The settings name it, or it carries its canonical name, or trade words with all that they need.
    Sure,
    /// Something was supplied that the file does not say, such as a unit.
    Likely,
    /// Its first values do not read as what it should be.
    Doubtful,
    /// It is not used.
    NotUsed,
}

/// What one column is taken for.
#[derive(Debug, Clone)]
pub struct Taken {
    /// What it means; [`Meaning::Unknown`] where it is not used.
    pub meaning: Meaning,
    /// How sure that is.
    pub sure: Sure,
    /// Why it is no surer, or why the column is not used.
    pub why: Option<String>,
}
