//! The desk behind the page: it says what the commands say, on the starter configuration and its ledger.

use crate::support::guides::{Guides, rigtide, text};
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::ledger::Ledger;
use rigtide::optimise::Effort;
use rigtide::watch::calls::{Calls, Listener, Pulse};
use rigtide::watch::clock::Clock;
use rigtide::watch::daemon::watch;
use rigtide::watch::decision::decide_briefs;
use rigtide::watch::desk::DaemonDesk;
use rigtide::watch::poll::PollReport;
use rigtide::watch::settings::load_settings;
use rigtide::web::desk::{Desk as _, PartsAsked, PastAsked};
use rigtide::web::view::{
    GuideForm, HeldWord, JOURNAL_KINDS, JournalAsked, MatchWord, OutboxWord, RefusalKind, WhatIf,
};
use serde_json::{Value, json, to_value};
use std::sync::Arc;
use std::time::Duration;

const POLLED: &str = "2026-06-15T12:00:00Z";
const NOW: &str = "2026-06-15T18:00:00Z";
const BRIEF: &str = "example";
const CPU: &str = "askerune-fjell-26";
/// In the best build of the starter configuration.
const PICKED: &str = "veldimor-strand-32";

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn run_at(guides: &Guides, now: &str, arguments: &[&str]) -> String {
    let mut command = rigtide(&guides.directory);
    let output = command
        .env("RIGTIDE_TEST_NOW", now)
        .args(arguments)
        .output()
        .unwrap();
    let printed = text(&output.stdout);
    assert!(
        output.status.success(),
        "{arguments:?}: {printed}{}",
        text(&output.stderr)
    );
    printed
}

fn command(guides: &Guides, arguments: &[&str]) -> Value {
    serde_json::from_str(&run_at(guides, NOW, arguments)).unwrap()
}

fn polled() -> Guides {
    let guides = Guides::new();
    run_at(&guides, POLLED, &["poll"]);
    guides
}

fn desk(guides: &Guides) -> (DaemonDesk, Clock) {
    let settings = load_settings(&guides.directory);
    let settings = settings.unwrap_or_else(|faults| panic!("{faults:?}"));
    let clock = Clock::manual(at(NOW));
    (DaemonDesk::new(Arc::new(settings), clock.clone()), clock)
}

fn what_if(pairs: &[(&str, &str)]) -> WhatIf {
    WhatIf::of_pairs(pairs.iter().copied()).unwrap()
}

/// Without what says nothing: a command leaves some of it out.
fn told(value: &Value) -> Value {
    match value {
        Value::Object(pairs) => {
            let pairs = pairs.iter().filter(|(_, value)| !value.is_null());
            pairs
                .map(|(key, value)| (key.clone(), told(value)))
                .collect()
        }
        Value::Array(values) => values.iter().map(told).collect(),
        other => other.clone(),
    }
}

fn assert_same(desk: impl serde::Serialize, command: &Value) {
    assert_eq!(told(&to_value(desk).unwrap()), told(command));
}

