//! How alike two header words are: by their words, abbreviations and units, and by the words that tell two columns apart.

use crate::unit::Unit;

/// Words that say little: a header with one of them more or less is likely the same column.
const NEUTRAL: [&str; 12] =
    ["angle", "rate", "value", "degrees", "number", "no", "nr", "measured", "name", "distance", "text", "the"];

/// Words that tell columns apart: a header with another one of them is another column, however alike the rest is.
const TELLING: [&str; 58] = [
    "total",
    "side",
    "back",
    "top",
    "club",
    "head",
    "ball",
    "face",
    "path",
    "left",
    "right",
    "up",
    "down",
    "max",
    "min",
    "avg",
    "average",
    "mean",
    "median",
    "std",
    "dev",
    "deviation",
    "raw",
    "lateral",
    "vertical",
    "horizontal",
    "target",
    "static",
    "dynamic",
    "offline",
    "carry",
    "roll",
    "run",
    "landing",
    "launch",
    "impact",
    "in",
    "out",
    "toe",
    "heel",
    "high",
    "low",
    "attack",
    "loft",
    "lie",
    "spin",
    "speed",
    "x",
    "y",
    "z",
    "expected",
    "corrected",
    "normalised",
    "est",
    "estimated",
    "calc",
    "calculated",
    "previous",
];

/// Unit words as devices write them, with UCUM codes. Only words with one meaning (common practice, no source).
const UNIT_WORDS: [(&str, &str); 38] = [
    ("mph", "[mi_i]/h"),
    ("kph", "km/h"),
    ("kmh", "km/h"),
    ("km/h", "km/h"),
    ("m/s", "m/s"),
    ("mps", "m/s"),
    ("ft/s", "[ft_i]/s"),
    ("fps", "[ft_i]/s"),
    ("kn", "[kn_i]"),
    ("kts", "[kn_i]"),
    ("knots", "[kn_i]"),
    ("yd", "[yd_i]"),
    ("yds", "[yd_i]"),
    ("yards", "[yd_i]"),
    ("ft", "[ft_i]"),
    ("feet", "[ft_i]"),
    ("in", "[in_i]"),
    ("inch", "[in_i]"),
    ("inches", "[in_i]"),
    ("m", "m"),
    ("meters", "m"),
    ("metres", "m"),
    ("cm", "cm"),
    ("mm", "mm"),
    ("deg", "deg"),
    ("degrees", "deg"),
    ("°", "deg"),
    ("rad", "rad"),
    ("rpm", "/min"),
    ("1/min", "/min"),
    ("u/min", "/min"),
    ("°c", "Cel"),
    ("celsius", "Cel"),
    ("°f", "[degF]"),
    ("fahrenheit", "[degF]"),
    ("hpa", "hPa"),
    ("mbar", "mbar"),
    ("%", "%"),
];

/// The unit that a word of a device most likely means.
pub(crate) fn common_unit(word: &str) -> Option<Unit> {
    let folded = word.trim().to_lowercase();
    let code = UNIT_WORDS.iter().find(|(known, _)| *known == folded).map(|(_, code)| *code);
    Unit::parse(code.unwrap_or(word.trim()))
}

/// A header word taken apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Name {
    words: Vec<String>,
    /// What stands in brackets at the end, or a unit word behind the name.
    pub unit: Option<String>,
}

impl Name {
    pub fn parse(text: &str) -> Name {
        let text = text.trim();
        for (open, close) in [('(', ')'), ('[', ']')] {
            if let Some((name, unit)) = text.strip_suffix(close).and_then(|text| text.rsplit_once(open))
                && !name.trim().is_empty()
            {
                return Name { words: words(name), unit: Some(unit.trim().to_owned()) };
            }
        }
        let behind = text.rsplit_once([' ', '_', '.']);
        if let Some((name, unit)) = behind.filter(|(name, unit)| !name.trim().is_empty() && is_unit_word(unit)) {
            return Name { words: words(name), unit: Some(unit.to_owned()) };
        }
        Name { words: words(text), unit: None }
    }
}

/// Whether a word behind a name is its unit; `in` and `no` are more often words.
fn is_unit_word(word: &str) -> bool {
    let folded = word.to_lowercase();
    folded != "in" && UNIT_WORDS.iter().any(|(known, _)| *known == folded)
}

/// Small letters, parted at blanks, signs, capitals and digits; umlauts as two letters, as many exports write them.
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut open = false;
    let mut last: Option<char> = None;
    for c in text.chars() {
        let parts = match last {
            Some(last) => (last.is_lowercase() && c.is_uppercase()) || (last.is_numeric() != c.is_numeric()),
            None => true,
        };
        last = Some(c);
        if !c.is_alphanumeric() {
            open = false;
            continue;
        }
        if !open || parts {
            words.push(String::new());
            open = true;
        }
        if let Some(word) = words.last_mut() {
            for small in c.to_lowercase() {
                match small {
                    'ä' => word.push_str("ae"),
                    'ö' => word.push_str("oe"),
                    'ü' => word.push_str("ue"),
                    'ß' => word.push_str("ss"),
                    other => word.push(other),
                }
            }
        }
    }
    words
}

