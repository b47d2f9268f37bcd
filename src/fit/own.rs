//! Rules that an author writes in the configuration, for the cases that are linear.
//!
//! Three shapes: a sum of specs that stays within another spec or a number, specs that are equal,
//! and pairs of texts that are allowed together. A rule names kinds, and every role of a kind
//! counts, as often as the role has it.
//!
//! ```toml
//! # The card and a front shelf share the depth of the case.
//! [[rule]]
//! id = "front-shelf"
//! states = "The card leaves 40 mm for the shelf at the front."
//! sum = [{ kind = "gpu", spec = "length_mm" }]
//! at_most = { kind = "case", spec = "gpu_length_mm_max", plus = -40 }
//!
//! [[rule]]
//! id = "one-colour"
//! states = "Case and cooler have one colour."
//! equal = [{ kind = "case", spec = "colour" }, { kind = "cooler", spec = "colour" }]
//!
//! [[rule]]
//! id = "desk-noise"
//! states = "Gold supplies go with any case, Bronze ones with the large case alone."
//! pairs = [{ kind = "psu", spec = "efficiency" }, { kind = "case", spec = "colour" }]
//! allowed = [["Gold", "black"], ["Gold", "white"], ["Bronze", "black"]]
//! ```

use super::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, Share, conflict, seats_of, unproven,
};
use crate::catalogue::table::Table;
use crate::catalogue::{Kind, Part, Spec, SpecValue, read_kind, same_name};

/// A rule of the author's own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnRule {
    id: String,
    states: String,
    shape: OwnShape,
    reads: Vec<(Kind, Spec)>,
    kinds: Vec<Kind>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum OwnShape {
    /// The sum of the specs is at most the spec of another kind, if any, plus a constant.
    Sum {
        terms: Vec<(Kind, Spec)>,
        limit: Option<(Kind, Spec)>,
        plus: i64,
    },
    Equal([(Kind, Spec); 2]),
    Allowed([(Kind, Spec); 2], Vec<(String, String)>),
}

impl OwnRule {
    /// Reads one `[[rule]]`; what is wrong becomes faults of the table's document.
    pub fn read(mut table: Table<'_, '_>) -> Option<OwnRule> {
        let id = table.required_text("id");
        let states = table.required_text("states");
        let shape = read_shape(&mut table);
        table.finish();
        let shape = shape?;
        let reads = shape.reads();
        let mut kinds: Vec<Kind> = reads.iter().map(|(kind, _)| *kind).collect();
        kinds.sort();
        kinds.dedup();
        Some(OwnRule {
            id: id?.value,
            states: states?.value,
            shape,
            reads,
            kinds,
        })
    }
}

fn read_shape(table: &mut Table<'_, '_>) -> Option<OwnShape> {
    let (document, span) = (table.document(), table.span());
    let given = ["sum", "equal", "pairs"].map(|key| table.has(key));
    if given.iter().filter(|given| **given).count() != 1 {
        let remedy = "write `sum` with `at_most`, or `equal`, or `pairs` with `allowed`";
        document.fault(
            &span,
            "a rule has one of `sum`, `equal` and `pairs`",
            remedy,
        );
        return None;
    }
    if given[0] {
        let terms = read_specs(table, "sum")?;
        let (limit, plus) = read_limit(table)?;
        if let Some((kind, spec)) = terms
            .iter()
            .chain(&limit)
            .find(|(_, spec)| !is_number(*spec))
        {
            let message = format!("`{spec}` of a {kind} is no number");
            document.fault(&span, message, "sum up specs that are numbers");
            return None;
        }
        if let Some((kind, _)) =
            limit.filter(|(limit, _)| terms.iter().any(|(kind, _)| kind == limit))
        {
            let message = format!("a {kind} stands on both sides of the rule");
            document.fault(&span, message, "limit the sum by a spec of another kind");
            return None;
        }
        return Some(OwnShape::Sum { terms, limit, plus });
    }
    let key = if given[1] { "equal" } else { "pairs" };
    let Ok(two) = <[(Kind, Spec); 2]>::try_from(read_specs(table, key)?) else {
        document.fault(
            &span,
            format!("`{key}` does not name two specs"),
            "name two",
        );
        return None;
    };
    if two[0].0 == two[1].0 {
        let message = format!("`{key}` names one kind twice");
        document.fault(&span, message, "name specs of two kinds");
        return None;
    }
    if given[1] {
        return Some(OwnShape::Equal(two));
    }
    table.require("allowed")?;
    let allowed = table.text_pairs("allowed")?;
    Some(OwnShape::Allowed(two, allowed))
}

