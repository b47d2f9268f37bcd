//! What is fuzzed, and what must hold whatever is read.

use super::{Target, corpus};
use chrono::{DateTime, TimeDelta, Timelike, Utc};
use rigtide::catalogue::load_catalogue;
use rigtide::catalogue::table::Document;
use rigtide::feeds::decode::{Context, decode, decode_links};
use rigtide::feeds::mapping::FormatSettings;
use rigtide::feeds::robots::{RobotsRules, Verdict};
use rigtide::feeds::source::SourceSettings;
use rigtide::market::{
    Brief, NormaliseSettings, Normalised, Offer, RawOffer, Reject, Retailer, normalise,
};
use rigtide::money::{
    Currency, NumberMarks, PriceContext, PriceOrigin, parse_charge, parse_currency, parse_price,
};
use rigtide::watch::schedule::Schedule;
use std::fmt::Debug;
use std::ops::ControlFlow;
use std::sync::LazyLock;
use std::time::Duration;

pub const PRICE: Target = Target {
    name: "price",
    seeds: corpus::PRICES,
    words: corpus::PRICE_WORDS,
    check: check_price,
};
pub const CSV: Target = Target {
    name: "csv",
    seeds: corpus::CSV,
    words: corpus::CSV_WORDS,
    check: |body| check_decoders(&CSV_FEEDS, body),
};
pub const JSON: Target = Target {
    name: "json",
    seeds: corpus::JSON,
    words: corpus::JSON_WORDS,
    check: |body| check_decoders(&JSON_FEEDS, body),
};
pub const XML: Target = Target {
    name: "xml",
    seeds: corpus::XML,
    words: corpus::XML_WORDS,
    check: |body| check_decoders(&XML_FEEDS, body),
};
pub const HTML: Target = Target {
    name: "html",
    seeds: corpus::HTML,
    words: corpus::HTML_WORDS,
    check: check_html,
};
pub const ROBOTS: Target = Target {
    name: "robots",
    seeds: corpus::ROBOTS,
    words: corpus::ROBOTS_WORDS,
    check: check_robots,
};
pub const SCHEDULE: Target = Target {
    name: "schedule",
    seeds: corpus::SCHEDULES,
    words: corpus::SCHEDULE_WORDS,
    check: check_schedule,
};
pub const SETTINGS: Target = Target {
    name: "settings",
    seeds: corpus::SETTINGS,
    words: corpus::SETTINGS_WORDS,
    check: check_settings,
};

/// No message repeats more than this of what it complains about, in characters.
const MESSAGE_MAX: usize = 4_000;

fn now() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::days(20_000)
}

/// The first word of a value's debug form: the name of its variant.
fn variant(value: &impl Debug) -> String {
    let text = format!("{value:?}");
    let end = text.find(|one: char| !one.is_alphanumeric());
    text[..end.unwrap_or(text.len())].to_owned()
}

fn check_price(bytes: &[u8]) -> String {
    static CONTEXTS: LazyLock<Vec<PriceContext>> = LazyLock::new(|| {
        let context = |locale, currency: Option<&str>, origin| PriceContext {
            marks: NumberMarks::of_locale(locale),
            currency: currency.map(|code| Currency::parse(code).unwrap()),
            origin,
            ..PriceContext::default()
        };
        vec![
            context("", None, PriceOrigin::Person),
            context("de", Some("EUR"), PriceOrigin::Person),
            context("en", Some("KWD"), PriceOrigin::Machine),
            PriceContext {
                minor_units: true,
                ..context("fr", Some("JPY"), PriceOrigin::Person)
            },
        ]
    });
    let text = String::from_utf8_lossy(bytes);
    let mut answer = String::new();
    for context in CONTEXTS.iter() {
        match parse_price(&text, context) {
            Ok(reading) => {
                assert!(reading.amount.minor() > 0, "{reading:?}");
                assert!(reading.minimum_quantity > 0, "{reading:?}");
                assert!(reading.shipping.is_none_or(|amount| amount.minor() >= 0));
                if let Some(list) = reading.list_price {
                    assert!(list >= reading.amount, "{reading:?}");
                }
                assert!(reading.notes.len() <= text.len(), "{reading:?}");
                answer += "price";
                reading
                    .notes
                    .iter()
                    .for_each(|note| answer += &variant(note));
            }
            Err(fault) => {
                assert!(fault.to_string().chars().count() < MESSAGE_MAX, "{fault}");
                answer += &variant(&fault);
            }
        }
        answer += match parse_charge(&text, context) {
            Ok(charge) => {
                assert!(charge.minor() >= 0, "{charge}");
                " charge "
            }
            Err(_) => " ",
        };
        let _ = parse_currency(&text, context.currency);
    }
    answer
}

/// A feed's settings, read once.
struct Feed {
    format: FormatSettings,
    normalise: NormaliseSettings,
}

