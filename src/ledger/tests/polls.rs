//! What polls leave behind.

use super::*;

#[test]
fn an_offer_reads_back_as_it_was_seen() {
    let mut bench = Bench::new();
    let seen = offer("q-1", 19_990);
    assert_eq!(bench.poll(1, std::slice::from_ref(&seen)), [Effect::New]);
    let reader = Reader::open(&bench.path()).unwrap();
    let current = reader.current_offers().unwrap();
    assert_eq!(current.len(), 1);
    assert_eq!(current[0].offer, seen);
    assert_eq!(current[0].part, part("cpu-a"));
    assert_eq!(current[0].seen_at, at(1));
    assert_eq!(current[0].feed, feed());
    let listed = reader.listed_offers().unwrap();
    assert_eq!(listed.len(), 1);
    assert_eq!(
        (&listed[0].offer, &listed[0].part),
        (&seen, &Some(part("cpu-a")))
    );
}

#[test]
fn an_unchanged_price_is_one_row_however_often_it_is_seen() {
    // Pitfalls D13 and H01: 288 polls in a day, half of them answered "not modified", are one row and
    // the instant of the last.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 19_990)]);
    for minute in 1..288 {
        match minute % 2 {
            0 => bench.unchanged(minute),
            _ => assert_eq!(
                bench.poll(minute, &[offer("q-1", 19_990)]),
                [Effect::Unchanged]
            ),
        }
    }
    assert_eq!(bench.series(), [(0, 287, 19_990)]);
    assert_eq!(bench.count("interval"), 1);
    assert_eq!(bench.count("poll"), 288);
    assert_eq!(bench.current()[0].seen_at, at(287));
}

#[test]
fn every_term_that_moves_opens_an_interval_and_text_does_not() {
    let mut bench = Bench::new();
    let mut next = offer("q-1", 100);
    bench.poll(0, std::slice::from_ref(&next));
    let changes: [fn(&mut Offer); 13] = [
        |offer| offer.price = Money::from_minor(101, Currency::EUR),
        |offer| offer.price = Money::from_minor(101, Currency::parse("CHF").unwrap()),
        |offer| offer.availability = Availability::OutOfStock,
        |offer| offer.list_price = None,
        |offer| offer.shipping = Some(Money::from_minor(490, Currency::EUR)),
        |offer| offer.shipping = None,
        |offer| offer.tax_included = false,
        |offer| offer.minimum_quantity = 2,
        |offer| offer.lead_days = Some(0),
        |offer| offer.lead_days = Some(14),
        |offer| offer.available_from = Some(at(20_000)),
        |offer| offer.lead_days = None,
        |offer| offer.list_price = Some(Money::zero(Currency::EUR)),
    ];
    let mut minute = 0;
    for change in changes {
        minute += 1;
        change(&mut next);
        assert_eq!(
            bench.poll(minute, std::slice::from_ref(&next)),
            [Effect::Changed]
        );
        assert_eq!(bench.current()[0].offer, next);
    }
    let rows = bench.count("interval");
    next.title = "Quillon K7 boxed".to_owned();
    next.link = None;
    next.notes.clear();
    assert_eq!(
        bench.poll(100, std::slice::from_ref(&next)),
        [Effect::Unchanged]
    );
    assert_eq!(bench.current()[0].offer, next);
    assert_eq!(bench.count("interval"), rows);
}

#[test]
fn an_offer_missing_once_and_back_is_neither_gone_nor_new() {
    // Pitfall F39: a feed drops an offer for one poll and brings it back.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100), offer("q-2", 200)]);
    bench.poll(1, &[offer("q-2", 200)]);
    let current = bench.current();
    assert_eq!(current.len(), 2);
    assert_eq!(current[0].seen_at, at(0), "a missing offer ages");
    assert_eq!(current[1].seen_at, at(1));
    let effects = bench.poll(2, &[offer("q-1", 100), offer("q-2", 200)]);
    assert_eq!(effects, [Effect::Unchanged, Effect::Unchanged]);
    assert_eq!(bench.series(), [(0, 2, 100), (0, 2, 200)]);
}

#[test]
fn an_offer_missing_from_three_snapshots_is_gone_and_may_return() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100), offer("q-2", 200)]);
    bench.poll(1, &[offer("q-2", 200)]);
    bench.quiet(2, NoSnapshot::Failed);
    bench.quiet(3, NoSnapshot::Suspicious);
    bench.unchanged(4);
    assert_eq!(bench.current().len(), 2, "two snapshots lacked it so far");
    bench.poll(5, &[offer("q-2", 200)]);
    assert_eq!(bench.current().len(), 1);
    assert_eq!(bench.ledger.read().feed_states().unwrap()[0].offers, 1);
    let gone = &bench.ledger.read().series("cpu-a").unwrap()[0];
    assert_eq!((gone.until, gone.gone_since), (at(0), Some(at(5))));
    let then = |minute| bench.ledger.read().offers_then(at(minute));
    assert_eq!((then(4).len(), then(5).len()), (2, 1));
    assert_eq!(
        bench.poll(6, &[offer("q-1", 100), offer("q-2", 200)])[0],
        Effect::Returned
    );
    assert_eq!(bench.series(), [(0, 0, 100), (6, 6, 100), (0, 6, 200)]);
}

