//! Bulletins as HTTP POST requests of JSON.
//!
//! The body is `{id, brief, at, subject, text, data}`, by `config/bulletin.schema.json`. The headers are `Rigtide-Bulletin` (the
//! id), `Rigtide-Timestamp` (when the bulletin was made, in seconds since 1970) and, where the
//! settings name a secret, `Rigtide-Signature`: `sha256=` and the hexadecimal HMAC-SHA-256 of
//! `ID.TIMESTAMP.BODY`. While a secret is exchanged for another there are two, parted by a comma, and
//! a receiver takes the request that either of them signs. A repeat has the same bytes.

use crate::catalogue::table::{At, Table};
use crate::decide::Bulletin;
use crate::notify::body::{json, text};
use crate::notify::channel::{Channel, DeliveryFault, Pause, Sending, Trying};
use crate::notify::registry::ChannelKind;
use crate::notify::secrets::{SecretKeys, Secrets, read_secret};
use chrono::{DateTime, Utc};
use reqwest::header::{CONTENT_TYPE, HeaderMap, RETRY_AFTER};
use reqwest::{Client, StatusCode};
use ring::digest::{SHA256, digest};
use ring::hmac;
use std::error::Error;
use std::sync::Arc;
use std::time::Duration;
use url::Url;

pub(in crate::notify) const KIND: ChannelKind = ChannelKind {
    name: "webhook",
    about: "Sends each bulletin as an HTTP POST of JSON to `url`, signed where `secret_env` or \
            `secret_file` names a secret.",
    read,
};

const TIMEOUT_SECONDS: i64 = 20;
const URL_KEYS: SecretKeys = SecretKeys {
    env: "url_env",
    file: "url_file",
};
const SIGNING_KEYS: SecretKeys = SecretKeys {
    env: "secret_env",
    file: "secret_file",
};
/// The secret that takes the other's place.
const NEXT_KEYS: SecretKeys = SecretKeys {
    env: "next_secret_env",
    file: "next_secret_file",
};

struct Webhook {
    client: Client,
    url: Url,
    /// Each signs the body.
    keys: Vec<hmac::Key>,
}

impl Channel for Webhook {
    fn address(&self) -> String {
        hexadecimal(digest(&SHA256, self.url.as_str().as_bytes()).as_ref())
    }

    fn send<'a>(&'a self, bulletin: &'a Bulletin) -> Sending<'a> {
        Box::pin(async move { self.post(bulletin).await.map(|_| ()) })
    }

    fn try_out<'a>(&'a self, bulletin: &'a Bulletin) -> Trying<'a> {
        Box::pin(self.post(bulletin))
    }

    /// The address may be a secret, so it is left out.
    fn preview(&self, bulletin: &Bulletin) -> String {
        let signed = match self.keys.len() {
            0 => "not signed".to_owned(),
            1 => "signed".to_owned(),
            keys => format!("signed {keys} times"),
        };
        let (id, at) = (&bulletin.id, bulletin.at.timestamp());
        let head = format!("Rigtide-Bulletin: {id}\nRigtide-Timestamp: {at}\n({signed})");
        format!("{head}\n\n{:#}", json(bulletin))
    }
}

impl Webhook {
    /// Returns what the receiver answered.
    async fn post(&self, bulletin: &Bulletin) -> Result<String, DeliveryFault> {
        let body = text(bulletin);
        let timestamp = bulletin.at.timestamp().to_string();
        let mut request = self
            .client
            .post(self.url.clone())
            .header(CONTENT_TYPE, "application/json")
            .header("Rigtide-Bulletin", bulletin.id.as_str())
            .header("Rigtide-Timestamp", &timestamp);
        if !self.keys.is_empty() {
            let signed = format!("{}.{timestamp}.{body}", bulletin.id);
            let signature = |key| hexadecimal(hmac::sign(key, signed.as_bytes()).as_ref());
            let signatures = self.keys.iter().map(signature);
            let signatures: Vec<String> = signatures.map(|one| format!("sha256={one}")).collect();
            request = request.header("Rigtide-Signature", signatures.join(","));
        }
        let response = request
            .body(body)
            .send()
            .await
            .map_err(|error| failed(&error))?;
        // The body says nothing that matters here, so it is not read.
        judge(response.status(), response.headers())?;
        Ok(format!("the receiver answered {}", response.status()))
    }
}

