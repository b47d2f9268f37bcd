//! The guide of a brief, and a what-if saved into the brief's file.

use super::refusal::{not_found, refused};
use super::{DaemonDesk, changes};
use crate::guide::render::{Form, render};
use crate::ledger::sha256;
use crate::watch::join::joined;
use crate::watch::saving::{Draft, DraftFault, draft};
use crate::web::desk::Told;
use crate::web::view::{GuideForm, GuideText, Proposal, Refusal, RefusalKind, Saved, WhatIf};

impl DaemonDesk {
    pub(super) fn guide_text(
        &self,
        brief: &str,
        form: GuideForm,
        what_if: &WhatIf,
    ) -> Told<GuideText> {
        let ground = self.ground()?;
        let key = format!("guide {brief} {}", what_if.query());
        let view = self.solve(&ground, key, || {
            let asked = self.asked(&ground, brief, what_if)?;
            let joined = self.ask(&ground, |reader| {
                joined(&asked, reader, &asked.countries(), &|_| {})
            })?;
            Ok(joined.map(|joined| joined.view))
        })?;
        let Some(view) = &*view else {
            return Err(not_found(
                "nothing fits, so there is no guide".to_owned(),
                "the brief's page tells why",
            ));
        };
        let (rendered, media_type) = match form {
            GuideForm::Markdown => (Form::Markdown, "text/markdown; charset=utf-8"),
            GuideForm::Html => (Form::Html, "text/html; charset=utf-8"),
            GuideForm::Text => (Form::Text, "text/plain; charset=utf-8"),
            GuideForm::Csv => (Form::Csv, "text/csv; charset=utf-8"),
            GuideForm::Json => (Form::Json, "application/json"),
        };
        let (text, faults) = render(&ground.settings.templates, view, rendered, None);
        for fault in faults {
            tracing::warn!(
                "a text of yours could not be filled in, so the program's own stands: {fault}"
            );
        }
        Ok(GuideText {
            brief: view.brief.clone(),
            form,
            media_type: media_type.to_owned(),
            text,
        })
    }

    pub(super) fn propose(&self, brief: &str, what_if: &WhatIf) -> Told<Proposal> {
        let draft = self.draft(brief, what_if)?;
        Ok(Proposal {
            brief: brief.to_owned(),
            diff: draft.difference(),
            digest: sha256(&draft.before),
            not_saved: match what_if.prices.is_empty() {
                true => Vec::new(),
                false => vec!["prices: a brief takes them from the feeds".to_owned()],
            },
            file: draft.file,
        })
    }

    pub(super) fn save_what_if(&self, brief: &str, what_if: &WhatIf, digest: &str) -> Told<Saved> {
        // Of two that save at once the second finds the file changed.
        let _turn = self.saving();
        let draft = self.draft(brief, what_if)?;
        if sha256(&draft.before) != digest {
            return Err(Refusal::new(
                RefusalKind::Conflict,
                format!("{} has changed since it was shown", draft.file),
                "look at the differences again, then save",
            ));
        }
        draft.write().map_err(|error| {
            Refusal::new(
                RefusalKind::Broken,
                format!("cannot write {}: {error}", draft.file),
                "look whether the folder may be written",
            )
        })?;
        self.moved();
        Ok(Saved {
            brief: brief.to_owned(),
            file: draft.file,
            digest: sha256(&draft.after),
        })
    }

    /// What the brief's file would say.
    fn draft(&self, brief: &str, what_if: &WhatIf) -> Told<Draft> {
        let ground = self.ground()?;
        let without_prices = WhatIf {
            prices: Default::default(),
            ..what_if.clone()
        };
        // Everything named is known, or it is said here.
        let asked = self.asked(&ground, brief, &without_prices)?;
        draft(&asked, &changes(&without_prices)).map_err(|fault| match fault {
            DraftFault::Ask(fault) => refused(fault),
            DraftFault::File { message, hint } => {
                Refusal::new(RefusalKind::Conflict, message, hint)
            }
        })
    }
}
