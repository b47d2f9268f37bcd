//! What a program asks: the pairs of a query, and words as JSON. What is not understood is refused, so
//! that a slip of the pen is not answered as another question.

use super::Refused;
use crate::web::form::whole;
use crate::web::refusing::Turned;
use crate::web::shown::Shown;
use crate::web::view::{HeldWord, MatchWord, OutboxWord, WhatIf};
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{StatusCode, header};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use utoipa::{IntoParams, ToSchema};

/// The decoded pairs of a query.
pub struct Pairs(Vec<(String, String)>);

/// The keys of a [`WhatIf`].
const WHAT_IF: [&str; 6] = ["budget", "pin", "own", "ban", "price", "most_retailers"];

impl FromRequestParts<Shown> for Pairs {
    type Rejection = Refused;

    async fn from_request_parts(parts: &mut Parts, _: &Shown) -> Result<Pairs, Refused> {
        let query = parts.uri.query().unwrap_or("");
        let pairs = url::form_urlencoded::parse(query.as_bytes());
        Ok(Pairs(pairs.into_owned().collect()))
    }
}

impl Pairs {
    /// Refuses keys that nobody looks at.
    fn only(&self, known: &[&str]) -> Result<(), Refused> {
        let unknown = self
            .0
            .iter()
            .find(|(key, _)| !known.contains(&key.as_str()));
        match unknown {
            None => Ok(()),
            Some((key, _)) => Err(invalid(
                format!("the query's \"{key}\" means nothing here"),
                match known {
                    [] => "leave it out; nothing is asked here by a query".to_owned(),
                    known => format!("use {}", known.join(", ")),
                },
            )),
        }
    }

    /// The last value of that key, if it is not empty.
    fn text(&self, key: &str) -> Option<String> {
        let mut pairs = self.0.iter().rev();
        let (_, value) = pairs.find(|(its_key, value)| its_key == key && !value.is_empty())?;
        Some(value.clone())
    }

    fn texts(&self, key: &str) -> Vec<String> {
        let pairs = self
            .0
            .iter()
            .filter(|(its_key, value)| its_key == key && !value.is_empty());
        pairs.map(|(_, value)| value.clone()).collect()
    }

    fn number<T: std::str::FromStr>(&self, key: &str) -> Result<Option<T>, Refused> {
        let Some(text) = self.text(key) else {
            return Ok(None);
        };
        match text.parse() {
            Ok(number) => Ok(Some(number)),
            Err(_) => Err(invalid(
                format!("the query's \"{key}\" is no number that can be meant: \"{text}\""),
                "write a whole number in digits",
            )),
        }
    }

    fn what_if(&self) -> Result<WhatIf, Refused> {
        let pairs = self.0.iter();
        let pairs = pairs.map(|(key, value)| (key.as_str(), value.as_str()));
        WhatIf::of_pairs(pairs).map_err(|fault| {
            invalid(
                format!("the query's \"{}\" is not understood", fault.key),
                format!("write {}", fault.wanted),
            )
        })
    }
}

/// The names in an address.
pub struct At<T>(pub T);

impl<T: DeserializeOwned + Send> FromRequestParts<Shown> for At<T> {
    type Rejection = Refused;

    async fn from_request_parts(parts: &mut Parts, shown: &Shown) -> Result<At<T>, Refused> {
        let read = axum::extract::Path::from_request_parts(parts, shown).await;
        read.map(|axum::extract::Path(names)| At(names))
            .map_err(|rejection| {
                let message = format!("the address is not understood: {rejection}");
                invalid(message, "write it as /api/v1/openapi.json says")
            })
    }
}

fn invalid(message: impl Into<String>, remedy: impl Into<String>) -> Refused {
    Refused(Turned::new(StatusCode::BAD_REQUEST, message, remedy))
}

/// What a query can ask; read whole, with nothing left over.
pub trait Asked: Sized {
    fn read(pairs: &Pairs) -> Result<Self, Refused>;
}

/// A query that was understood.
pub struct Query<A>(pub A);

impl<A: Asked> FromRequestParts<Shown> for Query<A> {
    type Rejection = Refused;

    async fn from_request_parts(parts: &mut Parts, shown: &Shown) -> Result<Query<A>, Refused> {
        let pairs = Pairs::from_request_parts(parts, shown).await?;
        A::read(&pairs).map(Query)
    }
}

/// Nothing.
pub struct Nothing;

impl Asked for Nothing {
    fn read(pairs: &Pairs) -> Result<Nothing, Refused> {
        pairs.only(&[]).map(|()| Nothing)
    }
}

