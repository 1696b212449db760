//! Reading a ledger: follows the chain block by block and says where and how it ends.
//!
//! A block ends at its hash line, not where the next one begins. A tear inside the next block's first line would
//! otherwise cost a record that is complete. Time is linear in the length of the file.

use std::fmt;

use super::error::LedgerError;
use super::record::{
    Chain, HASH_LINE_BYTES, HEADER_MARK, Header, RECORD_MARK, Record, decode, decode_header, is_hash_line,
};

/// What a ledger's bytes say.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// What the ledger was begun with.
    pub header: Header,
    /// Every record before the end, the tear or the damage.
    pub records: Vec<Record>,
    /// The last record, if it was never written to its end and so never acknowledged.
    pub torn: Option<Torn>,
    /// The first place where the file is not as it was written. Nothing behind it can be trusted.
    pub damage: Option<Damage>,
}

/// A last record that was never written to its end. Nobody was told that it is recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Torn {
    /// Line of the file on which it begins, from 1.
    pub line: usize,
    /// Byte at which it begins, from 0.
    pub byte: usize,
    /// How many bytes of it are there.
    pub length_bytes: usize,
    /// The file in the job folder to which opening has moved it; `None` while it still stands in the ledger.
    pub kept_as: Option<String>,
}

/// A place where a ledger is not as it was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Damage {
    /// Number of the damaged record, from 1; 0 for the header.
    pub record: usize,
    /// Line of the file on which it begins, from 1.
    pub line: usize,
    /// Byte at which it begins, from 0.
    pub byte: usize,
    /// What is wrong with it.
    pub trouble: Trouble,
}

/// What is wrong with a damaged record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// It does not agree with its hash and the records before it: changed, moved, repeated, or one before it removed.
    Hash,
    /// It agrees with its hash but is no record that this program writes.
    Content,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.record {
            0 => f.write_str("its header")?,
            record => write!(f, "record {record}")?,
        }
        write!(f, " (line {}, byte {}) ", self.line, self.byte)?;
        f.write_str(match self.trouble {
            Trouble::Hash => "is not as it was written",
            Trouble::Content => "is none that this program writes",
        })
    }
}

/// Reads a ledger from its bytes. Pure: no file, no lock, no clock.
///
/// # Errors
/// Only where there is no header to go by: [`LedgerError::NotALedger`], [`LedgerError::TornHeader`],
/// [`LedgerError::NewerFormat`], or [`LedgerError::Damaged`] for damage in the header itself. Damage further on is
/// part of the [`Reading`], together with all records before it.
pub fn read(bytes: &[u8]) -> Result<Reading, LedgerError> {
    read_with_chain(bytes).map(|(reading, _)| reading)
}

/// Reads a ledger and says where its chain has got to, for a writer to go on from.
pub(super) fn read_with_chain(bytes: &[u8]) -> Result<(Reading, Chain), LedgerError> {
    let mut cursor = Cursor { bytes, byte: 0, chain: Chain::start() };
    let header = read_header(&mut cursor)?;
    let mut reading = Reading { header, records: Vec::new(), torn: None, damage: None };
    loop {
        let (byte, record) = (cursor.byte, reading.records.len() + 1);
        let damage = |trouble| Some(Damage { record, line: line_of_record(bytes, byte), byte, trouble });
        match cursor.next() {
            Block::End => break,
            Block::Whole(block) => match content(block, RECORD_MARK).and_then(decode) {
                Some(record) => reading.records.push(record),
                None => reading.damage = damage(Trouble::Content),
            },
            Block::Torn => {
                let (line, length_bytes) = (line_of_record(bytes, byte), bytes.len() - byte);
                reading.torn = Some(Torn { line, byte, length_bytes, kept_as: None });
            }
            Block::Damaged => reading.damage = damage(Trouble::Hash),
        }
        if reading.torn.is_some() || reading.damage.is_some() {
            break;
        }
    }
    Ok((reading, cursor.chain))
}