#[test]
fn the_desk_says_what_the_commands_say() {
    let guides = polled();
    let (desk, _) = desk(&guides);
    let plain = WhatIf::default();

    let best = command(&guides, &["best", "--alternatives", "5", "--json"]);
    let page = desk.brief(BRIEF, &plain).unwrap();
    let page_json = to_value(&page).unwrap();
    for key in [
        "brief",
        "at",
        "currency",
        "budget_minor",
        "total_minor",
        "score",
        "score_exact",
        "estimated_percent",
        "cautions",
        "obstacles",
        "gain_percent_of_a_tenth",
        "left_out",
        "wishes",
    ] {
        assert_eq!(page_json[key], best[key], "{key}");
    }
    assert_eq!(page_json["proof"], best["proof"]["status"]);
    let picks = best["picks"].as_array().unwrap();
    assert_eq!(page.picks.len(), picks.len());
    for (shown, pick) in page_json["picks"].as_array().unwrap().iter().zip(picks) {
        for key in [
            "role",
            "part",
            "name",
            "quantity",
            "retailer",
            "sku",
            "price_minor",
            "landed_minor",
            "seen_at",
            "availability",
            "lead_days",
        ] {
            assert_eq!(shown[key], pick[key], "{key}");
        }
        assert_ne!(shown["reason"], "");
    }
    for workload in &page.workloads {
        let rate = &best["rates"][&workload.workload];
        assert_eq!(json!(workload.rate), rate["rate"]);
        assert_eq!(json!(workload.limited_by), rate["limited_by"]);
    }
    let others = desk.alternatives(BRIEF, &plain).unwrap();
    assert_same(&others.alternatives, &best["alternatives"]);
    assert_same(&others.platforms, &best["platforms"]);

    let ladder = command(&guides, &["ladder", "--json"]);
    let climbed = desk.ladder(BRIEF, &plain).unwrap();
    assert_same(&climbed.rungs, &ladder["rungs"]);
    assert_eq!(json!(climbed.whole), ladder["whole"]);
    let bought = &climbed.rungs[climbed.bought.unwrap()];
    assert_eq!(json!(bought.total_minor), best["total_minor"]);

    let entries = command(&guides, &["entry-prices", "--json"]);
    let found = desk.entry_prices(BRIEF, None, &plain).unwrap();
    assert_same(&found.roles, &entries["roles"]);
    for part in ["oskvale-lumevar-33-duo", CPU, "vennoquil-barn-14"] {
        let why = command(&guides, &["why", part, "--json"]);
        let found = desk.why(BRIEF, part, &plain).unwrap();
        assert_same(&found.roles, &why["roles"]);
        assert_same(&found.left_out, &why["left_out"]);
    }
    let found = desk.past(PICKED, &PastAsked::default()).unwrap();
    let entry = found
        .entry_prices
        .iter()
        .map(|one| one.entry_minor)
        .max()
        .unwrap();
    let target = format!("{}.{:02}", entry / 100, entry % 100);
    let past = command(&guides, &["history", PICKED, "--target", &target, "--json"]);
    let facts = found.wares[0].facts.as_ref().unwrap();
    assert_eq!(facts.wait.as_ref().unwrap().target_minor, entry);
    assert_same(&found.points, &past["points"]);
    assert_same(&found.wares, &past["wares"]);
    assert_same(&found.claims, &past["claims"]);
    // The part's page works its entry prices out by itself.
    let own = |role: &&Value| role["role"] == "processor";
    let parts = entries["roles"]
        .as_array()
        .unwrap()
        .iter()
        .find(own)
        .unwrap()["parts"]
        .clone();
    let parts = parts.as_array().unwrap().iter();
    let entry = parts
        .filter(|part| part["part"] == PICKED)
        .map(|part| part["entry_minor"].clone());
    let known = found.entry_prices.iter().map(|one| json!(one.entry_minor));
    assert_eq!(known.collect::<Vec<_>>(), entry.collect::<Vec<_>>());

    for form in GuideForm::ALL {
        let guide = desk.guide(BRIEF, form, &plain).unwrap();
        let file = guides.directory.join(form.name());
        let out = file.to_str().unwrap();
        run_at(
            &guides,
            NOW,
            &["guide", "--format", form.name(), "--out", out],
        );
        let written = std::fs::read_to_string(&file).unwrap();
        assert_eq!(guide.text, written, "{form:?}");
    }
}

