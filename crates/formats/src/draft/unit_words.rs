//! Words for units as people write them, and where in a header they stand.

use crate::unit::Unit;

/// Words (in small letters) and the UCUM codes they can mean, the likelier first.
const WORDS: &[(&str, &[&str])] = &[
    ("mph", &["[mi_i]/h"]),
    ("mi/h", &["[mi_i]/h"]),
    ("miles/h", &["[mi_i]/h"]),
    ("km/h", &["km/h"]),
    ("kmh", &["km/h"]),
    ("kph", &["km/h"]),
    ("m/s", &["m/s"]),
    ("mps", &["m/s"]),
    ("ft/s", &["[ft_i]/s"]),
    ("fps", &["[ft_i]/s"]),
    ("kn", &["[kn_i]"]),
    ("kt", &["[kn_i]"]),
    ("kts", &["[kn_i]"]),
    ("knots", &["[kn_i]"]),
    ("m", &["m"]),
    ("meter", &["m"]),
    ("meters", &["m"]),
    ("metre", &["m"]),
    ("metres", &["m"]),
    ("cm", &["cm"]),
    ("mm", &["mm"]),
    ("in", &["[in_i]"]),
    ("inch", &["[in_i]"]),
    ("inches", &["[in_i]"]),
    ("ft", &["[ft_i]"]),
    ("feet", &["[ft_i]"]),
    ("foot", &["[ft_i]"]),
    ("yd", &["[yd_i]"]),
    ("yds", &["[yd_i]"]),
    ("yard", &["[yd_i]"]),
    ("yards", &["[yd_i]"]),
    ("deg", &["deg"]),
    ("degs", &["deg"]),
    ("degree", &["deg"]),
    ("degrees", &["deg"]),
    ("grad", &["deg", "Cel"]),
    ("grados", &["deg", "Cel"]),
    ("gradi", &["deg", "Cel"]),
    ("graden", &["deg", "Cel"]),
    ("gr", &["deg"]),
    ("km/u", &["km/h"]),
    ("yardas", &["[yd_i]"]),
    ("metros", &["m"]),
    ("t/min", &["/min"]),
    ("omw/min", &["/min"]),
    ("varv/min", &["/min"]),
    ("r/min", &["/min"]),
    ("tr/s", &["/s"]),
    ("u/s", &["/s"]),
    ("°", &["deg"]),
    ("rad", &["rad"]),
    ("rpm", &["/min"]),
    ("u/min", &["/min"]),
    ("1/min", &["/min"]),
    ("/min", &["/min"]),
    ("rev/min", &["/min"]),
    ("tr/min", &["/min"]),
    ("rps", &["/s"]),
    ("1/s", &["/s"]),
    ("/s", &["/s"]),
    ("hz", &["Hz"]),
    ("rad/s", &["rad/s"]),
    ("°c", &["Cel"]),
    ("degc", &["Cel"]),
    ("cel", &["Cel"]),
    ("celsius", &["Cel"]),
    ("c", &["Cel"]),
    ("°f", &["[degF]"]),
    ("degf", &["[degF]"]),
    ("fahrenheit", &["[degF]"]),
    ("f", &["[degF]"]),
    ("k", &["K"]),
    ("kelvin", &["K"]),
    ("hpa", &["hPa"]),
    ("mbar", &["mbar"]),
    ("mb", &["mbar"]),
    ("kpa", &["kPa"]),
    ("pa", &["Pa"]),
    ("inhg", &["[in_i'Hg]"]),
    ("%", &["%"]),
    ("pct", &["%"]),
    ("percent", &["%"]),
    ("prozent", &["%"]),
    ("s", &["s"]),
    ("sec", &["s"]),
    ("sek", &["s"]),
    ("secs", &["s"]),
    ("seconds", &["s"]),
    ("ms", &["ms", "m/s"]),
];

/// The units that a word can mean; UCUM codes mean themselves.
pub(super) fn meanings(word: &str) -> Vec<Unit> {
    let trimmed = word.trim().trim_matches(['[', ']', '(', ')']).trim();
    let folded = trimmed.to_lowercase();
    match WORDS.iter().find(|(known, _)| *known == folded) {
        Some((_, codes)) => codes.iter().filter_map(|code| Unit::parse(code)).collect(),
        None => Unit::parse(trimmed).or_else(|| Unit::parse(word.trim())).into_iter().collect(),
    }
}

/// The unit of a word that converts into `target`.
pub(super) fn meaning_as(word: &str, target: Unit) -> Option<Unit> {
    meanings(word).into_iter().find(|unit| unit.converts_to(target))
}

/// The word for a unit in a header: in brackets, or the last word behind an underscore, a blank, a comma or a point.
pub(super) fn unit_of_header(header: &str) -> Option<&str> {
    for (open, close) in [('[', ']'), ('(', ')')] {
        if let Some((_, rest)) = header.split_once(open)
            && let Some((inside, _)) = rest.split_once(close)
            && !meanings(inside).is_empty()
        {
            return Some(inside.trim());
        }
    }
    let at = header.rfind(['_', ' ', ',', '.'])?;
    let word = header[at..].trim_start_matches(['_', ' ', ',', '.']);
    // "Time in" or "Off s" is no unit: letters that stand alone are units only where an underscore ties them to the name.
    let tied = header[at..].starts_with('_') || word.chars().count() > 1 && word != "in" && word != "at";
    (tied && !meanings(word).is_empty()).then_some(word)
}

/// The header without the unit that stands in it, for the vocabulary.
pub(super) fn without_unit(header: &str) -> String {
    match unit_of_header(header) {
        Some(word) => header.replacen(word, " ", 1),
        None => header.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_in_headers_are_found() {
        let cases = [
            ("Ball Speed [mph]", Some("mph")),
            ("Tempo (km/h)", Some("km/h")),
            ("ball_speed_mps", Some("mps")),
            ("carry_m", Some("m")),
            ("Carry yd", Some("yd")),
            ("at_ms", Some("ms")),
            ("Temp. °C", Some("°C")),
            ("Ball m", None),
            ("Check in", None),
            ("Face (open)", None),
            ("x", None),
        ];
        for (header, expected) in cases {
            assert_eq!(unit_of_header(header), expected, "{header}");
        }
        let metre_a_second = Unit::parse("m/s").expect("known");
        assert_eq!(meaning_as("ms", metre_a_second).map(|unit| unit.code), Some("m/s"));
        assert_eq!(meanings("[mi_i]/h").len(), 1);
    }

    #[test]
    fn every_listed_code_is_known() {
        for (word, codes) in WORDS {
            assert_eq!(meanings(word).len(), codes.len(), "{word}");
        }
    }
}
