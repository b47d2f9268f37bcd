//! Parses a page into a tree without letting the page decide what that costs.
//!
//! HTML's rules let a small page make a huge or very deep tree, and a tag with very many
//! attributes takes time by their square. So pages are fed in small pieces and measured.

use crate::feeds::decode::fault::DecodeFault;
use html5ever::driver::{ParseOpts, parse_document};
use html5ever::tendril::TendrilSink;
use scraper::{Html, HtmlTreeSink, StrTendril};
use std::io::{BufRead, Read};

/// Bytes of one page.
const PAGE_BYTES_MAX: u64 = 16 << 20;
/// Elements, texts and comments of one page.
const NODES_MAX: usize = 1_000_000;
/// Elements inside one another.
const DEPTH_MAX: usize = 512;
/// Attributes of one tag, roughly: blanks and equals signs are counted.
const TAG_MARKS_MAX: usize = 20_000;
/// Bytes fed between two measurements.
const PIECE_BYTES: usize = 1024;

pub(super) fn read_page(text: &mut dyn BufRead) -> Result<String, DecodeFault> {
    let mut bytes = Vec::new();
    text.take(PAGE_BYTES_MAX + 1)
        .read_to_end(&mut bytes)
        .map_err(DecodeFault::of_io)?;
    if bytes.len() as u64 > PAGE_BYTES_MAX {
        let (what, limit) = ("page", PAGE_BYTES_MAX);
        return Err(DecodeFault::RecordTooLarge { what, limit });
    }
    let page = String::from_utf8(bytes).unwrap_or_else(|error| {
        // The layer below gives UTF-8; this keeps the proof local.
        String::from_utf8_lossy(error.as_bytes()).into_owned()
    });
    if page.trim().is_empty() {
        let detail = "the body is empty".to_owned();
        return Err(DecodeFault::NoData { detail });
    }
    if !page.contains('<') {
        let (expected, found) = ("an HTML page", "text without a tag".to_owned());
        return Err(DecodeFault::OtherFormat { expected, found });
    }
    Ok(page)
}

pub(super) fn parse_page(page: &str) -> Result<Html, DecodeFault> {
    if has_monstrous_tag(page) {
        return Err(DecodeFault::NestedTooDeep);
    }
    let sink = HtmlTreeSink::new(Html::new_document());
    let mut parser = parse_document(sink, ParseOpts::default());
    let mut rest = page;
    while !rest.is_empty() {
        let mut end = rest.len().min(PIECE_BYTES);
        while !rest.is_char_boundary(end) {
            end += 1;
        }
        let (piece, after) = rest.split_at(end);
        parser.process(StrTendril::from(piece));
        rest = after;
        let page = parser.tokenizer.sink.sink.0.borrow();
        let depth = page
            .tree
            .nodes()
            .next_back()
            .map_or(0, |last| last.ancestors().take(DEPTH_MAX + 1).count());
        if depth > DEPTH_MAX || page.tree.nodes().len() > NODES_MAX {
            return Err(DecodeFault::NestedTooDeep);
        }
    }
    Ok(parser.finish())
}

/// Looks for a tag with more attributes than any page has. Scripts are passed over: their text
/// has no tags.
fn has_monstrous_tag(page: &str) -> bool {
    let bytes = page.as_bytes();
    let mut position = 0;
    while let Some(start) = memchr::memchr(b'<', &bytes[position..]) {
        let tag = &bytes[position + start + 1..];
        let is_script = tag.len() >= 6 && tag[..6].eq_ignore_ascii_case(b"script");
        let end = memchr::memchr(b'>', tag).unwrap_or(tag.len());
        let is_tag = tag.first().is_some_and(u8::is_ascii_alphabetic);
        let marks = || {
            tag[..end]
                .iter()
                .filter(|byte| byte.is_ascii_whitespace() || **byte == b'=')
        };
        if is_tag && end > TAG_MARKS_MAX && marks().count() > TAG_MARKS_MAX {
            return true;
        }
        position += start + 1 + end;
        if is_script {
            let script = &bytes[position.min(bytes.len())..];
            position += memchr::memmem::find(script, b"</").unwrap_or(script.len());
        }
        if position >= bytes.len() {
            break;
        }
    }
    false
}
