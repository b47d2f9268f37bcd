//! The radiator finds a place in the case where nothing is in its way.

use crate::catalogue::{Entry, Kind, Part, Spec, same_name};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Gravity, Seat, conflict, seats_of, unproven,
};

pub struct RadiatorMount;

impl FitRule for RadiatorMount {
    fn id(&self) -> &str {
        "radiator-mount"
    }

    fn states(&self) -> &str {
        "The case has a place for the radiator's size and thickness, with the memory low enough \
         beneath it, or at the front with room left for the graphics card."
    }

    fn source(&self) -> &str {
        "common practice, no source: 240 and 280 differ by their fans of 120 and 140 mm; a radiator \
         of 27 mm with fans of 25 mm takes 52 mm of the card's room"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cooler, Spec::RadiatorMm),
            (Kind::Cooler, Spec::RadiatorThicknessMm),
            (Kind::Cooler, Spec::RadiatorFanMm),
            (Kind::Memory, Spec::HeightMm),
            (Kind::Gpu, Spec::LengthMm),
            (Kind::Case, Spec::RadiatorMounts),
            (Kind::Case, Spec::GpuLengthMmMax),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Cooler, Kind::Memory, Kind::Gpu, Kind::Case],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Cooler, Kind::Case]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for cooler in seats_of(seats, Kind::Cooler) {
            let Some(size_mm) = cooler.part.number(Spec::RadiatorMm) else {
                continue;
            };
            for case in seats_of(seats, Kind::Case) {
                findings.extend(self.check_case(seats, cooler.part, size_mm, case.part));
            }
        }
        findings
    }
}

