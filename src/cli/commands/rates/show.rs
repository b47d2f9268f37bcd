//! Rates as people read them.

use super::{OUTLIER_WEIGHT, Rated, Section, charts, percent};
use crate::catalogue::PartId;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless};
use crate::rates::derive::{Unconnected, WorkloadFit};
use crate::rates::limiting::DisagreementKind;
use crate::watch::settings::Settings;

/// A workload's rates, what could not be rated, and its charts.
pub(super) fn section(section: &Section<'_>, screen: &Screen) -> Vec<String> {
    let mut lines = heading(section, screen);
    if section.rated.is_empty() {
        lines.push("no part has a rate".to_owned());
    } else {
        lines.extend(table(&section.rated, section, screen));
    }
    lines.extend(section.fit.map_or(Vec::new(), unrated));
    for chart in charts(section) {
        lines.push(String::new());
        lines.extend(chart.text());
    }
    lines.push(String::new());
    lines
}

fn heading(section: &Section<'_>, screen: &Screen) -> Vec<String> {
    let workload = section.workload;
    let name = screen.tone(Tone::Strong, &harmless(&workload.name));
    let mut lines = vec![format!("{name}, in {}", harmless(&workload.unit))];
    if !workload.tests.is_empty() {
        let tests = workload.tests.iter().map(|one| match one.weight {
            1 => one.test.to_string(),
            weight => format!("{} (weight {weight})", one.test),
        });
        let tests: Vec<String> = tests.collect();
        lines.push(format!(
            "the geometric mean of {}",
            harmless(&tests.join(", "))
        ));
    }
    lines
}

