//! The watch over time: polls that take long, and feeds that are configured no more.

use crate::support::guides::{Guides, run, text};
use crate::support::polling::polling;
use crate::support::program::Configuration;
use crate::support::server::{Server, answer};
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::ledger::Reader;
use rigtide::watch::calls::{Calls, Silent};
use rigtide::watch::clock::Clock;
use rigtide::watch::daemon::watch;
use serde_json::json;
use std::time::Duration;

const START: &str = "2026-06-15T12:00:00Z";
const FIELDS: &str =
    "fields = { sku = \"sku\", title = \"title\", mpn = \"mpn\", price = \"price\" }\n";
const PART: &str = "[[part]]\nid = \"tern-7\"\nkind = \"gpu\"\nname = \"Norvant Tern 7\"\n\
                    brand = \"Norvant\"\nmpn = \"NV-8810/16G\"\n";

// Pitfall D06: the feed is due every minute, and every poll takes ten.
#[tokio::test]
async fn a_poll_that_takes_longer_than_its_interval_is_never_joined_by_another_of_its_feed() {
    const N_POLLS: usize = 4;
    let start: DateTime<Utc> = START.parse().unwrap();
    let clock = Clock::manual(start);
    let (stop, stopping) = tokio::sync::watch::channel(false);
    let passing = clock.clone();
    let server = Server::start(move |seen| {
        passing.advance(TimeDelta::minutes(10));
        std::thread::sleep(Duration::from_millis(100));
        if seen.nth + 1 >= N_POLLS {
            let _ = stop.send(true);
        }
        let offer = json!({ "sku": "1", "title": "Norvant Tern 7", "mpn": "NV-8810/16G",
                            "price": format!("48{}.00", seen.nth) });
        answer(200, &[], json!([offer]).to_string())
    })
    .await;
    let configuration = Configuration::new(START);
    configuration.write("catalogue/parts.toml", PART);
    let retailer = format!(
        "name = \"Brindlemark\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n[[feed]]\nid = \"all\"\n\
         minimum_interval_s = 0\nschedule = \"* * * * *\"\nurl = \"{}\"\nformat = \"json\"\n{FIELDS}",
        server.url("/offers")
    );
    configuration.write("retailers/brindlemark.toml", retailer);
    let polling = polling(&configuration, "ledger.sqlite");
    watch(&polling, &clock, Calls::to_stop(stopping), &mut Silent)
        .await
        .unwrap();
    assert_eq!((server.seen().len(), server.most_busy()), (N_POLLS, 1));
    let feed = polling.settings.feeds[0].id.clone();
    let polls = polling.ledger().read().last_polls(&feed, 10).unwrap();
    // The last may have been cut by the stop. What fell due meanwhile was made up for once.
    assert!(polls.len() + 1 >= N_POLLS, "{polls:?}");
    for two in polls.windows(2) {
        assert!(two[0].at - two[1].at >= TimeDelta::minutes(10), "{polls:?}");
    }
}

#[tokio::test]
async fn a_feed_whose_mapping_changed_is_read_again_though_its_server_says_not_modified() {
    let server = Server::start(|seen| {
        let offers = json!([{ "sku": "1", "title": "Norvant Tern 7", "mpn": "NV-8810/16G",
                              "price": "489.00", "member_price": "469.00" }]);
        match seen.header("if-none-match") {
            Some("\"one\"") => answer(304, &[("ETag", "\"one\"")], ""),
            _ => answer(200, &[("ETag", "\"one\"")], offers.to_string()),
        }
    })
    .await;
    let mut configuration = Configuration::new(START);
    configuration.write("catalogue/parts.toml", PART);
    let retailer = |fields: &str| {
        format!(
            "name = \"Brindlemark\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n[[feed]]\nid = \"all\"\n\
             minimum_interval_s = 0\nurl = \"{}\"\nformat = \"json\"\n{fields}",
            server.url("/offers")
        )
    };
    let other = FIELDS.replace("\"price\"", "\"member_price\"");
    let polls = [
        (START, FIELDS, 48_900),
        ("2026-06-15T13:00:00Z", FIELDS, 48_900),
        ("2026-06-15T14:00:00Z", &other, 46_900),
        ("2026-06-15T15:00:00Z", &other, 46_900),
    ];
    for (now, fields, price) in polls {
        configuration.at(now);
        configuration.write("retailers/brindlemark.toml", retailer(fields));
        configuration.run_beside(&["poll"]).await.exited(0);
        let reader = Reader::open(&configuration.path("ledger.sqlite")).unwrap();
        assert_eq!(
            reader.listed(None).unwrap()[0].price.minor(),
            price,
            "{now}"
        );
    }
    let asked = server.seen().into_iter();
    let conditions: Vec<bool> = asked
        .map(|seen| seen.header("if-none-match").is_some())
        .collect();
    assert_eq!(conditions, [false, true, false, true]);
}

