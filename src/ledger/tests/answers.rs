//! Answers, their journal, and the outbox.

use super::*;

#[test]
fn answer_journal_and_bulletins_stand_together_or_not_at_all() {
    let mut bench = Bench::new();
    bench.ledger.record_decision(&decision(1, "a")).unwrap();
    let broken = "CREATE TEMP TRIGGER t BEFORE INSERT ON outbox
                  BEGIN SELECT raise(ABORT, 'the disk is gone'); END";
    bench
        .ledger
        .read()
        .run(|connection| connection.execute_batch(broken))
        .unwrap();
    assert!(bench.ledger.record_decision(&decision(2, "b")).is_err());
    let drop_trigger = "DROP TRIGGER t";
    bench
        .ledger
        .read()
        .run(|connection| connection.execute_batch(drop_trigger))
        .unwrap();
    let answer = bench
        .ledger
        .read()
        .last_answer("media-room")
        .unwrap()
        .unwrap();
    assert_eq!(answer.fingerprint, "a");
    assert_eq!(bench.ledger.read().journal(10).unwrap().len(), 1);
    assert_eq!(bench.ledger.read().due(at(9), 10).unwrap().len(), 2);
    bench.ledger.record_decision(&decision(3, "b")).unwrap();
    assert_eq!(bench.ledger.read().due(at(9), 10).unwrap().len(), 4);
    let journal = bench.ledger.read().journal(10).unwrap();
    assert_eq!(
        journal[0].entry,
        decision(3, "b").journal[0],
        "the newest first"
    );
}

#[test]
fn an_answer_that_says_the_same_extends_the_one_before() {
    let mut bench = Bench::new();
    assert_eq!(bench.ledger.read().last_answer("media-room").unwrap(), None);
    for minute in [1, 2, 5] {
        bench
            .ledger
            .record_decision(&decision(minute, "a"))
            .unwrap();
    }
    let answer = bench
        .ledger
        .read()
        .last_answer("media-room")
        .unwrap()
        .unwrap();
    assert_eq!((answer.since, answer.until), (at(1), at(5)));
    assert_eq!(answer.answer_json, decision(5, "a").answer_json);
    assert_eq!(bench.count("answer"), 1);
    assert_eq!(
        bench.count("outbox"),
        2,
        "the same bulletin is not queued again"
    );
    bench.ledger.record_decision(&decision(0, "b")).unwrap();
    let answer = bench
        .ledger
        .read()
        .last_answer("media-room")
        .unwrap()
        .unwrap();
    assert_eq!((answer.fingerprint.as_str(), answer.since), ("b", at(5)));
}

#[test]
fn a_delivery_is_due_until_it_is_sent_or_given_up() {
    let mut bench = Bench::new();
    bench.ledger.record_decision(&decision(1, "a")).unwrap();
    let id = bulletin("a").id;
    let due = bench.ledger.read().due(at(1), 10).unwrap();
    assert_eq!((due.len(), &due[0].bulletin), (2, &bulletin("a")));
    bench.ledger.mark_sent(&id, "desk", at(1)).unwrap();
    bench
        .ledger
        .mark_failed(&id, "phone", at(1), "answered 503", at(3))
        .unwrap();
    bench
        .ledger
        .mark_failed(&id, "desk", at(1), "too late", at(3))
        .unwrap();
    assert_eq!(bench.ledger.read().due(at(2), 10).unwrap(), []);
    assert_eq!(bench.ledger.read().next_due().unwrap(), Some(at(3)));
    let due = bench.ledger.read().due(at(3), 10).unwrap();
    assert_eq!(
        (due.len(), due[0].channel.as_str(), due[0].attempts),
        (1, "phone", 1)
    );
    assert_eq!(
        bench.ledger.read().due(at(0), 10).unwrap().len(),
        1,
        "the clock was set back"
    );
    bench.ledger.postpone(&id, "phone", at(3), at(4)).unwrap();
    assert_eq!(bench.ledger.read().due(at(3), 10).unwrap(), []);
    bench
        .ledger
        .mark_dead(&id, "phone", at(4), "answered 404")
        .unwrap();
    assert_eq!(bench.ledger.read().next_due().unwrap(), None);
    let dead = listed(&bench, DeliveryState::Dead);
    assert_eq!((dead.len(), dead[0].attempts, dead[0].next), (1, 2, None));
    assert_eq!(dead[0].fault.as_deref(), Some("answered 404"));
    let sent = listed(&bench, DeliveryState::Sent);
    let ids = [dead[0].id, sent[0].id];
    let retried = bench.ledger.retry_deliveries(&ids, at(5), &[]).unwrap();
    assert_eq!(retried, 1, "what was sent is not sent again");
    assert_eq!(bench.ledger.read().due(at(5), 10).unwrap().len(), 1);
}

