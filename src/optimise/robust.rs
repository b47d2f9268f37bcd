//! Would the answer survive being a little wrong? Rates are drawn from their uncertainty and the
//! brief is answered again, many times.
//!
//! A draw moves every rate of every part by its own standard error, independently: results of one
//! bench err together and less than that, so the picture is on the careful side. The draws are
//! seeded, so that the same question gives the same bytes.

use super::best::{Answer, BestFault, best};
use super::build::Build;
use super::leeway::score_of;
use super::lexicographic::Effort;
use super::model::Standing;
use super::redraw::{Redrawn, Unanswered, without_floors};
use super::search::Engine;
use crate::catalogue::{Catalogue, Part, PartId};
use crate::market::{Brief, Listed, Retailer, RetailerId, Role, RoleId, market};
use crate::money::Money;
use crate::rates::{Score, ShownScore};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use std::collections::BTreeMap;

/// How often to draw, and from which seed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Draws {
    pub number: usize,
    pub seed: u64,
}

/// What the draws say of a build.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Robustness {
    pub draws: Draws,
    /// Draws in which no build was found; the shares are of all draws.
    pub without_build: usize,
    /// By role: in how many draws its part is picked.
    pub stays: Vec<(RoleId, PartId, usize)>,
    /// The build's score in 19 of 20 draws lies between these.
    pub score_low: ShownScore,
    pub score_high: ShownScore,
    /// Other builds that win in at least one draw of twenty and more than once, most wins first.
    pub near_ties: Vec<NearTie>,
}

/// A build that the evidence cannot tell from the best.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NearTie {
    /// In how many draws it is the best.
    pub wins: usize,
    /// Where it differs from the best build.
    pub picks: Vec<(RoleId, PartId)>,
    /// By the rates as they are.
    pub score: ShownScore,
    /// In the draw where it won first; prices do not change from draw to draw.
    pub total: Money,
}

/// A build that wins this often, of all draws, is a near-tie: one in so many.
const NEAR_TIE_ONE_IN: usize = 20;
/// One win of few draws is chance.
const LEAST_WINS: usize = 2;
/// What lies outside the interval on either side, of all draws: one in so many.
const OUTSIDE_ONE_IN: usize = 40;
/// More near-ties than these tell a reader nothing more.
const MOST_NEAR_TIES: usize = 5;

/// A build by its parts, role by role.
type Parts = Vec<PartId>;

/// Draws rates and answers the brief again, `told` after each draw.
///
/// # Errors
/// [`BestFault`]
pub fn robust(
    (brief, catalogue): (&Brief, &Catalogue),
    (retailers, listed): (&BTreeMap<RetailerId, Retailer>, &[Listed]),
    build: &Build,
    draws: Draws,
    effort: Effort,
    mut told: impl FnMut(usize),
) -> Result<Robustness, BestFault> {
    let standing: Standing = build
        .picks
        .iter()
        .map(|pick| (pick.role.clone(), pick.part.clone()))
        .collect();
    let own: Parts = build.picks.iter().map(|pick| pick.part.clone()).collect();
    let open = without_floors(brief);
    let shops = (retailers, listed);
    let mut answerer = Answerer {
        question: (brief, &standing, effort),
        shops,
        redrawn: (effort.engine == Engine::Sweep && effort.reduce)
            .then(|| Redrawn::of((brief, &open), catalogue, shops, &standing))
            .flatten(),
    };
    let mut rng = Pcg32::new(draws.seed, 0);
    let mut drawn = catalogue.clone();
    let mut scores: Vec<ShownScore> = Vec::with_capacity(draws.number);
    let mut winners: BTreeMap<Parts, (usize, Money)> = BTreeMap::new();
    let mut without_build = 0;
    for draw in 0..draws.number {
        redraw(catalogue, &mut drawn, &mut rng);
        scores.push(score_in(brief, &drawn, &own));
        match answerer.answer(&drawn)? {
            Some(found) => {
                let parts: Parts = found.picks.into_iter().map(|pick| pick.part).collect();
                winners.entry(parts).or_insert((0, found.total)).0 += 1;
            }
            None => without_build += 1,
        }
        told(draw + 1);
    }
    scores.sort_unstable();
    let outside = scores.len() / OUTSIDE_ONE_IN;
    let at = |position: usize| scores.get(position).copied().unwrap_or(build.shown_score);
    let roles = || brief.roles.iter().map(|role| &role.id);
    Ok(Robustness {
        draws,
        without_build,
        stays: roles()
            .zip(&own)
            .enumerate()
            .map(|(seat, (role, part))| {
                let with = winners.iter().filter(|(parts, _)| parts[seat] == *part);
                let stays = with.map(|(_, (wins, _))| wins).sum();
                (role.clone(), part.clone(), stays)
            })
            .collect(),
        score_low: at(outside),
        score_high: at(scores.len().saturating_sub(1 + outside)),
        near_ties: near_ties(brief, catalogue, &own, winners, draws.number),
    })
}

