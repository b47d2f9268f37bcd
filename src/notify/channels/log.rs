//! Bulletins as log events, and as text on the terminal.

use crate::catalogue::table::Table;
use crate::decide::Bulletin;
use crate::notify::channel::{Channel, Sending};
use crate::notify::registry::ChannelKind;
use crate::notify::secrets::Secrets;
use std::io::Write;
use std::sync::{Arc, Mutex, PoisonError};

pub(in crate::notify) const KIND: ChannelKind = ChannelKind {
    name: "log",
    about: "Writes each bulletin to the log and, with `terminal = true`, to standard output.",
    read,
};

/// Writes bulletins to the log and perhaps to a writer.
pub struct Log {
    writer: Option<Mutex<Box<dyn Write + Send>>>,
}

impl Log {
    /// The log alone.
    pub fn new() -> Log {
        Log { writer: None }
    }

    /// The log and `writer`, which gets the subject and the text of each bulletin.
    pub fn with_writer(writer: Box<dyn Write + Send>) -> Log {
        let writer = Some(Mutex::new(writer));
        Log { writer }
    }

    fn deliver(&self, bulletin: &Bulletin) {
        tracing::info!(
            bulletin.id = %bulletin.id,
            brief = %plain(&bulletin.brief).replace('\n', " "),
            "bulletin: {}",
            plain(&bulletin.subject).replace('\n', " ")
        );
        let Some(writer) = &self.writer else {
            return;
        };
        let subject = plain(&bulletin.subject).replace('\n', " ");
        let message = format!("{subject}\n\n{}\n", plain(bulletin.text.trim_end()));
        // A panic elsewhere leaves at worst half a line behind.
        let mut writer = writer.lock().unwrap_or_else(PoisonError::into_inner);
        let written = writer
            .write_all(message.as_bytes())
            .and_then(|()| writer.flush());
        if let Err(error) = written {
            // A closed terminal is no reason to repeat what the log has.
            tracing::debug!(%error, "the terminal takes no bulletin");
        }
    }
}

impl Default for Log {
    fn default() -> Log {
        Log::new()
    }
}

impl Channel for Log {
    fn address(&self) -> String {
        String::new()
    }

    fn send<'a>(&'a self, bulletin: &'a Bulletin) -> Sending<'a> {
        Box::pin(async move {
            self.deliver(bulletin);
            Ok(())
        })
    }
}

fn read(table: &mut Table<'_, '_>, _: &dyn Secrets) -> Option<Arc<dyn Channel>> {
    let terminal = table.flag("terminal").is_some_and(|flag| flag.value);
    Some(Arc::new(if terminal {
        Log::with_writer(Box::new(std::io::stdout()))
    } else {
        Log::new()
    }))
}

/// The text without what a terminal would obey: control characters except line ends, and the
/// marks that turn the direction of writing.
fn plain(text: &str) -> String {
    let obeyed = |character: char| {
        (character.is_control() && character != '\n')
            || matches!(character, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    text.chars()
        .map(|character| {
            if obeyed(character) {
                '\u{fffd}'
            } else {
                character
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decide::BulletinId;
    use chrono::DateTime;

    #[derive(Clone, Default)]
    struct Paper(Arc<Mutex<Vec<u8>>>);

    impl Write for Paper {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    struct Closed;

    impl Write for Closed {
        fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::BrokenPipe.into())
        }

        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    fn bulletin(subject: &str, text: &str) -> Bulletin {
        Bulletin {
            id: BulletinId::from_stored("5c1e"),
            brief: "media-room".to_owned(),
            at: DateTime::UNIX_EPOCH,
            subject: subject.to_owned(),
            text: text.to_owned(),
            data: serde_json::Value::Null,
        }
    }

    #[tokio::test]
    async fn the_writer_gets_subject_and_text_without_terminal_commands() {
        let paper = Paper::default();
        let log = Log::with_writer(Box::new(paper.clone()));
        let subject = "best build\r\nchanged \u{1b}[2J";
        let text = "out: K7\nin: K9 \u{9b}31m\u{202e}neerg\n\n";
        log.send(&bulletin(subject, text)).await.unwrap();
        let written = String::from_utf8(paper.0.lock().unwrap().clone()).unwrap();
        assert_eq!(
            written,
            "best build\u{fffd} changed \u{fffd}[2J\n\nout: K7\nin: K9 \u{fffd}31m\u{fffd}neerg\n"
        );
    }

    #[tokio::test]
    async fn a_closed_terminal_does_not_fail_the_delivery() {
        // Pitfall D20.
        let log = Log::with_writer(Box::new(Closed));
        assert_eq!(log.send(&bulletin("a", "b")).await, Ok(()));
    }
}
