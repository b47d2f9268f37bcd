//! The pitfalls of matching M01 to M12: keys, kits and capacities; all names are invented.

use super::*;

#[test]
fn m01_a_number_with_a_wrong_check_digit_leaves_the_next_key_to_tell() {
    let cards = matcher(CARDS);
    let says = Says {
        gtin: Some("6291041500214"),
        mpn: Some("NV-8810/16G-OC"),
        brand: Some("Norvant"),
        title: "",
    };
    assert_eq!(answer(&cards, says), "card-oc");
}

#[test]
fn m02_one_number_in_three_lengths_is_one_part() {
    let cards = matcher(&[("a", "gpu", "Norvant A 1", "gtin = \"071588234019\"")]);
    for gtin in ["071588234019", "0071588234019", "00071588234019"] {
        let says = Says {
            gtin: Some(gtin),
            ..Says::default()
        };
        assert_eq!(answer(&cards, says), "a", "{gtin}");
    }
}

#[test]
fn m03_m04_cartons_fillers_and_in_store_numbers_match_nothing() {
    let cards = matcher(&[("a", "gpu", "Norvant A 1", "gtin = \"4006588234017\"")]);
    for gtin in [
        "14006588234014",
        "0000000000000",
        "1234567890128",
        "2012345000124",
        "9999999999994",
    ] {
        let says = Says {
            gtin: Some(gtin),
            ..Says::default()
        };
        assert_eq!(answer(&cards, says), "-", "{gtin}");
    }
}

#[test]
fn m05_one_number_on_two_parts_is_a_fault_of_the_catalogue() {
    let part = |id: &str| {
        format!(
            "[[part]]\nid = \"{id}\"\nkind = \"fan\"\nname = \"{id}\"\ngtin = \"6291041500213\"\n"
        )
    };
    let text = part("a") + &part("b");
    let (_, faults) = load_catalogue(&[("c.toml", &text)]);
    assert!(!faults.is_empty());
}

#[test]
fn m06_keys_that_disagree_are_for_the_author() {
    let says = Says {
        gtin: Some("7300011000017"),
        mpn: Some("NV-8810/16G"),
        brand: Some("Norvant"),
        title: "",
    };
    let matching = matcher(CARDS).match_offer(&offer(says), None);
    assert!(
        matches!(matching, Matching::Contradiction(..)),
        "{matching:?}"
    );
    assert!(matching.question().is_some());
}

#[test]
fn m07_part_numbers_compare_without_case_and_separators() {
    for mpn in ["NV-8810/16G-OC", "nv 8810 16g oc", "NV881016GOC"] {
        let says = Says {
            mpn: Some(mpn),
            brand: Some("norvant"),
            ..Says::default()
        };
        assert_eq!(answer(&matcher(CARDS), says), "card-oc", "{mpn}");
    }
}

#[test]
fn m08_a_part_number_is_never_matched_by_its_beginning() {
    let kits = matcher(&[
        (
            "one",
            "memory",
            "Norvant Kelpe 16 GB (1x16 GB) DDR5-5600",
            "mpn = \"KX56-16\"",
        ),
        (
            "two",
            "memory",
            "Norvant Kelpe 32 GB (2x16 GB) DDR5-5600",
            "mpn = \"KX56-16K2\"",
        ),
    ]);
    for (mpn, expected) in [
        ("KX56-16", "one"),
        ("KX56-16K2", "two"),
        ("KX56-16K4", "-"),
        ("KX56", "-"),
    ] {
        let says = Says {
            mpn: Some(mpn),
            brand: Some("Norvant"),
            ..Says::default()
        };
        assert_eq!(answer(&kits, says), expected, "{mpn}");
    }
    check_titles(
        &kits,
        &[
            ("Norvant KX56-16K2", "two"),
            ("Norvant KX56-16", "one"),
            ("Norvant KX56-16K4", "-"),
        ],
    );
}

#[test]
fn m09_a_short_number_needs_the_brand() {
    let cards = matcher(CARDS);
    for (brand, title, expected) in [
        (None, "Card 8820", "-"),
        (Some("Other"), "Card 8820", "-"),
        (None, "Norvant card", "card-12"),
    ] {
        let says = Says {
            mpn: Some("8820"),
            brand,
            title,
            gtin: None,
        };
        assert_eq!(answer(&cards, says), expected, "{title}");
    }
}

#[test]
fn m10_m11_the_module_count_is_part_of_a_kit_and_its_rate_has_many_units() {
    let kits = matcher(&[
        (
            "two",
            "memory",
            "Norvant Kelpe 32 GB (2x16 GB) DDR5-6000",
            "",
        ),
        (
            "one",
            "memory",
            "Norvant Kelpe 32 GB (1x32 GB) DDR5-6000",
            "",
        ),
        (
            "slow",
            "memory",
            "Norvant Kelpe 32 GB (2x16 GB) DDR5-5600",
            "",
        ),
    ]);
    for rate in ["DDR5-6000", "PC5-48000", "DDR5 6000MT/s", "DDR5 6000MHz"] {
        for (count, expected) in [
            ("32GB (2x16GB)", "two"),
            ("2×16 GB", "two"),
            ("16GB x2", "two"),
            ("Kit of 2 16GB", "two"),
            ("1x32GB", "one"),
            ("4x8GB", "?"),
        ] {
            check_titles(
                &kits,
                &[(&format!("Norvant Kelpe {rate} {count}"), expected)],
            );
        }
    }
    check_titles(&kits, &[("Norvant Kelpe 32GB DDR5-6000", "?")]);
}

#[test]
fn m12_capacities_are_equal_or_not() {
    let drives = matcher(&[
        ("one", "storage", "Norvant Vik 1 TB", ""),
        ("two", "storage", "Norvant Vik 2 TB", ""),
    ]);
    check_titles(
        &drives,
        &[
            ("Norvant Vik 1TB", "one"),
            ("Norvant Vik 1000GB", "one"),
            ("Norvant Vik 2TB", "two"),
            ("Norvant Vik 960GB", "?"),
        ],
    );
}
