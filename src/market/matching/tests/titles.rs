//! Titles without keys: what a title must say, and what it may leave out.

use super::*;

#[test]
fn a_title_needs_the_brand() {
    let cards = matcher(&[("card", "gpu", "Norvant Fenrir 8810 16GB", "")]);
    check_titles(
        &cards,
        &[
            ("Norvant Fenrir 8810 16GB", "card"),
            ("Fenrir 8810 16GB", "-"),
        ],
    );
    let says = Says {
        brand: Some("NORVANT"),
        ..Says::title("Fenrir 8810 16GB")
    };
    assert_eq!(answer(&cards, says), "card");
    let says = Says {
        brand: Some("Other"),
        ..Says::title("Fenrir 8810 16GB")
    };
    assert_eq!(answer(&cards, says), "-");
}

#[test]
fn a_title_that_no_shop_writes_is_asked_about_unless_a_key_names_the_part() {
    let cards = matcher(&[(
        "card",
        "gpu",
        "Norvant Fenrir 8810 16GB",
        "mpn = \"NV-8810/16G\"",
    )]);
    let name = "Norvant Fenrir 8810 16GB ";
    let (thrice, often) = (name.repeat(3), name.repeat(6));
    let long = format!("{name}{}", "very quiet and much liked by all ".repeat(8));
    let long: String = long.chars().take(251).collect();
    let shorter: String = long.chars().take(120).collect();
    check_titles(
        &cards,
        &[
            (&thrice, "card"),
            (&often, "?"),
            (&long, "?"),
            (&shorter, "card"),
        ],
    );
    for (title, says) in [
        (&often, "its title says \"Norvant\" 6 times"),
        (&long, "its title has 251 characters"),
    ] {
        let asked = cards.match_offer(&offer(Says::title(title)), None);
        let question = asked.question().unwrap().to_lowercase();
        assert!(question.contains(&says.to_lowercase()), "{question}");
        let keyed = Says {
            mpn: Some("NV-8810/16G"),
            ..Says::title(title)
        };
        assert_eq!(answer(&cards, keyed), "card");
    }
}

#[test]
fn the_order_of_words_does_not_count_and_a_slip_is_forgiven() {
    let cards = matcher(&[("card", "gpu", "Norvant Fenrir 8810 OC 16GB", "")]);
    check_titles(
        &cards,
        &[
            ("16GB OC Fenrir 8810 | Norvant", "card"),
            ("Norvant Fenrri 8810 OC 16GB", "card"),
            ("Norvant Fennec 8810 OC 16GB", "-"),
        ],
    );
}

#[test]
fn what_a_part_serves_is_not_taken_for_it() {
    let parts = matcher(&[
        ("cpu", "cpu", "Norvant G4600", ""),
        ("cooler", "cooler", "Norvant Bris 4", ""),
    ]);
    check_titles(
        &parts,
        &[
            ("Norvant Bris 4 Kühler für Norvant G4600", "cooler"),
            ("Norvant Bris 4 Kühler, passend für G4600", "cooler"),
            ("Norvant Kühler für G4600", "-"),
        ],
    );
}

#[test]
fn a_title_that_is_cut_before_siblings_differ_is_not_trusted() {
    let cards = matcher(&[
        ("plain", "gpu", "Norvant Fenrir 8810", ""),
        ("oc", "gpu", "Norvant Fenrir 8810 OC", ""),
    ]);
    check_titles(
        &cards,
        &[
            ("Norvant Fenrir 8810", "plain"),
            ("Norvant Fenrir 8810 O…", "?"),
        ],
    );
}

#[test]
fn a_question_says_what_speaks_for_and_against() {
    let cases = matcher(&[(
        "white",
        "case",
        "Norvant Holm 3 White",
        "gtin = \"6291041500213\"",
    )]);
    let says = Says {
        gtin: Some("6291041500213"),
        ..Says::title("Norvant Holm 3 schwarz")
    };
    let matching = cases.match_offer(&offer(says), None);
    assert_eq!(
        matching.question().as_deref(),
        Some(
            "its title contradicts its keys: white by gtin, 50 %, but its colour is black, not white"
        )
    );
}

proptest::proptest! {
    #[test]
    fn any_title_gets_an_answer_and_never_two_parts(title in "\\PC{0,60}") {
        let cards = matcher(&[("card", "gpu", "Norvant Fenrir 8810 OC 16GB", "")]);
        let _ = cards.match_offer(&offer(Says::title(&title)), None);
    }
}
