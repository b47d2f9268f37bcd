//! Request headers and authentication: read from the settings, then opened with their secrets.

use super::secret::{Keeper, Secret, SecretFault, SecretPlace};
use super::{Limits, SourceSettings};
use crate::catalogue::table::{At, Table};
use crate::feeds::address::{Origin, PrivateAddresses};
use crate::feeds::mask::Mask;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use reqwest::header::{AUTHORIZATION, HeaderMap, HeaderName, HeaderValue};
use std::path::PathBuf;
use std::time::Duration;

/// One request header that the author set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeaderSetting {
    pub name: HeaderName,
    pub value: HeaderText,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HeaderText {
    Plain(String),
    Secret(SecretPlace),
}

/// How the feed's host knows the author.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Auth {
    Basic { user: String, password: SecretPlace },
    Bearer(SecretPlace),
}

/// What a feed's requests carry and where they may go, with its secrets opened.
#[derive(Debug, Clone)]
pub struct Access {
    /// Sent to the feed's own hosts only. Secret values are marked sensitive.
    pub headers: HeaderMap,
    /// The hosts that the author configured.
    pub origins: Vec<Origin>,
    pub private_addresses: PrivateAddresses,
    pub limits: Limits,
    /// Least pause between two requests to one host.
    pub minimum_interval: Duration,
    pub mask: Mask,
}

/// Headers that the program writes itself, and where the author sets their meaning.
const RESERVED: &[(&str, &str)] = &[
    (
        "authorization",
        "use `bearer_env`, or `basic_user` with `basic_password_env`",
    ),
    ("proxy-authorization", "leave it out"),
    (
        "cookie",
        "use `headers_env`, which keeps it out of the file",
    ),
    ("user-agent", "set the program's `contact`; it names itself"),
    ("host", "write the host in the address"),
    (
        "accept-encoding",
        "leave it out; the program says what it can unpack",
    ),
    ("connection", "leave it out"),
    ("content-length", "leave it out"),
    ("transfer-encoding", "leave it out"),
    ("range", "leave it out; documents are read whole"),
    (
        "if-none-match",
        "leave it out; the program remembers what it has",
    ),
    (
        "if-modified-since",
        "leave it out; the program remembers what it has",
    ),
];

impl Access {
    /// Looks up the secrets that the settings name.
    ///
    /// # Errors
    /// A secret is missing, or cannot stand in a header.
    pub fn open(settings: &SourceSettings, keeper: &dyn Keeper) -> Result<Access, SecretFault> {
        let mut secrets = settings.location.secrets(keeper)?;
        let mut headers = HeaderMap::new();
        for setting in &settings.headers {
            let value = match &setting.value {
                // Reading the settings refused a text that no header can carry.
                HeaderText::Plain(text) => HeaderValue::from_str(text).ok(),
                HeaderText::Secret(place) => {
                    let secret = place.open(keeper)?;
                    let value = secret_value(secret.reveal(), place)?;
                    secrets.push(secret);
                    Some(value)
                }
            };
            if let Some(value) = value {
                headers.append(setting.name.clone(), value);
            }
        }
        if let Some(auth) = &settings.auth {
            let (value, secret) = auth.header(keeper)?;
            headers.insert(AUTHORIZATION, value);
            secrets.push(secret);
        }
        let origins = settings.location.origins();
        Ok(Access {
            headers,
            origins: origins.into_iter().filter_map(Origin::of).collect(),
            private_addresses: match settings.allow_private_addresses {
                true => PrivateAddresses::Allowed,
                false => PrivateAddresses::OwnHostsOnly,
            },
            limits: settings.limits,
            minimum_interval: settings.minimum_interval,
            mask: Mask::new(secrets),
        })
    }
}

impl Auth {
    fn header(&self, keeper: &dyn Keeper) -> Result<(HeaderValue, Secret), SecretFault> {
        match self {
            Auth::Bearer(place) => {
                let secret = place.open(keeper)?;
                let value = secret_value(&format!("Bearer {}", secret.reveal()), place)?;
                Ok((value, secret))
            }
            Auth::Basic { user, password } => {
                let secret = password.open(keeper)?;
                let pair = BASE64.encode(format!("{user}:{}", secret.reveal()));
                let value = secret_value(&format!("Basic {pair}"), password)?;
                Ok((value, secret))
            }
        }
    }
}

