//! Where a feed is: addresses, templates over the catalogue, an index page, or a place on disk.

use super::secret::{Keeper, Secret, SecretFault, SecretPlace};
use crate::catalogue::table::{At, Table};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use std::path::PathBuf;
use thiserror::Error;
use url::Url;

/// Where a feed's bytes come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Location {
    /// One or more documents, fetched one after another.
    Pages(Vec<UrlTemplate>),
    /// One document for each part that has what the template asks for.
    PerPart {
        template: UrlTemplate,
        limit: usize,
    },
    /// The documents that a page links to.
    Index {
        page: UrlTemplate,
        limit: usize,
    },
    /// A file, or every file of a directory; relative to the configuration directory.
    File(PathBuf),
    StandardInput,
}

/// An address with places to fill in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UrlTemplate {
    pieces: Vec<Piece>,
    origin: Url,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Piece {
    Text(String),
    Mpn,
    Gtin,
    Part,
    Variable(String),
}

/// What a template can say of a part.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PartKeys<'a> {
    pub part: &'a str,
    pub mpn: Option<&'a str>,
    pub gtin: Option<&'a str>,
}

/// One document to fetch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Target {
    /// May hold secrets: show it through the feed's mask only.
    pub url: Url,
    /// The id of the part that the document was asked for.
    pub part: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum AddressFault {
    #[error("the address is not complete ({reason})")]
    NotAnAddress { reason: String },
    #[error("the address begins with {scheme}:, not http: or https:")]
    Scheme { scheme: String },
    #[error("the address holds a user name or password")]
    Credentials,
    #[error("the host of the address has a placeholder")]
    PlaceholderInHost,
    #[error("{{{name}}} is not a placeholder that fits here")]
    Placeholder { name: String },
    #[error("the address opens a placeholder without closing it")]
    Unclosed,
}

/// Everything outside RFC 3986's unreserved characters.
const RESERVED: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~');

impl Location {
    /// The documents of this location; an index counts as its one page, a file as none.
    ///
    /// # Errors
    /// A secret that an address needs is missing.
    pub fn targets<'p>(
        &self,
        parts: impl Iterator<Item = PartKeys<'p>>,
        keeper: &dyn Keeper,
    ) -> Result<Vec<Target>, SecretFault> {
        let whole = |template: &UrlTemplate| template.fill(&PartKeys::default(), keeper);
        let single = |url: Option<Url>| url.map(|url| Target { url, part: None });
        match self {
            Location::Pages(pages) => pages
                .iter()
                .filter_map(|page| whole(page).map(single).transpose())
                .collect(),
            Location::Index { page, .. } => Ok(single(whole(page)?).into_iter().collect()),
            Location::PerPart { template, limit } => {
                let mut targets = Vec::new();
                for part in parts {
                    if targets.len() == *limit {
                        break;
                    }
                    if let Some(url) = template.fill(&part, keeper)? {
                        let part = Some(part.part.to_owned());
                        targets.push(Target { url, part });
                    }
                }
                Ok(targets)
            }
            Location::File(_) | Location::StandardInput => Ok(Vec::new()),
        }
    }

    /// One address of each template, for its scheme, host and port. Placeholders are not filled.
    pub fn origins(&self) -> Vec<&Url> {
        match self {
            Location::Pages(pages) => pages.iter().map(|page| &page.origin).collect(),
            Location::PerPart { template, .. } => vec![&template.origin],
            Location::Index { page, .. } => vec![&page.origin],
            Location::File(_) | Location::StandardInput => Vec::new(),
        }
    }

    /// The secrets that stand in addresses.
    ///
    /// # Errors
    /// One of them is missing.
    pub fn secrets(&self, keeper: &dyn Keeper) -> Result<Vec<Secret>, SecretFault> {
        let templates: Vec<&UrlTemplate> = match self {
            Location::Pages(pages) => pages.iter().collect(),
            Location::PerPart { template, .. } => vec![template],
            Location::Index { page, .. } => vec![page],
            Location::File(_) | Location::StandardInput => Vec::new(),
        };
        templates
            .into_iter()
            .flat_map(|template| &template.pieces)
            .filter_map(|piece| match piece {
                Piece::Variable(name) => Some(SecretPlace::Environment(name.clone()).open(keeper)),
                _ => None,
            })
            .collect()
    }
}

