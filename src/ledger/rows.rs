//! Reads and writes of single offers and their intervals, inside a caller's transaction.

use super::columns::{TERMS_WIDTH, Terms, is_integer, is_text, millis, terms_columns, texts_json};
use super::matching::{OfferRow, PartMatch};
use crate::catalogue::Gtin;
use crate::market::Offer;
use rusqlite::{Connection, OptionalExtension, Row, params};

/// What the ledger knows of an offer that a poll lists again.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known {
    pub row: OfferRow,
    pub is_present: bool,
    pub is_missing: bool,
    pub is_gone: bool,
    /// When it was last seen before this poll.
    pub seen_until_ms: i64,
    pub is_held: bool,
    pub has_same_text: bool,
    pub has_same_match: bool,
    /// Whether its open interval, if it has one, has the same terms.
    pub open_is_same: Option<bool>,
}

/// One interval to be opened.
#[derive(Debug, Clone, Copy)]
pub(super) struct Opening {
    pub row: OfferRow,
    pub from_ms: i64,
    pub known_ms: Option<i64>,
    pub terms: Terms,
}

const FIND: &str = concat!(
    "SELECT o.id, o.present, o.missing_polls > 0, o.gone_since_ms IS NOT NULL,
            max(o.last_seen_ms, iif(o.present, coalesce(f.seen_until_ms, 0), 0)), h.id IS NOT NULL,
            o.title, o.brand, o.gtins, o.mpn, o.link, o.valid_until_ms, o.notes,
            o.part, o.matched_by, o.confidence_percent, b.from_ms, ",
    "b.price_minor, b.currency, b.availability, b.list_minor, b.list_currency, b.shipping_minor,
     b.shipping_currency, b.tax_included, b.minimum_quantity
     FROM offer o JOIN feed f ON f.id = o.feed_id
     LEFT JOIN observation b ON b.offer_id = o.id AND b.until_ms IS NULL
     LEFT JOIN held h ON h.offer_id = o.id
     WHERE o.feed_id = ?1 AND o.sku = ?2 AND o.seller = ?3 AND o.condition = ?4"
);
const FIND_TEXT: usize = 6;
const FIND_MATCH: usize = 13;
const FIND_OPEN: usize = 16;
const FIND_TERMS: usize = 17;

/// True when the feed never brought an offer.
pub(super) fn has_no_offers(connection: &Connection, feed: i64) -> rusqlite::Result<bool> {
    let select = "SELECT NOT EXISTS (SELECT 1 FROM offer WHERE feed_id = ?1)";
    connection
        .prepare_cached(select)?
        .query_row([feed], |row| row.get(0))
}

/// The offer's row as the last poll left it.
pub(super) fn find(
    connection: &Connection,
    feed: i64,
    offer: &Offer,
    part: Option<&PartMatch>,
) -> rusqlite::Result<Option<Known>> {
    let gtins = gtins_text(&offer.gtins);
    let terms = Terms::of(offer);
    let mut statement = connection.prepare_cached(FIND)?;
    statement
        .query_row(identity(feed, offer), |row| {
            let open: Option<i64> = row.get(FIND_OPEN)?;
            let open_is_same = open.map(|_| terms.stand_in(row, FIND_TERMS)).transpose()?;
            Ok(Known {
                row: OfferRow(row.get(0)?),
                is_present: row.get(1)?,
                is_missing: row.get(2)?,
                is_gone: row.get(3)?,
                seen_until_ms: row.get(4)?,
                is_held: row.get(5)?,
                has_same_text: has_same_text(row, offer, &gtins)?,
                has_same_match: has_same_match(row, part)?,
                open_is_same,
            })
        })
        .optional()
}

/// What tells one offer of a feed from another.
pub(super) fn identity(feed: i64, offer: &Offer) -> (i64, &str, &str, &'static str) {
    let seller = offer.seller.as_deref().unwrap_or("");
    (feed, offer.sku.as_str(), seller, offer.condition.name())
}

