//! What an offer is known by: the retailer's number, GTINs, MPN, link and seller.

use super::settings::NormaliseSettings;
use super::{Fault, RefusalReason, text};
use crate::catalogue::{Gtin, GtinFault};
use crate::market::offer::Sku;
use crate::market::raw::{Field, RawOffer};

/// The identities of one record that passed their checks.
pub(super) struct Identity {
    pub sku: Option<Sku>,
    pub gtins: Vec<Gtin>,
    pub mpn: Option<String>,
    pub link: Option<String>,
}

const GTINS_MAX: usize = 10;
const LINK_BYTES_MAX: usize = 2000;

pub(super) fn read(raw: &RawOffer, notes: &mut Vec<String>) -> Identity {
    let gtins = gtins(raw, notes);
    let mpn = text::short(raw, Field::Mpn).filter(|mpn| !is_blank_word(mpn));
    let link = link(raw, notes);
    let own = text::short(raw, Field::Sku).filter(|sku| !is_blank_word(sku));
    let sku = own.or_else(|| {
        // A feed of pages often has no number of its own; the next best identity is stable too.
        let gtin = gtins.first().map(Gtin::to_string);
        gtin.or_else(|| mpn.clone()).or_else(|| link.clone())
    });
    Identity {
        sku: sku.map(Sku::new),
        gtins,
        mpn,
        link,
    }
}

/// Who sells it, where that is not the retailer.
pub(super) fn seller(
    raw: &RawOffer,
    settings: &NormaliseSettings,
) -> Result<Option<String>, Fault> {
    let Some(seller) = text::short(raw, Field::Seller) else {
        return Ok(None);
    };
    let own = [&settings.retailer_name, settings.retailer.as_str()];
    if own
        .iter()
        .any(|name| company_key(name) == company_key(&seller))
    {
        return Ok(None);
    }
    if settings.allow_marketplace {
        return Ok(Some(seller));
    }
    Err(Fault {
        field: Field::Seller,
        text: seller.clone(),
        reason: RefusalReason::OtherSeller { seller },
    })
}

/// A company's name without its legal form, for comparison.
fn company_key(name: &str) -> String {
    const LEGAL_FORMS: &[&str] = &[
        "gmbh", "ag", "kg", "ug", "se", "ltd", "limited", "llc", "inc", "plc", "sa", "sas", "sarl",
        "srl", "spa", "bv", "nv", "ab", "as", "oy", "aps", "sro", "zoo", "sp", "o", "z", "co",
        "und", "and",
    ];
    let words = text::words(name);
    words
        .split(' ')
        .filter(|word| !LEGAL_FORMS.contains(word))
        .collect()
}

fn gtins(raw: &RawOffer, notes: &mut Vec<String>) -> Vec<Gtin> {
    let mut gtins: Vec<Gtin> = Vec::new();
    let values = raw.fields.get(Field::Gtin).iter();
    for part in values.flat_map(|value| value.text.split([',', ';', '|', '/', '\n'])) {
        if gtins.len() == GTINS_MAX {
            notes.push(format!("gtin: more than {GTINS_MAX} left out"));
            break;
        }
        let cleaned = unquoted(part);
        if is_blank_word(cleaned) || cleaned.bytes().all(|byte| byte == b'0') {
            continue;
        }
        match read_gtin(cleaned) {
            Ok((gtin, repaired)) => {
                if repaired {
                    notes.push(format!("gtin: \"{cleaned}\" read as {gtin}"));
                }
                if !gtins.contains(&gtin) {
                    gtins.push(gtin);
                }
            }
            Err(fault) => notes.push(format!("gtin: \"{cleaned}\" {fault}, left out")),
        }
    }
    gtins
}

