//! Numbers with units: capacities, watts, lengths, speeds.

use super::scan::Scan;
use super::{Glue, Use, What, memory};
use crate::catalogue::SpecValue;

/// Units of what a model's number may repeat: a 120 mm fan, a 1800 rpm one.
const LOOSE_UNITS: &[&str] = &["mm", "rpm", "upm", "er", "cfm"];
/// Units that tell nothing of the model.
pub(super) const SILENT_UNITS: &[&str] = &[
    "ghz",
    "hz",
    "volt",
    "bit",
    "bits",
    "db",
    "dba",
    "nm",
    "kern",
    "kerne",
    "kernen",
    "core",
    "cores",
    "coeurs",
    "coeur",
    "rdzeni",
    "rdzeniowy",
    "nucleos",
    "nuclei",
    "threads",
    "thread",
    "watki",
    "pin",
    "pins",
    "polig",
    "slot",
    "slots",
    "dp",
    "hdmi",
    "port",
    "ports",
    "lane",
    "lanes",
    "tbw",
    "jahre",
    "jahr",
    "years",
    "year",
    "ans",
    "anos",
    "anni",
    "lat",
    "jaar",
    "monate",
    "months",
    "layer",
    "kg",
    "gbe",
    "gbit",
    "mbit",
    "mbps",
    "gbps",
    "iops",
    "pwm",
    "phasen",
    "usb",
    "displayport",
    "heatpipes",
    "heatpipe",
    "bay",
    "bays",
];

/// Voltages inside a machine, and of the mains; "640V" is a model.
const VOLTS_MAX: i64 = 48;
const MAINS_VOLTS: &[i64] = &[110, 115, 120, 220, 230, 240];

/// A number with at most three decimals, in thousandths, and its atoms.
fn quantity(scan: &Scan, at: usize) -> Option<(i64, usize)> {
    let whole = scan.number(at).filter(|whole| *whole < 100_000_000)?;
    let has_decimals = matches!(scan.glue(at + 1), Glue::Dot | Glue::Comma);
    let digits = scan.text(at + 1).len();
    match scan.number(at + 1).filter(|_| has_decimals && digits <= 3) {
        None => Some((whole * 1000, 1)),
        Some(part) => {
            let scale = [100, 10, 1][digits - 1];
            Some((whole * 1000 + part * scale, 2))
        }
    }
}

pub(super) fn unit_at(scan: &Scan, at: usize) -> &str {
    if scan.follows(at) && scan.glue(at) != Glue::Inch {
        scan.text(at)
    } else {
        ""
    }
}

/// `32GB`, `1 TB`, `2 To`, `4.000 GB`, `8192 MB`, `12G`, and `16GB x2`.
pub(super) fn capacity(scan: &mut Scan, at: usize) -> usize {
    let Some((milli, digits)) = quantity(scan, at) else {
        return 0;
    };
    let unit = at + digits;
    let is_grouped = digits == 2 && scan.text(at + 1).len() == 3;
    let is_joined = scan.is_joined(unit);
    let gb = match unit_at(scan, unit) {
        "gb" | "go" | "gib" | "gbyte" | "gigabyte" if is_grouped => milli,
        "gb" | "go" | "gib" | "gbyte" | "gigabyte" if digits == 1 => milli / 1000,
        "g" if is_joined && digits == 1 && scan.text(at).len() <= 2 => milli / 1000,
        "tb" | "tib" => milli,
        "to" if is_joined || !scan.atoms.get(unit + 1).is_some_and(|next| next.is_number) => milli,
        "t" if is_joined && scan.text(at).len() == 1 && digits == 1 => milli,
        "mb" | "mo" if milli % 1_024_000 == 0 && milli >= 2_048_000 => milli / 1_024_000,
        _ => return 0,
    };
    let next = unit + 1;
    let is_rate = scan.glue(next) == Glue::Slash || scan.is_any(next, &["ps", "lan", "cache"]);
    if is_rate || gb == 0 || gb > 1_000_000 {
        return 0;
    }
    if let Some(count) = memory::times(scan, next).filter(|_| scan.is_memory) {
        scan.claim_number(What::CapacityGb, gb * count, at..next + 2);
        scan.claim_number(What::Modules, count, at..next + 2);
        return next + 2 - at;
    }
    scan.claim_number(What::CapacityGb, gb, at..next);
    next - at
}

