//! Which choices stand together, two places at a time, as bits.

use crate::optimise::joint::Joint;
use crate::optimise::problem::Problem;

/// Marks of a group's choices, cheapest first.
pub(super) type Bits = Vec<u64>;

/// By two places: for each choice of the first, marks of those of the second that it stands with;
/// none where everything stands.
pub(super) type Stands = Vec<Vec<Option<Vec<Bits>>>>;

/// Cells of a joint's table that are looked at to see which pairs can never stand.
const MOST_PROJECTED: usize = 200_000;

/// Marks of all of so many choices.
pub(super) fn all(width: usize) -> Bits {
    let mut bits = vec![u64::MAX; width.div_ceil(64)];
    if !width.is_multiple_of(64)
        && let Some(last) = bits.last_mut()
    {
        *last = (1 << (width % 64)) - 1;
    }
    bits
}

/// What the pairings let stand, and the joints whatever else is chosen. `groups` are the problem's
/// numbers and the positions of their choices, by place.
pub(super) fn stands(problem: &Problem, groups: &[(usize, Vec<usize>)]) -> Stands {
    let mut stands: Stands = vec![vec![None; groups.len()]; groups.len()];
    for pairing in &problem.pairings {
        let [left, right] = &pairing.classes;
        let sides = [(pairing.left, left.as_slice()), (pairing.right, right)];
        forbid(&mut stands, groups, sides, &pairing.fits);
    }
    for joint in &problem.joints {
        for left in 0..joint.groups.len() {
            for right in left + 1..joint.groups.len() {
                let side = |at: usize| (joint.groups[at], joint.classes[at].as_slice());
                if let Some(fits) = projected(joint, left, right) {
                    forbid(&mut stands, groups, [side(left), side(right)], &fits);
                }
            }
        }
    }
    stands
}

/// A group's number and its choices' classes.
type Side<'p> = (usize, &'p [usize]);

/// Takes away what a table over two groups' classes refuses, seen from either side.
fn forbid(
    stands: &mut Stands,
    groups: &[(usize, Vec<usize>)],
    [left, right]: [Side<'_>; 2],
    fits: &[Vec<bool>],
) {
    let place_of = |side: Side<'_>| groups.iter().position(|(one, _)| *one == side.0);
    let (Some(one), Some(other)) = (place_of(left), place_of(right)) else {
        return;
    };
    let fits_turned = |right: usize, left: usize| fits[left][right];
    let fits = |left: usize, right: usize| fits[left][right];
    let [one, other] = [one, other].map(|place| (place, groups[place].1.as_slice()));
    forbid_from(stands, (one, left.1), (other, right.1), &fits);
    forbid_from(stands, (other, right.1), (one, left.1), &fits_turned);
}

/// A place with its choices' positions, and the classes by position.
type Seen<'p> = ((usize, &'p [usize]), &'p [usize]);

fn forbid_from(
    stands: &mut Stands,
    ((from, positions), classes): Seen<'_>,
    ((to, partners), partner_classes): Seen<'_>,
    fits: &dyn Fn(usize, usize) -> bool,
) {
    let everything = all(partners.len());
    let rows = stands[from][to].get_or_insert_with(|| vec![everything; positions.len()]);
    // Choices of one class share their marks, so that each class is looked up once.
    let n_classes = classes.iter().max().map_or(0, |class| class + 1);
    let mut marks: Vec<Option<Bits>> = vec![None; n_classes];
    for (row, position) in rows.iter_mut().zip(positions) {
        let class = classes[*position];
        let marks = marks[class].get_or_insert_with(|| {
            let mut bits = vec![0; partners.len().div_ceil(64)];
            for (bit, partner) in partners.iter().enumerate() {
                let stands = fits(class, partner_classes[*partner]);
                bits[bit / 64] |= u64::from(stands) << (bit % 64);
            }
            bits
        });
        row.iter_mut()
            .zip(marks)
            .for_each(|(row, marks)| *row &= *marks);
    }
}

/// Whether two classes of a joint ever stand together; `None` where the table is too large to look.
fn projected(joint: &Joint, left: usize, right: usize) -> Option<Vec<Vec<bool>>> {
    if joint.fits.len() > MOST_PROJECTED {
        return None;
    }
    // How many cells a class of a group turns through before the next class.
    let stride = |at: usize| joint.sizes[at + 1..].iter().product::<usize>();
    let (rows, columns) = (stride(left), stride(right));
    let mut pairs = vec![vec![false; joint.sizes[right]]; joint.sizes[left]];
    for (cell, fits) in joint.fits.iter().enumerate() {
        let row = cell / rows % joint.sizes[left];
        let column = cell / columns % joint.sizes[right];
        pairs[row][column] |= fits;
    }
    Some(pairs)
}
