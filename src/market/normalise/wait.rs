//! Reads how long goods take to leave the retailer, as feeds state it.
//!
//! The words are common practice, no source; the codes are UN/CEFACT's, which schema.org takes for
//! units of time (from memory), and durations are those of ISO 8601.

use super::text;
use crate::market::raw::{Field, RawOffer};

/// A longer wait is a mistake of the feed's.
const DAYS_MAX: u64 = 1_000;

/// Units, in hours; working days are counted apart.
const HOURS: &[(u64, &str)] = &[
    (
        1,
        "h hr hrs hour hours hur stunde stunden std heure heures hora horas ora ore uur godzin",
    ),
    (
        24,
        "d day days tag tage tagen jour jours dia dias giorno giorni dag dagen dagar dage dni dzien \
         paiva paivaa den dnu dny nap gun 日 день дня днеи",
    ),
    (
        7 * 24,
        "w wk wks week weeks wee woche wochen semaine semaines semana semanas settimana settimane \
         weken vecka veckor uge uger tydzien tygodnie tygodni viikko viikkoa tyden tydny het hafta",
    ),
    (
        31 * 24,
        "m mon month months monat monate monaten mois mes meses mese mesi maand maanden manad manader",
    ),
];

/// Days on which shops work.
const WORKING: &str = "werktag werktage werktagen arbeitstag arbeitstage arbeitstagen workingday \
    workingdays workday workdays businessday businessdays joursouvres joursouvrables werkdag werkdagen \
    arbetsdagar arkipaivaa giornilavorativi diaslaborables diasuteis";
/// Words that make days of the word beside them working days.
const WORKING_BESIDE: &[&str] = &[
    "working",
    "business",
    "ouvres",
    "ouvrables",
    "lavorativi",
    "laborables",
    "habiles",
    "uteis",
    "roboczych",
    "robocze",
];

/// The most days between an order and the goods' leaving, where the record says and it can be read.
pub(super) fn lead_days(raw: &RawOffer, notes: &mut Vec<String>) -> Option<u32> {
    let text = raw.first(Field::LeadTime)?.text.trim();
    let days = read_days(text);
    if days.is_none() {
        let shown = text::bounded(text, 80);
        notes.push(format!("lead_time: \"{shown}\" is no number of days"));
    }
    days
}

/// Reads `3`, `2-4 days`, `up to 2 weeks`, `48 h` and `P3D`; of a range, its end. Part of a day
/// counts as a day.
fn read_days(text: &str) -> Option<u32> {
    let (numbers, words) = split(text)?;
    let hours = match duration_hours(text) {
        Some(hours) => hours,
        None => {
            let most = match numbers.as_slice() {
                [only] => *only,
                [least, most] if least <= most => *most,
                _ => return None,
            };
            hours_of(most, &words)?
        }
    };
    let days = hours.div_ceil(24);
    u32::try_from(days).ok().filter(|_| days <= DAYS_MAX)
}

/// The whole numbers and the words of a text; `None` where a number is not whole.
fn split(text: &str) -> Option<(Vec<u64>, Vec<String>)> {
    let is_number = |c: char| c.is_ascii_digit();
    let characters: Vec<char> = text.chars().collect();
    let is_decimal = |three: &[char]| {
        is_number(three[0]) && matches!(three[1], '.' | ',') && is_number(three[2])
    };
    if characters.windows(3).any(is_decimal) {
        return None;
    }
    let runs = characters.chunk_by(|one, next| {
        let kind = |c: char| (is_number(c), c.is_alphabetic());
        kind(*one) == kind(*next)
    });
    let (mut numbers, mut words) = (Vec::new(), Vec::new());
    for run in runs {
        let run: String = run.iter().collect();
        if run.starts_with(is_number) {
            // Five digits are a year, an article number or nonsense.
            numbers.push(run.parse().ok().filter(|_| run.len() < 5)?);
        } else if run.starts_with(char::is_alphabetic) {
            words.push(text::key(&run));
        }
    }
    Some((numbers, words))
}

