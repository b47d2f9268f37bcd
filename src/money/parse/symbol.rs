//! Currencies as prices name them: codes, symbols and words, with everything each could mean.

use crate::money::Currency;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// A sign or word that names a currency.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Symbol {
    /// As it stands in text. A space stands for any one space.
    pub text: String,
    /// What it means where nothing else is said; `None` when it names several.
    pub usual: Option<Currency>,
    /// What else it can mean, where the context says so.
    pub others: Vec<Currency>,
    kind: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Compared letter by letter: `Kz`, `$`.
    Exact,
    /// Compared without case: `zł`, `euro`.
    AnyCase,
}

/// What a symbol turned out to mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Meaning {
    /// The text itself says it.
    Certain(Currency),
    /// One of several, or a currency that is no longer listed.
    Unclear,
}

// Symbol, usual meaning (or `?`), other meanings. Longest match wins, so `R$` is not `$`.
// Sources: symbols of Unicode CLDR 48; words from memory.
const EXACT: &[(&str, &str, &str)] = &[
    ("€", "EUR", ""),
    ("£", "GBP", "EGP FKP GIP LBP SDG SHP SSP SYP"),
    ("£GB", "GBP", ""),
    ("GB£", "GBP", ""),
    ("UK£", "GBP", ""),
    ("¥", "?", "JPY CNY"),
    ("JP¥", "JPY", ""),
    ("CN¥", "CNY", ""),
    ("円", "JPY", ""),
    ("元", "CNY", "TWD HKD"),
    ("₹", "INR", ""),
    ("₩", "KRW", ""),
    ("원", "KRW", ""),
    ("₪", "ILS", ""),
    ("₫", "VND", ""),
    ("₺", "TRY", ""),
    ("₽", "RUB", ""),
    ("฿", "THB", ""),
    ("₴", "UAH", ""),
    ("₦", "NGN", ""),
    ("₱", "PHP", ""),
    ("₸", "KZT", ""),
    ("₾", "GEL", ""),
    ("₼", "AZN", ""),
    ("֏", "AMD", ""),
    ("؋", "AFN", ""),
    ("৳", "BDT", ""),
    ("៛", "KHR", ""),
    ("₭", "LAK", ""),
    ("₮", "MNT", ""),
    ("₡", "CRC", ""),
    ("₲", "PYG", ""),
    ("GH₵", "GHS", ""),
    ("₵", "GHS", ""),
    (
        "$",
        "?",
        "USD CAD AUD NZD SGD HKD TWD MXN ARS BBD BMD BND BSD BZD CLP COP CUP CVE DOP FJD GYD JMD KYD \
         LRD MOP NAD NIO SBD SRD TTD UYU WST XCD TOP BRL ZWG",
    ),
    ("US$", "USD", ""),
    ("US $", "USD", ""),
    ("$US", "USD", ""),
    ("U$S", "USD", ""),
    ("CA$", "CAD", ""),
    ("C$", "CAD", "NIO"),
    ("C $", "CAD", "NIO"),
    ("A$", "AUD", ""),
    ("AU$", "AUD", ""),
    ("NZ$", "NZD", ""),
    ("HK$", "HKD", ""),
    ("NT$", "TWD", ""),
    ("S$", "SGD", ""),
    ("R$", "BRL", ""),
    ("MX$", "MXN", ""),
    ("RD$", "DOP", ""),
    ("MOP$", "MOP", ""),
    ("T$", "TOP", ""),
    ("WS$", "WST", ""),
    ("B/.", "PAB", ""),
    ("S/", "PEN", ""),
    ("S/.", "PEN", ""),
    ("Bs", "BOB", "VES"),
    ("Bs.", "BOB", "VES"),
    ("Bs.S", "VES", ""),
    ("Gs.", "PYG", ""),
    ("Rp", "IDR", ""),
    ("RM", "MYR", ""),
    ("Rs", "?", "INR PKR LKR NPR MUR SCR"),
    ("Rs.", "?", "INR PKR LKR NPR MUR SCR"),
    ("Rf", "MVR", ""),
    ("R", "ZAR", ""),
    ("P", "?", "BWP PHP"),
    ("K", "?", "MMK PGK ZMW MWK"),
    ("MK", "MWK", ""),
    ("D", "?", "GMD"),
    ("E", "?", "SZL"),
    ("G", "?", "HTG"),
    ("L", "?", "HNL MDL LSL RON"),
    ("Q", "?", "GTQ"),
    ("S", "?", "SOS"),
    ("Ar", "MGA", ""),
    ("Br", "?", "ETB BYN"),
    ("CF", "KMF", ""),
    ("DA", "DZD", ""),
    ("Db", "STN", ""),
    ("DT", "TND", ""),
    ("FBu", "BIF", ""),
    ("FC", "CDF", ""),
    ("FCFA", "?", "XAF XOF"),
    ("F CFA", "XOF", "XAF"),
    ("FCFP", "XPF", ""),
    ("Fdj", "DJF", ""),
    ("FG", "GNF", ""),
    ("KM", "BAM", ""),
    ("КМ", "BAM", ""),
    ("Ksh", "KES", ""),
    ("Kz", "AOA", ""),
    ("Le", "SLE", ""),
    ("LS", "SYP", ""),
    ("Lek\u{eb}", "ALL", ""),
    ("MTn", "MZN", ""),
    ("Nfk", "ERN", ""),
    ("RF", "RWF", ""),
    ("SR", "SCR", "SAR"),
    ("TSh", "TZS", ""),
    ("UM", "MRU", ""),
    ("USh", "UGX", ""),
    ("VT", "VUV", ""),
    ("Afl.", "AWG", ""),
    ("Cg.", "XCG", ""),
    ("so\u{2bb}m", "UZS", ""),
    ("сўм", "UZS", ""),
    ("сом", "KGS", "TJS"),
    ("сом.", "TJS", "KGS"),
    ("щ.д.", "USD", ""),
    ("ብር", "ETB", ""),
    ("नेरू", "NPR", ""),
    ("රු.", "LKR", ""),
    ("ރ.", "MVR", ""),
    ("ر", "?", "PKR INR"),
    ("ریال", "IRR", ""),
    ("درهم", "?", "AED MAD"),
    ("ريال", "?", "SAR QAR OMR YER IRR"),
    ("دينار", "?", "KWD BHD JOD IQD TND LYD DZD"),
    ("جنيه", "?", "EGP SDG"),
    ("د.إ", "AED", ""),
    ("د.إ.", "AED", ""),
    ("د.ب.", "BHD", ""),
    ("د.ج.", "DZD", ""),
    ("ج.م.", "EGP", ""),
    ("د.ع.", "IQD", ""),
    ("د.أ.", "JOD", ""),
    ("د.ك.", "KWD", ""),
    ("ل.ل.", "LBP", ""),
    ("د.ل.", "LYD", ""),
    ("د.م.", "MAD", ""),
    ("أ.م.", "MRU", ""),
    ("ر.ع.", "OMR", ""),
    ("ر.ق.", "QAR", ""),
    ("ر.س.", "SAR", ""),
    ("ر.س", "SAR", ""),
    ("ج.س.", "SDG", ""),
    ("ل.س.", "SYP", ""),
    ("د.ت.", "TND", ""),
    ("ر.ي.", "YER", ""),
    // N'Ko and Adlam.
    ("\u{7db}\u{7e5}\u{7dd}", "CHF", ""),
    ("\u{7de}\u{7e5}\u{7d8}", "KWD", ""),
    ("\u{7ff}", "GNF", ""),
    ("\u{1e90a}\u{1e905}\u{1e90a}\u{1e900}", "XAF", ""),
    ("\u{1e905}\u{1e90a}\u{1e900}", "XOF", ""),
];

