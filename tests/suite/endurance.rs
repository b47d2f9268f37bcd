//! Weeks of watching at one go: fifty feeds that fail in every way, receivers that fail, clocks that
//! jump, settings that change, and kills; every decision is held to a fresh solve at its instant.
//!
//! The short form runs always; `tests/endurance.sh` runs ten weeks and says what it took. As root it gives
//! them a small disk of their own, which then fills up as well.

use crate::support::receivers::Receiver;
use crate::support::shops::{Shops, brief};
use crate::support::specs::Dice;
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::catalogue::Fault;
use rigtide::decide::{Bulletin, Told};
use rigtide::ledger::Reader;
use rigtide::market::Brief;
use rigtide::optimise::Effort;
use rigtide::watch::calls::{Calls, Listener};
use rigtide::watch::clock::Clock;
use rigtide::watch::daemon::watch;
use rigtide::watch::decision::{Before, Look};
use rigtide::watch::settings::Settings;
use rusqlite::Connection;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{Duration, Instant};
use tokio::sync::Notify;

const START: &str = "2026-03-02T06:00:00Z";
const N_FEEDS_A_SHOP: usize = 10;
const DAY_MS: i64 = 86_400_000;

/// Hours of trouble, and kills in them. A quiet day follows, in which all that waits arrives.
fn length() -> (i64, usize) {
    let set = std::env::var("RIGTIDE_ENDURANCE_DAYS").ok();
    set.map_or((8, 6), |text| (24 * (text.parse::<i64>().unwrap() - 1), 20))
}

/// How the receivers' and the shops' world is asked to end the daemon.
#[derive(Default)]
struct Killer {
    /// Requests until the end; below zero for none.
    requests_left: AtomicI64,
    now: Notify,
}

impl Killer {
    fn asked(&self) {
        if self.requests_left.fetch_sub(1, Ordering::SeqCst) == 1 {
            self.now.notify_one();
        }
    }
}

/// Holds what the daemon decides to fresh solves, and makes trouble between its rounds.
struct Companion<'w> {
    world: &'w World,
    settings: Arc<Settings>,
    reader: Reader,
    rows: Connection,
    before: BTreeMap<String, Before>,
    known_bulletins: BTreeSet<String>,
    n_decisions: usize,
    n_spared: usize,
    plan: Plan,
    stop: tokio::sync::watch::Sender<bool>,
    begun: Instant,
    calls: usize,
    memory: Vec<(i64, u64)>,
}

struct World {
    shops: Shops,
    hook: Receiver,
    mail: Receiver,
    killer: Arc<Killer>,
    /// Where the ledger lies on a disk of its own: a file there that takes all the room that is left.
    filler: Option<PathBuf>,
}

