//! The daemon as a service: what its manager hears (sd_notify(3), systemd 252), and its unit.

use crate::support::daemon::{DEADLINE, Daemon};
use crate::support::guides::{Guides, run, text};
use std::fs;
use std::os::linux::net::SocketAddrExt as _;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

/// The manager's end of the socket.
struct Manager(UnixDatagram);

impl Manager {
    fn listening(socket: UnixDatagram) -> Manager {
        socket.set_read_timeout(Some(DEADLINE)).unwrap();
        Manager(socket)
    }

    /// The assignments of the next datagram.
    fn hears(&self) -> Vec<String> {
        let mut datagram = [0; 4096];
        let length = self.0.recv(&mut datagram).expect("nothing was said");
        let said = String::from_utf8(datagram[..length].to_vec()).unwrap();
        said.lines().map(str::to_owned).collect()
    }

    /// Waits for a datagram with this assignment; those before it.
    fn waits_for(&self, wanted: &str) -> Vec<String> {
        let until = Instant::now() + DEADLINE;
        let mut before = Vec::new();
        while Instant::now() < until {
            let said = self.hears();
            if said.iter().any(|one| one == wanted) {
                return before;
            }
            before.extend(said);
        }
        panic!("never heard {wanted}: {before:?}");
    }
}

fn started(guides: &Guides, socket: &str, watchdog_usec: &str) -> Daemon {
    Daemon::start_with(&guides.directory, |command| {
        command.env("NOTIFY_SOCKET", socket);
        command.env("WATCHDOG_USEC", watchdog_usec);
        command.env_remove("WATCHDOG_PID");
    })
}

#[test]
fn the_manager_hears_of_every_phase_and_signs_of_life_twice_in_each_limit() {
    let guides = Guides::new();
    let path = guides.directory.with_file_name("notify");
    let manager = Manager::listening(UnixDatagram::bind(&path).unwrap());
    let mut daemon = started(&guides, path.to_str().unwrap(), "1000000");
    manager.waits_for("READY=1");
    manager.waits_for("STATUS=watches 1 feeds for 1 briefs");
    let begun = Instant::now();
    for _ in 0..6 {
        manager.waits_for("WATCHDOG=1");
    }
    // Six within three seconds if each comes after half a second; a busy machine may be late.
    let took = begun.elapsed();
    assert!(
        took > Duration::from_secs(2) && took < Duration::from_secs(6),
        "{took:?}"
    );

    daemon.signal("-HUP");
    let begun = Instant::now();
    loop {
        let said = manager.hears();
        if said.iter().any(|one| one == "RELOADING=1") {
            // What Type=notify-reload of systemd 253 matches the answer by.
            assert!(
                said.iter().any(|one| one.starts_with("MONOTONIC_USEC=")),
                "{said:?}"
            );
            break;
        }
        assert!(begun.elapsed() < DEADLINE);
    }
    manager.waits_for("READY=1");
    guides.edit("rigtide.toml", "ledger = ", "ledger == ");
    daemon.signal("-HUP");
    manager.waits_for("RELOADING=1");
    manager.waits_for("READY=1");
    let said = manager.hears();
    let status = said
        .iter()
        .find(|one| one.starts_with("STATUS=goes on with the old settings: "));
    assert!(
        status.is_some_and(|status| status.contains("rigtide.toml:")),
        "{said:?}"
    );

    daemon.signal("-TERM");
    manager.waits_for("STOPPING=1");
    assert_eq!(daemon.ended().0, Some(0));
}

#[test]
fn a_name_that_begins_with_an_at_sign_is_abstract_and_a_watchdog_for_another_is_not_ours() {
    let guides = Guides::new();
    let name = format!("rigtide-test-{}", std::process::id());
    let address = SocketAddr::from_abstract_name(&name).unwrap();
    let manager = Manager::listening(UnixDatagram::bind_addr(&address).unwrap());
    let daemon = Daemon::start_with(&guides.directory, |command| {
        command.env("NOTIFY_SOCKET", format!("@{name}"));
        command
            .env("WATCHDOG_USEC", "100000")
            .env("WATCHDOG_PID", "1");
    });
    manager.waits_for("READY=1");
    daemon.says("bulletin: ");
    daemon.signal("-TERM");
    // At the usual pace, which is slower than the limit that is another's.
    let between = manager.waits_for("STOPPING=1");
    let beats = between.iter().filter(|said| *said == "WATCHDOG=1").count();
    assert!(beats < 5, "{between:?}");
}