#[test]
fn a_what_if_of_the_desk_is_that_of_the_command() {
    let guides = polled();
    let (desk, _) = desk(&guides);
    let asked = what_if(&[
        ("budget", "900.00"),
        ("pin", "case:drefholm-loft-12"),
        ("ban", "ulvaskop-moss-1-tb"),
        ("price", "haldrune-hearth-550-w:40"),
    ]);
    let then = command(
        &guides,
        &[
            "what-if",
            "--with-budget",
            "900.00",
            "--pin",
            "case=drefholm-loft-12",
            "--ban",
            "ulvaskop-moss-1-tb",
            "--price",
            "haldrune-hearth-550-w=40",
            "--json",
        ],
    );
    let page = desk.brief(BRIEF, &asked).unwrap();
    assert_eq!(json!(page.total_minor), then["then"]["total_minor"]);
    assert_eq!(json!(page.score_exact), then["then"]["score_exact"]);
    let written = page.as_written.unwrap();
    assert_eq!(json!(written.total_minor), then["now"]["total_minor"]);
    assert!(written.changes.iter().any(|change| change.role == "case"));
    assert!(page.picks.iter().any(|pick| pick.is_pinned));
    // The ladder of the what-if has the same build at this budget.
    let ladder = desk.ladder(BRIEF, &asked).unwrap();
    let bought = &ladder.rungs[ladder.bought.unwrap()];
    assert_eq!(Some(bought.total_minor), page.total_minor);
    assert_eq!(Some(bought.score_exact), page.score_exact);

    for senseless in [
        ("budget", "much"),
        ("pin", "case:none"),
        ("ban", "none"),
        ("pin", "x:y"),
    ] {
        let refusal = desk.brief(BRIEF, &what_if(&[senseless])).unwrap_err();
        assert_eq!(refusal.kind, RefusalKind::Invalid, "{senseless:?}");
        assert_ne!(refusal.remedy, "");
    }
    let refusal = desk.brief("none", &WhatIf::default()).unwrap_err();
    assert_eq!(refusal.kind, RefusalKind::NotFound);
}

#[test]
fn a_saved_what_if_reads_back_as_the_same_answer_and_comments_stay() {
    let guides = polled();
    let (desk, _) = desk(&guides);
    let asked = what_if(&[
        ("budget", "900"),
        ("pin", "case:vennoquil-barn-14"),
        ("ban", "ulvaskop-moss-1-tb"),
        ("most_retailers", "1"),
    ]);
    let page = desk.brief(BRIEF, &asked).unwrap();
    let proposal = desk.proposal(BRIEF, &asked).unwrap();
    assert!(
        proposal.diff.contains("-budget = \"950.00\""),
        "{}",
        proposal.diff
    );
    assert!(
        proposal.diff.contains("+budget = \"900.00\""),
        "{}",
        proposal.diff
    );
    let path = guides.directory.join(&proposal.file);
    let before = std::fs::read_to_string(&path).unwrap();

    let saved = desk.save(BRIEF, &asked, &proposal.digest).unwrap();
    let after = std::fs::read_to_string(&path).unwrap();
    let comments = |text: &str| text.matches('#').count();
    assert_eq!(comments(&after), comments(&before));
    let best = command(&guides, &["best", "--json"]);
    assert_eq!(json!(page.total_minor), best["total_minor"]);
    assert_eq!(json!(page.score_exact), best["score_exact"]);
    let parts = |picks: &Value| {
        let picks = picks.as_array().unwrap().iter();
        picks.map(|pick| pick["part"].clone()).collect::<Vec<_>>()
    };
    assert_eq!(
        parts(&to_value(&page.picks).unwrap()),
        parts(&best["picks"])
    );

    // What was shown is no longer there.
    let refusal = desk.save(BRIEF, &asked, &proposal.digest).unwrap_err();
    assert_eq!(refusal.kind, RefusalKind::Conflict);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), after);
    assert_ne!(saved.digest, proposal.digest);
}

#[test]
fn a_file_that_was_changed_meanwhile_is_a_conflict_and_stays() {
    let guides = polled();
    let (desk, _) = desk(&guides);
    let asked = what_if(&[("budget", "900")]);
    let proposal = desk.proposal(BRIEF, &asked).unwrap();
    guides.edit(
        &proposal.file,
        "name = \"Reading-room PC\"",
        "name = \"Other\"",
    );
    let path = guides.directory.join(&proposal.file);
    let edited = std::fs::read_to_string(&path).unwrap();
    let refusal = desk.save(BRIEF, &asked, &proposal.digest).unwrap_err();
    assert_eq!(refusal.kind, RefusalKind::Conflict);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), edited);
}

