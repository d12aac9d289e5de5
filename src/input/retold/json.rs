//! JSON: an object a line, or a document of lists and objects.
//!
//! What is nested is named by the way down to it (`limits high`, `steps 1 reading`). A key that the first piece of
//! a file does not have is told as damage where it names a column, and passed over where it does not.

use std::collections::HashMap;

use serde_json::Value;

use super::lines::{COLUMNS_MOST, DOWN, Damaged, Told, header_line, header_of, push_line};
use super::tree::Node;
use crate::input::columns::{Headers, Meaning};

/// The keys of objects of which one stands in each line.
#[derive(Debug)]
pub struct Lines {
    keys: Vec<String>,
    at: HashMap<String, usize>,
}

impl Lines {
    /// The keys of the lines of a text; `None` where its first line is no object or it has one line alone.
    pub fn of(text: &[u8]) -> Option<Self> {
        let mut found = Self { keys: Vec::new(), at: HashMap::new() };
        let mut lines =
            text.split(|b| *b == b'\n').map(<[u8]>::trim_ascii).filter(|l| !l.is_empty());
        let first = object(lines.next()?)?;
        let mut next = lines.next()?;
        found.note(&first);
        loop {
            if let Some(value) = object(next) {
                found.note(&value);
            }
            match lines.next() {
                Some(line) if found.keys.len() <= COLUMNS_MOST => next = line,
                _ => break,
            }
        }
        (found.keys.len() <= COLUMNS_MOST).then_some(found)
    }

    fn note(&mut self, value: &Value) {
        each(&mut String::new(), value, &mut |key, _| {
            if !self.at.contains_key(key) {
                self.at.insert(key.to_owned(), self.keys.len());
                self.keys.push(key.to_owned());
            }
        });
    }

    /// The keys as a header.
    pub fn header(&self, headers: &Headers) -> Vec<u8> {
        header_line(self.keys.iter().map(String::as_str), headers)
    }

    /// Tells lines, the first of this number.
    pub fn tell(&self, text: &[u8], first_line: u64, headers: &Headers, told: &mut Told) {
        let mut cells = vec![String::new(); self.keys.len()];
        for (line, bytes) in (first_line..).zip(text.split(|b| *b == b'\n')) {
            let bytes = bytes.trim_ascii();
            let mut wrong = |expected, found: String| {
                told.damaged.push(Damaged { line, expected, found });
            };
            if bytes.is_empty() {
                told.text.push(b'\n');
                continue;
            }
            let Some(value) = object(bytes) else {
                wrong("an object in JSON", String::from_utf8_lossy(bytes).into_owned());
                told.text.push(b'\n');
                continue;
            };
            cells.iter_mut().for_each(String::clear);
            let mut new = None;
            each(&mut String::new(), &value, &mut |key, value| match self.at.get(key) {
                Some(&n) => write(&mut cells[n], value),
                None if value.is_null() => {}
                None => {
                    let header = header_of(key, headers);
                    if headers.meaning(&header) != Meaning::Unknown {
                        new = Some(header);
                    }
                }
            });
            match new {
                Some(key) => {
                    wrong("keys that the first rows have", key);
                    told.text.push(b'\n');
                }
                None => push_line(&mut told.text, cells.iter().map(String::as_str)),
            }
        }
        // A text ends with a line end; what comes after it is no line.
        told.text.pop();
    }
}

fn object(line: &[u8]) -> Option<Value> {
    if line.first() != Some(&b'{') {
        return None;
    }
    serde_json::from_slice(line).ok()
}

/// Hands on everything that is neither object nor list, with the way down to it.
fn each(way: &mut String, value: &Value, found: &mut dyn FnMut(&str, &Value)) {
    let mut inside = |name: &str, value: &Value| {
        let length = way.len();
        if length > 0 {
            way.push(DOWN);
        }
        way.push_str(name);
        each(way, value, found);
        way.truncate(length);
    };
    match value {
        Value::Object(fields) => fields.iter().for_each(|(name, value)| inside(name, value)),
        Value::Array(items) => {
            (1_u64..).zip(items).for_each(|(n, value)| inside(&n.to_string(), value));
        }
        _ => found(way, value),
    }
}

fn write(cell: &mut String, value: &Value) {
    match value {
        Value::String(text) => cell.push_str(text),
        Value::Null => {}
        other => cell.push_str(&other.to_string()),
    }
}

/// A document as a tree.
///
/// # Errors
/// What is wrong with it.
pub fn tree(text: &[u8]) -> Result<Node, String> {
    let value: Value = serde_json::from_slice(text).map_err(|e| e.to_string())?;
    let mut root = Node::named("");
    grow(&mut root, "row", value);
    // A document that is one object is that object.
    match root.children.len() {
        1 if root.fields.is_empty() => Ok(root.children.swap_remove(0)),
        _ => Ok(root),
    }
}

fn grow(node: &mut Node, name: &str, value: Value) {
    match value {
        Value::Object(fields) => {
            let mut child = Node::named(name);
            for (name, value) in fields {
                grow(&mut child, &name, value);
            }
            node.children.push(child);
        }
        Value::Array(items) => {
            for item in items {
                grow(node, name, item);
            }
        }
        scalar => {
            let mut text = String::new();
            write(&mut text, &scalar);
            node.fields.push((name.to_owned(), text));
        }
    }
}
