//! The keys of a feed's table that say where it is, how to ask for it and when to doubt it.
//!
//! Reads settings only: opens no file, no connection and no environment variable. Secrets stand
//! in the settings by the name of their place and are looked up by [`Access::open`].
//!
//! | key | default | meaning |
//! | --- | --- | --- |
//! | `url` | | the one page or document; exactly one of `url`, `urls`, `url_template`, `index`, `file` |
//! | `urls` | | several pages, fetched one after another |
//! | `url_template` | | one page for each part of the catalogue, with `{mpn}`, `{gtin}` or `{part}` |
//! | `index` | | a page whose links are followed one step |
//! | `limit` | 100 | most links followed from `index`, most pages made from `url_template` |
//! | `file` | | a file, a directory, or `-` for standard input |
//! | `headers` | none | request headers, `{ Accept-Language = "de" }`; no secrets |
//! | `headers_env`, `headers_file` | none | request headers whose values are secrets, by variable or file |
//! | `basic_user` with `basic_password_env` or `basic_password_file` | none | basic authentication |
//! | `bearer_env`, `bearer_file` | none | bearer authentication |
//! | `schedule` | the program's | when to poll, a cron expression |
//! | `minimum_interval_s` | 1 | least pause between two requests to the same host |
//! | `connect_limit_s` | 10 | longest wait for a connection |
//! | `read_limit_s` | 30 | longest silence while waiting for an answer or its next bytes |
//! | `total_limit_s` | 300 | longest time for one document, waiting for one's turn not counted |
//! | `body_limit_mb` | 256 | most bytes of one document, packed and again unpacked |
//! | `redirect_limit` | 5 | most redirects followed |
//! | `allow_private_addresses` | false | lets redirects and links lead into loopback and private networks |
//! | `next_from` | `none` | where the next page is named: `none`, `link-header`, `body`, `page-parameter` |
//! | `page_parameter` | `page` | the query parameter that counts pages |
//! | `page_first` | 1 | the number of the first page |
//! | `page_limit` | 20 | most pages of one poll |
//! | `least_records` | 1 | fewer records than this fail the poll |
//! | `largest_loss_percent` | 50 | a larger loss of records since the last good poll fails the poll |
//! | `outlier_factor` | 3 | a price further than this factor from its past or its peers is held |
//! | `confirm_polls` | 2 | polls that must agree before a held price counts |
//!
//! `{env:NAME}` in an address stands for an environment variable and is masked in every message.

mod access;
mod location;
mod secret;

pub use access::{Access, Auth, HeaderSetting};
pub use location::{AddressFault, Location, PartKeys, Target, UrlTemplate};
pub use secret::{Keeper, MachineKeeper, Secret, SecretFault, SecretPlace};

use crate::catalogue::table::{At, Table};
use std::time::Duration;

/// Everything about a feed except its format and mapping.
#[derive(Debug, Clone)]
pub struct SourceSettings {
    pub location: Location,
    pub headers: Vec<HeaderSetting>,
    pub auth: Option<Auth>,
    /// The author's cron expression with its place, for whoever parses it.
    pub schedule: Option<At<String>>,
    /// Least pause between two requests to one host.
    pub minimum_interval: Duration,
    pub limits: Limits,
    pub allow_private_addresses: bool,
    pub paging: Paging,
    pub doubt: DoubtRules,
}

/// What one fetch may cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    pub connect: Duration,
    /// Longest silence, before the answer and within it.
    pub read: Duration,
    pub total: Duration,
    pub body_bytes: u64,
    pub redirects: u32,
}

/// How the pages of one document follow each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paging {
    pub next: NextPage,
    /// Most pages fetched in one poll.
    pub limit: u32,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NextPage {
    /// There is one page only.
    None,
    /// `Link: <...>; rel="next"`, RFC 8288.
    LinkHeader,
    /// The decoder finds it, as the feed's format settings say.
    Body,
    /// A query parameter counts the pages.
    Parameter { name: String, first: u32 },
}

/// When a poll or a price is doubted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DoubtRules {
    pub least_records: u64,
    /// From 0 to 100.
    pub largest_loss_percent: u32,
    /// Hundredths: 300 for a factor of 3.
    pub outlier_factor_hundredths: u32,
    pub confirm_polls: u32,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            connect: Duration::from_secs(10),
            read: Duration::from_secs(30),
            total: Duration::from_secs(300),
            body_bytes: 256 * MEGABYTE,
            redirects: 5,
        }
    }
}

