//! What deciding remembers of a brief between two looks at the market. It is stored with the
//! decision that it led to, so that a restart forgets nothing and repeats nothing.

use super::change::Change;
use super::record::{AnswerRecord, PickRecord};
use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A change of the best build is told at the latest after so many times the holding time, even if
/// the builds that displace the standing one keep taking turns.
const LONGEST_WAIT: i32 = 3;

/// What is remembered of one brief. Keys are only ever added.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Memory {
    /// What displaces the standing answer and has not been told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pending: Option<Pending>,
    /// By the key of what was asked for.
    #[serde(default)]
    pub asks: BTreeMap<String, Remembered>,
    /// What the newest look found, where that is other than what stands: the build that stands at other
    /// prices, or one that is not told, or not yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub today: Option<AnswerRecord>,
}

/// A change that has to hold for a while before it is told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pending {
    /// The parts that displace the standing ones.
    pub parts: String,
    /// Since when these do.
    pub since_ms: i64,
    /// Since when any do.
    pub displaced_ms: i64,
}

/// What is remembered of one thing that a brief asks to be told.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Remembered {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub told_ms: Option<i64>,
    /// The trigger's own; null before it was first judged.
    #[serde(default)]
    pub state: serde_json::Value,
}

impl Memory {
    /// Reads a memory back. One that cannot be read counts as empty: what it held off is told anew
    /// at the worst.
    pub fn from_json(json: &str) -> Memory {
        serde_json::from_str(json).unwrap_or_default()
    }

    /// One line of JSON.
    pub fn to_json(&self) -> String {
        // Serialising plain data with text keys cannot fail.
        serde_json::to_string(self).unwrap_or_default()
    }

    /// Remembers today's answer where it says other things than the one that stands. One that says what is
    /// remembered already changes nothing, so that nothing is stored anew.
    pub fn see(&mut self, standing: Option<&AnswerRecord>, today: &AnswerRecord) {
        let known = self.today.take();
        if standing.is_some_and(|standing| say_the_same(standing, today)) {
            return;
        }
        let known = known.filter(|known| say_the_same(known, today));
        self.today = Some(known.unwrap_or_else(|| today.clone()));
    }

    /// Whether a change has held for long enough to be told. A change that went back is forgotten.
    ///
    /// The first answer waits for nothing: there is no build that it could displace.
    pub fn has_held(
        &mut self,
        change: &Change,
        today: &AnswerRecord,
        hold: TimeDelta,
        at: DateTime<Utc>,
    ) -> bool {
        if matches!(change, Change::First | Change::None | Change::TooSmall) {
            self.pending = None;
            return true;
        }
        let now = at.timestamp_millis();
        let parts = today.parts_text();
        let pending = match self.pending.take() {
            Some(pending) if pending.parts == parts => pending,
            known => Pending {
                parts,
                since_ms: now,
                displaced_ms: known.map_or(now, |known| known.displaced_ms),
            },
        };
        // A clock that was set back must not hold a change off for longer.
        let lasted = |since: i64| TimeDelta::milliseconds((now - since).max(0));
        let has_held =
            lasted(pending.since_ms) >= hold || lasted(pending.displaced_ms) >= hold * LONGEST_WAIT;
        self.pending = Some(pending);
        has_held
    }
}

/// Whether a person who knows the one learns nothing from the other: instants apart, and what follows from
/// the picks.
fn say_the_same(one: &AnswerRecord, other: &AnswerRecord) -> bool {
    let head = |answer: &AnswerRecord| {
        let amounts = (answer.budget_minor, answer.total_minor);
        (amounts, answer.score_exact, answer.proof.status)
    };
    let are_same = |(one, other): (&PickRecord, &PickRecord)| {
        let seen_at = one.seen_at.clone();
        *one == PickRecord {
            seen_at,
            ..other.clone()
        }
    };
    head(one) == head(other)
        && one.currency == other.currency
        && one.orders == other.orders
        && one.obstacles == other.obstacles
        && one.picks.len() == other.picks.len()
        && one.picks.iter().zip(&other.picks).all(are_same)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decide::change::tests::record;
    use crate::decide::{BuildChange, Cause};

    fn other() -> Change {
        Change::Build(BuildChange {
            went_out: Vec::new(),
            came_in: Vec::new(),
            cause: Cause::Better,
        })
    }

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    #[test]
    fn what_the_newest_look_found_is_remembered_while_it_is_other_than_what_stands() {
        let stands = record(&["a"], 100, 100.0);
        let later = |mut record: AnswerRecord, minute| {
            record.at = at(minute).to_rfc3339();
            record.considered.offers += 1;
            record
        };
        let mut memory = Memory::default();
        memory.see(Some(&stands), &later(stands.clone(), 10));
        assert_eq!(memory.today, None);
        let cheaper = later(record(&["a"], 90, 100.0), 20);
        memory.see(Some(&stands), &cheaper);
        assert_eq!(memory.today.as_ref(), Some(&cheaper));
        // As it is read back; nothing new is nothing to store.
        let kept = Memory::from_json(&memory.to_json());
        let mut again = kept.clone();
        again.see(Some(&stands), &later(cheaper, 30));
        assert_eq!(again, kept);
        again.see(Some(&stands), &later(record(&["b"], 90, 100.0), 40));
        assert_eq!(again.today.unwrap().picks[0].part.as_str(), "b");
        memory.see(Some(&stands), &later(stands.clone(), 50));
        assert_eq!(memory.today, None);
        memory.see(None, &stands);
        assert_eq!(memory.today, Some(stands));
    }

    #[test]
    fn a_change_is_told_once_it_has_held() {
        let (mut memory, hold) = (Memory::default(), TimeDelta::minutes(60));
        let b = record(&["b"], 100, 100.0);
        let mut has_held = |minute| memory.has_held(&other(), &b, hold, at(minute));
        assert!(!has_held(0));
        assert!(!has_held(59));
        assert!(has_held(60));
    }

    #[test]
    fn a_change_that_goes_back_inside_the_holding_time_is_forgotten() {
        // Pitfall N09.
        let (mut memory, hold) = (Memory::default(), TimeDelta::minutes(60));
        let (a, b) = (record(&["a"], 100, 100.0), record(&["b"], 100, 100.0));
        for round in 0..10 {
            assert!(!memory.has_held(&other(), &b, hold, at(round * 50)));
            assert!(memory.has_held(&Change::None, &a, hold, at(round * 50 + 30)));
            assert_eq!(memory.pending, None);
        }
    }

    #[test]
    fn builds_that_take_turns_do_not_hold_each_other_off_for_ever() {
        let (mut memory, hold) = (Memory::default(), TimeDelta::minutes(60));
        let (b, c) = (record(&["b"], 100, 100.0), record(&["c"], 100, 100.0));
        let told = (0..).find(|turn| {
            let today = if turn % 2 == 0 { &b } else { &c };
            memory.has_held(&other(), today, hold, at(turn * 10))
        });
        assert_eq!(told, Some(18));
    }

    #[test]
    fn a_memory_survives_its_json() {
        let mut memory = Memory::default();
        memory.has_held(
            &other(),
            &record(&["b"], 1, 1.0),
            TimeDelta::hours(1),
            at(0),
        );
        let remembered = Remembered {
            told_ms: Some(7),
            state: serde_json::json!({"below": true}),
        };
        memory
            .asks
            .insert("total:below:900.00".to_owned(), remembered);
        assert_eq!(Memory::from_json(&memory.to_json()), memory);
        assert_eq!(Memory::from_json("spoilt"), Memory::default());
    }
}
