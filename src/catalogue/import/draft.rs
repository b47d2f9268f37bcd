//! Rows become parts, one by one, or say why not.

use super::map::{ImportMap, KindRule, Lookup, OWN};
use super::report::{Import, Reason, Refusal};
use super::rows::{Record, Row, Source};
use super::slug::slug;
use super::value::{CellTerms, Found, Piece, ValueRule};
use crate::catalogue::gtin::Gtin;
use crate::catalogue::id::PartId;
use crate::catalogue::kind::Kind;
use crate::catalogue::part::{Catalogue, Part, mpn_key};
use crate::catalogue::sorted::Sorted;
use crate::catalogue::spec::{Spec, SpecValue};
use std::collections::{BTreeMap, BTreeSet};

/// What a column said and why that does not do.
struct Refused {
    column: Option<String>,
    text: String,
    // Boxed: a refusal is rare, and every result here would be as large.
    reason: Box<Reason>,
}

impl From<Reason> for Refused {
    fn from(reason: Reason) -> Refused {
        Refused {
            column: None,
            text: String::new(),
            reason: Box::new(reason),
        }
    }
}

/// Whose an id, a GTIN or a brand's MPN is: a part of the catalogue, or an earlier row.
#[derive(Default)]
struct Taken(BTreeMap<String, String>);

pub(super) fn draft_all(map: &ImportMap, source: &Source, existing: &Catalogue) -> Import {
    let mut import = Import {
        n_rows: source.rows.len(),
        unread_columns: unread(map, source),
        ..Import::default()
    };
    let mut taken = Taken::default();
    for part in existing.parts.values() {
        taken.add(part, &format!("part \"{}\"", part.id));
    }
    for (position, row) in source.rows.iter().enumerate() {
        let number = position + 1;
        let refusal = |refused: Refused| Refusal {
            row: number,
            line: row.line,
            column: refused.column,
            text: refused.text,
            reason: *refused.reason,
        };
        let mut draft = Draft {
            map,
            terms: map.terms(),
            source,
            row,
            left_out: Vec::new(),
        };
        let part = draft.part().and_then(|part| match taken.clash(&part) {
            Some(clash) => Err(Refused::from(clash)),
            None => Ok(part),
        });
        match part {
            Ok(part) => {
                taken.add(&part, &format!("row {number}"));
                import.parts.push(part);
                import.lines.push(row.line);
                let left_out = draft.left_out.into_iter().map(refusal);
                import.left_out.extend(left_out);
            }
            Err(refused) => import.skipped.push(refusal(refused)),
        }
    }
    import
}

/// The columns that nothing of the mapping reads, not even a part of a record under them.
fn unread(map: &ImportMap, source: &Source) -> Vec<String> {
    let read: BTreeSet<&str> = map
        .columns()
        .into_iter()
        .flat_map(|column| [Some(column.name.as_str()), column.name.split('.').next()])
        .flatten()
        .collect();
    let columns = source.columns.iter();
    let unread = columns.filter(|column| !column.is_empty() && !read.contains(column.as_str()));
    unread.cloned().collect()
}

impl Taken {
    fn keys(part: &Part) -> Vec<(&'static str, String, String)> {
        let mut keys = vec![("id", part.id.to_string(), format!("id {}", part.id))];
        keys.extend(part.gtins.iter().map(|gtin| {
            let text = gtin.to_string();
            ("GTIN", text.clone(), format!("gtin {text}"))
        }));
        let brand = part.brand.as_deref();
        let mpns = part.mpns.iter();
        keys.extend(mpns.map(|mpn| ("MPN", mpn.clone(), mpn_key(brand, mpn))));
        keys
    }

    fn add(&mut self, part: &Part, owner: &str) {
        for (_, _, key) in Taken::keys(part) {
            self.0.entry(key).or_insert_with(|| owner.to_owned());
        }
    }

    fn clash(&self, part: &Part) -> Option<Reason> {
        Taken::keys(part)
            .into_iter()
            .find_map(|(what, value, key)| {
                let owner = self.0.get(&key)?.clone();
                Some(Reason::Taken { what, value, owner })
            })
    }
}

/// A part in the making, out of one row.
struct Draft<'m> {
    map: &'m ImportMap,
    terms: CellTerms<'m>,
    source: &'m Source,
    row: &'m Row,
    left_out: Vec<Refused>,
}