impl Default for DoubtRules {
    fn default() -> DoubtRules {
        DoubtRules {
            least_records: 1,
            largest_loss_percent: 50,
            outlier_factor_hundredths: 300,
            confirm_polls: 2,
        }
    }
}

impl SourceSettings {
    /// Reads the keys above; the caller reads the format and finishes the table.
    ///
    /// Every fault is recorded in the table's document. `None` means that the feed cannot be used.
    pub fn read(table: &mut Table<'_, '_>) -> Option<SourceSettings> {
        let location = location::read(table);
        let headers = access::read_headers(table);
        let auth = access::read_auth(table);
        let schedule = table.text("schedule");
        let minimum_interval = seconds(table, "minimum_interval_s", 0..3601, 1);
        let limits = read_limits(table);
        let allow_private_addresses = table
            .flag("allow_private_addresses")
            .is_some_and(|flag| flag.value);
        let paging = read_paging(table);
        let doubt = read_doubt(table);
        Some(SourceSettings {
            location: location?,
            headers: headers?,
            auth: auth?,
            schedule,
            minimum_interval,
            limits,
            allow_private_addresses,
            paging: paging?,
            doubt,
        })
    }
}

const MEGABYTE: u64 = 1024 * 1024;

/// A whole number; a missing or faulty one reads as `default`, the fault being recorded.
fn number(
    table: &mut Table<'_, '_>,
    key: &'static str,
    range: std::ops::Range<i64>,
    default: u32,
) -> u32 {
    table
        .integer(key, range)
        .and_then(|number| u32::try_from(number.value).ok())
        .unwrap_or(default)
}

fn seconds(
    table: &mut Table<'_, '_>,
    key: &'static str,
    range: std::ops::Range<i64>,
    default: u32,
) -> Duration {
    Duration::from_secs(number(table, key, range, default).into())
}

fn read_limits(table: &mut Table<'_, '_>) -> Limits {
    Limits {
        connect: seconds(table, "connect_limit_s", 1..301, 10),
        read: seconds(table, "read_limit_s", 1..3601, 30),
        total: seconds(table, "total_limit_s", 1..86_401, 300),
        body_bytes: u64::from(number(table, "body_limit_mb", 1..16_385, 256)) * MEGABYTE,
        redirects: number(table, "redirect_limit", 0..21, 5),
    }
}

fn read_paging(table: &mut Table<'_, '_>) -> Option<Paging> {
    let next_from = table.text("next_from");
    let name = table.text("page_parameter");
    let first = number(table, "page_first", 0..1_000_001, 1);
    let limit = number(table, "page_limit", 1..10_001, 20);
    let next = match next_from.as_ref().map(|at| at.value.as_str()) {
        None | Some("none") => NextPage::None,
        Some("link-header") => NextPage::LinkHeader,
        Some("body") => NextPage::Body,
        Some("page-parameter") => NextPage::Parameter {
            name: name.map_or_else(|| "page".to_owned(), |name| name.value),
            first,
        },
        Some(other) => {
            let message = format!("`next_from` is \"{other}\", which is no way to name a page");
            let remedy = "write \"none\", \"link-header\", \"body\" or \"page-parameter\"";
            let span = next_from
                .as_ref()
                .map_or(table.span(), |at| at.span.clone());
            table.document().fault(&span, message, remedy);
            return None;
        }
    };
    Some(Paging { next, limit })
}

fn read_doubt(table: &mut Table<'_, '_>) -> DoubtRules {
    let default = DoubtRules::default();
    let least_records = number(table, "least_records", 0..100_000_001, 1);
    let largest_loss_percent = number(
        table,
        "largest_loss_percent",
        0..101,
        default.largest_loss_percent,
    );
    let factor = table.scaled("outlier_factor", 2);
    let outlier_factor_hundredths = match &factor {
        None => default.outlier_factor_hundredths,
        Some(at) => u32::try_from(at.value)
            .ok()
            .filter(|hundredths| (101..=100_000).contains(hundredths))
            .unwrap_or_else(|| {
                let message = "`outlier_factor` is outside 1.01 to 1000";
                let remedy = "write a factor above 1, such as 3";
                table.document().fault(&at.span, message, remedy);
                default.outlier_factor_hundredths
            }),
    };
    DoubtRules {
        least_records: u64::from(least_records),
        largest_loss_percent,
        outlier_factor_hundredths,
        confirm_polls: number(table, "confirm_polls", 1..101, default.confirm_polls),
    }
}

#[cfg(test)]
mod tests;
