//! A desk for tests that fills in every view, with texts as hostile as a feed's may be.

#![allow(clippy::too_many_lines, reason = "a view is filled in at one place")]

use super::desk::{Desk, PartsAsked, PastAsked, Told};
use super::view::*;
use serde_json::{Map, json};
use std::sync::{Arc, Mutex};
use tokio::sync::watch::{Receiver, Sender, channel};

/// Knows the brief `quiet`, the part `brisk-6` and the feed `alpha/list`; refuses all else. Remembers
/// what it was asked to do.
pub struct SampleDesk {
    /// One line for each thing done.
    pub done: Mutex<Vec<String>>,
    change: Sender<u64>,
}

/// What a feed may call an offer.
pub const HOSTILE: &str = "<script>alert(1)</script> \u{202e}\"quoted\" & <svg onload=alert(2)>";

const AT: &str = "2026-03-31T18:30:00Z";

impl Default for SampleDesk {
    fn default() -> SampleDesk {
        SampleDesk {
            done: Mutex::default(),
            change: channel(1).0,
        }
    }
}

fn text(text: &str) -> Option<String> {
    Some(text.to_owned())
}

fn known(what: &str, name: &str, wanted: &str) -> Told<()> {
    match name == wanted {
        true => Ok(()),
        false => Err(Refusal::new(
            RefusalKind::NotFound,
            format!("no {what} is called \"{name}\""),
            format!("there is {wanted}"),
        )),
    }
}

fn pick() -> ShortPick {
    ShortPick {
        role: "cpu".to_owned(),
        part: "brisk-6".to_owned(),
        name: "Brisk 6 <b>core</b>".to_owned(),
        quantity: 1,
        retailer: text("alpha"),
        price_minor: Some(19_990),
        landed_minor: 20_489,
        availability: text("in_stock"),
        lead_days: Some(2),
    }
}

fn entry() -> JournalLine {
    JournalLine {
        number: 7,
        at: AT.to_owned(),
        kind: "build_changed".to_owned(),
        feed: None,
        brief: text("quiet"),
        part: None,
        text: "cpu: Brisk 6 instead of Brisk 4".to_owned(),
        data: json!({ "score": 101.5 }),
    }
}

fn held() -> HeldView {
    HeldView {
        id: 3,
        feed: "alpha/list".to_owned(),
        retailer: "alpha".to_owned(),
        sku: "A-1".to_owned(),
        seller: None,
        title: HOSTILE.to_owned(),
        part: text("brisk-6"),
        price_minor: 199,
        currency: "EUR".to_owned(),
        current_price_minor: Some(19_990),
        current_currency: text("EUR"),
        reason: "a hundredth of what it was".to_owned(),
        times: 1,
        first_seen: AT.to_owned(),
        last_seen: AT.to_owned(),
    }
}

fn feed_line() -> FeedLine {
    FeedLine {
        feed: "alpha/list".to_owned(),
        retailer: "alpha".to_owned(),
        retailer_name: "Alpha".to_owned(),
        last_poll: text(AT),
        last_good: text(AT),
        next: text("2026-03-31T19:30:00Z"),
        why: text("scheduled"),
        records: Some(120),
        offers: 118,
        matched: 90,
        failures: 0,
        error: None,
        held: 1,
        refused: 1,
    }
}

fn step(state: &str, price: Option<i64>) -> StepView {
    StepView {
        from: "2026-03-01T00:00:00Z".to_owned(),
        until: AT.to_owned(),
        state: state.to_owned(),
        price_minor: price,
        orderable: price.map(|_| true),
        source: price.map(|_| 0),
    }
}

