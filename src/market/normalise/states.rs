//! Reads availability and condition: the standard's names, the shop's words, common words.

use super::settings::NormaliseSettings;
use super::text;
use crate::market::offer::{Availability, Condition};
use crate::market::raw::{Field, RawOffer};
use aho_corasick::AhoCorasick;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// Words of shops in folded form without separators. Common practice, no source.
const AVAILABILITY_WORDS: &[(Availability, &str)] = &[
    (
        Availability::InStock,
        "instock available availablenow yes true y ja oui si sim tak ano evet igen lagernd auflager ablager \
         sofortlieferbar lieferbar verfugbar sofortverfugbar vorratig vorhanden enstock disponible \
         disponibleimmediatement disponibile inmagazzino disponibilitaimmediata emstock emestoque disponivel \
         opvoorraad invoorraad beschikbaar directleverbaar dostepny dostepna dostepne nastanie wmagazynie \
         ilager finnsilager palager varastossa skladem nasklade raktaron keszleten stokta stoktavar mevcut \
         在庫あり 在庫有り 有 вналичии естьвналичии внаявності instoc",
    ),
    (
        Availability::LimitedAvailability,
        "limitedavailability limitedstock lowstock limited fewleft onlyafewleft nurnochwenige wenigeverfugbar \
         begrenztverfugbar geringerbestand stocklimite derniersarticles pocasunidades ultimasunidades \
         pochipezzi ultimipezzi poucasunidades beperktopvoorraad ostatniesztuki fatilager poslednikusy \
         残りわずか мало",
    ),
    (
        Availability::OnlineOnly,
        "onlineonly nuronline webonly exclusiviteweb",
    ),
    (
        Availability::InStoreOnly,
        "instoreonly storeonly clickandcollectonly nurimladen nurinderfiliale nurabholung enmagasinuniquement \
         soloentienda soloinnegozio",
    ),
    (
        Availability::BackOrder,
        "backorder backordered onbackorder availablefororder availabletoorder onorder aufbestellung bestellbar \
         bestellt nachbestellt surcommande encommande bajopedido suordinazione sobencomenda opbestelling \
         nabestelling nazamowienie bestallningsvara bestillingsvare tilaustuote naobjednavku rendelesre \
         siparisuzerine 取り寄せ 取寄 お取り寄せ подзаказ",
    ),
    (
        Availability::PreOrder,
        "preorder preorders vorbestellbar vorbestellung precommande preordine preencomenda przedsprzedaz \
         forhandsbestall forudbestilling predobjednavka onsiparis 予約 予約受付中 предзаказ",
    ),
    (
        Availability::PreSale,
        "presale preventa prevente prevendita prevenda vorverkauf",
    ),
    (
        Availability::MadeToOrder,
        "madetoorder builttoorder aufwunschgefertigt surmesure",
    ),
    (
        Availability::Reserved,
        "reserved reserviert reserve reservado riservato gereserveerd",
    ),
    (
        Availability::OutOfStock,
        "outofstock oos no false n nein non nao nie nej ne hayir nem notavailable unavailable notinstock \
         temporarilyoutofstock currentlyunavailable nichtlieferbar nichtverfugbar nichtauflager \
         nichtvorratig derzeitnichtlieferbar zurzeitnichtverfugbar rupture rupturedestock horsstock \
         indisponible nodisponible sinstock nondisponibile indisponivel semestoque semstock \
         nietopvoorraad nietbeschikbaar niedostepny niedostepna niedostepne braknastanie brak slutilager \
         ejilager ikkepalager eivarastossa loppu neniskladem nincsraktaron nincskeszleten stoktayok \
         在庫なし 在庫無し 無 нетвналичии нет немаєвнаявності",
    ),
    (
        Availability::SoldOut,
        "soldout ausverkauft vergriffen epuise agotado esaurito esgotado uitverkocht wyprzedany wyprzedane \
         slutsald udsolgt utsolgt loppuunmyyty vyprodano elfogyott tukendi 売り切れ 完売 распродано",
    ),
    (
        Availability::Discontinued,
        "discontinued endoflife eol auslaufartikel nichtmehrlieferbar nichtmehrverfugbar abgekundigt discontinue \
         descatalogado fueradecatalogo fuoriproduzione descontinuado wycofany utgatt udgaet 生産終了 販売終了",
    ),
];

