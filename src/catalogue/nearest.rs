//! The word that was meant, when one was mistyped.

/// The candidate that a slip of the keyboard most likely meant, if any is near.
pub fn nearest<'a>(word: &str, candidates: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    candidates
        .map(|candidate| (strsim::damerau_levenshtein(word, candidate), candidate))
        .filter(|(distance, candidate)| *distance <= 1 + candidate.len().min(word.len()) / 4)
        .min()
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_finds_its_word_and_another_word_does_not() {
        let known = || ["socket", "sockets", "chipset"].into_iter();
        assert_eq!(nearest("sokcet", known()), Some("socket"));
        assert_eq!(nearest("budget", known()), None);
    }
}
