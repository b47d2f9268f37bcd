//! The shops over real HTTP: what they serve, conditional requests, the sale, and a clean stop.

use crate::SEED;
use crate::demo::world::{Shop, World};
use crate::demo::{Shops, WebhookReceiver};
use encoding_rs::WINDOWS_1252;
use serde_json::Value;
use std::net::SocketAddr;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// Sends one request and reads the whole answer: head and body.
async fn ask(
    address: SocketAddr,
    method: &str,
    path: &str,
    more: &str,
    body: &str,
) -> (String, Vec<u8>) {
    let mut stream = TcpStream::connect(address).await.unwrap();
    let length = body.len();
    let request = format!(
        "{method} {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\
         Content-Length: {length}\r\n{more}\r\n{body}"
    );
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.unwrap();
    let end = answer
        .windows(4)
        .position(|bytes| bytes == b"\r\n\r\n")
        .unwrap();
    let head = String::from_utf8(answer[..end].to_vec()).unwrap();
    (head, answer[end + 4..].to_vec())
}

pub async fn get(address: SocketAddr, path: &str) -> (String, Vec<u8>) {
    let (head, body) = ask(address, "GET", path, "", "").await;
    assert!(head.starts_with("HTTP/1.1 200 "), "{path}: {head}");
    (head, body)
}

pub fn header<'h>(head: &'h str, name: &str) -> &'h str {
    let lines = head.lines().filter_map(|line| line.split_once(": "));
    lines
        .filter(|(key, _)| key.eq_ignore_ascii_case(name))
        .map(|(_, value)| value)
        .next()
        .unwrap()
}

pub async fn open() -> (World, Shops) {
    let world = World::generate(SEED);
    let shops = Shops::open(&world).await.unwrap();
    (world, shops)
}

pub fn offers(world: &World, shop: Shop) -> &[crate::demo::world::Offer] {
    &world
        .stocks
        .iter()
        .find(|stock| stock.shop == shop)
        .unwrap()
        .offers
}

#[tokio::test]
async fn the_csv_export_is_windows_1252_with_german_amounts() {
    let (world, shops) = open().await;
    let (head, body) = get(shops.address(Shop::Vahrel).unwrap(), "/export/artikel.csv").await;
    assert_eq!(
        header(&head, "content-type"),
        "text/csv; charset=windows-1252"
    );
    let (text, _, had_errors) = WINDOWS_1252.decode(&body);
    assert!(!had_errors);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(b';')
        .from_reader(text.as_bytes());
    assert_eq!(reader.headers().unwrap().get(5), Some("Preis"));
    let rows: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>().unwrap();
    let expected = offers(&world, Shop::Vahrel);
    assert_eq!(rows.len(), expected.len());
    for (row, offer) in rows.iter().zip(expected) {
        assert_eq!(row.get(0), Some(offer.sku.as_str()));
        assert_eq!(row.get(1), Some(offer.title.as_str()));
        let digits: String = row[5].chars().filter(char::is_ascii_digit).collect();
        assert_eq!(digits.parse().ok(), offer.cents, "{}", &row[5]);
    }
    assert!(
        rows.iter().any(|row| row[5].starts_with("1.")),
        "no price over a thousand"
    );
}

#[tokio::test]
async fn the_json_interface_has_nested_prices_as_exact_numbers() {
    let (world, shops) = open().await;
    let (head, body) = get(shops.address(Shop::Ysmarok).unwrap(), "/api/offers.json").await;
    assert_eq!(header(&head, "content-type"), "application/json");
    let document: Value = serde_json::from_slice(&body).unwrap();
    let records = document["offers"].as_array().unwrap();
    let expected = offers(&world, Shop::Ysmarok);
    assert_eq!(records.len(), expected.len());
    for (record, offer) in records.iter().zip(expected) {
        assert_eq!(record["title"], offer.title.as_str());
        let amount = &record["price"]["amount"];
        let cents = amount
            .is_number()
            .then(|| amount.to_string().replace('.', ""));
        assert_eq!(cents.map(|cents| cents.parse().unwrap()), offer.cents);
    }
}

