//! Partial selections: what stands beside them, and what they cost at least and score at most.

use super::stands::Bits;
use super::tables::{FREE, Tables};

/// What any completion of a partial selection costs at least and scores at most.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Bound {
    pub cost: i64,
    pub score: i64,
}

/// What is still worth having: what beats the best so far, or is its equal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Bar {
    /// The best score so far.
    pub beaten: i64,
    /// The cost of the best so far, where its equals are asked for as well.
    pub equal_at: Option<i64>,
}

impl Bar {
    /// Whatever scores at least so much.
    pub fn least(score: i64) -> Bar {
        Bar {
            beaten: score.saturating_sub(1),
            equal_at: None,
        }
    }

    /// What beats this, and what equals it.
    pub fn equal_to(bound: Bound) -> Bar {
        Bar {
            beaten: bound.score,
            equal_at: Some(bound.cost),
        }
    }

    pub fn admits(&self, bound: Bound) -> bool {
        bound.score > self.beaten || self.equals(bound)
    }

    /// True for what may be as good as the best so far, and as cheap, but not better.
    pub fn equals(&self, bound: Bound) -> bool {
        bound.score == self.beaten && self.equal_at == Some(bound.cost)
    }

    fn admits_score(&self, score: i64) -> bool {
        score > self.beaten || (score == self.beaten && self.equal_at.is_some())
    }
}

/// A partial selection, with what is left for the groups that are still open.
#[derive(Clone)]
pub(super) struct Open {
    chosen: Vec<usize>,
    cost: i64,
    /// By place: the choices that stand with all that is chosen.
    domains: Vec<Bits>,
    /// By place: the first choice that stands with all that is chosen and has enough left to it.
    /// With one choice more, none before it will do.
    first: Vec<usize>,
    /// What the first choices of the groups behind the next one cost together; `None` where a group
    /// has none.
    least_behind: Option<i64>,
    /// By balance: what is left above the least of every open group.
    left: Vec<i64>,
    /// The same with one choice more.
    left_then: Vec<i64>,
    /// By bottleneck: the lowest value chosen so far.
    lowest: Vec<i64>,
}

impl Open {
    /// Nothing is chosen yet.
    pub fn of(tables: &Tables) -> Open {
        let mut open = Open {
            chosen: Vec::new(),
            cost: 0,
            domains: Vec::new(),
            first: Vec::new(),
            least_behind: None,
            left: Vec::new(),
            left_then: Vec::new(),
            lowest: Vec::new(),
        };
        open.set(tables, &[]);
        open
    }

    pub fn depth(&self) -> usize {
        self.chosen.len()
    }

    /// Takes up a partial selection.
    pub fn set(&mut self, tables: &Tables, chosen: &[usize]) {
        self.chosen.clear();
        self.chosen.extend_from_slice(chosen);
        let costs = tables.costs.iter().zip(chosen);
        self.cost = costs.map(|(costs, choice)| costs[*choice]).sum();
        self.domains.resize(tables.groups(), Bits::new());
        for (place, domain) in self.domains.iter_mut().enumerate().skip(chosen.len()) {
            domain.clear();
            domain.extend_from_slice(&tables.all[place]);
            for (from, choice) in chosen.iter().enumerate() {
                if let Some(rows) = &tables.stands[from][place] {
                    domain
                        .iter_mut()
                        .zip(&rows[*choice])
                        .for_each(|(bits, row)| *bits &= row);
                }
            }
        }
        self.left.clone_from(&tables.left);
        for (place, choice) in chosen.iter().enumerate() {
            for (balance, shares) in &tables.shares[place] {
                self.left[*balance] -= shares[*choice];
            }
        }
        self.lowest.clear();
        self.lowest.extend(tables.bottlenecks.iter().map(|one| {
            let values = one.values.iter().zip(chosen);
            let values = values.map(|(values, choice)| values[*choice]);
            values.min().unwrap_or(FREE)
        }));
        self.find_first(tables);
    }

