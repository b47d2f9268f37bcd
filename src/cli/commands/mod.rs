//! The commands, one a file.

mod asking;
pub mod best;
pub mod catalogue_check;
pub mod catalogue_import;
pub mod catalogue_propose;
pub mod check;
pub mod demo;
pub mod entry_prices;
pub mod feed_guess;
pub mod feed_try;
pub mod fit;
pub mod held;
pub mod history;
pub mod init;
pub mod ladder;
pub mod match_;
pub mod measure;
pub mod poll;
pub mod rates;
pub mod schema;
pub mod watch;
pub mod what_if;
pub mod why;
