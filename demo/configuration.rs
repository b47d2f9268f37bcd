//! Writes the demo's configuration: the directory that an author would write by hand.
//!
//! The files are meant to be opened and read, so they carry comments and stay in the order in
//! which a person would ask. Writes files and nothing else; existing ones are replaced.

use super::world::{Kind, Part, Shop, Source, Spec, World, decimal};
use std::fmt::Write as _;
use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// Where the demo's servers listen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Addresses {
    /// In the order of [`Shop::ALL`].
    pub shops: [SocketAddr; 3],
    pub webhook: SocketAddr,
}

/// Writes every file of the configuration below `directory` and returns their paths.
///
/// # Errors
/// The first file or directory that cannot be written.
pub fn write_configuration(
    directory: &Path,
    world: &World,
    addresses: &Addresses,
) -> io::Result<Vec<PathBuf>> {
    let mut written = Vec::new();
    for (name, text) in files(world, addresses) {
        let path = directory.join(name);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent)?;
        }
        std::fs::write(&path, text)?;
        written.push(path);
    }
    Ok(written)
}

/// Every file's path below the directory, with its text.
fn files(world: &World, addresses: &Addresses) -> Vec<(String, String)> {
    let mut files = vec![
        (
            "rigtide.toml".to_owned(),
            settings(world, addresses.webhook),
        ),
        ("briefs/media-room.toml".to_owned(), BRIEF.to_owned()),
        ("catalogue/workloads.toml".to_owned(), WORKLOADS.to_owned()),
    ];
    for (shop, address) in Shop::ALL.into_iter().zip(addresses.shops) {
        files.push((
            format!("retailers/{}.toml", shop.id()),
            retailer(shop, address),
        ));
    }
    for kind in Kind::ALL {
        files.push((
            format!("catalogue/{}.toml", kind.name()),
            catalogue(kind, &world.parts),
        ));
    }
    files
}

fn settings(world: &World, webhook: SocketAddr) -> String {
    format!(
        r#"# The demo of rigtide: a youth centre's media room. Everything in it is invented.
# The shops and prices are drawn from seed {seed}; the same seed draws the same ones again.

# Shops see this address in every request, so that they can ask who polls them and why.
contact = "mailto:media-room@example.org"

# Every price ever seen, the builds, and the bulletins still to be sent.
ledger = "ledger.sqlite"

# Where bulletins go. A brief names the channels that it uses.
[[channel]]
id = "desk"
kind = "webhook"
url = "http://{webhook}/bulletins"

[[channel]]
id = "terminal"
kind = "log"
"#,
        seed = world.seed,
    )
}

const BRIEF: &str = r#"# What the media room needs: video cutting by day, a 1440p games club in the evening.
name = "Media room"
budget = "1500.00"
currency = "EUR"
country = "DE"
# Who hears of a better build: the channels of rigtide.toml.
channels = ["desk", "terminal"]

# Both uses matter alike. The room's screens show 144 frames a second, so more are worth nothing;
# below 60 the club would complain.
[[workload]]
use = "video-export"
weight = 50

[[workload]]
use = "gaming-1440p"
weight = 50
floor = "60"
cap = "144"

# One seat for each part. The quiet ones carry the room's wish for silence.
[[role]]
id = "processor"
kind = "cpu"

[[role]]
id = "cooler"
kind = "cooler"
[role.needs.noise_dba]
at_most = 26

[[role]]
id = "board"
kind = "board"

[[role]]
id = "memory"
kind = "memory"

[[role]]
id = "graphics"
kind = "gpu"

[[role]]
id = "drive"
kind = "storage"
quantity = 1
[role.needs.capacity_gb]
at_least = 1000

[[role]]
id = "power"
kind = "psu"
[role.needs.noise_dba]
at_most = 25

[[role]]
id = "case"
kind = "case"

# The supply must carry the processor, the graphics card and 75 W for the rest, and 30 % more.
[power]
headroom_percent = 30
rest_w = 75

# Say so when the best build gains half a percent, or costs ten euros less.
[change]
least_score_percent = "0.5"
least_saving = "10.00"
"#;

const WORKLOADS: &str = r#"# What the room's builds are measured by. A build does as much as the slowest part that limits it;
# `reference` is the rate that scores 100.

# Finished ten-minute clips in an hour.
[[workload]]
id = "video-export"
name = "Video export"
unit = "jobs/h"
limited_by = ["cpu", "memory", "storage"]
reference = "20"

[[workload]]
id = "gaming-1440p"
name = "1440p gaming"
unit = "frames/s"
limited_by = ["cpu", "gpu"]
reference = "60"
"#;