/// What befalls the daemon and when.
struct Plan {
    dice: Dice,
    start: DateTime<Utc>,
    calm: DateTime<Utc>,
    kills: Vec<DateTime<Utc>>,
    next_trouble: DateTime<Utc>,
    /// What ends by itself, and when.
    ends: Vec<(DateTime<Utc>, Trouble)>,
    had: BTreeMap<Trouble, usize>,
    /// Of the time between two troubles, at most.
    pace_minutes: i64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Trouble {
    HookDown,
    MailDown,
    DnsGone,
    NetworkGone,
    ClockForward,
    ClockBack,
    SettingsChange,
    SettingsBroken,
    LedgerBusy,
    DiskFull,
}

const TROUBLES: [Trouble; 10] = [
    Trouble::HookDown,
    Trouble::MailDown,
    Trouble::DnsGone,
    Trouble::NetworkGone,
    Trouble::ClockForward,
    Trouble::ClockBack,
    Trouble::SettingsChange,
    Trouble::SettingsBroken,
    Trouble::LedgerBusy,
    Trouble::DiskFull,
];

const WATCHFUL: &str = "[telling]\nhold_minutes = 120\nstale_hours = 30\non_doubt = \"wait\"\n\
    [[tell]]\nwhen = \"build_changed\"\n\
    [[tell]]\nwhen = \"gain\"\nscore_percent = \"2\"\nsaving = \"15.00\"\npause_hours = 12\n\
    [[tell]]\nwhen = \"pick_lost\"\nrise_percent = \"4\"\npause_hours = 6\n\
    [[tell]]\nwhen = \"enters\"\npart = \"gpu-00060\"\n\
    [[tell]]\nwhen = \"target\"\npart = \"cpu-00002\"\nprice = \"260.00\"\n\
    [[tell]]\nwhen = \"total\"\nbelow = \"940.00\"\n";
const DIGESTED: &str = "[telling]\nstale_hours = 12\n\
    [[tell]]\nwhen = \"build_changed\"\ndigest = \"daily 08:00\"\ntimezone = \"Europe/Berlin\"\n\
    [[tell]]\nwhen = \"lowest\"\ndays = 30\ndigest = \"daily 18:00\"\n";

fn write_brief(shops: &Shops, number: usize, budget: i64) {
    let budget = format!("{budget}.00");
    let text = match number {
        0 => brief("Den", &budget, "\"hook\", \"mail\"", ""),
        1 => brief("Study", &budget, "\"hook\"", WATCHFUL),
        _ => brief("Loft", &budget, "\"mail\", \"hook\"", DIGESTED),
    };
    let file = format!("briefs/brief{number}.toml");
    shops.configuration.write(&file, text);
}

/// Resident memory of this process, in KiB, where /proc tells it.
fn resident() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    line.and_then(|line| line.trim().split(' ').next()?.parse().ok())
        .unwrap_or(0)
}

impl Listener for Companion<'_> {
    fn looked(&mut self, at: DateTime<Utc>) {
        self.check(at, true);
    }

    fn taking(&mut self, settings: &Arc<Settings>) -> Result<(), Vec<Fault>> {
        self.settings = settings.clone();
        Ok(())
    }

    fn ledger_fares(&mut self, _fault: Option<&str>) {
        let now = self.world.shops.clock.now();
        self.calls += self.world.shops.forget();
        self.plan.trouble(self.world, now);
        let day = (now - self.plan.start).num_days();
        if self.memory.last().is_none_or(|(last, _)| *last < day) {
            self.memory.push((day, resident()));
            self.show_progress(day);
        }
        if now > self.plan.calm + TimeDelta::days(1) {
            self.stop.send(true).unwrap();
        }
    }
}

/// What a bulletin is apart from when a channel gets it.
type Said = (String, String, String);

impl Companion<'_> {
    /// Judges each brief afresh and compares. After a kill the daemon may not have come to decide.
    fn check(&mut self, at: DateTime<Utc>, is_decided: bool) {
        let settings = self.settings.clone();
        let look = Look::at(&settings, &self.reader, at, Effort::default()).unwrap();
        for brief in &settings.briefs {
            let now = Before::of(&self.reader, brief).unwrap();
            let told = self.new_bulletins(brief, at);
            let id = brief.id.to_string();
            let before = self.before.entry(id).or_insert(Before {
                standing: None,
                memory: None,
            });
            if !is_decided && told.is_empty() && now == *before {
                continue;
            }
            let judged = look.judge(&self.reader, brief, before).unwrap().unwrap();
            let expected: BTreeMap<String, Said> =
                judged.outcome.told.iter().map(of_told).collect();
            assert_eq!(told, expected, "{}, {at}", brief.id);
            let stands = match judged.outcome.stands {
                true => Some(judged.today),
                false => before.standing.clone(),
            };
            assert_eq!(now.standing, stands, "{}, {at}", brief.id);
            if now.memory != Some(judged.outcome.memory) {
                // Nothing was written, for the answer was proven to hold.
                assert_eq!(now, *before, "{}, {at}", brief.id);
                self.n_spared += 1;
            }
            *before = now;
            self.n_decisions += 1;
        }
    }

    #[expect(clippy::print_stderr, reason = "the long form takes long")]
    fn show_progress(&self, day: i64) {
        if day % 5 == 0 {
            let (took, n_decisions) = (self.begun.elapsed().as_secs(), self.n_decisions);
            eprintln!("day {day}: after {took} s, {n_decisions} decisions");
        }
    }

    /// What was put out for a brief at an instant, by id, with the channels that it is for.
    fn new_bulletins(&mut self, brief: &Brief, at: DateTime<Utc>) -> BTreeMap<String, Said> {
        let mut select = self
            .rows
            .prepare_cached(
                "SELECT b.id, b.subject, b.text, group_concat(o.channel, ' ' ORDER BY o.channel)
                 FROM bulletin b JOIN outbox o ON o.bulletin_id = b.id
                 WHERE b.brief = ?1 AND b.at_ms = ?2 GROUP BY b.id",
            )
            .unwrap();
        let found = select
            .query_map((brief.id.as_str(), at.timestamp_millis()), |row| {
                Ok((row.get(0)?, (row.get(1)?, row.get(2)?, row.get(3)?)))
            })
            .unwrap();
        let found: BTreeMap<String, Said> = found.map(Result::unwrap).collect();
        let new = found.into_iter();
        let new = new.filter(|(id, _)| self.known_bulletins.insert(id.clone()));
        new.collect()
    }
}

