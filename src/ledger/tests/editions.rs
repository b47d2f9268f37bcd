//! Editions: frozen whole or not at all, and never changed.

use super::*;

pub(super) fn entry(minute: i64) -> JournalEntry {
    JournalEntry {
        at: at(minute),
        kind: "edition_published".to_owned(),
        feed: None,
        brief: Some("media-room".to_owned()),
        part: None,
        text: "edition 1 is published".to_owned(),
        data: serde_json::json!({}),
    }
}

fn freeze(bench: &mut Bench, number: u32, seen: &[(ObservationId, Money)]) -> Freezing {
    let forms = [("text".to_owned(), format!("edition {number}\n"))];
    let document = format!("{{\"edition\":{number}}}\n");
    let frozen = bench.ledger.freeze(&NewEdition {
        brief: "media-room",
        number,
        at: at(5),
        document: &document,
        forms: &forms,
        seen,
        entry: &entry(5),
    });
    frozen.unwrap()
}

#[test]
fn editions_are_numbered_without_gaps_and_read_back_as_they_were() {
    let mut bench = Bench::new();
    assert_eq!(freeze(&mut bench, 2, &[]), Freezing::NumberTaken);
    // FIPS 180-4; the hash is what `printf '{"edition":1}\n' | sha256sum` of coreutils says.
    let hash = "96c7fdd7b6e2a0a98bee24a31a629c2af626700e8616cab52eef42a5c77a5e44";
    assert_eq!(freeze(&mut bench, 1, &[]), Freezing::Done(hash.to_owned()));
    assert_eq!(freeze(&mut bench, 1, &[]), Freezing::NumberTaken);
    assert!(matches!(freeze(&mut bench, 2, &[]), Freezing::Done(_)));
    let reader = bench.ledger.read();
    let numbers = |brief| {
        let all = reader.editions(brief).unwrap();
        all.iter().map(|one| one.number).collect::<Vec<_>>()
    };
    assert_eq!((numbers(None), numbers(Some("den"))), (vec![1, 2], vec![]));
    let newest = reader.edition("media-room", None).unwrap().unwrap();
    assert_eq!(newest.number, reader.last_edition("media-room").unwrap());
    let first = reader.edition("media-room", Some(1)).unwrap().unwrap();
    assert_eq!((first.sha256.as_str(), first.at), (hash, at(5)));
    let form = |number, form| reader.edition_form("media-room", number, form).unwrap();
    assert_eq!(form(1, "text").as_deref(), Some("edition 1\n"));
    assert_eq!(form(1, "html"), None);
    assert!(reader.verify().unwrap().holds());
}

#[test]
fn nothing_is_frozen_on_a_price_that_has_moved() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let offers = bench.ledger.read().current_offers().unwrap();
    let seen = [(offers[0].observation, offers[0].offer.price)];
    bench.poll(1, &[offer("q-1", 110)]);
    assert_eq!(freeze(&mut bench, 1, &seen), Freezing::PriceMoved);
    assert_eq!(bench.ledger.read().editions(None).unwrap(), []);
    let journal = bench.ledger.read().journal(10).unwrap();
    assert!(
        journal
            .iter()
            .all(|line| line.entry.kind != "edition_published")
    );
    let offers = bench.ledger.read().current_offers().unwrap();
    let seen = [(offers[0].observation, offers[0].offer.price)];
    assert!(matches!(freeze(&mut bench, 1, &seen), Freezing::Done(_)));
}