/// Takes off blanks, quotes and a prefix such as `ean:`.
fn unquoted(part: &str) -> &str {
    let bare = part.trim().trim_matches(['\'', '"', '’', '=']).trim();
    match bare.split_once(':') {
        Some((prefix, number)) if prefix.chars().all(char::is_alphanumeric) => number.trim(),
        _ => bare,
    }
}

/// Reads a number; the flag says that it was repaired, which only a fitting check digit allows.
///
/// Spreadsheets take off a leading zero of twelve digits and add `.0`.
fn read_gtin(text: &str) -> Result<(Gtin, bool), GtinFault> {
    let whole = text.strip_suffix(".0").unwrap_or(text);
    let lost_zero = whole.len() == 11 && whole.bytes().all(|byte| byte.is_ascii_digit());
    if lost_zero {
        return Gtin::parse(&format!("0{whole}")).map(|gtin| (gtin, true));
    }
    Gtin::parse(whole).map(|gtin| (gtin, whole.len() < text.len()))
}

/// Texts that people write where there is nothing to write.
fn is_blank_word(text: &str) -> bool {
    // Of most texts their first letter tells that they are none of these.
    let first = text.bytes().find(u8::is_ascii_alphanumeric);
    if text.is_ascii() && first.is_some_and(|byte| !b"nkd0NKD".contains(&byte)) {
        return false;
    }
    matches!(
        text::key(text).as_str(),
        "" | "na"
            | "n/a"
            | "none"
            | "null"
            | "nil"
            | "nan"
            | "0"
            | "k/a"
            | "keine"
            | "doesnotapply"
    )
}

/// An absolute web address; anything else is noted and left out.
fn link(raw: &RawOffer, notes: &mut Vec<String>) -> Option<String> {
    let text = raw.first(Field::Link)?.text.trim();
    let problem = match url::Url::parse(text) {
        _ if text.len() > LINK_BYTES_MAX => "is too long",
        Ok(url) if !matches!(url.scheme(), "http" | "https") => "is not http or https",
        Ok(url) if !url.has_host() => "has no host",
        Ok(url) => return Some(url.to_string()),
        Err(_) => "is not an absolute address",
    };
    let shown = text::bounded(text, 80);
    notes.push(format!("link: \"{shown}\" {problem}, left out"));
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn damaged_numbers_are_repaired_only_where_the_check_digit_fits() {
        // F27, M01, M02, M03, M04.
        for (text, expected) in [
            ("'4006588234017", Some("04006588234017")),
            ("71588234019", Some("00071588234019")),
            ("71588234018", None),
            ("6291041500213.0", Some("06291041500213")),
            ("ean:6291041500213", Some("06291041500213")),
            ("8.80609E+12", None),
            ("0", None),
            ("N/A", None),
            ("4006588234018", None),
            ("14006588234014", None),
            ("2012345000124", None),
            ("0000000000000", None),
        ] {
            let mut raw = RawOffer::default();
            raw.push(Field::Gtin, crate::market::RawText::person(text));
            let found: Vec<String> = gtins(&raw, &mut Vec::new())
                .iter()
                .map(Gtin::to_string)
                .collect();
            assert_eq!(found.first().map(String::as_str), expected, "{text}");
        }
    }

    #[test]
    fn a_retailer_is_itself_with_and_without_its_legal_form() {
        assert_eq!(
            company_key("Nordhafen Technik GmbH & Co. KG"),
            company_key("nordhafen technik")
        );
        assert_ne!(company_key("Nordhafen Technik"), company_key("Nordhafen"));
    }

    #[test]
    fn links_are_web_addresses_or_nothing() {
        for (text, kept) in [
            ("https://shop.example/p/1", true),
            ("javascript:alert(1)", false),
            ("/p/1", false),
            ("file:///etc/passwd", false),
            ("", false),
        ] {
            let mut raw = RawOffer::default();
            raw.push(Field::Link, crate::market::RawText::person(text));
            assert_eq!(link(&raw, &mut Vec::new()).is_some(), kept, "{text}");
        }
    }
}
