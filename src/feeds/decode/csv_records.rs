//! Joins the lines of a CSV file to records without letting one open quote swallow the rest.
//!
//! A quoted field may hold line ends (RFC 4180 section 2 rule 6), and an exporter that forgets
//! to close or double a quote would make one record of everything after it. So a record may
//! only grow to a limit; then its first line alone is given up and reading resumes behind it.

use super::fault::DecodeFault;
use super::lines::{Line, read_line};
use csv_core::{ReadRecordResult, Reader, ReaderBuilder};
use memchr::{memchr, memchr2};
use std::collections::VecDeque;
use std::io::BufRead;

/// Bytes of one record, line ends included.
const RECORD_BYTES_MAX: usize = 1 << 20;

/// How fields are told apart.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dialect {
    pub delimiter: u8,
    pub quote: Option<u8>,
    pub escape: Option<u8>,
}

/// One record as it was found.
pub(super) enum Found {
    /// The record's bytes without its last line end, and whether it had one.
    Record { bytes: Vec<u8>, is_ended: bool },
    /// Lines that are no record, and why.
    Broken {
        reason: &'static str,
        is_ended: bool,
    },
}

pub(super) struct CsvRecords<'t> {
    text: &'t mut dyn BufRead,
    dialect: Dialect,
    /// Lines read ahead and given back.
    pending: VecDeque<Line>,
}

impl<'t> CsvRecords<'t> {
    pub(super) fn new(text: &'t mut dyn BufRead, dialect: Dialect) -> CsvRecords<'t> {
        CsvRecords {
            text,
            dialect,
            pending: VecDeque::new(),
        }
    }

    pub(super) fn set_dialect(&mut self, dialect: Dialect) {
        self.dialect = dialect;
    }

    /// The next record that is not blank.
    pub(super) fn next(&mut self) -> Result<Option<Found>, DecodeFault> {
        loop {
            let Some(first) = self.next_line()? else {
                return Ok(None);
            };
            if first.is_cut {
                return Ok(Some(Found::Broken {
                    reason: "the line is too long",
                    is_ended: true,
                }));
            }
            let is_blank =
                |byte: &u8| byte.is_ascii_whitespace() || *byte == self.dialect.delimiter;
            if first.bytes.iter().all(is_blank) {
                continue;
            }
            return self.complete(first).map(Some);
        }
    }

    fn next_line(&mut self) -> Result<Option<Line>, DecodeFault> {
        match self.pending.pop_front() {
            Some(line) => Ok(Some(line)),
            None => read_line(self.text, RECORD_BYTES_MAX),
        }
    }

    /// Adds lines while a quote is open.
    fn complete(&mut self, first: Line) -> Result<Found, DecodeFault> {
        let mut quotes = Quotes::new(self.dialect);
        let mut is_ended = first.is_ended();
        if !quotes.is_open_after(&first.bytes) {
            return Ok(Found::record(first.bytes, is_ended));
        }
        let mut bytes = first.bytes;
        let mut taken = Vec::new();
        while let Some(line) = self.next_line()? {
            let fits = !line.is_cut && bytes.len() + line.bytes.len() <= RECORD_BYTES_MAX;
            if fits {
                bytes.extend_from_slice(&line.bytes);
                let is_open = quotes.is_open_after(&line.bytes);
                if !is_open && !quotes.is_stray {
                    return Ok(Found::record(bytes, line.is_ended()));
                }
            }
            taken.push(line);
            // Two stray quotes on two lines would make one row of both, with a price of the other.
            if !fits || quotes.is_stray {
                break;
            }
        }
        if !taken.is_empty() {
            is_ended = true;
        }
        for line in taken.into_iter().rev() {
            self.pending.push_front(line);
        }
        Ok(Found::Broken {
            reason: "a quote is opened and never closed",
            is_ended,
        })
    }
}

impl Found {
    fn record(mut bytes: Vec<u8>, is_ended: bool) -> Found {
        while matches!(bytes.last(), Some(b'\n' | b'\r')) {
            bytes.pop();
        }
        Found::Record { bytes, is_ended }
    }
}

/// Follows quotes exactly as `csv_core` does, to know whether a record goes on.
struct Quotes {
    dialect: Dialect,
    state: QuoteState,
    /// A quoted field went on behind its closing quote.
    is_stray: bool,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum QuoteState {
    FieldStart,
    Unquoted,
    Quoted,
    /// Behind a quote inside a quoted field: its end, or the first of two.
    QuoteInside,
    Escaped,
}

impl Quotes {
    fn new(dialect: Dialect) -> Quotes {
        Quotes {
            dialect,
            state: QuoteState::FieldStart,
            is_stray: false,
        }
    }

