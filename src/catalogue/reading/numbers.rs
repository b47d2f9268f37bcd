//! Goes through the atoms once and reads everything that has to do with numbers.

use super::scan::Scan;
use super::{measures, memory, packs, standards};

/// A reader of what begins at an atom: the number of atoms that it has used, or nothing.
type Step = fn(&mut Scan, usize) -> usize;

/// What a number may begin, in the order of precedence.
const AT_NUMBERS: &[Step] = &[
    memory::modules,
    memory::modules_in_words,
    packs::pack,
    standards::drive_form,
    measures::capacity,
    memory::rate_in_units,
    measures::watts,
    measures::measure,
    measures::eighty_plus,
    standards::card_size,
    packs::year,
    packs::count,
    memory::bare_rate,
];

/// What letters may begin.
const AT_LETTERS: &[Step] = &[
    memory::generation,
    memory::rate_by_bandwidth,
    memory::latency,
    memory::kit_of,
    packs::pack_of,
    standards::socket,
    standards::m2,
    standards::atx_version,
    standards::bus_generation,
    standards::revision,
    standards::numbered_standard,
    standards::chipset,
];

pub(super) fn read(scan: &mut Scan) {
    let mut at = 0;
    while at < scan.len() {
        let steps = if scan.atoms[at].is_number {
            AT_NUMBERS
        } else {
            AT_LETTERS
        };
        let used = steps
            .iter()
            .map(|step| step(scan, at))
            .find(|used| *used > 0);
        at += used.unwrap_or(1);
    }
}
