//! Words beside an amount that say what the amount is.
//!
//! One table for all languages, in folded form (lower case, no accents, see `letters`). Words of a
//! language with ideographs are written one sign at a time. Source: common practice in shops of
//! these languages, no source.

use super::letters::push_folded;
use super::symbol::is_ideographic;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// What a word or phrase says of an amount near it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cue {
    /// The price that the buyer pays today.
    Now,
    /// What it cost before, or should cost.
    List,
    /// List price as the first half of "de .. por ..": counts only with [`Cue::NowAfterOf`].
    ListOf,
    NowAfterOf,
    /// The lowest price of the last weeks, which announcements of reductions must show.
    Prior,
    /// A part of the price that is spelled out.
    Within,
    /// What is taken off, paid back or held as a deposit.
    Saving,
    /// A lowest or highest price of several things.
    Bound,
    /// Between two amounts: a range.
    Between,
    /// A converted or estimated figure.
    Approximate,
    TaxIncluded,
    TaxExcluded,
    /// "plus", "without": what follows is not in the price.
    Plus,
    /// "including", "with": what follows is in the price.
    With,
    Shipping,
    FreeShipping,
    Free,
    Instalment,
    /// "per": what follows is a unit.
    Per,
    /// A unit that means one thing: the price stays a price.
    Piece,
    /// How many must be bought.
    MinimumQuantity,
    /// "2 for 150".
    ForCount,
    /// A unit of time or rank after a plain number, which then is no price.
    Count,
    /// Belongs to prices and changes nothing.
    Neutral,
}

/// On which side of the phrase its amount stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// The amount follows: "was 449".
    Before,
    /// The amount precedes: "60 off".
    After,
    /// Either, whichever is nearer.
    Either,
}

use Side::{After, Before, Either};

