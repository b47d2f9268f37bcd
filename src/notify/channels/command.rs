//! Bulletins as input of a program of the author's.
//!
//! The program gets the JSON that a webhook is sent on its standard input, and the bulletin's id in
//! `RIGTIDE_BULLETIN`. It is started as it stands in the settings: no shell reads the words, and
//! nothing of the bulletin is among them. An exit code other than 0 is a failed attempt.

use crate::catalogue::table::Table;
use crate::decide::Bulletin;
use crate::notify::body::{json, one_line, text};
use crate::notify::channel::{Channel, DeliveryFault, Pause, Sending};
use crate::notify::registry::ChannelKind;
use crate::notify::secrets::Secrets;
use ring::digest::{SHA256, digest};
use std::process::Stdio;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::process::{Child, Command as Process};

pub(in crate::notify) const KIND: ChannelKind = ChannelKind {
    name: "command",
    about: "Starts the program `run` (a list: the program, then its arguments) for each bulletin, \
            with the bulletin as JSON on its standard input.",
    read,
};

const TIMEOUT_SECONDS: i64 = 30;
/// What is kept of what a failing program says.
const WORDS_BYTES: u64 = 400;

struct Command {
    words: Vec<String>,
    timeout: Duration,
}

impl Channel for Command {
    fn address(&self) -> String {
        let digest = digest(&SHA256, self.words.join("\0").as_bytes());
        let bytes = digest.as_ref().iter();
        bytes.map(|byte| format!("{byte:02x}")).collect()
    }

    fn send<'a>(&'a self, bulletin: &'a Bulletin) -> Sending<'a> {
        Box::pin(async move {
            let run = tokio::time::timeout(self.timeout, self.run(bulletin));
            match run.await {
                Ok(ended) => ended,
                // Dropping the run has ended the program.
                Err(_) => Err(passing(format!(
                    "the program was ended: it took longer than {} s",
                    self.timeout.as_secs()
                ))),
            }
        })
    }

    fn preview(&self, bulletin: &Bulletin) -> String {
        let program = self.words.join(" ");
        format!("{program}\nreads\n{:#}", json(bulletin))
    }
}

impl Command {
    async fn run(&self, bulletin: &Bulletin) -> Result<(), DeliveryFault> {
        let Some((program, arguments)) = self.words.split_first() else {
            return Err(passing("no program is named".to_owned()));
        };
        let mut child = Process::new(program)
            .args(arguments)
            .env("RIGTIDE_BULLETIN", bulletin.id.as_str())
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .kill_on_drop(true)
            .spawn()
            .map_err(|error| passing(format!("\"{program}\" cannot be started: {error}")))?;
        let words = talk(&mut child, &text(bulletin)).await;
        let ended = child.wait().await;
        let status = ended.map_err(|error| passing(format!("\"{program}\" is lost: {error}")))?;
        match (status.success(), words.lines().next()) {
            (true, _) => Ok(()),
            (false, None) => Err(passing(format!("the program ended with {status}"))),
            (false, Some(line)) => Err(passing(format!(
                "the program ended with {status}: {}",
                one_line(line)
            ))),
        }
    }
}

/// Writes the input while reading what the program complains of, so that neither waits for the
/// other. A program that does not read its input to the end is none of our faults.
async fn talk(child: &mut Child, input: &str) -> String {
    let (stdin, stderr) = (child.stdin.take(), child.stderr.take());
    let write = async move {
        if let Some(mut stdin) = stdin {
            let _ = stdin.write_all(input.as_bytes()).await;
        }
    };
    let read = async move {
        let mut kept = Vec::new();
        if let Some(mut stderr) = stderr {
            let _ = (&mut stderr).take(WORDS_BYTES).read_to_end(&mut kept).await;
            let _ = tokio::io::copy(&mut stderr, &mut tokio::io::sink()).await;
        }
        String::from_utf8_lossy(&kept).into_owned()
    };
    tokio::join!(write, read).1
}

fn passing(reason: String) -> DeliveryFault {
    let pause = Pause::Unsaid;
    DeliveryFault::Passing { reason, pause }
}

fn read(table: &mut Table<'_, '_>, _: &dyn Secrets) -> Option<Arc<dyn Channel>> {
    table.require("run")?;
    let words = table.texts("run")?;
    let timeout = match table.has("timeout_seconds") {
        true => table.integer("timeout_seconds", 1..301)?.value,
        false => TIMEOUT_SECONDS,
    };
    if words.value.first().is_none_or(|word| word.value.is_empty()) {
        let remedy = "write run = [\"/path/to/program\", \"argument\"]";
        table
            .document()
            .fault(&words.span, "no program is named", remedy);
        return None;
    }
    Some(Arc::new(Command {
        words: words.value.into_iter().map(|word| word.value).collect(),
        timeout: Duration::from_secs(timeout.unsigned_abs()),
    }))
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use crate::notify::samples::{bulletin, channel};

    fn run(script: &str, more: &str) -> Arc<dyn Channel> {
        channel(&format!(
            "kind = \"command\"\nrun = [\"/bin/sh\", \"-c\", '''{script}''']\n{more}"
        ))
    }

    #[tokio::test]
    async fn the_program_reads_the_bulletin_and_its_id() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("seen");
        let script = format!(
            "cat > {0}; echo \"$RIGTIDE_BULLETIN\" >> {0}",
            file.display()
        );
        run(&script, "").send(&bulletin()).await.unwrap();
        let seen = std::fs::read_to_string(file).unwrap();
        assert_eq!(seen, format!("{}{}\n", text(&bulletin()), bulletin().id));
    }

    #[tokio::test]
    async fn a_failing_program_is_tried_again_and_says_why() {
        let fault = run("echo no paper >&2; exit 3", "").send(&bulletin()).await;
        let expected = "the program ended with exit status: 3: no paper";
        assert_eq!(fault, Err(passing(expected.to_owned())));
        let none = channel("kind = \"command\"\nrun = [\"/no/such/program\"]");
        let fault = none.send(&bulletin()).await.unwrap_err().to_string();
        assert!(
            fault.starts_with("\"/no/such/program\" cannot be started: "),
            "{fault}"
        );
    }

    #[tokio::test]
    async fn a_program_that_hangs_or_reads_nothing_holds_nothing_up() {
        run("exit 0", "").send(&bulletin()).await.unwrap();
        let fault = run("sleep 60", "timeout_seconds = 1")
            .send(&bulletin())
            .await;
        let expected = "the program was ended: it took longer than 1 s";
        assert_eq!(fault, Err(passing(expected.to_owned())));
    }
}