#[test]
fn a_plain_first_page_works_nothing_out_and_idle_minutes_let_go() {
    let guides = polled();
    let (desk, clock) = desk(&guides);
    for _ in 0..3 {
        let overview = desk.overview().unwrap();
        assert_eq!(overview.briefs.len(), 1);
        assert!(overview.feeds.offers > 0);
        desk.feeds().unwrap();
        desk.parts(&PartsAsked::default()).unwrap();
    }
    assert_eq!(desk.solved(), 0);
    desk.brief(BRIEF, &WhatIf::default()).unwrap();
    desk.brief(BRIEF, &WhatIf::default()).unwrap();
    assert_eq!(desk.solved(), 1);
    // A budget moves along the same ladder.
    for budget in ["700", "800", "950"] {
        desk.ladder(BRIEF, &what_if(&[("budget", budget)])).unwrap();
    }
    assert_eq!(desk.solved(), 2);
    clock.advance(TimeDelta::seconds(119));
    desk.tidy();
    assert!(desk.is_keeping());
    clock.advance(TimeDelta::seconds(1));
    desk.tidy();
    assert!(!desk.is_keeping());
    desk.brief(BRIEF, &WhatIf::default()).unwrap();
    assert_eq!(desk.solved(), 3);
    // The ledger was written: everything is asked anew.
    run_at(&guides, NOW, &["poll"]);
    desk.brief(BRIEF, &WhatIf::default()).unwrap();
    assert_eq!(desk.solved(), 4);
}

#[test]
fn parts_are_found_by_words_and_kinds_and_a_part_shows_all_of_it() {
    let guides = polled();
    let (desk, _) = desk(&guides);
    let list = |kind: Option<&str>, query: Option<&str>| {
        let asked = PartsAsked {
            kind: kind.map(str::to_owned),
            query: query.map(str::to_owned),
            page: None,
        };
        desk.parts(&asked).unwrap()
    };
    let all = list(None, None);
    assert_eq!(all.total as usize, all.parts.len());
    let cases = list(Some("case"), None);
    assert!(cases.parts.iter().all(|part| part.kind == "case") && cases.total > 1);
    let one = list(None, Some("FJELL askerune"));
    assert_eq!(one.parts[0].part, CPU);
    let part = desk.part(CPU).unwrap();
    assert!(!part.specs.is_empty() && !part.rates.is_empty() && !part.offers.is_empty());
    assert_eq!(one.parts[0].offers as usize, part.offers.len());
    assert_eq!(desk.part("none").unwrap_err().kind, RefusalKind::NotFound);
    assert_eq!(
        desk.past("none", &PastAsked::default()).unwrap_err().kind,
        RefusalKind::NotFound
    );
}

