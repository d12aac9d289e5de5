//! Files → records: the only room that knows file formats.
//!
//! Takes paths and settings, gives records in batches ([`Batch`](crate::records::Batch)), in a fixed order
//! (files by path, rows as they stand), to whoever asked. One thread reads and decodes, the others parse, and
//! the caller absorbs: no more than a few pieces are ever held.

mod cell;
pub mod columns;
mod compound;
mod conventions;
pub mod dates;
pub mod discover;
pub mod earlier;
mod encoding;
mod field;
mod first_read;
mod header_meaning;
mod header_words;
mod kinds;
pub mod layout;
mod made_of;
mod mapped;
mod numbers;
mod open_document;
pub mod outcomes;
mod parquet;
mod register;
mod retold;
mod rows;
mod same;
mod spare;
mod stream;
pub mod taken;
mod text;
mod unpack;
mod words;
mod workbook;

pub use dates::OTHER_ORDER;
pub use first_read::{SET_ASIDE, SOURCE_FILE, SOURCE_ORDER, SOURCE_PART, SOURCE_ROW, SOURCE_SHEET};
pub use made_of::made_of;
pub use mapped::Unmet;
pub use parquet::{MADE_OF, SAID_FIRST};
pub use register::{SideFile, register, side_files};
pub use rows::{BUILT_IN_FACTORS, LEAKAGE_ALONE, OUTCOME_EXPECTED};
pub use stream::{FileSeen, Read, Refused, Table, read};
pub use words::plain_serial;
pub use workbook::THREAD as WORKBOOK_THREAD;
