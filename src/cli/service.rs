//! What the daemon tells the service manager that started it, if one did.
//!
//! The protocol is that of sd_notify(3): datagrams to the socket that `NOTIFY_SOCKET` names, also
//! understood by other managers than systemd. Without the variable nothing is sent.

use crate::watch::calls::Phase;
use sd_notify::NotifyState;
use std::time::Duration;

/// Tells the service manager where the daemon is in its life.
pub fn tell(phase: Phase) {
    match phase {
        Phase::Ready => send(&[NotifyState::Ready]),
        // The time is what a manager of `Type=notify-reload` knows the answer to its signal by.
        Phase::Reloading => match NotifyState::monotonic_usec_now() {
            Ok(now) => send(&[NotifyState::Reloading, now]),
            Err(_) => send(&[NotifyState::Reloading]),
        },
        Phase::Stopping => send(&[NotifyState::Stopping]),
    }
}

/// Tells the service manager that the daemon's loop moves.
pub fn tell_alive() {
    send(&[NotifyState::Watchdog]);
}

/// Shows a line beside the service's state.
pub fn tell_status(line: &str) {
    // A line break would begin another assignment.
    let line: String = line.chars().filter(|one| !one.is_control()).collect();
    send(&[NotifyState::Status(&line)]);
}

/// How often the service manager wants a sign of life, if it does: twice within what it waits
/// (sd_watchdog_enabled(3)).
pub fn watchdog_interval() -> Option<Duration> {
    sd_notify::watchdog_enabled().map(|limit| limit / 2)
}

fn send(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::warn!(%error, "the service manager cannot be told how the daemon is");
    }
}
