//! The order of evidence: the author, GTINs, part numbers, titles.

use super::author::{Decision, Fingerprint, Verdict};
use super::compare::{Fit, Title, compare, may_name};
use super::evidence::{Listing, MatchedBy, Matching, Objection, PartMatch, Proposal, ReviewReason};
use super::keys::{FoundMpn, Keys, fold_mpn, is_telling};
use super::odd::oddness;
use super::profile::{Profile, ProfileId, Profiles, brand_key};
use super::search::Search;
use crate::catalogue::reading::{What, read_title};
use crate::catalogue::{Catalogue, Kind, PartId};
use crate::market::offer::Offer;
use std::collections::{BTreeMap, BTreeSet};

/// The catalogue, ready to recognise its parts in offers.
#[derive(Clone)]
pub struct Matcher {
    pub(super) profiles: Profiles,
    keys: Keys,
    search: Search,
    /// The beginnings of each brand's part numbers.
    mpn_heads: BTreeSet<(String, String)>,
    /// What is read in a brand column that spells a brand as the catalogue does.
    pub(super) spelt_brands: BTreeMap<String, Option<String>>,
}

/// A title alone must be this sure, in percent, to be taken without asking.
const THRESHOLD: u8 = 70;
const BEST_BY_TITLE: u8 = 92;
const BY_GTIN: u8 = 100;
const BY_MPN: u8 = 95;
const BY_MPN_IN_TITLE: u8 = 93;
const PROPOSALS_MAX: usize = 5;
/// A title with more against a part than this is not worth the author's time.
const OBJECTIONS_MAX: usize = 2;
/// So many first characters of a part number show whose it is.
const MPN_HEAD: usize = 2;

/// A part that a title was compared with.
struct Compared {
    profile: ProfileId,
    fit: Fit,
}

impl Matcher {
    pub fn new(catalogue: &Catalogue) -> Matcher {
        let profiles = Profiles::new(catalogue);
        let search = Search::new(&profiles);
        let heads = catalogue.parts.values().flat_map(|part| {
            let brand = part.brand.as_deref().map(brand_key).unwrap_or_default();
            let folded = part.mpns.iter().map(|mpn| fold_mpn(mpn));
            folded.filter_map(move |mpn| Some((brand.clone(), mpn.get(..MPN_HEAD)?.to_owned())))
        });
        let mut matcher = Matcher {
            mpn_heads: heads.collect(),
            spelt_brands: BTreeMap::new(),
            keys: Keys::new(catalogue),
            profiles,
            search,
        };
        let brands: BTreeSet<&str> = catalogue
            .parts
            .values()
            .filter_map(|part| part.brand.as_deref())
            .collect();
        let spelt = brands.into_iter();
        matcher.spelt_brands = spelt
            .map(|brand| (brand.to_owned(), matcher.read_brand(brand)))
            .collect();
        matcher
    }

    /// Says which part an offer is; `decision` is what the author has said of its SKU.
    pub fn match_offer(&self, offer: &Offer, decision: Option<&Decision>) -> Matching {
        let Some(decision) = decision else {
            return self.without(offer, &BTreeSet::new());
        };
        let is_same = decision.made_on == Fingerprint::of(offer);
        match &decision.verdict {
            Verdict::Pinned(part) if self.profile_of(part).is_none() => {
                self.without(offer, &BTreeSet::new())
            }
            Verdict::Pinned(part) if is_same => Matching::Part(PartMatch {
                part: part.clone(),
                by: MatchedBy::Author,
                confidence: 100,
                agreed: Vec::new(),
                listing: Listing::of(&read_title(&offer.title), None),
            }),
            Verdict::Pinned(part) => Matching::Review {
                why: ReviewReason::ListingChanged,
                proposals: vec![Proposal::bare(part.clone(), MatchedBy::Author, 50)],
            },
            Verdict::Denied(denied) if is_same => self.beside(offer, denied),
            Verdict::Lacking if is_same => Matching::None,
            Verdict::Denied(denied) => self.again(offer, |part| denied.contains(part)),
            Verdict::Lacking => self.again(offer, |_| true),
        }
    }

