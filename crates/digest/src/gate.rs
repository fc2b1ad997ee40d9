//! The gate a player swings through to tighten the strike.

/// Never set a post nearer to the clubhead than this, as the practice plan does not.
pub const LEAST_CLEARANCE_MM: f64 = 5.0;

/// A gate: two soft posts, each the same distance from the clubhead as it stands centred on the ball.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    /// Clearance on each side, whole millimetres.
    pub clearance_mm: f64,
    /// Share of the player's next swings expected to pass.
    pub pass_share: f64,
}