fn table(rated: &[Rated<'_>], section: &Section<'_>, screen: &Screen) -> Vec<String> {
    let heading = ["part", "rate", "±", "price", "", "evidence"];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    for one in rated {
        rows.push(vec![
            harmless(one.part.id.as_str()),
            format!("{:.1}", one.rate),
            format!("{:.0} %", one.error_percent),
            one.price.map_or("-".to_owned(), |price| price.to_string()),
            match one.is_on_frontier {
                true => "frontier".to_owned(),
                false => String::new(),
            },
            told(one),
        ]);
    }
    let set = [
        Set::Left,
        Set::Right,
        Set::Right,
        Set::Right,
        Set::Left,
        Set::Left,
    ];
    let mut lines = columns(&rows, &set);
    lines[0] = screen.tone(Tone::Quiet, &lines[0]);
    if !section.rated.iter().any(|one| one.price.is_some()) {
        lines.push("no prices yet; `rigtide poll` fetches them".to_owned());
    }
    lines
}

fn told(one: &Rated<'_>) -> String {
    let text = harmless(one.evidence.text());
    match one.evidence.is_estimate() {
        true => format!("an estimate, {text}"),
        false => text,
    }
}

/// Parts with results that cannot be rated, and results that disagree.
fn unrated(fit: &WorkloadFit) -> Vec<String> {
    let mut lines: Vec<String> = fit.unconnected.iter().map(no_rate).collect();
    if !fit.is_stable {
        lines.push(
            "what limited the builds cannot be told apart: results keep changing hands".to_owned(),
        );
    }
    if !fit.disagreements.is_empty() {
        let number = fit.disagreements.len();
        lines.push(format!(
            "{number} results disagree with the rest; `rigtide rates --check` shows them"
        ));
    }
    lines
}

/// One part in a workload, with the results that its rate rests on.
pub(super) fn part(
    section: &Section<'_>,
    id: &PartId,
    settings: &Settings,
    screen: &Screen,
) -> Vec<String> {
    let mut lines = heading(section, screen);
    let rated = section.rated.iter().find(|one| one.part.id == *id);
    let apart = section
        .fit
        .and_then(|fit| fit.unconnected.iter().find(|one| one.part == *id));
    match (rated, apart) {
        (Some(one), _) => lines.extend(interval(one, section)),
        (None, Some(one)) => lines.push(no_rate(one)),
        (None, None) => lines.push("no rate: no results".to_owned()),
    }
    lines.extend(
        section
            .fit
            .map_or(Vec::new(), |fit| results_of(id, fit, settings)),
    );
    lines.push(String::new());
    lines
}

/// A rate with its interval, and where its price stands.
fn interval(one: &Rated<'_>, section: &Section<'_>) -> Vec<String> {
    let off = 1.96 * one.error_percent / 100.0;
    let (low, high) = ((1.0 - off).max(0.0), 1.0 + off);
    let unit = harmless(&section.workload.unit);
    let mut lines = vec![
        format!(
            "{:.1} {unit}, between {:.1} and {:.1} in 19 of 20 cases",
            one.rate,
            one.rate * low,
            one.rate * high
        ),
        told(one),
    ];
    if let Some(price) = one.price {
        let place = match one.is_on_frontier {
            true => "nothing of its kind is faster at its price or below",
            false => "something of its kind is as fast for less, or faster for as much",
        };
        lines.push(format!("{price}: {place}"));
    }
    lines
}

/// The results that speak of a part, and what held it back in them.
fn results_of(id: &PartId, fit: &WorkloadFit, settings: &Settings) -> Vec<String> {
    let kind = settings.catalogue.parts.get(id).map(|part| part.kind);
    let mut rows = Vec::new();
    let of_part = fit.rows.iter().zip(&fit.limits);
    for (row, limit) in of_part.filter(|(row, _)| row.parts.contains(id)) {
        let held_back = match kind == Some(*limit) {
            true => String::new(),
            false => format!("held back by the {}", limit.noun()),
        };
        let results = row.results.iter();
        rows.extend(
            results
                .filter_map(|one| settings.results.get(*one))
                .map(|result| {
                    vec![
                        harmless(&result.test.to_string()),
                        format!("{} {}", result.decimal(), result.unit),
                        result.date.map_or(String::new(), |date| date.to_string()),
                        harmless(&result.source),
                        result.place(),
                        held_back.clone(),
                    ]
                }),
        );
    }
    let set = [
        Set::Left,
        Set::Right,
        Set::Left,
        Set::Left,
        Set::Left,
        Set::Left,
    ];
    columns(&rows, &set)
}

/// How well the results of a workload agree.
pub(super) fn check(section: &Section<'_>, settings: &Settings, screen: &Screen) -> Vec<String> {
    let mut lines = heading(section, screen);
    let Some(fit) = section.fit else {
        lines.push("rates are written at the parts; there are no results to check".to_owned());
        lines.push(String::new());
        return lines;
    };
    lines.push(foretold(section, fit));
    let outliers = section.checked.iter();
    for one in outliers.filter(|one| one.weight < OUTLIER_WEIGHT) {
        let off = one
            .left_out
            .map_or(String::new(), |off| format!(", {:+.0} %", percent(off)));
        lines.push(format!(
            "outlier: {}{off}, counts {:.0} %",
            place(fit, one.row, settings),
            100.0 * one.weight
        ));
    }
    for one in &fit.disagreements {
        lines.push(format!(
            "disagrees: {}, {:+.0} %: {}",
            place(fit, one.row, settings),
            percent(one.log_difference),
            why(one.why)
        ));
    }
    for part in &section.stale {
        lines.push(format!("stale: {part}, whose newest result is old"));
    }
    lines.extend(fit.unconnected.iter().map(no_rate));
    lines.push(String::new());
    lines
}

/// A row of a workload's model: its parts, its test, and where its results are written.
fn place(fit: &WorkloadFit, row: usize, settings: &Settings) -> String {
    let row = &fit.rows[row];
    let parts: Vec<&str> = row.parts.iter().map(PartId::as_str).collect();
    let at = row.results.iter();
    let at: Vec<String> = at
        .filter_map(|one| settings.results.get(*one))
        .map(|result| result.place())
        .collect();
    format!(
        "{} in {} ({})",
        parts.join(" + "),
        harmless(&row.test.to_string()),
        at.join(", ")
    )
}

/// How well the others foretell each result.
fn foretold(section: &Section<'_>, fit: &WorkloadFit) -> String {
    let errors = section.checked.iter().filter_map(|one| one.left_out);
    let errors: Vec<f64> = errors.collect();
    let all = fit.rows.len();
    if errors.is_empty() {
        return format!("{all} results, none of which another one speaks of");
    }
    let squares: f64 = errors.iter().map(|error| error * error).sum();
    let number = errors.len();
    format!(
        "{all} results; the others foretell each of {number} to {:.1} % (root mean square)",
        100.0 * libm::sqrt(squares / number as f64)
    )
}

fn no_rate(one: &Unconnected) -> String {
    let tests: Vec<String> = one.tests.iter().map(ToString::to_string).collect();
    format!(
        "no rate for {}: no chain of common tests connects it with {}",
        one.part,
        harmless(&tests.join(", "))
    )
}

/// In what a result disagrees.
pub(super) fn why(why: DisagreementKind) -> &'static str {
    match why {
        DisagreementKind::TooFast => "faster than its slowest part is known to be",
        DisagreementKind::TooSlow => "slower than all its parts are known to be",
        DisagreementKind::OtherLimit => {
            "another part of it is slower than the one that is said to limit it"
        }
    }
}