impl Draft<'_> {
    fn part(&mut self) -> Result<Part, Refused> {
        self.keep_row()?;
        let kind = self.kind()?;
        let name = self.text(&self.map.name)?;
        let name = name.ok_or(Reason::Missing("name"))?;
        let brand = self.optional(self.map.brand.as_ref())?;
        let mpns = self.list(self.map.mpn.as_ref())?;
        let gtins = self.gtins()?;
        let specs = self.specs(kind)?;
        for need in &self.map.needs {
            if need.def().kinds.contains(&kind) && !specs.contains_key(need) {
                return Err(Reason::Missing(need.key()).into());
            }
        }
        let mut part = Part {
            id: PartId::new(""),
            kind,
            name,
            brand: brand.map(Into::into),
            mpns,
            gtins,
            specs,
            rates: Sorted::new(),
            source: Some(self.map.source.as_str().into()),
            guessed: BTreeSet::new(),
        };
        let id = self.id(&part);
        if id.is_empty() {
            return Err(Reason::Missing("id").into());
        }
        part.id = PartId::new(id);
        Ok(part)
    }

    fn keep_row(&self) -> Result<(), Refused> {
        if let Record::Csv(record) = &self.row.record {
            let (found, expected) = (record.len(), self.source.columns.len());
            if found != expected {
                return Err(Reason::Ragged { found, expected }.into());
            }
        }
        for skip in &self.map.skips {
            let cell = self.source.cell(self.row, &skip.column.name);
            if skip.pattern.is_match(&cell) == skip.on_match {
                return Err(Refused {
                    column: Some(skip.column.name.clone()),
                    text: cell.into_owned(),
                    reason: Box::new(Reason::Unwanted(skip.reason.clone())),
                });
            }
        }
        Ok(())
    }

    fn kind(&mut self) -> Result<Kind, Refused> {
        let rule = match &self.map.kind {
            KindRule::Always(kind) => return Ok(*kind),
            KindRule::Read(rule) => rule,
        };
        let found = self.find(rule)?.ok_or(Reason::Missing("kind"))?;
        Kind::parse(&found.value).ok_or_else(|| refused(found, Reason::Kind))
    }

    /// What a rule finds, where a cell that it cannot read may be left out.
    fn find(&mut self, rule: &ValueRule) -> Result<Option<Found>, Refused> {
        match rule.find(self.source, self.row, &self.terms) {
            Ok(found) => Ok(found),
            Err(unread) => {
                let (found, reason) = *unread;
                self.leave_out_or(rule, refused(found, |_| reason))?;
                Ok(None)
            }
        }
    }

    fn leave_out_or(&mut self, rule: &ValueRule, refused: Refused) -> Result<(), Refused> {
        if !rule.leaves_out {
            return Err(refused);
        }
        self.left_out.push(refused);
        Ok(())
    }

    fn text(&mut self, rule: &ValueRule) -> Result<Option<String>, Refused> {
        let found = self.find(rule)?.map(|found| found.value);
        Ok(found.filter(|value| !value.is_empty()))
    }

    fn optional(&mut self, rule: Option<&ValueRule>) -> Result<Option<String>, Refused> {
        rule.map_or(Ok(None), |rule| self.text(rule))
    }

    fn list(&mut self, rule: Option<&ValueRule>) -> Result<Vec<String>, Refused> {
        let Some(rule) = rule else {
            return Ok(Vec::new());
        };
        let mut texts = rule.texts(&self.text(rule)?.unwrap_or_default());
        let mut seen = BTreeSet::new();
        texts.retain(|text| seen.insert(text.clone()));
        Ok(texts)
    }

    fn gtins(&mut self) -> Result<Vec<Gtin>, Refused> {
        let Some(rule) = &self.map.gtin else {
            return Ok(Vec::new());
        };
        let Some(found) = self.find(rule)? else {
            return Ok(Vec::new());
        };
        let mut gtins = Vec::new();
        for text in rule.texts(&found.value) {
            match Gtin::parse(&text) {
                Ok(gtin) if gtins.contains(&gtin) => {}
                Ok(gtin) => gtins.push(gtin),
                Err(fault) => {
                    let refused = Refused {
                        column: found.column.clone(),
                        text,
                        reason: Box::new(Reason::Gtin(fault)),
                    };
                    self.leave_out_or(rule, refused)?;
                }
            }
        }
        Ok(gtins)
    }

    /// What always holds, then what lookups say, then what rules read: the nearer counts.
    fn specs(&mut self, kind: Kind) -> Result<Sorted<Spec, SpecValue>, Refused> {
        let belongs = |spec: Spec| spec.def().kinds.contains(&kind);
        let mut specs = self.map.always.clone();
        for lookup in &self.map.lookups {
            specs.extend(self.look_up(lookup)?);
        }
        specs.retain(|spec, _| belongs(*spec));
        for (spec, rule) in &self.map.specs {
            if !belongs(*spec) {
                continue;
            }
            let Some(found) = self.find(rule)?.filter(|found| !found.value.is_empty()) else {
                continue;
            };
            match rule.spec_value(&found.value, &spec.def().shape, &self.terms) {
                Ok(value) => {
                    specs.insert(*spec, value);
                }
                Err(reason) => self.leave_out_or(rule, refused(found, |_| reason))?,
            }
        }
        Ok(specs)
    }

    fn look_up(&mut self, lookup: &Lookup) -> Result<Sorted<Spec, SpecValue>, Refused> {
        let cell = self.terms.cell(self.source, self.row, &lookup.column.name);
        if let Some(specs) = lookup.values.get(&cell) {
            return Ok(specs.clone());
        }
        if cell.is_empty() {
            return Ok(Sorted::new());
        }
        let refused = Refused {
            column: Some(lookup.column.name.clone()),
            text: cell,
            reason: Box::new(Reason::LookedUp),
        };
        if !lookup.leaves_out {
            return Err(refused);
        }
        self.left_out.push(refused);
        Ok(Sorted::new())
    }

    fn id(&self, part: &Part) -> String {
        let text = |piece: &Piece| match piece {
            Piece::Text(text) => text.clone(),
            Piece::Column(column) if OWN.contains(&column.name.as_str()) => {
                match column.name.as_str() {
                    "brand" => part.brand.as_deref().unwrap_or_default().to_owned(),
                    "mpn" => part.mpns.first().cloned().unwrap_or_default(),
                    "kind" => part.kind.name().to_owned(),
                    _ => part.name.clone(),
                }
            }
            Piece::Column(column) => self.terms.cell(self.source, self.row, &column.name),
        };
        let id: String = self.map.id.iter().map(text).collect();
        match self.map.id_is_exact {
            true => id,
            false => slug(&id),
        }
    }
}

fn refused(found: Found, reason: impl FnOnce(String) -> Reason) -> Refused {
    Refused {
        column: found.column,
        text: found.text,
        reason: Box::new(reason(found.value)),
    }
}
