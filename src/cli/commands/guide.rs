//! `rigtide guide`: the guide to the best build, in the form that it is published in.
//!
//! `--json` is short for `--format json`: the document that `config/guide.schema.json` describes.

mod join;
mod position;

use super::asking::Asked;
use crate::cli::args::{GuideArguments, GuideForm};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::guide::render::{Form, render};
use std::path::Path;

pub fn run(directory: &Path, arguments: &GuideArguments, screen: &Screen) -> Result<(), Failure> {
    let form = match (arguments.output.json, arguments.format) {
        (true, _) | (_, GuideForm::Json) => Form::Json,
        (_, GuideForm::Markdown) => Form::Markdown,
        (_, GuideForm::Html) => Form::Html,
        (_, GuideForm::Text) => Form::Text,
        (_, GuideForm::Csv) => Form::Csv,
    };
    if arguments.max_chars.is_some() && form != Form::Text {
        let hint = "the other forms are whole or nothing; leave --max-chars away";
        return Err(Failure::usage("--max-chars is for --format text", hint));
    }
    let asked = Asked::load(directory, arguments.brief.as_deref(), &arguments.changes)?;
    let view = join::view(&asked, screen)?;
    screen.clear_progress();
    let Some(view) = view else {
        screen.complain("nothing fits; `rigtide best` tells why");
        return Err(Failure::NothingFits);
    };
    let text = render(&view, form, arguments.max_chars);
    match &arguments.out {
        Some(file) => wire::write_whole(file, &text)?,
        None => show(&text, form, screen),
    }
    Ok(())
}

/// On the screen no text from outside acts on the terminal.
fn show(text: &str, form: Form, screen: &Screen) {
    match form {
        Form::Json => screen.line(harmless_source(text.trim_end())),
        _ => text.lines().for_each(|line| screen.line(harmless(line))),
    }
}
