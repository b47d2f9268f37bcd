//! What may be let go of a day that is long past: prices that came and went within it.
//!
//! A price counts for the time until the next one begins. Of a run of intervals that begin and end
//! within one day and differ in nothing but the price, at most three are left: the lowest price,
//! for as long as any price below the day's median held; the median, for as long as it held; the
//! highest, for as long as any above it held. So the day's low, its high and its median over time
//! stay what they were. The order and the instants within the run do not.

use super::columns::Terms;

/// Holes between two sightings that are longer are left as they are: nobody may have looked.
const HOLE_MS_MAX: i64 = 3_600_000;
/// Fewer intervals than this are no use to thin.
const RUN_LEAST: usize = 4;
pub(super) const DAY_MS: i64 = 86_400_000;

/// An interval of an offer, ended or open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Piece {
    pub from_ms: i64,
    pub until_ms: i64,
    pub terms: Terms,
    /// Nothing is said of it but its terms: it was believed when seen, seen by every poll, and did
    /// not end with the offer.
    pub is_plain: bool,
    /// It was believed later than it was seen, so that what came before it was believed until then.
    pub is_late: bool,
}

/// Intervals to be taken out, all those that begin from one instant up to another, and what comes
/// into their place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Thinned {
    pub from_ms: i64,
    pub before_ms: i64,
    pub pieces: Vec<Piece>,
}

/// Thins the days of one offer that end at `before_ms` or earlier. `pieces` are all intervals of
/// the offer, in order.
pub(super) fn thin(pieces: &[Piece], before_ms: i64) -> Vec<Thinned> {
    let day = |at_ms: i64| at_ms.div_euclid(DAY_MS);
    let last_day = day(before_ms);
    let mut thinned = Vec::new();
    let mut begin = 0;
    while begin < pieces.len() {
        let today = day(pieces[begin].from_ms);
        let same_day = |piece: &&Piece| day(piece.from_ms) == today;
        let n_today = pieces[begin..].iter().take_while(same_day).count();
        if today < last_day && n_today >= RUN_LEAST {
            let steps = steps_of_day(pieces, begin, n_today, today);
            if let Some(median) = median(&steps) {
                // The last of the day goes on into the next one, or ends the offer.
                let within = begin..begin + n_today - 1;
                thinned.extend(runs(pieces, within).filter_map(|run| shorten(pieces, run, median)));
            }
        }
        begin += n_today;
    }
    thinned
}

/// Price and time of everything that held within a day, the one carried into it included.
fn steps_of_day(pieces: &[Piece], begin: usize, n_today: usize, today: i64) -> Vec<(i64, i64)> {
    let (starts, ends) = (today * DAY_MS, (today + 1) * DAY_MS);
    let first = begin.saturating_sub(1);
    let steps = (first..begin + n_today).map(|at| {
        let piece = &pieces[at];
        let until = pieces
            .get(at + 1)
            .map_or(piece.until_ms, |next| next.from_ms);
        let held = until.min(ends) - piece.from_ms.max(starts);
        (piece.terms.price.minor(), held)
    });
    steps.filter(|(_, held)| *held > 0).collect()
}

/// The lowest price such that at least half of the time had it or a lower one.
pub(super) fn median(steps: &[(i64, i64)]) -> Option<i64> {
    let mut sorted = steps.to_vec();
    sorted.sort_unstable();
    let total: i64 = sorted.iter().map(|(_, held)| held).sum();
    let mut until_here = 0;
    let found = sorted.iter().find(|(_, held)| {
        until_here += held;
        2 * until_here >= total
    });
    found.map(|(minor, _)| *minor)
}

/// Runs that differ in their prices alone and have no hole.
fn runs(
    pieces: &[Piece],
    within: std::ops::Range<usize>,
) -> impl Iterator<Item = std::ops::Range<usize>> {
    let mut runs: Vec<std::ops::Range<usize>> = Vec::new();
    for at in within {
        let piece = &pieces[at];
        // `within` leaves out the last, so there is a next one.
        let next = &pieces[at + 1];
        let hole = next.from_ms - piece.until_ms;
        if !piece.is_plain || next.is_late || hole > HOLE_MS_MAX {
            continue;
        }
        match runs.last_mut() {
            Some(run) if run.end == at && same_but_price(&pieces[run.start], piece) => run.end += 1,
            _ => runs.push(at..at + 1),
        }
    }
    runs.into_iter().filter(|run| run.len() >= RUN_LEAST)
}

fn same_but_price(one: &Piece, other: &Piece) -> bool {
    let priced = Terms {
        price: one.terms.price,
        ..other.terms
    };
    priced == one.terms && one.terms.price.currency() == other.terms.price.currency()
}

fn shorten(pieces: &[Piece], run: std::ops::Range<usize>, median: i64) -> Option<Thinned> {
    let (from_ms, before_ms) = (pieces[run.start].from_ms, pieces[run.end].from_ms);
    let held = |at: usize| pieces[at + 1].from_ms - pieces[at].from_ms;
    let mut left = Vec::new();
    let mut begins = from_ms;
    let sides: [&dyn Fn(i64) -> bool; 3] = [
        &|minor| minor < median,
        &|minor| minor == median,
        &|minor| minor > median,
    ];
    for (side, is_on_side) in sides.iter().enumerate() {
        let minor = |at: &usize| pieces[*at].terms.price.minor();
        let on_side = || run.clone().filter(|at| is_on_side(minor(at)));
        let lasts: i64 = on_side().map(held).sum();
        let shown = match side {
            0 => on_side().min_by_key(minor),
            _ => on_side().max_by_key(minor),
        };
        if let Some(shown) = shown.filter(|_| lasts > 0) {
            left.push(Piece {
                from_ms: begins,
                until_ms: begins + lasts - 1,
                ..pieces[shown]
            });
            begins += lasts;
        }
    }
    (left.len() < run.len()).then_some(Thinned {
        from_ms,
        before_ms,
        pieces: left,
    })
}
