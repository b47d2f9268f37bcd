//! Cuts a folded title into atoms: runs of letters and runs of digits.
//!
//! `B650M-Plate`, `B 650M Plate` and `b650m plate` come to the same atoms, which is what makes
//! model names comparable; what stood between two atoms is kept.

use super::fold::{CUT, Folded};
use super::{Atom, Glue, Place, Use};

/// The atoms of a text, and whether it ends in the middle.
pub(super) struct Lexed {
    pub atoms: Vec<Atom>,
    /// Atoms that follow a plus sign set off by a space.
    pub added: Vec<usize>,
    pub is_cut: bool,
}

pub(super) fn lex(folded: &Folded) -> Lexed {
    let text = &folded.text;
    let mut atoms: Vec<Atom> = Vec::with_capacity(16);
    let mut added = Vec::new();
    let mut clause = 0;
    let mut end = 0;
    let mut rest = text.char_indices().peekable();
    while let Some(&(start, first)) = rest.peek() {
        if !first.is_alphanumeric() {
            rest.next();
            continue;
        }
        let is_number = first.is_ascii_digit();
        let mut stop = text.len();
        while let Some(&(at, one)) = rest.peek() {
            if !one.is_alphanumeric() || one.is_ascii_digit() != is_number {
                stop = at;
                break;
            }
            rest.next();
        }
        let between = &text[end..start];
        let mut glue = glue(between, start == end);
        if atoms.is_empty() {
            glue = Glue::Break;
        }
        if let Some(plus) = between.find('+')
            && (between[..plus].ends_with(' ') || between[..plus].contains(')'))
        {
            glue = Glue::Break;
            added.push(atoms.len());
        }
        clause += u16::from(glue == Glue::Break && !atoms.is_empty());
        atoms.push(Atom {
            start,
            end: stop,
            glue,
            is_number,
            canon: None,
            used: Use::Free,
            place: Place::Main,
            clause,
        });
        end = stop;
    }
    let is_cut = text.trim_end().ends_with(CUT);
    if is_cut {
        // The last word may be the beginning of any other.
        while let Some(last) = atoms.pop() {
            if matches!(last.glue, Glue::Space | Glue::Break) {
                break;
            }
        }
    }
    Lexed {
        atoms,
        added,
        is_cut,
    }
}

fn glue(between: &str, touches: bool) -> Glue {
    if touches {
        return Glue::Joined;
    }
    let is_spaced = between.contains(' ');
    let mut strongest = if is_spaced { Glue::Space } else { Glue::Mark };
    for mark in between.chars() {
        let found = match mark {
            ' ' => continue,
            '-' | '_' if !is_spaced => Glue::Hyphen,
            '.' if !is_spaced => Glue::Dot,
            ',' if !is_spaced => Glue::Comma,
            '/' if !is_spaced => Glue::Slash,
            // "inkl. 2 fans", "So. AM5": an abbreviation goes on.
            '&' if is_spaced => Glue::Or,
            '.' | '&' | '\'' | '@' | '%' | '~' => Glue::Space,
            // "DDR5- 6000", "AM5 -Board": a slip, not a new clause.
            '-' if !between.starts_with(' ') || !between.ends_with(' ') => Glue::Space,
            '/' => Glue::Or,
            '"' => Glue::Inch,
            '+' => Glue::Plus,
            _ => Glue::Break,
        };
        if found.strength() > strongest.strength() {
            strongest = found;
        }
    }
    strongest
}

impl Glue {
    fn strength(self) -> u8 {
        match self {
            Glue::Joined | Glue::Mark => 0,
            Glue::Hyphen | Glue::Dot | Glue::Comma | Glue::Slash | Glue::Plus => 1,
            Glue::Space => 2,
            Glue::Inch => 3,
            Glue::Or => 4,
            Glue::Break => 5,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fold::fold;
    use super::*;

    fn atoms(text: &str) -> Vec<String> {
        let folded = fold(text);
        let lexed = lex(&folded);
        let texts = lexed.atoms.iter();
        texts
            .map(|atom| folded.text[atom.start..atom.end].to_owned())
            .collect()
    }

    #[test]
    fn spellings_of_one_model_have_the_same_atoms() {
        for text in ["B650M-Plate", "b650m plate", "B 650M Plate", "B650M/Plate"] {
            assert_eq!(atoms(text), ["b", "650", "m", "plate"], "{text}");
        }
    }

    #[test]
    fn a_cut_title_loses_its_last_word() {
        assert_eq!(atoms("Holdt 3 DDR5-60…"), ["holdt", "3"]);
        assert_eq!(atoms("Holdt 3 mit geh..."), ["holdt", "3", "mit"]);
    }

    #[test]
    fn commas_and_spaced_dashes_open_clauses() {
        let folded = fold("Holdt 3, schwarz - 2,5 Zoll + Set");
        let lexed = lex(&folded);
        let clauses: Vec<u16> = lexed.atoms.iter().map(|atom| atom.clause).collect();
        assert_eq!(clauses, [0, 0, 1, 2, 2, 2, 3]);
        assert_eq!(lexed.added, [6]);
    }
}