fn facts() -> FactsView {
    let extreme = |price_minor| ExtremeView {
        price_minor,
        from: "2026-03-01T00:00:00Z".to_owned(),
        until: AT.to_owned(),
        source: 0,
    };
    FactsView {
        record: RecordView {
            from: "2026-03-01T00:00:00Z".to_owned(),
            until: AT.to_owned(),
            to_be_had_ms: 1_000,
            untold_ms: 0,
            not_orderable_ms: 0,
            absent_ms: 0,
            unread_ms: 500,
        },
        now: StepStateView {
            state: "asked".to_owned(),
            price_minor: Some(19_990),
            orderable: Some(true),
            source: Some(0),
        },
        lowest: Some(extreme(18_990)),
        highest: Some(extreme(22_900)),
        quarter_minor: Some(19_000),
        median_minor: Some(19_990),
        three_quarters_minor: Some(21_000),
        mean_minor: Some(20_000),
        in_stock_thousandths: Some(950),
        changes: 3,
        last_change: Some(LastChange {
            at: AT.to_owned(),
            before_minor: 20_990,
            after_minor: 19_990,
        }),
        at_or_below_now_ms: Some(86_400_000),
        lower_until: text("2026-03-20T00:00:00Z"),
        never_lower_since: None,
        trend_percent: Some(-2.5),
        spread_percent: Some(10.5),
        wait: Some(WaitView {
            target_minor: 18_500,
            mean_ms: Some(864_000_000),
            arrivals: Some(3),
            waited_ms: Some(2_592_000_000),
            why: None,
        }),
    }
}

impl SampleDesk {
    /// As if something had happened.
    pub fn move_on(&self) {
        self.change.send_modify(|change| *change += 1);
    }

    fn note(&self, line: String) {
        if let Ok(mut done) = self.done.lock() {
            done.push(line);
        }
        self.move_on();
    }
}

impl Desk for SampleDesk {
    fn overview(&self) -> Told<Overview> {
        Ok(Overview {
            at: AT.to_owned(),
            briefs: vec![BriefLine {
                brief: "quiet".to_owned(),
                name: "Quiet 1440p".to_owned(),
                country: "DE".to_owned(),
                currency: "EUR".to_owned(),
                budget_minor: 150_000,
                total_minor: Some(149_485),
                score: Some(101.5),
                proof: text("optimal"),
                since: text(AT),
                at: text(AT),
                picks: vec![pick()],
                obstacles: Vec::new(),
                last_change: Some(entry()),
                told: Some(ToldAnswer {
                    at: AT.to_owned(),
                    total_minor: Some(149_900),
                    score: Some(101.5),
                    is_same_build: true,
                }),
            }],
            feeds: FeedsInShort {
                feeds: 2,
                failing: vec!["beta/list".to_owned()],
                last_poll: text(AT),
                next_poll: text("2026-03-31T19:30:00Z"),
                offers: 118,
                matched: 90,
            },
            held: 1,
            questions: 3,
            unmatched: 28,
            outbox: OutboxInShort {
                waiting: 1,
                dead: 0,
            },
            change: 1,
        })
    }

