//! Reads and writes of single offers and their intervals, inside a caller's transaction.

use super::columns::{TERMS_WIDTH, Terms, millis, terms_columns, texts_json};
use super::matching::{OfferRow, PartMatch};
use crate::catalogue::Gtin;
use crate::catalogue::reading::Property;
use crate::market::Offer;
use rusqlite::{Connection, Statement, params};
use serde_json::{Value, json};
use std::borrow::Cow;

/// Terms that an offer stands with or is to stand with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Opening {
    pub row: OfferRow,
    pub from_ms: i64,
    pub known_ms: Option<i64>,
    pub terms: Terms,
}

/// True when the feed never brought an offer.
pub(super) fn has_no_offers(connection: &Connection, feed: i64) -> rusqlite::Result<bool> {
    let select = "SELECT NOT EXISTS (SELECT 1 FROM offer WHERE feed_id = ?1)";
    connection
        .prepare_cached(select)?
        .query_row([feed], |row| row.get(0))
}

/// What tells one offer of a feed from another.
pub(super) fn identity(feed: i64, offer: &Offer) -> (i64, &str, &str, &'static str) {
    let seller = offer.seller.as_deref().unwrap_or("");
    (feed, offer.sku.as_str(), seller, offer.condition.name())
}

pub(super) const INSERT_OFFER: &str =
    "INSERT INTO offer (feed_id, sku, seller, condition, title, brand, gtins, mpn, link,
         valid_until_ms, notes, first_seen_ms, last_seen_ms, present,
         part, matched_by, confidence_percent, properties)
     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?12, 1, ?13, ?14, ?15, ?16)
     ON CONFLICT (feed_id, sku, seller, condition) DO NOTHING";

/// Adds the offer as present, without an interval and without a match that is remembered. Returns
/// its row, or `None` when it is there already.
pub(super) fn insert_offer(
    connection: &Connection,
    statement: &mut Statement<'_>,
    feed: i64,
    offer: &Offer,
    part: Option<&PartMatch>,
    at_ms: i64,
) -> rusqlite::Result<Option<OfferRow>> {
    let (feed, sku, seller, condition) = identity(feed, offer);
    let n_added = statement.execute(params![
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
        notes_text(&offer.notes),
        at_ms,
        part.map(|part| part.part.as_str()),
        part.map(|part| part.by.as_str()),
        part.map(|part| part.confidence_percent),
        properties_text(&offer.properties),
    ])?;
    Ok((n_added > 0).then(|| OfferRow(connection.last_insert_rowid())))
}

/// Takes over what a record says besides its terms. The title and the link that an answer may have
/// shown are kept as those that stood until `at_ms`.
pub(super) fn update_text(
    connection: &Connection,
    row: OfferRow,
    offer: &Offer,
    at_ms: i64,
) -> rusqlite::Result<()> {
    let mut keep = connection.prepare_cached(
        "INSERT OR IGNORE INTO listing (offer_id, until_ms, title, link)
         SELECT id, ?2, title, link FROM offer
         WHERE id = ?1 AND (title IS NOT ?3 OR link IS NOT ?4)
             AND EXISTS (SELECT 1 FROM matching WHERE offer_id = id)",
    )?;
    keep.execute(params![row.0, at_ms, offer.title, offer.link])?;
    let mut statement = connection.prepare_cached(
        "UPDATE offer SET title = ?2, brand = ?3, gtins = ?4, mpn = ?5, link = ?6,
             valid_until_ms = ?7, notes = ?8, properties = ?9 WHERE id = ?1",
    )?;
    statement.execute(params![
        row.0,
        offer.title,
        offer.brand,
        gtins_text(&offer.gtins),
        offer.mpn,
        offer.link,
        offer.valid_until.map(millis),
        notes_text(&offer.notes),
        properties_text(&offer.properties),
    ])?;
    Ok(())
}

/// Takes the offer for another part, or for none, from `at_ms` on; of one offer, stamps do not go
/// backwards. Its mark is the caller's to take away.
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
    let newest: Option<i64> = connection
        .prepare_cached("SELECT max(since_ms) FROM matching WHERE offer_id = ?1")?
        .query_row([row.0], |row| row.get(0))?;
    let at_ms = newest.map_or(at_ms, |newest| newest.max(at_ms));
    insert_match(
        &mut *connection.prepare_cached(INSERT_MATCH)?,
        row,
        part,
        at_ms,
    )
}

// Two decisions at one instant are one: the later stands.
pub(super) const INSERT_MATCH: &str = "INSERT OR REPLACE INTO matching
         (offer_id, part, matched_by, confidence_percent, since_ms)
     VALUES (?1, ?2, ?3, ?4, ?5)";

