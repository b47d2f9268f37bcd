//! Ladders as JSON, written once: of a large market one is half a megabyte, and many ask for the same.
//!
//! Knows a ladder by being the very same value, and forgets it with the desk.

use super::view::LadderPage;
use axum::body::Bytes;
use std::sync::{Arc, Mutex, PoisonError, Weak};

/// So many are remembered; the oldest goes first.
const KEPT_MAX: usize = 8;

#[derive(Default)]
pub struct WrittenLadders(Mutex<Vec<(Weak<LadderPage>, Bytes)>>);

impl WrittenLadders {
    pub fn of(&self, ladder: &Arc<LadderPage>) -> Bytes {
        let kept = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let is_it = |(known, _): &&(Weak<LadderPage>, Bytes)| {
            known
                .upgrade()
                .is_some_and(|known| Arc::ptr_eq(&known, ladder))
        };
        if let Some((_, text)) = kept().iter().find(is_it) {
            return text.clone();
        }
        // A struct of texts and numbers can be written.
        let text = Bytes::from(serde_json::to_vec(ladder.as_ref()).unwrap_or_default());
        let mut kept = kept();
        kept.retain(|(known, _)| known.strong_count() > 0);
        if kept.len() == KEPT_MAX {
            kept.remove(0);
        }
        kept.push((Arc::downgrade(ladder), text.clone()));
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::desk::Desk as _;
    use crate::web::sample::SampleDesk;
    use crate::web::view::WhatIf;

    #[test]
    fn a_ladder_is_written_once_and_forgotten_with_the_desk() {
        let (written, desk) = (WrittenLadders::default(), SampleDesk::default());
        let ladder = desk.ladder("quiet", &WhatIf::default()).unwrap();
        let text = written.of(&ladder);
        let json: serde_json::Value = serde_json::from_slice(&text).unwrap();
        assert_eq!(json, serde_json::to_value(ladder.as_ref()).unwrap());
        assert_eq!(written.of(&ladder).as_ptr(), text.as_ptr());
        let other = desk.ladder("quiet", &WhatIf::default()).unwrap();
        assert_ne!(written.of(&other).as_ptr(), text.as_ptr());
        drop((ladder, other));
        let third = desk.ladder("quiet", &WhatIf::default()).unwrap();
        written.of(&third);
        assert_eq!(written.0.lock().unwrap().len(), 1);
    }
}
