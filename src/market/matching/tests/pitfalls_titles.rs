//! The pitfalls of matching M13 to M28: titles and listings; all names are invented.

use super::*;
use crate::market::normalise::{NormaliseSettings, Normalised, normalise};
use crate::market::raw::{Field, RawOffer, RawText};
use std::collections::BTreeSet;

#[test]
fn m13_every_suffix_of_a_board_counts() {
    let names = ["K650", "K650M", "K650E", "K650 WIFI", "K650 D4"];
    let parts: Vec<_> = names
        .iter()
        .map(|name| format!("Norvant {name} Plate"))
        .collect();
    let parts: Vec<_> = names
        .iter()
        .zip(&parts)
        .map(|(id, name)| (*id, "board", name.as_str(), ""))
        .collect();
    let ids: Vec<String> = names
        .iter()
        .map(|name| name.to_lowercase().replace(' ', "-"))
        .collect();
    let parts: Vec<_> = parts
        .iter()
        .zip(&ids)
        .map(|((_, kind, name, rest), id)| (id.as_str(), *kind, *name, *rest))
        .collect();
    let boards = matcher(&parts);
    for (_, _, name, _) in &parts {
        let id = ids[parts.iter().position(|part| part.2 == *name).unwrap()].as_str();
        check_titles(&boards, &[(name, id)]);
    }
    check_titles(
        &boards,
        &[
            ("Norvant K650M WIFI Plate", "?"),
            ("Norvant K650T Plate", "?"),
            ("Norvant K670 Plate", "-"),
        ],
    );
}

#[test]
fn m14_m15_models_one_letter_apart_are_different() {
    check_titles(
        &matcher(CARDS),
        &[
            ("Norvant Fenrir 8810 16GB", "card"),
            ("Norvant Fenrir 8810XT 16GB", "card-xt"),
            ("Norvant Fenrir 8810 XT 16GB", "card-xt"),
            ("Norvant Fenrir 8820 12GB", "card-12"),
            ("Norvant Fenrir 8820 8GB", "card-8"),
            ("Norvant Fenrir 8820", "?"),
            ("Norvant Fenrir 8820 XT 8GB", "?"),
        ],
    );
    let cpus = matcher(&[
        ("g", "cpu", "Norvant G4600", ""),
        ("gk", "cpu", "Norvant G4600K", ""),
        ("gkf", "cpu", "Norvant G4600KF", ""),
    ]);
    check_titles(
        &cpus,
        &[
            ("Norvant G4600", "g"),
            ("Norvant G4600K", "gk"),
            ("Norvant G4600 KF", "gkf"),
            ("Norvant G4600F", "?"),
            ("Norvant G4600T", "?"),
        ],
    );
}

#[test]
fn m16_packaging_is_kept_and_tells_parts_apart_only_where_the_catalogue_does() {
    let cpus = matcher(&[
        ("one", "cpu", "Norvant G4600", "boxed_cooler = true"),
        ("box", "cpu", "Norvant G4800 Boxed", ""),
        ("tray", "cpu", "Norvant G4800 Tray", ""),
    ]);
    for (title, part, packaging) in [
        ("Norvant G4600 tray", "one", Some("tray")),
        ("Norvant G4600 OEM", "one", Some("tray")),
        ("Norvant G4600 bulk", "one", Some("tray")),
        ("Norvant G4600 boxed", "one", Some("boxed")),
        ("Norvant G4600", "one", None),
        ("Norvant G4800 tray", "tray", Some("tray")),
        ("Norvant G4800 box", "box", Some("boxed")),
    ] {
        match matcher_part(&cpus, title) {
            Some(found) => {
                assert_eq!(found.part.as_str(), part, "{title}");
                assert_eq!(found.listing.packaging.as_deref(), packaging, "{title}");
            }
            None => panic!("{title} matches nothing"),
        }
    }
    check_titles(&cpus, &[("Norvant G4800", "?")]);
}

fn matcher_part(matcher: &Matcher, title: &str) -> Option<PartMatch> {
    match matcher.match_offer(&offer(Says::title(title)), None) {
        Matching::Part(found) => Some(found),
        _ => None,
    }
}

#[test]
fn m17_a_colour_counts_where_siblings_have_one() {
    let cases = matcher(&[
        ("plain", "case", "Norvant Holm 3", ""),
        ("white", "case", "Norvant Holm 3 White", ""),
        ("other", "case", "Norvant Skuta 7", ""),
    ]);
    check_titles(
        &cases,
        &[
            ("Norvant Holm 3", "plain"),
            ("Norvant Holm 3 weiß", "white"),
            ("Norvant Holm 3 Snow", "white"),
            ("Norvant Holm 3 black", "plain"),
            ("Norvant Skuta 7 schwarz", "other"),
        ],
    );
}

