//! Where commands write: results to standard output, progress to a terminal alone.

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::fmt::Write as _;
use std::io::{self, IsTerminal, Write};
use std::time::Duration;

/// Standard output and error as the person set them up.
pub struct Screen {
    colour: bool,
    shows_progress: bool,
}

/// How a text stands out. Nothing is said by colour alone.
#[derive(Debug, Clone, Copy)]
pub enum Tone {
    Plain,
    Strong,
    Quiet,
}

impl Screen {
    /// Looks at the terminal and at NO_COLOR.
    pub fn of_terminal() -> Screen {
        let no_colour = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        Screen {
            colour: io::stdout().is_terminal() && !no_colour,
            shows_progress: io::stderr().is_terminal(),
        }
    }

    /// Writes a line to standard output. A closed pipe is the reader's choice, not a failure.
    pub fn line(&self, text: impl AsRef<str>) {
        let _ = writeln!(io::stdout(), "{}", text.as_ref());
    }

    /// Writes a text as it is, byte for byte, unless a terminal would show it: there nothing in it acts.
    pub fn exact(&self, text: &str) {
        let mut stdout = io::stdout();
        if stdout.is_terminal() {
            return text.lines().for_each(|line| self.line(harmless(line)));
        }
        let _ = stdout.write_all(text.as_bytes());
        let _ = stdout.flush();
    }

    /// Waits for so long, and tells whether anybody still reads standard output: false at once when
    /// the reader of a pipe has closed it.
    pub fn is_read_for(&self, wait: Duration) -> bool {
        let stdout = io::stdout();
        // Asked for nothing, the system reports what makes writing pointless.
        let mut polled = [PollFd::new(&stdout, PollFlags::empty())];
        let wait = Timespec::try_from(wait).ok();
        match poll(&mut polled, wait.as_ref()) {
            Ok(n_told) => n_told == 0,
            // A signal that did not end the program.
            Err(error) => error == rustix::io::Errno::INTR,
        }
    }

    /// Writes a line to standard error.
    pub fn complain(&self, text: impl AsRef<str>) {
        let _ = writeln!(io::stderr(), "{}", text.as_ref());
    }

    /// Shows what is going on, on a terminal, until the next call.
    pub fn progress(&self, text: &str) {
        if self.shows_progress {
            let _ = write!(io::stderr(), "\r\x1b[2K{text}");
            let _ = io::stderr().flush();
        }
    }

    /// Takes the progress line away.
    pub fn clear_progress(&self) {
        if self.shows_progress {
            let _ = write!(io::stderr(), "\r\x1b[2K");
            let _ = io::stderr().flush();
        }
    }

    pub fn tone(&self, tone: Tone, text: &str) -> String {
        let code = match tone {
            _ if !self.colour => return text.to_owned(),
            Tone::Plain => return text.to_owned(),
            Tone::Strong => "1",
            Tone::Quiet => "2",
        };
        format!("\x1b[{code}m{text}\x1b[0m")
    }
}

/// Which way a column is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Set {
    Left,
    Right,
}

/// Lines of aligned columns, two blanks apart; the first row is the heading.
pub fn columns(rows: &[Vec<String>], set: &[Set]) -> Vec<String> {
    let width = |column: usize| {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(|cell| cell.chars().count())
            .max()
    };
    let widths: Vec<usize> = (0..set.len())
        .map(|column| width(column).unwrap_or(0))
        .collect();
    rows.iter()
        .map(|row| {
            let cells = row
                .iter()
                .zip(&widths)
                .zip(set)
                .map(|((cell, width), set)| match set {
                    Set::Left => format!("{cell:<width$}"),
                    Set::Right => format!("{cell:>width$}"),
                });
            cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
        })
        .collect()
}

/// Text from outside, made harmless for a terminal: what would act on it becomes visible.
pub fn harmless(text: &str) -> String {
    text.chars()
        .map(|character| match acts_on_terminals(character) {
            true => '\u{fffd}',
            false => character,
        })
        .collect()
}

/// The first characters of a text, with a sign where it was cut.
pub fn shortened(text: &str, characters_max: usize) -> String {
    match text.char_indices().nth(characters_max) {
        None => text.to_owned(),
        Some(_) => {
            let kept: String = text
                .chars()
                .take(characters_max.saturating_sub(1))
                .collect();
            format!("{}…", kept.trim_end())
        }
    }
}

/// JSON or TOML made harmless for a terminal, line breaks kept. The escapes stand for the same
/// characters in the strings of both.
pub fn harmless_source(text: &str) -> String {
    let mut harmless = String::with_capacity(text.len());
    for character in text.chars() {
        if character != '\n' && acts_on_terminals(character) {
            // Every such character lies in the first plane, so four digits hold it.
            let _ = write!(harmless, "\\u{:04X}", u32::from(character));
        } else {
            harmless.push(character);
        }
    }
    harmless
}

/// Control characters, line and paragraph separators, and the marks that turn the direction of
/// the text that follows (Unicode Standard Annex #9, section 2).
fn acts_on_terminals(character: char) -> bool {
    character.is_control()
        || matches!(
            character,
            '\u{61c}'
                | '\u{200e}'
                | '\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2066}'..='\u{2069}'
        )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_align_and_leave_no_blanks_at_the_end() {
        let rows = [
            vec!["role".to_owned(), "price".to_owned()],
            vec!["x".to_owned(), "9".to_owned()],
        ];
        assert_eq!(
            columns(&rows, &[Set::Left, Set::Right]),
            ["role  price", "x         9"]
        );
        assert_eq!(columns(&rows, &[Set::Left, Set::Left])[1], "x     9");
    }

    #[test]
    fn escape_sequences_from_outside_do_not_reach_the_terminal() {
        assert_eq!(harmless("a\u{1b}[31mb\n"), "a\u{fffd}[31mb\u{fffd}");
        // U+202E turns what follows, so that "gnp" would show as "png".
        assert_eq!(harmless("a\u{202e}gnp\u{9b}2J"), "a\u{fffd}gnp\u{fffd}2J");
    }

    #[test]
    fn long_texts_are_cut_and_say_so() {
        assert_eq!(shortened("äöü", 3), "äöü");
        assert_eq!(shortened("ä öü", 3), "ä…");
    }

    #[test]
    fn source_text_keeps_its_meaning() {
        let source = serde_json::to_string("a\u{9b}\u{202e}b\n\"é").unwrap();
        let harmless = harmless_source(&source);
        assert_eq!(harmless, r#""a\u009B\u202Eb\n\"é""#);
        let back: String = serde_json::from_str(&harmless).unwrap();
        assert_eq!(back, "a\u{9b}\u{202e}b\n\"é");
    }
}