/// The list of `{ kind, spec }` under a key.
fn read_specs(table: &mut Table<'_, '_>, key: &'static str) -> Option<Vec<(Kind, Spec)>> {
    let entries = table.tables(key);
    let specs: Vec<Option<(Kind, Spec)>> = entries
        .into_iter()
        .map(|mut entry| {
            let read = read_one(&mut entry);
            entry.finish();
            read
        })
        .collect();
    specs.into_iter().collect()
}

fn read_one(entry: &mut Table<'_, '_>) -> Option<(Kind, Spec)> {
    let kind = entry.required_text("kind");
    let spec = entry.required_text("spec");
    let kind = read_kind(entry, &kind?)?;
    let named = spec?;
    let found = Spec::parse(&named.value).filter(|spec| spec.def().kinds.contains(&kind));
    if found.is_none() {
        let message = format!("a {kind} has no spec `{}`", named.value);
        let remedy = "see the list of specs for what each kind has";
        entry.document().fault(&named.span, message, remedy);
    }
    Some((kind, found?))
}

/// `at_most = 400`, or `{ kind, spec, plus }`.
fn read_limit(table: &mut Table<'_, '_>) -> Option<(Option<(Kind, Spec)>, i64)> {
    /// Far beyond any spec, and far from overflowing a sum of them.
    const MOST: i64 = 1_000_000_000;
    table.require("at_most")?;
    if !table.is_table("at_most") {
        let most = table.integer("at_most", -MOST..MOST)?;
        return Some((None, most.value));
    }
    let mut limit = table.table("at_most")?;
    let spec = read_one(&mut limit);
    let plus = limit.integer("plus", -MOST..MOST);
    limit.finish();
    Some((Some(spec?), plus.map_or(0, |plus| plus.value)))
}

fn is_number(spec: Spec) -> bool {
    matches!(
        spec.def().shape,
        crate::catalogue::spec::Shape::Number { .. }
    )
}

impl OwnShape {
    fn reads(&self) -> Vec<(Kind, Spec)> {
        match self {
            OwnShape::Sum { terms, limit, .. } => terms.iter().chain(limit).copied().collect(),
            OwnShape::Equal(two) | OwnShape::Allowed(two, _) => two.to_vec(),
        }
    }
}

impl FitRule for OwnRule {
    fn id(&self) -> &str {
        &self.id
    }

    fn states(&self) -> &str {
        &self.states
    }

    fn source(&self) -> &str {
        "a rule of this configuration"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &self.reads
    }

    fn form(&self) -> Form<'_> {
        match &self.shape {
            OwnShape::Sum { limit, plus, .. } => {
                // A limit that another kind states is that kind's gift; without one, it is fixed.
                let fixed = if limit.is_some() { 0 } else { *plus };
                Form::Balance {
                    kinds: &self.kinds,
                    giver: limit.map(|(kind, _)| kind),
                    share: Box::new(|part, _| self.share(part)),
                    at_most: Box::new(move |_| fixed),
                }
            }
            OwnShape::Equal(two) | OwnShape::Allowed(two, _) => Form::Pairs {
                left: two[0].0,
                right: two[1].0,
                fits: Box::new(|left, right| self.fits(left, right)),
            },
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        match &self.shape {
            OwnShape::Sum { terms, limit, plus } => self.check_sum(seats, terms, *limit, *plus),
            OwnShape::Equal(two) => self.check_pairs(seats, *two, None),
            OwnShape::Allowed(two, allowed) => self.check_pairs(seats, *two, Some(allowed)),
        }
    }
}