const CONDITION_WORDS: &[(Condition, &str)] = &[
    (
        Condition::New,
        "new brandnew factorynew neu neuware fabrikneu neuf nuevo nuovo novo nieuw nowy nowa nowe ny nytt nya uusi \
         nova novy uj sifir yeni 新品 новыи",
    ),
    (
        Condition::Refurbished,
        "refurbished renewed reconditioned certifiedrefurbished manufacturerrefurbished refurb \
         generaluberholt aufbereitet uberholt reconditionne remisaneuf reacondicionado ricondizionato \
         recondicionado gereviseerd odnowiony poleasingowy renoverad renoveret repasovany felujitott \
         yenilenmis 整備済み 再生品",
    ),
    (
        Condition::Used,
        "used preowned secondhand likenew openbox openedbox bstock bware exdisplay gebraucht \
         wiegebraucht neuwertig vorfuhrgerat ausstellungsstuck retoure doccasion occasion usado usato \
         tweedehands gebruikt uzywany uzywana begagnad begagnat brugt brukt kaytetty pouzity pouzite hasznalt \
         ikinciel 中古 開封品 бу",
    ),
    (
        Condition::Damaged,
        "damaged defective defekt beschadigt forparts faulty broken endommage danado danneggiato danificado \
         beschadigd uszkodzony skadad skadet poskozeny hasarli ジャンク",
    ),
];

/// Phrases that a title gives away, as folded words. Common practice, no source.
const TITLE_PHRASES: &[(Condition, &str)] = &[
    (
        Condition::Refurbished,
        "refurbished|renewed|reconditioned|refurb|generaluberholt|aufbereitet|reconditionne|remis a neuf|\
         reacondicionado|ricondizionato|recondicionado|gereviseerd|odnowiony|renoverad|repasovany|yenilenmis",
    ),
    (
        Condition::Used,
        "open box|openbox|opened box|used|pre owned|preowned|second hand|secondhand|ex display|b stock|bstock|\
         b ware|bware|gebraucht|gebrauchte|gebrauchter|vorfuhrgerat|ausstellungsstuck|kundenretoure|\
         d occasion|usado|usato|tweedehands|uzywany|begagnad|brugt|brukt|kaytetty|pouzity|hasznalt|ikinci el",
    ),
    (
        Condition::Damaged,
        "for parts|spares or repair|defekt|defekte|defective|damaged|faulty|fur bastler|beschadigt|endommage|\
         danado|danneggiato|uszkodzony|not working",
    ),
];

/// Whether it can be ordered; unknown, with a note, where nobody mapped the word.
pub(super) fn availability(
    raw: &RawOffer,
    settings: &NormaliseSettings,
    notes: &mut Vec<String>,
) -> Availability {
    let Some(value) = raw.first(Field::Availability) else {
        if raw.fields.has(Field::Availability) {
            notes.push("availability: empty".to_owned());
        }
        return Availability::Unknown;
    };
    let Some(state) = read_availability(&value.text, &settings.availability_words) else {
        let shown = text::bounded(value.text.trim(), 80);
        notes.push(format!("availability: \"{shown}\" is not mapped"));
        return Availability::Unknown;
    };
    for other in raw.fields.get(Field::Availability).iter().skip(1) {
        let second = read_availability(&other.text, &settings.availability_words);
        if second.is_some_and(|second| second != state) {
            let shown = text::bounded(other.text.trim(), 80);
            notes.push(format!(
                "availability: \"{shown}\" disagrees with {}",
                state.name()
            ));
        }
    }
    state
}

