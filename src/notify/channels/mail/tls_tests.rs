//! Mail over TLS against a server on loopback, with a certificate of an authority of the test's own:
//! from the first byte (RFC 8314, section 3.3) and after STARTTLS (RFC 3207).

use super::*;
use crate::catalogue::table::Document;
use crate::notify::registry::read_channel;
use crate::notify::samples::bulletin;
use crate::notify::secrets::MachineSecrets;
use base64::Engine as _;
use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, IsCa, KeyPair};
use rustls::pki_types::PrivateKeyDer;
use std::sync::Arc;
use tokio::io::{AsyncBufReadExt, AsyncRead, AsyncWrite, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;
use tokio_rustls::TlsAcceptor;

type Taken = Arc<Mutex<Vec<String>>>;

#[derive(Clone, Copy, PartialEq)]
enum Speaks {
    /// TLS from the first byte.
    Wrapped,
    /// Offers STARTTLS.
    StartTls,
    /// Plain SMTP alone.
    Plain,
}

struct Server {
    port: u16,
    /// The authority, in PEM.
    authority: tempfile::NamedTempFile,
    taken: Taken,
    task: JoinHandle<()>,
}

impl Drop for Server {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl Server {
    async fn start(speaks: Speaks, name: &str) -> Server {
        let mut params = CertificateParams::new(Vec::new()).unwrap();
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let key = KeyPair::generate().unwrap();
        let authority = CertifiedIssuer::self_signed(params, key).unwrap();
        let root: &rcgen::Certificate = authority.as_ref();
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), pem(root.der())).unwrap();
        let acceptor = acceptor(&authority, name);
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let taken = Taken::default();
        let kept = Arc::clone(&taken);
        let task = tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                // A connection that fails is the client's to notice.
                let _ = serve(stream, speaks, &acceptor, &kept).await;
            }
        });
        Server {
            port,
            authority: file,
            taken,
            task,
        }
    }

    fn channel(&self, tls: &str, trusts: bool) -> Arc<dyn Channel> {
        let authority = match trusts {
            true => format!("authority_file = '{}'\n", self.authority.path().display()),
            false => String::new(),
        };
        let text = format!(
            "kind = \"mail\"\nhost = \"127.0.0.1\"\nport = {}\ntls = \"{tls}\"\n{authority}\
             from = \"watch@rig.example\"\nto = [\"ann@desk.example\"]\ntimeout_seconds = 5",
            self.port
        );
        // The authority is read from its file.
        let secrets = MachineSecrets {
            directory: "/".into(),
        };
        read_channel(Document::parse("rigtide.toml", &text).root(), &secrets).unwrap()
    }

    fn taken(&self) -> usize {
        self.taken.lock().unwrap().len()
    }
}

/// RFC 7468, section 3: lines of 64 characters.
fn pem(der: &[u8]) -> String {
    let text = base64::engine::general_purpose::STANDARD.encode(der);
    let lines: Vec<&str> = (0..text.len())
        .step_by(64)
        .map(|at| &text[at..text.len().min(at + 64)])
        .collect();
    let lines = lines.join("\n");
    format!("-----BEGIN CERTIFICATE-----\n{lines}\n-----END CERTIFICATE-----\n")
}

