//! What an import takes, what it refuses, and in which words.

use super::*;
use crate::catalogue::{Kind, Spec, SpecValue, load_catalogue, render_parts};
use proptest::prelude::*;

const CARDS: &str = r#"
source = "invented cards"
kind = "gpu"
brand = "Maker"
name = "{Maker} {Model}"
id = "{name}"
gtin = { column = "EAN", otherwise = "leave out" }
needs = ["length_mm"]
empty = ["n/a"]

[[skip]]
column = "Bus"
unless = '^PCIe '
reason = "not a PCIe card"

[specs]
length_mm = { column = "Length", unit = "in" }
slots_occupied = "Slots"
board_power_w = { column = ["Power", "TDP"], pattern = '([0-9.,]+ ?k?W?)' }
colour = { column = "Colour", table = { "blk" = "black", "wht" = "white" }, default = "black" }

[[lookup]]
column = "Plugs"
[lookup.values]
"1x 6-pin + 1x 8-pin" = { pcie_plugs_6pin = 1, pcie_plugs_8pin = 1 }
"none" = { pcie_plugs_6pin = 0, pcie_plugs_8pin = 0 }

[always]
noise_dba = 30
"#;

const HEADER: &str = "Maker,Model,EAN,Bus,Length,Slots,Power,TDP,Colour,Plugs,Extra\n";

fn map(text: &str) -> ImportMap {
    ImportMap::read("map.toml", text).unwrap()
}

fn take(map_text: &str, rows: &str) -> Import {
    let source = format!("{HEADER}{rows}");
    let map = map(map_text);
    import(
        &map,
        SourceForm::Csv,
        source.as_bytes(),
        &Catalogue::default(),
    )
    .unwrap()
}

#[test]
fn a_row_becomes_a_part_in_the_catalogues_own_units() {
    // Pitfall C41: 6.5 in is 165 mm (an inch is 25.4 mm). Pitfall C16: thickness rounds up.
    let taken = take(
        CARDS,
        "Otter,Six,6291041500213,PCIe 4.0 x16,6.5,2.5-slot,,0.25 kW,blk,1x 6-pin + 1x 8-pin,x\n",
    );
    assert_eq!(taken.skipped, []);
    let part = &taken.parts[0];
    assert_eq!(part.id.as_str(), "otter-six");
    assert_eq!((part.kind, part.name.as_str()), (Kind::Gpu, "Otter Six"));
    assert_eq!(part.gtins[0].to_string(), "06291041500213");
    for (spec, expected) in [
        (Spec::LengthMm, 165),
        (Spec::SlotsOccupied, 3),
        (Spec::BoardPowerW, 250),
        (Spec::PciePlugs6Pin, 1),
        (Spec::PciePlugs8Pin, 1),
        (Spec::NoiseDba, 30),
    ] {
        assert_eq!(part.number(spec), Some(expected), "{spec}");
    }
    assert_eq!(part.text(Spec::Colour), Some("black"));
    assert_eq!(part.source.as_deref(), Some("invented cards"));
    assert_eq!(taken.unread_columns, ["Extra"]);
}