    fn is_open_after(&mut self, line: &[u8]) -> bool {
        let Some(quote) = self.dialect.quote else {
            return false;
        };
        if self.state == QuoteState::FieldStart && memchr(quote, line).is_none() {
            return false;
        }
        let mut at = 0;
        while let Some(telling) = self.next_telling(&line[at..], quote) {
            let byte = line[at + telling];
            let next = self.after(byte, quote);
            self.is_stray |= self.state == QuoteState::QuoteInside
                && next == QuoteState::Unquoted
                && !matches!(byte, b'\n' | b'\r');
            self.state = next;
            at += telling + 1;
        }
        matches!(self.state, QuoteState::Quoted | QuoteState::Escaped)
    }

    /// The next byte that may change the state; those between are skipped in long strides.
    fn next_telling(&self, rest: &[u8], quote: u8) -> Option<usize> {
        match (self.state, self.dialect.escape) {
            (QuoteState::Quoted, None) => memchr(quote, rest),
            (QuoteState::Quoted, Some(escape)) => memchr2(quote, escape, rest),
            (QuoteState::Unquoted, _) => memchr(self.dialect.delimiter, rest),
            _ => (!rest.is_empty()).then_some(0),
        }
    }

    fn after(&self, byte: u8, quote: u8) -> QuoteState {
        match self.state {
            QuoteState::FieldStart if byte == quote => QuoteState::Quoted,
            QuoteState::Quoted if byte == quote => QuoteState::QuoteInside,
            QuoteState::Quoted if Some(byte) == self.dialect.escape => QuoteState::Escaped,
            QuoteState::QuoteInside if byte == quote => QuoteState::Quoted,
            QuoteState::Quoted | QuoteState::Escaped => QuoteState::Quoted,
            _ if byte == self.dialect.delimiter => QuoteState::FieldStart,
            _ => QuoteState::Unquoted,
        }
    }
}

/// Splits records into fields, reusing its buffers.
pub(super) struct Splitter {
    reader: Reader,
    output: Vec<u8>,
    ends: Vec<usize>,
    n_fields: usize,
}

impl Splitter {
    pub(super) fn new(dialect: Dialect) -> Splitter {
        let mut builder = ReaderBuilder::new();
        builder.delimiter(dialect.delimiter).escape(dialect.escape);
        match dialect.quote {
            Some(quote) => builder.quote(quote),
            None => builder.quoting(false),
        };
        Splitter {
            reader: builder.build(),
            output: Vec::new(),
            ends: vec![0; 64],
            n_fields: 0,
        }
    }

    pub(super) fn split(&mut self, record: &[u8]) {
        self.reader.reset();
        self.output.resize(record.len() + 16, 0);
        let (mut read, mut written) = (0, 0);
        self.n_fields = 0;
        loop {
            let (result, n_in, n_out, n_ends) = self.reader.read_record(
                &record[read..],
                &mut self.output[written..],
                &mut self.ends[self.n_fields..],
            );
            read += n_in;
            written += n_out;
            self.n_fields += n_ends;
            match result {
                ReadRecordResult::InputEmpty => {}
                ReadRecordResult::OutputFull => self.output.resize(self.output.len() * 2, 0),
                ReadRecordResult::OutputEndsFull => self.ends.resize(self.ends.len() * 2, 0),
                ReadRecordResult::Record | ReadRecordResult::End => return,
            }
        }
    }

    pub(super) fn len(&self) -> usize {
        self.n_fields
    }

    /// A field by its place from 0. The text is UTF-8 already and is cut at ASCII bytes alone.
    pub(super) fn field(&self, index: usize) -> Option<&str> {
        if index >= self.n_fields {
            return None;
        }
        let start = match index {
            0 => 0,
            _ => *self.ends.get(index - 1)?,
        };
        std::str::from_utf8(self.output.get(start..*self.ends.get(index)?)?).ok()
    }

    pub(super) fn fields(&self) -> impl Iterator<Item = &str> {
        (0..self.n_fields).filter_map(|index| self.field(index))
    }
}