const ANY_CASE: &[(&str, &str, &str)] = &[
    ("euro", "EUR", ""),
    ("euros", "EUR", ""),
    ("eur", "EUR", ""),
    ("usd", "USD", ""),
    ("gbp", "GBP", ""),
    ("chf", "CHF", ""),
    ("sek", "SEK", ""),
    ("nok", "NOK", ""),
    ("dkk", "DKK", ""),
    ("pln", "PLN", ""),
    ("czk", "CZK", ""),
    ("huf", "HUF", ""),
    ("cad", "CAD", ""),
    ("aud", "AUD", ""),
    ("jpy", "JPY", ""),
    ("sfr", "CHF", ""),
    ("sfr.", "CHF", ""),
    ("fr.", "CHF", ""),
    ("z\u{142}", "PLN", ""),
    ("k\u{10d}", "CZK", ""),
    ("ft", "HUF", ""),
    ("forint", "HUF", ""),
    ("tl", "TRY", ""),
    ("kr", "?", "SEK NOK DKK ISK"),
    ("kr.", "?", "SEK NOK DKK ISK"),
    ("lei", "?", "RON MDL"),
    ("din.", "RSD", ""),
    ("дин.", "RSD", ""),
    ("ден.", "MKD", ""),
    ("ден", "MKD", ""),
    ("den", "MKD", ""),
    ("руб", "RUB", "BYN"),
    ("руб.", "RUB", "BYN"),
    ("грн", "UAH", ""),
    ("грн.", "UAH", ""),
    ("тг", "KZT", ""),
    // Withdrawn or never listed: naming one of these is no reason to take another.
    ("лв", "-", ""),
    ("лв.", "-", ""),
    ("kn", "-", ""),
    ("hrk", "-", ""),
    ("bgn", "-", ""),
    ("btc", "-", ""),
    ("eth", "-", ""),
    ("₿", "-", ""),
];

