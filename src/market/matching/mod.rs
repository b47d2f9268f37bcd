//! Matching: which part an offer is, with the evidence.
//!
//! The author's word decides; then GTINs, then manufacturers' part numbers, then titles. A title
//! is read into claims: those that tell parts apart must agree, and so must the brand. Wherever
//! two parts fit alike, or a title speaks against its keys, the offer waits for the author: a
//! wrong match puts a wrong price into a guide, a missing one does not.
//!
//! Start at [`Matcher::match_offer`]. `profile` is what is asked of a title for each part,
//! `compare` holds a title against one part, `search` finds the parts worth comparing.

mod author;
mod brands;
mod claims;
mod compare;
mod evidence;
mod keys;
mod matcher;
mod odd;
mod profile;
mod search;
mod signs;
#[cfg(test)]
mod tests;

pub use author::{Decision, Fingerprint, Verdict};
pub use evidence::{Listing, MatchedBy, Matching, Objection, PartMatch, Proposal, ReviewReason};
pub use matcher::Matcher;