/// `850 W`, `850 Watt`, `1 kW`.
pub(super) fn watts(scan: &mut Scan, at: usize) -> usize {
    let Some((milli, digits)) = quantity(scan, at) else {
        return 0;
    };
    let watts = match unit_at(scan, at + digits) {
        "w" | "watt" | "watts" | "wat" if digits == 1 => milli / 1000,
        "kw" => milli,
        _ => return 0,
    };
    // "850 w/o cable".
    if scan.text(at + digits) == "w" && scan.text(at + digits + 1) == "o" {
        return 0;
    }
    scan.claim_number(What::RatedW, watts, at..at + digits + 1);
    digits + 1
}

/// `165mm`, `1800 rpm`, `3,8 GHz`, `6-Kern`, `120x25mm`, `8C/16T`.
pub(super) fn measure(scan: &mut Scan, at: usize) -> usize {
    let Some((milli, digits)) = quantity(scan, at) else {
        return 0;
    };
    let next = at + digits;
    let (length_mm, is_cm) = match unit_at(scan, next) {
        "mm" if digits == 1 => (Some(milli / 1000), false),
        "cm" => (Some(milli / 100), true),
        _ => (None, false),
    };
    if let Some(length_mm) = length_mm {
        scan.say(What::LengthMm, SpecValue::Number(length_mm), at..next + 1);
    }
    let unit = unit_at(scan, next);
    let per_minute = ["u", "tr", "giri", "obr"].contains(&unit)
        && scan.is_any(next + 1, &["min"])
        && scan.follows(next + 1);
    let used = if is_cm {
        (digits + 1, Use::Silent)
    } else if LOOSE_UNITS.contains(&unit) {
        (digits + 1, Use::Measure)
    } else if per_minute {
        (digits + 2, Use::Measure)
    } else if is_silent(unit, milli, scan.is_joined(next)) {
        (digits + 1, Use::Silent)
    } else if ["mb", "gb"].contains(&unit) {
        // A cache or a speed: a capacity has been read before.
        let is_rate = scan.is_any(next + 1, &["s", "ps"]);
        (digits + 1 + usize::from(is_rate), Use::Silent)
    } else if unit == "c" && scan.is_joined(next) && scan.text(next + 2) == "t" {
        (4, Use::Silent)
    } else if digits == 2 {
        (2, Use::Silent)
    } else {
        return dimensions(scan, at);
    };
    scan.mark(at..at + used.0, used.1);
    used.0
}

/// True for a unit whose number tells nothing of the model.
fn is_silent(unit: &str, milli: i64, is_joined: bool) -> bool {
    match unit {
        "v" => milli <= VOLTS_MAX * 1000 || MAINS_VOLTS.contains(&(milli / 1000)),
        // "120 PWM" is a fan's model.
        "pwm" => is_joined,
        _ => SILENT_UNITS.contains(&unit),
    }
}

/// `120x120x25`.
fn dimensions(scan: &mut Scan, at: usize) -> usize {
    let mut end = at + 1;
    while scan.text(end) == "x" && scan.number(end + 1).is_some() && scan.follows(end + 1) {
        end += 2;
    }
    if end == at + 1 {
        return 0;
    }
    if scan.is_any(end, &["mm", "cm", "ghz"]) {
        end += 1;
    } else if matches!(scan.glue(end), Glue::Dot | Glue::Comma) && scan.text(end + 1) == "ghz" {
        end += 2;
    }
    scan.mark(at..end.min(scan.len()), Use::Measure);
    end.min(scan.len()) - at
}

/// `80 PLUS`, `80+`.
pub(super) fn eighty_plus(scan: &mut Scan, at: usize) -> usize {
    if scan.text(at) != "80" {
        return 0;
    }
    let is_word = scan.text(at + 1) == "plus";
    if !is_word && scan.mark_after(at) != Some('+') {
        return 0;
    }
    let used = 1 + usize::from(is_word);
    scan.mark(at..at + used, Use::Silent);
    used
}