fn of_told(told: &Told) -> (String, Said) {
    let Bulletin {
        id, subject, text, ..
    } = &told.bulletin;
    let channels: Vec<&str> = told.channels.keys().map(String::as_str).collect();
    let said = (subject.clone(), text.clone(), channels.join(" "));
    (id.to_string(), said)
}

impl Plan {
    fn new(start: DateTime<Utc>, hours: i64, n_kills: usize) -> Plan {
        let calm = start + TimeDelta::hours(hours);
        let seconds = (calm - start).num_seconds();
        let mut dice = Dice(20_26);
        let mut kills: Vec<DateTime<Utc>> = (0..n_kills)
            .map(|_| start + TimeDelta::seconds(1_800 + dice.roll(seconds - 3_600)))
            .collect();
        kills.sort();
        kills.reverse();
        Plan {
            dice,
            start,
            calm,
            kills,
            next_trouble: start + TimeDelta::hours(1),
            ends: Vec::new(),
            had: BTreeMap::new(),
            pace_minutes: (hours * 4).min(900),
        }
    }

    /// Kills in the middle of a round, or when a bulletin was taken and nobody knows it yet, or, where
    /// nothing can be reached, between two rounds.
    fn kill(&mut self, world: &World, now: DateTime<Utc>) {
        let cuts = [Trouble::DnsGone, Trouble::NetworkGone];
        let is_cut_off = self.ends.iter().any(|(_, trouble)| cuts.contains(trouble));
        let is_armed = world.killer.requests_left.load(Ordering::SeqCst) > 0;
        if is_armed && is_cut_off {
            world.killer.requests_left.store(-1, Ordering::SeqCst);
            world.killer.now.notify_one();
        }
        if is_armed || self.kills.last().is_none_or(|kill| *kill > now) {
            return;
        }
        self.kills.pop();
        let is_swallowing = self.dice.roll(3) == 0;
        let requests = 1 + self.dice.roll(6) + if is_swallowing { 60 } else { 0 };
        world.hook.inbox().swallows_next |= is_swallowing;
        world.killer.requests_left.store(requests, Ordering::SeqCst);
    }

