//! Packed bodies and character encodings.

use super::support::{run, run_in};
use crate::feeds::decode::{Context, DecodeFault};
use crate::market::Field;
use encoding_rs::{UTF_16LE, WINDOWS_1252};
use flate2::Compression;
use flate2::write::{DeflateEncoder, GzEncoder};
use std::io::Write;

const CSV: &str = "format = \"csv\"\n[fields]\nsku = \"id\"\ntitle = \"title\"\n";
const BODY: &str = "id;title\n1;Lüfter für 5 €\n2;Kühler\n";

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

/// A zip archive of files in a row, with no more of its directory than its signature.
pub(super) fn zip(files: &[(&str, &[u8])], sizes_follow: bool) -> Vec<u8> {
    let mut archive = Vec::new();
    for (name, data) in files {
        let mut encoder = DeflateEncoder::new(Vec::new(), Compression::default());
        encoder.write_all(data).unwrap();
        let packed = encoder.finish().unwrap();
        let mut crc = flate2::Crc::new();
        crc.update(data);
        let numbers = [crc.sum(), packed.len() as u32, data.len() as u32];
        let stated = if sizes_follow { [0; 3] } else { numbers };
        archive.extend(b"PK\x03\x04\x14\x00");
        archive.extend(if sizes_follow { 8u16 } else { 0 }.to_le_bytes());
        archive.extend([8, 0, 0, 0, 0, 0]);
        stated
            .iter()
            .for_each(|number| archive.extend(number.to_le_bytes()));
        archive.extend((name.len() as u16).to_le_bytes());
        archive.extend([0, 0]);
        archive.extend(name.as_bytes());
        archive.extend(packed);
        if sizes_follow {
            archive.extend(b"PK\x07\x08");
            numbers
                .iter()
                .for_each(|number| archive.extend(number.to_le_bytes()));
        }
    }
    archive.extend(b"PK\x01\x02 the directory is not read");
    archive
}

/// zstd's simplest frame: raw blocks (RFC 8878 section 3.1.1.2).
fn zstd(bytes: &[u8]) -> Vec<u8> {
    let mut frame = vec![0x28, 0xB5, 0x2F, 0xFD, 0x00, 0x58];
    let header = ((bytes.len() as u32) << 3) | 1;
    frame.extend(&header.to_le_bytes()[..3]);
    frame.extend(bytes);
    frame
}

fn titles(body: &[u8]) -> Result<Vec<String>, DecodeFault> {
    let decoded = run(CSV, body)?;
    Ok(decoded
        .column(Field::Title)
        .into_iter()
        .map(str::to_owned)
        .collect())
}

#[test]
fn packed_bodies_are_known_by_their_bytes() {
    // F11, F12.
    let plain = BODY.as_bytes();
    let split = [gzip(&plain[..20]), gzip(&plain[20..])].concat();
    let zstd_frames = [
        zstd(&plain[..20]),
        vec![0x50, 0x2A, 0x4D, 0x18, 2, 0, 0, 0, 9, 9],
        zstd(&plain[20..]),
    ]
    .concat();
    for body in [
        plain.to_vec(),
        gzip(plain),
        split,
        gzip(&gzip(plain)),
        zip(&[("feed.csv", plain)], false),
        zip(
            &[
                ("folder/", b""),
                ("__MACOSX/x", b"junk"),
                ("folder/feed.csv", plain),
            ],
            true,
        ),
        gzip(&zip(&[("feed.csv", plain)], true)),
        zstd(plain),
        zstd_frames,
    ] {
        assert_eq!(titles(&body).unwrap(), ["Lüfter für 5 €", "Kühler"]);
    }
    let fault = titles(&gzip(&gzip(&gzip(plain)))).unwrap_err();
    assert_eq!(fault.code(), "packed-too-deep");
}