const PHRASES: &[(Cue, Side, &str)] = &[
    (
        Cue::Now,
        Before,
        "now|only|today|now only|our price|your price|sale price|sale|special price|deal price|you pay|\
         jetzt|nur|nur noch|aktuell|heute|aktionspreis|angebotspreis|sonderpreis|ihr preis|unser preis|\
         maintenant|seulement|prix promo|prix actuel|notre prix|ahora|solo|precio actual|precio de oferta|\
         ora|adesso|prezzo attuale|prezzo scontato|agora|apenas|preco atual|nu|nu voor|onze prijs|\
         teraz|tylko|cena promocyjna|aktualna cena|just nu|endast|kampanjpris|tilbudspris|kun|\
         nyt|vain|tarjous|nyni|jen|akcni cena|nase cena|simdi|sadece|indirimli fiyat|\
         特 価|販 売 価 格|セ ー ル 価 格|сеичас|цена со скидкои",
    ),
    (
        Cue::List,
        Before,
        "was|were|rrp|msrp|srp|mrp|m r p|list|list price|regular price|reg|old price|previously|before|instead of|\
         original price|typical price|statt|anstatt|uvp|uvp des herstellers|vorher|bisher|\
         frueher|fruher|ehemals|listenpreis|alter preis|\
         unverb preisempf|unverbindliche preisempfehlung|streichpreis|au lieu de|prix conseille|\
         prix barre|ancien prix|avant|prix de reference|antes|precio anterior|pvpr|pvp recomendado|\
         en lugar de|en vez de|invece di|anziche|prezzo di listino|era|prezzo consigliato|\
         preco anterior|em vez de|adviesprijs|was voor|oude prijs|normaal|\
         zamiast|stara cena|poprzednia cena|cena regularna|cena katalogowa|\
         ord pris|ordinarie pris|ordinarie|tidigare|rek pris|forr|for pris|forpris|vejl pris|veil|\
         normalpris|ovh|norm|misto|puvodne|puvodni cena|bezna cena|eski fiyat|liste fiyati|\
         eredeti ar|通 常 価 格|定 価|参 考 価 格|希 望 小 売 価 格|вместо|старая цена|было",
    ),
    (Cue::List, After, "helyett|yerine"),
    (
        Cue::Prior,
        Before,
        "lowest price|lowest prior price|lowest price in the last|niedrigster preis|bisher niedrigster preis|\
         niedrigster gesamtpreis|prix le plus bas|precio mas bajo|prezzo piu basso|preco mais baixo|\
         laagste prijs|najnizsza cena|lagsta pris|laveste pris|alin hinta|nejnizsi cena|legalacsonyabb ar|\
         en dusuk fiyat",
    ),
    (
        Cue::Within,
        Before,
        "dont|davon|darin|of which|di cui|de los cuales|w tym|varav|heraf|z toho",
    ),
    (Cue::ListOf, Before, "de|van|from was"),
    (Cue::NowAfterOf, Before, "por|voor"),
    (
        Cue::Saving,
        Before,
        "save|you save|save up to|saving|savings|sie sparen|du sparst|spare|spart|economisez|\
         vous economisez|ahorra|ahorras|te ahorras|risparmi|risparmia|poupe|economize|bespaar|\
         u bespaart|oszczedzasz|oszczedz|spara|du sparar|spar|du sparer|saasta|usetrite|usetri|\
         kazanciniz|minus|reduziert um|экономия|скидка",
    ),
    (
        Cue::Saving,
        Either,
        "discount|rabatt|rabat|ersparnis|nachlass|remise|reduction|economie|descuento|ahorro|sconto|\
         risparmio|desconto|korting|sleva|indirim|tasarruf|alennus|cashback|cash back|coupon|voucher|\
         gutschein|gutscheincode|bon|trade in|pfand|deposit|anzahlung|acompte|caution|sparen|割 引|\
         kedvezmeny|bonus|reward|points|punkte",
    ),
    (
        Cue::Saving,
        After,
        "off|gespart|taniej|gunstiger|billiger|cheaper|rabattiert|引 き",
    ),
    (
        Cue::Bound,
        Before,
        "from|under|below|less than|at most|max|maximal|maximum|hochstens|unter|bis|moins de|menos de|meno di|ponizej|\
         starting at|starting from|starts at|as low as|up to|over|above|orders over|ab|schon ab|\
         bereits ab|bis zu|uber|ab einem bestellwert von|a partir de|des|jusqu a|desde|hasta|\
         a partire da|a partir da|da|fino a|oltre|vanaf|boven|tot|od|powyzej|juz od|do|fran|fra|over|\
         alkaen|nad|jiz od|от|до|baslayan|最 安",
    ),
    (
        Cue::Bound,
        After,
        "up|and up|and more|or more|or higher|und mehr|und hoher|aufwarts|et plus|y mas|e piu|から|よ り|以 上|den baslayan|tol",
    ),
    (
        Cue::Between,
        Either,
        "to|bis|until|a|al|til|till|az|and|und|et|y|e|oraz|och|og",
    ),
    (
        Cue::Approximate,
        Before,
        "approx|approximately|about|around|circa|ca|roughly|est|estimated|etwa|ungefahr|rund|zirka|\
         environ|env|aprox|aproximadamente|unos|ongeveer|okolo|ok|cirka|noin|priblizne|cca|yaklasik|\
         約|около|entspricht|equals",
    ),
    (
        Cue::TaxIncluded,
        Either,
        "ttc|brutto|gross|tvac|税 込|税 込 み|inc vat|tax included",
    ),
    (
        Cue::TaxExcluded,
        Either,
        "ht|htva|netto|net|net price|税 抜|税 抜 き|税 別|hors taxe|hors taxes|hors tva|vat free|tax free|\
         before tax|before vat|b2b",
    ),
    (
        Cue::Plus,
        Before,
        "plus|zzgl|zuzuglich|excl|exkl|exkl|ex|excluding|exclusive|exclusief|ohne|hors|sans|sin|senza|sem|\
         bez|uden|utan|uten|haric|en sus|mas|piu|mais|not including|nicht enthalten",
    ),
    (
        Cue::With,
        Before,
        "incl|inkl|inc|including|inclusive|inklusive|inclusief|einschl|einschliesslich|mit|with|avec|con|com|med|\
         vcetne|z|s|dahil|incluye|compreso|y compris",
    ),
    (
        Cue::Shipping,
        Either,
        "shipping|delivery|postage|p p|p&p|shipping cost|shipping costs|delivery charge|standard delivery|\
         versand|versandkosten|lieferung|lieferkosten|porto|fracht|livraison|frais de port|port|\
         frais de livraison|envio|gastos de envio|portes|frete|spedizione|spese di spedizione|\
         verzending|verzendkosten|bezorgkosten|wysylka|dostawa|koszt dostawy|frakt|fragt|levering|\
         toimitus|doprava|postovne|kargo|szallitas|送 料|配 送 料|доставка",
    ),
    (
        Cue::FreeShipping,
        Either,
        "free delivery|free shipping|free postage|free uk delivery|free standard delivery|\
         ships free|versandkostenfrei|\
         versandfrei|portofrei|gratisversand|gratis versand|kostenloser versand|kostenlose lieferung|\
         kostenfreie lieferung|livraison gratuite|livraison offerte|port offert|envio gratis|\
         envio gratuito|spedizione gratuita|frete gratis|portes gratis|gratis verzending|\
         gratis bezorging|darmowa dostawa|wysylka gratis|fri frakt|fraktfritt|gratis frakt|fri fragt|\
         gratis fragt|doprava zdarma|ucretsiz kargo|kargo bedava|送 料 無 料|送 料 込|送 料 込 み|\
         ingyenes szallitas|бесплатная доставка",
    ),
    (
        Cue::Free,
        Either,
        "free|gratis|kostenlos|kostenfrei|frei|gratuit|gratuite|gratuito|gratuita|offert|offerte|\
         zdarma|bedava|ucretsiz|ingyenes|無 料|бесплатно",
    ),
    (
        Cue::Instalment,
        Either,
        "month|monthly|months|per month|mo|mth|pm|pcm|monat|monate|monaten|monatlich|monatl|mtl|rate|raten|\
         monatsrate|ratenzahlung|finanzierung|mois|mensuel|mensualite|mensualites|mes|meses|mensual|\
         mensuales|cuota|cuotas|mese|mesi|mensili|rata|raty|rat|parcela|parcelas|vezes|sem juros|\
         maand|maanden|maandelijks|termijn|termijnen|miesiac|miesiace|mies|miesiecznie|manad|manader|\
         man|delbetalning|maned|maneder|pr md|mdr|kuukausi|kk|mesic|mesicne|splatka|splatky|ay|aylik|\
         taksit|instalment|instalments|installment|installments|payments|week|weekly|woche|year|jahr|\
         分 割|月 額|ヶ 月|か 月|в месяц|мес",
    ),
    (
        Cue::Per,
        Before,
        "per|pro|je|par|al|por|za|na|pr|for each|a|en|egy",
    ),
    (
        Cue::Piece,
        After,
        "each|ea|piece|pieces|pc|pcs|unit|item|stuck|stk|st|stueck|piece|pieces|unite|l unite|unidad|ud|uds|\
         unita|pezzo|pz|cad|cadauno|unidade|un|stuk|stuks|per stuk|sztuka|szt|styck|kpl|kus|ks|adet|db|\
         шт|個|台|本|枚|点",
    ),
    (
        Cue::MinimumQuantity,
        Before,
        "min order|minimum order|min order qty|min qty|minimum quantity|minimum order quantity|moq|\
         min|minimum|mindestbestellmenge|mindestabnahme|mindestmenge|min bestellmenge|\
         commande minimum|quantite minimum|quantite minimale|pedido minimo|cantidad minima|\
         ordine minimo|quantita minima|minimale afname|minimalne zamowienie|min zamowienie|\
         minsta antal|minimiosto|minimalni odber|asgari siparis|最 低 注 文 数",
    ),
    (
        Cue::Count,
        After,
        "day|days|tag|tage|tagen|werktag|werktage|werktagen|jour|jours|dia|dias|giorno|giorni|dag|dagen|dni|\
         dzien|dagar|dage|dager|paiva|paivaa|dnu|dny|nap|gun|hours|stunden|years|jahre|jahren|ans|anos|\
         anni|lat|stars|sterne|reviews|bewertungen|日|年",
    ),
    (
        Cue::ForCount,
        Before,
        "for|fur|pour|por|per|voor|za|til|for only",
    ),
    (
        Cue::Neutral,
        Either,
        "price|prices|total|amount|cost|costs|preis|preise|gesamt|gesamtpreis|gesamtsumme|\
         betrag|kaufpreis|verkaufspreis|stuckpreis|einzelpreis|prix|tarif|precio|precios|importe|pvp|\
         prezzo|importo|preco|valor|prijs|cena|ceny|kwota|pris|belop|hinta|cena s|fiyat|fiyati|tutar|\
         ar|ara|価 格|本 体 価 格|цена|стоимость|in|buy|kaufen|soit|notre|unser|unsere|our|your|my|im|angebot|offer|deal|\
         sale|aktion|promo|promocja|oferta|offerta|kampanj|tilbud|akce|akcija|special|online|the|der|die|das|le|la|les|el|il|oder|or|\
         ou|o|of|von|statutory|gesetzl|gesetzlicher|uk|eu|vat|mwst|ust|tax|moms|iva|tva|btw|dph",
    ),
];

