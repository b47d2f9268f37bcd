//! Which candidates of a role are alike to a rule: they agree in every spec that it reads.
//!
//! Specs are looked up once for all rules; from then on values are compared by their numbers.

use crate::catalogue::{Kind, Spec, SpecValue};
use crate::fit::{FitRule, Seat};
use crate::market::Market;
use std::collections::{BTreeMap, BTreeSet};

/// What the rules of a market's brief read of its candidates.
pub(super) struct Traits<'m> {
    market: &'m Market<'m>,
    /// By group.
    columns: Vec<BTreeMap<Spec, Column>>,
}

/// A spec of each candidate, as the number of its value.
struct Column {
    values: Vec<usize>,
    /// Numbers are below it.
    n_values: usize,
}

/// One role of a rule: the class of each candidate, and one candidate of each class in its seat.
/// Classes are numbered in the order of their first candidates.
pub(super) struct Side<'m> {
    pub classes: Vec<usize>,
    pub samples: Vec<Seat<'m>>,
}

/// Tables of pairs of numbers up to this size are laid out; larger ones would stay mostly empty.
const MOST_CELLS: usize = 1 << 20;

impl<'m> Traits<'m> {
    pub fn of(market: &'m Market<'_>) -> Traits<'m> {
        let mut read: BTreeMap<Kind, BTreeSet<Spec>> = BTreeMap::new();
        for rule in market.brief.rules.iter() {
            for (kind, spec) in rule.reads() {
                read.entry(*kind).or_default().insert(*spec);
            }
        }
        let none = BTreeSet::new();
        let columns = market.brief.roles.iter().enumerate().map(|(group, role)| {
            let specs = read.get(&role.kind).unwrap_or(&none);
            columns(market, group, specs)
        });
        Traits {
            columns: columns.collect(),
            market,
        }
    }

    /// The candidates of a group as a rule sees them.
    pub fn side(&self, rule: &dyn FitRule, group: usize) -> Side<'m> {
        let role = &self.market.brief.roles[group];
        let candidates = &self.market.candidates[group];
        let reads = rule.reads().iter().filter(|(kind, _)| *kind == role.kind);
        let columns = reads.filter_map(|(_, spec)| self.columns[group].get(spec));
        let alike = Column {
            values: vec![0; candidates.len()],
            n_values: 1,
        };
        let classes = columns
            .fold(alike, |classes, column| classes.and(column))
            .values;
        let mut samples = Vec::new();
        for (class, candidate) in classes.iter().zip(candidates) {
            if *class == samples.len() {
                samples.push(Seat {
                    role: role.id.as_str(),
                    part: candidate.part,
                    quantity: role.quantity,
                });
            }
        }
        Side { classes, samples }
    }
}

fn columns(market: &Market<'_>, group: usize, specs: &BTreeSet<Spec>) -> BTreeMap<Spec, Column> {
    let mut known: Vec<BTreeMap<Option<&SpecValue>, usize>> = vec![BTreeMap::new(); specs.len()];
    let mut values: Vec<Vec<usize>> = vec![Vec::new(); specs.len()];
    for candidate in &market.candidates[group] {
        // Both are in the order of the specs, so that one walk along them finds all.
        let mut has = candidate.part.specs.iter().peekable();
        let places = specs.iter().zip(&mut known).zip(&mut values);
        for ((spec, known), values) in places {
            while has.next_if(|(one, _)| *one < spec).is_some() {}
            let value = has.next_if(|(one, _)| *one == spec);
            let next = known.len();
            let number = known.entry(value.map(|(_, value)| value)).or_insert(next);
            values.push(*number);
        }
    }
    let columns = specs
        .iter()
        .zip(known.iter().map(BTreeMap::len))
        .zip(values);
    columns
        .map(|((spec, n_values), values)| (*spec, Column { values, n_values }))
        .collect()
}

impl Column {
    /// Alike in both, numbered in the order of first appearance.
    fn and(&self, other: &Column) -> Column {
        let pairs = self.values.iter().zip(&other.values);
        let cell = |(one, two): (&usize, &usize)| one * other.n_values + two;
        let n_cells = self.n_values.saturating_mul(other.n_values);
        let mut n_values = 0;
        let mut number = |known: &mut Option<usize>| {
            *known.get_or_insert_with(|| {
                n_values += 1;
                n_values - 1
            })
        };
        let values = if n_cells <= MOST_CELLS {
            let mut known: Vec<Option<usize>> = vec![None; n_cells];
            pairs.map(|pair| number(&mut known[cell(pair)])).collect()
        } else {
            let mut known: BTreeMap<usize, Option<usize>> = BTreeMap::new();
            let known = |pair| number(known.entry(cell(pair)).or_default());
            pairs.map(known).collect()
        };
        Column { values, n_values }
    }
}
