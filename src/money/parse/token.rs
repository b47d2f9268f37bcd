//! Splits folded text into numbers, currencies, words and marks.

use super::cue::fold_word;
use super::fold::{ARABIC_DECIMAL, ARABIC_GROUP, BREAK, FIRM_SPACE, FOOTNOTE, SPACE, SUPERSCRIPT};
use super::symbol::{Symbol, is_ideographic, symbol_at};

/// One piece of a price text.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Number(NumberText),
    Currency(&'static Symbol),
    /// Letters, folded; or letters and digits in one, such as a model's name.
    Word(String),
    Percent,
    Times,
    Dash,
    Slash,
    Plus,
    Open,
    Close,
    Approximately,
    /// Leads to what follows; every other mark separates.
    Colon,
    Mark,
}

/// A piece and what stood before it.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Token {
    pub kind: Kind,
    pub gap: Gap,
}

/// What separates a token from the one before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Gap {
    Glued,
    Space,
    /// A line break, tab or run of spaces: perhaps another element of a page.
    Break,
}

/// The digits and marks of one number, as they stood.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct NumberText {
    /// Digits with `.`, `,`, `'`, a space, or an Arabic mark between them.
    pub text: String,
    /// Ends in a dash that stands for no cents: `749,-`.
    pub dash_ending: bool,
    /// A plain space joins groups, so that it could also be two numbers.
    pub loosely_joined: bool,
    /// Two superscript digits follow a whole number: cents or a footnote.
    pub raised_cents: bool,
    /// The symbol that stood where the decimal mark would be: `1299€99`.
    pub inner_symbol: Option<&'static Symbol>,
}

impl NumberText {
    /// True when a mark with one or two digits after it ends the number.
    pub fn has_decimals(&self) -> bool {
        let last = self.text.rfind(|c: char| !c.is_ascii_digit());
        last.is_some_and(|last| (2..=3).contains(&(self.text.len() - last)))
    }
}

/// Splits folded text. Never fails: what is no number, currency or word is a mark.
pub(super) fn tokenize(text: &[char]) -> Vec<Token> {
    let mut tokens: Vec<Token> = Vec::with_capacity(8);
    let mut at = 0;
    let mut gap = Gap::Glued;
    while let Some(&character) = text.get(at) {
        match character {
            SPACE | FIRM_SPACE => {
                gap = if gap == Gap::Break { gap } else { Gap::Space };
                at += 1;
                continue;
            }
            BREAK => {
                gap = Gap::Break;
                at += 1;
                continue;
            }
            // A full stop after an abbreviation and marks of footnotes carry nothing.
            FOOTNOTE | SUPERSCRIPT | '.' | '\'' | '"' => {
                at += 1;
                if character == FOOTNOTE && times_follows(text, at, tokens.last()) {
                    tokens.push(Token {
                        kind: Kind::Times,
                        gap,
                    });
                    gap = Gap::Glued;
                } else if gap == Gap::Glued && character != '.' && character != '\'' {
                    gap = Gap::Space;
                }
                if character == '.' && starts_fraction(text, at - 1) {
                    let (kind, end) = lex_number(text, at - 1, false);
                    tokens.push(Token { kind, gap });
                    at = end;
                    gap = Gap::Glued;
                }
                continue;
            }
            _ => {}
        }
        let (kind, end) = lex(text, at, tokens.last());
        tokens.push(Token { kind, gap });
        gap = Gap::Glued;
        at = end;
    }
    tokens
}

/// The token at `at` and where it ends; always beyond `at`.
fn lex(text: &[char], at: usize, before: Option<&Token>) -> (Kind, usize) {
    let character = text[at];
    if character.is_ascii_digit() || (character == ',' && starts_fraction(text, at)) {
        let priced = matches!(before.map(|token| &token.kind), Some(Kind::Currency(_)));
        return lex_number(text, at, priced);
    }
    if is_times(text, at, before) {
        return (Kind::Times, at + 1);
    }
    if let Some((symbol, length)) = symbol_at(text, at) {
        return (Kind::Currency(symbol), at + length);
    }
    if is_ideographic(character) {
        return (Kind::Word(character.to_string()), at + 1);
    }
    if character.is_alphabetic() {
        return lex_word(text, at);
    }
    let kind = match character {
        '%' => Kind::Percent,
        '\u{d7}' => Kind::Times,
        '-' => Kind::Dash,
        '/' => Kind::Slash,
        '+' => Kind::Plus,
        '(' | '[' | '{' => Kind::Open,
        ')' | ']' | '}' => Kind::Close,
        '~' => Kind::Approximately,
        ':' | '=' => Kind::Colon,
        _ => Kind::Mark,
    };
    (kind, at + 1)
}

