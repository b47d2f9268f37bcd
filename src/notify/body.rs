//! A bulletin as JSON: what a webhook is sent and a command reads.

use crate::decide::Bulletin;
use chrono::SecondsFormat;

/// `{id, brief, at, subject, text, data}`, the same bytes each time.
pub(super) fn json(bulletin: &Bulletin) -> String {
    serde_json::json!({
        "id": bulletin.id.as_str(),
        "brief": bulletin.brief,
        "at": bulletin.at.to_rfc3339_opts(SecondsFormat::Millis, true),
        "subject": bulletin.subject,
        "text": bulletin.text,
        "data": bulletin.data,
    })
    .to_string()
}

/// A subject as one line, without what a header or a terminal would obey.
pub(super) fn one_line(subject: &str) -> String {
    let plain = subject.chars().map(|one| match one.is_control() {
        true => ' ',
        false => one,
    });
    plain.collect::<String>().trim().to_owned()
}
