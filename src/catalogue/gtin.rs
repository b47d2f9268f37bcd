//! Global Trade Item Numbers, kept as fourteen digits with a verified check digit.

use std::fmt;

/// A GTIN-8, -12, -13 or -14, padded to fourteen digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Gtin([u8; 14]);

/// Why a text identifies no part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum GtinFault {
    #[error("not 8, 12, 13 or 14 digits")]
    Length,
    #[error("has characters that are not digits")]
    NotDigits,
    #[error("has a wrong check digit")]
    CheckDigit,
    #[error("is a placeholder, not an identity")]
    Placeholder,
    #[error("is valid inside one shop only")]
    InStore,
    #[error("names a pack, not the single part")]
    Pack,
}

impl Gtin {
    /// Reads digits, with blanks and hyphens between them allowed.
    ///
    /// A number whose check digit fits may still be no identity: fillers, in-store numbers
    /// (prefixes 02, 04 and 20 to 29) and cartons (GTIN-14 that begin with 1 to 8) are refused.
    ///
    /// # Errors
    /// [`GtinFault`] says which of these it was.
    pub fn parse(text: &str) -> Result<Gtin, GtinFault> {
        let mut digits = Vec::with_capacity(14);
        for character in text.trim().chars() {
            match character {
                '0'..='9' if digits.len() < 15 => digits.push(character as u8 - b'0'),
                '0'..='9' => return Err(GtinFault::Length),
                ' ' | '-' | '\u{a0}' => {}
                _ => return Err(GtinFault::NotDigits),
            }
        }
        if !matches!(digits.len(), 8 | 12 | 13 | 14) {
            return Err(GtinFault::Length);
        }
        let mut padded = [0; 14];
        padded[14 - digits.len()..].copy_from_slice(&digits);
        if check_digit(&padded) != padded[13] {
            return Err(GtinFault::CheckDigit);
        }
        if is_filler(&digits) {
            return Err(GtinFault::Placeholder);
        }
        if (1..=8).contains(&padded[0]) {
            return Err(GtinFault::Pack);
        }
        if digits.len() >= 12 && padded[..6] != [0; 6] && is_in_store(&padded) {
            return Err(GtinFault::InStore);
        }
        Ok(Gtin(padded))
    }
}

/// GS1 check digit: from the right, weights 3, 1, 3, 1 on the digits before it.
fn check_digit(padded: &[u8; 14]) -> u8 {
    let sum: u32 = padded[..13]
        .iter()
        .enumerate()
        .map(|(position, digit)| u32::from(*digit) * if position % 2 == 0 { 3 } else { 1 })
        .sum();
    ((10 - sum % 10) % 10) as u8
}

/// All digits alike, or counting up, as forms are filled to be done with them.
fn is_filler(digits: &[u8]) -> bool {
    let body = &digits[..digits.len() - 1];
    let alike = body.windows(2).all(|pair| pair[0] == pair[1]);
    let counting = body.len() > 8 && body.windows(2).all(|pair| (pair[0] + 1) % 10 == pair[1]);
    alike || counting
}

/// GTIN-13 prefixes 02, 04 and 20 to 29 are free for use inside a shop.
fn is_in_store(padded: &[u8; 14]) -> bool {
    matches!((padded[1], padded[2]), (0, 2 | 4) | (2, _))
}

impl fmt::Display for Gtin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = self.0.map(|digit| b'0' + digit);
        // Invariant: `parse` admits the values 0 to 9 alone, so this is ASCII.
        f.write_str(std::str::from_utf8(&digits).unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worked_examples_of_gs1_have_the_published_check_digits() {
        // gs1.org check digit page; GS1 Sweden; GS1 India.
        for text in ["6291041500213", "7300011000017", "8904000210037"] {
            assert_eq!(
                Gtin::parse(text).map(|g| g.to_string()),
                Ok(format!("0{text}"))
            );
        }
    }

    #[test]
    fn lengths_of_one_number_are_one_identity() {
        let short = Gtin::parse("071588234019");
        assert!(short.is_ok());
        assert_eq!(Gtin::parse("0071588234019"), short);
        assert_eq!(Gtin::parse("00071588234019"), short);
    }

    #[test]
    fn fillers_cartons_and_in_store_numbers_are_no_identity() {
        for (text, fault) in [
            ("0000000000000", GtinFault::Placeholder),
            ("9999999999994", GtinFault::Placeholder),
            ("1111111111116", GtinFault::Placeholder),
            ("1234567890128", GtinFault::Placeholder),
            ("2012345000124", GtinFault::InStore),
            ("14006588234014", GtinFault::Pack),
            ("4006588234018", GtinFault::CheckDigit),
            ("8.80609E+12", GtinFault::NotDigits),
            ("N/A", GtinFault::NotDigits),
            ("0", GtinFault::Length),
            ("", GtinFault::Length),
            ("99999999999999999999", GtinFault::Length),
        ] {
            assert_eq!(Gtin::parse(text), Err(fault), "{text}");
        }
    }
}
