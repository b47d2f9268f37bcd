//! The mapping of an import: which column of a source means which field of a part.
//!
//! ```toml
//! source = "the data set, its version and licence"   # goes into every part
//! kind = "gpu"                            # or { column = "Type", table = { "GPU" = "gpu" } }
//! name = "{Maker} {Model}"                # columns in braces
//! brand = "Maker"                         # a column
//! mpn = ["Part no.", "Order no."]         # the first that is not empty
//! id = "{brand}-{name}"                   # of the part's own brand, name, mpn, kind, or columns
//! needs = ["length_mm"]                   # rows without these are not taken
//!
//! [[skip]]                                # rows that are not wanted; reasons are counted
//! column = "Bus"
//! unless = '^PCIe '                       # or matches = '...'
//! reason = "not a PCIe card"
//!
//! [specs]
//! length_mm = { column = "Length", unit = "in" }
//! board_power_w = { column = "Power", pattern = '([0-9]+) W', default = "75" }
//!
//! [[lookup]]                              # one text, several specs
//! column = "Connectors"
//! [lookup.values]
//! "1x 6-pin + 1x 8-pin" = { pcie_plugs_6pin = 1, pcie_plugs_8pin = 1 }
//!
//! [always]                                # the same for every part
//! colour = "black"
//! ```
//!
//! | key of a value | meaning |
//! | --- | --- |
//! | `column` | the column, or several: the first that is not empty counts |
//! | `template` | columns in braces with text between them |
//! | `pattern` | a regular expression; its first group, or the whole match, is the value |
//! | `table` | what each text stands for; any other text is refused |
//! | `unit` | the unit of bare numbers; a unit in the text itself counts first |
//! | `split` | what separates the texts of a list; `;` by default |
//! | `default` | the value where the cell is empty |
//! | `otherwise` | `"skip"` (the row is not taken; so by default) or `"leave out"` (the part goes without), where the cell cannot be read |
//!
//! | key of the file | meaning |
//! | --- | --- |
//! | `format` | `"csv"` or `"json"`; by the name's ending otherwise |
//! | `encoding`, `delimiter` | of a CSV source; UTF-8 and the mark that splits the header most |
//! | `records` | JSONPath to the records of a JSON source; the top-level list otherwise |
//! | `decimal_mark` | `"."` or `","`; without it `1,200` is refused, for it has two readings |
//! | `empty` | texts that stand for an empty cell, such as `["n/a", "-"]` |
//!
//! A column of a JSON source is a key of a record, or names joined by dots.

mod read;
mod source;

use super::rows::{Source, SourceForm};
use super::value::{CellTerms, Mapped, Piece, ValueRule};
use crate::catalogue::fault::Fault;
use crate::catalogue::kind::Kind;
use crate::catalogue::nearest::nearest;
use crate::catalogue::sorted::Sorted;
use crate::catalogue::spec::{Spec, SpecValue};
use encoding_rs::Encoding;
use regex::Regex;
use serde_json_path::JsonPath;
use std::collections::BTreeMap;

/// A mapping that has been read and holds together.
#[derive(Debug, Clone)]
pub struct ImportMap {
    file: String,
    /// Where the data comes from, for every part.
    pub source: String,
    pub(super) format: Option<SourceForm>,
    pub(super) encoding: Option<&'static Encoding>,
    pub(super) delimiter: Option<u8>,
    pub(super) records: Option<(JsonPath, String)>,
    pub(super) decimal_mark: Option<char>,
    pub(super) empty: Vec<String>,
    pub(super) kind: KindRule,
    pub(super) id: Vec<Piece>,
    /// The id is taken as it stands, not made into words with hyphens.
    pub(super) id_is_exact: bool,
    pub(super) name: ValueRule,
    pub(super) brand: Option<ValueRule>,
    pub(super) mpn: Option<ValueRule>,
    pub(super) gtin: Option<ValueRule>,
    pub(super) specs: Vec<(Spec, ValueRule)>,
    pub(super) lookups: Vec<Lookup>,
    pub(super) always: Sorted<Spec, SpecValue>,
    pub(super) needs: Vec<Spec>,
    pub(super) skips: Vec<Skip>,
}

