//! Reads text a line at a time without trusting that lines are short.

use super::fault::DecodeFault;
use memchr::memchr2;
use std::io::BufRead;

/// A line with its end, unless it is the last one and has none.
pub(super) struct Line {
    pub bytes: Vec<u8>,
    /// The line was longer than allowed; the rest of it is skipped.
    pub is_cut: bool,
}

impl Line {
    pub(super) fn is_ended(&self) -> bool {
        self.is_cut || self.bytes.ends_with(b"\n") || self.bytes.ends_with(b"\r")
    }
}

/// Reads a line ended by LF, CRLF or CR; `None` at the end of the text.
pub(super) fn read_line(
    text: &mut dyn BufRead,
    bytes_max: usize,
) -> Result<Option<Line>, DecodeFault> {
    let mut line = Line {
        bytes: Vec::new(),
        is_cut: false,
    };
    loop {
        let buffer = text.fill_buf().map_err(DecodeFault::of_io)?;
        if buffer.is_empty() {
            let is_end = line.bytes.is_empty() && !line.is_cut;
            return Ok((!is_end).then_some(line));
        }
        let end = memchr2(b'\n', b'\r', buffer);
        let used = end.map_or(buffer.len(), |at| at + 1);
        let room = bytes_max.saturating_sub(line.bytes.len());
        line.is_cut |= used > room;
        line.bytes.extend_from_slice(&buffer[..used.min(room)]);
        let is_carriage_return = end.is_some_and(|at| buffer[at] == b'\r');
        text.consume(used);
        if is_carriage_return {
            let buffer = text.fill_buf().map_err(DecodeFault::of_io)?;
            if buffer.first() == Some(&b'\n') {
                text.consume(1);
                if !line.is_cut {
                    line.bytes.push(b'\n');
                }
            }
        }
        if end.is_some() {
            return Ok(Some(line));
        }
    }
}

/// Names another format that the text plainly is, from its first characters.
pub(super) fn plainly_markup(text: &mut dyn BufRead) -> Result<Option<&'static str>, DecodeFault> {
    let start = text.fill_buf().map_err(DecodeFault::of_io)?;
    let start = String::from_utf8_lossy(&start[..start.len().min(512)]).to_lowercase();
    let start = start.trim_start();
    if !start.starts_with('<') {
        return Ok(None);
    }
    let is_html = start.contains("<!doctype html") || start.contains("<html");
    Ok(Some(if is_html { "an HTML page" } else { "markup" }))
}

/// Fails for a body without a single byte.
pub(super) fn require_bytes(text: &mut dyn BufRead) -> Result<(), DecodeFault> {
    if text.fill_buf().map_err(DecodeFault::of_io)?.is_empty() {
        let detail = "the body is empty".to_owned();
        return Err(DecodeFault::NoData { detail });
    }
    Ok(())
}
