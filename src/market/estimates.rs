//! Which estimated rates a brief lets count.

use crate::catalogue::Evidence;
use crate::catalogue::table::Table;

/// Which estimated rates a brief lets count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Estimates {
    /// None: every part has been measured.
    Refused,
    /// Those that the author wrote at a part.
    #[default]
    Written,
    /// Those that the program makes too.
    Allowed,
}

impl Estimates {
    const NAMES: [(&'static str, Estimates); 3] = [
        ("refused", Estimates::Refused),
        ("written", Estimates::Written),
        ("allowed", Estimates::Allowed),
    ];

    /// Whether a rate with this evidence counts.
    pub fn admit(self, evidence: &Evidence) -> bool {
        match evidence {
            Evidence::Measured(_) | Evidence::Results(_) => true,
            Evidence::Estimated(_) => self != Estimates::Refused,
            Evidence::Derived(_) => self == Estimates::Allowed,
        }
    }

    /// From a brief's key `estimates`.
    pub(super) fn read(table: &mut Table<'_, '_>) -> Estimates {
        let Some(text) = table.text("estimates") else {
            return Estimates::default();
        };
        let known = Estimates::NAMES
            .iter()
            .find(|(name, _)| *name == text.value);
        known.map(|(_, estimates)| *estimates).unwrap_or_else(|| {
            let names: Vec<&str> = Estimates::NAMES.iter().map(|(name, _)| *name).collect();
            let remedy = format!("write one of {}", names.join(", "));
            let message = format!("`estimates` cannot be \"{}\"", text.value);
            table.document().fault(&text.span, message, remedy);
            Estimates::default()
        })
    }
}
