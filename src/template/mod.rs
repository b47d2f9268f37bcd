//! Templates: texts with gaps that are compiled into the program, any of which a file of the author's
//! may replace.
//!
//! Texts and variables come in as values. May not do I/O or read a clock, and knows nothing of what a
//! text is for: who owns texts lists them ([`BuiltIn`]) and tries the author's on samples.
//!
//! A name tells what is escaped: what ends in `.html` or `.xml` is, all else is plain text. A variable
//! that is not there is a fault, so that a name that was misspelt does not pass for an empty one. A
//! text that takes no end is cut off, in time and in memory.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

use crate::catalogue::Fault;
use crate::catalogue::table::nearest;
use minijinja::syntax::SyntaxConfig;
use minijinja::{AutoEscape, Environment, Error, ErrorKind, UndefinedBehavior, Value};
use std::collections::{BTreeMap, BTreeSet};

/// The folder of the configuration with an author's own.
pub const FOLDER: &str = "templates";

/// What one text may cost: about so many steps, and 64 times as many bytes.
const FUEL: u64 = 1_000_000;

/// A text of the program's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BuiltIn {
    pub name: &'static str,
    pub text: &'static str,
    /// What it makes, for who wants to replace it.
    pub about: &'static str,
}

/// Every text by name: the author's where there is one.
#[derive(Debug, Clone)]
pub struct Templates {
    known: Vec<BuiltIn>,
    built_in: Environment<'static>,
    own: Environment<'static>,
    replaced: BTreeSet<String>,
}

impl Templates {
    /// The program's own texts.
    pub fn built_in(lists: &[&[BuiltIn]]) -> Templates {
        let known: Vec<BuiltIn> = lists.iter().copied().flatten().copied().collect();
        let mut built_in = environment();
        for one in &known {
            let added = built_in.add_template(one.name, one.text);
            // The tests render each of them, so that this can't be met.
            debug_assert!(added.is_ok(), "{}: {added:?}", one.name);
        }
        Templates {
            known,
            own: built_in.clone(),
            built_in,
            replaced: BTreeSet::new(),
        }
    }

    /// The same with the author's files, each as its name within the configuration and its text.
    /// What is wrong with one is a fault at its place.
    pub fn with_files(lists: &[&[BuiltIn]], files: &[(&str, &str)]) -> (Templates, Vec<Fault>) {
        let mut templates = Templates::built_in(lists);
        let mut faults = Vec::new();
        for (file, text) in files {
            let name = file.strip_prefix(FOLDER).unwrap_or(file);
            let name = name.trim_start_matches('/').to_owned();
            if !templates.known.iter().any(|one| one.name == name) {
                faults.push(templates.unknown(file, &name));
                continue;
            }
            let added = templates
                .own
                .add_template_owned(name.clone(), (*text).to_owned());
            match added {
                Ok(()) => {
                    templates.replaced.insert(name);
                }
                Err(error) => faults.push(fault_of(&error, &name)),
            }
        }
        (templates, faults)
    }

    /// Every text of the program's own.
    pub fn known(&self) -> &[BuiltIn] {
        &self.known
    }

    /// Whether the author's file stands for a text.
    pub fn is_replaced(&self, name: &str) -> bool {
        self.replaced.contains(name)
    }

    /// Fills a text in; the author's where there is one.
    ///
    /// # Errors
    /// What is wrong with the text, at its place.
    pub fn render(&self, name: &str, variables: &serde_json::Value) -> Result<String, Fault> {
        filled(&self.own, name, variables)
    }

    /// Fills in the program's own text, whatever the author's says.
    ///
    /// # Errors
    /// Where a variable is not there.
    pub fn render_built_in(
        &self,
        name: &str,
        variables: &serde_json::Value,
    ) -> Result<String, Fault> {
        filled(&self.built_in, name, variables)
    }

    /// Fills a text in with each of these samples: what is wrong with it beyond its grammar. Nothing is
    /// where the author replaced none.
    pub fn faults_of(&self, name: &str, samples: &[serde_json::Value]) -> Vec<Fault> {
        if self.replaced.is_empty() {
            return Vec::new();
        }
        let tried = samples.iter().map(|sample| self.render(name, sample));
        let found: BTreeSet<Fault> = tried.filter_map(Result::err).collect();
        found.into_iter().collect()
    }

