//! A bulletin as a message (RFC 5322): the same bytes each time.

use crate::decide::Bulletin;
use crate::notify::body::{one_line, page};
use lettre::Message;
use lettre::message::header::{ContentType, Header, HeaderName, HeaderValue};
use lettre::message::{Mailbox, MultiPart, MultiPartKind, SinglePart};
use std::time::{Duration, UNIX_EPOCH};

type BoxError = Box<dyn std::error::Error + Send + Sync>;

/// Tells automatic responders to stay quiet (RFC 3834, section 5).
#[derive(Clone)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<AutoSubmitted, BoxError> {
        Ok(AutoSubmitted)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(AutoSubmitted::name(), "auto-generated".to_owned())
    }
}

/// # Errors
/// Why the message cannot be made.
pub fn message(from: &Mailbox, to: &[Mailbox], bulletin: &Bulletin) -> Result<Message, String> {
    let seconds = u64::try_from(bulletin.at.timestamp()).unwrap_or(0);
    let subject = one_line(&bulletin.subject);
    let id = format!("<{}@{}>", bulletin.id, from.email.domain());
    let mut builder = Message::builder()
        .message_id(Some(id))
        .date(UNIX_EPOCH + Duration::from_secs(seconds))
        .header(AutoSubmitted)
        .from(from.clone())
        .subject(&subject);
    for receiver in to {
        builder = builder.to(receiver.clone());
    }
    let html = match page(bulletin) {
        Some(page) => plain(page),
        None => html(&subject, &bulletin.text),
    };
    let part = |kind: ContentType, text: String| SinglePart::builder().header(kind).body(text);
    let both = MultiPart::builder()
        .kind(MultiPartKind::Alternative)
        .boundary(format!("rigtide-{}", bulletin.id))
        .singlepart(part(ContentType::TEXT_PLAIN, plain(&bulletin.text)))
        .singlepart(part(ContentType::TEXT_HTML, html));
    builder.multipart(both).map_err(|error| error.to_string())
}

/// Without what a terminal would obey that shows the mail.
fn plain(text: &str) -> String {
    let is_shown = |one: &char| !one.is_control() || matches!(one, '\n' | '\t');
    text.chars().filter(is_shown).collect()
}

/// A page for a bulletin that was stored without one: one column that a phone can show, in the
/// reader's own fonts and colours; nothing is fetched.
fn html(subject: &str, text: &str) -> String {
    let lines = plain(text);
    format!(
        "<!DOCTYPE html>\n<html><head><meta charset=\"utf-8\"><title>{0}</title></head>\n\
         <body><h1 style=\"font-size: 1.2em\">{0}</h1>\n\
         <div style=\"white-space: pre-wrap; max-width: 40em\">{1}</div></body></html>\n",
        html_escape::encode_safe(subject),
        html_escape::encode_safe(&lines),
    )
}
