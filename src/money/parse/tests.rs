//! The pitfalls of price text, each with its id. The amounts and names are invented.

use super::*;

/// Nothing known but what the text says.
const BARE: &str = "";

/// Context as `locale`, `CURRENCY`, `machine`, in any order.
fn context(words: &str) -> PriceContext {
    let mut context = PriceContext::default();
    for word in words.split_ascii_whitespace() {
        if word == "machine" {
            context.origin = PriceOrigin::Machine;
        } else if let (3, Ok(currency)) = (word.len(), Currency::parse(word)) {
            context.currency = Some(currency);
        } else {
            context.marks = NumberMarks::of_locale(word);
            assert!(context.marks.is_some(), "{word}");
        }
    }
    context
}

/// The reading in one line: amount, then whatever else was said; or the fault's code.
fn shown(text: &str, words: &str) -> String {
    let reading = match parse_price(text, &context(words)) {
        Ok(reading) => reading,
        Err(PriceFault::Ambiguous { first, second }) => return format!("{first} or {second}"),
        Err(PriceFault::SideBySide { first, second }) => {
            return format!("side by side {first} or {second}");
        }
        Err(PriceFault::Range { low, high }) => return format!("range {low} to {high}"),
        Err(fault) => return fault.code().to_owned(),
    };
    let mut shown = format!("{} {}", reading.amount.decimal(), reading.amount.currency());
    match reading.tax {
        TaxMark::Inclusive => shown.push_str(" gross"),
        TaxMark::Exclusive => shown.push_str(" net"),
        TaxMark::Unstated => {}
    }
    if let Some(shipping) = reading.shipping {
        shown.push_str(&format!(" + {}", shipping.decimal()));
    }
    if let Some(list) = reading.list_price {
        shown.push_str(&format!(" was {}", list.decimal()));
    }
    if reading.minimum_quantity != 1 {
        shown.push_str(&format!(" from {} pieces", reading.minimum_quantity));
    }
    shown
}