impl UrlTemplate {
    /// Reads an address; `{mpn}`, `{gtin}` and `{part}` only where `per_part` is `Allowed`.
    ///
    /// # Errors
    /// The text is no http or https address, or has a placeholder that does not fit.
    pub fn parse(text: &str, per_part: PartPlaceholders) -> Result<UrlTemplate, AddressFault> {
        let mut pieces = Vec::new();
        let mut rest = text.trim();
        while let Some(open) = rest.find('{') {
            let (before, after) = rest.split_at(open);
            let close = after.find('}').ok_or(AddressFault::Unclosed)?;
            if !before.is_empty() {
                pieces.push(Piece::Text(before.to_owned()));
            }
            pieces.push(Piece::parse(&after[1..close], per_part)?);
            rest = &after[close + 1..];
        }
        if !rest.is_empty() {
            pieces.push(Piece::Text(rest.to_owned()));
        }
        let origin = sample(&pieces, "x")?;
        // A placeholder that moves the host would send the feed's credentials elsewhere.
        if sample(&pieces, "y")?.origin() != origin.origin() {
            return Err(AddressFault::PlaceholderInHost);
        }
        Ok(UrlTemplate { pieces, origin })
    }

    /// True when the address differs from part to part.
    pub fn is_per_part(&self) -> bool {
        self.pieces
            .iter()
            .any(|piece| matches!(piece, Piece::Mpn | Piece::Gtin | Piece::Part))
    }

    /// The address for a part; `None` when the part has not what the template asks for.
    fn fill(&self, part: &PartKeys<'_>, keeper: &dyn Keeper) -> Result<Option<Url>, SecretFault> {
        let mut text = String::new();
        for piece in &self.pieces {
            let value = match piece {
                Piece::Text(piece) => {
                    text.push_str(piece);
                    continue;
                }
                Piece::Mpn => part.mpn.map(str::to_owned),
                Piece::Gtin => part.gtin.map(str::to_owned),
                Piece::Part => Some(part.part.to_owned()),
                Piece::Variable(name) => {
                    let secret = SecretPlace::Environment(name.clone()).open(keeper)?;
                    Some(secret.reveal().to_owned())
                }
            };
            match value.filter(|value| !value.trim().is_empty()) {
                Some(value) => text.extend(utf8_percent_encode(value.trim(), RESERVED)),
                None => return Ok(None),
            }
        }
        // Percent-encoded values cannot break an address that parsed with a sample value.
        Ok(Url::parse(&text).ok().map(without_fragment))
    }
}

/// Whether an address may name a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PartPlaceholders {
    Allowed,
    Refused,
}

impl Piece {
    fn parse(name: &str, per_part: PartPlaceholders) -> Result<Piece, AddressFault> {
        let allowed = per_part == PartPlaceholders::Allowed;
        match name {
            "mpn" if allowed => Ok(Piece::Mpn),
            "gtin" if allowed => Ok(Piece::Gtin),
            "part" if allowed => Ok(Piece::Part),
            _ => match name.strip_prefix("env:").map(str::trim) {
                Some(variable) if !variable.is_empty() => Ok(Piece::Variable(variable.to_owned())),
                _ => Err(AddressFault::Placeholder {
                    name: name.to_owned(),
                }),
            },
        }
    }
}

fn sample(pieces: &[Piece], value: &str) -> Result<Url, AddressFault> {
    let text: String = pieces
        .iter()
        .map(|piece| match piece {
            Piece::Text(text) => text.as_str(),
            _ => value,
        })
        .collect();
    let url = Url::parse(&text).map_err(|error| AddressFault::NotAnAddress {
        reason: error.to_string(),
    })?;
    if !matches!(url.scheme(), "http" | "https") {
        let scheme = url.scheme().to_owned();
        return Err(AddressFault::Scheme { scheme });
    }
    if !url.username().is_empty() || url.password().is_some() {
        return Err(AddressFault::Credentials);
    }
    Ok(url)
}

fn without_fragment(mut url: Url) -> Url {
    url.set_fragment(None);
    url
}