fn read_header(cursor: &mut Cursor<'_>) -> Result<Header, LedgerError> {
    let bytes = cursor.bytes;
    let damaged = |trouble| LedgerError::Damaged { damage: Damage { record: 0, line: 1, byte: 0, trouble } };
    match cursor.next() {
        Block::Whole(block) => {
            content(block, HEADER_MARK).and_then(decode_header).unwrap_or_else(|| Err(damaged(Trouble::Content)))
        }
        Block::Damaged => Err(damaged(Trouble::Hash)),
        Block::Torn | Block::End if begins_like_a_ledger(bytes) => {
            Err(LedgerError::TornHeader { length_bytes: bytes.len() })
        }
        Block::Torn | Block::End => Err(LedgerError::NotALedger),
    }
}

/// The text of a block between its first line or lines and its hash line.
fn content<'a>(block: &'a [u8], mark: &str) -> Option<&'a str> {
    std::str::from_utf8(block.strip_prefix(mark.as_bytes())?).ok()
}

/// Whether what there is agrees with a header's first line, leaving out the zeros that a crash may have filled in.
fn begins_like_a_ledger(bytes: &[u8]) -> bool {
    let length = bytes.iter().rposition(|&byte| byte != 0).map_or(0, |last| last + 1);
    let (start, mark) = (&bytes[..length], HEADER_MARK.as_bytes());
    start.starts_with(mark) || mark.starts_with(start)
}

/// The line on which the record that begins at this byte has its mark; the byte itself is the empty line before it.
fn line_of_record(bytes: &[u8], byte: usize) -> usize {
    2 + bytes[..byte].iter().filter(|&&byte| byte == b'\n').count()
}

/// How far a ledger has been followed.
struct Cursor<'a> {
    bytes: &'a [u8],
    byte: usize,
    chain: Chain,
}

/// What comes next in a ledger.
enum Block<'a> {
    /// Nothing.
    End,
    /// A block that agrees with its hash: its bytes up to the hash line.
    Whole(&'a [u8]),
    /// The beginning of a last block that was never written to its end.
    Torn,
    /// A block that was once whole and is no longer as it was written.
    Damaged,
}

impl<'a> Cursor<'a> {
    /// Follows the chain over one block. Stays where it is if the block is not whole.
    fn next(&mut self) -> Block<'a> {
        let rest = &self.bytes[self.byte..];
        if rest.is_empty() {
            return Block::End;
        }
        let Some(length) = length_before_hash_line(rest) else {
            return if was_whole(rest, self.chain) { Block::Damaged } else { Block::Torn };
        };
        let (block, hash_line) = (&rest[..length], &rest[length..length + HASH_LINE_BYTES]);
        let chain = self.chain.after(block);
        if chain.line().as_bytes() != hash_line {
            return Block::Damaged;
        }
        self.chain = chain;
        self.byte += length + HASH_LINE_BYTES;
        Block::Whole(block)
    }
}

/// How many bytes stand before the first complete hash line.
fn length_before_hash_line(bytes: &[u8]) -> Option<usize> {
    let mut length = 0;
    for line in bytes.split_inclusive(|&byte| byte == b'\n') {
        if is_hash_line(line) {
            return Some(length);
        }
        length += line.len();
    }
    None
}

/// Whether an end without a complete hash line had one once.
///
/// A record that was never written to its end may be set aside; one that was acknowledged and then damaged may not.
/// The end of the file was acknowledged if a further record begins in it, or if its last bytes still agree, by more than
/// half, with the hash line that the bytes before them call for. A cut shifts the line and leaves no such agreement. A
/// crash may fill up with zeros, and a damaged line end is not a zero.
fn was_whole(end: &[u8], chain: Chain) -> bool {
    let mark = RECORD_MARK.as_bytes();
    if end.get(1..).is_some_and(|behind| behind.windows(mark.len()).any(|window| window == mark)) {
        return true;
    }
    let Some(length) = end.len().checked_sub(HASH_LINE_BYTES + 1) else {
        return false;
    };
    if end.last() == Some(&0) {
        return false;
    }
    let mut block = end[..length].to_vec();
    block.push(b'\n');
    let expected = chain.after(&block).line();
    let found = &end[length + 1..];
    let agreeing = expected.bytes().zip(found).filter(|(expected, found)| expected == *found).count();
    HASH_LINE_BYTES / 2 < agreeing
}
