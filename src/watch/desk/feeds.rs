//! Feeds: how they fare, polling one now, trying a mapping, and the offers that wait for the author.

use super::kept::Ground;
use super::parts::spec_text;
use super::refusal::{not_found, refused};
use super::shapes::{held as held_view, name};
use super::{DaemonDesk, TRIAL_RECORDS};
use crate::catalogue::{Part, PartId, SpecValue, value_json};
use crate::decide::shown_instant;
use crate::feeds::http::{Fetcher, FetcherOptions};
use crate::ledger::{FeedState, HeldOffer, PollLine as StoredPoll};
use crate::market::{Matching, Objection};
use crate::watch::due::{Why, planned};
use crate::watch::gather::Gathered;
use crate::watch::match_word::{self, OfferWord, Proposed, find, proposals, settle};
use crate::watch::questions::{Examined, waiting};
use crate::watch::refusals::RefusedRecord;
use crate::watch::settings::Feed;
use crate::watch::status::{feed_status, refused_by};
use crate::watch::trial::{
    Trial, TrialRecord, Trying, Verdict, gather_for_trial, gather_last, run_trial,
};
use crate::web::desk::Told;
use crate::web::view::{
    EvidenceView, FeedLine, FeedList, FeedPage, MatchDone, MatchWord, PollAsked, PollLine,
    ProposedView, QuestionView, Questions, Refusal, RefusalKind, RefusedLine, TrialCountsView,
    TrialRecordView, TrialView, TriedOn,
};
use tokio::runtime::Handle;

/// Polls that a feed's page shows.
const POLLS: u32 = 30;
/// Questions that are shown at once; they become fewer as they are answered.
const QUEUE: usize = 100;

impl DaemonDesk {
    pub(super) fn list_feeds(&self) -> Told<FeedList> {
        let ground = self.ground()?;
        let seen = self.seen(&ground)?;
        let held = self.read(&ground, |reader| reader.list_held())?;
        let mut feeds = Vec::new();
        for feed in &ground.settings.feeds {
            feeds.push(self.feed_line(&ground, feed, &seen.states, &held)?);
        }
        Ok(FeedList {
            at: shown_instant(self.clock.now()),
            feeds,
        })
    }

    pub(super) fn feed_page(&self, name: &str) -> Told<FeedPage> {
        let ground = self.ground()?;
        let feed = feed_named(&ground, name)?;
        let seen = self.seen(&ground)?;
        let held = self.read(&ground, |reader| reader.list_held())?;
        let polls = self.read(&ground, |reader| reader.last_polls(&feed.id, POLLS))?;
        let newest = polls.iter().find(|poll| !poll.record.notes.is_empty());
        let own = held.iter().filter(|one| one.feed == feed.id);
        Ok(FeedPage {
            line: self.feed_line(&ground, feed, &seen.states, &held)?,
            schedule: feed.source.schedule.as_ref().map(|at| at.value.clone()),
            zone: feed.zone.name().to_owned(),
            refused: refused_lines(&seen.states, feed),
            notes: newest.map_or(Vec::new(), |poll| poll.record.notes.clone()),
            polls: polls.iter().map(poll_line).collect(),
            held: own.map(held_view).collect(),
        })
    }

    fn feed_line(
        &self,
        ground: &Ground,
        feed: &Feed,
        states: &[FeedState],
        held: &[HeldOffer],
    ) -> Told<FeedLine> {
        let now = self.clock.now();
        let status = self.read(ground, |reader| feed_status(feed, states, reader, now))?;
        let retailer = ground.retailers.get(&feed.retailer);
        Ok(FeedLine {
            feed: status.feed,
            retailer: feed.retailer.to_string(),
            retailer_name: retailer.map_or_else(
                || feed.retailer.to_string(),
                |retailer| retailer.name.clone(),
            ),
            last_poll: status.last_poll,
            last_good: status.last_good,
            next: status.plan.as_ref().and_then(|plan| plan.next.clone()),
            why: status.plan.map(|plan| plan.why.to_owned()),
            records: status.records,
            offers: status.offers,
            matched: status.matched,
            failures: status.failures,
            error: status.error,
            held: held.iter().filter(|one| one.feed == feed.id).count() as u64,
            refused: status.refused.iter().map(|one| one.count).sum(),
        })
    }

