//! The sale: one shop cuts its dear graphics cards, so that one comes within the room's reach.

use super::World;
use super::part::Kind;
use super::stock::{Offer, Shop, Stock};
use std::collections::BTreeSet;

/// What goes on sale, where, and by how much.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sale {
    pub shop: Shop,
    pub percent: u32,
    /// The shop's numbers for what is cheaper.
    pub skus: BTreeSet<String>,
}

/// The cards that the sale covers, by their price before it, in cents.
const RANGE: std::ops::RangeInclusive<u32> = 40_000..=90_000;

impl Sale {
    /// Eighteen percent off every new card between 400 and 900 EUR at the middle shop.
    ///
    /// The range begins where the budget's best card lies, so whatever that card is, it or the
    /// next dearer one becomes the better buy.
    pub(super) fn of_dear_graphics_cards(world: &World) -> Sale {
        let shop = Shop::Ysmarok;
        let is_card = |offer: &Offer| {
            let part = offer.part.and_then(|place| world.parts.get(place));
            part.is_some_and(|part| part.kind == Kind::Gpu) && !offer.used
        };
        let in_range = |offer: &Offer| offer.cents.is_some_and(|cents| RANGE.contains(&cents));
        let offers = world.stocks.iter().filter(|stock| stock.shop == shop);
        let offers = offers.flat_map(|stock| &stock.offers);
        let covered = offers.filter(|offer| is_card(offer) && in_range(offer));
        Sale {
            shop,
            percent: 18,
            skus: covered.map(|offer| offer.sku.clone()).collect(),
        }
    }

    /// The same range at the prices of the sale; other shops' ranges come back as they were.
    pub fn apply(&self, stock: &Stock) -> Stock {
        let mut cut = stock.clone();
        if stock.shop != self.shop {
            return cut;
        }
        for offer in cut
            .offers
            .iter_mut()
            .filter(|offer| self.skus.contains(&offer.sku))
        {
            offer.cents = offer.cents.map(|cents| cents * (100 - self.percent) / 100);
        }
        cut
    }
}
