//! How the numbers of a sample are written: decimal and group characters, words behind them, tokens for "no reading".

use std::collections::BTreeMap;

use super::unit_words;
use crate::number::NumberStyle;

/// Tokens that mean "no reading" wherever they stand alone in a cell (common practice, no source).
const MISSING_TOKENS: [&str; 18] = [
    "-", "--", "---", "\u{2013}", "\u{2014}", "n/a", "na", "#n/a", "nan", "null", "none", "nil", "k.a.", "?", "...",
    "*", "no data", "n.v.",
];

/// Whether a cell says that there was no reading.
pub(super) fn is_missing_token(text: &str) -> bool {
    MISSING_TOKENS.contains(&text.to_lowercase().as_str())
}

/// A cell parted into number and what stands behind it, where it looks like a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NumberCell<'a> {
    pub number: &'a str,
    pub suffix: &'a str,
}

/// Parts a cell that begins like a number and holds at most one short word behind it.
pub(super) fn number_cell(text: &str) -> Option<NumberCell<'_>> {
    let text = text.trim();
    let is_part =
        |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '\u{2212}' | '.' | ',' | '\'' | '’') || is_blank(c);
    let mut end = text.find(|c: char| !is_part(c)).unwrap_or(text.len());
    // 1.5e2
    if text[end..].starts_with(['e', 'E']) {
        let exponent = text[end + 1..].trim_start_matches(['-', '+']);
        let digits = exponent.find(|c: char| !c.is_ascii_digit()).unwrap_or(exponent.len());
        if digits > 0 {
            end = text.len() - exponent.len() + digits;
        }
    }
    let number = text[..end].trim_end_matches(|c: char| !c.is_ascii_digit());
    let suffix = text[number.len()..].trim();
    let digits = number.chars().filter(char::is_ascii_digit).count();
    if !(1..=17).contains(&digits)
        || suffix.chars().count() > 12
        || suffix.chars().any(|c| c.is_ascii_digit()) && !is_unit(suffix)
    {
        return None;
    }
    let inner_sign = number
        .char_indices()
        .skip(1)
        .any(|(at, c)| matches!(c, '+' | '-' | '\u{2212}') && !number[..at].ends_with(['e', 'E']));
    (!inner_sign).then_some(NumberCell { number, suffix })
}

fn is_unit(word: &str) -> bool {
    !unit_words::meanings(word).is_empty()
}

fn is_blank(c: char) -> bool {
    matches!(c, ' ' | '\u{a0}' | '\u{2009}' | '\u{202f}')
}

/// The style of a whole sample, and whether anything spoke for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct SampleStyle {
    pub style: NumberStyle,
    /// Cells that can be read in this style only.
    pub telling: usize,
    /// Cells that this style cannot read.
    pub against: usize,
}

/// The style that reads most of the cells; of equals the one that is plainer.
pub(super) fn style_of<'a>(cells: impl Iterator<Item = &'a str>) -> SampleStyle {
    let styles = [
        ('.', None),
        (',', None),
        ('.', Some(',')),
        (',', Some('.')),
        ('.', Some(' ')),
        (',', Some(' ')),
        ('.', Some('\'')),
        (',', Some('\'')),
        ('.', Some('’')),
    ]
    .map(|(decimal, group)| NumberStyle { decimal, group });
    let mut read: BTreeMap<usize, usize> = BTreeMap::new();
    let (mut total, mut all_read) = (0, 0);
    for cell in cells.filter_map(number_cell) {
        total += 1;
        let able: Vec<usize> = (0..styles.len()).filter(|place| styles[*place].parse(cell.number).is_ok()).collect();
        all_read += usize::from(able.len() == styles.len());
        for place in able {
            *read.entry(place).or_default() += 1;
        }
    }
    let count = |place: usize| read.get(&place).copied().unwrap_or_default();
    let mut best = 0;
    for place in 1..styles.len() {
        if count(place) > count(best) {
            best = place;
        }
    }
    SampleStyle { style: styles[best], telling: count(best) - all_read.min(count(best)), against: total - count(best) }
}