/// `.99` or `,99` at the start of a number.
fn starts_fraction(text: &[char], at: usize) -> bool {
    let before = at.checked_sub(1).map(|before| text[before]);
    let fresh = before.is_none_or(|before| !before.is_alphanumeric() && !is_mark(before));
    fresh && text.get(at + 1).is_some_and(char::is_ascii_digit)
}

/// The letter x between a count and an amount.
fn is_times(text: &[char], at: usize, before: Option<&Token>) -> bool {
    let is_x = matches!(text[at], 'x' | 'X' | '\u{445}');
    let letter_follows = text.get(at + 1).is_some_and(|next| next.is_alphabetic());
    let after_amount = matches!(
        before.map(|token| &token.kind),
        Some(Kind::Number(_) | Kind::Currency(_))
    );
    is_x && after_amount && !letter_follows
}

/// A star between two numbers multiplies; any other is a footnote.
fn times_follows(text: &[char], after: usize, before: Option<&Token>) -> bool {
    let next = text[after.min(text.len())..].iter().find(|c| **c != SPACE);
    let number_before = matches!(before.map(|token| &token.kind), Some(Kind::Number(_)));
    number_before && next.is_some_and(char::is_ascii_digit)
}

fn lex_word(text: &[char], at: usize) -> (Kind, usize) {
    let mut end = at;
    while text.get(end).is_some_and(|&c| continues_word(c)) {
        end += 1;
    }
    (Kind::Word(fold_word(&text[at..end])), end)
}

fn continues_word(character: char) -> bool {
    (character.is_alphanumeric() || matches!(character, '\u{300}'..='\u{36f}' | '_'))
        && !is_ideographic(character)
}

fn is_mark(character: char) -> bool {
    matches!(character, '.' | ',' | '\'' | ARABIC_DECIMAL | ARABIC_GROUP)
}

fn digits_from(text: &[char], at: usize) -> usize {
    text.iter()
        .skip(at)
        .take_while(|c| c.is_ascii_digit())
        .count()
}

/// A number from its first digit or mark; a model's name when letters run into it.
fn lex_number(text: &[char], start: usize, priced: bool) -> (Kind, usize) {
    let mut number = NumberText::default();
    let mut at = start;
    let mut spaced = false;
    let mut marked = false;
    loop {
        let n_digits = digits_from(text, at);
        number.text.extend(&text[at..at + n_digits]);
        at += n_digits;
        let Some(&next) = text.get(at) else { break };
        let digit_after = text.get(at + 1).is_some_and(char::is_ascii_digit);
        if is_mark(next) && digit_after {
            number.text.push(next);
            marked = true;
            at += 1;
        } else if is_mark(next) && text.get(at + 1) == Some(&next) && digits_from(text, at + 2) > 0
        {
            // Two marks in a row are no way to write a number; keep both so that it fails.
            number.text.extend([next, next]);
            at += 2;
        } else if (next == SPACE || next == FIRM_SPACE)
            && !marked
            && n_digits <= 3
            && digits_from(text, at + 1) == 3
            && (!spaced || n_digits == 3)
        {
            number.text.push(SPACE);
            number.loosely_joined |= next == SPACE;
            spaced = true;
            at += 1;
        } else if let Some(mark) = spaced_mark(text, at) {
            number.text.push(mark);
            marked = true;
            at += 3;
        } else if let Some(end) = cents_after_symbol(text, at, &number.text) {
            number.text.push(ARABIC_DECIMAL);
            number.text.extend(&text[end - 2..end]);
            number.inner_symbol = symbol_at(text, at).map(|(symbol, _)| symbol);
            return (Kind::Number(number), end);
        } else {
            break;
        }
    }
    if let Some(end) = dash_ending(text, at) {
        number.dash_ending = true;
        return (Kind::Number(number), end);
    }
    let raised = text[at..].iter().take_while(|c| **c == SUPERSCRIPT).count();
    number.raised_cents = raised == 2 && !marked;
    finish_number(text, at, number, priced)
}

