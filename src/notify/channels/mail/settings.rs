//! A mail channel's settings.

use super::{Mail, Remembered};
use crate::catalogue::table::{At, Table};
use crate::notify::channel::Channel;
use crate::notify::secrets::{SecretKeys, Secrets, read_secret};
use lettre::message::Mailbox;
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, Tls, TlsParameters};
use lettre::{AsyncSmtpTransport, Tokio1Executor};
use std::sync::{Arc, Mutex};
use std::time::Duration;

const TIMEOUT_SECONDS: i64 = 30;
const PASSWORD_KEYS: SecretKeys = SecretKeys {
    env: "password_env",
    file: "password_file",
};
/// An authority beside the system's, in PEM.
const AUTHORITY_KEYS: SecretKeys = SecretKeys {
    env: "authority_env",
    file: "authority_file",
};

/// How the connection is protected, by its name in the settings, and the usual port: submission over
/// TLS (RFC 8314, section 3.3), submission (RFC 6409), and relay on one's own machine (RFC 5321).
const PROTECTIONS: [(&str, i64); 4] = [
    ("wrapped", 465),
    ("starttls", 587),
    ("opportunistic", 587),
    ("none", 25),
];

pub(super) fn read(table: &mut Table<'_, '_>, secrets: &dyn Secrets) -> Option<Arc<dyn Channel>> {
    let host = table.required_text("host");
    let from = table.required_text("from");
    let from = from.and_then(|text| mailbox(table, &text));
    table.require("to");
    let to = receivers(table);
    let protection = protection(table);
    let (_, usual_port) = protection.unwrap_or(PROTECTIONS[0]);
    let port = match table.has("port") {
        true => table.integer("port", 1..65_536)?.value,
        false => usual_port,
    };
    let seconds = match table.has("timeout_seconds") {
        true => table.integer("timeout_seconds", 1..301)?.value,
        false => TIMEOUT_SECONDS,
    };
    let credentials = credentials(table, secrets);
    let authority = read_secret(table, &AUTHORITY_KEYS, secrets);
    let (host, from, to) = (host?.value, from?, to?);
    let tls = tls(table, &host, protection?.0, authority?)?;
    let timeout = Duration::from_secs(seconds.unsigned_abs());
    let mut builder = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(&host)
        .port(u16::try_from(port).ok()?)
        .timeout(Some(timeout))
        .tls(tls);
    if let Some(credentials) = credentials? {
        builder = builder.credentials(credentials);
    }
    let receivers: Vec<String> = to.iter().map(ToString::to_string).collect();
    Some(Arc::new(Mail {
        transport: builder.build(),
        address: format!("{host}:{port} {}", receivers.join(" ")),
        // Each receiver is a conversation of its own.
        timeout: timeout * u32::try_from(1 + to.len()).unwrap_or(u32::MAX),
        from,
        to,
        settled: Mutex::new(Remembered::default()),
    }))
}

fn mailbox(table: &Table<'_, '_>, text: &At<String>) -> Option<Mailbox> {
    let read = text.value.parse();
    if read.is_err() {
        let message = format!("\"{}\" is no mail address", text.value);
        let remedy = "write it as name@host.example, or as Name <name@host.example>";
        table.document().fault(&text.span, message, remedy);
    }
    read.ok()
}

fn receivers(table: &mut Table<'_, '_>) -> Option<Vec<Mailbox>> {
    let texts = table.texts("to")?;
    if texts.value.is_empty() {
        let remedy = "name at least one address";
        table
            .document()
            .fault(&texts.span, "nobody would get the mail", remedy);
        return None;
    }
    let all = texts.value.iter().map(|text| mailbox(table, text));
    all.collect::<Vec<_>>().into_iter().collect()
}

fn protection(table: &mut Table<'_, '_>) -> Option<(&'static str, i64)> {
    if !table.has("tls") {
        return Some(PROTECTIONS[0]);
    }
    let named = table.text("tls")?;
    let known = PROTECTIONS
        .into_iter()
        .find(|(name, _)| *name == named.value);
    if known.is_none() {
        let message = format!("unknown protection \"{}\"", named.value);
        let remedy = "write wrapped, starttls, opportunistic or none";
        table.document().fault(&named.span, message, remedy);
    }
    known
}

/// The outer `None` stands for a fault, which is recorded.
fn credentials(table: &mut Table<'_, '_>, secrets: &dyn Secrets) -> Option<Option<Credentials>> {
    let user = table.text("user");
    let password = read_secret(table, &PASSWORD_KEYS, secrets)?;
    match (user, password) {
        (None, None) => Some(None),
        (Some(user), Some(password)) => Some(Some(Credentials::new(user.value, password))),
        (user, _) => {
            let remedy = "set `user`, and `password_env` or `password_file`";
            let span = user.map_or(table.span(), |user| user.span);
            let message = "a user and a password go together";
            table.document().fault(&span, message, remedy);
            None
        }
    }
}

fn tls(
    table: &Table<'_, '_>,
    host: &str,
    protection: &str,
    authority: Option<String>,
) -> Option<Tls> {
    if protection == "none" {
        return Some(Tls::None);
    }
    let mut parameters = TlsParameters::builder(host.to_owned());
    if let Some(pem) = authority {
        match Certificate::from_pem(pem.as_bytes()) {
            Ok(certificate) => parameters = parameters.add_root_certificate(certificate),
            Err(error) => {
                let message = format!("the authority's certificate cannot be read: {error}");
                let remedy = "name a file in PEM form";
                table.document().fault(&table.span(), message, remedy);
                return None;
            }
        }
    }
    match parameters.build() {
        Ok(parameters) => Some(match protection {
            "wrapped" => Tls::Wrapper(parameters),
            "starttls" => Tls::Required(parameters),
            _ => Tls::Opportunistic(parameters),
        }),
        Err(error) => {
            let message = format!("TLS cannot work on this machine: {error}");
            let remedy = "install the system's certificate authorities (ca-certificates)";
            table.document().fault(&table.span(), message, remedy);
            None
        }
    }
}
