//! Tells an older copy of a document from news.
//!
//! Several servers may answer for one address, and one of them may lag behind. What it sends is
//! new to the program and yet older than what the program knows, so it must change nothing.
//!
//! Two dates are compared: the one that the document carries itself, and `Last-Modified`
//! (RFC 9110 section 8.8.2). The document's own comes first, because a server may give any date
//! to a file. A date that lies ahead of the clock proves nothing. An address that goes on with
//! the older document has gone back on purpose: after as many polls as confirm a held price, it
//! is believed.

use super::date::parse_http_date;
use super::validators::Validators;
use chrono::{DateTime, Utc};
use std::fmt;

/// An answer that is older than the one before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OlderCopy {
    /// What stays remembered: the newer document, and how often an older one came since.
    pub remembered: Validators,
    by: Evidence,
    has: DateTime<Utc>,
    had: DateTime<Utc>,
}

/// The date that tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Evidence {
    Document,
    LastModified,
}

impl OlderCopy {
    /// Compares an answer with what is remembered of its address; `None` when it is news.
    ///
    /// `most_in_a_row` older answers are passed over before the next is believed.
    pub fn of(
        known: &Validators,
        answered: &Validators,
        most_in_a_row: u32,
        now: DateTime<Utc>,
    ) -> Option<OlderCopy> {
        if known.address_digest != answered.address_digest || known.older_copies >= most_in_a_row {
            return None;
        }
        let modified = |validators: &Validators| {
            let text = validators.last_modified.as_deref()?;
            parse_http_date(text, now)
        };
        let own = known.document_date.zip(answered.document_date);
        let by_server = || modified(known).zip(modified(answered));
        let (by, (had, has)) = own
            .map(|dates| (Evidence::Document, dates))
            .or_else(|| Some((Evidence::LastModified, by_server()?)))?;
        (has < had && had <= now).then(|| OlderCopy {
            remembered: Validators {
                older_copies: known.older_copies + 1,
                ..known.clone()
            },
            by,
            has,
            had,
        })
    }
}

impl fmt::Display for OlderCopy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let date = match self.by {
            Evidence::Document => "its own date",
            Evidence::LastModified => "its Last-Modified",
        };
        let (has, had) = (written(self.has), written(self.had));
        write!(
            f,
            "an older copy of the document came and was passed over: {date} is {has}, and was \
             {had} before"
        )
    }
}

fn written(date: DateTime<Utc>) -> String {
    date.to_rfc3339_opts(chrono::SecondsFormat::Secs, true)
}

/// Reads the date that a document gives itself: RFC 3339 as in Atom (RFC 4287 section 3.3), or
/// the form of mail that RSS 2.0 takes over from RFC 822. Any other text is no date.
pub fn parse_document_date(text: &str) -> Option<DateTime<Utc>> {
    let text = text.trim();
    let read = DateTime::parse_from_rfc3339(text).or_else(|_| DateTime::parse_from_rfc2822(text));
    read.ok().map(|date| date.to_utc())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn validators(own: Option<&str>, last_modified: Option<&str>) -> Validators {
        Validators {
            address_digest: "a".to_owned(),
            etag: None,
            last_modified: last_modified.map(str::to_owned),
            body_digest: String::new(),
            fresh_until: None,
            document_date: own.map(at),
            older_copies: 0,
        }
    }

    // Pitfall H28; H05 for the dates that prove nothing.
    #[test]
    fn an_earlier_date_is_an_older_copy_and_the_documents_own_comes_first() {
        const NOON: &str = "Mon, 15 Jun 2026 12:00:00 GMT";
        const EARLIER: &str = "Mon, 15 Jun 2026 11:59:59 GMT";
        const AHEAD: &str = "Tue, 15 Jun 2027 12:00:00 GMT";
        let (noon, earlier) = ("2026-06-15T12:00:00Z", "2026-06-15T11:59:59Z");
        let now = at("2026-06-15T13:00:00Z");
        for (known, answered, is_older) in [
            ((None, Some(NOON)), (None, Some(EARLIER)), true),
            ((None, Some(EARLIER)), (None, Some(NOON)), false),
            ((None, Some(NOON)), (None, Some(NOON)), false),
            ((Some(noon), None), (Some(earlier), None), true),
            // The document's own date outranks the server's, both ways.
            (
                (Some(noon), Some(EARLIER)),
                (Some(earlier), Some(NOON)),
                true,
            ),
            (
                (Some(earlier), Some(NOON)),
                (Some(noon), Some(EARLIER)),
                false,
            ),
            // A date that only one of them has compares with nothing.
            ((Some(noon), None), (None, Some(EARLIER)), false),
            ((Some(noon), Some(NOON)), (None, Some(EARLIER)), true),
            // Unreadable, or ahead of the clock.
            ((None, Some("gestern")), (None, Some(EARLIER)), false),
            ((None, Some(NOON)), (None, Some("-1")), false),
            ((None, Some(AHEAD)), (None, Some(NOON)), false),
            (
                (Some("2027-06-15T12:00:00Z"), None),
                (Some(noon), None),
                false,
            ),
            ((None, None), (None, None), false),
        ] {
            let (known, answered) = (
                validators(known.0, known.1),
                validators(answered.0, answered.1),
            );
            let older = OlderCopy::of(&known, &answered, 2, now);
            assert_eq!(older.is_some(), is_older, "{known:?} {answered:?}");
        }
    }

    #[test]
    fn what_comes_from_another_address_is_not_compared() {
        let now = at("2026-06-15T13:00:00Z");
        let known = validators(Some("2026-06-15T12:00:00Z"), None);
        let mut answered = validators(Some("2026-06-15T11:00:00Z"), None);
        answered.address_digest = "b".to_owned();
        assert_eq!(OlderCopy::of(&known, &answered, 2, now), None);
    }

    #[test]
    fn an_address_that_goes_on_with_the_older_document_is_believed() {
        let now = at("2026-06-15T13:00:00Z");
        let mut known = validators(Some("2026-06-15T12:00:00Z"), None);
        let answered = validators(Some("2026-06-15T11:00:00Z"), None);
        for _ in 0..2 {
            let older = OlderCopy::of(&known, &answered, 2, now).unwrap();
            known = older.remembered;
            assert_eq!(known.document_date, Some(at("2026-06-15T12:00:00Z")));
        }
        assert_eq!(OlderCopy::of(&known, &answered, 2, now), None);
    }

    // RFC 4287 section 3.3 gives the first four; RFC 822 as RSS 2.0 shows it in its sample.
    #[test]
    fn the_dates_of_atom_and_rss_are_read() {
        for (text, expected) in [
            ("2003-12-13T18:30:02Z", Some("2003-12-13T18:30:02Z")),
            ("2003-12-13T18:30:02.25Z", Some("2003-12-13T18:30:02.25Z")),
            ("2003-12-13T18:30:02+01:00", Some("2003-12-13T17:30:02Z")),
            (
                "2003-12-13T18:30:02.25+01:00",
                Some("2003-12-13T17:30:02.25Z"),
            ),
            (
                " Tue, 10 Jun 2003 09:41:01 GMT ",
                Some("2003-06-10T09:41:01Z"),
            ),
            (
                "Tue, 10 Jun 2003 09:41:01 +0200",
                Some("2003-06-10T07:41:01Z"),
            ),
            ("10.06.2003", None),
            ("soon", None),
            ("", None),
        ] {
            assert_eq!(parse_document_date(text), expected.map(at), "{text}");
        }
    }
}
