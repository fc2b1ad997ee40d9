//! The order-free split of a difference over four groups of causes (Shapley 1953, "A value for n-person games").

/// The groups a difference is split over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Toe and height of the strike.
    Strike = 0,
    /// Path, face, attack and loft.
    Delivery = 1,
    /// Club speed.
    Speed = 2,
    /// What the model does not explain of launch and flight.
    Rest = 3,
}

/// How many groups there are.
pub const GROUPS: usize = 4;

/// All coalitions of the groups; bit `g` says that group `g` is as it happened, else as in the reference.
pub const COALITIONS: usize = 1 << GROUPS;

/// Each group's part of `values[all] - values[none]`, averaged over every order in which the groups could be switched on.
pub fn shapley(values: &[f64; COALITIONS]) -> [f64; GROUPS] {
    // |S|! (n - |S| - 1)! / n! for n = 4 and |S| = 0, 1, 2, 3.
    const WEIGHTS: [f64; GROUPS] = [6.0 / 24.0, 2.0 / 24.0, 2.0 / 24.0, 6.0 / 24.0];
    let mut parts = [0.0; GROUPS];
    for (group, part) in parts.iter_mut().enumerate() {
        for coalition in 0..COALITIONS {
            if coalition & (1 << group) == 0 {
                let weight = WEIGHTS[coalition.count_ones() as usize];
                *part += weight * (values[coalition | (1 << group)] - values[coalition]);
            }
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_sum_to_the_whole_and_additive_games_split_into_their_terms() {
        let mut values = [0.0; COALITIONS];
        for (coalition, value) in values.iter_mut().enumerate() {
            let on = |group: usize| f64::from(u8::from(coalition & (1 << group) != 0));
            *value = 3.0 * on(0) - 2.0 * on(1) + 0.5 * on(2) + 7.0 * on(3);
        }
        let parts = shapley(&values);
        for (part, expected) in parts.iter().zip([3.0, -2.0, 0.5, 7.0]) {
            assert!((part - expected).abs() < 1e-12);
        }
    }

    /// The glove game of the textbooks: one left glove (player 0), two right gloves (players 1 and 2) and a bystander. A pair
    /// is worth 1. Shapley values 4/6, 1/6, 1/6, 0 (Shapley & Shubik 1969, "Pure competition, coalitional power", the usual
    /// worked example; values recomputed by hand from the definition).
    #[test]
    fn the_glove_game_has_its_textbook_values() {
        let mut values = [0.0; COALITIONS];
        for (coalition, value) in values.iter_mut().enumerate() {
            if coalition & 1 != 0 && coalition & 6 != 0 {
                *value = 1.0;
            }
        }
        let parts = shapley(&values);
        for (part, expected) in parts.iter().zip([4.0 / 6.0, 1.0 / 6.0, 1.0 / 6.0, 0.0]) {
            assert!((part - expected).abs() < 1e-12, "{parts:?}");
        }
    }
}