#[test]
fn a_partial_snapshot_removes_nothing_and_forgets_what_to_ask_for() {
    // Pitfall F35: a page of the feed failed.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100), offer("q-2", 200)]);
    for minute in 1..10 {
        bench.poll_as(
            minute,
            &[offer("q-2", 200 + minute % 2)],
            SnapshotIs::Partial,
        );
    }
    let current = bench.current();
    assert_eq!(current.len(), 2);
    assert_eq!((current[0].seen_at, current[1].seen_at), (at(0), at(9)));
    bench.poll(10, &[offer("q-1", 100), offer("q-2", 201)]);
    assert_eq!(bench.series()[0], (0, 10, 100));

    let remembered = Remembered {
        memory: Some("etag a".to_owned()),
        health: Some("good".to_owned()),
        refusals: Some("none".to_owned()),
    };
    let record = PollRecord {
        remembered: remembered.clone(),
        ..PollRecord::default()
    };
    let writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(11))
        .unwrap();
    writer.commit(&record, SnapshotIs::Complete).unwrap();
    assert_eq!(bench.ledger.read().remembered(&feed()).unwrap(), remembered);
    bench.quiet(12, NoSnapshot::Failed);
    bench.unchanged(13);
    assert_eq!(bench.ledger.read().remembered(&feed()).unwrap(), remembered);
    let writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(14))
        .unwrap();
    writer.commit(&record, SnapshotIs::Partial).unwrap();
    assert_eq!(
        bench.ledger.read().remembered(&feed()).unwrap(),
        Remembered {
            memory: None,
            ..remembered
        }
    );
}

#[test]
fn one_sku_of_two_sellers_is_two_offers_and_a_repeat_is_none() {
    let mut bench = Bench::new();
    let market = Offer {
        seller: Some("Basement Bits".to_owned()),
        ..offer("q-1", 90)
    };
    let used = Offer {
        condition: Condition::Used,
        ..offer("q-1", 50)
    };
    let effects = bench.poll(0, &[offer("q-1", 100), market, used, offer("q-1", 110)]);
    assert_eq!(
        effects,
        [Effect::New, Effect::New, Effect::New, Effect::Repeated]
    );
    let prices: Vec<i64> = bench
        .current()
        .iter()
        .map(|found| found.offer.price.minor())
        .collect();
    assert_eq!(prices, [100, 50, 90]);
}

#[test]
fn the_previous_price_is_there_for_the_caller_even_when_it_is_gone() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    bench.poll(1, &[offer("q-1", 110)]);
    let last_price = |bench: &mut Bench, minute, sku| {
        let poll = bench.ledger.begin_poll(&feed(), &retailer(), at(minute));
        let mut poll = poll.unwrap();
        let standing = poll.admit(&offer(sku, 1), None, None).unwrap();
        standing.last_price().map(|price| price.minor())
    };
    assert_eq!(last_price(&mut bench, 2, "q-9"), None);
    assert_eq!(last_price(&mut bench, 2, "q-1"), Some(110));
    for minute in 2..5 {
        bench.poll(minute, &[]);
    }
    assert_eq!(last_price(&mut bench, 5, "q-1"), Some(110));
}

#[test]
fn an_earlier_record_of_the_same_poll_is_compared_with() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100), offer("q-2", 100)]);
    let part = part("cpu-a");
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    let look_up = |writer: &mut PollWriter<'_>, offer: &Offer| {
        writer.admit(offer, Some(&part), None).unwrap()
    };
    let repeat = |same_link, same_price| {
        Some(crate::market::Repeat {
            same_link,
            same_price,
        })
    };
    assert_eq!(look_up(&mut writer, &offer("q-1", 100)).repeat(), None);
    writer.see(&offer("q-1", 90), Some(&part)).unwrap();
    let again = look_up(&mut writer, &offer("q-1", 90));
    assert_eq!(again.repeat(), repeat(true, true));
    let dearer = look_up(&mut writer, &offer("q-1", 100));
    assert_eq!(dearer.repeat(), repeat(true, false));
    let elsewhere = Offer {
        link: Some("https://elsewhere.example/".to_owned()),
        ..offer("q-1", 90)
    };
    let elsewhere = look_up(&mut writer, &elsewhere);
    assert_eq!(elsewhere.repeat(), repeat(false, true));
    // A held record counts by what it said, not by what is believed instead.
    let hundredth = offer("q-2", 1);
    let held = writer.doubt(&hundredth, Some(&part), Confirms::Polls);
    assert_eq!(held, Effect::Held);
    let again = look_up(&mut writer, &hundredth);
    assert_eq!(again.repeat(), repeat(true, true));
    let believed = look_up(&mut writer, &offer("q-2", 100));
    assert_eq!(believed.repeat(), repeat(true, false));
}

