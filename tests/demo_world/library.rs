//! What the library makes of the demo and of the starter: it reads both without a fault, decodes
//! every record, and its best build is the one that looking at every build finds.

use crate::SEED;
use crate::demo::world::{self as demo, Shop, Stock, Supply, World};
use crate::demo::{Addresses, write_configuration};
use crate::exhaustive;
use crate::offer::titled;
use rigtide::catalogue::table::Document;
use rigtide::catalogue::{Catalogue, Fault, Gtin, PartId, load_catalogue};
use rigtide::fit::{Finding, Gravity};
use rigtide::market::{
    Availability, Brief, Condition, Listed, Matcher, Matching, Offer, Retailer, RetailerId, Sku,
    market,
};
use rigtide::money::{Currency, Money};
use rigtide::optimise::{Answer, BestBuild, Effort, Proof, Standing, best};
use std::collections::BTreeMap;
use std::path::Path;

/// A configuration directory as the library reads it.
struct Configuration {
    catalogue: Catalogue,
    brief: Brief,
    retailers: BTreeMap<RetailerId, Retailer>,
}

impl Configuration {
    /// Reads the directory; any fault fails the test.
    fn read(directory: &Path, brief: &str) -> Configuration {
        let files = texts(&directory.join("catalogue"));
        let files: Vec<(&str, &str)> = files
            .iter()
            .map(|(n, t)| (n.as_str(), t.as_str()))
            .collect();
        let (catalogue, faults) = load_catalogue(&files);
        assert_eq!(faults, []);
        let text = std::fs::read_to_string(directory.join(format!("briefs/{brief}.toml"))).unwrap();
        let document = Document::parse(brief, &text);
        let brief = Brief::read(brief, document.root(), &catalogue);
        assert_eq!(document.into_faults(), Vec::<Fault>::new());
        let mut retailers = BTreeMap::new();
        for (name, text) in texts(&directory.join("retailers")) {
            let document = Document::parse(&name, &text);
            let id = name.trim_end_matches(".toml");
            let retailer = Retailer::read(
                id,
                &mut document.root(),
                &rigtide::catalogue::Catalogue::default(),
            )
            .unwrap();
            retailers.insert(retailer.id.clone(), retailer);
        }
        Configuration {
            catalogue,
            brief: brief.unwrap(),
            retailers,
        }
    }

    fn best(&self, listed: &[Listed]) -> BestBuild {
        let market = market(&self.brief, &self.catalogue, &self.retailers, listed);
        match best(
            &market,
            &self.catalogue,
            &Standing::new(),
            Effort::default(),
        )
        .unwrap()
        {
            Answer::Best(best) => {
                // The catalogue says all that the rules ask of what it builds.
                let unproven = |finding: &&Finding| finding.gravity == Gravity::Unproven;
                let unproven: Vec<_> = best.findings.iter().filter(unproven).collect();
                assert!(unproven.is_empty(), "{unproven:#?}");
                *best
            }
            other => panic!("no build: {other:?}"),
        }
    }
}

/// Every TOML file of a directory, by name.
fn texts(directory: &Path) -> BTreeMap<String, String> {
    let entries = std::fs::read_dir(directory)
        .unwrap()
        .map(|entry| entry.unwrap());
    let entries = entries.filter(|entry| entry.path().extension().is_some_and(|e| e == "toml"));
    entries
        .map(|entry| {
            let name = entry.file_name().into_string().unwrap();
            (name, std::fs::read_to_string(entry.path()).unwrap())
        })
        .collect()
}

fn demo_configuration(directory: &Path, world: &World) -> Configuration {
    let nowhere = "127.0.0.1:1".parse().unwrap();
    let addresses = Addresses {
        shops: [nowhere; 3],
        webhook: nowhere,
    };
    write_configuration(directory, world, &addresses).unwrap();
    Configuration::read(directory, "media-room")
}

/// What the shops list, as if every offer had been matched to its part.
fn listed(world: &World, stocks: &[Stock]) -> Vec<Listed> {
    let mut listed = Vec::new();
    for stock in stocks {
        for offer in &stock.offers {
            let (Some(place), Some(cents)) = (offer.part, offer.cents) else {
                continue;
            };
            let availability = match offer.supply {
                Supply::InStock => Availability::InStock,
                Supply::Few => Availability::LimitedAvailability,
                Supply::SoldOut => Availability::SoldOut,
            };
            let condition = if offer.used {
                Condition::Used
            } else {
                Condition::New
            };
            let part = world.parts[place].id.as_str();
            let (retailer, sku) = (stock.shop.id(), offer.sku.as_str());
            listed.push(Listed {
                availability,
                condition,
                ..in_stock(retailer, sku, part, cents)
            });
        }
    }
    listed
}

