//! `rigtide install-service`: a systemd unit that runs the daemon on this configuration.
//!
//! Writes one file, or prints it. Never asks for more rights and starts nothing: it says what to
//! run next.

use crate::cli::args::InstallServiceArguments;
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::cli::wire;
use anyhow::{Context as _, anyhow};
use std::fs;
use std::io::ErrorKind;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

const UNIT: &str = "rigtide.service";
/// A unit that opens with this was written by this command.
const MARK: &str = "rigtide install-service";

pub fn run(
    directory: &Path,
    arguments: &InstallServiceArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let directory = absolute(directory)?;
    let ledger = settings.ledger.parent();
    let ledger = ledger.filter(|parent| !parent.as_os_str().is_empty());
    let ledger = ledger.unwrap_or(Path::new("."));
    let place = Place {
        program: std::env::current_exe().context("cannot tell where this program is")?,
        ledger: absolute(ledger)?,
        owner: match arguments.system {
            true => Some(owner(&directory)?),
            false => None,
        },
        directory,
    };
    let unit = unit(&place)?;
    if arguments.print {
        screen.line(unit.trim_end());
        return Ok(());
    }
    let path = folder(arguments)?.join(UNIT);
    write(&path, &unit, arguments)?;
    screen.line(format!("wrote {}", path.display()));
    let manage = match arguments.system {
        true => "sudo systemctl",
        false => "systemctl --user",
    };
    screen.line(format!(
        "next: {manage} daemon-reload && {manage} enable --now {UNIT}"
    ));
    if arguments.user {
        screen.line("to have it run while you are logged out, too: loginctl enable-linger");
    }
    Ok(())
}

/// What a unit is written for.
struct Place {
    program: PathBuf,
    /// Of the configuration.
    directory: PathBuf,
    /// The folder that the ledger is in.
    ledger: PathBuf,
    /// Whom the service runs as; none for the user whose manager it is.
    owner: Option<String>,
}

fn absolute(path: &Path) -> Result<PathBuf, Failure> {
    let cannot = || format!("cannot find {}", path.display());
    Ok(path.canonicalize().with_context(cannot)?)
}

/// The name of whoever the directory belongs to; its number where it has none (passwd(5)).
fn owner(directory: &Path) -> Result<String, Failure> {
    let cannot = || format!("cannot look at {}", directory.display());
    let number = fs::metadata(directory).with_context(cannot)?.uid();
    let known = fs::read_to_string("/etc/passwd").unwrap_or_default();
    let name = known.lines().find_map(|line| {
        let mut fields = line.split(':');
        let (name, id) = (fields.next()?, fields.nth(1)?);
        (id.parse() == Ok(number)).then(|| name.to_owned())
    });
    Ok(name.unwrap_or_else(|| number.to_string()))
}

/// Where units belong (systemd.unit(5), "Unit File Load Path").
fn folder(arguments: &InstallServiceArguments) -> Result<PathBuf, Failure> {
    if arguments.system {
        return Ok(PathBuf::from("/etc/systemd/system"));
    }
    let set = |name| std::env::var_os(name).filter(|value| !value.is_empty());
    let config = set("XDG_CONFIG_HOME").map(PathBuf::from);
    let home = || set("HOME").map(|home| PathBuf::from(home).join(".config"));
    let config = config.filter(|path| path.is_absolute()).or_else(home);
    let config = config.context("neither XDG_CONFIG_HOME nor HOME says where your units are")?;
    Ok(config.join("systemd/user"))
}

fn write(path: &Path, unit: &str, arguments: &InstallServiceArguments) -> Result<(), Failure> {
    let parent = path.parent().context("a unit lies in a folder")?;
    let made = fs::create_dir_all(parent);
    let made = made.map_err(Failure::from);
    let written = made.and_then(|()| wire::write_generated(path, MARK, unit));
    written.map_err(|failure| match failure {
        Failure::Other(error) if arguments.system && is_denied(&error) => Failure::usage(
            format!("{} may not be written by you", path.display()),
            format!(
                "run: rigtide -C DIR install-service --system --print | sudo tee {}",
                path.display()
            ),
        ),
        other => other,
    })
}

fn is_denied(error: &anyhow::Error) -> bool {
    let mut causes = error
        .chain()
        .filter_map(|cause| cause.downcast_ref::<std::io::Error>());
    causes.any(|cause| {
        matches!(
            cause.kind(),
            ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem
        )
    })
}

/// The unit, with what systemd.exec(5) offers to keep a service to itself.
fn unit(place: &Place) -> Result<String, Failure> {
    let (program, directory) = (quoted(&place.program)?, quoted(&place.directory)?);
    // Where a command is written, `$` begins a variable.
    let argument = directory.replace('$', "$$");
    let writable = match place.ledger.starts_with(&place.directory) {
        true => directory.clone(),
        false => format!("{directory} {}", quoted(&place.ledger)?),
    };
    let (network, user, wanted_by) = match &place.owner {
        Some(owner) => (
            "Wants=network-online.target\nAfter=network-online.target\n",
            format!("User={owner}\n"),
            "multi-user.target",
        ),
        None => ("", String::new(), "default.target"),
    };
    let hardening = match place.owner {
        Some(_) => format!("{HARDENING}{HARDENING_OF_THE_SYSTEM}"),
        None => format!("{HARDENING_OF_A_USER}{HARDENING}"),
    };
    Ok(format!(
        "# {MARK} wrote this and will write over it; put changes into a drop-in (systemctl edit).\n\
         [Unit]\n\
         Description=Watches retailer feeds and keeps the best PC builds true\n\
         {network}\
         \n\
         [Service]\n\
         Type=notify\n\
         {user}\
         ExecStart={program} -C {argument} watch\n\
         ExecReload=/bin/kill -HUP $MAINPID\n\
         WatchdogSec=2min\n\
         Restart=on-failure\n\
         RestartSec=10\n\
         # Settings with faults and a ledger that cannot be used do not mend themselves.\n\
         RestartPreventExitStatus=2 3 6\n\
         \n\
         # What it may write. Add ReadWritePaths= for what your channels and guides write elsewhere.\n\
         ReadWritePaths={writable}\n\
         {hardening}\
         \n\
         [Install]\n\
         WantedBy={wanted_by}\n"
    ))
}

