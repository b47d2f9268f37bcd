//! Connections: TLS with named trust, names resolved and checked in one step, limits set.

use super::fault::{Phase, Reason};
use super::identity::Identity;
use crate::feeds::address::{Refusal, is_public};
use reqwest::dns::{Addrs, Name, Resolve, Resolving};
use rustls::pki_types::CertificateDer;
use rustls::{CertificateError, ClientConfig, RootCertStore};
use std::collections::BTreeMap;
use std::error::Error as StdError;
use std::io;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use thiserror::Error;

/// Which networks a request may enter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Reach {
    PublicOnly,
    Anywhere,
}

/// Makes clients and keeps them, so that connections to a host are used again.
pub(super) struct Transport {
    tls: ClientConfig,
    /// Why no certificate can be checked on this machine, if so.
    no_trust: Option<String>,
    identity: Identity,
    clients: Mutex<BTreeMap<(Duration, Reach), reqwest::Client>>,
}

#[derive(Debug, Error)]
pub enum TransportFault {
    #[error("a trusted certificate cannot be read: {0}")]
    Trust(#[source] rustls::Error),
    #[error("the HTTP client cannot be set up: {0}")]
    Client(#[source] reqwest::Error),
}

impl Transport {
    /// Trusts the system's certificate authorities and `extra_roots`.
    ///
    /// A machine without any is no error: http works, and https fails with that reason.
    pub fn new(
        identity: Identity,
        extra_roots: &[CertificateDer<'static>],
    ) -> Result<Transport, TransportFault> {
        let mut own = RootCertStore::empty();
        for root in extra_roots {
            own.add(root.clone()).map_err(TransportFault::Trust)?;
        }
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let versions = |provider| {
            ClientConfig::builder_with_provider(provider)
                .with_safe_default_protocol_versions()
                .map_err(TransportFault::Trust)
        };
        let verifier = rustls_platform_verifier::Verifier::new_with_extra_roots(
            extra_roots.iter().cloned(),
            Arc::clone(&provider),
        );
        let (mut tls, no_trust) = match verifier {
            Ok(verifier) => {
                // The name is rustls's; this verifier checks as the system's own programs do.
                let tls = versions(provider)?
                    .dangerous()
                    .with_custom_certificate_verifier(Arc::new(verifier))
                    .with_no_client_auth();
                (tls, None)
            }
            Err(error) => {
                let tls = versions(provider)?
                    .with_root_certificates(own)
                    .with_no_client_auth();
                (tls, Some(error.to_string()))
            }
        };
        tls.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Transport {
            tls,
            no_trust,
            identity,
            clients: Mutex::default(),
        })
    }

    /// The client for a connect limit and a reach.
    pub fn client(&self, connect: Duration, reach: Reach) -> Result<reqwest::Client, Reason> {
        // A panic elsewhere cannot leave the map half written.
        let mut clients = self.clients.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(client) = clients.get(&(connect, reach)) {
            return Ok(client.clone());
        }
        let client = self
            .build(connect, reach)
            .map_err(|error| Reason::Protocol {
                cause: error.to_string(),
            })?;
        clients.insert((connect, reach), client.clone());
        Ok(client)
    }

    /// # Errors
    /// No certificate authority is known, so https cannot work.
    pub fn check_trust(&self) -> Result<(), Reason> {
        match &self.no_trust {
            None => Ok(()),
            Some(cause) => Err(Reason::Tls {
                cause: format!(
                    "this machine knows no certificate authorities ({cause}); install its \
                     ca-certificates package"
                ),
            }),
        }
    }

    fn build(&self, connect: Duration, reach: Reach) -> Result<reqwest::Client, TransportFault> {
        reqwest::Client::builder()
            .tls_backend_preconfigured(self.tls.clone())
            .user_agent(self.identity.user_agent().clone())
            .connect_timeout(connect)
            .redirect(reqwest::redirect::Policy::none())
            .referer(false)
            // A proxy would resolve names itself, and the check of private addresses with them.
            .no_proxy()
            .http1_only()
            .pool_max_idle_per_host(1)
            .pool_idle_timeout(Duration::from_secs(20))
            .dns_resolver(CheckedResolver { reach })
            .build()
            .map_err(TransportFault::Client)
    }
}

/// Resolves names through the system and drops addresses that are out of reach.
struct CheckedResolver {
    reach: Reach,
}

#[derive(Debug, Error)]
enum ResolveFault {
    #[error("{0}")]
    Unresolved(#[source] io::Error),
    #[error("{host} is on a private network")]
    Private { host: String },
}

impl Resolve for CheckedResolver {
    fn resolve(&self, name: Name) -> Resolving {
        let (host, reach) = (name.as_str().to_owned(), self.reach);
        Box::pin(async move {
            let addresses = resolve(&host, 0, reach).await?;
            Ok(Box::new(addresses.into_iter()) as Addrs)
        })
    }
}

async fn resolve(host: &str, port: u16, reach: Reach) -> Result<Vec<SocketAddr>, ResolveFault> {
    let found: Vec<SocketAddr> = tokio::net::lookup_host((host, port))
        .await
        .map_err(ResolveFault::Unresolved)?
        .collect();
    let within: Vec<SocketAddr> = found
        .iter()
        .copied()
        .filter(|address| reach == Reach::Anywhere || is_public(address.ip()))
        .collect();
    if within.is_empty() && !found.is_empty() {
        let host = host.to_owned();
        return Err(ResolveFault::Private { host });
    }
    Ok(within)
}

/// What a client's error means.
pub(super) fn classify(error: &reqwest::Error, connect: Duration) -> Reason {
    let chain = || causes_of(error);
    if let Some(fault) = chain().find_map(|error| error.downcast_ref::<ResolveFault>()) {
        return match fault {
            ResolveFault::Unresolved(error) => Reason::Dns {
                cause: plain(&error.to_string()),
            },
            ResolveFault::Private { host } => Reason::AddressRefused {
                refusal: Refusal::Private { host: host.clone() },
            },
        };
    }
    if let Some(cause) = chain().find_map(tls_error).map(tls_cause) {
        return Reason::Tls { cause };
    }
    let cause = chain().last().map_or_else(String::new, ToString::to_string);
    if error.is_connect() && error.is_timeout() {
        let phase = Phase::Connection;
        return Reason::Timeout {
            phase,
            limit: connect,
        };
    }
    if error.is_connect() {
        let io = chain().find_map(|error| error.downcast_ref::<io::Error>());
        return Reason::Connect {
            causes: io.map_or(cause, |io| io.kind().to_string()),
        };
    }
    let broken = chain()
        .filter_map(|error| error.downcast_ref::<io::Error>())
        .any(|io| !matches!(io.kind(), io::ErrorKind::Other | io::ErrorKind::InvalidData));
    match broken || cause.contains("closed") {
        true => Reason::Broken { cause },
        false => Reason::Protocol { cause },
    }
}

fn causes_of<'e>(
    error: &'e (dyn StdError + 'static),
) -> impl Iterator<Item = &'e (dyn StdError + 'static)> {
    std::iter::successors(Some(error), |error| (**error).source())
}

