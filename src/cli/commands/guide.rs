//! `rigtide guide`: the guide to the best build, in the form that it is published in.
//!
//! `--json` is short for `--format json`: the document that `config/guide.schema.json` describes.

use super::asking::Asked;
use crate::cli::args::{GuideArguments, GuideForm};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::guide::render::{Form, render};
use crate::guide::view::View;
use crate::watch::join::{Joined, joined};
use std::path::Path;

pub fn run(directory: &Path, arguments: &GuideArguments, screen: &Screen) -> Result<(), Failure> {
    let form = match arguments.output.json {
        true => Form::Json,
        false => form_of(arguments.format),
    };
    if arguments.max_chars.is_some() && form != Form::Text {
        let hint = "the other forms are whole or nothing; leave --max-chars away";
        return Err(Failure::usage("--max-chars is for --format text", hint));
    }
    let asked = Asked::load(directory, arguments.brief.as_deref(), &arguments.changes)?;
    let countries = match arguments.country.is_empty() {
        true => asked.countries(),
        false => arguments.country.clone(),
    };
    let reader = wire::reader(&asked.settings)?;
    let joined = joined(&asked, &reader, &countries, &|what| screen.progress(what))?;
    screen.clear_progress();
    let Some(Joined { view, .. }) = joined else {
        screen.complain("nothing fits; `rigtide best` tells why");
        return Err(Failure::NothingFits);
    };
    warn(&view, screen);
    let templates = &asked.settings.templates;
    let (text, faults) = render(templates, &view, form, arguments.max_chars);
    for fault in faults {
        let stands = "so the program's own text stands";
        screen.complain(harmless(&format!("warning: {fault}; {stands}")));
    }
    match &arguments.out {
        Some(file) => wire::write_whole(file, &text)?,
        None => show(&text, form, screen),
    }
    Ok(())
}

/// Tells the author of what was measured otherwise than expected.
pub(super) fn warn(view: &View, screen: &Screen) {
    for workload in &view.workloads {
        let Some(measured) = &workload.measured else {
            continue;
        };
        let name = harmless(&workload.name);
        if measured.is_flagged {
            screen.complain(format!(
                "warning: {name}: {:.1} {} measured, {:.1} expected ({:+.0} %)",
                measured.rate, workload.unit, workload.rate, measured.difference_percent
            ));
        }
        if let (true, Some(wall), Some(expected)) = (
            measured.is_wall_flagged,
            measured.wall_w,
            measured.wall_expected_w,
        ) {
            screen.complain(format!(
                "warning: {name}: {wall} W measured at the wall, at most {expected} W expected"
            ));
        }
    }
}

/// The form that a word of the command line means.
pub(super) fn form_of(word: GuideForm) -> Form {
    match word {
        GuideForm::Markdown => Form::Markdown,
        GuideForm::Html => Form::Html,
        GuideForm::Text => Form::Text,
        GuideForm::Csv => Form::Csv,
        GuideForm::Json => Form::Json,
    }
}

/// On the screen no text from outside acts on the terminal.
fn show(text: &str, form: Form, screen: &Screen) {
    match form {
        Form::Json => screen.line(harmless_source(text.trim_end())),
        _ => text.lines().for_each(|line| screen.line(harmless(line))),
    }
}
