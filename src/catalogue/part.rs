//! Parts, workloads, and the catalogue that holds them.

use super::gtin::Gtin;
use super::id::{PartId, WorkloadId};
use super::kind::Kind;
use super::sorted::Sorted;
use super::spec::{Entry, Spec, SpecValue};
use super::workload::Workload;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// One product that can fill a role.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    pub id: PartId,
    pub kind: Kind,
    pub name: String,
    pub brand: Option<Arc<str>>,
    pub mpns: Vec<String>,
    pub gtins: Vec<Gtin>,
    pub specs: Sorted<Spec, SpecValue>,
    pub rates: Sorted<WorkloadId, Rate>,
    /// Where the part was taken from, when it was not written by hand.
    pub source: Option<Arc<str>>,
    /// Specs that were read out of a text and that nobody has confirmed yet.
    pub guessed: BTreeSet<Spec>,
}

/// One identity of a brand's number, whatever the case of both.
pub(super) fn mpn_key(brand: Option<&str>, mpn: &str) -> String {
    let brand = brand.unwrap_or("").to_lowercase();
    format!("mpn {brand} {}", mpn.to_lowercase())
}

/// How much work per unit of time a part allows, if nothing else limited it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rate {
    /// Thousandths of the workload's unit; more than zero.
    pub milli: i64,
    pub evidence: Evidence,
    /// The standard error of the rate's natural logarithm, in millionths: about the share of the
    /// rate by which it may be off.
    pub error_micro: i64,
}

/// Where a rate comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Evidence {
    /// Written at the part as measured: by whom and when.
    Measured(Arc<str>),
    /// Written at the part as an estimate: how it was made.
    Estimated(Arc<str>),
    /// Worked out of results of the part itself: which.
    Results(Arc<str>),
    /// An estimate of the program's own for a part without results: how it was made.
    Derived(Arc<str>),
}

impl Evidence {
    /// True for everything that nobody measured.
    pub fn is_estimate(&self) -> bool {
        matches!(self, Evidence::Estimated(_) | Evidence::Derived(_))
    }

    /// What is told of it.
    pub fn text(&self) -> &str {
        match self {
            Evidence::Measured(text)
            | Evidence::Estimated(text)
            | Evidence::Results(text)
            | Evidence::Derived(text) => text,
        }
    }

    pub(super) fn text_mut(&mut self) -> &mut Arc<str> {
        match self {
            Evidence::Measured(text)
            | Evidence::Estimated(text)
            | Evidence::Results(text)
            | Evidence::Derived(text) => text,
        }
    }

    /// The standard error of a rate that states none, in millionths of its logarithm: runs of one
    /// test differ by some 3 % between days and machines, and an author's estimate is good to some
    /// 15 % (common practice, no source).
    pub fn usual_error_micro(&self) -> i64 {
        match self.is_estimate() {
            false => 30_000,
            true => 150_000,
        }
    }
}

/// The parts that the author is willing to build with, and the workloads that rate them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Catalogue {
    pub parts: BTreeMap<PartId, Part>,
    pub workloads: BTreeMap<WorkloadId, Workload>,
}

impl Part {
    /// Whether its brand is one of these; case does not matter.
    pub fn is_of_brand(&self, brands: &[String]) -> bool {
        let own = self.brand.as_deref().unwrap_or("").to_lowercase();
        brands.iter().any(|brand| brand.to_lowercase() == own)
    }

    pub fn number(&self, spec: Spec) -> Option<i64> {
        match self.specs.get(&spec)? {
            SpecValue::Number(number) => Some(*number),
            _ => None,
        }
    }

    pub fn text(&self, spec: Spec) -> Option<&str> {
        match self.specs.get(&spec)? {
            SpecValue::Text(text) => Some(text),
            _ => None,
        }
    }

    pub fn texts(&self, spec: Spec) -> Option<&[String]> {
        match self.specs.get(&spec)? {
            SpecValue::Texts(texts) => Some(texts),
            _ => None,
        }
    }

    pub fn entries(&self, spec: Spec) -> Option<&[Entry]> {
        match self.specs.get(&spec)? {
            SpecValue::Entries(entries) => Some(entries),
            _ => None,
        }
    }

    pub fn flag(&self, spec: Spec) -> Option<bool> {
        match self.specs.get(&spec)? {
            SpecValue::Flag(flag) => Some(*flag),
            _ => None,
        }
    }
}