    fn brief(&self, brief: &str, what_if: &WhatIf) -> Told<BriefPage> {
        known("brief", brief, "quiet")?;
        let beside = BesideView {
            total_minor: Some(139_485),
            score: Some(95.5),
            changes: vec![ChangeView {
                role: "cpu".to_owned(),
                from: text("brisk-4"),
                to: text("brisk-6"),
                from_name: text("Brisk 4"),
                to_name: text("Brisk 6"),
            }],
        };
        Ok(BriefPage {
            brief: "quiet".to_owned(),
            name: "Quiet 1440p".to_owned(),
            at: AT.to_owned(),
            country: "DE".to_owned(),
            currency: "EUR".to_owned(),
            budget_minor: 150_000,
            written_budget_minor: 150_000,
            what_if: what_if.clone(),
            query: what_if.query(),
            roles: vec![RoleView {
                role: "cpu".to_owned(),
                kind: "cpu".to_owned(),
                quantity: 1,
                pin: None,
                is_owned: false,
            }],
            total_minor: Some(149_485),
            score: Some(101.5),
            score_exact: Some(4_620_000),
            estimated_percent: Some(12.0),
            proof: "optimal".to_owned(),
            bound: Some(101.5),
            picks: vec![PickView {
                role: "cpu".to_owned(),
                part: "brisk-6".to_owned(),
                name: "Brisk 6 <b>core</b>".to_owned(),
                quantity: 1,
                retailer: text("alpha"),
                retailer_name: text("Alpha"),
                sku: text("A-1"),
                price_minor: Some(19_990),
                price_currency: "EUR".to_owned(),
                landed_minor: 20_489,
                rebate_minor: 0,
                link: text("https://alpha.example/a-1"),
                is_paid_link: true,
                seen_at: text(AT),
                availability: text("in_stock"),
                lead_days: Some(2),
                price_position: text("5 % above its 90-day low of EUR 189.90"),
                position: Some(PositionView {
                    above_percent: Some(5.3),
                    lowest_minor: 18_990,
                    currency: "EUR".to_owned(),
                    days: 90,
                    since: None,
                }),
                reason: "limits 1440p gaming".to_owned(),
                is_pinned: false,
                is_owned: false,
            }],
            orders: vec![OrderLine {
                words: "delivery from alpha".to_owned(),
                minor: 499,
            }],
            workloads: vec![WorkloadView {
                workload: "gaming-1440p".to_owned(),
                name: "1440p gaming".to_owned(),
                unit: "frames/s".to_owned(),
                weight_percent: 100.0,
                rate: 121.5,
                limited_by: "cpu".to_owned(),
                is_estimate: true,
                unused_percent: [("gpu".to_owned(), 4.5)].into(),
            }],
            gain_percent_of_a_tenth: [("cpu".to_owned(), 3.5)].into(),
            wishes: vec![WishView {
                role: "case".to_owned(),
                wish: "a compact case".to_owned(),
                worth_percent: 2.0,
                is_met: false,
            }],
            notes: vec!["Checked: the processor fits the board's socket.".to_owned()],
            cautions: vec!["the cooler's height is unproven".to_owned()],
            obstacles: Vec::new(),
            left_out: [("sold out".to_owned(), 4)].into(),
            parts_considered: 80,
            offers_considered: 118,
            power: Some(PowerView {
                load_w: 380,
                unknown: vec!["Fan 1".to_owned()],
                needed_w: 480,
                rated_w: Some(550),
            }),
            as_written: (!what_if.is_empty()).then(|| beside.clone()),
            standing: Some(beside),
        })
    }

    fn ladder(&self, brief: &str, what_if: &WhatIf) -> Told<Arc<LadderPage>> {
        known("brief", brief, "quiet")?;
        let rung = |total_minor, score, is_first: bool| RungView {
            total_minor,
            score,
            score_exact: (score * 1_000.0) as i64,
            knee: !is_first,
            step_up: (!is_first).then_some(StepUp {
                cost_minor: 10_000,
                score: 6.0,
                score_per_100: Some(6.0),
            }),
            changes: match is_first {
                true => Vec::new(),
                false => vec![RungChange {
                    role: "cpu".to_owned(),
                    from: "brisk-4".to_owned(),
                    to: "brisk-6".to_owned(),
                }],
            },
            picks: vec![pick()],
        };
        Ok(Arc::new(LadderPage {
            brief: "quiet".to_owned(),
            name: "Quiet 1440p".to_owned(),
            at: AT.to_owned(),
            currency: "EUR".to_owned(),
            budget_minor: 150_000,
            what_if: what_if.clone(),
            whole: true,
            bought: Some(1),
            rungs: vec![
                rung(139_485, 95.5, true),
                rung(149_485, 101.5, false),
                rung(180_000, 120.0, false),
            ],
        }))
    }

