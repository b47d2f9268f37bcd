//! A channel whose secrets are missing where the settings are read: an author's own terminal need not know what
//! the daemon's environment holds, and most commands send nothing.
//!
//! Delivers nothing and says why. Whoever sends asks [`faults_of`] first.

use super::channel::{Channel, DeliveryFault, Pause, Sending};
use super::deliver::Channels;
use crate::catalogue::Fault;
use crate::decide::Bulletin;

pub(super) struct Unready {
    pub faults: Vec<Fault>,
}

/// What is missing for these channels to deliver.
pub fn faults_of(channels: &Channels) -> Vec<Fault> {
    let faults = channels.values().flat_map(|channel| channel.faults());
    let mut faults: Vec<Fault> = faults.cloned().collect();
    faults.sort();
    faults
}

impl Unready {
    fn reason(&self) -> String {
        let faults: Vec<String> = self.faults.iter().map(ToString::to_string).collect();
        faults.join("; ")
    }
}

impl Channel for Unready {
    fn address(&self) -> String {
        String::new()
    }

    fn send<'a>(&'a self, _: &'a Bulletin) -> Sending<'a> {
        Box::pin(async move {
            Err(DeliveryFault::Passing {
                reason: self.reason(),
                pause: Pause::Unsaid,
            })
        })
    }

    fn faults(&self) -> &[Fault] {
        &self.faults
    }

    fn preview(&self, _: &Bulletin) -> String {
        self.reason()
    }
}
