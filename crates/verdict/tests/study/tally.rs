//! Sums over judged shots, kept by pair of players: shots of one player are no independent trials.

use academy::{Bias, TrueCause, TrueShot};
use verdict::{ShotVerdict, Told};

/// A share or mean with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    pub value: f64,
    /// Over pairs of players as clusters; for shares at least the binomial one.
    pub error: f64,
    pub cases: f64,
}

/// The ratio of two sums, by cluster.
#[derive(Debug, Clone, Default)]
pub struct Ratio(Vec<(f64, f64)>);

impl Ratio {
    fn add(&mut self, cluster: usize, numerator: f64, denominator: f64) {
        if self.0.len() <= cluster {
            self.0.resize(cluster + 1, (0.0, 0.0));
        }
        self.0[cluster].0 += numerator;
        self.0[cluster].1 += denominator;
    }

    fn count(&mut self, cluster: usize, happened: bool) {
        self.add(cluster, f64::from(u8::from(happened)), 1.0);
    }

    fn append(&mut self, other: &Ratio) {
        self.0.extend(&other.0);
    }

    /// The mean; `None` without cases.
    pub fn mean(&self) -> Option<Estimate> {
        let filled: Vec<(f64, f64)> = self.0.iter().copied().filter(|(_, cases)| *cases > 0.0).collect();
        let (sum, cases) = filled.iter().fold((0.0, 0.0), |(sum, cases), one| (sum + one.0, cases + one.1));
        if cases == 0.0 {
            return None;
        }
        let value = sum / cases;
        // Linearised variance of a ratio over clusters (Cochran 1977, Sampling Techniques, 6.3).
        let squares: f64 = filled.iter().map(|(sum, cases)| (sum - value * cases).powi(2)).sum();
        let clusters = filled.len() as f64;
        let error = if clusters > 1.0 { (clusters / (clusters - 1.0) * squares).sqrt() / cases } else { f64::INFINITY };
        Some(Estimate { value, error, cases })
    }

    /// The mean of a thing that happens or not.
    pub fn share(&self) -> Option<Estimate> {
        let mut mean = self.mean()?;
        // A share of 0 or 1 in the sample is not known exactly: one more case of either kind bounds the binomial error from below.
        let smoothed = (mean.value * mean.cases + 1.0) / (mean.cases + 2.0);
        mean.error = mean.error.max((smoothed * (1.0 - smoothed) / mean.cases).sqrt());
        Some(mean)
    }
}

/// How often what is true was told, and what is told was true.
#[derive(Debug, Clone, Default)]
pub struct Named {
    pub recall: Ratio,
    pub precision: Ratio,
}

/// One bin of told probabilities.
#[derive(Debug, Clone, Default)]
pub struct Bin {
    /// Happened minus told.
    gap: Ratio,
    /// Told times its complement: the variance that a well calibrated share has.
    variance: Ratio,
}

impl Bin {
    fn add(&mut self, cluster: usize, told: f64, happened: bool) {
        self.gap.add(cluster, f64::from(u8::from(happened)) - told, 1.0);
        self.variance.add(cluster, told * (1.0 - told), 1.0);
    }

    fn append(&mut self, other: &Bin) {
        self.gap.append(&other.gap);
        self.variance.append(&other.variance);
    }

    /// How far happened lies above told; its error is at least the binomial one.
    pub fn gap(&self) -> Option<Estimate> {
        let (mut gap, variance) = (self.gap.mean()?, self.variance.mean()?);
        gap.error = gap.error.max((variance.value / gap.cases).sqrt());
        Some(gap)
    }
}

pub const BINS: usize = 10;
/// A 90 % interval of a normal posterior, in standard deviations.
const NINETY_PERCENT: f64 = 1.644_854;

const PROBABILITIES: [(Told, TrueCause); 5] = [
    (Told::ProbabilityStrike, TrueCause::Strike),
    (Told::ProbabilityDelivery, TrueCause::Delivery),
    (Told::ProbabilityEither, TrueCause::Either),
    (Told::ProbabilityBothNeeded, TrueCause::BothNeeded),
    (Told::ProbabilityNeither, TrueCause::Neither),
];

/// Everything the study counts of one capability and club.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    pub shots: usize,
    pub true_misses: usize,
    pub loss_covered: Ratio,
    pub toe_covered: Ratio,
    pub up_covered: Ratio,
    pub loss_error: Ratio,
    pub loss_squared_error: Ratio,
    pub bins: [Bin; BINS],
    pub causes: [Named; 5],
    /// Of told misses.
    pub cannot_tell: Ratio,
    /// Wrong `strike` among the told misses of players whose strike is centred.
    pub false_strike: Ratio,
    /// Curves that mislead, and curves told to be misread.
    pub misread: Named,
}