    fn unknown(&self, file: &str, name: &str) -> Fault {
        let names = || self.known.iter().map(|one| one.name);
        let remedy = match nearest(name, names()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => "`rigtide templates` lists those that there are".to_owned(),
        };
        Fault::of_file(file, "no text of the program is called so", remedy)
    }
}

fn environment() -> Environment<'static> {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_fuel(Some(FUEL));
    // Where a fault is within its line.
    environment.set_debug(true);
    // As the library does it, but addresses keep their slashes and can be read.
    environment.set_formatter(
        |out, state, value| match (state.auto_escape(), value.as_str()) {
            (AutoEscape::Html, Some(text)) if !value.is_safe() => {
                let escaped = html_escape::encode_quoted_attribute(text);
                Ok(out.write_str(&escaped)?)
            }
            _ => minijinja::escape_formatter(out, state, value),
        },
    );
    let mut syntax = SyntaxConfig::builder();
    syntax
        .trim_blocks(true)
        .lstrip_blocks(true)
        .keep_trailing_newline(true);
    if let Ok(syntax) = syntax.build() {
        environment.set_syntax(syntax);
    }
    environment
}

fn filled(
    environment: &Environment<'_>,
    name: &str,
    variables: &serde_json::Value,
) -> Result<String, Fault> {
    let template = environment.get_template(name);
    let template = template.map_err(|error| fault_of(&error, name))?;
    let filled = template.render(value(variables));
    filled.map_err(|error| fault_of(&error, name))
}

/// A value as templates see it. Numbers are counted exactly where they are whole.
fn value(json: &serde_json::Value) -> Value {
    match json {
        serde_json::Value::Null => Value::from(()),
        serde_json::Value::Bool(flag) => Value::from(*flag),
        serde_json::Value::Number(number) => match (number.as_i64(), number.as_f64()) {
            (Some(whole), _) => Value::from(whole),
            (None, Some(float)) => Value::from(float),
            (None, None) => Value::from(number.to_string()),
        },
        serde_json::Value::String(text) => Value::from(text.as_str()),
        serde_json::Value::Array(all) => Value::from(all.iter().map(value).collect::<Vec<_>>()),
        serde_json::Value::Object(keys) => {
            let keys = keys.iter().map(|(key, one)| (key.clone(), value(one)));
            Value::from(keys.collect::<BTreeMap<String, Value>>())
        }
    }
}

/// The innermost reason with its place: a text that another takes in is named itself.
fn fault_of(error: &Error, name: &str) -> Fault {
    let mut innermost = error;
    let mut source = std::error::Error::source(error);
    while let Some(inner) = source {
        if let Some(inner) = inner
            .downcast_ref::<Error>()
            .filter(|one| one.line().is_some())
        {
            innermost = inner;
        }
        source = inner.source();
    }
    let (line, column) = match (innermost.range(), innermost.template_source()) {
        (Some(range), Some(text)) => place(text, range.start),
        _ => (innermost.line().unwrap_or(0), 1),
    };
    let message = match innermost.detail() {
        Some(detail) => format!("{}: {detail}", innermost.kind()),
        None => innermost.kind().to_string(),
    };
    let remedy = match innermost.kind() {
        ErrorKind::UndefinedError => "the JSON Schema of what it makes describes its variables",
        ErrorKind::OutOfFuel => "it takes no end: a loop or a repetition in it is too large",
        _ => "the grammar is that of Jinja templates",
    };
    Fault {
        file: format!("{FOLDER}/{}", innermost.name().unwrap_or(name)),
        line,
        column,
        message,
        remedy: remedy.to_owned(),
    }
}

