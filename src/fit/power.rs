//! What a set of parts draws, what supply that asks for, and what it takes from the wall.
//!
//! The load model is the one of the rule `supply-power`: sustained figures of the parts, and the
//! brief's allowance for what has none. All in whole watts but the draw from the wall, which is in
//! hundredths, because it is a quotient.

use super::rule::{FitTerms, Seat};
use super::rules::supply_power::draw_spec;
use crate::catalogue::{Kind, Spec, same_name};

/// Ratings that supplies are sold with, in watts: common practice, no source.
const USUAL_W: [i64; 14] = [
    300, 350, 400, 450, 500, 550, 600, 650, 750, 850, 1_000, 1_200, 1_300, 1_600,
];

/// What a set of parts draws.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PowerReport {
    /// Each part's name and what all of its pieces draw.
    pub parts: Vec<(String, i64)>,
    /// Parts whose draw the catalogue does not state although it matters.
    pub unknown: Vec<String>,
    /// Parts, and the brief's allowance for the rest.
    pub load_w: i64,
    /// The load with the reserve and the headroom, or what a card's maker asks for if that is more.
    pub needed_w: i64,
    /// The least usual rating that covers the need; `None` where no usual supply does.
    pub advised_w: Option<i64>,
    pub supply: Option<SupplyDraw>,
}

/// What the supply of the set takes from the wall at the load.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SupplyDraw {
    pub name: String,
    pub rated_w: i64,
    /// Hundredths of a watt at 115 V and at 230 V; `None` where no 80 PLUS level is known.
    pub wall_115: Option<i64>,
    pub wall_230: Option<i64>,
}

/// Adds up what these parts draw; `None` when nothing among them draws much.
pub fn power_report(seats: &[Seat<'_>], terms: &FitTerms) -> Option<PowerReport> {
    let matters = |seat: &&Seat<'_>| matches!(seat.part.kind, Kind::Cpu | Kind::Gpu);
    seats.iter().find(matters)?;
    let mut report = PowerReport {
        parts: Vec::new(),
        unknown: Vec::new(),
        load_w: terms.rest_w,
        needed_w: 0,
        advised_w: None,
        supply: None,
    };
    let mut asked_w = 0;
    for seat in seats.iter().filter(|seat| seat.part.kind != Kind::Psu) {
        let (part, quantity) = (seat.part, i64::from(seat.quantity));
        match part.number(draw_spec(part.kind)) {
            Some(draw_w) => {
                report.load_w += draw_w * quantity;
                report.parts.push((part.name.clone(), draw_w * quantity));
            }
            None if matters(&seat) => report.unknown.push(part.name.clone()),
            None => {}
        }
        asked_w = asked_w.max(part.number(Spec::SupplyWMin).unwrap_or(0));
    }
    report.needed_w = needed_w(report.load_w + terms.reserve_w, terms).max(asked_w);
    report.advised_w = USUAL_W.into_iter().find(|usual| *usual >= report.needed_w);
    let supply = seats.iter().find(|seat| seat.part.kind == Kind::Psu);
    report.supply = supply.and_then(|seat| {
        let rated_w = seat.part.number(Spec::RatedW)?;
        let level = seat.part.text(Spec::Efficiency);
        let wall = |mains| wall_hundredths(report.load_w, rated_w, level?, mains);
        Some(SupplyDraw {
            name: seat.part.name.clone(),
            rated_w,
            wall_115: wall(Mains::V115),
            wall_230: wall(Mains::V230),
        })
    });
    Some(report)
}

/// The rating that a load needs with the headroom on top, rounded up to whole watts.
pub fn needed_w(load_w: i64, terms: &FitTerms) -> i64 {
    (load_w * (100 + terms.headroom_percent) + 99) / 100
}

/// The voltage that a supply hangs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mains {
    V115,
    V230,
}

/// The least efficiency in percent that an 80 PLUS level promises at 20, 50 and 100 percent of the
/// rating, at 115 V internal and at 230 V EU internal (encyclopaedia article "80 Plus").
const LEVELS: [(&str, [i64; 3], [i64; 3]); 6] = [
    ("plain", [80, 80, 80], [82, 85, 82]),
    ("Bronze", [82, 85, 82], [85, 88, 85]),
    ("Silver", [85, 88, 85], [87, 90, 87]),
    ("Gold", [87, 90, 87], [90, 92, 89]),
    ("Platinum", [90, 92, 89], [92, 94, 90]),
    ("Titanium", [92, 94, 90], [94, 96, 94]),
];

