//! What templates know of a guide, and what must hold of whatever they make of it.

use super::Form;
use crate::catalogue::Fault;
use crate::guide::view::{PickView, View};
use crate::template::{BuiltIn, FOLDER, Templates};
use serde::Serialize;
use serde_json::{Map, Value, json};

const MARKDOWN: &str = "guide.md";
const TEXT: &str = "guide.txt";
const HTML: &str = "guide.html";

/// The texts of guides.
pub const TEMPLATES: &[BuiltIn] = &[
    BuiltIn {
        name: MARKDOWN,
        text: include_str!("../templates/guide.md"),
        about: "a guide as Markdown, of `shown` (its sections) and `guide` (its JSON)",
    },
    BuiltIn {
        name: TEXT,
        text: include_str!("../templates/guide.txt"),
        about: "a guide as plain text, filled in again with fewer sections until it fits",
    },
    BuiltIn {
        name: HTML,
        text: include_str!("../templates/guide.html"),
        about: "a guide as one HTML file; what is in `shown` is HTML already (`|safe`)",
    },
];

/// A guide in one form, in pieces.
pub struct Page {
    pub title: String,
    /// What stands above the sections.
    pub summary: String,
    /// Those without a title or a body are no part of the list, and may be asked for all the same.
    pub sections: Vec<Section>,
    /// What one form has and the others have not.
    pub own: Vec<(&'static str, String)>,
}

#[derive(Serialize)]
pub struct Section {
    pub key: String,
    pub title: String,
    pub body: String,
}

impl Section {
    pub fn new(key: impl Into<String>, title: impl Into<String>, body: String) -> Section {
        Section {
            key: key.into(),
            title: title.into(),
            body,
        }
    }
}

impl Page {
    pub fn variables(&self, view: &View) -> Value {
        let bodies = self.sections.iter();
        let bodies = bodies.map(|one| (one.key.clone(), json!(one.body)));
        let whole = self.sections.iter();
        let whole = whole.filter(|one| !one.title.is_empty() && !one.body.is_empty());
        let mut shown = json!({
            "title": self.title,
            "summary": self.summary,
            "sections": whole.collect::<Vec<_>>(),
            "body": bodies.collect::<Map<String, Value>>(),
        });
        for (key, text) in &self.own {
            shown[*key] = json!(text);
        }
        json!({ "shown": shown, "guide": harmless(json!(view)) })
    }
}

/// The same without characters that act on a terminal or turn a text around.
fn harmless(value: Value) -> Value {
    match value {
        Value::String(text) => json!(super::text::plain(&text)),
        Value::Array(all) => all.into_iter().map(harmless).collect(),
        Value::Object(keys) => {
            let keys = keys.into_iter().map(|(key, one)| (key, harmless(one)));
            Value::Object(keys.collect())
        }
        other => other,
    }
}

/// The text that makes a form.
pub fn template_of(form: Form) -> Option<&'static str> {
    match form {
        Form::Markdown => Some(MARKDOWN),
        Form::Text => Some(TEXT),
        Form::Html => Some(HTML),
        Form::Csv | Form::Json => None,
    }
}

/// Tries the author's templates of guides on samples. What is wrong with one is a fault.
pub fn faults_of(templates: &Templates) -> Vec<Fault> {
    let Ok(whole) = serde_json::from_str::<View>(SAMPLE) else {
        // The tests read it.
        return Vec::new();
    };
    let samples = [bare(&whole), whole];
    let replaced = Form::ALL.into_iter().filter(|form| {
        let name = template_of(*form);
        name.is_some_and(|name| templates.is_replaced(name))
    });
    let mut faults: Vec<Fault> = replaced
        .flat_map(|form| {
            let tried = samples.iter();
            tried.flat_map(move |view| super::render(templates, view, form, None).1)
        })
        .collect();
    faults.sort();
    faults.dedup();
    faults
}

/// A guide to an invented desk, with everything that one can have.
pub(super) const SAMPLE: &str = include_str!("../templates/sample.json");

/// The same with nothing that a guide may lack.
fn bare(view: &View) -> View {
    let mut view = view.clone();
    view.edition = None;
    view.power = None;
    view.countries.clear();
    view.disclosures.clear();
    view.workloads.clear();
    view.alternatives.clear();
    for pick in &mut view.picks {
        pick.link = None;
        pick.is_paid_link = false;
        pick.price_position = None;
        pick.brand = None;
    }
    view
}

/// Whether every paid link that a text has stands with its disclosures.
pub fn undisclosed(view: &View, form: Form, text: &str) -> Option<Fault> {
    let read = read(form, text);
    let own = (&view.disclosures, &view.picks);
    let elsewhere = view.countries.iter();
    let elsewhere = elsewhere.map(|country| (&country.disclosures, &country.picks));
    let is_missing = |(disclosures, picks): (&Vec<String>, &Vec<PickView>)| {
        let mut paid = picks.iter().filter(|pick| pick.is_paid_link);
        let is_linked = paid.any(|pick| {
            let link = pick.link.as_deref();
            link.is_some_and(|link| read.contains(&spaced(&super::text::plain(link))))
        });
        let mut said = disclosures.iter();
        is_linked && !said.all(|words| read.contains(&spaced(&super::text::plain(words))))
    };
    let is_undisclosed = std::iter::once(own).chain(elsewhere).any(is_missing);
    is_undisclosed.then(|| {
        Fault::of_file(
            &format!("{FOLDER}/{}", template_of(form).unwrap_or_default()),
            "a paid link stands without its disclosure",
            "write `shown.body.picks`, or `guide.disclosures` beside the links",
        )
    })
}

/// A form's text as its reader sees it, as far as escapes go.
fn read(form: Form, text: &str) -> String {
    let text = match form {
        Form::Html => html_escape::decode_html_entities(text).into_owned(),
        Form::Markdown => {
            let text = html_escape::decode_html_entities(text);
            let mut kept = String::with_capacity(text.len());
            let mut is_escaped = false;
            for one in text.chars() {
                if one != '\\' || is_escaped {
                    kept.push(one);
                    is_escaped = false;
                } else {
                    is_escaped = true;
                }
            }
            kept
        }
        _ => text.to_owned(),
    };
    spaced(&text)
}

/// With one blank wherever there is space.
fn spaced(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
