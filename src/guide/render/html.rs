//! One HTML file: no scripts that run, nothing from elsewhere, light and dark, on paper too.

use super::filling::{Page, Section};
use super::text::plain;
use super::{chart, linked_data};
use crate::chart::svg::escaped;
use crate::guide::view::{MeasuredView, OrderLine, PickView, StepView, View, WorkloadView};

const STYLE: &str = include_str!("guide.css");

pub fn page(view: &View) -> Page {
    Page {
        title: plain(&view.title),
        summary: header(view),
        sections: sections(view),
        own: vec![
            ("style", STYLE.to_owned()),
            ("linked_data", linked_data::script(view)),
        ],
    }
}

fn header(view: &View) -> String {
    let edition = view.edition.as_ref();
    let edition = edition.map_or(String::new(), |edition| format!(" {}", edition.words()));
    format!(
        "<header>\n<p class=\"kicker\">Build guide · {} · {}</p>\n<h1>{}</h1>\n<p>{}</p>\n<dl class=\"sum\">\n\
         <div><dt>Total</dt><dd>{}</dd></div>\n<div><dt>Score</dt><dd>{:.1}</dd></div>\n\
         <div><dt>Budget</dt><dd>{}</dd></div>\n</dl>\n<p>{} {}{}</p>\n</header>\n",
        escaped(&view.country),
        escaped(view.day()),
        escaped(&view.title),
        escaped(&view.purpose_words()),
        escaped(&view.money(view.total_minor)),
        view.score,
        escaped(&view.money(view.budget_minor)),
        escaped(&view.total_words()),
        escaped(&view.score_words()),
        escaped(&edition)
    )
}

fn sections(view: &View) -> Vec<Section> {
    let chart = chart::ladder(view).map(|svg| format!("<figure>\n{svg}</figure>\n"));
    let ladder = [
        chart.unwrap_or_default(),
        steps("A little more money", &view.steps_up, view),
        steps("A little less", &view.steps_down, view),
    ];
    let others = view.alternatives.iter().map(|other| {
        let role = escaped(&other.role);
        format!(
            "<strong>Another {role}:</strong> {}",
            step(&other.step, view)
        )
    });
    let cautions = view.cautions.iter();
    let cautions = cautions.map(|text| format!("<strong>Caution:</strong> {}", escaped(text)));
    let notes = view.notes.iter().map(|text| escaped(text));
    let power = view.power.iter().flat_map(|power| power.words());
    let upgrades = view.upgrades.iter().map(|text| escaped(text));
    let (changed, changes) = view.changed().unwrap_or_default();
    let changes = changes.iter().map(|text| escaped(text));
    let of = |key: &str, title: &str, body: String| Section::new(key, title, body);
    let first = [
        of("changed", &changed, list(changes)),
        of("picks", "The picks", picks(view)),
    ];
    let rest = [
        of("rates", "What it achieves", workloads(view)),
        of("measured", "Measured", measured(view)),
        of("ladder", "For more or less money", ladder.concat()),
        of("others", "Alternatives", list(others)),
        of("fit", "Compatibility", list(cautions) + &checked(notes)),
        of("power", "Power", list(power.map(|text| escaped(&text)))),
        of("later", "Upgrades later", list(upgrades)),
        of("assembly", "Assembly", assembly(view)),
    ];
    first
        .into_iter()
        .chain(countries(view))
        .chain(rest)
        .collect()
}

/// The rules that were looked at and hold: many, so that they open when asked.
fn checked(notes: impl ExactSizeIterator<Item = String>) -> String {
    let summary = match notes.len() {
        0 => return String::new(),
        1 => "1 rule of what goes together was checked, and holds".to_owned(),
        number => format!("{number} rules of what goes together were checked, and all hold"),
    };
    format!(
        "<details>\n<summary>{summary}</summary>\n{}</details>\n",
        list(notes)
    )
}

