//! Tells that a part crossed its entry price, downwards or upwards. The entry price is the highest
//! price at which a part is in the best build, so that a part has crossed it exactly when it is in
//! today's best build and was not before, or the other way round; no price need be worked out.

use super::{Judged, News, Trigger, name_of, price_of, read_part};
use crate::catalogue::PartId;
use crate::catalogue::table::Table;
use crate::decide::scene::Scene;
use crate::decide::shown::short_part;
use crate::money::Currency;
use serde_json::{Value, json};

#[derive(Debug)]
struct Enters {
    part: PartId,
}

pub(super) fn read(table: &mut Table<'_, '_>, _: Currency) -> Option<Box<dyn Trigger>> {
    let part = read_part(table)?;
    Some(Box::new(Enters { part }))
}

impl Trigger for Enters {
    fn key(&self) -> String {
        format!("enters:{}", self.part)
    }

    fn judge(&self, scene: &Scene<'_>, before: &Value) -> Judged {
        let is_in = scene.today.picks.iter().any(|pick| pick.part == self.part);
        let name = name_of(scene, &self.part);
        let price = price_of(scene, &self.part);
        let at = price.map_or_else(|| "no price".to_owned(), |price| price.to_string());
        let verb = match (before.as_bool(), is_in) {
            (Some(false), true) => Some("enters"),
            (Some(true), false) => Some("leaves"),
            _ => None,
        };
        Judged {
            news: verb.map(|verb| News::Fact {
                text: format!("{name} {verb} the best build at {at}.\n"),
                subject: format!("{} {verb} the build at {at}", short_part(&name)),
                data: json!({
                    "part": self.part,
                    "is_in": is_in,
                    "landed_minor": price.map(|price| price.minor()),
                }),
            }),
            remember: json!(is_in),
        }
    }

    fn part(&self) -> Option<&PartId> {
        Some(&self.part)
    }
}
