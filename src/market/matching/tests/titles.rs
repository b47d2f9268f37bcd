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
