//! Whether an old workbook (a compound file with a stream of records) can be opened without harm: the workbook
//! reader follows a chain of sectors in a circle until memory ends, and makes room for whatever size a sheet
//! states.
//!
//! Layout from memory of the published formats [MS-CFB] and [MS-XLS]; held against a real file in
//! `tests/pipeline/workbooks.rs` and by fuzzing.

/// First sector number with a meaning of its own (end of chain, free, …).
const RESERVED: u32 = 0xffff_fffa;
/// Rows and columns of a sheet in this format.
const ROWS: u32 = 65_536;
const COLUMNS: u16 = 256;
/// Streams shorter than this lie in the small sectors.
const SMALL_STREAM: usize = 4096;
/// Records that begin with the row and column of one cell: formula, blank, number, label, truth value, row of
/// numbers, rich text, shared text, short number.
const CELLS: [u16; 9] = [0x0006, 0x0201, 0x0203, 0x0204, 0x0205, 0x00bd, 0x00d6, 0x00fd, 0x027e];
/// The record that states how far a sheet reaches.
const DIMENSIONS: u16 = 0x0200;

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

fn numbers(bytes: &[u8]) -> impl Iterator<Item = u32> + '_ {
    bytes.chunks_exact(4).map(|c| u32::from_le_bytes([c[0], c[1], c[2], c[3]]))
}

/// A compound file and its two tables of which sector follows which.
struct Compound<'a> {
    bytes: &'a [u8],
    sector: usize,
    next: Vec<u32>,
}

impl<'a> Compound<'a> {
    fn sector(&self, id: u32) -> &'a [u8] {
        let from = (id as usize).saturating_add(1).saturating_mul(self.sector);
        let to = from.saturating_add(self.sector).min(self.bytes.len());
        self.bytes.get(from..to).unwrap_or(&[])
    }

    /// The sectors from `start` on, joined.
    fn chain(&self, start: u32) -> Result<Vec<u8>, String> {
        let (mut id, mut joined, mut steps) = (start, Vec::new(), 0);
        while id < RESERVED {
            joined.extend_from_slice(self.sector(id));
            steps += 1;
            if steps > self.next.len() {
                return Err("sectors that follow each other in a circle".to_owned());
            }
            id = self.next.get(id as usize).copied().unwrap_or(u32::MAX);
        }
        Ok(joined)
    }
}

/// Whether any sector comes back to itself.
fn has_circle(next: &[u32]) -> bool {
    // 0: not seen; else the number of the walk that saw it.
    let mut seen = vec![0_u32; next.len()];
    for start in 0..next.len() {
        let walk = u32::try_from(start).unwrap_or(u32::MAX - 1) + 1;
        let mut at = start;
        while seen[at] == 0 {
            seen[at] = walk;
            match next.get(at) {
                Some(&n) if n < RESERVED && (n as usize) < next.len() => at = n as usize,
                _ => break,
            }
        }
        let follows = next[at] < RESERVED && (next[at] as usize) < next.len();
        if seen[at] == walk && follows && seen[next[at] as usize] == walk {
            return true;
        }
    }
    false
}

/// Whether the workbook reader may open these bytes.
///
/// # Errors
/// What is damaged, in words. What this does not know is left to the reader.
pub fn is_sound(bytes: &[u8]) -> Result<(), String> {
    let cut = || "a file that ends in its head".to_owned();
    let shift = u16_at(bytes, 30).ok_or_else(cut)?;
    let sector = match shift {
        9 => 512,
        12 => 4096,
        _ => return Ok(()),
    };
    let mut file = Compound { bytes, sector, next: Vec::new() };
    let most = bytes.len() / sector + 1;
    let mut tables: Vec<u32> = numbers(bytes.get(76..512).ok_or_else(cut)?).collect();
    let mut more = u32_at(bytes, 68).ok_or_else(cut)?;
    let mut steps = 0;
    while more < RESERVED {
        let mut ids: Vec<u32> = numbers(file.sector(more)).collect();
        more = ids.pop().unwrap_or(u32::MAX);
        tables.extend(ids);
        steps += 1;
        if steps > most {
            return Err("sectors that follow each other in a circle".to_owned());
        }
    }
    tables.retain(|id| *id < RESERVED);
    if tables.len() > most {
        return Err("more tables of sectors than sectors".to_owned());
    }
    file.next =
        tables.iter().flat_map(|id| numbers(file.sector(*id)).collect::<Vec<_>>()).collect();
    if has_circle(&file.next) {
        return Err("sectors that follow each other in a circle".to_owned());
    }
    let folder = file.chain(u32_at(bytes, 48).ok_or_else(cut)?)?;
    let small_next: Vec<u32> = numbers(&file.chain(u32_at(bytes, 60).ok_or_else(cut)?)?).collect();
    if has_circle(&small_next) {
        return Err("small sectors that follow each other in a circle".to_owned());
    }
    let Some(root) = folder.chunks_exact(128).next() else {
        return Ok(());
    };
    let small = Compound {
        bytes: &file.chain(u32_at(root, 116).unwrap_or(u32::MAX))?,
        sector: 64,
        next: small_next,
    };
    for entry in folder.chunks_exact(128) {
        let length = usize::from(u16_at(entry, 64).unwrap_or(0)).saturating_sub(2);
        let name: String = entry[..length.min(64)]
            .chunks_exact(2)
            .map(|c| char::from(c[0]).to_ascii_lowercase())
            .collect();
        if name != "workbook" && name != "book" {
            continue;
        }
        let (start, size) =
            (u32_at(entry, 116).unwrap_or(u32::MAX), u32_at(entry, 120).unwrap_or(0) as usize);
        let stream = if size < SMALL_STREAM {
            // Small sectors are counted from 0, without a head before them.
            let (mut id, mut joined, mut steps) = (start, Vec::new(), 0);
            while id < RESERVED && steps <= small.next.len() {
                let from = (id as usize).saturating_mul(64).min(small.bytes.len());
                joined.extend_from_slice(&small.bytes[from..(from + 64).min(small.bytes.len())]);
                id = small.next.get(id as usize).copied().unwrap_or(u32::MAX);
                steps += 1;
            }
            joined
        } else {
            file.chain(start)?
        };
        records_in_bounds(&stream)?;
    }
    Ok(())
}

/// Whether no record names a place outside a sheet.
fn records_in_bounds(stream: &[u8]) -> Result<(), String> {
    let outside = || format!("a cell outside the {ROWS} rows and {COLUMNS} columns of a sheet");
    let mut at = 0;
    while let (Some(kind), Some(length)) = (u16_at(stream, at), u16_at(stream, at + 2)) {
        let from = at + 4;
        at = from + usize::from(length);
        let Some(data) = stream.get(from..at) else {
            break;
        };
        if CELLS.contains(&kind) {
            if u16_at(data, 2).is_some_and(|c| c >= COLUMNS) {
                return Err(outside());
            }
        } else if kind == DIMENSIONS {
            let (first, rows, columns) = if data.len() >= 14 {
                (u32_at(data, 0), u32_at(data, 4), u16_at(data, 10))
            } else {
                (u16_at(data, 0).map(u32::from), u16_at(data, 2).map(u32::from), u16_at(data, 6))
            };
            let backwards = rows.is_some_and(|r| r > 0 && first.is_some_and(|f| f >= r));
            if backwards || rows.is_some_and(|r| r > ROWS) || columns.is_some_and(|c| c > COLUMNS) {
                return Err(outside());
            }
        }
    }
    Ok(())
}
