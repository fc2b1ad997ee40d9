//! What is learned, against players whose heads, habits and balls are known.

mod ball;
mod bays;
mod bounds;
mod players;
mod recovery;
mod verdicts;
