//! The way of a body through its layers: unpacked, made UTF-8, decoded, judged.

use super::charset::{Hints, open_text};
use super::fault::DecodeFault;
use super::records::{Records, Sink};
use super::unpack::unpack;
use super::zip_entry::ZipChoice;
use crate::feeds::mapping::FormatSettings;
use std::io::BufRead;
use url::Url;

/// What is known of a body besides its bytes.
#[derive(Debug, Clone)]
pub struct Context<'c> {
    /// The `Content-Type` header, letter for letter.
    pub content_type: Option<&'c str>,
    /// Where the body came from, after redirects: completes relative links, and tells which of
    /// several products a page is about.
    pub address: Option<&'c str>,
    /// The retailer's country (ISO 3166-1), which tells its delivery rates from others'.
    pub country: Option<&'c str>,
    /// The GTINs, MPNs or SKUs that this page was asked for, if it was asked for one part.
    pub wanted: &'c [String],
    /// Bytes after unpacking, above which the poll fails.
    pub body_limit: u64,
    /// Records above which the poll fails.
    pub records_max: u64,
}

impl Default for Context<'_> {
    fn default() -> Self {
        Context {
            content_type: None,
            address: None,
            country: None,
            wanted: &[],
            body_limit: 2 << 30,
            records_max: 5_000_000,
        }
    }
}

/// What one body held, besides the records that went to the sink.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct DecodeSummary {
    /// Records seen: those sent as good and those rejected.
    pub records: u64,
    pub rejected: u64,
    pub notes: Vec<String>,
    /// Where the list goes on, as it stands in the body; may be relative.
    pub next_page: Option<String>,
    /// The date that the body gives itself, as it stands there.
    pub updated: Option<String>,
}

/// Decodes a body and sends every record to `sink`.
///
/// The records arrive before the body is known to be whole. Only `Ok` makes them worth keeping:
/// on a fault everything that was sent must be thrown away.
pub fn decode(
    settings: &FormatSettings,
    body: &mut dyn BufRead,
    context: &Context<'_>,
    sink: &mut Sink<'_>,
) -> Result<DecodeSummary, DecodeFault> {
    let plain = unpack(Box::new(body), context.body_limit, &zip_choice(settings))?;
    let hints = Hints::new(settings, context);
    let (mut text, report) = open_text(plain, &hints)?;
    let base = context.address.and_then(|address| Url::parse(address).ok());
    let mut forward = |record| sink(record);
    let mut records = Records::new(&mut forward, base, context.records_max);
    settings.decoder.decode(&mut text, context, &mut records)?;
    records.judge(settings.rejects_percent_max)?;
    report.tell(&mut records);
    Ok(records.into_summary())
}

/// Finds the links of an index page with the feed's `links` selector, complete where the
/// page's address is known, each once, in the order of the page.
pub fn decode_links(
    settings: &FormatSettings,
    body: &mut dyn BufRead,
    context: &Context<'_>,
) -> Result<Vec<String>, DecodeFault> {
    let plain = unpack(Box::new(body), context.body_limit, &zip_choice(settings))?;
    let (mut text, _) = open_text(plain, &Hints::new(settings, context))?;
    let base = context.address.and_then(|address| Url::parse(address).ok());
    let mut links: Vec<String> = Vec::new();
    let mut known = std::collections::BTreeSet::new();
    for link in settings.decoder.links(&mut text)? {
        let whole = match &base {
            Some(base) => match base.join(link.trim()) {
                Ok(mut url) => {
                    url.set_fragment(None);
                    String::from(url)
                }
                Err(_) => continue,
            },
            None => link.trim().to_owned(),
        };
        if !whole.is_empty() && known.insert(whole.clone()) {
            links.push(whole);
        }
    }
    if links.is_empty() {
        let detail = "the index page has no links where the settings look for them".to_owned();
        return Err(DecodeFault::NoData { detail });
    }
    Ok(links)
}

fn zip_choice(settings: &FormatSettings) -> ZipChoice<'_> {
    ZipChoice {
        entry: settings.zip_entry.as_deref(),
        endings: settings.endings,
    }
}
