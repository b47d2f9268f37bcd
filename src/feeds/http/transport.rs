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
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use thiserror::Error;

/// Which networks a request may enter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Reach {
    PublicOnly,
    Anywhere,
}

/// Looks a host's name up.
pub type Names = Arc<dyn Fn(&str) -> io::Result<Vec<IpAddr>> + Send + Sync>;

/// Makes clients and keeps them, so that connections to a host are used again.
pub(super) struct Transport {
    tls: ClientConfig,
    /// Why no certificate can be checked on this machine, if so.
    no_trust: Option<String>,
    identity: Identity,
    /// The system's name servers when `None`.
    names: Option<Names>,
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
        names: Option<Names>,
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
            names,
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
            .build(
                connect,
                CheckedResolver {
                    reach,
                    names: self.names.clone(),
                },
            )
            .map_err(|error| Reason::Protocol {
                cause: error.to_string(),
            })?;
        clients.insert((connect, reach), client.clone());
        Ok(client)
    }

    /// Whether a host's name has an address now.
    pub async fn resolves(&self, host: &str) -> bool {
        const PATIENCE: Duration = Duration::from_secs(5);
        let found = resolve((host, 0), Reach::Anywhere, self.names.as_ref());
        let found = tokio::time::timeout(PATIENCE, found).await;
        found.is_ok_and(|found| found.is_ok())
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

    fn build(
        &self,
        connect: Duration,
        resolver: impl Resolve + 'static,
    ) -> Result<reqwest::Client, TransportFault> {
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
            .dns_resolver(resolver)
            .build()
            .map_err(TransportFault::Client)
    }
}

/// Resolves names and drops addresses that are out of reach.
struct CheckedResolver {
    reach: Reach,
    names: Option<Names>,
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
        let names = self.names.clone();
        Box::pin(async move {
            let addresses = resolve((&host, 0), reach, names.as_ref()).await?;
            Ok(Box::new(addresses.into_iter()) as Addrs)
        })
    }
}

async fn resolve(
    (host, port): (&str, u16),
    reach: Reach,
    names: Option<&Names>,
) -> Result<Vec<SocketAddr>, ResolveFault> {
    let found: io::Result<Vec<SocketAddr>> = match names {
        Some(names) => names(host).map(|found| {
            let addresses = found.into_iter();
            addresses.map(|ip| SocketAddr::new(ip, port)).collect()
        }),
        None => tokio::net::lookup_host((host, port))
            .await
            .map(Iterator::collect),
    };
    let found = found.map_err(ResolveFault::Unresolved)?;
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
pub(super) async fn connect_causes(
    transport: &Transport,
    (host, port): (&str, u16),
    reach: Reach,
) -> Option<String> {
    const MOST_ADDRESSES: usize = 4;
    const PATIENCE: Duration = Duration::from_secs(2);
    let host = host.trim_start_matches('[').trim_end_matches(']');
    let names = transport.names.as_ref();
    let addresses = resolve((host, port), reach, names).await.ok()?;
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Instant;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::{TcpListener, TcpSocket, TcpStream};

    /// A name with these addresses, as a system's resolver would give them.
    struct Addresses(Vec<SocketAddr>);

    impl Resolve for Addresses {
        fn resolve(&self, _: Name) -> Resolving {
            let addresses = self.0.clone();
            Box::pin(async move { Ok(Box::new(addresses.into_iter()) as Addrs) })
        }
    }

    fn transport() -> Transport {
        Transport::new(Identity::new("editor@guide.example").unwrap(), &[], None).unwrap()
    }

    /// An IPv6 address where connections are neither accepted nor refused: the queue of a
    /// listener that never takes one is full, and the system answers no more. What it returns
    /// keeps it so.
    async fn black_hole() -> (SocketAddr, TcpListener, Vec<TcpStream>) {
        let socket = TcpSocket::new_v6().unwrap();
        socket.bind("[::1]:0".parse().unwrap()).unwrap();
        let listener = socket.listen(1).unwrap();
        let address = listener.local_addr().unwrap();
        let mut waiting = Vec::new();
        let patience = Duration::from_millis(200);
        while let Ok(connected) = tokio::time::timeout(patience, TcpStream::connect(address)).await
        {
            waiting.push(connected.unwrap());
            assert!(waiting.len() < 100, "the queue never fills");
        }
        (address, listener, waiting)
    }

    /// A server that answers its one request.
    async fn ipv4_server() -> SocketAddr {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        tokio::spawn(async move {
            let (mut stream, _) = listener.accept().await.unwrap();
            let mut request = [0; 1024];
            let _ = stream.read(&mut request).await.unwrap();
            let answer = b"HTTP/1.1 200 OK\r\nContent-Length: 4\r\n\r\na;b\n";
            stream.write_all(answer).await.unwrap();
        });
        address
    }

    async fn get(client: reqwest::Client) -> reqwest::Result<String> {
        // Without a port in the address, the ports are the resolver's.
        client
            .get("http://shop.example/feed")
            .send()
            .await?
            .text()
            .await
    }

    // Pitfall H20; RFC 8305 (Happy Eyeballs) section 5 has a second attempt begin after 250 ms.
    // The black hole is a queue on ::1 that is full, so this needs an IPv6 loopback.
    #[tokio::test]
    async fn ipv4_is_tried_while_ipv6_is_silent() {
        let (silent, _listener, _waiting) = black_hole().await;
        let (refusing, listener) = {
            let listener = TcpListener::bind("[::1]:0").await.unwrap();
            (listener.local_addr().unwrap(), listener)
        };
        drop(listener);
        for first in [silent, refusing] {
            let answering = ipv4_server().await;
            let resolver = Addresses(vec![first, answering]);
            let client = transport()
                .build(Duration::from_secs(10), resolver)
                .unwrap();
            let begun = Instant::now();
            assert_eq!(get(client).await.unwrap(), "a;b\n");
            let took = begun.elapsed();
            assert!(took < Duration::from_secs(2), "{first}: {took:?}");
        }
        // The hole is one: alone, it is waited for until the limit.
        let limit = Duration::from_millis(500);
        let client = transport().build(limit, Addresses(vec![silent])).unwrap();
        let error = get(client).await.unwrap_err();
        assert!(error.is_connect() && error.is_timeout(), "{error:?}");
    }
}