    fn entry_prices(&self, brief: &str, role: Option<&str>, _: &WhatIf) -> Told<EntryPrices> {
        known("brief", brief, "quiet")?;
        known("role", role.unwrap_or("cpu"), "cpu")?;
        let part = |part: &str, landed: Option<i64>, entry: Option<i64>| EntryView {
            part: part.to_owned(),
            name: format!("The {part}"),
            landed_minor: landed,
            entry_minor: entry,
            in_best: landed <= entry && landed.is_some(),
        };
        Ok(EntryPrices {
            brief: "quiet".to_owned(),
            currency: "EUR".to_owned(),
            roles: vec![RoleEntries {
                role: "cpu".to_owned(),
                parts: vec![
                    part("brisk-6", Some(20_489), Some(22_000)),
                    part("brisk-8", Some(30_000), Some(24_000)),
                    part("brisk-9", None, None),
                ],
            }],
        })
    }

    fn alternatives(&self, brief: &str, _: &WhatIf) -> Told<Alternatives> {
        known("brief", brief, "quiet")?;
        Ok(Alternatives {
            brief: "quiet".to_owned(),
            currency: "EUR".to_owned(),
            total_minor: Some(149_485),
            score: Some(101.5),
            alternatives: vec![AlternativeView {
                total_minor: 148_000,
                score: 101.0,
                differs: vec!["cpu".to_owned()],
                picks: vec![pick()],
            }],
            platforms: vec![PlatformView {
                socket: "LGA1700".to_owned(),
                total_minor: 147_000,
                score: 99.0,
                differs: vec!["cpu".to_owned()],
                picks: vec![pick()],
            }],
        })
    }

    fn why(&self, brief: &str, part: &str, _: &WhatIf) -> Told<WhyView> {
        known("brief", brief, "quiet")?;
        known("part", part, "brisk-6")?;
        Ok(WhyView {
            brief: "quiet".to_owned(),
            part: "brisk-6".to_owned(),
            name: "Brisk 6".to_owned(),
            currency: "EUR".to_owned(),
            roles: vec![RoleWhy {
                role: "cpu".to_owned(),
                verdict: "picked".to_owned(),
                landed_minor: Some(20_489),
                entry_minor: Some(22_000),
                other: Some(WhyBuild {
                    total_minor: 148_000,
                    score: 101.0,
                    picks: vec![pick()],
                }),
                best: None,
                kept_out: Vec::new(),
                binding: Some(BindingView {
                    budget_left_minor: 515,
                    next_step: Some(NextStep {
                        more_minor: 9_000,
                        score: 104.0,
                        part: "brisk-8".to_owned(),
                    }),
                    workloads: vec![WorkloadHold {
                        workload: "gaming-1440p".to_owned(),
                        limited_by: "this_role".to_owned(),
                        unused_percent: 0.0,
                    }],
                    limits: vec![LimitView {
                        kind: "need".to_owned(),
                        name: "at most 65 W".to_owned(),
                        part: "brisk-8".to_owned(),
                        score: 110.0,
                        total_minor: 149_900,
                        better_parts: 1,
                        is_all: true,
                    }],
                }),
            }],
            left_out: Vec::new(),
            best_picks: vec![ShortPick {
                part: "brisk-8".to_owned(),
                name: "Brisk 8".to_owned(),
                ..pick()
            }],
        })
    }

    fn guide(&self, brief: &str, form: GuideForm, _: &WhatIf) -> Told<GuideText> {
        known("brief", brief, "quiet")?;
        Ok(GuideText {
            brief: "quiet".to_owned(),
            form,
            media_type: "text/plain; charset=utf-8".to_owned(),
            text: format!("# Quiet 1440p\n\n{HOSTILE}\n"),
        })
    }

