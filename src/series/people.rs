//! Operators by a code instead of their name, which stays the same from month to month.
//!
//! Coded where names come in, so that no page, list, result file or tally can show one by mistake. The code
//! is made of the name alone: a number by the order of names would change for all when somebody joins. It
//! keeps names off what leaves the house and is no secret: whoever has the list of names can find each again.

use std::collections::{BTreeMap, BTreeSet};

use sha2::{Digest, Sha256};

/// The factor whose levels are people.
pub const OPERATOR: &str = "operator";
/// The factor that says when they worked.
pub const SHIFT: &str = "shift";
/// No vowels, so that no code is a word, and nothing that is easily misread.
const SIGNS: &[u8; 28] = b"23456789bcdfghjkmnpqrstvwxyz";
/// Signs of a code; more where two names would share it.
const SIGNS_OF_CODE: usize = 4;

/// A code for each name; blank where it is blank, and as it stands where it is a code: a tally holds them.
pub fn codes<'a>(names: impl Iterator<Item = &'a str>) -> BTreeMap<&'a str, String> {
    let all: BTreeSet<&str> = names.collect();
    let is_kept = |name: &&str| name.trim().is_empty() || is_code(name);
    let mut coded: Vec<(String, &str)> =
        all.iter().filter(|n| !is_kept(n)).map(|name| (signs(name), *name)).collect();
    coded.sort_unstable();
    let mut codes: BTreeMap<&str, String> =
        all.iter().filter(|n| is_kept(n)).map(|name| (*name, (*name).to_owned())).collect();
    for (n, (own, name)) in coded.iter().enumerate() {
        // In order, whoever shares most of a code stands beside it.
        let beside = [n.checked_sub(1), Some(n + 1)].into_iter().flatten();
        let shared = beside.filter_map(|n| coded.get(n)).map(|(other, _)| in_common(own, other));
        let own = &own[..(shared.max().unwrap_or(0) + 1).clamp(SIGNS_OF_CODE, own.len())];
        codes.insert(name, format!("p-{own}{}", check(own)));
    }
    codes
}

fn in_common(a: &str, b: &str) -> usize {
    a.bytes().zip(b.bytes()).take_while(|(a, b)| a == b).count()
}

/// The sign that ends a code: a personnel number that looks like one is hardly ever taken for it.
fn check(signs: &str) -> char {
    self::signs(&format!("check {signs}")).chars().next().unwrap_or('2')
}

fn is_code(name: &str) -> bool {
    let Some(signs) = name.trim().strip_prefix("p-").filter(|s| s.is_ascii()) else {
        return false;
    };
    let known = signs.bytes().all(|b| SIGNS.contains(&b));
    known && signs.len() > SIGNS_OF_CODE && {
        let (own, last) = signs.split_at(signs.len() - 1);
        last.starts_with(check(own))
    }
}

/// Signs that stand for a name, 16 of them.
fn signs(name: &str) -> String {
    let sum = Sha256::digest(format!("leakdrift operator {}", name.trim()));
    sum.iter().take(16).map(|b| SIGNS[usize::from(*b) % SIGNS.len()] as char).collect()
}