const HARDENING: &str = "\
ProtectSystem=strict
ProtectHome=read-only
PrivateTmp=yes
NoNewPrivileges=yes
# The ledger and what lies beside it are yours alone.
UMask=0077
# Web and mail servers, the system's name services, and the socket that says that it is ready.
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
MemoryDenyWriteExecute=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
";

const HARDENING_OF_THE_SYSTEM: &str = "\
CapabilityBoundingSet=
PrivateDevices=yes
ProtectClock=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
ProtectProc=invisible
";

/// Without users of its own, a user's manager may not hide the file system (systemd.exec(5)).
const HARDENING_OF_A_USER: &str = "PrivateUsers=yes\n";

/// A path as one word of a unit (systemd.service(5), "Command lines"; systemd.syntax(7),
/// "Quoting"): `%` begins a specifier, `\` and `"` act within quotes.
fn quoted(path: &Path) -> Result<String, Failure> {
    let text = path
        .to_str()
        .filter(|text| !text.chars().any(char::is_control));
    let text = text.ok_or_else(|| {
        anyhow!(
            "{} cannot be written into a unit: rename what is not text in it",
            path.display()
        )
    })?;
    let escaped = text
        .replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('%', "%%");
    Ok(format!("\"{escaped}\""))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(owner: Option<&str>) -> Place {
        Place {
            program: PathBuf::from("/opt/rigtide/bin/rigtide"),
            directory: PathBuf::from("/srv/guides 100%"),
            ledger: PathBuf::from("/var/lib/guides"),
            owner: owner.map(str::to_owned),
        }
    }

    #[test]
    fn the_unit_of_a_system() {
        insta::assert_snapshot!(unit(&place(Some("editor"))).unwrap(), @r##"
        # rigtide install-service wrote this and will write over it; put changes into a drop-in (systemctl edit).
        [Unit]
        Description=Watches retailer feeds and keeps the best PC builds true
        Wants=network-online.target
        After=network-online.target

        [Service]
        Type=notify
        User=editor
        ExecStart="/opt/rigtide/bin/rigtide" -C "/srv/guides 100%%" watch
        ExecReload=/bin/kill -HUP $MAINPID
        WatchdogSec=2min
        Restart=on-failure
        RestartSec=10
        # Settings with faults and a ledger that cannot be used do not mend themselves.
        RestartPreventExitStatus=2 3 6

        # What it may write. Add ReadWritePaths= for what your channels and guides write elsewhere.
        ReadWritePaths="/srv/guides 100%%" "/var/lib/guides"
        ProtectSystem=strict
        ProtectHome=read-only
        PrivateTmp=yes
        NoNewPrivileges=yes
        # The ledger and what lies beside it are yours alone.
        UMask=0077
        # Web and mail servers, the system's name services, and the socket that says that it is ready.
        RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
        RestrictNamespaces=yes
        RestrictRealtime=yes
        RestrictSUIDSGID=yes
        LockPersonality=yes
        MemoryDenyWriteExecute=yes
        SystemCallArchitectures=native
        SystemCallFilter=@system-service
        CapabilityBoundingSet=
        PrivateDevices=yes
        ProtectClock=yes
        ProtectControlGroups=yes
        ProtectHostname=yes
        ProtectKernelLogs=yes
        ProtectKernelModules=yes
        ProtectKernelTunables=yes
        ProtectProc=invisible

        [Install]
        WantedBy=multi-user.target
        "##);
    }

    #[test]
    fn the_unit_of_a_user() {
        insta::assert_snapshot!(unit(&place(None)).unwrap(), @r##"
        # rigtide install-service wrote this and will write over it; put changes into a drop-in (systemctl edit).
        [Unit]
        Description=Watches retailer feeds and keeps the best PC builds true

        [Service]
        Type=notify
        ExecStart="/opt/rigtide/bin/rigtide" -C "/srv/guides 100%%" watch
        ExecReload=/bin/kill -HUP $MAINPID
        WatchdogSec=2min
        Restart=on-failure
        RestartSec=10
        # Settings with faults and a ledger that cannot be used do not mend themselves.
        RestartPreventExitStatus=2 3 6

        # What it may write. Add ReadWritePaths= for what your channels and guides write elsewhere.
        ReadWritePaths="/srv/guides 100%%" "/var/lib/guides"
        PrivateUsers=yes
        ProtectSystem=strict
        ProtectHome=read-only
        PrivateTmp=yes
        NoNewPrivileges=yes
        # The ledger and what lies beside it are yours alone.
        UMask=0077
        # Web and mail servers, the system's name services, and the socket that says that it is ready.
        RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
        RestrictNamespaces=yes
        RestrictRealtime=yes
        RestrictSUIDSGID=yes
        LockPersonality=yes
        MemoryDenyWriteExecute=yes
        SystemCallArchitectures=native
        SystemCallFilter=@system-service

        [Install]
        WantedBy=default.target
        "##);
    }

    #[test]
    fn a_path_cannot_add_a_line_to_the_unit() {
        assert!(quoted(Path::new("/srv/a\nExecStartPre=/bin/false")).is_err());
        assert_eq!(
            quoted(Path::new("/a\"b\\c %h")).unwrap(),
            r#""/a\"b\\c %%h""#
        );
    }
}
