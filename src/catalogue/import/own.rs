//! Catalogue files in CSV: a header of the catalogue's own keys, one part a line.
//!
//! They are read by the same engine as any other table, with a mapping that is made of the
//! header. The name of the file (`gpu.csv`) or a column `kind` says what the parts are; lists are
//! split by `;`. Specs that hold tables, and rates, need TOML.

use super::map::{ImportMap, KindRule};
use super::rows::{self, Source, SourceForm};
use super::value::{Mapped, Piece, Place, ValueRule};
use super::{draft, report};
use crate::catalogue::fault::Fault;
use crate::catalogue::kind::Kind;
use crate::catalogue::nearest::nearest;
use crate::catalogue::part::{Catalogue, Part};
use crate::catalogue::spec::{SPECS, Shape};
use std::collections::BTreeMap;

/// The keys of a part that are no specs.
const COMMON: [&str; 6] = ["id", "kind", "name", "brand", "mpn", "gtin"];

/// Reads a CSV file of the catalogue: its parts with their lines, and every fault.
pub(in crate::catalogue) fn load_csv(file: &str, text: &str) -> (Vec<(Part, usize)>, Vec<Fault>) {
    let stem = file.rsplit('/').next().unwrap_or(file);
    let stem = stem.strip_suffix(".csv").unwrap_or(stem);
    let mut map = empty_map(file, Kind::parse(stem));
    let source = match rows::read_source(&map, SourceForm::Csv, text.as_bytes()) {
        Ok(source) => source,
        Err(fault) => {
            let remedy = "begin with a line of keys, such as id,name,mpn";
            return (
                Vec::new(),
                vec![Fault::of_file(file, fault.to_string(), remedy)],
            );
        }
    };
    let mut faults = read_header(&mut map, &source, Kind::parse(stem));
    if !faults.is_empty() {
        return (Vec::new(), faults);
    }
    let taken = draft::draft_all(&map, &source, &Catalogue::default());
    let refusals = taken.skipped.iter();
    faults.extend(refusals.map(|refusal| fault_of(file, refusal)));
    let lines = taken.lines.iter().map(|line| as_line(*line));
    let mut parts: Vec<(Part, usize)> = taken.parts.into_iter().zip(lines).collect();
    for (part, _) in &mut parts {
        part.source = None;
    }
    (parts, faults)
}

fn as_line(line: Option<u64>) -> usize {
    line.and_then(|line| usize::try_from(line).ok())
        .unwrap_or(1)
}

fn fault_of(file: &str, refusal: &report::Refusal) -> Fault {
    let message = match &refusal.column {
        Some(column) if !refusal.text.is_empty() => {
            format!("{} (`{column}` is \"{}\")", refusal.reason, refusal.text)
        }
        _ => refusal.reason.to_string(),
    };
    Fault {
        file: file.to_owned(),
        line: as_line(refusal.line),
        column: 1,
        message,
        remedy: "correct the line".to_owned(),
    }
}

fn rule(field: &'static str) -> ValueRule {
    ValueRule {
        field,
        place: Place::Columns(vec![mapped(field)]),
        pattern: None,
        table: BTreeMap::new(),
        unit: None,
        split: ";".to_owned(),
        default: None,
        leaves_out: false,
    }
}

fn mapped(name: &str) -> Mapped {
    Mapped {
        name: name.to_owned(),
        line: 1,
        column: 1,
    }
}

fn empty_map(file: &str, kind: Option<Kind>) -> ImportMap {
    let kind = kind.map_or_else(|| KindRule::Read(rule("kind")), KindRule::Always);
    let id = vec![Piece::Column(mapped("id"))];
    ImportMap::bare(file, kind, id, rule("name"))
}

