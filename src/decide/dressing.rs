//! The texts of bulletins: subject, plain text and page, filled in from templates.

use super::bulletin::{Bulletin, BulletinId};
use super::past_price::PastPrice;
use super::record::{PickRecord, shown_instant};
use super::samples::samples;
use super::shown::{Shown, instant, short_name};
use crate::catalogue::{Fault, PartId};
use crate::template::{BuiltIn, Templates};
use chrono::{DateTime, Utc};
use serde::Deserialize as _;
use serde_json::{Value, json};
use std::collections::BTreeMap;

const SUBJECT: &str = "bulletin-subject.txt";
const TEXT: &str = "bulletin.txt";
const BODY: &str = "bulletin-body.html";
const PLAIN: &str = "bulletin-plain.html";
const PAGE: &str = "bulletin-page.html";
const DIGEST_SUBJECT: &str = "digest-subject.txt";
const DIGEST: &str = "digest.txt";

/// The texts of bulletins.
pub const TEMPLATES: &[BuiltIn] = &[
    BuiltIn {
        name: SUBJECT,
        text: include_str!("templates/bulletin-subject.txt"),
        about: "a bulletin's subject, one line",
    },
    BuiltIn {
        name: TEXT,
        text: include_str!("templates/bulletin.txt"),
        about: "a bulletin as plain text",
    },
    BuiltIn {
        name: BODY,
        text: include_str!("templates/bulletin-body.html"),
        about: "a bulletin as HTML, without the page around it",
    },
    BuiltIn {
        name: PLAIN,
        text: include_str!("templates/bulletin-plain.html"),
        about: "the same of a bulletin of which only the text is known",
    },
    BuiltIn {
        name: PAGE,
        text: include_str!("templates/bulletin-page.html"),
        about: "the HTML page around `subject` and the `bodies` of one bulletin or of a digest",
    },
    BuiltIn {
        name: DIGEST_SUBJECT,
        text: include_str!("templates/digest-subject.txt"),
        about: "the subject of a digest: `count` bulletins of `briefs`, which have `names`",
    },
    BuiltIn {
        name: DIGEST,
        text: include_str!("templates/digest.txt"),
        about: "a digest of `bulletins`, each with subject, at and text, as plain text",
    },
];

/// The offers whose past tells something of a bulletin's prices.
pub fn offers_told(bulletin: &Bulletin) -> Vec<PickRecord> {
    let data = &bulletin.data;
    // Of a build that is told whole, everything comes in.
    let is_whole = data["shown"]["picks"]
        .as_array()
        .is_some_and(|picks| !picks.is_empty());
    let whole = is_whole.then(|| &data["after"]["picks"]);
    let lists = [&data["came_in"], &data["parts"]].into_iter().chain(whole);
    let picks = lists.filter_map(Value::as_array).flatten();
    picks
        .filter_map(|one| PickRecord::deserialize(one).ok())
        .collect()
}

/// Says what the past says of the prices, and fills in subject, text and HTML. Where a text of the
/// author's fails, the program's own stands in, and the fault comes back.
pub fn dress(
    bulletin: &mut Bulletin,
    templates: &Templates,
    past: &BTreeMap<PartId, PastPrice>,
) -> Vec<Fault> {
    let Some(mut shown) = Shown::of(&bulletin.data) else {
        return Vec::new();
    };
    for pick in offers_told(bulletin) {
        let past = past.get(&pick.part);
        let fact = past.and_then(|past| past.of(&pick)?.words(bulletin.at));
        let lines = shown.comes_in.iter_mut().chain(&mut shown.parts);
        let lines = lines.chain(&mut shown.picks);
        for line in lines.filter(|line| line.part == pick.part.as_str()) {
            line.price_fact.clone_from(&fact);
        }
    }
    bulletin.data["shown"] = json!(shown);
    let mut filling = Filling {
        templates,
        faults: Vec::new(),
    };
    let variables = variables(&bulletin.data);
    let subject = filling.fill(SUBJECT, &variables);
    let subject = subject.split_whitespace().collect::<Vec<_>>().join(" ");
    if !subject.is_empty() {
        bulletin.data["subject"] = json!(subject);
        bulletin.subject = subject;
    }
    bulletin.text = filling.fill(TEXT, &variables);
    let body = filling.fill(BODY, &variables);
    let page = json!({ "subject": bulletin.subject, "bodies": [body] });
    bulletin.data["html"] = json!(filling.fill(PAGE, &page));
    filling.faults
}

/// What templates know: what is shown, and the data under `data`.
fn variables(data: &Value) -> Value {
    // Read and written again, so that one that was stored by an earlier version has every key.
    let mut variables = match Shown::of(data) {
        Some(shown) => json!(shown),
        None => data["shown"].clone(),
    };
    for key in ["kind", "brief", "name", "at"] {
        variables[key] = data[key].clone();
    }
    variables["data"] = data.clone();
    variables
}

struct Filling<'t> {
    templates: &'t Templates,
    faults: Vec<Fault>,
}

impl Filling<'_> {
    fn fill(&mut self, name: &str, variables: &Value) -> String {
        match self.templates.render(name, variables) {
            Ok(text) => text,
            Err(fault) => {
                self.faults.push(fault);
                let own = self.templates.render_built_in(name, variables);
                own.unwrap_or_default()
            }
        }
    }
}