/// What the receiver's answer means.
fn judge(status: StatusCode, headers: &HeaderMap) -> Result<(), DeliveryFault> {
    if status.is_success() {
        return Ok(());
    }
    let reason = match status {
        StatusCode::GONE => {
            let reason = "the receiver answered 410: it wants no more bulletins".to_owned();
            return Err(DeliveryFault::Unwanted { reason });
        }
        _ if status.is_redirection() => format!(
            "the receiver answered {}: redirects are not followed, set the address it moved to",
            status.as_u16()
        ),
        _ => format!("the receiver answered {}", status.as_u16()),
    };
    let is_our_message = status.is_client_error()
        && !matches!(
            status,
            // What its keeper or the author can mend, so that the bulletin arrives after all.
            StatusCode::UNAUTHORIZED
                | StatusCode::PAYMENT_REQUIRED
                | StatusCode::FORBIDDEN
                | StatusCode::NOT_FOUND
                | StatusCode::METHOD_NOT_ALLOWED
                | StatusCode::PROXY_AUTHENTICATION_REQUIRED
                // What passes by itself.
                | StatusCode::REQUEST_TIMEOUT
                | StatusCode::CONFLICT
                | StatusCode::MISDIRECTED_REQUEST
                | StatusCode::LOCKED
                | StatusCode::TOO_EARLY
                | StatusCode::TOO_MANY_REQUESTS
        );
    if is_our_message {
        return Err(DeliveryFault::Permanent { reason });
    }
    let retry_after = headers
        .get(RETRY_AFTER)
        .and_then(|value| value.to_str().ok());
    let pause = retry_after.map_or(Pause::Unsaid, read_retry_after);
    Err(DeliveryFault::Passing { reason, pause })
}

/// Reads both forms of RFC 9110, section 10.2.3.
fn read_retry_after(text: &str) -> Pause {
    let text = text.trim();
    if let Ok(seconds) = text.parse() {
        return Pause::For(Duration::from_secs(seconds));
    }
    match DateTime::parse_from_rfc2822(text) {
        Ok(at) => Pause::Until(at.with_timezone(&Utc)),
        Err(_) => Pause::Unsaid,
    }
}

/// A request that got no answer. The address may be a secret, so it is left out.
fn failed(error: &reqwest::Error) -> DeliveryFault {
    let reason = if error.is_timeout() {
        "the receiver did not answer in time".to_owned()
    } else {
        match error.source() {
            Some(source) => format!("the receiver cannot be reached: {}", innermost(source)),
            None => "the receiver cannot be reached".to_owned(),
        }
    };
    let pause = Pause::Unsaid;
    DeliveryFault::Passing { reason, pause }
}

