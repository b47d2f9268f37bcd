//! Sockets, drive forms, buses, revisions: numbers that belong to a standard's name.

use super::measures::{SILENT_UNITS, unit_at};
use super::scan::Scan;
use super::{Glue, Use, What};
use crate::catalogue::SpecValue;

/// LGA sockets. Source: facts, socket table; common practice for the older ones.
const LGA: &[i64] = &[
    775, 1150, 1151, 1155, 1156, 1200, 1366, 1700, 1851, 2011, 2066, 3647, 4677,
];

/// `2.5"`, `2,5 Zoll`, `3.5 SATA`.
pub(super) fn drive_form(scan: &mut Scan, at: usize) -> usize {
    let is_decimal = matches!(scan.glue(at + 1), Glue::Dot | Glue::Comma);
    if !is_decimal || !scan.is_any(at, &["2", "3"]) || scan.text(at + 1) != "5" {
        return 0;
    }
    let word = scan.text(at + 2);
    let in_inches = scan.mark_after(at + 1) == Some('"')
        || [
            "zoll", "inch", "in", "pouces", "pollici", "pulgadas", "cala", "cali", "inches", "duim",
        ]
        .contains(&word);
    let has_unit = scan.follows(at + 2)
        && (SILENT_UNITS.contains(&word)
            || ["gb", "g", "tb", "w", "mm", "cm", "to"].contains(&word));
    if has_unit && !in_inches {
        return 0;
    }
    let form = if scan.text(at) == "2" {
        "2.5\""
    } else {
        "3.5\""
    };
    scan.claim_text(What::DriveForm, form, at..at + 2);
    2
}

/// `M.2`, with the card's size behind it.
pub(super) fn m2(scan: &mut Scan, at: usize) -> usize {
    let is_m2 = scan.text(at) == "m" && scan.text(at + 1) == "2" && scan.glue(at + 1) == Glue::Dot;
    if !is_m2 || scan.is_joined(at) {
        return 0;
    }
    scan.claim_text(What::DriveForm, "M.2", at..at + 2);
    2
}

/// `2280`: the width and length of a card in millimetres.
///
/// Source: PCI Express M.2 specification, card types.
pub(super) fn card_size(scan: &mut Scan, at: usize) -> usize {
    const SIZES: &[&str] = &["2230", "2242", "2260", "2280", "22110"];
    if !scan.is_any(at, SIZES) || scan.is_joined(at) || scan.is_joined(at + 1) {
        return 0;
    }
    let size = scan.text(at).to_owned();
    scan.say(What::CardSize, SpecValue::Text(size.into()), at..at + 1);
    scan.mark(at..at + 1, Use::Measure);
    1
}

/// `AM5`, `LGA1700`, `S1700`, `Sockel 1700`.
pub(super) fn socket(scan: &mut Scan, at: usize) -> usize {
    let text = scan.text(at);
    let number = scan.number(at + 1).unwrap_or(0);
    let is_lga = LGA.contains(&number);
    let near = scan.follows(at + 1);
    let name = match text {
        "am" if scan.is_joined(at + 1) && (1..=9).contains(&number) => format!("AM{number}"),
        "lga" if near && number > 100 => format!("LGA{number}"),
        "s" if near && is_lga && !scan.is_joined(at) => format!("LGA{number}"),
        "sockel" | "socket" | "so" | "skt" | "zocalo" | "zoccolo" | "presa" | "gniazdo"
            if near && is_lga =>
        {
            format!("LGA{number}")
        }
        _ => return 0,
    };
    if scan.is_joined(at + 2) {
        return 0;
    }
    scan.claim_text(What::Socket, &name, at..at + 2);
    2
}

/// `ATX 3.1`, `ATX3.0`.
pub(super) fn atx_version(scan: &mut Scan, at: usize) -> usize {
    let is_version = scan.text(at) == "atx"
        && scan.follows(at + 1)
        && scan.number(at + 1).is_some_and(|major| major <= 9)
        && scan.glue(at + 2) == Glue::Dot
        && scan.number(at + 2).is_some();
    if !is_version {
        return 0;
    }
    let version = format!("{}.{}", scan.text(at + 1), scan.text(at + 2));
    scan.claim_text(What::AtxVersion, &version, at..at + 3);
    3
}

