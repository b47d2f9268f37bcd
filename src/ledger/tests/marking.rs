//! Marks: which offers have one, and what takes it away.

use super::*;
use proptest::prelude::*;
use std::collections::BTreeMap;

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
    writer.unwrap().take_marks().get(mark)
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

/// Polls these offers, each with the mark that it has now, if any.
fn poll_marked(bench: &mut Bench, minute: i64, listed: &[(usize, Option<Mark>)]) {
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(minute))
        .unwrap();
    let marks = writer.take_marks();
    for (number, mark) in listed {
        let known = mark.and_then(|mark| marks.get(mark));
        if known.is_some_and(|known| writer.confirm(known.row)) {
            continue;
        }
        let offer = offer(&format!("q-{number}"), 100);
        let standing = writer.admit(&offer, None, *mark).unwrap();
        writer.observe(&standing, &offer, None).unwrap();
    }
    writer
        .commit(&PollRecord::default(), SnapshotIs::Complete)
        .unwrap();
}

/// All marks that are known, in order.
fn all_known(bench: &mut Bench, minute: i64) -> Vec<Mark> {
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(minute))
        .unwrap();
    let mut marks: Vec<Mark> = writer.take_marks().iter().map(|(mark, _)| mark).collect();
    marks.sort_unstable();
    marks
}

fn numbered(number: u64) -> Mark {
    let mut bytes = [0; 16];
    bytes[..8].copy_from_slice(&number.to_le_bytes());
    Mark(bytes)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 32, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_newest_word_of_each_listed_offer_counts_whatever_polls_said_before(
        polls in proptest::collection::vec(
            proptest::collection::vec((0_usize..9, proptest::option::of(0_u64..4)), 0..9),
            1..20,
        ),
    ) {
        let mut bench = Bench::new();
        for (minute, said) in (0_i64..).zip(&polls) {
            // The first record of an offer counts; marks of two offers differ, as their SKUs do.
            let mut listed: BTreeMap<usize, Option<Mark>> = BTreeMap::new();
            for (number, version) in said {
                let mark = version.map(|version| numbered(10 * *number as u64 + version));
                listed.entry(*number).or_insert(mark);
            }
            let listed: Vec<(usize, Option<Mark>)> = listed.into_iter().collect();
            poll_marked(&mut bench, minute, &listed);
            let mut expected: Vec<Mark> = listed.iter().filter_map(|(_, mark)| *mark).collect();
            expected.sort_unstable();
            prop_assert_eq!(all_known(&mut bench, 900), expected);
        }
        prop_assert!(bench.ledger.read().verify().unwrap().holds());
    }
}

#[test]
fn words_that_count_no_more_are_let_go() {
    let mut bench = Bench::new();
    let mut versions = [0_u64; 5];
    for minute in 0..300 {
        versions[minute as usize % 5] += 1;
        let listed: Vec<(usize, Option<Mark>)> = (0_usize..)
            .zip(versions)
            .map(|(number, version)| (number, Some(numbered(1_000 * number as u64 + version))))
            .collect();
        poll_marked(&mut bench, minute, &listed);
        assert_eq!(all_known(&mut bench, 900).len(), 5);
        assert!(bench.count("marks") <= 65, "{minute}");
    }
    assert!(bench.ledger.read().verify().unwrap().holds());
}

#[test]
fn a_poll_of_many_offers_says_them_in_several_blocks() {
    let mut bench = Bench::new();
    let listed: Vec<(usize, Option<Mark>)> = (0..2_500)
        .map(|number| (number, Some(numbered(number as u64))))
        .collect();
    poll_marked(&mut bench, 0, &listed);
    assert_eq!(bench.count("marks"), 3);
    assert_eq!(all_known(&mut bench, 900).len(), 2_500);
}

#[test]
fn marks_that_cannot_be_read_are_let_go_and_their_records_read_again() {
    // No number, a word that nobody says, an offer that is not there, and half a mark.
    for packed in ["ff", "0205", "feff0300", "020100"] {
        let mut bench = Bench::new();
        let listed = [(1, Some(numbered(1))), (2, Some(numbered(2)))];
        poll_marked(&mut bench, 0, &listed);
        let write = |connection: &rusqlite::Connection| {
            connection.execute(&format!("UPDATE marks SET packed = x'{packed}'"), [])
        };
        bench.ledger.read().run(write).unwrap();
        let verified = bench.ledger.read().verify().unwrap();
        let failed: Vec<&str> = verified.failed().map(|verdict| verdict.name).collect();
        assert_eq!(failed, ["marks_standing"], "{packed}");
        assert_eq!(all_known(&mut bench, 900), []);
        poll_marked(&mut bench, 1, &listed);
        assert_eq!(all_known(&mut bench, 900), [numbered(1), numbered(2)]);
        assert!(bench.ledger.read().verify().unwrap().holds(), "{packed}");
    }
}