#[derive(Debug, Clone)]
pub(super) enum KindRule {
    Always(Kind),
    Read(ValueRule),
}

/// Rows that are not wanted.
#[derive(Debug, Clone)]
pub(super) struct Skip {
    pub column: Mapped,
    pub pattern: Regex,
    /// Skips what matches, or what does not.
    pub on_match: bool,
    pub reason: String,
}

/// One text that stands for several specs.
#[derive(Debug, Clone)]
pub(super) struct Lookup {
    pub column: Mapped,
    pub values: BTreeMap<String, Sorted<Spec, SpecValue>>,
    pub leaves_out: bool,
}

/// What an id's template takes from the part itself.
pub(super) const OWN: [&str; 4] = ["brand", "name", "mpn", "kind"];

impl ImportMap {
    /// Reads a mapping file.
    ///
    /// # Errors
    /// Everything that is wrong with it, with lines.
    pub fn read(file: &str, text: &str) -> Result<ImportMap, Vec<Fault>> {
        read::read_map(file, text)
    }

    /// A mapping that takes ids as they stand and reads nothing else yet.
    pub(super) fn bare(file: &str, kind: KindRule, id: Vec<Piece>, name: ValueRule) -> ImportMap {
        ImportMap {
            file: file.to_owned(),
            source: String::new(),
            format: Some(SourceForm::Csv),
            encoding: None,
            delimiter: None,
            records: None,
            decimal_mark: None,
            empty: Vec::new(),
            kind,
            id,
            id_is_exact: true,
            name,
            brand: None,
            mpn: None,
            gtin: None,
            specs: Vec::new(),
            lookups: Vec::new(),
            always: Sorted::new(),
            needs: Vec::new(),
            skips: Vec::new(),
        }
    }

    pub(super) fn file(&self) -> &str {
        &self.file
    }

    pub(super) fn terms(&self) -> CellTerms<'_> {
        CellTerms {
            empty: &self.empty,
            decimal_mark: self.decimal_mark,
        }
    }

    /// Every column that the mapping reads.
    pub(super) fn columns(&self) -> Vec<&Mapped> {
        let kind = match &self.kind {
            KindRule::Always(_) => None,
            KindRule::Read(rule) => Some(rule),
        };
        let rules = [
            kind,
            Some(&self.name),
            self.brand.as_ref(),
            self.mpn.as_ref(),
            self.gtin.as_ref(),
        ];
        let specs = self.specs.iter().map(|(_, rule)| rule);
        let in_id = self.id.iter().filter_map(|piece| match piece {
            Piece::Column(column) if !OWN.contains(&column.name.as_str()) => Some(column),
            _ => None,
        });
        let read = rules.into_iter().flatten().chain(specs);
        let mut columns: Vec<&Mapped> = read.flat_map(|rule| rule.place.columns()).collect();
        columns.extend(in_id);
        columns.extend(self.skips.iter().map(|skip| &skip.column));
        columns.extend(self.lookups.iter().map(|lookup| &lookup.column));
        columns
    }

    /// The columns that the mapping names and the source does not have.
    pub(super) fn faults_with(&self, source: &Source) -> Vec<Fault> {
        if source.columns.is_empty() {
            return Vec::new();
        }
        let known = || source.columns.iter().map(String::as_str);
        let missing = self.columns().into_iter();
        let mut faults: Vec<Fault> = missing
            .filter(|column| !source.has(&column.name))
            .map(|column| Fault {
                file: self.file.clone(),
                line: column.line,
                column: column.column,
                message: format!("the source has no column \"{}\"", column.name),
                remedy: match nearest(&column.name, known()) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => format!("its columns: {}", known().collect::<Vec<_>>().join(", ")),
                },
            })
            .collect();
        faults.sort();
        faults.dedup();
        faults
    }
}
