//! `rigtide password`: makes the line for `[web]` that lets others in who know the password.
//!
//! The password is read from the terminal, twice and unseen, or from the first line of a pipe; it is
//! kept nowhere and never an argument, which other programs could see.

use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::web::{PasswordFault, PasswordHash};
use anyhow::Context as _;
use rustix::termios::{LocalModes, OptionalActions, Termios, tcgetattr, tcsetattr};
use std::io::{self, BufRead as _, IsTerminal as _, Read as _, Write as _};

/// No password is longer; a pipe that never ends is read no further.
const LONGEST_LINE: u64 = 4096;

pub fn run(screen: &Screen) -> Result<(), Failure> {
    let password = match io::stdin().is_terminal() {
        true => typed()?,
        false => line()?,
    };
    let hash = PasswordHash::of(&password).map_err(|fault| match fault {
        PasswordFault::Hash(_) => Failure::Other(fault.into()),
        _ => Failure::usage(
            fault.to_string(),
            "choose another; some words in a row are fine",
        ),
    })?;
    screen.line(format!("password_hash = \"{}\"", hash.as_str()));
    if io::stdout().is_terminal() {
        screen.complain("put this line under [web] in rigtide.toml; the daemon takes it by itself");
    }
    Ok(())
}

fn typed() -> Result<String, Failure> {
    let once = unseen("password: ")?;
    match unseen("the same again: ")? == once {
        true => Ok(once),
        false => Err(Failure::usage(
            "the two are not the same",
            "type the password again; nothing was written",
        )),
    }
}

/// A line from the terminal while it shows nothing of it.
fn unseen(ask: &str) -> Result<String, Failure> {
    let _quiet = Quiet::start().context("the terminal cannot be told to show nothing")?;
    let mut stderr = io::stderr();
    let _ = write!(stderr, "{ask}").and_then(|()| stderr.flush());
    let read = line();
    let _ = writeln!(stderr);
    read
}

fn line() -> Result<String, Failure> {
    let mut line = String::new();
    let mut limited = io::stdin().lock().take(LONGEST_LINE);
    limited
        .read_line(&mut line)
        .context("cannot read the password")?;
    let line = line.strip_suffix('\n').unwrap_or(&line);
    Ok(line.strip_suffix('\r').unwrap_or(line).to_owned())
}

/// A terminal that does not show what is typed, until this is dropped.
struct Quiet {
    before: Termios,
}

impl Quiet {
    fn start() -> rustix::io::Result<Quiet> {
        let before = tcgetattr(io::stdin())?;
        let mut quiet = before.clone();
        quiet.local_modes.remove(LocalModes::ECHO);
        tcsetattr(io::stdin(), OptionalActions::Flush, &quiet)?;
        Ok(Quiet { before })
    }
}

impl Drop for Quiet {
    fn drop(&mut self) {
        // A terminal that is gone shows nothing either.
        let _ = tcsetattr(io::stdin(), OptionalActions::Flush, &self.before);
    }
}
