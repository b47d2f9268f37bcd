//! Which addresses a feed's requests may lead to.
//!
//! The author's own addresses are trusted. Addresses that a server names (redirects, links, the
//! next page) are not: they may not leave http and https, step down from https to http, or lead
//! into this machine or its private networks. Names are checked where they are resolved, so that
//! what was checked is what is connected to.

use super::source::Access;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use thiserror::Error;
use url::{Host, Url};

/// Scheme, host and port.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Origin {
    pub scheme: String,
    pub host: String,
    pub port: u16,
}

/// Who may lead a feed's requests into private networks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PrivateAddresses {
    /// Only the hosts that the author configured may be private.
    OwnHostsOnly,
    Allowed,
}

/// Why a server's address is not followed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Refusal {
    #[error("it leads from https to http")]
    Downgrade,
    #[error("it leads to {scheme}:, not to http: or https:")]
    Scheme { scheme: String },
    #[error(
        "it leads to {host}, which is on this machine or a private network; \
             set `allow_private_addresses = true` if that is meant"
    )]
    Private { host: String },
}

impl Origin {
    /// `None` for an address without a host, such as `mailto:`.
    pub fn of(url: &Url) -> Option<Origin> {
        Some(Origin {
            scheme: url.scheme().to_owned(),
            host: url.host_str()?.to_ascii_lowercase(),
            port: url.port_or_known_default()?,
        })
    }

    /// `host:port`: whose robots.txt and whose patience are meant.
    pub fn authority(&self) -> String {
        format!("{}:{}", self.host, self.port)
    }

    /// True when what may be sent to `self` may be sent to `other` too: the same origin, or the
    /// same host with both default ports on the way from http to https.
    fn covers(&self, other: &Origin) -> bool {
        let upgrade = (
            self.scheme.as_str(),
            self.port,
            other.scheme.as_str(),
            other.port,
        ) == ("http", 80, "https", 443);
        self == other || (upgrade && self.host == other.host)
    }
}

impl Access {
    /// True when the feed's headers and credentials may go to this address.
    pub fn carries_headers_to(&self, url: &Url) -> bool {
        Origin::of(url).is_some_and(|to| self.origins.iter().any(|own| own.covers(&to)))
    }

    /// True when this address may be on a private network.
    pub fn may_be_private(&self, url: &Url) -> bool {
        let host = url.host_str().map(str::to_ascii_lowercase);
        self.private_addresses == PrivateAddresses::Allowed
            || self
                .origins
                .iter()
                .any(|own| Some(&own.host) == host.as_ref())
    }

    /// Checks an address that a server named on the page `from`.
    ///
    /// # Errors
    /// Says why it is not followed. A host name passes here and is checked once it is resolved.
    pub fn check_step(&self, from: &Url, to: &Url) -> Result<(), Refusal> {
        if from.scheme() == "https" && to.scheme() == "http" {
            return Err(Refusal::Downgrade);
        }
        self.check(to)
    }

    /// Checks an address by itself.
    ///
    /// # Errors
    /// Its scheme is not http or https, or it is a private address in digits that is not the
    /// author's own.
    pub fn check(&self, to: &Url) -> Result<(), Refusal> {
        if !matches!(to.scheme(), "http" | "https") {
            let scheme = to.scheme().to_owned();
            return Err(Refusal::Scheme { scheme });
        }
        let literal = match to.host() {
            Some(Host::Ipv4(address)) => Some(IpAddr::V4(address)),
            Some(Host::Ipv6(address)) => Some(IpAddr::V6(address)),
            Some(Host::Domain(_)) | None => None,
        };
        match literal {
            Some(address) if !is_public(address) && !self.may_be_private(to) => {
                let host = to.host_str().unwrap_or_default().to_owned();
                Err(Refusal::Private { host })
            }
            _ => Ok(()),
        }
    }
}

/// True for an address that anyone on the internet could reach.
///
/// After the IANA special-purpose address registries (RFC 6890 and its updates), from memory.
pub fn is_public(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(address) => is_public_v4(address),
        IpAddr::V6(address) => is_public_v6(address),
    }
}

fn is_public_v4(address: Ipv4Addr) -> bool {
    let [a, b, c, _] = address.octets();
    let shared = a == 100 && (64..128).contains(&b);
    let protocols = (a, b, c) == (192, 0, 0);
    let benchmarks = a == 198 && (b == 18 || b == 19);
    !(a == 0
        || a >= 240
        || shared
        || protocols
        || benchmarks
        || address.is_private()
        || address.is_loopback()
        || address.is_link_local()
        || address.is_multicast()
        || address.is_documentation())
}

fn is_public_v6(address: Ipv6Addr) -> bool {
    let [a, b, c, _, _, _, g, h] = address.segments();
    let embedded = |high: u16, low: u16| {
        let ([a, b], [c, d]) = (high.to_be_bytes(), low.to_be_bytes());
        is_public_v4(Ipv4Addr::new(a, b, c, d))
    };
    if let Some(mapped) = address.to_ipv4_mapped() {
        return is_public_v4(mapped);
    }
    match a {
        // ::/16 holds unspecified, loopback and the deprecated IPv4-compatible addresses.
        0 => false,
        0x64 if b == 0xff9b => c == 0 && embedded(g, h),
        0x2002 => embedded(b, c),
        0x2001 => b != 0 && b != 0xdb8,
        // 2000::/3 is all that was ever given out for the public.
        _ => (0x2000..0x4000).contains(&a),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Special-purpose blocks of RFC 6890, 4193, 4291, 6052 and 3056, from memory.
    #[test]
    fn special_purpose_addresses_are_not_public() {
        for address in [
            "0.0.0.0",
            "10.1.2.3",
            "100.64.0.1",
            "127.0.0.1",
            "169.254.169.254",
            "172.16.0.1",
            "172.31.255.255",
            "192.0.0.8",
            "192.0.2.1",
            "192.168.1.1",
            "198.18.0.1",
            "198.51.100.7",
            "203.0.113.9",
            "224.0.0.1",
            "240.0.0.1",
            "255.255.255.255",
            "::",
            "::1",
            "::ffff:127.0.0.1",
            "::ffff:10.0.0.1",
            "::7f00:1",
            "64:ff9b::7f00:1",
            "2002:7f00:1::",
            "fc00::1",
            "fd12:3456::1",
            "fe80::1",
            "fec0::1",
            "ff02::1",
            "2001:db8::1",
            "2001::1",
        ] {
            assert!(!is_public(address.parse().unwrap()), "{address}");
        }
    }

    #[test]
    fn ordinary_addresses_are_public() {
        for address in [
            "9.9.9.9",
            "100.63.255.255",
            "100.128.0.1",
            "172.15.0.1",
            "172.32.0.1",
            "192.0.1.1",
            "198.20.0.1",
            "223.255.255.255",
            "2600::1",
            "2a00:1450::1",
            "64:ff9b::909:909",
            "::ffff:9.9.9.9",
            "2002:909:909::",
        ] {
            assert!(is_public(address.parse().unwrap()), "{address}");
        }
    }
}
