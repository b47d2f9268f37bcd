//! Records that a poll knows again: what it leaves unread must come to what reading comes to.

use crate::support::polling;
use crate::support::program::Configuration;
use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use rigtide::catalogue::PartId;
use rigtide::ledger::Ledger;
use rigtide::market::{Decision, Fingerprint, Matcher, RetailerId, Sku, Verdict};
use rigtide::watch::poll::PollReport;
use rigtide::watch::questions::{Word, give_word};
use rigtide::watch::reading::usual_readers;
use rigtide::watch::settings::load_settings;
use rusqlite::Connection;

/// Two catalogues, so that a title may fit one part, the other, both or none.
const CATALOGUES: [&str; 2] = [
    "[[part]]\nid = \"tern-7\"\nkind = \"gpu\"\nname = \"Norvant Tern 7\"\nbrand = \"Norvant\"\n\
     mpn = \"NV-8810/16G\"\n",
    "[[part]]\nid = \"tern-7-8g\"\nkind = \"gpu\"\nname = \"Norvant Tern 7 8GB\"\n\
     brand = \"Norvant\"\n[[part]]\nid = \"tern-7-16g\"\nkind = \"gpu\"\n\
     name = \"Norvant Tern 7 16GB\"\nbrand = \"Norvant\"\n",
];
const OTHER_PART: &str = "[[part]]\nid = \"fjell-26\"\nkind = \"cpu\"\nname = \"Askerune Fjell 26\"\n\
                          brand = \"Askerune\"\nmpn = \"ASK-F26-BX\"\n";
const RETAILER: &str = r#"
name = "Brindlemark"
country = "DE"
currency = "EUR"
[[feed]]
id = "list"
file = "list.csv"
format = "csv"
delimiter = ";"
marketplace = true
largest_loss_percent = 100
[feed.fields]
sku = "nr"
title = "title"
mpn = "mpn"
price = "price"
link = "link"
seller = "seller"
valid_until = "until"
"#;
const SKUS: [&str; 3] = ["A-1", "A-2", "A-3"];
const TITLES: [&str; 3] = ["Norvant Tern 7", "Norvant Tern 7 16GB", "Garden chair"];
const MPNS: [&str; 3] = ["", "NV-8810/16G", "ZZ-1"];
/// The third is held beside the first two, the last refused.
const PRICES: [&str; 4] = ["499,00", "509,90", "49900,00", "on request"];
const LINKS: [&str; 2] = ["https://shop.example/a", "https://shop.example/b"];
const SELLERS: [&str; 2] = ["", "Quill & Co"];
/// The third passes while the polls go on.
const UNTIL: [&str; 4] = ["", "", "2026-06-15T14:30:00Z", "soon"];

/// The places of a record's values in the lists above.
type Record = [usize; 7];

#[derive(Debug, Clone)]
struct Round {
    records: Vec<Record>,
    /// Records of the round before that are listed again, by their places.
    again: Vec<prop::sample::Index>,
    catalogue: usize,
    /// What the author says of an SKU before the poll; `None` forgets.
    word: Option<(usize, Option<Verdict>)>,
}

fn rounds() -> impl Strategy<Value = Vec<Round>> {
    let record = (
        0..3_usize,
        0..3_usize,
        0..3_usize,
        0..4_usize,
        0..2_usize,
        0..2_usize,
        0..4_usize,
    )
        .prop_map(|(sku, title, mpn, price, link, seller, until)| {
            [sku, title, mpn, price, link, seller, until]
        });
    let verdict = prop_oneof![
        Just(None),
        Just(Some(Verdict::Lacking)),
        Just(Some(Verdict::Pinned(PartId::new("tern-7")))),
        Just(Some(Verdict::Denied([PartId::new("tern-7")].into()))),
    ];
    let round = (
        prop::collection::vec(record, 1..5),
        prop::collection::vec(any::<prop::sample::Index>(), 0..5),
        prop::sample::select(vec![0, 0, 0, 1]),
        prop::option::weighted(0.3, (0..3_usize, verdict)),
    );
    let round = round.prop_map(|(records, again, catalogue, word)| Round {
        records,
        again,
        catalogue,
        word,
    });
    prop::collection::vec(round, 2..7)
}

fn csv(records: &[Record]) -> String {
    let mut text = "nr;title;mpn;price;link;seller;until\n".to_owned();
    for [sku, title, mpn, price, link, seller, until] in records {
        let values = [
            SKUS[*sku],
            TITLES[*title],
            MPNS[*mpn],
            PRICES[*price],
            LINKS[*link],
            SELLERS[*seller],
            UNTIL[*until],
        ];
        text.push_str(&values.join(";"));
        text.push('\n');
    }
    text
}

fn at(hour: usize) -> DateTime<Utc> {
    let start: DateTime<Utc> = "2026-06-15T12:00:00Z".parse().unwrap();
    start + TimeDelta::hours(hour as i64)
}

fn configuration() -> Configuration {
    let configuration = Configuration::new("2026-06-15T12:00:00Z");
    configuration.write("retailers/brindlemark.toml", RETAILER);
    configuration
}

