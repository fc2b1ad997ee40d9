//! Numbers as devices write them: decimal commas, thousands separators, words for the side.

use crate::rule::Rule;

/// How numbers are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct NumberStyle {
    pub decimal: char,
    pub group: Option<char>,
}

/// How a number's sign is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Sign {
    /// As our convention has it.
    Plain,
    /// Positive means what our convention calls negative.
    Inverted,
    /// A word before or behind the number says the side; `zero` words stand for the middle, with or without a number.
    Words { positive: Vec<String>, negative: Vec<String>, zero: Vec<String> },
}

/// What a text says about the side of its number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Side {
    /// The sign of the number says it, times this factor.
    Written(f64),
    /// A word says it: +1, -1, or 0 for the middle.
    Named(f64),
    /// Words would have to say it, but none does.
    Unnamed,
}

impl Sign {
    /// Parts a text into the number and what is said of its side.
    pub fn take<'t>(&self, text: &'t str) -> (&'t str, Side) {
        let (positive, negative, zero) = match self {
            Sign::Plain => return (text, Side::Written(1.0)),
            Sign::Inverted => return (text, Side::Written(-1.0)),
            Sign::Words { positive, negative, zero } => (positive, negative, zero),
        };
        let text = text.trim();
        let mut best: Option<(&str, Side)> = None;
        for (words, factor) in [(positive, 1.0), (negative, -1.0), (zero, 0.0)] {
            for word in words {
                let rests = [without_prefix(text, word), without_suffix(text, word)];
                for rest in rests.into_iter().flatten() {
                    // The longest word wins, so that "RR" is not read as "R".
                    if best.is_none_or(|(shorter, _)| rest.len() < shorter.len()) {
                        best = Some((rest, Side::Named(factor)));
                    }
                }
            }
        }
        best.map_or((text, Side::Unnamed), |(rest, side)| (rest.trim(), side))
    }
}

impl Side {
    /// The number with its sign in our convention; `text` is what a report shows.
    pub fn apply(self, number: f64, text: &str) -> Result<f64, NumberFault> {
        let unclear = |why: &str| Err((Rule::SignUnclear, format!("\"{}\" {why}", shot::Problem::cut(text))));
        match self {
            // Added, so that an inverted zero is no negative zero.
            Side::Written(factor) => Ok(0.0 + number * factor),
            Side::Named(_) if number < 0.0 => unclear("has both a minus sign and a word for its side"),
            // Devices write a bare zero for the middle.
            Side::Named(_) | Side::Unnamed if number == 0.0 => Ok(0.0),
            Side::Named(0.0) => unclear("says the middle and is not zero"),
            Side::Named(factor) => Ok(number * factor),
            Side::Unnamed => unclear("does not say to which side"),
        }
    }
}

fn same_letter(one: char, other: char) -> bool {
    one == other || one.to_lowercase().eq(other.to_lowercase())
}

/// What stands behind a word that begins the text, compared without regard to case.
fn without_prefix<'t>(text: &'t str, word: &str) -> Option<&'t str> {
    let mut rest = text.chars();
    let all = word.chars().all(|letter| rest.next().is_some_and(|found| same_letter(found, letter)));
    all.then_some(rest.as_str())
}

/// What stands before a word that ends the text, compared without regard to case.
fn without_suffix<'t>(text: &'t str, word: &str) -> Option<&'t str> {
    let mut rest = text.chars();
    let all = word.chars().rev().all(|letter| rest.next_back().is_some_and(|found| same_letter(found, letter)));
    all.then_some(rest.as_str())
}

/// Why a text is no number.
pub(crate) type NumberFault = (Rule, String);

impl NumberStyle {
    /// The number of a text.
    pub fn parse(self, text: &str) -> Result<f64, NumberFault> {
        let fault = || (Rule::NotANumber, format!("\"{}\" is not a number", shot::Problem::cut(text)));
        let plain = self.to_plain(text.trim()).ok_or_else(fault)?;
        let number: f64 = plain.parse().map_err(|_| fault())?;
        if number.is_finite() { Ok(number) } else { Err(fault()) }
    }

    /// The text with a decimal point and without group separators, or nothing if it is not written as a number.
    fn to_plain(self, text: &str) -> Option<String> {
        let (negative, text) = match text.chars().next()? {
            minus @ ('-' | '\u{2212}') => (true, &text[minus.len_utf8()..]),
            '+' => (false, &text[1..]),
            _ => (false, text),
        };
        let (mantissa, exponent) = match text.find(['e', 'E']) {
            Some(position) => (&text[..position], Some(&text[position + 1..])),
            None => (text, None),
        };
        let (whole, fraction) = match mantissa.split_once(self.decimal) {
            Some((whole, fraction)) => (whole, fraction),
            None => (mantissa, ""),
        };
        let digits = self.without_groups(whole)?;
        if !all_digits(fraction) || (digits.is_empty() && fraction.is_empty()) {
            return None;
        }
        let mut plain = String::with_capacity(text.len() + 2);
        if negative {
            plain.push('-');
        }
        plain.push('0');
        plain.push_str(&digits);
        plain.push('.');
        plain.push_str(fraction);
        plain.push('0');
        if let Some(exponent) = exponent {
            let magnitude = exponent.strip_prefix(['-', '+']).unwrap_or(exponent);
            if magnitude.is_empty() || !all_digits(magnitude) {
                return None;
            }
            plain.push('e');
            plain.push_str(exponent);
        }
        Some(plain)
    }