/// What the wall gives for a load, in hundredths of a watt: at least the promised efficiency,
/// straight between the points at which it is promised, and below 20 percent as at 20.
///
/// `None` for an unknown level, a supply without a rating, and a load above it.
pub fn wall_hundredths(load_w: i64, rated_w: i64, level: &str, mains: Mains) -> Option<i64> {
    let bare = level.trim().trim_start_matches("80 PLUS").trim();
    let named = if bare.is_empty() { "plain" } else { bare };
    let (_, at_115, at_230) = LEVELS
        .iter()
        .find(|(known, _, _)| same_name(known, named))?;
    let promised = match mains {
        Mains::V115 => at_115,
        Mains::V230 => at_230,
    };
    if rated_w <= 0 || !(0..=rated_w).contains(&load_w) {
        return None;
    }
    let percent = (100 * load_w / rated_w).max(20);
    let (from, to, low, high) = match percent {
        ..50 => (20, 50, promised[0], promised[1]),
        _ => (50, 100, promised[1], promised[2]),
    };
    // Efficiency in hundredths of a percent; then watts over efficiency, to the nearest.
    let efficiency = 100 * low + 100 * (high - low) * (percent - from) / (to - from);
    Some((load_w * 1_000_000 + efficiency / 2) / efficiency)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Part;
    use crate::fit::sample::{number, part, text};

    #[test]
    fn the_wall_gives_what_the_level_promises() {
        // Worked by hand from the 80 PLUS table: 325 W of 650 W Gold at 115 V take 361.11 W from
        // the wall, 650 W take 747.13 W; 500 W at 96 % take 520.83 W, at 80 % 625.00 W.
        for (load, rated, level, mains, expected) in [
            (325, 650, "Gold", Mains::V115, 36_111),
            (650, 650, "80 PLUS Gold", Mains::V115, 74_713),
            (500, 1_000, "Titanium", Mains::V230, 52_083),
            (500, 1_000, "80 PLUS", Mains::V115, 62_500),
        ] {
            let found = wall_hundredths(load, rated, level, mains);
            assert_eq!(found, Some(expected), "{load} W of {rated} W {level}");
        }
        assert_eq!(wall_hundredths(651, 650, "Gold", Mains::V115), None);
        assert_eq!(wall_hundredths(1, 650, "Emerald", Mains::V115), None);
    }

    fn compact_machine(reserve_w: i64) -> PowerReport {
        // A processor of 91 W with a moderate overclock (a quarter more) and a card with two 6-pin
        // plugs, which are for cards between 150 and 225 W: both from memory.
        let cpu = part(Kind::Cpu, &[(Spec::HeatW, number(114))]);
        let card = part(Kind::Gpu, &[(Spec::BoardPowerW, number(165))]);
        let psu = part(
            Kind::Psu,
            &[
                (Spec::RatedW, number(550)),
                (Spec::Efficiency, text("Gold")),
            ],
        );
        let seat = |part| Seat {
            role: "",
            part,
            quantity: 1,
        };
        let parts: [&Part; 3] = [&cpu, &card, &psu];
        let terms = FitTerms {
            reserve_w,
            ..FitTerms::default()
        };
        power_report(&parts.map(seat), &terms).unwrap()
    }

    #[test]
    fn a_compact_machine_draws_what_was_measured() {
        // Common practice, no source: such a machine drew 364 W at the wall while gaming; 500 to
        // 600 W are enough for it, and 750 W leave room for a second card.
        let report = compact_machine(0);
        let supply = report.supply.unwrap();
        let off = (supply.wall_115.unwrap() - 36_400).abs();
        assert!(off * 100 <= 15 * 36_400, "{supply:?}");
        assert!(
            report
                .advised_w
                .is_some_and(|watts| (500..=600).contains(&watts))
        );
        let with_second_card = compact_machine(165);
        assert_eq!(with_second_card.advised_w, Some(750));
    }

    #[test]
    fn what_is_not_known_is_named_and_what_a_card_asks_for_counts() {
        let cpu = part(Kind::Cpu, &[]);
        let card = part(
            Kind::Gpu,
            &[
                (Spec::BoardPowerW, number(100)),
                (Spec::SupplyWMin, number(650)),
            ],
        );
        let seats = [&cpu, &card].map(|part| Seat {
            role: "",
            part,
            quantity: 1,
        });
        let report = power_report(&seats, &FitTerms::default()).unwrap();
        assert_eq!(report.unknown, ["sample cpu"]);
        assert_eq!((report.load_w, report.needed_w), (175, 650));
        let none = power_report(&[], &FitTerms::default());
        assert_eq!(none, None);
    }
}
