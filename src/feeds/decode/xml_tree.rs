//! Reads XML as a stream and builds a small tree of one record at a time.
//!
//! Lenient where a feed's meaning is plain: unknown and HTML entities, bare ampersands, wrong
//! end tags inside a record. Strict where it is not: a document that ends early, that is not
//! XML, or that defines entities of its own is a fault. Nothing outside is ever fetched.

use super::entities::{decode_entities, entity};
use super::fault::DecodeFault;
use super::xml_element::{Element, Name, Node};
use quick_xml::Reader;
use quick_xml::errors::Error;
use quick_xml::events::{BytesStart, Event};
use std::collections::BTreeMap;
use std::io::{self, BufRead, Read};
use std::rc::Rc;

/// Bytes of one record, and of one piece of markup between records.
const RECORD_BYTES_MAX: u64 = 8 << 20;
/// Elements inside one another, in a record and around it.
const DEPTH_MAX: usize = 128;
/// Names remembered with their namespace; a feed has some dozens.
const NAMES_KEPT_MAX: usize = 256;

/// What the stream gives: elements outside records as they open, and whole records.
pub(super) enum Piece {
    /// An element outside every record, without its content, and the elements around it.
    Outside(Element),
    Text(String),
    Record(Element),
    /// A record that is not well-formed, and why.
    Broken(String),
    End,
}

/// The depth of the element that binds, the prefix, and the address; none unbinds.
type Binding = (usize, String, Option<Rc<str>>);

/// Tells from the open elements, the innermost last, whether it begins a record.
pub(super) type IsRecord<'r> = dyn Fn(&[Element]) -> bool + 'r;

pub(super) struct XmlStream<'t> {
    reader: Reader<Guarded<'t>>,
    buffer: Vec<u8>,
    /// The open elements. Those of a record carry their content.
    open: Vec<Element>,
    /// How many are open outside the record that is being read.
    record_at: Option<usize>,
    broken: Option<String>,
    /// Prefix and address by the depth of the element that binds them.
    bindings: Vec<Binding>,
    /// Names that were resolved under the bindings of now.
    element_names: BTreeMap<Box<str>, Name>,
    attribute_names: BTreeMap<Box<str>, Name>,
    is_root_seen: bool,
    /// An empty element outside records that is still to be closed.
    closes_next: Option<String>,
}

