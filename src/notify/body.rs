//! A bulletin as JSON: what a webhook is sent and a command reads.

use crate::decide::Bulletin;
use chrono::SecondsFormat;
use serde_json::Value;

/// What a webhook is sent: `config/bulletin.schema.json`. The same bytes each time.
pub(super) fn text(bulletin: &Bulletin) -> String {
    json(bulletin).to_string()
}

/// `{id, brief, at, subject, text, data}`.
pub fn json(bulletin: &Bulletin) -> Value {
    serde_json::json!({
        "id": bulletin.id.as_str(),
        "brief": bulletin.brief,
        "at": bulletin.at.to_rfc3339_opts(SecondsFormat::Millis, true),
        "subject": bulletin.subject,
        "text": bulletin.text,
        "data": bulletin.data,
    })
}

/// The bulletin as a page, if it was made with one.
pub(super) fn page(bulletin: &Bulletin) -> Option<&str> {
    bulletin.data.get("html")?.as_str()
}

/// What stands within the page's `main`.
pub(super) fn within_page(bulletin: &Bulletin) -> Option<&str> {
    let (_, rest) = page(bulletin)?.split_once("<main>")?;
    Some(rest.split_once("</main>")?.0.trim())
}

/// A subject as one line, without what a header or a terminal would obey.
pub(super) fn one_line(subject: &str) -> String {
    let plain = subject.chars().map(|one| match one.is_control() {
        true => ' ',
        false => one,
    });
    plain.collect::<String>().trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decide::{TEMPLATES, digest, samples, test_bulletin};
    use crate::template::Templates;
    use chrono::DateTime;

    fn schema() -> Value {
        serde_json::from_str(include_str!("../../config/bulletin.schema.json")).unwrap()
    }

    /// Keys that are sent and that the schema does not describe.
    fn undescribed(
        value: &Value,
        schema: &Value,
        whole: &Value,
        at: &str,
        found: &mut Vec<String>,
    ) {
        let schema = match schema["$ref"].as_str() {
            Some(to) => whole.pointer(to.trim_start_matches('#')).unwrap(),
            None => schema,
        };
        if let Some(either) = schema["anyOf"].as_array() {
            let described = either.iter().find(|one| one["type"] != "null").unwrap();
            return undescribed(value, described, whole, at, found);
        }
        match value {
            Value::Array(all) => {
                for one in all {
                    undescribed(one, &schema["items"], whole, &format!("{at}[]"), found);
                }
            }
            // What a fact holds is its trigger's own.
            Value::Object(keys) if !at.ends_with(".fact") => {
                for (key, one) in keys {
                    let (property, more) =
                        (&schema["properties"][key], &schema["additionalProperties"]);
                    let at = format!("{at}.{key}");
                    match (property.is_null(), more.is_null()) {
                        (false, _) => undescribed(one, property, whole, &at, found),
                        (true, false) => undescribed(one, more, whole, &at, found),
                        (true, true) => found.push(at),
                    }
                }
            }
            _ => {}
        }
    }

    #[test]
    fn what_is_sent_is_what_the_published_schema_says_and_nothing_else() {
        // JSON Schema, draft 2020-12, as the crate jsonschema reads it.
        let whole = schema();
        let validator = jsonschema::validator_for(&whole).unwrap();
        let templates = Templates::built_in(&[TEMPLATES]);
        let mut bulletins = samples();
        bulletins.push(digest(&templates, "post", DateTime::UNIX_EPOCH, &samples()).0);
        bulletins.push(test_bulletin(&templates, "post", DateTime::UNIX_EPOCH));
        for bulletin in &bulletins {
            // As a receiver reads it.
            let sent: Value = serde_json::from_str(&text(bulletin)).unwrap();
            let faults = validator.iter_errors(&sent);
            let faults: Vec<String> = faults
                .map(|one| format!("{}: {one}", one.instance_path()))
                .collect();
            assert_eq!(faults, Vec::<String>::new(), "{}", sent["data"]["kind"]);
            let mut found = Vec::new();
            undescribed(&sent, &whole, &whole, "", &mut found);
            assert_eq!(found, Vec::<String>::new());
        }
        let mut wrong = json(&bulletins[0]);
        wrong["data"]["shown"]["goes_out"] = Value::Null;
        assert!(!validator.is_valid(&wrong));
    }
}