#[tokio::test]
async fn the_pages_are_linked_from_an_index_and_carry_schema_org_offers() {
    let (world, shops) = open().await;
    let address = shops.address(Shop::Immenk).unwrap();
    let (_, index) = get(address, "/").await;
    let index = String::from_utf8(index).unwrap();
    let html = scraper::Html::parse_document(&index);
    let anchor = scraper::Selector::parse("a.angebot").unwrap();
    let links: Vec<&str> = html
        .select(&anchor)
        .map(|link| link.attr("href").unwrap())
        .collect();
    let expected = offers(&world, Shop::Immenk);
    assert_eq!(links.len(), expected.len());
    let script = scraper::Selector::parse("script[type='application/ld+json']").unwrap();
    for (link, offer) in links.into_iter().zip(expected) {
        let (_, page) = get(address, link).await;
        let page = scraper::Html::parse_document(&String::from_utf8(page).unwrap());
        let text: String = page.select(&script).next().unwrap().text().collect();
        let product: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(product["@type"], "Product");
        assert_eq!(product["name"], offer.title.as_str());
        assert_eq!(product["offers"]["priceCurrency"], "EUR");
        let price = product["offers"]["price"]
            .as_str()
            .map(|price| price.replace('.', ""));
        assert_eq!(price.map(|price| price.parse().unwrap()), offer.cents);
    }
}

#[tokio::test]
async fn an_unchanged_page_answers_304_and_the_sale_changes_only_its_shop() {
    let (world, shops) = open().await;
    let vahrel = (shops.address(Shop::Vahrel).unwrap(), "/export/artikel.csv");
    let ysmarok = (shops.address(Shop::Ysmarok).unwrap(), "/api/offers.json");
    let mut tags = Vec::new();
    for (address, path) in [vahrel, ysmarok] {
        let (head, _) = get(address, path).await;
        let condition = format!("If-None-Match: {}\r\n", header(&head, "etag"));
        let (head, body) = ask(address, "GET", path, &condition, "").await;
        assert!(head.starts_with("HTTP/1.1 304 "), "{head}");
        assert!(body.is_empty());
        tags.push(condition);
    }
    let sale = world.sale();
    shops.start_sale(&sale);
    let (head, _) = ask(vahrel.0, "GET", vahrel.1, &tags[0], "").await;
    assert!(head.starts_with("HTTP/1.1 304 "), "{head}");
    let (head, body) = ask(ysmarok.0, "GET", ysmarok.1, &tags[1], "").await;
    assert!(head.starts_with("HTTP/1.1 200 "), "{head}");
    let document: Value = serde_json::from_slice(&body).unwrap();
    let records = document["offers"].as_array().unwrap().iter();
    let changed = records
        .zip(offers(&world, Shop::Ysmarok))
        .filter(|(record, offer)| {
            let amount = record["price"]["amount"].to_string().replace('.', "");
            offer.cents.is_some_and(|cents| amount != cents.to_string())
        });
    assert_eq!(changed.count(), sale.skus.len());
}

#[tokio::test]
async fn robots_txt_is_served_and_other_paths_and_methods_are_refused() {
    let (_, shops) = open().await;
    for shop in Shop::ALL {
        let address = shops.address(shop).unwrap();
        let (_, robots) = get(address, "/robots.txt").await;
        assert!(robots.starts_with(b"User-agent: *\n"));
        let (head, _) = ask(address, "GET", "/../etc", "", "").await;
        assert!(head.starts_with("HTTP/1.1 404 "), "{head}");
        let (head, _) = ask(address, "DELETE", "/robots.txt", "", "").await;
        assert!(head.starts_with("HTTP/1.1 405 "), "{head}");
    }
}

#[tokio::test]
async fn the_receiver_keeps_bodies_in_order_and_everything_stops_when_closed() {
    let (_, shops) = open().await;
    let mut desk = WebhookReceiver::open().await.unwrap();
    let (desk_address, shop_address) = (desk.address(), shops.address(Shop::Immenk).unwrap());
    for body in ["{\"id\":1}", "{\"id\":2}"] {
        let (head, _) = ask(desk_address, "POST", "/bulletins", "", body).await;
        assert!(head.starts_with("HTTP/1.1 204 "), "{head}");
    }
    assert_eq!(desk.next().await.as_deref(), Some("{\"id\":1}"));
    assert_eq!(desk.next().await.as_deref(), Some("{\"id\":2}"));
    let closing = async {
        desk.close().await;
        shops.close().await;
    };
    tokio::time::timeout(Duration::from_secs(5), closing)
        .await
        .unwrap();
    assert!(TcpStream::connect(desk_address).await.is_err());
    assert!(TcpStream::connect(shop_address).await.is_err());
}
