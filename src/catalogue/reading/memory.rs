//! Memory: modules and their sizes, generation, transfer rate, CAS latency.

use super::scan::Scan;
use super::{Glue, Use, What};

const MODULES_MAX: i64 = 8;
/// Sizes of modules, in GB. Source: capacities that JESD79-4 and JESD79-5 dies make; common practice.
const MODULE_GB: &[i64] = &[1, 2, 4, 8, 12, 16, 24, 32, 48, 64, 96, 128, 256];
/// Transfer rates that a bare number may be, in MT/s.
const RATES: std::ops::RangeInclusive<i64> = 1600..=10_400;
/// CAS latencies, in clock cycles.
const LATENCIES: std::ops::RangeInclusive<i64> = 8..=64;
const GIGABYTES: &[&str] = &["gb", "go", "gib", "gbyte"];

/// `2x16GB`, `2 x 16 Go`, `(2x16)`.
pub(super) fn modules(scan: &mut Scan, at: usize) -> usize {
    let (Some(count), Some(each)) = (scan.number(at), scan.number(at + 2)) else {
        return 0;
    };
    let is_product = scan.text(at + 1) == "x" && scan.follows(at + 1) && scan.follows(at + 2);
    let is_g = scan.text(at + 3) == "g" && scan.is_joined(at + 3);
    let in_gb = is_g || scan.is_any(at + 3, GIGABYTES) && scan.follows(at + 3);
    let is_rate = in_gb && scan.is_any(at + 4, &["s", "ps"]) && scan.glue(at + 4) == Glue::Slash;
    let is_bare = !in_gb && scan.is_memory && !scan.is_joined(at + 3);
    if !is_product
        || is_rate
        || !(in_gb || is_bare)
        || !(1..=MODULES_MAX).contains(&count)
        || !MODULE_GB.contains(&each)
        || scan.is_joined(at)
    {
        return 0;
    }
    let used = if in_gb { 4 } else { 3 };
    scan.claim_number(What::CapacityGb, count * each, at..at + used);
    scan.claim_number(What::Modules, count, at..at + used);
    used
}

/// `4 Module à 8 GB`, `2 sticks of 16GB`.
pub(super) fn modules_in_words(scan: &mut Scan, at: usize) -> usize {
    const MODULES: &[&str] = &[
        "module",
        "modules",
        "modul",
        "moduli",
        "modulos",
        "moduly",
        "riegel",
        "stick",
        "sticks",
        "barrettes",
        "dimm",
        "dimms",
        "x",
    ];
    const OF: &[&str] = &["a", "of", "de", "x", "je", "da", "zu", "di", "van", "po"];
    let Some(count) = scan.number(at).filter(|n| (1..=MODULES_MAX).contains(n)) else {
        return 0;
    };
    if !scan.is_any(at + 1, MODULES) || !scan.follows(at + 1) || scan.is_joined(at) {
        return 0;
    }
    let each_at = at + 2 + usize::from(scan.is_any(at + 2, OF));
    let Some(each) = scan.number(each_at).filter(|each| MODULE_GB.contains(each)) else {
        return 0;
    };
    if !scan.is_any(each_at + 1, GIGABYTES) || !scan.follows(each_at) || !scan.is_memory {
        return 0;
    }
    let used = each_at + 2 - at;
    scan.claim_number(What::CapacityGb, count * each, at..at + used);
    scan.claim_number(What::Modules, count, at..at + used);
    used
}

/// `16GB x2`: how often, after a capacity that has been read up to `at`.
pub(super) fn times(scan: &Scan, at: usize) -> Option<i64> {
    let is_times = scan.text(at) == "x" && scan.follows(at) && scan.follows(at + 1);
    let count = scan.number(at + 1).filter(|_| is_times)?;
    let ends = !scan.is_joined(at + 2) && !scan.is_any(at + 2, &["mm", "x"]);
    (ends && (1..=MODULES_MAX).contains(&count)).then_some(count)
}

/// `Kit of 2`, `Kit of 2 16GB`, `K2`.
pub(super) fn kit_of(scan: &mut Scan, at: usize) -> usize {
    let text = scan.text(at);
    if text == "k" && scan.is_memory && !scan.is_joined(at) && scan.is_joined(at + 1) {
        let Some(count) = scan
            .number(at + 1)
            .filter(|count| [1, 2, 4, 8].contains(count))
        else {
            return 0;
        };
        scan.claim_number(What::Modules, count, at..at + 2);
        return 2;
    }
    if !matches!(text, "kit" | "set") || !scan.is_memory {
        return 0;
    }
    if !scan.is_any(at + 1, &["of", "de", "di", "da", "van", "a", "mit"]) {
        return 0;
    }
    let Some(count) = scan
        .number(at + 2)
        .filter(|n| (1..=MODULES_MAX).contains(n))
    else {
        return 0;
    };
    if scan.is_joined(at + 3) || scan.is_any(at + 3, GIGABYTES) || scan.text(at + 3) == "x" {
        return 0;
    }
    let each = scan.number(at + 3).filter(|each| MODULE_GB.contains(each));
    let in_gb = scan.is_any(at + 4, GIGABYTES) && scan.follows(at + 3);
    if let Some(each) = each.filter(|_| in_gb) {
        scan.claim_number(What::CapacityGb, count * each, at..at + 5);
        scan.claim_number(What::Modules, count, at..at + 5);
        return 5;
    }
    scan.claim_number(What::Modules, count, at..at + 3);
    3
}