/// Turns the header into the mapping's rules, or says what is wrong with it.
fn read_header(map: &mut ImportMap, source: &Source, by_name: Option<Kind>) -> Vec<Fault> {
    let mut faults = Vec::new();
    let file = map.file().to_owned();
    let mut fault = |message: String, remedy: String| {
        faults.push(Fault {
            file: file.clone(),
            line: 1,
            column: 1,
            message,
            remedy,
        });
    };
    let has = |key: &str| source.columns.iter().any(|column| column == key);
    for key in ["id", "name"].into_iter().filter(|key| !has(key)) {
        fault(
            format!("the column `{key}` is missing"),
            "add it".to_owned(),
        );
    }
    if by_name.is_none() && !has("kind") {
        let remedy = "name the file after a kind, such as gpu.csv, or add a column `kind`";
        fault(
            "nothing says what kind the parts are".to_owned(),
            remedy.to_owned(),
        );
    }
    if has("kind") {
        map.kind = KindRule::Read(rule("kind"));
    }
    let kind_of_file = by_name.filter(|_| !has("kind"));
    let belonging = || {
        SPECS
            .iter()
            .filter(move |def| kind_of_file.is_none_or(|kind| def.kinds.contains(&kind)))
    };
    for column in &source.columns {
        if COMMON.contains(&column.as_str()) {
            continue;
        }
        match belonging().find(|def| def.key == column) {
            Some(def) if matches!(def.shape, Shape::Entries(_)) => fault(
                format!("`{column}` holds tables, which no cell gives"),
                "give these parts in a TOML file".to_owned(),
            ),
            Some(def) => map.specs.push((def.spec, rule(def.key))),
            None => {
                let known = belonging().map(|def| def.key).chain(COMMON);
                let remedy = match nearest(column, known) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => "name columns by the catalogue's keys".to_owned(),
                };
                fault(format!("unknown column `{column}`"), remedy);
            }
        }
    }
    map.brand = has("brand").then(|| rule("brand"));
    map.mpn = has("mpn").then(|| rule("mpn"));
    map.gtin = has("gtin").then(|| rule("gtin"));
    faults
}

#[cfg(test)]
mod tests {
    use crate::catalogue::{PartId, Spec, load_catalogue};

    fn faults(files: &[(&str, &str)]) -> Vec<String> {
        let (_, faults) = load_catalogue(files);
        faults.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn a_file_named_after_its_kind_loads_beside_toml() {
        let csv = "id,name,brand,mpn,gtin,length_mm,slots_occupied,colour\n\
            card-1,Card 1,Q,C1;C1-EU,6291041500213,32 cm,2.5,black\n\
            card-2,Card 2,Q,C2,,,,\n";
        let toml = "[[part]]\nid = \"case\"\nkind = \"case\"\nname = \"Case\"\n";
        let (catalogue, faults) = load_catalogue(&[("catalogue/gpu.csv", csv), ("a.toml", toml)]);
        assert_eq!(faults, []);
        let card = &catalogue.parts[&PartId::new("card-1")];
        assert_eq!(card.mpns, ["C1", "C1-EU"]);
        assert_eq!(card.number(Spec::LengthMm), Some(320));
        assert_eq!(card.number(Spec::SlotsOccupied), Some(3));
        assert_eq!(card.source, None);
        assert_eq!(catalogue.parts.len(), 3);
    }

    #[test]
    fn faults_of_lines_and_headers_say_where_they_are() {
        let csv = "id,kind,name,mpn,length_mm,rated_w\n\
            a,gpu,A,1,3000,\n\
            b,psu,B,1,,650\n\
            c,lamp,C,2,,\n\
            d,psu\n\
            e,psu,E,3,,many\n";
        let toml = "[[part]]\nid = \"b\"\nkind = \"case\"\nname = \"Case\"\n";
        assert_eq!(
            faults(&[("a.toml", toml), ("parts.csv", csv)]),
            [
                "parts.csv:2:1: `length_mm`: 3000 mm is outside 20 to 1000 (`length_mm` is \"3000\"); \
                 correct the line",
                "parts.csv:3:1: id \"b\" belongs to part \"b\" already; \
                 remove it from one of the two parts",
                "parts.csv:4:1: unknown kind \"lamp\" (`kind` is \"lamp\"); correct the line",
                "parts.csv:5:1: the row has 2 fields where the header has 6; correct the line",
                "parts.csv:6:1: `rated_w`: \"many\" is not a number with a unit \
                 (`rated_w` is \"many\"); correct the line",
            ]
        );
        assert_eq!(
            faults(&[
                ("gpu.csv", "id,nam,lenght_mm\n"),
                ("x.csv", "id,name,m2_slots\n")
            ]),
            [
                "gpu.csv:1:1: the column `name` is missing; add it",
                "gpu.csv:1:1: unknown column `nam`; did you mean `name`?",
                "gpu.csv:1:1: unknown column `lenght_mm`; did you mean `length_mm`?",
                "x.csv:1:1: nothing says what kind the parts are; name the file after a kind, such \
                 as gpu.csv, or add a column `kind`",
                "x.csv:1:1: `m2_slots` holds tables, which no cell gives; give these parts in a \
                 TOML file",
            ]
        );
    }
}
