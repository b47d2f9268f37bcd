//! Makes every body UTF-8, whatever it is and whatever it says it is.
//!
//! The order: a byte order mark, the feed's `encoding` setting, the `Content-Type` header, the
//! document's own prolog or `<meta>`, then a detector. Two things overrule a declaration,
//! because declarations are wrong more often than bytes: bytes that are not valid UTF-8 are not
//! read as UTF-8, and bytes full of valid UTF-8 sequences are not read as a single-byte
//! encoding. A stray byte in UTF-8 text is read as Windows-1252, so no U+FFFD reaches a title.
//! Control characters that no format uses are dropped and counted.

use super::charset_labels::{charset_parameter, declared_in};
use super::fault::DecodeFault;
use super::layers::Context;
use super::records::Records;
use super::unpack::peek;
use crate::feeds::mapping::FormatSettings;
use chardetng::{EncodingDetector, Iso2022JpDetection, Utf8Detection};
use encoding_rs::{Decoder, Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use std::cell::Cell;
use std::io::{self, BufRead, Read};
use std::rc::Rc;
use url::Url;

/// How far the choice of an encoding looks ahead.
const PREFIX_BYTES: u64 = 64 * 1024;

/// What speaks for an encoding besides the bytes.
pub(super) struct Hints {
    configured: Option<&'static Encoding>,
    header_label: Option<String>,
    /// The last label of the host's name, which helps a detector to tell languages apart.
    top_level_domain: Option<String>,
    kept_control: Option<u8>,
}

/// What was done to the text; complete once the text is read.
pub(super) struct TextReport {
    choice_notes: Vec<String>,
    /// Set when the bytes alone speak for an encoding other than UTF-8.
    undeclared: Option<&'static Encoding>,
    dropped: Cell<u64>,
    foreign_bytes: Cell<u64>,
}

impl Hints {
    pub(super) fn new(settings: &FormatSettings, context: &Context<'_>) -> Hints {
        Hints {
            configured: settings.encoding,
            kept_control: settings.decoder.kept_control(),
            ..Hints::unconfigured(context)
        }
    }

    /// What is known of a body whose feed has no settings yet.
    pub(super) fn unconfigured(context: &Context<'_>) -> Hints {
        let host = context.address.and_then(|address| Url::parse(address).ok());
        let host = host.as_ref().and_then(Url::host_str).unwrap_or("");
        let domain = host.rsplit('.').next().unwrap_or("");
        let is_name = !domain.is_empty() && domain.bytes().all(|byte| byte.is_ascii_lowercase());
        Hints {
            configured: None,
            header_label: context.content_type.and_then(charset_parameter),
            top_level_domain: is_name.then(|| domain.to_owned()),
            kept_control: None,
        }
    }
}

/// Chooses the encoding and opens the body as UTF-8 text without a byte order mark.
pub(super) fn open_text<'b>(
    body: Box<dyn BufRead + 'b>,
    hints: &Hints,
) -> Result<(TextReader<'b>, Rc<TextReport>), DecodeFault> {
    let (prefix, mut body) = peek(body, PREFIX_BYTES).map_err(DecodeFault::of_io)?;
    let choice = choose(&prefix, hints);
    let mut mark = vec![0u8; choice.mark_bytes];
    body.read_exact(&mut mark).map_err(DecodeFault::of_io)?;
    let report = Rc::new(TextReport {
        choice_notes: choice.notes,
        undeclared: choice.undeclared,
        dropped: Cell::new(0),
        foreign_bytes: Cell::new(0),
    });
    let reader = TextReader {
        body,
        decoder: (choice.encoding != UTF_8)
            .then(|| choice.encoding.new_decoder_without_bom_handling()),
        carried: Vec::new(),
        text: String::new(),
        position: 0,
        ended: false,
        kept_control: hints.kept_control,
        report: Rc::clone(&report),
    };
    Ok((reader, report))
}

impl TextReport {
    pub(super) fn undeclared_encoding(&self) -> Option<&'static str> {
        self.undeclared.map(Encoding::name)
    }

    pub(super) fn tell(&self, records: &mut Records<'_>) {
        for note in &self.choice_notes {
            records.note(note.clone());
        }
        let dropped = self.dropped.get();
        if dropped > 0 {
            records.note(format!("{dropped} control characters were dropped"));
        }
        let foreign = self.foreign_bytes.get();
        if foreign > 0 {
            records.note(format!(
                "{foreign} bytes did not fit the encoding; where they are not UTF-8 they were read as windows-1252"
            ));
        }
    }
}

