//! Whether the ledger holds together: the file, its references, and what the program relies on.

use super::columns::{Terms, terms_columns};
use super::editions;
use super::ended::{self, Ended, GoesOn};
use super::error::LedgerError;
use super::marks;
use super::open::Reader;
use crate::market::{Availability, Condition};
use rusqlite::{Connection, OptionalExtension as _};

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verdict {
    /// A stable word for it.
    pub name: &'static str,
    /// What must be so, as a sentence.
    pub must: &'static str,
    /// How often it is not so.
    pub faults: u64,
    /// The first few places where it is not.
    pub examples: Vec<String>,
}

/// What was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verified {
    pub schema: i64,
    pub verdicts: Vec<Verdict>,
}

/// Places that are named of each fault.
const EXAMPLES_MAX: usize = 5;

/// A rule over rows: its word, its sentence, and a query for what breaks it, one text a row.
struct Check(&'static str, &'static str, &'static str);

const CHECKS: &[Check] = &[
    Check(
        "intervals_apart",
        "the intervals of one offer do not overlap, and only its newest stands",
        "SELECT 'offer ' || offer_id || ' at ' || from_ms FROM (
             SELECT offer_id, from_ms,
                    lag(coalesce(until_ms, 9223372036854775807))
                        OVER (PARTITION BY offer_id ORDER BY from_ms) AS before
             FROM interval)
         WHERE before >= from_ms",
    ),
    Check(
        "intervals_forward",
        "no interval ends before it begins",
        "SELECT 'offer ' || offer_id || ' at ' || from_ms FROM interval
         WHERE until_ms < from_ms OR known_ms < from_ms OR gone_ms < until_ms",
    ),
    Check(
        "ended_closed",
        "what has ended says when it was last seen",
        "SELECT 'offer ' || offer_id || ' at ' || from_ms FROM observation WHERE until_ms IS NULL",
    ),
    Check(
        "present_priced",
        "every offer that its feed lists stands with a price",
        "SELECT 'offer ' || id FROM offer o WHERE present = 1 AND NOT EXISTS (
             SELECT 1 FROM standing b WHERE b.offer_id = o.id)",
    ),
    Check(
        "gone_closed",
        "no offer that was given up stands with a price",
        "SELECT 'offer ' || o.id FROM offer o JOIN standing b ON b.offer_id = o.id
         WHERE o.gone_since_ms IS NOT NULL",
    ),
    Check(
        "seen_in_order",
        "no offer was first seen after it was last seen",
        "SELECT 'offer ' || id FROM offer WHERE first_seen_ms > last_seen_ms",
    ),
    Check(
        "matching_current",
        "every offer is taken for what its newest match says",
        "SELECT 'offer ' || o.id FROM offer o WHERE o.part IS NOT
             (SELECT m.part FROM matching m WHERE m.offer_id = o.id
              ORDER BY m.since_ms DESC LIMIT 1)",
    ),
    Check(
        "gaps_within",
        "every gap begins at a sighting within an interval of its offer",
        "SELECT 'offer ' || g.offer_id || ' at ' || g.seen_ms FROM gap g WHERE NOT EXISTS (
             SELECT 1 FROM interval b WHERE b.offer_id = g.offer_id
                 AND b.from_ms <= g.seen_ms AND coalesce(b.until_ms, g.seen_ms) >= g.seen_ms)",
    ),
    Check(
        "polls_counted",
        "no poll is newer than its feed says",
        "SELECT 'feed ' || f.name FROM feed f WHERE f.last_poll_ms IS NOT
             (SELECT max(at_ms) FROM poll p WHERE p.feed_id = f.id)",
    ),
    Check(
        "offers_counted",
        "as many offers of each feed stand as it says",
        "SELECT 'feed ' || f.name FROM feed f WHERE f.offers_standing <>
             (SELECT count(*) FROM offer o WHERE o.feed_id = f.id AND o.gone_since_ms IS NULL)",
    ),
    Check(
        "held_waiting",
        "nothing is held that was seen before its offer was given up",
        "SELECT 'offer ' || h.offer_id FROM held h JOIN offer o ON o.id = h.offer_id
         WHERE h.first_seen_ms <= o.gone_since_ms",
    ),
    Check(
        "answers_in_order",
        "the answers to one brief follow each other in time",
        "SELECT 'answer ' || id FROM (
             SELECT id, since_ms, lag(until_ms) OVER (PARTITION BY brief ORDER BY id) AS before
             FROM answer)
         WHERE before > since_ms",
    ),
    Check(
        "bulletins_addressed",
        "every bulletin has a channel that delivers it, did, or gave it up",
        "SELECT 'bulletin ' || b.id FROM bulletin b
         WHERE NOT EXISTS (SELECT 1 FROM outbox o WHERE o.bulletin_id = b.id)",
    ),
    Check(
        "json_reads",
        "what is kept as JSON is JSON",
        "SELECT 'offer ' || id FROM offer WHERE NOT json_valid(notes)
             OR (properties IS NOT NULL AND NOT json_valid(properties))
         UNION ALL SELECT 'poll ' || id FROM poll WHERE NOT json_valid(notes)
         UNION ALL SELECT 'answer ' || id FROM answer WHERE NOT json_valid(answer_json)
         UNION ALL SELECT 'journal ' || id FROM journal WHERE NOT json_valid(data)
         UNION ALL SELECT 'bulletin ' || id FROM bulletin WHERE NOT json_valid(data)
         UNION ALL SELECT 'edition ' || id FROM edition WHERE NOT json_valid(document)
         UNION ALL SELECT 'decision on ' || sku FROM offer_decision WHERE NOT json_valid(parts)",
    ),
    Check(
        "currencies_read",
        "every amount has a currency of three capital letters",
        "SELECT 'offer ' || offer_id || ' at ' || from_ms FROM interval
         WHERE currency NOT GLOB '[A-Z][A-Z][A-Z]'
             OR list_currency NOT GLOB '[A-Z][A-Z][A-Z]'
             OR shipping_currency NOT GLOB '[A-Z][A-Z][A-Z]'",
    ),
];