    /// Asks the daemon to poll a feed, unless the shop wants a pause.
    pub(super) fn ask_to_poll(&self, name: &str) -> Told<PollAsked> {
        let ground = self.ground()?;
        let feed = feed_named(&ground, name)?;
        let put_off = self.put_off(&ground, feed)?;
        if put_off.is_none() {
            self.polls.ask(&feed.id);
        }
        let (next, why) = put_off.unzip();
        Ok(PollAsked {
            feed: feed.id.to_string(),
            is_asked: why.is_none(),
            next: next.flatten(),
            why,
        })
    }

    /// Until when a feed is in a pause, and why, if it is.
    fn put_off(&self, ground: &Ground, feed: &Feed) -> Told<Option<(Option<String>, String)>> {
        let state = self.read(ground, |reader| reader.feed_state(&feed.id))?;
        let planned = planned(feed, state.as_ref(), self.clock.now());
        let planned = planned.filter(|planned| matches!(planned.why, Why::PutOff(_)));
        Ok(planned.map(|planned| (planned.at.map(shown_instant), planned.why.name().to_owned())))
    }

    /// Shows how the newest response is read, or what the shop says now: that is fetched once for each state
    /// of the ledger, and the shop's pauses hold.
    pub(super) fn try_mapping(&self, name: &str, on: TriedOn) -> Told<TrialView> {
        let ground = self.ground()?;
        let feed = feed_named(&ground, name)?;
        if on == TriedOn::Shop
            && let Some((until, why)) = self.put_off(&ground, feed)?
        {
            let until = until.unwrap_or_default();
            let message = format!("{} wants a pause ({why})", feed.id);
            return Err(Refusal::new(
                RefusalKind::Busy,
                message,
                format!("try it after {until}"),
            ));
        }
        let matcher = self.matcher(&ground.settings);
        let trial = self.solve(&ground, format!("trial {on:?} {name}"), || {
            let gathered = match on {
                TriedOn::Last => gather_last(&ground.settings, feed),
                TriedOn::Shop => self.gathered(&ground, feed)?,
            };
            let trial = self.read(&ground, |reader| {
                let trying = Trying {
                    matcher: &matcher,
                    ledger: Some(reader),
                    records_shown: TRIAL_RECORDS,
                    now: self.clock.now(),
                };
                run_trial(&trying, feed, gathered)
            })?;
            Ok(trial_view(trial))
        })?;
        Ok((*trial).clone())
    }

    /// What the shop says now.
    fn gathered(&self, ground: &Ground, feed: &Feed) -> Told<Gathered> {
        let broken = |message: String| {
            Refusal::new(
                RefusalKind::Broken,
                message,
                "`rigtide feed try` tells more",
            )
        };
        let options = FetcherOptions {
            identity: ground.settings.identity.clone(),
            extra_roots: Vec::new(),
            spool_directory: None,
        };
        let fetcher = Fetcher::new(options).map_err(|error| broken(error.to_string()))?;
        let handle = Handle::try_current().map_err(|error| broken(error.to_string()))?;
        let (shown, now) = (TRIAL_RECORDS, self.clock.now());
        let gathering = gather_for_trial(&ground.settings, &fetcher, feed, shown, now);
        Ok(handle.block_on(gathering))
    }

    pub(super) fn list_questions(&self) -> Told<Questions> {
        let ground = self.ground()?;
        let matcher = self.matcher(&ground.settings);
        let questions = self.solve(&ground, "questions".to_owned(), || {
            let waiting = self.read(&ground, |reader| waiting(reader, &matcher))?;
            let shown = waiting.iter().take(QUEUE);
            Ok(Questions {
                total: waiting.len() as u64,
                queue: shown
                    .map(|(one, question)| question_view(&ground, one, question))
                    .collect(),
            })
        })?;
        Ok((*questions).clone())
    }

