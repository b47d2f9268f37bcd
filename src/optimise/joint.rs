//! Limits over several groups at once that pairs and sums cannot say: which choices may stand
//! together, as a table over classes of alike choices.
//!
//! The solver is not given the whole table. What it suggests is looked up; a refused set comes
//! back as a [`Cut`], made as wide as the table allows, so that few of them settle the matter.

/// Which choices of some groups may stand together.
///
/// Invariants: `groups` rise; `classes` has one entry per choice of each of them, below that
/// group's `sizes`; `fits` has one entry per combination of classes, the last group's class
/// turning fastest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Joint {
    /// The rule that it comes from.
    pub name: String,
    pub groups: Vec<usize>,
    /// Choices of one class are all alike to the rule.
    pub classes: Vec<Vec<usize>>,
    /// How many classes each group has.
    pub sizes: Vec<usize>,
    pub fits: Vec<bool>,
}

/// At least one of these groups takes a choice outside its set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cut {
    /// Rising groups, each with a mark per choice.
    pub sets: Vec<(usize, Vec<bool>)>,
}

impl Joint {
    /// Everything but a marked choice in each of these groups at once, the groups rising.
    pub fn excluding(set: &[(usize, Vec<bool>)]) -> Joint {
        let classes = set.iter().map(|(_, marks)| {
            let marks = marks.iter();
            marks.map(|is_marked| usize::from(*is_marked)).collect()
        });
        // Class 1 is what is marked; the last combination is all of them together.
        let mut fits = vec![true; 1 << set.len()];
        if let Some(last) = fits.last_mut() {
            *last = false;
        }
        Joint {
            name: "not this one again".to_owned(),
            groups: set.iter().map(|(group, _)| *group).collect(),
            classes: classes.collect(),
            sizes: vec![2; set.len()],
            fits,
        }
    }

    /// True when the table lets the selection stand.
    pub fn admits(&self, selection: &[usize]) -> bool {
        self.fits[self.index(self.classes_of(selection).into_iter())]
    }

    /// The same of the choices of its own groups alone, in their order.
    pub fn admits_positions(&self, positions: impl Iterator<Item = usize>) -> bool {
        let classes = self.classes.iter().zip(positions);
        let classes = classes.map(|(classes, position)| classes[position]);
        self.fits[self.index(classes)]
    }

    fn classes_of(&self, selection: &[usize]) -> Vec<usize> {
        let groups = self.groups.iter().zip(&self.classes);
        groups
            .map(|(group, classes)| classes[selection[*group]])
            .collect()
    }

    fn index(&self, classes: impl Iterator<Item = usize>) -> usize {
        let sizes = self.sizes.iter().zip(classes);
        sizes.fold(0, |index, (size, class)| index * size + class)
    }

    /// Keeps only the marked choices of each group; the table stays.
    pub fn restricted(&self, keep: &[Vec<bool>]) -> Joint {
        let classes = self.groups.iter().zip(&self.classes);
        let classes = classes.map(|(group, classes)| {
            let kept = classes.iter().zip(&keep[*group]);
            kept.filter(|(_, keep)| **keep)
                .map(|(class, _)| *class)
                .collect()
        });
        Joint {
            classes: classes.collect(),
            ..self.clone()
        }
    }

    /// Refuses as much around a refused selection as the table refuses throughout.
    pub fn cut(&self, selection: &[usize]) -> Cut {
        let mut sets: Vec<Vec<usize>> = self
            .classes_of(selection)
            .into_iter()
            .map(|class| vec![class])
            .collect();
        for at in 0..sets.len() {
            let mut trial = sets.clone();
            for class in 0..self.sizes[at] {
                trial[at] = vec![class];
                let is_refused = !self.any_fits(&trial);
                if is_refused && !sets[at].contains(&class) {
                    sets[at].push(class);
                }
            }
        }
        let marked = self.groups.iter().zip(&self.classes).zip(&sets);
        Cut {
            sets: marked
                .map(|((group, classes), set)| {
                    let marks = classes.iter().map(|class| set.contains(class));
                    (*group, marks.collect())
                })
                .collect(),
        }
    }

