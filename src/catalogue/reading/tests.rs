//! Titles and what they claim, one attribute at a time.

use super::*;
use crate::catalogue::SpecValue;

/// What a title says of one thing, as text.
fn claimed(title: &str, what: What) -> Vec<String> {
    let reading = read_title(title);
    let values = reading.claimed(what).map(|claim| match &claim.value {
        SpecValue::Text(text) => text.to_string(),
        SpecValue::Number(number) => number.to_string(),
        other => format!("{other:?}"),
    });
    values.collect()
}

fn check(what: What, titles: &[(&str, &str)]) {
    for (title, expected) in titles {
        assert_eq!(claimed(title, what).join(" "), *expected, "{title}");
    }
}

fn signs(title: &str) -> Vec<Sign> {
    let reading = read_title(title);
    let main = reading
        .signs
        .iter()
        .filter(|seen| seen.place == Place::Main);
    main.map(|seen| seen.sign)
        .filter(|sign| !matches!(sign, Sign::Kind(_)))
        .collect()
}

#[test]
fn kits_are_read_with_their_total_and_their_modules() {
    // Pitfall M10.
    for title in [
        "32GB (2x16GB) DDR5-6000",
        "2×16 GB DDR5",
        "DDR5 16GB x2",
        "DDR5 Kit of 2 16GB",
        "32 Go (2 x 16 Go) DDR5",
        "DDR5 kit 2x16",
        "32GB 2er Kit 16GB DDR5",
        "DDR5 32 GB Dual Kit",
        "D4 32GB 3600-18 K2",
    ] {
        assert_eq!(claimed(title, What::CapacityGb), ["32"], "{title}");
        assert_eq!(claimed(title, What::Modules), ["2"], "{title}");
    }
    check(
        What::Modules,
        &[
            ("32 GB DDR5 Modul (1x32GB)", "1"),
            ("32GB DDR5", ""),
            ("DDR5 Einzelmodul", "1"),
        ],
    );
}

#[test]
fn transfer_rates_have_many_units() {
    // Pitfall M11; bandwidth = 8 bytes × rate, JEDEC.
    for title in [
        "DDR5-6000",
        "PC5-48000",
        "DDR5 6000MT/s",
        "6000 MHz DDR5",
        "DDR5 CL30 6000",
    ] {
        assert_eq!(claimed(title, What::TransferMtS), ["6000"], "{title}");
    }
    check(
        What::TransferMtS,
        &[
            ("PC4-21300 RAM", "2666"),
            ("PC4-25600 RAM", "3200"),
            ("GDDR7 2610 MHz", ""),
        ],
    );
    check(
        What::Latency,
        &[
            ("DDR5 CL36-38-38", "36"),
            ("DDR5 6400 C30", "30"),
            ("DDR4 3600-18", "18"),
            ("C5-2400", ""),
        ],
    );
}

#[test]
fn capacities_come_in_several_units_and_languages() {
    // Pitfall M12.
    check(
        What::CapacityGb,
        &[
            ("SSD 1TB", "1000"),
            ("SSD 1000GB", "1000"),
            ("SSD 960GB", "960"),
            ("SSD 2 To NVMe", "2000"),
            ("SSD 4.000 GB", "4000"),
            ("SSD 1,5 TB", "1500"),
            ("GPU 8192 MB", "8"),
            ("GPU 12G OC", "12"),
            ("HDD 256MB Cache SATA 6Gb/s", ""),
            ("SSD 700 TBW 12000 MB/s", ""),
            ("Board 2,5G LAN", ""),
        ],
    );
}

#[test]
fn the_example_titles_of_the_trade_are_read() {
    let title = "32GB (2x16GB) DDR5-6000 CL30";
    assert_eq!(claimed(title, What::MemoryGeneration), ["DDR5"]);
    assert_eq!(claimed(title, What::Latency), ["30"]);
    let title = "850 W 80 PLUS Gold, modular";
    assert_eq!(claimed(title, What::RatedW), ["850"]);
    assert_eq!(claimed(title, What::Efficiency), ["Gold"]);
    check(
        What::RatedW,
        &[
            ("1 kW", "1000"),
            ("650 Watt 80+ Gold", "650"),
            ("750W", "750"),
        ],
    );
    check(
        What::Efficiency,
        &[("80+Platine", "Platinum"), ("Platin", "Platinum")],
    );
}