    fn trouble(&mut self, world: &World, now: DateTime<Utc>) {
        // However far clocks leapt: calm comes after the kills, and an hour for the last of them.
        if !self.kills.is_empty() {
            self.calm = self.calm.max(now + TimeDelta::hours(1));
        }
        let is_over = |(end, _): &(DateTime<Utc>, Trouble)| *end <= now || now >= self.calm;
        let over: Vec<(DateTime<Utc>, Trouble)> =
            self.ends.extract_if(.., |end| is_over(end)).collect();
        for (_, trouble) in over {
            set(world, trouble, false);
        }
        if now >= self.calm {
            world.shops.state().faults_percent = 0;
            world.hook.inbox().faults_percent = 0;
            world.mail.inbox().faults_percent = 0;
            world.killer.requests_left.store(-1, Ordering::SeqCst);
            return;
        }
        self.kill(world, now);
        if now < self.next_trouble {
            return;
        }
        self.next_trouble = now + TimeDelta::minutes(30 + self.dice.roll(self.pace_minutes));
        let trouble = TROUBLES[self.dice.roll(TROUBLES.len() as i64) as usize];
        let is_elsewhere = trouble == Trouble::DiskFull && world.filler.is_none();
        if is_elsewhere || self.ends.iter().any(|(_, other)| *other == trouble) {
            return;
        }
        *self.had.entry(trouble).or_default() += 1;
        match trouble {
            Trouble::ClockForward => {
                let by = TimeDelta::seconds(300 + self.dice.roll(40_000));
                world.shops.clock.advance(by);
            }
            Trouble::ClockBack => {
                let by = TimeDelta::milliseconds(60_001 + self.dice.roll(14_000_000));
                world.shops.clock.advance(-by);
            }
            Trouble::SettingsChange => {
                let (number, budget) = (self.dice.roll(3) as usize, 800 + 10 * self.dice.roll(40));
                write_brief(&world.shops, number, budget);
            }
            Trouble::LedgerBusy => hold_ledger(world.shops.configuration.path("ledger.sqlite")),
            lasting => {
                let hours = 1 + self.dice.roll(24);
                set(world, lasting, true);
                self.ends.push((now + TimeDelta::hours(hours), lasting));
            }
        }
    }
}

fn set(world: &World, trouble: Trouble, is_on: bool) {
    match trouble {
        Trouble::HookDown => world.hook.inbox().is_down = is_on,
        Trouble::MailDown => world.mail.inbox().is_down = is_on,
        Trouble::DnsGone => world.shops.state().is_dns_gone = is_on,
        Trouble::NetworkGone => world.shops.state().is_network_gone = is_on,
        Trouble::SettingsBroken => {
            let file = world.shops.configuration.path("briefs/broken.toml");
            match is_on {
                true => std::fs::write(file, "name = \"Half a brief\"\nbudget = ").unwrap(),
                // It may have been taken away before a start.
                false => drop(std::fs::remove_file(file)),
            }
        }
        Trouble::DiskFull => match (&world.filler, is_on) {
            (Some(filler), true) => fill(filler),
            (Some(filler), false) => drop(std::fs::remove_file(filler)),
            (None, _) => {}
        },
        _ => {}
    }
}

/// Takes all the room that the disk has left.
fn fill(filler: &Path) {
    let mut file = File::create(filler).unwrap();
    let block = [0_u8; 4096];
    while file.write_all(&block).is_ok() {}
}

/// Another program writes to the ledger for a while.
fn hold_ledger(path: PathBuf) {
    std::thread::spawn(move || {
        let other = Connection::open(path).unwrap();
        other.busy_timeout(Duration::from_secs(5)).unwrap();
        if other.execute_batch("BEGIN IMMEDIATE").is_ok() {
            std::thread::sleep(Duration::from_millis(200));
            other.execute_batch("ROLLBACK").unwrap();
        }
    });
}

async fn world() -> World {
    let killer = Arc::new(Killer::default());
    killer.requests_left.store(-1, Ordering::SeqCst);
    let (asked, swallowed) = (killer.clone(), killer.clone());
    let clock = Clock::leaping(START.parse().unwrap());
    let shops = Shops::open(11, N_FEEDS_A_SHOP, clock, Arc::new(move || asked.asked())).await;
    let world = World {
        shops,
        hook: Receiver::webhook(Arc::new(move || swallowed.now.notify_one())).await,
        mail: Receiver::mail().await,
        killer,
        filler: std::env::var_os("RIGTIDE_ENDURANCE_DISK")
            .map(|disk| Path::new(&disk).join("filler")),
    };
    if let Some(filler) = &world.filler {
        let link = world.shops.configuration.path("ledger.sqlite");
        std::os::unix::fs::symlink(filler.with_file_name("ledger.sqlite"), link).unwrap();
    }
    let (hook, mail) = (
        world.hook.channel("hook", ""),
        world.mail.channel(
            "mail",
            "quiet = \"22:00-07:00\"\ntimezone = \"Europe/Berlin\"\n",
        ),
    );
    let settings =
        format!("contact = \"editor@guide.example\"\nledger = \"ledger.sqlite\"\n{hook}{mail}");
    world.shops.configuration.write("rigtide.toml", settings);
    for (number, budget) in [900, 1_000, 1_100].into_iter().enumerate() {
        write_brief(&world.shops, number, budget);
    }
    {
        let mut state = world.shops.state();
        state.faults_percent = 3;
        state.moves_percent = 12;
    }
    world.hook.inbox().faults_percent = 12;
    world.mail.inbox().faults_percent = 12;
    world
}