impl OwnRule {
    fn share(&self, part: &Part) -> Share {
        let OwnShape::Sum { terms, limit, plus } = &self.shape else {
            return Share::Known(0);
        };
        let mut sum = Some(0);
        for (_, spec) in terms.iter().filter(|(kind, _)| *kind == part.kind) {
            sum = sum.zip(part.number(*spec)).map(|(sum, one)| sum + one);
        }
        match limit.filter(|(kind, _)| *kind == part.kind) {
            Some((_, spec)) => Share::gift(part.number(spec).map(|most| most + plus)),
            None => Share::need(sum),
        }
    }

    fn fits(&self, left: &Part, right: &Part) -> Fit {
        let (OwnShape::Equal(two) | OwnShape::Allowed(two, _)) = &self.shape else {
            return Fit::Yes;
        };
        let (Some(left), Some(right)) = (words(left, two[0].1), words(right, two[1].1)) else {
            return Fit::Unproven;
        };
        let is_one = |left: &String| {
            right.iter().any(|right| match &self.shape {
                OwnShape::Allowed(_, allowed) => allowed
                    .iter()
                    .any(|(one, other)| same_name(one, left) && same_name(other, right)),
                _ => same_name(left, right),
            })
        };
        if left.iter().any(is_one) {
            Fit::Yes
        } else {
            Fit::No
        }
    }