    /// Matches a listing to what the author left. A title that fits a part only since another
    /// was denied does not tell the two apart: the author is asked.
    fn beside(&self, offer: &Offer, denied: &BTreeSet<PartId>) -> Matching {
        let rest = self.without(offer, denied);
        match rest {
            Matching::Part(found)
                if found.by == MatchedBy::Title
                    && self.without(offer, &BTreeSet::new()) != Matching::Part(found.clone()) =>
            {
                Matching::Review {
                    why: ReviewReason::Unsure,
                    proposals: vec![found.into()],
                }
            }
            rest => rest,
        }
    }

    /// Matches a listing that changed since the author said what it is not.
    fn again(&self, offer: &Offer, is_denied: impl Fn(&PartId) -> bool) -> Matching {
        match self.without(offer, &BTreeSet::new()) {
            Matching::Part(found) if is_denied(&found.part) => Matching::Review {
                why: ReviewReason::ListingChanged,
                proposals: vec![found.into()],
            },
            other => other,
        }
    }

    fn profile_of(&self, part: &PartId) -> Option<ProfileId> {
        let all = &self.profiles.all;
        // Profiles have the catalogue's order, which is that of the ids.
        all.binary_search_by(|profile| profile.part.cmp(part)).ok()
    }

    /// Matches by keys and title, leaving out what the author has denied.
    fn without(&self, offer: &Offer, denied: &BTreeSet<PartId>) -> Matching {
        let title = self.title(&offer.title);
        let brand = offer
            .brand
            .as_deref()
            .and_then(|brand| self.stated_brand(brand));
        let is_open = |id: &ProfileId| !denied.contains(&self.profiles.all[*id].part);
        let by_gtin: BTreeSet<ProfileId> = offer
            .gtins
            .iter()
            .filter_map(|gtin| self.keys.by_gtin(gtin))
            .filter(is_open)
            .collect();
        let by_mpn = offer
            .mpn
            .as_deref()
            .and_then(|mpn| self.by_mpn(mpn, brand.as_deref(), &title));
        let by_mpn = by_mpn.filter(|found| is_open(&found.profile));
        let region = by_mpn.as_ref().and_then(|found| found.region);
        let mut keyed: Vec<ProfileId> = by_gtin.iter().copied().collect();
        keyed.extend(by_mpn.as_ref().map(|found| found.profile));
        keyed.dedup();
        let id = |profile: ProfileId| self.profiles.all[profile].part.clone();
        match keyed.as_slice() {
            [] => {}
            [only] if by_gtin.is_empty() => {
                return self.by_key(&title, *only, (MatchedBy::Mpn, BY_MPN), region);
            }
            [only] => return self.by_key(&title, *only, (MatchedBy::Gtin, BY_GTIN), region),
            [one, other, ..] => return Matching::Contradiction(id(*one), id(*other)),
        }
        let mut in_title = self
            .keys
            .in_title(&title.reading)
            .into_iter()
            .filter_map(|mpn| self.by_mpn(&mpn, brand.as_deref(), &title))
            .filter(|found| is_open(&found.profile));
        if let Some(found) = in_title.next() {
            return match in_title.find(|other| other.profile != found.profile) {
                Some(other) => Matching::Contradiction(id(found.profile), id(other.profile)),
                None => self.by_key(
                    &title,
                    found.profile,
                    (MatchedBy::Mpn, BY_MPN_IN_TITLE),
                    found.region,
                ),
            };
        }
        let compared = self.compare_all(&title, brand.as_deref(), &is_open);
        self.by_title(offer, &title, compared)
    }

