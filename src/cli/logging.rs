//! Log lines on standard error, and what keeps one that is said again and again from filling them.
//!
//! A warning or an error is written the first time. The same again is counted, and written with
//! its count after ten minutes, then after twice as long, up to once a day. One that was not
//! heard for a while is new again.

use super::args::{Arguments, Command, LogForm};
use std::cell::Cell;
use std::collections::BTreeMap;
use std::fmt::{Debug, Write as _};
use std::io::{self, Write};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};
use tracing::field::{Field, Visit};
use tracing::level_filters::LevelFilter;
use tracing::{Event, Level, Metadata, Subscriber};
use tracing_subscriber::EnvFilter;
use tracing_subscriber::Layer as _;
use tracing_subscriber::fmt::MakeWriter;
use tracing_subscriber::layer::{Context, Filter, SubscriberExt as _};
use tracing_subscriber::util::SubscriberInitExt as _;

/// Until the first summary; each further one takes twice as long.
const FIRST_PAUSE: Duration = Duration::from_secs(600);
const LONGEST_PAUSE: Duration = Duration::from_secs(86_400);
/// What was not heard for so long is no repeat.
const FORGOTTEN_AFTER: Duration = Duration::from_secs(3_700);
/// Warnings that are remembered; beyond that all are written.
const KNOWN_MAX: usize = 1_000;
/// A field that differs from time to time without being other news.
const VARYING: [&str; 1] = ["duration_ms"];

thread_local! {
    /// How often the line that is about to be written was left out, from the filter to the writer.
    static LEFT_OUT: Cell<u64> = const { Cell::new(0) };
}

/// Logs go to standard error. A one-off command is quiet unless something is wrong; the daemon
/// tells what it does. `RIGTIDE_LOG` overrules both.
pub fn start(arguments: &Arguments) {
    let usual = match arguments.command {
        Command::Watch => "rigtide=info,warn",
        _ => "error",
    };
    let filter = EnvFilter::try_from_env("RIGTIDE_LOG").unwrap_or_else(|_| EnvFilter::new(usual));
    let lines = tracing_subscriber::fmt::layer().with_writer(Lines {
        form: arguments.log,
    });
    let lines = match arguments.log {
        LogForm::Text => lines.with_ansi(false).with_target(false).boxed(),
        LogForm::Json => lines.json().flatten_event(true).boxed(),
    };
    let registry = tracing_subscriber::registry().with(filter);
    // A second subscriber in one process is a test's; the first one stays.
    let _ = registry
        .with(lines.with_filter(Repeats::default()))
        .try_init();
}

/// Leaves out what has just been said.
#[derive(Default)]
struct Repeats(Mutex<Known>);

impl<S: Subscriber> Filter<S> for Repeats {
    fn enabled(&self, _: &Metadata<'_>, _: &Context<'_, S>) -> bool {
        true
    }

    fn event_enabled(&self, event: &Event<'_>, _: &Context<'_, S>) -> bool {
        LEFT_OUT.set(0);
        if *event.metadata().level() > Level::WARN {
            return true;
        }
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match known.hear(news(event), Instant::now()) {
            Heard::New => true,
            Heard::Again => false,
            Heard::Often(n_left_out) => {
                LEFT_OUT.set(n_left_out);
                true
            }
        }
    }

    fn max_level_hint(&self) -> Option<LevelFilter> {
        None
    }
}

/// Whether something has been said before.
#[derive(Debug, PartialEq, Eq)]
enum Heard {
    New,
    Again,
    /// It is time to say it again; it was left out so often since.
    Often(u64),
}

#[derive(Default)]
struct Known(BTreeMap<String, Said>);

struct Said {
    written: Instant,
    heard: Instant,
    n_left_out: u64,
    pause: Duration,
}

impl Known {
    fn hear(&mut self, news: String, now: Instant) -> Heard {
        let is_old = |said: &Said| now.duration_since(said.heard) > FORGOTTEN_AFTER;
        if self.0.len() >= KNOWN_MAX {
            self.0.retain(|_, said| !is_old(said));
        }
        match self.0.get_mut(&news) {
            Some(said) if !is_old(said) => {
                said.heard = now;
                if now.duration_since(said.written) < said.pause {
                    said.n_left_out += 1;
                    return Heard::Again;
                }
                said.written = now;
                said.pause = (said.pause * 2).min(LONGEST_PAUSE);
                Heard::Often(std::mem::take(&mut said.n_left_out))
            }
            _ => {
                if self.0.len() < KNOWN_MAX {
                    let said = Said {
                        written: now,
                        heard: now,
                        n_left_out: 0,
                        pause: FIRST_PAUSE,
                    };
                    self.0.insert(news, said);
                }
                Heard::New
            }
        }
    }
}

/// What an event says, without what differs each time. Ids count as they are, for two feeds may
/// differ in a digit; in prose a number is as good as another.
fn news(event: &Event<'_>) -> String {
    struct Words(String);
    impl Visit for Words {
        fn record_debug(&mut self, field: &Field, value: &dyn Debug) {
            let name = field.name();
            if VARYING.contains(&name) {
                return;
            }
            let value = format!("{value:?}");
            let value = match name.ends_with(".id") {
                true => value,
                false => without_numbers(&value),
            };
            // Writing to a text cannot fail.
            let _ = write!(self.0, "{name}={value};");
        }
    }
    let mut words = Words(format!("{:?}", event.metadata().callsite()));
    event.record(&mut words);
    words.0
}