// Tax phrases are pairs of these, in either order.
const TAX_WORDS: &str = "vat|tax|taxes|gst|sales tax|mwst|mw st|ust|u st|umsatzsteuer|mehrwertsteuer|steuer|steuern|tva|taxe|\
     taxes|iva|i v a|btw|moms|mva|alv|dph|ddv|pdv|afa|kdv|ндс|пдв";
const INCLUDING: &str = "inc|incl|inkl|including|inclusive|inklusive|inclusief|einschl|einschliesslich|mit|with|avec|con|com|\
     med|z|s|vcetne|enthalt|enthaelt|incluye|toutes|c";
const EXCLUDING: &str = "ex|exc|excl|exkl|excluding|exclusive|exclusief|plus|zzgl|zuzuglich|ohne|hors|sans|sin|senza|sem|bez|\
     uden|utan|uten|mas|piu|before|esclusa|+";
const INCLUDED: &str = "inc|incl|inkl|included|inklusive|inclusief|inclus|incluse|incluses|comprise|incluido|incluida|inclusa|\
     compresa|incluso|dahil|sis|sisaltyy|enthalten|ingar";
const EXCLUDED: &str = "ex|excl|exkl|excluded|excluding|exclusief|non incluse|en sus|no incluido|no incluida|esclusa|non inclusa|\
     excluido|nao incluido|haric|ekskl|nicht enthalten|extra";