    fn title(&self, text: &str) -> Title {
        let reading = read_title(text);
        let ids = (0..reading.atoms.len()).map(|atom| self.profiles.words.id(reading.text(atom)));
        let ids = ids.collect();
        let mut is_brand = vec![false; reading.atoms.len()];
        for at in 0..reading.atoms.len() {
            let length = self.brand_at(&reading, at).map_or(0, |(_, length)| length);
            is_brand[at..at + length].fill(true);
        }
        Title {
            reading,
            ids,
            is_brand,
        }
    }

    fn by_mpn(&self, mpn: &str, brand: Option<&str>, title: &Title) -> Option<FoundMpn> {
        self.keys.by_mpn(mpn, &self.profiles.all, |profile| {
            let known = profile.brand.as_deref()?;
            match brand {
                Some(stated) if stated == known => Some(true),
                Some(_) => Some(false),
                // A telling number stands even against the title's own brand: see M06.
                None => self.brands_of(title).contains(&known).then_some(true),
            }
        })
    }

    /// A key names a part: it is taken unless the title contradicts it.
    fn by_key(
        &self,
        title: &Title,
        id: ProfileId,
        by: (MatchedBy, u8),
        region: Option<&str>,
    ) -> Matching {
        let profile = &self.profiles.all[id];
        let fit = compare(title, profile, &self.profiles);
        let mut contradictions = fit.contradictions;
        if fit.n_matched == 0 && contradictions.is_empty() {
            contradictions.extend(self.names_another(title, id));
        }
        let (by, confidence) = by;
        if contradictions.is_empty() {
            return Matching::Part(PartMatch {
                part: profile.part.clone(),
                by,
                confidence,
                agreed: fit.agreed,
                listing: Listing::of(&title.reading, region),
            });
        }
        Matching::Review {
            why: ReviewReason::TitleContradicts,
            proposals: vec![Proposal {
                agreed: fit.agreed,
                objections: contradictions,
                ..Proposal::bare(profile.part.clone(), by, confidence / 2)
            }],
        }
    }

    /// The title has nothing of the part's name and all of another's.
    fn names_another(&self, title: &Title, id: ProfileId) -> Option<Objection> {
        let compared = self.compare_all(title, None, &|other| *other != id);
        let clean = compared.iter().find(|one| one.fit.is_clean())?;
        let other = &self.profiles.all[clean.profile];
        Some(Objection::Extra(other.part.to_string()))
    }

    /// Compares a title with the parts that it may name. One whose name it lacks a word of is
    /// neither taken nor proposed, so it is not among them.
    fn compare_all(
        &self,
        title: &Title,
        brand: Option<&str>,
        is_open: &dyn Fn(&ProfileId) -> bool,
    ) -> Vec<Compared> {
        let named = self.brands_of(title);
        let mut brands: Vec<&str> = brand.map_or_else(|| named.clone(), |brand| vec![brand]);
        if brands.is_empty() {
            brands.extend(self.misspelt_brand(title));
        }
        let mut all = Vec::new();
        for own in brands {
            let ids = self
                .search
                .candidates(own, title)
                .into_iter()
                .filter(|id| is_open(id))
                .filter(|id| may_name(title, &self.profiles.all[*id], &self.profiles));
            all.extend(ids.map(|id| {
                let profile = &self.profiles.all[id];
                let mut fit = compare(title, profile, &self.profiles);
                let rival = named
                    .iter()
                    .find(|other| **other != own && self.makes(other, profile.kind));
                fit.doubts
                    .extend(rival.map(|other| Objection::OtherBrand((*other).to_owned())));
                Compared { profile: id, fit }
            }));
        }
        all
    }