    /// Groups must be whole threes: `2.95` under group character `.` is no 295, it is a number in another style, and taking it
    /// would be wrong by a factor of a hundred.
    fn without_groups(self, whole: &str) -> Option<String> {
        let is_group = |c: char| match self.group {
            Some(' ') => matches!(c, ' ' | '\u{a0}' | '\u{2009}' | '\u{202f}'),
            Some('\'') => matches!(c, '\'' | '\u{2019}'),
            Some(group) => c == group,
            None => false,
        };
        let mut digits = String::with_capacity(whole.len());
        for (position, piece) in whole.split(is_group).enumerate() {
            let grouped = position > 0;
            if !all_digits(piece) || (grouped && piece.len() != 3) {
                return None;
            }
            if grouped && (digits.is_empty() || (position == 1 && digits.len() > 3)) {
                return None;
            }
            digits.push_str(piece);
        }
        Some(digits)
    }
}

fn all_digits(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    const US: NumberStyle = NumberStyle { decimal: '.', group: Some(',') };
    const METRIC: NumberStyle = NumberStyle { decimal: ',', group: Some('.') };

    fn close(found: Result<f64, NumberFault>, expected: f64) {
        let found = found.expect("a number");
        assert!((found - expected).abs() < 1e-12, "{found} is not {expected}");
    }

    #[test]
    fn both_styles_are_read() {
        close(US.parse("1,234,567.5"), 1_234_567.5);
        close(METRIC.parse("2.950"), 2_950.0);
        close(METRIC.parse("-12,25"), -12.25);
        close(METRIC.parse("\u{2212}0,5"), -0.5);
        close(US.parse(".5"), 0.5);
        close(US.parse("1.5e2"), 150.0);
        close(NumberStyle { decimal: ',', group: Some(' ') }.parse("2\u{202f}950,5"), 2_950.5);
        let swiss = NumberStyle { decimal: '.', group: Some('\'') };
        close(swiss.parse("1'234\u{2019}567.5"), 1_234_567.5);
    }

    #[test]
    fn other_styles_are_refused_rather_than_misread() {
        for text in [
            "2.95", "29.5", "1.2345", ".950", "1234.567", "2,9,5", "", "-", "--1", ",", "1e", "inf", "NaN", "0x10",
            "1_0",
        ] {
            assert!(METRIC.parse(text).is_err(), "{text}");
        }
        assert!(US.parse("1e999").is_err(), "not finite");
    }

    fn signed(style: NumberStyle, sign: &Sign, text: &str) -> Result<f64, NumberFault> {
        let (number, side) = sign.take(text);
        let number = if side == Side::Named(0.0) && number.is_empty() { 0.0 } else { style.parse(number)? };
        side.apply(number, text)
    }

    fn words(positive: &[&str], negative: &[&str], zero: &[&str]) -> Sign {
        let owned = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
        Sign::Words { positive: owned(positive), negative: owned(negative), zero: owned(zero) }
    }

    #[test]
    fn sides_become_signs() {
        let sign = words(&["R"], &["L"], &[]);
        close(signed(METRIC, &sign, "3,2 L"), -3.2);
        close(signed(METRIC, &sign, "3,2r"), 3.2);
        close(signed(METRIC, &sign, "R12"), 12.0);
        close(signed(METRIC, &sign, "L 3,2"), -3.2);
        close(signed(METRIC, &sign, "0,0"), 0.0);
        for (text, rule) in [("3,2", Rule::SignUnclear), ("-3,2 L", Rule::SignUnclear), ("x L", Rule::NotANumber)] {
            assert_eq!(signed(METRIC, &sign, text).expect_err(text).0, rule, "{text}");
        }
        close(signed(US, &Sign::Inverted, "3.5"), -3.5);
        assert!(signed(US, &Sign::Inverted, "0").expect("a number").is_sign_positive());
    }

    #[test]
    fn words_with_blanks_and_the_middle_are_read() {
        let sign = words(&["open", "to the right"], &["closed", "to the left"], &["square", "\u{00b1}"]);
        close(signed(US, &sign, "2.1 open"), 2.1);
        close(signed(US, &sign, "Closed 1.3"), -1.3);
        close(signed(US, &sign, "4 TO THE LEFT"), -4.0);
        close(signed(US, &sign, "square"), 0.0);
        close(signed(US, &sign, "0.0 Square"), 0.0);
        for text in ["1.0 square", "1.0", "open 1.0 open", "open"] {
            assert!(signed(US, &sign, text).is_err(), "{text}");
        }
        let long = words(&["in-out", "out"], &["out-in", "in"], &[]);
        close(signed(US, &long, "2 out-in"), -2.0);
        close(signed(US, &long, "in-out 2"), 2.0);
    }
}