    fn find_first(&mut self, tables: &Tables) {
        self.first.clear();
        self.first.resize(tables.groups(), 0);
        self.left_then.clone_from(&self.left);
        self.least_behind = Some(0);
        for place in self.chosen.len() + 1..tables.groups() {
            let first = self.first_from(tables, place, 0, None);
            self.first[place] = first.unwrap_or(0);
            let cost = first.map(|first| tables.costs[place][first]);
            self.least_behind = self.least_behind.zip(cost).map(|(sum, cost)| sum + cost);
        }
    }

    /// How many choices of the next group the budget covers, with the least of all behind it:
    /// cheaper ones come before dearer.
    pub fn affordable(&self, tables: &Tables) -> usize {
        let (Some(behind), Some(costs)) = (self.least_behind, tables.costs.get(self.depth()))
        else {
            return 0;
        };
        let most = tables.budget - self.cost - behind;
        costs.partition_point(|cost| *cost <= most)
    }

    /// The bound with one choice more; `None` where that cannot be completed within the budget to
    /// what the bar admits.
    pub fn bound_with(&mut self, tables: &Tables, choice: usize, bar: Bar) -> Option<Bound> {
        let place = self.chosen.len();
        let is_open = self.domains[place][choice / 64] >> (choice % 64) & 1 == 1;
        if !is_open {
            return None;
        }
        let score = self.most_score(tables, place, choice);
        if !bar.admits_score(score) || !self.take(tables, place, choice) {
            return None;
        }
        let mut cost = self.cost + tables.costs[place][choice];
        for other in place + 1..tables.groups() {
            let row = tables.stands[place][other].as_ref();
            let row = row.map(|rows| rows[choice].as_slice());
            let first = self.first_from(tables, other, self.first[other], row)?;
            cost += tables.costs[other][first];
        }
        let bound = Bound { cost, score };
        (cost <= tables.budget && bar.admits(bound) && self.stands_jointly(tables, choice))
            .then_some(bound)
    }

    /// Takes a choice's share of every balance; false where one has not enough left.
    fn take(&mut self, tables: &Tables, place: usize, choice: usize) -> bool {
        self.left_then.copy_from_slice(&self.left);
        tables.shares[place].iter().all(|(balance, shares)| {
            let left = &mut self.left_then[*balance];
            *left -= shares[choice];
            *left >= 0
        })
    }

    fn most_score(&self, tables: &Tables, place: usize, choice: usize) -> i64 {
        let bounds = tables.bottlenecks.iter().zip(&self.lowest);
        bounds
            .map(|(one, lowest)| {
                let value = one.values[place][choice].min(*lowest);
                let value = value.min(one.best_from[place + 1]);
                one.weight * if value == FREE { 0 } else { value }
            })
            .sum()
    }

    /// The first choice of an open group, from one on, that stands with all that is chosen and with
    /// one choice more: its row, and what that leaves.
    fn first_from(
        &self,
        tables: &Tables,
        place: usize,
        from: usize,
        row: Option<&[u64]>,
    ) -> Option<usize> {
        let domain = &self.domains[place];
        let mut behind = u64::MAX << (from % 64);
        for word in from / 64..domain.len() {
            let mut bits = domain[word] & behind & row.map_or(u64::MAX, |row| row[word]);
            behind = u64::MAX;
            while bits != 0 {
                let candidate = 64 * word + bits.trailing_zeros() as usize;
                let mut shares = tables.shares[place].iter();
                if shares.all(|(balance, shares)| shares[candidate] <= self.left_then[*balance]) {
                    return Some(candidate);
                }
                bits &= bits - 1;
            }
        }
        None
    }

    /// Whether the joints that this choice completes let it stand.
    fn stands_jointly(&self, tables: &Tables, choice: usize) -> bool {
        let place = self.chosen.len();
        let chosen = |at: usize| match at == place {
            true => choice,
            false => self.chosen[at],
        };
        let mut joints = tables.joints[place].iter();
        joints.all(|joint| joint.admits(tables, chosen))
    }
}