impl Verdict {
    fn new(name: &'static str, must: &'static str) -> Verdict {
        Verdict {
            name,
            must,
            faults: 0,
            examples: Vec::new(),
        }
    }

    /// Counts a fault, and names it while few are.
    fn add(&mut self, example: impl FnOnce() -> String) {
        self.faults += 1;
        if self.examples.len() < EXAMPLES_MAX {
            self.examples.push(example());
        }
    }

    pub fn holds(&self) -> bool {
        self.faults == 0
    }

    /// What is wrong, or that nothing is.
    pub fn sentence(&self) -> String {
        let Verdict {
            must,
            faults,
            examples,
            ..
        } = self;
        match faults {
            0 => (*must).to_owned(),
            1 => format!("it is not so that {must}: {}", examples.join(", ")),
            _ => format!(
                "{faults} times it is not so that {must}: {}{}",
                examples.join(", "),
                if *faults > EXAMPLES_MAX as u64 {
                    ", ..."
                } else {
                    ""
                }
            ),
        }
    }
}

impl Verified {
    pub fn holds(&self) -> bool {
        self.failed().next().is_none()
    }

    pub fn failed(&self) -> impl Iterator<Item = &Verdict> {
        self.verdicts.iter().filter(|verdict| !verdict.holds())
    }
}

impl Reader {
    /// Looks at the whole ledger, in one snapshot.
    ///
    /// # Errors
    /// [`LedgerError`] when it cannot even be read.
    pub fn verify(&self) -> Result<Verified, LedgerError> {
        self.run(|connection| {
            let snapshot = connection.unchecked_transaction()?;
            let version = "SELECT max(version) FROM schema_version";
            let schema = snapshot.query_row(version, [], |row| row.get(0))?;
            let mut verdicts = vec![
                look(
                    &snapshot,
                    "file_sound",
                    "every page and index of the file is sound",
                    "SELECT integrity_check FROM pragma_integrity_check
                     WHERE integrity_check <> 'ok'",
                )?,
                look(
                    &snapshot,
                    "references_resolve",
                    "every row refers to rows that are there",
                    "SELECT \"table\" || ' row ' || coalesce(rowid, '?') || ' without its '
                         || parent FROM pragma_foreign_key_check",
                )?,
            ];
            for Check(name, must, query) in CHECKS {
                verdicts.push(look(&snapshot, name, must, query)?);
            }
            let (name, must) = (
                "words_known",
                "every availability and condition has a known name",
            );
            verdicts.push(look(&snapshot, name, must, &unknown_words())?);
            verdicts.push(packed_is_so(&snapshot)?);
            verdicts.push(marks_stand(&snapshot)?);
            let mut altered = editions::altered(&snapshot)?;
            verdicts.push(Verdict {
                name: "editions_unaltered",
                must: "every edition has the bytes that it was published with",
                faults: altered.len() as u64,
                examples: altered.drain(..altered.len().min(EXAMPLES_MAX)).collect(),
            });
            Ok(Verified { schema, verdicts })
        })
    }
}

