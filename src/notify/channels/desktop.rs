//! Bulletins as notifications on the desktop of the machine that the daemon runs on.
//!
//! They are handed to the tool of the Desktop Notifications Specification, `notify-send`, which has to be
//! installed, in the session that is to see them. No shell reads the words. Whoever shows them may
//! read marks in the body (section "Markup"), so what a bulletin says is escaped there.

use crate::catalogue::table::Table;
use crate::decide::Bulletin;
use crate::notify::body::one_line;
use crate::notify::channel::{Channel, DeliveryFault, Pause, Sending};
use crate::notify::registry::ChannelKind;
use crate::notify::secrets::Secrets;
use std::process::Stdio;
use std::sync::Arc;
use std::time::Duration;
use tokio::process::Command;

pub(in crate::notify) const KIND: ChannelKind = ChannelKind {
    name: "desktop",
    about: "Shows each bulletin on this machine's desktop by `program`, notify-send unless told.",
    read,
};

const PROGRAM: &str = "notify-send";
const TIMEOUT: Duration = Duration::from_secs(10);
/// What a notification has room for.
const LINES_MAX: usize = 4;
const BODY_MAX: usize = 240;

struct Desktop {
    program: String,
}

impl Channel for Desktop {
    fn address(&self) -> String {
        self.program.clone()
    }

    fn send<'a>(&'a self, bulletin: &'a Bulletin) -> Sending<'a> {
        Box::pin(async move {
            match tokio::time::timeout(TIMEOUT, self.notify(bulletin)).await {
                Ok(shown) => shown,
                Err(_) => Err(passing("the desktop did not answer in time".to_owned())),
            }
        })
    }

    fn preview(&self, bulletin: &Bulletin) -> String {
        format!("{}\n{}", one_line(&bulletin.subject), body(bulletin))
    }
}

impl Desktop {
    async fn notify(&self, bulletin: &Bulletin) -> Result<(), DeliveryFault> {
        let escaped = html_escape::encode_text(&body(bulletin)).into_owned();
        let ended = Command::new(&self.program)
            .args(["--app-name=rigtide", "--"])
            .arg(one_line(&bulletin.subject))
            .arg(escaped)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .kill_on_drop(true)
            .output()
            .await;
        let ended = ended.map_err(|error| {
            passing(format!(
                "\"{}\" cannot be started: {error}; install it (libnotify), or use another channel",
                self.program
            ))
        })?;
        if ended.status.success() {
            return Ok(());
        }
        let said = String::from_utf8_lossy(&ended.stderr);
        let said = one_line(said.lines().next().unwrap_or_default());
        Err(passing(format!(
            "{} ended with {}: {said}",
            self.program, ended.status
        )))
    }
}

/// The first lines of what is told.
fn body(bulletin: &Bulletin) -> String {
    let lines = bulletin.text.lines().map(one_line);
    let lines = lines.filter(|line| !line.is_empty()).take(LINES_MAX);
    let text = lines.collect::<Vec<_>>().join("\n");
    text.chars().take(BODY_MAX).collect()
}

fn passing(reason: String) -> DeliveryFault {
    let pause = Pause::Unsaid;
    DeliveryFault::Passing { reason, pause }
}

fn read(table: &mut Table<'_, '_>, _: &dyn Secrets) -> Option<Arc<dyn Channel>> {
    let program = table.text("program");
    let program = program.map_or_else(|| PROGRAM.to_owned(), |program| program.value);
    Some(Arc::new(Desktop { program }))
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use crate::notify::samples::{bulletin, channel};
    use std::os::unix::fs::PermissionsExt as _;

    #[tokio::test]
    async fn the_tool_gets_subject_and_body_as_words_of_their_own_without_marks() {
        let folder = tempfile::tempdir().unwrap();
        let (tool, seen) = (folder.path().join("tool"), folder.path().join("seen"));
        let script = format!("#!/bin/sh\nprintf '[%s]' \"$@\" > {}\n", seen.display());
        std::fs::write(&tool, script).unwrap();
        std::fs::set_permissions(&tool, std::fs::Permissions::from_mode(0o755)).unwrap();
        let channel = channel(&format!(
            "kind = \"desktop\"\nprogram = '{}'",
            tool.display()
        ));
        channel.send(&bulletin()).await.unwrap();
        // Desktop Notifications Specification 1.2: the summary is plain, the body may hold marks.
        assert_eq!(
            std::fs::read_to_string(seen).unwrap(),
            "[--app-name=rigtide][--][Gehäuse \"K9\" <neu>  X-Injected: 1]\
             [raus: K7\nrein: &lt;K9&gt; &amp; mehr]"
        );
    }

    #[tokio::test]
    async fn a_machine_without_a_desktop_says_so_and_is_tried_again() {
        let none = channel("kind = \"desktop\"\nprogram = \"/no/such/tool\"");
        let fault = none.send(&bulletin()).await.unwrap_err();
        assert!(matches!(fault, DeliveryFault::Passing { .. }), "{fault:?}");
        assert!(fault.to_string().contains("install it"), "{fault}");
        let failing = channel("kind = \"desktop\"\nprogram = \"/bin/false\"");
        let fault = failing.send(&bulletin()).await.unwrap_err().to_string();
        assert!(
            fault.starts_with("/bin/false ended with exit status: 1"),
            "{fault}"
        );
    }
}
