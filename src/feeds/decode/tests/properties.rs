//! Whatever the bytes: no panic, and every record is counted once.

use super::support::read_settings;
use crate::feeds::decode::{Context, decode};
use proptest::prelude::*;
use std::ops::ControlFlow;

const SETTINGS: [&str; 8] = [
    "format = \"csv\"\n[fields]\nsku = \"id\"\nprice = \"price\"\n",
    "format = \"csv\"\nheader = false\ndelimiter = \";\"\nescape = '\\'\n[fields]\nsku = \"#1\"\n",
    "format = \"json\"\nrecords = \"$.a[*]\"\nnext_page = \"$.n\"\n[fields]\nsku = \"id\"\n",
    "format = \"json\"\nrecords = \"$..x[?@.id]\"\nvariants = \"v\"\n[fields]\nsku = \"^.id\"\n",
    "format = \"ndjson\"\n[fields]\nsku = \"id\"\n",
    "format = \"xml\"\nrecords = \"item\"\n[fields]\nsku = \"id\"\nprice = \"g:price/@x\"\n",
    "format = \"atom\"\n[fields]\nprice = \"price\"\n",
    "format = \"html\"\nstructured_data = [\"json-ld\", \"microdata\", \"rdfa\", \"opengraph\"]\nproducts = \"all\"\n[fields]\nprice = \".p\"\n",
];

/// Pieces that decoders react to, so that random bodies reach deep places.
const PIECES: [&str; 44] = [
    "id",
    "price",
    ";",
    ",",
    "\n",
    "\r\n",
    "\"",
    "\\",
    "sep=;",
    "{",
    "}",
    "[",
    "]",
    ":",
    "\"id\"",
    "\"a\"",
    "1",
    "1.50",
    "null",
    "<item>",
    "</item>",
    "<id>",
    "</id>",
    "<f>",
    "</f>",
    "<![CDATA[",
    "]]>",
    "<!--",
    "-->",
    "&amp;",
    "&#11;",
    "&x",
    "<script type='application/ld+json'>",
    "</script>",
    "{\"@type\":\"Product\",\"name\":\"x\",\"offers\":{\"price\":\"1\"}}",
    "<div itemscope itemtype='http://schema.org/Product'>",
    "<b itemprop=price content=5>",
    "</div>",
    "<p class=p>5 €",
    "<a property=name typeof=Product>",
    "\u{feff}",
    "é",
    "\u{1f}\u{8b}",
    "\0",
];

fn check(settings: &str, body: &[u8]) {
    let settings = read_settings(settings).unwrap();
    let (mut good, mut rejected, mut last) = (0u64, 0u64, 0u64);
    let mut sink = |record: Result<crate::market::RawOffer, crate::market::Reject>| {
        let index = match record {
            Ok(offer) => {
                good += 1;
                offer.index
            }
            Err(reject) => {
                rejected += 1;
                reject.index
            }
        };
        assert_eq!(index, last + 1, "records are numbered without gaps");
        last = index;
        ControlFlow::Continue(())
    };
    let context = Context {
        body_limit: 1 << 20,
        ..Context::default()
    };
    if let Ok(summary) = decode(&settings, &mut &*body, &context, &mut sink) {
        assert_eq!(summary.records, good + rejected);
        assert_eq!(summary.rejected, rejected);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn any_bytes_never_panic_a_decoder(body in prop::collection::vec(any::<u8>(), 0..400)) {
        for settings in SETTINGS {
            check(settings, &body);
        }
    }

    #[test]
    fn any_mixture_of_markup_never_panics_a_decoder(
        pieces in prop::collection::vec(prop::sample::select(&PIECES[..]), 0..60)
    ) {
        let body = pieces.concat();
        for settings in SETTINGS {
            check(settings, body.as_bytes());
        }
    }

    #[test]
    fn packed_bytes_never_panic(kind in 0..3usize, body in prop::collection::vec(any::<u8>(), 0..200)) {
        let magic: [&[u8]; 3] = [&[0x1F, 0x8B, 8, 0], b"PK\x03\x04", &[0x28, 0xB5, 0x2F, 0xFD]];
        check(SETTINGS[0], &[magic[kind], &body].concat());
    }

    #[test]
    fn a_damaged_archive_never_panics(
        damage in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        length: prop::sample::Index,
        sizes_follow: bool,
    ) {
        let files: [(&str, &[u8]); 3] = [("a.doc", b"x"), ("b.csv", b"id;price\n1;2\n"), (".c", b"")];
        let mut archive = super::layers::zip(&files, sizes_follow);
        for (place, byte) in damage {
            *place.get_mut(&mut archive) = byte;
        }
        archive.truncate(length.index(archive.len() * 2));
        for settings in &SETTINGS[..2] {
            check(settings, &archive);
        }
    }

    #[test]
    fn good_and_rejected_rows_are_all_rows(
        rows in prop::collection::vec(("[a-z]{1,5}", 0..3usize), 1..50)
    ) {
        // A row has its two fields, or too few, or too many.
        let mut body = "id;price\n".to_owned();
        for (id, shape) in &rows {
            body += &match shape {
                0 => format!("{id};5\n"),
                1 => format!("{id}\n"),
                _ => format!("{id};5;x\n"),
            };
        }
        let settings = format!("rejects_percent_max = 100\n{}", SETTINGS[0]);
        let good = rows.iter().filter(|(_, shape)| *shape == 0).count();
        match super::support::run(&settings, &body) {
            Ok(decoded) => {
                prop_assert_eq!(decoded.offers.len(), good);
                prop_assert_eq!(decoded.rejects.len(), rows.len() - good);
            }
            Err(_) => prop_assert_eq!(good, 0),
        }
    }
}

/// Run by hand: `cargo test --release decode -- --ignored`, with `RIGTIDE_FUZZ_CASES` inputs a format.
#[test]
#[ignore = "takes minutes; run by hand"]
fn a_million_inputs_a_format() {
    let n_cases: u64 = std::env::var("RIGTIDE_FUZZ_CASES")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(1_000_000);
    let mut state = 0x9E37_79B9_7F4A_7C15u64;
    let mut next = |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        usize::try_from(state >> 33).unwrap() % below
    };
    for settings in SETTINGS {
        for _ in 0..n_cases {
            let mut body = Vec::new();
            for _ in 0..next(40) {
                match next(5) {
                    0 => body.push(u8::try_from(next(256)).unwrap()),
                    _ => body.extend(PIECES[next(PIECES.len())].as_bytes()),
                }
            }
            check(settings, &body);
        }
    }
}