#[test]
fn sockets_forms_and_drives_are_read() {
    check(
        What::Socket,
        &[
            ("So.AM5", "AM5"),
            ("LGA 1700", "LGA1700"),
            ("S1700 BOX", "LGA1700"),
            ("Sockel 1851", "LGA1851"),
        ],
    );
    check(
        What::FormFactor,
        &[
            ("µATX", "microATX"),
            ("mini ITX", "Mini-ITX"),
            ("SFX-Netzteil", "SFX"),
            ("ATX 3.1", ""),
        ],
    );
    check(What::AtxVersion, &[("ATX 3.1", "3.1"), ("ATX3.0", "3.0")]);
    check(
        What::DriveForm,
        &[
            ("2,5 Zoll", "2.5\""),
            ("2.5\" SATA", "2.5\""),
            ("M.2 2280", "M.2"),
            ("2,5 GHz", ""),
        ],
    );
    check(
        What::Chipset,
        &[
            ("B650M-Plate", "B650"),
            ("X870E-I", "X870E"),
            ("X870-I", "X870"),
        ],
    );
}

#[test]
fn packs_are_counted_and_features_are_not() {
    // Pitfall M23.
    check(
        What::Pack,
        &[
            ("5er Pack 120 mm fan", "5"),
            ("120 mm fan triple pack", "3"),
            ("Lot de 3 ventilateurs", "3"),
            ("3er-Set Lüfter", "3"),
            ("PWM 3-pack", "3"),
            ("VPE 20 Stück", "20"),
            ("2x Vind 140", "2"),
            ("Vind 140 4-Pin", ""),
            ("Karte mit 3x DP", ""),
            ("Fjord 120 Box", ""),
        ],
    );
}

#[test]
fn colours_packaging_and_condition_are_read_in_several_languages() {
    check(
        What::Colour,
        &[
            ("weiß", "white"),
            ("Biała", "white"),
            ("noir", "black"),
            ("ohne schwarz", ""),
        ],
    );
    check(
        What::Packaging,
        &[("OEM/Tray", "tray"), ("boxed", "boxed"), ("open box", "")],
    );
    check(
        What::Wear,
        &[
            ("B-Ware", "open box"),
            ("gebraucht", "used"),
            ("reconditionné", "refurbished"),
        ],
    );
    check(
        What::Revision,
        &[
            ("Plate V2", "2"),
            ("rev 1.2", "1.2"),
            ("Modell (2023)", "2023"),
            ("12V-2x6", ""),
        ],
    );
}

#[test]
fn what_is_no_single_part_gives_signs() {
    // Pitfalls M19, M20, M21.
    for (title, expected) in [
        ("Backplate für Pyrel 470", Sign::Accessory),
        ("Ersatzlüfterklammern", Sign::Accessory),
        ("Gaming PC Lyrn 7", Sign::System),
        ("Notebook mit Pyrel 460", Sign::System),
        ("CPU + Board Bundle", Sign::Bundle),
        ("Lyrn 5 für Bastler", Sign::ForParts),
        ("Plate / Plate E (Auswahl)", Sign::Choice),
    ] {
        assert!(
            signs(title).contains(&expected),
            "{title}: {:?}",
            signs(title)
        );
    }
    for title in [
        "Vole 4 mit Kabel",
        "PC-Netzteil 850W",
        "Lyrn 5 640 ohne Kabel",
    ] {
        assert_eq!(signs(title), [], "{title}");
    }
}

#[test]
fn what_a_part_serves_is_not_claimed_of_it() {
    check(
        What::FormFactor,
        &[("Pyrel 460 für ITX", ""), ("für ITX, SFX", "SFX")],
    );
    check(What::CapacityGb, &[("for 32GB kits", "")]);
}

#[test]
fn a_claim_knows_the_text_that_it_rests_on() {
    let title = "Mistrane Rill ３２ＧＢ (2×16 GB), weiß";
    let reading = read_title(title);
    let spans: Vec<&str> = reading
        .claims
        .iter()
        .map(|claim| &title[claim.span.clone()])
        .collect();
    assert!(spans.contains(&"2×16 GB"), "{spans:?}");
    assert!(spans.contains(&"weiß"), "{spans:?}");
}

proptest::proptest! {
    #[test]
    fn any_text_is_read(title in "\\PC{0,80}") {
        let reading = read_title(&title);
        for claim in &reading.claims {
            proptest::prop_assert!(title.get(claim.span.clone()).is_some());
        }
        for atom in 0..reading.atoms.len() {
            proptest::prop_assert!(title.get(reading.span(atom)).is_some());
        }
    }

    #[test]
    fn any_mixture_of_known_words_is_read(words in proptest::collection::vec("(2x16gb|ddr5|-6000|cl30|kit of|3er|pack|mit|ohne|für|v2|m\\.2|,|\\+|x|120|mm|80|atx|3\\.1|k2|…)", 0..12)) {
        let title = words.join(" ");
        let _ = read_title(&title);
        let _ = read_title(&words.concat());
    }
}
