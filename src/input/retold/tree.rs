//! A document of records in each other → one table.
//!
//! The record is the part that occurs most often, the outermost of equals; one that names neither date, model nor
//! serial is a step of the part around it. A record has its own fields, those of the parts in it by the way down to
//! them (numbered where a part occurs more than once), and the fields of all that stands around it. Made-up documents
//! name millions of things: kinds of parts, columns and values are bounded.

use std::collections::{HashMap, HashSet};
use std::rc::Rc;

use super::lines::{COLUMNS_MOST, DOWN, header_line, header_of, push_line};
use crate::input::columns::{Field, Headers, Meaning};

/// Most kinds of parts.
const KINDS_MOST: usize = 10_000;
/// Most values of all records together.
const VALUES_MOST: usize = 8 << 20;

/// A record, a part of one, or what holds records.
#[derive(Debug)]
pub struct Node {
    /// As written.
    pub name: String,
    /// Values by name.
    pub fields: Vec<(String, String)>,
    /// Records and parts.
    pub children: Vec<Node>,
}

impl Node {
    /// One that holds nothing yet.
    pub fn named(name: &str) -> Self {
        Self { name: name.to_owned(), fields: Vec::new(), children: Vec::new() }
    }
}

/// A kind of part: the names on the way down to it.
type Way<'t> = Vec<&'t str>;
/// Values by the way down to them.
type Values<'t> = Vec<(String, &'t str)>;

/// What stands around a record, the nearest first.
struct Around<'t> {
    values: Values<'t>,
    outer: Option<Rc<Around<'t>>>,
}

/// The table of a document.
///
/// # Errors
/// Where it names too much.
pub fn table(root: &Node, headers: &Headers) -> Result<Vec<u8>, String> {
    let mut kinds = Kinds::default();
    kinds.count(root, &mut vec![&root.name])?;
    let names_a_unit = |way: &Way<'_>| {
        first(root, way).is_some_and(|node| {
            own(node, &kinds.repeated).iter().any(|(key, _)| identifies(key, headers))
        })
    };
    let most = kinds.all.iter().map(|(_, n)| *n).max().unwrap_or(0);
    let of_most = kinds.all.iter().filter(|(_, n)| *n == most).map(|(way, _)| way);
    let Some(mut record) = of_most.min_by_key(|way| way.len()).cloned() else {
        return Ok(Vec::new());
    };
    while record.len() > 1 && !names_a_unit(&record) {
        record.pop();
    }
    // Records of another name beside it are records too.
    let around = &record[..record.len() - 1];
    let names: HashSet<&str> = kinds
        .all
        .iter()
        .map(|(way, _)| way)
        .filter(|way| way.split_last().is_some_and(|(_, before)| before == around))
        .filter(|way| **way == record || names_a_unit(way))
        .filter_map(|way| way.last().copied())
        .collect();
    let mut records = Vec::new();
    kinds.below(root, &record, &names, None, &mut records);
    rows(&records, &kinds.repeated, headers)
}

