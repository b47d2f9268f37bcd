//! `rigtide schema`: what a catalogue file may hold, for editors and for people.

use crate::catalogue::schema::catalogue_schema;
use crate::cli::screen::Screen;
use crate::fit::render_reference;

pub fn run(reference: bool, screen: &Screen) {
    match reference {
        true => screen.line(render_reference().trim_end()),
        false => screen.line(format!("{:#}", catalogue_schema())),
    }
}
