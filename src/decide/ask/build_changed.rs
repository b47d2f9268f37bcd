//! Tells of every change of the best build that the brief's `[change]` lets pass.

use super::{Judged, News, Trigger};
use crate::catalogue::table::Table;
use crate::decide::change::Change;
use crate::decide::scene::Scene;
use crate::money::Currency;
use serde_json::Value;

#[derive(Debug)]
struct BuildChanged;

pub(super) fn read(_: &mut Table<'_, '_>, _: Currency) -> Option<Box<dyn Trigger>> {
    Some(usual())
}

pub(super) fn usual() -> Box<dyn Trigger> {
    Box::new(BuildChanged)
}

impl Trigger for BuildChanged {
    fn key(&self) -> String {
        "build_changed".to_owned()
    }

    fn judge(&self, scene: &Scene<'_>, _: &Value) -> Judged {
        let is_news = !matches!(scene.change, Change::None | Change::TooSmall);
        Judged {
            news: is_news.then_some(News::Build),
            remember: Value::Null,
        }
    }

    fn is_of_the_build(&self) -> bool {
        true
    }
}
