//! Memory and speed on a gigabyte (pitfall F14). Run by hand, one at a time, in release:
//! `cargo test --release --lib decode::tests::measure -- --ignored --test-threads 1 --nocapture`

use super::support::read_settings;
use crate::feeds::decode::{Context, decode};
use std::io::{BufReader, Read};
use std::ops::ControlFlow;
use std::time::Instant;

const FEED_BYTES: usize = 1 << 30;
/// The promise of the README: a feed of a gigabyte needs no more.
const MEMORY_BYTES_MAX: u64 = 64 << 20;

/// A body made while it is read: a head, a record over and over, a tail.
struct Endless {
    head: &'static [u8],
    record: &'static [u8],
    tail: &'static [u8],
    n_records: usize,
    position: usize,
}

impl Read for Endless {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let (head, record) = (self.head.len(), self.record.len());
        let body = self.n_records * record;
        let rest = match self.position {
            at if at < head => &self.head[at..],
            at if at < head + body => &self.record[(at - head) % record..],
            at => &self.tail[(at - head - body).min(self.tail.len())..],
        };
        let count = rest.len().min(buffer.len());
        buffer[..count].copy_from_slice(&rest[..count]);
        self.position += count;
        Ok(count)
    }
}

fn peak_memory_bytes() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status
        .lines()
        .find(|line| line.starts_with("VmHWM:"))
        .unwrap();
    let kilobytes: u64 = line.split_whitespace().nth(1).unwrap().parse().unwrap();
    kilobytes * 1024
}

fn measure(name: &str, toml: &str, head: &'static str, record: &'static str, tail: &'static str) {
    let settings = read_settings(toml).unwrap();
    let n_records = FEED_BYTES / record.len();
    let mut body = BufReader::new(Endless {
        head: head.as_bytes(),
        record: record.as_bytes(),
        tail: tail.as_bytes(),
        n_records,
        position: 0,
    });
    let mut n_prices = 0usize;
    let mut sink = |record: Result<crate::market::RawOffer, _>| {
        let has_price = record.is_ok_and(|offer| offer.fields.has(crate::market::Field::Price));
        n_prices += usize::from(has_price);
        ControlFlow::Continue(())
    };
    let context = Context {
        records_max: u64::MAX,
        ..Context::default()
    };
    let start = Instant::now();
    decode(&settings, &mut body, &context, &mut sink).unwrap();
    let seconds = start.elapsed().as_secs_f64();
    let peak = peak_memory_bytes();
    println!(
        "{name}: {n_records} records, {:.0} MB/s, {:.0} records/s, peak {} MB",
        1024.0 / seconds,
        n_records as f64 / seconds,
        peak >> 20
    );
    assert_eq!(n_prices, n_records);
    assert!(peak < MEMORY_BYTES_MAX, "{peak} bytes");
}

// Pitfall F14 without the gigabyte: records come while the body arrives, so none waits for the end.
#[test]
fn the_first_record_comes_before_the_feed_is_read() {
    const FIELDS: &str = "[fields]\nsku = \"id\"\nprice = \"price\"\n";
    for (keys, head, record, tail) in [
        ("format = \"csv\"\n", "id,price\n", "1,2.50\n", ""),
        (
            "format = \"json\"\nrecords = \"$.offers[*]\"\n",
            "{\"offers\":[{\"id\":0}",
            ",{\"id\":1,\"price\":2.50}",
            "]}",
        ),
        (
            "format = \"ndjson\"\n",
            "",
            "{\"id\":1,\"price\":2.50}\n",
            "",
        ),
        (
            "format = \"xml\"\nrecords = \"item\"\n",
            "<feed>",
            "<item><id>1</id><price>2.50</price></item>",
            "</feed>",
        ),
    ] {
        let settings = read_settings(&format!("{keys}{FIELDS}")).unwrap();
        let mut endless = Endless {
            head: head.as_bytes(),
            record: record.as_bytes(),
            tail: tail.as_bytes(),
            n_records: FEED_BYTES / record.len(),
            position: 0,
        };
        let mut n_records = 0;
        let mut sink = |_| {
            n_records += 1;
            match n_records {
                1000 => ControlFlow::Break(()),
                _ => ControlFlow::Continue(()),
            }
        };
        let mut body = BufReader::new(&mut endless);
        let ended = decode(&settings, &mut body, &Context::default(), &mut sink);
        assert_eq!(ended.unwrap_err().code(), "stopped", "{keys}");
        let read = endless.position;
        assert!(read < 1 << 20, "{keys}: {read} bytes read for 1000 records");
    }
}

#[test]
#[ignore = "reads a gigabyte; run by hand in release"]
fn a_gigabyte_of_csv() {
    measure(
        "csv",
        "format = \"csv\"\ndelimiter = \";\"\n[fields]\nsku = \"id\"\ntitle = \"title\"\ngtin = \"ean\"\nprice = \"price\"\navailability = \"stock\"\nlink = \"url\"\n",
        "id;title;ean;price;stock;url;description\n",
        "A-1001;\"Board K650, \"\"black\"\"\";4006588234017;129,90;5;https://vela.example/parts/a-1001;A board for builds of every size, with slots and plugs\n",
        "",
    );
}

#[test]
#[ignore = "reads a gigabyte; run by hand in release"]
fn a_gigabyte_of_json() {
    measure(
        "json",
        "format = \"json\"\nrecords = \"$.offers[*]\"\n[fields]\nsku = \"id\"\ntitle = \"title\"\ngtin = \"ean\"\nprice = \"price.amount\"\ncurrency = \"price.currency\"\nlink = \"url\"\n",
        "{\"offers\":[{\"id\":\"0\",\"price\":{}}",
        ",{\"id\":\"A-1001\",\"title\":\"Board K650 \\\"black\\\"\",\"ean\":\"4006588234017\",\"price\":{\"amount\":129.90,\"currency\":\"EUR\"},\"url\":\"https://vela.example/parts/a-1001\",\"tags\":[\"a\",\"b\"]}",
        "]}",
    );
}

#[test]
#[ignore = "reads a gigabyte; run by hand in release"]
fn a_gigabyte_of_xml() {
    measure(
        "xml",
        "format = \"xml\"\nrecords = \"item\"\n[fields]\nsku = \"@id\"\ntitle = \"title\"\ngtin = \"g:gtin\"\nprice = \"g:price\"\nlink = \"link\"\n",
        "<?xml version=\"1.0\"?><feed xmlns:g=\"urn:g\">",
        "<item id=\"A-1001\"><title>Board K650 &amp; more</title><g:gtin>4006588234017</g:gtin><g:price>129.90 EUR</g:price><link>https://vela.example/parts/a-1001</link><text><![CDATA[<b>A board</b>]]></text></item>\n",
        "</feed>",
    );
}
