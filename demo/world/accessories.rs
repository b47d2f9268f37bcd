//! Listings that must not be taken for a part: things beside it, used ones, bundles, and titles
//! that attack whoever prints them.

use super::part::{Kind, Part, gtin13};
use super::stock::{Offer, Shop, Supply, price_point};
use crate::demo::prng::Prng;

/// (what, cents from, cents to)
const ORDINARY: [(&str, u32, u32); 22] = [
    ("HDMI-Kabel 2 m", 590, 1_490),
    ("DisplayPort-Kabel 1,5 m", 790, 1_790),
    ("Netzwerkkabel Cat 6 5 m", 490, 1_290),
    ("SATA-Kabel 50 cm", 290, 790),
    ("120-mm-Lüfter PWM", 690, 2_490),
    ("140-mm-Lüfter PWM", 890, 2_790),
    ("Wärmeleitpaste 4 g", 490, 1_190),
    ("Tastatur leise", 1_990, 8_990),
    ("Maus kabellos", 1_490, 6_990),
    ("Headset geschlossen", 2_990, 14_990),
    ("Webcam 1080p", 2_490, 8_990),
    ("USB-Hub 7 Ports", 1_490, 3_990),
    ("Kartenleser USB-C", 990, 2_990),
    ("Monitor 27 Zoll 1440p 144 Hz", 17_990, 32_990),
    ("Monitorarm für 27\" bis 32\"", 2_990, 8_990),
    ("Mauspad groß", 790, 2_490),
    ("Staubfilter magnetisch", 490, 1_490),
    ("Lüftersteuerung 6 Kanäle", 1_490, 3_990),
    ("Steckdosenleiste 6-fach", 990, 2_490),
    ("Dämmmatte selbstklebend", 1_290, 2_990),
    ("WLAN-Karte PCIe", 1_990, 4_990),
    ("Schraubendreherset", 990, 3_490),
];

const BRANDS: [&str; 4] = ["Nebbrik", "Dorrflut", "Zwirbenk", "Ottelunz"];

/// Ordinary things that a computer shop sells too. The n-th is the same in every shop.
pub fn ordinary(count: u32, random: &mut Prng) -> Vec<Offer> {
    let listing = |number: u32, random: &mut Prng| {
        let (what, from, to) = ORDINARY[number as usize % ORDINARY.len()];
        let brand = BRANDS[number as usize / ORDINARY.len() % BRANDS.len()];
        let title = format!("{brand} {what}, Ausführung {}", number / 88 + 1);
        let mut offer = listing(title, Some(random.between(from, to)), random);
        offer.brand = brand.to_owned();
        offer.gtin = Some(gtin13(500_000 + number));
        offer.mpn = Some(format!("{}-{:03}Z", brand[..2].to_uppercase(), number));
        // One in sixty has its price on request.
        if number % 60 == 41 {
            offer.cents = None;
        }
        offer
    };
    (0..count).map(|number| listing(number, random)).collect()
}

/// Used copies of parts, things made for parts, and bundles with a part in them.
pub fn of_parts(listed: &[Offer], parts: &[Part], random: &mut Prng) -> Vec<Offer> {
    let mut offers = Vec::new();
    for (place, original) in listed.iter().enumerate() {
        let Some(part) = original.part.and_then(|at| parts.get(at)) else {
            continue;
        };
        match (part.kind, place % 23) {
            (_, 7) => offers.push(used(original, random)),
            (Kind::Gpu, 3) => {
                let title = format!("Backplate für {}", part.name);
                let mut offer = listing(title, Some(random.between(1_490, 3_490)), random);
                offer.mpn = Some(format!("BP-{}", part.mpn));
                offers.push(offer);
            }
            (Kind::Gpu, 13) => {
                let title = format!("Komplett-PC mit {}, 32 GB, 1 TB SSD", part.name);
                offers.push(listing(
                    title,
                    Some(random.between(99_900, 189_900)),
                    random,
                ));
            }
            (Kind::Cpu, 11) => {
                let title = format!("Set: {} + Mainboard + 32 GB DDR5", part.name);
                let cents = part.usual_cents + random.between(14_000, 22_000);
                offers.push(listing(title, Some(cents), random));
            }
            (Kind::Psu, 17) => {
                let title = format!("Kabelsatz für {}", part.name);
                offers.push(listing(title, Some(random.between(1_990, 4_990)), random));
            }
            _ => {}
        }
    }
    offers
}

fn used(original: &Offer, random: &mut Prng) -> Offer {
    Offer {
        title: format!("B-Ware: {}", original.title),
        cents: original
            .cents
            .map(|cents| price_point(cents * 78 / 100, random)),
        supply: Supply::Few,
        used: true,
        ..original.clone()
    }
}

/// Titles that would do harm in a page, a spreadsheet, a shell, a database or a terminal.
pub fn hostile(shop: Shop, random: &mut Prng) -> Vec<Offer> {
    let long = "Kabelbinder ".repeat(400);
    let titles: [&str; 5] = match shop {
        Shop::Vahrel => [
            "=HYPERLINK(\"http://example.invalid/\";\"Kabel\")",
            "<img src=x onerror=alert(1)> Kabelbinder",
            "Monitorarm 27\" Curved; schwarz",
            "Kabel\r\nzweite Zeile des Titels",
            "@SUM(1+1) Adapter",
        ],
        Shop::Ysmarok => [
            "<script>alert('rigtide')</script> HDMI-Kabel 2 m",
            "'); DROP TABLE offers; -- USB-Hub",
            "Lüfter 120 mm \u{202e}ztrawhcs\u{202c} \u{1b}[31mrot\u{7}",
            "$(touch rigtide-was-here) `id` {{7*7}} Adapter",
            &long,
        ],
        Shop::Immenk => [
            "</script><b>Kabel & \"Co\"</b>",
            "<!-- Netzteilkabel --> ]]> Adapter",
            "&lt;b&gt;Tischl\u{fc}fter&lt;/b&gt; &amp;amp; mehr",
            "javascript:alert(1) Mauspad",
            "../../etc/passwd Kartenleser",
        ],
    };
    titles
        .into_iter()
        .map(|title| listing(title.to_owned(), Some(random.between(490, 4_990)), random))
        .collect()
}

fn listing(title: String, cents: Option<u32>, random: &mut Prng) -> Offer {
    let supply = match random.chance(8) {
        true => Supply::SoldOut,
        false => Supply::InStock,
    };
    Offer {
        sku: String::new(),
        title,
        brand: String::new(),
        gtin: None,
        mpn: None,
        cents: cents.map(|cents| price_point(cents, random)),
        supply,
        used: false,
        part: None,
    }
}
