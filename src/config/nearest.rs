//! Which known word may have been meant by one that is not known?
//!
//! Only words that look alike are named, or that begin with what was typed or hold all its parts: the most alike
//! of words that are not alike at all would send a reader the wrong way.

/// How alike two words must be, from 0 to 1, for one to be named for the other. Of `Strom` no column is named,
/// of `hi_limit` the high limit is.
const ALIKE: f64 = 0.80;
/// Words within this of the most alike one are named beside it.
const AS_ALIKE: f64 = 0.02;
/// Most words named.
const NAMED: usize = 3;

/// The known words that look most like `found`, as far as they look alike, the most alike first.
#[must_use]
pub fn nearest<'w>(found: &str, known: impl Iterator<Item = &'w str>) -> Vec<&'w str> {
    let found = plain(found);
    let mut alike: Vec<(f64, &str)> = known
        .map(|word| (likeness(&found, &plain(word)), word))
        .filter(|(x, _)| *x >= ALIKE)
        .collect();
    alike.sort_by(|a, b| b.0.total_cmp(&a.0));
    alike.dedup_by_key(|(_, word)| *word);
    let best = alike.first().map_or(0.0, |(x, _)| *x);
    alike.iter().take_while(|(x, _)| *x >= best - AS_ALIKE).take(NAMED).map(|(_, w)| *w).collect()
}

/// Lower case, one sign between its parts.
fn plain(word: &str) -> String {
    let parts = word.split(|c: char| !c.is_alphanumeric()).filter(|p| !p.is_empty());
    parts.collect::<Vec<_>>().join("_").to_lowercase()
}

/// How alike two plain words are, from 0 to 1.
fn likeness(found: &str, known: &str) -> f64 {
    let spelled = strsim::normalized_damerau_levenshtein(found, known)
        .max(strsim::jaro_winkler(found, known) - 0.05);
    let parts: Vec<&str> = known.split('_').collect();
    let begins = found.chars().count() >= 2 && known.starts_with(found);
    let holds = found.len() >= 3 && found.split('_').all(|part| parts.contains(&part));
    match begins || holds {
        true => spelled.max(0.9),
        false => spelled,
    }
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn words_that_look_alike_are_named_and_others_are_not() {
        let columns = ["tested_at", "model", "reading_ma", "high_limit_ma", "low_limit_ma", "lot"];
        let of = |found| nearest(found, columns.into_iter());
        assert_eq!(of("readng_ma"), ["reading_ma"]);
        assert_eq!(of("High Limit"), ["high_limit_ma"]);
        assert_eq!(of("limit"), ["high_limit_ma", "low_limit_ma"]);
        assert_eq!(of("Strom"), [""; 0]);
        assert_eq!(of("zz"), [""; 0]);
        let models = ["KB120", "KB125", "VC310", "EM520"];
        assert_eq!(nearest("kb12", models.into_iter()), ["KB120", "KB125"]);
        assert_eq!(nearest("VC301", models.into_iter()), ["VC310"]);
        assert_eq!(nearest("toaster", models.into_iter()), [""; 0]);
    }
}