#[test]
fn a_clock_set_back_does_not_turn_stamps_back() {
    // Pitfall D04.
    let mut bench = Bench::new();
    bench.poll(60, &[offer("q-1", 100)]);
    bench.poll(0, &[offer("q-1", 110)]);
    bench.unchanged(-600);
    let intervals = bench.ledger.read().series("cpu-a").unwrap();
    let millis = |at: DateTime<Utc>| (at - self::at(60)).num_milliseconds();
    let spans: Vec<_> = intervals
        .iter()
        .map(|found| (millis(found.from), millis(found.until)))
        .collect();
    assert_eq!(spans, [(0, 0), (1, 2)]);
}

#[test]
fn of_polls_that_fail_alike_in_a_row_the_first_and_the_last_are_kept() {
    // Pitfall D13 for failures: a network that is gone is tried every minute.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let mut fail = |minute: i64, error: &str| {
        let failed = PollRecord {
            error: Some(error.to_owned()),
            ..PollRecord::default()
        };
        let ledger = &mut bench.ledger;
        ledger
            .record_poll(
                &feed(),
                &retailer(),
                at(minute),
                NoSnapshot::Failed,
                &failed,
            )
            .unwrap();
    };
    (1..=500).for_each(|minute| fail(minute, "the name does not resolve"));
    (501..=503).for_each(|minute| fail(minute, "the server answered 500"));
    fail(504, "the name does not resolve");
    bench.unchanged(505);
    let lines = bench.ledger.read().last_polls(&feed(), 1_000).unwrap();
    let mut kept: Vec<i64> = lines
        .iter()
        .map(|line| (line.at - at(0)).num_minutes())
        .collect();
    kept.reverse();
    assert_eq!(kept, [0, 1, 500, 501, 503, 504, 505]);
    let states = bench.ledger.read().feed_states().unwrap();
    assert_eq!(states[0].last_poll, Some(at(505)));
}

#[test]
fn polls_and_feed_states_tell_what_happened() {
    let mut bench = Bench::new();
    let record = PollRecord {
        records: 12,
        offers: 11,
        matched: 9,
        refused: 1,
        duration_ms: 15,
        notes: vec!["one row too short".to_owned()],
        ..PollRecord::default()
    };
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    writer.see(&offer("q-1", 100), None).unwrap();
    writer.commit(&record, SnapshotIs::Complete).unwrap();
    let failed = PollRecord {
        error: Some("the server answered 500".to_owned()),
        ..PollRecord::default()
    };
    let outcome = NoSnapshot::Failed;
    bench
        .ledger
        .record_poll(&feed(), &retailer(), at(2), outcome, &failed)
        .unwrap();
    let lines = bench.ledger.read().last_polls(&feed(), 5).unwrap();
    let expected = [
        PollLine {
            at: at(2),
            status: PollStatus::Failed,
            record: failed,
        },
        PollLine {
            at: at(1),
            status: PollStatus::Fresh(SnapshotIs::Complete),
            record,
        },
    ];
    assert_eq!(lines, expected);
    assert_eq!(bench.ledger.read().last_polls(&feed(), 1).unwrap().len(), 1);
    let states = bench.ledger.read().feed_states().unwrap();
    let one = |feed: &FeedId| bench.ledger.read().feed_state(feed).unwrap();
    assert_eq!(one(&feed()).as_ref(), states.first());
    assert_eq!(one(&FeedId::new("northlight/never-polled")), None);
    assert_eq!(states.len(), 1);
    assert_eq!(
        (states[0].last_poll, states[0].last_fresh),
        (Some(at(2)), Some(at(1)))
    );
    assert_eq!(
        (states[0].failures, states[0].offers, states[0].matched),
        (1, 1, 0)
    );
}

#[test]
fn the_past_does_not_count_an_older_copy_as_a_sighting() {
    // Pitfall H28: it says nothing of the price when it came.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    bench.quiet(1, NoSnapshot::OlderCopy);
    bench.poll(2, &[offer("q-1", 100)]);
    let seen_at = |minute| {
        let then = bench.ledger.read().offers_then(at(minute));
        then[0].seen_at
    };
    assert_eq!([seen_at(0), seen_at(1), seen_at(2)], [at(0), at(0), at(2)]);
}
