//! What a brief insists on and what it will not have: pins, bans, and the retailers allowed.

use super::brief::Role;
use super::offer::RetailerId;
use crate::catalogue::table::{Table, nearest};
use crate::catalogue::{Catalogue, Part, PartId};

/// What a brief will not have.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Bans {
    pub parts: Vec<PartId>,
    /// As the catalogue writes them; case does not matter.
    pub brands: Vec<String>,
    pub retailers: Vec<RetailerId>,
    /// Where this is not empty, all other retailers are out.
    pub retailers_but: Vec<RetailerId>,
}

impl Bans {
    /// Whether a part may be in a build.
    pub fn admit_part(&self, part: &Part) -> bool {
        !part.is_of_brand(&self.brands) && !self.parts.contains(&part.id)
    }

    /// Whether a retailer's offers may be in a build.
    pub fn admit_retailer(&self, retailer: &RetailerId) -> bool {
        let is_allowed = self.retailers_but.is_empty() || self.retailers_but.contains(retailer);
        is_allowed && !self.retailers.contains(retailer)
    }

    /// From a brief's table `ban` and its key `retailers`.
    pub(super) fn read(table: &mut Table<'_, '_>, catalogue: &Catalogue) -> Bans {
        let ids = |texts: Option<Vec<String>>| -> Vec<RetailerId> {
            texts
                .unwrap_or_default()
                .into_iter()
                .map(RetailerId::new)
                .collect()
        };
        let texts = |table: &mut Table<'_, '_>, key| {
            let texts = table.texts(key)?.value;
            Some(
                texts
                    .into_iter()
                    .map(|text| text.value)
                    .collect::<Vec<String>>(),
            )
        };
        let retailers_but = ids(texts(table, "retailers"));
        let Some(mut ban) = table.table("ban") else {
            return Bans {
                retailers_but,
                ..Bans::default()
            };
        };
        let parts = ban.texts("parts").map(|at| at.value).unwrap_or_default();
        let bans = Bans {
            parts: parts
                .into_iter()
                .filter_map(|part| known_part(&ban, &part.value, &part.span, catalogue))
                .collect(),
            brands: texts(&mut ban, "brands").unwrap_or_default(),
            retailers: ids(texts(&mut ban, "retailers")),
            retailers_but,
        };
        ban.finish();
        bans
    }
}

/// A part that the catalogue has; another name is a fault with the nearest one.
pub(super) fn known_part(
    table: &Table<'_, '_>,
    name: &str,
    span: &std::ops::Range<usize>,
    catalogue: &Catalogue,
) -> Option<PartId> {
    let id = PartId::new(name);
    if catalogue.parts.contains_key(&id) {
        return Some(id);
    }
    let known = catalogue.parts.keys().map(PartId::as_str);
    let remedy = match nearest(name, known) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => "write a part's id in the catalogue".to_owned(),
    };
    let message = format!("no part is called \"{name}\"");
    table.document().fault(span, message, remedy);
    None
}

/// From a role's keys `pin` and `owned`: the only part that may fill it, and whether the reader has
/// it already.
pub(super) fn read_pin(table: &mut Table<'_, '_>, catalogue: &Catalogue) -> (Option<PartId>, bool) {
    let (pin, owned) = (table.text("pin"), table.text("owned"));
    if let (Some(_), Some(owned)) = (&pin, &owned) {
        let message = "a role has a `pin` or an `owned` part, not both";
        let remedy = "keep `owned`: it pins the part too";
        table.document().fault(&owned.span, message, remedy);
    }
    let is_owned = owned.is_some();
    let part = owned.or(pin);
    let part = part.and_then(|part| known_part(table, &part.value, &part.span, catalogue));
    (part, is_owned)
}

impl Role {
    /// Whether a part may fill the role: of its kind, as pinned, and meeting every need.
    pub fn admits(&self, part: &Part) -> bool {
        part.kind == self.kind
            && self.pin.as_ref().is_none_or(|pin| *pin == part.id)
            && self.needs.iter().all(|need| need.is_met_by(part))
    }
}