/// A reader acts on a curve from this face-to-path angle on, degrees: the product's default.
const ACTED_ON_DEG: f64 = 1.5;

impl Tally {
    pub fn add(&mut self, pair: usize, bias: Bias, truth: &TrueShot, cause: Option<TrueCause>, told: &ShotVerdict) {
        self.shots += 1;
        self.true_misses += usize::from(cause.is_some());
        let lost = truth.carry_lost_to_strike_m();
        let interval = |value: Told, sd: Told| Some((told.get(value)?, told.get(sd)?));
        if let Some((mean, sd)) = interval(Told::CarryLostToStrike, Told::CarryLostToStrikeSd) {
            self.loss_covered.count(pair, (mean - lost).abs() <= NINETY_PERCENT * sd);
            self.loss_error.add(pair, mean - lost, 1.0);
            self.loss_squared_error.add(pair, (mean - lost).powi(2), 1.0);
        }
        if let Some((mean, sd)) = interval(Told::StrikeToe, Told::StrikeToeSd) {
            self.toe_covered.count(pair, (mean - truth.swing.toe_mm).abs() <= NINETY_PERCENT * sd);
        }
        if let Some((mean, sd)) = interval(Told::StrikeUp, Told::StrikeUpSd) {
            self.up_covered.count(pair, (mean - truth.swing.up_mm).abs() <= NINETY_PERCENT * sd);
        }
        self.add_cause(pair, bias, cause, told);
        self.add_reading(pair, truth, told);
    }

    fn add_cause(&mut self, pair: usize, bias: Bias, cause: Option<TrueCause>, told: &ShotVerdict) {
        let named = told.cause.as_deref();
        for (position, (probability, of)) in PROBABILITIES.into_iter().enumerate() {
            let counted = &mut self.causes[position];
            let is_named = named == Some(of.word());
            if cause == Some(of) {
                counted.recall.count(pair, is_named);
            }
            if is_named {
                counted.precision.count(pair, cause == Some(of));
            }
            // Shares of the causes are told on the understanding that the shot is a miss, so only true misses can check them.
            if let (Some(share), true) = (told.get(probability), cause.is_some()) {
                let bin = ((share * BINS as f64) as usize).min(BINS - 1);
                self.bins[bin].add(pair, share, cause == Some(of));
            }
        }
        if let Some(named) = named {
            self.cannot_tell.count(pair, named == "cannot tell");
            if matches!(bias, Bias::Delivery | Bias::Neither) {
                self.false_strike.count(pair, named == "strike" && cause != Some(TrueCause::Strike));
            }
        }
    }

    fn add_reading(&mut self, pair: usize, truth: &TrueShot, told: &ShotVerdict) {
        let (Some(misread), Some(reading)) = (told.misread, told.get(Told::CurveReading)) else { return };
        let face_to_path = truth.face_deg() - truth.path_deg();
        let differs = (face_to_path - reading).abs() >= ACTED_ON_DEG || face_to_path * reading < 0.0;
        let misleads = reading.abs() >= ACTED_ON_DEG && differs;
        if misread {
            self.misread.precision.count(pair, misleads);
        }
        if misleads {
            self.misread.recall.count(pair, misread);
        }
    }

    /// Adds another tally, of other players.
    pub fn append(&mut self, other: &Tally) {
        self.shots += other.shots;
        self.true_misses += other.true_misses;
        let own = [
            (&mut self.loss_covered, &other.loss_covered),
            (&mut self.toe_covered, &other.toe_covered),
            (&mut self.up_covered, &other.up_covered),
            (&mut self.loss_error, &other.loss_error),
            (&mut self.loss_squared_error, &other.loss_squared_error),
            (&mut self.cannot_tell, &other.cannot_tell),
            (&mut self.false_strike, &other.false_strike),
            (&mut self.misread.recall, &other.misread.recall),
            (&mut self.misread.precision, &other.misread.precision),
        ];
        for (own, others) in own {
            own.append(others);
        }
        for (own, others) in self.bins.iter_mut().zip(&other.bins) {
            own.append(others);
        }
        for (own, others) in self.causes.iter_mut().zip(&other.causes) {
            own.recall.append(&others.recall);
            own.precision.append(&others.precision);
        }
    }

    /// Whether no cause was named of any miss.
    pub fn tells_no_cause(&self) -> bool {
        self.causes.iter().all(|named| named.precision.mean().is_none())
    }

    /// The bin whose told and happened shares lie farthest apart, among bins with enough cases.
    pub fn worst_bin(&self, enough: f64) -> Option<Estimate> {
        let mut worst: Option<Estimate> = None;
        for bin in &self.bins {
            let Some(gap) = bin.gap().filter(|gap| gap.cases >= enough) else { continue };
            if worst.is_none_or(|worst| gap.value.abs() > worst.value.abs()) {
                worst = Some(gap);
            }
        }
        worst
    }
}