/// Answers one draw after the other.
struct Answerer<'m> {
    question: (&'m Brief, &'m Standing, Effort),
    shops: (&'m BTreeMap<RetailerId, Retailer>, &'m [Listed]),
    /// The problem laid out once for all draws, where the sweep is to answer.
    redrawn: Option<Redrawn<'m>>,
}

impl Answerer<'_> {
    fn answer(&mut self, drawn: &Catalogue) -> Result<Option<Build>, BestFault> {
        match self.redrawn.as_mut().map(|redrawn| redrawn.answer(drawn)) {
            Some(Ok(answer)) => Ok(answer),
            Some(Err(Unanswered::Fault(fault))) => Err(fault),
            Some(Err(Unanswered::TooWide)) | None => self.answer_anew(drawn),
        }
    }

    /// As if the drawn rates were the only ones.
    fn answer_anew(&self, drawn: &Catalogue) -> Result<Option<Build>, BestFault> {
        let (brief, standing, effort) = self.question;
        let (retailers, listed) = self.shops;
        let market = market(brief, drawn, retailers, listed);
        Ok(match best(&market, drawn, standing, effort)? {
            Answer::Best(found) => Some(found.build),
            Answer::NothingFits(_) | Answer::CutOff => None,
        })
    }
}

fn near_ties(
    brief: &Brief,
    catalogue: &Catalogue,
    own: &Parts,
    winners: BTreeMap<Parts, (usize, Money)>,
    draws: usize,
) -> Vec<NearTie> {
    let mut ties: Vec<NearTie> = winners
        .into_iter()
        .filter(|(parts, (wins, _))| {
            parts != own && *wins >= LEAST_WINS && wins * NEAR_TIE_ONE_IN >= draws
        })
        .map(|(parts, (wins, total))| NearTie {
            wins,
            score: score_in(brief, catalogue, &parts),
            total,
            picks: brief
                .roles
                .iter()
                .zip(parts.iter().zip(own))
                .filter(|(_, (part, own))| part != own)
                .map(|(role, (part, _))| (role.id.clone(), part.clone()))
                .collect(),
        })
        .collect();
    ties.sort_by_key(|tie| std::cmp::Reverse(tie.wins));
    ties.truncate(MOST_NEAR_TIES);
    ties
}

/// Gives every part's rates in `drawn` new values around those of `catalogue`.
fn redraw(catalogue: &Catalogue, drawn: &mut Catalogue, rng: &mut Pcg32) {
    let parts = catalogue.parts.values().zip(drawn.parts.values_mut());
    for (part, drawn) in parts {
        for (rate, drawn) in part.rates.values().zip(drawn.rates.values_mut()) {
            let log_change = rate.error_micro as f64 / 1e6 * normal(rng);
            let milli = rate.milli as f64 * libm::exp(log_change);
            // Within an i64: a rate is below 2^63 and errors are a few tenths.
            drawn.milli = (milli.round() as i64).max(1);
        }
    }
}

/// A standard normal deviate: Box and Muller's transformation of two uniform ones.
fn normal(rng: &mut Pcg32) -> f64 {
    // In (0, 1], for the logarithm of 0 is none.
    let radius = (f64::from(rng.next_u32()) + 1.0) / 4_294_967_296.0;
    let angle = f64::from(rng.next_u32()) / 4_294_967_296.0;
    libm::sqrt(-2.0 * libm::log(radius)) * libm::cos(2.0 * std::f64::consts::PI * angle)
}

/// The score of parts, role by role, by the rates of a catalogue.
fn score_in(brief: &Brief, catalogue: &Catalogue, parts: &Parts) -> ShownScore {
    let seats: Vec<(&Role, &Part)> = brief
        .roles
        .iter()
        .zip(parts)
        .filter_map(|(role, part)| Some((role, catalogue.parts.get(part)?)))
        .collect();
    let wished = seats.iter().map(|(role, part)| brief.wished(role, part));
    let wished: i64 = wished.sum();
    let score = score_of(&brief.objective, &seats, None);
    ShownScore::of(&brief.objective, Score(score.0 + wished))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn deviates_are_standard_normal() {
        let mut rng = Pcg32::new(7, 0);
        let number = 20_000;
        let values: Vec<f64> = (0..number).map(|_| normal(&mut rng)).collect();
        let mean = values.iter().sum::<f64>() / f64::from(number);
        let squares: f64 = values.iter().map(|one| one * one).sum();
        let within = values.iter().filter(|one| one.abs() < 1.959_964).count();
        // Four standard errors of a mean, a variance and a share of 95 % (handbook values).
        assert!(mean.abs() < 4.0 / 20_000_f64.sqrt());
        assert!((squares / f64::from(number) - 1.0).abs() < 4.0 * (2.0 / 20_000_f64).sqrt());
        assert!((within as f64 / f64::from(number) - 0.95).abs() < 4.0 * 0.001_541);
    }
}
