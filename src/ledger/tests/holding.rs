//! Observations that are held, confirmed and dropped.

use super::*;

#[test]
fn a_held_price_waits_and_three_polls_that_agree_confirm_it() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 20_000)]);
    assert_eq!(bench.hold(1, &offer("q-1", 200)), Effect::Held);
    bench.unchanged(2);
    assert_eq!(bench.hold(3, &offer("q-1", 200)), Effect::HeldStill);
    let held = bench.ledger.read().list_held().unwrap();
    assert_eq!((held.len(), held[0].times), (1, 2));
    assert_eq!(held[0].price.minor(), 200);
    assert_eq!(
        held[0].current_price,
        Some(Money::from_minor(20_000, Currency::EUR))
    );
    let current = bench.current();
    assert_eq!(current[0].offer.price.minor(), 20_000);
    assert_eq!(
        current[0].seen_at,
        at(0),
        "the old price was not seen again"
    );

    assert_eq!(bench.hold(4, &offer("q-1", 200)), Effect::Changed);
    assert_eq!(bench.ledger.read().list_held().unwrap(), []);
    assert_eq!(bench.series(), [(0, 0, 20_000), (1, 4, 200)]);
    let then = |minute| {
        let offers = bench.ledger.read().offers_then(at(minute));
        offers[0].offer.price.minor()
    };
    assert_eq!((then(3), then(4)), (20_000, 200), "it was not known before");
}

#[test]
fn another_held_price_starts_over_and_a_plausible_one_clears_it() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 20_000)]);
    bench.hold(1, &offer("q-1", 200));
    bench.hold(2, &offer("q-1", 200));
    bench.hold(3, &offer("q-1", 300));
    assert_eq!(bench.ledger.read().list_held().unwrap()[0].times, 1);
    assert_eq!(bench.poll(4, &[offer("q-1", 20_000)]), [Effect::Unchanged]);
    assert_eq!(bench.ledger.read().list_held().unwrap(), []);
    assert_eq!(bench.series(), [(0, 4, 20_000)]);
}

#[test]
fn a_person_confirms_or_drops_what_is_held() {
    let mut bench = Bench::new();
    assert_eq!(bench.hold(1, &offer("q-1", 200)), Effect::Held);
    assert_eq!(
        bench.current(),
        [],
        "held from the start, so never believed"
    );
    let id = bench.ledger.read().list_held().unwrap()[0].id;
    assert!(bench.ledger.confirm_held(id, at(2)).unwrap());
    assert!(!bench.ledger.confirm_held(id, at(2)).unwrap());
    bench.unchanged(3);
    assert_eq!(bench.series(), [(1, 3, 200)]);

    bench.hold(4, &offer("q-1", 2));
    let id = bench.ledger.read().list_held().unwrap()[0].id;
    assert!(bench.ledger.drop_held(id).unwrap());
    assert!(!bench.ledger.drop_held(id).unwrap());
    for minute in 5..10 {
        assert_eq!(bench.hold(minute, &offer("q-1", 2)), Effect::HeldStill);
    }
    assert_eq!(bench.ledger.read().list_held().unwrap(), []);
    assert_eq!(bench.current()[0].offer.price.minor(), 200);
    assert_eq!(bench.hold(10, &offer("q-1", 3)), Effect::Held);
    assert_eq!(
        bench.ledger.read().list_held().unwrap().len(),
        1,
        "another price is asked anew"
    );
}

#[test]
fn what_a_person_must_confirm_is_not_confirmed_by_repetition() {
    // Pitfall F24: two fields of the record disagree, poll after poll.
    let mut bench = Bench::new();
    for minute in 0..9 {
        let mut writer = bench
            .ledger
            .begin_poll(&feed(), &retailer(), at(minute))
            .unwrap();
        let torn = offer("q-1", 200);
        let effect = writer.doubt(&torn, None, Confirms::Person);
        let expected = match minute {
            0 => Effect::Held,
            _ => Effect::HeldStill,
        };
        assert_eq!(effect, expected);
        writer
            .commit(&PollRecord::default(), SnapshotIs::Complete)
            .unwrap();
    }
    assert_eq!(bench.ledger.read().list_held().unwrap().len(), 1);
    assert_eq!(bench.ledger.read().listed_offers().unwrap(), []);
}

#[test]
fn what_is_held_of_an_offer_that_was_given_up_hides_no_offer_that_is_missing() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100), offer("q-2", 200)]);
    for minute in 1..4 {
        bench.poll(minute, &[offer("q-2", 200)]);
    }
    // As many are listed as stand, but not the same.
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(4))
        .unwrap();
    let effect = writer.doubt(&offer("q-1", 2), Some(&part("cpu-a")), Confirms::Polls);
    assert_eq!(effect, Effect::Held);
    let committed = writer
        .commit(&PollRecord::default(), SnapshotIs::Complete)
        .unwrap();
    assert_eq!((committed.missing, committed.gone), (1, 0));
}
