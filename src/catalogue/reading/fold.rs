//! Folds a title to plain lower-case letters, keeping for each where it stood in the source.
//!
//! Full-width forms, accents, entities, leftover tags, invisible characters and letters of other
//! scripts that look Latin all come to one form, so that what looks alike compares alike.

use crate::money::push_folded;
use unicode_normalization::UnicodeNormalization;

/// A folded text and where each of its bytes stood.
pub(super) struct Folded {
    pub text: String,
    /// The source's byte offset of each byte of `text`, and the source's length at the end.
    pub origin: Vec<usize>,
}

/// The sign of a cut title, kept as one character.
pub(super) const CUT: char = '…';

/// An entity longer than this is none.
const ENTITY_BYTES_MAX: usize = 10;
/// A tag longer than this is text with a stray angle bracket.
const TAG_BYTES_MAX: usize = 60;

pub(super) fn fold(source: &str) -> Folded {
    if is_plain(source) {
        // Most titles are, and keep every byte in its place.
        let text = source.bytes().map(|byte| match byte {
            _ if byte.is_ascii_control() => ' ',
            _ => char::from(byte.to_ascii_lowercase()),
        });
        return Folded {
            text: text.collect(),
            origin: (0..=source.len()).collect(),
        };
    }
    let mut letters: Vec<(char, usize)> = Vec::with_capacity(source.len());
    let mut rest = source;
    while let Some(character) = rest.chars().next() {
        let at = source.len() - rest.len();
        let is_alone = letters.last().is_none_or(|(one, _)| *one == ' ');
        let (read, width) = match character {
            '&' => entity(rest).unwrap_or(('&', 1)),
            '<' => tag(rest).map_or(('<', 1), |width| (' ', width)),
            '.' if rest.starts_with("...") => (CUT, 3),
            _ => (character, character.len_utf8()),
        };
        if is_alone && matches!(read, 'à' | 'À') && rest[width..].starts_with(' ') {
            // French "à" relates as "de" does, and is no letter of a model.
            letters.extend([('d', at), ('e', at)]);
        } else {
            fold_letter(read, at, &mut letters);
        }
        rest = &rest[width..];
    }
    let mut start = 0;
    while start < letters.len() {
        let length = letters[start..]
            .iter()
            .position(|(one, _)| *one == ' ')
            .unwrap_or(letters.len() - start);
        unmask(&mut letters[start..start + length]);
        start += length + 1;
    }
    let mut folded = Folded {
        text: String::with_capacity(letters.len()),
        origin: Vec::with_capacity(letters.len() + 1),
    };
    for (letter, at) in letters {
        folded.text.push(letter);
        folded.origin.resize(folded.text.len(), at);
    }
    folded.origin.push(source.len());
    folded
}

/// True of ASCII in which no byte is part of an entity, a tag or the sign of a cut.
fn is_plain(source: &str) -> bool {
    let means_more = |byte: u8| matches!(byte, b'&' | b'<') || !byte.is_ascii();
    !source.bytes().any(means_more) && !source.contains("...")
}

/// The character that an entity at the start of the text stands for, and the entity's length.
fn entity(text: &str) -> Option<(char, usize)> {
    let head = text.as_bytes().iter().take(ENTITY_BYTES_MAX);
    let end = head.clone().position(|byte| *byte == b';')?;
    let decoded = html_escape::decode_html_entities(&text[..=end]);
    let mut characters = decoded.chars();
    let first = characters.next()?;
    (characters.next().is_none()).then_some((first, end + 1))
}

/// The length of a tag at the start of the text.
fn tag(text: &str) -> Option<usize> {
    let bytes = text.as_bytes();
    let opens = bytes
        .get(1)
        .is_some_and(|byte| byte.is_ascii_alphabetic() || *byte == b'/');
    let mut head = bytes.iter().take(TAG_BYTES_MAX);
    let end = head.position(|byte| *byte == b'>')?;
    opens.then_some(end + 1)
}

