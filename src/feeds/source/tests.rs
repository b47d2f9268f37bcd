//! What a feed's table may say of its source.

use super::*;
use crate::catalogue::Fault;
use crate::catalogue::table::Document;
use std::collections::BTreeMap;
use std::path::Path;

fn read(text: &str) -> (Option<SourceSettings>, Vec<String>) {
    let document = Document::parse("retailers/kestrel.toml", text);
    let mut table = document.root();
    let settings = SourceSettings::read(&mut table);
    table.finish();
    let faults = document.into_faults();
    (settings, faults.iter().map(Fault::to_string).collect())
}

fn read_well(text: &str) -> SourceSettings {
    let (settings, faults) = read(text);
    assert_eq!(faults, [""; 0]);
    settings.unwrap()
}

struct Drawer(BTreeMap<&'static str, &'static str>);

impl Keeper for Drawer {
    fn variable(&self, name: &str) -> Option<String> {
        self.0.get(name).map(|text| (*text).to_owned())
    }

    fn file(&self, path: &Path) -> std::io::Result<String> {
        self.variable(&path.to_string_lossy())
            .ok_or_else(|| std::io::ErrorKind::NotFound.into())
    }
}

#[test]
fn an_address_is_enough() {
    let settings = read_well("url = \"https://kestrel.example/feed.csv\"\n");
    assert_eq!(settings.limits, Limits::default());
    assert_eq!(settings.doubt, DoubtRules::default());
    assert_eq!(settings.minimum_interval, Duration::from_secs(1));
    assert_eq!(settings.paging.next, NextPage::None);
    assert!(!settings.allow_private_addresses);
    assert!(settings.headers.is_empty() && settings.auth.is_none());
}

#[test]
fn every_key_reads() {
    let settings = read_well(
        "url_template = \"https://kestrel.example/p/{mpn}?k={env:KEY}\"\nlimit = 7\n\
         headers = { Accept-Language = \"de\" }\nheaders_env = { X-Key = \"KEY\" }\n\
         headers_file = { Cookie = \"cookie.txt\" }\nbasic_user = \"me\"\n\
         basic_password_file = \"pw\"\nschedule = \"0 6 * * *\"\nminimum_interval_s = 5\n\
         connect_limit_s = 1\nread_limit_s = 2\ntotal_limit_s = 3\nbody_limit_mb = 4\n\
         redirect_limit = 0\nallow_private_addresses = true\nnext_from = \"page-parameter\"\n\
         page_parameter = \"p\"\npage_first = 0\npage_limit = 9\nleast_records = 10\n\
         largest_loss_percent = 20\noutlier_factor = 2.5\nconfirm_polls = 3\n",
    );
    assert_eq!(settings.limits.body_bytes, 4 * MEGABYTE);
    assert_eq!(settings.doubt.outlier_factor_hundredths, 250);
    assert_eq!(settings.schedule.as_ref().unwrap().value, "0 6 * * *");
    let name = "p".to_owned();
    assert_eq!(settings.paging.next, NextPage::Parameter { name, first: 0 });

    let drawer = Drawer([("KEY", "k&y"), ("cookie.txt", "a=b\n"), ("pw", "secret")].into());
    let access = Access::open(&settings, &drawer).unwrap();
    assert_eq!(access.headers["accept-language"], "de");
    assert_eq!(access.headers["x-key"], "k&y");
    assert_eq!(access.headers["cookie"], "a=b");
    // RFC 7617 2: base64 of "user:password"; value computed with coreutils' base64.
    assert_eq!(access.headers["authorization"], "Basic bWU6c2VjcmV0");
    assert!(!format!("{access:?}").contains("secret"));

    let parts = [
        PartKeys {
            part: "board-1",
            mpn: Some("TN/7 x"),
            gtin: None,
        },
        PartKeys {
            part: "board-2",
            mpn: None,
            gtin: None,
        },
    ];
    let targets = settings
        .location
        .targets(parts.into_iter(), &drawer)
        .unwrap();
    assert_eq!(targets.len(), 1);
    assert_eq!(
        targets[0].url.as_str(),
        "https://kestrel.example/p/TN%2F7%20x?k=k%26y"
    );
    assert_eq!(targets[0].part.as_deref(), Some("board-1"));
    assert_eq!(
        access.mask.url(&targets[0].url),
        "https://kestrel.example/p/TN%2F7%20x?k=***"
    );
}