/// A brief as it would be.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
#[expect(
    dead_code,
    reason = "says how a what-if is written; it is read as a whole"
)]
pub struct WhatIfQuery {
    /// So much to spend, in the brief's currency: digits with a point.
    #[param(example = "1200.00")]
    budget: Option<String>,
    /// `ROLE:PART`: only this part may fill the role.
    #[param(style = Form, explode)]
    pin: Option<Vec<String>>,
    /// `ROLE:PART`: the reader has this part already.
    #[param(style = Form, explode)]
    own: Option<Vec<String>>,
    /// Without this part, brand or retailer.
    #[param(style = Form, explode)]
    ban: Option<Vec<String>>,
    /// `PART:AMOUNT`: as if every offer of the part had this price.
    #[param(style = Form, explode)]
    price: Option<Vec<String>>,
    #[param(minimum = 1, maximum = 100)]
    most_retailers: Option<u32>,
}

impl Asked for WhatIf {
    fn read(pairs: &Pairs) -> Result<WhatIf, Refused> {
        pairs.only(&WHAT_IF)?;
        pairs.what_if()
    }
}

/// A role, of a brief as it would be.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct RoleQuery {
    /// All, if none is named.
    pub role: Option<String>,
    #[param(ignore)]
    pub what_if: WhatIf,
}

impl Asked for RoleQuery {
    fn read(pairs: &Pairs) -> Result<RoleQuery, Refused> {
        pairs.only(&[&["role"], &WHAT_IF[..]].concat())?;
        Ok(RoleQuery {
            role: pairs.text("role"),
            what_if: pairs.what_if()?,
        })
    }
}

/// A form of the guide, of a brief as it would be.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct FormQuery {
    /// `markdown` if none is named.
    #[param(value_type = Option<crate::web::view::GuideForm>)]
    pub form: Option<String>,
    #[param(ignore)]
    pub what_if: WhatIf,
}

impl Asked for FormQuery {
    fn read(pairs: &Pairs) -> Result<FormQuery, Refused> {
        pairs.only(&[&["form"], &WHAT_IF[..]].concat())?;
        Ok(FormQuery {
            form: pairs.text("form"),
            what_if: pairs.what_if()?,
        })
    }
}

/// What a mapping is tried on.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct TrialQuery {
    /// `last` if none is named.
    #[param(value_type = Option<crate::web::view::TriedOn>)]
    pub from: Option<String>,
}

impl Asked for TrialQuery {
    fn read(pairs: &Pairs) -> Result<TrialQuery, Refused> {
        pairs.only(&["from"])?;
        Ok(TrialQuery {
            from: pairs.text("from"),
        })
    }
}

#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct PartsQuery {
    pub kind: Option<String>,
    /// Words that the part's name, brand or numbers have.
    pub q: Option<String>,
    /// From 1.
    #[param(minimum = 1)]
    pub page: Option<u32>,
}

impl Asked for PartsQuery {
    fn read(pairs: &Pairs) -> Result<PartsQuery, Refused> {
        pairs.only(&["kind", "q", "page"])?;
        Ok(PartsQuery {
            kind: pairs.text("kind"),
            q: pairs.text("q"),
            page: pairs.number("page")?,
        })
    }
}

#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct PastQuery {
    /// A day, such as `2026-03-31`.
    #[param(value_type = Option<String>, format = Date)]
    pub since: Option<String>,
    /// All, if none is named.
    #[param(style = Form, explode)]
    pub retailer: Vec<String>,
    /// A price that is waited for, such as `219.00`; the highest entry price, if none is named.
    pub target: Option<String>,
}

impl Asked for PastQuery {
    fn read(pairs: &Pairs) -> Result<PastQuery, Refused> {
        pairs.only(&["since", "retailer", "target"])?;
        Ok(PastQuery {
            since: pairs.text("since"),
            retailer: pairs.texts("retailer"),
            target: pairs.text("target"),
        })
    }
}

#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct JournalQuery {
    pub brief: Option<String>,
    pub feed: Option<String>,
    pub kind: Option<String>,
    /// Without entries of this kind.
    pub without: Option<String>,
    /// RFC 3339, or a day.
    pub since: Option<String>,
    /// Entries older than the one of this number.
    pub before: Option<i64>,
    /// At most so many.
    #[param(minimum = 1, maximum = 1000)]
    pub limit: Option<u32>,
}

