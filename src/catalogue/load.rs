//! Loads catalogue files: text in, the catalogue and every fault out.

use super::fault::Fault;
use super::gtin::Gtin;
use super::id::{PartId, WorkloadId};
use super::import::load_csv;
use super::kind::Kind;
use super::part::{Catalogue, Evidence, Part, Rate, mpn_key};
use super::pool::Pool;
use super::read_spec::read_specs;
use super::side_by_side::{InTurn, SideBySide};
use super::sorted::Sorted;
use super::spec::{Spec, SpecValue, same_name};
use super::table::{At, Document, Table, nearest, position_in};
use super::workload::{Workload, read_workload};
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

/// Rates are kept in thousandths of their unit.
const RATE_PLACES: u32 = 3;
/// The largest standard error that a rate can state, in hundredths of a percent.
const MOST_ERROR: i64 = 10_000;

/// Reads every `(file name, text)`, TOML or CSV by its ending, and checks them against each other.
///
/// The catalogue holds what could be read; use it only when there are no faults.
pub fn load_catalogue(files: &[(&str, &str)]) -> (Catalogue, Vec<Fault>) {
    load_catalogue_by(files, &InTurn)
}

/// The same with the files read side by side.
pub fn load_catalogue_by(
    files: &[(&str, &str)],
    threads: &impl SideBySide,
) -> (Catalogue, Vec<Fault>) {
    let (tables, lists): (Vec<_>, Vec<_>) = files
        .iter()
        .copied()
        .partition(|(file, _)| !file.ends_with(".csv"));
    let documents = threads.each(tables, |(file, text)| Document::parse(file, text));
    let mut catalogue = Catalogue::default();
    // Workloads first: a part's rates name them, whatever file they stand in.
    for document in &documents {
        let mut root = document.root();
        for table in root.tables("workload") {
            if let Some(workload) = read_workload(table, &catalogue) {
                catalogue.workloads.insert(workload.id.clone(), workload);
            }
        }
    }
    let known = &catalogue.workloads;
    let mut read = threads.each(documents, |document| ReadFile::of(document, known));
    read.extend(threads.each(lists, |(file, text)| ReadFile::of_list(file, text)));
    let mut identities = Identities::default();
    let mut faults = Vec::new();
    for file in read {
        faults.extend(file.join(&mut catalogue, &mut identities));
    }
    (keep(catalogue, threads), faults)
}

/// The same catalogue in less room. Made of what is in order already, a tree's nodes are full; grown one by
/// one, they are half empty. What is kept for long is copied as well: reading leaves holes between what is
/// kept, each less than a page, that nothing can be given back of.
fn keep<S: SideBySide>(read: Catalogue, threads: &S) -> Catalogue {
    if !S::IS_FOR_LONG {
        let parts = read.parts.into_iter().collect();
        return Catalogue { parts, ..read };
    }
    threads.apart(|| {
        let mut pool = Pool::default();
        let parts = read.parts.values().map(|part| pool.copy(part));
        Catalogue {
            parts: parts.map(|part| (part.id.clone(), part)).collect(),
            workloads: read.workloads.clone(),
        }
    })
}

/// What stands in a file, by itself.
struct ReadFile<'t> {
    file: &'t str,
    text: &'t str,
    parts: Vec<ReadPart>,
    faults: Vec<Fault>,
}

struct ReadPart {
    part: Part,
    claims: Vec<Claim>,
}

/// What no other part may have, and the fault if one has.
struct Claim {
    key: String,
    what: String,
    at: Place,
}

/// Where something stands in its file.
#[derive(Clone, Copy)]
enum Place {
    /// In bytes. The line is counted only where there is a fault to tell.
    Offset(usize),
    Line(usize),
}

