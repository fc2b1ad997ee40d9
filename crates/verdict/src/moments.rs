//! Mean and deviation of values seen one by one.

/// Running mean and deviation.
#[derive(Debug, Default)]
pub(crate) struct Moments {
    count: f64,
    mean: f64,
    squares: f64,
}

impl Moments {
    // Welford 1962, Technometrics 4, 419.
    pub fn add(&mut self, value: f64) {
        self.count += 1.0;
        let offset = value - self.mean;
        self.mean += offset / self.count;
        self.squares += offset * (value - self.mean);
    }

    pub fn is_empty(&self) -> bool {
        self.count < 1.0
    }

    pub fn mean(&self) -> f64 {
        self.mean
    }

    pub fn sd(&self) -> f64 {
        (self.squares / (self.count - 1.0).max(1.0)).sqrt()
    }
}
