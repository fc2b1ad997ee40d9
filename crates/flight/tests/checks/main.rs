//! Outside checks of the flight model: published and exactly derived values, and properties that always hold.

mod air_values;
mod flight_values;
mod properties;
mod refusals;
