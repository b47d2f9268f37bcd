//! Numbers, amounts and instants as the reader writes them.
//!
//! Numbers follow the first language that the browser names (RFC 9110, 12.5.4; CLDR by way of ICU4X).
//! Instants are written in UTC here, since only the browser knows where it is: `page.js` sets them. Both
//! stand in elements that carry the plain value, for programs.

use crate::money::Currency;
use fixed_decimal::{Decimal, SignDisplay};
use icu_decimal::DecimalFormatter;
use icu_locale_core::{LanguageIdentifier, Locale};
use maud::{Markup, html};

/// Writes figures for one reader.
pub struct Figures {
    language: LanguageIdentifier,
    formatter: Option<DecimalFormatter>,
}

impl Figures {
    /// For who sent this `Accept-Language`.
    pub fn of(accepted: Option<&str>) -> Figures {
        let language = accepted.and_then(preferred);
        let language = language.unwrap_or(icu_locale_core::langid!("en"));
        let locale = Locale::from(language.clone());
        let formatter = DecimalFormatter::try_new(locale.into(), Default::default());
        Figures {
            language,
            formatter: formatter.ok(),
        }
    }

    /// For the scripts, which write figures too.
    pub fn language(&self) -> String {
        self.language.to_string()
    }

    fn set(&self, decimal: &Decimal) -> String {
        match &self.formatter {
            Some(formatter) => formatter.format(decimal).to_string(),
            None => decimal.to_string(),
        }
    }

    /// An amount that a person wrote, as digits with a point. A point alone is a point, as forms and links write
    /// it; of both signs the later is the point. A lone comma before three digits is what the reader's own
    /// language makes of it.
    pub fn read_amount(&self, text: &str) -> String {
        let is_blank = |sign: char| sign.is_whitespace() || matches!(sign, '\'' | '\u{2019}');
        let bare: String = text.chars().filter(|sign| !is_blank(*sign)).collect();
        let is_other = |sign: char| !sign.is_ascii_digit() && !matches!(sign, '.' | ',');
        let (comma, point) = (bare.rfind(','), bare.rfind('.'));
        let Some(comma) = comma.filter(|_| !bare.contains(is_other)) else {
            let read = match bare.matches('.').count() {
                _ if bare.contains(is_other) => None,
                0 | 1 => Some(bare),
                _ => without_groups(&bare, '.'),
            };
            return read.unwrap_or_else(|| text.to_owned());
        };
        let is_group = match point {
            Some(point) => point > comma,
            None if bare.matches(',').count() > 1 => true,
            None => bare.len() - comma == 4 && !self.has_decimal_comma(),
        };
        let (sign, decimal) = match is_group {
            true => (',', '.'),
            false => ('.', ','),
        };
        let (whole, rest) = bare.split_once(decimal).unwrap_or((&bare, ""));
        let whole = match whole.contains(sign) {
            true => without_groups(whole, sign),
            false => Some(whole.to_owned()),
        };
        match whole {
            Some(whole) if rest.is_empty() => whole,
            Some(whole) if !rest.contains([',', '.']) => format!("{whole}.{rest}"),
            _ => text.to_owned(),
        }
    }

    fn has_decimal_comma(&self) -> bool {
        let mut half = Decimal::from(5);
        half.multiply_pow10(-1);
        self.set(&half).contains(',')
    }

    /// An amount without its currency, for columns that name it.
    pub fn amount(&self, minor: i64, currency: &str) -> Markup {
        let decimal = major(minor, currency);
        html! { data value=(decimal) { (self.set(&decimal)) } }
    }

    /// An amount and its currency.
    pub fn money(&self, minor: i64, currency: &str) -> Markup {
        html! { span.keep { (currency) " " (self.amount(minor, currency)) } }
    }

