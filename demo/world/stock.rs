//! What each shop lists: most of the catalogue at its own prices, and much that is no part of it.

use super::accessories;
use super::part::Part;
use crate::demo::prng::Prng;

/// The three invented retailers. Each speaks another language to programs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Shop {
    /// Wide range, exports a CSV file as German spreadsheets write it.
    Vahrel,
    /// Nearly as wide, publishes JSON, and holds the sale.
    Ysmarok,
    /// A small shop with web pages only.
    Immenk,
}

/// How a shop differs from the others; shares in percent, prices in thousandths.
struct Habits {
    lists: u32,
    sold_out: u32,
    price_level: u32,
    price_spread: u32,
    accessories: u32,
    number_gaps: u32,
}

impl Shop {
    pub const ALL: [Shop; 3] = [Shop::Vahrel, Shop::Ysmarok, Shop::Immenk];

    /// The retailer's name in the configuration.
    pub fn id(self) -> &'static str {
        match self {
            Shop::Vahrel => "vahrel",
            Shop::Ysmarok => "ysmarok",
            Shop::Immenk => "immenk",
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            Shop::Vahrel => "Vahrel Teilelager",
            Shop::Ysmarok => "Ysmarok Technikhof",
            Shop::Immenk => "Immenk am Hafen",
        }
    }

    /// What delivery of one pick costs, in cents.
    pub fn delivery_cents(self) -> u32 {
        match self {
            Shop::Vahrel => 190,
            Shop::Ysmarok => 0,
            Shop::Immenk => 350,
        }
    }

    fn habits(self) -> Habits {
        match self {
            Shop::Vahrel => Habits {
                lists: 96,
                sold_out: 9,
                price_level: 1005,
                price_spread: 30,
                accessories: 225,
                number_gaps: 4,
            },
            Shop::Ysmarok => Habits {
                lists: 90,
                sold_out: 11,
                price_level: 1010,
                price_spread: 45,
                accessories: 185,
                number_gaps: 0,
            },
            Shop::Immenk => Habits {
                lists: 36,
                sold_out: 12,
                price_level: 990,
                price_spread: 55,
                accessories: 24,
                number_gaps: 0,
            },
        }
    }

    fn sku(self, place: usize) -> String {
        match self {
            Shop::Vahrel => format!("41{:05}", 3 * place + 17),
            Shop::Ysmarok => format!("Y-{:04}-{}", place + 1, b"KLMNPR"[place % 6] as char),
            Shop::Immenk => format!("im{}", 200 + place),
        }
    }

    fn title(self, part: &Part) -> String {
        match self {
            Shop::Vahrel => format!("{}, {}", part.name, part.kind.german()),
            Shop::Ysmarok => format!("{} {} ({})", part.kind.german(), part.name, part.mpn),
            Shop::Immenk => format!("{} \u{2013} {}", part.name, part.kind.german()),
        }
    }
}

/// What a shop has of something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Supply {
    InStock,
    Few,
    SoldOut,
}

/// One listing. `part` is what the demo knows and the shop does not say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    pub sku: String,
    pub title: String,
    pub brand: String,
    pub gtin: Option<String>,
    pub mpn: Option<String>,
    /// Tax included; `None` is a price on request.
    pub cents: Option<u32>,
    pub supply: Supply,
    pub used: bool,
    /// The place in the catalogue of the part that this is, if it is one.
    pub part: Option<usize>,
}

/// One shop's range.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stock {
    pub shop: Shop,
    pub offers: Vec<Offer>,
}

/// Fills a shop's shelves.
pub fn fill(shop: Shop, parts: &[Part], random: &mut Prng) -> Stock {
    let habits = shop.habits();
    let mut offers = Vec::new();
    for (place, part) in parts.iter().enumerate() {
        if random.chance(habits.lists) {
            offers.push(offer_of_part(shop, &habits, place, part, random));
        }
    }
    offers.extend(accessories::of_parts(&offers, parts, random));
    offers.extend(accessories::ordinary(habits.accessories, random));
    offers.extend(accessories::hostile(shop, random));
    for (place, offer) in offers.iter_mut().enumerate() {
        offer.sku = shop.sku(place);
    }
    Stock { shop, offers }
}

fn offer_of_part(
    shop: Shop,
    habits: &Habits,
    place: usize,
    part: &Part,
    random: &mut Prng,
) -> Offer {
    let usual = part.usual_cents * habits.price_level / 1000;
    let supply = match random.between(1, 100) {
        drawn if drawn <= habits.sold_out => Supply::SoldOut,
        drawn if drawn <= habits.sold_out + 12 => Supply::Few,
        _ => Supply::InStock,
    };
    // Some rows went through a spreadsheet, which turns long numbers into powers of ten.
    let gtin = match random.chance(habits.number_gaps) {
        true => "9.52E+12".to_owned(),
        false => part.gtin.clone(),
    };
    Offer {
        sku: String::new(),
        title: shop.title(part),
        brand: part.brand.to_owned(),
        gtin: Some(gtin),
        mpn: Some(part.mpn.clone()),
        cents: Some(price_point(random.vary(usual, habits.price_spread), random)),
        supply,
        used: false,
        part: Some(place),
    }
}

/// Shops end their prices on a few favourite digits.
pub fn price_point(cents: u32, random: &mut Prng) -> u32 {
    let ending = [90, 99, 0, 49][random.between(0, 3) as usize];
    cents / 100 * 100 + ending
}
