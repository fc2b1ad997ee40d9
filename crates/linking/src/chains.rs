//! Sums over all alignments that do not cross, at one offset.
//!
//! An alignment is a chain of pairs, each later than the one before on both sides. Its weight is the product of its pairs'
//! weights (1 for the empty chain). The sum over the chains that end in a pair is the pair's weight times the sum over all
//! chains on earlier marks and earlier shots: a prefix sum over shots, kept while the marks are walked through.

use crate::LinkSettings;
use crate::pairs::{Candidate, Ordered};

/// Sums beyond this are scaled down, so that thousands of links do not overflow.
const LARGE: f64 = 1e150;

/// Prefix sums under point additions (a Fenwick tree), with a common scale.
struct PrefixSums {
    tree: Vec<f64>,
    total: f64,
    /// Logarithm of what the stored sums are to be multiplied by.
    log_scale: f64,
}

impl PrefixSums {
    fn new(count: usize) -> PrefixSums {
        PrefixSums { tree: vec![0.0; count + 1], total: 0.0, log_scale: 0.0 }
    }

    /// Sum over the first `count` places.
    fn before(&self, count: usize) -> f64 {
        let (mut sum, mut place) = (0.0, count);
        while place > 0 {
            sum += self.tree[place];
            place &= place - 1;
        }
        sum
    }

    fn add(&mut self, position: usize, value: f64) {
        let mut place = position + 1;
        while place < self.tree.len() {
            self.tree[place] += value;
            place += place & place.wrapping_neg();
        }
        self.total += value;
    }

    /// The empty chain has weight 1, whatever the scale has become.
    fn empty_chain(&self) -> f64 {
        (-self.log_scale).exp()
    }

    fn keep_small(&mut self) {
        if self.total > LARGE {
            for value in &mut self.tree {
                *value /= LARGE;
            }
            self.total /= LARGE;
            self.log_scale += LARGE.ln();
        }
    }
}

/// The chains at one offset.
pub(crate) struct Chains {
    candidates: Vec<Vec<Candidate>>,
    /// For each candidate: logarithm of the sum over chains that end in it.
    ending: Vec<Vec<f64>>,
    /// Logarithm of the sum over all chains.
    pub log_total: f64,
}

impl Chains {
    /// Walks forward through the marks.
    pub fn forward(ordered: &Ordered, offset_s: f64, settings: &LinkSettings) -> Chains {
        let mut sums = PrefixSums::new(ordered.shots.len());
        let mut candidates = Vec::with_capacity(ordered.marks.len());
        let mut ending = Vec::with_capacity(ordered.marks.len());
        let mut found = Vec::new();
        for mark in &ordered.marks {
            ordered.candidates(mark, offset_s, settings, &mut found);
            // All from the marks before: one mark belongs to one shot at most.
            let values: Vec<f64> =
                found.iter().map(|c| c.weight * (sums.empty_chain() + sums.before(c.shot))).collect();
            ending.push(values.iter().map(|value| value.ln() + sums.log_scale).collect());
            for (candidate, value) in found.iter().zip(values) {
                sums.add(candidate.shot, value);
            }
            sums.keep_small();
            candidates.push(found.clone());
        }
        let log_total = (sums.empty_chain() + sums.total).ln() + sums.log_scale;
        Chains { candidates, ending, log_total }
    }

    /// Walks backward and gives, for every mark, its candidates with the probability of the pair at this offset.
    pub fn probabilities(&self, shots: usize) -> Vec<Vec<(usize, f64)>> {
        let mut sums = PrefixSums::new(shots);
        let mut probabilities = vec![Vec::new(); self.candidates.len()];
        for row in (0..self.candidates.len()).rev() {
            let mut values = Vec::with_capacity(self.candidates[row].len());
            for (candidate, ending) in self.candidates[row].iter().zip(&self.ending[row]) {
                // Mirrored, so that later shots come first in the prefix.
                let later = sums.empty_chain() + sums.before(shots - 1 - candidate.shot);
                let log_probability = ending + later.ln() + sums.log_scale - self.log_total;
                probabilities[row].push((candidate.shot, log_probability.exp().min(1.0)));
                values.push((shots - 1 - candidate.shot, candidate.weight * later));
            }
            for (position, value) in values {
                sums.add(position, value);
            }
            sums.keep_small();
        }
        probabilities
    }
}