/// The hours of so many of the words' unit; of days where there is no word.
fn hours_of(number: u64, words: &[String]) -> Option<u64> {
    let is_listed = |list: &str, word: &str| list.split_ascii_whitespace().any(|one| one == word);
    let is_working =
        |word: &String| is_listed(WORKING, word) || WORKING_BESIDE.contains(&word.as_str());
    let pairs = words.windows(2).map(|pair| pair.concat());
    if words.iter().any(is_working) || pairs.into_iter().any(|pair| is_listed(WORKING, &pair)) {
        // Two days of rest for every five of work, begun ones counted.
        let rest = 2 * number.div_ceil(5);
        return Some(24 * (number + rest));
    }
    let units = words.iter().filter_map(|word| {
        let known = HOURS.iter().find(|(_, list)| is_listed(list, word));
        known.map(|(hours, _)| *hours)
    });
    let units: Vec<u64> = units.collect();
    match units.as_slice() {
        [] if words.is_empty() => Some(24 * number),
        [first, others @ ..] if others.iter().all(|other| other == first) => Some(first * number),
        _ => None,
    }
}

/// An ISO 8601 duration of weeks, days and hours, such as `P3D`, `P2W` and `PT48H`.
fn duration_hours(text: &str) -> Option<u64> {
    let upper = text.to_ascii_uppercase();
    let body = upper.strip_prefix('P')?;
    let (days, time) = body.split_once('T').unwrap_or((body, ""));
    let sum = |part: &str, units: &[(char, u64)]| {
        let mut hours = 0_u64;
        for one in part.split_inclusive(|c: char| c.is_ascii_alphabetic()) {
            let unit = one.chars().last()?;
            let (_, worth) = units.iter().find(|(known, _)| *known == unit)?;
            let number: u64 = one.strip_suffix(unit)?.parse().ok()?;
            hours = hours.checked_add(number.checked_mul(*worth)?)?;
        }
        Some(hours)
    };
    let days = sum(days, &[('D', 24), ('W', 7 * 24), ('M', 31 * 24)])?;
    let time = sum(time, &[('H', 1)])?;
    (!body.is_empty()).then(|| days.checked_add(time))?
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wait_is_read_in_the_forms_of_feeds() {
        for (text, expected) in [
            ("0", 0),
            ("3", 3),
            ("3 days", 3),
            ("2-4 Tage", 4),
            ("ca. 2 – 4 Tage", 4),
            ("1 bis 2 Wochen", 14),
            ("up to 2 weeks", 14),
            ("24h", 1),
            ("48 Stunden", 2),
            ("30 hours", 2),
            ("5 DAY", 5),
            ("2 WEE", 14),
            ("1 month", 31),
            ("delivery in 3 to 5 days", 5),
            // A week's work takes a week.
            ("5 Werktage", 7),
            ("1-3 Werktage", 5),
            ("10 business days", 14),
            ("3 jours ouvrés", 5),
            ("P3D", 3),
            ("p2w", 14),
            ("PT48H", 2),
            ("P1DT12H", 2),
        ] {
            assert_eq!(read_days(text), Some(expected), "{text}");
        }
    }

    #[test]
    fn what_is_no_number_of_days_is_not_guessed() {
        for text in [
            "",
            "soon",
            "sofort",
            "2.5 days",
            "4-2 days",
            "1 2 3",
            "2026",
            "99999",
            "3 parsecs",
            "3 days or 2 weeks",
            "P",
            "PXD",
            "P3Q",
            "2026-12-24",
        ] {
            assert_eq!(read_days(text), None, "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,30}") {
            if let Some(days) = read_days(&text) {
                proptest::prop_assert!(u64::from(days) <= DAYS_MAX);
            }
        }
    }
}