fn without_numbers(text: &str) -> String {
    let mut without = String::with_capacity(text.len());
    for character in text.chars() {
        match character.is_ascii_digit() {
            true if without.ends_with('#') => {}
            true => without.push('#'),
            false => without.push(character),
        }
    }
    without
}

/// Writes lines to standard error. That nobody reads them any more is no reason to end.
struct Lines {
    form: LogForm,
}

impl<'w> MakeWriter<'w> for Lines {
    type Writer = Line;

    fn make_writer(&'w self) -> Line {
        Line { form: self.form }
    }
}

struct Line {
    form: LogForm,
}

impl Write for Line {
    fn write(&mut self, line: &[u8]) -> io::Result<usize> {
        let n_left_out = LEFT_OUT.take();
        // A terminal or a pipe that was closed; the next line may fare better.
        let _ = match n_left_out {
            0 => io::stderr().write_all(line),
            _ => io::stderr().write_all(&with_count(line, self.form, n_left_out)),
        };
        Ok(line.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        let _ = io::stderr().flush();
        Ok(())
    }
}

/// A whole line with how often it was left out before.
fn with_count(line: &[u8], form: LogForm, n_left_out: u64) -> Vec<u8> {
    let (end, count) = match form {
        LogForm::Text => ("\n", format!(" left_out={n_left_out}")),
        LogForm::Json => ("}\n", format!(",\"left_out\":{n_left_out}")),
    };
    let body = line.strip_suffix(end.as_bytes()).unwrap_or(line);
    [body, count.as_bytes(), end.as_bytes()].concat()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;

    #[test]
    fn a_fault_each_minute_for_a_week_is_told_at_first_and_then_counted() {
        // Pitfall D17.
        let (mut known, begun) = (Known::default(), Instant::now());
        let mut written = Vec::new();
        let n_minutes = 7 * 24 * 60;
        for minute in 0..n_minutes {
            let now = begun + Duration::from_secs(60 * minute);
            match known.hear("shop/all: the poll failed".to_owned(), now) {
                Heard::Again => {}
                Heard::New => written.push(0),
                Heard::Often(n_left_out) => written.push(n_left_out),
            }
        }
        assert_eq!(written[..5], [0, 9, 19, 39, 79]);
        assert!(written.len() < 20, "{written:?}");
        // No summary comes later than a day after the last one.
        assert!(written.iter().all(|n_left_out| *n_left_out < 24 * 60));
        // What happens again after a good while is news.
        let later = begun + Duration::from_secs(60 * n_minutes) + 2 * FORGOTTEN_AFTER;
        let heard = known.hear("shop/all: the poll failed".to_owned(), later);
        assert_eq!(heard, Heard::New);
    }

    #[test]
    fn what_is_remembered_has_a_bound() {
        let (mut known, begun) = (Known::default(), Instant::now());
        for number in 0..2 * KNOWN_MAX {
            assert_eq!(known.hear(number.to_string(), begun), Heard::New);
        }
        assert_eq!(known.0.len(), KNOWN_MAX);
        let later = begun + 2 * FORGOTTEN_AFTER;
        assert_eq!(known.hear("x".to_owned(), later), Heard::New);
        assert_eq!(known.0.len(), 1);
    }

    #[test]
    fn a_summary_is_a_whole_line_in_either_form() {
        let text = with_count(b"WARN the poll failed\n", LogForm::Text, 9);
        assert_eq!(text, b"WARN the poll failed left_out=9\n");
        let json = with_count(b"{\"level\":\"WARN\"}\n", LogForm::Json, 9);
        assert_eq!(json, b"{\"level\":\"WARN\",\"left_out\":9}\n");
    }

    /// Keeps what each event says.
    #[derive(Clone, Default)]
    struct Keep(Arc<Mutex<Vec<String>>>);

    impl<S: Subscriber> tracing_subscriber::Layer<S> for Keep {
        fn on_event(&self, event: &Event<'_>, _: Context<'_, S>) {
            self.0.lock().unwrap().push(news(event));
        }
    }

    #[test]
    fn the_same_is_what_differs_in_numbers_and_durations_alone() {
        let kept = Keep::default();
        let lines = kept.clone().with_filter(Repeats::default());
        let subscriber = tracing_subscriber::registry().with(lines);
        tracing::subscriber::with_default(subscriber, || {
            for (feed, duration_ms, error) in [
                ("shop1/all", 1, "429, asked to wait for 7 s"),
                ("shop1/all", 2, "429, asked to wait for 31 s"),
                ("shop2/all", 2, "429, asked to wait for 31 s"),
                ("shop1/all", 3, "the name does not resolve"),
                ("shop1/all", 3, "the name does not resolve"),
            ] {
                tracing::warn!(feed.id = feed, duration_ms, error, "the poll failed");
            }
            // What is no warning is told each time.
            (0..3).for_each(|_| tracing::info!("polled"));
        });
        assert_eq!(kept.0.lock().unwrap().len(), 3 + 3);
    }
}
