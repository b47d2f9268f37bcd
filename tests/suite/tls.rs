//! TLS that is not in order: the reason is named, and nothing insecure is tried (pitfalls H13, H19).

use crate::support::feed::{access, failed, fetch, fetcher, fresh, trusting};
use crate::support::server::{Server, answer, redirect};
use rcgen::{
    BasicConstraints, Certificate, CertificateParams, CertifiedIssuer, IsCa, KeyPair, date_time_ymd,
};
use rigtide::feeds::address::Refusal;
use rigtide::feeds::http::{FaultKind, Reason};
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::sync::Arc;
use tokio_rustls::TlsAcceptor;

struct Authority(CertifiedIssuer<'static, KeyPair>);

impl Authority {
    fn new() -> Authority {
        let mut params = CertificateParams::new(Vec::new()).unwrap();
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let key = KeyPair::generate().unwrap();
        Authority(CertifiedIssuer::self_signed(params, key).unwrap())
    }

    fn root(&self) -> CertificateDer<'static> {
        let certificate: &Certificate = self.0.as_ref();
        certificate.der().clone()
    }

    /// A server's side for a name, with a certificate that expires at the end of a year.
    fn acceptor(&self, name: &str, last_year: i32) -> TlsAcceptor {
        let mut params = CertificateParams::new(vec![name.to_owned()]).unwrap();
        params.not_before = date_time_ymd(2001, 1, 1);
        params.not_after = date_time_ymd(last_year, 12, 31);
        let key = KeyPair::generate().unwrap();
        let certificate = params.signed_by(&key, &self.0).unwrap();
        let key = PrivateKeyDer::try_from(key.serialize_der()).unwrap();
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = rustls::ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_no_client_auth()
            .with_single_cert(vec![certificate.der().clone()], key)
            .unwrap();
        TlsAcceptor::from(Arc::new(config))
    }
}

fn script(seen: &crate::support::server::Seen) -> Vec<crate::support::server::Step> {
    match seen.path.as_str() {
        "/robots.txt" => answer(404, &[], ""),
        "/down" => redirect(302, "http://127.0.0.1:9/"),
        _ => answer(200, &[], "a;b\n"),
    }
}

#[tokio::test]
async fn a_certificate_in_order_is_accepted() {
    let authority = Authority::new();
    let server = Server::start_tls(authority.acceptor("127.0.0.1", 4000), script).await;
    let url = server.url("/feed");
    fresh(fetch(&trusting(vec![authority.root()]), &access(&url, ""), &url).await);
}

#[tokio::test]
async fn a_certificate_that_is_not_in_order_says_why() {
    let authority = Authority::new();
    let trusting = trusting(vec![authority.root()]);
    for (name, last_year, reason) in [
        (
            "kestrel.example",
            4000,
            "for kestrel.example, not for 127.0.0.1",
        ),
        ("127.0.0.1", 2002, "has expired"),
    ] {
        let server = Server::start_tls(authority.acceptor(name, last_year), script).await;
        let url = server.url("/feed");
        let fault = failed(fetch(&trusting, &access(&url, ""), &url).await);
        assert_eq!(fault.kind(), FaultKind::Tls, "{fault}");
        assert!(fault.to_string().contains(reason), "{fault}");
        assert!(server.seen().is_empty());
    }
}

#[tokio::test]
async fn an_authority_that_nobody_trusts_is_named_as_the_reason() {
    let authority = Authority::new();
    let server = Server::start_tls(authority.acceptor("127.0.0.1", 4000), script).await;
    let url = server.url("/feed");
    let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
    let text = fault.to_string();
    // A machine without any certificate authority gives that as the reason.
    let reasons = [
        "nobody this machine trusts",
        "knows no certificate authorities",
    ];
    assert!(reasons.iter().any(|reason| text.contains(reason)), "{text}");
    assert!(server.seen().is_empty());
}

// H13.
#[tokio::test]
async fn a_redirect_from_https_to_http_is_refused() {
    let authority = Authority::new();
    let server = Server::start_tls(authority.acceptor("127.0.0.1", 4000), script).await;
    let url = server.url("/down");
    let fault = failed(fetch(&trusting(vec![authority.root()]), &access(&url, ""), &url).await);
    let refusal = Refusal::Downgrade;
    assert_eq!(fault.reason, Reason::RedirectRefused { refusal });
}
