//! `rigtide open`: says where the page of the running daemon is, and opens it where there is a desktop.
//!
//! `--json` gives `{ address }`.

use crate::cli::args::OpenArguments;
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::cli::wire;
use crate::ledger::WatchLock;
use serde_json::json;
use std::io::IsTerminal as _;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::Path;
use std::process::{Command, Stdio};

pub fn run(directory: &Path, arguments: &OpenArguments, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let Some(address) = WatchLock::address(&settings.ledger) else {
        return Err(match WatchLock::holder(&settings.ledger) {
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
    let page = format!("http://{}/", reachable(address));
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

/// An address that stands for all of the machine's is asked for by loopback.
fn reachable(address: SocketAddr) -> SocketAddr {
    let ip = match address.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
        IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
        ip => ip,
    };
    SocketAddr::new(ip, address.port())
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_of_all_is_asked_for_by_loopback() {
        for (listened, expected) in [
            ("0.0.0.0:9414", "127.0.0.1:9414"),
            ("[::]:1", "[::1]:1"),
            ("192.0.2.7:80", "192.0.2.7:80"),
        ] {
            assert_eq!(reachable(listened.parse().unwrap()).to_string(), expected);
        }
    }
}