    fn proposal(&self, brief: &str, what_if: &WhatIf) -> Told<Proposal> {
        known("brief", brief, "quiet")?;
        let budget = what_if.budget.as_deref().unwrap_or("1500.00");
        Ok(Proposal {
            brief: "quiet".to_owned(),
            file: "briefs/quiet.toml".to_owned(),
            diff: format!("@@ -1 +1 @@\n-budget = \"1500.00\"\n+budget = \"{budget}\"\n"),
            digest: "d1".to_owned(),
            not_saved: Vec::new(),
        })
    }

    fn save(&self, brief: &str, what_if: &WhatIf, digest: &str) -> Told<Saved> {
        known("brief", brief, "quiet")?;
        if digest != "d1" {
            return Err(Refusal::new(
                RefusalKind::Conflict,
                "briefs/quiet.toml has changed since it was shown",
                "look at the differences again",
            ));
        }
        self.note(format!("saved {}", what_if.query()));
        Ok(Saved {
            brief: "quiet".to_owned(),
            file: "briefs/quiet.toml".to_owned(),
            digest: "d2".to_owned(),
        })
    }

    fn parts(&self, asked: &PartsAsked) -> Told<PartList> {
        Ok(PartList {
            kind: asked.kind.clone(),
            query: asked.query.clone(),
            page: asked.page.unwrap_or(1),
            pages: 3,
            total: 130,
            kinds: vec![KindCount {
                kind: "cpu".to_owned(),
                parts: 130,
            }],
            parts: vec![PartLine {
                part: "brisk-6".to_owned(),
                kind: "cpu".to_owned(),
                name: "Brisk 6".to_owned(),
                brand: text("Brisk"),
                mpn: text("BR-6"),
                offers: 2,
                lowest_minor: Some(19_990),
                currency: text("EUR"),
                used_in: vec!["quiet".to_owned()],
            }],
        })
    }

    fn part(&self, part: &str) -> Told<PartPage> {
        known("part", part, "brisk-6")?;
        Ok(PartPage {
            part: "brisk-6".to_owned(),
            kind: "cpu".to_owned(),
            name: "Brisk 6".to_owned(),
            brand: text("Brisk"),
            mpns: vec!["BR-6".to_owned()],
            gtins: vec!["04000000000006".to_owned()],
            specs: vec![SpecView {
                name: "socket".to_owned(),
                value: "AM5".to_owned(),
                unit: None,
            }],
            rates: vec![RateView {
                workload: "gaming-1440p".to_owned(),
                name: "1440p gaming".to_owned(),
                unit: "frames/s".to_owned(),
                rate: 121.5,
                error_percent: Some(3.0),
                source: "worked out of 12 results".to_owned(),
                is_estimate: false,
            }],
            offers: vec![OfferView {
                feed: "alpha/list".to_owned(),
                retailer: "alpha".to_owned(),
                retailer_name: "Alpha".to_owned(),
                sku: "A-1".to_owned(),
                seller: None,
                title: HOSTILE.to_owned(),
                condition: "new".to_owned(),
                price_minor: 19_990,
                currency: "EUR".to_owned(),
                tax_included: true,
                availability: "in_stock".to_owned(),
                lead_days: Some(2),
                link: text("https://alpha.example/a-1"),
                is_paid_link: true,
                seen_at: AT.to_owned(),
                matched_by: text("gtin"),
                confidence: Some(100),
            }],
            used_in: vec![UseView {
                brief: "quiet".to_owned(),
                name: "Quiet 1440p".to_owned(),
                role: "cpu".to_owned(),
            }],
        })
    }