fn list(items: impl Iterator<Item = String>) -> String {
    let items: String = items.map(|item| format!("<li>{item}</li>\n")).collect();
    match items.is_empty() {
        true => items,
        false => format!("<ul>\n{items}</ul>\n"),
    }
}

/// A table whose rows become cards on a phone. The roles are said, for another `display` takes them
/// away in some browsers.
fn table(caption: &str, heading: &[&str], rows: &[Vec<String>]) -> String {
    let head: String = heading
        .iter()
        .map(|title| format!("<th role=\"columnheader\" scope=\"col\">{title}</th>"))
        .collect();
    let cell = |(number, (cell, title)): (usize, (&String, &&str))| match number {
        0 => format!("<th role=\"rowheader\" scope=\"row\">{cell}</th>"),
        _ => format!("<td role=\"cell\" data-of=\"{title}\">{cell}</td>"),
    };
    let rows: String = rows
        .iter()
        .map(|row| {
            let cells = row.iter().zip(heading).enumerate().map(cell);
            format!("<tr role=\"row\">{}</tr>\n", cells.collect::<String>())
        })
        .collect();
    format!(
        "<table role=\"table\">\n<caption>{caption}</caption>\n<thead role=\"rowgroup\"><tr role=\"row\">\
         {head}</tr></thead>\n<tbody role=\"rowgroup\">\n{rows}</tbody>\n</table>\n"
    )
}

fn picks(view: &View) -> String {
    let caption = "Parts, where to buy them, and when the price was seen";
    let money = |minor| view.money(minor);
    bought(
        caption,
        (&view.disclosures, &view.picks, &view.orders),
        &money,
    )
}

/// The picks in other countries, one section each.
fn countries(view: &View) -> Vec<Section> {
    let all = view.countries.iter().enumerate();
    all.map(|(number, one)| {
        let substitutes = one.substitute_words();
        let substitutes = list(substitutes.iter().map(|text| escaped(text)));
        let total = format!("<p>{}</p>\n", escaped(&one.total_words()));
        let country = escaped(&one.country);
        let caption = format!("Parts in {country}, and when the price was seen");
        let money = |minor| one.money(minor);
        let table = match one.picks.is_empty() {
            true => String::new(),
            false => bought(
                &caption,
                (&one.disclosures, &one.picks, &one.orders),
                &money,
            ),
        };
        Section::new(
            format!("country-{}", number + 1),
            plain(&format!("In {}", one.country)),
            format!("{total}{substitutes}{table}"),
        )
    })
    .collect()
}

type Bought<'v> = (&'v [String], &'v [PickView], &'v [OrderLine]);

fn bought(
    caption: &str,
    (disclosures, picks, orders): Bought<'_>,
    money: &dyn Fn(i64) -> String,
) -> String {
    let disclosures: String = disclosures
        .iter()
        .map(|text| format!("<p class=\"note\">{}</p>\n", escaped(text)))
        .collect();
    let rows: Vec<Vec<String>> = picks.iter().map(|pick| row(pick, money)).collect();
    let orders = list(orders.iter().map(|order| {
        let amount = money(order.minor);
        format!("{}: {}", escaped(&order.words), escaped(&amount))
    }));
    let heading = ["Role", "Part", "Retailer", "Price", "In the total"];
    format!("{disclosures}{}{orders}", table(caption, &heading, &rows))
}