fn acceptor(authority: &CertifiedIssuer<'static, KeyPair>, name: &str) -> TlsAcceptor {
    let params = CertificateParams::new(vec![name.to_owned()]).unwrap();
    let key = KeyPair::generate().unwrap();
    let certificate = params.signed_by(&key, authority).unwrap();
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

async fn serve(
    mut stream: TcpStream,
    speaks: Speaks,
    acceptor: &TlsAcceptor,
    taken: &Taken,
) -> std::io::Result<()> {
    match speaks {
        Speaks::Wrapped => converse(&mut acceptor.accept(stream).await?, taken, true, true).await,
        Speaks::Plain => converse(&mut stream, taken, true, true).await,
        Speaks::StartTls => {
            converse(&mut stream, taken, true, false).await?;
            converse(&mut acceptor.accept(stream).await?, taken, false, true).await
        }
    }
}

/// As much of RFC 5321 as a delivery needs. Before STARTTLS nothing but that is taken.
async fn converse(
    stream: &mut (impl AsyncRead + AsyncWrite + Unpin),
    taken: &Taken,
    greets: bool,
    takes: bool,
) -> std::io::Result<()> {
    let mut stream = BufReader::new(stream);
    if greets {
        stream.write_all(b"220 mail.example\r\n").await?;
        stream.flush().await?;
    }
    loop {
        let mut line = String::new();
        if stream.read_line(&mut line).await? == 0 {
            return Ok(());
        }
        let verb = line.get(..4).unwrap_or("").to_ascii_uppercase();
        let answer = match (verb.as_str(), takes) {
            ("EHLO", false) => "250-mail.example\r\n250 STARTTLS",
            ("STAR", false) => {
                stream.write_all(b"220 go on\r\n").await?;
                return stream.flush().await;
            }
            ("EHLO", true) => "250 mail.example",
            ("DATA", true) => {
                stream.write_all(b"354 go on\r\n").await?;
                stream.flush().await?;
                let mut message = String::new();
                while !message.ends_with("\r\n.\r\n") {
                    if stream.read_line(&mut message).await? == 0 {
                        return Ok(());
                    }
                }
                taken.lock().unwrap().push(message);
                "250 2.0.0 queued as 4711"
            }
            ("QUIT", _) => "221 bye",
            (_, true) => "250 ok",
            (_, false) => "530 5.7.0 say STARTTLS first",
        };
        stream.write_all(format!("{answer}\r\n").as_bytes()).await?;
        stream.flush().await?;
    }
}

fn reason(fault: DeliveryFault) -> String {
    match fault {
        DeliveryFault::Passing { reason, .. } => reason,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn a_trusted_certificate_lets_mail_through_from_the_first_byte_and_after_starttls() {
    for (speaks, tls) in [
        (Speaks::Wrapped, "wrapped"),
        (Speaks::StartTls, "starttls"),
        (Speaks::StartTls, "opportunistic"),
        (Speaks::Plain, "opportunistic"),
    ] {
        let server = Server::start(speaks, "127.0.0.1").await;
        let said = server.channel(tls, true).try_out(&bulletin()).await;
        let said = said.unwrap_or_else(|fault| panic!("{tls}: {fault}"));
        assert_eq!(said, "ann@desk.example: 250 2.0.0 queued as 4711");
        assert_eq!(server.taken(), 1, "{tls}");
    }
}

#[tokio::test]
async fn a_certificate_that_nobody_trusts_or_of_another_name_is_refused_and_nothing_is_sent() {
    for (speaks, tls) in [
        (Speaks::Wrapped, "wrapped"),
        (Speaks::StartTls, "starttls"),
        (Speaks::StartTls, "opportunistic"),
    ] {
        let server = Server::start(speaks, "127.0.0.1").await;
        let fault = server.channel(tls, false).send(&bulletin()).await;
        let said = reason(fault.unwrap_err());
        assert!(said.contains("certificate"), "{tls}: {said}");
        assert_eq!(server.taken(), 0, "{tls}");
        let server = Server::start(speaks, "other.example").await;
        let fault = server.channel(tls, true).send(&bulletin()).await;
        let said = reason(fault.unwrap_err());
        assert!(said.contains("certificate"), "{tls}: {said}");
        assert_eq!(server.taken(), 0, "{tls}");
    }
}

#[tokio::test]
async fn mail_that_must_be_protected_does_not_go_in_the_clear() {
    // RFC 3207, section 6: a client that requires TLS does not fall back where it is not offered.
    let server = Server::start(Speaks::Plain, "127.0.0.1").await;
    for tls in ["starttls", "wrapped"] {
        let fault = server.channel(tls, true).send(&bulletin()).await;
        reason(fault.unwrap_err());
        assert_eq!(server.taken(), 0, "{tls}");
    }
}
