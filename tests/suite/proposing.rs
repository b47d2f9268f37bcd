//! `rigtide catalogue propose` on what pages state one by one, polled or saved, run as built.

use crate::support::program::Configuration;
use rigtide::catalogue::{Kind, Part, Spec, SpecValue, load_catalogue};
use serde_json::Value;

const NOW: &str = "2026-11-02T09:00:00Z";

const RETAILER: &str = r#"
name = "Brindlemark"
country = "DE"
currency = "EUR"
[[feed]]
id = "pages"
file = "page.html"
format = "html"
"#;

/// The title tells neither what it is nor how long: the properties do.
const PAGE: &str = r#"<!doctype html><title>Shop</title><script type="application/ld+json">
{"@context": "https://schema.org", "@type": "Product", "name": "Otterworks Volt 850",
 "sku": "V-850", "brand": {"@type": "Brand", "name": "Otterworks"},
 "category": "Components > Power supplies",
 "additionalProperty": [
   {"@type": "PropertyValue", "name": "Leistung", "value": 850, "unitCode": "WTT"},
   {"@type": "PropertyValue", "name": "Länge (cm)", "value": "16"},
   {"@type": "PropertyValue", "name": "Zertifizierung", "value": "80 PLUS Gold"},
   {"@type": "PropertyValue", "name": "Warranty", "value": "10 years"}],
 "offers": {"@type": "Offer", "price": "99.00", "priceCurrency": "EUR",
   "availability": "https://schema.org/InStock",
   "itemCondition": "https://schema.org/NewCondition"}}
</script>"#;

fn configuration() -> Configuration {
    let configuration = Configuration::new(NOW);
    configuration.write("retailers/brindlemark.toml", RETAILER);
    configuration.write("saved.html", PAGE);
    configuration
}

/// The one draft in what was printed.
fn draft(printed: &str) -> Part {
    let (catalogue, faults) = load_catalogue(&[("drafts.toml", printed)]);
    assert_eq!(faults, [], "{printed}");
    let mut parts = catalogue.parts.into_values();
    let first = parts.next().unwrap_or_else(|| panic!("{printed}"));
    assert!(parts.next().is_none(), "{printed}");
    first
}

fn assert_is_as_stated(part: &Part) {
    assert_eq!(part.kind, Kind::Psu);
    assert_eq!(part.number(Spec::RatedW), Some(850));
    assert_eq!(part.number(Spec::LengthMm), Some(160));
    let gold = SpecValue::Text("Gold".into());
    assert_eq!(part.specs.get(&Spec::Efficiency), Some(&gold));
    assert!(part.specs.keys().eq(&part.guessed), "{part:?}");
}

#[test]
fn a_saved_page_is_drafted_from_without_a_ledger() {
    let configuration = configuration();
    let saved = configuration.path("saved.html");
    let propose = ["catalogue", "propose", "brindlemark/pages", "--from"];
    let propose = [&propose[..], &[saved.to_str().unwrap()]].concat();
    assert_is_as_stated(&draft(&configuration.run(&propose).exited(0)));
    let report = configuration
        .run(&[&propose[..], &["--json"]].concat())
        .json(0);
    assert_eq!(
        (
            &report["offers"],
            report["drafts"].as_array().unwrap().len()
        ),
        (&Value::from(1), 1)
    );
    assert!(!configuration.path("ledger.sqlite").exists());

    let missing = [&propose[..4], &["nowhere.html"]].concat();
    let ran = configuration.run(&missing);
    assert_eq!(ran.code, 1, "{}", ran.out);
    assert!(
        ran.err
            .contains("cannot read a saved copy of brindlemark/pages: nowhere.html"),
        "{}",
        ran.err
    );
}

#[test]
fn what_a_polled_page_states_is_kept_until_it_is_drafted_from() {
    let configuration = configuration();
    configuration.write("page.html", PAGE);
    configuration.run(&["poll"]).exited(0);
    let propose = ["catalogue", "propose", "brindlemark/pages"];
    assert_is_as_stated(&draft(&configuration.run(&propose).exited(0)));
    // The next poll brings another length; nothing else has changed.
    configuration.write("page.html", PAGE.replace("\"16\"", "\"18\""));
    configuration.run(&["poll"]).exited(0);
    let part = draft(&configuration.run(&propose).exited(0));
    assert_eq!(part.number(Spec::LengthMm), Some(180));
}