impl<'t> ReadFile<'t> {
    fn of(document: Document<'t>, known: &BTreeMap<WorkloadId, Workload>) -> ReadFile<'t> {
        let mut root = document.root();
        let _workloads_are_read = root.tables("workload");
        let tables = root.tables("part").into_iter();
        let mut pool = Pool::default();
        let parts = tables.filter_map(|table| {
            let mut read = read_part(table, known)?;
            pool.share(&mut read.part);
            Some(read)
        });
        let parts = parts.collect();
        root.finish();
        ReadFile {
            file: document.file(),
            text: document.text(),
            parts,
            faults: document.into_faults(),
        }
    }

    fn of_list(file: &'t str, text: &'t str) -> ReadFile<'t> {
        let (parts, faults) = load_csv(file, text);
        let mut pool = Pool::default();
        let parts = parts.into_iter().map(|(mut part, line)| {
            pool.share(&mut part);
            let at = Place::Line(line);
            let places = (at, vec![at; part.gtins.len()], vec![at; part.mpns.len()]);
            ReadPart {
                claims: claims(&part, places),
                part,
            }
        });
        ReadFile {
            file,
            text,
            parts: parts.collect(),
            faults,
        }
    }

    /// Adds the parts to those of the files before, and returns the faults in the order of the
    /// text.
    fn join(self, catalogue: &mut Catalogue, identities: &mut Identities) -> Vec<Fault> {
        let mut faults = self.faults;
        for ReadPart { part, claims } in self.parts {
            for Claim { key, what, at } in claims {
                let Some(owner) = identities.claim(key, &part.id) else {
                    continue;
                };
                let (line, column) = match at {
                    Place::Offset(offset) => position_in(self.text, offset),
                    Place::Line(line) => (line, 1),
                };
                faults.push(Fault {
                    file: self.file.to_owned(),
                    line,
                    column,
                    message: format!("{what} belongs to part \"{owner}\" already"),
                    remedy: "remove it from one of the two parts".to_owned(),
                });
            }
            catalogue.parts.entry(part.id.clone()).or_insert(part);
        }
        faults.sort_by_key(|fault| (fault.line, fault.column));
        faults.dedup();
        faults
    }
}

/// What a part claims: its id, its GTINs and its MPNs, and where they stand.
fn claims(part: &Part, (id, gtins, mpns): (Place, Vec<Place>, Vec<Place>)) -> Vec<Claim> {
    let mut claims = vec![Claim {
        key: format!("id {}", part.id),
        what: format!("id \"{}\"", part.id),
        at: id,
    }];
    claims.extend(part.gtins.iter().zip(gtins).map(|(gtin, at)| Claim {
        key: format!("gtin {gtin}"),
        what: format!("GTIN {gtin}"),
        at,
    }));
    claims.extend(part.mpns.iter().zip(mpns).map(|(mpn, at)| Claim {
        key: mpn_key(part.brand.as_deref(), mpn),
        what: format!("MPN \"{mpn}\""),
        at,
    }));
    claims
}

/// Who already claimed an id, a GTIN or a brand's MPN.
#[derive(Default)]
struct Identities {
    claimed: BTreeMap<String, PartId>,
}

impl Identities {
    /// Claims `key` for `part` and returns the part that had it before.
    fn claim(&mut self, key: String, part: &PartId) -> Option<PartId> {
        match self.claimed.entry(key) {
            Entry::Occupied(owner) => Some(owner.get().clone()),
            Entry::Vacant(free) => {
                free.insert(part.clone());
                None
            }
        }
    }
}

fn read_part(mut table: Table<'_, '_>, known: &BTreeMap<WorkloadId, Workload>) -> Option<ReadPart> {
    let id = table.required_text("id");
    let kind = table
        .required_text("kind")
        .and_then(|kind| read_kind(&table, &kind));
    let name = table.required_text("name");
    let brand = table.text("brand").map(|brand| brand.value.into());
    let mpns = table.texts("mpn");
    let gtins = read_gtins(&mut table);
    let specs = read_specs(&mut table, kind);
    let rates = read_rates(&mut table, known);
    let source = table.text("source").map(|source| source.value.into());
    let guessed = read_guessed(&mut table, &specs);
    table.finish();
    let (id, kind, name) = (id?, kind?, name?);
    let mpns: Vec<At<String>> = mpns.map(|mpns| mpns.value).unwrap_or_default();
    let place = |span: &Range<usize>| Place::Offset(span.start);
    let places = (
        place(&id.span),
        gtins.iter().map(|(_, span)| place(span)).collect(),
        mpns.iter().map(|mpn| place(&mpn.span)).collect(),
    );
    let part = Part {
        id: PartId::new(&id.value),
        kind,
        name: name.value,
        brand,
        mpns: mpns.into_iter().map(|mpn| mpn.value).collect(),
        gtins: gtins.into_iter().map(|(gtin, _)| gtin).collect(),
        specs,
        rates,
        source,
        guessed,
    };
    Some(ReadPart {
        claims: claims(&part, places),
        part,
    })
}