fn row(pick: &PickView, money: &dyn Fn(i64) -> String) -> Vec<String> {
    let name = escaped(&pick.shown_name());
    let name = match &pick.link {
        // A link type for what was paid for; HTML leaves them open to extension.
        Some(link) if pick.is_paid_link => format!(
            "<a href=\"{}\" rel=\"sponsored noreferrer\">{name}</a> <small>(paid link)</small>",
            escaped(link)
        ),
        Some(link) => format!(
            "<a href=\"{}\" rel=\"noreferrer\">{name}</a>",
            escaped(link)
        ),
        None => name,
    };
    let position = pick.price_position.as_ref();
    let position = position.map_or(String::new(), |text| {
        format!(" <small>{}</small>", escaped(text))
    });
    let price = match (pick.price(), pick.seen()) {
        (Some(price), Some(seen)) => format!(
            "<b>{}</b>{position} <small>seen <time datetime=\"{}\">{}</time></small>",
            escaped(&price),
            escaped(pick.seen_at.as_deref().unwrap_or_default()),
            escaped(&seen)
        ),
        (Some(price), None) => escaped(&price),
        (None, _) => "had already".to_owned(),
    };
    let landed = escaped(&money(pick.landed_minor));
    vec![
        escaped(&pick.role),
        name,
        escaped(pick.retailer.as_deref().unwrap_or("–")),
        price,
        format!("<span class=\"amount\">{landed}</span>"),
    ]
}

fn workloads(view: &View) -> String {
    let heading = ["Use", "Weight", "Expected", "Limited by"];
    let rows = view.workloads.iter().map(|workload| {
        vec![
            escaped(&workload.name),
            format!("{:.0} %", workload.weight_percent),
            escaped(&workload.rate_words()),
            escaped(&workload.limited_by),
        ]
    });
    let rows: Vec<Vec<String>> = rows.collect();
    match rows.is_empty() {
        true => String::new(),
        false => table("Expected rates by use", &heading, &rows),
    }
}

/// What was measured beside what was expected.
fn measured(view: &View) -> String {
    let measured = view.workloads.iter();
    let measured = measured.filter_map(|one| Some((one, one.measured.as_ref()?)));
    let rows: Vec<Vec<String>> = measured.map(measured_row).collect();
    let heading = ["Use", "Test", "Expected", "Measured", "Read off", "By whom"];
    match rows.is_empty() {
        true => String::new(),
        false => table("What the author measured, and when", &heading, &rows),
    }
}

fn measured_row((workload, measured): (&WorkloadView, &MeasuredView)) -> Vec<String> {
    let readings = measured.readings().join(", ");
    vec![
        escaped(&workload.name),
        escaped(&measured.test),
        escaped(&workload.rate_words()),
        format!(
            "<b>{:.1} {}</b> <small>{}</small>",
            measured.rate,
            escaped(&workload.unit),
            escaped(&measured.difference())
        ),
        match readings.is_empty() {
            true => "–".to_owned(),
            false => escaped(&readings),
        },
        escaped(&measured.origin()),
    ]
}

fn steps(title: &str, steps: &[StepView], view: &View) -> String {
    let items = list(steps.iter().map(|one| step(one, view)));
    match items.is_empty() {
        true => items,
        false => format!("<h3>{title}</h3>\n{items}"),
    }
}

fn step(step: &StepView, view: &View) -> String {
    let changes: Vec<String> = step
        .changes
        .iter()
        .map(|change| escaped(&change.words()))
        .collect();
    format!(
        "<b>{}</b>, score {:+.1}: {}",
        escaped(&view.signed(step.cost_minor)),
        step.score_change,
        changes.join("; ")
    )
}

fn assembly(view: &View) -> String {
    let mut html = match view.tools.is_empty() {
        true => String::new(),
        false => {
            let tools = list(view.tools.iter().map(|text| escaped(text)));
            format!("<h3>Tools</h3>\n{tools}")
        }
    };
    for stage in &view.assembly {
        html.push_str(&format!("<h3>{}</h3>\n", escaped(&stage.title)));
        for caution in &stage.cautions {
            html.push_str(&format!(
                "<p class=\"note\"><strong>Caution:</strong> {}</p>\n",
                escaped(caution)
            ));
        }
        let steps: String = stage
            .steps
            .iter()
            .map(|text| format!("<li>{}</li>\n", escaped(text)))
            .collect();
        html.push_str(&format!("<ol class=\"check\">\n{steps}</ol>\n"));
    }
    html
}
