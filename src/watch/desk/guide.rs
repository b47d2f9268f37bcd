//! The guide of a brief, and a what-if saved into the brief's file.

use super::refusal::{not_found, refused};
use super::{DaemonDesk, saving};
use crate::guide::render::{Form, render};
use crate::ledger::sha256;
use crate::watch::asking::{AskFault, named};
use crate::watch::join::joined;
use crate::web::desk::Told;
use crate::web::view::{GuideForm, GuideText, Proposal, Refusal, RefusalKind, Saved, WhatIf};
use std::path::{Path, PathBuf};

/// A file as it is and as it would be.
struct Draft {
    path: PathBuf,
    /// Below the configuration's directory.
    file: String,
    before: String,
    after: String,
}

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
            diff: saving::difference(&draft.file, &draft.before, &draft.after),
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
        saving::write(&draft.path, &draft.after).map_err(|error| {
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
        let settings = &ground.settings;
        let without_prices = WhatIf {
            prices: Default::default(),
            ..what_if.clone()
        };
        // Everything named is known, or it is said here.
        let asked = self.asked(&ground, brief, &without_prices)?;
        let file = format!("briefs/{}.toml", asked.brief.id);
        let path = settings.directory.join(&file);
        let before = read(&path, &file)?;
        let bans = what_if.bans.iter().map(|name| {
            let kind = named(settings, name)?;
            Ok::<_, AskFault>((kind, name.as_str()))
        });
        let bans = bans.collect::<Result<Vec<_>, _>>().map_err(refused)?;
        let after = saving::edited(&before, &asked.brief, &without_prices, &bans);
        let after = after.and_then(|after| {
            saving::check(&file, &after, &asked.brief, &settings.catalogue)?;
            Ok(after)
        });
        let after = after.map_err(|message| {
            Refusal::new(
                RefusalKind::Conflict,
                message,
                "edit the file by hand, or put right what is wrong with it first",
            )
        })?;
        Ok(Draft {
            path,
            file,
            before,
            after,
        })
    }
}

fn read(path: &Path, file: &str) -> Told<String> {
    std::fs::read_to_string(path).map_err(|error| {
        Refusal::new(
            RefusalKind::Conflict,
            format!("cannot read {file}: {error}"),
            "look whether the file is still there",
        )
    })
}