/// The specs that were guessed. Each must be there: a guess that was taken out needs no accepting.
fn read_guessed(table: &mut Table<'_, '_>, specs: &Sorted<Spec, SpecValue>) -> BTreeSet<Spec> {
    let texts = table.texts("guessed").map(|texts| texts.value);
    let mut guessed = BTreeSet::new();
    for text in texts.unwrap_or_default() {
        match Spec::parse(&text.value).filter(|spec| specs.contains_key(spec)) {
            Some(spec) => {
                guessed.insert(spec);
            }
            None => {
                let keys = specs.keys().map(|spec| spec.key());
                let remedy = match nearest(&text.value, keys) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => "take it out of `guessed`".to_owned(),
                };
                let message = format!("`guessed` names \"{}\", which the part lacks", text.value);
                table.document().fault(&text.span, message, remedy);
            }
        }
    }
    guessed
}

/// Reads a kind's name; anything else is a fault with the nearest kind.
pub fn read_kind(table: &Table<'_, '_>, text: &At<String>) -> Option<Kind> {
    let kind = Kind::parse(&text.value);
    if kind.is_none() {
        let names = || Kind::NAMES.iter().map(|(name, _)| *name);
        let remedy = match nearest(&text.value, names()) {
            Some(known) => format!("did you mean \"{known}\"?"),
            None => format!("known kinds: {}", names().collect::<Vec<_>>().join(", ")),
        };
        table.document().fault(
            &text.span,
            format!("unknown kind \"{}\"", text.value),
            remedy,
        );
    }
    kind
}

fn read_gtins(table: &mut Table<'_, '_>) -> Vec<(Gtin, Range<usize>)> {
    let texts = table
        .texts("gtin")
        .map(|texts| texts.value)
        .unwrap_or_default();
    let mut gtins = Vec::new();
    for text in texts {
        match Gtin::parse(&text.value) {
            Ok(gtin) => gtins.push((gtin, text.span)),
            Err(fault) => {
                let message = format!("GTIN \"{}\" {fault}", text.value);
                table
                    .document()
                    .fault(&text.span, message, "copy the digits from the package");
            }
        }
    }
    gtins
}

fn read_rates(
    table: &mut Table<'_, '_>,
    known: &BTreeMap<WorkloadId, Workload>,
) -> Sorted<WorkloadId, Rate> {
    let mut rates = Sorted::new();
    let Some(named) = table.table("rates") else {
        return rates;
    };
    for (name, mut rate) in named.named_tables() {
        let document = rate.document();
        let workload = WorkloadId::new(&name.value);
        if !known.contains_key(&workload) {
            let known = known.keys().map(WorkloadId::as_str);
            let remedy = match nearest(&name.value, known) {
                Some(known) => format!("did you mean \"{known}\"?"),
                None => "define it with [[workload]] in a catalogue file".to_owned(),
            };
            document.fault(
                &name.span,
                format!("unknown workload \"{}\"", name.value),
                remedy,
            );
        }
        rate.require("rate");
        let milli = read_rate_value(&mut rate, "rate");
        let measured = rate
            .text("source")
            .map(|source| Evidence::Measured(source.value.into()));
        let estimated = rate
            .text("estimated")
            .map(|how| Evidence::Estimated(how.value.into()));
        if measured.is_some() == estimated.is_some() {
            let remedy = "write who measured it when, or how it was estimated";
            let message = "a rate needs `source` or `estimated`, one of the two";
            document.fault(&rate.span(), message, remedy);
        }
        let error = rate.scaled("error_percent", 2);
        rate.finish();
        if let (Some(milli), Some(evidence)) = (milli, measured.or(estimated)) {
            let error_micro = match error {
                Some(hundredths) => hundredths.value.clamp(0, MOST_ERROR) * 100,
                None => evidence.usual_error_micro(),
            };
            rates.insert(
                workload,
                Rate {
                    milli,
                    evidence,
                    error_micro,
                },
            );
        }
    }
    rates
}

