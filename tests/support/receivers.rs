//! Where bulletins arrive, on loopback: a webhook and a mail server that fail on command.

use super::specs::Dice;
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::io;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

/// What a receiver got and how it behaves.
pub struct Inbox {
    /// By bulletin: a hash of what was said, and how often it came.
    pub got: BTreeMap<String, (u64, usize)>,
    /// Bulletins that came again with other words.
    pub differing: Vec<String>,
    /// Ids in the order in which they came, repeats included.
    pub order: Vec<String>,
    pub n_conversations: usize,
    /// Conversations that failed, by what was done.
    pub failed: BTreeMap<&'static str, usize>,
    pub dice: Dice,
    /// Percent of the conversations that fail.
    pub faults_percent: i64,
    /// Nothing is taken.
    pub is_down: bool,
    /// Takes the next bulletin and never says so.
    pub swallows_next: bool,
}

/// A receiver that runs.
pub struct Receiver {
    address: SocketAddr,
    inbox: Arc<Mutex<Inbox>>,
    task: Mutex<Option<JoinHandle<()>>>,
    kind: Kind,
    swallowed: Swallowed,
}

#[derive(Debug, Clone, Copy)]
enum Kind {
    Webhook,
    Mail,
}

/// Called when a bulletin was taken and its sender will not hear of it.
type Swallowed = Arc<dyn Fn() + Send + Sync>;

impl Receiver {
    pub async fn webhook(swallowed: Swallowed) -> Receiver {
        Receiver::start(Kind::Webhook, swallowed).await
    }

    pub async fn mail() -> Receiver {
        Receiver::start(Kind::Mail, Arc::new(|| {})).await
    }

    async fn start(kind: Kind, swallowed: Swallowed) -> Receiver {
        let inbox = Inbox {
            got: BTreeMap::new(),
            differing: Vec::new(),
            order: Vec::new(),
            n_conversations: 0,
            failed: BTreeMap::new(),
            dice: Dice(77),
            faults_percent: 0,
            is_down: false,
            swallows_next: false,
        };
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let receiver = Receiver {
            address: listener.local_addr().unwrap(),
            inbox: Arc::new(Mutex::new(inbox)),
            task: Mutex::default(),
            kind,
            swallowed,
        };
        receiver.listen(listener);
        receiver
    }

    fn listen(&self, listener: TcpListener) {
        let (inbox, kind, swallowed) = (self.inbox.clone(), self.kind, self.swallowed.clone());
        let task = tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let (inbox, swallowed) = (inbox.clone(), swallowed.clone());
                // A conversation that breaks is the sender's to notice.
                tokio::spawn(async move {
                    match kind {
                        Kind::Webhook => take_post(stream, &inbox, &swallowed).await,
                        Kind::Mail => take_mail(stream, &inbox).await,
                    }
                });
            }
        });
        *self.task.lock().unwrap() = Some(task);
    }

    /// Listens no more: connections are refused.
    pub fn leave(&self) {
        if let Some(task) = self.task.lock().unwrap().take() {
            task.abort();
        }
    }

    /// Listens again where it did.
    pub fn come_back(&self) {
        let listener = std::net::TcpListener::bind(self.address).unwrap();
        listener.set_nonblocking(true).unwrap();
        self.listen(TcpListener::from_std(listener).unwrap());
    }

    pub fn inbox(&self) -> MutexGuard<'_, Inbox> {
        self.inbox.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The channel as the settings name it.
    pub fn channel(&self, id: &str, more: &str) -> String {
        let port = self.address.port();
        let way = match self.kind {
            Kind::Webhook => format!("kind = \"webhook\"\nurl = \"http://127.0.0.1:{port}/\"\n"),
            Kind::Mail => format!(
                "kind = \"mail\"\nhost = \"127.0.0.1\"\nport = {port}\ntls = \"none\"\n\
                 from = \"watch@rig.example\"\nto = [\"desk@rig.example\"]\n"
            ),
        };
        format!("[[channel]]\nid = \"{id}\"\n{way}timeout_seconds = 2\n{more}")
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        self.leave();
    }
}