#[test]
fn m18_a_region_is_kept_and_is_the_same_hardware() {
    let cards = matcher(CARDS);
    for (mpn, region) in [
        ("NV-8810/16G-OC-EU", "EU"),
        ("NV-8810/16G-OC/UK", "UK"),
        ("NV8810 16G OC/NA", "NA"),
    ] {
        let says = Says {
            mpn: Some(mpn),
            brand: Some("Norvant"),
            ..Says::default()
        };
        match cards.match_offer(&offer(says), None) {
            Matching::Part(found) => {
                assert_eq!(found.part.as_str(), "card-oc");
                assert_eq!(found.listing.region.as_deref(), Some(region));
                assert!(found.reason().contains(region));
            }
            other => panic!("{mpn}: {other:?}"),
        }
    }
}

#[test]
fn m19_bundles_are_not_the_processor() {
    let cpus = matcher(&[
        ("x", "cpu", "Norvant G4600", "gtin = \"6291041500213\""),
        ("y", "cpu", "Norvant G4800", "boxed_cooler = true"),
    ]);
    for title in [
        "Norvant G4600 + Board K650 + 32GB bundle",
        "Norvant G4600 Set",
        "Norvant G4600 inkl. Kühler",
        "Norvant G4600 + Mainboard K650",
    ] {
        assert!(
            ["-", "?"].contains(&answer(&cpus, Says::title(title)).as_str()),
            "{title}"
        );
        let keyed = Says {
            title,
            gtin: Some("6291041500213"),
            ..Says::default()
        };
        assert_eq!(answer(&cpus, keyed), "?", "{title}");
    }
    check_titles(&cpus, &[("Norvant G4800 inkl. Kühler", "y")]);
}

#[test]
fn m20_accessories_and_machines_are_not_the_part_even_under_its_number() {
    let cards = matcher(CARDS);
    for title in [
        "Backplate for Norvant Fenrir 8810 16GB",
        "Norvant Backplate for Fenrir 8810 16GB",
        "Kabel für Norvant Fenrir 8810 16GB",
        "Gaming PC with Norvant Fenrir 8810 16GB",
        "Gaming PC Norvant Fenrir 8810 16GB",
    ] {
        assert_eq!(answer(&cards, Says::title(title)), "-", "{title}");
        let keyed = Says {
            title,
            gtin: Some("6291041500213"),
            ..Says::default()
        };
        let matching = cards.match_offer(&offer(keyed), None);
        if !title.contains(" with ") {
            assert!(
                matches!(matching, Matching::Review { .. }),
                "{title}: {matching:?}"
            );
        }
    }
}

#[test]
fn m21_the_worse_condition_of_field_and_title_is_believed() {
    for (title, expected) in [
        ("Norvant Fenrir 8810 16GB B-Ware", Condition::Used),
        ("Norvant Fenrir 8810 16GB open box", Condition::Used),
        ("Norvant Fenrir 8810 16GB renewed", Condition::Refurbished),
        ("Norvant Fenrir 8810 16GB gebraucht", Condition::Used),
    ] {
        let mut raw = RawOffer::default();
        for (field, text) in [
            (Field::Title, title),
            (Field::Sku, "1"),
            (Field::Price, "100.00"),
            (Field::Condition, "new"),
        ] {
            raw.push(field, RawText::person(text));
        }
        let settings = NormaliseSettings::of("r", "DE", Currency::EUR);
        match normalise(&raw, &settings, chrono::DateTime::UNIX_EPOCH) {
            Normalised::Accepted(offer) | Normalised::Held { offer, .. } => {
                assert_eq!(offer.condition, expected, "{title}");
                assert_eq!(
                    answer(&matcher(CARDS), Says::title(title)),
                    "card",
                    "{title}"
                );
            }
            Normalised::Refused(refusal) => panic!("{title}: {refusal:?}"),
        }
    }
    let broken = Says {
        gtin: Some("6291041500213"),
        ..Says::title("Fenrir 8810 for parts")
    };
    assert_eq!(answer(&matcher(CARDS), broken), "?");
}

#[test]
fn m22_revisions_differ_where_the_catalogue_distinguishes() {
    let boards = matcher(&[
        ("one", "board", "Norvant K650 Plate", ""),
        ("two", "board", "Norvant K650 Plate V2", ""),
        ("drive", "storage", "Norvant Vik 1 TB Gen3", ""),
    ]);
    check_titles(
        &boards,
        &[
            ("Norvant K650 Plate", "one"),
            ("Norvant K650 Plate v2", "two"),
            ("Norvant K650 Plate rev. 2.0", "two"),
            ("Norvant Vik 1TB Gen4", "?"),
            ("Norvant Vik 1TB Gen3", "drive"),
        ],
    );
}

