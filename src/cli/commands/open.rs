//! `rigtide open`: says where the page of the running daemon is, and opens it where there is a desktop.
//!
//! `--json` gives `{ address }`.

use crate::cli::args::OpenArguments;
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::cli::wire;
use crate::ledger::WatchLock;
use crate::watch::status::page_of;
use serde_json::json;
use std::io::IsTerminal as _;
use std::path::Path;
use std::process::{Command, Stdio};

pub fn run(directory: &Path, arguments: &OpenArguments, screen: &Screen) -> Result<(), Failure> {
    let place = wire::Place::of(directory)?;
    let Some(page) = page_of(&place.ledger) else {
        return Err(match WatchLock::holder(&place.ledger) {
            None => Failure::usage(
                "no daemon watches this ledger, so there is no page",
                "start one: rigtide watch",
            ),
            Some(_) => Failure::usage(
                "the daemon serves no page",
                "its log says why; see `listen` under [web] in rigtide.toml",
            ),
        });
    };
    match arguments.output.json {
        true => screen.line(json!({ "address": page }).to_string()),
        false => screen.line(&page),
    }
    let wants_window =
        !arguments.print && !arguments.output.json && std::io::stdout().is_terminal();
    if wants_window && has_desktop() {
        open(&page, screen);
    }
    Ok(())
}

fn has_desktop() -> bool {
    let is_set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    is_set("WAYLAND_DISPLAY") || is_set("DISPLAY")
}

/// xdg-open, of freedesktop.org's xdg-utils, knows the person's browser.
fn open(page: &str, screen: &Screen) {
    let mut command = Command::new("xdg-open");
    command.arg(page).stdin(Stdio::null());
    let opened = command.stdout(Stdio::null()).stderr(Stdio::null()).status();
    if !opened.is_ok_and(|status| status.success()) {
        screen.complain("  xdg-open could not open it; open it in a browser yourself");
    }
}
