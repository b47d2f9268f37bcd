//! Which column is which field, by its name in the languages of Europe's shops and by its values.
//! The words are common practice, no source.

use super::Candidate;
use crate::catalogue::Gtin;
use crate::market::Field;

/// Words of names, the surest first. A name is folded to lower-case letters and digits.
const WORDS: [(Field, &[&str]); 19] = [
    (
        Field::SalePrice,
        &[
            "saleprice",
            "specialprice",
            "sonderpreis",
            "aktionspreis",
            "prixpromo",
        ],
    ),
    (
        Field::ListPrice,
        &[
            "listprice",
            "oldprice",
            "regularprice",
            "recommendedprice",
            "rrp",
            "msrp",
            "uvp",
            "streichpreis",
            "prixbarre",
        ],
    ),
    (
        Field::Price,
        &[
            "price",
            "grossprice",
            "bruttopreis",
            "preis",
            "prix",
            "precio",
            "prezzo",
            "preco",
            "prijs",
            "pris",
            "cena",
            "amount",
        ],
    ),
    (
        Field::Currency,
        &[
            "currency",
            "pricecurrency",
            "waehrung",
            "währung",
            "devise",
            "moneda",
            "valuta",
            "waluta",
        ],
    ),
    (
        Field::Gtin,
        &[
            "gtin", "gtin13", "ean", "ean13", "eancode", "upc", "barcode",
        ],
    ),
    (
        Field::Mpn,
        &[
            "mpn",
            "manufacturerpartnumber",
            "partnumber",
            "partno",
            "herstellernummer",
            "herstellerartikelnummer",
            "herstellernr",
            "makernumber",
            "makerpartnumber",
            "mfrpartnumber",
            "herstnr",
            "refabricante",
        ],
    ),
    (
        Field::GroupId,
        &[
            "groupid",
            "itemgroupid",
            "parentid",
            "parentsku",
            "variantgroup",
        ],
    ),
    (
        Field::Sku,
        &[
            "sku",
            "artikelnr",
            "artikelnummer",
            "artnr",
            "articleid",
            "itemnumber",
            "itemid",
            "productid",
            "bestellnummer",
            "bestellnr",
            "referencia",
            "reference",
            "codice",
            "id",
            "nr",
            "number",
            "guid",
        ],
    ),
    (
        Field::Title,
        &[
            "title",
            "name",
            "productname",
            "producttitle",
            "bezeichnung",
            "artikelname",
            "artikelbezeichnung",
            "produktname",
            "titel",
            "titre",
            "nom",
            "nombre",
            "titolo",
            "nome",
            "naam",
            "nazwa",
            "label",
        ],
    ),
    (
        Field::Brand,
        &[
            "brand",
            "brandname",
            "manufacturer",
            "maker",
            "hersteller",
            "marke",
            "marque",
            "marca",
            "merk",
            "producent",
            "vendor",
        ],
    ),
    (
        Field::Availability,
        &[
            "availability",
            "instock",
            "stock",
            "stockstatus",
            "lagerbestand",
            "bestand",
            "verfuegbarkeit",
            "verfügbarkeit",
            "lager",
            "disponibilite",
            "disponibilité",
            "disponibilidad",
            "voorraad",
            "dostepnosc",
        ],
    ),
    (
        Field::LeadTime,
        &[
            "leadtime",
            "leaddays",
            "lieferzeit",
            "deliverytime",
            "deliverydays",
            "handlingtime",
            "delailivraison",
            "plazoentrega",
            "tempiconsegna",
            "levertijd",
            "leveranstid",
        ],
    ),
    (
        Field::AvailableFrom,
        // The first is Google's product feed's, the second schema.org's.
        &[
            "availabilitydate",
            "availabilitystarts",
            "availablefrom",
            "lieferbarab",
            "verfuegbarab",
            "verfügbarab",
            "releasedate",
        ],
    ),
    (
        Field::Condition,
        &[
            "condition",
            "itemcondition",
            "zustand",
            "etat",
            "état",
            "estado",
            "stato",
        ],
    ),
    (
        Field::Seller,
        &[
            "seller",
            "sellername",
            "merchant",
            "haendler",
            "händler",
            "vendeur",
            "verkaeufer",
        ],
    ),
    (
        Field::Shipping,
        &[
            "shipping",
            "shippingcost",
            "deliverycost",
            "delivery",
            "versand",
            "versandkosten",
            "fraisdeport",
            "envio",
            "spedizione",
        ],
    ),
    (
        Field::Link,
        &[
            "link",
            "url",
            "producturl",
            "productlink",
            "deeplink",
            "permalink",
            "href",
            "lien",
            "enlace",
        ],
    ),
    (
        Field::ValidUntil,
        &["validuntil", "pricevaliduntil", "gueltigbis", "gültigbis"],
    ),
    (
        Field::MinimumQuantity,
        &[
            "minimumquantity",
            "minquantity",
            "minorder",
            "mindestmenge",
            "moq",
        ],
    ),
];