#[test]
fn a_missing_secret_is_named_by_its_place() {
    let settings = read_well("url = \"https://a.example/\"\nbearer_env = \"TOKEN\"\n");
    for (drawer, expected) in [
        (
            Drawer([].into()),
            "the environment variable TOKEN is not set",
        ),
        (
            Drawer([("TOKEN", "\n")].into()),
            "the secret from the environment variable TOKEN is empty",
        ),
        (
            Drawer([("TOKEN", "a\u{7}b")].into()),
            "the secret from the environment variable TOKEN has characters that a request header cannot carry",
        ),
    ] {
        assert_eq!(
            Access::open(&settings, &drawer).unwrap_err().to_string(),
            expected
        );
    }
}

#[test]
fn wrong_settings_are_named_with_a_remedy() {
    let place = "retailers/kestrel.toml";
    for (text, expected) in [
        (
            "schedule = \"x\"",
            "1:1: the feed does not say where it is; keep exactly one of `url`, `urls`, `url_template`, `index` and `file`",
        ),
        (
            "url = \"https://a.example/\"\nfile = \"-\"",
            "1:1: the feed is in 2 places: url, file; keep exactly one of `url`, `urls`, `url_template`, `index` and `file`",
        ),
        (
            "url = \"a.example/feed\"",
            "1:7: the address is not complete (relative URL without a base); write a whole address, as in https://shop.example/feed.csv",
        ),
        (
            "url = \"ftp://a.example/feed\"",
            "1:7: the address begins with ftp:, not http: or https:; write http: or https:, or use `file` for a file on disk",
        ),
        (
            "url = \"https://me:pw@a.example/\"",
            "1:7: the address holds a user name or password; use `basic_user` with `basic_password_env`, and take them out of the address",
        ),
        (
            "url = \"https://a.example/{mpn}\"",
            "1:7: {mpn} is not a placeholder that fits here; write {env:NAME}, or use `url_template` for one page a part",
        ),
        (
            "url_template = \"https://{part}.a.example/\"",
            "1:16: the host of the address has a placeholder; write the host out; placeholders may stand in path and query",
        ),
        (
            "url_template = \"https://a.example/\"",
            "1:16: `url_template` names nothing of a part; put {mpn}, {gtin} or {part} into it, or call it `url`",
        ),
        (
            "url = \"https://a.example/{env:X\"",
            "1:7: the address opens a placeholder without closing it; add the closing }, or write { as %7B",
        ),
        (
            "file = \"x\"\nheaders = { Authorization = \"Bearer x\" }",
            "2:13: the header Authorization is not set here; use `bearer_env`, or `basic_user` with `basic_password_env`",
        ),
        (
            "file = \"x\"\nbasic_user = \"me\"",
            "1:1: `basic_user` has no password; add `basic_password_env` or `basic_password_file`",
        ),
        (
            "file = \"x\"\nnext_from = \"links\"",
            "2:13: `next_from` is \"links\", which is no way to name a page; write \"none\", \"link-header\", \"body\" or \"page-parameter\"",
        ),
        (
            "file = \"x\"\noutlier_factor = 0.5",
            "2:18: `outlier_factor` is outside 1.01 to 1000; write a factor above 1, such as 3",
        ),
        (
            "file = \"x\"\nbody_limit = 3",
            "2:1: unknown key `body_limit`; did you mean `body_limit_mb`?",
        ),
    ] {
        let (_, faults) = read(text);
        assert_eq!(faults, [format!("{place}:{expected}")], "{text}");
    }
}

#[test]
fn the_table_of_keys_is_complete() {
    // A key like no other makes the remedy list every key that is read.
    let (_, faults) = read("file = \"x\"\nqqqqqqqqqqqqqqqqqqqq = 1");
    let (_, known) = faults[0].split_once("known keys here: ").unwrap();
    let read: std::collections::BTreeSet<&str> = known.split(", ").collect();
    let rows = include_str!("mod.rs")
        .lines()
        .filter_map(|line| line.strip_prefix("//! | `"));
    let documented: std::collections::BTreeSet<&str> = rows
        .filter_map(|row| row.split(" | ").next())
        .flat_map(|keys| keys.split(|other: char| !(other.is_ascii_lowercase() || other == '_')))
        .filter(|word| !matches!(*word, "" | "with" | "or"))
        .collect();
    assert_eq!(documented, read);
}
