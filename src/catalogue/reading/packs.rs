//! How many are sold, and which revision of it.

use super::scan::Scan;
use super::{Glue, Use, What};

const PACKS: &[&str] = &[
    "pack", "packs", "packung", "set", "sets", "bundle", "pk", "pcs", "pieces", "stuck", "stueck",
    "stk", "szt", "sztuk", "pz", "pezzi", "uds", "unidades", "stuks", "st", "pak", "paket", "box",
    "ks", "kusu",
];
const KITS: &[&str] = &["kit", "kits"];
const PACK_WORDS: &[&str] = &[
    "pack",
    "set",
    "lot",
    "paquete",
    "conf",
    "confezione",
    "juego",
    "zestaw",
    "pakiet",
    "paket",
    "paket",
    "vpe",
    "carton",
    "karton",
    "case",
    "kit",
    "pak",
];
const PACK_MAX: i64 = 100;

/// A year tells a revision: `(2023)`, `v.2023`, `rev2023`.
pub(super) fn year(scan: &mut Scan, at: usize) -> usize {
    const REVISIONS: &[&str] = &["v", "ver", "version", "rev", "mod", "gen", "ed"];
    let is_named = at > 0
        && scan.is_any(at - 1, REVISIONS)
        && matches!(scan.glue(at), Glue::Dot | Glue::Joined | Glue::Space);
    let first = if is_named { at - 1 } else { at };
    let alone = !scan.is_joined(first) && !scan.is_joined(at + 1) && scan.text(at).len() == 4;
    let glued = matches!(scan.glue(at), Glue::Hyphen | Glue::Dot | Glue::Slash);
    match scan.number(at).filter(|_| alone && (is_named || !glued)) {
        Some(year @ 2010..=2039) => {
            scan.claim_text(What::Revision, &year.to_string(), first..at + 1);
            1
        }
        _ => 0,
    }
}

/// `2x M.2`, `3 x DP`; at the very beginning it counts what is sold.
pub(super) fn count(scan: &mut Scan, at: usize) -> usize {
    let followed = scan.text(at + 1) == "x" && scan.follows(at + 1);
    let Some(count) = scan.number(at).filter(|n| *n <= PACK_MAX && followed) else {
        return 0;
    };
    if scan.atoms.get(at + 2).is_none_or(|next| next.is_number) || scan.is_joined(at) {
        return 0;
    }
    if at == 0 && count > 1 {
        scan.claim_number(What::Pack, count, at..at + 2);
    } else {
        scan.mark(at..at + 2, Use::Silent);
    }
    2
}

/// `3er Pack`, `3-pack`, `20 Stück`, `2er Kit`.
pub(super) fn pack(scan: &mut Scan, at: usize) -> usize {
    let Some(count) = scan.number(at).filter(|n| (1..=PACK_MAX).contains(n)) else {
        return 0;
    };
    let er = usize::from(scan.text(at + 1) == "er" && scan.is_joined(at + 1));
    let (word, is_near) = (at + 1 + er, scan.follows(at + 1 + er));
    let pieces = usize::from(scan.is_any(word, &["pc", "piece", "stuck", "parti"]));
    let named = word + pieces;
    let is_kit = is_near && scan.is_any(named, KITS);
    let is_counted = is_near && (scan.is_any(named, PACKS) || scan.is_any(word, PACKS));
    let what = if scan.is_memory && (is_kit && er == 1 || is_counted) {
        // Memory comes in sets: pieces are modules.
        What::Modules
    } else if is_counted || is_near && scan.text(word) == "kits" {
        What::Pack
    } else {
        return 0;
    };
    // "Fjord 120 Box" tells no pack of 120, nor "Bris 5 Set" one of five.
    let by_hyphen = matches!(scan.glue(word), Glue::Hyphen | Glue::Joined);
    let is_count = scan.is_any(
        word,
        &[
            "pcs", "pieces", "stuck", "stueck", "stk", "szt", "sztuk", "pz", "pezzi", "uds",
            "unidades", "stuks", "ks", "kusu",
        ],
    );
    let opens = scan.glue(at) == Glue::Break;
    let is_plural = scan.text(word) == "kits";
    if er == 0 && !by_hyphen && !is_count && !opens && !is_plural {
        return 0;
    }
    if er == 0 && scan.is_any(word, &["box", "st"]) {
        return 0;
    }
    let end = if scan.is_any(named, PACKS) || scan.is_any(named, KITS) {
        named + 1
    } else {
        word + 1
    };
    scan.claim_number(what, count, at..end);
    end - at
}

/// `pack of 3`, `lot de 3`, `VPE 20`, `set of 3`.
pub(super) fn pack_of(scan: &mut Scan, at: usize) -> usize {
    // "x4", "x8" and "x16" are lanes of a bus.
    if scan.text(at) == "x"
        && matches!(scan.glue(at), Glue::Space | Glue::Break)
        && scan.is_joined(at + 1)
    {
        let count = scan.number(at + 1).filter(|n| [2, 3, 5, 6, 10].contains(n));
        if let Some(count) = count.filter(|_| !scan.is_memory && !scan.is_joined(at + 2)) {
            scan.claim_number(What::Pack, count, at..at + 2);
            return 2;
        }
    }
    if !scan.is_any(at, PACK_WORDS) {
        return 0;
    }
    let mut number = at + 1;
    if scan.is_any(number, &["of", "de", "di", "da", "van", "a", "von"]) {
        number += 1;
    } else if !scan.is_any(at, &["vpe", "zestaw", "lot"]) {
        return 0;
    }
    let Some(count) = scan.number(number).filter(|n| (2..=PACK_MAX).contains(n)) else {
        return 0;
    };
    if scan.is_joined(number + 1) || !scan.follows(number) {
        return 0;
    }
    let counted = scan.is_any(
        number + 1,
        &[
            "stuck", "stueck", "pcs", "szt", "sztuk", "pz", "pezzi", "stuks",
        ],
    );
    let end = number + 1 + usize::from(counted);
    scan.claim_number(What::Pack, count, at..end);
    end - at
}
