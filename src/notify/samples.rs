//! Bulletins and channels that tests share.

use super::channel::Channel;
use super::registry::read_channel;
use super::secrets::tests::FewSecrets;
use crate::catalogue::table::Document;
use crate::decide::{Bulletin, BulletinId};
use chrono::DateTime;
use std::sync::Arc;

/// One whose texts hold what a header, a page or a terminal would obey.
pub(super) fn bulletin() -> Bulletin {
    Bulletin {
        id: BulletinId::derive("media-room", "{}", DateTime::UNIX_EPOCH),
        brief: "media-room".to_owned(),
        at: DateTime::from_timestamp_millis(1_700_000_000_123).unwrap(),
        subject: "Gehäuse \"K9\" <neu>\r\nX-Injected: 1".to_owned(),
        text: "raus: K7\nrein: <K9> & mehr\u{8}".to_owned(),
        data: serde_json::json!({"total_minor": 149_990}),
    }
}

pub(super) fn channel(toml: &str) -> Arc<dyn Channel> {
    let document = Document::parse("rigtide.toml", toml);
    let channel = read_channel(document.root(), &FewSecrets);
    channel.unwrap_or_else(|| panic!("{:?}", document.into_faults()))
}