    pub(super) fn settle_offer(
        &self,
        retailer: &str,
        sku: &str,
        word: &MatchWord,
    ) -> Told<MatchDone> {
        let ground = self.ground()?;
        let matcher = self.matcher(&ground.settings);
        let word = match word.clone() {
            MatchWord::Accept(part) => OfferWord::Accept(part),
            MatchWord::Refuse(part) => OfferWord::Refuse(part),
            MatchWord::New => OfferWord::New,
            MatchWord::Forget => OfferWord::Forget,
        };
        let now = self.clock.now();
        self.write(|ledger| {
            let called = format!("{retailer}/{sku}");
            let named = find(&ground.settings, ledger.read(), &matcher, &called);
            let named = named.map_err(refused)?;
            let settled = settle(ledger, &matcher, &named, &word, now);
            let match_word::Settled {
                done,
                part,
                question,
                ..
            } = settled.map_err(refused)?;
            Ok(MatchDone {
                retailer: retailer.to_owned(),
                sku: sku.to_owned(),
                done: done.to_owned(),
                part,
                question,
            })
        })
    }
}

fn feed_named<'g>(ground: &'g Ground, name: &str) -> Told<&'g Feed> {
    let feeds = &ground.settings.feeds;
    let found = feeds.iter().find(|feed| feed.id.as_str() == name);
    found.ok_or_else(|| {
        let known: Vec<&str> = feeds.iter().map(|feed| feed.id.as_str()).collect();
        let remedy = format!("known feeds: {}", known.join(", "));
        not_found(format!("no feed is called \"{name}\""), remedy)
    })
}

/// What the newest poll that could be read refused.
fn refused_lines(states: &[FeedState], feed: &Feed) -> Vec<RefusedLine> {
    let state = states.iter().find(|state| state.feed == feed.id);
    let lines = refused_by(state).into_iter().map(|refused| {
        let examples = refused.examples.iter().map(RefusedRecord::in_words);
        let examples: Vec<String> = examples.collect();
        RefusedLine {
            code: refused.code,
            count: refused.count,
            example: examples.first().cloned(),
            examples,
        }
    });
    lines.collect()
}

fn poll_line(poll: &StoredPoll) -> PollLine {
    let record = &poll.record;
    PollLine {
        at: shown_instant(poll.at),
        duration_ms: Some(record.duration_ms),
        status: poll.status.name().to_owned(),
        records: record.records,
        accepted: record.offers,
        held: record.held,
        refused: record.refused,
        matched: record.matched,
        changed: record.changed,
        error: record.error.clone(),
    }
}

fn question_view(ground: &Ground, examined: &Examined, question: &str) -> QuestionView {
    let offer = &examined.stored.offer;
    let proposals = proposals(&examined.matching).into_iter();
    QuestionView {
        feed: examined.stored.feed.to_string(),
        retailer: offer.retailer.to_string(),
        sku: offer.sku.to_string(),
        title: offer.title.clone(),
        brand: offer.brand.clone(),
        mpn: offer.mpn.clone(),
        gtin: offer.gtins.first().map(ToString::to_string),
        seller: offer.seller.clone(),
        price_minor: offer.price.minor(),
        currency: offer.price.currency().to_string(),
        question: question.to_owned(),
        proposals: proposals
            .map(|proposed| proposed_view(ground, examined, proposed))
            .collect(),
    }
}

fn proposed_view(ground: &Ground, examined: &Examined, proposed: Proposed) -> ProposedView {
    let id = PartId::new(&proposed.part);
    let part = ground.settings.catalogue.parts.get(&id);
    ProposedView {
        name: name(&ground.settings.catalogue, &id),
        evidence: part.map_or(Vec::new(), |part| evidence(examined, part)),
        part: proposed.part,
        by: proposed.by.to_owned(),
        confidence: proposed.confidence,
        agreed: proposed.agreed.into_iter().map(str::to_owned).collect(),
        objections: proposed.objections,
    }
}