impl Asked for JournalQuery {
    fn read(pairs: &Pairs) -> Result<JournalQuery, Refused> {
        pairs.only(&[
            "brief", "feed", "kind", "without", "since", "before", "limit",
        ])?;
        Ok(JournalQuery {
            brief: pairs.text("brief"),
            feed: pairs.text("feed"),
            kind: pairs.text("kind"),
            without: pairs.text("without"),
            since: pairs.text("since"),
            before: pairs.number("before")?,
            limit: pairs.number("limit")?,
        })
    }
}

#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct OutboxQuery {
    /// `waiting`, `sent`, `dead`, `dropped` or `all`; waiting and dead ones, if none is named.
    pub state: Option<String>,
    #[param(minimum = 1, maximum = 1000)]
    pub limit: Option<u32>,
}

impl Asked for OutboxQuery {
    fn read(pairs: &Pairs) -> Result<OutboxQuery, Refused> {
        pairs.only(&["state", "limit"])?;
        Ok(OutboxQuery {
            state: pairs.text("state"),
            limit: pairs.number("limit")?,
        })
    }
}

/// A body of JSON. A form cannot be one, so that no page of somebody else sends it unasked.
pub struct Sent<T>(pub T);

impl<T: DeserializeOwned> FromRequest<Shown> for Sent<T> {
    type Rejection = Refused;

    async fn from_request(request: Request, _: &Shown) -> Result<Sent<T>, Refused> {
        let media_type = request.headers().get(header::CONTENT_TYPE);
        let media_type = media_type
            .and_then(|value| value.to_str().ok())
            .unwrap_or("");
        let essence = media_type.split(';').next().unwrap_or("").trim();
        if !essence.eq_ignore_ascii_case("application/json") {
            return Err(Refused(Turned::new(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "what was sent is not called JSON",
                "send JSON with the header Content-Type: application/json",
            )));
        }
        let bytes = whole(request).await.map_err(Refused)?;
        serde_json::from_slice(&bytes).map(Sent).map_err(|error| {
            let message = format!("what was sent is not understood: {error}");
            invalid(message, "send what /api/v1/openapi.json says")
        })
    }
}

/// Nothing more to say: `{}`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct JustDo {}

/// A word on a held price.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HeldSaid {
    pub word: HeldSaidWord,
}

#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum HeldSaidWord {
    Confirm,
    Drop,
}

impl From<HeldSaidWord> for HeldWord {
    fn from(word: HeldSaidWord) -> HeldWord {
        match word {
            HeldSaidWord::Confirm => HeldWord::Confirm,
            HeldSaidWord::Drop => HeldWord::Drop,
        }
    }
}

/// A word on a bulletin on its way.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OutboxSaid {
    pub word: OutboxSaidWord,
}

#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OutboxSaidWord {
    Retry,
    Drop,
}

impl From<OutboxSaidWord> for OutboxWord {
    fn from(word: OutboxSaidWord) -> OutboxWord {
        match word {
            OutboxSaidWord::Retry => OutboxWord::Retry,
            OutboxSaidWord::Drop => OutboxWord::Drop,
        }
    }
}

/// The author's word on an offer.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MatchSaid {
    pub retailer: String,
    pub sku: String,
    pub word: MatchSaidWord,
    /// The part that is accepted, and must be named then, or refused: all that are proposed, if none is.
    pub part: Option<String>,
}

#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MatchSaidWord {
    /// It is this part.
    Accept,
    /// It is not this part.
    Refuse,
    /// It is a part that the catalogue lacks.
    New,
    /// What was decided is taken back.
    Forget,
}

impl MatchSaid {
    /// # Errors
    /// The word and the part do not go together.
    pub fn word(&self) -> Result<MatchWord, Refused> {
        match (self.word, self.part.clone()) {
            (MatchSaidWord::Accept, Some(part)) => Ok(MatchWord::Accept(part)),
            (MatchSaidWord::Accept, None) => Err(invalid(
                "no part is named to accept",
                "name the part in `part`",
            )),
            (MatchSaidWord::Refuse, part) => Ok(MatchWord::Refuse(part)),
            (MatchSaidWord::New, None) => Ok(MatchWord::New),
            (MatchSaidWord::Forget, None) => Ok(MatchWord::Forget),
            (MatchSaidWord::New | MatchSaidWord::Forget, Some(_)) => {
                Err(invalid("this word goes without a part", "leave `part` out"))
            }
        }
    }
}

/// What was looked at before it is saved.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SaveSaid {
    /// Of the proposal.
    pub digest: String,
}
