//! Every drive finds a slot or a port on the board.

use crate::catalogue::{Entry, Kind, Part, Spec, same_name};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, caution, conflict, seats_of, unproven,
};

pub struct DriveSlots;

impl FitRule for DriveSlots {
    fn id(&self) -> &str {
        "drive-slots"
    }

    fn states(&self) -> &str {
        "Every M.2 drive finds a slot of its interface and length, and the SATA ports that are left \
         take every other SATA drive."
    }

    fn source(&self) -> &str {
        "M.2 sizes and keys: a PC maker's support article 000144170; which slots take SATA drives \
         and which ports they cost is each board's own: common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cpu, Spec::M2Lanes),
            (Kind::Board, Spec::M2Slots),
            (Kind::Board, Spec::SataPorts),
            (Kind::Storage, Spec::FormFactor),
            (Kind::Storage, Spec::Interface),
            (Kind::Storage, Spec::M2LengthMm),
            (Kind::Storage, Spec::PcieGeneration),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Cpu, Kind::Board, Kind::Storage],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Board, Kind::Storage]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let Some(board) = seats_of(seats, Kind::Board).next() else {
            return Vec::new();
        };
        let cpu = seats_of(seats, Kind::Cpu).next().map(|seat| seat.part);
        let mut findings = Vec::new();
        let mut wanted = Wanted::default();
        for seat in seats_of(seats, Kind::Storage) {
            match Drive::of(seat.part) {
                Ok(drive) => wanted.add(drive, seat),
                Err(spec) => findings.push(unproven(self.id(), seat.part, spec)),
            }
        }
        findings.extend(self.check_board(board.part, cpu, &wanted));
        findings
    }
}

impl DriveSlots {
    fn check_board(&self, board: &Part, cpu: Option<&Part>, wanted: &Wanted) -> Vec<Finding> {
        let no_slots: &[Entry] = &[];
        let slots = match (board.entries(Spec::M2Slots), wanted.m2.is_empty()) {
            (Some(slots), _) => slots,
            (None, true) => no_slots,
            (None, false) => return vec![unproven(self.id(), board, Spec::M2Slots)],
        };
        let lanes = cpu.map(|cpu| cpu.number(Spec::M2Lanes));
        let is_dead = lanes == Some(Some(0));
        let is_unknown = lanes == Some(None);
        // First with the slots that work for certain, then with those that may.
        let sure = fewest_lost(slots, &wanted.m2, is_dead || is_unknown)
            .map(|lost| self.check_ports(board, wanted.cabled, lost));
        let hoped = cpu.filter(|_| is_unknown).and_then(|cpu| {
            let lost = fewest_lost(slots, &wanted.m2, false)?;
            let mut findings = self.check_ports(board, wanted.cabled, lost);
            findings.push(unproven(self.id(), cpu, Spec::M2Lanes));
            Some(findings)
        });
        let gravest = |findings: &Vec<Finding>| findings.iter().map(|one| one.gravity).max();
        let Some(mut findings) = sure.into_iter().chain(hoped).min_by_key(gravest) else {
            return vec![self.no_place(board, slots, &wanted.m2)];
        };
        findings.extend(self.advice(board, slots, &wanted.m2));
        findings
    }

    fn check_ports(&self, board: &Part, cabled: i64, lost: i64) -> Vec<Finding> {
        if cabled == 0 {
            return Vec::new();
        }
        let Some(ports) = board.number(Spec::SataPorts) else {
            return vec![unproven(self.id(), board, Spec::SataPorts)];
        };
        if cabled <= ports - lost {
            return Vec::new();
        }
        let taken = match lost {
            0 => String::new(),
            _ => format!(", and the M.2 drives take {lost} of them"),
        };
        let reason = format!(
            "{cabled} SATA drives need as many ports; \"{}\" has {ports}{taken}",
            board.name
        );
        vec![conflict(self.id(), reason)]
    }

    fn no_place(&self, board: &Part, slots: &[Entry], drives: &[Drive]) -> Finding {
        let homeless = drives.iter().find(|drive| {
            let mut fitting = slots.iter().filter(|slot| drive.goes_into(slot));
            fitting.next().is_none()
        });
        let reason = match homeless {
            Some(drive) => format!(
                "no M.2 slot of \"{}\" takes a {} drive of {} mm",
                board.name,
                drive.interface(),
                drive.length_mm
            ),
            None => format!(
                "{} M.2 drives do not find a slot each among the {} of \"{}\"",
                drives.len(),
                slots.len(),
                board.name
            ),
        };
        conflict(self.id(), reason)
    }

