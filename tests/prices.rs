//! Price text against the outside: strings that two engines made from the locale data of Unicode,
//! and the arithmetic of value added tax.

use rigtide::money::{Currency, Figure, Money, NumberMarks, PriceContext, PriceFault, parse_price};
use std::path::PathBuf;

/// The text of a file of facts; `None` where the facts are not at hand, which CI forbids.
fn facts(name: &str) -> Option<String> {
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/facts");
    let directory = std::env::var_os("RIGTIDE_FACTS").map_or(beside, PathBuf::from);
    match std::fs::read_to_string(directory.join(name)) {
        Ok(text) => Some(text),
        Err(error) => {
            let required = std::env::var("CI").is_ok_and(|value| value == "true");
            assert!(!required, "{name}: {error}");
            None
        }
    }
}

struct Row {
    locale: String,
    currency: Currency,
    minor: i64,
    text: String,
}

fn rows() -> Option<Vec<Row>> {
    // Source: Babel 2.18 and ICU 78.2 from Unicode CLDR data.
    let text = facts("cldr_prices.csv")?;
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let row = |record: csv::StringRecord| Row {
        locale: record[0].to_owned(),
        currency: Currency::parse(&record[1]).expect("a code of ISO 4217"),
        minor: record[2].parse().expect("minor units"),
        text: record[3].to_owned(),
    };
    Some(
        reader
            .records()
            .map(|record| row(record.expect("a row of the facts")))
            .collect(),
    )
}

/// The amount that a text gives, or that the fault says it would give.
fn outcome(row: &Row, marks: Option<NumberMarks>) -> Result<Money, PriceFault> {
    let context = PriceContext {
        marks,
        currency: Some(row.currency),
        ..PriceContext::default()
    };
    match parse_price(&row.text, &context) {
        Ok(reading) => Ok(reading.amount),
        // Exceptions, each a class of its own.
        // Below zero: a shop means a discount. The amount itself must still be right.
        Err(PriceFault::Negative {
            figure: Figure::Read(amount),
        }) if row.minor < 0 => Ok(amount),
        // 999999.99 in a currency of large unit: a row of nines on which shops park unknown prices.
        Err(PriceFault::Placeholder {
            figure: Figure::Read(amount),
        }) if row.minor == 99_999_999 => Ok(amount),
        Err(fault) => Err(fault),
    }
}

fn report(wrong: &[String]) {
    assert!(
        wrong.is_empty(),
        "{} rows:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

/// Toki Pona groups by two with spaces, which no shop does: read as two numbers, and refused.
fn groups_by_two(row: &Row) -> bool {
    row.locale == "tok" || row.locale == "tok_001"
}

#[test]
fn every_locale_reads_back_to_its_minor_units() {
    let Some(rows) = rows() else {
        println!("skipped: cldr_prices.csv is not at hand");
        return;
    };
    let mut wrong = Vec::new();
    for row in &rows {
        let marks = NumberMarks::of_locale(&row.locale);
        let expected = Ok(Money::from_minor(row.minor, row.currency));
        let found = outcome(row, marks);
        let refused = groups_by_two(row) && matches!(found, Err(PriceFault::SideBySide { .. }));
        if found != expected && !refused {
            wrong.push(format!(
                "{} {:?}: {found:?}, not {expected:?}",
                row.locale, row.text
            ));
        }
    }
    report(&wrong);
}

#[test]
fn without_the_locale_a_reading_is_right_or_ambiguous() {
    let Some(rows) = rows() else {
        println!("skipped: cldr_prices.csv is not at hand");
        return;
    };
    let mut wrong = Vec::new();
    let mut n_ambiguous = 0;
    for row in &rows {
        match outcome(row, None) {
            Ok(amount) if amount == Money::from_minor(row.minor, row.currency) => {}
            Err(PriceFault::Ambiguous { .. }) => n_ambiguous += 1,
            Err(PriceFault::SideBySide { .. }) if groups_by_two(row) => {}
            found => wrong.push(format!("{} {:?}: {found:?}", row.locale, row.text)),
        }
    }
    report(&wrong);
    // One separator before three digits, as the data's flag `ambig3` counts at most.
    assert!((1..=278).contains(&n_ambiguous), "{n_ambiguous}");
}