    fn check_sum(
        &self,
        seats: &[Seat<'_>],
        terms: &[(Kind, Spec)],
        limit: Option<(Kind, Spec)>,
        plus: i64,
    ) -> Vec<Finding> {
        let mut findings = Vec::new();
        if limit.is_some_and(|(kind, _)| seats_of(seats, kind).next().is_none()) {
            return findings;
        }
        let mut sum = 0;
        for seat in seats {
            let own = || terms.iter().filter(|(kind, _)| *kind == seat.part.kind);
            let missing = own().find(|(_, spec)| seat.part.number(*spec).is_none());
            match missing {
                // A part counts with all of its terms or not at all.
                Some((_, spec)) => findings.push(unproven(self.id(), seat.part, *spec)),
                None => {
                    let known = own().filter_map(|(_, spec)| seat.part.number(*spec));
                    sum += known.sum::<i64>() * i64::from(seat.quantity);
                }
            }
        }
        let mut most = Some(plus);
        if let Some((kind, spec)) = limit {
            most = None;
            for seat in seats_of(seats, kind) {
                match seat.part.number(spec) {
                    Some(given) => {
                        let given = (given + plus) * i64::from(seat.quantity);
                        most = Some(most.unwrap_or(0) + given);
                    }
                    None => return vec![unproven(self.id(), seat.part, spec)],
                }
            }
        }
        if let Some(most) = most.filter(|most| sum > *most) {
            let reason = format!("{} It comes to {sum}, more than {most}", self.states);
            findings.push(conflict(self.id(), reason));
        }
        findings
    }

    fn check_pairs(
        &self,
        seats: &[Seat<'_>],
        two: [(Kind, Spec); 2],
        allowed: Option<&Vec<(String, String)>>,
    ) -> Vec<Finding> {
        let mut findings = Vec::new();
        for left in seats_of(seats, two[0].0) {
            for right in seats_of(seats, two[1].0) {
                let Some(ones) = words(left.part, two[0].1) else {
                    findings.push(unproven(self.id(), left.part, two[0].1));
                    continue;
                };
                let Some(others) = words(right.part, two[1].1) else {
                    findings.push(unproven(self.id(), right.part, two[1].1));
                    continue;
                };
                let stands = match allowed {
                    None => ones
                        .iter()
                        .any(|one| others.iter().any(|other| same_name(one, other))),
                    Some(allowed) => allowed.iter().any(|(one, other)| {
                        ones.iter().any(|word| same_name(word, one))
                            && others.iter().any(|word| same_name(word, other))
                    }),
                };
                if !stands {
                    let reason = format!(
                        "{} \"{}\" is {}, \"{}\" is {}",
                        self.states,
                        left.part.name,
                        ones.join(", "),
                        right.part.name,
                        others.join(", ")
                    );
                    findings.push(conflict(self.id(), reason));
                }
            }
        }
        findings
    }
}

/// A spec's value as words to compare.
fn words(part: &Part, spec: Spec) -> Option<Vec<String>> {
    Some(match part.specs.get(&spec)? {
        SpecValue::Text(text) => vec![text.to_string()],
        SpecValue::Texts(texts) => texts.to_vec(),
        SpecValue::Flag(flag) => vec![flag.to_string()],
        SpecValue::Number(number) => vec![number.to_string()],
        SpecValue::Numbers(numbers) => numbers.iter().map(i64::to_string).collect(),
        SpecValue::Entries(_) => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, number, part, text};

    fn rule(toml: &str) -> Result<OwnRule, String> {
        let text = format!("[[rule]]\nid = \"own\"\nstates = \"As the author says.\"\n{toml}");
        let document = Document::parse("rigtide.toml", &text);
        let read = document.root().tables("rule").pop().and_then(OwnRule::read);
        let faults = document.into_faults();
        read.ok_or_else(|| faults.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn a_sum_stays_within_another_spec_plus_a_constant() {
        let rule = rule(
            "sum = [{ kind = \"gpu\", spec = \"length_mm\" }, { kind = \"psu\", spec = \"length_mm\" }]\n\
             at_most = { kind = \"case\", spec = \"gpu_length_mm_max\", plus = 100 }\n",
        )
        .unwrap();
        let long = |kind, length| part(kind, &[(Spec::LengthMm, number(length))]);
        let case = part(Kind::Case, &[(Spec::GpuLengthMmMax, number(350))]);
        let found = |gpu, psu| {
            findings(
                &rule,
                &[&long(Kind::Gpu, gpu), &long(Kind::Psu, psu), &case],
            )
        };
        assert_eq!(found(300, 150), []);
        assert_eq!(
            found(301, 150)[0].reason,
            "As the author says. It comes to 451, more than 450"
        );
    }

    #[test]
    fn equal_values_and_allowed_pairs_compare_as_names_do() {
        let colour = |kind, colour: &str| part(kind, &[(Spec::Colour, text(colour))]);
        let two =
            "[{ kind = \"case\", spec = \"colour\" }, { kind = \"cooler\", spec = \"colour\" }]";
        let equal = rule(&format!("equal = {two}\n")).unwrap();
        let pairs = rule(&format!(
            "pairs = {two}\nallowed = [[\"black\", \"grey\"]]\n"
        ))
        .unwrap();
        let found = |rule: &OwnRule, cooler| {
            let parts = [colour(Kind::Case, "Black"), colour(Kind::Cooler, cooler)];
            findings(rule, &[&parts[0], &parts[1]])
                .first()
                .map(|finding| finding.gravity)
        };
        assert_eq!(found(&equal, "black"), None);
        assert_eq!(found(&equal, "grey"), Some(Gravity::Conflict));
        assert_eq!(found(&pairs, "grey"), None);
        assert_eq!(found(&pairs, "black"), Some(Gravity::Conflict));
    }

    #[test]
    fn what_is_no_rule_says_what_to_write() {
        for (toml, expected) in [
            ("", "one of `sum`, `equal` and `pairs`"),
            (
                "sum = [{ kind = \"gpu\", spec = \"length_mm\" }]\n",
                "at_most",
            ),
            (
                "sum = [{ kind = \"gpu\", spec = \"socket\" }]\nat_most = 3\n",
                "a gpu has no spec `socket`",
            ),
            (
                "sum = [{ kind = \"cpu\", spec = \"socket\" }]\nat_most = 3\n",
                "`socket` of a cpu is no number",
            ),
            (
                "equal = [{ kind = \"gpu\", spec = \"colour\" }]\n",
                "does not name two specs",
            ),
        ] {
            let faults = rule(toml).unwrap_err();
            assert!(faults.contains(expected), "{toml}: {faults}");
        }
    }
}