    /// What a person should know of slots that are slower or share their lanes.
    fn advice(
        &self,
        board: &Part,
        slots: &[Entry],
        drives: &[Drive],
    ) -> impl Iterator<Item = Finding> {
        let fastest = slots
            .iter()
            .filter_map(|slot| slot.number("pcie_generation"))
            .max();
        let wanted = drives.iter().filter_map(|drive| drive.generation).max();
        let slower = fastest
            .zip(wanted)
            .filter(|(fastest, wanted)| wanted > fastest);
        let slower = slower.map(|(fastest, wanted)| {
            let reason = format!(
                "a drive of PCIe generation {wanted} runs at generation {fastest} in \"{}\"",
                board.name
            );
            caution(self.id(), reason)
        });
        let n_free = slots
            .iter()
            .filter(|slot| slot.text("shares_with").is_none())
            .count();
        let sharing = slots.iter().find_map(|slot| slot.text("shares_with"));
        let sharing = sharing.filter(|_| drives.len() > n_free).map(|shared| {
            let reason = format!(
                "with {} M.2 drives one sits in a slot of \"{}\" that takes lanes from the {shared}",
                drives.len(),
                board.name
            );
            caution(self.id(), reason)
        });
        slower.into_iter().chain(sharing)
    }
}

/// An M.2 drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Drive {
    is_sata: bool,
    length_mm: i64,
    generation: Option<i64>,
}

impl Drive {
    /// The drive when it is an M.2 drive, `None` when it hangs on a SATA cable.
    fn of(part: &Part) -> Result<Option<Drive>, Spec> {
        let interface = part.text(Spec::Interface).ok_or(Spec::Interface)?;
        let form = part.text(Spec::FormFactor).ok_or(Spec::FormFactor)?;
        if !same_name(form, "M.2") {
            return Ok(None);
        }
        Ok(Some(Drive {
            is_sata: same_name(interface, "SATA"),
            length_mm: part.number(Spec::M2LengthMm).ok_or(Spec::M2LengthMm)?,
            generation: part.number(Spec::PcieGeneration),
        }))
    }

    fn goes_into(&self, slot: &Entry) -> bool {
        let is_wired = match self.is_sata {
            true => slot.flag("sata"),
            false => slot.number("pcie_generation").is_some(),
        };
        is_wired
            && slot
                .number("length_mm_max")
                .is_some_and(|most| self.length_mm <= most)
    }

    fn interface(&self) -> &str {
        match self.is_sata {
            true => "SATA",
            false => "PCIe",
        }
    }
}

/// The drives of a build.
#[derive(Default)]
struct Wanted {
    m2: Vec<Drive>,
    cabled: i64,
}

impl Wanted {
    fn add(&mut self, drive: Option<Drive>, seat: &Seat<'_>) {
        for _ in 0..seat.quantity {
            match drive {
                Some(drive) => self.m2.push(drive),
                None => self.cabled += 1,
            }
        }
    }
}

/// The fewest SATA ports that filling slots costs, over every way to seat the drives; `None` when
/// there is none. Tries every set of slots, and seats the drives by augmenting paths.
fn fewest_lost(slots: &[Entry], drives: &[Drive], without_cpu_lanes: bool) -> Option<i64> {
    let usable: Vec<&Entry> = slots
        .iter()
        .filter(|slot| !(without_cpu_lanes && slot.flag("from_cpu")))
        .take(MOST_SLOTS)
        .collect();
    (0_u32..1 << usable.len())
        .filter(|set| set.count_ones() as usize == drives.len())
        .filter(|set| {
            let set = usable
                .iter()
                .enumerate()
                .filter(|(at, _)| set & (1 << at) != 0);
            let set: Vec<&Entry> = set.map(|(_, slot)| *slot).collect();
            seats_all(&set, drives)
        })
        .map(|set| {
            let used = usable
                .iter()
                .enumerate()
                .filter(|(at, _)| set & (1 << at) != 0);
            used.map(|(_, slot)| slot.number("sata_ports_lost").unwrap_or(0))
                .sum()
        })
        .min()
}

/// More M.2 slots than any board has; further ones are left out.
const MOST_SLOTS: usize = 12;

/// True when each drive gets one of the slots.
fn seats_all(slots: &[&Entry], drives: &[Drive]) -> bool {
    let mut seated: Vec<Option<usize>> = vec![None; slots.len()];
    (0..drives.len()).all(|drive| {
        let mut tried = vec![false; slots.len()];
        seat(drive, slots, drives, &mut seated, &mut tried)
    })
}

