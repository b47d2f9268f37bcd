//! A thousand feeds on loopback, polled side by side again and again.

use crate::{N_FEEDS, N_ROUNDS, OFFERS_A_FEED};
use anyhow::{Result, ensure};
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::feeds::http::{Fetcher, FetcherOptions};
use rigtide::ledger::Ledger;
use rigtide::market::Matcher;
use rigtide::watch::cycle::poll_all;
use rigtide::watch::poll::Polling;
use rigtide::watch::settings::load_settings;
use std::fmt::Write as _;
use std::fs;
use std::net::{IpAddr, Ipv4Addr};
use std::num::NonZeroUsize;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Instant;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};

pub struct Many {
    pub polls_a_second: f64,
    pub resident_early_mib: f64,
    pub resident_late_mib: f64,
    pub peak_mib: f64,
}

pub fn measure() -> Result<Many> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    runtime.block_on(run())
}

async fn run() -> Result<Many> {
    let listener = TcpListener::bind("127.0.0.1:0").await?;
    let port = listener.local_addr()?.port();
    let serving = tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            tokio::spawn(serve(stream));
        }
    });
    let folder = tempfile::tempdir()?;
    write(folder.path(), port)?;
    let settings = load_settings(folder.path()).map_err(|faults| anyhow::anyhow!("{faults:?}"))?;
    let options = FetcherOptions {
        identity: settings.identity.clone(),
        extra_roots: Vec::new(),
        spool_directory: None,
    };
    let names = Arc::new(|_: &str| Ok(vec![IpAddr::V4(Ipv4Addr::LOCALHOST)]));
    let polling = Polling {
        fetcher: Arc::new(Fetcher::with_names(options, names)?),
        matcher: Arc::new(Matcher::new(&settings.catalogue)),
        ledger: Arc::new(Mutex::new(Ledger::open(&settings.ledger)?)),
        settings: Arc::new(settings),
        readers: NonZeroUsize::MIN,
    };
    let feeds = polling.settings.feeds.clone();
    let mut now: DateTime<Utc> = "2026-03-02T06:00:00Z".parse()?;
    let mut resident_early_mib = 0.0;
    // The first brings robots.txt and everything new; it is not counted.
    let mut begun = Instant::now();
    for round in 0..=N_ROUNDS {
        let reports = poll_all(&polling, &feeds, now, &mut |_| {}).await?;
        let failed = reports.iter().find(|report| report.status != "fresh");
        ensure!(failed.is_none(), "{failed:?}");
        now += TimeDelta::minutes(5);
        match round {
            0 => begun = Instant::now(),
            2 => resident_early_mib = status_mib("VmRSS:"),
            _ => {}
        }
    }
    let took = begun.elapsed().as_secs_f64();
    serving.abort();
    Ok(Many {
        polls_a_second: (N_FEEDS * N_ROUNDS) as f64 / took,
        resident_early_mib,
        resident_late_mib: status_mib("VmRSS:"),
        peak_mib: status_mib("VmHWM:"),
    })
}

/// A line of proc_pid_status(5).
fn status_mib(key: &str) -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix(key));
    let kib = line.and_then(|line| line.trim().split(' ').next()?.parse::<f64>().ok());
    kib.unwrap_or(f64::NAN) / 1_024.0
}

fn write(directory: &Path, port: u16) -> Result<()> {
    for folder in ["catalogue", "retailers", "briefs"] {
        fs::create_dir(directory.join(folder))?;
    }
    fs::write(
        directory.join("rigtide.toml"),
        "contact = \"mailto:editor@guide.example\"\n",
    )?;
    let mut retailer = "name = \"Market\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n".to_owned();
    for feed in 0..N_FEEDS {
        let _ = write!(
            retailer,
            "[[feed]]\nid = \"f{feed}\"\nurl = \"http://f{feed}.example:{port}/{feed}\"\nformat = \"csv\"\n\
             delimiter = \",\"\nminimum_interval_s = 0\nallow_private_addresses = true\n\
             fields = {{ sku = \"sku\", title = \"title\", price = \"price\", availability = \"stock\" }}\n"
        );
    }
    fs::write(directory.join("retailers/market.toml"), retailer)?;
    Ok(())
}

/// Answers each request of a connection; a third of the offers have another price each time.
async fn serve(stream: TcpStream) {
    let mut stream = BufReader::new(stream);
    for nth in 0_usize.. {
        let mut path = String::new();
        loop {
            let mut line = String::new();
            match stream.read_line(&mut line).await {
                Ok(0) | Err(_) => return,
                Ok(_) if line == "\r\n" => break,
                Ok(_) if path.is_empty() => {
                    line.split(' ')
                        .nth(1)
                        .unwrap_or_default()
                        .clone_into(&mut path);
                }
                Ok(_) => {}
            }
        }
        let (status, body) = match path.as_str() {
            "/robots.txt" => ("404 Not Found", String::new()),
            _ => ("200 OK", offers(path.trim_start_matches('/'), nth)),
        };
        let length = body.len();
        let head = format!(
            "HTTP/1.1 {status}\r\nContent-Type: text/csv\r\nContent-Length: {length}\r\n\r\n"
        );
        if stream.write_all((head + &body).as_bytes()).await.is_err() {
            return;
        }
    }
}

fn offers(feed: &str, nth: usize) -> String {
    let mut text = "sku,title,price,stock\n".to_owned();
    for offer in 0..OFFERS_A_FEED {
        let moved = if offer % 3 == nth % 3 { nth % 7 } else { 0 };
        let price = 100 + offer + moved;
        let _ = writeln!(
            text,
            "{feed}-{offer},Board of house {feed} no {offer},{price}.00,in stock"
        );
    }
    text
}
