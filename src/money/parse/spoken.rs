//! The phrases of a text, found once and in order.

use super::amount::Layout;
use super::cue::{self, Cue, Found, Side, means};
use super::token::{Gap, Kind};

/// One phrase in the text.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spoken {
    pub cue: Cue,
    pub side: Side,
    /// Its first token, and the one after its last.
    pub start: usize,
    pub end: usize,
}

/// Finds the phrases; the second value says whether other words stand in the text.
pub(super) fn listen(layout: &Layout<'_>) -> (Vec<Spoken>, bool) {
    let mut spoken = Vec::new();
    let mut unknown = false;
    let mut at = 0;
    while at < layout.tokens.len() {
        let words = words_from(layout, at);
        let found: Option<Found> = cue::find(words.iter().map(|(_, word)| *word));
        match (
            found,
            words.get(found.map_or(0, |found| found.n_words.saturating_sub(1))),
        ) {
            (Some(found), Some((last, _))) => {
                spoken.push(Spoken {
                    cue: found.cue,
                    side: found.side,
                    start: at,
                    end: last + 1,
                });
                at = last + 1;
            }
            _ => {
                let stray = match &layout.tokens[at].kind {
                    Kind::Word(_) => !layout.owned[at],
                    Kind::Currency(symbol) => {
                        !layout.owned[at] && symbol.is_word() && !symbol.is_code()
                    }
                    _ => false,
                };
                unknown |= stray;
                at += 1;
            }
        }
    }
    (spoken, unknown)
}

/// The words from `at` on, with their places. Percentages and legal adjectives are passed over:
/// "incl. 19 % statutory VAT" is "incl VAT".
fn words_from<'t>(layout: &Layout<'t>, at: usize) -> Vec<(usize, &'t str)> {
    const WORDS_MAX: usize = 5;
    let mut words: Vec<(usize, &str)> = Vec::new();
    let mut place = at;
    while words.len() < WORDS_MAX {
        let passed_over = match layout.kind(place) {
            Some(Kind::Word(word)) => {
                let filler = matches!(
                    word.as_str(),
                    "gesetzl" | "gesetzlicher" | "statutory" | "der" | "de" | "la" | "l" | "the"
                );
                if !(filler && !words.is_empty() && last_is_with_or_without(&words)) {
                    words.push((place, word));
                }
                true
            }
            Some(Kind::Plus) if words.is_empty() => {
                words.push((place, "+"));
                true
            }
            Some(Kind::Number(_)) => layout.counted[place] && !words.is_empty(),
            Some(Kind::Percent) => !words.is_empty(),
            Some(Kind::Slash) => !words.is_empty() && layout.word(place + 1).is_some(),
            _ => false,
        };
        if !passed_over {
            break;
        }
        place += 1;
        let breaks = layout
            .tokens
            .get(place)
            .is_some_and(|t| t.gap == Gap::Break);
        if breaks && !words.is_empty() {
            break;
        }
    }
    words
}

fn last_is_with_or_without(words: &[(usize, &str)]) -> bool {
    words
        .last()
        .is_some_and(|(_, word)| means(word, Cue::With) || means(word, Cue::Plus))
}
