//! How long until a price comes down to a target, going by how often it did.
//!
//! The estimate is the time watched while the price was above the target, divided by how often it
//! came down to it: the maximum-likelihood mean of a constant rate where the last wait is cut
//! short by the end of the record (textbook result, from memory). It says nothing where the record
//! is short or the target was hardly ever reached; prices do not keep to a constant rate, so it is
//! an order of magnitude and no forecast.

use super::series::{Series, State};
use chrono::TimeDelta;

/// Fewer arrivals than this are no rate. Common practice, no source: the relative error of a rate
/// is one over the root of the count, 58 % here.
pub const ARRIVALS_LEAST: u32 = 3;
/// A record that was watched for less says nothing. Common practice, no source.
pub const WATCHED_LEAST: TimeDelta = TimeDelta::days(30);

/// The expected wait for a target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wait {
    /// It can be had now.
    NotAtAll,
    Expected {
        mean_ms: i64,
        /// How often the price came down to the target while it was watched.
        arrivals: u32,
        /// The time watched above the target, in milliseconds.
        waited_ms: i64,
    },
    CannotTell(Why),
}

/// Why there is no estimate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Why {
    #[error("only {} days of record, where {} are needed", days(*watched_ms), WATCHED_LEAST.num_days())]
    RecordTooShort { watched_ms: i64 },
    #[error("the price never came down to it in {} days of record", days(*watched_ms))]
    NeverReached { watched_ms: i64 },
    #[error("the price came down to it {}, where {ARRIVALS_LEAST} are needed", times(*arrivals))]
    TooFewArrivals { arrivals: u32 },
}

fn times(count: u32) -> String {
    match count {
        1 => "once".to_owned(),
        count => format!("{count} times"),
    }
}

fn days(ms: i64) -> i64 {
    TimeDelta::milliseconds(ms).num_days()
}

/// Estimates the wait until a price of at most `target_minor` can be had. Times when nobody looked
/// are left out: a price that is low after one did not come down while watched.
pub fn wait(series: &Series, target_minor: i64) -> Wait {
    let is_reached = |state: State| state.to_be_had().is_some_and(|minor| minor <= target_minor);
    if series.last().is_some_and(|(_, state)| is_reached(state)) {
        return Wait::NotAtAll;
    }
    let (mut waited_ms, mut reached_ms, mut arrivals) = (0, 0, 0_u32);
    let mut is_waiting = false;
    for step in series.steps() {
        if step.state == State::Unread {
            is_waiting = false;
        } else if is_reached(step.state) {
            arrivals += u32::from(is_waiting);
            is_waiting = false;
            reached_ms += step.ms();
        } else {
            is_waiting = true;
            waited_ms += step.ms();
        }
    }
    let watched_ms = waited_ms + reached_ms;
    if watched_ms < WATCHED_LEAST.num_milliseconds() {
        Wait::CannotTell(Why::RecordTooShort { watched_ms })
    } else if reached_ms == 0 {
        Wait::CannotTell(Why::NeverReached { watched_ms })
    } else if arrivals < ARRIVALS_LEAST {
        Wait::CannotTell(Why::TooFewArrivals { arrivals })
    } else {
        Wait::Expected {
            mean_ms: waited_ms / i64::from(arrivals),
            arrivals,
            waited_ms,
        }
    }
}
