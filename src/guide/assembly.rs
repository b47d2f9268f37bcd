//! Putting the build together: tools, and the steps in the order that works for its parts.
//!
//! The order is the trade's (common practice, no source): what is hard to reach inside the case
//! goes onto the board outside of it, what would cover a slot comes after what goes into the slot,
//! and the graphics card comes last.

use super::view::Stage;
use crate::catalogue::{Kind, Part, Spec, SpecValue, same_name};
use crate::fit::Seat;

/// The tools for this build.
pub fn tools(seats: &[Seat<'_>]) -> Vec<String> {
    let mut tools = vec![
        "a Phillips screwdriver, size 2, and a small one for M.2 screws".to_owned(),
        "an antistatic wrist strap, or a bare metal surface to touch".to_owned(),
        "cable ties, and a bowl for the screws".to_owned(),
    ];
    let cooler = part_of(seats, Kind::Cooler);
    if cooler.is_some() {
        tools.push("thermal paste, unless the cooler comes with it".to_owned());
    }
    tools
}

/// The stages of the assembly, each with the cautions that belong to it.
pub fn stages(seats: &[Seat<'_>]) -> Vec<Stage> {
    let stages = [
        preparation(seats),
        board_outside(seats),
        case_and_supply(seats),
        board_inside(seats),
        cooling(seats),
        drives(seats),
        graphics(seats),
        cables(seats),
        first_start(seats),
    ];
    stages
        .into_iter()
        .filter(|stage| !stage.steps.is_empty())
        .collect()
}

fn stage(title: &str, cautions: &[&str], steps: Vec<String>) -> Stage {
    Stage {
        title: title.to_owned(),
        cautions: cautions.iter().map(|&text| text.to_owned()).collect(),
        steps,
    }
}

fn preparation(seats: &[Seat<'_>]) -> Stage {
    let mut steps = vec![
        "Check every part against the list, and read its manual: where it differs from this page, it is right."
            .to_owned(),
        "Work on a hard surface, without a carpet.".to_owned(),
    ];
    if part_of(seats, Kind::Case).is_some() {
        steps.push("Take off both side panels; lay glass panels flat and away.".to_owned());
    }
    let cautions = [
        "Static: discharge yourself on bare metal before you touch a part, and again after you have walked.",
        "Nothing is plugged into the wall until the first start. Before later work: switch off, unplug, \
         and press the power button to discharge what is left.",
        "Lifting and edges: cases are heavy and sheet metal cuts; lift with both hands, and from the knees.",
    ];
    stage("Before you begin", &cautions, steps)
}

/// What goes onto the board while it still lies on its box.
fn board_outside(seats: &[Seat<'_>]) -> Stage {
    let mut steps = Vec::new();
    if let Some(cpu) = part_of(seats, Kind::Cpu) {
        let socket = cpu.text(Spec::Socket).unwrap_or("the");
        steps.push(format!(
            "Open the {socket} socket, align the corner mark of \"{}\", let it drop in without force, and close \
             the socket.",
            cpu.name
        ));
    }
    for memory in parts_of(seats, Kind::Memory) {
        let places = match pieces(memory) {
            1 => "its module into the slot that the board's manual names for one".to_owned(),
            n => format!("its {n} modules into the slots that the board's manual names for {n}"),
        };
        let name = &memory.part.name;
        steps.push(format!(
            "\"{name}\": push {places}, until the latches click."
        ));
    }
    for drive in parts_of(seats, Kind::Storage).filter(|drive| is_m2(drive.part)) {
        steps.push(format!(
            "Fasten \"{}\" in an M.2 slot now, for the graphics card will cover it{}. Take the film off the \
             slot's heat spreader.",
            drive.part.name,
            m2_place(seats)
        ));
    }
    if let Some(cooler) = part_of(seats, Kind::Cooler) {
        steps.push(format!(
            "Fit the bracket of \"{}\" for the processor's socket.",
            cooler.name
        ));
        if radiator(cooler).is_none() {
            steps.push(
                "Spread a pea of thermal paste unless there is some on the cooler already, take off its film, \
                 set it down, and tighten the screws crosswise."
                    .to_owned(),
            );
            steps.push("Plug the cooler's fan into the header CPU_FAN.".to_owned());
        }
    } else if part_of(seats, Kind::Cpu).is_some_and(|cpu| is_set(cpu, Spec::BoxedCooler)) {
        steps.push(
            "Fit the cooler from the processor's box and plug its fan into CPU_FAN.".to_owned(),
        );
    }
    stage("On the board, outside the case", &[], steps)
}

/// Where the drive may go, when not every slot takes it.
fn m2_place(seats: &[Seat<'_>]) -> String {
    let entries =
        match part_of(seats, Kind::Board).and_then(|board| board.specs.get(&Spec::M2Slots)) {
            Some(SpecValue::Entries(entries)) => &entries[..],
            _ => &[],
        };
    let loses = entries
        .iter()
        .any(|slot| slot.number("sata_ports_lost").is_some_and(|lost| lost > 0));
    match loses {
        true => "; a slot may switch SATA ports off, the manual says which".to_owned(),
        false => String::new(),
    }
}

fn case_and_supply(seats: &[Seat<'_>]) -> Stage {
    let mut steps = Vec::new();
    if let Some(supply) = part_of(seats, Kind::Psu) {
        steps.push(format!(
            "Screw \"{}\" into the case with its switch off, its fan towards the vent, and lay its cables where \
             they will go.",
            supply.name
        ));
    }
    for fan in parts_of(seats, Kind::Fan) {
        let name = &fan.part.name;
        steps.push(format!("Mount {} × \"{name}\": air comes in at the front or below and leaves at the rear or on top.", fan.quantity));
    }
    let cautions =
        ["Never open a power supply: it holds a charge that can kill long after it was unplugged."];
    let cautions = if part_of(seats, Kind::Psu).is_some() {
        &cautions[..]
    } else {
        &[]
    };
    stage("Case and power supply", cautions, steps)
}

fn board_inside(seats: &[Seat<'_>]) -> Stage {
    let mut steps = Vec::new();
    if let Some(board) = part_of(seats, Kind::Board) {
        let form = board.text(Spec::FormFactor).unwrap_or("board's");
        steps.push(format!(
            "Check that the case has stand-offs in the {form} places and nowhere else, for one too many shorts the board."
        ));
        steps.push(format!(
            "Press in the rear shield if it is a separate piece, and screw \"{}\" down hand-tight.",
            board.name
        ));
        if is_set(board, Spec::RearConnectors) {
            steps.push("Its connectors are on its back: plug the cables there in through the openings of the tray.".to_owned());
        }
    }
    stage("The board into the case", &[], steps)
}

/// A liquid cooler's steps, with one alone.
fn cooling(seats: &[Seat<'_>]) -> Stage {
    let Some(cooler) = part_of(seats, Kind::Cooler) else {
        return stage("", &[], Vec::new());
    };
    let Some(size) = radiator(cooler) else {
        return stage("", &[], Vec::new());
    };
    let place = match radiator_places(seats, size).as_slice() {
        [] => "in the place that the case's manual names for its size".to_owned(),
        places => format!("in the case's place: {}", places.join(" or ")),
    };
    let steps = vec![
        format!(
            "Mount the {size} mm radiator of \"{}\" {place}, with its fans; at the front, keep the hoses below, \
             and always a part of the radiator above the pump.",
            cooler.name
        ),
        "Spread thermal paste unless there is some on the pump block already, take off its film, and tighten it \
         crosswise."
            .to_owned(),
        "Plug the pump into the header PUMP or CPU_OPT, set to full speed, and the radiator's fans into CPU_FAN."
            .to_owned(),
    ];
    stage("The liquid cooler", &[], steps)
}

fn drives(seats: &[Seat<'_>]) -> Stage {
    let bays = parts_of(seats, Kind::Storage).filter(|drive| !is_m2(drive.part));
    let steps = bays.map(|drive| {
        format!(
            "Fasten {} × \"{}\" in a bay and connect it with a SATA cable and a SATA power plug.",
            drive.quantity, drive.part.name
        )
    });
    stage("Drives in bays", &[], steps.collect())
}

fn graphics(seats: &[Seat<'_>]) -> Stage {
    let mut steps: Vec<String> = parts_of(seats, Kind::Network)
        .map(|card| format!("Put \"{}\" into its slot.", card.part.name))
        .collect();
    for card in parts_of(seats, Kind::Gpu) {
        let slots = card.part.number(Spec::SlotsOccupied);
        let slots = slots.map_or(String::new(), |slots| format!(" behind {slots} slots"));
        steps.push(format!(
            "Take off the covers{slots}, push \"{}\" into the x16 slot nearest to the processor until it clicks, \
             and screw it to the case.",
            card.part.name
        ));
    }
    stage("The graphics card, last", &[], steps)
}

/// The connector list, part by part.
fn cables(seats: &[Seat<'_>]) -> Stage {
    let mut steps = Vec::new();
    if let Some(board) = part_of(seats, Kind::Board) {
        let mut plugs = vec!["24-pin ATX".to_owned()];
        plugs.extend(plug_words(
            board,
            &[
                (Spec::CpuPlugs8Pin, "8-pin EPS (4+4), never a PCIe plug"),
                (Spec::CpuPlugs4Pin, "4-pin EPS"),
            ],
        ));
        steps.push(format!("\"{}\": {}.", board.name, plugs.join(", ")));
    }
    for card in parts_of(seats, Kind::Gpu) {
        let plugs = plug_words(
            card.part,
            &[
                (
                    Spec::PciePlugs16Pin,
                    "16-pin (12V-2x6 or 12VHPWR), pushed in until no gap is left, without a bend near it",
                ),
                (Spec::PciePlugs8Pin, "8-pin PCIe (6+2)"),
                (Spec::PciePlugs6Pin, "6-pin PCIe"),
            ],
        );
        let name = &card.part.name;
        let several =
            plugs.len() > 1 || card.part.number(Spec::PciePlugs8Pin).is_some_and(|n| n > 1);
        let apart = if several {
            "; a cable of its own for each, where the supply has as many"
        } else {
            ""
        };
        steps.push(match plugs.is_empty() {
            true => format!("\"{name}\": no plug, or see its manual."),
            false => format!("\"{name}\": {}{apart}.", plugs.join(", ")),
        });
    }
    if let Some(case) = part_of(seats, Kind::Case) {
        let mut leads = vec![
            "front panel (power button, lights)".to_owned(),
            "front sound".to_owned(),
        ];
        leads.extend(plug_words(
            case,
            &[
                (Spec::UsbCLeads, "front USB-C"),
                (Spec::Usb3Leads, "19-pin USB"),
            ],
        ));
        steps.push(format!("\"{}\": {}.", case.name, leads.join(", ")));
    }
    for fan in seats
        .iter()
        .filter(|seat| matches!(seat.part.kind, Kind::Fan | Kind::Cooler))
    {
        if let Some(lights) = fan.part.text(Spec::Lights) {
            steps.push(format!(
                "\"{}\": its lights to a {lights} header; the other voltage destroys them.",
                fan.part.name
            ));
        }
    }
    let cautions =
        ["Use only the cables that came with this supply: those of another fit and destroy parts."];
    let cautions = if steps.is_empty() { &[] } else { &cautions[..] };
    stage("Cables, by part", cautions, steps)
}

fn first_start(seats: &[Seat<'_>]) -> Stage {
    let mut steps = vec![
        "Look once more: no loose screw, no cable in a fan, every latch closed.".to_owned(),
        "Connect display and keyboard, plug in, switch on, and enter the firmware's setup."
            .to_owned(),
    ];
    if part_of(seats, Kind::Gpu).is_some() {
        steps[1] = "Connect the display to the graphics card and a keyboard, plug in, switch on, and enter the firmware's setup."
            .to_owned();
    }
    if let Some(memory) = part_of(seats, Kind::Memory)
        && let Some(rate) = memory.number(Spec::TransferMtS)
    {
        steps.push(format!(
            "Check that all memory is there, and choose the kit's profile for {rate} MT/s; it is beyond the standard's \
             rate, so it may not run on every processor."
        ));
    }
    steps.push(
        "Watch the processor's temperature for ten minutes, then install the system.".to_owned(),
    );
    let cautions = [
        "Overclocking, memory profiles included, is at your own risk and may end a warranty.",
        "Mains sockets and wiring follow local codes and are for licensed people; use an earthed socket.",
    ];
    stage("First start", &cautions, steps)
}

fn plug_words(part: &Part, plugs: &[(Spec, &str)]) -> Vec<String> {
    let plugs = plugs.iter();
    plugs
        .filter_map(|(spec, words)| {
            let number = part.number(*spec).filter(|number| *number > 0)?;
            Some(format!("{number} × {words}"))
        })
        .collect()
}

pub(super) fn part_of<'a>(seats: &[Seat<'a>], kind: Kind) -> Option<&'a Part> {
    seats
        .iter()
        .find(|seat| seat.part.kind == kind)
        .map(|seat| seat.part)
}

pub(super) fn parts_of<'s, 'a>(
    seats: &'s [Seat<'a>],
    kind: Kind,
) -> impl Iterator<Item = &'s Seat<'a>> {
    seats.iter().filter(move |seat| seat.part.kind == kind)
}

pub(super) fn pieces(memory: &Seat<'_>) -> i64 {
    i64::from(memory.quantity) * memory.part.number(Spec::Modules).unwrap_or(1)
}

pub(super) fn is_m2(drive: &Part) -> bool {
    drive
        .text(Spec::FormFactor)
        .is_some_and(|form| same_name(form, "M.2"))
}

fn is_set(part: &Part, spec: Spec) -> bool {
    part.specs.get(&spec) == Some(&SpecValue::Flag(true))
}

fn radiator(cooler: &Part) -> Option<i64> {
    cooler.number(Spec::RadiatorMm)
}

fn radiator_places(seats: &[Seat<'_>], size: i64) -> Vec<String> {
    let mounts = part_of(seats, Kind::Case).and_then(|case| case.specs.get(&Spec::RadiatorMounts));
    let Some(SpecValue::Entries(mounts)) = mounts else {
        return Vec::new();
    };
    let takes = mounts
        .iter()
        .filter(|mount| mount.numbers("sizes_mm").contains(&size));
    takes
        .filter_map(|mount| mount.text("position").map(str::to_owned))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{Entry, Sorted};
    use crate::fit::sample::{number, part, text};

    fn words(parts: &[&Part]) -> String {
        let seats: Vec<Seat<'_>> = parts
            .iter()
            .map(|part| Seat {
                role: "",
                part,
                quantity: 1,
            })
            .collect();
        let stages = stages(&seats);
        let lines = stages.iter().flat_map(|stage| {
            std::iter::once(&stage.title)
                .chain(&stage.cautions)
                .chain(&stage.steps)
        });
        lines.cloned().collect::<Vec<_>>().join("\n")
    }

    fn case() -> Part {
        let mount = |position: &str, size: i64| {
            Entry(Sorted::from([
                ("position", text(position)),
                ("sizes_mm", SpecValue::Numbers([size].into())),
            ]))
        };
        let mounts = SpecValue::Entries([mount("top", 240), mount("front", 360)].into());
        part(Kind::Case, &[(Spec::RadiatorMounts, mounts)])
    }

    #[test]
    fn a_liquid_coolers_steps_come_with_a_liquid_cooler_alone() {
        let air = part(Kind::Cooler, &[(Spec::HeightMm, number(150))]);
        let liquid = part(Kind::Cooler, &[(Spec::RadiatorMm, number(240))]);
        let case = case();
        let with_air = words(&[&air, &case]);
        assert!(
            !with_air.contains("radiator") && !with_air.contains("pump"),
            "{with_air}"
        );
        assert!(with_air.contains("tighten the screws crosswise"));
        let with_liquid = words(&[&liquid, &case]);
        assert!(
            with_liquid.contains("240 mm radiator") && with_liquid.contains("place: top, with"),
            "{with_liquid}"
        );
    }

    #[test]
    fn an_m2_drive_comes_before_the_card_that_covers_it_and_a_bay_drive_does_not() {
        let m2 = part(Kind::Storage, &[(Spec::FormFactor, text("M.2"))]);
        let card = part(Kind::Gpu, &[(Spec::PciePlugs8Pin, number(2))]);
        let all = words(&[&card, &m2]);
        let at = |needle: &str| {
            all.find(needle)
                .unwrap_or_else(|| panic!("{needle}: {all}"))
        };
        assert!(at("in an M.2 slot") < at("into the x16 slot"));
        assert!(all.contains("2 × 8-pin PCIe (6+2); a cable of its own for each"));
        assert!(!all.contains("bay"));
        let bay = part(Kind::Storage, &[(Spec::FormFactor, text("2.5-inch"))]);
        assert!(words(&[&bay]).contains("SATA power plug"));
    }

    #[test]
    fn the_cautions_stand_at_every_build() {
        let supply = part(Kind::Psu, &[]);
        let all = words(&[&supply]);
        for caution in [
            "Static:",
            "unplug",
            "Never open a power supply",
            "Lifting and edges",
            "at your own risk",
            "licensed people",
        ] {
            assert!(all.contains(caution), "{caution}: {all}");
        }
    }
}