/// Remembers that the offer is taken for a part, or for none, from `at_ms` on.
pub(super) fn insert_match(
    statement: &mut Statement<'_>,
    row: OfferRow,
    part: Option<&PartMatch>,
    at_ms: i64,
) -> rusqlite::Result<()> {
    let id = part.map(|part| part.part.as_str());
    let by = part.map(|part| part.by.as_str());
    let confidence = part.map(|part| part.confidence_percent);
    statement.execute(params![row.0, id, by, confidence, at_ms])?;
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
/// been missing from so many snapshots. Its mark is the caller's to take away.
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
    let seen_until_ms: i64 = connection
        .prepare_cached("SELECT last_seen_ms FROM offer WHERE id = ?1")?
        .query_row([row.0], |row| row.get(0))?;
    end_standing(connection, row, seen_until_ms, Some(at_ms))?;
    let mut held = connection.prepare_cached("DELETE FROM held WHERE offer_id = ?1")?;
    held.execute([row.0])?;
    let mut offer =
        connection.prepare_cached("UPDATE offer SET gone_since_ms = ?2 WHERE id = ?1")?;
    offer.execute((row.0, at_ms))?;
    Ok(())
}

pub(super) const STAND: &str = concat!(
    "INSERT OR REPLACE INTO standing (offer_id, from_ms, known_ms, ",
    terms_columns!(),
    ") VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)"
);

/// Says under which terms the offer stands; those that stood must have been ended.
pub(super) fn stand(statement: &mut Statement<'_>, opening: &Opening) -> rusqlite::Result<()> {
    const { assert!(3 + TERMS_WIDTH == 14, "one parameter for each column") };
    statement.raw_bind_parameter(1, opening.row.0)?;
    statement.raw_bind_parameter(2, opening.from_ms)?;
    statement.raw_bind_parameter(3, opening.known_ms)?;
    opening.terms.bind(statement, 4)?;
    statement.raw_execute()?;
    Ok(())
}

pub(super) const END: &str = concat!(
    "INSERT INTO observation (offer_id, from_ms, until_ms, known_ms, ",
    terms_columns!(),
    ") VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)"
);

/// Adds an interval that has ended: its terms were last seen at `until_ms`.
pub(super) fn end(
    statement: &mut Statement<'_>,
    opening: &Opening,
    until_ms: i64,
) -> rusqlite::Result<()> {
    const { assert!(4 + TERMS_WIDTH == 15, "one parameter for each column") };
    statement.raw_bind_parameter(1, opening.row.0)?;
    statement.raw_bind_parameter(2, opening.from_ms)?;
    statement.raw_bind_parameter(3, until_ms)?;
    statement.raw_bind_parameter(4, opening.known_ms)?;
    opening.terms.bind(statement, 5)?;
    statement.raw_execute()?;
    Ok(())
}

/// Ends the terms that an offer stands with, if it stands: they were last seen at `until_ms`, and
/// it was given up at `gone_ms`, if that ended them. True when it stood.
pub(super) fn end_standing(
    connection: &Connection,
    row: OfferRow,
    until_ms: i64,
    gone_ms: Option<i64>,
) -> rusqlite::Result<bool> {
    let mut end = connection.prepare_cached(concat!(
        "INSERT INTO observation (offer_id, from_ms, until_ms, known_ms, gone_ms, ",
        terms_columns!(),
        ") SELECT offer_id, from_ms, ?2, known_ms, ?3, ",
        terms_columns!(),
        " FROM standing WHERE offer_id = ?1"
    ))?;
    let has_ended = end.execute((row.0, until_ms, gone_ms))? > 0;
    let mut stood = connection.prepare_cached("DELETE FROM standing WHERE offer_id = ?1")?;
    stood.execute([row.0])?;
    Ok(has_ended)
}

pub(super) fn delete_held(connection: &Connection, row: OfferRow) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached("DELETE FROM held WHERE offer_id = ?1")?;
    statement.execute([row.0])?;
    Ok(())
}

/// Fourteen digits each, blanks between.
pub(super) fn gtins_text(gtins: &[Gtin]) -> String {
    let mut text = String::with_capacity(15 * gtins.len());
    for gtin in gtins {
        if !text.is_empty() {
            text.push(' ');
        }
        text.push_str(&gtin.to_string());
    }
    text
}

/// A JSON list of texts; most offers have no notes, and cost nothing then.
pub(super) fn notes_text(notes: &[String]) -> Cow<'static, str> {
    if notes.is_empty() {
        "[]".into()
    } else {
        texts_json(notes).into()
    }
}

/// A JSON list of name, value and unit; most offers state nothing, and cost nothing then.
pub(super) fn properties_text(properties: &[Property]) -> Option<String> {
    let rows = properties
        .iter()
        .map(|one| json!([one.name, one.value, one.unit]));
    (!properties.is_empty()).then(|| Value::Array(rows.collect()).to_string())
}
