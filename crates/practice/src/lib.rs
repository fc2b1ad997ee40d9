//! A player's strikes over weeks: their pattern, their price, whether practice works, and what to practise next.