fn rows(
    records: &[(&Node, Option<Rc<Around<'_>>>)],
    repeated: &HashSet<&str>,
    headers: &Headers,
) -> Result<Vec<u8>, String> {
    let mut keys: Vec<String> = Vec::new();
    let mut column: HashMap<String, usize> = HashMap::new();
    // By column, the record that last had it.
    let mut last: Vec<usize> = Vec::new();
    let mut rows = Vec::new();
    let mut values = 0;
    for (nth, (node, around)) in records.iter().enumerate() {
        let mut row: Values<'_> = own(node, repeated);
        let mut around = around.as_ref();
        while let Some(level) = around {
            row.extend(level.values.iter().map(|(k, v)| (k.clone(), *v)));
            values += level.values.len();
            if values > VALUES_MOST {
                break;
            }
            around = level.outer.as_ref();
        }
        values += row.len();
        if values > VALUES_MOST {
            return Err(format!("more than {VALUES_MOST} values: write a record a line"));
        }
        let mut cells: Vec<(usize, &str)> = Vec::new();
        for (key, value) in row {
            let n = *column.entry(key).or_insert_with_key(|key| {
                keys.push(key.clone());
                last.push(usize::MAX);
                keys.len() - 1
            });
            // Of two with one name, the nearer.
            if std::mem::replace(&mut last[n], nth) != nth {
                cells.push((n, value));
            }
        }
        if keys.len() > COLUMNS_MOST {
            return Err(format!("records of more than {COLUMNS_MOST} values"));
        }
        rows.push(cells);
    }
    let mut text = header_line(keys.iter().map(String::as_str), headers);
    for row in rows {
        let mut cells = vec![""; keys.len()];
        for (n, value) in row {
            cells[n] = value;
        }
        push_line(&mut text, cells);
    }
    Ok(text)
}

/// The kinds of parts of a document.
#[derive(Default)]
struct Kinds<'t> {
    /// In the order met, with how many there are.
    all: Vec<(Way<'t>, usize)>,
    at: HashMap<Way<'t>, usize>,
    /// Names of parts that occur more than once in the same part, anywhere.
    repeated: HashSet<&'t str>,
}

impl<'t> Kinds<'t> {
    fn count(&mut self, node: &'t Node, way: &mut Way<'t>) -> Result<(), String> {
        match self.at.get(way) {
            Some(&n) => self.all[n].1 += 1,
            None if self.all.len() == KINDS_MOST => {
                return Err(format!("more than {KINDS_MOST} kinds of elements"));
            }
            None => {
                self.at.insert(way.clone(), self.all.len());
                self.all.push((way.clone(), 1));
            }
        }
        let mut here = HashSet::new();
        for child in &node.children {
            if !here.insert(child.name.as_str()) {
                self.repeated.insert(&child.name);
            }
            way.push(&child.name);
            self.count(child, way)?;
            way.pop();
        }
        Ok(())
    }

    /// The records at the end of a way, of these names, each with what stands around it.
    fn below(
        &self,
        node: &'t Node,
        way: &[&str],
        names: &HashSet<&str>,
        outer: Option<Rc<Around<'t>>>,
        found: &mut Vec<(&'t Node, Option<Rc<Around<'t>>>)>,
    ) {
        let [here, rest @ ..] = way else { return };
        if rest.is_empty() {
            if names.contains(node.name.as_str()) {
                found.push((node, outer));
            }
            return;
        }
        if node.name != **here {
            return;
        }
        let of = |holder: &Node, key: &str| format!("{}{DOWN}{key}", holder.name);
        let mut values: Values<'t> =
            node.fields.iter().map(|(k, v)| (of(node, k), v.as_str())).collect();
        let is_beside = |child: &&Node| {
            let name = child.name.as_str();
            name != rest[0] && !names.contains(name) && !self.repeated.contains(name)
        };
        for child in node.children.iter().filter(is_beside) {
            values.extend(own(child, &self.repeated).into_iter().map(|(k, v)| (of(child, &k), v)));
        }
        let around = Rc::new(Around { values, outer });
        for child in &node.children {
            self.below(child, rest, names, Some(around.clone()), found);
        }
    }
}

/// The first node at the end of a way.
fn first<'t>(node: &'t Node, way: &[&str]) -> Option<&'t Node> {
    let (here, rest) = way.split_first()?;
    match (node.name == **here, rest.is_empty()) {
        (false, _) => None,
        (true, true) => Some(node),
        (true, false) => node.children.iter().find_map(|child| first(child, rest)),
    }
}

/// The fields of a record and of the parts in it, by the way down to them.
fn own<'t>(node: &'t Node, repeated: &HashSet<&str>) -> Values<'t> {
    let mut found: Values<'t> = node.fields.iter().map(|(k, v)| (k.clone(), v.as_str())).collect();
    let mut times: HashMap<&str, usize> = HashMap::new();
    for child in &node.children {
        let nth = times.entry(&child.name).or_default();
        *nth += 1;
        let mut way = child.name.clone();
        if repeated.contains(child.name.as_str()) {
            way.push(DOWN);
            way.push_str(&nth.to_string());
        }
        found.extend(own(child, repeated).into_iter().map(|(k, v)| (format!("{way}{DOWN}{k}"), v)));
    }
    found
}

/// Whether a key names the day, the model or the unit.
fn identifies(key: &str, headers: &Headers) -> bool {
    matches!(
        headers.meaning(&header_of(key, headers)),
        Meaning::Field(Field::Date | Field::TestedAt | Field::Model | Field::Serial, _)
    )
}