/// `PCIe 4.0 x16`, `PCI Express 5`, `Gen4`.
pub(super) fn bus_generation(scan: &mut Scan, at: usize) -> usize {
    let start = match scan.text(at) {
        "pcie" | "gen" => 1,
        "pci" if scan.is_any(at + 1, &["e", "express"]) => 2,
        _ => return 0,
    };
    let is_bus = scan.text(at) != "gen";
    let mut end = at + start;
    if is_bus && scan.text(end) == "gen" {
        end += 1;
    }
    let near = scan.follows(end) && !matches!(scan.glue(end), Glue::Inch);
    match scan.number(end).filter(|n| near && (1..=7).contains(n)) {
        Some(number) => {
            let mut stop = end + 1;
            if scan.glue(stop) == Glue::Dot && scan.number(stop).is_some() {
                stop += 1;
            }
            if scan.is_joined(stop) {
                return 0;
            }
            scan.claim_text(What::Generation, &format!("gen {number}"), at..stop);
            end = stop;
        }
        None if !is_bus => return 0,
        None => scan.mark(at..end, Use::Silent),
    }
    if is_bus {
        let place = at..at + 1;
        scan.say(What::Interface, SpecValue::Text("PCIe".into()), place);
    }
    if scan.text(end) == "x" && scan.is_joined(end + 1) && scan.follows(end) {
        scan.mark(end..end + 2, Use::Silent);
        end += 2;
    }
    end - at
}

/// `V2`, `rev. 1.2`, `Mk2`.
pub(super) fn revision(scan: &mut Scan, at: usize) -> usize {
    let near = match scan.text(at) {
        "v" | "mk" => scan.is_joined(at + 1) && !scan.is_joined(at),
        "rev" | "revision" | "ver" => scan.follows(at + 1),
        _ => false,
    };
    let Some(number) = scan.number(at + 1).filter(|n| near && (1..=99).contains(n)) else {
        return 0;
    };
    if scan.is_joined(at + 2) {
        return 0;
    }
    let (mut text, mut end) = (number.to_string(), at + 2);
    if scan.glue(end) == Glue::Dot && scan.number(end).is_some() {
        if scan.text(end) != "0" {
            text = format!("{text}.{}", scan.text(end));
        }
        end += 1;
    }
    scan.claim_text(What::Revision, &text, at..end);
    end - at
}

/// `GDDR6X`, `USB4`, `Wi-Fi 7`, `HDMI 2.1`, `NVMe 2.0`, `x16`: the number belongs to the word.
pub(super) fn numbered_standard(scan: &mut Scan, at: usize) -> usize {
    let near = scan.follows(at + 1);
    let is_standard = match scan.text(at) {
        "gddr" | "usb" | "hdmi" | "dp" | "bt" | "bluetooth" | "wifi" | "wlan" | "nvme" | "hbm"
        | "typ" => near,
        "fi" => near && at > 0 && scan.text(at - 1) == "wi",
        "x" => {
            scan.is_joined(at + 1)
                && scan.is_any(at + 1, &["1", "4", "8", "16"])
                && !scan.is_joined(at)
        }
        _ => false,
    };
    if !is_standard || scan.number(at + 1).is_none_or(|n| n > 16) {
        return 0;
    }
    // "WIFI D4" has no number of its own, and "USB 32 GB" has another's.
    if matches!(
        unit_at(scan, at + 2),
        "gb" | "tb" | "go" | "to" | "mm" | "w"
    ) {
        return 0;
    }
    let mut end = at + 2;
    if scan.glue(end) == Glue::Dot && scan.number(end).is_some() {
        end += 1;
    }
    if scan.is_joined(end) && scan.text(end).len() == 1 {
        end += 1;
    }
    scan.mark(at + 1..end, Use::Silent);
    if matches!(
        scan.text(at),
        "gddr" | "x" | "usb" | "hdmi" | "dp" | "bt" | "bluetooth" | "hbm"
    ) {
        scan.mark(at..at + 1, Use::Silent);
    }
    end - at
}

/// `B850`, `X870E`; a board's model is named after it, so its atoms stay free.
pub(super) fn chipset(scan: &mut Scan, at: usize) -> usize {
    const FIRST_LETTERS: &[&str] = &["a", "b", "h", "q", "w", "x", "z"];
    let is_chipset = scan.is_any(at, FIRST_LETTERS)
        && !scan.is_joined(at)
        && scan.is_joined(at + 1)
        && scan.text(at + 1).len() == 3
        // A part number goes on: "X870ECL".
        && !(scan.is_joined(at + 2) && scan.text(at + 2).len() > 2);
    if is_chipset {
        // "X870E" and "X870-E".
        let is_near = matches!(scan.glue(at + 2), Glue::Joined | Glue::Hyphen);
        let is_e = is_near && scan.text(at + 2) == "e" && !scan.is_joined(at + 3);
        let end = at + 2 + usize::from(is_e);
        let name: String = (at..end)
            .map(|atom| scan.text(atom).to_uppercase())
            .collect();
        scan.say(What::Chipset, SpecValue::Text(name.into()), at..end);
    }
    0
}