/// Seats one drive, moving others where that makes room.
fn seat(
    drive: usize,
    slots: &[&Entry],
    drives: &[Drive],
    seated: &mut Vec<Option<usize>>,
    tried: &mut Vec<bool>,
) -> bool {
    for slot in 0..slots.len() {
        if tried[slot] || !drives[drive].goes_into(slots[slot]) {
            continue;
        }
        tried[slot] = true;
        let is_free = match seated[slot] {
            None => true,
            Some(other) => seat(other, slots, drives, seated, tried),
        };
        if is_free {
            seated[slot] = Some(drive);
            return true;
        }
    }
    false
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let Some(board) = seats_of(seats, Kind::Board).next().map(|seat| seat.part) else {
        return Fit::Yes;
    };
    let cpu = seats_of(seats, Kind::Cpu)
        .next()
        .map(|seat| seat.part.number(Spec::M2Lanes));
    let mut worst = Fit::Yes;
    let (mut sockets, mut cables) = (Vec::new(), 0);
    for seat in seats_of(seats, Kind::Storage) {
        let [interface, form] =
            [Spec::Interface, Spec::FormFactor].map(|spec| seat.part.text(spec));
        let (Some(interface), Some(form)) = (interface, form) else {
            worst = Fit::Unproven;
            continue;
        };
        match (same_name(form, "M.2"), seat.part.number(Spec::M2LengthMm)) {
            (false, _) => cables += i64::from(seat.quantity),
            (true, None) => worst = Fit::Unproven,
            (true, Some(length)) => {
                let want = (same_name(interface, "SATA"), length);
                sockets.extend((0..seat.quantity).map(|_| want));
            }
        }
    }
    let slots = match board.entries(Spec::M2Slots) {
        Some(slots) => slots,
        None if sockets.is_empty() => &[],
        None => return Fit::Unproven,
    };
    let ports = board.number(Spec::SataPorts);
    let mut best: Option<Fit> = None;
    // Known lanes decide which slots work; unknown ones may.
    for (dead, word) in [
        (cpu == Some(Some(0)) || cpu == Some(None), Fit::Yes),
        (cpu == Some(Some(0)), Fit::Unproven),
    ] {
        let open: Vec<&Entry> = slots
            .iter()
            .filter(|slot| !(dead && slot.flag("from_cpu")))
            .collect();
        let Some(lost) = spend(&sockets, &open, &mut vec![false; open.len()]) else {
            continue;
        };
        let ported = match ports {
            _ if cables == 0 => Fit::Yes,
            None => Fit::Unproven,
            Some(ports) if cables > ports - lost => Fit::No,
            Some(_) => Fit::Yes,
        };
        let this = ported.max(word);
        best = Some(best.map_or(this, |best| best.min(this)));
    }
    best.map_or(Fit::No, |best| best.max(worst))
}