fn retailer(shop: Shop, address: SocketAddr) -> String {
    let (about, feed) = match shop {
        Shop::Vahrel => (
            "exports its range as a CSV file: semicolons, decimal commas, German headings",
            format!(
                "{VAHREL_FEED}\nurl = \"http://{address}/export/artikel.csv\"\n{VAHREL_FIELDS}"
            ),
        ),
        Shop::Ysmarok => (
            "publishes its range as JSON",
            format!("{YSMAROK_FEED}\nurl = \"http://{address}/api/offers.json\"\n{YSMAROK_FIELDS}"),
        ),
        Shop::Immenk => (
            "has web pages only; each says in schema.org terms what it sells",
            format!("{IMMENK_FEED}\nindex = \"http://{address}/\"\n{IMMENK_LINKS}"),
        ),
    };
    format!(
        r#"# {name} {about}.
name = "{name}"
country = "DE"
currency = "EUR"
locale = "de"
prices_include_tax = true
tax_percent = 19
# What it charges to deliver one part.
delivery_per_pick = "{delivery}"

{feed}"#,
        name = shop.name(),
        delivery = decimal(shop.delivery_cents()),
    )
}

const VAHREL_FEED: &str = r#"[[feed]]
id = "export"
format = "csv""#;

const VAHREL_FIELDS: &str = r#"delimiter = ";"
schedule = "*/15 * * * *"
# It is our own server on this machine: no pause is needed between requests.
minimum_interval_s = 0

# Our field = the heading of the shop's column.
[feed.fields]
sku = "Artikelnr"
title = "Bezeichnung"
brand = "Hersteller"
gtin = "EAN"
mpn = "Herstellernr"
price = "Preis"
availability = "Lager"
condition = "Zustand"
link = "Link"

# The shop's own words.
[feed.availability]
"auf Lager" = "in_stock"
"wenige" = "limited_availability"
"ausverkauft" = "sold_out"

[feed.conditions]
"neu" = "new"
"B-Ware" = "used"
"#;

const YSMAROK_FEED: &str = r#"[[feed]]
id = "api"
format = "json""#;

const YSMAROK_FIELDS: &str = r#"schedule = "*/15 * * * *"
# It is our own server on this machine: no pause is needed between requests.
minimum_interval_s = 0

# Where the offers are (a JSONPath), and where each field is inside one of them.
records = "$.offers[*]"
[feed.fields]
sku = "id"
title = "title"
brand = "maker"
gtin = "codes.ean"
mpn = "codes.part_number"
price = "price.amount"
currency = "price.currency"
availability = "stock"
condition = "state"
link = "url"
"#;

const IMMENK_FEED: &str = r#"[[feed]]
id = "pages"
format = "html"
# This page links to one page for each offer; the links are followed one step."#;

const IMMENK_LINKS: &str = r#"links = "a.angebot"
limit = 250
schedule = "*/30 * * * *"
# It is our own server on this machine: no pause is needed between requests.
minimum_interval_s = 0
"#;

fn catalogue(kind: Kind, parts: &[Part]) -> String {
    let mut text = format!(
        "# Parts of kind \"{}\" that the media room would build with.\n\
         # Lengths are in mm, power in W, noise in dB(A); rates in the unit of their workload.\n",
        kind.name()
    );
    for part in parts.iter().filter(|part| part.kind == kind) {
        write_part(&mut text, part);
    }
    text
}

fn toml(spec: &Spec) -> String {
    match spec {
        Spec::Number(number) => number.to_string(),
        Spec::Text(value) => format!("\"{value}\""),
        Spec::Texts(values) => format!("{values:?}"),
        Spec::Flag(flag) => flag.to_string(),
        Spec::Entries(entries) => {
            let entry = |fields: &Vec<(&'static str, Spec)>| {
                let fields = fields
                    .iter()
                    .map(|(name, spec)| format!("{name} = {}", toml(spec)));
                format!("    {{ {} }},\n", fields.collect::<Vec<_>>().join(", "))
            };
            format!("[\n{}]", entries.iter().map(entry).collect::<String>())
        }
    }
}

fn write_part(text: &mut String, part: &Part) {
    let mut line = |line: std::fmt::Arguments<'_>| {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{line}");
    };
    line(format_args!("\n[[part]]"));
    line(format_args!("id = \"{}\"", part.id));
    line(format_args!("kind = \"{}\"", part.kind.name()));
    line(format_args!("name = \"{}\"", part.name));
    line(format_args!("brand = \"{}\"", part.brand));
    line(format_args!("mpn = \"{}\"", part.mpn));
    line(format_args!("gtin = \"{}\"", part.gtin));
    for (name, spec) in &part.specs {
        line(format_args!("{name} = {}", toml(spec)));
    }
    for rate in &part.rates {
        let (tenths, tenth) = (rate.tenths / 10, rate.tenths % 10);
        line(format_args!("[part.rates.{}]", rate.workload));
        line(format_args!("rate = \"{tenths}.{tenth}\""));
        match rate.source {
            Source::Measured(by) => line(format_args!("source = \"{by}\"")),
            Source::Estimated(how) => line(format_args!("estimated = \"{how}\"")),
        }
    }
}