    /// True when any combination of these classes, one of each group, may stand.
    pub fn any_fits(&self, sets: &[Vec<usize>]) -> bool {
        combinations(sets).any(|classes| self.fits[self.index(classes.iter().copied())])
    }

    /// Marks the classes of each group that stand with something of these sets; `None` when there
    /// are more than `most` combinations to look at.
    pub fn supported(&self, sets: &[Vec<usize>], most: usize) -> Option<Vec<Vec<bool>>> {
        let n_combinations = sets
            .iter()
            .try_fold(1_usize, |product, set| product.checked_mul(set.len()));
        if n_combinations.is_none_or(|n| n > most) {
            return None;
        }
        let mut supported: Vec<Vec<bool>> =
            self.sizes.iter().map(|size| vec![false; *size]).collect();
        for classes in
            combinations(sets).filter(|classes| self.fits[self.index(classes.iter().copied())])
        {
            let marks = supported.iter_mut().zip(&classes);
            marks.for_each(|(marks, class)| marks[*class] = true);
        }
        Some(supported)
    }

    /// For the group at `at`, whether each class stands with everything that another stands with:
    /// `covers[one][other]`.
    pub fn covers(&self, at: usize) -> Vec<Vec<bool>> {
        let size = self.sizes[at];
        let inner: usize = self.sizes[at + 1..].iter().product();
        // Of every block, one class has the run that the groups behind it turn through.
        let covers = |one: usize, other: usize| {
            let mut blocks = self.fits.chunks((size * inner).max(1));
            blocks.all(|block| {
                let run = |class: usize| block[class * inner..(class + 1) * inner].iter();
                run(one).zip(run(other)).all(|(one, other)| *one || !*other)
            })
        };
        (0..size)
            .map(|one| (0..size).map(|other| covers(one, other)).collect())
            .collect()
    }
}

impl Cut {
    /// The same cut for the choices of each group that are kept, by their old positions.
    pub fn within(&self, kept: &[Vec<usize>]) -> Cut {
        let sets = self.sets.iter().map(|(group, marks)| {
            let kept = kept[*group].iter();
            (*group, kept.map(|position| marks[*position]).collect())
        });
        Cut {
            sets: sets.collect(),
        }
    }
}

/// Every way to take one of each set, the last set turning fastest.
fn combinations(sets: &[Vec<usize>]) -> impl Iterator<Item = Vec<usize>> {
    let n_combinations: usize = sets.iter().map(Vec::len).product();
    (0..n_combinations).map(|mut number| {
        let mut combination: Vec<usize> = sets
            .iter()
            .rev()
            .map(|set| {
                let member = set[number % set.len()];
                number /= set.len();
                member
            })
            .collect();
        combination.reverse();
        combination
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three groups of three choices each; what stands together adds up to at most three.
    fn joint() -> Joint {
        let all = vec![vec![0, 1, 2]; 3];
        let fits = combinations(&all).map(|classes| classes.iter().sum::<usize>() <= 3);
        Joint {
            name: "sum".to_owned(),
            groups: vec![0, 2, 3],
            classes: all.clone(),
            sizes: vec![3; 3],
            fits: fits.collect(),
        }
    }

    #[test]
    fn a_cut_refuses_as_much_as_the_table_refuses_and_no_more() {
        let joint = joint();
        assert!(joint.admits(&[1, 0, 1, 1]) && !joint.admits(&[2, 0, 1, 1]));
        let cut = joint.cut(&[2, 0, 1, 1]);
        // Widening the first group finds nothing more (1 + 1 + 1 stands), the others do.
        assert_eq!(
            cut.sets,
            [
                (0, vec![false, false, true]),
                (2, vec![false, true, true]),
                (3, vec![false, true, true]),
            ]
        );
    }

    #[test]
    fn a_class_covers_those_that_stand_with_less() {
        let covers = joint().covers(1);
        assert_eq!(covers[0], [true, true, true]);
        assert_eq!(covers[2], [false, false, true]);
    }

    #[test]
    fn what_stands_with_nothing_kept_is_unsupported() {
        let sets = [vec![2], vec![0, 1, 2], vec![1]];
        let supported = joint().supported(&sets, 9).unwrap();
        assert_eq!(supported[1], [true, false, false]);
        assert_eq!(joint().supported(&sets, 2), None);
    }
}