static SYMBOLS: LazyLock<BTreeMap<char, Vec<Symbol>>> = LazyLock::new(|| {
    let mut by_first: BTreeMap<char, Vec<Symbol>> = BTreeMap::new();
    let mut add = |symbol: Symbol| {
        if let Some(first) = symbol.text.chars().next() {
            let upper = first.to_uppercase().next().filter(|upper| *upper != first);
            if let (Kind::AnyCase, Some(upper)) = (symbol.kind, upper) {
                let again = Symbol {
                    text: symbol.text.clone(),
                    usual: symbol.usual,
                    others: symbol.others.clone(),
                    kind: symbol.kind,
                };
                by_first.entry(upper).or_default().push(again);
            }
            by_first.entry(first).or_default().push(symbol);
        }
    };
    // Codes come first: among symbols of one length the first wins.
    for currency in Currency::all() {
        add(Symbol {
            text: currency.code().to_owned(),
            usual: Some(currency),
            others: Vec::new(),
            kind: Kind::Exact,
        });
    }
    for (table, kind) in [(EXACT, Kind::Exact), (ANY_CASE, Kind::AnyCase)] {
        for (text, usual, others) in table {
            add(Symbol {
                text: (*text).to_owned(),
                usual: Currency::parse(usual).ok(),
                others: others
                    .split_ascii_whitespace()
                    .filter_map(|code| Currency::parse(code).ok())
                    .collect(),
                kind,
            });
        }
    }
    for symbols in by_first.values_mut() {
        symbols.sort_by_key(|symbol| std::cmp::Reverse(symbol.text.chars().count()));
    }
    by_first
});

impl Symbol {
    /// What the symbol means where `configured` is the currency of the feed.
    pub fn meaning(&self, configured: Option<Currency>) -> Meaning {
        let possible =
            |currency: &Currency| self.usual == Some(*currency) || self.others.contains(currency);
        match configured.filter(possible).or(self.usual) {
            Some(currency) => Meaning::Certain(currency),
            None => Meaning::Unclear,
        }
    }

    /// True for a three-letter code.
    pub fn is_code(&self) -> bool {
        self.text.len() == 3 && self.text.bytes().all(|byte| byte.is_ascii_alphabetic())
    }

    /// True when it consists of letters, so that it could also be an ordinary word.
    pub fn is_word(&self) -> bool {
        self.text.chars().all(|c| c.is_alphabetic() || c == '.')
    }
}

/// The longest symbol that starts at `at`, with its length in characters.
///
/// Letters must not run on into other letters: `kr` is not found in `krone` or in `okr`.
pub(super) fn symbol_at(text: &[char], at: usize) -> Option<(&'static Symbol, usize)> {
    let first = *text.get(at)?;
    let table: &'static BTreeMap<char, Vec<Symbol>> = &SYMBOLS;
    let before = at.checked_sub(1).and_then(|before| text.get(before));
    table.get(&first)?.iter().find_map(|symbol| {
        let length = match_length(symbol, &text[at..])?;
        let runs_on = |edge: char, next: Option<&char>| {
            let ideograph = |c: char| is_ideographic(c);
            edge.is_alphabetic()
                && !ideograph(edge)
                && next.is_some_and(|next| next.is_alphabetic() && !ideograph(*next))
        };
        let last = text[at + length - 1];
        let whole = !runs_on(first, before) && !runs_on(last, text.get(at + length));
        whole.then_some((symbol, length))
    })
}

fn match_length(symbol: &Symbol, text: &[char]) -> Option<usize> {
    let mut length = 0;
    for wanted in symbol.text.chars() {
        let found = *text.get(length)?;
        let equal = match wanted {
            ' ' => found == super::fold::SPACE || found == super::fold::FIRM_SPACE,
            _ if symbol.kind == Kind::AnyCase => found.to_lowercase().eq(wanted.to_lowercase()),
            _ => found == wanted,
        };
        if !equal {
            return None;
        }
        length += 1;
    }
    Some(length)
}

/// Han, kana and Hangul, which are written without spaces between words.
pub(super) fn is_ideographic(character: char) -> bool {
    matches!(character, '\u{3040}'..='\u{30ff}' | '\u{3400}'..='\u{9fff}' | '\u{ac00}'..='\u{d7af}' | '\u{f900}'..='\u{faff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str, at: usize) -> Option<String> {
        let chars: Vec<char> = text.chars().collect();
        symbol_at(&chars, at).map(|(symbol, _)| symbol.text.clone())
    }

    #[test]
    fn the_longest_symbol_wins_and_words_stay_whole() {
        for (text, at, expected) in [
            ("R$ 1", 0, Some("R$")),
            ("US$1", 0, Some("US$")),
            ("MOP$ 1", 0, Some("MOP$")),
            ("12kr", 2, Some("kr")),
            ("12krone", 2, None),
            ("EUR12", 0, Some("EUR")),
            ("EUROS", 0, Some("euros")),
            ("12Kč", 2, Some("kč")),
            ("all", 0, None),
        ] {
            assert_eq!(found(text, at).as_deref(), expected, "{text}");
        }
    }

    #[test]
    fn every_code_in_the_tables_is_a_currency() {
        for (_, usual, others) in EXACT.iter().chain(ANY_CASE) {
            let usual = (!matches!(*usual, "?" | "-")).then_some(*usual);
            for code in others.split_ascii_whitespace().chain(usual) {
                assert!(Currency::parse(code).is_ok(), "{code}");
            }
        }
    }
}