impl RadiatorMount {
    fn check_case(
        &self,
        seats: &[Seat<'_>],
        cooler: &Part,
        size_mm: i64,
        case: &Part,
    ) -> Option<Finding> {
        let Some(mounts) = case.entries(Spec::RadiatorMounts) else {
            return Some(unproven(self.id(), case, Spec::RadiatorMounts));
        };
        let mut obstacles = Vec::new();
        for mount in mounts
            .iter()
            .filter(|mount| mount.numbers("sizes_mm").contains(&size_mm))
        {
            let here = obstacles_at(seats, cooler, case, mount);
            if here.is_empty() {
                return None;
            }
            obstacles.push(here);
        }
        // The place with the least in its way is the one to tell of.
        let gravest = |at: &Vec<(Gravity, String)>| at.iter().map(|(gravity, _)| *gravity).max();
        let Some(least) = obstacles.into_iter().min_by_key(gravest) else {
            let reason = format!(
                "the case \"{}\" takes no radiator of {size_mm} mm",
                case.name
            );
            return Some(conflict(self.id(), reason));
        };
        let gravity = gravest(&least).unwrap_or(Gravity::Conflict);
        let reasons: Vec<String> = least.into_iter().map(|(_, reason)| reason).collect();
        let reason = format!("the radiator of {size_mm} mm: {}", reasons.join("; "));
        Some(Finding {
            gravity,
            ..conflict(self.id(), reason)
        })
    }
}

/// What is in a radiator's way at one place, or not known to be out of it.
fn obstacles_at(
    seats: &[Seat<'_>],
    cooler: &Part,
    case: &Part,
    mount: &Entry,
) -> Vec<(Gravity, String)> {
    let position = mount.text("position").unwrap_or("?");
    let mut obstacles = Vec::new();
    let thickness_mm = thickness(cooler);
    match (thickness_mm, mount.number("thickness_mm_max")) {
        (Some(needed), Some(most)) if needed > most => obstacles.push((
            Gravity::Conflict,
            format!("with its fans it is {needed} mm thick, the {position} has room for {most} mm"),
        )),
        (Some(_), Some(_)) => {}
        _ => obstacles.push((
            Gravity::Unproven,
            format!("its thickness or the room at the {position} is not in the catalogue"),
        )),
    }
    if let Some(most) = mount.number("memory_height_mm_max") {
        for memory in seats_of(seats, Kind::Memory) {
            match memory.part.number(Spec::HeightMm) {
                Some(height) if height > most => obstacles.push((
                    Gravity::Conflict,
                    format!("at the {position} memory may be {most} mm high, it is {height} mm"),
                )),
                Some(_) => {}
                None => obstacles.push((
                    Gravity::Unproven,
                    format!(
                        "at the {position} memory may be {most} mm high, its height is unknown"
                    ),
                )),
            }
        }
    }
    if same_name(position, "front") {
        for card in seats_of(seats, Kind::Gpu) {
            let room = case.number(Spec::GpuLengthMmMax).zip(thickness_mm);
            match (card.part.number(Spec::LengthMm), room) {
                (Some(length), Some((room, thickness))) if length > room - thickness => {
                    let over = length - (room - thickness);
                    obstacles.push((
                        Gravity::Conflict,
                        format!(
                            "the {length} mm card is {over} mm too long for this case with a front \
                             radiator"
                        ),
                    ));
                }
                (Some(_), Some(_)) => {}
                _ => obstacles.push((
                    Gravity::Unproven,
                    "the room that a front radiator leaves for the card is unknown".to_owned(),
                )),
            }
        }
    }
    obstacles
}

/// Radiator and fans together.
fn thickness(cooler: &Part) -> Option<i64> {
    let radiator = cooler.number(Spec::RadiatorThicknessMm)?;
    Some(radiator + cooler.number(Spec::RadiatorFanMm)?)
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let first = |kind| seats_of(seats, kind).next().map(|seat| seat.part);
    let (Some(cooler), Some(case)) = (first(Kind::Cooler), first(Kind::Case)) else {
        return Fit::Yes;
    };
    let Some(size_mm) = cooler.number(Spec::RadiatorMm) else {
        return Fit::Yes;
    };
    let Some(mounts) = case.entries(Spec::RadiatorMounts) else {
        return Fit::Unproven;
    };
    let depth_mm = cooler
        .number(Spec::RadiatorThicknessMm)
        .zip(cooler.number(Spec::RadiatorFanMm))
        .map(|(radiator, fans)| radiator + fans);
    let within = |needed: Option<i64>, most: Option<i64>| match needed.zip(most) {
        Some((needed, most)) if needed > most => Fit::No,
        Some(_) => Fit::Yes,
        None => Fit::Unproven,
    };
    let at = |mount: &Entry| {
        let mut word = within(depth_mm, mount.number("thickness_mm_max"));
        if let Some(most) = mount.number("memory_height_mm_max") {
            for memory in seats_of(seats, Kind::Memory) {
                word = word.max(within(memory.part.number(Spec::HeightMm), Some(most)));
            }
        }
        if mount
            .text("position")
            .is_some_and(|position| same_name(position, "front"))
        {
            let left = case.number(Spec::GpuLengthMmMax).zip(depth_mm);
            for card in seats_of(seats, Kind::Gpu) {
                let left = left.map(|(room, depth)| room - depth);
                word = word.max(within(card.part.number(Spec::LengthMm), left));
            }
        }
        word
    };
    let taking = mounts
        .iter()
        .filter(|mount| mount.numbers("sizes_mm").contains(&size_mm));
    taking.map(at).min().unwrap_or(Fit::No)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::sample::{findings, gravity, number, part, text};

    fn cooler(size: i64, thickness: i64) -> Part {
        part(
            Kind::Cooler,
            &[
                (Spec::RadiatorMm, number(size)),
                (Spec::RadiatorThicknessMm, number(thickness)),
                (Spec::RadiatorFanMm, number(25)),
            ],
        )
    }

    fn mount(position: &str, sizes: &[i64], thickness: i64, memory: Option<i64>) -> Entry {
        let mut entry = Entry::default();
        entry.0.insert("position", text(position));
        entry.0.insert("sizes_mm", SpecValue::Numbers(sizes.into()));
        entry.0.insert("thickness_mm_max", number(thickness));
        if let Some(memory) = memory {
            entry.0.insert("memory_height_mm_max", number(memory));
        }
        entry
    }

    fn case(mounts: Vec<Entry>) -> Part {
        part(
            Kind::Case,
            &[
                (Spec::GpuLengthMmMax, number(380)),
                (Spec::RadiatorMounts, SpecValue::Entries(mounts.into())),
            ],
        )
    }

    #[test]
    fn a_280_is_not_a_240_and_thickness_counts_the_fans() {
        let top = case(vec![mount("top", &[240, 360], 52, None)]);
        assert_eq!(gravity(&RadiatorMount, &[&cooler(240, 27), &top]), None);
        let found = findings(&RadiatorMount, &[&cooler(280, 27), &top]);
        assert_eq!(
            found[0].reason,
            "the case \"sample case\" takes no radiator of 280 mm"
        );
        // Pitfall C12: 30 + 25 = 55 mm, space 52.
        let found = findings(&RadiatorMount, &[&cooler(240, 30), &top]);
        assert!(
            found[0]
                .reason
                .contains("it is 55 mm thick, the top has room for 52 mm")
        );
    }

    #[test]
    fn a_front_radiator_shortens_the_room_for_the_card() {
        // Pitfall C14: card 336, case 380, radiator 27 + 25: 328 left.
        let gpu = |length| part(Kind::Gpu, &[(Spec::LengthMm, number(length))]);
        let front = case(vec![mount("front", &[360], 60, None)]);
        let found = findings(&RadiatorMount, &[&cooler(360, 27), &gpu(336), &front]);
        assert_eq!(
            found[0].reason,
            "the radiator of 360 mm: the 336 mm card is 8 mm too long for this case with a front \
             radiator"
        );
        assert_eq!(
            gravity(&RadiatorMount, &[&cooler(360, 27), &gpu(328), &front]),
            None
        );
        // With a place at the top as well, the card may keep its length.
        let both = case(vec![
            mount("front", &[360], 60, None),
            mount("top", &[360], 60, None),
        ]);
        assert_eq!(
            gravity(&RadiatorMount, &[&cooler(360, 27), &gpu(336), &both]),
            None
        );
    }

    #[test]
    fn a_place_over_the_memory_is_no_plain_yes() {
        // Pitfall C11: 360 on top only with memory of at most 40 mm.
        let memory = |height| part(Kind::Memory, &[(Spec::HeightMm, number(height))]);
        let top = case(vec![mount("top", &[360], 60, Some(40))]);
        let found = |height| gravity(&RadiatorMount, &[&cooler(360, 27), &memory(height), &top]);
        assert_eq!(found(40), None);
        assert_eq!(found(44), Some(Gravity::Conflict));
        let silent = part(Kind::Memory, &[]);
        let found = gravity(&RadiatorMount, &[&cooler(360, 27), &silent, &top]);
        assert_eq!(found, Some(Gravity::Unproven));
    }
}