fn in_stock(retailer: &str, sku: &str, part: &str, cents: u32) -> Listed {
    Listed {
        retailer: RetailerId::new(retailer),
        sku: Sku::new(sku),
        part: PartId::new(part),
        title: String::new(),
        price: Money::from_minor(i64::from(cents), Currency::EUR),
        tax_included: true,
        availability: Availability::InStock,
        lead_days: None,
        condition: Condition::New,
        seller: None,
        shipping: None,
        minimum_quantity: 1,
        link: None,
        seen_at: chrono::DateTime::UNIX_EPOCH,
    }
}

#[test]
fn every_offer_of_a_part_is_matched_to_it_and_no_other_offer_to_any() {
    let directory = tempfile::tempdir().unwrap();
    let world = World::generate(SEED);
    let configuration = demo_configuration(directory.path(), &world);
    let matcher = Matcher::new(&configuration.catalogue);
    for stock in &world.stocks {
        for listing in &stock.offers {
            let found = match matcher.match_offer(&offer(stock.shop, listing), None) {
                Matching::Part(found) => Some(found.part),
                Matching::None | Matching::Review { .. } => None,
                Matching::Contradiction(one, other) => panic!("{one} or {other}"),
            };
            let expected = listing
                .part
                .map(|place| PartId::new(&world.parts[place].id));
            assert_eq!(found, expected, "{} {}", listing.sku, listing.title);
        }
    }
}

/// The parts of an offer that tell what it is, as a reader of the feed would keep them.
fn offer(shop: Shop, listing: &demo::Offer) -> Offer {
    let gtin = listing
        .gtin
        .as_deref()
        .and_then(|text| Gtin::parse(text).ok());
    Offer {
        retailer: RetailerId::new(shop.id()),
        brand: Some(listing.brand.clone()).filter(|brand| !brand.is_empty()),
        gtins: gtin.into_iter().collect(),
        mpn: listing.mpn.clone(),
        price: Money::from_minor(i64::from(listing.cents.unwrap_or(0)), Currency::EUR),
        ..titled(&listing.sku, &listing.title)
    }
}

#[test]
fn the_librarys_best_build_is_the_one_that_looking_at_all_of_them_finds() {
    let directory = tempfile::tempdir().unwrap();
    let world = World::generate(SEED);
    let configuration = demo_configuration(directory.path(), &world);
    assert_eq!(configuration.catalogue.parts.len(), world.parts.len());
    let sale = world.sale();
    let cut: Vec<Stock> = world.stocks.iter().map(|stock| sale.apply(stock)).collect();
    for stocks in [&world.stocks, &cut] {
        let expected = exhaustive::best(&exhaustive::candidates(&world, stocks)).unwrap();
        let found = configuration.best(&listed(&world, stocks));
        assert_eq!(found.proof, Proof::Optimal);
        assert_eq!(found.build.total.minor(), i64::from(expected.cents));
        // The library counts in thousandths, the exhaustive search in tenths.
        let product: i64 = found
            .build
            .rates
            .iter()
            .map(|rate| rate.rate_milli / 100)
            .product();
        assert_eq!(u64::try_from(product), Ok(expected.product));
    }
}

#[test]
fn the_sale_scores_higher_in_the_library_too() {
    let directory = tempfile::tempdir().unwrap();
    let world = World::generate(SEED);
    let configuration = demo_configuration(directory.path(), &world);
    let sale = world.sale();
    let cut: Vec<Stock> = world.stocks.iter().map(|stock| sale.apply(stock)).collect();
    let before = configuration.best(&listed(&world, &world.stocks)).build;
    let after = configuration.best(&listed(&world, &cut)).build;
    // The brief speaks from half a percent on.
    let (before, after) = (before.shown_score.points(), after.shown_score.points());
    assert!(after > before * 1.005, "{before} to {after}");
    assert_eq!(world.sale().shop, Shop::Ysmarok);
}

#[test]
fn the_starter_has_a_best_build() {
    let directory = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let starter = Configuration::read(&directory, "example");
    let mut reader =
        csv::Reader::from_path(directory.join("retailers/example-offers.csv")).unwrap();
    let rows: Vec<BTreeMap<String, String>> = reader.deserialize().map(Result::unwrap).collect();
    let mut listed = Vec::new();
    for part in starter.catalogue.parts.values() {
        let row = rows.iter().find(|row| row["title"] == part.name).unwrap();
        if row["stock"] == "in stock" {
            let cents = row["price"].replace('.', "").parse().unwrap();
            listed.push(in_stock("example", &row["number"], part.id.as_str(), cents));
        }
    }
    let found = starter.best(&listed);
    assert_eq!(found.proof, Proof::Optimal);
    assert_eq!(found.build.picks.len(), 8);
    assert!(found.build.total <= starter.brief.budget);
}