/// Score of a value of the right kind, above any score of a name.
const BY_VALUE: u32 = 1_000;

/// Candidates given to fields, in the order of the fields, and the places that nobody wanted.
pub(super) struct Assigned<'c> {
    pub fields: Vec<(Field, &'c Candidate)>,
    pub unused: Vec<&'c str>,
}

impl Assigned<'_> {
    /// The place that was given to a field.
    pub(super) fn place_of(&self, field: Field) -> Option<String> {
        let mut fields = self.fields.iter();
        let found = fields.find(|(known, _)| *known == field);
        found.map(|(_, candidate)| candidate.place.clone())
    }
}

/// Gives each field at most one candidate and each candidate at most one field, the surest
/// pairs first.
pub(super) fn assign(candidates: &[Candidate]) -> Assigned<'_> {
    let mut pairs: Vec<(u32, usize, Field)> = Vec::new();
    for (index, candidate) in candidates.iter().enumerate() {
        for (field, words) in WORDS {
            let score = score(field, words, candidate);
            if score > 0 {
                pairs.push((score, index, field));
            }
        }
    }
    // Equal scores: the earlier candidate, so that the answer does not depend on chance.
    pairs.sort_by(|first, second| (second.0, first.1).cmp(&(first.0, second.1)));
    let mut fields: Vec<(Field, &Candidate)> = Vec::new();
    let mut is_used = vec![false; candidates.len()];
    for (_, index, field) in pairs {
        if !is_used[index] && !fields.iter().any(|(known, _)| *known == field) {
            is_used[index] = true;
            fields.push((field, &candidates[index]));
        }
    }
    fields.sort_by_key(|(field, _)| *field);
    let unused = candidates
        .iter()
        .zip(&is_used)
        .filter(|(_, is_used)| !**is_used);
    Assigned {
        fields,
        unused: unused
            .map(|(candidate, _)| candidate.place.as_str())
            .collect(),
    }
}

fn score(field: Field, words: &[&str], candidate: &Candidate) -> u32 {
    let by_name = name_score(words, candidate);
    let values: Vec<&str> = candidate.values.iter().map(|value| value.trim()).collect();
    let filled: Vec<&&str> = values.iter().filter(|value| !value.is_empty()).collect();
    let share = |fits: &dyn Fn(&str) -> bool| {
        let fitting = filled.iter().filter(|value| fits(value)).count();
        !filled.is_empty() && fitting * 2 > filled.len()
    };
    match field {
        Field::Gtin if share(&is_gtin) => BY_VALUE + by_name,
        Field::Link if by_name == 0 || !share(&is_address) => 0,
        // A column called price without a digit in it is not one.
        Field::Price | Field::SalePrice | Field::ListPrice
            if !filled.is_empty() && !share(&has_digit) =>
        {
            0
        }
        Field::Title if share(&is_address) || share(&is_number) => 0,
        _ => by_name,
    }
}

/// The surer the word and the more it is all of the name, the higher.
fn name_score(words: &[&str], candidate: &Candidate) -> u32 {
    let name = fold(&candidate.name);
    let path = fold(&candidate.place);
    let rank = |index: usize| 100 - u32::try_from(index).unwrap_or(99).min(60);
    let mut best = 0;
    for (index, word) in words.iter().enumerate() {
        let score = if name == *word {
            rank(index) + 400
        } else if path == *word || path.ends_with(word) && word.len() > 4 {
            rank(index) + 200
        } else if name.len() > word.len() && word.len() > 3 && name.contains(word) {
            rank(index)
        } else {
            0
        };
        best = best.max(score);
    }
    best
}

fn fold(name: &str) -> String {
    let letters = name.to_lowercase();
    letters.chars().filter(|c| c.is_alphanumeric()).collect()
}

fn is_gtin(value: &str) -> bool {
    matches!(value.len(), 8 | 12 | 13 | 14) && Gtin::parse(value).is_ok()
}

fn is_address(value: &str) -> bool {
    value.starts_with("http://") || value.starts_with("https://") || value.starts_with('/')
}

fn is_number(value: &str) -> bool {
    value
        .chars()
        .all(|c| c.is_ascii_digit() || ".,-".contains(c))
}

fn has_digit(value: &str) -> bool {
    value.chars().any(|c| c.is_ascii_digit())
}
