//! Tells that a part can be had, delivered, for a price that the author set or less.

use super::{Judged, News, Trigger, name_of, price_of, read_part};
use crate::catalogue::PartId;
use crate::catalogue::table::Table;
use crate::decide::scene::Scene;
use crate::decide::shown::short_part;
use crate::money::{Currency, Money};
use serde_json::{Value, json};

#[derive(Debug)]
struct Target {
    part: PartId,
    price: Money,
}

pub(super) fn read(table: &mut Table<'_, '_>, currency: Currency) -> Option<Box<dyn Trigger>> {
    let part = read_part(table);
    table.require("price");
    let price = table.money("price", currency);
    Some(Box::new(Target {
        part: part?,
        price: price?.value,
    }))
}

impl Trigger for Target {
    fn key(&self) -> String {
        format!("target:{}:{}", self.part, self.price)
    }

    fn judge(&self, scene: &Scene<'_>, before: &Value) -> Judged {
        let price = price_of(scene, &self.part);
        let reached = price.filter(|price| price.minor() <= self.price.minor());
        // A target that is reached when it is set is news, too.
        let is_news = before.as_bool() != Some(true);
        let news = reached.filter(|_| is_news).map(|price| {
            let name = name_of(scene, &self.part);
            News::Fact {
                subject: format!("{} is down to {price}", short_part(&name)),
                text: format!(
                    "{name} can be had for {price}; your target is {}.\n",
                    self.price
                ),
                data: json!({
                    "part": self.part,
                    "landed_minor": price.minor(),
                    "target_minor": self.price.minor(),
                }),
            }
        });
        Judged {
            news,
            remember: json!(reached.is_some()),
        }
    }

    fn part(&self) -> Option<&PartId> {
        Some(&self.part)
    }
}
