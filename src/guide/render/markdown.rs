//! Markdown after CommonMark 0.31. Tables are none of it, so there is none: every renderer shows this.

use super::filling::{Page, Section};
use crate::guide::view::{CountryView, OrderLine, PickView, Stage, StepView, View};

pub fn page(view: &View) -> Page {
    let mut summary = vec![
        escaped(&view.purpose_words()),
        String::new(),
        format!(
            "**{}** for a score of **{:.1}**. {}",
            escaped(&view.money(view.total_minor)),
            view.score,
            escaped(&view.total_words())
        ),
        String::new(),
        escaped(&view.score_words()),
    ];
    if let Some(edition) = &view.edition {
        summary.extend([String::new(), escaped(&edition.words())]);
    }
    let steps = |steps: &[StepView]| items(steps.iter().map(|step| escaped(&step.words(view))));
    let others = view.alternatives.iter().map(|other| {
        let words = other.step.words(view);
        format!("**Another {}**: {}", escaped(&other.role), escaped(&words))
    });
    let cautions = view.cautions.iter();
    let cautions = cautions.map(|text| format!("**Caution:** {}", escaped(text)));
    let notes = view.notes.iter().map(|text| escaped(text));
    let power = view.power.iter().flat_map(|power| power.words());
    let upgrades = view.upgrades.iter().map(|text| escaped(text));
    let assembly = assembly(&view.tools, &view.assembly);
    let (changed, changes) = view.changed().unwrap_or_default();
    let changes = changes.iter().map(|text| escaped(text));
    let of =
        |key: &str, title: &str, lines: Vec<String>| Section::new(key, title, lines.join("\n"));
    let first = [
        of("changed", &changed, items(changes)),
        of("picks", "The picks", picks(view)),
    ];
    let elsewhere = view.countries.iter().enumerate();
    let elsewhere = elsewhere.map(|(number, one)| {
        let (title, lines) = country(one);
        of(&format!("country-{}", number + 1), &title, lines)
    });
    let rest = [
        of("rates", "What it achieves", workloads(view)),
        of("steps_up", "A little more money", steps(&view.steps_up)),
        of("steps_down", "A little less", steps(&view.steps_down)),
        of("others", "Alternatives", items(others)),
        of("fit", "Compatibility", items(cautions.chain(notes))),
        of("power", "Power", items(power.map(|text| escaped(&text)))),
        of("later", "Upgrades later", items(upgrades)),
        of("assembly", "Assembly", assembly),
    ];
    Page {
        title: escaped(&view.title),
        summary: summary.join("\n"),
        sections: first.into_iter().chain(elsewhere).chain(rest).collect(),
        own: Vec::new(),
    }
}

fn items(texts: impl Iterator<Item = String>) -> Vec<String> {
    texts.map(|text| format!("- {text}")).collect()
}

/// The picks in another country, under its heading.
fn country(view: &CountryView) -> (String, Vec<String>) {
    let mut lines = vec![escaped(&view.total_words()), String::new()];
    let substitutes = view.substitute_words();
    for words in substitutes {
        lines.extend([escaped(&words), String::new()]);
    }
    let (picks, orders) = (&view.picks, &view.orders);
    let money = |minor| view.money(minor);
    lines.extend(bought(&view.disclosures, picks, orders, &money));
    (format!("In {}", escaped(&view.country)), lines)
}

fn picks(view: &View) -> Vec<String> {
    let money = |minor| view.money(minor);
    bought(&view.disclosures, &view.picks, &view.orders, &money)
}

fn bought(
    disclosures: &[String],
    picks: &[PickView],
    orders: &[OrderLine],
    money: &dyn Fn(i64) -> String,
) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for disclosure in disclosures {
        lines.extend([format!("> {}", escaped(disclosure)), String::new()]);
    }
    let picks = picks.iter();
    let picks = picks.map(|pick| format!("**{}**: {}", escaped(&pick.role), words(pick, money)));
    let orders = orders.iter().map(|order| {
        let amount = money(order.minor);
        format!("{}: {}", escaped(&order.words), escaped(&amount))
    });
    lines.extend(items(picks.chain(orders)));
    lines
}

