//! Frame rates from one resolution to another: how much more pixels cost.
//!
//! Between two settings of one test that differ in resolution alone, the frame rate falls as a
//! power of the number of pixels. The author's own pairs tell the exponent; without any, a default
//! band does: going from 1080p to 1440p, 1.78 times the pixels, costs 29 to 39 % of the frames
//! (common practice, no source).

use super::result::BenchResult;
use crate::catalogue::{Kind, PartId, TestId};

/// A resolution that a setting names, and the rest of the setting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resolution {
    pub pixels: u64,
    /// The setting without it, folded: what else has to agree.
    pub rest: String,
}

/// How frame rates fall with pixels: rate ∝ pixels^-exponent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scaling {
    pub exponent: f64,
    /// Standard deviation of the exponent between tests and cards.
    pub spread: f64,
    /// From how many pairs of the author's it was taken; 0 for the default band.
    pub pairs: usize,
}

/// Resolutions by the names that settings use.
const NAMES: [(&str, u64); 8] = [
    ("720p", 1_280 * 720),
    ("1080p", 1_920 * 1_080),
    ("fullhd", 1_920 * 1_080),
    ("1440p", 2_560 * 1_440),
    ("qhd", 2_560 * 1_440),
    ("2160p", 3_840 * 2_160),
    ("4k", 3_840 * 2_160),
    ("uhd", 3_840 * 2_160),
];
/// Fewer pairs than this tell less than the default band.
const LEAST_PAIRS: usize = 3;

impl Resolution {
    /// The resolution in a setting such as `1440p high` or `2560x1440, no upscaling`.
    pub fn of_setting(setting: &str) -> Option<Resolution> {
        let folded = setting.to_lowercase().replace('×', "x");
        let words: Vec<&str> = folded
            .split(|sign: char| sign.is_whitespace() || matches!(sign, ',' | ';' | '/' | '(' | ')'))
            .filter(|word| !word.is_empty())
            .collect();
        let named = |word: &str| {
            NAMES
                .iter()
                .find(|(name, _)| *name == word)
                .map(|(_, pixels)| *pixels)
        };
        let (position, pixels) = words
            .iter()
            .enumerate()
            .find_map(|(position, word)| Some((position, named(word).or_else(|| sides(word))?)))?;
        let others = words
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != position);
        let rest: Vec<&str> = others.map(|(_, word)| *word).collect();
        Some(Resolution {
            pixels,
            rest: rest.join(" "),
        })
    }

    /// The natural logarithm of how many times as many pixels `other` has, where nothing else
    /// differs.
    pub fn log_ratio(&self, other: &Resolution) -> Option<f64> {
        (self.rest == other.rest).then(|| libm::log(other.pixels as f64 / self.pixels as f64))
    }
}

/// `2560x1440` as pixels.
fn sides(word: &str) -> Option<u64> {
    let (wide, high) = word.split_once('x')?;
    let (wide, high): (u64, u64) = (wide.parse().ok()?, high.parse().ok()?);
    let is_screen = (320..=20_000).contains(&wide) && (200..=20_000).contains(&high);
    is_screen.then_some(wide * high)
}

/// The rate at one setting from the rate at another of the same test.
pub fn log_ratio_of(from: &TestId, to: &TestId) -> Option<f64> {
    if !from.is_same_test(to) || from == to {
        return None;
    }
    Resolution::of_setting(&from.setting)?.log_ratio(&Resolution::of_setting(&to.setting)?)
}

impl Scaling {
    /// The default: the middle of the band, and half its width as two standard deviations.
    pub fn usual() -> Scaling {
        let pixels = libm::log(2_560.0 * 1_440.0 / (1_920.0 * 1_080.0));
        let of_loss = |loss: f64| -libm::log(1.0 - loss) / pixels;
        let (least, most) = (of_loss(0.29), of_loss(0.39));
        Scaling {
            exponent: (least + most) / 2.0,
            spread: (most - least) / 4.0,
            pairs: 0,
        }
    }

    /// The default of a kind: what is no graphics card feeds it as many frames whatever their size,
    /// give or take (common practice, no source).
    fn usual_of(kind: Kind) -> Scaling {
        match kind {
            Kind::Gpu => Scaling::usual(),
            _ => Scaling {
                exponent: 0.0,
                spread: 0.05,
                pairs: 0,
            },
        }
    }

    /// From pairs of results of single parts of one kind, which `is_of_kind` picks out.
    pub fn of_results(
        results: &[BenchResult],
        kind: Kind,
        is_of_kind: impl Fn(&PartId) -> bool,
    ) -> Scaling {
        let single: Vec<&BenchResult> = results
            .iter()
            .filter(|result| result.parts.len() == 1 && is_of_kind(&result.parts[0]))
            .collect();
        let mut exponents = Vec::new();
        for (number, low) in single.iter().enumerate() {
            for high in &single[number + 1..] {
                let is_pair = low.parts == high.parts && low.unit.is_comparable(&high.unit);
                let Some(pixels) =
                    log_ratio_of(&low.test, &high.test).filter(|one| is_pair && *one != 0.0)
                else {
                    continue;
                };
                exponents.push((low.log_rate() - high.log_rate()) / pixels);
            }
        }
        if exponents.len() < LEAST_PAIRS {
            return Scaling::usual_of(kind);
        }
        let number = exponents.len() as f64;
        let mean = exponents.iter().sum::<f64>() / number;
        let squares: f64 = exponents
            .iter()
            .map(|one| (one - mean) * (one - mean))
            .sum();
        Scaling {
            exponent: mean,
            spread: libm::sqrt(squares / (number - 1.0)),
            pairs: exponents.len(),
        }
    }

    /// What a rate changes by where the pixels change so, as logarithms, with its standard error.
    pub fn log_change(&self, log_pixels: f64) -> (f64, f64) {
        (
            -self.exponent * log_pixels,
            (self.spread * log_pixels).abs(),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_name_their_resolution_in_many_ways() {
        let of = |setting| Resolution::of_setting(setting);
        let high = of("1440p high").unwrap();
        assert_eq!((high.pixels, high.rest.as_str()), (3_686_400, "high"));
        assert_eq!(of("High, 2560x1440"), Some(high.clone()));
        assert_eq!(of("4K ultra").unwrap().pixels, 8_294_400);
        assert_eq!(of("multi"), None);
        assert_eq!(of("6x9"), None);
        assert!(high.log_ratio(&of("2160p low").unwrap()).is_none());
        let ratio = high.log_ratio(&of("2160p high").unwrap()).unwrap();
        assert!((ratio.exp() - 2.25).abs() < 1e-12);
    }

    #[test]
    fn the_default_loses_29_to_39_percent_from_1080p_to_1440p() {
        // Three games lost so much: 46.2 to 30.4, 81.6 to 57.8 and 47.2 to 28.6 frames/s; common
        // practice, no source.
        let usual = Scaling::usual();
        let pixels = libm::log(1.0 / 0.5625);
        let (change, error) = usual.log_change(pixels);
        let loss = |log: f64| 1.0 - log.exp();
        assert!((0.29..=0.39).contains(&loss(change)));
        assert!((loss(change + 2.0 * error) - 0.29).abs() < 0.001);
        assert!((loss(change - 2.0 * error) - 0.39).abs() < 0.001);
        for (low, high) in [(46.2, 30.4), (81.6, 57.8), (47.2, 28.6)] {
            let measured: f64 = f64::ln(high / low);
            // The measured losses are rounded to whole percents in the band.
            assert!((measured - change).abs() < 2.2 * error, "{low} to {high}");
        }
    }
}