    fn past(&self, part: &str, asked: &PastAsked) -> Told<PastView> {
        known("part", part, "brisk-6")?;
        let steps = vec![
            step("asked", Some(20_990)),
            step("unread", None),
            step("absent", None),
            step("asked", Some(19_990)),
        ];
        Ok(PastView {
            part: "brisk-6".to_owned(),
            name: "Brisk 6".to_owned(),
            currency: text("EUR"),
            since: asked.since.clone(),
            target: asked.target.clone(),
            retailers: vec!["alpha".to_owned()],
            retailer_names: [("alpha".to_owned(), "Alpha".to_owned())].into(),
            points: vec![PointView {
                retailer: "alpha".to_owned(),
                sku: "A-1".to_owned(),
                seller: None,
                condition: "new".to_owned(),
                from: "2026-03-01T00:00:00Z".to_owned(),
                until: AT.to_owned(),
                price_minor: 19_990,
                currency: "EUR".to_owned(),
                list_minor: Some(24_990),
                list_currency: text("EUR"),
                availability: "in_stock".to_owned(),
                is_lowest: true,
            }],
            wares: vec![WareView {
                condition: "new".to_owned(),
                currency: "EUR".to_owned(),
                tax_included: true,
                offers: vec![SeriesView {
                    retailer: "alpha".to_owned(),
                    sku: "A-1".to_owned(),
                    seller: None,
                    steps: steps.clone(),
                }],
                facts: Some(facts()),
                steps,
            }],
            claims: vec![ClaimView {
                retailer: "alpha".to_owned(),
                sku: "A-1".to_owned(),
                from: AT.to_owned(),
                price_minor: 19_990,
                was_minor: 24_990,
                currency: "EUR".to_owned(),
                verdict: "contradicted".to_owned(),
                why: None,
                lowest_minor: Some(20_990),
                lowest_from: text(AT),
                lowest_until: text(AT),
                opens: AT.to_owned(),
                closes: AT.to_owned(),
                percent_off_hundredths: Some(476),
                claimed_off_hundredths: Some(2_000),
            }],
            entry_prices: vec![EntryLine {
                brief: "quiet".to_owned(),
                role: "cpu".to_owned(),
                currency: "EUR".to_owned(),
                entry_minor: 22_000,
            }],
        })
    }

    fn feeds(&self) -> Told<FeedList> {
        Ok(FeedList {
            at: AT.to_owned(),
            feeds: vec![feed_line()],
        })
    }

    fn feed(&self, feed: &str) -> Told<FeedPage> {
        known("feed", feed, "alpha/list")?;
        Ok(FeedPage {
            line: feed_line(),
            schedule: text("30 * * * *"),
            zone: "Europe/Berlin".to_owned(),
            polls: vec![PollLine {
                at: AT.to_owned(),
                duration_ms: Some(321),
                status: "fresh".to_owned(),
                records: 120,
                accepted: 118,
                held: 1,
                refused: 1,
                matched: 90,
                changed: 3,
                error: None,
            }],
            refused: vec![RefusedLine {
                code: "no_price".to_owned(),
                count: 1,
                example: text(HOSTILE),
                examples: vec![HOSTILE.to_owned()],
            }],
            notes: vec![HOSTILE.to_owned()],
            held: vec![held()],
        })
    }

    fn poll_now(&self, feed: &str) -> Told<PollAsked> {
        known("feed", feed, "alpha/list")?;
        self.note(format!("polled {feed}"));
        Ok(PollAsked {
            feed: feed.to_owned(),
            is_asked: true,
            next: None,
            why: None,
        })
    }

    fn try_feed(&self, feed: &str, _: TriedOn) -> Told<TrialView> {
        known("feed", feed, "alpha/list")?;
        let mut raw = Map::new();
        raw.insert("title".to_owned(), json!(HOSTILE));
        Ok(TrialView {
            feed: feed.to_owned(),
            records: vec![TrialRecordView {
                index: 1,
                raw,
                title: text(HOSTILE),
                sku: text("A-1"),
                gtin: text("04000000000006"),
                mpn: text("BR-6"),
                price_text: text("199,90"),
                price_minor: Some(19_990),
                currency: text("EUR"),
                availability: text("in_stock"),
                condition: text("new"),
                seller: None,
                shipping_minor: Some(499),
                part: text("brisk-6"),
                notes: Vec::new(),
                verdict: "accepted".to_owned(),
                reason: None,
            }],
            counts: TrialCountsView {
                records: 1,
                accepted: 1,
                matched: 1,
                ..TrialCountsView::default()
            },
            examples: [("no_price".to_owned(), HOSTILE.to_owned())].into(),
            notes: vec!["a note".to_owned()],
            error: None,
        })
    }