/// Watches until it is stopped or killed; true where it was killed.
async fn live(world: &World, companion: &mut Companion<'_>) -> bool {
    let polling = world.shops.polling();
    companion.settings = polling.settings.clone();
    let calls = Calls::to_stop(companion.stop.subscribe());
    let ledger = Arc::downgrade(&polling.ledger);
    let clock = world.shops.clock.clone();
    let is_killed = tokio::select! {
        biased;
        () = world.killer.now.notified() => true,
        ended = watch(&polling, &clock, calls, companion) => {
            ended.unwrap();
            false
        }
    };
    drop(polling);
    // A transaction under way is committed or not before the next life begins, as in the kernel's hands.
    while ledger.strong_count() > 0 {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    is_killed
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn weeks_of_faults_and_kills_leave_every_decision_that_of_a_fresh_solve() {
    let begun = Instant::now();
    let (hours, n_kills) = length();
    let world = world().await;
    let path = world.shops.configuration.path("ledger.sqlite");
    drop(world.shops.polling());
    let start = START.parse().unwrap();
    let mut companion = Companion {
        settings: world.shops.polling().settings,
        reader: Reader::open(&path).unwrap(),
        rows: Connection::open(&path).unwrap(),
        before: BTreeMap::new(),
        known_bulletins: BTreeSet::new(),
        n_decisions: 0,
        n_spared: 0,
        plan: Plan::new(start, hours, n_kills),
        stop: tokio::sync::watch::channel(false).0,
        begun,
        calls: 0,
        memory: Vec::new(),
        world: &world,
    };
    let mut killed = 0;
    while live(&world, &mut companion).await {
        killed += 1;
        let now = world.shops.clock.now();
        companion.check(now, false);
        for trouble in [Trouble::SettingsBroken, Trouble::DiskFull] {
            set(&world, trouble, false);
        }
        let down = TimeDelta::seconds(1 + companion.plan.dice.roll(3 * 3_600));
        world.shops.clock.advance(down);
    }
    let report = Outcome::of(&companion, killed, begun.elapsed());
    all_arrived(&companion);
    assert!(Reader::open(&path).unwrap().verify().unwrap().holds());
    report.show();
    assert!(
        killed > 0 && killed + 2 >= n_kills,
        "{killed} of {n_kills} kills"
    );
    report.is_flat(hours);
}

/// Nothing waits but for the hour of its daily digest, a day at most since it was decided, nothing was
/// given up, and what was sent was received, in the same words each time.
fn all_arrived(companion: &Companion<'_>) {
    let mut select = companion
        .rows
        .prepare(
            "SELECT o.bulletin_id, o.channel, o.state, o.joined_into IS NULL, o.digest_ms, b.at_ms
             FROM outbox o JOIN bulletin b ON b.id = o.bulletin_id",
        )
        .unwrap();
    let rows = select
        .query_map([], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, String>(1)?,
                row.get::<_, String>(2)?,
                row.get::<_, bool>(3)?,
                (row.get::<_, Option<i64>>(4)?, row.get::<_, i64>(5)?),
            ))
        })
        .unwrap();
    let now_ms = companion.world.shops.clock.now().timestamp_millis();
    let mut n_rows = 0;
    let mut known = BTreeSet::new();
    for row in rows {
        let (id, channel, state, is_own, (digest_ms, at_ms)) = row.unwrap();
        n_rows += 1;
        known.insert(id.clone());
        let is_early = |digest: i64| now_ms < digest && digest <= at_ms + DAY_MS;
        if state == "waiting" && digest_ms.is_some_and(is_early) {
            continue;
        }
        assert_eq!(
            state, "sent",
            "{id} for {channel}: of {at_ms}, digest {digest_ms:?}, now {now_ms}"
        );
        let receiver = match channel.as_str() {
            "hook" => &companion.world.hook,
            _ => &companion.world.mail,
        };
        let has_come = receiver.inbox().got.contains_key(&id);
        assert!(has_come || !is_own, "{id} for {channel} never came");
    }
    assert!(n_rows > 0);
    for receiver in [&companion.world.hook, &companion.world.mail] {
        let inbox = receiver.inbox();
        assert_eq!(inbox.differing, [""; 0]);
        assert!(inbox.got.keys().all(|id| known.contains(id)));
    }
}

