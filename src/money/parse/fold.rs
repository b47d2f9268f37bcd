//! Folds the many ways of writing one character to one, before anything is read.
//!
//! Digits of every script become 0 to 9, dashes become `-`, spaces keep only what they say about
//! grouping, direction marks and other invisible characters go. Letters keep their case: a
//! currency code needs it.

/// A space that a person typed, or that a template put there.
pub(super) const SPACE: char = ' ';
/// A space that typesetters put inside a number: no-break, narrow, thin or figure.
pub(super) const FIRM_SPACE: char = '\u{a0}';
/// A line break, a tab or a run of spaces: what follows may come from another element.
pub(super) const BREAK: char = '\n';
/// A star or dagger that points to a footnote.
pub(super) const FOOTNOTE: char = '*';
/// A superscript digit: a footnote, or cents set high.
pub(super) const SUPERSCRIPT: char = '\u{b9}';
/// The Arabic decimal mark, which nothing else uses.
pub(super) const ARABIC_DECIMAL: char = '\u{66b}';
/// The Arabic group mark, which nothing else uses.
pub(super) const ARABIC_GROUP: char = '\u{66c}';

// Source: Unicode 16 general category Nd; each is the zero of ten consecutive digits.
const ZEROS: &[u32] = &[
    0x660, 0x6f0, 0x7c0, 0x966, 0x9e6, 0xa66, 0xae6, 0xb66, 0xbe6, 0xc66, 0xce6, 0xd66, 0xde6,
    0xe50, 0xed0, 0xf20, 0x1040, 0x1090, 0x17e0, 0x1810, 0x1946, 0x19d0, 0x1a80, 0x1a90, 0x1b50,
    0x1bb0, 0x1c40, 0x1c50, 0xa620, 0xa8d0, 0xa900, 0xa9d0, 0xa9f0, 0xaa50, 0xabf0, 0xff10,
    0x104a0, 0x10d30, 0x10d40, 0x11066, 0x110f0, 0x11136, 0x111d0, 0x112f0, 0x11450, 0x114d0,
    0x11650, 0x116c0, 0x116d0, 0x116da, 0x11730, 0x118e0, 0x11950, 0x11bf0, 0x11c50, 0x11d50,
    0x11da0, 0x11f50, 0x16130, 0x16a60, 0x16ac0, 0x16b50, 0x16d70, 0x1ccf0, 0x1d7ce, 0x1d7d8,
    0x1d7e2, 0x1d7ec, 0x1d7f6, 0x1e140, 0x1e2f0, 0x1e4f0, 0x1e5f1, 0x1e950, 0x1fbf0,
];

/// Folds a text to the characters that the tokenizer knows. Entities are decoded once.
pub(super) fn fold(text: &str) -> Vec<char> {
    let decoded = if text.contains('&') {
        html_escape::decode_html_entities(text)
    } else {
        text.into()
    };
    let mut folded: Vec<char> = Vec::with_capacity(decoded.len());
    for character in decoded.chars() {
        let Some(character) = fold_char(character) else {
            continue;
        };
        match (character, folded.last()) {
            (SPACE | FIRM_SPACE | BREAK, None | Some(&BREAK)) => {}
            (SPACE | FIRM_SPACE | BREAK, Some(&last)) if last == SPACE || last == FIRM_SPACE => {
                let both_firm = last == FIRM_SPACE && character == FIRM_SPACE;
                let merged = if both_firm { FIRM_SPACE } else { BREAK };
                let end = folded.len() - 1;
                folded[end] = merged;
            }
            _ => folded.push(character),
        }
    }
    while matches!(folded.last(), Some(&(SPACE | FIRM_SPACE | BREAK))) {
        folded.pop();
    }
    folded
}

/// The value of a decimal digit in any script.
fn digit_value(character: char) -> Option<u8> {
    if character.is_ascii_digit() {
        return Some(character as u8 - b'0');
    }
    let code = u32::from(character);
    let after = ZEROS.partition_point(|zero| *zero <= code);
    let zero = *ZEROS.get(after.checked_sub(1)?)?;
    u8::try_from(code - zero).ok().filter(|value| *value < 10)
}

/// One character in its folded form; `None` for what is invisible.
fn fold_char(character: char) -> Option<char> {
    if character.is_ascii_graphic() {
        return Some(if character == '`' { '\'' } else { character });
    }
    if let Some(value) = digit_value(character) {
        return Some(char::from(b'0' + value));
    }
    Some(match character {
        ' ' => SPACE,
        '\n' | '\r' | '\t' | '\u{b}' | '\u{c}' | '\u{85}' | '\u{2028}' | '\u{2029}' => BREAK,
        '\u{a0}' | '\u{202f}' | '\u{2007}'..='\u{200a}' => FIRM_SPACE,
        '\u{1680}' | '\u{2000}'..='\u{2006}' | '\u{205f}' | '\u{3000}' => SPACE,
        // Soft hyphen, direction marks, zero-width characters, byte order mark, variation
        // selectors, and control characters that mean nothing in text.
        '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' => {
            return None;
        }
        '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fe00}'..='\u{fe0f}' => return None,
        control if control.is_control() => return None,
        '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{fe58}' | '\u{fe63}' => '-',
        '\u{2018}' | '\u{2019}' | '\u{201b}' | '\u{2bc}' | '\u{2032}' | '\u{b4}' => '\'',
        '\u{b2}' | '\u{b3}' | '\u{b9}' | '\u{2070}'..='\u{2079}' => SUPERSCRIPT,
        '\u{2020}' | '\u{2021}' | '\u{2217}' | '\u{204e}' | '\u{22c6}' => FOOTNOTE,
        // The group marks of Adlam and N'Ko, and the ideographic comma.
        '\u{2e41}' | '\u{60c}' | '\u{3001}' => ',',
        '\u{66a}' => '%',
        '\u{d7}' | '\u{2715}' | '\u{2716}' | '\u{2a09}' => '\u{d7}',
        '\u{2248}' | '\u{301c}' | '\u{223c}' => '~',
        '\u{ffe1}' => '\u{a3}',
        '\u{ffe5}' => '\u{a5}',
        '\u{ffe6}' => '\u{20a9}',
        // Full-width forms of ASCII.
        '\u{ff01}'..='\u{ff5e}' => {
            return char::from_u32(u32::from(character) - 0xfee0).and_then(fold_char);
        }
        other => other,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digits_are_those_of_unicode() {
        // Outside truth: the Unicode tables of the regex crate, category Nd.
        let decimal = regex::Regex::new(r"^\p{Nd}$").unwrap();
        let mut buffer = [0; 4];
        for character in '\u{80}'..=char::MAX {
            let listed = decimal.is_match(character.encode_utf8(&mut buffer));
            assert_eq!(digit_value(character).is_some(), listed, "{character:?}");
        }
        assert!(ZEROS.is_sorted());
    }

    #[test]
    fn spaces_keep_what_they_say_about_grouping() {
        let check = |text: &str, expected: &str| {
            assert_eq!(fold(text).into_iter().collect::<String>(), expected);
        };
        check("  1\u{202f}299 \n", "1\u{a0}299");
        check("1 299", "1 299");
        check("1  299", "1\n299");
        check("1 \u{a0}299", "1\n299");
        check("1.299\n99", "1.299\n99");
        check("１，８００円", "1,800円");
        check("1299&nbsp;&euro;", "1299\u{a0}€");
    }
}
