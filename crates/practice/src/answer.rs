//! How rows and answers name their fields, so that a table of the data and a struct of the code never drift apart.

/// Name, UCUM unit and meaning of a number.
pub type NumberEntry = (&'static str, &'static str, &'static str);
/// Name and meaning of a text.
pub type TextEntry = (&'static str, &'static str);

/// An answer whose fields can be listed by name.
pub trait Answer {
    /// Name, UCUM unit and meaning of the numbers; the names are the struct's fields.
    const NUMBERS: &'static [NumberEntry];
    /// Name and meaning of the texts; the names are the struct's fields.
    const TEXTS: &'static [TextEntry];
    /// The number at a position of [`Answer::NUMBERS`]; missing where it cannot be told.
    fn number_at(&self, position: usize) -> Option<f64>;
    /// The text at a position of [`Answer::TEXTS`].
    fn text_at(&self, position: usize) -> Option<&str>;
}

/// A row that can be read from named fields. Flags travel as numbers: 1 is yes, 0 and missing are no.
pub trait Row: Sized {
    /// Name, UCUM unit and meaning of the numbers, in the order that [`Row::from_fields`] takes them.
    const NUMBERS: &'static [NumberEntry];
    /// Name and meaning of the texts, in the same sense.
    const TEXTS: &'static [TextEntry];
    /// The row, or nothing where a field that it cannot do without is missing, not finite or unknown.
    fn from_fields(numbers: &[Option<f64>], texts: &[Option<&str>]) -> Option<Self>;
}

/// Declares an answer once: its fields, their documentation and their tables.
macro_rules! answer {
    (
        $(#[$outer:meta])*
        pub struct $name:ident {
            numbers { $($number:ident: $unit:literal, $meaning:literal;)* }
            texts { $($text:ident: $text_meaning:literal;)* }
        }
    ) => {
        $(#[$outer])*
        #[derive(Debug, Clone, PartialEq, Default)]
        pub struct $name {
            $(
                #[doc = concat!($meaning, " [", $unit, "]")]
                pub $number: Option<f64>,
            )*
            $(
                #[doc = $text_meaning]
                pub $text: Option<String>,
            )*
        }

        impl crate::Answer for $name {
            const NUMBERS: &'static [crate::NumberEntry] = &[$((stringify!($number), $unit, $meaning)),*];
            const TEXTS: &'static [crate::TextEntry] = &[$((stringify!($text), $text_meaning)),*];

            fn number_at(&self, position: usize) -> Option<f64> {
                let numbers = [$(self.$number),*];
                numbers.get(position).copied().flatten().filter(|number| number.is_finite())
            }

            fn text_at(&self, position: usize) -> Option<&str> {
                let texts: [Option<&str>; Self::TEXTS.len()] = [$(self.$text.as_deref()),*];
                texts.get(position).copied().flatten()
            }
        }
    };
}
pub(crate) use answer;

/// The finite number at a position of a row's fields.
pub(crate) fn finite(numbers: &[Option<f64>], position: usize) -> Option<f64> {
    numbers.get(position).copied().flatten().filter(|number| number.is_finite())
}

/// A flag that travels as a number.
pub(crate) fn flag(numbers: &[Option<f64>], position: usize) -> bool {
    finite(numbers, position).is_some_and(|number| number != 0.0)
}

/// A whole number that names something, such as a session; not-negative.
pub(crate) fn whole(numbers: &[Option<f64>], position: usize) -> Option<u32> {
    finite(numbers, position).filter(|number| (0.0..=f64::from(u32::MAX)).contains(number)).map(|number| number as u32)
}

/// A day count, possibly before the epoch.
pub(crate) fn day(numbers: &[Option<f64>], position: usize) -> Option<i32> {
    finite(numbers, position).filter(|number| number.abs() < 1e7).map(|number| number as i32)
}
