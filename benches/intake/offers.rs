//! Invented shops with invented offers, the same for one seed on every machine.

use crate::prng::Prng;
use anyhow::Result;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

const BRANDS: [&str; 8] = [
    "Askerune", "Veldimor", "Haldrune", "Ulvaskop", "Drefholm", "Jastrune", "Sennovik", "Oskvale",
];
const NAMES: [&str; 8] = [
    "Fjell", "Strand", "Siltwind", "Skerry", "Quay", "Slate", "Tern", "Rowan",
];
const GOODS: [&str; 6] = [
    "graphics card 16 GB",
    "processor, tray",
    "board \"micro\"",
    "supply 750 W, modular",
    "memory kit 2 x 16 GB",
    "drive 2 TB",
];
const STOCK: [&str; 4] = ["auf Lager", "in stock", "nicht lieferbar", "5"];
/// Parts in the catalogue, and how many offers of a hundred are one of them.
const N_PARTS: u32 = 2_000;
const MATCHED_PERCENT: u32 = 20;
/// Offers of a hundred whose price differs in the last poll.
const CHANGED_PERCENT: u32 = 10;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    Csv,
    Json,
    Xml,
}

impl Format {
    pub const ALL: [Format; 3] = [Format::Csv, Format::Json, Format::Xml];

    pub fn name(self) -> &'static str {
        match self {
            Format::Csv => "csv",
            Format::Json => "json",
            Format::Xml => "xml",
        }
    }
}

/// A configuration directory with a feed of every format.
pub struct World {
    pub directory: PathBuf,
}

struct Offer {
    sku: u32,
    title: String,
    brand: &'static str,
    gtin: String,
    mpn: String,
    price_cents: u32,
    stock: &'static str,
}

impl World {
    pub fn write(directory: &Path, seed: u64, n_offers: u32, formats: &[Format]) -> Result<World> {
        for folder in ["catalogue", "retailers", "briefs"] {
            fs::create_dir_all(directory.join(folder))?;
        }
        let contact = "contact = \"mailto:editor@guide.example\"\n";
        fs::write(directory.join("rigtide.toml"), contact)?;
        let (catalogue, parts) = catalogue(seed);
        fs::write(directory.join("catalogue/parts.toml"), catalogue)?;
        fs::write(directory.join("parts.csv"), parts)?;
        fs::write(directory.join("retailers/vela.toml"), RETAILER)?;
        let world = World {
            directory: directory.to_owned(),
        };
        let before = offers(seed, n_offers);
        let mut after = offers(seed, n_offers);
        let mut draws = Prng::stream(seed, 3);
        for offer in &mut after {
            if draws.chance(CHANGED_PERCENT) {
                offer.price_cents = draws.vary(offer.price_cents, 50);
            }
        }
        for format in formats {
            fs::write(world.path(*format, "before"), render(*format, &before))?;
            fs::write(world.path(*format, "after"), render(*format, &after))?;
        }
        Ok(world)
    }

    /// What the feed says at the nth poll.
    pub fn feed(&self, format: Format, nth: usize) -> PathBuf {
        self.path(format, if nth < 2 { "before" } else { "after" })
    }

    /// The file that the settings name.
    pub fn polled(&self, format: Format) -> PathBuf {
        self.path(format, "feed")
    }

    fn path(&self, format: Format, name: &str) -> PathBuf {
        self.directory.join(format!("{name}.{}", format.name()))
    }
}

fn gtin(number: u32) -> String {
    // 952 is GS1's prefix for examples.
    let body = format!("952{number:09}");
    let weighted = body
        .bytes()
        .enumerate()
        .map(|(at, digit)| u32::from(digit - b'0') * if at % 2 == 0 { 1 } else { 3 });
    let check = (10 - weighted.sum::<u32>() % 10) % 10;
    format!("{body}{check}")
}

fn mpn(brand: &str, number: u32) -> String {
    format!(
        "{}-{:X}/{}",
        &brand[..3].to_uppercase(),
        u64::from(number) * 7919,
        number % 9
    )
}

/// What a maker calls its thing of this number. None of the numbers is a year: a part named by one
/// is asked about for every title of its line.
fn name(number: u32) -> String {
    format!(
        "{} {}",
        NAMES[number as usize % NAMES.len()],
        3_000 + number
    )
}

/// The catalogue as settings, and as the table that the script reads.
fn catalogue(seed: u64) -> (String, String) {
    let mut draws = Prng::stream(seed, 1);
    let (mut toml, mut csv) = (String::new(), "part,gtin,mpn\n".to_owned());
    for number in 0..N_PARTS {
        let brand = BRANDS[draws.between(0, 7) as usize];
        let (gtin, mpn) = (gtin(number), mpn(brand, number));
        let _ = write!(
            toml,
            "[[part]]\nid = \"part-{number}\"\nkind = \"gpu\"\nname = \"{}\"\n\
             brand = \"{brand}\"\ngtin = \"{gtin}\"\nmpn = \"{mpn}\"\n\n",
            name(number)
        );
        let _ = writeln!(csv, "part-{number},{gtin},{mpn}");
    }
    (toml, csv)
}