fn check(cases: &[(&str, &str, &str)]) {
    let wrong: Vec<String> = cases
        .iter()
        .filter(|(text, words, expected)| shown(text, words) != *expected)
        .map(|(text, words, expected)| {
            format!(
                "{text:?} ({words}): expected {expected}, found {}",
                shown(text, words)
            )
        })
        .collect();
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn marks_that_group_and_marks_before_decimals() {
    check(&[
        // P01
        ("1.299,00 €", BARE, "1299.00 EUR"),
        ("1,299.00 €", BARE, "1299.00 EUR"),
        ("1,299.00 €", "de", "1299.00 EUR"),
        // P02
        ("1.299 €", "de", "1299.00 EUR"),
        ("1.299 €", BARE, "1299 or 1.299"),
        // P03
        ("1,299", "en GBP", "1299.00 GBP"),
        ("1,299", "de EUR", "1299 or 1.299"),
        // P04
        ("499.000 €", "de", "499000.00 EUR"),
        ("499.000", "de EUR machine", "499.00 EUR"),
        // P05
        ("1\u{a0}299,00 zł", BARE, "1299.00 PLN"),
        ("1\u{202f}299,00 zł", BARE, "1299.00 PLN"),
        ("1\u{2009}299,00 zł", BARE, "1299.00 PLN"),
        ("1 299,00 zł", BARE, "1299.00 PLN"),
        (
            "12 99,00 zł",
            BARE,
            r#"side by side "12 99,00" or "12" and "99,00""#,
        ),
        // P06
        ("CHF 1’299.–", BARE, "1299.00 CHF"),
        ("CHF 1'299.–", BARE, "1299.00 CHF"),
        // P07
        ("749,-", "EUR", "749.00 EUR"),
        ("749,–", "EUR", "749.00 EUR"),
        ("749.-", "EUR", "749.00 EUR"),
        ("749:-", "SEK", "749.00 SEK"),
        ("1.749,– €", BARE, "1749.00 EUR"),
        // P20
        ("₹1,49,999.00", BARE, "149999.00 INR"),
        // P21
        ("١٬٢٩٩٫٠٠ د.إ", BARE, "1299.00 AED"),
        // P22
        (
            "\u{200f}1,299.00\u{a0}\u{200f}₪\u{2069}",
            BARE,
            "1299.00 ILS",
        ),
        // P30
        ("1299&nbsp;,&nbsp;00&nbsp;&euro;", BARE, "1299.00 EUR"),
        // P33
        ("€ 1.299,00¹", BARE, "1299.00 EUR"),
        ("1.299,00 €*", BARE, "1299.00 EUR"),
        // P34
        ("12.99.00", "EUR", "price_malformed"),
        ("1,2,3", "EUR", "price_malformed"),
        ("12..5", "EUR", "price_malformed"),
        // P35
        ("19.99", "EUR machine", "19.99 EUR"),
        ("1.9990e1", "EUR machine", "19.99 EUR"),
        ("1.299E3", "EUR machine", "1299.00 EUR"),
        ("207.5630", "EUR machine", "207.56 EUR"),
        ("19.995", "EUR machine", "19995 or 19.995"),
    ]);
}

#[test]
fn texts_that_hold_no_price() {
    check(&[
        // P08
        ("-15,00 €", BARE, "price_negative"),
        ("−15,00 €", BARE, "price_negative"),
        ("15,00- €", BARE, "price_negative"),
        ("€ -15,00", BARE, "price_negative"),
        // P09
        ("from £329.90", BARE, "price_from"),
        ("ab 329,90 €", BARE, "price_from"),
        ("od 1 299 zł", BARE, "price_from"),
        ("bis 249 €", BARE, "price_from"),
        ("£249 and up", BARE, "price_from"),
        ("£249+", BARE, "price_from"),
        ("19,800円～", BARE, "price_from"),
        ("~ 249 €", BARE, "price_approximate"),
        ("à partir de 329,90 €", BARE, "price_from"),
        // P10
        ("£329.90 – £419.90", BARE, "range GBP 329.90 to GBP 419.90"),
        ("329,90–419,90 €", BARE, "range EUR 329.90 to EUR 419.90"),
        ("£329.90 to £419.90", BARE, "range GBP 329.90 to GBP 419.90"),
        // P12
        ("Save £60", BARE, "price_discount"),
        ("-40 %", "EUR", "price_missing"),
        ("You save 60,00 €", BARE, "price_discount"),
        ("60 € Rabatt", BARE, "price_discount"),
        // P13
        ("24 × 41,62 €", BARE, "price_instalment"),
        ("€41.62/month", BARE, "price_instalment"),
        ("12x de 99,90", "BRL", "price_instalment"),
        ("monatlich 41,62 €", BARE, "price_instalment"),
        ("41,62 € pro Monat", BARE, "price_instalment"),
        ("in 24 Raten à 41,62 €", BARE, "price_instalment"),
        // P14
        ("0.00", "EUR", "price_placeholder"),
        ("0,00 €", BARE, "price_placeholder"),
        ("9999.99", "EUR", "price_placeholder"),
        ("99999", "EUR", "price_placeholder"),
        ("99 999 ₽", BARE, "99999.00 RUB"),
        // P15
        ("Call for price", "EUR", "price_missing"),
        ("Preis auf Anfrage", "EUR", "price_missing"),
        ("TBA", "EUR", "price_missing"),
        ("—", "EUR", "price_missing"),
        ("", "EUR", "price_missing"),
        // P28
        ("Free delivery over £49", BARE, "price_shipping"),
        ("Versandkostenfrei ab 49 €", BARE, "price_shipping"),
        ("ab 49 € versandkostenfrei", BARE, "price_shipping"),
        ("5,99 € Versand", BARE, "price_shipping"),
        // P39
        ("Was $149.95, now $0.00", "USD", "price_placeholder"),
    ]);
}

#[test]
fn a_configured_placeholder_is_no_price() {
    // P14: the list is configurable.
    let mut context = context("EUR");
    context.placeholders = vec![
        Decimal::parse("1").unwrap(),
        Decimal::parse("7777.00").unwrap(),
    ];
    for text in ["1.00", "7777"] {
        let fault = parse_price(text, &context).map(|reading| reading.amount);
        assert!(
            matches!(fault, Err(PriceFault::Placeholder { .. })),
            "{text}"
        );
    }
    assert!(parse_price("1.01", &context).is_ok());
}

#[test]
fn currencies_by_code_sign_and_setting() {
    check(&[
        // P16
        ("$1,299.00", "CAD", "1299.00 CAD"),
        ("$1,299.00", BARE, "currency_ambiguous"),
        ("$1,299.00", "EUR", "currency_ambiguous"),
        ("1,299.00", BARE, "currency_unknown"),
        // P17
        ("C$1,299", "en", "1299.00 CAD"),
        ("CA$1,299", "en", "1299.00 CAD"),
        ("A$1,299", "en", "1299.00 AUD"),
        ("HK$1,299", "en", "1299.00 HKD"),
        ("NT$1,299", "en", "1299.00 TWD"),
        ("R$ 1.299,00", BARE, "1299.00 BRL"),
        ("US$1,299", "en", "1299.00 USD"),
        // P18
        ("4 990,00 kr", BARE, "currency_ambiguous"),
        ("4 990,00 kr", "SEK", "4990.00 SEK"),
        ("4 990,00 kr", "NOK", "4990.00 NOK"),
        // P19
        ("¥19,800 (税込)", BARE, "19800 JPY gross"),
        ("１９，８００円", BARE, "19800 JPY"),
        // P23
        ("EUR1299", BARE, "1299.00 EUR"),
        ("1299 EUR", BARE, "1299.00 EUR"),
        ("€1299,00", BARE, "1299.00 EUR"),
        ("1.299,00 Euro", BARE, "1299.00 EUR"),
        ("$12.00 USD", BARE, "12.00 USD"),
        ("Preis in EUR: 1299", BARE, "1299.00 EUR"),
        // P31
        ("USD 1,299.00 (approx. EUR 1,187.40)", BARE, "1299.00 USD"),
        ("USD 1,299.00 (approx. EUR 1,187.40)", "EUR", "1299.00 USD"),
        ("USD 1,299.00 / EUR 1,187.40", BARE, "price_several"),
        // A currency that left the list is not the feed's own.
        ("1.299,00 kn", "EUR", "currency_ambiguous"),
    ]);
}

#[test]
#[expect(clippy::too_many_lines, reason = "one table of cases")]
fn words_say_which_amount_is_the_price() {
    check(&[
        // P11
        ("was £449.00 now £389.00", BARE, "389.00 GBP was 449.00"),
        ("now £389.00 was £449.00", BARE, "389.00 GBP was 449.00"),
        ("389,00 € statt 449,00 €", BARE, "389.00 EUR was 449.00"),
        ("UVP 449,00 € 389,00 €", BARE, "389.00 EUR was 449.00"),
        ("389 statt 449 €", BARE, "389.00 EUR was 449.00"),
        ("de R$ 449,00 por R$ 389,00", BARE, "389.00 BRL was 449.00"),
        (
            "389,00 € au lieu de 449,00 €",
            BARE,
            "389.00 EUR was 449.00",
        ),
        ("£449.00 £389.00", BARE, "price_several"),
        ("was £249 - £299", BARE, "price_list_only"),
        (
            "Sale price$1,299.99Regular price$1,499.99",
            "USD",
            "1299.99 USD was 1499.99",
        ),
        ("449 € jetzt 389", BARE, "price_several"),
        ("Nur noch 3 auf Lager 249,00 €", BARE, "price_several"),
        ("1-4 Stück: 12,99 € ab 5: 11,99 €", BARE, "price_several"),
        // The prior price of Directive 98/6/EC, Art. 6a: neither the price nor the list price.
        (
            "1.299,00 € (Niedrigster Preis der letzten 30 Tage: 1.199,00 €)",
            BARE,
            "1299.00 EUR",
        ),
        (
            "1299,00 zł Najniższa cena z 30 dni przed obniżką: 1399,00 zł",
            BARE,
            "1299.00 PLN",
        ),
        ("389,00 € 389,00 €", BARE, "389.00 EUR"),
        ("449,00 € UVP 389,00 €", BARE, "price_several"),
        ("Was £449 Save £60 Now £389", BARE, "389.00 GBP was 449.00"),
        ("389,00 € (60 € gespart)", BARE, "389.00 EUR"),
        ("$20 off $249.99", "USD", "249.99 USD"),
        ("20% off $249.99", "USD", "price_several"),
        ("249,00 € Sie sparen 17 %", BARE, "249.00 EUR"),
        ("$249.99 - $20 coupon", "USD", "249.99 USD"),
        ("449 € Rabatt 60 €", BARE, "price_several"),
        // P13 beside a full price
        ("999,00 € oder 24 × 41,62 €", BARE, "999.00 EUR"),
        ("R$ 1.199,00 em 12x de R$ 99,90", BARE, "1199.00 BRL"),
        // P24
        ("99,90 € (0,05 €/GB)", BARE, "99.90 EUR"),
        ("0,05 €/GB 99,90 €", BARE, "99.90 EUR"),
        ("0,05 €/GB", BARE, "price_per_unit"),
        ("99,90 €/Stück", BARE, "99.90 EUR"),
        // P25
        ("249,00 € zzgl. MwSt.", BARE, "249.00 EUR net"),
        ("249.00 excl. VAT", "GBP", "249.00 GBP net"),
        ("249,00 € HT", BARE, "249.00 EUR net"),
        ("249,00 € TTC", BARE, "249.00 EUR gross"),
        ("249,00 € inkl. 19 % MwSt.", BARE, "249.00 EUR gross"),
        // P26
        ("£207.50 ex VAT £249.00 inc VAT", BARE, "249.00 GBP gross"),
        ("£249.00 inc VAT £207.50 ex VAT", BARE, "249.00 GBP gross"),
        ("ex VAT £207.50 inc VAT £249.00", BARE, "249.00 GBP gross"),
        // P27
        (
            "249,00 € inkl. MwSt. zzgl. 5,99 € Versand",
            BARE,
            "249.00 EUR gross + 5.99",
        ),
        (
            "249,00 € inkl. MwSt., zzgl. Versandkosten",
            BARE,
            "249.00 EUR gross",
        ),
        ("249,00 € inkl. Versand", BARE, "249.00 EUR + 0.00"),
        ("£249.00 + £4.99 delivery", BARE, "249.00 GBP + 4.99"),
        ("249,00 € - 5,99 € Versand", BARE, "249.00 EUR + 5.99"),
        ("£249.00 free delivery", BARE, "249.00 GBP + 0.00"),
        (
            "Versand: 5,99 €, Preis: 249,00 €",
            BARE,
            "249.00 EUR + 5.99",
        ),
        // P38
        ("89,90 € (min. order 10)", BARE, "89.90 EUR from 10 pieces"),
        ("2 for 150 €", BARE, "75.00 EUR from 2 pieces"),
        ("3 for 100 €", BARE, "price_bundle"),
        // P39
        ("139,00 € (−20 %)", BARE, "139.00 EUR"),
    ]);
}

#[test]
fn numbers_side_by_side_are_never_glued() {
    check(&[
        // P29
        (
            "1.299\n99\n€",
            "de",
            r#"side by side "1.299 99" or "1.299" and "99""#,
        ),
        (
            "1.299 € 99",
            "de",
            r#"side by side "1.299 99" or "1.299" and "99""#,
        ),
        ("1299€99", BARE, "1299.99 EUR"),
        (
            "1299⁹⁹ €",
            BARE,
            r#"side by side "1299 raised" or "1299" and "raised""#,
        ),
        // P32
        (
            "Fenrir 9080 1 199,00 €",
            BARE,
            "side by side 1199.00 or 199.00",
        ),
        ("Fenrir 9080 199,00 €", BARE, "199.00 EUR"),
        (
            "Fenrir 980 199,00 €",
            BARE,
            "side by side 980199.00 or 199.00",
        ),
        ("Preis: 1 199,00 €", BARE, "1199.00 EUR"),
        ("Fenrir 9080", "EUR", "price_unmarked"),
        ("DDR5-6000 32 GB 129,90 €", BARE, "129.90 EUR"),
    ]);
}

#[test]
fn values_of_structured_data_are_read() {
    check(&[
        // S04
        ("1299", "EUR machine", "1299.00 EUR"),
        ("1299.00", "EUR machine", "1299.00 EUR"),
        ("1,299.00", "EUR machine", "1299.00 EUR"),
        ("1299,00", "EUR machine", "1299.00 EUR"),
        ("€1.299,00", "EUR machine", "1299.00 EUR"),
        ("1299.00 EUR", "EUR machine", "1299.00 EUR"),
        // S20
        ("1299,00 €", "EUR machine", "1299.00 EUR"),
        // S36
        ("", "EUR machine", "price_missing"),
        ("null", "EUR machine", "price_missing"),
        ("NaN", "EUR machine", "price_missing"),
        ("0", "EUR machine", "price_placeholder"),
        ("[]", "EUR machine", "price_missing"),
        // F23
        ("12.00 EUR", "EUR", "12.00 EUR"),
        ("EUR 12.00", "EUR", "12.00 EUR"),
        ("12,00", "EUR", "12.00 EUR"),
        ("12", "EUR", "12.00 EUR"),
    ]);
}

#[test]
fn prices_in_minor_units_are_read_by_setting_only() {
    // F33
    let minor = PriceContext {
        minor_units: true,
        ..context("EUR machine")
    };
    let amount = |text| parse_price(text, &minor).map(|reading| reading.amount.minor());
    assert_eq!(amount("129990"), Ok(129_990));
    assert!(amount("1299.90").is_err());
    assert_eq!(shown("129990", "EUR machine"), "129990.00 EUR");
}
