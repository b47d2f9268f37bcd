//! What a daemon keeps in less room is what every command reads.

use crate::support::guides::Guides;
use crate::support::offer::titled;
use crate::support::specs::{Dice, by_chance, part};
use rigtide::catalogue::spec::Shape;
use rigtide::catalogue::{Catalogue, Fault, Gtin, Kind, Part, SpecValue, render_parts};
use rigtide::market::{Matcher, Offer};
use rigtide::watch::settings::files::Files;
use rigtide::watch::settings::{
    Settings, load_settings, matcher_for_long, settings_for_long as settings_of_files,
};
use std::fs;
use std::path::Path;

const LABELLED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/matching");

fn settings_for_long(directory: &Path) -> Result<Settings, Vec<Fault>> {
    settings_of_files(directory, Files::read(directory))
}

/// The catalogue as a command reads it, and as a daemon does.
fn both(directory: &Path) -> (Catalogue, Catalogue) {
    let read = load_settings(directory).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let kept = settings_for_long(directory).unwrap_or_else(|faults| panic!("{faults:#?}"));
    (read.catalogue, kept.catalogue)
}

/// Parts of every kind with whatever specs, of which some were guessed.
fn generated(number: u64) -> Vec<Part> {
    let mut dice = Dice(number);
    let kinds = Kind::NAMES.iter().cycle().take(400);
    let made = kinds.enumerate().map(|(at, (_, kind))| {
        let mut specs = by_chance(*kind, &mut dice, 4);
        specs.retain(|spec, value| match (&spec.def().shape, value) {
            (Shape::Number { plausible, .. }, SpecValue::Number(value)) => {
                plausible.contains(value)
            }
            _ => true,
        });
        let guessed = specs.keys().copied();
        let guessed = guessed.filter(|_| dice.roll(5) == 0).collect();
        let id = format!("made-{at}");
        Part {
            brand: (dice.roll(3) > 0).then(|| dice.pick(&["Otterworks", "Brindlemark"]).into()),
            mpns: (0..dice.roll(3)).map(|one| format!("{id}/{one}")).collect(),
            source: (dice.roll(2) > 0).then(|| "a list, 2026-09".into()),
            guessed,
            ..part(*kind, &id, specs)
        }
    });
    // A part that has neither number has nothing to be known by.
    made.filter(|made| !made.mpns.is_empty()).collect()
}

#[test]
fn a_catalogue_that_is_kept_is_the_one_that_was_read() {
    let guides = Guides::new();
    let (starter, kept) = both(&guides.directory);
    assert!(!starter.workloads.is_empty());
    assert!(starter.parts.values().any(|part| !part.rates.is_empty()));
    assert_eq!(starter, kept);
    for seed in [1, 2026] {
        let parts = generated(seed);
        let file = guides.directory.join("catalogue/made.toml");
        fs::write(file, render_parts(&[], &parts)).unwrap();
        let (read, kept) = both(&guides.directory);
        assert_eq!(read.parts.len(), starter.parts.len() + parts.len());
        assert!(read.parts.values().any(|part| !part.guessed.is_empty()));
        assert_eq!(read, kept);
    }
}

#[test]
fn what_is_wrong_with_settings_is_the_same_for_a_daemon() {
    let guides = Guides::new();
    let broken = "[[part]]\nid = \"a\"\nkind = \"cup\"\nname = \"A\"\nmpn = \"1\"\nsokcet = 1\n";
    fs::write(guides.directory.join("catalogue/broken.toml"), broken).unwrap();
    let told = load_settings(&guides.directory).err().unwrap();
    assert!(!told.is_empty());
    assert_eq!(settings_for_long(&guides.directory).err().unwrap(), told);
}

/// Offers as shops write them, with whatever keys they have.
fn labelled() -> Vec<Offer> {
    let files = ["tuning.csv", "heldout.csv", "blind.csv"];
    let rows = files.into_iter().flat_map(|file| {
        let mut reader = csv::Reader::from_path(Path::new(LABELLED).join(file)).unwrap();
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        rows
    });
    let offers = rows.enumerate().map(|(number, row)| {
        let filled = |at: usize| Some(row[at].to_owned()).filter(|text| !text.is_empty());
        Offer {
            brand: filled(1),
            gtins: Gtin::parse(&row[2]).into_iter().collect(),
            mpn: filled(3),
            ..titled(&number.to_string(), &row[0])
        }
    });
    offers.collect()
}

#[test]
fn a_matcher_that_is_kept_takes_every_offer_for_what_a_fresh_one_does() {
    let guides = Guides::new();
    let more = guides.directory.join("catalogue/labelled.toml");
    fs::copy(Path::new(LABELLED).join("catalogue.toml"), more).unwrap();
    let read = load_settings(&guides.directory).unwrap();
    let kept = settings_for_long(&guides.directory).unwrap();
    let (fresh, kept) = (Matcher::new(&read.catalogue), matcher_for_long(&kept));
    let offers = labelled();
    assert!(offers.len() > 1_000);
    for offer in &offers {
        let taken = kept.match_offer(offer, None);
        assert_eq!(taken, fresh.match_offer(offer, None), "{}", offer.title);
    }
}
