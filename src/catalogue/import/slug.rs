//! Ids out of names: small letters and digits, hyphens between words.

/// `Otter 6 (2x8 GB)` becomes `otter-6-2x8-gb`. A plus sign tells parts apart, so it stays a word.
pub(in crate::catalogue) fn slug(text: &str) -> String {
    let mut slug = String::with_capacity(text.len());
    let mut is_word = false;
    let lower = text.chars().flat_map(char::to_lowercase);
    for character in lower {
        match character {
            '+' => {
                slug.push_str(if slug.is_empty() { "plus" } else { "-plus" });
                is_word = false;
            }
            one if one.is_alphanumeric() => {
                if !is_word && !slug.is_empty() {
                    slug.push('-');
                }
                slug.push(one);
                is_word = true;
            }
            _ => is_word = false,
        }
    }
    slug
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_words_with_hyphens_between_them() {
        for (text, expected) in [
            ("Otter 6 (2x8 GB)", "otter-6-2x8-gb"),
            ("  --A__b  ", "a-b"),
            ("K6-2+ X", "k6-2-plus-x"),
            ("Größe Ω", "größe-ω"),
            ("!!", ""),
        ] {
            assert_eq!(slug(text), expected);
        }
    }
}
