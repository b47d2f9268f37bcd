//! A retailer's server on loopback that answers as its script says, down to the byte.
//!
//! It speaks HTTP/1.1 over raw TCP or TLS, so that it can be slow, cut short, endless or wrong.
//! It keeps every request for the test to look at, and stops when it is dropped.

use std::future::Future;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;
use tokio_rustls::TlsAcceptor;

/// One request as it came.
#[derive(Debug, Clone)]
pub struct Seen {
    /// Path and query.
    pub path: String,
    /// Names in lower case.
    pub headers: Vec<(String, String)>,
    pub at: Instant,
    /// The number of the connection that it came on, from 0.
    pub connection: usize,
    /// How often this path was asked for before.
    pub nth: usize,
}

impl Seen {
    pub fn header(&self, name: &str) -> Option<&str> {
        let mut values = self.headers.iter().filter(|(known, _)| known == name);
        values.next().map(|(_, value)| value.as_str())
    }
}

/// What the server does after a request.
#[derive(Debug, Clone)]
pub enum Step {
    Send(Vec<u8>),
    /// The bytes one by one, with a pause before each.
    Drip(Vec<u8>, Duration),
    /// The same bytes until the client has enough.
    SendForever(Vec<u8>),
    /// Nothing more, with the connection open, until the client gives up.
    Hang,
    Close,
}

/// A whole answer with its length stated.
pub fn answer(status: u16, headers: &[(&str, &str)], body: impl AsRef<[u8]>) -> Vec<Step> {
    let body = body.as_ref();
    let length = body.len().to_string();
    let mut bytes = head(status, &[headers, &[("Content-Length", &length)]].concat());
    bytes.extend_from_slice(body);
    vec![Step::Send(bytes)]
}

/// The head of an answer.
pub fn head(status: u16, headers: &[(&str, &str)]) -> Vec<u8> {
    let mut text = format!("HTTP/1.1 {status} Scripted\r\n");
    for (name, value) in headers {
        text.push_str(&format!("{name}: {value}\r\n"));
    }
    text.push_str("\r\n");
    text.into_bytes()
}

/// An answer that sends a client elsewhere.
pub fn redirect(status: u16, location: &str) -> Vec<Step> {
    answer(status, &[("Location", location)], "")
}

type Script = dyn Fn(&Seen) -> Vec<Step> + Send + Sync;

struct Shared {
    script: Box<Script>,
    seen: Mutex<Vec<Seen>>,
    n_busy: AtomicUsize,
    most_busy: AtomicUsize,
}

/// A running server.
pub struct Server {
    address: SocketAddr,
    scheme: &'static str,
    shared: Arc<Shared>,
    task: JoinHandle<()>,
}

impl Server {
    /// Serves robots.txt as missing, and everything else as the script says.
    pub async fn start(script: impl Fn(&Seen) -> Vec<Step> + Send + Sync + 'static) -> Server {
        Server::start_whole(move |seen| match seen.path.as_str() {
            "/robots.txt" => answer(404, &[], ""),
            _ => script(seen),
        })
        .await
    }

    /// Serves robots.txt too as the script says.
    pub async fn start_whole(
        script: impl Fn(&Seen) -> Vec<Step> + Send + Sync + 'static,
    ) -> Server {
        Server::bind(None, Box::new(script)).await
    }

    /// Speaks TLS.
    pub async fn start_tls(
        acceptor: TlsAcceptor,
        script: impl Fn(&Seen) -> Vec<Step> + Send + Sync + 'static,
    ) -> Server {
        Server::bind(Some(acceptor), Box::new(script)).await
    }

    async fn bind(acceptor: Option<TlsAcceptor>, script: Box<Script>) -> Server {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let scheme = if acceptor.is_some() { "https" } else { "http" };
        let shared = Arc::new(Shared {
            script,
            seen: Mutex::default(),
            n_busy: AtomicUsize::new(0),
            most_busy: AtomicUsize::new(0),
        });
        let task = tokio::spawn(serve(listener, acceptor, Arc::clone(&shared)));
        Server {
            address,
            scheme,
            shared,
            task,
        }
    }

    pub fn port(&self) -> u16 {
        self.address.port()
    }

    /// An address on this server.
    pub fn url(&self, path: &str) -> String {
        format!("{}://{}{path}", self.scheme, self.address)
    }

    /// Every request so far, robots.txt excepted.
    pub fn seen(&self) -> Vec<Seen> {
        let mut seen = self.shared.seen.lock().unwrap().clone();
        seen.retain(|seen| seen.path != "/robots.txt");
        seen
    }