/// Letters that run on make the digits part of a name or a measure: `16GB`, `5er`; but not after a
/// currency, as where a page's elements were glued: `$1,299.99Regular`.
fn finish_number(text: &[char], at: usize, number: NumberText, priced: bool) -> (Kind, usize) {
    let letter = text
        .get(at)
        .is_some_and(|c| c.is_alphabetic() && !is_ideographic(*c));
    let times = matches!(text.get(at), Some('x' | 'X' | '\u{445}'))
        && !text.get(at + 1).is_some_and(|next| next.is_alphabetic());
    if !letter || times || priced || symbol_at(text, at).is_some() {
        return (Kind::Number(number), at);
    }
    let mut end = at;
    while text.get(end).is_some_and(|&c| continues_word(c)) {
        end += 1;
    }
    let mut word = number.text;
    word.push_str(&fold_word(&text[at..end]));
    (Kind::Word(word), end)
}

/// `1299 , 00`: a mark with a space on both sides and two digits after it.
fn spaced_mark(text: &[char], at: usize) -> Option<char> {
    let space = |at: usize| matches!(text.get(at), Some(&(SPACE | FIRM_SPACE)));
    let mark = *text.get(at + 1)?;
    let fits = space(at) && matches!(mark, '.' | ',') && space(at + 2);
    (fits && digits_from(text, at + 3) == 2).then_some(mark)
}

/// `1299€99`: two digits glued to a symbol that is glued to a whole number.
fn cents_after_symbol(text: &[char], at: usize, before: &str) -> Option<usize> {
    let whole = !before.contains(['.', ',', ARABIC_DECIMAL]) || before.contains(' ');
    let symbol = matches!(text.get(at), Some('$' | '€' | '£'));
    let end = at + 3;
    let ends = text
        .get(end)
        .is_none_or(|next| !next.is_alphanumeric() && !is_mark(*next));
    let next_symbol = text
        .get(end)
        .is_some_and(|next| matches!(next, '$' | '€' | '£' | '%'));
    (whole && symbol && digits_from(text, at + 1) == 2 && ends && !next_symbol).then_some(end)
}

/// `,-`, `.–`, `:-`: a mark and one or two dashes where the cents would stand.
fn dash_ending(text: &[char], at: usize) -> Option<usize> {
    if !matches!(text.get(at), Some('.' | ',' | ':')) {
        return None;
    }
    let dashes = text[at + 1..].iter().take_while(|c| **c == '-').count();
    let end = at + 1 + dashes;
    let digit_follows = text.get(end).is_some_and(char::is_ascii_digit);
    ((1..=2).contains(&dashes) && !digit_follows).then_some(end)
}

#[cfg(test)]
mod tests {
    use super::super::fold::fold;
    use super::*;

    fn shown(text: &str) -> String {
        let tokens = tokenize(&fold(text));
        let show = |token: &Token| match &token.kind {
            Kind::Number(number) if number.dash_ending => format!("<{}-->", number.text),
            Kind::Number(number) => format!("<{}>", number.text),
            Kind::Currency(symbol) => format!("[{}]", symbol.text),
            Kind::Word(word) => word.clone(),
            other => format!("{other:?}"),
        };
        tokens.iter().map(show).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn numbers_take_the_marks_that_belong_to_them() {
        for (text, expected) in [
            ("1.299,00 €", "<1.299,00> [€]"),
            ("1 299,00 zł", "<1 299,00> [zł]"),
            ("9080 1 199,00 €", "<9080> <1 199,00> [€]"),
            ("749,-", "<749-->"),
            ("749:-", "<749-->"),
            ("15,00- €", "<15,00> Dash [€]"),
            ("1.299 99 €", "<1.299> <99> [€]"),
            ("1299 , 00 €", "<1299,00> [€]"),
            ("12..5", "<12..5>"),
            ("$.99", "[$] <.99>"),
            ("Rs.500", "[Rs.] <500>"),
            ("24x41,62", "<24> Times <41,62>"),
            ("2x16GB", "<2> Times 16gb"),
            ("RTX9080 5er", "rtx9080 5er"),
            ("1299kr", "<1299> [kr]"),
            ("0,05 €/GB", "<0,05> [€] Slash gb"),
            ("1.299,00¹ *", "<1.299,00>"),
            ("19,800円(税込)", "<19,800> [円] Open 税 込 Close"),
        ] {
            assert_eq!(shown(text), expected, "{text}");
        }
    }
}
