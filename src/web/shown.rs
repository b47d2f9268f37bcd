//! What every handler works with: the daemon's vitals, who may come in, and what has been asked lately.

use super::Vitals;
use super::desk::{Desk, Told};
use super::pace::Pace;
use super::refusing::Turned;
use super::session::{NoRandomness, Sessions};
use super::settings::Access;
use super::view::LadderPage;
use super::written::WrittenLadders;
use axum::body::Bytes;
use axum::http::StatusCode;
use std::net::SocketAddr;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::Duration;
use tokio::sync::watch::Receiver;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// So many look at the vitals at once; others wait their turn.
const LOOKS_AT_ONCE: usize = 2;
/// So many ask the desk at once. Most answers are ready; what has to be solved the desk limits itself.
const QUESTIONS_AT_ONCE: usize = 8;
/// So many ask it for what is ready, beside those.
const GLANCES_AT_ONCE: usize = 4;
/// So many listen for changes at once.
const LISTENERS: usize = 64;
/// Who finds all turns taken for so long is asked to come back.
const PATIENCE: Duration = Duration::from_secs(5);

/// Shared by all handlers; a clone is the same.
#[derive(Clone)]
pub struct Shown(Arc<Inner>);

struct Inner {
    vitals: Arc<dyn Vitals>,
    desk: Option<Arc<dyn Desk>>,
    looks: Semaphore,
    questions: Semaphore,
    glances: Semaphore,
    written: WrittenLadders,
    listeners: Arc<Semaphore>,
    address: SocketAddr,
    access: RwLock<Arc<Access>>,
    sessions: Sessions,
    pace: Pace,
    /// Passwords are hashed one at a time: each takes a core and 19 MiB.
    hashing: Semaphore,
}

/// Which turns a question takes: what has to be worked out keeps nobody from what is ready.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Questions {
    Any,
    Ready,
}

/// The word of the session that a request belongs to; with no password there are no sessions.
#[derive(Debug, Clone)]
pub struct SessionWord(pub String);

impl Shown {
    /// # Errors
    /// The system has no randomness for sessions.
    pub fn new(
        vitals: Arc<dyn Vitals>,
        desk: Option<Arc<dyn Desk>>,
        address: SocketAddr,
        access: Access,
    ) -> Result<Shown, NoRandomness> {
        Ok(Shown(Arc::new(Inner {
            vitals,
            desk,
            looks: Semaphore::new(LOOKS_AT_ONCE),
            questions: Semaphore::new(QUESTIONS_AT_ONCE),
            glances: Semaphore::new(GLANCES_AT_ONCE),
            written: WrittenLadders::default(),
            listeners: Arc::new(Semaphore::new(LISTENERS)),
            address,
            access: RwLock::new(Arc::new(access)),
            sessions: Sessions::new()?,
            pace: Pace::of_environment(),
            hashing: Semaphore::new(1),
        })))
    }

    /// Looks away from the threads that serve the network. None if looking went wrong.
    pub async fn look<T: Send + 'static>(
        &self,
        look: impl FnOnce(&dyn Vitals) -> T + Send + 'static,
    ) -> Option<T> {
        let _turn = self.0.looks.acquire().await.ok()?;
        let vitals = self.0.vitals.clone();
        let looked = tokio::task::spawn_blocking(move || look(vitals.as_ref())).await;
        looked
            .inspect_err(|panic| tracing::error!(error = %panic, "looking at the daemon panicked"))
            .ok()
    }

    /// Asks the desk, away from the threads that serve the network.
    ///
    /// # Errors
    /// The desk refuses, all turns are taken, or answering went wrong.
    pub async fn ask<T: Send + 'static>(
        &self,
        question: impl FnOnce(&dyn Desk) -> Told<T> + Send + 'static,
    ) -> Result<T, Turned> {
        self.ask_of(Questions::Any, question).await
    }

    /// As [`Shown::ask`], by turns of the question's own.
    ///
    /// # Errors
    /// As there.
    pub async fn ask_of<T: Send + 'static>(
        &self,
        questions: Questions,
        question: impl FnOnce(&dyn Desk) -> Told<T> + Send + 'static,
    ) -> Result<T, Turned> {
        let desk = self.desk()?.clone();
        let turns = match questions {
            Questions::Any => &self.0.questions,
            Questions::Ready => &self.0.glances,
        };
        let turn = tokio::time::timeout(PATIENCE, turns.acquire()).await;
        let Ok(Ok(_turn)) = turn else {
            return Err(busy());
        };
        let answered = tokio::task::spawn_blocking(move || question(desk.as_ref())).await;
        match answered {
            Ok(told) => told.map_err(Turned::from),
            Err(panic) => {
                tracing::error!(error = %panic, "answering a question panicked");
                let message = "the program made a mistake over this question";
                let remedy = "its log says which; please report it";
                let status = StatusCode::INTERNAL_SERVER_ERROR;
                Err(Turned::new(status, message, remedy))
            }
        }
    }

    /// A ladder as JSON, which is written once for as long as the desk has it.
    pub fn ladder_text(&self, ladder: &Arc<LadderPage>) -> Bytes {
        self.0.written.of(ladder)
    }

    /// A turn to listen for changes, as long as it is held; none if all are taken.
    pub fn listen(&self) -> Option<OwnedSemaphorePermit> {
        self.0.listeners.clone().try_acquire_owned().ok()
    }

    /// # Errors
    /// There is no desk.
    pub fn changes(&self) -> Result<Receiver<u64>, Turned> {
        self.desk().map(|desk| desk.changes())
    }

    fn desk(&self) -> Result<&Arc<dyn Desk>, Turned> {
        self.0.desk.as_ref().ok_or_else(|| {
            let message = "this daemon has no desk to ask";
            Turned::new(StatusCode::NOT_FOUND, message, "use the command line")
        })
    }

    pub fn access(&self) -> Arc<Access> {
        let access = self.0.access.read();
        access.unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// From now on these are let in. With another password everybody signs in again.
    pub fn let_in(&self, access: &Access) {
        let before = self.access();
        if *before == *access {
            return;
        }
        if before.password != access.password {
            self.0.sessions.close_all();
        }
        let mut kept = self
            .0
            .access
            .write()
            .unwrap_or_else(PoisonError::into_inner);
        *kept = Arc::new(access.clone());
    }

    /// Whether other machines reach it.
    pub fn is_for_others(&self) -> bool {
        !self.0.address.ip().is_loopback()
    }

    pub fn port(&self) -> u16 {
        self.0.address.port()
    }

    pub fn sessions(&self) -> &Sessions {
        &self.0.sessions
    }

    pub fn pace(&self) -> &Pace {
        &self.0.pace
    }

    /// Whether a password is the right one.
    pub async fn is_right(&self, password: String) -> bool {
        let access = self.access();
        let Some(hash) = access.password.clone() else {
            return false;
        };
        let Ok(_turn) = self.0.hashing.acquire().await else {
            return false;
        };
        let checked =
            tokio::task::spawn_blocking(move || hash.is_of(&password).then_some(password));
        let Ok(Some(password)) = checked.await else {
            return false;
        };
        if let Some(hash) = &access.password {
            self.0.sessions.found_right(hash, &password);
        }
        true
    }
}

fn busy() -> Turned {
    let message = "as many questions are being answered as the machine bears";
    let status = StatusCode::SERVICE_UNAVAILABLE;
    Turned::new(status, message, "ask again in a moment").again_in(PATIENCE)
}
