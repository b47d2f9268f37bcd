//! The author's decisions: what each SKU of a retailer is, or is not.

use super::columns::{instant, millis, texts, texts_json, unreadable};
use super::error::LedgerError;
use super::journal::{self, JournalEntry};
use super::matching::{self, OfferRow, PartMatch};
use super::open::{Ledger, Reader};
use crate::catalogue::PartId;
use crate::market::{Decision, Fingerprint, Offer, RetailerId, Sku, Verdict};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, Row, params};
use std::collections::BTreeMap;

/// A decision as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OfferDecision {
    pub retailer: RetailerId,
    pub sku: Sku,
    pub decision: Decision,
    pub at: DateTime<Utc>,
}

/// A decision, or that there is none any more, with all that follows from it.
#[derive(Debug)]
pub struct Deciding<'d> {
    pub retailer: &'d RetailerId,
    pub sku: &'d Sku,
    /// `None` forgets what was decided.
    pub decision: Option<&'d Decision>,
    /// What the SKU's offers are taken for from now on.
    pub matches: &'d [(OfferRow, Option<PartMatch>)],
    pub entry: &'d JournalEntry,
    pub at: DateTime<Utc>,
}

#[derive(Debug, thiserror::Error)]
#[error("\"{0}\" is no decision")]
struct UnknownVerdict(String);

const COLUMNS: &str = "retailer, sku, verdict, parts, made_on, at_ms";

impl Reader {
    /// Every decision, in the order of retailer and SKU.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn offer_decisions(&self) -> Result<Vec<OfferDecision>, LedgerError> {
        let select = format!("SELECT {COLUMNS} FROM offer_decision ORDER BY retailer, sku");
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let decisions = statement.query_map([], read_decision)?;
            decisions.collect()
        })
    }

    /// What was decided of a retailer's offers.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn decisions_of(
        &self,
        retailer: &RetailerId,
    ) -> Result<BTreeMap<Sku, Decision>, LedgerError> {
        let select = format!("SELECT {COLUMNS} FROM offer_decision WHERE retailer = ?1");
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let decisions = statement.query_map([retailer.as_str()], read_decision)?;
            decisions
                .map(|found| found.map(|found| (found.sku, found.decision)))
                .collect()
        })
    }
}

impl Ledger {
    /// Stores a decision or forgets it, with its matches and its journal entry, all or none.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn decide_offer(&mut self, deciding: &Deciding<'_>) -> Result<(), LedgerError> {
        self.write(|connection| {
            match deciding.decision {
                Some(decision) => write_decision(connection, deciding, decision)?,
                None => delete_decision(connection, deciding)?,
            }
            matching::take_for(connection, deciding.matches, deciding.at)?;
            journal::insert(connection, deciding.entry)
        })
    }
}

/// Remembers that an offer is no longer the listing that was decided on; true the first time.
pub(super) fn mark_changed(
    connection: &Connection,
    offer: &Offer,
    at: DateTime<Utc>,
) -> rusqlite::Result<bool> {
    let mut statement = connection.prepare_cached(
        "UPDATE offer_decision SET changed_ms = ?3
         WHERE retailer = ?1 AND sku = ?2 AND changed_ms IS NULL",
    )?;
    let key = (offer.retailer.as_str(), offer.sku.as_str());
    Ok(statement.execute(params![key.0, key.1, millis(at)])? > 0)
}

fn write_decision(
    connection: &Connection,
    deciding: &Deciding<'_>,
    decision: &Decision,
) -> rusqlite::Result<()> {
    let (verdict, parts): (_, Vec<String>) = match &decision.verdict {
        Verdict::Pinned(part) => ("pinned", vec![part.to_string()]),
        Verdict::Denied(parts) => ("denied", parts.iter().map(PartId::to_string).collect()),
        Verdict::Lacking => ("lacking", Vec::new()),
    };
    connection.execute(
        "INSERT OR REPLACE INTO offer_decision (retailer, sku, verdict, parts, made_on, at_ms)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            deciding.retailer.as_str(),
            deciding.sku.as_str(),
            verdict,
            texts_json(&parts),
            decision.made_on.as_str(),
            millis(deciding.at),
        ],
    )?;
    Ok(())
}

fn delete_decision(connection: &Connection, deciding: &Deciding<'_>) -> rusqlite::Result<()> {
    let statement = "DELETE FROM offer_decision WHERE retailer = ?1 AND sku = ?2";
    connection.execute(
        statement,
        (deciding.retailer.as_str(), deciding.sku.as_str()),
    )?;
    Ok(())
}

fn read_decision(row: &Row<'_>) -> rusqlite::Result<OfferDecision> {
    const VERDICT: usize = 2;
    let verdict: String = row.get(VERDICT)?;
    let parts: Vec<PartId> = texts(row, VERDICT + 1)?.iter().map(PartId::new).collect();
    let verdict = match (verdict.as_str(), parts.as_slice()) {
        ("pinned", [part]) => Verdict::Pinned(part.clone()),
        ("denied", _) => Verdict::Denied(parts.into_iter().collect()),
        ("lacking", []) => Verdict::Lacking,
        _ => return Err(unreadable(VERDICT, UnknownVerdict(verdict))),
    };
    Ok(OfferDecision {
        retailer: RetailerId::new(row.get::<_, String>(0)?),
        sku: Sku::new(row.get::<_, String>(1)?),
        decision: Decision {
            verdict,
            made_on: Fingerprint::from_text(row.get::<_, String>(4)?),
        },
        at: instant(row, 5)?,
    })
}
