//! Gives each amount its role: the price, or what else the words beside it say.

use super::amount::Layout;
use super::cue::{self, Cue, Found, Side, means};
use super::token::{Gap, Kind};

/// What an amount is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Price,
    List,
    Saving,
    Bound,
    /// One end of a range.
    Range,
    Approximate,
    Shipping,
    /// Delivery that the price already contains.
    ShippingIncluded,
    /// The sum from which delivery is free, or other terms of delivery.
    ShippingTerms,
    Instalment,
    PerUnit,
    Negative,
}

/// The role of one amount, and what else was said of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Reading {
    pub role: Role,
    /// Words say that this is what the buyer pays today.
    pub now: bool,
    pub tax_included: Option<bool>,
    /// A word stands evenly between two amounts and could mean either.
    pub unsure: bool,
}

/// The roles of all amounts, and what the text says as a whole.
pub(super) struct Roles {
    pub readings: Vec<Reading>,
    /// Delivery costs nothing more.
    pub free_shipping: bool,
    /// "free", of whatever.
    pub free_words: bool,
    /// Words that no table knows.
    pub unknown_words: bool,
}

/// One phrase in the text.
#[derive(Debug, Clone, Copy)]
struct Spoken {
    cue: Cue,
    side: Side,
    start: usize,
    end: usize,
}

/// How far an amount lies from a phrase.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Distance {
    index: usize,
    n_words: usize,
    /// A comma, bracket or line break lies between.
    separated: bool,
}

struct Binder<'l, 't> {
    layout: &'l Layout<'t>,
    spoken: Vec<Spoken>,
    roles: Roles,
}

/// Gives every amount its role.
pub(super) fn assign(layout: &Layout<'_>) -> Roles {
    let plain = Reading {
        role: Role::Price,
        now: false,
        tax_included: None,
        unsure: false,
    };
    let (spoken, unknown_words) = listen(layout);
    let roles = Roles {
        readings: vec![plain; layout.amounts.len()],
        free_shipping: false,
        free_words: spoken.iter().any(|phrase| phrase.cue == Cue::Free),
        unknown_words,
    };
    let mut binder = Binder {
        layout,
        spoken,
        roles,
    };
    binder.set_shapes();
    binder.set_ranges();
    binder.set_pairs_of_old_and_new();
    for index in 0..binder.spoken.len() {
        binder.bind(index);
    }
    binder.set_tax();
    binder.roles
}