/// The worse of what the field and the title say; the feed's default where neither does.
pub(super) fn condition(
    raw: &RawOffer,
    title: &str,
    settings: &NormaliseSettings,
    notes: &mut Vec<String>,
) -> Condition {
    let stated = match raw.first(Field::Condition) {
        None => settings.condition,
        Some(value) => match read_condition(&value.text, &settings.condition_words) {
            Some(condition) => condition,
            None => {
                let shown = text::bounded(value.text.trim(), 80);
                notes.push(format!("condition: \"{shown}\" is not mapped"));
                Condition::Unknown
            }
        },
    };
    let Some((implied, phrase)) = title_condition(title) else {
        return stated;
    };
    if severity(implied) <= severity(stated) {
        return stated;
    }
    notes.push(format!("condition: the title says \"{phrase}\""));
    implied
}

fn severity(condition: Condition) -> u8 {
    match condition {
        Condition::Unknown | Condition::New => 0,
        Condition::Refurbished => 1,
        Condition::Used => 2,
        Condition::Damaged => 3,
    }
}

fn read_availability(text: &str, words: &BTreeMap<String, Availability>) -> Option<Availability> {
    let own = words.get(&text::key(text)).copied();
    let key = standard_key(text);
    own.or_else(|| AVAILABILITY.get(key.as_str()).copied())
        .or_else(|| read_count(text))
}

fn read_condition(text: &str, words: &BTreeMap<String, Condition>) -> Option<Condition> {
    let own = words.get(&text::key(text)).copied();
    let key = standard_key(text);
    let key = key.strip_suffix("condition").unwrap_or(&key);
    own.or_else(|| CONDITION.get(key).copied())
}

/// The last part of a schema.org address or name, else the whole text; folded.
fn standard_key(text: &str) -> String {
    let trimmed = text.trim().trim_end_matches('/');
    let address = trimmed.to_ascii_lowercase().contains("schema.org");
    let last = if address {
        trimmed.rsplit(['/', '#']).next()
    } else {
        trimmed
            .rsplit_once(':')
            .filter(|(prefix, _)| prefix.eq_ignore_ascii_case("schema"))
            .map(|(_, name)| name)
    };
    text::key(last.unwrap_or(trimmed))
}

/// The standard's names and the words of shops, by their folded form.
static AVAILABILITY: LazyLock<BTreeMap<String, Availability>> =
    LazyLock::new(|| index_words(Availability::NAMES, AVAILABILITY_WORDS));
static CONDITION: LazyLock<BTreeMap<String, Condition>> =
    LazyLock::new(|| index_words(Condition::NAMES, CONDITION_WORDS));

fn index_words<T: Copy>(names: &[(&str, T)], table: &[(T, &str)]) -> BTreeMap<String, T> {
    let words = table.iter().flat_map(|(state, words)| {
        words
            .split_ascii_whitespace()
            .map(|word| (word.to_owned(), *state))
    });
    let names = names.iter().map(|(name, state)| (text::key(name), *state));
    // A later entry replaces an earlier one: the standard's names stand.
    words.chain(names).collect()
}

/// A number in stock, as `5`, `5+`, `>10`, `12 pcs` or `0.0`; zero and less is out of stock.
fn read_count(text: &str) -> Option<Availability> {
    const UNITS: &[&str] = &[
        "", "stk", "stuck", "st", "pcs", "pc", "pieces", "items", "units", "szt", "ks", "kpl",
        "db", "adet", "個",
    ];
    let bare = text.trim().trim_start_matches(['>', '≥', '+']).trim_start();
    let digits_end = bare
        .char_indices()
        .find(|(at, c)| !(c.is_ascii_digit() || (*at == 0 && *c == '-')))
        .map_or(bare.len(), |(at, _)| at);
    let (digits, rest) = bare.split_at(digits_end);
    let decimals = rest
        .strip_prefix('.')
        .map(|rest| rest.trim_start_matches('0'));
    let unit = text::key(decimals.unwrap_or(rest).trim_start_matches('+'));
    let count: i64 = digits.parse().ok()?;
    if !UNITS.contains(&unit.as_str()) {
        return None;
    }
    Some(if count > 0 {
        Availability::InStock
    } else {
        Availability::OutOfStock
    })
}

