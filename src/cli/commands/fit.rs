//! `rigtide fit`: what each rule says of some parts of the catalogue.
//!
//! `--json` gives
//!
//! ```text
//! { verdict,                                   the gravest of all rules
//!   parts [{ id, name, kind, quantity }],
//!   rules [{ rule, states, verdict, reasons [] }],
//!   power { parts [{ name, draw_w }], unknown [], rest_w, reserve_w, headroom_percent, load_w,
//!           needed_w, advised_w, supply { name, rated_w, wall_w_115, wall_w_230 } } }
//! ```
//!
//! `power` is null where neither a processor nor a graphics card is among the parts; watts at the
//! wall are decimal text, null where the supply's level is unknown. A `verdict` is `fits`, `caution`, `unproven` or `conflict`.

use crate::catalogue::table::nearest;
use crate::catalogue::{Part, PartId};
use crate::cli::args::FitArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Tone, harmless, harmless_source};
use crate::cli::wire;
use crate::fit::{FitTerms, Gravity, PowerReport, Seat, Verdict, power_report, verdicts};
use crate::watch::settings::Settings;
use serde_json::{Value, json};
use std::path::Path;

pub fn run(directory: &Path, arguments: &FitArguments, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let terms = terms(&settings, arguments.brief.as_deref())?;
    let seats = seats(&settings, &arguments.parts)?;
    let found = verdicts(&settings.rules, &seats, &terms);
    let gravest = found.iter().filter_map(Verdict::gravity).max();
    let power = power_report(&seats, &terms);
    if arguments.output.json {
        let mut report = report(&seats, &found, gravest);
        report["power"] = power.map_or(Value::Null, |power| power_json(&power, &terms));
        screen.line(harmless_source(&report.to_string()));
    } else {
        let mut lines = show(&found, screen);
        lines.extend(power.iter().flat_map(|power| show_power(power, &terms)));
        lines.iter().for_each(|line| screen.line(line));
    }
    let is_refused = match gravest {
        Some(Gravity::Conflict) => true,
        Some(Gravity::Unproven) => terms.strict,
        Some(Gravity::Caution) | None => false,
    };
    if is_refused {
        return Err(Failure::NothingFits);
    }
    Ok(())
}

/// The terms of a brief, or the usual ones.
fn terms(settings: &Settings, brief: Option<&str>) -> Result<FitTerms, Failure> {
    let Some(name) = brief else {
        return Ok(FitTerms::default());
    };
    let known = || settings.briefs.iter().map(|brief| brief.id.as_str());
    let found = settings
        .briefs
        .iter()
        .find(|brief| brief.id.as_str() == name);
    found.map(|brief| brief.terms).ok_or_else(|| {
        let hint = format!("known briefs: {}", known().collect::<Vec<_>>().join(", "));
        Failure::usage(format!("no brief is called \"{name}\""), hint)
    })
}

/// One seat for each part; a part that is named twice sits there twice.
fn seats<'s>(settings: &'s Settings, names: &[String]) -> Result<Vec<Seat<'s>>, Failure> {
    let parts = &settings.catalogue.parts;
    let mut seats: Vec<Seat<'s>> = Vec::new();
    for name in names {
        let part: &Part = parts.get(&PartId::new(name)).ok_or_else(|| {
            let hint = match nearest(name, parts.keys().map(PartId::as_str)) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => "name parts by their `id` in the catalogue".to_owned(),
            };
            Failure::usage(format!("no part has the id \"{name}\""), hint)
        })?;
        match seats.iter_mut().find(|seat| seat.part.id == part.id) {
            Some(seat) => seat.quantity += 1,
            None => seats.push(Seat {
                role: part.kind.name(),
                part,
                quantity: 1,
            }),
        }
    }
    Ok(seats)
}

fn word(gravity: Option<Gravity>) -> &'static str {
    match gravity {
        None => "fits",
        Some(Gravity::Caution) => "caution",
        Some(Gravity::Unproven) => "unproven",
        Some(Gravity::Conflict) => "conflict",
    }
}

