//! Faults as refusals.

use crate::ledger::LedgerError;
use crate::watch::asking::AskFault;
use crate::web::view::{Refusal, RefusalKind};

impl From<LedgerError> for Refusal {
    fn from(error: LedgerError) -> Refusal {
        let kind = match error.may_pass() {
            true => RefusalKind::Busy,
            false => RefusalKind::Broken,
        };
        Refusal::new(
            kind,
            chain(&error),
            "`rigtide status` and the log tell how the ledger fares",
        )
    }
}

impl From<AskFault> for Refusal {
    fn from(fault: AskFault) -> Refusal {
        match fault {
            AskFault::Unknown { message, hint } => {
                Refusal::new(RefusalKind::NotFound, message, hint)
            }
            AskFault::Senseless { message, hint } => {
                Refusal::new(RefusalKind::Invalid, message, hint)
            }
            AskFault::Ledger(error) => error.into(),
            AskFault::Unsolved { doing, source } => Refusal::new(
                RefusalKind::Broken,
                format!("{doing}: {}", chain(source.as_ref())),
                "ask for less at once; the log tells more",
            ),
        }
    }
}

/// As a function, for `map_err`.
pub(super) fn refused(fault: impl Into<Refusal>) -> Refusal {
    fault.into()
}

/// What is not found in a what-if makes the question senseless; its page is there.
pub(super) fn invalid(fault: AskFault) -> Refusal {
    let refusal = Refusal::from(fault);
    match refusal.kind {
        RefusalKind::NotFound => Refusal {
            kind: RefusalKind::Invalid,
            ..refusal
        },
        _ => refusal,
    }
}

pub(super) fn not_found(message: String, remedy: impl Into<String>) -> Refusal {
    Refusal::new(RefusalKind::NotFound, message, remedy)
}

fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(error) = source {
        text = format!("{text}: {error}");
        source = error.source();
    }
    text
}