/// The digest of several bulletins for one channel at an instant. Its id hangs on these alone, so
/// that it is the same one when a crash lets it be made twice.
pub fn digest(
    templates: &Templates,
    channel: &str,
    at: DateTime<Utc>,
    bulletins: &[Bulletin],
) -> (Bulletin, Vec<Fault>) {
    let ids: Vec<&str> = bulletins.iter().map(|one| one.id.as_str()).collect();
    let mut briefs: Vec<&str> = bulletins.iter().map(|one| one.brief.as_str()).collect();
    briefs.sort_unstable();
    briefs.dedup();
    let mut filling = Filling {
        templates,
        faults: Vec::new(),
    };
    let parts = bulletins.iter().map(|one| {
        let at = instant(&shown_instant(one.at));
        json!({ "subject": one.subject, "at": at, "text": one.text, "brief": one.brief })
    });
    let parts: Vec<Value> = parts.collect();
    let known = json!({
        "count": bulletins.len(), "briefs": briefs, "names": names(bulletins), "bulletins": parts,
    });
    let subject = filling.fill(DIGEST_SUBJECT, &known);
    let subject = subject.split_whitespace().collect::<Vec<_>>().join(" ");
    let text = filling.fill(DIGEST, &known);
    let bodies = bulletins
        .iter()
        .zip(&parts)
        .map(|(one, plain)| match Shown::of(&one.data) {
            Some(_) => filling.fill(BODY, &variables(&one.data)),
            None => filling.fill(PLAIN, plain),
        });
    let bodies: Vec<String> = bodies.collect();
    let html = filling.fill(PAGE, &json!({ "subject": subject, "bodies": bodies }));
    let data: Vec<Value> = bulletins
        .iter()
        .map(|one| without_html(&one.data))
        .collect();
    let digest = Bulletin {
        id: BulletinId::derive(&format!("digest {channel}"), &ids.join(" "), at),
        brief: briefs.join(", "),
        at,
        data: json!({
            "kind": "digest",
            "brief": briefs.join(", "),
            "at": shown_instant(at),
            "subject": subject,
            "ids": ids,
            "bulletins": data,
            "html": html,
        }),
        subject,
        text,
    };
    (digest, filling.faults)
}

/// The page of a digest holds those of its bulletins.
fn without_html(data: &Value) -> Value {
    let mut data = data.clone();
    if let Some(data) = data.as_object_mut() {
        data.remove("html");
    }
    data
}

/// What people call the briefs of these bulletins, in the order of their ids, each as it was called last.
fn names(bulletins: &[Bulletin]) -> Vec<String> {
    let named = bulletins.iter().map(|one| {
        let name = one.data["name"].as_str();
        (one.brief.as_str(), short_name(name.unwrap_or(&one.brief)))
    });
    named.collect::<BTreeMap<_, _>>().into_values().collect()
}

/// What is wrong with the author's texts, tried on a bulletin of every kind.
pub fn faults_of(templates: &Templates) -> Vec<Fault> {
    let bulletins = samples();
    let each: Vec<Value> = bulletins.iter().map(|one| variables(&one.data)).collect();
    let page = json!({ "subject": "Desk: better build", "bodies": ["<p>x</p>", "<p>y</p>"] });
    let plain = json!({
        "subject": "Desk: better build", "at": "2026-03-02 09:07 UTC", "text": "text\n", "brief": "desk",
    });
    let digest = json!({
        "count": 2, "briefs": ["desk", "den"], "names": ["Desk", "Den"], "bulletins": [plain, plain],
    });
    let tries: [(&str, &[Value]); 7] = [
        (SUBJECT, &each),
        (TEXT, &each),
        (BODY, &each),
        (PLAIN, std::slice::from_ref(&plain)),
        (PAGE, std::slice::from_ref(&page)),
        (DIGEST_SUBJECT, std::slice::from_ref(&digest)),
        (DIGEST, std::slice::from_ref(&digest)),
    ];
    let tries = tries.into_iter();
    tries
        .flat_map(|(name, samples)| templates.faults_of(name, samples))
        .collect()
}

/// A bulletin that tells nothing but that the channel works.
pub fn test_bulletin(templates: &Templates, channel: &str, at: DateTime<Utc>) -> Bulletin {
    let subject = format!("Test from rigtide for \"{channel}\"");
    let text = format!(
        "This is a test of the channel \"{channel}\", sent by hand. Nothing has changed, and there is \
         nothing to do.\n"
    );
    let known = json!({ "subject": subject, "at": shown_instant(at), "text": text, "brief": "" });
    let mut filling = Filling {
        templates,
        faults: Vec::new(),
    };
    let body = filling.fill(PLAIN, &known);
    let html = filling.fill(PAGE, &json!({ "subject": subject, "bodies": [body] }));
    Bulletin {
        id: BulletinId::derive("test", channel, at),
        brief: "test".to_owned(),
        at,
        data: json!({
            "kind": "test",
            "brief": "test",
            "at": shown_instant(at),
            "subject": subject,
            "html": html,
        }),
        subject,
        text,
    }
}

#[cfg(test)]
mod tests;