#[test]
fn m23_packs_are_not_the_single_part() {
    let fans = matcher(&[
        ("one", "fan", "Norvant Vind 120", "gtin = \"6291041500213\""),
        ("three", "fan", "Norvant Vind 120 3-pack", ""),
    ]);
    check_titles(
        &fans,
        &[
            ("Norvant Vind 120 mm fan", "one"),
            ("Norvant Vind 120 triple pack", "three"),
            ("3er Pack Norvant Vind 120", "three"),
            ("5er Pack Norvant Vind 120", "?"),
        ],
    );
    let keyed = Says {
        gtin: Some("6291041500213"),
        ..Says::title("5er Pack Norvant Vind 120")
    };
    assert_eq!(answer(&fans, keyed), "?");
}

#[test]
fn m24_what_looks_alike_is_alike() {
    let boards = matcher(&[("one", "board", "Norvant K650 Plate", "")]);
    check_titles(
        &boards,
        &[
            ("Norvant К650 Plate", "one"),
            ("Norvant Ｋ６５０ Plate", "one"),
            ("Norvant\u{a0}K650™ Pla\u{ad}te", "one"),
        ],
    );
}

#[test]
fn m25_two_parts_that_fit_alike_are_for_the_author() {
    let cases = matcher(&[
        ("black", "case", "Norvant Holm 3 Black", ""),
        ("white", "case", "Norvant Holm 3 White", ""),
    ]);
    match cases.match_offer(&offer(Says::title("Norvant Holm 3")), None) {
        Matching::Review { why, proposals } => {
            assert_eq!(why, ReviewReason::SeveralFit);
            let parts: Vec<&str> = proposals.iter().map(|one| one.part.as_str()).collect();
            assert_eq!(parts, ["black", "white"]);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn m26_the_authors_word_stands_until_the_listing_changes() {
    use crate::catalogue::PartId;
    let cards = matcher(CARDS);
    let listing = offer(Says::title("Norvant Fenrir 8810 16GB"));
    let pinned = Decision {
        verdict: Verdict::Pinned(PartId::new("card-xt")),
        made_on: Fingerprint::of(&listing),
    };
    match cards.match_offer(&listing, Some(&pinned)) {
        Matching::Part(found) => {
            assert_eq!(
                (found.part.as_str(), found.by),
                ("card-xt", MatchedBy::Author)
            );
        }
        other => panic!("{other:?}"),
    }
    // The same to look at: nothing has changed.
    let respelt = offer(Says::title("NORVANT  Fenrir™ 8810 16GB"));
    assert!(matches!(
        cards.match_offer(&respelt, Some(&pinned)),
        Matching::Part(_)
    ));
    let changed = offer(Says::title("Norvant Fenrir 8820 12GB"));
    let matching = cards.match_offer(&changed, Some(&pinned));
    assert!(
        matches!(
            matching,
            Matching::Review {
                why: ReviewReason::ListingChanged,
                ..
            }
        ),
        "{matching:?}"
    );
    let denied = |id: &str| Decision {
        verdict: Verdict::Denied(BTreeSet::from([PartId::new(id)])),
        made_on: Fingerprint::of(&listing),
    };
    let matching = cards.match_offer(&listing, Some(&denied("card")));
    assert!(!matches!(matching, Matching::Part(_)), "{matching:?}");
    let lacking = Decision {
        verdict: Verdict::Lacking,
        made_on: Fingerprint::of(&listing),
    };
    let matching = cards.match_offer(&respelt, Some(&lacking));
    assert!(matches!(matching, Matching::None), "{matching:?}");
    let matching = cards.match_offer(&changed, Some(&lacking));
    let alone = cards.match_offer(&changed, None);
    match (&matching, alone) {
        (Matching::Review { proposals, .. }, Matching::Part(found)) => {
            assert_eq!(proposals[0].part, found.part);
        }
        (again, alone) => assert_eq!(*again, alone),
    }
    let kept = Fingerprint::from_text(pinned.made_on.as_str());
    assert_eq!(kept, pinned.made_on);
}

#[test]
fn m27_a_supply_of_another_number_is_another_supply() {
    let supplies = matcher(&[(
        "one",
        "psu",
        "Norvant Kraft 850 W Gold",
        "mpn = \"NK-850G\"",
    )]);
    for (mpn, expected) in [
        (None, "one"),
        (Some("NK-850G31"), "?"),
        (Some("884213"), "one"),
        (Some("NK 850G"), "one"),
    ] {
        let says = Says {
            mpn,
            brand: Some("Norvant"),
            ..Says::title("Norvant Kraft 850W Gold")
        };
        assert_eq!(answer(&supplies, says), expected, "{mpn:?}");
    }
}

#[test]
fn m28_an_eight_digit_number_matches_only_what_the_catalogue_has() {
    let cards = matcher(&[("a", "gpu", "Norvant A 1", "gtin = \"96385074\"")]);
    for (gtin, expected) in [
        ("12345670", "-"),
        ("0000012345670", "-"),
        ("0000096385074", "a"),
        ("96385074", "a"),
    ] {
        let says = Says {
            gtin: Some(gtin),
            ..Says::default()
        };
        assert_eq!(answer(&cards, says), expected, "{gtin}");
    }
}