fn report(seats: &[Seat<'_>], found: &[Verdict<'_>], gravest: Option<Gravity>) -> Value {
    let part = |seat: &Seat<'_>| {
        json!({
            "id": seat.part.id.as_str(),
            "name": seat.part.name,
            "kind": seat.part.kind.name(),
            "quantity": seat.quantity,
        })
    };
    let rule = |verdict: &Verdict<'_>| {
        let reasons = verdict.findings.iter().map(|finding| &finding.reason);
        json!({
            "rule": verdict.rule.id(),
            "states": verdict.rule.states(),
            "verdict": word(verdict.gravity()),
            "reasons": reasons.collect::<Vec<_>>(),
        })
    };
    json!({
        "verdict": word(gravest),
        "parts": seats.iter().map(part).collect::<Vec<_>>(),
        "rules": found.iter().map(rule).collect::<Vec<_>>(),
    })
}

fn power_json(power: &PowerReport, terms: &FitTerms) -> Value {
    let part = |(name, draw_w): &(String, i64)| json!({ "name": name, "draw_w": draw_w });
    json!({
        "parts": power.parts.iter().map(part).collect::<Vec<_>>(),
        "unknown": power.unknown,
        "rest_w": terms.rest_w,
        "reserve_w": terms.reserve_w,
        "headroom_percent": terms.headroom_percent,
        "load_w": power.load_w,
        "needed_w": power.needed_w,
        "advised_w": power.advised_w,
        "supply": power.supply.as_ref().map(|supply| json!({
            "name": supply.name,
            "rated_w": supply.rated_w,
            "wall_w_115": supply.wall_115.map(watts),
            "wall_w_230": supply.wall_230.map(watts),
        })),
    })
}

/// Hundredths of a watt as a decimal.
fn watts(hundredths: i64) -> String {
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

fn show_power(power: &PowerReport, terms: &FitTerms) -> Vec<String> {
    let drawn = power
        .parts
        .iter()
        .map(|(name, draw_w)| format!("{} {draw_w} W", harmless(name)));
    let drawn: Vec<String> = drawn
        .chain([format!("the rest {} W", terms.rest_w)])
        .collect();
    let mut lines = vec![
        String::new(),
        format!("power: {} W of load: {}", power.load_w, drawn.join(", ")),
    ];
    let unknown = power.unknown.iter();
    lines.extend(unknown.map(|name| format!("  \"{}\" does not state its draw", harmless(name))));
    let reserve = match terms.reserve_w {
        0 => String::new(),
        reserve_w => format!("{reserve_w} W in reserve and "),
    };
    lines.push(format!(
        "  with {reserve}{} % headroom {} W are needed: {}",
        terms.headroom_percent,
        power.needed_w,
        match power.advised_w {
            Some(advised_w) => format!("a supply of {advised_w} W or more"),
            None => "more than the usual supplies give".to_owned(),
        }
    ));
    if let Some(supply) = &power.supply {
        let wall = supply.wall_115.zip(supply.wall_230);
        let wall = wall.map(|(at_115, at_230)| {
            format!(
                "  \"{}\" then takes at most {} W from the wall at 115 V, {} W at 230 V",
                harmless(&supply.name),
                watts(at_115),
                watts(at_230)
            )
        });
        lines.extend(wall);
        lines.push(
            "  unplug before any work and never open a supply; wiring is for licensed people"
                .to_owned(),
        );
    }
    lines
}

/// The gravest first: a person wants to know what is wrong before what is right.
fn show(found: &[Verdict<'_>], screen: &Screen) -> Vec<String> {
    let mut order: Vec<&Verdict<'_>> = found.iter().collect();
    order.sort_by_key(|verdict| std::cmp::Reverse(verdict.gravity()));
    let mut lines = Vec::new();
    for verdict in order {
        let gravity = verdict.gravity();
        let tone = match gravity {
            None => Tone::Quiet,
            Some(Gravity::Conflict) => Tone::Strong,
            Some(Gravity::Caution | Gravity::Unproven) => Tone::Plain,
        };
        let head = format!("{:8}", word(gravity));
        let states = verdict.rule.states();
        lines.push(format!("{}  {states}", screen.tone(tone, &head)));
        let reasons = verdict.findings.iter();
        lines.extend(reasons.map(|finding| format!("          {}", harmless(&finding.reason))));
    }
    if lines.is_empty() {
        lines.push("no rule speaks about these parts together".to_owned());
    }
    lines
}