/// What the offer says beside what the catalogue says: identities, then what its title claims.
fn evidence(examined: &Examined, part: &Part) -> Vec<EvidenceView> {
    let offer = &examined.stored.offer;
    let same = |one: &str, other: &str| one.to_lowercase() == other.to_lowercase();
    let row = |what: &str, offer: Option<String>, parts: &[String]| {
        let agrees = offer.as_ref().filter(|_| !parts.is_empty());
        let agrees = agrees.map(|offer| parts.iter().any(|part| same(part, offer)));
        let part = Some(parts.join(", ")).filter(|text| !text.is_empty());
        (offer.is_some() || part.is_some()).then(|| EvidenceView {
            what: what.to_owned(),
            offer,
            part,
            agrees,
        })
    };
    let brand: Vec<String> = part.brand.iter().map(ToString::to_string).collect();
    let gtins: Vec<String> = part.gtins.iter().map(ToString::to_string).collect();
    let gtin = offer.gtins.first().map(ToString::to_string);
    let rows = [
        row("brand", offer.brand.clone(), &brand),
        row("mpn", offer.mpn.clone(), &part.mpns),
        row("gtin", gtin, &gtins),
    ];
    let mut rows: Vec<EvidenceView> = rows.into_iter().flatten().collect();
    let Matching::Review { proposals, .. } = &examined.matching else {
        return rows;
    };
    let Some(proposal) = proposals.iter().find(|one| one.part == part.id) else {
        return rows;
    };
    for objection in &proposal.objections {
        if let Objection::Differs {
            what,
            claimed,
            known,
        } = objection
        {
            rows.push(EvidenceView {
                what: what.name().to_owned(),
                offer: Some(in_words(claimed)),
                part: known.as_ref().map(in_words),
                agrees: Some(false),
            });
        }
    }
    rows.extend(proposal.agreed.iter().map(|what| {
        let known = what.spec().and_then(|spec| part.specs.get(&spec));
        let known = known.map(in_words);
        EvidenceView {
            what: what.name().to_owned(),
            offer: known.clone(),
            part: known,
            agrees: Some(true),
        }
    }));
    rows
}

fn in_words(value: &SpecValue) -> String {
    spec_text(&value_json(value))
}

fn trial_view(trial: Trial) -> TrialView {
    let counts = trial.counts;
    let texts = trial.examples.into_iter();
    TrialView {
        feed: trial.feed,
        records: trial.records.into_iter().map(record_view).collect(),
        counts: TrialCountsView {
            records: counts.records,
            accepted: counts.accepted,
            held: counts.held,
            refused: counts.refused,
            matched: counts.matched,
            reasons: counts
                .reasons
                .into_iter()
                .map(|(code, count)| (code.to_owned(), count))
                .collect(),
        },
        examples: texts.map(|(code, text)| (code.to_owned(), text)).collect(),
        notes: trial.notes,
        error: trial.error,
    }
}

fn record_view(record: TrialRecord) -> TrialRecordView {
    let verdict = match record.verdict {
        Verdict::Accepted => "accepted",
        Verdict::Held => "held",
        Verdict::Refused => "refused",
    };
    TrialRecordView {
        index: record.index,
        raw: record.raw,
        title: record.title,
        sku: record.sku,
        gtin: record.gtin,
        mpn: record.mpn,
        price_text: record.price_text,
        price_minor: record.price_minor,
        currency: record.currency,
        availability: record.availability.map(str::to_owned),
        condition: record.condition.map(str::to_owned),
        seller: record.seller,
        shipping_minor: record.shipping_minor,
        part: record.part,
        notes: record.notes,
        verdict: verdict.to_owned(),
        reason: record.reason,
    }
}
