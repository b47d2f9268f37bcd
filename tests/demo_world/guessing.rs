//! A guessed mapping of each shop's source, used as it was written.

use crate::demo::world::Shop;
use crate::demo::{Addresses, write_configuration};
use crate::shops::{offers, open};
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

async fn run(directory: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rigtide"));
    command.arg("-C").arg(directory).args(arguments);
    let run = tokio::task::spawn_blocking(move || command.output().unwrap());
    let output = run.await.unwrap();
    assert!(output.status.success(), "{arguments:?}: {output:?}");
    output
}

#[tokio::test]
async fn what_is_guessed_of_each_shop_loads_and_accepts_most_records() {
    let (world, shops) = open().await;
    let directory = tempfile::tempdir().unwrap();
    let address = |shop| shops.address(shop).unwrap();
    let addresses = Addresses {
        shops: Shop::ALL.map(address),
        webhook: address(Shop::Vahrel),
    };
    write_configuration(directory.path(), &world, &addresses).unwrap();
    for shop in Shop::ALL {
        let path = match shop {
            Shop::Vahrel => "/export/artikel.csv".to_owned(),
            Shop::Ysmarok => "/api/offers.json".to_owned(),
            // Its source is pages: one that has a price.
            Shop::Immenk => {
                let priced = offers(&world, shop)
                    .iter()
                    .find(|offer| offer.cents.is_some());
                format!("/artikel/{}", priced.unwrap().sku)
            }
        };
        let source = format!("http://{}{path}", address(shop));
        let guessed = run(directory.path(), &["feed", "guess", &source]).await;
        let mapping = String::from_utf8(guessed.stdout).unwrap();
        // What decides a match besides the GTIN, in the shops' own words.
        let words = match shop {
            Shop::Vahrel => &["brand = \"Hersteller\"", "mpn = \"Herstellernr\""][..],
            Shop::Ysmarok => &["brand = \"maker\"", "mpn = \"codes.part_number\""],
            Shop::Immenk => &["format = \"html\""],
        };
        for word in words {
            assert!(mapping.contains(word), "{word}: {mapping}");
        }
        let retailer = format!(
            "name = \"{}\"\ncountry = \"DE\"\ncurrency = \"EUR\"\nlocale = \"de\"\n{}",
            shop.name(),
            mapping.replace("schedule = ", "minimum_interval_s = 0\nschedule = ")
        );
        let file = directory
            .path()
            .join(format!("retailers/{}.toml", shop.id()));
        std::fs::write(file, retailer).unwrap();

        let feed = format!("{}/guess", shop.id());
        let tried = run(directory.path(), &["feed", "try", &feed, "--json"]).await;
        let trial: Value = serde_json::from_slice(&tried.stdout).unwrap();
        let count = |name: &str| trial["counts"][name].as_u64().unwrap();
        assert_eq!(trial["error"], Value::Null);
        let listed = match shop {
            Shop::Immenk => 1,
            _ => offers(&world, shop).len() as u64,
        };
        assert_eq!(count("records"), listed, "{feed}");
        assert!(
            count("accepted") * 10 >= listed * 9,
            "{feed}: {}",
            trial["counts"]
        );
        // Identities were found too: the shops list mostly what the catalogue has.
        assert!(count("matched") * 2 > listed, "{feed}: {}", trial["counts"]);
    }
}
