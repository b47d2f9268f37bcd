//! The parts of the catalogue, and one of them: what it is, what it costs and what uses it.

mod chart;
mod past;

use super::figures::time;
use super::frame::{Look, Page, Place};
use super::words::{
    availability, away, brief_path, counted, feed_path, from_outside, part_path, plain, query,
    with_query,
};
use crate::web::view::{OfferView, PartList, PartPage, PastView, RateView, SpecView};
use maud::{Markup, html};

/// The list.
pub fn list(view: &PartList, look: &Look) -> Page {
    let kind = view.kind.as_deref().unwrap_or("");
    let words = view.query.as_deref().unwrap_or("");
    let address = |kind: &str, page: u32| {
        let page = if page > 1 {
            page.to_string()
        } else {
            String::new()
        };
        with_query(
            "/parts",
            &query(&[("kind", kind), ("words", words), ("page", &page)]),
        )
    };
    let body = html! {
        div.head {
            div { h1 { "Parts" } p.kicker { (counted(view.total, "part", "parts")) } }
            form.row action="/parts" method="get" role="search" {
                @if !kind.is_empty() { input type="hidden" name="kind" value=(kind); }
                label for="words" { "Name, brand or number" }
                input #words type="search" name="words" value=(words);
                button { "Find" }
            }
        }
        nav aria-label="Kinds" {
            ul.tabs {
                li { a.button.small href=(address("", 1)) aria-current=[kind.is_empty().then_some("page")] { "All kinds" } }
                @for one in &view.kinds {
                    li {
                        a.button.small href=(address(&one.kind, 1)) aria-current=[(one.kind == kind).then_some("page")] {
                            (plain(&one.kind)) " " small.inline { (one.parts) }
                        }
                    }
                }
            }
        }
        section.sheet #parts data-live { (table(view, look)) }
        @if view.pages > 1 {
            nav.row aria-label="Pages of the list" {
                @if view.page > 1 { a.button href=(address(kind, view.page - 1)) rel="prev" { "Back" } }
                span.soft { "Page " (view.page) " of " (view.pages) }
                @if view.page < view.pages { a.button href=(address(kind, view.page + 1)) rel="next" { "Further" } }
            }
        }
    };
    Page {
        title: "Parts".to_owned(),
        place: Place::Parts,
        scripts: &[],
        body,
    }
}

