//! Where to listen: an address that only this machine reaches.

use crate::catalogue::table::Table;
use std::net::SocketAddr;

const REMEDY: &str = "write an address of this machine and a port, such as \"127.0.0.1:9414\"";

/// Reads `listen` of the table `[web]`. None when there is no such table, or with a fault.
pub fn read_address(table: &mut Table<'_, '_>) -> Option<SocketAddr> {
    let mut web = table.table("web")?;
    let listen = web.required_text("listen");
    let document = web.document();
    web.finish();
    let listen = listen?;
    let Ok(address) = listen.value.parse::<SocketAddr>() else {
        let message = format!("\"{}\" is no address with a port", listen.value);
        document.fault(&listen.span, message, REMEDY);
        return None;
    };
    if !address.ip().is_loopback() {
        let message = format!("{} can be reached from other machines", address.ip());
        document.fault(&listen.span, message, REMEDY);
        return None;
    }
    Some(address)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;

    fn read(toml: &str) -> (Option<String>, Vec<String>) {
        let document = Document::parse("rigtide.toml", toml);
        let mut root = document.root();
        let address = read_address(&mut root);
        root.finish();
        let faults = document.into_faults();
        let faults = faults.iter().map(ToString::to_string).collect();
        (address.map(|address| address.to_string()), faults)
    }

    #[test]
    fn only_addresses_of_this_machine_are_taken() {
        let none = Vec::<String>::new();
        assert_eq!(read(""), (None, none.clone()));
        for address in ["127.0.0.1:9414", "127.8.0.1:1", "[::1]:0"] {
            let toml = format!("[web]\nlisten = \"{address}\"");
            assert_eq!(read(&toml), (Some(address.to_owned()), none.clone()));
        }
        for address in [
            "0.0.0.0:9414",
            "[::]:9414",
            "192.0.2.7:80",
            "localhost:1",
            "127.0.0.1",
        ] {
            let (read, faults) = read(&format!("[web]\nlisten = \"{address}\""));
            assert_eq!((read, faults.len()), (None, 1), "{address}");
            assert!(faults[0].starts_with("rigtide.toml:2:10: "), "{faults:?}");
        }
    }
}
