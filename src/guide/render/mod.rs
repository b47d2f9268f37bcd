//! The forms of a guide, one a file.

mod chart;
mod filling;
mod html;
mod linked_data;
mod markdown;
mod table;
mod text;

pub use filling::{TEMPLATES, faults_of};

use super::view::View;
use crate::catalogue::Fault;
use crate::template::Templates;
use serde_json::Value;

/// A form in which a guide is published.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    Markdown,
    Html,
    Text,
    Csv,
    Json,
}

impl Form {
    pub const ALL: [Form; 5] = [
        Form::Markdown,
        Form::Html,
        Form::Text,
        Form::Csv,
        Form::Json,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Form::Markdown => "markdown",
            Form::Html => "html",
            Form::Text => "text",
            Form::Csv => "csv",
            Form::Json => "json",
        }
    }

    /// How a file of this form ends.
    pub fn ending(self) -> &'static str {
        match self {
            Form::Markdown => "md",
            Form::Html => "html",
            Form::Text => "txt",
            Form::Csv => "csv",
            Form::Json => "json",
        }
    }
}

/// Puts a guide into a form, by the author's templates where there are any. A limit on its characters
/// holds for text alone. Where one of the author's fails, or shows paid links without saying so, the
/// program's own stands in, and the fault comes back.
pub fn render(
    templates: &Templates,
    view: &View,
    form: Form,
    most_characters: Option<usize>,
) -> (String, Vec<Fault>) {
    let Some(name) = filling::template_of(form) else {
        return (data(view, form), Vec::new());
    };
    let made = |fill: &dyn Fn(&Value) -> Result<String, Fault>| match form {
        Form::Text => text::render(view, most_characters, fill),
        Form::Html => fill(&html::page(view).variables(view)),
        _ => fill(&markdown::page(view).variables(view)),
    };
    let own = made(&|variables| templates.render(name, variables));
    let own = own.and_then(|text| match templates.is_replaced(name) {
        true => filling::undisclosed(view, form, &text).map_or(Ok(text), Err),
        false => Ok(text),
    });
    match own {
        Ok(text) => (text, Vec::new()),
        Err(fault) => {
            let built_in = made(&|variables| templates.render_built_in(name, variables));
            // The program's own are rendered by the tests, so that none is missing.
            (built_in.unwrap_or_default(), vec![fault])
        }
    }
}

/// The forms that programs read, which no template makes.
fn data(view: &View, form: Form) -> String {
    match form {
        Form::Csv => table::render(view),
        _ => {
            // Serialising plain data with text keys cannot fail.
            let json = serde_json::to_string_pretty(view).unwrap_or_default();
            json + "\n"
        }
    }
}

#[cfg(test)]
mod tests;
