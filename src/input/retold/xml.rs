//! XML: elements that hold elements or attributes are records and their parts, others are fields.
//!
//! An attribute that names a unit belongs to the value of its element; an element called `field` or the like with
//! a name in an attribute is the field of that name.

use quick_xml::Reader;
use quick_xml::escape::unescape;
use quick_xml::events::{BytesStart, Event};

use super::tree::Node;

/// How deep elements may stand in each other.
const DEEPEST: usize = 64;

/// An element that is not closed yet.
struct Open {
    node: Node,
    text: String,
}

/// A document as a tree.
///
/// # Errors
/// What is wrong with it.
pub fn tree(text: &[u8]) -> Result<Node, String> {
    let text = std::str::from_utf8(text).map_err(|_| "bytes that are no text".to_owned())?;
    let mut reader = Reader::from_str(text);
    reader.config_mut().expand_empty_elements = true;
    let mut open = vec![Open { node: Node::named(""), text: String::new() }];
    loop {
        let event = reader.read_event().map_err(|e| {
            let at = usize::try_from(reader.error_position()).unwrap_or(0).min(text.len());
            let line = text.as_bytes()[..at].iter().filter(|b| **b == b'\n').count() + 1;
            format!("{e} (line {line})")
        })?;
        let inside = open.last_mut().ok_or("an element that was not opened")?;
        match event {
            Event::Start(element) => {
                if open.len() > DEEPEST {
                    return Err(format!("more than {DEEPEST} elements in each other"));
                }
                open.push(Open { node: begun(&element)?, text: String::new() });
            }
            Event::End(_) => {
                let Open { node, text } = open.pop().ok_or("an element that was not opened")?;
                let outer = open.last_mut().ok_or("an element that was not opened")?;
                closed(node, text.trim(), &mut outer.node);
            }
            Event::Text(more) => inside.text.push_str(&more.xml10_content()),
            Event::CData(more) => inside.text.push_str(&more.xml10_content()),
            Event::GeneralRef(name) => {
                let written = format!("&{};", name.xml10_content());
                inside.text.push_str(&unescape(&written).unwrap_or(written.as_str().into()));
            }
            Event::Eof => break,
            Event::Empty(_)
            | Event::Comment(_)
            | Event::Decl(_)
            | Event::PI(_)
            | Event::DocType(_) => {}
        }
    }
    let mut root = open.swap_remove(0).node;
    if !open.is_empty() {
        return Err("an element that is not closed: the end is missing".to_owned());
    }
    match root.children.len() {
        1 => Ok(root.children.swap_remove(0)),
        _ => Err("a document without one element around all".to_owned()),
    }
}

fn begun(element: &BytesStart<'_>) -> Result<Node, String> {
    let mut node = Node::named(element.local_name().as_ref());
    for attribute in element.attributes() {
        let attribute = attribute.map_err(|e| e.to_string())?;
        let name = attribute.key.as_ref();
        if name.starts_with("xmlns") || name.contains(':') {
            continue;
        }
        let value = unescape(&attribute.value).map_err(|e| e.to_string())?;
        node.fields.push((name.to_owned(), value.trim().to_owned()));
    }
    Ok(node)
}

/// Gives a closed element to the one around it: as a field where it is a value.
fn closed(mut node: Node, text: &str, outer: &mut Node) {
    let take = |node: &mut Node, names: &[&str]| {
        let at =
            node.fields.iter().position(|(k, _)| names.contains(&k.to_lowercase().as_str()))?;
        Some(node.fields.remove(at).1)
    };
    if !node.children.is_empty() || (text.is_empty() && node.fields.len() > 1) {
        outer.children.push(node);
        return;
    }
    let named = ["field", "value", "item", "property", "column", "data", "param"]
        .contains(&node.name.to_lowercase().as_str());
    let unit = if text.is_empty() { None } else { take(&mut node, &UNIT) };
    let name = if named { take(&mut node, &["name", "key"]) } else { None };
    let held = if text.is_empty() { take(&mut node, &["value"]) } else { None };
    let name = name.unwrap_or_else(|| node.name.clone());
    if text.is_empty() && held.is_none() && !node.fields.is_empty() {
        outer.children.push(node);
        return;
    }
    let value = held.unwrap_or_else(|| text.to_owned());
    let value = unit.map_or_else(|| value.clone(), |unit| format!("{value} {unit}"));
    for (key, more) in node.fields {
        outer.fields.push((format!("{name} {key}"), more));
    }
    outer.fields.push((name, value));
}

/// Attributes that name the unit of a value. Common practice, no source.
const UNIT: [&str; 12] = [
    "unit",
    "units",
    "uom",
    "einheit",
    "unité",
    "unite",
    "unità",
    "unidad",
    "unidade",
    "jednostka",
    "eenheid",
    "jednotka",
];