impl Inbox {
    fn take(&mut self, id: String, said: &str) {
        self.order.push(id.clone());
        // Weeks of whole texts would look like a leak of the daemon's.
        let mut hasher = DefaultHasher::new();
        said.hash(&mut hasher);
        let said = hasher.finish();
        let (before, n_times) = self.got.entry(id.clone()).or_insert((said, 0));
        *n_times += 1;
        if *before != said {
            self.differing.push(id);
        }
    }

    /// How this conversation fails, if it does.
    fn fault(&mut self, ways: &[&'static str]) -> Option<&'static str> {
        self.n_conversations += 1;
        let way = match self.is_down {
            true => Some("down"),
            false if self.dice.roll(100) < self.faults_percent => Some(self.dice.pick(ways)),
            false => None,
        };
        if let Some(way) = way {
            *self.failed.entry(way).or_default() += 1;
        }
        way
    }
}

async fn take_post(stream: TcpStream, inbox: &Mutex<Inbox>, swallowed: &Swallowed) {
    let mut stream = BufReader::new(stream);
    let fault = {
        let mut inbox = inbox.lock().unwrap();
        inbox.fault(&["500", "429", "closes", "unanswered"])
    };
    if matches!(fault, Some("down" | "closes")) {
        return;
    }
    let Ok((id, body)) = read_post(&mut stream).await else {
        return;
    };
    let is_swallowed = {
        let mut inbox = inbox.lock().unwrap();
        if matches!(fault, None | Some("unanswered")) {
            inbox.take(id, &body);
        }
        fault.is_none() && std::mem::take(&mut inbox.swallows_next)
    };
    let said = match fault {
        _ if is_swallowed => return swallowed(),
        Some("unanswered") => return,
        Some("429") => "429 Later\r\nRetry-After: 120",
        Some(_) => "500 Broken",
        None => "204 Taken",
    };
    let said = format!("HTTP/1.1 {said}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n");
    let _ = stream.write_all(said.as_bytes()).await;
}

async fn read_post(stream: &mut BufReader<TcpStream>) -> io::Result<(String, String)> {
    let (mut length, mut id) = (0, String::new());
    loop {
        let mut line = String::new();
        if stream.read_line(&mut line).await? == 0 || line == "\r\n" {
            break;
        }
        let (name, value) = line.split_once(':').unwrap_or((&line, ""));
        match name.to_ascii_lowercase().as_str() {
            "content-length" => length = value.trim().parse().unwrap_or(0),
            "rigtide-bulletin" => value.trim().clone_into(&mut id),
            _ => {}
        }
    }
    let mut body = vec![0; length];
    stream.read_exact(&mut body).await?;
    Ok((id, String::from_utf8_lossy(&body).into_owned()))
}

/// As much of RFC 5321 as a delivery needs.
async fn take_mail(stream: TcpStream, inbox: &Mutex<Inbox>) {
    let fault = {
        let mut inbox = inbox.lock().unwrap();
        inbox.fault(&["451", "closes", "unanswered"])
    };
    if matches!(fault, Some("down" | "closes")) {
        return;
    }
    let _ = converse(stream, inbox, fault).await;
}

async fn converse(stream: TcpStream, inbox: &Mutex<Inbox>, fault: Option<&str>) -> io::Result<()> {
    let (read, mut write) = stream.into_split();
    let mut lines = BufReader::new(read).lines();
    write.write_all(b"220 mail.example\r\n").await?;
    while let Some(line) = lines.next_line().await? {
        let answer = match line.get(..4).unwrap_or("").to_ascii_uppercase().as_str() {
            "RCPT" if fault == Some("451") => "451 later",
            "DATA" => {
                write.write_all(b"354 go on\r\n").await?;
                let mut message = String::new();
                while let Some(line) = lines.next_line().await?.filter(|line| line != ".") {
                    message.push_str(&line);
                    message.push('\n');
                }
                let id = message
                    .lines()
                    .find_map(|line| line.strip_prefix("Message-ID: <"));
                let id = id
                    .and_then(|id| id.split('@').next())
                    .unwrap_or("")
                    .to_owned();
                inbox.lock().unwrap().take(id, &message);
                if fault == Some("unanswered") {
                    return Ok(());
                }
                "250 taken"
            }
            "QUIT" => return write.write_all(b"221 bye\r\n").await,
            _ => "250 ok",
        };
        write.write_all(format!("{answer}\r\n").as_bytes()).await?;
    }
    Ok(())
}
