//! What the daemon tells the service manager that started it, if one did.
//!
//! The protocol is that of sd_notify(3): datagrams to the socket that `NOTIFY_SOCKET` names, also
//! understood by other managers than systemd. Without the variable nothing is sent.

use crate::watch::calls::Phase;
use sd_notify::NotifyState;
use std::ffi::OsStr;
use std::io;
use std::os::unix::ffi::OsStrExt as _;
use std::os::unix::net::{SocketAddr, UnixDatagram};
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
    let Some(socket) = std::env::var_os("NOTIFY_SOCKET") else {
        return;
    };
    let lines: Vec<String> = states.iter().map(ToString::to_string).collect();
    if let Err(error) = send_to(&socket, &lines.join("\n")) {
        tracing::warn!(%error, "the service manager cannot be told how the daemon is");
    }
}

/// Sends one datagram. The library knows no abstract addresses, which begin with `@`.
fn send_to(socket: &OsStr, datagram: &str) -> io::Result<()> {
    let address = match socket.as_bytes().strip_prefix(b"@") {
        Some(name) => abstract_address(name)?,
        None => SocketAddr::from_pathname(socket)?,
    };
    let sender = UnixDatagram::unbound()?;
    // A manager that does not read must not hold the daemon up.
    sender.set_nonblocking(true)?;
    sender.send_to_addr(datagram.as_bytes(), &address)?;
    Ok(())
}

#[cfg(target_os = "linux")]
fn abstract_address(name: &[u8]) -> io::Result<SocketAddr> {
    use std::os::linux::net::SocketAddrExt as _;
    SocketAddr::from_abstract_name(name)
}

/// Elsewhere there are none.
#[cfg(not(target_os = "linux"))]
fn abstract_address(_: &[u8]) -> io::Result<SocketAddr> {
    Err(io::ErrorKind::Unsupported.into())
}