struct Choice {
    encoding: &'static Encoding,
    mark_bytes: usize,
    notes: Vec<String>,
    undeclared: Option<&'static Encoding>,
}

fn choose(prefix: &[u8], hints: &Hints) -> Choice {
    let mut notes = Vec::new();
    if let Some((encoding, mark_bytes)) = Encoding::for_bom(prefix) {
        return Choice {
            encoding,
            mark_bytes,
            notes,
            undeclared: None,
        };
    }
    if let Some(encoding) = hints.configured {
        return Choice {
            encoding,
            mark_bytes: 0,
            notes,
            undeclared: None,
        };
    }
    let declarations = [
        ("header", hints.header_label.clone()),
        ("document", declared_in(prefix)),
    ];
    let mut declared = Vec::new();
    for (place, label) in declarations {
        let Some(label) = label else { continue };
        match Encoding::for_label(label.as_bytes()) {
            Some(encoding) => declared.push(encoding),
            None => notes.push(format!("unknown encoding \"{label}\" in the {place}")),
        }
    }
    let encoding = weigh(prefix, &declared, hints);
    if let Some(first) = declared.first()
        && *first != encoding
    {
        let (first, used) = (first.name(), encoding.name());
        notes.push(format!("declared as {first}, read as {used}"));
    }
    Choice {
        encoding,
        mark_bytes: 0,
        notes,
        undeclared: (declared.is_empty() && encoding != UTF_8).then_some(encoding),
    }
}

/// Weighs the declarations against the bytes.
fn weigh(prefix: &[u8], declared: &[&'static Encoding], hints: &Hints) -> &'static Encoding {
    let sequences = Utf8Sequences::count(prefix);
    let unlabelled_utf16 = || utf16_by_zeros(prefix);
    let Some(first) = declared.first().copied() else {
        return unlabelled_utf16().unwrap_or_else(|| detect(prefix, &sequences, declared, hints));
    };
    if first == UTF_16LE || first == UTF_16BE {
        // A document that declares UTF-16 in ASCII bytes is not UTF-16 (HTML Standard 13.2.3.3).
        return unlabelled_utf16()
            .map_or_else(|| detect(prefix, &sequences, declared, hints), |_| first);
    }
    if first == UTF_8 {
        return unlabelled_utf16().unwrap_or_else(|| detect(prefix, &sequences, declared, hints));
    }
    if first.is_single_byte() && sequences.foreign == 0 && sequences.multibyte > 0 {
        return UTF_8;
    }
    first
}

fn detect(
    prefix: &[u8],
    sequences: &Utf8Sequences,
    declared: &[&'static Encoding],
    hints: &Hints,
) -> &'static Encoding {
    if sequences.foreign <= sequences.multibyte {
        return UTF_8;
    }
    let is_legacy = |encoding: &&&'static Encoding| !matches!(**encoding, e if e == UTF_8 || e == UTF_16LE || e == UTF_16BE);
    if let Some(other) = declared.iter().find(is_legacy) {
        return other;
    }
    let mut detector = EncodingDetector::new(Iso2022JpDetection::Deny);
    detector.feed(prefix, (prefix.len() as u64) < PREFIX_BYTES);
    let domain = hints.top_level_domain.as_ref().map(String::as_bytes);
    detector.guess(domain, Utf8Detection::Deny)
}

/// How much of a prefix is UTF-8 beyond ASCII, and how much is not UTF-8 at all.
struct Utf8Sequences {
    multibyte: usize,
    foreign: usize,
}

impl Utf8Sequences {
    fn count(mut bytes: &[u8]) -> Utf8Sequences {
        let mut counts = Utf8Sequences {
            multibyte: 0,
            foreign: 0,
        };
        loop {
            let (valid, bad) = match std::str::from_utf8(bytes) {
                Ok(valid) => (valid, None),
                Err(error) => {
                    let valid = &bytes[..error.valid_up_to()];
                    let bad = error.error_len().map(|length| error.valid_up_to() + length);
                    (std::str::from_utf8(valid).unwrap_or(""), bad)
                }
            };
            counts.multibyte += valid.bytes().filter(|byte| *byte >= 0xC0).count();
            // Without a length the sequence was cut off by the end of the prefix.
            let Some(after) = bad else { return counts };
            counts.foreign += 1;
            bytes = &bytes[after..];
        }
    }
}

/// UTF-16 without a mark shows as a zero in every second byte of mostly Western text.
fn utf16_by_zeros(prefix: &[u8]) -> Option<&'static Encoding> {
    let sample = &prefix[..prefix.len().min(4096) & !1];
    let (mut even, mut odd) = (0usize, 0usize);
    for pair in sample.chunks_exact(2) {
        even += usize::from(pair[0] == 0);
        odd += usize::from(pair[1] == 0);
    }
    let pairs = sample.len() / 2;
    if pairs >= 4 && odd * 10 > pairs * 6 && even * 10 < pairs {
        return Some(UTF_16LE);
    }
    (pairs >= 4 && even * 10 > pairs * 6 && odd * 10 < pairs).then_some(UTF_16BE)
}

/// Reads a body as UTF-8, a buffer at a time.
pub(super) struct TextReader<'b> {
    body: Box<dyn BufRead + 'b>,
    /// None when the body is UTF-8 already.
    decoder: Option<Decoder>,
    /// The start of a UTF-8 sequence whose end is not read yet.
    carried: Vec<u8>,
    text: String,
    position: usize,
    ended: bool,
    kept_control: Option<u8>,
    report: Rc<TextReport>,
}

