//! Every key of `leakdrift.toml`, with its default and meaning: what `leakdrift config` prints.

use std::fmt::Write as _;

use super::{Config, Key, Range, Section, Tester};

/// The default of a key as TOML; `None` where it has none.
fn default_of(section: &Section, key: &Key) -> Option<String> {
    let table = match section.head {
        "" => toml::Table::try_from(Config::default()),
        "[tester]" => toml::Table::try_from(Tester::default()),
        _ => return None,
    };
    // Whole numbers of a kind that may be fractions are shown as such; texts and lists as TOML writes them.
    table.ok()?.get(key.name).map(ToString::to_string)
}

/// The whole reference as TOML: every key with its default, or an example behind a `#` where it has none.
#[must_use]
pub fn reference() -> String {
    let mut page = String::from(
        "# Every key of leakdrift.toml. What has a default shows it; the rest is an example behind a #.\n\
         # The file is found beside the inputs or given with --config. Unknown keys are refused.\n",
    );
    for section in Config::SECTIONS {
        let _ = writeln!(page, "\n# {}", section.meaning);
        let no_default = section.keys.iter().all(|k| default_of(section, k).is_none());
        if !section.head.is_empty() {
            let _ = writeln!(page, "{}{}", if no_default { "# " } else { "" }, section.head);
        }
        for key in section.keys {
            let line = match default_of(section, key) {
                Some(value) => format!("{} = {value}", key.name),
                None => format!("# {} = {}", key.name, key.example),
            };
            let _ = write!(page, "{line:<40} # {}", key.meaning);
            let _ = match key.range {
                Range::Any => writeln!(page),
                range => writeln!(page, " A number {range}."),
            };
        }
    }
    page
}