fn innermost<'e>(error: &'e (dyn Error + 'static)) -> &'e (dyn Error + 'static) {
    let mut error = error;
    while let Some(source) = error.source() {
        error = source;
    }
    error
}

fn read(table: &mut Table<'_, '_>, secrets: &dyn Secrets) -> Option<Arc<dyn Channel>> {
    let url = read_url(table, secrets);
    let secret = read_secret(table, &SIGNING_KEYS, secrets);
    let next = read_secret(table, &NEXT_KEYS, secrets);
    let timeout = match table.has("timeout_seconds") {
        true => table
            .integer("timeout_seconds", 1..301)
            .map(|seconds| seconds.value),
        false => Some(TIMEOUT_SECONDS),
    };
    let url = url?;
    let timeout = Duration::from_secs(timeout?.unsigned_abs());
    let client = match client(&url, timeout) {
        Ok(client) => client,
        Err(error) => {
            let cause = innermost(&error);
            let message = format!("https cannot work on this machine: {cause}");
            let remedy = "install the system's certificate authorities (ca-certificates)";
            table.document().fault(&table.span(), message, remedy);
            return None;
        }
    };
    let both = [secret?, next?].into_iter().flatten();
    let keys = both.map(|secret| hmac::Key::new(hmac::HMAC_SHA256, secret.as_bytes()));
    Some(Arc::new(Webhook {
        client,
        url,
        keys: keys.collect(),
    }))
}

fn read_url(table: &mut Table<'_, '_>, secrets: &dyn Secrets) -> Option<Url> {
    let plain = table.text("url");
    let hidden = read_secret(table, &URL_KEYS, secrets)?;
    let whole = table.span();
    let (address, is_hidden) = match (plain, hidden) {
        (Some(plain), None) => (plain, false),
        (None, Some(value)) => (At { value, span: whole }, true),
        (None, None) if table.has("url") => return None,
        (None, None) => {
            let remedy = "add `url`, or `url_env` or `url_file` where it is a secret";
            table
                .document()
                .fault(&whole, "the address is missing", remedy);
            return None;
        }
        (Some(plain), Some(_)) => {
            let message = "the address is set twice";
            table
                .document()
                .fault(&plain.span, message, "keep one of them");
            return None;
        }
    };
    let url = Url::parse(&address.value).ok();
    let url = url.filter(|url| matches!(url.scheme(), "http" | "https") && url.has_host());
    let Some(url) = url else {
        let message = "the address is no http or https address";
        table
            .document()
            .fault(&address.span, message, "write it as https://host/path");
        return None;
    };
    if url.password().is_some() && !is_hidden {
        let message = "the address holds a password";
        let remedy = "name it by `url_env` or `url_file` instead";
        table.document().fault(&address.span, message, remedy);
        return None;
    }
    Some(url)
}

fn client(url: &Url, timeout: Duration) -> reqwest::Result<Client> {
    let mut builder = Client::builder()
        .user_agent(concat!("rigtide/", env!("CARGO_PKG_VERSION")))
        .timeout(timeout)
        .redirect(reqwest::redirect::Policy::none())
        .referer(false)
        .no_proxy()
        .pool_max_idle_per_host(1);
    let provider = rustls::crypto::ring::default_provider();
    if url.scheme() == "http" {
        // Plain addresses work on a machine that knows no certificate authority.
        let trusting_none = rustls::ClientConfig::builder_with_provider(Arc::new(provider))
            .with_safe_default_protocol_versions();
        if let Ok(versions) = trusting_none {
            let tls = versions
                .with_root_certificates(rustls::RootCertStore::empty())
                .with_no_client_auth();
            builder = builder.tls_backend_preconfigured(tls);
        }
    } else {
        // Fails where another part of the process was first, with the same provider.
        let _ = provider.install_default();
    }
    builder.build()
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;
    use crate::decide::BulletinId;
    use crate::notify::registry::read_channel;
    use crate::notify::secrets::tests::FewSecrets;
    use crate::notify::test_receiver::Receiver;

    fn bulletin() -> Bulletin {
        Bulletin {
            id: BulletinId::derive("media-room", "{}", DateTime::UNIX_EPOCH),
            brief: "media-room".to_owned(),
            at: DateTime::from_timestamp_millis(1_700_000_000_123).unwrap(),
            subject: "Prozessor \"K9\" <neu>\r\nX-Injected: 1".to_owned(),
            text: "raus: K7\nrein: K9".to_owned(),
            data: serde_json::json!({"total_minor": 149_990}),
        }
    }

    fn webhook(url: &str, more: &str) -> Arc<dyn Channel> {
        let text = format!("kind = \"webhook\"\nurl = \"{url}\"\n{more}");
        let document = Document::parse("rigtide.toml", &text);
        read_channel(document.root(), &FewSecrets).unwrap()
    }

    #[tokio::test]
    async fn a_bulletin_is_posted_as_json_with_its_id_and_a_repeat_is_the_same() {
        let receiver = Receiver::start(&[(204, None), (204, None)]).await;
        let channel = webhook(&receiver.url, "");
        channel.send(&bulletin()).await.unwrap();
        channel.send(&bulletin()).await.unwrap();
        let requests = receiver.stop().await;
        assert_eq!(requests[0].body, requests[1].body);
        let header = |name: &str| requests[0].headers.get(name).map(String::as_str);
        assert_eq!(header("content-type"), Some("application/json"));
        assert_eq!(header("rigtide-bulletin"), Some(bulletin().id.as_str()));
        assert_eq!(header("rigtide-timestamp"), Some("1700000000"));
        assert_eq!(header("rigtide-signature"), None);
        assert_eq!(header("x-injected"), None);
        let body: serde_json::Value = serde_json::from_str(&requests[0].body).unwrap();
        assert_eq!(
            body,
            serde_json::json!({
                "id": bulletin().id.as_str(),
                "brief": "media-room",
                // 1 700 000 000 s after 1970 (Unix time).
                "at": "2023-11-14T22:13:20.123Z",
                "subject": bulletin().subject,
                "text": bulletin().text,
                "data": {"total_minor": 149_990},
            })
        );
    }

    #[tokio::test]
    async fn while_a_secret_is_exchanged_both_sign() {
        let receiver = Receiver::start(&[(200, None)]).await;
        let both = "secret_file = \"known\"\nnext_secret_env = \"KNOWN\"";
        let sent = webhook(&receiver.url, both).send(&bulletin()).await;
        sent.unwrap();
        let requests = receiver.stop().await;
        // Computed apart from this code with Python 3.11's hmac, under both secrets.
        assert_eq!(
            requests[0].headers["rigtide-signature"],
            "sha256=4aec90ea8148647379ce0e1b6fd938ad0ae0d4d581e14865e451832bf77af9d9,\
             sha256=6301ce1729951fd824c8ee308c03125e990cfcd48bdfe949e3714d379fc890d2"
        );
    }

    #[tokio::test]
    async fn a_secret_signs_id_timestamp_and_body() {
        let receiver = Receiver::start(&[(200, None)]).await;
        webhook(&receiver.url, "secret_file = \"known\"")
            .send(&bulletin())
            .await
            .unwrap();
        let requests = receiver.stop().await;
        // Computed apart from this code, over the id, 1700000000 and the body with dots between:
        // openssl dgst -sha256 -hmac "from a file".
        let signature = requests[0]
            .headers
            .get("rigtide-signature")
            .map(String::as_str);
        assert_eq!(
            signature,
            Some("sha256=4aec90ea8148647379ce0e1b6fd938ad0ae0d4d581e14865e451832bf77af9d9"),
            "{}",
            requests[0].body
        );
    }

    #[test]
    fn the_signature_is_hmac_sha_256() {
        // RFC 4231, section 4.3 (test case 2), from memory.
        let key = hmac::Key::new(hmac::HMAC_SHA256, b"Jefe");
        let tag = hmac::sign(&key, b"what do ya want for nothing?");
        assert_eq!(
            hexadecimal(tag.as_ref()),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        );
    }

    #[test]
    fn answers_are_read_as_delivered_passing_permanent_or_unwanted() {
        // Status codes: RFC 9110 section 15, RFC 6585 (429), RFC 8470 (425). Pitfall N05.
        for (codes, expected) in [
            (&[200, 201, 202, 204, 299][..], "delivered"),
            (&[301, 302, 303, 307, 308], "passing"),
            (
                &[401, 403, 404, 408, 425, 429, 500, 502, 503, 504],
                "passing",
            ),
            (&[400, 406, 411, 413, 414, 415, 422], "permanent"),
            (&[410], "unwanted"),
        ] {
            for code in codes {
                let status = StatusCode::from_u16(*code).unwrap();
                let found = match judge(status, &HeaderMap::new()) {
                    Ok(()) => "delivered",
                    Err(DeliveryFault::Passing { .. }) => "passing",
                    Err(DeliveryFault::Permanent { .. }) => "permanent",
                    Err(DeliveryFault::Unwanted { .. }) => "unwanted",
                };
                assert_eq!(found, expected, "{code}");
            }
        }
    }

    #[test]
    fn both_forms_of_retry_after_are_read() {
        // RFC 9110, section 10.2.3: "Fri, 31 Dec 1999 23:59:59 GMT" and "120".
        let date = DateTime::from_timestamp(946_684_799, 0).unwrap();
        assert_eq!(
            read_retry_after("Fri, 31 Dec 1999 23:59:59 GMT"),
            Pause::Until(date)
        );
        assert_eq!(
            read_retry_after(" 120 "),
            Pause::For(Duration::from_secs(120))
        );
        for text in ["", "-5", "soon", "1.5", "99999999999999999999999"] {
            assert_eq!(read_retry_after(text), Pause::Unsaid, "{text}");
        }
    }

    #[tokio::test]
    async fn a_redirect_is_not_followed() {
        let receiver =
            Receiver::start(&[(302, Some(("location", "/elsewhere"))), (200, None)]).await;
        let fault = webhook(&receiver.url, "")
            .send(&bulletin())
            .await
            .unwrap_err();
        assert_eq!(receiver.stop().await.len(), 1);
        assert_eq!(
            fault.to_string(),
            "the receiver answered 302: redirects are not followed, set the address it moved to"
        );
    }

    #[tokio::test]
    async fn a_receiver_that_asks_for_time_gets_it() {
        let receiver = Receiver::start(&[(429, Some(("retry-after", "7")))]).await;
        let fault = webhook(&receiver.url, "")
            .send(&bulletin())
            .await
            .unwrap_err();
        receiver.stop().await;
        let reason = "the receiver answered 429".to_owned();
        let pause = Pause::For(Duration::from_secs(7));
        assert_eq!(fault, DeliveryFault::Passing { reason, pause });
    }

    #[tokio::test]
    async fn a_receiver_that_is_away_or_silent_is_a_passing_fault_without_the_address() {
        let silent = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let url = format!("http://{}/hook?key=hidden", silent.local_addr().unwrap());
        let channel = webhook(&url, "timeout_seconds = 1");
        let fault = channel.send(&bulletin()).await.unwrap_err();
        assert_eq!(fault.to_string(), "the receiver did not answer in time");
        drop(silent);
        let fault = channel.send(&bulletin()).await.unwrap_err();
        assert!(matches!(fault, DeliveryFault::Passing { .. }));
        let said = fault.to_string();
        assert!(
            said.starts_with("the receiver cannot be reached") && !said.contains("hidden"),
            "{said}"
        );
    }

    #[test]
    fn an_address_tells_receivers_apart_and_does_not_show_them() {
        let here = webhook("http://127.0.0.1:9/a?key=hidden", "").address();
        let there = webhook("http://127.0.0.1:9/b?key=hidden", "").address();
        assert!(here != there && here.len() == 64 && !here.contains("hidden"));
    }
}
