//! Chance that can be repeated: everything the generator and the killer do follows from one seed.

/// A small generator (SplitMix64). Quality beyond "differs from draw to draw" is not needed here.
#[derive(Debug, Clone)]
pub struct Draws(u64);

impl Draws {
    pub fn new(seed: u64) -> Draws {
        Draws(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number from `low` up to, not including, `high`.
    pub fn between(&mut self, low: usize, high: usize) -> usize {
        low + usize::try_from(self.next() % (high - low) as u64).expect("a draw below a usize")
    }

    /// True in so many of a hundred cases.
    pub fn in_hundred(&mut self, cases: usize) -> bool {
        self.between(0, 100) < cases
    }

    /// One of several, each as often as its weight says.
    pub fn weighted<T: Copy>(&mut self, choices: &[(usize, T)]) -> T {
        let total: usize = choices.iter().map(|(weight, _)| weight).sum();
        let mut left = self.between(0, total);
        for (weight, choice) in choices {
            if left < *weight {
                return *choice;
            }
            left -= weight;
        }
        unreachable!("the draw lies below the sum of the weights")
    }
}
