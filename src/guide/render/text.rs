//! Plain text that fits a limit, such as a video's description has.
//!
//! Where all of it is too long, it is shortened in this order until it fits: the assembly goes, then
//! upgrades, notes, alternatives, power, the steps down, the steps up, what changed since the edition
//! before, the workloads, the other countries; then the picks lose their price positions, and their instants for one line
//! that says when all were seen, and names are cut. Links go last, and never without their disclosure.
//! What is left is cut at the end, and says so.

use super::filling::{Page, Section};
use crate::catalogue::Fault;
use crate::guide::view::{CountryView, PickView, StepView, View};
use serde_json::Value;

/// What has been left out; the later leave out the earlier too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Cut {
    Nothing,
    Assembly,
    Upgrades,
    Notes,
    Alternatives,
    Power,
    StepsDown,
    StepsUp,
    Changed,
    Workloads,
    Countries,
    Positions,
    Instants,
    Names,
    Links,
}

const CUTS: [Cut; 15] = [
    Cut::Nothing,
    Cut::Assembly,
    Cut::Upgrades,
    Cut::Notes,
    Cut::Alternatives,
    Cut::Power,
    Cut::StepsDown,
    Cut::StepsUp,
    Cut::Changed,
    Cut::Workloads,
    Cut::Countries,
    Cut::Positions,
    Cut::Instants,
    Cut::Names,
    Cut::Links,
];

/// A name's characters where names are cut.
const SHORT_NAME: usize = 32;

/// Characters are Unicode scalar values.
///
/// # Errors
/// What is wrong with the text that is filled in.
pub fn render(
    view: &View,
    most: Option<usize>,
    fill: &dyn Fn(&Value) -> Result<String, Fault>,
) -> Result<String, Fault> {
    let most = most.unwrap_or(usize::MAX);
    let mut shortest = String::new();
    for cut in CUTS {
        shortest = fill(&page(view, cut).variables(view))?;
        if shortest.chars().count() <= most {
            return Ok(shortest);
        }
    }
    let kept: String = shortest.chars().take(most.saturating_sub(2)).collect();
    Ok(match most {
        0 => String::new(),
        1 => "…".to_owned(),
        _ => kept + "…\n",
    })
}

fn page(view: &View, cut: Cut) -> Page {
    let mut summary = vec![
        plain(&view.title),
        plain(&view.purpose_words()),
        format!("{} · score {:.1}", view.money(view.total_minor), view.score),
        plain(&view.total_words()),
    ];
    let edition = view.edition.as_ref();
    summary.extend(edition.map(|edition| plain(&edition.words())));
    let mut picks = Vec::new();
    if cut < Cut::Links {
        picks.extend(view.disclosures.iter().map(|text| plain(text)));
    }
    picks.extend(view.picks.iter().flat_map(|pick| pick_lines(pick, cut)));
    if cut >= Cut::Instants {
        picks.extend(seen_words(view));
    }
    let orders = view.orders.iter();
    picks.extend(
        orders.map(|order| format!("{}: {}", plain(&order.words), view.money(order.minor))),
    );
    let picks = Section::new("picks", "", picks.join("\n"));
    let elsewhere = view.countries.iter().enumerate();
    let elsewhere = elsewhere.filter(|_| cut < Cut::Countries);
    let elsewhere = elsewhere.map(|(number, one)| {
        let title = plain(&format!("In {}", one.country).to_uppercase());
        let body = country(one, cut).join("\n");
        Section::new(format!("country-{}", number + 1), title, body)
    });
    let rest = sections(view).into_iter().map(|(last, key, title, lines)| {
        let lines = lines.iter().filter(|_| cut < last).map(|text| plain(text));
        let body = lines.collect::<Vec<_>>().join("\n");
        Section::new(key, title.to_uppercase(), body)
    });
    Page {
        title: plain(&view.title),
        summary: summary.join("\n"),
        sections: [picks].into_iter().chain(elsewhere).chain(rest).collect(),
        own: Vec::new(),
    }
}