/// A phrase as a list of folded words, with what it says.
struct Phrase {
    words: Vec<String>,
    cue: Cue,
    side: Side,
}

static PHRASES_BY_WORD: LazyLock<BTreeMap<String, Vec<Phrase>>> = LazyLock::new(|| {
    let mut phrases: BTreeMap<String, Vec<Phrase>> = BTreeMap::new();
    let mut add = |words: &str, cue, side| {
        let words: Vec<String> = words.split(' ').map(str::to_owned).collect();
        if let Some(first) = words.first() {
            let known = phrases.entry(first.clone()).or_default();
            known.push(Phrase { words, cue, side });
        }
    };
    for (cue, side, texts) in PHRASES {
        for words in texts.split('|') {
            add(words, *cue, *side);
        }
    }
    for tax in TAX_WORDS.split('|') {
        for (cue, prefixes, suffixes) in [
            (Cue::TaxIncluded, INCLUDING, INCLUDED),
            (Cue::TaxExcluded, EXCLUDING, EXCLUDED),
        ] {
            prefixes
                .split('|')
                .for_each(|prefix| add(&format!("{prefix} {tax}"), cue, Either));
            suffixes
                .split('|')
                .for_each(|suffix| add(&format!("{tax} {suffix}"), cue, Either));
        }
    }
    // The longest phrase first; among equals the table's order stands.
    for known in phrases.values_mut() {
        known.sort_by_key(|phrase| std::cmp::Reverse(phrase.words.len()));
    }
    phrases
});

/// A phrase found at the start of some words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Found {
    pub cue: Cue,
    pub side: Side,
    /// How many words it took.
    pub n_words: usize,
}

/// The longest phrase that `words` begin with.
pub(super) fn find<'w>(words: impl Iterator<Item = &'w str> + Clone) -> Option<Found> {
    let first = words.clone().next()?;
    let phrase = PHRASES_BY_WORD.get(first)?.iter().find(|phrase| {
        let mut found = words.clone();
        phrase
            .words
            .iter()
            .all(|word| found.next() == Some(word.as_str()))
    })?;
    Some(Found {
        cue: phrase.cue,
        side: phrase.side,
        n_words: phrase.words.len(),
    })
}

/// Every meaning of one word alone.
pub(super) fn means(word: &str, cue: Cue) -> bool {
    PHRASES_BY_WORD.get(word).is_some_and(|known| {
        known
            .iter()
            .any(|phrase| phrase.cue == cue && phrase.words.len() == 1)
    })
}

/// Folds one word for comparison with the table.
pub(super) fn fold_word(word: &[char]) -> String {
    let mut folded = String::with_capacity(word.len());
    for character in word {
        if is_ideographic(*character) {
            folded.push(*character);
        } else {
            push_folded(*character, &mut folded);
        }
    }
    folded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_phrase_is_in_folded_form() {
        for (first, phrases) in PHRASES_BY_WORD.iter() {
            let chars: Vec<char> = first.chars().collect();
            assert_eq!(&fold_word(&chars), first);
            for phrase in phrases {
                for word in &phrase.words {
                    let chars: Vec<char> = word.chars().collect();
                    assert_eq!(&fold_word(&chars), word, "in {:?}", phrase.words);
                }
            }
        }
    }

    #[test]
    fn the_longest_phrase_wins() {
        let found = |text: &str| find(text.split(' ')).map(|found| (found.cue, found.n_words));
        assert_eq!(found("free delivery over"), Some((Cue::FreeShipping, 2)));
        assert_eq!(found("zzgl mwst"), Some((Cue::TaxExcluded, 2)));
        assert_eq!(found("zzgl versand"), Some((Cue::Plus, 1)));
        assert_eq!(found("tva incluse"), Some((Cue::TaxIncluded, 2)));
        assert_eq!(found("fenrir"), None);
    }
}
