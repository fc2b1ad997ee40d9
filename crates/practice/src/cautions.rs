//! What stands wherever practice is advised.

/// Cautions for strike practice; show them beside every plan and gate.
pub const CAUTIONS: [&str; 6] = [
    "Swing only in a clear hitting area, and check it before every swing.",
    "Nobody stands in front of the ball, beside it, or within reach of the club.",
    "Mark the gate with soft posts or tees only, nothing that is hard, heavy or can fly off.",
    "Stop at any pain.",
    "Follow the local rules of the range or bay; minors practise under supervision.",
    "These are suggestions from figures; what to practise, and whether, the coach decides.",
];
