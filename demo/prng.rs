//! A small random generator, so that one seed gives the same world on every machine.
//!
//! splitmix64 (Steele, Lea, Flood: "Fast splittable pseudorandom number generators", 2014). It
//! draws integers only: floating point has functions whose last digit differs between machines.

/// A stream of draws that depends on its seed alone.
#[derive(Debug, Clone)]
pub struct Prng(u64);

const GOLDEN_GAMMA: u64 = 0x9e37_79b9_7f4a_7c15;

impl Prng {
    pub fn new(seed: u64) -> Prng {
        Prng(seed)
    }

    /// A stream of its own for each `topic`, so that one more draw in one leaves the others as
    /// they were.
    pub fn stream(seed: u64, topic: u64) -> Prng {
        let mut parent = Prng::new(seed ^ topic.wrapping_mul(GOLDEN_GAMMA));
        Prng::new(parent.next())
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(GOLDEN_GAMMA);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number from `low` to `high`, both included; `low` when the range is empty.
    pub fn between(&mut self, low: u32, high: u32) -> u32 {
        let width = u128::from(high.saturating_sub(low)) + 1;
        // The product's high half is below `width`, which is at most 2^32.
        let offset = (u128::from(self.next()) * width) >> 64;
        low + offset as u32
    }

    /// True in `percent` of a hundred draws.
    pub fn chance(&mut self, percent: u32) -> bool {
        self.between(1, 100) <= percent
    }

    /// `value`, up to `per_mille` thousandths more or less.
    pub fn vary(&mut self, value: u32, per_mille: u32) -> u32 {
        let factor = self.between(1000 - per_mille, 1000 + per_mille);
        value * factor / 1000
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_draws_are_those_of_splitmix64() {
        // Rosetta Code, "Pseudo-random numbers/Splitmix64", seed 1234567 (from memory).
        let mut random = Prng::new(1_234_567);
        let draws = [random.next(), random.next(), random.next()];
        let published = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
        ];
        assert_eq!(draws, published);
    }

    #[test]
    fn a_range_is_reached_at_both_ends_and_never_left() {
        let mut random = Prng::new(1);
        let draws: Vec<u32> = (0..1_000).map(|_| random.between(3, 7)).collect();
        assert_eq!(draws.iter().min(), Some(&3));
        assert_eq!(draws.iter().max(), Some(&7));
        assert_eq!(random.between(5, 5), 5);
    }
}
