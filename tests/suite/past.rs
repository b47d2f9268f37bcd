//! Answers of the past: asked again later, they come back byte for byte.

use crate::support::guides::{Guides, rigtide, run, text};
use std::fs;
use std::process::Output;

const OFFERS: &str = "retailers/example-offers.csv";

fn at(guides: &Guides, now: &str, arguments: &[&str]) -> Output {
    let mut command = rigtide(&guides.directory);
    command.args(arguments).env("RIGTIDE_TEST_NOW", now);
    command.output().unwrap()
}

fn printed(output: &Output) -> String {
    assert!(
        matches!(output.status.code(), Some(0 | 4)),
        "{}",
        text(&output.stderr)
    );
    text(&output.stdout)
}

/// What an author asks, with what stands in the place of `--at`.
const QUESTIONS: &[&[&str]] = &[
    &["best", "--json"],
    &["best"],
    &["ladder", "--json"],
    &["why", "drefholm-loft-12", "--json"],
    &["entry-prices", "graphics", "--json"],
    &["what-if", "--with-budget", "900", "--json"],
];

#[test]
fn asked_again_later_every_question_gives_the_bytes_of_then() {
    let guides = Guides::new();
    let original = fs::read_to_string(guides.directory.join(OFFERS)).unwrap();
    let lines: Vec<&str> = original.lines().collect();
    let without = |skipped: usize| -> String {
        let kept = lines.iter().enumerate().filter(|(at, _)| *at != skipped);
        kept.map(|(_, line)| format!("{line}\n")).collect()
    };
    // A dearer graphics card, an offer that is left out for a while, stock that runs out, and back
    // to the beginning.
    let snapshots = [
        original.clone(),
        original.replace(",214.90,", ",239.00,"),
        without(3),
        without(3).replace("in stock", "out of stock"),
        original.replacen("in stock", "out of stock", 2),
        original.clone(),
    ];
    let mut then = Vec::new();
    for (day, snapshot) in (1..).zip(&snapshots) {
        fs::write(guides.directory.join(OFFERS), snapshot).unwrap();
        let polled = format!("2026-12-{day:02}T06:00:00Z");
        at(&guides, &polled, &["poll"]);
        let asked = format!("2026-12-{day:02}T08:30:00Z");
        for question in QUESTIONS {
            then.push((
                asked.clone(),
                *question,
                printed(&at(&guides, &asked, question)),
            ));
        }
    }
    let distinct: std::collections::BTreeSet<&str> = then
        .iter()
        .filter(|(_, question, _)| *question == QUESTIONS[0])
        .map(|(_, _, answer)| answer.split("\"total_minor\":").nth(1).unwrap_or(""))
        .map(|rest| rest.split(',').next().unwrap_or(""))
        .collect();
    assert!(distinct.len() > 1, "the polls made no difference");
    for (asked, question, answer) in &then {
        let again = [*question, &["--at", asked]].concat();
        let again = at(&guides, "2027-02-01T00:00:00Z", &again);
        assert_eq!(&printed(&again), answer, "{question:?} at {asked}");
    }
}

#[test]
fn nothing_is_made_up_before_the_first_poll_or_ahead_of_now() {
    let guides = Guides::new();
    let empty = run(&guides.directory, &["best", "--at", "2026-01-01"]);
    assert_eq!(empty.status.code(), Some(2));
    assert!(text(&empty.stderr).contains("`rigtide poll` sees for the first time"));
    at(&guides, "2026-12-01T06:00:00Z", &["poll"]);
    let now = "2026-12-02T06:00:00Z";
    let before = at(&guides, now, &["best", "--at", "2026-11-30"]);
    assert_eq!(before.status.code(), Some(2));
    insta::assert_snapshot!(text(&before.stderr), @r"
    error: nothing had been seen by 2026-11-30T23:59:59Z
      the record begins at 2026-12-01T06:00:00Z
    ");
    let ahead = at(
        &guides,
        now,
        &["why", "drefholm-loft-12", "--at", "2026-12-03"],
    );
    assert_eq!(ahead.status.code(), Some(2));
    insta::assert_snapshot!(text(&ahead.stderr), @r"
    error: --at lies ahead of now, 2026-12-02T06:00:00Z
      say an instant of the past
    ");
    let garbled = at(&guides, now, &["best", "--at", "last week"]);
    assert_eq!(garbled.status.code(), Some(2));
    assert!(text(&garbled.stderr).contains("write 2026-03-31 or"));
}