    fn by_title(&self, offer: &Offer, title: &Title, mut compared: Vec<Compared>) -> Matching {
        compared.sort_by_key(|one| (!one.fit.is_clean(), one.fit.n_untold, one.fit.penalty));
        let n_clean = compared.iter().filter(|one| one.fit.is_clean()).count();
        let propose = |ones: Vec<Compared>| -> Vec<Proposal> {
            ones.into_iter().map(|one| self.propose(one)).collect()
        };
        if n_clean == 0 {
            compared.retain(|one| is_worth_asking(&one.fit));
            compared.sort_by_key(|one| {
                (
                    one.fit.contradictions.len() + one.fit.doubts.len(),
                    one.fit.n_untold,
                )
            });
            compared.truncate(PROPOSALS_MAX);
            if compared.is_empty() {
                return Matching::None;
            }
            return Matching::Review {
                why: ReviewReason::Unsure,
                proposals: propose(compared),
            };
        }
        compared.truncate(n_clean.min(PROPOSALS_MAX));
        if let [first, second, ..] = compared.as_slice()
            && first.fit.n_untold == second.fit.n_untold
        {
            let least = first.fit.n_untold;
            compared.retain(|one| one.fit.n_untold == least);
            return Matching::Review {
                why: ReviewReason::SeveralFit,
                proposals: propose(compared),
            };
        }
        compared.truncate(1);
        let Some(best) = compared.pop() else {
            return Matching::None;
        };
        let profile = &self.profiles.all[best.profile];
        let confidence = best.fit.confidence(BEST_BY_TITLE);
        let other_mpn = self.other_mpn(offer, profile, title);
        let odd = oddness(&offer.title, &title.reading);
        if other_mpn.is_none() && odd.is_none() && confidence >= THRESHOLD {
            return Matching::Part(PartMatch {
                part: profile.part.clone(),
                by: MatchedBy::Title,
                confidence,
                agreed: best.fit.agreed,
                listing: Listing::of(&title.reading, None),
            });
        }
        let why = match &other_mpn {
            Some(_) => ReviewReason::OtherMpn,
            None => ReviewReason::Unsure,
        };
        let objections = other_mpn.into_iter().chain(odd).collect();
        Matching::Review {
            why,
            proposals: vec![Proposal {
                agreed: best.fit.agreed,
                objections,
                ..Proposal::bare(profile.part.clone(), MatchedBy::Title, confidence)
            }],
        }
    }

    fn propose(&self, compared: Compared) -> Proposal {
        let part = self.profiles.all[compared.profile].part.clone();
        let confidence = compared.fit.confidence(BEST_BY_TITLE);
        Proposal {
            agreed: compared.fit.agreed.clone(),
            objections: compared.fit.objections(),
            ..Proposal::bare(part, MatchedBy::Title, confidence)
        }
    }

    /// A part number that looks like one of the maker's and is not the part's.
    ///
    /// A retailer's own article number says nothing. A processor sold in a tray bears another
    /// number than the boxed one.
    fn other_mpn(&self, offer: &Offer, profile: &Profile, title: &Title) -> Option<Objection> {
        let mpn = offer.mpn.as_deref()?;
        let folded = fold_mpn(mpn);
        let head = folded.get(..MPN_HEAD)?.to_owned();
        let brand = profile.brand.clone().unwrap_or_default();
        let is_makers = is_telling(&folded) && self.mpn_heads.contains(&(brand, head));
        let packed =
            profile.kind == Kind::Cpu && title.reading.claimed(What::Packaging).next().is_some();
        (is_makers && profile.has_mpn && !packed).then(|| Objection::OtherMpn(mpn.to_owned()))
    }
}

/// True when a person might say yes: all of the name is there, and little speaks against it.
fn is_worth_asking(fit: &Fit) -> bool {
    let all = fit.contradictions.iter().chain(&fit.doubts);
    let is_other = |one: &Objection| {
        matches!(
            one,
            Objection::Word(..) | Objection::OtherKind(_) | Objection::OtherBrand(_)
        )
    };
    let against = fit.contradictions.len() + fit.doubts.len();
    fit.n_missing == 0
        && fit.n_matched > 0
        && against <= OBJECTIONS_MAX
        && !all.clone().any(is_other)
}
