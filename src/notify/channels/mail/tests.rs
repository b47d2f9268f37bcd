//! Mail against a server on loopback that answers by a script.

use super::*;
use crate::notify::samples::{bulletin, channel};
use std::sync::Arc;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

/// What a server on loopback answers to each RCPT, by the receiver; 250 to the others.
type Refusals = Vec<(&'static str, Vec<&'static str>)>;
type Taken = Arc<Mutex<Vec<(String, String)>>>;

/// Speaks as much of RFC 5321 as a delivery needs, and keeps who got what.
struct Server {
    port: u16,
    taken: Taken,
    task: JoinHandle<()>,
}

impl Drop for Server {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl Server {
    async fn start(refusals: Refusals, closes_at_once: bool) -> Server {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let taken = Taken::default();
        let (kept, refusals) = (Arc::clone(&taken), Arc::new(Mutex::new(refusals)));
        let task = tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let talk = converse(stream, Arc::clone(&kept), Arc::clone(&refusals));
                if !closes_at_once {
                    // A connection that fails is the client's to notice.
                    let _ = talk.await;
                }
            }
        });
        Server { port, taken, task }
    }

    fn channel(&self, to: &str) -> Arc<dyn Channel> {
        channel(&format!(
            "kind = \"mail\"\nhost = \"127.0.0.1\"\nport = {}\ntls = \"none\"\n\
             from = \"Watch <watch@rig.example>\"\nto = [{to}]\ntimeout_seconds = 5",
            self.port
        ))
    }

    fn taken(&self) -> Vec<(String, String)> {
        self.taken.lock().unwrap().clone()
    }
}

async fn converse(
    stream: TcpStream,
    taken: Taken,
    refusals: Arc<Mutex<Refusals>>,
) -> std::io::Result<()> {
    let (read, mut write) = stream.into_split();
    let mut lines = BufReader::new(read).lines();
    write.write_all(b"220 mail.example\r\n").await?;
    let mut receiver = String::new();
    while let Some(line) = lines.next_line().await? {
        let answer = match line.get(..4).unwrap_or("").to_ascii_uppercase().as_str() {
            "RCPT" => {
                receiver = line[8..].trim_matches(['<', '>']).to_owned();
                let mut refusals = refusals.lock().unwrap();
                let next = refusals
                    .iter_mut()
                    .find(|(who, answers)| *who == receiver && !answers.is_empty());
                next.map_or("250 ok", |(_, answers)| answers.remove(0))
                    .to_owned()
            }
            "DATA" => {
                write.write_all(b"354 go on\r\n").await?;
                let mut message = String::new();
                while let Some(line) = lines.next_line().await?.filter(|line| line != ".") {
                    message.push_str(&line);
                    message.push('\n');
                }
                taken.lock().unwrap().push((receiver.clone(), message));
                "250 taken".to_owned()
            }
            "QUIT" => return write.write_all(b"221 bye\r\n").await,
            _ => "250 ok".to_owned(),
        };
        write.write_all(format!("{answer}\r\n").as_bytes()).await?;
    }
    Ok(())
}

#[tokio::test]
async fn a_mail_is_text_and_html_and_a_repeat_is_the_same() {
    // Pitfalls N01 and N06.
    let server = Server::start(Vec::new(), false).await;
    for _ in 0..2 {
        let channel = server.channel("\"Ann <ann@desk.example>\"");
        channel.send(&bulletin()).await.unwrap();
    }
    let taken = server.taken();
    assert_eq!(taken.len(), 2);
    assert_eq!(taken[0], taken[1]);
    insta::assert_snapshot!(taken[0].1);
}

#[tokio::test]
async fn only_the_receiver_who_was_put_off_is_tried_again() {
    // Pitfall N04.
    let refusals = vec![("b@desk.example", vec!["451 try later"])];
    let server = Server::start(refusals, false).await;
    let channel = server.channel("\"a@desk.example\", \"b@desk.example\"");
    let fault = channel.send(&bulletin()).await.unwrap_err();
    let DeliveryFault::Passing { reason, .. } = fault else {
        panic!("{fault:?}");
    };
    assert!(
        reason.starts_with("b@desk.example: ") && reason.contains("451"),
        "{reason}"
    );
    channel.send(&bulletin()).await.unwrap();
    let receivers: Vec<String> = server.taken().into_iter().map(|(who, _)| who).collect();
    assert_eq!(receivers, ["a@desk.example", "b@desk.example"]);
}

#[tokio::test]
async fn a_receiver_who_is_refused_for_good_is_given_up_once_the_others_have_it() {
    // Pitfall N03.
    let refusals = vec![("a@desk.example", vec!["550 no such box", "550 asked twice"])];
    let server = Server::start(refusals, false).await;
    let channel = server.channel("\"a@desk.example\", \"b@desk.example\"");
    for _ in 0..2 {
        let fault = channel.send(&bulletin()).await.unwrap_err();
        let DeliveryFault::Permanent { reason } = fault else {
            panic!("{fault:?}");
        };
        assert!(reason.contains("no such box"), "{reason}");
    }
    assert_eq!(server.taken().len(), 1);
}

#[tokio::test]
async fn a_server_that_closes_or_is_not_there_is_tried_again() {
    let server = Server::start(Vec::new(), true).await;
    let fault = server.channel("\"a@desk.example\"").send(&bulletin()).await;
    assert!(
        matches!(fault, Err(DeliveryFault::Passing { .. })),
        "{fault:?}"
    );
    let channel = server.channel("\"a@desk.example\"");
    drop(server);
    let fault = channel.send(&bulletin()).await;
    assert!(
        matches!(fault, Err(DeliveryFault::Passing { .. })),
        "{fault:?}"
    );
}
