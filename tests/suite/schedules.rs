//! Schedules against croniter, each difference named, explained and counted.

use crate::support::facts;
use chrono::offset::LocalResult;
use chrono::{DateTime, TimeZone, Utc};
use chrono_tz::Tz;
use rigtide::watch::schedule::Schedule;
use serde_json::Value;
use std::collections::BTreeMap;

const TABLE: &str = include_str!("../reference/schedules.json");

/// What was asked of both, and what they said.
struct Row {
    expression: String,
    zone: Tz,
    ours: Vec<DateTime<Utc>>,
    theirs: Vec<DateTime<Utc>>,
}

/// Why the two differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Difference {
    /// The clock shows a time of day twice. croniter runs at both; here a time of day is due once
    /// (pitfall D01), as with cron(8) of Debian.
    SecondComing,
    /// A field for days such as `*/2` beside a restricted one. croniter takes either; crontab(5)
    /// says that a field that begins with `*` is no restriction that could be the "either".
    StarredDay,
}

impl Row {
    fn new(expression: &str, zone: Tz, start: DateTime<Utc>, theirs: Vec<DateTime<Utc>>) -> Row {
        let schedule = Schedule::parse(expression, zone)
            .unwrap_or_else(|fault| panic!("{expression}: {fault}"));
        let next = |at: &DateTime<Utc>| schedule.next_after(*at);
        let ours = std::iter::successors(schedule.next_after(start), next).take(5);
        Row {
            expression: expression.to_owned(),
            zone,
            ours: ours.collect(),
            theirs,
        }
    }

    /// The difference, if there is one, which explains all of it.
    fn difference(&self) -> Option<Difference> {
        if self.ours == self.theirs {
            return None;
        }
        let first_comings: Vec<DateTime<Utc>> = self
            .theirs
            .iter()
            .copied()
            .filter(|at| !self.is_second_coming(*at))
            .collect();
        let fields: Vec<&str> = self.expression.split(' ').collect();
        let [.., day, _, weekday] = fields[..] else {
            panic!("{}", self.expression)
        };
        if first_comings.len() < self.theirs.len() && self.ours.starts_with(&first_comings) {
            return Some(Difference::SecondComing);
        }
        // What they run in addition breaks one of the two fields; what runs here is theirs as well.
        let last = self.theirs.last().copied().unwrap_or_default();
        let within = self.ours.iter().filter(|at| **at <= last);
        let is_less = within.clone().all(|at| self.theirs.contains(at));
        if day.starts_with("*/") && weekday != "*" && is_less {
            return Some(Difference::StarredDay);
        }
        panic!(
            "{} in {}: ours {:?}, theirs {:?}",
            self.expression, self.zone, self.ours, self.theirs
        );
    }

    fn is_second_coming(&self, at: DateTime<Utc>) -> bool {
        let local = at.with_timezone(&self.zone).naive_local();
        match self.zone.from_local_datetime(&local) {
            LocalResult::Ambiguous(first, second) => first < second && second == at,
            LocalResult::Single(_) | LocalResult::None => false,
        }
    }
}

fn counted(rows: &[Row]) -> BTreeMap<Difference, usize> {
    let mut counted = BTreeMap::new();
    for difference in rows.iter().filter_map(Row::difference) {
        *counted.entry(difference).or_default() += 1;
    }
    counted
}

fn instant(value: &Value) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp(value.as_i64()?, 0)
}

/// Source: croniter at the version that tests/reference/schedules.json names;
/// tests/reference/schedules.py makes it anew. Pitfalls D01, D02, D03.
#[test]
fn the_next_times_are_croniters_but_for_two_differences() {
    let whole: Value = serde_json::from_str(TABLE).unwrap();
    let rows: Vec<Row> = whole["due"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            let text = |at: usize| row[at].as_str().unwrap();
            // Where the years of the expression are over there is an error's name and no instant.
            let theirs = row.as_array().unwrap()[3..].iter().filter_map(instant);
            let start = instant(&row[2]).unwrap();
            Row::new(text(0), text(1).parse().unwrap(), start, theirs.collect())
        })
        .collect();
    assert_eq!(rows.len(), 910);
    let ended = rows.iter().filter(|row| row.ours.is_empty()).count();
    assert_eq!(ended, 6, "one a zone, of 2026 to 2028 asked in 2096");
    let expected = [(Difference::SecondComing, 14), (Difference::StarredDay, 26)];
    assert_eq!(counted(&rows), BTreeMap::from(expected));
}

/// Source: croniter 7.0.0, as the file of check values has it.
#[test]
fn the_published_table_of_next_times_holds_but_for_the_same_two_differences() {
    let Some(table) = facts::read("cron_next.csv") else {
        return;
    };
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let (mut rows, mut n_never) = (Vec::new(), 0);
    for line in reader.records() {
        let line = line.unwrap();
        let zone: Tz = line[1].parse().unwrap();
        let read = |text: &str| DateTime::parse_from_rfc3339(text).map(|at| at.with_timezone(&Utc));
        if line[3].starts_with("Croniter") {
            assert!(Schedule::parse(&line[0], zone).is_err(), "{}", &line[0]);
            n_never += 1;
            continue;
        }
        let theirs = (3..8).map(|at| read(&line[at]).unwrap()).collect();
        rows.push(Row::new(&line[0], zone, read(&line[2]).unwrap(), theirs));
    }
    assert_eq!((rows.len(), n_never), (39, 1));
    let expected = [(Difference::SecondComing, 3), (Difference::StarredDay, 1)];
    assert_eq!(counted(&rows), BTreeMap::from(expected));
}

/// Source: as above. What croniter takes beyond crontab(5) and is refused here: ranges that wrap,
/// the last day, the nth weekday, the nearest workday.
#[test]
fn what_croniter_refuses_is_refused_and_four_of_its_extensions_too() {
    let whole: Value = serde_json::from_str(TABLE).unwrap();
    let mut beyond = Vec::new();
    for row in whole["odd"].as_array().unwrap() {
        let expression = row[0].as_str().unwrap();
        let theirs: Vec<DateTime<Utc>> = row.as_array().unwrap()[3..]
            .iter()
            .filter_map(instant)
            .collect();
        match Schedule::parse(expression, Tz::UTC) {
            Err(_) if theirs.is_empty() => {}
            Err(_) => beyond.push(expression),
            Ok(_) => {
                let start = instant(&row[2]).unwrap();
                let row = Row::new(expression, Tz::UTC, start, theirs);
                assert_eq!(row.difference(), None, "{expression}");
            }
        }
    }
    assert_eq!(
        beyond,
        ["5-1 * * * *", "0 0 L * *", "0 0 * * 5#3", "0 0 1W * *"]
    );
}
