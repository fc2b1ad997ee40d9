//! Outside checks of the flight model: published and exactly derived values, and properties that always hold.

mod accuracy;
mod air_values;
mod book;
mod dop853;
mod flight_values;
mod properties;
mod reference;
mod refusals;
mod sample;
