//! The table `[web]`: where the page is served, and who may come in.
//!
//! Without it the page is on loopback at [`USUAL`]. An address or a name that others reach needs a
//! password.

use super::password::PasswordHash;
use crate::catalogue::table::{At, Table};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// Where the page is unless the settings say something else.
pub const USUAL: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 9414);

const ADDRESS: &str = "write an address and a port, such as \"127.0.0.1:9414\", or \"off\"";
const PASSWORD: &str = "put the line that `rigtide password` prints under [web], or listen at a \
                        loopback address alone, such as \"127.0.0.1:9414\"";

/// What `[web]` says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WebSettings {
    pub listen: Listen,
    pub access: Access,
}

/// Where answers are given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Listen {
    Off,
    /// At [`USUAL`], if it can be had.
    #[default]
    Usual,
    At(SocketAddr),
}

/// Who is answered.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Access {
    /// Asked for from everybody, wherever they are.
    pub password: Option<PasswordHash>,
    /// Names besides those of this machine that requests may be for, in small letters.
    pub names: Vec<String>,
}

impl WebSettings {
    /// Reads `[web]`; everything wrong is a fault of the table's document.
    pub fn read(table: &mut Table<'_, '_>) -> WebSettings {
        let Some(mut web) = table.table("web") else {
            return WebSettings::default();
        };
        let document = web.document();
        let listen = web.text("listen");
        let password = read_password(&mut web);
        let names = read_names(&mut web);
        let has_password = web.has("password_hash");
        web.finish();
        let at = listen
            .as_ref()
            .and_then(|listen| match listen.value.as_str() {
                "off" => Some(Listen::Off),
                text => {
                    let address = text.parse::<SocketAddr>().ok();
                    if address.is_none() {
                        let message = format!("\"{text}\" is no address with a port");
                        document.fault(&listen.span, message, ADDRESS);
                    }
                    address.map(Listen::At)
                }
            });
        if let (Some(written), Some(Listen::At(address))) = (&listen, at)
            && !address.ip().is_loopback()
            && !has_password
        {
            let message = format!(
                "{} can be reached from other machines, and no password is asked for",
                address.ip()
            );
            document.fault(&written.span, message, PASSWORD);
        }
        if let Some(first) = names.first()
            && !has_password
        {
            let message = format!(
                "\"{}\" is a name that others reach, and no password is asked for",
                first.value
            );
            document.fault(&first.span, message, PASSWORD);
        }
        WebSettings {
            listen: at.unwrap_or_default(),
            access: Access {
                password,
                names: names.into_iter().map(|name| name.value).collect(),
            },
        }
    }

    /// What somebody should know who lets others in.
    pub fn caution(&self) -> Option<String> {
        let place = match self.listen {
            Listen::Off => return None,
            Listen::At(address) if !address.ip().is_loopback() => address.to_string(),
            _ => self.access.names.first()?.clone(),
        };
        Some(format!(
            "the page can be reached from other machines ({place}): whoever has the password can \
             poll, decide and save, and without TLS in front of it everybody on the way reads along"
        ))
    }
}

fn read_password(web: &mut Table<'_, '_>) -> Option<PasswordHash> {
    let text = web.text("password_hash")?;
    match PasswordHash::parse(&text.value) {
        Ok(hash) => Some(hash),
        Err(fault) => {
            let remedy = "write the line that `rigtide password` prints";
            web.document().fault(&text.span, fault.to_string(), remedy);
            None
        }
    }
}

fn read_names(web: &mut Table<'_, '_>) -> Vec<At<String>> {
    let names = web.texts("names").map(|names| names.value);
    let mut read = Vec::new();
    for mut name in names.unwrap_or_default() {
        name.value.make_ascii_lowercase();
        if is_name(&name.value) {
            read.push(name);
            continue;
        }
        let message = format!("\"{}\" is no name of a host", name.value);
        let remedy = "write it as a browser does, without scheme and port: \"desk.example.org\"";
        web.document().fault(&name.span, message, remedy);
    }
    read
}

