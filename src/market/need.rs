//! Needs, which a part must meet to fill a role, and wishes, which are worth something in score.

use super::brief::{Brief, Role};
use crate::catalogue::table::{At, Table, nearest};
use crate::catalogue::{Kind, Part, Spec, SpecValue, same_name};
use crate::rates::LogRate;
use std::fmt;

/// A condition on one spec of the part that fills a role.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Need {
    AtLeast(Spec, i64),
    AtMost(Spec, i64),
    Is(Spec, String),
}

impl Need {
    /// Whether the part meets the need; a part whose spec is missing does not.
    pub fn is_met_by(&self, part: &Part) -> bool {
        match self {
            Need::AtLeast(spec, least) => part.number(*spec).is_some_and(|value| value >= *least),
            Need::AtMost(spec, most) => part.number(*spec).is_some_and(|value| value <= *most),
            Need::Is(spec, wanted) => match part.specs.get(spec) {
                Some(SpecValue::Text(text)) => same_name(text, wanted),
                Some(SpecValue::Texts(texts)) => texts.iter().any(|text| same_name(text, wanted)),
                Some(SpecValue::Flag(flag)) => same_name(&flag.to_string(), wanted),
                _ => false,
            },
        }
    }
}

/// A condition that makes a build better by a stated share of its score when it is met.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    pub need: Need,
    /// Hundredths of a percent of the score.
    pub worth_hundredths: i64,
}

impl Wish {
    /// What meeting it adds to the weighted sum of log-rates, for weights that add up to so much:
    /// just what multiplies every rate by its worth.
    pub fn score(&self, total_weight: i64) -> i64 {
        const WHOLE: i64 = 10_000;
        let log = |milli| LogRate::from_milli(milli).map_or(0, LogRate::micro);
        total_weight * (log(WHOLE + self.worth_hundredths) - log(WHOLE))
    }
}

impl Brief {
    /// What a part adds to the score in a role by the wishes that it meets.
    pub fn wished(&self, role: &Role, part: &Part) -> i64 {
        let total = self.objective.total_weight();
        let met = role.wishes.iter().filter(|wish| wish.need.is_met_by(part));
        met.map(|wish| wish.score(total)).sum()
    }
}

impl fmt::Display for Need {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Need::AtLeast(spec, least) => write!(f, "{spec} at least {least}"),
            Need::AtMost(spec, most) => write!(f, "{spec} at most {most}"),
            Need::Is(spec, wanted) => write!(f, "{spec} is {wanted}"),
        }
    }
}

/// The tables under `needs`, one for each spec.
pub(super) fn read_needs(table: Table<'_, '_>, kind: Kind) -> Vec<Need> {
    let named = table.named_tables().into_iter();
    let needs = named.flat_map(|(name, mut need)| {
        let needs = read_one(&name, &mut need, kind);
        need.finish();
        needs
    });
    needs.collect()
}

/// The tables under `wishes`: needs, with what each is worth.
pub(super) fn read_wishes(table: Table<'_, '_>, kind: Kind) -> Vec<Wish> {
    let mut wishes = Vec::new();
    for (name, mut wish) in table.named_tables() {
        wish.require("worth_percent");
        let worth = wish.scaled("worth_percent", 2);
        let needs = read_one(&name, &mut wish, kind);
        let document = wish.document();
        wish.finish();
        let Some(worth) = worth else { continue };
        if !(1..=10_000).contains(&worth.value) {
            let message = "`worth_percent` is out of range";
            let remedy = "write a percentage above 0 and up to 100";
            document.fault(&worth.span, message, remedy);
            continue;
        }
        let worth_hundredths = worth.value;
        wishes.extend(needs.into_iter().map(|need| Wish {
            need,
            worth_hundredths,
        }));
    }
    wishes
}

/// `at_least`, `at_most` and `is` of one spec.
fn read_one(name: &At<String>, need: &mut Table<'_, '_>, kind: Kind) -> Vec<Need> {
    let document = need.document();
    let at_least = need
        .integer("at_least", i64::MIN..i64::MAX)
        .map(|at| at.value);
    let at_most = need
        .integer("at_most", i64::MIN..i64::MAX)
        .map(|at| at.value);
    let is = need.text("is").map(|text| text.value);
    let spec = Spec::parse(&name.value).filter(|spec| spec.def().kinds.contains(&kind));
    let Some(spec) = spec else {
        let known = crate::catalogue::spec::SPECS.iter();
        let known = known
            .filter(|def| def.kinds.contains(&kind))
            .map(|def| def.key);
        let remedy = match nearest(&name.value, known.clone()) {
            Some(known) => format!("did you mean `{known}`?"),
            None => format!(
                "specs of a {kind}: {}",
                known.collect::<Vec<_>>().join(", ")
            ),
        };
        let message = format!("a {kind} has no spec `{}`", name.value);
        document.fault(&name.span, message, remedy);
        return Vec::new();
    };
    let mut needs = Vec::new();
    needs.extend(at_least.map(|least| Need::AtLeast(spec, least)));
    needs.extend(at_most.map(|most| Need::AtMost(spec, most)));
    needs.extend(is.map(|wanted| Need::Is(spec, wanted)));
    if needs.is_empty() {
        let message = format!("`{}` asks for nothing", name.value);
        let remedy = "write `at_least`, `at_most` or `is`";
        document.fault(&name.span, message, remedy);
    }
    needs
}
