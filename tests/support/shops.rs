//! Shops on loopback whose prices move by the dice and whose feeds fail in every way, for a daemon that
//! watches them for weeks.
//!
//! Their hosts have names, which resolve or not as a test wants.

use super::program::Configuration;
use super::server::{Seen, Server, Step, answer, head};
use super::specs::Dice;
use super::world::{World, as_written};
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::catalogue::{Part, render_parts};
use rigtide::feeds::http::{Fetcher, FetcherOptions, Names};
use rigtide::ledger::{Ledger, Reader};
use rigtide::market::Matcher;
use rigtide::watch::clock::Clock;
use rigtide::watch::poll::Polling;
use rigtide::watch::settings::load_settings;
use serde_json::json;
use std::collections::BTreeMap;
use std::io;
use std::net::{IpAddr, Ipv4Addr};
use std::num::NonZeroUsize;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

pub const N_SHOPS: usize = 5;
const N_PARTS: usize = 100;

/// Ways in which a feed fails for a while.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    ServerError,
    Busy,
    TooMany,
    Forbidden,
    Missing,
    Empty,
    LoginPage,
    CutShort,
    MostlyGone,
    Hangs,
    Drips,
    Garbage,
    PricesHundredfold,
    PricesZero,
    Circle,
    Closes,
    OtherCurrency,
    NotModified,
    Contradicts,
    Frozen,
    NoName,
    Refused,
}

impl Fault {
    pub const ALL: [Fault; 22] = [
        Fault::ServerError,
        Fault::Busy,
        Fault::TooMany,
        Fault::Forbidden,
        Fault::Missing,
        Fault::Empty,
        Fault::LoginPage,
        Fault::CutShort,
        Fault::MostlyGone,
        Fault::Hangs,
        Fault::Drips,
        Fault::Garbage,
        Fault::PricesHundredfold,
        Fault::PricesZero,
        Fault::Circle,
        Fault::Closes,
        Fault::OtherCurrency,
        Fault::NotModified,
        Fault::Contradicts,
        Fault::Frozen,
        Fault::NoName,
        Fault::Refused,
    ];
}

/// What a shop asks for one part.
#[derive(Debug, Clone, Copy)]
struct Ask {
    usual: i64,
    minor: i64,
    in_stock: bool,
    listed: bool,
}

/// What the shops say and how they fare.
pub struct State {
    pub dice: Dice,
    /// By shop and part.
    asks: Vec<Vec<Ask>>,
    /// By shop and feed, with the end of each.
    faults: BTreeMap<(usize, usize), (Fault, DateTime<Utc>)>,
    /// Percent of the polls that find a feed newly broken.
    pub faults_percent: i64,
    /// Percent of the offers that move at a poll.
    pub moves_percent: i64,
    /// Which faults a request met, and how often.
    pub met: BTreeMap<Fault, usize>,
    pub n_requests: usize,
    /// No name resolves.
    pub is_dns_gone: bool,
    /// No host can be reached.
    pub is_network_gone: bool,
}

/// The shops, their configuration and the daemon's clock.
pub struct Shops {
    pub configuration: Configuration,
    pub clock: Clock,
    state: Arc<Mutex<State>>,
    servers: Vec<Server>,
    parts: Vec<String>,
    gtins: Vec<String>,
    n_feeds: usize,
}

type Watched = Arc<dyn Fn() + Send + Sync>;

impl Shops {
    /// Opens the shops with so many feeds each. `asked` hears of every request.
    pub async fn open(seed: u64, n_feeds: usize, clock: Clock, asked: Watched) -> Shops {
        let world = World::generate(seed, N_PARTS);
        let parts: Vec<String> = world
            .catalogue
            .parts
            .keys()
            .map(ToString::to_string)
            .collect();
        let gtins = world.catalogue.parts.values();
        let gtins = gtins.map(|part| part.gtins[0].to_string()[1..].to_owned());
        let gtins: Vec<String> = gtins.collect();
        let usual = |shop: usize| -> Vec<Ask> {
            let asks = parts.iter().map(|part| {
                let mut listed = world.listed.iter().filter(|one| one.part.as_str() == part);
                let minor = listed.nth(shop).unwrap().price.minor();
                Ask {
                    usual: minor,
                    minor,
                    in_stock: true,
                    listed: true,
                }
            });
            asks.collect()
        };
        let state = State {
            dice: Dice(seed ^ 0x5409),
            asks: (0..N_SHOPS).map(usual).collect(),
            faults: BTreeMap::new(),
            faults_percent: 0,
            moves_percent: 0,
            met: BTreeMap::new(),
            n_requests: 0,
            is_dns_gone: false,
            is_network_gone: false,
        };
        let configuration = Configuration::new("2026-03-02T06:00:00Z");
        let written: Vec<Part> = world.catalogue.parts.values().map(as_written).collect();
        configuration.write("catalogue/parts.toml", render_parts(&[], &written));
        configuration.write("catalogue/workloads.toml", world.workloads_file());
        let mut shops = Shops {
            configuration,
            clock,
            state: Arc::new(Mutex::new(state)),
            servers: Vec::new(),
            parts,
            gtins,
            n_feeds,
        };
        for shop in 0..N_SHOPS {
            let script = shops.script(shop, asked.clone());
            shops.servers.push(Server::start(script).await);
            let file = format!("retailers/shop{shop}.toml");
            let retailer = shops.retailer(shop);
            shops.configuration.write(&file, retailer);
        }
        shops
    }

