//! A receiver on loopback that answers by a script and keeps what it was sent.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

/// A status and perhaps a header.
pub(super) type Answer = (u16, Option<(&'static str, &'static str)>);

#[derive(Debug, Clone)]
pub(super) struct Request {
    /// By lower-case name.
    pub headers: BTreeMap<String, String>,
    pub body: String,
}

pub(super) struct Receiver {
    pub url: String,
    requests: Arc<Mutex<Vec<Request>>>,
    server: JoinHandle<()>,
}

impl Receiver {
    /// Answers by the script, one request on each connection, and with 500 after its end.
    pub async fn start(answers: &[Answer]) -> Receiver {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}/hook", listener.local_addr().unwrap());
        let requests = Arc::new(Mutex::new(Vec::new()));
        let server = tokio::spawn(serve(listener, answers.to_vec(), Arc::clone(&requests)));
        Receiver {
            url,
            requests,
            server,
        }
    }

    /// Stops the server and returns the requests in their order.
    pub async fn stop(self) -> Vec<Request> {
        self.server.abort();
        let ended = self.server.await;
        assert!(ended.is_ok() || ended.is_err_and(|error| error.is_cancelled()));
        self.requests.lock().unwrap().clone()
    }
}

async fn serve(listener: TcpListener, script: Vec<Answer>, requests: Arc<Mutex<Vec<Request>>>) {
    let mut script = script.into_iter();
    loop {
        let (connection, _) = listener.accept().await.unwrap();
        let mut connection = BufReader::new(connection);
        let request = read_request(&mut connection).await;
        requests.lock().unwrap().push(request);
        let (status, header) = script.next().unwrap_or((500, None));
        let header = header.map_or(String::new(), |(name, value)| {
            format!("{name}: {value}\r\n")
        });
        let answer =
            format!("HTTP/1.1 {status} \r\n{header}content-length: 0\r\nconnection: close\r\n\r\n");
        connection.write_all(answer.as_bytes()).await.unwrap();
        connection.shutdown().await.unwrap();
    }
}

async fn read_request(connection: &mut BufReader<TcpStream>) -> Request {
    let mut lines = Vec::new();
    loop {
        let mut line = String::new();
        connection.read_line(&mut line).await.unwrap();
        match line.trim_end() {
            "" => break,
            text => lines.push(text.to_owned()),
        }
    }
    assert_eq!(lines[0], "POST /hook HTTP/1.1");
    let headers: BTreeMap<String, String> = lines[1..]
        .iter()
        .filter_map(|line| line.split_once(": "))
        .map(|(name, value)| (name.to_ascii_lowercase(), value.to_owned()))
        .collect();
    let mut body = vec![0; headers["content-length"].parse().unwrap()];
    connection.read_exact(&mut body).await.unwrap();
    let body = String::from_utf8(body).unwrap();
    Request { headers, body }
}
