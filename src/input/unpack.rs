//! How far a packed file may grow: a small file that unpacks without end must not fill the memory or the
//! day.
//!
//! A file may unpack to 200 times its size or 256 MB, whichever is more; sizes that an archive states are
//! not trusted.

use std::io::{Cursor, Error, Read, Result};

/// Bytes that any packed file may unpack to, whatever its own size.
const ALWAYS: u64 = 256 << 20;
/// Beyond that, this many times its own size. Exports pack 5 to 30 times; only made-up ones reach 200.
const TIMES: u64 = 200;

/// Most bytes that a packed file of this size may unpack to.
#[must_use]
pub fn unpacked_most(packed: u64) -> u64 {
    ALWAYS.max(packed.saturating_mul(TIMES))
}

/// A reader that gives an error, not an end, beyond so many bytes.
pub struct Bounded<R> {
    inner: R,
    left: u64,
}

impl<R: Read> Bounded<R> {
    /// At most `most` bytes of `inner`.
    pub fn new(inner: R, most: u64) -> Self {
        Self { inner, left: most }
    }
}

impl<R: Read> Read for Bounded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
        let n = self.inner.read(buffer)?;
        match self.left.checked_sub(n as u64) {
            Some(left) => self.left = left,
            None => {
                return Err(Error::other(
                    "more than 200 times its packed size: not an export, or damaged",
                ));
            }
        }
        Ok(n)
    }
}

/// Whether all entries of a zip together stay within [`unpacked_most`]: unpacked once to nowhere, since
/// the sizes it states are not to be trusted.
///
/// # Errors
/// Where they do not, or where it is no zip. An entry that cannot be unpacked is left to the reader.
pub fn unpacks_within_reason(bytes: &[u8]) -> Result<()> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes))?;
    let mut left = unpacked_most(bytes.len() as u64);
    for n in 0..archive.len() {
        let Ok(entry) = archive.by_index(n) else {
            continue;
        };
        let mut bounded = Bounded::new(entry, left);
        let outcome = std::io::copy(&mut bounded, &mut std::io::sink());
        left = bounded.left;
        if outcome.is_err_and(|e| e.kind() == std::io::ErrorKind::Other) {
            return Err(Error::other(
                "more than 200 times its packed size: not an export, or damaged",
            ));
        }
    }
    Ok(())
}
