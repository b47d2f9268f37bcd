//! What people call the shops and the workloads that records know by their ids. It decides nothing: data
//! keeps the ids.

use crate::market::{Brief, Retailer, RetailerId};
use std::collections::BTreeMap;

/// Names by id. What has none is called by its id.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Names {
    shops: BTreeMap<String, String>,
    workloads: BTreeMap<String, String>,
}

impl Names {
    /// As the author names them.
    pub fn of(brief: &Brief, retailers: &BTreeMap<RetailerId, Retailer>) -> Names {
        let shops = retailers.iter();
        let workloads = brief.objective.workloads.iter();
        Names::new(
            shops.map(|(id, shop)| (id.to_string(), shop.name.clone())),
            workloads.map(|one| (one.workload.to_string(), one.name.clone())),
        )
    }

    pub fn new(
        shops: impl IntoIterator<Item = (String, String)>,
        workloads: impl IntoIterator<Item = (String, String)>,
    ) -> Names {
        Names {
            shops: shops.into_iter().collect(),
            workloads: workloads.into_iter().collect(),
        }
    }

    pub fn shop<'n>(&'n self, id: &'n str) -> &'n str {
        self.shops.get(id).map_or(id, String::as_str)
    }

    pub fn workload<'n>(&'n self, id: &'n str) -> &'n str {
        self.workloads.get(id).map_or(id, String::as_str)
    }
}