#[test]
fn every_row_that_is_not_taken_says_where_and_why() {
    let rows = "\
        A,One,,PCIe 4.0,300 mm,2,200 W,,,none,\n\
        A,Two,,AGP 8x,300 mm,2,200 W,,,none,\n\
        A,Three,,PCIe 4.0,9 m,2,200 W,,,none,\n\
        A,Four,,PCIe 4.0,300 W,2,200 W,,,none,\n\
        A,Five,,PCIe 4.0,300 mm,2,200 W,,,none\n\
        A,Six,,PCIe 4.0,n/a,2,200 W,,,none,\n\
        A,Seven,,PCIe 4.0,300 mm,2,much,,,none,\n\
        A,Eight,,PCIe 4.0,300 mm,2,\"1,200 W\",,,none,\n\
        A,Nine,,PCIe 4.0,300 mm,2,200 W,,red,none,\n\
        A,Ten,,PCIe 4.0,300 mm,2,200 W,,,3x 9-pin,\n\
        a,ONE,,PCIe 4.0,300 mm,2,200 W,,,none,\n\
        ,,,PCIe 4.0,300 mm,2,200 W,,,none,\n\
        A,Thirteen,123,PCIe 4.0,300 mm,2,200 W,,,none,\n";
    let taken = take(CARDS, rows);
    let said: Vec<String> = taken
        .skipped
        .iter()
        .map(|refusal| {
            let column = refusal.column.as_deref().unwrap_or("-");
            format!(
                "{} {column} {:?}: {}",
                refusal.row, refusal.text, refusal.reason
            )
        })
        .collect();
    insta::assert_snapshot!(said.join("\n"), @r#"
    2 Bus "AGP 8x": not a PCIe card
    3 Length "9 m": `length_mm`: 9000 mm is outside 20 to 1000
    4 Length "300 W": `length_mm`: "300 W" is not in mm or a unit of the same kind (mm, cm, m, in, inch, inches, ", ″)
    5 - "": the row has 10 fields where the header has 11
    6 - "": no `length_mm`
    7 Power "much": `board_power_w`: the pattern does not match
    8 Power "1,200 W": `board_power_w`: "1,200 W" is 1200 or 1.200; set `decimal_mark` in the mapping
    9 Colour "red": `colour`: not in the mapping's table
    10 Plugs "3x 9-pin": not in the mapping's lookup
    11 - "": id "a-one" belongs to row 1 already
    12 - "": no `name`
    "#);
    assert_eq!(taken.parts.len() + taken.skipped.len(), taken.n_rows);
    // Row 13 goes without its number, and says so.
    assert_eq!(taken.left_out.len(), 1);
    assert_eq!(taken.left_out[0].row, 13);
    assert_eq!(taken.skipped[0].line, Some(3));
}

#[test]
fn a_comma_is_read_as_the_mapping_says() {
    let row = "A,One,,PCIe 4.0,300 mm,2,\"1,200 W\",,,none,\n";
    let power = |mark: &str| {
        let text = format!("decimal_mark = \"{mark}\"\n{CARDS}");
        let taken = take(&text, row);
        taken
            .parts
            .first()
            .and_then(|part| part.number(Spec::BoardPowerW))
    };
    // 1.2 W rounds to one; 1200 W is more than any card takes, so the row is refused.
    assert_eq!(power(","), Some(1));
    assert_eq!(power("."), None);
}

#[test]
fn what_the_catalogue_has_is_not_taken_again() {
    let own = "[[part]]\nid = \"mine\"\nkind = \"gpu\"\nname = \"N\"\ngtin = \"6291041500213\"\n";
    let (existing, faults) = load_catalogue(&[("own.toml", own)]);
    assert_eq!(faults, []);
    let source = format!("{HEADER}A,One,6291041500213,PCIe 4,300 mm,2,,,,,\n");
    let taken = import(&map(CARDS), SourceForm::Csv, source.as_bytes(), &existing).unwrap();
    assert_eq!(
        taken.skipped[0].reason.to_string(),
        "GTIN \"06291041500213\" belongs to part \"mine\" already"
    );
}

#[test]
fn json_records_are_found_by_path_and_their_depths_by_dots() {
    let map = map(r#"
        source = "invented"
        records = "$.parts[?@.on == true]"
        kind = { column = "type", table = { "PSU" = "psu", "CPU" = "cpu" } }
        name = "names.0"
        id = "{type}-{name}"
        [specs]
        rated_w = "power.out"
        cores = "cores"
        memory_generations = "ram"
        "#);
    let source = r#"{"parts": [
        {"on": true, "type": "PSU", "names": ["Volt 8"], "power": {"out": 850.0}},
        {"on": false, "type": "PSU", "names": ["Off"]},
        {"on": true, "type": "CPU", "names": ["Six"], "cores": 6, "ram": ["DDR4", "DDR5"]},
        {"on": true, "type": "Fan", "names": ["Wind"]}
    ]}"#;
    let taken = import(
        &map,
        SourceForm::Json,
        source.as_bytes(),
        &Catalogue::default(),
    )
    .unwrap();
    assert_eq!(taken.n_rows, 3);
    let ids: Vec<&str> = taken.parts.iter().map(|part| part.id.as_str()).collect();
    assert_eq!(ids, ["psu-volt-8", "cpu-six"]);
    assert_eq!(taken.parts[0].number(Spec::RatedW), Some(850));
    let generations = SpecValue::Texts(["DDR4".to_owned(), "DDR5".to_owned()].into());
    assert_eq!(
        taken.parts[1].specs.get(&Spec::MemoryGenerations),
        Some(&generations)
    );
    assert_eq!(
        taken.skipped[0].reason.to_string(),
        "`kind`: not in the mapping's table"
    );
}

#[test]
fn a_mapping_for_another_source_names_the_columns_with_lines() {
    let source = "Maker,Modell,EAN,Bus,Length,Slots,Power,TDP,Colour,Plugs\n";
    let fault = import(
        &map(CARDS),
        SourceForm::Csv,
        source.as_bytes(),
        &Catalogue::default(),
    );
    let Err(ImportFault::Mapping(faults)) = fault else {
        panic!("{fault:?}");
    };
    let said: Vec<String> = faults.iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        ["map.toml:5:8: the source has no column \"Model\"; did you mean \"Modell\"?"]
    );
}

