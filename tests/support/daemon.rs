//! The daemon as a process of its own.

use super::guides::rigtide;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// No wait in these tests takes longer unless something is broken.
pub const DEADLINE: Duration = Duration::from_secs(20);

/// A daemon under test; killed when dropped.
pub struct Daemon {
    child: Child,
    lines: Receiver<String>,
}

impl Daemon {
    pub fn start(directory: &Path) -> Daemon {
        Daemon::start_with(directory, |_| {})
    }

    /// Starts it with its environment changed.
    pub fn start_with(directory: &Path, change: impl FnOnce(&mut Command)) -> Daemon {
        let mut command = rigtide(directory);
        change(&mut command);
        let mut child = command
            .args(["--log", "json", "watch"])
            .stderr(Stdio::piped())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let stderr = BufReader::new(child.stderr.take().unwrap());
        let (send, lines) = channel();
        std::thread::spawn(move || {
            for line in stderr.lines().map_while(Result::ok) {
                if send.send(line).is_err() {
                    return;
                }
            }
        });
        Daemon { child, lines }
    }

    /// Reads no more of the log; the pipe closes with the next line.
    pub fn close_log(&mut self) {
        self.lines = channel().1;
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Log lines of the next while.
    pub fn lines_within(&self, while_: Duration) -> Vec<String> {
        let until = Instant::now() + while_;
        let left = || until.saturating_duration_since(Instant::now());
        std::iter::from_fn(|| self.lines.recv_timeout(left()).ok()).collect()
    }

    /// Waits for a log line that contains `wanted`.
    pub fn says(&self, wanted: &str) -> String {
        let until = Instant::now() + DEADLINE;
        let mut seen = Vec::new();
        while let Ok(line) = self
            .lines
            .recv_timeout(until.saturating_duration_since(Instant::now()))
        {
            if line.contains(wanted) {
                return line;
            }
            seen.push(line);
        }
        panic!("never said {wanted}: {seen:#?}");
    }

    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill")
            .arg(name)
            .arg(self.child.id().to_string())
            .status()
            .unwrap();
        assert!(sent.success());
    }

    /// Waits for the end and returns how long it took.
    pub fn ended(&mut self) -> (Option<i32>, Duration) {
        let begun = Instant::now();
        while begun.elapsed() < DEADLINE {
            if let Some(status) = self.child.try_wait().unwrap() {
                return (status.code(), begun.elapsed());
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("the daemon did not end");
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
