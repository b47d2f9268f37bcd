//! What many parts have alike, kept once: sockets, form factors, brands, sources of rates.
//!
//! A part that was read is equal before and after, and so is its copy; only the room that it takes changes.

use super::id::{PartId, WorkloadId};
use super::part::{Part, Rate};
use super::sorted::Sorted;
use super::spec::{Entry, SpecValue};
use std::collections::BTreeSet;
use std::sync::Arc;

/// What was met so far.
#[derive(Default)]
pub(super) struct Pool {
    texts: BTreeSet<Arc<str>>,
    values: BTreeSet<SpecValue>,
    workloads: BTreeSet<WorkloadId>,
}

impl Pool {
    /// Puts what an earlier part has too in the place of what this one has for itself.
    pub fn share(&mut self, part: &mut Part) {
        for text in part.brand.iter_mut().chain(&mut part.source) {
            self.share_text(text);
        }
        for rate in part.rates.values_mut() {
            self.share_text(rate.evidence.text_mut());
        }
        for value in part.specs.values_mut() {
            match value {
                // As small themselves as what they would share.
                SpecValue::Flag(_) | SpecValue::Number(_) => {}
                SpecValue::Text(text) => self.share_text(text),
                _ => match self.values.get(value) {
                    Some(known) => value.clone_from(known),
                    None => {
                        self.values.insert(value.clone());
                    }
                },
            }
        }
    }

    /// A part of the same content that has nothing in common with the one that was read: what it has alike
    /// with earlier copies it shares with these. No list of it has room to spare.
    pub fn copy(&mut self, part: &Part) -> Part {
        let mut specs = part.specs.clone();
        for value in specs.values_mut() {
            *value = self.copy_value(value);
        }
        let rates = part.rates.iter().map(|(workload, rate)| {
            let mut evidence = rate.evidence.clone();
            *evidence.text_mut() = self.copy_text(rate.evidence.text());
            (self.copy_workload(workload), Rate { evidence, ..*rate })
        });
        Part {
            id: PartId::new(part.id.as_str()),
            kind: part.kind,
            name: part.name.clone(),
            rates: rates.collect(),
            brand: part.brand.as_deref().map(|text| self.copy_text(text)),
            mpns: part.mpns.clone(),
            gtins: part.gtins.clone(),
            specs,
            source: part.source.as_deref().map(|text| self.copy_text(text)),
            guessed: part.guessed.clone(),
        }
    }

    fn copy_value(&mut self, value: &SpecValue) -> SpecValue {
        if let Some(known) = self.values.get(value) {
            return known.clone();
        }
        let copy = match value {
            SpecValue::Flag(_) | SpecValue::Number(_) => return value.clone(),
            SpecValue::Text(text) => return SpecValue::Text(self.copy_text(text)),
            SpecValue::Texts(texts) => SpecValue::Texts(texts.to_vec().into()),
            SpecValue::Numbers(numbers) => SpecValue::Numbers(numbers.to_vec().into()),
            SpecValue::Entries(entries) => {
                let copies = entries.iter().map(|Entry(fields)| {
                    let fields = fields.iter();
                    let copies = fields.map(|(key, value)| (*key, self.copy_value(value)));
                    Entry(copies.collect::<Sorted<_, _>>())
                });
                SpecValue::Entries(copies.collect())
            }
        };
        self.values.insert(copy.clone());
        copy
    }

    fn copy_text(&mut self, text: &str) -> Arc<str> {
        match self.texts.get(text) {
            Some(known) => known.clone(),
            None => {
                let copy: Arc<str> = text.into();
                self.texts.insert(copy.clone());
                copy
            }
        }
    }

    fn copy_workload(&mut self, workload: &WorkloadId) -> WorkloadId {
        match self.workloads.get(workload) {
            Some(known) => known.clone(),
            None => {
                let copy = WorkloadId::new(workload.as_str());
                self.workloads.insert(copy.clone());
                copy
            }
        }
    }