static CSV_FEEDS: LazyLock<Vec<Feed>> = LazyLock::new(|| feeds(corpus::CSV_SETTINGS));
static JSON_FEEDS: LazyLock<Vec<Feed>> = LazyLock::new(|| feeds(corpus::JSON_SETTINGS));
static XML_FEEDS: LazyLock<Vec<Feed>> = LazyLock::new(|| feeds(corpus::XML_SETTINGS));
static HTML_FEEDS: LazyLock<Vec<Feed>> = LazyLock::new(|| feeds(corpus::HTML_SETTINGS));

fn feeds(texts: &[&str]) -> Vec<Feed> {
    texts.iter().map(|text| feed(text)).collect()
}

fn feed(text: &str) -> Feed {
    let retailer = "name = \"Vela\"\ncountry = \"DE\"\ncurrency = \"EUR\"\nlocale = \"de\"\n";
    let retailer = Document::parse("retailers/vela.toml", retailer);
    let retailer = Retailer::read(
        "vela",
        &mut retailer.root(),
        &rigtide::catalogue::Catalogue::default(),
    )
    .unwrap();
    let document = Document::parse("retailers/vela.toml", text);
    let mut table = document.root();
    let format = FormatSettings::read(&mut table);
    let normalise = NormaliseSettings::read(&mut table, &retailer);
    table.finish();
    assert_eq!(document.into_faults(), []);
    Feed {
        format: format.unwrap(),
        normalise: normalise.unwrap(),
    }
}

fn check_decoders(feeds: &[Feed], body: &[u8]) -> String {
    feeds
        .iter()
        .map(|feed| check_decoder(feed, body) + " ")
        .collect()
}

/// One body through one decoder and, record by record, through normalising.
fn check_decoder(feed: &Feed, body: &[u8]) -> String {
    let (mut good, mut rejected, mut answer) = (0, 0, String::new());
    let mut sink = |record: Result<RawOffer, Reject>| {
        let index = match record {
            Ok(raw) => {
                good += 1;
                check_raw(&raw, body.len());
                let came = check_normalise(&raw, feed);
                if good == 1 {
                    answer += &came;
                }
                raw.index
            }
            Err(reject) => {
                rejected += 1;
                assert!(reject.reason.chars().count() < MESSAGE_MAX, "{reject:?}");
                reject.index
            }
        };
        assert_eq!(index, good + rejected, "records are numbered without gaps");
        ControlFlow::Continue(())
    };
    let context = Context {
        address: Some("https://vela.example/parts/1"),
        body_limit: 1 << 20,
        ..Context::default()
    };
    let decoded = decode(&feed.format, &mut &*body, &context, &mut sink);
    assert!(
        good + rejected <= 1 + body.len() as u64,
        "more records than bytes"
    );
    match decoded {
        Ok(summary) => {
            assert_eq!(
                (summary.records, summary.rejected),
                (good + rejected, rejected)
            );
            let notes: usize = summary.notes.iter().map(String::len).sum();
            assert!(notes < 64 * MESSAGE_MAX, "{:?}", summary.notes);
            format!("{answer} good {} bad {}", good.min(3), rejected.min(2))
        }
        Err(fault) => {
            assert!(
                fault.to_string().chars().count() < 2 * MESSAGE_MAX,
                "{fault}"
            );
            variant(&fault)
        }
    }
}

/// A raw offer holds no more text than its mapping can take out of the body.
fn check_raw(raw: &RawOffer, n_bytes: usize) {
    let values = raw
        .fields
        .iter()
        .flat_map(|(_, values)| values)
        .map(|value| value.text.len());
    let notes = raw.notes.iter().map(String::len);
    let held: usize = values.chain(notes).sum();
    assert!(
        held <= 64 * (n_bytes + 100),
        "{held} bytes from {n_bytes}: {raw:?}"
    );
}

fn check_normalise(raw: &RawOffer, feed: &Feed) -> String {
    match normalise(raw, &feed.normalise, now()) {
        Normalised::Accepted(offer) => {
            check_offer(&offer);
            "accepted".to_owned()
        }
        Normalised::Held { offer, reason } => {
            check_offer(&offer);
            variant(&reason)
        }
        Normalised::Refused(refusal) => {
            assert_eq!(refusal.index, raw.index);
            assert!(refusal.text.chars().count() <= 200, "{refusal:?}");
            assert!(
                refusal.reason.to_string().chars().count() < MESSAGE_MAX,
                "{refusal:?}"
            );
            variant(&refusal.reason)
        }
    }
}

fn check_offer(offer: &Offer) {
    assert!(offer.price.minor() > 0, "{offer:?}");
    assert!(offer.minimum_quantity > 0, "{offer:?}");
    assert!(offer.title.chars().count() <= 300, "{offer:?}");
    assert!(!offer.title.chars().any(char::is_control), "{offer:?}");
    assert!(offer.notes.len() <= 20, "{offer:?}");
    assert!(
        offer.notes.iter().all(|note| note.chars().count() <= 200),
        "{offer:?}"
    );
    let is_web = |link: &String| link.starts_with("http://") || link.starts_with("https://");
    assert!(offer.link.as_ref().is_none_or(is_web), "{offer:?}");
}

