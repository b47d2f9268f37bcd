//! The queue of offers that may be a part: evidence side by side, a word by mouse or keyboard.

use super::frame::{Look, Page, Place, act};
use super::part::by_words;
use super::words::{counted, feed_path, from_outside, part_path};
use crate::web::view::{ProposedView, QuestionView, Questions};
use maud::{Markup, html};

const KEYS: [(&str, &str); 5] = [
    ("J, K", "next, previous"),
    ("A", "accept the first proposal"),
    ("1–9", "accept that proposal"),
    ("R", "refuse them all"),
    ("N", "a part that the catalogue lacks"),
];

pub fn page(view: &Questions, told: Option<&str>, look: &Look) -> Page {
    let body = html! {
        div.head {
            div { h1 { "Matching" } p.kicker { (counted(view.total, "offer waits", "offers wait")) " for your word" } }
        }
        @match told {
            Some("accepted") => p.said role="status" { "Accepted: the offer is this part from now on." },
            Some("refused") => p.said role="status" { "Refused: the offer is none of these." },
            Some("new") => p.said role="status" { "Noted as a part that the catalogue lacks. " code { "rigtide catalogue propose" } " drafts it." },
            _ => {},
        }
        @if view.queue.is_empty() { p.said { "Nothing waits. Offers that could be a part, and that nothing settles, appear here." } }
        @else {
            div.sheet.row data-script hidden {
                label.check { input #keys type="checkbox" checked autocomplete="off"; "Keys" }
                @for (key, act) in KEYS { span { kbd { (key) } " " span.soft { (act) } } }
            }
        }
        div #queue data-live {
            @for (number, question) in view.queue.iter().enumerate() { (question_view(question, number, look)) }
            @if view.total > view.queue.len() as u64 { p.soft { "The first " (view.queue.len()) " of " (view.total) "." } }
        }
    };
    Page {
        title: "Matching".to_owned(),
        place: Place::Matching,
        scripts: &["matching.js"],
        body,
    }
}

fn question_view(question: &QuestionView, number: usize, look: &Look) -> Markup {
    html! {
        section.sheet.question #{ "q" (number) } tabindex="-1" aria-labelledby={ "q" (number) "-title" } {
            header {
                h2.offer #{ "q" (number) "-title" } { div.long { (from_outside(&question.title)) } }
                p { strong { (look.figures.money(question.price_minor, &question.currency)) } }
            }
            p.soft {
                a href=(feed_path(&question.feed)) { (question.feed) } " · SKU " span.code { (from_outside(&question.sku)) }
                @for (name, value) in [("brand", &question.brand), ("MPN", &question.mpn), ("GTIN", &question.gtin), ("sold by", &question.seller)] {
                    @if let Some(value) = value { " · " (name) " " (from_outside(value)) }
                }
            }
            p { (question.question) }
            div.sides {
                @for (place, proposal) in question.proposals.iter().enumerate() { (proposed(question, proposal, place, look)) }
            }
            div.row {
                (word(question, "refuse", "", look, &html! { button data-key="r" { "None of these" } }))
                (word(question, "new", "", look, &html! { button data-key="n" { "Not in the catalogue yet" } }))
            }
        }
    }
}

fn proposed(question: &QuestionView, proposal: &ProposedView, place: usize, look: &Look) -> Markup {
    html! {
        div.proposal {
            h3 {
                a href=(part_path(&proposal.part)) { (proposal.name) }
                " " span.tag { "by " (by_words(&proposal.by)) @if let Some(confidence) = proposal.confidence { ", " (confidence) " %" } }
            }
            @if !proposal.evidence.is_empty() {
                table.stack {
                    thead { tr { th scope="col" { "What" } th scope="col" { "The offer" } th scope="col" { "The part" } th scope="col" { span.away-from-sight { "Agree" } } } }
                    tbody {
                        @for evidence in &proposal.evidence {
                            tr {
                                th scope="row" { (evidence.what) }
                                td data-of="The offer" { @if let Some(text) = &evidence.offer { (from_outside(text)) } @else { span.soft { "–" } } }
                                td data-of="The part" { (evidence.part.as_deref().unwrap_or("–")) }
                                td {
                                    @match evidence.agrees {
                                        Some(true) => span.good-word { "agree" },
                                        Some(false) => span.bad-word { "differ" },
                                        None => {},
                                    }
                                }
                            }
                        }
                    }
                }
            }
            @if !proposal.agreed.is_empty() { p.soft { "Agrees in " (proposal.agreed.join(", ")) "." } }
            @for objection in &proposal.objections { p.warn-word { (objection) } }
            (word(question, "accept", &proposal.part, look, &html! {
                button.main[place == 0] data-key=(place + 1) aria-label={ "Accept as " (proposal.name) } { "Accept" }
            }))
        }
    }
}

fn word(question: &QuestionView, word: &str, part: &str, look: &Look, button: &Markup) -> Markup {
    let fields = [
        ("retailer", question.retailer.as_str()),
        ("sku", &question.sku),
        ("word", word),
        ("part", part),
    ];
    act(look, "/matching", &fields, button)
}
