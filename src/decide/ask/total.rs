//! Tells that the best build's total went below an amount, or above one.

use super::{Judged, News, Trigger};
use crate::catalogue::table::Table;
use crate::decide::scene::Scene;
use crate::money::{Currency, Money};
use serde_json::{Value, json};

#[derive(Debug)]
struct Total {
    amount: Money,
    is_below: bool,
}

pub(super) fn read(table: &mut Table<'_, '_>, currency: Currency) -> Option<Box<dyn Trigger>> {
    let below = table.money("below", currency);
    let above = table.money("above", currency);
    match (below, above) {
        (Some(amount), None) => Some(Box::new(Total {
            amount: amount.value,
            is_below: true,
        })),
        (None, Some(amount)) => Some(Box::new(Total {
            amount: amount.value,
            is_below: false,
        })),
        _ => {
            let message = "a total needs one amount that it crosses";
            let remedy = "write either `below` or `above`";
            table.document().fault(&table.span(), message, remedy);
            None
        }
    }
}

impl Trigger for Total {
    fn key(&self) -> String {
        let side = if self.is_below { "below" } else { "above" };
        format!("total:{side}:{}", self.amount)
    }

    fn judge(&self, scene: &Scene<'_>, before: &Value) -> Judged {
        let Some(minor) = scene.today.total_minor else {
            // No build has no total; what was known stays.
            return Judged::nothing(before.clone());
        };
        let is_across = match self.is_below {
            true => minor < self.amount.minor(),
            false => minor > self.amount.minor(),
        };
        // Where it stands when first looked at is no crossing.
        let has_crossed = is_across && before.as_bool() == Some(false);
        let total = Money::from_minor(minor, scene.currency);
        let side = if self.is_below { "below" } else { "above" };
        Judged {
            news: has_crossed.then(|| News::Fact {
                subject: format!("best build {total}, {side} {}", self.amount),
                text: format!(
                    "The best build costs {total} now, {side} {}.\n",
                    self.amount
                ),
                data: json!({ "total_minor": minor, "threshold_minor": self.amount.minor() }),
            }),
            remember: json!(is_across),
        }
    }
}
