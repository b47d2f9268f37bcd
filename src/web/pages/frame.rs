//! The frame around every page: where one is, and what needs a look.

use super::figures::Figures;
use crate::web::form::FIELD;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Who looks, and what stands around whatever they look at.
pub struct Look {
    pub figures: Figures,
    /// What forms carry.
    pub form_word: String,
    pub attention: Attention,
    pub is_signed_in: bool,
}

/// How much waits for a person.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Attention {
    pub failing_feeds: u64,
    pub held: u64,
    pub questions: u64,
    pub dead: u64,
}

/// A page of the navigation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    Briefs,
    Parts,
    Feeds,
    Matching,
    Journal,
    Outbox,
}

const PLACES: [(Place, &str, &str); 6] = [
    (Place::Briefs, "/", "Briefs"),
    (Place::Parts, "/parts", "Parts"),
    (Place::Feeds, "/feeds", "Feeds"),
    (Place::Matching, "/matching", "Matching"),
    (Place::Journal, "/journal", "Journal"),
    (Place::Outbox, "/outbox", "Outbox"),
];

/// What a page is.
pub struct Page {
    pub title: String,
    pub place: Place,
    /// Scripts besides the one that every page has.
    pub scripts: &'static [&'static str],
    pub body: Markup,
}

/// The whole document.
pub fn document(page: &Page, look: &Look) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" data-numbers=(look.figures.language()) {
            (head(&page.title, page.scripts))
            body {
                a.skip href="#main" { "To the page" }
                (rail(page.place, look))
                main #main tabindex="-1" {
                    (page.body)
                    p.changed role="status" hidden {
                        "Something changed." " " a href="" { "Load again" }
                    }
                }
            }
        }
    }
}

/// A document without the navigation, for who is not let in yet.
pub fn bare(title: &str, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(title, &[]))
            body { main #main { (body) } }
        }
    }
}

fn head(title: &str, scripts: &[&str]) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            title { (title) " · rigtide" }
            link rel="stylesheet" href="/assets/rigtide.css";
            link rel="icon" type="image/svg+xml" href="/assets/mark.svg";
            script type="module" src="/assets/page.js" {}
            @for script in scripts { script type="module" src={ "/assets/" (script) } {} }
        }
    }
}

fn rail(here: Place, look: &Look) -> Markup {
    let due = |place| match place {
        Place::Feeds => look.attention.failing_feeds + look.attention.held,
        Place::Matching => look.attention.questions,
        Place::Outbox => look.attention.dead,
        _ => 0,
    };
    html! {
        header.rail {
            a.mark href="/" { (mark()) "rigtide" }
            nav aria-label="Pages" {
                ul {
                    @for (place, path, name) in PLACES {
                        li {
                            a href=(path) aria-current=[(place == here).then_some("page")] {
                                (name)
                                @if due(place) > 0 {
                                    span.count.due { (due(place)) span.away-from-sight { " to look at" } }
                                }
                            }
                        }
                    }
                }
            }
            @if look.is_signed_in {
                form method="post" action="/sign-out" {
                    (word(look))
                    button.small { "Sign out" }
                }
            }
        }
    }
}

/// The ladder above the tide.
pub fn mark() -> Markup {
    PreEscaped(
        "<svg viewBox=\"0 0 24 24\" aria-hidden=\"true\"><path d=\"M3 18h5v-5h5V8h5V4h4\"/>\
         <path d=\"M3 21.5q3-2 6 0t6 0 6 0\" stroke-width=\"1.6\"/></svg>"
            .to_owned(),
    )
}

/// The field that says that a form is ours.
pub fn word(look: &Look) -> Markup {
    html! { input type="hidden" name=(FIELD) value=(look.form_word); }
}

/// A button that does something: a form of its own.
pub fn act(look: &Look, to: &str, fields: &[(&str, &str)], button: &Markup) -> Markup {
    html! {
        form method="post" action=(to) {
            (word(look))
            @for (name, value) in fields { input type="hidden" name=(name) value=(value); }
            (button)
        }
    }
}