#[test]
fn of_several_files_in_a_zip_the_feed_is_taken_or_all_are_named() {
    let plain = BODY.as_bytes();
    let other = b"id;title\n9;Other\n".as_slice();
    let in_archive = |keys: &str, files: &[(&str, &[u8])]| {
        let settings = format!("{keys}{CSV}");
        let mut outcomes =
            [false, true].map(
                |sizes_follow| match run(&settings, zip(files, sizes_follow)) {
                    Ok(decoded) => decoded.column(Field::Title).join(", "),
                    Err(fault) => fault.to_string(),
                },
            );
        assert_eq!(outcomes[0], outcomes[1], "{files:?}");
        std::mem::take(&mut outcomes[0])
    };
    const FEED: &str = "Lüfter für 5 €, Kühler";
    // One file, whatever its name; and one that ends like the format, wherever it stands.
    assert_eq!(in_archive("", &[("export", plain)]), FEED);
    for files in [
        [
            ("readme.pdf", other),
            ("offers.csv", plain),
            ("images.xml", other),
        ],
        [
            ("a/OFFERS.TSV", plain),
            ("a/terms.html", other),
            ("b", other),
        ],
    ] {
        assert_eq!(in_archive("", &files), FEED);
    }
    let packed = gzip(plain);
    assert_eq!(
        in_archive("", &[("x.csv.gz", &packed), ("y.json", other)]),
        FEED
    );
    // Two that could be it, or none.
    let two = [("de.csv", plain), ("fr.csv", other), ("notes.doc", other)];
    insta::assert_snapshot!(in_archive("", &two), @r#"the zip archive is not clear: more than one of its files ends in .csv, .tsv, .tab, .txt: "de.csv", "fr.csv"; set `zip_entry` to one"#);
    let none = [("a.doc", plain), ("b.doc", other)];
    insta::assert_snapshot!(in_archive("", &none), @r#"the zip archive is not clear: none of its files ends in .csv, .tsv, .tab, .txt: "a.doc", "b.doc"; set `zip_entry` to one"#);
    // The author settles it.
    assert_eq!(in_archive("zip_entry = \"de.csv\"\n", &two), FEED);
    assert_eq!(in_archive("zip_entry = \"d*.csv\"\n", &two), FEED);
    insta::assert_snapshot!(in_archive("zip_entry = \"es.csv\"\n", &two), @r#"the zip archive is not clear: none of its files is called "es.csv": "de.csv", "fr.csv", "notes.doc"; set `zip_entry` to one"#);
    insta::assert_snapshot!(in_archive("zip_entry = \"*.csv\"\n", &two), @r#"the zip archive is not clear: more than one of its files is called "*.csv": "de.csv", "fr.csv"; set `zip_entry` to one"#);
    assert_eq!(
        in_archive("", &[("folder/", b"")]),
        "no data found: the zip archive holds no file"
    );
}

#[test]
fn a_zip_that_ends_between_two_files_is_cut() {
    let first = zip(&[("a.csv", BODY.as_bytes())], true);
    let end = first.len() - b"PK\x01\x02 the directory is not read".len();
    assert_eq!(titles(&first[..end]).unwrap_err().code(), "body-truncated");
    let mut wide = first[..end - 8].to_vec();
    // Sizes of eight bytes each behind the file (APPNOTE 4.3.9.2).
    let sizes = &first[end - 8..end];
    wide.extend([&sizes[..4], &[0; 4], &sizes[4..], &[0; 4]].concat());
    wide.extend(&zip(&[("b.doc", b"x")], true));
    assert_eq!(titles(&wide).unwrap(), ["Lüfter für 5 €", "Kühler"]);
}

#[test]
fn a_bomb_costs_the_limit_and_no_more() {
    // F13: 64 MB that pack to some kilobytes, against a limit of one; also packed twice.
    let bomb = gzip(&vec![b'x'; 64 << 20]);
    assert!(bomb.len() < 100_000);
    let context = Context {
        body_limit: 1 << 20,
        ..Context::default()
    };
    for body in [
        &bomb,
        &gzip(&bomb),
        &zip(&[("a", &vec![0u8; 4 << 20])], true),
    ] {
        let fault = run_in(CSV, body, &context).unwrap_err();
        assert_eq!(fault.code(), "body-too-large", "{fault}");
    }
    // An archive that is passed over counts too.
    let hidden = zip(
        &[
            (".hidden", &vec![0u8; 4 << 20]),
            ("feed.csv", BODY.as_bytes()),
        ],
        true,
    );
    let fault = run_in(CSV, &hidden, &context).unwrap_err();
    assert_eq!(fault.code(), "body-too-large");
}

#[test]
fn packed_bodies_that_are_cut_or_damaged_fail_the_poll() {
    let plain = BODY.repeat(200);
    for whole in [
        gzip(plain.as_bytes()),
        zip(&[("f", plain.as_bytes())], false),
        zstd(plain.as_bytes()),
    ] {
        let cut = &whole[..whole.len() / 2];
        assert_eq!(titles(cut).unwrap_err().code(), "body-truncated");
    }
    let mut damaged = gzip(plain.as_bytes());
    let last = damaged.len() - 6;
    damaged[last] ^= 0xFF;
    assert_eq!(titles(&damaged).unwrap_err().code(), "packing-damaged");
    let mut damaged = zip(&[("f", plain.as_bytes())], false);
    damaged[14] ^= 0xFF;
    assert_eq!(titles(&damaged).unwrap_err().code(), "packing-damaged");
}

#[test]
fn declared_utf8_that_is_windows_1252_is_read_as_that() {
    // F08.
    let (bytes, _, _) = WINDOWS_1252.encode(BODY);
    for content_type in ["text/csv; charset=utf-8", "text/csv"] {
        let context = Context {
            content_type: Some(content_type),
            ..Context::default()
        };
        let decoded = run_in(CSV, &bytes, &context).unwrap();
        assert_eq!(decoded.column(Field::Title), ["Lüfter für 5 €", "Kühler"]);
    }
}

#[test]
fn one_stray_byte_does_not_change_the_encoding_of_the_rest() {
    // F08 in a body that is UTF-8 all over, and far behind the part that is looked at first.
    let mut bytes = BODY.repeat(20_000).replace("id;title\n", "").into_bytes();
    bytes.splice(0..0, b"id;title\n".iter().copied());
    bytes.extend(b"9;K\xFChler\n");
    let decoded = run(CSV, &bytes).unwrap();
    let titles = decoded.column(Field::Title);
    assert_eq!(
        (titles[0], titles[titles.len() - 1]),
        ("Lüfter für 5 €", "Kühler")
    );
    assert!(!titles.iter().any(|title| title.contains('\u{FFFD}')));
    assert!(decoded.has_note("1 bytes did not fit"));
}

#[test]
fn utf16_is_read_with_and_without_its_mark() {
    // F09.
    let text = BODY.replace(';', "\t");
    let units: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let marked = [b"\xFF\xFE".to_vec(), units.clone()].concat();
    let big: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
    for bytes in [marked, units, [b"\xFE\xFF".to_vec(), big].concat()] {
        assert_eq!(titles(&bytes).unwrap(), ["Lüfter für 5 €", "Kühler"]);
    }
    assert_eq!(UTF_16LE.name(), "UTF-16LE");
}

#[test]
fn a_wrong_prolog_does_not_garble_utf8() {
    // F10: header utf-8, prolog windows-1252, bytes UTF-8. And the prolog alone.
    let toml = "format = \"xml\"\nrecords = \"i\"\n[fields]\ntitle = \"t\"\n";
    let body = "<?xml version='1.0' encoding='windows-1252'?><f><i><t>Lüfter 5 €</t></i></f>";
    for content_type in [Some("text/xml; charset=\"UTF-8\""), None] {
        let context = Context {
            content_type,
            ..Context::default()
        };
        let decoded = run_in(toml, body, &context).unwrap();
        assert_eq!(decoded.column(Field::Title), ["Lüfter 5 €"]);
    }
    let (bytes, _, _) = WINDOWS_1252.encode(body);
    assert_eq!(
        run(toml, &bytes).unwrap().column(Field::Title),
        ["Lüfter 5 €"]
    );
}

#[test]
fn mark_header_and_document_are_asked_in_that_order() {
    // H25. 0xE4 is ä in windows-1252, ה in windows-1255 and δ in windows-1253.
    let html = |meta: &str| {
        let mut bytes = format!("<meta charset='{meta}'><p class=t>").into_bytes();
        bytes.extend(b"\xE4</p>");
        bytes
    };
    let toml = "format = \"html\"\n[fields]\ntitle = \".t\"\n";
    for (content_type, meta, expected) in [
        (Some("text/html; charset=windows-1255"), "windows-1253", "ה"),
        (Some("text/html"), "windows-1253", "δ"),
        (Some("text/html; charset=x-nonsense"), "windows-1253", "δ"),
        (None, "x-nonsense", "ä"),
    ] {
        let context = Context {
            content_type,
            ..Context::default()
        };
        let decoded = run_in(toml, html(meta), &context).unwrap();
        assert_eq!(
            decoded.column(Field::Title),
            [expected],
            "{content_type:?} {meta}"
        );
    }
    let marked = "\u{feff}<meta charset='windows-1253'><p class=t>ä</p>";
    let context = Context {
        content_type: Some("text/html; charset=windows-1255"),
        ..Context::default()
    };
    assert_eq!(
        run_in(toml, marked, &context).unwrap().column(Field::Title),
        ["ä"]
    );
    let configured = format!("encoding = \"windows-1253\"\n{toml}");
    let decoded = run_in(&configured, html("windows-1252"), &context).unwrap();
    assert_eq!(decoded.column(Field::Title), ["δ"]);
}

#[test]
fn an_empty_body_is_no_feed() {
    for body in [&b""[..], b"PK\x05\x06", &gzip(b"")] {
        assert_eq!(titles(body).unwrap_err().code(), "no-data");
    }
}

#[test]
fn records_above_the_limit_fail_the_poll() {
    let context = Context {
        records_max: 1,
        ..Context::default()
    };
    assert_eq!(
        run_in(CSV, BODY, &context).unwrap_err().code(),
        "too-many-records"
    );
}
