//! The written configuration: readable TOML that says what the world is.

use crate::SEED;
use crate::demo::world::{Shop, World};
use crate::demo::{Addresses, write_configuration};
use rigtide::catalogue::table::Document;
use rigtide::market::{Field, Retailer};
use std::collections::BTreeSet;
use std::path::Path;
use toml::{Table, Value};

const ADDRESSES: [&str; 4] = [
    "127.0.0.1:4001",
    "127.0.0.1:4002",
    "127.0.0.1:4003",
    "127.0.0.1:4004",
];

fn written(directory: &Path) -> World {
    let world = World::generate(SEED);
    let [vahrel, ysmarok, immenk, webhook] = ADDRESSES.map(|address| address.parse().unwrap());
    let addresses = Addresses {
        shops: [vahrel, ysmarok, immenk],
        webhook,
    };
    let paths = write_configuration(directory, &world, &addresses).unwrap();
    assert!(paths.iter().all(|path| path.is_file()));
    world
}

fn read(directory: &Path, name: &str) -> Table {
    let text = std::fs::read_to_string(directory.join(name)).unwrap();
    text.parse()
        .unwrap_or_else(|error| panic!("{name}: {error}"))
}

#[test]
fn every_part_stands_in_the_catalogue_with_its_specs_and_rates() {
    let directory = tempfile::tempdir().unwrap();
    let world = written(directory.path());
    let mut n_parts = 0;
    for entry in std::fs::read_dir(directory.path().join("catalogue")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let table = read(directory.path(), &format!("catalogue/{name}"));
        let Some(parts) = table.get("part").and_then(Value::as_array) else {
            assert_eq!(name, "workloads.toml");
            continue;
        };
        for written in parts {
            let id = written["id"].as_str().unwrap();
            let part = world.parts.iter().find(|part| part.id == id).unwrap();
            assert_eq!(written["gtin"].as_str(), Some(part.gtin.as_str()));
            assert!(
                part.specs
                    .iter()
                    .all(|(spec, _)| written.get(*spec).is_some()),
                "{id}"
            );
            for rate in &part.rates {
                let tenths = written["rates"][rate.workload]["rate"].as_str().unwrap();
                assert_eq!(tenths.replace('.', ""), rate.tenths.to_string(), "{id}");
            }
            n_parts += 1;
        }
    }
    assert_eq!(n_parts, world.parts.len());
}

#[test]
fn the_catalogue_is_as_the_schema_for_editors_says() {
    let directory = tempfile::tempdir().unwrap();
    written(directory.path());
    let schema = rigtide::catalogue::schema::catalogue_schema();
    let validator = jsonschema::draft7::new(&schema).unwrap();
    let mut n_files = 0;
    for entry in std::fs::read_dir(directory.path().join("catalogue")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let table = read(directory.path(), &format!("catalogue/{name}"));
        // Through text: numbers then have the form that JSON files have.
        let text = serde_json::to_string(&table).unwrap();
        let json: serde_json::Value = serde_json::from_str(&text).unwrap();
        let errors = validator.iter_errors(&json);
        let complaints: Vec<String> = errors
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert_eq!(complaints, Vec::<String>::new(), "{name}");
        n_files += 1;
    }
    assert!(n_files > 1);
}

#[test]
fn the_library_reads_the_retailers_and_knows_every_field() {
    let directory = tempfile::tempdir().unwrap();
    written(directory.path());
    for (shop, address) in Shop::ALL.into_iter().zip(ADDRESSES) {
        let name = format!("retailers/{}.toml", shop.id());
        let text = std::fs::read_to_string(directory.path().join(&name)).unwrap();
        let document = Document::parse(&name, &text);
        let mut root = document.root();
        let retailer = Retailer::read(
            shop.id(),
            &mut root,
            &rigtide::catalogue::Catalogue::default(),
        )
        .unwrap();
        assert_eq!(retailer.name, shop.name());
        let delivery = i64::from(shop.delivery_cents());
        assert_eq!(retailer.delivery_per_pick.minor(), delivery);
        for mut feed in root.tables("feed") {
            assert!(feed.required_text("schedule").is_some());
            let from = feed
                .text("url")
                .or_else(|| feed.text("index"))
                .unwrap()
                .value;
            assert!(from.starts_with(&format!("http://{address}/")), "{from}");
            for (field, _) in feed
                .table("fields")
                .map(|f| f.named_texts())
                .unwrap_or_default()
            {
                assert!(Field::parse(&field.value).is_some(), "{}", field.value);
            }
        }
        assert_eq!(document.into_faults(), []);
    }
}

#[test]
fn the_brief_and_the_settings_name_only_what_exists() {
    let directory = tempfile::tempdir().unwrap();
    written(directory.path());
    let names = |table: &Table, list: &str, key: &str| -> BTreeSet<String> {
        let entries = table[list].as_array().unwrap().iter();
        entries
            .map(|entry| entry[key].as_str().unwrap().to_owned())
            .collect()
    };
    let settings = read(directory.path(), "rigtide.toml");
    let brief = read(directory.path(), "briefs/media-room.toml");
    let workloads = read(directory.path(), "catalogue/workloads.toml");
    assert_eq!(
        names(&brief, "workload", "use"),
        names(&workloads, "workload", "id")
    );
    assert_eq!(names(&brief, "role", "kind").len(), 8);
    let channels = names(&settings, "channel", "id");
    for channel in brief["channels"].as_array().unwrap() {
        assert!(channels.contains(channel.as_str().unwrap()));
    }
    assert_eq!(
        settings["channel"][0]["url"].as_str(),
        Some("http://127.0.0.1:4004/bulletins")
    );
}