fn words(pick: &PickView, money: &dyn Fn(i64) -> String) -> String {
    let name = escaped(&pick.shown_name());
    let name = match &pick.link {
        Some(link) => format!("[{name}]({})", destination(link)),
        None => name,
    };
    let Some(price) = pick.price() else {
        return format!("{name}, had already");
    };
    let each = if pick.quantity > 1 { " each" } else { "" };
    let mut words = format!("{price}{each}");
    if let Some(retailer) = &pick.retailer {
        words.push_str(&format!(" at {retailer}"));
    }
    if let Some(seen) = pick.seen() {
        words.push_str(&format!(", seen {seen}"));
    }
    if pick.price_minor != Some(pick.landed_minor) {
        words.push_str(&format!("; {} in the total", money(pick.landed_minor)));
    }
    if let Some(position) = &pick.price_position {
        words.push_str(&format!("; {position}"));
    }
    let paid = match pick.is_paid_link {
        true => " (paid link)",
        false => "",
    };
    format!("{name}{paid}, {}", escaped(&words))
}

fn workloads(view: &View) -> Vec<String> {
    items(view.workloads.iter().map(|workload| {
        let measured = workload.measured_words();
        let measured = measured.map_or(String::new(), |words| format!("; {words}"));
        let rate = workload.rate_words();
        let words = format!(
            "({:.0} % of the score): {rate}, limited by {}{measured}",
            workload.weight_percent, workload.limited_by
        );
        format!("**{}** {}", escaped(&workload.name), escaped(&words))
    }))
}

fn assembly(tools: &[String], stages: &[Stage]) -> Vec<String> {
    let mut lines = Vec::new();
    if !tools.is_empty() {
        lines.push(format!("Tools: {}.", escaped(&tools.join("; "))));
    }
    for stage in stages {
        let title = format!("### {}", escaped(&stage.title));
        lines.extend([String::new(), title, String::new()]);
        for caution in &stage.cautions {
            let caution = format!("> **Caution:** {}", escaped(caution));
            lines.extend([caution, String::new()]);
        }
        let steps = stage.steps.iter();
        lines.extend(steps.map(|step| format!("- [ ] {}", escaped(step))));
    }
    lines
}

/// Text that is only text: CommonMark 0.31, section 2.4, lets every ASCII punctuation be escaped.
/// Those are that begin something; line breaks would begin a block.
fn escaped(text: &str) -> String {
    let mut escaped = String::new();
    let mut before = ' ';
    let mut only_digits = true;
    for one in text.chars() {
        let one = match one.is_control() || matches!(one, '\u{2028}' | '\u{2029}') {
            true => ' ',
            false => one,
        };
        let is_first = escaped.trim_start().is_empty();
        let begins = match one {
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '#' | '~' | '|' | '&' | '!' | '@'
            | '$' => true,
            // At the beginning of a line these make a list or a heading.
            '-' | '+' | '=' => is_first,
            // "1." and "1)" begin a list.
            '.' | ')' => only_digits && !is_first,
            // Some renderers make a link of an address in the text.
            '/' => before == '/' || before == ':',
            _ => false,
        };
        only_digits &= one.is_ascii_digit() || (one == ' ' && is_first);
        if begins {
            escaped.push('\\');
        }
        escaped.push(one);
        before = one;
    }
    escaped
}

/// A link's target between angle brackets (CommonMark 0.31, section 6.3), in which only these mean
/// something.
fn destination(link: &str) -> String {
    let mut target = String::from("<");
    for one in link.chars() {
        match one {
            '<' | '>' | '\\' => target.push_str(&format!("%{:02X}", u32::from(one))),
            // Else "&copy=1" would be a character reference.
            '&' => target.push_str("&amp;"),
            one if one.is_control() || one == ' ' => {}
            one => target.push(one),
        }
    }
    target + ">"
}