    pub fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Lets go of what the servers remember of requests, and tells how many each had since.
    pub fn forget(&self) -> usize {
        self.servers.iter().map(Server::forget).sum()
    }

    /// How many offers are on the market.
    pub fn listed(&self) -> usize {
        let reader = Reader::open(&self.configuration.path("ledger.sqlite")).unwrap();
        reader.listed(None).unwrap().len()
    }

    /// All that a daemon needs, opened anew as after a start.
    pub fn polling(&self) -> Polling {
        let settings = load_settings(&self.configuration.path("")).unwrap();
        let options = FetcherOptions {
            identity: settings.identity.clone(),
            extra_roots: Vec::new(),
            spool_directory: None,
        };
        Polling {
            fetcher: Arc::new(Fetcher::with_names(options, self.names()).unwrap()),
            matcher: Arc::new(Matcher::new(&settings.catalogue)),
            ledger: Arc::new(Mutex::new(
                Ledger::open(&self.configuration.path("ledger.sqlite")).unwrap(),
            )),
            settings: Arc::new(settings),
            readers: NonZeroUsize::MIN,
        }
    }

    /// Names of the shops' hosts. Nobody listens at 127.0.0.2.
    fn names(&self) -> Names {
        let (state, clock) = (self.state.clone(), self.clock.clone());
        Arc::new(move |host| {
            let mut state = state.lock().unwrap_or_else(PoisonError::into_inner);
            let mut words = host.split(['-', '.']);
            let mut number = || {
                words
                    .next()?
                    .trim_start_matches(char::is_alphabetic)
                    .parse()
                    .ok()
            };
            let place: Option<(usize, usize)> = number().zip(number());
            let fault = place.and_then(|place| state.fault(place, clock.now()));
            if state.is_dns_gone || fault == Some(Fault::NoName) {
                *state.met.entry(Fault::NoName).or_default() += 1;
                return Err(io::Error::other("no such name"));
            }
            let last = match state.is_network_gone || fault == Some(Fault::Refused) {
                true => 2,
                false => 1,
            };
            if last == 2 {
                *state.met.entry(Fault::Refused).or_default() += 1;
            }
            Ok(vec![IpAddr::V4(Ipv4Addr::new(127, 0, 0, last))])
        })
    }

    /// The first of every ten feeds hourly, the others twice a day.
    fn retailer(&self, shop: usize) -> String {
        let mut text = format!(
            "name = \"Shop {shop}\"\ncountry = \"DE\"\ncurrency = \"EUR\"\nprices_include_tax = true\n"
        );
        for feed in 0..self.n_feeds {
            let (minute, hour) = ((shop * 11 + feed * 5) % 60, feed % 12);
            let schedule = match feed % 10 {
                0 => format!("{minute} * * * *"),
                _ => format!("{minute} {hour}-23/12 * * *"),
            };
            let format = match feed % 2 {
                0 => "format = \"json\"",
                _ => "format = \"csv\"\ndelimiter = \",\"",
            };
            text.push_str(&format!(
                "[[feed]]\nid = \"feed{feed}\"\nurl = \"http://shop{shop}-{feed}.example:{}/{feed}\"\n\
                 {format}\nschedule = \"{schedule}\"\nminimum_interval_s = 0\nconnect_limit_s = 1\n\
                 read_limit_s = 1\ntotal_limit_s = 2\nallow_private_addresses = true\n\
                 fields = {{ sku = \"sku\", title = \"title\", gtin = \"gtin\", price = \"price\", \
                 currency = \"currency\", availability = \"stock\" }}\n",
                self.servers[shop].port(),
            ));
        }
        text
    }