/// Finds the phrases; the second value says whether other words stand in the text.
fn listen(layout: &Layout<'_>) -> (Vec<Spoken>, bool) {
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

impl Binder<'_, '_> {
    /// Roles that the shape alone gives: signs, payments, prices per unit.
    fn set_shapes(&mut self) {
        for index in 0..self.layout.amounts.len() {
            let amount = &self.layout.amounts[index];
            let role = if amount.negative {
                Role::Negative
            } else if self.layout.instalments.contains(&index) {
                Role::Instalment
            } else {
                self.per_unit(amount.tokens.end)
            };
            self.roles.readings[index].role = role;
        }
    }

    /// What stands after a slash or a word like "per".
    fn per_unit(&self, end: usize) -> Role {
        let slash = matches!(self.layout.kind(end), Some(Kind::Slash));
        let word = self.layout.word(end);
        let certain = slash || word.is_some_and(|word| matches!(word, "per" | "pro" | "je"));
        if !certain && !word.is_some_and(|word| means(word, Cue::Per)) {
            return Role::Price;
        }
        let counted = self.layout.counted.get(end + 1) == Some(&true);
        let number = self.layout.is_number(end + 1);
        let unit = self.layout.word(end + 1 + usize::from(number));
        match unit {
            Some(unit) if means(unit, Cue::Instalment) => Role::Instalment,
            Some(unit) if means(unit, Cue::Piece) && !counted => Role::Price,
            Some(unit) if is_measure(unit) => Role::PerUnit,
            Some(_) if certain => Role::PerUnit,
            _ => Role::Price,
        }
    }

    /// Two amounts with a dash or a word like "to" between them.
    fn set_ranges(&mut self) {
        for index in 1..self.layout.amounts.len() {
            let between =
                self.layout.amounts[index - 1].tokens.end..self.layout.amounts[index].tokens.start;
            let same_bracket =
                self.layout.amounts[index - 1].bracket == self.layout.amounts[index].bracket;
            let linked = between.len() == 1
                && match self.layout.kind(between.start) {
                    Some(Kind::Dash | Kind::Approximately) => true,
                    Some(Kind::Word(word)) => means(word, Cue::Between) || means(word, Cue::Bound),
                    _ => false,
                };
            let glued_dash = between.is_empty() && self.layout.amounts[index].negative;
            let plain = |role: Role| matches!(role, Role::Price | Role::Negative);
            let readings = &mut self.roles.readings;
            if same_bracket && (linked && plain(readings[index - 1].role) && !glued_dash) {
                readings[index - 1].role = Role::Range;
                readings[index].role = Role::Range;
            }
        }
    }

    /// "de 449 por 389": neither word says anything alone.
    fn set_pairs_of_old_and_new(&mut self) {
        for index in 1..self.layout.amounts.len() {
            let word_before = |index: usize| {
                let start = self.layout.amounts[index].tokens.start;
                start
                    .checked_sub(1)
                    .and_then(|before| self.layout.word(before))
            };
            let old = word_before(index - 1).is_some_and(|word| means(word, Cue::ListOf));
            let new = word_before(index).is_some_and(|word| means(word, Cue::NowAfterOf));
            if old && new {
                self.roles.readings[index - 1].role = Role::List;
                self.roles.readings[index].now = true;
            }
        }
    }

    fn bind(&mut self, index: usize) {
        let spoken = self.spoken[index];
        match spoken.cue {
            Cue::Now => {
                if let Some(amount) = self.one_side(spoken) {
                    self.roles.readings[amount].now = true;
                }
            }
            Cue::List => self.give(spoken, Role::List),
            Cue::Saving => self.give(spoken, Role::Saving),
            Cue::Instalment => self.give_instalment(spoken),
            Cue::Approximate => self.give_if_near(spoken, Role::Approximate),
            Cue::Bound => {
                let about_shipping = self.about_shipping(index);
                let role = if about_shipping {
                    Role::ShippingTerms
                } else {
                    Role::Bound
                };
                self.give_if_near(spoken, role);
            }
            Cue::Shipping => self.bind_shipping(index),
            Cue::FreeShipping => self.bind_free_shipping(index),
            _ => {}
        }
    }

    /// Sets the role of the amount a phrase speaks of; one that the shape set stands.
    fn give(&mut self, spoken: Spoken, role: Role) {
        if let Some(amount) = self.one_side(spoken) {
            self.set(amount, role);
        }
    }

    fn set(&mut self, amount: usize, role: Role) {
        let reading = &mut self.roles.readings[amount];
        if matches!(reading.role, Role::Price | Role::Bound) {
            reading.role = role;
        }
    }

    fn give_if_near(&mut self, spoken: Spoken, role: Role) {
        let near = match spoken.side {
            Side::After => self.before(spoken),
            _ => self.after(spoken),
        };
        if let Some(near) = near.filter(|near| near.n_words <= 1) {
            self.set(near.index, role);
        }
    }

    fn give_instalment(&mut self, spoken: Spoken) {
        // "24 months" counts; the payment beside it was found by its shape.
        let counts = spoken.start > 0 && self.layout.counted[spoken.start - 1];
        let sides = [self.before(spoken), self.after(spoken)];
        let known = sides.iter().flatten().any(|side| {
            side.n_words <= 2 && self.roles.readings[side.index].role == Role::Instalment
        });
        if !counts && !known {
            self.give(spoken, Role::Instalment);
        }
    }

    /// The amount a phrase speaks of. Marks both as unsure where nothing tells them apart.
    fn one_side(&mut self, spoken: Spoken) -> Option<usize> {
        const WORDS_MAX: usize = 3;
        let before = self.before(spoken);
        let after = self
            .after(spoken)
            .filter(|after| after.n_words <= WORDS_MAX);
        let (Some(left), Some(right)) = (before, after) else {
            let near = |side: Distance| side.n_words <= WORDS_MAX;
            return before
                .filter(|left| near(*left))
                .or(after)
                .map(|side| side.index);
        };
        let choice = match spoken.side {
            Side::Before => right,
            Side::After if !left.separated || right.separated => left,
            Side::After => right,
            Side::Either => match (left.separated, right.separated) {
                (true, false) => right,
                (false, true) => left,
                _ if left.n_words < right.n_words => left,
                _ if left.n_words > right.n_words => right,
                _ => {
                    self.roles.readings[left.index].unsure = true;
                    self.roles.readings[right.index].unsure = true;
                    return None;
                }
            },
        };
        Some(choice.index)
    }

    /// The last amount before a phrase, in the same brackets or just before them.
    fn before(&self, spoken: Spoken) -> Option<Distance> {
        let bracket = self.layout.brackets[spoken.start];
        let amounts = self.layout.amounts.iter().enumerate().rev();
        let inside = self
            .layout
            .amounts
            .iter()
            .any(|amount| amount.bracket == bracket);
        let outer = bracket != 0 && !inside;
        let mut earlier = amounts.filter(|(_, amount)| amount.tokens.end <= spoken.start);
        let (index, amount) = earlier.find(|(_, amount)| outer || amount.bracket == bracket)?;
        Some(self.distance(index, amount.tokens.end, spoken.start, outer))
    }

    /// The first amount after a phrase, in the same brackets.
    fn after(&self, spoken: Spoken) -> Option<Distance> {
        let bracket = self.layout.brackets[spoken.start];
        let mut later = self.layout.amounts.iter().enumerate();
        let (index, amount) = later
            .find(|(_, amount)| amount.tokens.start >= spoken.end && amount.bracket == bracket)?;
        Some(self.distance(index, spoken.end, amount.tokens.start, false))
    }

    fn distance(&self, index: usize, from: usize, to: usize, into_bracket: bool) -> Distance {
        const WORDS_OF_A_NUMBER: usize = 5;
        let mut distance = Distance {
            index,
            n_words: 0,
            separated: false,
        };
        for at in from..to.min(self.layout.tokens.len()) {
            match &self.layout.tokens[at].kind {
                Kind::Word(_) | Kind::Currency(_) => distance.n_words += 1,
                Kind::Number(_) => distance.n_words += WORDS_OF_A_NUMBER,
                Kind::Open | Kind::Close if into_bracket => {}
                Kind::Open | Kind::Close | Kind::Mark | Kind::Dash | Kind::Plus => {
                    distance.separated = true;
                }
                _ => {}
            }
            distance.separated |= at > from && self.layout.tokens[at].gap == Gap::Break;
        }
        let last_breaks = |at: usize| {
            self.layout
                .tokens
                .get(at)
                .is_some_and(|token| token.gap == Gap::Break)
        };
        distance.separated |=
            from < self.layout.tokens.len() && last_breaks(from.max(1)) && from == to;
        distance
    }

    /// True when the phrase before this one is about delivery, with no amount between.
    fn about_shipping(&self, index: usize) -> bool {
        let Some(previous) = index.checked_sub(1).map(|before| self.spoken[before]) else {
            return false;
        };
        let spoken = self.spoken[index];
        let amount_between = self.layout.owned[previous.end..spoken.start]
            .iter()
            .any(|owned| *owned);
        let delivery = matches!(previous.cue, Cue::Shipping | Cue::FreeShipping | Cue::Free);
        delivery && !amount_between && spoken.start - previous.end <= 3
    }

    fn bind_shipping(&mut self, index: usize) {
        let spoken = self.spoken[index];
        let neighbour = |step: Option<usize>| step.and_then(|at| self.spoken.get(at)).copied();
        let previous = neighbour(index.checked_sub(1)).filter(|cue| cue.end == spoken.start);
        let next = neighbour(Some(index + 1)).filter(|cue| cue.start <= spoken.end + 1);
        let free = [previous, next]
            .iter()
            .flatten()
            .any(|cue| cue.cue == Cue::Free);
        if free {
            return self.bind_free_shipping(index);
        }
        let left = self
            .before(spoken)
            .filter(|left| left.n_words <= 1 && !left.separated);
        let left = left.filter(|_| {
            previous.is_none_or(|cue| {
                matches!(
                    cue.cue,
                    Cue::Neutral | Cue::ForCount | Cue::ListOf | Cue::Per
                )
            })
        });
        let right = self
            .after(spoken)
            .filter(|right| right.n_words == 0 && !right.separated);
        let opened_by = |amount: usize| {
            let start = self.layout.amounts[amount].tokens.start;
            let opener = self
                .spoken
                .iter()
                .find(|cue| cue.end == start)
                .map(|cue| cue.cue);
            let plus = start > 0 && matches!(self.layout.kind(start - 1), Some(Kind::Plus));
            if plus { Some(Cue::Plus) } else { opener }
        };
        match (left, right) {
            (Some(left), Some(right)) if opened_by(left.index) != Some(Cue::Plus) => {
                self.roles.readings[left.index].unsure = true;
                self.roles.readings[right.index].unsure = true;
            }
            (Some(left), _) if opened_by(left.index) == Some(Cue::With) => {
                self.set(left.index, Role::ShippingIncluded);
                self.roles.free_shipping = true;
            }
            (Some(left), _) => self.set(left.index, Role::Shipping),
            (None, Some(right)) => self.set(right.index, Role::Shipping),
            (None, None) => {
                self.roles.free_shipping |= previous.is_some_and(|cue| cue.cue == Cue::With);
            }
        }
    }

    fn bind_free_shipping(&mut self, index: usize) {
        let spoken = self.spoken[index];
        let bound_follows = self.spoken.get(index + 1).is_some_and(|next| {
            next.cue == Cue::Bound
                || self
                    .spoken
                    .get(index + 2)
                    .is_some_and(|next| next.cue == Cue::Bound)
        });
        let terms_follow =
            bound_follows && self.after(spoken).is_some_and(|after| after.n_words <= 5);
        let left = self.before(spoken).filter(|left| left.n_words == 0);
        let bound_left = left.filter(|left| self.roles.readings[left.index].role == Role::Bound);
        match bound_left {
            Some(left) => self.roles.readings[left.index].role = Role::ShippingTerms,
            None if terms_follow => {}
            None => self.roles.free_shipping = true,
        }
    }

    /// Ties each tax label to its own amount: to the one after it where a label comes before all
    /// amounts, else to the one before.
    fn set_tax(&mut self) {
        let labels: Vec<(Spoken, bool)> = self
            .spoken
            .iter()
            .filter_map(|spoken| match spoken.cue {
                Cue::TaxIncluded => Some((*spoken, true)),
                Cue::TaxExcluded => Some((*spoken, false)),
                _ => None,
            })
            .collect();
        let first = self
            .layout
            .amounts
            .iter()
            .map(|amount| amount.tokens.start)
            .min();
        let leading = labels.iter().any(|(label, _)| Some(label.start) < first);
        for (label, included) in labels {
            let (before, after) = (self.before(label), self.after(label));
            let amount = if leading {
                after.or(before)
            } else {
                before.or(after)
            };
            if let Some(amount) = amount {
                let tax = &mut self.roles.readings[amount.index].tax_included;
                // Two labels that disagree on one amount say nothing.
                match *tax {
                    Some(said) if said != included => {
                        self.roles.readings[amount.index].unsure = true
                    }
                    _ => *tax = Some(included),
                }
            }
        }
    }
}

/// Units of measure that stand after a slash or "per".
fn is_measure(unit: &str) -> bool {
    matches!(
        unit,
        "gb" | "tb"
            | "mb"
            | "gib"
            | "tib"
            | "go"
            | "to"
            | "kg"
            | "g"
            | "m"
            | "cm"
            | "mm"
            | "l"
            | "ml"
            | "w"
            | "kwh"
            | "100g"
            | "1gb"
            | "1tb"
            | "1kg"
            | "1m"
    )
}
