//! What the matcher says of an offer, and why, for a program and for a person.

use crate::catalogue::reading::{Reading, What};
use crate::catalogue::{Kind, PartId, SpecValue};
use std::fmt;

/// What the matcher says of an offer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Matching {
    Part(PartMatch),
    /// It may be one of these: the author decides.
    Review {
        why: ReviewReason,
        /// The best first.
        proposals: Vec<Proposal>,
    },
    /// It is no part of the catalogue.
    None,
    /// Its keys name different parts.
    Contradiction(PartId, PartId),
}

/// The evidence that an offer is a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartMatch {
    pub part: PartId,
    pub by: MatchedBy,
    /// In percent.
    pub confidence: u8,
    /// What its title claims as the part has it.
    pub agreed: Vec<What>,
    pub listing: Listing,
}

/// What decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MatchedBy {
    Author,
    Gtin,
    Mpn,
    Title,
}

/// What a title says of this one listing, which the part itself leaves open.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Listing {
    /// `boxed` or `tray`.
    pub packaging: Option<String>,
    /// The region that it was made for, such as `EU`.
    pub region: Option<String>,
    pub colour: Option<String>,
}

/// Why the author is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReviewReason {
    /// Two or more parts fit equally.
    SeveralFit,
    /// Its keys name the part, its title speaks against it.
    TitleContradicts,
    /// One part fits, but not well enough.
    Unsure,
    /// Its part number is another one of the same maker.
    OtherMpn,
    /// The listing is not the one that the author decided on.
    ListingChanged,
}

/// A part that an offer may be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    pub part: PartId,
    pub by: MatchedBy,
    /// In percent.
    pub confidence: u8,
    /// What its title claims as the part has it.
    pub agreed: Vec<What>,
    /// What speaks against it.
    pub objections: Vec<Objection>,
}

/// One thing that speaks against a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Objection {
    /// The title claims one value, the part has another or none.
    Differs {
        what: What,
        claimed: SpecValue,
        known: Option<SpecValue>,
    },
    /// The part's name says it, the title does not.
    Untold(What),
    /// A word or number of the part's name that the title lacks.
    Lacks(String),
    /// A word or number that another part's name has, or that makes another model.
    Extra(String),
    /// A word says that it is something else.
    Word(String, &'static str),
    OtherKind(Kind),
    OtherBrand(String),
    /// A part number of the same maker that the catalogue does not know.
    OtherMpn(String),
    /// The title ends before it could tell siblings apart.
    Cut,
    /// The title has more characters than any name.
    Long(usize),
    /// The title says a word so many times.
    Repeats(String, usize),
}

impl MatchedBy {
    pub fn name(self) -> &'static str {
        match self {
            MatchedBy::Author => "author",
            MatchedBy::Gtin => "gtin",
            MatchedBy::Mpn => "mpn",
            MatchedBy::Title => "title",
        }
    }
}

impl PartMatch {
    /// Why it is the part, as one clause for a person.
    pub fn reason(&self) -> String {
        let mut reason = match self.by {
            MatchedBy::Author => "the author said so".to_owned(),
            MatchedBy::Gtin => "its GTIN is the part's".to_owned(),
            MatchedBy::Mpn => "its part number is the part's".to_owned(),
            MatchedBy::Title => "brand and name agree".to_owned(),
        };
        if !self.agreed.is_empty() {
            let names: Vec<&str> = self.agreed.iter().map(|what| what.name()).collect();
            reason.push_str("; agrees in ");
            reason.push_str(&names.join(", "));
        }
        let Listing {
            packaging,
            region,
            colour,
        } = &self.listing;
        let marks = [
            ("packaging", packaging),
            ("region", region),
            ("colour", colour),
        ];
        for (name, mark) in marks {
            if let Some(mark) = mark {
                reason.push_str(&format!("; {name} {mark}"));
            }
        }
        reason
    }
}