    /// Lets go of the requests so far, and tells how many they were.
    pub fn forget(&self) -> usize {
        std::mem::take(&mut *self.shared.seen.lock().unwrap()).len()
    }

    /// How often robots.txt was asked for.
    pub fn n_robots(&self) -> usize {
        let seen = self.shared.seen.lock().unwrap();
        seen.iter()
            .filter(|seen| seen.path == "/robots.txt")
            .count()
    }

    /// The most requests that were being answered at one time.
    pub fn most_busy(&self) -> usize {
        self.shared.most_busy.load(Ordering::SeqCst)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // The connections' tasks live in the listener's set and end with it.
        self.task.abort();
    }
}

async fn serve(listener: TcpListener, acceptor: Option<TlsAcceptor>, shared: Arc<Shared>) {
    let mut connections = tokio::task::JoinSet::new();
    for number in 0.. {
        let Ok((stream, _)) = listener.accept().await else {
            return;
        };
        // What has ended is kept until it is asked for.
        while connections.try_join_next().is_some() {}
        let (acceptor, shared) = (acceptor.clone(), Arc::clone(&shared));
        connections.spawn(async move { accept(stream, acceptor, shared, number).await });
    }
}

async fn accept(
    stream: TcpStream,
    acceptor: Option<TlsAcceptor>,
    shared: Arc<Shared>,
    number: usize,
) {
    stream.set_nodelay(true).unwrap();
    match acceptor {
        None => converse(stream, &shared, number).await,
        // A client that turns the certificate down leaves no conversation to have.
        Some(acceptor) => {
            if let Ok(stream) = acceptor.accept(stream).await {
                converse(stream, &shared, number).await;
            }
        }
    }
}

async fn converse(mut stream: impl AsyncRead + AsyncWrite + Unpin, shared: &Shared, number: usize) {
    while let Some((path, headers)) = read_request(&mut stream).await {
        let seen = {
            let mut all = shared.seen.lock().unwrap();
            let nth = all.iter().filter(|seen| seen.path == path).count();
            let seen = Seen {
                path,
                headers,
                at: Instant::now(),
                connection: number,
                nth,
            };
            all.push(seen.clone());
            seen
        };
        let busy = shared.n_busy.fetch_add(1, Ordering::SeqCst) + 1;
        shared.most_busy.fetch_max(busy, Ordering::SeqCst);
        let ended = perform(&mut stream, (shared.script)(&seen)).await;
        shared.n_busy.fetch_sub(1, Ordering::SeqCst);
        if ended.is_none() {
            return;
        }
    }
}

/// `None` when the conversation is over.
async fn perform(
    stream: &mut (impl AsyncRead + AsyncWrite + Unpin),
    steps: Vec<Step>,
) -> Option<()> {
    for step in steps {
        match step {
            Step::Send(bytes) => write(stream, &bytes).await?,
            Step::Drip(bytes, pause) => {
                for byte in bytes {
                    tokio::time::sleep(pause).await;
                    write(stream, &[byte]).await?;
                }
            }
            Step::SendForever(bytes) => loop {
                write(stream, &bytes).await?;
            },
            Step::Hang => {
                let mut rest = Vec::new();
                stream.read_to_end(&mut rest).await.ok()?;
                return None;
            }
            Step::Close => {
                stream.shutdown().await.ok()?;
                return None;
            }
        }
    }
    Some(())
}

async fn write(stream: &mut (impl AsyncWrite + Unpin), bytes: &[u8]) -> Option<()> {
    stream.write_all(bytes).await.ok()?;
    stream.flush().await.ok()
}

async fn read_request(
    stream: &mut (impl AsyncRead + Unpin),
) -> Option<(String, Vec<(String, String)>)> {
    let mut bytes = Vec::new();
    while !bytes.ends_with(b"\r\n\r\n") {
        bytes.push(stream.read_u8().await.ok()?);
    }
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let mut lines = text.lines();
    let path = lines.next()?.split(' ').nth(1)?.to_owned();
    let headers = lines
        .filter_map(|line| line.split_once(": "))
        .map(|(name, value)| (name.to_ascii_lowercase(), value.to_owned()))
        .collect();
    Some((path, headers))
}

/// Fails a test that waits for longer than anything here should take.
pub async fn within_deadline<T>(work: impl Future<Output = T>) -> T {
    tokio::time::timeout(Duration::from_secs(20), work)
        .await
        .expect("the test's deadline")
}
