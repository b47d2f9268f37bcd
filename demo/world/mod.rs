//! The invented world: parts with specs and rates, and what three shops list of them.
//!
//! The same seed gives the same bytes. Prices grow with what a part can do, but unevenly, and the
//! shops disagree by some percent, so that the best build is not the obvious one. Does no I/O.

mod accessories;
mod details;
mod graphics;
mod housing;
mod part;
mod platform;
mod sale;
mod stock;

use super::prng::Prng;
pub use part::{Kind, Part, Source, Spec, decimal};
pub use sale::Sale;
pub use stock::{Offer, Shop, Stock, Supply};

/// Everything that the demo invents.
#[derive(Debug, Clone)]
pub struct World {
    pub seed: u64,
    /// The catalogue, kind by kind in the order of [`Kind::ALL`].
    pub parts: Vec<Part>,
    /// One range for each of [`Shop::ALL`], in that order.
    pub stocks: Vec<Stock>,
}

impl World {
    /// Draws the world of a seed.
    pub fn generate(seed: u64) -> World {
        let mut drafts = Vec::new();
        for kind in Kind::ALL {
            let random = &mut Prng::stream(seed, kind as u64);
            drafts.extend(match kind {
                Kind::Cpu => platform::processors(random),
                Kind::Cooler => housing::coolers(random),
                Kind::Board => platform::boards(random),
                Kind::Memory => platform::memory(random),
                Kind::Gpu => graphics::cards(random),
                Kind::Storage => platform::drives(random),
                Kind::Psu => housing::supplies(random),
                Kind::Case => housing::cases(random),
            });
        }
        let parts: Vec<Part> = (1..)
            .zip(drafts)
            .map(|(number, draft)| draft.finish(number))
            .collect();
        let stocks = Shop::ALL
            .iter()
            .map(|shop| stock::fill(*shop, &parts, &mut Prng::stream(seed, 100 + *shop as u64)))
            .collect();
        World {
            seed,
            parts,
            stocks,
        }
    }

    /// How many offers the three shops list together.
    pub fn n_offers(&self) -> usize {
        self.stocks.iter().map(|stock| stock.offers.len()).sum()
    }

    /// The sale that one shop holds after the first polls.
    pub fn sale(&self) -> Sale {
        Sale::of_dear_graphics_cards(self)
    }
}