fn is_number(word: &str) -> bool {
    word.chars().all(char::is_numeric)
}

fn weight(word: &str) -> f64 {
    if NEUTRAL.contains(&word) { 0.3 } else { 1.0 }
}

/// How alike two words are: equal, one the beginning of the other, or a slip of the pen apart.
fn word_likeness(one: &str, other: &str) -> f64 {
    if one == other {
        return 1.0;
    }
    if is_number(one) || is_number(other) {
        return 0.0;
    }
    let (short, long) = if one.len() < other.len() { (one, other) } else { (other, one) };
    if long.starts_with(short) {
        return if short.chars().count() >= 3 { 0.9 } else { 0.5 };
    }
    let likeness = strsim::normalized_damerau_levenshtein(one, other);
    if short.chars().count() >= 4 && likeness >= 0.8 { likeness } else { 0.0 }
}

/// How alike two names are, 0 to 1, their units left aside; 0 where a word tells them apart.
pub(crate) fn likeness(one: &Name, other: &Name) -> f64 {
    let joined = (one.words.concat(), other.words.concat());
    if joined.0 == joined.1 {
        return if joined.0.is_empty() { 0.0 } else { 1.0 };
    }
    let mut open: Vec<&String> = other.words.iter().collect();
    let (mut alike, mut all) = (0.0, 0.0);
    let mut left_over: Vec<&String> = Vec::new();
    for word in &one.words {
        let rated = open.iter().enumerate().map(|(place, candidate)| (place, word_likeness(word, candidate)));
        let best = rated.filter(|(_, likeness)| *likeness > 0.0).max_by(|(_, a), (_, b)| a.total_cmp(b));
        all += weight(word);
        match best {
            Some((place, likeness)) => {
                alike += likeness * weight(word);
                open.remove(place);
            }
            None => left_over.push(word),
        }
    }
    all += open.iter().map(|word| weight(word)).sum::<f64>();
    left_over.extend(open);
    if left_over.iter().any(|word| is_number(word) || TELLING.contains(&word.as_str())) {
        return 0.0;
    }
    let of_words = if all > 0.0 { alike / all } else { 0.0 };
    let of_letters = strsim::normalized_damerau_levenshtein(&joined.0, &joined.1);
    if of_letters >= 0.85 { of_words.max(of_letters) } else { of_words }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn like(one: &str, other: &str) -> f64 {
        likeness(&Name::parse(one), &Name::parse(other))
    }

    #[test]
    fn renamed_columns_are_alike() {
        // Pairs made up by hand. A likeness of 0.8 convinces by itself, one of 0.6 in the same place.
        for (one, other) in [
            ("Ball Vel", "Ball Velocity"),
            ("BallSpeed", "ball_speed"),
            ("Ball Pace", "Ball Pace (mph)"),
            ("Schläger", "SCHLAEGER"),
            ("Ballgeschw", "Ballgeschwindigkeit"),
            ("Implement", "Implemant"),
            ("club.attack", "club.attackAngle"),
            ("Carry_yd", "Carry [m]"),
        ] {
            assert!(like(one, other) >= 0.8, "{one} {other}: {}", like(one, other));
        }
        assert!((0.6..0.8).contains(&like("Carry", "Carry Distance")));
    }

    #[test]
    fn other_columns_are_not_alike() {
        for (one, other) in [
            ("Ball Speed", "Club Speed"),
            ("Back Spin", "Side Spin"),
            ("Carry", "Carry Side"),
            ("Carry", "Total Carry"),
            ("Speed", "Max Speed"),
            ("Spin 1", "Spin 2"),
            ("Path", "Face to Path"),
            ("Date", "Clock"),
            ("", "x"),
        ] {
            assert!(like(one, other) < 0.6, "{one} {other}: {}", like(one, other));
        }
    }

    #[test]
    fn units_are_parted_from_names() {
        for (text, unit) in [
            ("Carry (yd)", Some("yd")),
            ("Carry_m", Some("m")),
            ("Ball Speed mph", Some("mph")),
            ("Go in", None),
            ("m", None),
        ] {
            assert_eq!(Name::parse(text).unit.as_deref(), unit, "{text}");
        }
        assert_eq!(common_unit("Yards").map(|unit| unit.code), Some("[yd_i]"));
        assert_eq!(common_unit("[yd_i]").map(|unit| unit.code), Some("[yd_i]"));
        assert!(common_unit("furlong").is_none());
        for (word, code) in UNIT_WORDS {
            assert!(Unit::parse(code).is_some(), "{word}");
        }
    }
}
