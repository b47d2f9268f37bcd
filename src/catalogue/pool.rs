//! What many parts have alike, kept once: sockets, form factors, brands, sources of rates.
//!
//! A part that was read is equal before and after; only the room that it takes changes.

use super::part::Part;
use super::spec::SpecValue;
use std::collections::BTreeSet;
use std::sync::Arc;

/// What was met so far.
#[derive(Default)]
pub(super) struct Pool {
    texts: BTreeSet<Arc<str>>,
    values: BTreeSet<SpecValue>,
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
}
