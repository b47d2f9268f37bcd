//! Folds letters so that words compare: lower case, no accents, compatible forms joined.

/// Appends the folded form of a letter: `Ä` becomes `a`, `ß` becomes `ss`, accents go.
pub fn push_folded(character: char, folded: &mut String) {
    // Most letters of most feeds, which need none of Unicode's tables.
    if character.is_ascii() {
        folded.push(character.to_ascii_lowercase());
        return;
    }
    for lower in character.to_lowercase() {
        match base(lower) {
            Some(base) => folded.push_str(base),
            None => folded.push(lower),
        }
    }
}

/// The plain letters that stand for a lower-case letter with an accent.
///
/// Covers the Latin letters of the languages whose words this crate knows.
fn base(lower: char) -> Option<&'static str> {
    Some(match lower {
        // Combining marks of decomposed text.
        '\u{300}'..='\u{36f}' => "",
        'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' | 'ā' | 'ă' | 'ą' => "a",
        'ç' | 'ć' | 'č' | 'ĉ' | 'ċ' => "c",
        'ď' | 'đ' | 'ð' => "d",
        'è' | 'é' | 'ê' | 'ë' | 'ē' | 'ė' | 'ę' | 'ě' => "e",
        'ğ' | 'ģ' => "g",
        'ì' | 'í' | 'î' | 'ï' | 'ī' | 'į' | 'ı' => "i",
        'ķ' => "k",
        'ĺ' | 'ļ' | 'ľ' | 'ł' => "l",
        'ñ' | 'ń' | 'ņ' | 'ň' => "n",
        'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' | 'ō' | 'ő' => "o",
        'ŕ' | 'ř' => "r",
        'ś' | 'š' | 'ş' | 'ș' => "s",
        'ť' | 'ţ' | 'ț' => "t",
        'ù' | 'ú' | 'û' | 'ü' | 'ū' | 'ů' | 'ű' | 'ų' => "u",
        'ý' | 'ÿ' => "y",
        'ź' | 'ż' | 'ž' => "z",
        'ß' => "ss",
        'æ' => "ae",
        'œ' => "oe",
        'þ' => "th",
        'ё' => "е",
        'й' => "и",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn composed_and_decomposed_letters_fold_alike() {
        let fold = |text: &str| {
            let mut folded = String::new();
            text.chars().for_each(|c| push_folded(c, &mut folded));
            folded
        };
        for (text, expected) in [
            ("Épuisé", "epuise"),
            ("E\u{301}puise\u{301}", "epuise"),
            ("Größe", "grosse"),
            ("Tükendi", "tukendi"),
            ("на складе", "на складе"),
        ] {
            assert_eq!(fold(text), expected, "{text}");
        }
    }
}
