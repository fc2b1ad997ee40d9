//! What is known of one shot before it is judged.

use crate::Known;

/// One shot's evidence, the player's reference and the site's settings, by name.
///
/// Every number may be missing. An observation counts only where its deviation is given: a device that computes a quantity
/// instead of measuring it leaves the deviation empty, and the value is then no evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The numbers, in the order of [`Evidence::NUMBERS`].
    numbers: [Option<f64>; Evidence::NUMBERS.len()],
    /// `face-centre` (default) or `strike-point`: the point of the face that `face_deg` belongs to.
    pub face_at_strike_point: bool,
    /// Whether the strike position was linked from a separate record instead of measured with the shot.
    pub strike_linked: bool,
}

impl Default for Evidence {
    fn default() -> Self {
        Evidence { numbers: [None; Evidence::NUMBERS.len()], face_at_strike_point: false, strike_linked: false }
    }
}

impl Evidence {
    /// The value of a number.
    pub fn get(&self, known: Known) -> Option<f64> {
        self.numbers[known as usize]
    }

    /// Sets or clears a number; a value that is not finite counts as missing.
    pub fn set(&mut self, known: Known, value: Option<f64>) {
        self.numbers[known as usize] = value.filter(|number| number.is_finite());
    }

    /// Sets a number by its position in [`Evidence::NUMBERS`].
    pub fn set_at(&mut self, position: usize, value: Option<f64>) {
        self.numbers[position] = value.filter(|number| number.is_finite());
    }

    /// An observation with its deviation, if it was measured.
    pub fn measured(&self, value: Known, deviation: Known) -> Option<(f64, f64)> {
        let deviation = self.get(deviation).filter(|sd| *sd > 0.0)?;
        Some((self.get(value)?, deviation))
    }
}