impl<'t> XmlStream<'t> {
    pub(super) fn new(text: &'t mut dyn BufRead) -> XmlStream<'t> {
        let mut reader = Reader::from_reader(Guarded {
            text,
            left: RECORD_BYTES_MAX,
            line: 1,
            column: 1,
        });
        let config = reader.config_mut();
        config.allow_dangling_amp = true;
        config.allow_unmatched_ends = true;
        config.check_end_names = false;
        XmlStream {
            reader,
            buffer: Vec::new(),
            open: Vec::new(),
            record_at: None,
            broken: None,
            bindings: Vec::new(),
            element_names: BTreeMap::new(),
            attribute_names: BTreeMap::new(),
            is_root_seen: false,
            closes_next: None,
        }
    }

    /// Reads on to the next piece.
    pub(super) fn next(&mut self, is_record: &IsRecord<'_>) -> Result<Piece, DecodeFault> {
        if let Some(name) = self.closes_next.take() {
            self.end(&name);
        }
        loop {
            if self.record_at.is_none() {
                self.reader.get_mut().left = RECORD_BYTES_MAX;
            }
            let mut buffer = std::mem::take(&mut self.buffer);
            buffer.clear();
            let piece = match self.reader.read_event_into(&mut buffer) {
                Ok(event) => self.take(event, is_record),
                Err(error) => Err(self.fault(error)),
            };
            self.buffer = buffer;
            if let Some(piece) = piece? {
                return Ok(piece);
            }
        }
    }

    fn take(
        &mut self,
        event: Event<'_>,
        is_record: &IsRecord<'_>,
    ) -> Result<Option<Piece>, DecodeFault> {
        match event {
            Event::Start(start) => self.start(&start, is_record),
            Event::Empty(start) => {
                let piece = self.start(&start, is_record)?;
                let name = start.name().as_ref().to_owned();
                if piece.is_some() {
                    // It stays open until its piece has been looked at.
                    self.closes_next = Some(name);
                    return Ok(piece);
                }
                Ok(self.end(&name))
            }
            Event::End(end) => {
                let name = end.name().as_ref().to_owned();
                Ok(self.end(&name))
            }
            Event::Text(text) => Ok(self.text(&text.xml10_content())),
            Event::CData(text) => Ok(self.text(&text.xml10_content())),
            Event::GeneralRef(reference) => {
                let name = reference.xml10_content();
                match entity(&name) {
                    Some(text) => Ok(self.text(&text)),
                    None => Ok(self.text(&format!("&{name};"))),
                }
            }
            Event::DocType(doctype) => {
                let text = doctype.xml10_content();
                if text.contains("<!ENTITY") {
                    return Err(DecodeFault::EntityDefinitions);
                }
                let is_html = text.trim_start().to_lowercase().starts_with("html");
                if is_html { Err(found_html()) } else { Ok(None) }
            }
            Event::Comment(_) | Event::Decl(_) | Event::PI(_) => Ok(None),
            Event::Eof if self.open.is_empty() && self.is_root_seen => Ok(Some(Piece::End)),
            Event::Eof if self.is_root_seen => Err(DecodeFault::Truncated { what: "XML" }),
            Event::Eof => {
                let detail = "there is no element".to_owned();
                Err(DecodeFault::NoData { detail })
            }
        }
    }

    fn start(
        &mut self,
        start: &BytesStart<'_>,
        is_record: &IsRecord<'_>,
    ) -> Result<Option<Piece>, DecodeFault> {
        if self.open.len() >= DEPTH_MAX {
            return Err(DecodeFault::NestedTooDeep);
        }
        let element = self.element(start);
        if !self.is_root_seen && element.name.local.eq_ignore_ascii_case("html") {
            return Err(found_html());
        }
        self.is_root_seen = true;
        self.open.push(element);
        if self.record_at.is_some() {
            return Ok(None);
        }
        if is_record(&self.open) {
            self.record_at = Some(self.open.len() - 1);
            return Ok(None);
        }
        // Bad attributes outside records are nobody's loss.
        self.broken = None;
        let outside = self.open.last().map(|element| Element {
            name: element.name.clone(),
            attributes: element.attributes.clone(),
            nodes: Vec::new(),
        });
        Ok(outside.map(Piece::Outside))
    }

    /// Closes elements down to the one that the tag names. A tag that names none is dropped.
    fn end(&mut self, name: &str) -> Option<Piece> {
        let named = |element: &Element| element.name.is_written(name);
        let Some(at) = self.open.iter().rposition(named) else {
            if self.record_at.is_some() {
                self.break_record(format!("</{name}> closes nothing"));
            }
            return None;
        };
        let mut piece = None;
        while self.open.len() > at {
            let is_named = self.open.len() == at + 1;
            let Some(element) = self.open.pop() else {
                break;
            };
            let depth = self.open.len();
            if self
                .bindings
                .last()
                .is_some_and(|(bound_at, ..)| *bound_at >= depth)
            {
                self.bindings.retain(|(bound_at, ..)| *bound_at < depth);
                self.forget_names();
            }
            if !is_named && self.record_at.is_some() {
                self.break_record(format!("<{}> is not closed", element.name.local));
            }
            match self.record_at {
                Some(record_at) if depth == record_at => {
                    self.record_at = None;
                    piece = Some(match self.broken.take() {
                        Some(reason) => Piece::Broken(reason),
                        None => Piece::Record(element),
                    });
                }
                Some(_) => {
                    if let Some(parent) = self.open.last_mut() {
                        parent.nodes.push(Node::Element(element));
                    }
                }
                None => {}
            }
        }
        piece
    }

    fn text(&mut self, text: &str) -> Option<Piece> {
        match (self.record_at, self.open.last_mut()) {
            (Some(_), Some(element)) => {
                element.push_text(text);
                None
            }
            _ => Some(Piece::Text(text.to_owned())),
        }
    }

    fn break_record(&mut self, reason: String) {
        self.broken.get_or_insert(reason);
    }

    fn element(&mut self, start: &BytesStart<'_>) -> Element {
        let depth = self.open.len();
        let mut raw = Vec::new();
        for attribute in start.html_attributes().with_checks(false) {
            let Ok(attribute) = attribute else {
                let name = start.name().as_ref().to_owned();
                self.break_record(format!("the attributes of <{name}> cannot be read"));
                break;
            };
            let name = attribute.key.as_ref().to_owned();
            let value = decode_entities(&attribute.value).into_owned();
            let bound = name.strip_prefix("xmlns");
            match bound.map(|rest| rest.strip_prefix(':').unwrap_or(rest)) {
                Some(prefix) if name == "xmlns" || name.starts_with("xmlns:") => {
                    let address = (!value.is_empty()).then(|| Rc::from(value.as_str()));
                    self.bindings.push((depth, prefix.to_owned(), address));
                    self.forget_names();
                }
                _ => raw.push((name, value)),
            }
        }
        Element {
            name: self.name(start.name().as_ref(), true),
            attributes: raw
                .into_iter()
                .map(|(name, value)| (self.name(&name, false), value))
                .collect(),
            nodes: Vec::new(),
        }
    }

    fn name(&mut self, written: &str, is_element: bool) -> Name {
        let names = if is_element {
            &mut self.element_names
        } else {
            &mut self.attribute_names
        };
        if let Some(known) = names.get(written) {
            return known.clone();
        }
        let name = resolve(&self.bindings, written, is_element);
        if names.len() < NAMES_KEPT_MAX {
            names.insert(written.into(), name.clone());
        }
        name
    }

    /// Names mean something else once a prefix is bound or unbound.
    fn forget_names(&mut self) {
        self.element_names.clear();
        self.attribute_names.clear();
    }

    fn fault(&mut self, error: Error) -> DecodeFault {
        let place = self.reader.get_mut();
        let (line, column) = (place.line, place.column);
        match error {
            Error::Io(error) => match error
                .get_ref()
                .and_then(|inner| inner.downcast_ref::<DecodeFault>())
            {
                Some(fault) => fault.clone(),
                None => DecodeFault::Read(error),
            },
            // quick_xml reports markup without an end once the input is used up.
            Error::Syntax(ref syntax) if !is_bad_markup(syntax) => {
                DecodeFault::Truncated { what: "XML" }
            }
            other => DecodeFault::Syntax {
                format: "XML",
                line,
                column,
                detail: other.to_string(),
            },
        }
    }

    /// The open elements, the innermost last.
    pub(super) fn open(&self) -> &[Element] {
        &self.open
    }
}

/// The default namespace holds for elements and not for attributes (Namespaces in XML 1.0
/// section 6.2).
fn resolve(bindings: &[Binding], written: &str, is_element: bool) -> Name {
    let (prefix, local) = written.split_once(':').unwrap_or(("", written));
    let is_bound = is_element || !prefix.is_empty();
    let mut bindings = bindings.iter().rev();
    let binding = bindings.find(|(_, bound, _)| is_bound && bound == prefix);
    Name {
        namespace: binding.and_then(|(_, _, address)| address.clone()),
        prefix: prefix.into(),
        local: local.into(),
    }
}

fn is_bad_markup(error: &quick_xml::errors::SyntaxError) -> bool {
    matches!(error, quick_xml::errors::SyntaxError::InvalidBangMarkup)
}

fn found_html() -> DecodeFault {
    DecodeFault::OtherFormat {
        expected: "XML",
        found: "an HTML page".to_owned(),
    }
}

/// Counts lines, and bytes since the last record, so that endless text cannot fill the memory.
struct Guarded<'t> {
    text: &'t mut dyn BufRead,
    left: u64,
    line: u64,
    column: u64,
}

impl BufRead for Guarded<'_> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.left == 0 {
            let (what, limit) = ("record", RECORD_BYTES_MAX);
            return Err(DecodeFault::RecordTooLarge { what, limit }.into_io());
        }
        self.text.fill_buf()
    }

    fn consume(&mut self, amount: usize) {
        if let Ok(buffer) = self.text.fill_buf() {
            let used = &buffer[..amount.min(buffer.len())];
            let lines = memchr::memchr_iter(b'\n', used).count();
            self.line += lines as u64;
            self.column = match memchr::memrchr(b'\n', used) {
                Some(last) => (used.len() - last) as u64,
                None => self.column + used.len() as u64,
            };
        }
        self.left = self.left.saturating_sub(amount as u64);
        self.text.consume(amount);
    }
}

impl Read for Guarded<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let available = self.fill_buf()?;
        let count = available.len().min(buffer.len());
        buffer[..count].copy_from_slice(&available[..count]);
        self.consume(count);
        Ok(count)
    }
}
