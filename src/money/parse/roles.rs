//! Gives each amount its role: the price, or what else the words beside it say.

use super::amount::Layout;
use super::cue::{Cue, Side, means};
use super::spoken::{Spoken, listen};
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
    /// The lowest price of the last weeks.
    Prior,
    /// A part of the price that is spelled out.
    Within,
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

/// Ties phrases to amounts.
pub(super) struct Binder<'l, 't> {
    pub layout: &'l Layout<'t>,
    pub spoken: Vec<Spoken>,
    pub roles: Roles,
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
    binder.set_pairs_of_old_and_new();
    for index in 0..binder.spoken.len() {
        binder.bind(index);
    }
    binder.set_ranges();
    binder.set_tax();
    binder.roles
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
            } else if amount.tokens.start > 0 && self.is_tilde(amount.tokens.start - 1) {
                Role::Approximate
            } else if self.is_open(amount.tokens.end) {
                // "19,800円～", "£249+": from this price on.
                Role::Bound
            } else {
                self.per_unit(amount.tokens.end)
            };
            self.roles.readings[index].role = role;
        }
    }

    /// A tilde, or a plus glued on, with no further amount after it.
    fn is_open(&self, end: usize) -> bool {
        let plus = matches!(self.layout.kind(end), Some(Kind::Plus))
            && self.layout.tokens[end].gap == Gap::Glued;
        let amount_follows = self.layout.owned.get(end + 1) == Some(&true);
        (plus && !amount_follows) || self.is_tilde(end)
    }

    fn is_tilde(&self, at: usize) -> bool {
        matches!(self.layout.kind(at), Some(Kind::Approximately))
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

    /// Two amounts with a dash or a word like "to" between them, unless words told them apart.
    fn set_ranges(&mut self) {
        for (index, pair) in self.layout.amounts.windows(2).enumerate() {
            let between = pair[0].tokens.end..pair[1].tokens.start;
            let like = pair[0].is_marked() == pair[1].is_marked();
            let linked = match self.layout.kind(between.start) {
                Some(Kind::Dash | Kind::Approximately) => true,
                Some(Kind::Word(word)) => {
                    means(word, Cue::Between) && (like || pair[1].is_marked())
                }
                _ => false,
            };
            if !linked || between.len() != 1 || pair[0].bracket != pair[1].bracket {
                continue;
            }
            let readings = &mut self.roles.readings;
            let plain = |role: Role| matches!(role, Role::Price | Role::Approximate | Role::Bound);
            match (readings[index].role, readings[index + 1].role) {
                (low, high) if plain(low) && plain(high) => {
                    readings[index].role = Role::Range;
                    readings[index + 1].role = Role::Range;
                }
                // "was 249 - 299": the whole range was.
                (low @ (Role::List | Role::Prior | Role::Range), high) if plain(high) => {
                    readings[index + 1].role = low;
                }
                _ => {}
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
            Cue::Saving if self.speaks_of_percent(spoken) => self.doubt_next(spoken),
            Cue::Saving => self.give(spoken, Role::Saving),
            Cue::Within => self.give_if_near(spoken, Role::Within),
            Cue::Prior => self.give_prior(spoken),
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

    pub(super) fn set(&mut self, amount: usize, role: Role) {
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

    /// "20 % off", "you save 17 %": a rate is taken off, not an amount.
    fn speaks_of_percent(&self, spoken: Spoken) -> bool {
        let percent = |at: usize| matches!(self.layout.kind(at), Some(Kind::Percent));
        let rate = |at: usize| {
            self.layout.counted.get(at) == Some(&true)
                && (percent(at + 1) || (at > 0 && percent(at - 1)))
        };
        let before = spoken.start.checked_sub(1);
        before.is_some_and(|at| percent(at) || rate(at)) || rate(spoken.end) || percent(spoken.end)
    }

    /// "20 % off 249": nothing says whether the amount is before or after.
    fn doubt_next(&mut self, spoken: Spoken) {
        let next = self.after(spoken);
        if let Some(next) = next.filter(|next| next.n_words <= 1 && !next.separated) {
            self.roles.readings[next.index].unsure = true;
        }
    }

    /// "Lowest price of the last 30 days before the reduction: 449": many words may lie between.
    fn give_prior(&mut self, spoken: Spoken) {
        const WORDS_MAX: usize = 14;
        let after = self
            .after(spoken)
            .filter(|after| after.n_words <= WORDS_MAX);
        match after {
            Some(after) => self.set(after.index, Role::Prior),
            None => self.give(spoken, Role::Prior),
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
