//! What a feed remembers of its last answer, to ask only for what is new.

use super::body::digest_of;
use super::headers::fresh_until;
use chrono::{DateTime, Utc};
use reqwest::header::{
    ETAG, HeaderMap, HeaderName, HeaderValue, IF_MODIFIED_SINCE, IF_NONE_MATCH, LAST_MODIFIED,
};
use url::Url;

/// Validators and freshness of the last good answer of one address; kept between runs.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Validators {
    /// SHA-256 of the address that answered, which may hold a secret.
    pub address_digest: String,
    /// Letter for letter, a weak mark included.
    pub etag: Option<String>,
    /// Letter for letter, even where it is no date.
    pub last_modified: Option<String>,
    /// SHA-256 of the body.
    pub body_digest: String,
    pub fresh_until: Option<DateTime<Utc>>,
    /// The date that the document gave itself.
    #[serde(default)]
    pub document_date: Option<DateTime<Utc>>,
    /// Older copies that came since, in a row.
    #[serde(default)]
    pub older_copies: u32,
}

impl Validators {
    /// True while the answer of `url` may be used without asking again.
    pub(super) fn is_fresh(&self, url: &Url, now: DateTime<Utc>) -> bool {
        self.fresh_until.is_some_and(|until| until > now)
            && self.address_digest == digest_of(url.as_str())
    }

    /// True when both stand for the same bytes.
    pub(super) fn is_same_body(&self, other: &Validators) -> bool {
        self.body_digest == other.body_digest
    }

    pub(super) fn of_answer(
        url: &Url,
        headers: &HeaderMap,
        body_digest: &str,
        asked: DateTime<Utc>,
        answered: DateTime<Utc>,
    ) -> Validators {
        Validators {
            address_digest: digest_of(url.as_str()),
            etag: letters(headers, &ETAG),
            last_modified: letters(headers, &LAST_MODIFIED),
            body_digest: body_digest.to_owned(),
            fresh_until: fresh_until(headers, asked, answered),
            document_date: None,
            older_copies: 0,
        }
    }

    /// What a 304 leaves of them: it may carry newer validators and a newer freshness.
    pub(super) fn renewed(
        &self,
        headers: &HeaderMap,
        asked: DateTime<Utc>,
        answered: DateTime<Utc>,
    ) -> Validators {
        Validators {
            etag: letters(headers, &ETAG).or_else(|| self.etag.clone()),
            last_modified: letters(headers, &LAST_MODIFIED).or_else(|| self.last_modified.clone()),
            fresh_until: fresh_until(headers, asked, answered),
            older_copies: 0,
            ..self.clone()
        }
    }

    /// The conditions of a request to `url`; none when they belong to another address.
    pub(super) fn conditions(&self, url: &Url) -> HeaderMap {
        let mut conditions = HeaderMap::new();
        if self.address_digest != digest_of(url.as_str()) {
            return conditions;
        }
        let pairs = [
            (IF_NONE_MATCH, &self.etag),
            (IF_MODIFIED_SINCE, &self.last_modified),
        ];
        for (name, text) in pairs {
            if let Some(value) = text.as_deref().and_then(header_value) {
                conditions.insert(name, value);
            }
        }
        conditions
    }
}

/// A header's bytes, each as the character of the same number, so that none is lost.
fn letters(headers: &HeaderMap, name: &HeaderName) -> Option<String> {
    let value = headers.get(name)?;
    (!value.is_empty()).then(|| {
        value
            .as_bytes()
            .iter()
            .map(|byte| char::from(*byte))
            .collect()
    })
}

fn header_value(text: &str) -> Option<HeaderValue> {
    let bytes: Option<Vec<u8>> = text
        .chars()
        .map(|character| u8::try_from(u32::from(character)).ok())
        .collect();
    HeaderValue::from_bytes(&bytes?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn validators_go_back_letter_for_letter_to_their_own_address() {
        let url = Url::parse("https://shop.example/f").unwrap();
        let now = "2026-06-15T12:00:00Z".parse().unwrap();
        for etag in ["W/\"a1\"", "\"a1\"", "unquoted", "\"gr\u{fc}n\""] {
            let bytes: Vec<u8> = etag.chars().map(|c| c as u32 as u8).collect();
            let mut headers = HeaderMap::new();
            headers.insert(ETAG, HeaderValue::from_bytes(&bytes).unwrap());
            headers.insert(LAST_MODIFIED, HeaderValue::from_static("gestern"));
            let validators = Validators::of_answer(&url, &headers, "", now, now);
            let sent = validators.conditions(&url);
            assert_eq!(sent[IF_NONE_MATCH].as_bytes(), bytes);
            assert_eq!(sent[IF_MODIFIED_SINCE], "gestern");
            let other = Url::parse("https://shop.example/g").unwrap();
            assert!(validators.conditions(&other).is_empty());
        }
    }
}
