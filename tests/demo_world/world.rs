//! The world by itself: sizes, identities, specs, and the same bytes from the same seed.

use crate::SEED;
use crate::demo::world::{Kind, Shop, Spec, Supply, World};
use rigtide::catalogue::Gtin;
use std::collections::{BTreeMap, BTreeSet};

#[test]
fn the_same_seed_gives_the_same_world_and_another_seed_another() {
    let world = World::generate(SEED);
    assert_eq!(format!("{world:?}"), format!("{:?}", World::generate(SEED)));
    assert_ne!(world.stocks, World::generate(SEED + 1).stocks);
}

#[test]
fn the_world_is_as_large_as_the_demo_promises() {
    for seed in [SEED, 0, 1, u64::MAX] {
        let world = World::generate(seed);
        assert!(world.parts.len() >= 300, "{} parts", world.parts.len());
        assert!(world.n_offers() >= 1_000, "{} offers", world.n_offers());
        for kind in Kind::ALL {
            let n_parts = world.parts.iter().filter(|part| part.kind == kind).count();
            assert!(n_parts >= 30, "{} {}", n_parts, kind.name());
        }
        let pages = world
            .stocks
            .iter()
            .find(|stock| stock.shop == Shop::Immenk)
            .unwrap();
        assert!(
            (100..200).contains(&pages.offers.len()),
            "{} pages",
            pages.offers.len()
        );
    }
}

#[test]
fn every_part_has_an_identity_of_its_own() {
    let world = World::generate(SEED);
    let folded = |text: &str| -> String {
        text.chars()
            .filter(|c| c.is_alphanumeric())
            .flat_map(char::to_lowercase)
            .collect()
    };
    let unique = |what: &str, values: Vec<String>| {
        let mut seen = BTreeSet::new();
        for value in values {
            assert!(seen.insert(value.clone()), "{what} {value} twice");
        }
    };
    unique(
        "id",
        world.parts.iter().map(|part| part.id.clone()).collect(),
    );
    unique(
        "name",
        world.parts.iter().map(|part| folded(&part.name)).collect(),
    );
    unique(
        "mpn",
        world.parts.iter().map(|part| folded(&part.mpn)).collect(),
    );
    unique(
        "gtin",
        world.parts.iter().map(|part| part.gtin.clone()).collect(),
    );
    for part in &world.parts {
        assert!(part.gtin.starts_with("952"), "{}", part.gtin);
        assert!(Gtin::parse(&part.gtin).is_ok(), "{}", part.gtin);
    }
}

#[test]
fn every_part_has_plausible_specs_and_the_rates_of_its_kind() {
    let world = World::generate(SEED);
    for part in &world.parts {
        for (name, spec) in &part.specs {
            let is_plausible = match spec {
                Spec::Number(number) => *number <= 20_000,
                Spec::Text(text) => !text.is_empty(),
                Spec::Texts(texts) => !texts.is_empty(),
                Spec::Flag(_) => true,
                Spec::Entries(entries) => entries.iter().all(|entry| !entry.is_empty()),
            };
            assert!(is_plausible, "{} {name} {spec:?}", part.id);
        }
        let rated: Vec<&str> = part.rates.iter().map(|rate| rate.workload).collect();
        let expected: &[&str] = match part.kind {
            Kind::Cpu => &["video-export", "gaming-1440p"],
            Kind::Memory | Kind::Storage => &["video-export"],
            Kind::Gpu => &["gaming-1440p"],
            _ => &[],
        };
        assert_eq!(rated, expected, "{}", part.id);
    }
}

#[test]
fn most_parts_of_every_kind_are_in_stock_at_two_shops() {
    let world = World::generate(SEED);
    let mut shops_of = BTreeMap::<usize, BTreeSet<Shop>>::new();
    for stock in &world.stocks {
        for offer in &stock.offers {
            if let Some(place) = offer.part
                && offer.supply != Supply::SoldOut
                && !offer.used
            {
                shops_of.entry(place).or_default().insert(stock.shop);
            }
        }
    }
    for kind in Kind::ALL {
        let places = world
            .parts
            .iter()
            .enumerate()
            .filter(|(_, part)| part.kind == kind);
        let places: Vec<usize> = places.map(|(place, _)| place).collect();
        let twice = places
            .iter()
            .filter(|place| shops_of.get(place).is_some_and(|s| s.len() > 1));
        assert!(twice.count() * 2 > places.len(), "{}", kind.name());
    }
}

#[test]
fn the_shops_carry_every_kind_of_trouble() {
    let world = World::generate(SEED);
    let offers = || world.stocks.iter().flat_map(|stock| &stock.offers);
    assert!(offers().filter(|offer| offer.part.is_none()).count() > 300);
    assert!(
        offers()
            .filter(|offer| offer.supply == Supply::SoldOut)
            .count()
            > 50
    );
    assert!(offers().filter(|offer| offer.used).count() > 20);
    assert!(offers().any(|offer| offer.cents.is_none()));
    assert!(offers().any(|offer| offer.gtin.as_deref() == Some("9.52E+12")));
    for trap in [
        "<script>",
        "DROP TABLE",
        "=HYPERLINK",
        "Backplate",
        "Set: ",
        "Komplett-PC",
    ] {
        assert!(offers().any(|offer| offer.title.contains(trap)), "{trap}");
    }
    for stock in &world.stocks {
        let skus: BTreeSet<&str> = stock
            .offers
            .iter()
            .map(|offer| offer.sku.as_str())
            .collect();
        assert_eq!(skus.len(), stock.offers.len(), "{}", stock.shop.name());
    }
}