/// rustls reports through the input-output errors of the stream that it wraps.
fn tls_error<'e>(error: &'e (dyn StdError + 'static)) -> Option<&'e rustls::Error> {
    error.downcast_ref::<rustls::Error>().or_else(|| {
        let inner = error.downcast_ref::<io::Error>()?.get_ref()?;
        tls_error(inner)
    })
}

fn tls_cause(error: &rustls::Error) -> String {
    let rustls::Error::InvalidCertificate(certificate) = error else {
        return error.to_string();
    };
    match certificate {
        CertificateError::Expired | CertificateError::ExpiredContext { .. } => {
            "the certificate has expired".to_owned()
        }
        CertificateError::NotValidYet | CertificateError::NotValidYetContext { .. } => {
            "the certificate is not valid yet; is this machine's clock right?".to_owned()
        }
        CertificateError::NotValidForName => "the certificate is for another name".to_owned(),
        CertificateError::NotValidForNameContext {
            expected,
            presented,
        } => format!(
            "the certificate is for {}, not for {}",
            bare_names(presented).join(", "),
            expected.to_str()
        ),
        CertificateError::UnknownIssuer => {
            "nobody this machine trusts has issued the certificate; \
             the server may leave out an intermediate one, which browsers fill in"
                .to_owned()
        }
        CertificateError::Revoked => "the certificate was revoked".to_owned(),
        other => other.to_string(),
    }
}

/// rustls shows a name with its kind around it, as in `DnsName("shop.example")`.
fn bare_names(presented: &[String]) -> Vec<&str> {
    presented
        .iter()
        .map(|name| name.split('"').nth(1).unwrap_or(name))
        .collect()
}

/// Tries each address of a host by itself, to say why none of them answers.
///
/// Asked after a connection failed, because the client's own error names one address only.
pub(super) async fn connect_causes(host: &str, port: u16, reach: Reach) -> Option<String> {
    const MOST_ADDRESSES: usize = 4;
    const PATIENCE: Duration = Duration::from_secs(2);
    let host = host.trim_start_matches('[').trim_end_matches(']');
    let addresses = resolve(host, port, reach).await.ok()?;
    let mut causes = Vec::new();
    for address in addresses.into_iter().take(MOST_ADDRESSES) {
        let attempt = tokio::net::TcpStream::connect(address);
        causes.push(match tokio::time::timeout(PATIENCE, attempt).await {
            Ok(Ok(_)) => format!("{address} answers now"),
            Ok(Err(error)) => format!("{address} {}", error.kind()),
            Err(_) => format!("{address} does not answer"),
        });
    }
    (!causes.is_empty()).then(|| causes.join(", "))
}

fn plain(text: &str) -> String {
    let text = text
        .strip_prefix("failed to lookup address information: ")
        .unwrap_or(text);
    text.to_owned()
}