#[test]
fn a_mapping_that_cannot_work_is_refused_with_all_its_faults() {
    let text = r#"
kind = "gpu"
name = "Name"
delimiter = "ab"
needs = ["lenght_mm"]
[[skip]]
column = "x"
matches = "("
reason = "y"
[specs]
length_mm = { column = "Length", unit = "W" }
socket = "Socket"
board_power_w = { column = "P", otherwise = "perhaps" }
[always]
slots_occupied = 99
"#;
    let faults = ImportMap::read("m.toml", text).unwrap_err();
    let said: Vec<String> = faults.iter().map(ToString::to_string).collect();
    insta::assert_snapshot!(said.join("\n"), @r#"
    m.toml:1:1: `source` is missing; add `source = ...`
    m.toml:4:13: `delimiter` is not one plain character; write one character, such as ";" or "\t"
    m.toml:5:10: unknown spec "lenght_mm"; did you mean "length_mm"?
    m.toml:8:11: the pattern is no regular expression: error: unclosed group; correct it, or write \ before a character that means itself
    m.toml:11:41: `unit` of `length_mm`: "1 W" is not in mm or a unit of the same kind (mm, cm, m, in, inch, inches, ", ″); write a unit of the same kind, or none
    m.toml:12:1: unknown key `socket`; known keys here: adapter_8pins, bandwidth_gb_s, board_power_w, boost_mhz, cache_mb, colour, fp32_gflops, height_mm, length_mm, noise_dba, pcie_plugs_16pin, pcie_plugs_6pin, pcie_plugs_8pin, slots_occupied, supply_w_min, video_memory_gb, weight_g
    m.toml:13:45: `otherwise` is "perhaps"; write "skip" or "leave out"
    m.toml:15:18: `slots_occupied` is 99, outside 1 to 8; write a plausible number
    "#);
}

#[test]
fn a_source_in_another_encoding_is_read_or_refused() {
    let source = b"Name;W\nM\xfcller;500\n";
    let text = "source = \"s\"\nkind = \"psu\"\nname = \"Name\"\n[specs]\nrated_w = \"W\"\n";
    let none = Catalogue::default();
    let fault = import(&map(text), SourceForm::Csv, source, &none);
    assert!(matches!(
        fault,
        Err(ImportFault::Source(SourceFault::NotUtf8))
    ));
    let text = format!("encoding = \"windows-1252\"\n{text}");
    let taken = import(&map(&text), SourceForm::Csv, source, &none).unwrap();
    assert_eq!(taken.parts[0].name, "Müller");
    assert_eq!(taken.parts[0].id.as_str(), "müller");
}

#[test]
fn the_same_source_gives_the_same_file_and_it_loads() {
    let rows = "B,Two,,PCIe 4.0,300,2,200 W,,,none,\nA,One,,PCIe 4.0,10,2,,,wht,none,\n";
    let taken = take(&CARDS.replace("unit = \"in\"", "unit = \"mm\""), rows);
    assert_eq!(taken.parts.len(), 1, "{:?}", taken.skipped);
    let written = render_parts(&[], &taken.parts);
    assert_eq!(written, render_parts(&[], &taken.clone().parts));
    let (catalogue, faults) = load_catalogue(&[("a.toml", &written)]);
    assert_eq!(faults, []);
    assert_eq!(
        catalogue.parts.into_values().collect::<Vec<_>>(),
        taken.parts
    );
}

proptest! {
    #[test]
    fn any_source_gives_parts_and_refusals_that_add_up(bytes in ".{0,80}", rows in "[A-C0-9,;\n\" mWin.]{0,200}") {
        let source = format!("{HEADER}{rows}");
        let map = map(CARDS);
        for text in [bytes.as_bytes(), source.as_bytes()] {
            for form in [SourceForm::Csv, SourceForm::Json] {
                if let Ok(taken) = import(&map, form, text, &Catalogue::default()) {
                    prop_assert_eq!(taken.parts.len() + taken.skipped.len(), taken.n_rows);
                    let written = render_parts(&[], &taken.parts);
                    let (_, faults) = load_catalogue(&[("a.toml", &written)]);
                    prop_assert_eq!(faults, []);
                }
            }
        }
    }

    #[test]
    fn any_mapping_is_read_or_refused(text in "\\PC{0,120}") {
        let _read = ImportMap::read("m.toml", &text);
    }
}
