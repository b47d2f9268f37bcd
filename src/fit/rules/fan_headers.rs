//! The board has headers for the fans.

use crate::catalogue::{Kind, Spec};
use crate::fit::rule::{Finding, FitRule, FitTerms, Form, Seat, caution, seats_of};

pub struct FanHeaders;

impl FitRule for FanHeaders {
    fn id(&self) -> &str {
        "fan-headers"
    }

    fn states(&self) -> &str {
        "The board has a header for every fan; beyond that it takes a hub or splitter."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[(Kind::Board, Spec::FanHeaders)]
    }

    fn form(&self) -> Form<'_> {
        Form::Advice {
            kinds: &[Kind::Board, Kind::Fan],
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Board, Kind::Fan]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let fans: u32 = seats_of(seats, Kind::Fan).map(|fan| fan.quantity).sum();
        let boards = seats_of(seats, Kind::Board).filter_map(|board| {
            let headers = board.part.number(Spec::FanHeaders)?;
            (i64::from(fans) > headers).then(|| {
                let reason = format!(
                    "{fans} fans need a hub or splitter: \"{}\" has {headers} fan headers",
                    board.part.name
                );
                caution(self.id(), reason)
            })
        });
        boards.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::sample::{findings, number, part};

    #[test]
    fn more_fans_than_headers_need_a_hub() {
        // Pitfall C35: seven fans, three headers.
        let board = part(Kind::Board, &[(Spec::FanHeaders, number(3))]);
        let fan = part(Kind::Fan, &[]);
        assert_eq!(findings(&FanHeaders, &[&board, &fan, &fan, &fan]), []);
        let mut parts = vec![&board];
        parts.extend([&fan; 7]);
        let found = findings(&FanHeaders, &parts);
        assert!(found[0].reason.starts_with("7 fans need a hub or splitter"));
    }
}
