//! Faults in a ledger, and the checks that find them.

use super::copies::{full, silent};
use super::*;

/// What breaks what a check holds: its name, and the statements.
const FAULTS: &[(&str, &str)] = &[
    (
        "intervals_apart",
        "UPDATE observation SET until_ms = 600000 WHERE offer_id = 1",
    ),
    (
        "intervals_apart",
        "INSERT INTO standing SELECT offer_id, from_ms, known_ms, price_minor, currency, availability, NULL,
             NULL, NULL, NULL, 1, 1, NULL, NULL FROM observation WHERE gone_ms IS NOT NULL",
    ),
    (
        "ended_closed",
        "UPDATE observation SET until_ms = NULL, gone_ms = NULL WHERE offer_id = 1",
    ),
    (
        "intervals_forward",
        "PRAGMA ignore_check_constraints = 1; UPDATE observation SET until_ms = from_ms - 1",
    ),
    ("ended_packed", "UPDATE ended SET at_ms = at_ms + 1"),
    ("ended_packed", "UPDATE ended SET terms = x'ff'"),
    (
        "ended_packed",
        "UPDATE observation SET price_minor = price_minor + 1",
    ),
    (
        "present_priced",
        "DELETE FROM standing WHERE offer_id = (SELECT id FROM offer WHERE present = 1)",
    ),
    (
        "gone_closed",
        "UPDATE offer SET gone_since_ms = 1, present = 0 WHERE id = 1",
    ),
    (
        "seen_in_order",
        "UPDATE offer SET first_seen_ms = last_seen_ms + 1 WHERE id = 1",
    ),
    (
        "matching_current",
        "UPDATE offer SET part = 'other' WHERE id = 1",
    ),
    ("gaps_within", "UPDATE OR IGNORE gap SET seen_ms = -1"),
    ("polls_counted", "UPDATE feed SET last_poll_ms = 1"),
    ("offers_counted", "UPDATE feed SET offers_standing = 0"),
    (
        "held_waiting",
        "UPDATE offer SET gone_since_ms = (SELECT last_seen_ms FROM held WHERE offer_id = offer.id), present = 0
         WHERE id IN (SELECT offer_id FROM held)",
    ),
    (
        "marks_standing",
        "INSERT INTO marks SELECT NULL, feed_id, x'0201000102030405060708090a0b0c0d0e0f' FROM offer
         WHERE id = 1 AND part IS NOT NULL",
    ),
    ("marks_standing", "INSERT INTO marks SELECT NULL, id, x'ff' FROM feed"),
    (
        "answers_in_order",
        "UPDATE answer SET until_ms = 9000000 WHERE id = 1",
    ),
    ("bulletins_addressed", "DELETE FROM outbox"),
    ("json_reads", "UPDATE journal SET data = '{'"),
    (
        "currencies_read",
        "UPDATE observation SET currency = 'euro' WHERE offer_id = 1",
    ),
    (
        "words_known",
        "UPDATE observation SET availability = 'plenty' WHERE offer_id = 1",
    ),
    (
        "editions_unaltered",
        "UPDATE edition_form SET content = content || ' '",
    ),
    (
        "references_resolve",
        "PRAGMA foreign_keys = 0; DELETE FROM bulletin",
    ),
    (
        "file_sound",
        "PRAGMA writable_schema = 1; UPDATE sqlite_schema SET sql = replace(sql, 'state = ''waiting''', 'state = ''sent''') WHERE name = 'outbox_waiting'",
    ),
];

#[test]
fn a_sound_ledger_verifies_and_each_fault_is_found_by_its_check() {
    let bench = full();
    let sound = bench.ledger.read().verify().unwrap();
    assert!(sound.holds(), "{:?}", sound.failed().collect::<Vec<_>>());
    let mut never = sound
        .verdicts
        .iter()
        .map(|one| one.name)
        .collect::<Vec<_>>();
    for (number, (name, sql)) in FAULTS.iter().enumerate() {
        let copy = bench.folder.path().join(format!("{number}.db"));
        bench.ledger.read().backup(&copy, &mut silent()).unwrap();
        let connection = rusqlite::Connection::open(&copy).unwrap();
        connection
            .execute_batch(sql)
            .unwrap_or_else(|error| panic!("{name}: {error}"));
        drop(connection);
        let verified = Reader::open(&copy).unwrap().verify().unwrap();
        let failed: Vec<&str> = verified.failed().map(|verdict| verdict.name).collect();
        assert!(failed.contains(name), "{name}: {failed:?}");
        let verdict = verified.failed().find(|one| one.name == *name).unwrap();
        assert!(
            verdict.sentence().contains("it is not so that"),
            "{}",
            verdict.sentence()
        );
        never.retain(|one| one != name);
    }
    assert_eq!(never, Vec::<&str>::new(), "checks that nothing here breaks");
}