/// Reads exactly one of the keys that place a feed.
pub(super) fn read(table: &mut Table<'_, '_>) -> Option<Location> {
    const KEYS: [&str; 5] = ["url", "urls", "url_template", "index", "file"];
    let present: Vec<&str> = KEYS.into_iter().filter(|key| table.has(key)).collect();
    let url = table.text("url");
    let urls = table.texts("urls");
    let template = table.text("url_template");
    let index = table.text("index");
    let file = table.text("file");
    let limit = super::number(table, "limit", 1..100_001, 100) as usize;
    if present.len() != 1 {
        let message = if present.is_empty() {
            "the feed does not say where it is".to_owned()
        } else {
            format!(
                "the feed is in {} places: {}",
                present.len(),
                present.join(", ")
            )
        };
        let remedy = "keep exactly one of `url`, `urls`, `url_template`, `index` and `file`";
        table.document().fault(&table.span(), message, remedy);
        return None;
    }
    if let Some(url) = url {
        return read_address(table, &url, PartPlaceholders::Refused)
            .map(|url| Location::Pages(vec![url]));
    }
    if let Some(urls) = urls {
        return read_pages(table, &urls);
    }
    if let Some(template) = template {
        return read_per_part(table, &template, limit);
    }
    if let Some(index) = index {
        let page = read_address(table, &index, PartPlaceholders::Refused)?;
        return Some(Location::Index { page, limit });
    }
    let file = file?;
    match file.value.trim() {
        "" => {
            let remedy = "write a path, or \"-\" for standard input";
            table
                .document()
                .fault(&file.span, "`file` is empty", remedy);
            None
        }
        "-" => Some(Location::StandardInput),
        path => Some(Location::File(PathBuf::from(path))),
    }
}

fn read_pages(table: &Table<'_, '_>, urls: &At<Vec<At<String>>>) -> Option<Location> {
    if urls.value.is_empty() {
        let remedy = "write at least one address";
        table
            .document()
            .fault(&urls.span, "`urls` is empty", remedy);
        return None;
    }
    let read: Vec<Option<UrlTemplate>> = urls
        .value
        .iter()
        .map(|url| read_address(table, url, PartPlaceholders::Refused))
        .collect();
    read.into_iter()
        .collect::<Option<Vec<_>>>()
        .map(Location::Pages)
}

fn read_per_part(table: &Table<'_, '_>, text: &At<String>, limit: usize) -> Option<Location> {
    let template = read_address(table, text, PartPlaceholders::Allowed)?;
    if template.is_per_part() {
        return Some(Location::PerPart { template, limit });
    }
    let message = "`url_template` names nothing of a part";
    let remedy = "put {mpn}, {gtin} or {part} into it, or call it `url`";
    table.document().fault(&text.span, message, remedy);
    None
}

fn read_address(
    table: &Table<'_, '_>,
    text: &At<String>,
    per_part: PartPlaceholders,
) -> Option<UrlTemplate> {
    match UrlTemplate::parse(&text.value, per_part) {
        Ok(template) => Some(template),
        Err(fault) => {
            let remedy = fault.remedy(per_part);
            table
                .document()
                .fault(&text.span, fault.to_string(), remedy);
            None
        }
    }
}

impl AddressFault {
    fn remedy(&self, per_part: PartPlaceholders) -> &'static str {
        match self {
            AddressFault::NotAnAddress { .. } => {
                "write a whole address, as in https://shop.example/feed.csv"
            }
            AddressFault::Scheme { .. } => {
                "write http: or https:, or use `file` for a file on disk"
            }
            AddressFault::Credentials => {
                "use `basic_user` with `basic_password_env`, and take them out of the address"
            }
            AddressFault::PlaceholderInHost => {
                "write the host out; placeholders may stand in path and query"
            }
            AddressFault::Placeholder { .. } if per_part == PartPlaceholders::Allowed => {
                "write {mpn}, {gtin}, {part} or {env:NAME}"
            }
            AddressFault::Placeholder { .. } => {
                "write {env:NAME}, or use `url_template` for one page a part"
            }
            AddressFault::Unclosed => "add the closing }, or write { as %7B",
        }
    }
}
