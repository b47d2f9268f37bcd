//! Decoding: the bytes of a feed in, a stream of raw offers and rejects out.
//!
//! ```text
//! bytes ──unpack──> bytes ──charset──> UTF-8 ──one decoder per format──> raw offers, rejects
//! ```
//!
//! Every layer streams: memory does not grow with the feed, except that a page of HTML and a
//! JSON document searched by a path with filters are held whole, up to a stated size. One bad
//! record is a [`Reject`](crate::market::Reject) and never loses its neighbours; a body that
//! cannot be trusted as a whole is a [`DecodeFault`], and then nothing that was decoded from it
//! may be stored. May not fetch anything, read a clock, or judge a value: a price stays text.
//!
//! Start reading at [`decode`]. A new format is one file that implements [`Format`] and
//! [`Decoder`] and one line in [`FORMATS`].

mod charset;
mod charset_labels;
mod csv;
mod csv_records;
mod entities;
mod fault;
mod format;
mod guess;
mod html;
mod json;
mod json_path;
mod json_stream;
mod layers;
mod lines;
mod presence;
mod records;
mod unpack;
mod xml;
mod xml_element;
mod xml_path;
mod xml_tree;
mod zip;
mod zip_entry;

pub use fault::DecodeFault;
pub use format::{Decoder, FORMATS, Format};
pub use guess::{Guess, guess};
pub use layers::{Context, DecodeSummary, decode, decode_links};
pub use records::{Records, Sink};

#[cfg(test)]
mod tests;