#[test]
fn without_a_manager_nothing_is_told_and_nothing_missed() {
    let guides = Guides::new();
    let mut daemon = started(&guides, "/nowhere/at/all", "1000000");
    daemon.says("the service manager cannot be told");
    daemon.says("bulletin: ");
    // It is said once, not at every sign of life.
    let lines = daemon.lines_within(Duration::from_secs(3));
    assert!(
        !lines.iter().any(|line| line.contains("service manager")),
        "{lines:#?}"
    );
    daemon.signal("-TERM");
    assert_eq!(daemon.ended().0, Some(0));
}

/// Pitfall D20.
#[test]
fn a_daemon_whose_log_nobody_reads_any_more_lives_on() {
    let guides = Guides::new();
    let path = guides.directory.with_file_name("notify");
    let manager = Manager::listening(UnixDatagram::bind(&path).unwrap());
    let mut daemon = started(&guides, path.to_str().unwrap(), "1000000");
    daemon.says("bulletin: ");
    daemon.close_log();
    // What it has to say now reaches nobody.
    guides.edit("briefs/example.toml", "budget = \"950", "budget = \"95");
    daemon.signal("-HUP");
    manager.waits_for("RELOADING=1");
    manager.waits_for("READY=1");
    manager.waits_for("WATCHDOG=1");
    daemon.signal("-TERM");
    manager.waits_for("STOPPING=1");
    assert_eq!(daemon.ended().0, Some(0));
}

fn verified(unit: &str, scope: &str) -> Option<String> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("rigtide.service");
    fs::write(&path, unit).unwrap();
    let tool = Command::new("systemd-analyze")
        .args([scope, "--man=no", "verify"])
        .arg(&path)
        .env("XDG_RUNTIME_DIR", folder.path())
        .output();
    let Ok(output) = tool else {
        let _ = std::io::Write::write_all(
            &mut std::io::stderr(),
            b"skipped: no systemd-analyze here\n",
        );
        return None;
    };
    let said = format!("{}{}", text(&output.stdout), text(&output.stderr));
    // Other units of the machine are none of ours.
    let ours: Vec<&str> = said
        .lines()
        .filter(|line| line.contains("rigtide"))
        .collect();
    Some(ours.join("\n"))
}

#[test]
fn the_units_are_what_systemd_takes() {
    let guides = Guides::new();
    for (flag, scope) in [("--system", "--system"), ("--user", "--user")] {
        let printed = run(&guides.directory, &["install-service", flag, "--print"]);
        assert!(printed.status.success(), "{}", text(&printed.stderr));
        let unit = text(&printed.stdout);
        let Some(said) = verified(&unit, scope) else {
            return;
        };
        assert_eq!(said, "", "{flag}");
        // The check would have said something of a unit that is wrong.
        let wrong = unit.replace("Type=notify", "Type=notifies");
        let said = verified(&wrong, scope).unwrap();
        assert!(said.contains("notifies"), "{said}");
    }
}

#[test]
fn a_unit_is_installed_where_it_belongs_and_never_over_another_s() {
    let guides = Guides::new();
    let home = tempfile::tempdir().unwrap();
    let install = |home: &Path| {
        let mut command = crate::support::guides::rigtide(&guides.directory);
        command.args(["install-service", "--user"]);
        command.env("HOME", home).env_remove("XDG_CONFIG_HOME");
        command.output().unwrap()
    };
    let first = install(home.path());
    assert!(first.status.success(), "{}", text(&first.stderr));
    let path = home.path().join(".config/systemd/user/rigtide.service");
    let unit = fs::read_to_string(&path).unwrap();
    assert!(text(&first.stdout).contains("systemctl --user daemon-reload"));
    assert!(unit.contains(guides.directory.canonicalize().unwrap().to_str().unwrap()));
    assert!(
        install(home.path()).status.success(),
        "its own may be written again"
    );
    fs::write(&path, "[Service]\nExecStart=/bin/true\n").unwrap();
    let refused = install(home.path());
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("was not written by this command"));

    // Which manager is a choice that nobody makes for you.
    let unsaid = run(&guides.directory, &["install-service"]);
    assert_eq!(unsaid.status.code(), Some(2));
}
