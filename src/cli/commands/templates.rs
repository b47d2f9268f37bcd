//! `rigtide templates`: the program's texts that a file in `templates/` may replace.
//!
//! `--json` gives a list `[{ name, about, is_replaced }]`.

use crate::catalogue::table::nearest;
use crate::cli::args::TemplatesArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, columns};
use crate::cli::wire;
use crate::template::{FOLDER, Templates};
use crate::watch::settings::TEMPLATES;
use serde_json::{Value, json};
use std::path::Path;

pub fn run(
    directory: &Path,
    arguments: &TemplatesArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    if let Some(name) = &arguments.name {
        // The program's own, which no fault of the author's files is in the way of.
        let own = Templates::built_in(TEMPLATES);
        let known = own.known();
        let found = known.iter().find(|one| one.name == name);
        let Some(found) = found else {
            let hint = match nearest(name, known.iter().map(|one| one.name)) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => "`rigtide templates` lists them".to_owned(),
            };
            return Err(Failure::usage(
                format!("no text is called \"{name}\""),
                hint,
            ));
        };
        found.text.lines().for_each(|line| screen.line(line));
        return Ok(());
    }
    let templates = wire::settings(directory)?.templates;
    let known = templates.known();
    if arguments.output.json {
        let records = known.iter().map(|one| {
            let is_replaced = templates.is_replaced(one.name);
            json!({ "name": one.name, "about": one.about, "is_replaced": is_replaced })
        });
        screen.line(Value::from(records.collect::<Vec<_>>()).to_string());
        return Ok(());
    }
    let rows = known.iter().map(|one| {
        let whose = match templates.is_replaced(one.name) {
            true => format!("{FOLDER}/{}", one.name),
            false => "the program's own".to_owned(),
        };
        vec![one.name.to_owned(), whose, one.about.to_owned()]
    });
    let rows: Vec<Vec<String>> = rows.collect();
    let lines = columns(&rows, &[Set::Left, Set::Left, Set::Left]);
    lines.iter().for_each(|line| screen.line(line));
    Ok(())
}