#[test]
fn journal_outbox_and_what_waits_are_as_the_commands_have_them() {
    let guides = polled();
    // A hundredth of what it was: held.
    let offers = guides.directory.join("retailers/example-offers.csv");
    let before = std::fs::read_to_string(&offers).unwrap();
    let dear = before
        .lines()
        .find(|line| line.contains("Fjell 26"))
        .unwrap();
    let price = dear
        .split(',')
        .find(|cell| cell.contains('.') && cell.parse::<f64>().is_ok());
    let price = price.unwrap();
    let cheap = dear.replacen(price, "1.17", 1);
    std::fs::write(&offers, before.replacen(dear, &cheap, 1)).unwrap();
    run_at(&guides, NOW, &["poll"]);

    let (desk, _) = desk(&guides);
    let mut changes = desk.changes();
    let held = desk.held().unwrap();
    assert_same(&held, &command(&guides, &["held", "--json"]));
    assert_eq!(held.len(), 1, "{held:?}");
    let done = desk.held_word(held[0].id, HeldWord::Drop).unwrap();
    assert_eq!(done.done, "dropped");
    assert!(changes.has_changed().unwrap());
    changes.mark_unchanged();
    assert_eq!(
        desk.held_word(held[0].id, HeldWord::Drop).unwrap_err().kind,
        RefusalKind::NotFound
    );
    assert!(!changes.has_changed().unwrap());

    let journal = desk.journal(&JournalAsked::default()).unwrap();
    let printed = run_at(&guides, NOW, &["journal", "--json"]);
    let mut lines: Vec<Value> = printed
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    lines.reverse();
    assert_same(&journal.entries, &Value::from(lines.clone()));
    assert_eq!(journal.entries[0].kind, "held_dropped");
    let asked = JournalAsked {
        limit: Some(1),
        ..JournalAsked::default()
    };
    let first = desk.journal(&asked).unwrap();
    if lines.len() > 1 {
        let rest = JournalAsked {
            before: first.next,
            ..asked
        };
        let second = desk.journal(&rest).unwrap();
        assert_same(&second.entries[0], &lines[1]);
    }
    let everything = JournalAsked::default();
    let all = desk.journal(&everything).unwrap().entries;
    let without = |kind: &str, limit| {
        let asked = JournalAsked {
            without: Some(kind.to_owned()),
            limit,
            ..JournalAsked::default()
        };
        desk.journal(&asked).unwrap()
    };
    let left = without("prices_changed", None);
    let expected = all.iter().filter(|entry| entry.kind != "prices_changed");
    assert_eq!(left.entries, expected.cloned().collect::<Vec<_>>());
    assert!(left.entries.len() < all.len() && left.next.is_none());
    let first = without("prices_changed", Some(1));
    assert_eq!(first.entries, left.entries[..1]);
    assert_eq!(first.next, Some(left.entries[0].number));
    assert!(
        all.iter()
            .all(|entry| JOURNAL_KINDS.contains(&entry.kind.as_str()))
    );
    let outbox = desk.outbox(Some("all"), None).unwrap();
    let listed = command(&guides, &["outbox", "list", "--state", "all", "--json"]);
    assert_same(&outbox.deliveries, &listed);
    let unknown = desk.outbox_word(99, OutboxWord::Retry).unwrap_err();
    assert_eq!(unknown.kind, RefusalKind::NotFound);
    let wrong = desk.outbox(Some("lost"), None).unwrap_err();
    assert_eq!(wrong.kind, RefusalKind::Invalid);

    let questions = desk.questions().unwrap();
    assert_eq!(desk.overview().unwrap().questions, questions.total);
    let queue = command(&guides, &["match", "--json"])["queue"].clone();
    assert_eq!(questions.total as usize, queue.as_array().unwrap().len());
    let unknown = desk.answer_question("example", "none", &MatchWord::New);
    assert_eq!(unknown.unwrap_err().kind, RefusalKind::NotFound);
}

#[test]
fn an_answered_question_is_asked_no_more() {
    let guides = polled();
    let offers = guides.directory.join("retailers/example-offers.csv");
    let before = std::fs::read_to_string(&offers).unwrap();
    let (desk, _) = desk(&guides);
    // A word on an offer that is matched already pins it, and is taken back again.
    let sku = desk.part(CPU).unwrap().offers[0].sku.clone();
    let accepted = desk.answer_question("example", &sku, &MatchWord::Accept(CPU.to_owned()));
    let accepted = accepted.unwrap();
    assert_eq!(
        (accepted.done.as_str(), accepted.part.as_deref()),
        ("accepted", Some(CPU))
    );
    let refused = desk.answer_question("example", &sku, &MatchWord::Refuse(Some(CPU.to_owned())));
    assert_eq!(refused.unwrap().part, None);
    assert!(desk.part(CPU).unwrap().offers.is_empty());
    let forgotten = desk
        .answer_question("example", &sku, &MatchWord::Forget)
        .unwrap();
    assert_eq!(forgotten.part.as_deref(), Some(CPU));
    assert_eq!(std::fs::read_to_string(&offers).unwrap(), before);
}

/// Stops the daemon after so many polls.
struct StopAfter {
    polls: usize,
    stop: tokio::sync::watch::Sender<bool>,
}