/// A rate above zero, in thousandths.
pub fn read_rate_value(table: &mut Table<'_, '_>, key: &'static str) -> Option<i64> {
    let rate = table.scaled(key, RATE_PLACES)?;
    if rate.value > 0 {
        return Some(rate.value);
    }
    let message = format!("`{key}` is not above zero");
    table.document().fault(
        &rate.span,
        message,
        "write a rate above zero, or leave it out",
    );
    None
}

/// True when `name` is one of `names`, by [`same_name`].
pub fn names_include(names: &[String], name: &str) -> bool {
    names.iter().any(|known| same_name(known, name))
}

#[cfg(test)]
mod tests {
    use super::*;

    const WORKLOADS: &str = "[[workload]]\nid = \"cut\"\nunit = \"jobs/h\"\n\
        limited_by = [\"cpu\"]\nreference = 10\n";

    fn faults_of(text: &str) -> Vec<String> {
        let (_, faults) = load_catalogue(&[("w.toml", WORKLOADS), ("p.toml", text)]);
        faults.iter().map(Fault::to_string).collect()
    }

    #[test]
    fn a_part_loads_with_typed_specs_and_rates() {
        let text = "[[part]]\nid = \"p1\"\nkind = \"cpu\"\nname = \"Otter 6\"\nmpn = \"OT-6\"\n\
            gtin = \"6291041500213\"\nsocket = \"AM5\"\nheat_w = 88\ngraphics = true\n\
            [part.rates.cut]\nrate = \"12.5\"\nsource = \"own bench, 2026-09\"\n";
        let (catalogue, faults) = load_catalogue(&[("p.toml", text), ("w.toml", WORKLOADS)]);
        assert_eq!(faults, []);
        let part = &catalogue.parts[&PartId::new("p1")];
        assert_eq!(part.text(Spec::Socket), Some("AM5"));
        assert_eq!(part.number(Spec::HeatW), Some(88));
        assert_eq!(part.flag(Spec::Graphics), Some(true));
        assert_eq!(
            part.rates
                .get(&WorkloadId::new("cut"))
                .map(|rate| rate.milli),
            Some(12_500)
        );
    }

    #[test]
    fn unknown_keys_kinds_and_workloads_name_the_nearest_known_one() {
        let text = "[[part]]\nid = \"a\"\nkind = \"cup\"\nname = \"A\"\nmpn = \"1\"\n\
            [[part]]\nid = \"b\"\nkind = \"cpu\"\nname = \"B\"\nmpn = \"2\"\nsokcet = \"AM5\"\n\
            [part.rates.cutt]\nrate = 0\nsource = \"x\"\n";
        assert_eq!(
            faults_of(text),
            [
                "p.toml:3:8: unknown kind \"cup\"; did you mean \"cpu\"?",
                "p.toml:11:1: unknown key `sokcet`; did you mean `socket`?",
                "p.toml:12:13: unknown workload \"cutt\"; did you mean \"cut\"?",
                "p.toml:13:8: `rate` is not above zero; write a rate above zero, or leave it out",
            ]
        );
    }

    #[test]
    fn one_gtin_or_mpn_on_two_parts_is_a_fault() {
        let part = |id: &str| {
            format!(
                "[[part]]\nid = \"{id}\"\nkind = \"case\"\nname = \"N\"\nbrand = \"Q\"\n\
                 mpn = \"C-1\"\ngtin = \"6291041500213\"\n"
            )
        };
        let faults = faults_of(&format!("{}{}{}", part("a"), part("b"), part("a")));
        assert_eq!(faults.len(), 5, "{faults:#?}");
        assert!(
            faults[0].contains("GTIN 06291041500213 belongs to part \"a\" already")
                || faults[1].contains("GTIN 06291041500213 belongs to part \"a\" already")
        );
    }

    #[test]
    fn a_spec_of_another_kind_is_an_unknown_key() {
        let text =
            "[[part]]\nid = \"a\"\nkind = \"gpu\"\nname = \"A\"\nmpn = \"1\"\nsocket = \"AM5\"\n";
        assert_eq!(faults_of(text).len(), 1);
    }
}
