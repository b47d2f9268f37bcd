//! Prices that cannot be right: held until the next polls or the author confirm them.

use crate::money::{Currency, Money};

/// Why a price is not believed yet.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Doubt {
    #[error("the price is {0}, which cannot be right")]
    NotPositive(Money),
    #[error("the currency changed from {before} to {now}")]
    CurrencyChanged { before: Currency, now: Currency },
    #[error("the price went from {before} to {now}, by more than a factor of {}", factor(*limit_hundredths))]
    OwnPast {
        before: Money,
        now: Money,
        limit_hundredths: u32,
    },
    #[error("the price is {now} while others ask about {median}, more than a factor of {} apart", factor(*limit_hundredths))]
    Peers {
        median: Money,
        now: Money,
        limit_hundredths: u32,
    },
}

fn factor(hundredths: u32) -> String {
    let (whole, fraction) = (hundredths / 100, hundredths % 100);
    if fraction == 0 {
        whole.to_string()
    } else {
        format!("{whole}.{fraction:02}")
    }
}

/// Doubts a price against the offer's own last price and against what other retailers ask for
/// the same part. `limit_hundredths` is the factor beyond which it is doubted: 300 for three.
///
/// Without a past, two other prices at least are needed for a comparison.
pub fn doubt(
    now: Money,
    before: Option<Money>,
    peers: &[Money],
    limit_hundredths: u32,
) -> Option<Doubt> {
    if now.minor() <= 0 {
        return Some(Doubt::NotPositive(now));
    }
    if let Some(before) = before {
        if before.currency() != now.currency() {
            let (before, now) = (before.currency(), now.currency());
            return Some(Doubt::CurrencyChanged { before, now });
        }
        // An offer's own past is the better witness: a price near it is believed.
        return is_beyond(now, before, limit_hundredths).then_some(Doubt::OwnPast {
            before,
            now,
            limit_hundredths,
        });
    }
    let mut same: Vec<i64> = peers
        .iter()
        .filter(|peer| peer.currency() == now.currency())
        .map(|peer| peer.minor())
        .collect();
    if same.len() < 2 {
        return None;
    }
    same.sort_unstable();
    let median = Money::from_minor(same[same.len() / 2], now.currency());
    is_beyond(now, median, limit_hundredths).then_some(Doubt::Peers {
        median,
        now,
        limit_hundredths,
    })
}

/// True when the larger of two amounts exceeds the smaller by more than the factor.
fn is_beyond(one: Money, other: Money, limit_hundredths: u32) -> bool {
    let (low, high) = (
        one.minor().min(other.minor()),
        one.minor().max(other.minor()),
    );
    i128::from(high) * 100 > i128::from(low) * i128::from(limit_hundredths)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn eur(minor: i64) -> Money {
        Money::from_minor(minor, Currency::EUR)
    }

    #[test]
    fn jumps_by_a_power_of_ten_are_doubted_either_way() {
        // Pitfalls P36 and F33: a digit too many, or minor units where major ones were meant.
        for now in [12_990, 1_299_000, 1_299, 12_990_000] {
            assert!(matches!(
                doubt(eur(now), Some(eur(129_900)), &[], 300),
                Some(Doubt::OwnPast { .. })
            ));
        }
        assert_eq!(doubt(eur(43_300), Some(eur(129_900)), &[], 300), None);
        assert!(doubt(eur(43_299), Some(eur(129_900)), &[], 300).is_some());
    }

    #[test]
    fn another_currency_is_doubted_and_not_taken_for_a_discount() {
        // Pitfall P37.
        let dollars = Money::from_minor(119_900, Currency::parse("USD").unwrap());
        assert!(matches!(
            doubt(dollars, Some(eur(129_900)), &[], 300),
            Some(Doubt::CurrencyChanged { .. })
        ));
    }

    #[test]
    fn a_first_price_far_from_the_others_is_doubted() {
        // Pitfall M20: accessories and whole systems matched to a card.
        let peers = [eur(60_000), eur(62_000), eur(61_000)];
        assert!(matches!(
            doubt(eur(1_999), None, &peers, 300),
            Some(Doubt::Peers { .. })
        ));
        assert_eq!(doubt(eur(45_000), None, &peers, 300), None);
        assert_eq!(doubt(eur(1_999), None, &peers[..1], 300), None);
    }

    #[test]
    fn zero_is_never_a_price() {
        // Pitfall P14.
        assert!(doubt(eur(0), None, &[], 300).is_some());
    }
}