// Pitfall D16.
#[test]
fn offers_of_a_feed_that_is_configured_no_more_leave_the_market_and_their_past_stays() {
    let mut configuration = Configuration::new(START);
    configuration.write("catalogue/parts.toml", PART);
    let list = |price: &str| format!("sku,title,mpn,price\n1,Norvant Tern 7,NV-8810/16G,{price}\n");
    let head = "name = \"Brindlemark\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n";
    let feed = |id: &str| {
        configuration.write(
            &format!("{id}.csv"),
            list(if id == "new" { "489.00" } else { "399.00" }),
        );
        format!(
            "[[feed]]\nid = \"{id}\"\nminimum_interval_s = 0\nfile = \"{id}.csv\"\nformat = \"csv\"\n{FIELDS}"
        )
    };
    let (new, used) = (feed("new"), feed("outlet"));
    let both = format!("{head}{new}{used}");
    let prices = |configuration: &Configuration| {
        let reader = Reader::open(&configuration.path("ledger.sqlite")).unwrap();
        let listed = reader.listed(None).unwrap();
        listed
            .iter()
            .map(|one| one.price.minor())
            .collect::<Vec<_>>()
    };
    let points = |configuration: &Configuration| {
        configuration.run(&["history", "tern-7", "--json"]).json(0)["points"].clone()
    };
    configuration.write("retailers/brindlemark.toml", &both);
    configuration.run(&["poll"]).exited(0);
    assert_eq!(prices(&configuration), [48_900, 39_900]);
    let before = points(&configuration);

    configuration.write("retailers/brindlemark.toml", format!("{head}{new}"));
    configuration.at("2026-06-15T13:00:00Z");
    configuration.run(&["poll"]).exited(0);
    assert_eq!(prices(&configuration), [48_900]);
    let after = points(&configuration);
    assert_eq!(after.as_array().unwrap().len(), 2, "{after}");
    assert_eq!(after[1]["price_minor"], before[1]["price_minor"]);
    assert_eq!(after[1]["until"], before[1]["until"]);
    let reader = Reader::open(&configuration.path("ledger.sqlite")).unwrap();
    let then = reader.listed(Some("2026-06-15T12:30:00Z".parse().unwrap()));
    assert_eq!(then.unwrap().len(), 2, "it was on the market then");
    assert!(reader.verify().unwrap().holds());
    let journal = reader.journal(10).unwrap();
    let told = journal.iter().any(|line| {
        line.entry.text
            == "brindlemark/outlet is no longer configured: its offer has left the market, \
                            what was seen stays"
    });
    assert!(told, "{journal:?}");

    configuration.write("retailers/brindlemark.toml", &both);
    configuration.at("2026-06-15T14:00:00Z");
    configuration.run(&["poll"]).exited(0);
    assert_eq!(prices(&configuration), [48_900, 39_900]);
}

/// So many briefs that deciding them takes much longer than a daemon may take to stop.
pub fn with_many_briefs(guides: &Guides, n_briefs: usize) {
    let brief = std::fs::read_to_string(guides.directory.join("briefs/example.toml")).unwrap();
    for number in 0..n_briefs {
        let file = format!("briefs/other-{number:04}.toml");
        std::fs::write(guides.directory.join(file), &brief).unwrap();
    }
    let checked = run(&guides.directory, &["check"]);
    assert!(checked.status.success(), "{}", text(&checked.stderr));
}