/// RFC 1123, section 2.1: letters, digits and hyphens in labels of up to 63, 255 in all.
fn is_name(name: &str) -> bool {
    let is_label = |label: &str| {
        (1..=63).contains(&label.len())
            && !label.starts_with('-')
            && !label.ends_with('-')
            && (label.bytes()).all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
    };
    name.len() <= 255 && name.split('.').all(is_label) && name.parse::<IpAddr>().is_err()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;

    const HASH: &str = "$argon2id$v=19$m=19456,t=2,p=1$c29tZXNhbHRzb21lc2FsdA$\
                        dGhpcnR5LXR3byBieXRlcyBvZiBhIGhhc2ggLi4uLi4";

    fn read(toml: &str) -> (WebSettings, Vec<String>) {
        let document = Document::parse("rigtide.toml", toml);
        let mut root = document.root();
        let settings = WebSettings::read(&mut root);
        root.finish();
        let faults = document.into_faults();
        (settings, faults.iter().map(ToString::to_string).collect())
    }

    fn listen(toml: &str) -> Listen {
        let (settings, faults) = read(toml);
        assert_eq!(faults, Vec::<String>::new(), "{toml}");
        settings.listen
    }

    #[test]
    fn it_is_on_loopback_unless_it_is_off() {
        for usual in ["", "[web]"] {
            assert_eq!(listen(usual), Listen::Usual);
        }
        assert_eq!(listen("[web]\nlisten = \"off\""), Listen::Off);
        for address in ["127.0.0.1:9414", "127.8.0.1:1", "[::1]:0"] {
            let expected = Listen::At(address.parse().unwrap());
            assert_eq!(listen(&format!("[web]\nlisten = \"{address}\"")), expected);
        }
        for wrong in ["localhost:1", "127.0.0.1", "on"] {
            let (_, faults) = read(&format!("[web]\nlisten = \"{wrong}\""));
            assert_eq!(faults.len(), 1, "{wrong}");
            assert!(faults[0].starts_with("rigtide.toml:2:10: "), "{faults:?}");
        }
    }

    #[test]
    fn others_come_in_by_a_password_alone() {
        for open in [
            "listen = \"0.0.0.0:9414\"",
            "listen = \"[::]:9414\"",
            "listen = \"192.0.2.7:80\"",
            "names = [\"desk.example.org\"]",
        ] {
            let (settings, faults) = read(&format!("[web]\n{open}"));
            assert_eq!(faults.len(), 1, "{open}");
            assert!(faults[0].contains("rigtide password"), "{faults:?}");
            assert!(settings.access.password.is_none());
            let (settings, faults) = read(&format!("[web]\n{open}\npassword_hash = \"{HASH}\""));
            assert_eq!(faults, Vec::<String>::new(), "{open}");
            assert!(settings.access.password.is_some());
            assert!(settings.caution().is_some(), "{open}");
        }
        // A hash that is none lets nobody in, and is one fault, not two.
        let (settings, faults) = read("[web]\nlisten = \"0.0.0.0:1\"\npassword_hash = \"secret\"");
        assert_eq!((settings.access.password, faults.len()), (None, 1));
        assert_eq!(read("").0.caution(), None);
    }

    #[test]
    fn names_are_those_of_hosts() {
        let (settings, faults) = read(&format!(
            "[web]\npassword_hash = \"{HASH}\"\nnames = [\"Desk.Example.org\", \"desk\"]"
        ));
        assert_eq!(faults, Vec::<String>::new());
        assert_eq!(settings.access.names, ["desk.example.org", "desk"]);
        for wrong in [
            "",
            "a b",
            "-a",
            "a:80",
            "https://a",
            "192.0.2.1",
            "a..b",
            "*",
        ] {
            let toml = format!("[web]\npassword_hash = \"{HASH}\"\nnames = [\"{wrong}\"]");
            assert_eq!(read(&toml).1.len(), 1, "{wrong}");
        }
    }
}
