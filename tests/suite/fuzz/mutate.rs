//! Damages inputs: the same seed gives the same damage on every machine.

use super::prng::Prng;

const BYTES_MAX: usize = 4096;
/// Numbers at which readers change their minds.
const EDGE_NUMBERS: [&str; 14] = [
    "0",
    "-1",
    "1e9",
    "255",
    "256",
    "65536",
    "2147483647",
    "2147483648",
    "4294967296",
    "9223372036854775807",
    "9223372036854775808",
    "18446744073709551616",
    "0.1",
    "1e-400",
];

pub struct Mutator {
    draws: Prng,
    words: &'static [&'static str],
}

impl Mutator {
    pub fn new(seed: u64, words: &'static [&'static str]) -> Mutator {
        Mutator {
            draws: Prng::stream(seed, 77),
            words,
        }
    }

    /// One of the corpus, damaged one to eight times.
    pub fn next(&mut self, corpus: &[Vec<u8>]) -> Vec<u8> {
        let mut input = self.pick(corpus).clone();
        for _ in 0..=self.below(8) {
            self.damage(&mut input, corpus);
            input.truncate(BYTES_MAX);
        }
        input
    }

    fn damage(&mut self, input: &mut Vec<u8>, corpus: &[Vec<u8>]) {
        let (from, to) = self.range(input.len());
        match self.below(11) {
            0 => {
                if let Some(byte) = input.get_mut(from) {
                    *byte ^= 1 << self.draws.between(0, 7);
                }
            }
            1 => {
                let byte = self.draws.between(0, 255) as u8;
                input.insert(from, byte);
            }
            2 => drop(input.drain(from..to)),
            3 => input.truncate(from),
            4 => {
                // Copies of a piece, one behind the other.
                let piece = input[from..to].repeat(1 + self.below(6));
                input.splice(from..from, piece);
            }
            5 => {
                // The start of one input and the end of another.
                let other = self.pick(corpus).clone();
                let (start, _) = self.range(other.len());
                input.truncate(from);
                input.extend_from_slice(&other[start..]);
            }
            6 | 7 => {
                let word = *self.pick(self.words);
                input.splice(from..from, word.bytes());
            }
            8 => {
                let word = *self.pick(self.words);
                input.splice(from..to, word.bytes());
            }
            9 => self.renumber(input),
            _ => {
                // A piece that moves to another place.
                let piece: Vec<u8> = input.drain(from..to).collect();
                let (at, _) = self.range(input.len());
                input.splice(at..at, piece);
            }
        }
    }

    /// Writes an edge number where digits stand.
    fn renumber(&mut self, input: &mut Vec<u8>) {
        let digits: Vec<usize> = (0..input.len())
            .filter(|at| input[*at].is_ascii_digit())
            .collect();
        if digits.is_empty() {
            return;
        }
        let start = *self.pick(&digits);
        let run = input[start..]
            .iter()
            .take_while(|byte| byte.is_ascii_digit());
        let end = start + run.count();
        let number = *self.pick(&EDGE_NUMBERS);
        input.splice(start..end, number.bytes());
    }

    /// A range inside `length`, short more often than long.
    fn range(&mut self, length: usize) -> (usize, usize) {
        let from = self.below(length + 1);
        let reach = if self.draws.chance(75) { 16 } else { length };
        let to = from + self.below(reach + 1);
        (from, to.min(length))
    }

    fn pick<'p, T>(&mut self, choices: &'p [T]) -> &'p T {
        &choices[self.below(choices.len())]
    }

    fn below(&mut self, bound: usize) -> usize {
        self.draws.between(0, bound as u32 - 1) as usize
    }
}
