//! Rounds of delivery over an outbox in memory and channels that follow a script.

use super::*;
use crate::catalogue::table::Document;
use crate::notify::channel::Sending;
use crate::notify::registry::read_channel;
use crate::notify::secrets::tests::FewSecrets;
use crate::notify::test_receiver::Receiver;
use std::collections::VecDeque;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

/// One delivery and what was recorded of it.
#[derive(Debug, Clone)]
struct Row {
    due: Due,
    next: DateTime<Utc>,
    is_open: bool,
    fault: Option<String>,
}

#[derive(Default)]
struct Memory {
    rows: Mutex<Vec<Row>>,
    disabled: Mutex<BTreeMap<(String, String), String>>,
    is_broken: AtomicBool,
}

impl Memory {
    fn with(deliveries: &[(&str, &str)]) -> Memory {
        let memory = Memory::default();
        for (channel, subject) in deliveries {
            let due = Due {
                bulletin: bulletin(subject),
                channel: (*channel).to_owned(),
                attempts: 0,
            };
            memory.rows.lock().unwrap().push(Row {
                due,
                next: now(),
                is_open: true,
                fault: None,
            });
        }
        memory
    }

    /// Channel, subject, attempts and fault of what still waits.
    fn open(&self) -> Vec<(String, String, u32, Option<String>)> {
        let rows = self.rows.lock().unwrap();
        let open = rows.iter().filter(|row| row.is_open).cloned();
        open.map(|row| {
            let Due {
                bulletin,
                channel,
                attempts,
            } = row.due;
            (channel, bulletin.subject, attempts, row.fault)
        })
        .collect()
    }

    fn check(&self) -> Result<(), OutboxFault> {
        match self.is_broken.load(Ordering::SeqCst) {
            true => Err(OutboxFault("the disk is gone".into())),
            false => Ok(()),
        }
    }
}

impl Outbox for Memory {
    async fn due(&self, now: DateTime<Utc>, limit: u32) -> Result<Vec<Due>, OutboxFault> {
        let rows = self.rows.lock().unwrap();
        let due = rows.iter().filter(|row| row.is_open && row.next <= now);
        Ok(due
            .map(|row| row.due.clone())
            .take(limit as usize)
            .collect())
    }

    async fn settle(
        &self,
        bulletin: &BulletinId,
        channel: &str,
        _: DateTime<Utc>,
        settlement: Settlement,
    ) -> Result<(), OutboxFault> {
        self.check()?;
        let mut rows = self.rows.lock().unwrap();
        let row = rows
            .iter_mut()
            .find(|row| row.due.bulletin.id == *bulletin && row.due.channel == channel)
            .unwrap();
        assert!(row.is_open, "settled twice: {row:?}");
        match settlement {
            Settlement::Sent => row.is_open = false,
            Settlement::Retry { fault, next } => {
                row.due.attempts += 1;
                row.fault = Some(fault);
                row.next = next;
            }
            Settlement::Postponed { next } => row.next = next,
            Settlement::Dead { fault } => {
                row.is_open = false;
                row.fault = Some(fault);
            }
        }
        Ok(())
    }

    async fn disabled(&self, channel: &str, address: &str) -> Result<Option<String>, OutboxFault> {
        let disabled = self.disabled.lock().unwrap();
        Ok(disabled
            .get(&(channel.to_owned(), address.to_owned()))
            .cloned())
    }

    async fn disable(
        &self,
        channel: &str,
        address: &str,
        _: DateTime<Utc>,
        reason: &str,
    ) -> Result<(), OutboxFault> {
        let key = (channel.to_owned(), address.to_owned());
        self.disabled.lock().unwrap().insert(key, reason.to_owned());
        Ok(())
    }
}

/// Answers by a script, then delivers; keeps the subjects it was given.
struct Scripted {
    outcomes: Mutex<VecDeque<Result<(), DeliveryFault>>>,
    given: Arc<Mutex<Vec<String>>>,
}

impl Channel for Scripted {
    fn address(&self) -> String {
        "somewhere".to_owned()
    }

    fn send<'a>(&'a self, bulletin: &'a Bulletin) -> Sending<'a> {
        self.given.lock().unwrap().push(bulletin.subject.clone());
        let outcome = self.outcomes.lock().unwrap().pop_front().unwrap_or(Ok(()));
        Box::pin(std::future::ready(outcome))
    }
}

/// Breaks instead of delivering.
struct Broken;

impl Channel for Broken {
    fn address(&self) -> String {
        String::new()
    }

    fn send<'a>(&'a self, _: &'a Bulletin) -> Sending<'a> {
        Box::pin(async { panic!("a fault of ours") })
    }
}

/// Never ends.
struct Stuck;

impl Channel for Stuck {
    fn address(&self) -> String {
        String::new()
    }

