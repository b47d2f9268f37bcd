//! The sale changes the best build, whatever the seed, and by more than the brief calls noise.

use crate::SEED;
use crate::demo::world::{Kind, Stock, World};
use crate::exhaustive::{Answer, best, candidates};

#[test]
fn a_build_within_the_budget_exists_and_the_sale_changes_it() {
    for seed in [SEED, 1, 2, 3] {
        let world = World::generate(seed);
        let sale = world.sale();
        assert!(
            sale.skus.len() >= 5,
            "seed {seed}: {} cards",
            sale.skus.len()
        );
        let cut: Vec<Stock> = world.stocks.iter().map(|stock| sale.apply(stock)).collect();
        let before = best(&candidates(&world, &world.stocks)).unwrap();
        let after = best(&candidates(&world, &cut)).unwrap();
        let show = |answer: &Answer<'_>| {
            let picks = answer.picks.iter();
            let picks: Vec<String> = picks
                .map(|pick| format!("{} {} {}", pick.part.id, pick.cents, pick.shop.id()))
                .collect();
            format!("{} {} {}", answer.product, answer.cents, picks.join(", "))
        };
        println!("seed {seed}\n  {}\n  {}", show(&before), show(&after));
        // Equal weights: one percent of score is two percent of the product.
        assert!(after.product * 100 > before.product * 101, "seed {seed}");
        let ids = |answer: &Answer<'_>| -> Vec<String> {
            answer
                .picks
                .iter()
                .map(|pick| pick.part.id.clone())
                .collect()
        };
        assert_ne!(ids(&before), ids(&after), "seed {seed}");
        assert_eq!(before.picks.len(), Kind::ALL.len());
    }
}

#[test]
fn the_sale_cuts_cards_of_one_shop_and_nothing_else() {
    let world = World::generate(SEED);
    let sale = world.sale();
    for stock in &world.stocks {
        let cut = sale.apply(stock);
        for (old, new) in stock.offers.iter().zip(&cut.offers) {
            if stock.shop == sale.shop && sale.skus.contains(&old.sku) {
                assert_eq!(world.parts[old.part.unwrap()].kind, Kind::Gpu);
                let (old, new) = (old.cents.unwrap(), new.cents.unwrap());
                assert_eq!(new, old * (100 - sale.percent) / 100);
            } else {
                assert_eq!(old, new);
            }
        }
    }
}
