//! Fuzzing: every reader of text from outside meets damaged input.
//!
//! A seeded fuzzer of our own, so that it runs wherever the tests run and a failure can be had
//! again: it damages a corpus of small real inputs (`corpus`) by bits, pieces and words of the
//! format (`mutate`). An input that a reader answers in a new way joins the corpus, which leads
//! the search inwards without instrumenting the program. What must hold stands in `targets`.
//!
//! `cargo test` does a short run. `tests/fuzz.sh` does a million inputs each:
//!
//! | variable | meaning |
//! | --- | --- |
//! | `RIGTIDE_FUZZ_ROUNDS` | inputs for each reader |
//! | `RIGTIDE_FUZZ_SEED` | another run |

#[path = "../../../demo/prng.rs"]
#[expect(dead_code, reason = "the demo draws in more ways than the fuzzer")]
mod prng;

mod corpus;
mod guessing;
mod mutate;
mod targets;

use mutate::Mutator;
use std::collections::BTreeSet;
use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

/// Inputs of a short run: about a second for each reader without optimisation.
const ROUNDS: u64 = 600;
/// Inputs that were answered in a new way and are damaged further.
const FOUND_MAX: usize = 2_000;
/// No input here is longer than 4 KiB, and none is worth as much processor time.
const CPU_MAX: Duration = Duration::from_secs(2);
/// A reader that does not come back at all is given up after this.
const HANG: Duration = Duration::from_secs(120);

/// Something that reads text from outside.
pub struct Target {
    pub name: &'static str,
    pub seeds: &'static [&'static str],
    /// Words of the format, which chance alone would not write.
    pub words: &'static [&'static str],
    /// Reads the input, asserts what must hold, and says in a few words what came of it.
    pub check: fn(&[u8]) -> String,
}

fn variable(name: &str, default: u64) -> u64 {
    std::env::var(name).map_or(default, |text| text.parse().unwrap())
}

fn fuzz(target: &Target) {
    let rounds = variable("RIGTIDE_FUZZ_ROUNDS", ROUNDS);
    let seed = variable("RIGTIDE_FUZZ_SEED", 1);
    let mut mutator = Mutator::new(seed, target.words);
    let mut corpus: Vec<Vec<u8>> = target
        .seeds
        .iter()
        .map(|seed| seed.as_bytes().to_vec())
        .collect();
    let mut answers = BTreeSet::new();
    for seed in corpus.clone() {
        answers.insert(read(target, &seed));
    }
    let begun = Instant::now();
    let watch = Watch::new(target.name);
    let mut slowest = Duration::ZERO;
    for round in 0..rounds {
        let input = mutator.next(&corpus);
        watch.tell(round, &input);
        let before = cpu_time();
        let answer = read(target, &input);
        let took = cpu_time().saturating_sub(before);
        slowest = slowest.max(took);
        assert!(
            took < CPU_MAX,
            "{}: {took:?} for {}",
            target.name,
            shown(&input)
        );
        if corpus.len() < FOUND_MAX && answers.insert(answer) {
            corpus.push(input);
        }
    }
    drop(watch);
    // Written directly, so that a run by hand shows it and the short one stays quiet.
    if rounds > ROUNDS {
        let text = format!(
            "{}: {rounds} inputs, {} different answers, {:.0} s, the slowest {} ms\n",
            target.name,
            answers.len(),
            begun.elapsed().as_secs_f64(),
            slowest.as_millis()
        );
        std::io::stderr().write_all(text.as_bytes()).unwrap();
    }
}

/// Lets the target read; a panic names the input that caused it.
fn read(target: &Target, input: &[u8]) -> String {
    match catch_unwind(AssertUnwindSafe(|| (target.check)(input))) {
        Ok(answer) => answer,
        Err(panic) => {
            let text = format!("{} fails for {}\n", target.name, shown(input));
            std::io::stderr().write_all(text.as_bytes()).unwrap();
            resume_unwind(panic);
        }
    }
}

fn shown(input: &[u8]) -> String {
    format!("b\"{}\"", input.escape_ascii())
}

/// Processor time of this thread, which other load does not stretch; zero where the system does
/// not tell.
fn cpu_time() -> Duration {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = text
        .split(' ')
        .next()
        .and_then(|number| number.parse().ok());
    Duration::from_nanos(nanoseconds.unwrap_or(0))
}

/// Ends the process, naming the input, when no new one is told of for [`HANG`].
struct Watch(mpsc::Sender<(u64, Vec<u8>)>);

impl Watch {
    fn new(name: &'static str) -> Watch {
        let (sender, receiver) = mpsc::channel::<(u64, Vec<u8>)>();
        std::thread::spawn(move || {
            let mut last = (0, Vec::new());
            loop {
                match receiver.recv_timeout(HANG) {
                    Ok(told) => last = told,
                    Err(RecvTimeoutError::Disconnected) => return,
                    Err(RecvTimeoutError::Timeout) => {
                        let (round, input) = &last;
                        let text = format!("{name} hangs in round {round} for {}\n", shown(input));
                        let _ = std::io::stderr().write_all(text.as_bytes());
                        std::process::abort();
                    }
                }
            }
        });
        Watch(sender)
    }

    fn tell(&self, round: u64, input: &[u8]) {
        // The watch outlives the run, so there is always somebody to tell.
        self.0.send((round, input.to_vec())).unwrap();
    }
}

#[test]
fn price_texts_are_read_or_refused() {
    fuzz(&targets::PRICE);
}

#[test]
fn csv_never_harms_its_decoder() {
    fuzz(&targets::CSV);
}

#[test]
fn json_never_harms_its_decoders() {
    fuzz(&targets::JSON);
}

#[test]
fn xml_never_harms_its_decoders() {
    fuzz(&targets::XML);
}

#[test]
fn html_never_harms_its_decoder() {
    fuzz(&targets::HTML);
}

#[test]
fn a_first_mapping_is_settings_whatever_it_is_made_of() {
    fuzz(&guessing::GUESS);
}

#[test]
fn robots_files_are_read_whatever_they_hold() {
    fuzz(&targets::ROBOTS);
}

#[test]
fn schedules_come_due_or_are_refused() {
    fuzz(&targets::SCHEDULE);
}

#[test]
fn settings_are_read_or_every_fault_is_named() {
    fuzz(&targets::SETTINGS);
}

#[test]
fn one_seed_makes_one_run() {
    let run = || {
        let mut mutator = Mutator::new(7, targets::CSV.words);
        let corpus = vec![b"id;price\n1;2\n".to_vec(), b"a".to_vec()];
        (0..200).map(|_| mutator.next(&corpus)).collect::<Vec<_>>()
    };
    assert_eq!(run(), run());
    // A fuzzer that hardly changes anything would find nothing.
    let different: BTreeSet<Vec<u8>> = run().into_iter().collect();
    assert!(different.len() > 150, "{}", different.len());
}
