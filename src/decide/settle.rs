//! One decision: which of the things that a brief asks for have happened, whether they may be told
//! yet, and what is remembered.

use super::ask::{Ask, News};
use super::bulletin::Bulletin;
use super::change::Change;
use super::hours::Hours;
use super::memory::{Memory, Remembered};
use super::scene::Scene;
use super::telling::{OnDoubt, Telling};
use super::wording;
use chrono::{DateTime, Utc};
use std::collections::{BTreeMap, BTreeSet};

/// What a look at the market came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    pub memory: Memory,
    /// Today's answer is the standing one from now on.
    pub stands: bool,
    pub told: Vec<Told>,
    /// Something is held off, so that the brief must be looked at again though nothing moves.
    pub is_pending: bool,
}

/// One bulletin and who gets it.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// The kind of what was asked for.
    pub kind: &'static str,
    /// Each with hours of its own for this, if any.
    pub channels: BTreeMap<String, Option<Hours>>,
    pub bulletin: Bulletin,
}

/// Decides what is told of a scene. The same scene and memory always come to the same outcome.
pub fn settle(brief: &str, telling: &Telling, scene: &Scene<'_>, memory: Memory) -> Outcome {
    let mut settling = Settling {
        brief,
        telling,
        outcome: Outcome {
            memory,
            stands: false,
            told: Vec::new(),
            is_pending: false,
        },
    };
    let scene = settling.hold_off(scene);
    // Facts first: they are seen from the answer that stands until the build's own news.
    for of_the_build in [false, true] {
        let asks = telling.asks.iter();
        for ask in asks.filter(|ask| ask.trigger.is_of_the_build() == of_the_build) {
            settling.judge(ask, &scene);
        }
    }
    settling.stand(&scene);
    let keys: BTreeSet<String> = telling.asks.iter().map(|ask| ask.trigger.key()).collect();
    let asks = &mut settling.outcome.memory.asks;
    asks.retain(|key, _| keys.contains(key));
    settling.outcome
}

struct Settling<'s> {
    brief: &'s str,
    telling: &'s Telling,
    outcome: Outcome,
}

impl Settling<'_> {
    /// The scene without a change that must wait.
    fn hold_off<'s>(&mut self, scene: &Scene<'s>) -> Scene<'s> {
        let mut scene = scene.clone();
        let memory = &mut self.outcome.memory;
        let has_held = memory.has_held(&scene.change, scene.today, self.telling.hold, scene.at);
        let is_change = !matches!(scene.change, Change::None | Change::TooSmall);
        let waits = self.telling.on_doubt == OnDoubt::Wait && !scene.doubts.is_empty();
        if is_change && (!has_held || waits) {
            scene.change = Change::None;
            self.outcome.is_pending = true;
        }
        scene
    }

    fn judge(&mut self, ask: &Ask, scene: &Scene<'_>) {
        let known = self.outcome.memory.asks.remove(&ask.trigger.key());
        let mut known = known.unwrap_or_default();
        let judged = ask.trigger.judge(scene, &known.state);
        match judged.news {
            None => known.state = judged.remember,
            Some(_) if is_resting(ask, &known, scene.at) => self.outcome.is_pending = true,
            Some(news) => {
                known.state = judged.remember;
                if self.tell(ask, scene, news) {
                    known.told_ms = Some(scene.at.timestamp_millis());
                }
            }
        }
        self.outcome.memory.asks.insert(ask.trigger.key(), known);
    }

    /// Puts a bulletin out; false where the brief wants to hear nothing of it.
    fn tell(&mut self, ask: &Ask, scene: &Scene<'_>, news: News) -> bool {
        let bulletin = match news {
            News::Build => {
                self.outcome.stands = true;
                let is_silent = scene.change == Change::First && !self.telling.tells_first;
                let made = (!is_silent).then(|| wording::change(scene));
                let Some(made) = made.flatten() else {
                    return false;
                };
                made
            }
            News::Fact {
                subject,
                text,
                data,
            } => {
                let key = ask.trigger.key();
                wording::fact(self.brief, (ask.kind, &key), (subject, text, data), scene)
            }
        };
        self.put(ask, bulletin);
        true
    }

    /// Two asks for the same news make one bulletin.
    fn put(&mut self, ask: &Ask, bulletin: Bulletin) {
        let channels = ask.channels.iter().cloned();
        let channels = channels.map(|channel| (channel, ask.hours));
        let mut told = self.outcome.told.iter_mut();
        match told.find(|told| told.bulletin.id == bulletin.id) {
            Some(told) => told.channels.extend(channels),
            None => self.outcome.told.push(Told {
                kind: ask.kind,
                channels: channels.collect(),
                bulletin,
            }),
        }
    }

    /// Whether today's answer takes the place of the standing one.
    fn stand(&mut self, scene: &Scene<'_>) {
        let asks = self.telling.asks.iter();
        let is_asked_for = asks.clone().any(|ask| ask.trigger.is_of_the_build());
        let is_change = !matches!(scene.change, Change::None | Change::TooSmall);
        // Who never asks for changes of the build is not owed one.
        if is_change && (!is_asked_for || scene.change == Change::First) {
            self.outcome.stands = true;
        }
        if self.outcome.stands {
            self.outcome.memory.pending = None;
        }
        let stands = match self.outcome.stands {
            true => Some(scene.today),
            false => scene.standing,
        };
        self.outcome.memory.see(stands, scene.today);
    }
}