/// What follows the picks, each with the cut that takes it away.
fn sections(view: &View) -> [(Cut, &'static str, String, Vec<String>); 9] {
    let steps = |steps: &[StepView]| steps.iter().map(|step| step.words(view)).collect();
    let power = view.power.iter().flat_map(|power| power.words());
    let others = view.alternatives.iter();
    let others = others.map(|other| format!("Another {}: {}", other.role, other.step.words(view)));
    let cautions = view.cautions.iter().map(|text| format!("Caution: {text}"));
    let notes = cautions.chain(checked(view));
    let (changed, changes) = view.changed().unwrap_or_default();
    [
        (Cut::Changed, "changed", changed, changes.to_vec()),
        (
            Cut::Workloads,
            "rates",
            "What it achieves".to_owned(),
            workloads(view),
        ),
        (
            Cut::StepsUp,
            "steps_up",
            "A little more money".to_owned(),
            steps(&view.steps_up),
        ),
        (
            Cut::StepsDown,
            "steps_down",
            "A little less".to_owned(),
            steps(&view.steps_down),
        ),
        (Cut::Power, "power", "Power".to_owned(), power.collect()),
        (
            Cut::Alternatives,
            "others",
            "Alternatives".to_owned(),
            others.collect(),
        ),
        (
            Cut::Notes,
            "fit",
            "Compatibility".to_owned(),
            notes.collect(),
        ),
        (
            Cut::Upgrades,
            "later",
            "Upgrades later".to_owned(),
            view.upgrades.clone(),
        ),
        (
            Cut::Assembly,
            "assembly",
            "Assembly".to_owned(),
            assembly(view),
        ),
    ]
}

/// How many rules were looked at and hold; the other forms name them.
fn checked(view: &View) -> Option<String> {
    match view.notes.as_slice() {
        [] => None,
        [one] => Some(one.clone()),
        all => Some(format!(
            "Checked: {} rules of what goes together; all hold.",
            all.len()
        )),
    }
}

/// The picks in another country. Links never stand without their disclosure.
fn country(view: &CountryView, cut: Cut) -> Vec<String> {
    let mut lines = vec![plain(&view.total_words())];
    lines.extend(view.substitute_words().iter().map(|text| plain(text)));
    lines.extend(view.disclosures.iter().map(|text| plain(text)));
    lines.extend(view.picks.iter().flat_map(|pick| pick_lines(pick, cut)));
    let orders = view.orders.iter();
    lines.extend(
        orders.map(|order| format!("{}: {}", plain(&order.words), view.money(order.minor))),
    );
    lines
}

/// When the prices were seen, in one line.
fn seen_words(view: &View) -> Option<String> {
    let seen = || view.picks.iter().filter_map(PickView::seen);
    let (first, last) = (seen().min()?, seen().max()?);
    Some(match first == last {
        true => format!("Prices seen {first}"),
        false => format!("Prices seen from {first} to {last}"),
    })
}

fn pick_lines(pick: &PickView, cut: Cut) -> Vec<String> {
    let name = plain(&pick.shown_name());
    let name = match name.chars().count() > SHORT_NAME && cut >= Cut::Names {
        true => name.chars().take(SHORT_NAME - 1).collect::<String>() + "…",
        false => name,
    };
    let role = plain(&pick.role);
    let Some(price) = pick.price() else {
        return vec![format!("{role}: {name} (had already)")];
    };
    let retailer = pick.retailer.as_deref();
    let retailer = retailer.map_or(String::new(), |name| format!(", {}", plain(name)));
    let mut line = format!("{role}: {name}: {price}{retailer}");
    if cut < Cut::Instants
        && let Some(seen) = pick.seen()
    {
        line.push_str(&format!(", seen {}", plain(&seen)));
    }
    if cut < Cut::Positions
        && let Some(position) = &pick.price_position
    {
        line.push_str(&format!(" ({})", plain(position)));
    }
    let mut lines = vec![line];
    if cut < Cut::Links
        && let Some(link) = &pick.link
    {
        let paid = if pick.is_paid_link { "paid link: " } else { "" };
        lines.push(format!("  {paid}{}", plain(link)));
    }
    lines
}

fn workloads(view: &View) -> Vec<String> {
    let words = view.workloads.iter().map(|workload| {
        let measured = workload.measured_words();
        let measured = measured.map_or(String::new(), |words| format!("; {words}"));
        let (name, rate) = (&workload.name, workload.rate_words());
        format!(
            "{name}: {rate}, limited by {}{measured}",
            workload.limited_by
        )
    });
    words.chain([view.score_words()]).collect()
}

fn assembly(view: &View) -> Vec<String> {
    let tools = (!view.tools.is_empty()).then(|| format!("Tools: {}", view.tools.join("; ")));
    let stages = view.assembly.iter().flat_map(|stage| {
        let cautions = stage.cautions.iter().map(|text| format!("! {text}"));
        let steps = stage.steps.iter().map(|text| format!("[ ] {text}"));
        let title = std::iter::once(stage.title.clone());
        title.chain(cautions).chain(steps)
    });
    tools.into_iter().chain(stages).collect()
}

/// One line, and nothing that acts on a terminal or turns the text around.
pub fn plain(text: &str) -> String {
    let acts = |one: char| {
        one.is_control()
            || matches!(
                one,
                '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
            )
    };
    let text = text.chars().map(|one| if acts(one) { ' ' } else { one });
    text.collect()
}