fn offers(seed: u64, n_offers: u32) -> Vec<Offer> {
    let mut brands = Prng::stream(seed, 1);
    let brands: Vec<&str> = (0..N_PARTS)
        .map(|_| BRANDS[brands.between(0, 7) as usize])
        .collect();
    let mut draws = Prng::stream(seed, 2);
    let offer = |sku| {
        let is_part = draws.chance(MATCHED_PERCENT);
        let number = if is_part {
            draws.between(0, N_PARTS - 1)
        } else {
            N_PARTS + sku
        };
        let drawn = BRANDS[draws.between(0, 7) as usize];
        let brand = brands.get(number as usize).copied().unwrap_or(drawn);
        // Every part is a graphics card; what else the shop sells is anything.
        let goods = match is_part {
            true => GOODS[0],
            false => GOODS[draws.between(0, 5) as usize],
        };
        // One offer in ten has no GTIN, so that the part number has to do.
        let has_gtin = !draws.chance(10);
        Offer {
            sku,
            title: format!("{brand} {}, {goods}", name(number)),
            brand,
            gtin: if has_gtin {
                gtin(number)
            } else {
                String::new()
            },
            mpn: mpn(brand, number),
            price_cents: draws.between(1_990, 189_900),
            stock: STOCK[draws.between(0, 3) as usize],
        }
    };
    (0..n_offers).map(offer).collect()
}

const TEXT: &str =
    "A part for builds of every size. Two years of warranty; returns within 30 days.";

fn render(format: Format, offers: &[Offer]) -> String {
    let mut text = String::new();
    match format {
        Format::Csv => {
            text.push_str("Artikelnr;Bezeichnung;Marke;EAN;Herstellernr;Preis;Bestand;Link;Text\n");
            offers.iter().for_each(|offer| csv_line(&mut text, offer));
        }
        Format::Json => {
            text.push_str("{\"offers\": [");
            offers
                .iter()
                .for_each(|offer| json_record(&mut text, offer));
            text.push_str("], \"count\": 1}");
        }
        Format::Xml => {
            text.push_str(
                "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
                 <feed xmlns=\"https://feeds.example/offers\"><offers>\n",
            );
            offers.iter().for_each(|offer| xml_record(&mut text, offer));
            text.push_str("</offers></feed>\n");
        }
    }
    text
}

fn csv_line(text: &mut String, offer: &Offer) {
    let (euros, cents) = (offer.price_cents / 100, offer.price_cents % 100);
    let price = match euros {
        1000.. => format!("{}.{:03},{cents:02} €", euros / 1000, euros % 1000),
        _ => format!("{euros},{cents:02} €"),
    };
    let title = offer.title.replace('"', "\"\"");
    let Offer {
        sku,
        brand,
        gtin,
        mpn,
        stock,
        ..
    } = offer;
    let _ = writeln!(
        text,
        "A-{sku};\"{title}\";{brand};{gtin};{mpn};{price};{stock};https://vela.example/parts/a-{sku};{TEXT:?}"
    );
}

fn json_record(text: &mut String, offer: &Offer) {
    if offer.sku > 0 {
        text.push(',');
    }
    let (euros, cents) = (offer.price_cents / 100, offer.price_cents % 100);
    let Offer {
        sku,
        title,
        brand,
        gtin,
        mpn,
        stock,
        ..
    } = offer;
    let _ = write!(
        text,
        "\n {{\"id\": \"A-{sku}\", \"title\": {title:?}, \"brand\": \"{brand}\", \"ean\": \"{gtin}\", \
         \"mpn\": \"{mpn}\", \"price\": {{\"amount\": {euros}.{cents:02}, \"currency\": \"EUR\"}}, \
         \"stock\": \"{stock}\", \"url\": \"https://vela.example/parts/a-{sku}\", \"text\": {TEXT:?}, \
         \"tags\": [\"new\", \"parts\"]}}"
    );
}

fn xml_record(text: &mut String, offer: &Offer) {
    let (euros, cents) = (offer.price_cents / 100, offer.price_cents % 100);
    let title = offer.title.replace('"', "&quot;");
    let Offer {
        sku,
        brand,
        gtin,
        mpn,
        stock,
        ..
    } = offer;
    let _ = writeln!(
        text,
        "<offer id=\"A-{sku}\"><title>{title}</title><brand>{brand}</brand><ean>{gtin}</ean>\
         <mpn>{mpn}</mpn><price>{euros}.{cents:02} EUR</price><stock>{stock}</stock>\
         <link>https://vela.example/parts/a-{sku}</link><text><![CDATA[{TEXT}]]></text></offer>"
    );
}

/// One shop with the three feeds.
const RETAILER: &str = r#"
name = "Vela"
country = "DE"
currency = "EUR"
locale = "de"

[[feed]]
id = "csv"
format = "csv"
file = "feed.csv"
body_limit_mb = 1024
delimiter = ";"
[feed.fields]
sku = "Artikelnr"
title = "Bezeichnung"
brand = "Marke"
gtin = "EAN"
mpn = "Herstellernr"
price = "Preis"
availability = "Bestand"
link = "Link"

[[feed]]
id = "json"
format = "json"
file = "feed.json"
records = "$.offers[*]"
[feed.fields]
sku = "id"
title = "title"
brand = "brand"
gtin = "ean"
mpn = "mpn"
price = "price.amount"
currency = "price.currency"
availability = "stock"
link = "url"

[[feed]]
id = "xml"
format = "xml"
file = "feed.xml"
records = "offer"
[feed.fields]
sku = "@id"
title = "title"
brand = "brand"
gtin = "ean"
mpn = "mpn"
price = { select = "price", written_for = "programs" }
availability = "stock"
link = "link"
"#;
