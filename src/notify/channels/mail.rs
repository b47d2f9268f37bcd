//! Bulletins as mail over SMTP.
//!
//! The message is plain text with an HTML alternative, and its Message-ID comes from the bulletin's
//! id: a repeat is the same message. Each receiver gets it in a transaction of its own, so that where
//! one is refused only that one is tried again; who had it already is remembered while the program
//! runs, and after a restart may get the same message once more.

mod message;
mod settings;

use crate::decide::Bulletin;
use crate::notify::body::one_line;
use crate::notify::channel::{Channel, DeliveryFault, Pause, Sending, Trying};
use crate::notify::registry::ChannelKind;
use lettre::address::Envelope;
use lettre::message::Mailbox;
use lettre::transport::smtp::Error as SmtpError;
use lettre::{AsyncSmtpTransport, AsyncTransport, Tokio1Executor};
use ring::digest::{SHA256, digest};
use std::collections::{BTreeMap, VecDeque};
use std::error::Error;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

pub(in crate::notify) const KIND: ChannelKind = ChannelKind {
    name: "mail",
    about: "Mails each bulletin from `from` to every address in `to` over the SMTP server `host`; \
            `tls` is wrapped, starttls, opportunistic or none.",
    read: settings::read,
};

/// Bulletins whose receivers are remembered.
const REMEMBERED_MAX: usize = 200;

struct Mail {
    transport: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
    to: Vec<Mailbox>,
    /// The server and the receivers, for [`Channel::address`].
    address: String,
    /// For all receivers of one attempt together.
    timeout: Duration,
    settled: Mutex<Remembered>,
}

/// What became of a bulletin at each receiver that is settled, by the receiver's number.
#[derive(Default)]
struct Remembered {
    outcomes: BTreeMap<String, BTreeMap<usize, Result<(), String>>>,
    order: VecDeque<String>,
}

impl Remembered {
    fn of(&mut self, bulletin: &str) -> &mut BTreeMap<usize, Result<(), String>> {
        if !self.outcomes.contains_key(bulletin) {
            self.order.push_back(bulletin.to_owned());
            if self.order.len() > REMEMBERED_MAX
                && let Some(oldest) = self.order.pop_front()
            {
                self.outcomes.remove(&oldest);
            }
        }
        self.outcomes.entry(bulletin.to_owned()).or_default()
    }
}

impl Channel for Mail {
    fn address(&self) -> String {
        let digest = digest(&SHA256, self.address.as_bytes());
        let bytes = digest.as_ref().iter();
        bytes.map(|byte| format!("{byte:02x}")).collect()
    }

    fn send<'a>(&'a self, bulletin: &'a Bulletin) -> Sending<'a> {
        Box::pin(async move { self.mail_in_time(bulletin).await.map(|_| ()) })
    }

    fn try_out<'a>(&'a self, bulletin: &'a Bulletin) -> Trying<'a> {
        Box::pin(async move { Ok(self.mail_in_time(bulletin).await?.join("; ")) })
    }

    fn preview(&self, bulletin: &Bulletin) -> String {
        let to: Vec<String> = self.to.iter().map(ToString::to_string).collect();
        let (from, to, subject) = (&self.from, to.join(", "), one_line(&bulletin.subject));
        let head = format!("From: {from}\nTo: {to}\nSubject: {subject}");
        format!(
            "{head}\n(with an HTML page beside the text)\n\n{}",
            bulletin.text
        )
    }
}

impl Mail {
    async fn mail_in_time(&self, bulletin: &Bulletin) -> Result<Vec<String>, DeliveryFault> {
        match tokio::time::timeout(self.timeout, self.mail(bulletin)).await {
            Ok(outcome) => outcome,
            Err(_) => Err(passing("the mail server did not answer in time".to_owned())),
        }
    }

    /// Returns what the server said of each receiver that it took the mail for just now.
    async fn mail(&self, bulletin: &Bulletin) -> Result<Vec<String>, DeliveryFault> {
        let message = message::message(&self.from, &self.to, bulletin)
            .map_err(|reason| DeliveryFault::Permanent { reason })?;
        let bytes = message.formatted();
        let (mut waiting, mut said) = (Vec::new(), Vec::new());
        for (number, receiver) in self.to.iter().enumerate() {
            if self.outcome(bulletin, number).is_some() {
                continue;
            }
            let from = Some(self.from.email.clone());
            let envelope = Envelope::new(from, vec![receiver.email.clone()]);
            let sent = match envelope {
                Ok(envelope) => self.transport.send_raw(&envelope, &bytes).await,
                Err(error) => {
                    let reason = error.to_string();
                    return Err(DeliveryFault::Permanent { reason });
                }
            };
            match sent {
                Ok(answer) => {
                    let words: Vec<&str> = answer.message().collect();
                    let words = one_line(&words.join(" "));
                    said.push(format!("{}: {} {words}", receiver.email, answer.code()));
                    self.settle(bulletin, number, Ok(()));
                }
                Err(error) if is_final(&error) => {
                    self.settle(bulletin, number, Err(told(&error)));
                }
                Err(error) => waiting.push(format!("{}: {}", receiver.email, told(&error))),
            }
        }
        if !waiting.is_empty() {
            return Err(passing(waiting.join("; ")));
        }
        self.refused(bulletin)?;
        Ok(said)
    }

    fn outcome(&self, bulletin: &Bulletin, receiver: usize) -> Option<Result<(), String>> {
        let mut settled = self.settled.lock().unwrap_or_else(PoisonError::into_inner);
        settled.of(bulletin.id.as_str()).get(&receiver).cloned()
    }

    fn settle(&self, bulletin: &Bulletin, receiver: usize, outcome: Result<(), String>) {
        let mut settled = self.settled.lock().unwrap_or_else(PoisonError::into_inner);
        let of = settled.of(bulletin.id.as_str());
        of.insert(receiver, outcome);
    }

    /// Every receiver is settled: who of them refused the message for good?
    fn refused(&self, bulletin: &Bulletin) -> Result<(), DeliveryFault> {
        let refusals = self.to.iter().enumerate().filter_map(|(number, receiver)| {
            let reason = self.outcome(bulletin, number)?.err()?;
            Some(format!("{}: {reason}", receiver.email))
        });
        let refusals: Vec<String> = refusals.collect();
        match refusals.is_empty() {
            true => Ok(()),
            false => Err(DeliveryFault::Permanent {
                reason: refusals.join("; "),
            }),
        }
    }
}

/// A refusal of this message or receiver (RFC 5321, section 4.2.1: 5yz). What is about the account
/// (RFC 4954, section 6: 530, 534, 535, 538), the author can mend.
fn is_final(error: &SmtpError) -> bool {
    let about_account = ["530", "534", "535", "538"];
    let code = error.status().map(|code| code.to_string());
    error.is_permanent() && !code.is_some_and(|code| about_account.contains(&code.as_str()))
}

/// What the server said, or why it cannot be reached.
fn told(error: &SmtpError) -> String {
    let mut text = error.to_string();
    let mut cause: Option<&dyn Error> = error.source();
    while let Some(inner) = cause {
        text = format!("{text}: {inner}");
        cause = inner.source();
    }
    one_line(&text)
}

fn passing(reason: String) -> DeliveryFault {
    let pause = Pause::Unsaid;
    DeliveryFault::Passing { reason, pause }
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod tls_tests;