    fn share_text(&mut self, text: &mut Arc<str>) {
        match self.texts.get(text) {
            Some(known) => text.clone_from(known),
            None => {
                self.texts.insert(text.clone());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Pool;
    use crate::catalogue::{Part, Spec, SpecValue, load_catalogue};
    use std::sync::Arc;

    #[test]
    fn parts_of_a_file_share_what_they_have_alike() {
        let part = |id: &str| {
            format!(
                "[[part]]\nid = \"{id}\"\nkind = \"cooler\"\nname = \"N {id}\"\nbrand = \"Otterworks\"\n\
                 mpn = \"{id}\"\nsockets = [\"AM4\", \"AM5\"]\ncolour = \"black\"\n"
            )
        };
        let text = format!("{}{}", part("a"), part("b"));
        let (catalogue, faults) = load_catalogue(&[("p.toml", &text)]);
        assert_eq!(faults, []);
        let parts: Vec<&Part> = catalogue.parts.values().collect();
        let brands = parts.iter().filter_map(|part| part.brand.as_ref());
        let brands: Vec<&Arc<str>> = brands.collect();
        assert!(Arc::ptr_eq(brands[0], brands[1]));
        let texts_of = |part: &Part| match part.specs.get(&Spec::Sockets) {
            Some(SpecValue::Texts(texts)) => Some(texts.clone()),
            _ => None,
        };
        let sockets: Vec<Arc<[String]>> = parts.iter().filter_map(|part| texts_of(part)).collect();
        assert_eq!(*sockets[0], ["AM4".to_owned(), "AM5".to_owned()]);
        assert!(Arc::ptr_eq(&sockets[0], &sockets[1]));
    }

    #[test]
    fn copies_are_equal_and_share_with_each_other_alone() {
        let case = |id: &str| {
            format!(
                "[[part]]\nid = \"{id}\"\nkind = \"case\"\nname = \"N {id}\"\nbrand = \"Otterworks\"\n\
                 mpn = \"{id}\"\ncolour = \"black\"\nform_factors = [\"ATX\"]\nsource = \"s\"\n\
                 guessed = [\"colour\"]\nradiator_mounts = [{{ position = \"top\", sizes_mm = [240] }}]\n\
                 [part.rates.cut]\nrate = 5\nsource = \"own bench\"\n"
            )
        };
        let workload = "[[workload]]\nid = \"cut\"\nunit = \"jobs/h\"\nlimited_by = [\"case\"]\nreference = 10\n";
        let text = format!("{workload}{}{}", case("a"), case("b"));
        let (catalogue, faults) = load_catalogue(&[("p.toml", &text)]);
        assert_eq!(faults, []);
        let read: Vec<&Part> = catalogue.parts.values().collect();
        let mut pool = Pool::default();
        let copies: Vec<Part> = read.iter().map(|part| pool.copy(part)).collect();
        assert!(copies.iter().eq(read.iter().copied()));
        let pairs = |one: &Part, other: &Part| {
            let (one, other) = (texts_of(one), texts_of(other));
            assert_eq!((one.len(), other.len()), (7, 7));
            let pairs = one.into_iter().zip(other);
            let shared = pairs.filter(|(one, other)| one.as_ptr() == other.as_ptr());
            shared.count()
        };
        // All but the id, which is the part's own.
        assert_eq!(pairs(&copies[0], &copies[1]), 6);
        assert_eq!(pairs(&copies[0], read[0]), 0);
    }

    /// Texts of a part, one for each place that shares them.
    fn texts_of(part: &Part) -> Vec<&str> {
        let mut texts = vec![part.id.as_str()];
        texts.extend(part.brand.as_deref());
        texts.extend(part.source.as_deref());
        texts.extend(part.text(Spec::Colour));
        let forms = part.texts(Spec::FormFactors).into_iter().flatten();
        texts.extend(forms.map(String::as_str));
        let mounts = part.entries(Spec::RadiatorMounts).into_iter().flatten();
        texts.extend(mounts.filter_map(|mount| mount.text("position")));
        texts.extend(part.rates.values().map(|rate| rate.evidence.text()));
        texts
    }
}