/// `DDR5`, `D4`, and the rate right behind it.
pub(super) fn generation(scan: &mut Scan, at: usize) -> usize {
    let is_short = scan.text(at) == "d" && scan.is_any(at + 1, &["4", "5"]);
    let is_long = scan.text(at) == "ddr" && scan.is_any(at + 1, &["2", "3", "4", "5", "6"]);
    let near = scan.is_joined(at + 1) || (is_long && scan.follows(at + 1));
    if !(is_short || is_long) || !near || scan.is_joined(at) {
        return 0;
    }
    // "2D4" or "D4X" is something else.
    if is_short && scan.is_joined(at + 2) {
        return 0;
    }
    let name = format!("DDR{}", scan.text(at + 1));
    scan.claim_text(What::MemoryGeneration, &name, at..at + 2);
    let rate = scan.number(at + 2).filter(|rate| RATES.contains(rate));
    let is_rate = scan.follows(at + 2)
        && !scan.is_joined(at + 3)
        && !scan.is_any(at + 3, GIGABYTES)
        && scan.text(at + 2).len() >= 4;
    match rate.filter(|_| is_rate) {
        Some(rate) => 2 + take_rate(scan, rate, at + 2),
        None => 2,
    }
}

/// Claims a rate at one atom, and the latency right behind it: `3600-18`.
fn take_rate(scan: &mut Scan, rate: i64, at: usize) -> usize {
    scan.claim_number(What::TransferMtS, rate, at..at + 1);
    let latency = scan
        .number(at + 1)
        .filter(|cycles| LATENCIES.contains(cycles));
    match latency.filter(|_| scan.glue(at + 1) == Glue::Hyphen && !scan.is_joined(at + 2)) {
        Some(cycles) => {
            scan.claim_number(What::Latency, cycles, at + 1..at + 2);
            2
        }
        None => 1,
    }
}

/// `PC5-48000`: the bandwidth in MB/s is eight bytes times the rate.
///
/// Source: JEDEC module names; from memory: PC4-21300 rounds 8 × 2666⅔ down.
pub(super) fn rate_by_bandwidth(scan: &mut Scan, at: usize) -> usize {
    if scan.text(at) != "pc" || !scan.is_joined(at + 1) {
        return 0;
    }
    let Some(bandwidth) = scan
        .number(at + 2)
        .filter(|mb| (6_400..=90_000).contains(mb))
    else {
        return 0;
    };
    let Some(generation) = scan.number(at + 1).filter(|one| (2..=6).contains(one)) else {
        return 0;
    };
    const ODD_RATES: &[i64] = &[1066, 1333, 1600, 1866, 2133, 2400, 2666, 2933, 3200];
    let exact = bandwidth / 8;
    let snapped = ODD_RATES.iter().find(|rate| (**rate - exact).abs() <= 5);
    let rate = snapped.copied().unwrap_or(exact);
    scan.claim_text(
        What::MemoryGeneration,
        &format!("DDR{generation}"),
        at..at + 2,
    );
    scan.claim_number(What::TransferMtS, rate, at + 2..at + 3);
    3
}

/// `6000MHz`, `6000 MT/s`.
pub(super) fn rate_in_units(scan: &mut Scan, at: usize) -> usize {
    let unit = scan.is_any(at + 1, &["mhz", "mt", "mts"]) && scan.follows(at + 1);
    let Some(rate) = scan.number(at).filter(|_| unit) else {
        return 0;
    };
    let per_second = scan.text(at + 1) == "mt" && scan.text(at + 2) == "s";
    let used = if per_second { 3 } else { 2 };
    if RATES.contains(&rate) && scan.is_memory {
        scan.claim_number(What::TransferMtS, rate, at..at + used);
    } else {
        scan.mark(at..at + used, Use::Measure);
    }
    used
}

/// `6400` alone in a title that speaks of memory; it may still be a model's number.
pub(super) fn bare_rate(scan: &mut Scan, at: usize) -> usize {
    let Some(rate) = scan.number(at) else {
        return 0;
    };
    let stands_alone = !scan.is_joined(at) && !scan.is_joined(at + 1);
    let is_round = rate % 100 == 0 || [2133, 2666, 2933, 4266, 1866].contains(&rate);
    let is_known = scan
        .claims
        .iter()
        .any(|claim| claim.what == What::TransferMtS);
    if !scan.is_memory || !stands_alone || !is_round || !RATES.contains(&rate) || is_known {
        return 0;
    }
    let used = take_rate(scan, rate, at);
    scan.mark(at..at + 1, Use::Measure);
    used
}

/// `CL30`, `CL 30`, `C30`, with the other timings behind it.
pub(super) fn latency(scan: &mut Scan, at: usize) -> usize {
    let is_short = scan.text(at) == "c" && scan.is_memory && !scan.is_joined(at);
    let is_near = scan.is_joined(at + 1) || (scan.text(at) == "cl" && scan.follows(at + 1));
    if !(is_short || scan.text(at) == "cl") || !is_near {
        return 0;
    }
    let Some(cycles) = scan
        .number(at + 1)
        .filter(|cycles| LATENCIES.contains(cycles))
    else {
        return 0;
    };
    scan.claim_number(What::Latency, cycles, at..at + 2);
    let mut end = at + 2;
    while scan.glue(end) == Glue::Hyphen && scan.number(end).is_some_and(|n| n < 200) {
        scan.mark(end..end + 1, Use::Silent);
        end += 1;
    }
    end - at
}
