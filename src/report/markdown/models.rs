//! Pages of models: which there are, and where each lies.

use std::collections::{BTreeMap, BTreeSet};

use crate::review::Review;

/// Signs of a file name taken from a model.
const LONGEST: usize = 60;

/// The page of a model.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ModelPage {
    /// The model.
    pub model: String,
    /// Path in the report's folder.
    pub path: String,
    /// Its series, by index.
    pub series: Vec<usize>,
}

/// The pages of all models, in the order of their series.
///
/// Names are safe for any file system: letters, digits, `-`, `_` and `.`; of two that would be one file where capitals do
/// not count the later ones get a number.
#[must_use]
pub fn pages(review: &Review) -> Vec<ModelPage> {
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    let mut taken: BTreeSet<String> = BTreeSet::new();
    let mut all: Vec<ModelPage> = Vec::new();
    for (n, series) in review.series.iter().enumerate() {
        let model = series.named.key.model.as_str();
        let place = *places.entry(model).or_insert_with(|| {
            let path = free_path(model, &mut taken);
            all.push(ModelPage { model: model.to_owned(), path, series: Vec::new() });
            all.len() - 1
        });
        all[place].series.push(n);
    }
    all
}

fn free_path(model: &str, taken: &mut BTreeSet<String>) -> String {
    let plain = |c: char| if c.is_alphanumeric() || "-_.".contains(c) { c } else { '-' };
    let name: String = model.trim().chars().map(plain).take(LONGEST).collect();
    let name = name.trim_matches(['.', '-']).to_owned();
    let name = if name.is_empty() { "model".to_owned() } else { name };
    let numbered = (1..).map(|n| if n == 1 { name.clone() } else { format!("{name}-{n}") });
    let free = numbered.into_iter().find(|name| taken.insert(name.to_lowercase()));
    format!("models/{}.md", free.unwrap_or(name))
}
