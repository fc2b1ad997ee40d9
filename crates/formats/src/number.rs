//! Numbers as devices write them: decimal commas, thousands separators, side letters.

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
    /// A word after the number says the side.
    Suffix { positive: Vec<String>, negative: Vec<String> },
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

    /// The number of a text in our sign convention.
    pub fn parse_signed(self, text: &str, sign: &Sign) -> Result<f64, NumberFault> {
        match sign {
            Sign::Plain => self.parse(text),
            Sign::Inverted => Ok(0.0 - self.parse(text)?),
            Sign::Suffix { positive, negative } => self.parse_sided(text.trim(), positive, negative),
        }
    }

    fn parse_sided(self, text: &str, positive: &[String], negative: &[String]) -> Result<f64, NumberFault> {
        let sides = positive.iter().map(|word| (word, 1.0)).chain(negative.iter().map(|word| (word, -1.0)));
        let mut best: Option<(&str, usize, f64)> = None;
        for (word, factor) in sides {
            // The longest word wins, so that "RR" is not read as "R".
            if let Some(rest) = text.strip_suffix(word.as_str())
                && best.is_none_or(|(_, length, _)| word.len() > length)
            {
                best = Some((rest, word.len(), factor));
            }
        }
        let unclear = |why: &str| (Rule::SignUnclear, format!("\"{}\" {why}", shot::Problem::cut(text)));
        if let Some((rest, _, factor)) = best {
            let magnitude = self.parse(rest)?;
            if magnitude < 0.0 {
                return Err(unclear("has both a minus sign and a side letter"));
            }
            return Ok(if magnitude == 0.0 { 0.0 } else { magnitude * factor });
        }
        // Devices write a bare zero for the middle.
        if self.parse(text)? == 0.0 { Ok(0.0) } else { Err(unclear("does not say to which side")) }
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

    #[test]
    fn sides_become_signs() {
        let sign = Sign::Suffix { positive: vec!["R".into()], negative: vec!["L".into()] };
        close(METRIC.parse_signed("3,2 L", &sign), -3.2);
        close(METRIC.parse_signed("3,2R", &sign), 3.2);
        close(METRIC.parse_signed("0,0", &sign), 0.0);
        for (text, rule) in [("3,2", Rule::SignUnclear), ("-3,2 L", Rule::SignUnclear), ("x L", Rule::NotANumber)] {
            assert_eq!(METRIC.parse_signed(text, &sign).expect_err(text).0, rule, "{text}");
        }
        close(US.parse_signed("3.5", &Sign::Inverted), -3.5);
    }
}