impl TextReader<'_> {
    fn refill(&mut self) -> io::Result<()> {
        self.text.clear();
        self.position = 0;
        while self.text.is_empty() && !self.ended {
            let chunk = self.body.fill_buf()?;
            let used = chunk.len();
            self.ended = used == 0;
            match &mut self.decoder {
                Some(decoder) => {
                    let room = decoder
                        .max_utf8_buffer_length(used)
                        .unwrap_or(used * 3 + 16);
                    self.text.reserve(room);
                    let (_, _, damaged) =
                        decoder.decode_to_string(chunk, &mut self.text, self.ended);
                    if damaged {
                        add(&self.report.foreign_bytes, 1);
                    }
                }
                None => {
                    self.carried.extend_from_slice(chunk);
                    let foreign = append_utf8(&mut self.carried, &mut self.text, self.ended);
                    add(&self.report.foreign_bytes, foreign);
                }
            }
            self.body.consume(used);
            self.drop_controls();
        }
        Ok(())
    }

    fn drop_controls(&mut self) {
        let kept = self.kept_control;
        let is_damage =
            |byte: u8| byte < 0x20 && !matches!(byte, b'\t' | b'\n' | b'\r') && Some(byte) != kept;
        let damage = self.text.bytes().filter(|byte| is_damage(*byte)).count();
        if damage > 0 {
            self.text.retain(|c| !u8::try_from(c).is_ok_and(is_damage));
            add(&self.report.dropped, damage as u64);
        }
    }
}

fn add(counter: &Cell<u64>, more: u64) {
    counter.set(counter.get().saturating_add(more));
}

/// Moves what is complete from `bytes` to `text`. Returns how many bytes were not UTF-8.
fn append_utf8(bytes: &mut Vec<u8>, text: &mut String, is_end: bool) -> u64 {
    let mut foreign = 0;
    let mut start = 0;
    loop {
        let rest = &bytes[start..];
        let error = match std::str::from_utf8(rest) {
            Ok(valid) => {
                text.push_str(valid);
                bytes.clear();
                return foreign;
            }
            Err(error) => error,
        };
        let valid_bytes = error.valid_up_to();
        text.push_str(std::str::from_utf8(&rest[..valid_bytes]).unwrap_or(""));
        let bad_bytes = match error.error_len() {
            Some(length) => length,
            None if is_end => rest.len() - valid_bytes,
            None => {
                bytes.drain(..start + valid_bytes);
                return foreign;
            }
        };
        let bad = &rest[valid_bytes..valid_bytes + bad_bytes];
        let (read, _) = WINDOWS_1252.decode_without_bom_handling(bad);
        text.push_str(&read);
        foreign += bad_bytes as u64;
        start += valid_bytes + bad_bytes;
    }
}

impl BufRead for TextReader<'_> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.position >= self.text.len() {
            self.refill()?;
        }
        Ok(&self.text.as_bytes()[self.position..])
    }

    fn consume(&mut self, amount: usize) {
        self.position = (self.position + amount).min(self.text.len());
    }
}

impl Read for TextReader<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let available = self.fill_buf()?;
        let count = available.len().min(buffer.len());
        buffer[..count].copy_from_slice(&available[..count]);
        self.consume(count);
        Ok(count)
    }
}