/// Says a word if there is one and polls, on a ledger of the configuration.
fn poll(configuration: &Configuration, ledger: &str, round: &Round, hour: usize) -> PollReport {
    if let Some((sku, verdict)) = &round.word {
        let settings = load_settings(&configuration.path("")).unwrap();
        let matcher = Matcher::new(&settings.catalogue);
        let mut ledger = Ledger::open(&configuration.path(ledger)).unwrap();
        say(&mut ledger, &matcher, SKUS[*sku], verdict.clone(), hour);
    }
    polling::poll(configuration, ledger, usual_readers(), at(hour)).unwrap()
}

fn say(ledger: &mut Ledger, matcher: &Matcher, sku: &str, verdict: Option<Verdict>, hour: usize) {
    let sku = Sku::new(sku);
    let offers = ledger.read().listed_offers().unwrap();
    let Some(listed) = offers.iter().find(|one| one.offer.sku == sku) else {
        return;
    };
    let decision = verdict.map(|verdict| Decision {
        verdict,
        made_on: Fingerprint::of(&listed.offer),
    });
    let word = Word {
        retailer: &RetailerId::new("brindlemark"),
        sku: &sku,
        decision: decision.as_ref(),
        kind: "match_decided",
        text: "decided",
        at: at(hour),
    };
    give_word(ledger, matcher, &word).unwrap();
}

/// Everything that a ledger holds but the marks themselves.
fn contents(configuration: &Configuration, ledger: &str) -> Vec<String> {
    let mut contents = polling::contents(configuration, ledger, &[]);
    contents.retain(|row| !row.starts_with("marks "));
    contents
}

fn change(configuration: &Configuration, ledger: &str, statement: &str) -> usize {
    let connection = Connection::open(configuration.path(ledger)).unwrap();
    connection.execute(statement, []).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn polls_that_know_records_again_come_to_what_reading_them_all_comes_to(rounds in rounds()) {
        let configuration = configuration();
        let mut before: Vec<Record> = Vec::new();
        for (hour, round) in rounds.iter().enumerate() {
            configuration.write("catalogue/parts.toml", CATALOGUES[round.catalogue]);
            let mut records = round.records.clone();
            if !before.is_empty() {
                records.extend(round.again.iter().map(|index| *index.get(&before)));
            }
            configuration.write("list.csv", csv(&records));
            let known = poll(&configuration, "known.sqlite", round, hour);
            if hour > 0 {
                change(&configuration, "read.sqlite", "DELETE FROM marks");
            }
            let read = poll(&configuration, "read.sqlite", round, hour);
            prop_assert_eq!(&known.notes, &read.notes);
            prop_assert_eq!(
                contents(&configuration, "known.sqlite"),
                contents(&configuration, "read.sqlite")
            );
            before = records;
        }
    }
}

/// A title that no record says shows whether the offer's record was read since.
fn is_read_again(configuration: &Configuration, hour: usize, records: &[Record]) -> bool {
    configuration.write("list.csv", csv(records));
    let round = Round {
        records: Vec::new(),
        again: Vec::new(),
        catalogue: 0,
        word: None,
    };
    let forged = "UPDATE offer SET title = 'forged' WHERE sku = 'A-1'";
    if hour > 0 {
        assert_eq!(change(configuration, "ledger.sqlite", forged), 1);
    }
    let report = poll(configuration, "ledger.sqlite", &round, hour);
    assert_eq!((report.status, report.offers), ("fresh", 2), "{report:?}");
    let all = contents(configuration, "ledger.sqlite");
    !all.iter()
        .any(|row| row.starts_with("offer ") && row.contains("forged"))
}

#[test]
fn an_unchanged_record_is_read_again_only_where_something_else_changed() {
    let configuration = configuration();
    configuration.write("catalogue/parts.toml", CATALOGUES[0]);
    let (one, other) = ([0, 0, 1, 0, 0, 0, 0], [1, 2, 2, 0, 1, 0, 0]);
    is_read_again(&configuration, 0, &[one, other]);
    assert!(!is_read_again(&configuration, 1, &[other, one]));
    // Its price changed, and then did not.
    let cheaper = [0, 0, 1, 1, 0, 0, 0];
    assert!(is_read_again(&configuration, 2, &[cheaper, other]));
    assert!(!is_read_again(&configuration, 3, &[cheaper, other]));
    let more = format!("{}\n{OTHER_PART}", CATALOGUES[0]);
    configuration.write("catalogue/parts.toml", more);
    assert!(is_read_again(&configuration, 4, &[cheaper, other]));
    assert!(!is_read_again(&configuration, 5, &[cheaper, other]));
    let localised = RETAILER.replace("country", "locale = \"de\"\ncountry");
    configuration.write("retailers/brindlemark.toml", localised);
    assert!(is_read_again(&configuration, 6, &[cheaper, other]));
    // Its title fits two parts: the author is asked by every poll.
    configuration.write("catalogue/parts.toml", CATALOGUES[1]);
    assert!(is_read_again(&configuration, 7, &[cheaper, other]));
    assert!(is_read_again(&configuration, 8, &[cheaper, other]));
    configuration.write("catalogue/parts.toml", CATALOGUES[0]);
    // A date may pass from one poll to the next.
    let dated = [0, 0, 1, 1, 0, 0, 2];
    assert!(is_read_again(&configuration, 9, &[dated, other]));
    assert!(is_read_again(&configuration, 10, &[dated, other]));
}