/// A query for states that this program does not know.
fn unknown_words() -> String {
    let listed = |names: &mut dyn Iterator<Item = &'static str>| {
        names
            .map(|name| format!("'{name}'"))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let availabilities = listed(&mut Availability::NAMES.iter().map(|(name, _)| *name));
    let conditions = listed(&mut Condition::NAMES.iter().map(|(name, _)| *name));
    format!(
        "SELECT 'offer ' || offer_id || ': ' || availability FROM interval
         WHERE availability NOT IN ({availabilities})
         UNION ALL SELECT 'offer ' || id || ': ' || condition FROM offer
         WHERE condition NOT IN ({conditions})"
    )
}

/// What is packed to be read quickly repeats intervals, and these ended when it says.
fn packed_is_so(connection: &Connection) -> rusqlite::Result<Verdict> {
    let mut interval = connection.prepare(concat!(
        "SELECT until_ms, known_ms,
             (SELECT from_ms FROM interval n
              WHERE n.offer_id = b.offer_id AND n.from_ms > b.from_ms
              ORDER BY n.from_ms LIMIT 1), ",
        terms_columns!(),
        " FROM observation b WHERE offer_id = ?1 AND from_ms = ?2"
    ))?;
    let mut is_so = |ended: &Ended, at_ms: i64| {
        let found = interval.query_row((ended.offer.0, ended.from_ms), |row| {
            let repeated = Ended {
                until_ms: row.get(0)?,
                known_ms: row.get(1)?,
                terms: Terms::read(row, 3)?,
                ..*ended
            };
            let next_ms: Option<i64> = row.get(2)?;
            Ok(repeated == *ended && next_ms == Some(at_ms))
        });
        match found.optional() {
            Err(fault @ rusqlite::Error::SqliteFailure(..)) => Err(fault),
            // An interval that is not there, or holds what nobody wrote, is not what is packed.
            found => Ok(found.is_ok_and(|found| found == Some(true))),
        }
    };
    let must = "what is packed of ended terms repeats their intervals";
    let mut verdict = Verdict::new("ended_packed", must);
    let mut looked = Ok(());
    let read = ended::read_after(connection, i64::MIN, &mut |at_ms, block| {
        for one in &block {
            match is_so(one, at_ms) {
                Ok(true) => {}
                Ok(false) => verdict.add(|| format!("offer {} at {}", one.offer.0, one.from_ms)),
                Err(fault) => {
                    looked = Err(fault);
                    return GoesOn::No;
                }
            }
        }
        GoesOn::Yes
    });
    match read {
        Err(rusqlite::Error::FromSqlConversionFailure(..)) => {
            verdict.add(|| "a block that cannot be read".to_owned());
        }
        read => read.and(looked)?,
    }
    Ok(verdict)
}

/// Records are known again only of offers that their feed lists, as they are taken now.
fn marks_stand(connection: &Connection) -> rusqlite::Result<Verdict> {
    let must = "only records that their feed lists are known again by a mark";
    let mut verdict = Verdict::new("marks_standing", must);
    let mut offer = connection.prepare(
        "SELECT 1 FROM offer
         WHERE id = ?1 AND feed_id = ?2 AND present = 1 AND (part IS NOT NULL) = ?3",
    )?;
    let mut feeds = connection.prepare("SELECT id, name FROM feed ORDER BY id")?;
    let mut feeds = feeds.query([])?;
    while let Some(feed) = feeds.next()? {
        let (row, name): (i64, String) = (feed.get(0)?, feed.get(1)?);
        let Some((marks, _)) = marks::read(connection, row)? else {
            verdict.add(|| format!("a block of {name} that cannot be read"));
            continue;
        };
        for (_, known) in marks.iter() {
            if !offer.exists((known.row.0, row, known.is_part))? {
                verdict.add(|| format!("offer {}", known.row.0));
            }
        }
    }
    Ok(verdict)
}

fn look(
    connection: &Connection,
    name: &'static str,
    must: &'static str,
    query: &str,
) -> rusqlite::Result<Verdict> {
    let mut statement = connection.prepare(query)?;
    let mut rows = statement.query([])?;
    let mut verdict = Verdict::new(name, must);
    while let Some(row) = rows.next()? {
        let example = row.get(0)?;
        verdict.add(|| example);
    }
    Ok(verdict)
}
