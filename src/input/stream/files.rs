//! What is this file? Told by its first bytes; whoever still writes to it is told too.
//!
//! A pipe is read once, from its start to its end: what would need a second look is held, or refused.

use std::fs::File;
use std::io::{BufRead, BufReader, Read as _};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::SystemTime;

use sha2::{Digest, Sha256};

use super::FileSeen;
use super::producer::{LOOK, Producer};
use super::tables::{Again, reopened, text_entries};
use crate::error::{Error, Place, Result};
use crate::input::same::hex;
use crate::input::unpack::{Bounded, unpacked_most};

/// Largest workbook or zip taken into memory, in bytes.
const PACKED_MOST: u64 = 2 << 30;
/// Counts and checksums what passes through it.
struct Checked {
    file: File,
    hash: Arc<Mutex<(Sha256, u64)>>,
}

impl std::io::Read for Checked {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let n = self.file.read(buffer)?;
        let mut hash = self.hash.lock().expect("no thread panics holding it");
        hash.0.update(&buffer[..n]);
        hash.1 += n as u64;
        Ok(n)
    }
}

impl Producer<'_> {
    pub(super) fn file(&mut self, path: &Path) {
        let hash = Arc::new(Mutex::new((Sha256::new(), 0)));
        let before = path.is_file().then(|| at_rest(path));
        let outcome = self.table_of(path, &hash);
        if let Err(error) = outcome {
            self.fail(error);
        }
        // An end that is cut inside a cell can look like a whole row.
        if let Some(Ok(before)) = before
            && let after = at_rest(path)
            && after.as_ref().ok() != Some(&before)
        {
            let found = match after {
                Ok(after) => {
                    format!("one that changed meanwhile ({} bytes, then {})", before.0, after.0)
                }
                Err(e) => format!("one that went away meanwhile ({e})"),
            };
            self.fail(Error::input(
                Place::file(path),
                "a file that stays as it is while it is read",
                found,
                "run again once it is written; what was read of it is used",
            ));
        }
        let (sha, bytes) = std::mem::take(&mut *hash.lock().expect("no thread panics holding it"));
        self.done += bytes;
        (self.progress)(self.done, self.all_bytes);
        self.read.files.push(FileSeen {
            path: path.to_owned(),
            bytes,
            sha256: hex(&sha.finalize()),
        });
    }

    fn table_of(&mut self, path: &Path, hash: &Arc<Mutex<(Sha256, u64)>>) -> Result<()> {
        let io = |e| Error::io("read", path, e);
        let file = File::open(path).map_err(io)?;
        let stays = file.metadata().is_ok_and(|facts| facts.is_file());
        let mut reader = BufReader::with_capacity(LOOK, Checked { file, hash: hash.clone() });
        let head = reader.fill_buf().map_err(io)?;
        if head.is_empty() {
            return Err(Error::input(
                Place::file(path),
                "a table",
                "an empty file",
                "export it again",
            ));
        }
        if head.starts_with(b"PAR1") && !stays {
            return Err(Error::input(
                Place::file(path),
                "a Parquet file that can be read from its end",
                "a pipe",
                "write it to a file first",
            ));
        }
        if head.starts_with(b"PAR1") {
            std::io::copy(&mut reader, &mut std::io::sink()).map_err(io)?;
            return self.parquet(path);
        }
        if head.starts_with(&[0x1f, 0x8b]) {
            // How long a pipe is shows at its end.
            let packed = if stays { path.metadata().map_or(0, |m| m.len()) } else { PACKED_MOST };
            let most = unpacked_most(packed);
            let again: Again<'_> = &|| reopened(path, Some(most));
            let unpacked = flate2::bufread::MultiGzDecoder::new(reader);
            let unpacked = BufReader::with_capacity(LOOK, Bounded::new(unpacked, most));
            return self.text(path, None, unpacked, "gzip, ", stays.then_some(again));
        }
        if head.starts_with(b"PK\x03\x04") || head.starts_with(&[0xd0, 0xcf, 0x11, 0xe0]) {
            let zip = head.starts_with(b"PK");
            let mut bytes = Vec::new();
            reader.take(PACKED_MOST + 1).read_to_end(&mut bytes).map_err(io)?;
            if bytes.len() as u64 > PACKED_MOST {
                return Err(Error::input(
                    Place::file(path),
                    "a packed file of at most 2 GB",
                    "a larger one",
                    "export it in parts, or as text",
                ));
            }
            if zip && let Some(entries) = text_entries(&bytes) {
                return self.zipped(path, &bytes, &entries);
            }
            return self.workbook(path, bytes);
        }
        let again: Again<'_> = &|| reopened(path, None);
        self.text(path, None, reader, "", stays.then_some(again))
    }
}

/// Size of a file and when it was last written: it changes where somebody still writes to it.
fn at_rest(path: &Path) -> std::io::Result<(u64, Option<SystemTime>)> {
    let facts = path.metadata()?;
    Ok((facts.len(), facts.modified().ok()))
}
