//! The guide: how it looks, and its text in each form to be copied.

use super::super::frame::{Look, Page, Place};
use super::super::words::{under, with_query};
use super::{Heading, heading};
use crate::web::view::{GuideForm, GuideText, WhatIf};
use maud::html;

pub fn page(view: &GuideText, what_if: &WhatIf, _look: &Look) -> Page {
    let head = Heading {
        brief: &view.brief,
        name: "Guide",
        what_if,
        here: "/guide",
    };
    let below = html! { "As it would be published now" };
    let address = |form: GuideForm| {
        let path = under(&view.brief, "/guide", what_if);
        let joint = if path.contains('?') { '&' } else { '?' };
        format!("{path}{joint}form={}", form.name())
    };
    let file = file(view, what_if);
    let body = html! {
        (heading(&head, &below))
        section.sheet {
            ul.tabs aria-label="Forms" {
                @for form in GuideForm::ALL {
                    li { a.button.small href=(address(form)) aria-current=[(form == view.form).then_some("page")] { (title(form)) } }
                }
            }
            p.row {
                button.main type="button" data-copy="text" data-script hidden { "Copy" }
                a.button href=(file) download { "Download" }
                @if view.form == GuideForm::Html { a.button href=(file) target="_blank" rel="noopener" { "Open alone" } }
            }
            @if view.form == GuideForm::Html {
                iframe.preview title="The guide as readers see it" src=(file) sandbox="" {}
            }
            label for="text" { (title(view.form)) }
            textarea #text readonly spellcheck="false" wrap="off" { "\n" (view.text) }
        }
    };
    Page {
        title: format!("Guide, {}", view.brief),
        place: Place::Briefs,
        scripts: &[],
        body,
    }
}

/// The guide alone, as a file.
fn file(view: &GuideText, what_if: &WhatIf) -> String {
    let path = under(
        &view.brief,
        &format!("/guide/{}", view.form.name()),
        &WhatIf::default(),
    );
    with_query(&path, &what_if.query())
}

fn title(form: GuideForm) -> &'static str {
    match form {
        GuideForm::Markdown => "Markdown",
        GuideForm::Html => "HTML",
        GuideForm::Text => "Plain text",
        GuideForm::Csv => "CSV",
        GuideForm::Json => "JSON",
    }
}