#[test]
fn a_later_bulletin_does_not_overtake_one_that_is_tried_again_on_the_same_channel() {
    let mut bench = Bench::new();
    for (minute, answer) in [(1, "a"), (2, "b")] {
        bench
            .ledger
            .record_decision(&decision(minute, answer))
            .unwrap();
    }
    let first = bulletin("a").id;
    bench
        .ledger
        .mark_failed(&first, "phone", at(2), "answered 503", at(9))
        .unwrap();
    let due = |bench: &Bench, minute| -> Vec<(String, BulletinId)> {
        let due = bench.ledger.read().due(at(minute), 10).unwrap();
        due.into_iter()
            .map(|one| (one.channel, one.bulletin.id))
            .collect()
    };
    let on = |channel: &str, answer| (channel.to_owned(), bulletin(answer).id);
    let mut desk_alone = due(&bench, 3);
    desk_alone.sort();
    let mut expected = vec![on("desk", "a"), on("desk", "b")];
    expected.sort();
    assert_eq!(desk_alone, expected);
    let phone: Vec<_> = due(&bench, 9)
        .into_iter()
        .filter(|(channel, _)| channel == "phone")
        .collect();
    assert_eq!(phone, [on("phone", "a"), on("phone", "b")]);
}

fn listed(bench: &Bench, state: DeliveryState) -> Vec<Delivery> {
    bench.ledger.read().deliveries(&[state], 10).unwrap()
}

#[test]
fn a_dropped_delivery_is_kept_is_never_due_and_can_be_taken_up_again() {
    let mut bench = Bench::new();
    bench.ledger.record_decision(&decision(1, "a")).unwrap();
    let waiting = listed(&bench, DeliveryState::Waiting);
    assert_eq!((waiting.len(), waiting[0].next), (2, Some(at(1))));
    let id = waiting[0].id;
    assert!(bench.ledger.drop_delivery(id, at(2), &[]).unwrap());
    assert!(!bench.ledger.drop_delivery(id, at(2), &[]).unwrap());
    assert_eq!(bench.ledger.read().due(at(9), 10).unwrap().len(), 1);
    let counts = bench.ledger.read().delivery_counts().unwrap();
    assert_eq!((counts.waiting, counts.dropped, counts.dead), (1, 1, 0));
    assert_eq!(counts.oldest_waiting, Some(at(1)));
    assert!(bench.ledger.read().verify().unwrap().holds());
    assert_eq!(bench.ledger.retry_deliveries(&[id], at(3), &[]).unwrap(), 1);
    assert_eq!(
        bench.ledger.read().delivery(id).unwrap().unwrap().next,
        Some(at(3))
    );
    assert_eq!(bench.ledger.read().due(at(9), 10).unwrap().len(), 2);
}

#[test]
fn a_disabled_channel_is_remembered_with_its_address_until_it_is_tried_again() {
    let mut bench = Bench::new();
    bench
        .ledger
        .disable_channel("phone", "x", at(1), "answered 410")
        .unwrap();
    let disabled = |bench: &Bench, address| bench.ledger.read().disabled("phone", address).unwrap();
    assert_eq!(disabled(&bench, "x").as_deref(), Some("answered 410"));
    assert_eq!(disabled(&bench, "y"), None, "it has another address now");
    bench.ledger.record_decision(&decision(1, "a")).unwrap();
    let waiting = listed(&bench, DeliveryState::Waiting);
    let phone = waiting.iter().find(|one| one.channel == "phone").unwrap();
    let ids = [phone.id];
    bench.ledger.retry_deliveries(&ids, at(2), &[]).unwrap();
    assert_eq!(disabled(&bench, "x"), None);
}