/// Letters and words for a side behind a number: what our convention calls positive, and what it calls negative.
const SIDES: [(&[&str], &[&str]); 9] = [
    (&["R"], &["L"]),
    (&["r"], &["l"]),
    (&["right", "Right", "RIGHT"], &["left", "Left", "LEFT"]),
    (&["re", "rechts", "Rechts"], &["li", "links", "Links"]),
    (&["D", "d", "droite"], &["G", "g", "gauche"]),
    (&["T", "toe", "Toe"], &["H", "heel", "Heel"]),
    (&["up", "Up", "UP", "U"], &["down", "Down", "DOWN", "D"]),
    (&["hi", "high", "High", "Hi"], &["lo", "low", "Low", "Lo"]),
    (&["hoch"], &["tief"]),
];

/// The side words of a column whose numbers have them: positive words, negative words.
pub(super) fn sides_of<'a>(suffixes: impl Iterator<Item = &'a str>) -> Option<(Vec<String>, Vec<String>)> {
    let mut seen: Vec<&str> = suffixes.filter(|suffix| !suffix.is_empty()).collect();
    seen.sort_unstable();
    seen.dedup();
    if seen.is_empty() {
        return None;
    }
    let fits = |words: &[&str]| seen.iter().any(|suffix| words.contains(suffix));
    let (positive, negative) = SIDES.iter().find(|(positive, negative)| {
        seen.iter().all(|suffix| positive.contains(suffix) || negative.contains(suffix))
            && (fits(positive) || fits(negative))
    })?;
    let kept = |words: &[&str]| {
        let written: Vec<String> =
            words.iter().filter(|word| seen.contains(word)).map(|word| (*word).to_owned()).collect();
        // A side that this sample happens not to show is written as the other side is.
        if written.is_empty() { vec![words[0].to_owned()] } else { written }
    };
    Some((kept(positive), kept(negative)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_parted() {
        let cell = |text| number_cell(text).map(|cell| (cell.number, cell.suffix));
        assert_eq!(cell("21,5 °C"), Some(("21,5", "°C")));
        assert_eq!(cell(" -3.2R"), Some(("-3.2", "R")));
        assert_eq!(cell("1.5e-2"), Some(("1.5e-2", "")));
        assert_eq!(cell("2 950"), Some(("2 950", "")));
        for text in ["", "Driver", "2026-04-12", "15:07", "7 Iron plus one", "-", "."] {
            assert_eq!(cell(text), None, "{text}");
        }
    }

    #[test]
    fn the_style_follows_the_cells() {
        let style = |cells: &[&str]| {
            let found = style_of(cells.iter().copied()).style;
            (found.decimal, found.group)
        };
        assert_eq!(style(&["62,1", "2.950", "1"]), (',', Some('.')));
        assert_eq!(style(&["62.1", "2,950", "1"]), ('.', Some(',')));
        assert_eq!(style(&["62.1", "2950", "x"]), ('.', None));
        assert_eq!(style(&["62,1", "2950"]), (',', None));
        assert_eq!(style(&["62,1", "2 950"]), (',', Some(' ')));
        assert_eq!(style(&["62.1", "2'950"]), ('.', Some('\'')));
        assert_eq!(style(&[]), ('.', None));
    }

    #[test]
    fn sides_are_known_by_both_letters() {
        let sides = |words: &[&str]| sides_of(words.iter().copied());
        let owned = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>();
        assert_eq!(sides(&["L", "R", ""]), Some((owned(&["R"]), owned(&["L"]))));
        assert_eq!(sides(&["heel", "toe"]), Some((owned(&["toe"]), owned(&["heel"]))));
        assert_eq!(sides(&["L", ""]), Some((owned(&["R"]), owned(&["L"]))));
        assert_eq!(sides(&["m", "L"]), None);
        assert_eq!(sides(&[""]), None);
    }
}
