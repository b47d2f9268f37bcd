//! What may be changed later without another board, case or supply.
//!
//! Reads specs alone; what a later part costs is the ladder's to say.

use super::assembly::{is_m2, part_of, parts_of, pieces};
use crate::catalogue::{Kind, Spec, SpecValue};
use crate::fit::Seat;

/// One sentence for each way.
pub fn upgrades(seats: &[Seat<'_>], room_w: Option<i64>) -> Vec<String> {
    let mut words = Vec::new();
    let board = part_of(seats, Kind::Board);
    if let Some(slots) = board.and_then(|board| board.number(Spec::MemorySlots)) {
        let used: i64 = parts_of(seats, Kind::Memory).map(pieces).sum();
        let most = board.and_then(|board| board.number(Spec::MemoryGbMax));
        let most = most.map_or(String::new(), |most| format!(", up to {most} GB in all"));
        words.push(match slots - used {
            free if free > 0 => format!("Memory: {free} of {slots} slots stay free{most}."),
            _ => format!("Memory: every slot is taken; more means another kit{most}."),
        });
    }
    if let Some(SpecValue::Entries(slots)) = board.and_then(|board| board.specs.get(&Spec::M2Slots))
    {
        let used: u32 = parts_of(seats, Kind::Storage)
            .filter(|drive| is_m2(drive.part))
            .map(|drive| drive.quantity)
            .sum();
        let free = slots.len().saturating_sub(used as usize);
        words.push(format!(
            "Drives: {free} of {} M.2 slots stay free.",
            slots.len()
        ));
    }
    let longest = part_of(seats, Kind::Case).and_then(|case| case.number(Spec::GpuLengthMmMax));
    if let (Some(room), Some(longest)) = (room_w.filter(|room| *room > 0), longest) {
        words.push(format!(
            "Graphics: a later card may draw {room} W more than today's and be {longest} mm long."
        ));
    }
    if let Some(socket) = board.and_then(|board| board.text(Spec::Socket)) {
        words.push(format!(
            "Processor: any other for {socket} that the board's list names, within the cooler's and the supply's figures."
        ));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::sample::{number, part};

    #[test]
    fn what_stays_free_is_counted() {
        let board = part(
            Kind::Board,
            &[
                (Spec::MemorySlots, number(4)),
                (Spec::MemoryGbMax, number(128)),
            ],
        );
        let memory = part(Kind::Memory, &[(Spec::Modules, number(2))]);
        let seats = [&board, &memory].map(|part| Seat {
            role: "",
            part,
            quantity: 1,
        });
        assert_eq!(
            upgrades(&seats, None)[0],
            "Memory: 2 of 4 slots stay free, up to 128 GB in all."
        );
    }
}