fn is_resting(ask: &Ask, known: &Remembered, at: DateTime<Utc>) -> bool {
    let since = known.told_ms.map(|told| at.timestamp_millis() - told);
    // Told in the future: the clock was set back.
    since.is_some_and(|since| (0..ask.pause.num_milliseconds()).contains(&since))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;
    use crate::catalogue::{Fault, PartId};
    use crate::decide::change::compare;
    use crate::decide::change::tests::record;
    use crate::decide::{
        AnswerRecord, Doubt, DoubtReason, Drift, Edition, Low, Names, TEMPLATES, dress,
    };
    use crate::market::{ChangeTerms, RoleId};
    use crate::money::{Currency, Money};
    use crate::template::Templates;
    use chrono::TimeDelta;

    fn read(text: &str) -> (Telling, Vec<Fault>) {
        let document = Document::parse("b.toml", text);
        let mut root = document.root();
        let usual = ["desk".to_owned()];
        let telling = Telling::read(&mut root, Some(Currency::EUR), &usual);
        root.finish();
        (telling, document.into_faults())
    }

    fn telling(text: &str) -> Telling {
        let (telling, faults) = read(text);
        assert_eq!(faults, []);
        telling
    }

    fn euros(minor: i64) -> Money {
        Money::from_minor(minor, Currency::EUR)
    }

    /// A brief that is looked at again and again.
    struct Watched {
        telling: Telling,
        memory: Memory,
        standing: Option<AnswerRecord>,
        minute: i64,
        doubts: Vec<Doubt>,
        prices: BTreeMap<(RoleId, PartId), Money>,
        lows: BTreeMap<(String, PartId), Low>,
        /// What was published, by the number of the edition.
        published: Option<(u32, AnswerRecord)>,
        is_pending: bool,
    }

    impl Watched {
        fn new(text: &str) -> Watched {
            Watched {
                telling: telling(text),
                memory: Memory::default(),
                standing: None,
                minute: 0,
                doubts: Vec::new(),
                prices: BTreeMap::new(),
                lows: BTreeMap::new(),
                published: None,
                is_pending: false,
            }
        }

        /// Ten minutes later: today's parts, total and score. Returns the subjects told.
        fn look(&mut self, parts: &[&str], total: i64, score: f64) -> Vec<String> {
            let told = self.told(parts, total, score);
            told.into_iter().map(|told| told.bulletin.subject).collect()
        }

        fn told(&mut self, parts: &[&str], total: i64, score: f64) -> Vec<Told> {
            self.minute += 10;
            let today = record(parts, total, score);
            let repriced = self.standing.clone().filter(AnswerRecord::has_build);
            let terms = ChangeTerms::none(Currency::EUR);
            let edition = self.published.as_ref().map(|(number, then)| Edition {
                number: *number,
                at: then.at.clone(),
                drift: Drift::between(then, self.now(then).as_ref(), &self.prices, &today),
                abroad: Vec::new(),
                doubts: Vec::new(),
            });
            let scene = Scene {
                name: "Den",
                names: Names::default(),
                currency: Currency::EUR,
                at: DateTime::UNIX_EPOCH + TimeDelta::minutes(self.minute),
                standing: self.standing.as_ref(),
                today: &today,
                change: compare(self.standing.as_ref(), repriced.as_ref(), &today, &terms),
                prices: self.prices.clone(),
                asked: BTreeMap::new(),
                lows: self.lows.clone(),
                edition,
                doubts: self.doubts.clone(),
            };
            // As it is read back after a restart.
            let memory = Memory::from_json(&self.memory.to_json());
            let outcome = settle("den", &self.telling, &scene, memory);
            if outcome.stands {
                self.standing = Some(today);
            }
            self.memory = outcome.memory;
            self.is_pending = outcome.is_pending;
            let templates = Templates::built_in(&[TEMPLATES]);
            let mut told = outcome.told;
            for one in &mut told {
                assert_eq!(dress(&mut one.bulletin, &templates, &BTreeMap::new()), []);
            }
            told
        }

        /// What was published at today's prices, where all of it can be had.
        fn now(&self, then: &AnswerRecord) -> Option<AnswerRecord> {
            let mut now = then.clone();
            for pick in &mut now.picks {
                let key = (pick.role.clone(), pick.part.clone());
                pick.landed_minor = self.prices.get(&key)?.minor();
            }
            now.total_minor = Some(now.picks.iter().map(|pick| pick.landed_minor).sum());
            Some(now)
        }

        fn price(&mut self, at: usize, part: &str, minor: Option<i64>) {
            let key = (RoleId::new(format!("role {at}")), PartId::new(part));
            match minor {
                Some(minor) => self.prices.insert(key, euros(minor)),
                None => self.prices.remove(&key),
            };
        }
    }

    #[test]
    fn the_first_build_is_told_or_not_as_asked() {
        // Pitfall N07.
        let mut loud = Watched::new("");
        assert_eq!(loud.look(&["a"], 100, 100.0).len(), 1);
        assert_eq!(loud.look(&["a"], 100, 100.0).len(), 0);
        let mut silent = Watched::new("[telling]\nfirst = false\n");
        assert_eq!(silent.look(&["a"], 100, 100.0).len(), 0);
        assert!(silent.standing.is_some());
        assert_eq!(silent.look(&["b"], 100, 110.0).len(), 1);
    }

    #[test]
    fn a_change_that_goes_back_within_the_hold_tells_nothing() {
        // Pitfall N09.
        let mut den = Watched::new("[telling]\nhold_minutes = 30\n");
        assert_eq!(den.look(&["a"], 19_990, 100.0).len(), 1);
        for _ in 0..5 {
            assert_eq!(den.look(&["b"], 19_990, 101.0).len(), 0);
            assert!(den.is_pending);
            assert_eq!(den.look(&["b"], 19_989, 101.0).len(), 0);
            assert_eq!(den.look(&["a"], 19_990, 100.0).len(), 0);
            assert!(!den.is_pending);
        }
    }

    #[test]
    fn a_change_that_holds_is_told_once() {
        let mut den = Watched::new("[telling]\nhold_minutes = 20\n");
        den.look(&["a"], 20_000, 100.0);
        let told: Vec<usize> = (0..6)
            .map(|_| den.look(&["b"], 20_000, 101.0).len())
            .collect();
        assert_eq!(told, [0, 0, 1, 0, 0, 0]);
    }

    #[test]
    fn a_saving_is_quoted_against_what_was_told_last() {
        // Pitfall N15. The build sinks from 200 to 150 in small steps that are not told.
        let mut den = Watched::new("[[tell]]\nwhen = \"gain\"\nsaving = \"40.00\"\n");
        den.look(&["a"], 20_000, 100.0);
        assert_eq!(den.look(&["b"], 18_000, 100.0).len(), 0);
        assert_eq!(den.look(&["c"], 16_500, 100.0).len(), 0);
        let told = den.look(&["d"], 15_000, 100.0);
        assert_eq!(told.len(), 1);
        assert!(told[0].contains("50.00"), "{told:?}");
    }

    #[test]
    fn a_pause_holds_news_off_and_loses_none() {
        let text = "[[tell]]\nwhen = \"build_changed\"\npause_hours = 1\n";
        let mut den = Watched::new(text);
        assert_eq!(den.look(&["a"], 100, 100.0).len(), 1);
        for _ in 0..5 {
            assert_eq!(den.look(&["b"], 100, 101.0).len(), 0);
            assert!(den.is_pending);
        }
        assert_eq!(den.look(&["b"], 100, 101.0).len(), 1);
    }

    #[test]
    fn an_answer_on_doubtful_prices_says_so_or_waits() {
        // Pitfall N11.
        let doubt = Doubt {
            role: RoleId::new("role 0"),
            part: PartId::new("b"),
            name: "Part b".to_owned(),
            retailer: "shop".to_owned(),
            why: DoubtReason::Stale,
            seen_at: "2026-03-01T12:00:00Z".to_owned(),
        };
        let mut says = Watched::new("[telling]\nstale_hours = 24\n");
        says.look(&["a"], 100, 100.0);
        says.doubts = vec![doubt.clone()];
        let told = says.told(&["b"], 100, 101.0);
        let sentence = "shop has not confirmed its price of Part b since 2026-03-01T12:00:00Z";
        assert!(
            told[0].bulletin.text.contains(sentence),
            "{}",
            told[0].bulletin.text
        );
        assert_eq!(told[0].bulletin.data["doubts"][0]["why"], "stale");

        let mut waits = Watched::new("[telling]\nstale_hours = 24\non_doubt = \"wait\"\n");
        waits.look(&["a"], 100, 100.0);
        waits.doubts = vec![doubt];
        assert_eq!(waits.look(&["b"], 100, 101.0).len(), 0);
        assert!(waits.is_pending);
        waits.doubts.clear();
        assert_eq!(waits.look(&["b"], 100, 101.0).len(), 1);
    }

    #[test]
    fn impossible_and_possible_again_are_one_notice_each() {
        // Pitfall N12.
        let mut den = Watched::new("");
        den.look(&["a"], 100, 100.0);
        let looks = [[].as_slice(), &[], &["a"], &["a"]];
        let told: Vec<usize> = looks.map(|parts| den.look(parts, 100, 100.0).len()).into();
        assert_eq!(told, [1, 0, 1, 0]);
    }

    #[test]
    fn a_published_guide_that_is_no_longer_true_is_told_once_and_again_when_it_gets_worse() {
        let text =
            "[[tell]]\nwhen = \"guide_outdated\"\ntotal_percent = \"3\"\nscore_percent = \"2\"\n";
        let mut den = Watched::new(text);
        let published = record(&["a", "b"], 20_000, 100.0);
        let at = |den: &mut Watched, a, b, best: &[&str], score| {
            den.price(0, "a", a);
            den.price(1, "b", b);
            den.look(best, 20_000, score)
        };
        let ab = ["a", "b"].as_slice();
        // Nothing is published yet.
        assert_eq!(at(&mut den, Some(9_000), Some(10_000), ab, 100.0).len(), 0);
        den.published = Some((1, published.clone()));
        assert_eq!(at(&mut den, Some(10_600), Some(10_000), ab, 100.0).len(), 0);
        let off = at(&mut den, Some(10_700), Some(10_000), ab, 100.0);
        assert_eq!(off, ["Den: guide outdated: its total is off by +3.5 %"]);
        assert_eq!(at(&mut den, Some(11_000), Some(10_000), ab, 100.0).len(), 0);
        assert_eq!(at(&mut den, Some(11_400), Some(10_000), ab, 100.0).len(), 1);
        let gone = at(&mut den, Some(11_400), None, &["a", "c"], 101.0);
        assert_eq!(gone, ["Den: guide outdated: Part b cannot be had any more"]);
        assert_eq!(
            at(&mut den, Some(11_400), None, &["a", "c"], 101.9).len(),
            0
        );
        assert_eq!(
            at(&mut den, Some(11_400), None, &["a", "c"], 102.0).len(),
            1
        );
        // The next edition is measured by itself.
        den.published = Some((2, record(&["a", "c"], 22_800, 102.0)));
        den.price(1, "c", Some(11_400));
        assert_eq!(
            at(&mut den, Some(11_400), None, &["a", "c"], 102.0).len(),
            0
        );
        let (_, faults) = read("[[tell]]\nwhen = \"guide_outdated\"\n");
        assert!(
            faults[0].to_string().contains("total_percent"),
            "{faults:?}"
        );
    }

    #[test]
    fn a_pick_that_rose_or_is_gone_is_told_once_with_its_replacement() {
        let mut den = Watched::new("[[tell]]\nwhen = \"pick_lost\"\nrise_percent = \"10\"\n");
        den.price(0, "a", Some(10_000));
        assert_eq!(den.look(&["a"], 10_000, 100.0).len(), 0);
        let at = |den: &mut Watched, minor, today: &str| {
            den.price(0, "a", minor);
            // The brief asks for no news of the build: without this it would stand at once.
            den.look(&[today], 10_000, 100.0)
        };
        assert_eq!(at(&mut den, Some(10_999), "a").len(), 0);
        assert_eq!(
            at(&mut den, Some(11_000), "a"),
            ["Den: Part a rose to EUR 110.00"]
        );
        assert_eq!(at(&mut den, Some(11_100), "a").len(), 0);
        assert_eq!(at(&mut den, Some(12_100), "a").len(), 1);
        let gone = {
            den.price(0, "a", None);
            den.told(&["b"], 10_000, 100.0)
        };
        assert_eq!(
            gone[0].bulletin.subject,
            "Den: Part a cannot be had any more"
        );
        assert!(
            gone[0]
                .bulletin
                .text
                .contains("best instead: Part b for EUR 100.00")
        );
    }

    #[test]
    fn crossings_are_told_when_they_happen_and_not_again() {
        let text = "[[tell]]\nwhen = \"total\"\nbelow = \"90.00\"\n\
            [[tell]]\nwhen = \"enters\"\npart = \"c\"\n\
            [[tell]]\nwhen = \"target\"\npart = \"z\"\nprice = \"50.00\"\n";
        let mut den = Watched::new(text);
        assert_eq!(den.look(&["a"], 10_000, 100.0).len(), 0);
        let below = den.look(&["a"], 8_999, 100.0);
        assert_eq!(below, ["Den: best build EUR 89.99, below EUR 90.00"]);
        assert_eq!(den.look(&["a"], 8_000, 100.0).len(), 0);
        assert_eq!(den.look(&["a"], 9_000, 100.0).len(), 0);
        assert_eq!(den.look(&["c"], 9_000, 100.0).len(), 1);
        assert_eq!(den.look(&["c"], 9_000, 100.0).len(), 0);
        den.price(7, "z", Some(5_000));
        assert_eq!(
            den.look(&["c"], 9_000, 100.0),
            ["Den: z is down to EUR 50.00"]
        );
        assert_eq!(den.look(&["c"], 9_000, 100.0).len(), 0);
    }

    #[test]
    fn a_new_low_is_told_until_it_is_undercut_no_more() {
        let mut den = Watched::new("[[tell]]\nwhen = \"lowest\"\ndays = 90\n");
        let mut at = |now, before| {
            let key = ("lowest::Some(90)".to_owned(), PartId::new("a"));
            let (now, before) = (euros(now), euros(before));
            let days = 90;
            den.lows.insert(key, Low { now, before, days });
            den.look(&["a"], 10_000, 100.0).len()
        };
        let told = [
            at(100, 100),
            at(99, 100),
            at(99, 100),
            at(100, 99),
            at(98, 99),
        ];
        assert_eq!(told, [0, 1, 0, 0, 1]);
    }

    #[test]
    fn wrong_keys_are_named_with_their_remedy() {
        for (text, part) in [
            ("[[tell]]\nwhen = \"totl\"\n", "did you mean \"total\"?"),
            (
                "[[tell]]\nwhen = \"total\"\n",
                "write either `below` or `above`",
            ),
            (
                "[[tell]]\nwhen = \"gain\"\n",
                "write `score_percent`, `saving` or both",
            ),
            ("[telling]\non_doubt = \"sya\"\n", "did you mean \"say\"?"),
            (
                "[[tell]]\nwhen = \"enters\"\npart = \"a\"\nparts = 1\n",
                "parts",
            ),
        ] {
            let (_, faults) = read(text);
            let said: Vec<String> = faults.iter().map(ToString::to_string).collect();
            assert_eq!(said.len(), 1, "{said:?}");
            assert!(said[0].contains(part), "{said:?}");
        }
    }
}