fn fold_letter(character: char, at: usize, letters: &mut Vec<(char, usize)>) {
    if character.is_ascii() {
        let plain = if character.is_ascii_control() {
            ' '
        } else {
            character.to_ascii_lowercase()
        };
        letters.push((plain, at));
        return;
    }
    let plain = match character {
        '™' | '®' | '©' | '℠' => return,
        '\u{ad}'
        | '\u{61c}'
        | '\u{200b}'..='\u{200f}'
        | '\u{202a}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}'
        | '\u{feff}' => return,
        '×' | '✕' | '✖' | '⨯' => 'x',
        '\u{2010}'..='\u{2015}' | '−' | '﹣' | '－' => '-',
        '“' | '”' | '„' | '″' | '‟' => '"',
        '‘' | '’' | '′' | '´' => '\'',
        '·' | '•' | '¦' | '│' | '»' | '«' => '|',
        // Micro sign and small mu stand for "micro", which is also written with a u.
        'µ' | 'μ' => 'u',
        CUT => CUT,
        _ if character.is_whitespace() => ' ',
        _ => {
            let mut folded = String::new();
            for one in std::iter::once(character).nfkd() {
                push_folded(one, &mut folded);
            }
            letters.extend(folded.chars().map(|one| (one, at)));
            return;
        }
    };
    letters.push((plain, at));
}

/// Replaces look-alikes in a word that is otherwise Latin, or that consists of them alone.
fn unmask(word: &mut [(char, usize)]) {
    if word.iter().all(|(one, _)| one.is_ascii()) {
        return;
    }
    let is_latin = word.iter().any(|(one, _)| one.is_ascii_alphanumeric());
    let foreign = word
        .iter()
        .filter(|(one, _)| one.is_alphabetic() && !one.is_ascii());
    let all_alike = foreign.clone().all(|(one, _)| look_alike(*one).is_some());
    if is_latin || all_alike {
        let mut before = ' ';
        for (one, _) in word {
            // Behind a digit the round letter is meant for a zero.
            *one = match look_alike(*one) {
                Some('o') if before.is_ascii_digit() => '0',
                Some(latin) => latin,
                None => *one,
            };
            before = *one;
        }
    }
}

/// The Latin letter that a Cyrillic or Greek capital or small letter is drawn like.
///
/// Source: Unicode Technical Standard 39, confusables.txt; the capitals are folded before.
fn look_alike(letter: char) -> Option<char> {
    Some(match letter {
        'а' | 'α' => 'a',
        'в' | 'β' => 'b',
        'с' => 'c',
        'е' | 'ε' => 'e',
        'н' | 'η' => 'h',
        'і' | 'ι' => 'i',
        'ј' => 'j',
        'к' | 'κ' => 'k',
        'м' => 'm',
        'ν' => 'n',
        'о' | 'ο' => 'o',
        'р' | 'ρ' => 'p',
        'ѕ' => 's',
        'т' | 'τ' => 't',
        'у' | 'υ' => 'y',
        'х' | 'χ' => 'x',
        'ζ' => 'z',
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_looks_alike_reads_alike() {
        // Pitfall M24.
        for text in ["К650", "Ｋ６５０", "K\u{ad}650", "K650™", "K650®", "Κ650"] {
            assert_eq!(fold(text).text, "k650", "{text}");
        }
        assert_eq!(fold("2×16\u{a0}GB").text, "2x16 gb");
        assert_eq!(fold("µATX weiß Kühler").text, "uatx weiss kuhler");
        assert_eq!(fold("процессор").text, "процессор");
    }

    #[test]
    fn remnants_of_markup_do_not_count() {
        // Pitfall S38.
        assert_eq!(fold("2.5&quot; &amp; <b>SSD</b>").text, "2.5\" &  ssd ");
        assert_eq!(fold("a < b &unknown; <3").text, "a < b &unknown; <3");
    }

    #[test]
    fn every_byte_knows_its_source() {
        let source = "Kühler ８５０Ｗ";
        let folded = fold(source);
        let at = folded.text.find("850").unwrap();
        assert_eq!(&source[folded.origin[at]..], "８５０Ｗ");
        assert_eq!(folded.origin.len(), folded.text.len() + 1);
    }
}