    fn script(
        &self,
        shop: usize,
        asked: Watched,
    ) -> impl Fn(&Seen) -> Vec<Step> + Send + Sync + use<> {
        let (state, clock) = (self.state.clone(), self.clock.clone());
        let (parts, gtins, n_feeds) = (self.parts.clone(), self.gtins.clone(), self.n_feeds);
        move |seen| {
            let steps = {
                let mut state = state.lock().unwrap_or_else(PoisonError::into_inner);
                let feed = seen.path.trim_start_matches('/').parse().unwrap_or(0);
                let catalogue = (parts.as_slice(), gtins.as_slice());
                state.answer((shop, feed), n_feeds, catalogue, clock.now(), seen)
            };
            asked();
            steps
        }
    }
}

/// A brief over the eight usual roles; `more` comes before its tables.
pub fn brief(name: &str, budget: &str, channels: &str, more: &str) -> String {
    let mut text = format!(
        "name = \"{name}\"\nbudget = \"{budget}\"\ncurrency = \"EUR\"\ncountry = \"DE\"\nchannels = [{channels}]\n"
    );
    for (number, weight) in [(0, 2), (1, 3), (2, 1)] {
        text.push_str(&format!(
            "[[workload]]\nuse = \"use-{number}\"\nweight = {weight}\n"
        ));
    }
    for kind in [
        "cpu", "cooler", "board", "memory", "gpu", "storage", "psu", "case",
    ] {
        text.push_str(&format!("[[role]]\nid = \"{kind}\"\nkind = \"{kind}\"\n"));
    }
    text + more
}

impl State {
    /// The fault of a feed that lasts.
    fn fault(&mut self, place: (usize, usize), now: DateTime<Utc>) -> Option<Fault> {
        let (fault, until) = *self.faults.get(&place)?;
        if until <= now {
            self.faults.remove(&place);
            return None;
        }
        Some(fault)
    }

    fn answer(
        &mut self,
        place: (usize, usize),
        n_feeds: usize,
        (parts, gtins): (&[String], &[String]),
        now: DateTime<Utc>,
        seen: &Seen,
    ) -> Vec<Step> {
        self.n_requests += 1;
        let (shop, feed) = place;
        let mut fault = self.fault(place, now);
        if fault.is_none() && self.dice.roll(100) < self.faults_percent {
            let new = Fault::ALL[self.dice.roll(Fault::ALL.len() as i64) as usize];
            let hours = match new {
                // These take real time.
                Fault::Hangs | Fault::Drips => 1,
                _ => 1 + self.dice.roll(30),
            };
            self.faults
                .insert(place, (new, now + TimeDelta::hours(hours)));
            fault = Some(new);
        }
        if let Some(fault) = fault {
            *self.met.entry(fault).or_default() += 1;
        }
        if fault != Some(Fault::Frozen) {
            self.move_prices(shop, feed, n_feeds);
        }
        let asks = self.asks[shop].iter().enumerate();
        let asks = asks.filter(|(number, ask)| number % n_feeds == feed && ask.listed);
        let mut offers: Vec<[String; 6]> = asks
            .map(|(number, ask)| {
                let minor = match fault {
                    Some(Fault::PricesHundredfold) => ask.minor * 100,
                    Some(Fault::PricesZero) => 0,
                    _ => ask.minor,
                };
                [
                    format!("S{number}"),
                    parts[number].clone(),
                    gtins[number].clone(),
                    format!("{}.{:02}", minor / 100, minor % 100),
                    if fault == Some(Fault::OtherCurrency) {
                        "USD"
                    } else {
                        "EUR"
                    }
                    .to_owned(),
                    if ask.in_stock {
                        "in stock"
                    } else {
                        "out of stock"
                    }
                    .to_owned(),
                ]
            })
            .collect();
        match fault {
            Some(Fault::MostlyGone) => offers.truncate(1),
            Some(Fault::Contradicts) => {
                let mut other = offers[0].clone();
                other[3] = "1.23".to_owned();
                offers.push(other);
            }
            _ => {}
        }
        let body = match feed % 2 {
            0 => as_json(&offers),
            _ => as_csv(&offers),
        };
        broken(fault, feed, body, seen)
    }