fn secret_value(text: &str, place: &SecretPlace) -> Result<HeaderValue, SecretFault> {
    let mut value = HeaderValue::from_str(text).map_err(|_| SecretFault::NotForHeaders {
        place: place.clone(),
    })?;
    value.set_sensitive(true);
    Ok(value)
}

/// Reads `headers`, `headers_env` and `headers_file`. `None` when one of them has a fault.
pub(super) fn read_headers(table: &mut Table<'_, '_>) -> Option<Vec<HeaderSetting>> {
    type Wrap = fn(String) -> HeaderText;
    let kinds: [(&'static str, Wrap); 3] = [
        ("headers", HeaderText::Plain),
        ("headers_env", |name| {
            HeaderText::Secret(SecretPlace::Environment(name))
        }),
        ("headers_file", |path| {
            HeaderText::Secret(SecretPlace::File(PathBuf::from(path)))
        }),
    ];
    let mut headers = Some(Vec::new());
    for (key, wrap) in kinds {
        let Some(entries) = table.table(key) else {
            continue;
        };
        for (name, value) in entries.named_texts() {
            let header = read_header(table, key, &name, value, wrap);
            headers = headers.zip(header).map(|(mut headers, header)| {
                headers.push(header);
                headers
            });
        }
    }
    headers
}

fn read_header(
    table: &Table<'_, '_>,
    key: &str,
    name: &At<String>,
    value: At<String>,
    wrap: fn(String) -> HeaderText,
) -> Option<HeaderSetting> {
    let document = table.document();
    let Ok(parsed) = HeaderName::from_bytes(name.value.as_bytes()) else {
        let message = format!("\"{}\" is not a header name", name.value);
        document.fault(&name.span, message, "write letters, digits and hyphens");
        return None;
    };
    let reserved = RESERVED
        .iter()
        .find(|(reserved, _)| parsed.as_str() == *reserved)
        // A cookie may be sent, but it is a secret.
        .filter(|(reserved, _)| key == "headers" || *reserved != "cookie");
    if let Some((_, remedy)) = reserved {
        let message = format!("the header {} is not set here", name.value);
        document.fault(&name.span, message, *remedy);
        return None;
    }
    let value = match wrap(value.value) {
        HeaderText::Plain(text) if HeaderValue::from_str(&text).is_err() => {
            let message = format!(
                "the value of {} has characters that no header can carry",
                name.value
            );
            document.fault(&value.span, message, "write visible ASCII characters");
            return None;
        }
        value => value,
    };
    let name = parsed;
    Some(HeaderSetting { name, value })
}

/// Reads basic or bearer authentication. The outer `None` stands for a fault.
pub(super) fn read_auth(table: &mut Table<'_, '_>) -> Option<Option<Auth>> {
    let user = table.text("basic_user");
    let password = read_place(table, "basic_password_env", "basic_password_file");
    let bearer = read_place(table, "bearer_env", "bearer_file");
    let (password, bearer) = (password?, bearer?);
    let fault = |message: &str, remedy: &str| {
        table.document().fault(&table.span(), message, remedy);
        None
    };
    match (user, password, bearer) {
        (None, None, None) => Some(None),
        (None, None, Some(token)) => Some(Some(Auth::Bearer(token))),
        (Some(user), Some(password), None) => Some(Some(Auth::Basic {
            user: user.value,
            password,
        })),
        (_, _, Some(_)) => fault(
            "both basic and bearer authentication are set",
            "keep one of them",
        ),
        (Some(_), None, None) => fault(
            "`basic_user` has no password",
            "add `basic_password_env` or `basic_password_file`",
        ),
        (None, Some(_), None) => fault(
            "a basic password is set, but `basic_user` is missing",
            "add `basic_user = ...`",
        ),
    }
}

/// A secret named by its variable or its file. The outer `None` stands for a fault.
fn read_place(
    table: &mut Table<'_, '_>,
    env: &'static str,
    file: &'static str,
) -> Option<Option<SecretPlace>> {
    match (table.text(env), table.text(file)) {
        (Some(_), Some(path)) => {
            let message = format!("both `{env}` and `{file}` are set");
            table
                .document()
                .fault(&path.span, message, "keep one of them");
            None
        }
        (Some(name), None) => Some(Some(SecretPlace::Environment(name.value))),
        (None, Some(path)) => Some(Some(SecretPlace::File(PathBuf::from(path.value)))),
        (None, None) => Some(None),
    }
}