/// Line and column, both from 1.
fn place(text: &str, at: usize) -> (usize, usize) {
    let before = text.get(..at).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.chars().rev().take_while(|one| *one != '\n').count() + 1;
    (line, column)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const LISTS: &[&[BuiltIn]] = &[
        &[
            BuiltIn {
                name: "greeting.txt",
                text: "Hello {{ name }}!\n",
                about: "",
            },
            BuiltIn {
                name: "greeting.html",
                text: "<p>{{ name }}</p>{% include \"foot.html\" %}",
                about: "",
            },
        ],
        &[BuiltIn {
            name: "foot.html",
            text: "<hr>",
            about: "",
        }],
    ];

    fn with(files: &[(&str, &str)]) -> (Templates, Vec<String>) {
        let (templates, faults) = Templates::with_files(LISTS, files);
        let mut said: Vec<String> = faults.iter().map(ToString::to_string).collect();
        for one in templates.known() {
            let sample = json!({ "name": "Ann", "numbers": [1, 2.5, null] });
            let more = templates.faults_of(one.name, &[sample]);
            said.extend(more.iter().map(ToString::to_string));
        }
        (templates, said)
    }

    #[test]
    fn html_is_escaped_and_plain_text_is_not() {
        let templates = Templates::built_in(LISTS);
        let variables = json!({ "name": "<A & \"B\">" });
        let text = templates.render("greeting.txt", &variables).unwrap();
        assert_eq!(text, "Hello <A & \"B\">!\n");
        let html = templates.render("greeting.html", &variables).unwrap();
        // HTML Standard, section 13.1.2.4 (quoted attributes) and 13.1.4 (character references).
        assert_eq!(html, "<p>&lt;A &amp; &quot;B&quot;&gt;</p><hr>");
    }

    #[test]
    fn a_file_replaces_the_text_of_its_name_also_where_others_take_it_in() {
        let (templates, faults) = with(&[("templates/foot.html", "<b>{{ name }}</b>")]);
        assert_eq!(faults, [""; 0]);
        let variables = json!({ "name": "Ann" });
        let html = templates.render("greeting.html", &variables).unwrap();
        assert_eq!(html, "<p>Ann</p><b>Ann</b>");
        let html = templates.render_built_in("greeting.html", &variables);
        assert_eq!(html.unwrap(), "<p>Ann</p><hr>");
        assert!(templates.is_replaced("foot.html") && !templates.is_replaced("greeting.html"));
    }

    #[test]
    fn what_is_wrong_is_named_at_its_place() {
        for (file, text, expected) in [
            (
                "templates/greeting.txt",
                "One\n  {{ nmae }}",
                "templates/greeting.txt:2:6: undefined value",
            ),
            (
                "templates/greeting.txt",
                "One\n{% if name %}\n",
                "templates/greeting.txt:2:12: syntax error",
            ),
            (
                // The text that is taken in is at fault, not the one that takes it in.
                "templates/foot.html",
                "\n\n{{ name.first.letter }}",
                "templates/foot.html:3:8: undefined value",
            ),
            (
                "templates/greting.txt",
                "x",
                "templates/greting.txt: no text of the program is called so; did you mean \
                 \"greeting.txt\"?",
            ),
            (
                "templates/greeting.txt",
                "{% for a in range(90000) %}{% for b in range(90000) %}x{% endfor %}{% endfor %}",
                "engine ran out of fuel",
            ),
            (
                "templates/greeting.txt",
                "{{ \"x\" * 999999999999 }}",
                "engine ran out of fuel",
            ),
            (
                "templates/greeting.txt",
                "{% include \"greeting.txt\" %}",
                "templates/greeting.txt:1:",
            ),
            (
                "templates/greeting.txt",
                "{% include \"../rigtide.toml\" %}",
                "template not found",
            ),
        ] {
            let (_, faults) = with(&[(file, text)]);
            assert!(
                !faults.is_empty() && faults[0].contains(expected),
                "{text}: {faults:?}"
            );
        }
    }

    #[test]
    fn numbers_lists_and_nothing_arrive_as_they_are() {
        let text = "{{ numbers[0] + 1 }} {{ numbers[1] }} {{ 'none' if numbers[2] is none }} {{ numbers|length }}";
        let (templates, faults) = with(&[("templates/greeting.txt", text)]);
        assert_eq!(faults, [""; 0]);
        // As the ledger's JSON is read, with numbers of any precision.
        let variables: serde_json::Value =
            serde_json::from_str("{\"numbers\": [9007199254740993, 0.1, null]}").unwrap();
        let filled = templates.render("greeting.txt", &variables).unwrap();
        assert_eq!(filled, "9007199254740994 0.1 none 3");
    }
}