    fn move_prices(&mut self, shop: usize, feed: usize, n_feeds: usize) {
        for number in (feed..self.asks[shop].len()).step_by(n_feeds) {
            if self.dice.roll(100) >= self.moves_percent {
                continue;
            }
            let (what, by) = (self.dice.roll(40), self.dice.roll(13) - 6);
            let ask = &mut self.asks[shop][number];
            match what {
                0 | 1 => ask.in_stock = !ask.in_stock,
                2 => ask.listed = !ask.listed,
                // Too good to be believed at once.
                3 => ask.minor = ask.usual / 5,
                _ => {
                    let minor = ask.minor * (100 + by) / 100;
                    ask.minor = minor.clamp(ask.usual * 6 / 10, ask.usual * 14 / 10);
                }
            }
        }
    }
}

const KEYS: [&str; 6] = ["sku", "title", "gtin", "price", "currency", "stock"];

fn as_json(offers: &[[String; 6]]) -> String {
    let offers = offers.iter().map(|offer| {
        let pairs = KEYS.iter().zip(offer);
        let pairs = pairs.map(|(key, value)| ((*key).to_owned(), json!(value)));
        serde_json::Value::Object(pairs.collect())
    });
    serde_json::Value::Array(offers.collect()).to_string()
}

fn as_csv(offers: &[[String; 6]]) -> String {
    let lines = offers.iter().map(|offer| offer.join(",") + "\n");
    KEYS.join(",") + "\n" + &lines.collect::<String>()
}

/// The answer, as the fault makes it. Every other feed knows what it said before.
fn broken(fault: Option<Fault>, feed: usize, body: String, seen: &Seen) -> Vec<Step> {
    let kind = match feed % 2 {
        0 => "application/json",
        _ => "text/csv",
    };
    let page =
        "<!doctype html><html><title>Log in</title><form><input type=\"password\"></form></html>";
    match fault {
        Some(Fault::ServerError) => reply(500, &[], "oops"),
        Some(Fault::Busy) => reply(503, &[("Retry-After", "3600")], ""),
        Some(Fault::TooMany) => reply(429, &[("Retry-After", "600")], ""),
        Some(Fault::Forbidden) => reply(403, &[], ""),
        Some(Fault::Missing) => reply(404, &[], ""),
        Some(Fault::Empty) => reply(200, &[("Content-Type", kind)], ""),
        Some(Fault::LoginPage) => reply(200, &[("Content-Type", "text/html")], page),
        Some(Fault::CutShort) => {
            let length = body.len().to_string();
            let mut half = head(
                200,
                &[
                    ("Content-Type", kind),
                    ("Content-Length", &length),
                    ("Connection", "close"),
                ],
            );
            half.extend_from_slice(&body.as_bytes()[..body.len() / 2]);
            vec![Step::Send(half), Step::Close]
        }
        Some(Fault::Hangs) => vec![Step::Hang],
        Some(Fault::Drips) => {
            let length = body.len().to_string();
            let start = head(
                200,
                &[
                    ("Content-Type", kind),
                    ("Content-Length", &length),
                    ("Connection", "close"),
                ],
            );
            let pause = Duration::from_millis(400);
            vec![Step::Send(start), Step::Drip(body.into_bytes(), pause)]
        }
        Some(Fault::Garbage) => {
            let bytes: Vec<u8> = body.bytes().map(|byte| byte ^ 0xa5).collect();
            reply(200, &[("Content-Type", kind)], bytes)
        }
        Some(Fault::Circle) => reply(302, &[("Location", seen.path.as_str())], ""),
        Some(Fault::Closes) => vec![Step::Close],
        Some(Fault::NotModified) => reply(304, &[], ""),
        _ if feed % 4 < 2 => {
            let tag = format!(
                "\"{:x}\"",
                body.bytes().fold(7_u64, |sum, byte| {
                    sum.wrapping_mul(0x0100_0000_01b3) ^ u64::from(byte)
                })
            );
            match seen.header("if-none-match") == Some(tag.as_str()) {
                true => reply(304, &[("ETag", &tag)], ""),
                false => reply(200, &[("Content-Type", kind), ("ETag", &tag)], body),
            }
        }
        _ => reply(200, &[("Content-Type", kind)], body),
    }
}

/// A whole answer, after which names are looked up again.
fn reply(status: u16, headers: &[(&str, &str)], body: impl AsRef<[u8]>) -> Vec<Step> {
    let headers = [headers, &[("Connection", "close")]].concat();
    let mut steps = answer(status, &headers, body);
    steps.push(Step::Close);
    steps
}