/// The fewest ports lost by giving each socketed drive a slot of its own, one after the other.
fn spend(wants: &[(bool, i64)], slots: &[&Entry], used: &mut Vec<bool>) -> Option<i64> {
    let Some(((is_sata, length), rest)) = wants.split_first() else {
        return Some(0);
    };
    let mut least: Option<i64> = None;
    for at in 0..slots.len() {
        let slot = slots[at];
        let is_wired = if *is_sata {
            slot.flag("sata")
        } else {
            slot.number("pcie_generation").is_some()
        };
        if used[at]
            || !is_wired
            || slot
                .number("length_mm_max")
                .is_none_or(|most| most < *length)
        {
            continue;
        }
        used[at] = true;
        if let Some(lost) = spend(rest, slots, used) {
            let lost = lost + slot.number("sata_ports_lost").unwrap_or(0);
            least = Some(least.map_or(lost, |least| least.min(lost)));
        }
        used[at] = false;
    }
    least
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, number, part, text};

    fn slot(fields: &[(&'static str, SpecValue)]) -> Entry {
        Entry(fields.iter().cloned().collect())
    }

    fn pcie(generation: i64) -> Entry {
        slot(&[
            ("length_mm_max", number(80)),
            ("pcie_generation", number(generation)),
        ])
    }

    fn board(ports: i64, slots: Vec<Entry>) -> Part {
        part(
            Kind::Board,
            &[
                (Spec::SataPorts, number(ports)),
                (Spec::M2Slots, SpecValue::Entries(slots.into())),
            ],
        )
    }

    fn m2(interface: &str, length: i64) -> Part {
        part(
            Kind::Storage,
            &[
                (Spec::FormFactor, text("M.2")),
                (Spec::Interface, text(interface)),
                (Spec::M2LengthMm, number(length)),
            ],
        )
    }

    fn cabled() -> Part {
        part(
            Kind::Storage,
            &[
                (Spec::FormFactor, text("2.5-inch")),
                (Spec::Interface, text("SATA")),
            ],
        )
    }

    #[test]
    fn a_filled_slot_takes_sata_ports_away() {
        // Pitfall C03: the third slot switches off two of six ports; five SATA drives need five.
        let costly = slot(&[
            ("length_mm_max", number(80)),
            ("pcie_generation", number(3)),
            ("sata_ports_lost", number(2)),
        ]);
        let board = board(6, vec![pcie(4), costly]);
        let (drive, disk) = (m2("PCIe", 80), cabled());
        let five = [&disk; 5];
        let with = |n_drives: usize| {
            let mut parts: Vec<&Part> = vec![&board];
            parts.extend([&drive; 2].iter().take(n_drives));
            parts.extend(five);
            findings(&DriveSlots, &parts)
        };
        assert_eq!(with(1), []);
        let found = with(2);
        assert_eq!(found[0].gravity, Gravity::Conflict);
        assert!(
            found[0]
                .reason
                .contains("has 6, and the M.2 drives take 2 of them")
        );
    }

    #[test]
    fn a_drive_needs_a_slot_of_its_interface_and_length() {
        // Pitfalls C05 and C06.
        let board = board(4, vec![pcie(4)]);
        let reason = |drive: &Part| findings(&DriveSlots, &[&board, drive])[0].reason.clone();
        assert_eq!(
            reason(&m2("SATA", 80)),
            "no M.2 slot of \"sample board\" takes a SATA drive of 80 mm"
        );
        assert_eq!(
            reason(&m2("PCIe", 110)),
            "no M.2 slot of \"sample board\" takes a PCIe drive of 110 mm"
        );
        let (one, other) = (m2("PCIe", 80), m2("PCIe", 42));
        assert!(
            findings(&DriveSlots, &[&board, &one, &other])[0]
                .reason
                .starts_with("2 M.2 drives do not find a slot each among the 1")
        );
    }

    #[test]
    fn a_long_drive_gets_the_long_slot_whatever_the_order() {
        let short = slot(&[
            ("length_mm_max", number(42)),
            ("pcie_generation", number(4)),
        ]);
        let board = board(0, vec![pcie(4), short]);
        let (long, little) = (m2("PCIe", 80), m2("PCIe", 42));
        assert_eq!(gravity(&DriveSlots, &[&board, &little, &long]), None);
        assert_eq!(gravity(&DriveSlots, &[&board, &long, &little]), None);
    }

    #[test]
    fn a_slot_of_the_processor_works_as_the_processor_has_lanes() {
        // Pitfall C07.
        let of_cpu = slot(&[
            ("length_mm_max", number(80)),
            ("pcie_generation", number(4)),
            ("from_cpu", SpecValue::Flag(true)),
        ]);
        let board = board(0, vec![of_cpu]);
        let drive = m2("PCIe", 80);
        let with = |specs: &[(Spec, SpecValue)]| {
            gravity(&DriveSlots, &[&part(Kind::Cpu, specs), &board, &drive])
        };
        assert_eq!(with(&[(Spec::M2Lanes, number(4))]), None);
        assert_eq!(with(&[(Spec::M2Lanes, number(0))]), Some(Gravity::Conflict));
        assert_eq!(with(&[]), Some(Gravity::Unproven));
    }

    #[test]
    fn shared_lanes_and_slower_slots_are_told() {
        // Pitfall C04; a link runs at the lower generation of both ends (from memory).
        let sharing = slot(&[
            ("length_mm_max", number(80)),
            ("pcie_generation", number(3)),
            ("shares_with", text("second x16 slot")),
        ]);
        let board = board(0, vec![pcie(4), sharing]);
        let drive = m2("PCIe", 80);
        assert_eq!(gravity(&DriveSlots, &[&board, &drive]), None);
        let found = findings(&DriveSlots, &[&board, &drive, &drive]);
        assert_eq!(found[0].gravity, Gravity::Caution);
        assert!(
            found[0]
                .reason
                .contains("takes lanes from the second x16 slot")
        );
        let mut fast = m2("PCIe", 80);
        fast.specs.insert(Spec::PcieGeneration, number(5));
        let found = findings(&DriveSlots, &[&board, &fast]);
        assert!(
            found[0]
                .reason
                .contains("generation 5 runs at generation 4")
        );
    }
}