impl Proposal {
    /// One of which neither is known what agrees nor what speaks against it.
    pub(super) fn bare(part: PartId, by: MatchedBy, confidence: u8) -> Proposal {
        Proposal {
            part,
            by,
            confidence,
            agreed: Vec::new(),
            objections: Vec::new(),
        }
    }
}

impl From<PartMatch> for Proposal {
    fn from(found: PartMatch) -> Proposal {
        Proposal {
            agreed: found.agreed,
            ..Proposal::bare(found.part, found.by, found.confidence)
        }
    }
}

impl Listing {
    pub(super) fn of(reading: &Reading, region: Option<&str>) -> Listing {
        let text = |what| {
            reading.claimed(what).find_map(|claim| match &claim.value {
                SpecValue::Text(text) => Some(text.to_string()),
                _ => None,
            })
        };
        Listing {
            packaging: text(What::Packaging),
            region: region.map(str::to_owned).or_else(|| text(What::Region)),
            colour: text(What::Colour),
        }
    }
}

impl Matching {
    /// Why the author is asked about an offer, as one clause; `None` where nothing is to be asked.
    pub fn question(&self) -> Option<String> {
        match self {
            Matching::Part(_) | Matching::None => None,
            Matching::Contradiction(one, other) => {
                Some(format!("its keys name both {one} and {other}"))
            }
            Matching::Review { why, proposals } => {
                let parts: Vec<String> = proposals.iter().map(Proposal::to_string).collect();
                Some(format!("{why}: {}", parts.join("; ")))
            }
        }
    }
}

impl fmt::Display for ReviewReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            ReviewReason::SeveralFit => "more than one part fits it",
            ReviewReason::TitleContradicts => "its title contradicts its keys",
            ReviewReason::Unsure => "it may be a part",
            ReviewReason::OtherMpn => "its part number is unknown",
            ReviewReason::ListingChanged => "listing changed since you decided on it",
        })
    }
}

impl fmt::Display for Proposal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} by {}, {} %",
            self.part,
            self.by.name(),
            self.confidence
        )?;
        let against: Vec<String> = self.objections.iter().map(Objection::to_string).collect();
        if against.is_empty() {
            return Ok(());
        }
        write!(f, ", but {}", against.join(" and "))
    }
}

impl fmt::Display for Objection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Objection::Differs {
                what,
                claimed,
                known: Some(known),
            } => write!(
                f,
                "its {} is {}, not {}",
                what.name(),
                Shown(claimed),
                Shown(known)
            ),
            Objection::Differs { what, claimed, .. } => {
                write!(f, "its {} is {}", what.name(), Shown(claimed))
            }
            Objection::Untold(what) => write!(f, "its {} is not told", what.name()),
            Objection::Lacks(text) => write!(f, "it lacks \"{text}\""),
            Objection::Extra(text) => write!(f, "it says \"{text}\""),
            Objection::Word(text, meaning) => write!(f, "\"{text}\" says that it is {meaning}"),
            Objection::OtherKind(kind) => write!(f, "it speaks of a {}", kind.noun()),
            Objection::OtherBrand(brand) => write!(f, "it names {brand}"),
            Objection::OtherMpn(mpn) => write!(f, "its part number is {mpn}"),
            Objection::Cut => f.write_str("its title is cut off"),
            Objection::Long(length) => write!(f, "its title has {length} characters"),
            Objection::Repeats(word, times) => {
                write!(f, "its title says \"{word}\" {times} times")
            }
        }
    }
}

struct Shown<'v>(&'v SpecValue);

impl fmt::Display for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            SpecValue::Text(text) => f.write_str(text),
            SpecValue::Number(number) => write!(f, "{number}"),
            SpecValue::Flag(true) => f.write_str("yes"),
            SpecValue::Flag(false) => f.write_str("no"),
            other => write!(f, "{other:?}"),
        }
    }
}
