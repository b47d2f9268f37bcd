//! There is a drive to start from.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{Finding, FitRule, FitTerms, Form, Seat, Share, conflict, seats_of};

pub struct BootDrive;

impl FitRule for BootDrive {
    fn id(&self) -> &str {
        "boot-drive"
    }

    fn states(&self) -> &str {
        "There is a drive to start from."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[(Kind::Storage, Spec::CapacityGb)]
    }

    fn form(&self) -> Form<'_> {
        Form::Balance {
            kinds: &[Kind::Board, Kind::Storage],
            giver: None,
            share: Box::new(share),
            at_most: Box::new(|_| 0),
        }
    }

    fn asks_for_presence(&self) -> bool {
        true
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let has_drive = seats_of(seats, Kind::Storage).next().is_some();
        let boards = seats_of(seats, Kind::Board).filter(|_| !has_drive);
        boards
            .map(|board| {
                let reason = format!("\"{}\" has no drive to start from", board.part.name);
                conflict(self.id(), reason)
            })
            .collect()
    }
}

/// A board needs one drive; a drive is enough for any number of them.
fn share(part: &Part, _terms: &FitTerms) -> Share {
    match part.kind {
        Kind::Board => Share::Known(1),
        _ => Share::Known(-64),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part};

    #[test]
    fn a_board_without_a_drive_does_not_start() {
        let (board, drive) = (part(Kind::Board, &[]), part(Kind::Storage, &[]));
        assert_eq!(gravity(&BootDrive, &[&board]), Some(Gravity::Conflict));
        assert_eq!(gravity(&BootDrive, &[&board, &drive]), None);
    }
}