/// Whether a new offer's current terms stand in the snapshot that brought it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Arrives {
    Believed,
    Held,
}

/// Adds the offer without an interval and returns its row.
pub(super) fn insert_offer(
    connection: &Connection,
    feed: i64,
    offer: &Offer,
    part: Option<&PartMatch>,
    at_ms: i64,
    arrives: Arrives,
) -> rusqlite::Result<OfferRow> {
    let (feed, sku, seller, condition) = identity(feed, offer);
    let mut statement = connection.prepare_cached(
        "INSERT INTO offer (feed_id, sku, seller, condition, title, brand, gtins, mpn, link,
             valid_until_ms, notes, first_seen_ms, last_seen_ms, present,
             part, matched_by, confidence_percent)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?12, ?13, ?14, ?15, ?16)",
    )?;
    statement.execute(params![
        feed,
        sku,
        seller,
        condition,
        offer.title,
        offer.brand,
        gtins_text(&offer.gtins),
        offer.mpn,
        offer.link,
        offer.valid_until.map(millis),
        texts_json(&offer.notes),
        at_ms,
        arrives == Arrives::Believed,
        part.map(|part| part.part.as_str()),
        part.map(|part| part.by.as_str()),
        part.map(|part| part.confidence_percent),
    ])?;
    let row = OfferRow(connection.last_insert_rowid());
    if part.is_some() {
        insert_match(connection, row, part, at_ms)?;
    }
    Ok(row)
}

pub(super) fn update_text(
    connection: &Connection,
    row: OfferRow,
    offer: &Offer,
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "UPDATE offer SET title = ?2, brand = ?3, gtins = ?4, mpn = ?5, link = ?6,
             valid_until_ms = ?7, notes = ?8 WHERE id = ?1",
    )?;
    statement.execute(params![
        row.0,
        offer.title,
        offer.brand,
        gtins_text(&offer.gtins),
        offer.mpn,
        offer.link,
        offer.valid_until.map(millis),
        texts_json(&offer.notes),
    ])?;
    Ok(())
}

/// Takes the offer for another part, or for none, from `at_ms` on.
pub(super) fn update_match(
    connection: &Connection,
    row: OfferRow,
    part: Option<&PartMatch>,
    at_ms: i64,
) -> rusqlite::Result<()> {
    let id = part.map(|part| part.part.as_str());
    let by = part.map(|part| part.by.as_str());
    let confidence = part.map(|part| part.confidence_percent);
    let mut offer = connection.prepare_cached(
        "UPDATE offer SET part = ?2, matched_by = ?3, confidence_percent = ?4 WHERE id = ?1",
    )?;
    offer.execute(params![row.0, id, by, confidence])?;
    insert_match(connection, row, part, at_ms)
}

/// Remembers that the offer is taken for a part, or for none, from `at_ms` on.
fn insert_match(
    connection: &Connection,
    row: OfferRow,
    part: Option<&PartMatch>,
    at_ms: i64,
) -> rusqlite::Result<()> {
    let id = part.map(|part| part.part.as_str());
    let by = part.map(|part| part.by.as_str());
    let confidence = part.map(|part| part.confidence_percent);
    // Two decisions at one instant are one: the later stands.
    let mut matching = connection.prepare_cached(
        "INSERT OR REPLACE INTO matching
             (offer_id, part, matched_by, confidence_percent, since_ms)
         VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    matching.execute(params![row.0, id, by, confidence, at_ms])?;
    Ok(())
}

/// Says that the newest snapshot lists the offer with its current terms.
pub(super) fn mark_present(
    connection: &Connection,
    row: OfferRow,
    at_ms: i64,
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "UPDATE offer SET present = 1, missing_polls = 0, gone_since_ms = NULL, last_seen_ms = ?2
         WHERE id = ?1",
    )?;
    statement.execute((row.0, at_ms))?;
    Ok(())
}