fn table(view: &PartList, look: &Look) -> Markup {
    html! {
        @if view.parts.is_empty() { p { "No part has these words." } }
        @else {
            table.stack {
                thead {
                    tr {
                        th scope="col" { "Part" } th scope="col" { "Kind" } th scope="col" { "Brand" } th scope="col" { "MPN" }
                        th.num scope="col" { "Offers" } th.num scope="col" { "Lowest price" } th scope="col" { "Used in" }
                    }
                }
                tbody {
                    @for part in &view.parts {
                        tr {
                            th scope="row" { a href=(part_path(&part.part)) { (part.name) } }
                            td data-of="Kind" { (plain(&part.kind)) }
                            td data-of="Brand" { (part.brand.as_deref().unwrap_or("")) }
                            td.code data-of="MPN" { (part.mpn.as_deref().unwrap_or("")) }
                            td.num data-of="Offers" { (part.offers) }
                            td.num data-of="Lowest price" {
                                @if let (Some(lowest), Some(currency)) = (part.lowest_minor, &part.currency) {
                                    (look.figures.money(lowest, currency))
                                }
                                @else if part.offers > 0 { span.soft { "cannot be ordered" } }
                                @else { span.soft { "not on offer" } }
                            }
                            td data-of="Used in" {
                                @if !part.used_in.is_empty() {
                                    span { @for (number, brief) in part.used_in.iter().enumerate() {
                                        @if number > 0 { ", " } a href=(brief_path(brief)) { (brief) }
                                    } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// One part. Its past may be missing, with the reason why.
pub fn page(
    view: &PartPage,
    past: Result<&PastView, &str>,
    days: Option<u64>,
    look: &Look,
) -> Page {
    let body = html! {
        div.head {
            div {
                p.kicker { a href="/parts" { "Parts" } " / " a href={ "/parts?kind=" (view.kind) } { (plain(&view.kind)) } " / " (view.part) }
                h1 { (view.name) }
                p.kicker {
                    @if let Some(brand) = &view.brand { (brand) " · " }
                    @for mpn in &view.mpns { "MPN " span.code { (mpn) } " · " }
                    @for gtin in &view.gtins { "GTIN " span.code { (gtin) } " · " }
                    @if view.used_in.is_empty() { "in no build that stands" } @else {
                        "in " @for (number, one) in view.used_in.iter().enumerate() {
                            @if number > 0 { ", " } a href=(brief_path(&one.brief)) { (one.name) } " as " (plain(&one.role))
                        }
                    }
                }
            }
        }
        section.sheet #offers data-live { (offers(view, look)) }
        @match past {
            Ok(past) => (past::sections(past, days, look)),
            Err(why) => p.said.warn { (why) },
        }
        div.pair.even {
            section.sheet { (rates(&view.rates, look)) }
            section.sheet {
                h2 { "Specs" }
                table {
                    tbody { @for spec in &view.specs { (spec_row(spec)) } }
                }
            }
        }
    };
    Page {
        title: view.name.clone(),
        place: Place::Parts,
        scripts: &["past.js"],
        body,
    }
}

fn spec_row(spec: &SpecView) -> Markup {
    let (name, unit) = said_once(&spec.name, spec.unit.as_deref());
    html! {
        tr { th scope="row" { (name) } td { (spec.value) @if let Some(unit) = unit { " " (unit) } } }
    }
}

/// A spec's name for a person, and its unit, without saying one in the other: `length_mm` is a length in mm,
/// and the number of `cores` needs no unit.
fn said_once<'u>(name: &str, unit: Option<&'u str>) -> (String, Option<&'u str>) {
    let Some(unit) = unit else {
        return (plain(name), None);
    };
    let of_unit = unit.to_lowercase();
    let of_unit: Vec<&str> = of_unit.split('/').collect();
    let is_in_name = name.split('_').any(|word| of_unit.contains(&word));
    // Symbols of measures stand behind numbers; words for what is counted read well in a name.
    let is_symbol = unit.len() <= 2 || unit.contains(|letter: char| !letter.is_ascii_lowercase());
    match (is_in_name, is_symbol) {
        (true, true) => {
            let words = name.split('_').filter(|word| !of_unit.contains(word));
            (words.collect::<Vec<_>>().join(" "), Some(unit))
        }
        (true, false) => (plain(name), None),
        (false, _) => (plain(name), Some(unit)),
    }
}

fn offers(view: &PartPage, look: &Look) -> Markup {
    html! {
        h2 { "Offers now" }
        @if view.offers.is_empty() { p { "Nobody offers it." } }
        @else {
            table.stack {
                thead {
                    tr {
                        th scope="col" { "Retailer" } th scope="col" { "Offer" } th.num scope="col" { "Price" }
                        th scope="col" { "Availability" } th scope="col" { "Taken for it by" } th scope="col" { "Seen" }
                    }
                }
                tbody { @for offer in &view.offers { (offer_row(offer, look)) } }
            }
        }
    }
}

fn offer_row(offer: &OfferView, look: &Look) -> Markup {
    html! {
        tr {
            th scope="row" {
                @match &offer.link {
                    Some(link) => (away(link, offer.is_paid_link, &offer.retailer_name)),
                    None => (offer.retailer_name),
                }
                @if let Some(seller) = &offer.seller { small { "sold by " (from_outside(seller)) } }
            }
            td {
                div.long tabindex=[(offer.title.len() > 300).then_some("0")] { (from_outside(&offer.title)) }
                small { span.code { (from_outside(&offer.sku)) } ", " (plain(&offer.condition)) ", " a href=(feed_path(&offer.feed)) { (offer.feed) } }
            }
            td.num data-of="Price" { span { (look.figures.money(offer.price_minor, &offer.currency)) @if !offer.tax_included { small { "without tax" } } } }
            td data-of="Availability" { span { (availability(&offer.availability, offer.lead_days)) } }
            td data-of="Taken for it by" {
                @if let Some(by) = &offer.matched_by {
                    span { (by_words(by)) @if let Some(confidence) = offer.confidence { " " small.inline { (confidence) " %" } } }
                }
            }
            td data-of="Seen" { (time(&offer.seen_at)) }
        }
    }
}

/// By what an offer is taken for a part.
pub fn by_words(by: &str) -> String {
    match by {
        "gtin" => "GTIN".to_owned(),
        "mpn" => "MPN".to_owned(),
        "keys" => "keys that disagree".to_owned(),
        other => plain(other),
    }
}

fn rates(rates: &[RateView], look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        h2 { "Rates" }
        @if rates.is_empty() { p.soft { "It limits no workload." } }
        @else {
            table.stack {
                thead { tr { th scope="col" { "Workload" } th.num scope="col" { "Rate" } th scope="col" { "Source" } } }
                tbody {
                    @for rate in rates {
                        tr {
                            th scope="row" { (rate.name) }
                            td.num data-of="Rate" {
                                span {
                                    (figures.number(rate.rate, 1)) " " (rate.unit)
                                    @if let Some(error) = rate.error_percent { small { "± " (figures.percent(error, 1)) } }
                                }
                            }
                            td data-of="Source" { span { @if rate.is_estimate { span.tag { "estimate" } " " } (rate.source) } }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::said_once;

    #[test]
    fn a_unit_is_said_once() {
        for (name, unit, expected) in [
            (
                "gpu_length_mm_max",
                Some("mm"),
                ("gpu length max", Some("mm")),
            ),
            (
                "memory_mt_s_max",
                Some("MT/s"),
                ("memory max", Some("MT/s")),
            ),
            ("cores", Some("cores"), ("cores", None)),
            ("slots_occupied", Some("slots"), ("slots occupied", None)),
            ("board_power_w", Some("W"), ("board power", Some("W"))),
            (
                "lanes_of_graphics",
                Some("plugs"),
                ("lanes of graphics", Some("plugs")),
            ),
            (
                "pcie_generation",
                Some("generation"),
                ("pcie generation", None),
            ),
            ("socket", None, ("socket", None)),
        ] {
            assert_eq!(said_once(name, unit), (expected.0.to_owned(), expected.1));
        }
    }
}
