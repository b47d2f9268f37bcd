//! Holds the claims of a title against the values of a part.

use super::evidence::Objection;
use super::profile::{Known, Line, Profile, is_compared};
use crate::catalogue::reading::{Place, Reading, Sign, What};
use crate::catalogue::{Kind, SpecValue, same_name};

/// What a name states and a title must state too: nobody leaves it out.
///
/// Colour, latency, module count and the like may be left out where one part alone remains.
fn must_be_told(kind: Kind, what: What) -> bool {
    match what {
        What::Pack | What::Revision | What::RatedW => true,
        What::MemoryGeneration => kind == Kind::Board,
        What::CapacityGb => kind != Kind::Gpu,
        What::ModuleType => true,
        _ => false,
    }
}

/// How the claims of a title bear on a part.
#[derive(Default)]
pub(super) struct Compared {
    /// They contradict it.
    pub differs: Vec<Objection>,
    /// The title lacks what it should say.
    pub missing: Vec<Objection>,
    /// How many values of the name the title leaves open.
    pub n_untold: u32,
    pub agreed: Vec<What>,
}

pub(super) fn compare(reading: &Reading, profile: &Profile, line: &Line) -> Compared {
    let mut compared = Compared::default();
    for known in &profile.values {
        compare_known(reading, profile.kind, known, &mut compared);
    }
    for claim in &reading.claims {
        let is_said = matches!(claim.place, Place::Main | Place::Attached);
        let is_known = profile.values.iter().any(|known| known.what == claim.what);
        if !is_said || is_known || !is_compared(profile.kind, claim.what) {
            continue;
        }
        compare_unknown(claim.what, &claim.value, line, &mut compared);
    }
    compared
}

fn compare_known(reading: &Reading, kind: Kind, known: &Known, compared: &mut Compared) {
    let what = known.what;
    let mut claims = reading
        .claimed(what)
        .filter(|claim| is_meant(kind, what, &claim.value))
        .peekable();
    let Some(first) = claims.peek().map(|claim| claim.value.clone()) else {
        let is_single = what == What::Modules && known.value == SpecValue::Number(1);
        let kits = reading
            .signs
            .iter()
            .any(|seen| seen.sign == Sign::Kit && seen.place == Place::Main);
        if is_single && kits {
            compared
                .differs
                .push(Objection::Word("kit".to_owned(), "several modules"));
        }
        if known.is_named && !is_bare(reading, known) {
            if must_be_told(kind, what) && !is_plain(known) {
                compared.missing.push(Objection::Untold(what));
            } else {
                compared.n_untold += 1;
            }
        }
        return;
    };
    let mut n_same = 0;
    let mut n_other = 0;
    for claim in claims {
        if is_same(kind, what, &claim.value, &known.value) {
            n_same += 1;
        } else {
            n_other += 1;
        }
    }
    if n_same > 0 {
        // "2x 32GB (2x16GB)" is two kits.
        if n_other > 0 && kind == Kind::Memory && what == What::CapacityGb {
            compared.missing.push(Objection::Untold(what));
        }
        compared.agreed.push(what);
        return;
    }
    compared.differs.push(Objection::Differs {
        what,
        claimed: first,
        known: Some(known.value.clone()),
    });
}

/// The part says nothing of it: that contradicts where its siblings do, and where it counts.
fn compare_unknown(what: What, value: &SpecValue, line: &Line, compared: &mut Compared) {
    let differs = match what {
        What::Pack => *value != SpecValue::Number(1),
        What::BoxedCooler => *value == SpecValue::Flag(true),
        // Boxed and tray are one processor: the sibling that says which is preferred.
        What::Packaging => {
            compared.n_untold += 1;
            false
        }
        // A drive of the usual size does not say so.
        What::CardSize => *value != SpecValue::Text("2280".into()),
        // Where siblings have revisions, any other revision is another part.
        What::Revision => names_any(line, what),
        // Where siblings have colours, the one without is black if none of them is.
        What::Colour => {
            let is_black = *value == SpecValue::Text("black".into());
            names_any(line, what) && !is_black || line.named.contains(&(what, value.clone()))
        }
        _ => line.named.contains(&(what, value.clone())),
    };
    if differs {
        compared.differs.push(Objection::Differs {
            what,
            claimed: value.clone(),
            known: None,
        });
    }
}

fn names_any(line: &Line, what: What) -> bool {
    line.named.iter().any(|(named, _)| *named == what)
}

/// False for a claim that is of something else in parts of this kind.
fn is_meant(kind: Kind, what: What, value: &SpecValue) -> bool {
    const SUPPLY_FORMS: &[&str] = &["ATX", "SFX", "SFX-L", "TFX"];
    match (kind, what, value) {
        (Kind::Case, What::FormFactor, SpecValue::Text(form)) => {
            !SUPPLY_FORMS[1..].contains(&&**form)
        }
        (Kind::Psu, What::FormFactor, SpecValue::Text(form)) => SUPPLY_FORMS.contains(&&**form),
        // "with cooler" is said of processors that have one; "without" of all the others.
        (Kind::Cpu, What::BoxedCooler, value) => *value == SpecValue::Flag(true),
        _ => true,
    }
}

fn is_same(kind: Kind, what: What, claimed: &SpecValue, known: &SpecValue) -> bool {
    match (claimed, known) {
        (SpecValue::Text(claimed), SpecValue::Text(known)) => {
            let is_shortened = what == What::FormFactor && kind == Kind::Psu && **known == *"SFX-L";
            same_name(claimed, known) || (is_shortened && **claimed == *"SFX")
        }
        _ => claimed == known,
    }
}

/// The value stands in the title without its unit: "Dynar 850 Gold".
fn is_bare(reading: &Reading, known: &Known) -> bool {
    let SpecValue::Number(number) = known.value else {
        return false;
    };
    if known.what != What::RatedW {
        return false;
    }
    let text = number.to_string();
    (0..reading.atoms.len())
        .any(|atom| reading.atoms[atom].place == Place::Main && reading.text(atom) == text)
}

/// What every part is unless somebody says otherwise.
fn is_plain(known: &Known) -> bool {
    match (&known.what, &known.value) {
        (What::ModuleType, SpecValue::Text(kind)) => &**kind == "UDIMM",
        (What::Pack, SpecValue::Number(count)) => *count == 1,
        _ => false,
    }
}