    fn send<'a>(&'a self, _: &'a Bulletin) -> Sending<'a> {
        Box::pin(std::future::pending())
    }
}

fn now() -> DateTime<Utc> {
    DateTime::from_timestamp(1_700_000_000, 0).unwrap()
}

fn bulletin(subject: &str) -> Bulletin {
    Bulletin {
        id: BulletinId::derive("media-room", subject, now()),
        brief: "media-room".to_owned(),
        at: now(),
        subject: subject.to_owned(),
        text: String::new(),
        data: serde_json::Value::Null,
    }
}

fn scripted(
    outcomes: impl IntoIterator<Item = Result<(), DeliveryFault>>,
) -> (Arc<dyn Channel>, Arc<Mutex<Vec<String>>>) {
    let given = Arc::new(Mutex::new(Vec::new()));
    let channel = Scripted {
        outcomes: Mutex::new(outcomes.into_iter().collect()),
        given: Arc::clone(&given),
    };
    (Arc::new(channel), given)
}

fn passing(pause: Pause) -> Result<(), DeliveryFault> {
    let reason = "away".to_owned();
    Err(DeliveryFault::Passing { reason, pause })
}

fn named(channels: impl IntoIterator<Item = (&'static str, Arc<dyn Channel>)>) -> Channels {
    let named = channels
        .into_iter()
        .map(|(name, channel)| (name.to_owned(), channel));
    named.collect()
}

#[tokio::test]
async fn what_is_due_is_sent_once_in_its_order() {
    let outbox = Memory::with(&[("phone", "a"), ("phone", "b"), ("desk", "a")]);
    let ((phone, at_phone), (desk, at_desk)) = (scripted([]), scripted([]));
    let channels = named([("phone", phone), ("desk", desk)]);
    let report = run_due(&outbox, &channels, now()).await.unwrap();
    assert_eq!(report.sent, 3);
    assert_eq!(
        run_due(&outbox, &channels, now()).await.unwrap(),
        Report::default()
    );
    assert_eq!(*at_phone.lock().unwrap(), ["a", "b"]);
    assert_eq!(*at_desk.lock().unwrap(), ["a"]);
}

#[tokio::test]
async fn a_passing_fault_waits_and_holds_up_its_own_channel_alone() {
    // Pitfall N04: one of two recipients refused.
    let outbox = Memory::with(&[("phone", "a"), ("phone", "b"), ("desk", "a")]);
    let ((phone, at_phone), (desk, at_desk)) = (scripted([passing(Pause::Unsaid)]), scripted([]));
    let channels = named([("phone", phone), ("desk", desk)]);
    let report = run_due(&outbox, &channels, now()).await.unwrap();
    assert_eq!((report.sent, report.retried, report.postponed), (1, 1, 1));
    assert_eq!(
        run_due(&outbox, &channels, now()).await.unwrap(),
        Report::default()
    );
    let open = outbox.open();
    let away = Some("away".to_owned());
    assert_eq!(
        open,
        [
            ("phone".into(), "a".into(), 1, away),
            ("phone".into(), "b".into(), 0, None)
        ]
    );
    let later = now() + TimeDelta::seconds(31);
    assert_eq!(run_due(&outbox, &channels, later).await.unwrap().sent, 2);
    assert_eq!(*at_phone.lock().unwrap(), ["a", "a", "b"]);
    assert_eq!(*at_desk.lock().unwrap(), ["a"]);
}

#[tokio::test]
async fn the_receivers_own_pause_is_kept_within_a_day() {
    for (pause, seconds) in [
        (Pause::For(Duration::from_secs(3600)), 3600),
        (Pause::Until(now() + TimeDelta::seconds(7200)), 7200),
        (Pause::For(Duration::MAX), 86_400),
    ] {
        let outbox = Memory::with(&[("phone", "a")]);
        let channels = named([("phone", scripted([passing(pause)]).0)]);
        run_due(&outbox, &channels, now()).await.unwrap();
        let next = outbox.rows.lock().unwrap()[0].next;
        assert_eq!(next, now() + TimeDelta::seconds(seconds), "{pause:?}");
    }
    let outbox = Memory::with(&[("phone", "a")]);
    let past = Pause::Until(DateTime::UNIX_EPOCH);
    let channels = named([("phone", scripted([passing(past)]).0)]);
    run_due(&outbox, &channels, now()).await.unwrap();
    assert!(outbox.rows.lock().unwrap()[0].next > now() + TimeDelta::seconds(20));
}

#[tokio::test]
async fn a_bulletin_is_given_up_after_its_last_attempt() {
    let outbox = Memory::with(&[("phone", "a")]);
    let forever = std::iter::repeat_with(|| passing(Pause::Unsaid)).take(1000);
    let (phone, given) = scripted(forever);
    let channels = named([("phone", phone)]);
    let mut at = now();
    let mut report = Report::default();
    while !outbox.open().is_empty() {
        report = run_due(&outbox, &channels, at).await.unwrap();
        at = outbox.rows.lock().unwrap()[0].next;
    }
    assert_eq!(given.lock().unwrap().len(), ATTEMPTS_MAX as usize);
    let reason = format!("given up after {ATTEMPTS_MAX} attempts: away");
    assert_eq!(
        report.dead,
        [("phone".to_owned(), bulletin("a").id, reason)]
    );
    assert!(at - now() > TimeDelta::days(3));
}

#[tokio::test]
async fn a_permanent_fault_gives_up_one_bulletin_and_the_next_goes_on() {
    let outbox = Memory::with(&[("phone", "a"), ("phone", "b")]);
    let reason = "too long".to_owned();
    let (phone, given) = scripted([Err(DeliveryFault::Permanent { reason })]);
    let report = run_due(&outbox, &named([("phone", phone)]), now())
        .await
        .unwrap();
    assert_eq!((report.sent, report.dead.len()), (1, 1));
    assert_eq!(*given.lock().unwrap(), ["a", "b"]);
}

#[tokio::test]
async fn a_channel_whose_receiver_left_is_not_tried_again_until_its_address_changes() {
    // Pitfall N05: 410 disables.
    let outbox = Memory::with(&[("phone", "a"), ("phone", "b")]);
    let reason = "wants no more".to_owned();
    let (phone, given) = scripted([Err(DeliveryFault::Unwanted { reason })]);
    let channels = named([("phone", phone)]);
    let report = run_due(&outbox, &channels, now()).await.unwrap();
    assert_eq!(
        report.disabled,
        [("phone".to_owned(), "wants no more".to_owned())]
    );
    assert_eq!((report.dead.len(), given.lock().unwrap().len()), (2, 1));
    let later = Memory::with(&[("phone", "c")]);
    let before = outbox.disabled.lock().unwrap().clone();
    *later.disabled.lock().unwrap() = before;
    let report = run_due(&later, &channels, now()).await.unwrap();
    assert_eq!((report.dead.len(), given.lock().unwrap().len()), (1, 1));
}

#[tokio::test]
async fn a_bulletin_without_a_channel_becomes_a_dead_letter_that_says_so() {
    let outbox = Memory::with(&[("pager", "a")]);
    let report = run_due(&outbox, &Channels::new(), now()).await.unwrap();
    assert_eq!(
        report.dead[0].2,
        "the settings have no channel of this name"
    );
}

#[tokio::test]
async fn a_channel_that_breaks_is_retried_and_harms_no_other() {
    let outbox = Memory::with(&[("broken", "a"), ("phone", "a")]);
    let channels = named([("broken", Arc::new(Broken) as _), ("phone", scripted([]).0)]);
    let report = run_due(&outbox, &channels, now()).await.unwrap();
    assert_eq!((report.sent, report.retried), (1, 1));
    assert_eq!(
        outbox.open()[0].3.as_deref(),
        Some("the channel stopped unexpectedly")
    );
}

#[tokio::test(start_paused = true)]
async fn a_channel_that_hangs_does_not_hold_up_what_others_have_sent() {
    let outbox = Memory::with(&[("stuck", "a"), ("phone", "a")]);
    let channels = named([("stuck", Arc::new(Stuck) as _), ("phone", scripted([]).0)]);
    let round = run_due(&outbox, &channels, now());
    assert!(
        tokio::time::timeout(Duration::from_secs(60), round)
            .await
            .is_err()
    );
    let open = outbox.open();
    assert_eq!((open.len(), open[0].0.as_str()), (1, "stuck"));
}

#[tokio::test]
async fn a_bulletin_goes_out_twice_only_with_the_same_id_and_bytes() {
    // Pitfall N01: the process dies after sending and before recording.
    let receiver = Receiver::start(&[(200, None), (200, None)]).await;
    let text = format!("kind = \"webhook\"\nurl = \"{}\"", receiver.url);
    let document = Document::parse("rigtide.toml", &text);
    let channel = read_channel(document.root(), &FewSecrets).unwrap();
    let channels = named([("phone", channel)]);
    let outbox = Memory::with(&[("phone", "a")]);
    outbox.is_broken.store(true, Ordering::SeqCst);
    assert!(run_due(&outbox, &channels, now()).await.is_err());
    outbox.is_broken.store(false, Ordering::SeqCst);
    let report = run_due(&outbox, &channels, now() + TimeDelta::days(1))
        .await
        .unwrap();
    assert_eq!(report.sent, 1);
    let requests = receiver.stop().await;
    assert_eq!(requests.len(), 2);
    let id = |request: usize| requests[request].headers.get("rigtide-bulletin").cloned();
    assert_eq!(id(0).as_deref(), Some(bulletin("a").id.as_str()));
    assert_eq!((id(0), &requests[0].body), (id(1), &requests[1].body));
}
