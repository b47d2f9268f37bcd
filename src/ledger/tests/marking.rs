//! Marks: which offers have one, and what takes it away.

use super::*;

const MARK: Mark = Mark([7; 16]);

fn poll(bench: &mut Bench, minute: i64, offer: &Offer, mark: Option<Mark>) -> Effect {
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(minute))
        .unwrap();
    let part = part("cpu-a");
    let standing = writer.admit(offer, Some(&part), mark).unwrap();
    let effect = writer.observe(&standing, offer, Some(&part)).unwrap();
    writer
        .commit(&PollRecord::default(), SnapshotIs::Complete)
        .unwrap();
    effect
}

fn known(bench: &mut Bench, mark: Mark) -> Option<KnownRecord> {
    let writer = bench.ledger.begin_poll(&feed(), &retailer(), at(99));
    writer.unwrap().marks().unwrap().get(mark)
}

#[test]
fn an_offer_is_known_by_the_mark_of_its_newest_record() {
    let mut bench = Bench::new();
    assert_eq!(known(&mut bench, MARK), None);
    poll(&mut bench, 0, &offer("q-1", 100), Some(MARK));
    let first = known(&mut bench, MARK).unwrap();
    assert!(first.is_part);
    let other = Mark([8; 16]);
    assert_eq!(
        poll(&mut bench, 1, &offer("q-1", 90), Some(other)),
        Effect::Changed
    );
    assert_eq!(known(&mut bench, MARK), None);
    assert_eq!(known(&mut bench, other), Some(first));
    assert_eq!(
        poll(&mut bench, 2, &offer("q-1", 90), None),
        Effect::Unchanged
    );
    assert_eq!(known(&mut bench, other), None);
}

#[test]
fn a_confirmed_offer_is_seen_and_counts_once_in_a_snapshot() {
    let mut bench = Bench::new();
    poll(&mut bench, 0, &offer("q-1", 100), Some(MARK));
    let row = known(&mut bench, MARK).unwrap().row;
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    assert!(writer.confirm(row));
    assert!(!writer.confirm(row));
    let standing = writer.admit(&offer("q-1", 100), None, None).unwrap();
    assert!(standing.repeat().is_some());
    let committed = writer
        .commit(&PollRecord::default(), SnapshotIs::Complete)
        .unwrap();
    assert_eq!((committed.missing, committed.gone), (0, 0));
    assert_eq!(bench.series(), [(0, 1, 100)]);
    assert!(known(&mut bench, MARK).is_some());
}

#[test]
fn an_offer_that_is_held_missing_or_taken_for_another_part_has_no_mark() {
    let marked = || {
        let mut bench = Bench::new();
        poll(&mut bench, 0, &offer("q-1", 100), Some(MARK));
        bench
    };
    let mut held = marked();
    held.hold(1, &offer("q-1", 2));
    assert_eq!(known(&mut held, MARK), None);

    let mut missing = marked();
    missing.poll(1, &[offer("q-2", 100)]);
    assert_eq!(known(&mut missing, MARK), None);

    let mut other_part = marked();
    let row = known(&mut other_part, MARK).unwrap().row;
    let take = |connection: &rusqlite::Connection| {
        matching::take_for(connection, &[(row, Some(part("cpu-b")))], at(1))
    };
    other_part.ledger.read().run(take).unwrap();
    assert_eq!(known(&mut other_part, MARK), None);
}
