//! Limits over two groups: which choices may stand together, as a table over classes of alike ones.
//!
//! Thousands of choices fall into few classes (a socket, a length), so that the table stays small
//! however many parts a catalogue has. May not know what a class means.

use std::collections::BTreeMap;

/// Which choices of two groups may stand together.
///
/// Invariants: `classes` has one entry per choice of `left` and of `right`; `fits` has a row per
/// class of `left` and in it a column per class of `right`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pairing {
    pub left: usize,
    pub right: usize,
    /// Choices of one class stand with the same partners.
    pub classes: [Vec<usize>; 2],
    pub fits: Vec<Vec<bool>>,
}

impl Pairing {
    /// Two groups whose choices are told apart one by one: a row per choice of the first, a column
    /// per choice of the second. Neither may be empty.
    pub fn of_choices([left, right]: [usize; 2], fits: Vec<Vec<bool>>) -> Pairing {
        let width = fits.first().map_or(0, Vec::len);
        let classes = [(0..fits.len()).collect(), (0..width).collect()];
        let pairing = Pairing {
            left,
            right,
            classes,
            fits,
        };
        pairing.tightened()
    }

    /// True when a choice of the left group stands with one of the right.
    pub fn admits(&self, left: usize, right: usize) -> bool {
        self.fits[self.classes[0][left]][self.classes[1][right]]
    }

    /// Keeps only the marked choices of each group; the table stays.
    pub fn restricted(&self, keep: &[Vec<bool>]) -> Pairing {
        let kept = |classes: &[usize], group: usize| -> Vec<usize> {
            let marked = classes.iter().zip(&keep[group]);
            marked
                .filter(|(_, keep)| **keep)
                .map(|(class, _)| *class)
                .collect()
        };
        let [left, right] = &self.classes;
        Pairing {
            classes: [kept(left, self.left), kept(right, self.right)],
            ..self.clone()
        }
    }

    /// What this pairing and another of the same two groups both let stand.
    pub fn and(&self, other: &Pairing) -> Pairing {
        let [left, right] = [0, 1].map(|side| together(&self.classes[side], &other.classes[side]));
        let row = |one: &[usize; 2]| -> Vec<bool> {
            let columns = right.1.iter();
            let both = columns.map(|two| self.fits[one[0]][two[0]] && other.fits[one[1]][two[1]]);
            both.collect()
        };
        let fits = left.1.iter().map(row).collect();
        let pairing = Pairing {
            left: self.left,
            right: self.right,
            classes: [left.0, right.0],
            fits,
        };
        pairing.tightened()
    }

    /// The same with classes that have the same partners made one.
    pub fn tightened(self) -> Pairing {
        let (rows, fits) = merged(&self.fits);
        let (columns, turned) = merged(&transposed(&fits));
        let renamed = |classes: &[usize], names: &[usize]| -> Vec<usize> {
            classes.iter().map(|class| names[*class]).collect()
        };
        let [left, right] = &self.classes;
        Pairing {
            classes: match columns.is_empty() {
                // Nothing on one side: the other's classes stand as they are.
                true => [renamed(left, &rows), right.clone()],
                false => [renamed(left, &rows), renamed(right, &columns)],
            },
            fits: match columns.is_empty() {
                true => fits,
                false => transposed(&turned),
            },
            ..self
        }
    }
}

/// Each choice's class where it must be alike in two ways, and what each new class is made of.
fn together(one: &[usize], other: &[usize]) -> (Vec<usize>, Vec<[usize; 2]>) {
    let mut known: BTreeMap<[usize; 2], usize> = BTreeMap::new();
    let mut pairs = Vec::new();
    let class = |(one, other): (&usize, &usize)| {
        let next = known.len();
        *known.entry([*one, *other]).or_insert_with(|| {
            pairs.push([*one, *other]);
            next
        })
    };
    let classes = one.iter().zip(other).map(class).collect();
    (classes, pairs)
}

/// For each row its number among the different ones, and those.
fn merged(rows: &[Vec<bool>]) -> (Vec<usize>, Vec<Vec<bool>>) {
    let mut known: BTreeMap<&Vec<bool>, usize> = BTreeMap::new();
    let mut different = Vec::new();
    let number = |row| {
        let next = known.len();
        *known.entry(row).or_insert_with(|| {
            different.push(row.clone());
            next
        })
    };
    let numbers = rows.iter().map(number).collect();
    (numbers, different)
}

fn transposed(rows: &[Vec<bool>]) -> Vec<Vec<bool>> {
    let width = rows.first().map_or(0, Vec::len);
    (0..width)
        .map(|column| rows.iter().map(|row| row[column]).collect())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(rows: &[&str]) -> Pairing {
        let fits = rows
            .iter()
            .map(|row| row.bytes().map(|mark| mark == b'1').collect());
        Pairing::of_choices([0, 1], fits.collect())
    }

    fn rows(pairing: &Pairing) -> Vec<String> {
        let [left, right] = &pairing.classes;
        let row = |one: usize| -> String {
            let marks = (0..right.len()).map(|other| pairing.admits(one, other));
            marks.map(|fits| if fits { '1' } else { '0' }).collect()
        };
        (0..left.len()).map(row).collect()
    }

    #[test]
    fn choices_with_the_same_partners_are_one_class() {
        let pairing = of(&["1100", "1100", "0011"]);
        assert_eq!(rows(&pairing), ["1100", "1100", "0011"]);
        assert_eq!(pairing.fits, [[true, false], [false, true]]);
    }

    #[test]
    fn two_pairings_together_admit_what_both_admit() {
        let both = of(&["110", "011"]).and(&of(&["011", "111"]));
        assert_eq!(rows(&both), ["010", "011"]);
    }

    #[test]
    fn a_choice_that_is_left_out_takes_no_partner_from_another() {
        let keep = [vec![true, false, true], vec![false, true, true]];
        let pairing = of(&["110", "001", "011"]).restricted(&keep);
        assert_eq!(rows(&pairing), ["10", "11"]);
    }

    #[test]
    fn a_group_without_choices_pairs_with_nothing() {
        let none = Pairing {
            left: 0,
            right: 1,
            classes: [Vec::new(), vec![0, 0]],
            fits: Vec::new(),
        };
        assert_eq!(none.clone().tightened(), none);
    }
}
