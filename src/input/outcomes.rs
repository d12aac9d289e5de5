//! Outcome words: the config's first, then the trade's in the languages of factories.

use std::collections::BTreeMap;

use crate::config::Config;
use crate::error::{ErrorKind, Result};
use crate::records::Outcome;

/// What an outcome word says: a class, or only that the unit failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// One of the classes of design section 4.
    Class(Outcome),
    /// A failure whose class must come from a reason or from the reading.
    Fail,
}

/// Reads outcome words.
#[derive(Debug)]
pub struct Outcomes {
    mapped: BTreeMap<String, Said>,
}

impl Outcomes {
    /// A reader for these settings.
    ///
    /// # Errors
    /// Where the config maps a word to something that is no outcome.
    pub fn new(config: &Config) -> Result<Self> {
        let mut mapped = BTreeMap::new();
        for (word, target) in &config.outcomes {
            let Some(said) = canonical(target) else {
                return Err(ErrorKind::Config {
                    path: config.path.clone().unwrap_or_default(),
                    line: None,
                    column: None,
                    what: format!("[outcomes] {word:?}: unknown outcome {target:?}"),
                    to_do:
                        "use pass, fail, over limit, under limit, breakdown, arc or not completed"
                            .to_owned(),
                }
                .into());
            };
            mapped.insert(super::columns::squeeze(word), said);
        }
        Ok(Self { mapped })
    }

    /// What a word says; `None` where it is unknown. Unknown is never a pass.
    #[must_use]
    pub fn said(&self, word: &str) -> Option<Said> {
        let word = super::columns::squeeze(word);
        self.mapped
            .get(&word)
            .copied()
            .or_else(|| canonical(&word))
            .or_else(|| trade_word(&word))
    }
}

/// The words of the config and of JSON.
fn canonical(word: &str) -> Option<Said> {
    Some(match word.replace('_', " ").as_str() {
        "pass" => Said::Class(Outcome::Pass),
        "fail" => Said::Fail,
        "over limit" => Said::Class(Outcome::OverLimit),
        "under limit" => Said::Class(Outcome::UnderLimit),
        "breakdown" => Said::Class(Outcome::Breakdown),
        "arc" => Said::Class(Outcome::Arc),
        "not completed" => Said::Class(Outcome::NotCompleted),
        _ => return None,
    })
}

/// Common practice, no source.
fn trade_word(word: &str) -> Option<Said> {
    Some(match word {
        "passed" | "ok" | "good" | "accept" | "accepted" | "true" | "gut" | "bestanden"
        | "i.o." | "bon" | "conforme" | "superato" | "correcto" | "dobry" | "合格" | "通过" => {
            Said::Class(Outcome::Pass)
        }
        "failed" | "nok" | "not ok" | "ng" | "bad" | "reject" | "rejected" | "false"
        | "schlecht" | "n.i.o." | "mauvais" | "non conforme" | "不合格" => Said::Fail,
        "fail high" | "high" | "too high" | "above limit" | "over" | "high fail" | "high limit"
        | "zu hoch" | "trop haut" | "troppo alto" => Said::Class(Outcome::OverLimit),
        "fail low" | "low" | "too low" | "below limit" | "under" | "low fail" | "low limit"
        | "zu niedrig" | "trop bas" | "troppo basso" => Said::Class(Outcome::UnderLimit),
        "flashover" | "short" | "short circuit" | "flash over" | "durchschlag" | "claquage"
        | "scarica" | "击穿" => Said::Class(Outcome::Breakdown),
        "arcing" | "arc detected" | "lichtbogen" => Said::Class(Outcome::Arc),
        "stopped" | "stop" | "aborted" | "abort" | "interrupted" | "incomplete" | "cancelled"
        | "interlock" | "abgebrochen" | "abbruch" | "interrompu" | "interrotto" => {
            Said::Class(Outcome::NotCompleted)
        }
        _ => return None,
    })
}
