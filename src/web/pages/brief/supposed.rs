//! The what-if in force: what it supposes, how one takes it back, and the way into the brief's file.

use super::super::figures::Figures;
use super::super::words::{plain, under};
use crate::web::view::{BriefPage, WhatIf};
use maud::{Markup, html};

/// Nothing, where nothing is supposed.
pub fn strip(view: &BriefPage) -> Markup {
    let supposed = supposed(view);
    html! {
        @if !supposed.is_empty() {
            div.said {
                p { strong { "What if" } " – nothing of this is written down yet." }
                ul.tabs.supposed {
                    @for (words, without) in &supposed {
                        li {
                            span.tag.on { (words) }
                            " " a.button.small href=(under(&view.brief, "", without)) aria-label={ "Take back: " (words) } { "Take back" }
                        }
                    }
                }
                p.row {
                    a.button.main href=(under(&view.brief, "/save", &view.what_if)) { "Save into the brief…" }
                    a.button href=(under(&view.brief, "", &WhatIf::default())) { "Take all back" }
                }
            }
        }
    }
}

/// Each thing that is supposed, and the what-if without it.
fn supposed(view: &BriefPage) -> Vec<(String, WhatIf)> {
    let what_if = &view.what_if;
    let mut all = Vec::new();
    let mut put = |words: String, take: &dyn Fn(&mut WhatIf)| {
        let mut without = what_if.clone();
        take(&mut without);
        all.push((words, without));
    };
    if what_if.budget.is_some() {
        let amount = Figures::plain(view.budget_minor, &view.currency);
        put(format!("budget {} {amount}", view.currency), &|without| {
            without.budget = None
        });
    }
    for (role, part) in &what_if.pins {
        let words = format!("{} pinned to {}", plain(role), named(view, part));
        put(words, &|without| drop(without.pins.remove(role)));
    }
    for (role, part) in &what_if.owned {
        let words = format!("{} owned: {}", plain(role), named(view, part));
        put(words, &|without| drop(without.owned.remove(role)));
    }
    for ban in &what_if.bans {
        put(format!("without {}", named(view, ban)), &|without| {
            without.bans.retain(|known| known != ban)
        });
    }
    for (part, price) in &what_if.prices {
        let words = format!("{} at {} {price}", named(view, part), view.currency);
        put(words, &|without| drop(without.prices.remove(part)));
    }
    if let Some(most) = what_if.most_retailers {
        put(format!("at most {most} retailers"), &|without| {
            without.most_retailers = None
        });
    }
    all
}

/// By its name where the build has it.
fn named<'v>(view: &'v BriefPage, part: &'v str) -> &'v str {
    let pick = view.picks.iter().find(|pick| pick.part == part);
    pick.map_or(part, |pick| &pick.name)
}
