//! Which briefs have to be solved again: what was listed at the last look, what each brief was last
//! solved on, and counts of both.
//!
//! It lives as long as the settings that it is of: other settings, or a restart, solve everything anew.

use super::settings::Settings;
use crate::catalogue::PartId;
use crate::decide::{Solved, Spared, spared};
use crate::market::{Brief, BriefId, Listed, Retailer, RetailerId, market};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// How often briefs were looked at, and what that came to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Counters {
    pub solves: u64,
    /// All of them, in microseconds.
    pub solve_us: u64,
    /// No offer moved.
    pub unmoved: u64,
    /// Offers moved that the brief's market does not read.
    pub unread: u64,
    /// Offers became dearer or went that are not in the build.
    pub worse: u64,
    /// Parts became cheaper that cannot be in the best build.
    pub beaten: u64,
}

/// What is known of the market and of each brief since the settings were loaded.
#[derive(Debug, Default)]
pub struct Attention {
    pub counters: Counters,
    /// At the last look, in the ledger's order; without titles and links, which no answer hangs on.
    listed: Vec<Listed>,
    retailers: BTreeMap<RetailerId, Retailer>,
    briefs: BTreeMap<BriefId, Known>,
    /// The newest edition of each brief's guide.
    editions: BTreeMap<BriefId, u32>,
}

#[derive(Debug)]
struct Known {
    solved: Solved,
    /// The offers of parts that moved since the solve, as they were then.
    then: BTreeMap<PartId, Vec<Listed>>,
    /// It is looked at again though nothing moves.
    is_pending: bool,
}

impl Attention {
    /// Takes note of what is listed now. Every part that moved is remembered as it was at each
    /// brief's last solve.
    pub fn look(&mut self, listed: &[Listed], retailers: &BTreeMap<RetailerId, Retailer>) {
        // Terms that begin or end with the day may change any answer.
        if self.retailers != *retailers {
            self.retailers = retailers.clone();
            self.briefs.clear();
        }
        let moved = moved(&self.listed, listed);
        for known in self.briefs.values_mut() {
            for (part, was) in &moved {
                let then = known.then.entry((*part).clone());
                then.or_insert_with(|| was.to_vec());
            }
        }
        let is_moved = !moved.is_empty() || self.listed.len() != listed.len();
        if is_moved {
            self.listed = listed.iter().map(bare).collect();
        }
    }

    /// Takes note of the newest edition of a brief's guide. What is asked of a new one is judged anew.
    pub fn published(&mut self, brief: &BriefId, edition: u32) {
        if self.editions.insert(brief.clone(), edition) != Some(edition) {
            self.forget(brief);
        }
    }

    /// Whether a brief's answer is proven to hold, and why. Counts it if so.
    pub fn is_spared(&mut self, settings: &Settings, brief: &Brief) -> bool {
        let Some(known) = self.briefs.get(&brief.id) else {
            return false;
        };
        if known.is_pending {
            return false;
        }
        if known.then.is_empty() {
            self.counters.unmoved += 1;
            return true;
        }
        let telling = settings.telling.get(&brief.id);
        let mut asked = telling.into_iter().flat_map(|telling| telling.parts());
        if asked.any(|part| known.then.contains_key(part)) {
            return false;
        }
        let then: Vec<Listed> = known.then.values().flatten().cloned().collect();
        let now: Vec<Listed> = known
            .then
            .keys()
            .flat_map(|part| of_part(&self.listed, part))
            .cloned()
            .collect();
        let made = |listed| market(brief, &settings.catalogue, &self.retailers, listed);
        match spared(&made(&then), &made(&now), &known.solved) {
            Some(Spared::Unread) => self.counters.unread += 1,
            Some(Spared::Worse) => self.counters.worse += 1,
            Some(Spared::Beaten) => self.counters.beaten += 1,
            None => return false,
        }
        true
    }

    /// Takes note of a solve on what is listed now.
    pub fn put(&mut self, brief: &BriefId, solved: Solved, is_pending: bool) {
        let known = Known {
            solved,
            then: BTreeMap::new(),
            is_pending,
        };
        self.briefs.insert(brief.clone(), known);
    }

    /// The brief is solved at the next look, whatever moves.
    pub fn forget(&mut self, brief: &BriefId) {
        self.briefs.remove(brief);
    }
}

/// The parts whose offers are not what they were, with those that they had.
fn moved<'l>(before: &'l [Listed], now: &'l [Listed]) -> BTreeMap<&'l PartId, &'l [Listed]> {
    let parts = |listed: &'l [Listed]| -> BTreeMap<&'l PartId, &'l [Listed]> {
        let runs = listed.chunk_by(|one, next| one.part == next.part);
        runs.map(|run| (&run[0].part, run)).collect()
    };
    let (before, now) = (parts(before), parts(now));
    let ids: BTreeSet<&PartId> = before.keys().chain(now.keys()).copied().collect();
    let run = |parts: &BTreeMap<&PartId, &'l [Listed]>, id| parts.get(id).copied().unwrap_or(&[]);
    let moved = ids.into_iter().filter(|id| {
        let (was, is) = (run(&before, *id), run(&now, *id));
        was.len() != is.len() || was.iter().zip(is).any(|(was, is)| !reads_same(was, is))
    });
    moved.map(|id| (id, run(&before, id))).collect()
}

/// The offers of a part; they stand together.
fn of_part<'l>(listed: &'l [Listed], part: &PartId) -> &'l [Listed] {
    let start = listed.partition_point(|one| one.part < *part);
    let end = listed.partition_point(|one| one.part <= *part);
    &listed[start..end]
}

/// True where a market reads the same of two states of an offer.
fn reads_same(one: &Listed, other: &Listed) -> bool {
    (&one.retailer, &one.sku, &one.part, &one.seller)
        == (&other.retailer, &other.sku, &other.part, &other.seller)
        && (one.price, one.tax_included, one.shipping)
            == (other.price, other.tax_included, other.shipping)
        && (one.availability, one.lead_days) == (other.availability, other.lead_days)
        && (one.condition, one.minimum_quantity) == (other.condition, other.minimum_quantity)
}

fn bare(listed: &Listed) -> Listed {
    Listed {
        title: String::new(),
        link: None,
        ..listed.clone()
    }
}