    /// An amount more or less, with its sign.
    pub fn more(&self, minor: i64, currency: &str) -> Markup {
        let decimal = major(minor, currency).with_sign_display(SignDisplay::ExceptZero);
        html! { data value=(major(minor, currency)) { (self.set(&decimal)) } }
    }

    /// An amount for a field of a form (HTML, "valid floating-point number").
    pub fn plain(minor: i64, currency: &str) -> String {
        major(minor, currency).to_string()
    }

    pub fn count(&self, count: i64) -> Markup {
        html! { data value=(count) { (self.set(&Decimal::from(count))) } }
    }

    /// A number with so many places.
    pub fn number(&self, value: f64, places: usize) -> Markup {
        self.float(value, places, SignDisplay::Negative)
    }

    /// A difference, with its sign.
    pub fn change(&self, value: f64, places: usize) -> Markup {
        self.float(value, places, SignDisplay::ExceptZero)
    }

    fn float(&self, value: f64, places: usize, sign: SignDisplay) -> Markup {
        let text = format!("{value:.places$}");
        match text.parse::<Decimal>() {
            Ok(decimal) => {
                let decimal = decimal.with_sign_display(sign);
                html! { data value=(text) { (self.set(&decimal)) } }
            }
            // No number, as where nothing was divided by nothing.
            Err(_) => html! { "–" },
        }
    }

    /// A number of the axis of a chart: as many places as it needs, two at most.
    pub fn tick(&self, value: f64) -> String {
        let plain = crate::chart::svg::plain(value);
        match plain.parse::<Decimal>() {
            Ok(decimal) => self.set(&decimal),
            Err(_) => plain,
        }
    }

    pub fn percent(&self, value: f64, places: usize) -> Markup {
        html! { span.keep { (self.number(value, places)) " %" } }
    }
}

/// Digits in groups of three, without the signs between them.
fn without_groups(text: &str, sign: char) -> Option<String> {
    let mut groups = text.split(sign);
    let first = groups.next().unwrap_or("");
    let is_right = (1..=3).contains(&first.len()) && groups.all(|group| group.len() == 3);
    is_right.then(|| text.replace(sign, ""))
}

/// An instant (RFC 3339), to the minute.
pub fn time(at: &str) -> Markup {
    let shown = match (at.get(..10), at.get(11..16)) {
        (Some(day), Some(time)) => format!("{day} {time} UTC"),
        _ => at.to_owned(),
    };
    html! { time datetime=(at) { (shown) } }
}

/// A day of an instant or a date.
pub fn day(at: &str) -> Markup {
    html! { time datetime=(at) data-day { (at.get(..10).unwrap_or(at)) } }
}

fn major(minor: i64, currency: &str) -> Decimal {
    let exponent = Currency::parse(currency).map_or(0, |currency| currency.exponent());
    let mut decimal = Decimal::from(minor);
    decimal.multiply_pow10(-i16::try_from(exponent).unwrap_or(0));
    decimal
}

