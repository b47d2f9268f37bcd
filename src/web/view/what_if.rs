//! A what-if: a brief as it would be, as the pairs of a link's query.

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// What is different from the brief as it is written. Empty: nothing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct WhatIf {
    /// So much to spend, in the brief's currency: digits with a point.
    pub budget: Option<String>,
    /// Role to part: only this part may fill it.
    pub pins: BTreeMap<String, String>,
    /// Role to part: the reader has it already.
    pub owned: BTreeMap<String, String>,
    /// Without these parts, brands or retailers.
    pub bans: Vec<String>,
    /// Part to amount: as if every offer of it had this price.
    pub prices: BTreeMap<String, String>,
    pub most_retailers: Option<u32>,
}

/// A pair of a query that says nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QueryFault {
    pub key: String,
    /// What would be understood.
    pub wanted: &'static str,
}

/// What a value of a link's query does not have as it is.
const ENCODED: AsciiSet = NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b':');

/// So many pins, owned parts, bans or prices make sense at most.
const MANY: usize = 64;

impl WhatIf {
    pub fn is_empty(&self) -> bool {
        *self == WhatIf::default()
    }

    /// Reads `budget`, `pin`, `own`, `ban`, `price` and `most_retailers` of a query's decoded pairs; the
    /// others are somebody else's. Of two for the same role or part the later counts; an empty value counts
    /// for none.
    ///
    /// # Errors
    /// [`QueryFault`]
    pub fn of_pairs<'p>(
        pairs: impl IntoIterator<Item = (&'p str, &'p str)>,
    ) -> Result<WhatIf, QueryFault> {
        let mut read = WhatIf::default();
        for (key, value) in pairs {
            if value.is_empty() {
                continue;
            }
            let fault = |wanted| QueryFault {
                key: key.to_owned(),
                wanted,
            };
            let pair = |wanted| {
                let pair = value.split_once(':').ok_or_else(|| fault(wanted))?;
                Ok::<_, QueryFault>((pair.0.to_owned(), pair.1.to_owned()))
            };
            match key {
                "budget" => read.budget = Some(value.to_owned()),
                "pin" => read.pins.extend([pair("ROLE:PART")?]),
                "own" => read.owned.extend([pair("ROLE:PART")?]),
                "ban" if read.bans.iter().any(|known| known == value) => {}
                "ban" => read.bans.push(value.to_owned()),
                "price" => read.prices.extend([pair("PART:AMOUNT")?]),
                "most_retailers" => {
                    let number = value
                        .parse()
                        .ok()
                        .filter(|number| (1..=100).contains(number));
                    read.most_retailers = Some(number.ok_or_else(|| fault("1 to 100"))?);
                }
                _ => {}
            }
            let sizes = [
                read.pins.len(),
                read.owned.len(),
                read.bans.len(),
                read.prices.len(),
            ];
            if sizes.iter().any(|size| *size > MANY) {
                return Err(fault("64 of them at most"));
            }
        }
        Ok(read)
    }

    /// The pairs that read back as this, in one order.
    pub fn pairs(&self) -> Vec<(&'static str, String)> {
        let mut pairs = Vec::new();
        pairs.extend(self.budget.iter().map(|budget| ("budget", budget.clone())));
        for (key, named) in [("pin", &self.pins), ("own", &self.owned)] {
            pairs.extend(
                named
                    .iter()
                    .map(|(role, part)| (key, format!("{role}:{part}"))),
            );
        }
        pairs.extend(self.bans.iter().map(|name| ("ban", name.clone())));
        let prices = self.prices.iter();
        pairs.extend(prices.map(|(part, price)| ("price", format!("{part}:{price}"))));
        let most = self.most_retailers.iter();
        pairs.extend(most.map(|most| ("most_retailers", most.to_string())));
        pairs
    }

    /// The same as the query of a link, without its question mark; empty if nothing is different.
    pub fn query(&self) -> String {
        let pairs = self.pairs().into_iter().map(|(key, value)| {
            let value = utf8_percent_encode(&value, &ENCODED);
            format!("{key}={value}")
        });
        pairs.collect::<Vec<_>>().join("&")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn full() -> WhatIf {
        let pair = |left: &str, right: &str| [(left.to_owned(), right.to_owned())].into();
        WhatIf {
            budget: Some("1200.50".to_owned()),
            pins: pair("cpu", "brisk-6"),
            owned: pair("case", "box-a"),
            bans: vec!["Loud & Co".to_owned(), "fan-1".to_owned()],
            prices: pair("gpu-a", "310"),
            most_retailers: Some(2),
        }
    }

    #[test]
    fn a_what_if_is_a_link_that_reads_back_as_itself() {
        let query = full().query();
        assert_eq!(
            query,
            "budget=1200.50&pin=cpu:brisk-6&own=case:box-a&ban=Loud%20%26%20Co&ban=fan-1&price=gpu-a:310\
             &most_retailers=2"
        );
        let pairs = url::form_urlencoded::parse(query.as_bytes());
        let pairs: Vec<(String, String)> = pairs.into_owned().collect();
        let borrowed = pairs
            .iter()
            .map(|(key, value)| (key.as_str(), value.as_str()));
        assert_eq!(WhatIf::of_pairs(borrowed), Ok(full()));
        assert_eq!(WhatIf::default().query(), "");
    }

    #[test]
    fn what_says_nothing_is_named_and_what_is_anothers_is_left() {
        for (key, value) in [("pin", "cpu"), ("price", "x"), ("most_retailers", "0")] {
            let fault = WhatIf::of_pairs([(key, value)]).unwrap_err();
            assert_eq!(fault.key, key);
        }
        let read = WhatIf::of_pairs([("budget", ""), ("page", "2"), ("ban", "a"), ("ban", "a")]);
        assert_eq!(read.unwrap().bans, ["a"]);
        let many: Vec<String> = (0..70).map(|number| format!("part-{number}")).collect();
        let many = many.iter().map(|name| ("ban", name.as_str()));
        assert!(WhatIf::of_pairs(many).is_err());
    }
}