    fn held(&self) -> Told<Vec<HeldView>> {
        Ok(vec![held()])
    }

    fn held_word(&self, id: i64, word: HeldWord) -> Told<HeldDone> {
        known("held price", &id.to_string(), "3")?;
        let done = match word {
            HeldWord::Confirm => "confirmed",
            HeldWord::Drop => "dropped",
        };
        self.note(format!("{done} {id}"));
        Ok(HeldDone {
            id,
            done: done.to_owned(),
        })
    }

    fn questions(&self) -> Told<Questions> {
        Ok(Questions {
            total: 1,
            queue: vec![QuestionView {
                feed: "alpha/list".to_owned(),
                retailer: "alpha".to_owned(),
                sku: "A/2 ?".to_owned(),
                title: HOSTILE.to_owned(),
                brand: text("Brisk"),
                mpn: None,
                gtin: None,
                seller: None,
                price_minor: 20_000,
                currency: "EUR".to_owned(),
                question: "it may be one of two parts".to_owned(),
                proposals: vec![ProposedView {
                    part: "brisk-6".to_owned(),
                    name: "Brisk 6".to_owned(),
                    by: "title".to_owned(),
                    confidence: Some(70),
                    agreed: vec!["brand".to_owned()],
                    objections: vec!["6 cores, not 8".to_owned()],
                    evidence: vec![EvidenceView {
                        what: "cores".to_owned(),
                        offer: text("8"),
                        part: text("6"),
                        agrees: Some(false),
                    }],
                }],
            }],
        })
    }

    fn answer_question(&self, retailer: &str, sku: &str, word: &MatchWord) -> Told<MatchDone> {
        known("offer", &format!("{retailer}/{sku}"), "alpha/A/2 ?")?;
        self.note(format!("{retailer}/{sku}: {word:?}"));
        let (done, part) = match word {
            MatchWord::Accept(part) => ("accepted", Some(part.clone())),
            MatchWord::Refuse(_) => ("refused", None),
            MatchWord::New => ("new", None),
            MatchWord::Forget => ("forgotten", None),
        };
        Ok(MatchDone {
            retailer: retailer.to_owned(),
            sku: sku.to_owned(),
            done: done.to_owned(),
            part,
            question: None,
        })
    }

    fn journal(&self, _: &JournalAsked) -> Told<Journal> {
        Ok(Journal {
            entries: vec![entry()],
            next: Some(7),
        })
    }

    fn outbox(&self, _: Option<&str>, _: Option<u32>) -> Told<Outbox> {
        Ok(Outbox {
            waiting: 1,
            sent: 4,
            dead: 1,
            dropped: 0,
            deliveries: vec![DeliveryView {
                id: 5,
                bulletin: "b-1".to_owned(),
                brief: text("quiet"),
                subject: HOSTILE.to_owned(),
                channel: "mail".to_owned(),
                state: "dead".to_owned(),
                attempts: 8,
                at: AT.to_owned(),
                touched: AT.to_owned(),
                next: None,
                fault: text("550 no such mailbox"),
            }],
        })
    }

    fn outbox_word(&self, id: i64, word: OutboxWord) -> Told<OutboxDone> {
        known("bulletin", &id.to_string(), "5")?;
        let done = match word {
            OutboxWord::Retry => "retried",
            OutboxWord::Drop => "dropped",
        };
        self.note(format!("{done} {id}"));
        Ok(OutboxDone {
            done: done.to_owned(),
            ids: vec![id],
        })
    }

    fn changes(&self) -> Receiver<u64> {
        self.change.subscribe()
    }
}
