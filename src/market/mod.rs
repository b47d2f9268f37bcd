//! The market: what retailers offer today, and what each part would cost the reader.
//!
//! Raw offers come in; checked offers, their matches to parts and the candidates of a brief come
//! out. May not do I/O, read a clock, or know how a feed was fetched. Of the crate it uses
//! `money`, `catalogue`, `fit` and `rates`.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod brief;
mod estimates;
mod fields;
mod landed;
mod link;
mod matching;
mod need;
mod normalise;
mod offer;
mod order;
mod raw;
mod retailer;
mod snapshot;
mod stock;
mod terms;
mod ways;
mod wishes;

pub use brief::{Brief, BriefId, ChangeTerms, Role, RoleId};
pub use estimates::Estimates;
pub use fields::Fields;
pub use landed::landed_price;
pub use link::{LinkTerms, ReaderLink};
pub use matching::{
    Decision, Fingerprint, Listing, MatchedBy, Matcher, Matching, Objection, PartMatch, Proposal,
    ReviewReason, Verdict,
};
pub use need::{Need, Wish};
pub use normalise::{
    HoldReason, NormaliseSettings, Normalised, Refusal, RefusalReason, Repeat, Repeats, Settled,
    is_timeless, normalise, settle,
};
pub use offer::{Availability, Condition, FeedId, Offer, RetailerId, Sku};
pub use order::{Bill, Grants, Line, OrderFault, bill};
pub use raw::{Field, Origin, RawOffer, RawText, Reject};
pub use retailer::{Retailer, read_country, read_currency, retailers_on};
pub use snapshot::{Bought, Candidate, LeftOut, Listed, Market, market};
pub use stock::{Stock, waiting_days};
pub use terms::{AppliesTo, Band, Bundle, Coupon, Days, Delivery, Off, Rebate, Terms, read_day};
pub use wishes::Bans;
