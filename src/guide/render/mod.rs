//! The forms of a guide, one a file.

mod chart;
mod html;
mod linked_data;
mod markdown;
mod table;
mod text;

use super::view::View;

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

/// Puts a guide into a form. A limit on its characters holds for text alone.
pub fn render(view: &View, form: Form, most_characters: Option<usize>) -> String {
    match form {
        Form::Markdown => markdown::render(view),
        Form::Html => html::render(view),
        Form::Text => text::render(view, most_characters),
        Form::Csv => table::render(view),
        Form::Json => {
            // Serialising plain data with text keys cannot fail.
            let json = serde_json::to_string_pretty(view).unwrap_or_default();
            json + "\n"
        }
    }
}

#[cfg(test)]
mod tests;