/// What it came to.
struct Outcome {
    lines: Vec<String>,
    memory: Vec<(i64, u64)>,
}

impl Outcome {
    fn of(companion: &Companion<'_>, killed: usize, took: Duration) -> Outcome {
        let count = |select: &str| -> i64 {
            companion
                .rows
                .query_row(select, [], |row| row.get(0))
                .unwrap()
        };
        let state = companion.world.shops.state();
        let again = |receiver: &Receiver| {
            let inbox = receiver.inbox();
            inbox.order.len() - inbox.got.len()
        };
        let (hook, mail) = (&companion.world.hook, &companion.world.mail);
        let lines = vec![
            format!("took: {:.0} s", took.as_secs_f64()),
            format!(
                "polls: {}, of them fresh {}, unchanged {}, failed {}, suspicious {}; requests {}",
                count("SELECT count(*) FROM poll"),
                count("SELECT count(*) FROM poll WHERE status = 'fresh'"),
                count("SELECT count(*) FROM poll WHERE status = 'unchanged'"),
                count("SELECT count(*) FROM poll WHERE status = 'failed'"),
                count("SELECT count(*) FROM poll WHERE status = 'suspicious'"),
                companion.calls,
            ),
            format!(
                "faults met: {} {:?}",
                state.met.values().sum::<usize>(),
                state.met
            ),
            format!("troubles: {:?}; kills: {killed}", companion.plan.had),
            format!(
                "decisions held to a fresh solve: {}, spared {}",
                companion.n_decisions, companion.n_spared
            ),
            format!(
                "bulletins: {}, deliveries {}; arrived again under their id: hook {}, mail {}; failed \
                 conversations: hook {:?}, mail {:?}",
                count("SELECT count(*) FROM bulletin"),
                count("SELECT count(*) FROM outbox"),
                again(hook),
                again(mail),
                hook.inbox().failed,
                mail.inbox().failed,
            ),
        ];
        Outcome {
            lines,
            memory: companion.memory.clone(),
        }
    }

    /// The highest of each week, in KiB.
    fn weeks(&self) -> Vec<u64> {
        let weeks = self
            .memory
            .chunk_by(|(one, _), (next, _)| one / 7 == next / 7);
        let highest = weeks.map(|days| days.iter().map(|(_, kib)| *kib).max().unwrap_or(0));
        highest.collect()
    }

    #[expect(clippy::print_stderr, reason = "the long form tells what it took")]
    fn show(&self) {
        for line in &self.lines {
            eprintln!("{line}");
        }
        eprintln!("resident, KiB, highest of each week: {:?}", self.weeks());
    }

    /// Memory is this process's own only where no other test runs beside this one.
    fn is_flat(&self, hours: i64) {
        let weeks = self.weeks();
        if hours < 21 * 24 || weeks[0] == 0 {
            return;
        }
        let (second, last) = (weeks[1], weeks[weeks.len() - 1]);
        assert!(last < second + second / 4, "memory grows: {weeks:?}");
    }
}