/// The language that is liked best, the first of equals.
fn preferred(accepted: &str) -> Option<LanguageIdentifier> {
    let mut best: Option<(f32, LanguageIdentifier)> = None;
    for item in accepted.split(',').take(32) {
        let mut parts = item.split(';');
        let tag = parts.next().unwrap_or("").trim();
        let weight = parts.find_map(|part| part.trim().strip_prefix("q=")?.parse().ok());
        let weight: f32 = weight.unwrap_or(1.0);
        let Ok(language) = tag.parse::<LanguageIdentifier>() else {
            continue;
        };
        let is_better = best.as_ref().is_none_or(|(known, _)| weight > *known);
        if weight > 0.0 && is_better && !language.language.is_unknown() {
            best = Some((weight, language));
        }
    }
    best.map(|(_, language)| language)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(markup: &Markup) -> String {
        let text = markup.0.split_once('>').unwrap().1;
        text.split_once('<').unwrap().0.to_owned()
    }

    /// CLDR 48, numbers, symbols of each language, as Node's Intl writes them.
    #[test]
    fn amounts_are_written_as_the_reader_does() {
        for (accepted, expected) in [
            (None, "1,234,567.80"),
            (Some("en-GB,en;q=0.9"), "1,234,567.80"),
            (Some("de-DE"), "1.234.567,80"),
            (Some("de-CH"), "1'234'567.80"),
            (Some("fr"), "1\u{202f}234\u{202f}567,80"),
            (Some("pl"), "1\u{a0}234\u{a0}567,80"),
            (Some("hi-IN"), "12,34,567.80"),
        ] {
            let figures = Figures::of(accepted);
            let amount = figures.amount(123_456_780, "EUR");
            assert_eq!(shown(&amount), expected, "{accepted:?}");
        }
    }

    #[test]
    fn an_amount_that_a_person_writes_is_read_as_their_language_means_it() {
        let cases = [
            ("750,50", "750.50", "750.50"),
            ("750.50", "750.50", "750.50"),
            ("1234.5", "1234.5", "1234.5"),
            ("1500", "1500", "1500"),
            ("1,200", "1200", "1.200"),
            ("1200,", "1200", "1200"),
            // What links and forms write is not theirs alone: refused or not, it is no other amount.
            ("1.200", "1.200", "1.200"),
            ("1.234,50", "1234.50", "1234.50"),
            ("1,234.50", "1234.50", "1234.50"),
            ("1.234.567", "1234567", "1234567"),
            ("1,234,567", "1234567", "1234567"),
            ("1 234,50", "1234.50", "1234.50"),
            ("1\u{202f}234,50", "1234.50", "1234.50"),
            ("1'234.50", "1234.50", "1234.50"),
            ("1’234,50", "1234.50", "1234.50"),
            // Nothing that could be meant.
            ("12,34,5", "12,34,5", "12,34,5"),
            ("1,2.3,4", "1,2.3,4", "1,2.3,4"),
            ("1.2.3", "1.2.3", "1.2.3"),
            ("-750,50", "-750,50", "-750,50"),
            ("75o,50", "75o,50", "75o,50"),
            ("", "", ""),
        ];
        let (english, german) = (Figures::of(None), Figures::of(Some("de-DE")));
        for (text, by_english, by_german) in cases {
            assert_eq!(english.read_amount(text), by_english, "{text}, English");
            assert_eq!(german.read_amount(text), by_german, "{text}, German");
        }
    }

    #[test]
    fn a_currency_brings_its_own_places() {
        let figures = Figures::of(None);
        assert_eq!(
            figures.amount(129_800, "JPY").0,
            "<data value=\"129800\">129,800</data>"
        );
        assert_eq!(shown(&figures.more(-1_500, "EUR")), "-15.00");
        assert_eq!(shown(&figures.more(1_500, "EUR")), "+15.00");
        assert_eq!(Figures::plain(91_040, "EUR"), "910.40");
    }

    #[test]
    fn the_language_that_is_liked_best_counts() {
        let language = |accepted| preferred(accepted).map(|language| language.to_string());
        assert_eq!(language("fr;q=0.5, de-AT, en"), Some("de-AT".to_owned()));
        assert_eq!(language("*, <script>;q=1, da;q=0.1"), Some("da".to_owned()));
        assert_eq!(language("de;q=0"), None);
        assert_eq!(language(&"x".repeat(10_000)), None);
    }

    #[test]
    fn numbers_are_rounded_and_what_is_none_is_a_dash() {
        let figures = Figures::of(Some("de"));
        assert_eq!(shown(&figures.number(124.96, 1)), "125,0");
        assert_eq!(shown(&figures.change(2.04, 1)), "+2,0");
        assert_eq!(figures.number(f64::NAN, 1).0, "–");
        assert_eq!(figures.tick(1_250.0), "1.250");
        assert_eq!(figures.tick(2.5), "2,5");
    }
}