/// Says that the offer's current terms were last seen at `seen_until_ms`, and that it has since
/// been missing from so many snapshots.
pub(super) fn mark_absent(
    connection: &Connection,
    row: OfferRow,
    seen_until_ms: i64,
    missing_polls: u32,
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "UPDATE offer SET present = 0, missing_polls = ?3, last_seen_ms = ?2 WHERE id = ?1",
    )?;
    statement.execute((row.0, seen_until_ms, missing_polls))?;
    Ok(())
}

/// Gives the offer up: its interval ends where it was last seen.
pub(super) fn mark_gone(
    connection: &Connection,
    row: OfferRow,
    at_ms: i64,
) -> rusqlite::Result<()> {
    let mut interval = connection.prepare_cached(
        "UPDATE observation SET gone_ms = ?2,
             until_ms = (SELECT last_seen_ms FROM offer WHERE id = ?1)
         WHERE offer_id = ?1 AND until_ms IS NULL",
    )?;
    interval.execute((row.0, at_ms))?;
    let mut held = connection.prepare_cached("DELETE FROM held WHERE offer_id = ?1")?;
    held.execute([row.0])?;
    let mut offer =
        connection.prepare_cached("UPDATE offer SET gone_since_ms = ?2 WHERE id = ?1")?;
    offer.execute((row.0, at_ms))?;
    Ok(())
}

pub(super) fn close_interval(
    connection: &Connection,
    row: OfferRow,
    until_ms: i64,
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "UPDATE observation SET until_ms = ?2 WHERE offer_id = ?1 AND until_ms IS NULL",
    )?;
    statement.execute((row.0, until_ms))?;
    Ok(())
}

pub(super) fn open_interval(connection: &Connection, opening: &Opening) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(concat!(
        "INSERT INTO observation (offer_id, from_ms, known_ms, ",
        terms_columns!(),
        ") VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)"
    ))?;
    const { assert!(3 + TERMS_WIDTH == 12, "one parameter for each column") };
    statement.raw_bind_parameter(1, opening.row.0)?;
    statement.raw_bind_parameter(2, opening.from_ms)?;
    statement.raw_bind_parameter(3, opening.known_ms)?;
    opening.terms.bind(&mut statement, 4)?;
    statement.raw_execute()?;
    Ok(())
}

pub(super) fn delete_held(connection: &Connection, row: OfferRow) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached("DELETE FROM held WHERE offer_id = ?1")?;
    statement.execute([row.0])?;
    Ok(())
}

fn gtins_text(gtins: &[Gtin]) -> String {
    let texts: Vec<String> = gtins.iter().map(Gtin::to_string).collect();
    texts.join(" ")
}

fn has_same_text(row: &Row<'_>, offer: &Offer, gtins: &str) -> rusqlite::Result<bool> {
    Ok(is_text(row, FIND_TEXT, Some(&offer.title))?
        && is_text(row, FIND_TEXT + 1, offer.brand.as_deref())?
        && is_text(row, FIND_TEXT + 2, Some(gtins))?
        && is_text(row, FIND_TEXT + 3, offer.mpn.as_deref())?
        && is_text(row, FIND_TEXT + 4, offer.link.as_deref())?
        && is_integer(row, FIND_TEXT + 5, offer.valid_until.map(millis))?
        && is_text(row, FIND_TEXT + 6, Some(&texts_json(&offer.notes)))?)
}

fn has_same_match(row: &Row<'_>, part: Option<&PartMatch>) -> rusqlite::Result<bool> {
    let confidence = part.map(|part| i64::from(part.confidence_percent));
    Ok(
        is_text(row, FIND_MATCH, part.map(|part| part.part.as_str()))?
            && is_text(row, FIND_MATCH + 1, part.map(|part| part.by.as_str()))?
            && is_integer(row, FIND_MATCH + 2, confidence)?,
    )
}