impl Listener for StopAfter {
    fn polled(&mut self, report: &PollReport) {
        assert_eq!(report.feed, "example/export");
        self.polls -= 1;
        if self.polls == 0 {
            self.stop.send(true).unwrap();
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_daemon_polls_a_feed_when_the_desk_is_asked_to() {
    let guides = Guides::new();
    let settings = load_settings(&guides.directory);
    let settings = settings.unwrap_or_else(|faults| panic!("{faults:?}"));
    let polling = crate::support::polling::of_settings(settings);
    let desk = DaemonDesk::new(polling.settings.clone(), Clock::system());
    let (stop, stopping) = tokio::sync::watch::channel(false);
    let calls = Calls {
        polls: desk.poll_calls(),
        pulse: Pulse::default(),
        ..Calls::to_stop(stopping)
    };
    // Never polled: polled at the start, and then because it is asked for.
    let mut listener = StopAfter { polls: 2, stop };
    let asking = tokio::task::spawn_blocking(move || {
        std::thread::sleep(Duration::from_secs(2));
        assert_eq!(
            desk.poll_now("none").unwrap_err().kind,
            RefusalKind::NotFound
        );
        desk.poll_now("example/export").unwrap()
    });
    let clock = Clock::system();
    let watching = watch(&polling, &clock, calls, &mut listener);
    let watched = tokio::time::timeout(Duration::from_secs(60), watching).await;
    watched.expect("polled twice within a minute").unwrap();
    assert!(asking.await.unwrap().is_asked);
}

#[test]
fn the_first_page_and_the_status_tell_what_the_build_costs_today() {
    let guides = polled();
    let (desk, _) = desk(&guides);
    let settings = load_settings(&guides.directory).unwrap();
    let decide = || {
        let mut ledger = Ledger::open(&guides.ledger()).unwrap();
        decide_briefs(&settings, &mut ledger, at(NOW), Effort::default()).unwrap();
    };
    let seen = || {
        let best = command(&guides, &["best", "--json"]);
        let overview = desk.overview().unwrap();
        let line = overview.briefs.into_iter().next().unwrap();
        assert_eq!(json!(line.total_minor), best["total_minor"]);
        assert_eq!(json!(line.score), best["score"]);
        let parts = line.picks.iter().map(|pick| json!(pick.part));
        let best_parts = best["picks"].as_array().unwrap();
        let best_parts = best_parts.iter().map(|pick| pick["part"].clone());
        assert!(parts.eq(best_parts));
        line
    };
    decide();
    let first = seen();
    assert_eq!(first.told, None);
    assert!(run_at(&guides, NOW, &["status"]).contains("EUR 910.40, score 125.0, since"));

    // A pick becomes cheaper: the same parts, of which nobody is told.
    let offers = "retailers/example-offers.csv";
    guides.edit(offers, "VEL-S32-BX,209.00", "VEL-S32-BX,199.50");
    run_at(&guides, "2026-06-15T17:00:00Z", &["poll"]);
    decide();
    let told = seen().told.unwrap();
    assert_eq!(
        (told.total_minor, told.is_same_build),
        (first.total_minor, true)
    );
    let status = run_at(&guides, NOW, &["status"]);
    assert!(
        status.contains("EUR 900.90, score 125.0, since")
            && status.contains("; EUR 910.40, score 125.0 when it was told"),
        "{status}"
    );

    // Back again: there is nothing more to say.
    guides.edit(offers, "VEL-S32-BX,199.50", "VEL-S32-BX,209.00");
    run_at(&guides, "2026-06-15T17:30:00Z", &["poll"]);
    decide();
    assert_eq!(seen().told, None);

    // The best build changes, and has to hold for some time before it is told.
    guides.edit(
        "briefs/example.toml",
        "# [telling]\n# hold_minutes = 120",
        "[telling]\nhold_minutes = 120",
    );
    guides.edit(offers, "VEL-S32-BX,209.00", "VEL-S32-BX,499.00");
    run_at(&guides, "2026-06-15T17:45:00Z", &["poll"]);
    let settings = load_settings(&guides.directory).unwrap();
    let mut ledger = Ledger::open(&guides.ledger()).unwrap();
    decide_briefs(&settings, &mut ledger, at(NOW), Effort::default()).unwrap();
    let line = seen();
    assert_eq!(line.since, None);
    assert!(!line.told.unwrap().is_same_build);
    let status = run_at(&guides, NOW, &["status"]);
    assert!(
        status.contains("EUR 854.80, score 117.7, not told, or not yet; told: EUR 910.40"),
        "{status}"
    );
}
