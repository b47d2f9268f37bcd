//! The picks: each with where it is bought, what its price is worth, why it is here, and what if not.

use super::super::figures::{day, time};
use super::super::frame::Look;
use super::super::words::{availability, away, part_path, pieces, plain, segment, under};
use crate::web::view::{BriefPage, PickView, PositionView, RoleView, WhatIf};
use maud::{Markup, html};

pub fn section(view: &BriefPage, look: &Look) -> Markup {
    html! {
        header {
            h2 { "The picks" }
            p.soft { "Prices as the retailer states them; landed with tax and delivery, in " (view.currency) }
        }
        table.stack.picks {
            thead {
                tr {
                    th scope="col" { "Role" } th scope="col" { "Part" } th scope="col" { "Retailer" }
                    th.num scope="col" { "Price" } th.num scope="col" { "Landed" } th scope="col" { "Price position" }
                    th scope="col" { "What if" }
                }
            }
            tbody {
                @for role in &view.roles {
                    (row(view, role, view.picks.iter().find(|pick| pick.role == role.role), look))
                }
            }
            (foot(view, look))
        }
    }
}

fn row(view: &BriefPage, role: &RoleView, pick: Option<&PickView>, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        tr data-role=(role.role) data-part=[pick.map(|pick| &pick.part)] data-landed=[pick.map(|pick| pick.landed_minor)] {
            th scope="row" { (plain(&role.role)) }
            td {
                @match pick {
                    Some(pick) => {
                        a data-cell="part" href=(part_path(&pick.part)) { (pieces(pick.quantity, &pick.name)) }
                        small data-late { (pick.reason) }
                    }
                    None => { a data-cell="part" { "none" } }
                }
            }
            td data-of="Retailer" {
                span {
                    span data-cell="retailer" {
                        @if let Some(pick) = pick {
                            @let name = pick.retailer_name.as_deref().or(pick.retailer.as_deref());
                            @match (name, &pick.link) {
                                (Some(name), Some(link)) => (away(link, pick.is_paid_link, name)),
                                (Some(name), None) => (name),
                                (None, _) => "owned",
                            }
                        }
                    }
                    small data-late {
                        @if let Some(word) = pick.and_then(|pick| pick.availability.as_deref()) {
                            (availability(word, pick.and_then(|pick| pick.lead_days)))
                        }
                    }
                }
            }
            td.num data-of="Price" {
                span data-late {
                    @if let Some((pick, price)) = pick.and_then(|pick| Some((pick, pick.price_minor?))) {
                        @if pick.price_currency != view.currency { (pick.price_currency) " " }
                        (figures.amount(price, &pick.price_currency))
                        @if let Some(seen) = &pick.seen_at { small { "seen " (time(seen)) } }
                    }
                }
            }
            td.num data-of="Landed" {
                strong data-cell="landed" { @if let Some(pick) = pick { (figures.amount(pick.landed_minor, &view.currency)) } }
            }
            td data-of="Price position" {
                span data-late {
                    @if let Some(pick) = pick {
                        @if let Some(position) = &pick.position { (beside_its_past(position, look)) }
                        @if pick.rebate_minor > 0 { small { (figures.money(pick.rebate_minor, &view.currency)) " come back later" } }
                    }
                }
            }
            td { @if let Some(pick) = pick { (acts(view, role, pick)) } }
        }
    }
}

fn beside_its_past(position: &PositionView, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        @match position.above_percent {
            Some(above) => { (figures.percent(above, 0)) " above its " }
            None => "at its ",
        }
        @match &position.since {
            Some(since) => { "low since " (day(since)) }
            None => { (figures.count(position.days)) "-day low" }
        }
        @if position.above_percent.is_some() { " of " (figures.money(position.lowest_minor, &position.currency)) }
    }
}

/// Links to the same brief with one thing supposed or taken back.
fn acts(view: &BriefPage, role: &RoleView, pick: &PickView) -> Markup {
    let supposed = |change: &dyn Fn(&mut WhatIf)| {
        let mut what_if = view.what_if.clone();
        change(&mut what_if);
        under(&view.brief, "", &what_if)
    };
    let (own_role, part) = (role.role.clone(), pick.part.clone());
    let is_supposed_pin = view.what_if.pins.contains_key(&role.role);
    let is_supposed_owned = view.what_if.owned.contains_key(&role.role);
    let pin = match is_supposed_pin {
        true => supposed(&|what_if| drop(what_if.pins.remove(&own_role))),
        false => supposed(&|what_if| drop(what_if.pins.insert(own_role.clone(), part.clone()))),
    };
    let own = match is_supposed_owned {
        true => supposed(&|what_if| drop(what_if.owned.remove(&own_role))),
        false => supposed(&|what_if| drop(what_if.owned.insert(own_role.clone(), part.clone()))),
    };
    let ban = supposed(&|what_if| {
        what_if.pins.remove(&own_role);
        what_if.owned.remove(&own_role);
        what_if.bans.push(part.clone());
    });
    html! {
        div.acts data-late {
            @if role.pin.is_some() && !is_supposed_pin { span.tag.on { "pinned" } }
            @else { (toggle(&pin, if is_supposed_pin { "Unpin" } else { "Pin" }, is_supposed_pin, &pick.name)) }
            @if !pick.is_pinned && !pick.is_owned { (toggle(&ban, "Ban", false, &pick.name)) }
            @if role.is_owned && !is_supposed_owned { span.tag.on { "owned" } }
            @else { (toggle(&own, if is_supposed_owned { "Not owned" } else { "Owned" }, is_supposed_owned, &pick.name)) }
            a.button.small href=(under(&view.brief, &format!("/entries/{}", segment(&role.role)), &view.what_if))
                aria-label={ "Others for " (plain(&role.role)) } { "Others" }
            a.button.small href=(under(&view.brief, &format!("/why/{}", segment(&pick.part)), &view.what_if))
                aria-label={ "Why " (pick.name) } { "Why" }
        }
    }
}

fn toggle(to: &str, words: &str, is_on: bool, name: &str) -> Markup {
    html! { a.button.small.on[is_on] href=(to) aria-label={ (words) ": " (name) } { (words) } }
}

fn foot(view: &BriefPage, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        tfoot {
            @for order in &view.orders {
                tr {
                    td colspan="4" { (order.words) }
                    td.num data-of="In the total" { span data-late { (figures.more(order.minor, &view.currency)) } }
                    td colspan="2" {}
                }
            }
            @if let Some(total) = view.total_minor {
                tr {
                    th scope="row" colspan="4" { "Total" }
                    td.num data-of="Total" { strong data-follow="total" { (figures.amount(total, &view.currency)) } }
                    td colspan="2" {}
                }
            }
        }
    }
}
