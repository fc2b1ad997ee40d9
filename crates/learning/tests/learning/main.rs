//! What is learned, against players whose heads, habits and balls are known.

mod coverage;
mod players;