fn check_html(body: &[u8]) -> String {
    let answer = check_decoders(&HTML_FEEDS, body);
    let context = Context {
        address: Some("https://vela.example/parts/"),
        ..Context::default()
    };
    let links = decode_links(&HTML_FEEDS[1].format, &mut &*body, &context);
    let n_links = links.map_or(0, |links| links.len());
    assert!(n_links <= body.len());
    format!("{answer} links {}", n_links.min(2))
}

fn check_robots(bytes: &[u8]) -> String {
    let rules = RobotsRules::parse(bytes, "rigtide");
    // Paths out of the file itself reach its rules.
    let text = String::from_utf8_lossy(bytes);
    let paths = text.split([' ', '\n']).filter(|word| word.starts_with('/'));
    let mut n_refused = 0;
    for path in paths.chain(["/", "/a/b.html?x=%2F&y", ""]) {
        n_refused += usize::from(matches!(rules.verdict(path), Verdict::Refused { .. }));
    }
    assert_eq!(rules.verdict("/robots.txt"), Verdict::Allowed);
    let delay = rules.crawl_delay();
    assert!(
        delay.is_none_or(|delay| delay <= Duration::from_secs(60)),
        "{delay:?}"
    );
    format!(
        "{} {} {}",
        n_refused.min(4),
        delay.is_some(),
        rules.is_unreadable
    )
}

fn check_schedule(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    // A zone whose clock jumps, and one that is half an hour off at times.
    for zone in [chrono_tz::Europe::Berlin, chrono_tz::Australia::Lord_Howe] {
        let schedule = match Schedule::parse(&text, zone) {
            Ok(schedule) => schedule,
            Err(fault) => {
                assert!(fault.to_string().len() <= 3 * bytes.len() + 100, "{fault}");
                return variant(&fault);
            }
        };
        let mut last = now();
        for _ in 0..5 {
            let next = schedule
                .next_after(last)
                .expect("a schedule that is read comes due");
            assert!(next > last, "{text}: {next} after {last}");
            assert_eq!(next.nanosecond(), 0, "{text}");
            // Beyond five fields the first is the second.
            let is_to_the_minute = text.split_whitespace().count() <= 5;
            assert!(!is_to_the_minute || next.second() == 0, "{text}");
            last = next;
        }
    }
    "due".to_owned()
}

fn check_settings(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    let (catalogue, mut faults) = load_catalogue(&[("catalogue/parts.toml", &text)]);
    let document = Document::parse("retailers/vela.toml", &text);
    let (is_read, n_feeds) = read_retailer(&document);
    let found = document.into_faults();
    assert!(is_read || !found.is_empty(), "not read, and no word why");
    faults.extend(found);
    let document = Document::parse("briefs/guide.toml", &text);
    let brief = Brief::read("guide", document.root(), &catalogue);
    let found = document.into_faults();
    assert!(
        brief.is_some() || !found.is_empty(),
        "not read, and no word why"
    );
    faults.extend(found);
    for fault in &faults {
        assert!(fault.line <= text.lines().count() + 1, "{fault}");
        let said = fault.to_string().len();
        assert!(said <= 4 * text.len() + MESSAGE_MAX, "{fault}");
    }
    // A file has a fault for every key at most, in three readings; a key takes a byte.
    assert!(
        faults.len() <= 3 * (text.len() + 100),
        "{} faults",
        faults.len()
    );
    let words: Vec<String> = faults
        .iter()
        .map(|fault| {
            fault
                .message
                .split(['"', '`'])
                .next()
                .unwrap_or("")
                .to_owned()
        })
        .collect();
    format!(
        "{is_read} {n_feeds} {} {}",
        brief.is_some(),
        words.first().map_or("", |word| word)
    )
}

/// Reads a retailer's file as the program does. False when something of it was not read.
fn read_retailer(document: &Document<'_>) -> (bool, usize) {
    let mut table = document.root();
    let retailer = Retailer::read(
        "vela",
        &mut table,
        &rigtide::catalogue::Catalogue::default(),
    );
    let (mut is_read, mut n_feeds) = (retailer.is_some(), 0);
    for mut feed in table.tables("feed") {
        n_feeds += 1;
        is_read &= feed.required_text("id").is_some();
        is_read &= SourceSettings::read(&mut feed).is_some();
        is_read &= FormatSettings::read(&mut feed).is_some();
        if let Some(retailer) = &retailer {
            is_read &= NormaliseSettings::read(&mut feed, retailer).is_some();
        }
        feed.finish();
    }
    table.finish();
    (is_read, n_feeds)
}
