//! Runs a decoder on bytes and keeps everything that comes out.

use crate::catalogue::Fault;
use crate::catalogue::table::Document;
use crate::feeds::decode::{Context, DecodeFault, DecodeSummary, decode};
use crate::feeds::mapping::FormatSettings;
use crate::market::{Field, RawOffer, Reject};
use std::ops::ControlFlow;

/// What one body came to.
#[derive(Debug)]
pub(super) struct Decoded {
    pub offers: Vec<RawOffer>,
    pub rejects: Vec<Reject>,
    pub summary: DecodeSummary,
}

impl Decoded {
    /// The first value of a field in each offer; `-` for none.
    pub(super) fn column(&self, field: Field) -> Vec<&str> {
        self.offers.iter().map(|offer| text(offer, field)).collect()
    }

    pub(super) fn only(&self) -> &RawOffer {
        assert_eq!(self.offers.len(), 1, "{self:?}");
        &self.offers[0]
    }

    pub(super) fn has_note(&self, words: &str) -> bool {
        let notes = self.summary.notes.iter();
        notes
            .chain(self.offers.iter().flat_map(|offer| &offer.notes))
            .any(|note| note.contains(words))
    }
}

pub(super) fn text(offer: &RawOffer, field: Field) -> &str {
    offer.first(field).map_or("-", |value| value.text.as_str())
}

pub(super) fn all(offer: &RawOffer, field: Field) -> Vec<&str> {
    let values = offer.fields.get(field).iter();
    values.map(|value| value.text.as_str()).collect()
}

/// Reads a feed's keys; the faults when they are wrong.
pub(super) fn read_settings(toml: &str) -> Result<FormatSettings, Vec<Fault>> {
    let document = Document::parse("retailers/shop.toml", toml);
    let mut table = document.root();
    let settings = FormatSettings::read(&mut table);
    table.finish();
    let faults = document.into_faults();
    match settings {
        Some(settings) if faults.is_empty() => Ok(settings),
        _ => Err(faults),
    }
}

pub(super) fn run(toml: &str, body: impl AsRef<[u8]>) -> Result<Decoded, DecodeFault> {
    run_in(toml, body, &Context::default())
}

pub(super) fn run_in(
    toml: &str,
    body: impl AsRef<[u8]>,
    context: &Context<'_>,
) -> Result<Decoded, DecodeFault> {
    let settings = read_settings(toml).unwrap();
    let (mut offers, mut rejects) = (Vec::new(), Vec::new());
    let mut sink = |record| {
        match record {
            Ok(offer) => offers.push(offer),
            Err(reject) => rejects.push(reject),
        }
        ControlFlow::Continue(())
    };
    let mut bytes = body.as_ref();
    let summary = decode(&settings, &mut bytes, context, &mut sink)?;
    assert_eq!(summary.records, (offers.len() + rejects.len()) as u64);
    assert_eq!(summary.rejected, rejects.len() as u64);
    Ok(Decoded {
        offers,
        rejects,
        summary,
    })
}