/// The phrases of titles, mildest condition first, and one search for all of them: a search for
/// each took a sixth of the time of reading an offer.
struct TitlePhrases {
    phrases: Vec<(Condition, &'static str)>,
    /// Finds each with a space on both sides, by its place in `phrases`.
    search: AhoCorasick,
}

static PHRASES_OF_TITLES: LazyLock<TitlePhrases> = LazyLock::new(|| {
    let phrases = TITLE_PHRASES.iter().flat_map(|(condition, phrases)| {
        let phrases = phrases.split('|');
        phrases.map(|phrase| (*condition, phrase))
    });
    let phrases: Vec<(Condition, &str)> = phrases.collect();
    let spaced = phrases.iter().map(|(_, phrase)| format!(" {phrase} "));
    let search = AhoCorasick::new(spaced)
        .expect("some dozens of phrases are far from the limit of two thousand million states");
    TitlePhrases { phrases, search }
});

/// The worst condition that the title gives away, with the words that do.
fn title_condition(title: &str) -> Option<(Condition, &'static str)> {
    let TitlePhrases { phrases, search } = &*PHRASES_OF_TITLES;
    let words = text::words(title);
    // Phrases share the space between them, so matches may overlap.
    let found = search.find_overlapping_iter(&words);
    let worst = found.map(|found| found.pattern().as_usize()).max()?;
    phrases.get(worst).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_schema_org_state_is_read_in_every_form() {
        // schema.org 30.0 ItemAvailability: twelve values. S15, S16.
        for name in [
            "BackOrder",
            "Discontinued",
            "InStock",
            "InStoreOnly",
            "LimitedAvailability",
            "MadeToOrder",
            "OnlineOnly",
            "OutOfStock",
            "PreOrder",
            "PreSale",
            "Reserved",
            "SoldOut",
        ] {
            let expected = Availability::NAMES
                .iter()
                .find(|(known, _)| text::key(known) == name.to_ascii_lowercase());
            let expected = expected.map(|(_, state)| *state);
            assert!(expected.is_some(), "{name}");
            for form in [
                format!("https://schema.org/{name}"),
                format!("http://schema.org/{name}/"),
                format!("http://www.schema.org/{name}"),
                format!("schema:{name}"),
                name.to_owned(),
                name.to_uppercase(),
                format!(" {name} "),
            ] {
                assert_eq!(
                    read_availability(&form, &BTreeMap::new()),
                    expected,
                    "{form}"
                );
            }
        }
        let state = |text| read_availability(text, &BTreeMap::new());
        assert_eq!(state(" in stock "), Some(Availability::InStock));
        assert_eq!(state("in_stock"), Some(Availability::InStock));
    }

    #[test]
    fn words_and_numbers_of_shops_are_read_or_unknown() {
        for (text, expected) in [
            // F26.
            ("1", Some(Availability::InStock)),
            ("0", Some(Availability::OutOfStock)),
            ("yes", Some(Availability::InStock)),
            ("Ja", Some(Availability::InStock)),
            ("auf Lager", Some(Availability::InStock)),
            ("5+", Some(Availability::InStock)),
            (">10", Some(Availability::InStock)),
            ("-3", Some(Availability::OutOfStock)),
            ("available for order", Some(Availability::BackOrder)),
            ("12 Stück", Some(Availability::InStock)),
            ("0.00", Some(Availability::OutOfStock)),
            ("Épuisé", Some(Availability::SoldOut)),
            ("nicht lieferbar", Some(Availability::OutOfStock)),
            ("Není skladem", Some(Availability::OutOfStock)),
            // S17.
            ("InStok", None),
            ("yes!", None),
            ("", None),
            ("3-5 days", None),
            ("<5", None),
            ("99999999999999999999", None),
        ] {
            assert_eq!(
                read_availability(text, &BTreeMap::new()),
                expected,
                "{text}"
            );
        }
    }

    #[test]
    fn the_shops_own_words_come_first() {
        let words = BTreeMap::from([("instock".to_owned(), Availability::BackOrder)]);
        assert_eq!(
            read_availability("In Stock", &words),
            Some(Availability::BackOrder)
        );
    }

    #[test]
    fn conditions_are_read_in_every_form() {
        // schema.org 30.0 OfferItemCondition: four values. S34.
        for (text, expected) in [
            ("https://schema.org/NewCondition", Some(Condition::New)),
            ("http://schema.org/UsedCondition", Some(Condition::Used)),
            ("RefurbishedCondition", Some(Condition::Refurbished)),
            ("schema:DamagedCondition", Some(Condition::Damaged)),
            ("NEW", Some(Condition::New)),
            ("gebraucht", Some(Condition::Used)),
            ("Generalüberholt", Some(Condition::Refurbished)),
            ("as seen", None),
        ] {
            assert_eq!(read_condition(text, &BTreeMap::new()), expected, "{text}");
        }
    }

    #[test]
    fn titles_give_a_worse_condition_away() {
        for (title, expected) in [
            // M21.
            ("Fenrir 9080 OC B-Ware", Some(Condition::Used)),
            ("Fenrir 9080 (open box)", Some(Condition::Used)),
            ("Fenrir 9080, Renewed", Some(Condition::Refurbished)),
            ("Fenrir 9080 gebraucht", Some(Condition::Used)),
            ("Fenrir 9080 for parts", Some(Condition::Damaged)),
            (
                "Fenrir 9080 refurbished, for parts",
                Some(Condition::Damaged),
            ),
            ("Fenrir 9080 OC", None),
            ("Focused Cooling 120", None),
        ] {
            assert_eq!(
                title_condition(title).map(|found| found.0),
                expected,
                "{title}"
            );
        }
    }

    #[test]
    fn every_phrase_is_found_among_other_words() {
        for (condition, phrases) in TITLE_PHRASES {
            for phrase in phrases.split('|') {
                let found = title_condition(&format!("Fenrir {phrase}, 9080"));
                let found = found.expect(phrase);
                assert!(severity(found.0) >= severity(*condition), "{phrase}");
            }
        }
        // Two that share the space between them.
        let both = title_condition("used defekt").unwrap();
        assert_eq!(both, (Condition::Damaged, "defekt"));
        let both = title_condition("defekt used").unwrap();
        assert_eq!(both, (Condition::Damaged, "defekt"));
    }

    #[test]
    fn no_word_stands_for_two_states() {
        let mut seen = std::collections::BTreeSet::new();
        for (_, words) in AVAILABILITY_WORDS {
            words
                .split_ascii_whitespace()
                .for_each(|word| assert!(seen.insert(word), "{word}"));
        }
    }

    #[test]
    fn word_tables_are_in_folded_form() {
        let folded = |word: &str| text::key(word);
        for (_, words) in AVAILABILITY_WORDS {
            words
                .split_ascii_whitespace()
                .for_each(|word| assert_eq!(folded(word), word));
        }
        for (_, words) in CONDITION_WORDS {
            words
                .split_ascii_whitespace()
                .for_each(|word| assert_eq!(folded(word), word));
        }
        for (_, phrases) in TITLE_PHRASES {
            phrases
                .split('|')
                .for_each(|phrase| assert_eq!(text::words(phrase).trim(), phrase));
        }
    }
}
