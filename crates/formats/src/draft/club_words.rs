//! Words for clubs, and for what a shot was meant for, in several languages.

use super::vocabulary::words_of;

/// A club as packs name it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct ClubWord {
    pub id: String,
    pub kind: &'static str,
}

fn club(id: impl Into<String>, kind: &'static str) -> ClubWord {
    ClubWord { id: id.into(), kind }
}

/// The club of a word such as `7 Iron`, `E7`, `Holz 3`, `PW`, `56°`.
pub(super) fn club_of(text: &str) -> Option<ClubWord> {
    let words = words_of(text);
    let digits: String = text.chars().filter(char::is_ascii_digit).collect();
    let number: Option<u32> = digits.parse().ok();
    let word = words.join(" ");
    // A bare number can be anything; one of degrees names a wedge by its loft.
    let is_loft = words.is_empty() && text.trim().strip_suffix('°').is_some_and(|rest| rest == digits);
    if let (true, Some(number)) = (is_loft || matches!(word.as_str(), "deg" | "grad" | "w deg"), number) {
        return (44..=64).contains(&number).then(|| club(format!("{number}-wedge"), "wedge"));
    }
    let has = |wanted: &[&str]| wanted.iter().any(|stem| word == *stem || (stem.len() > 3 && word.contains(stem)));
    if has(&["driver", "dr", "drv", "d", "one wood"]) {
        return number.is_none_or(|number| number == 1).then(|| club("driver", "driver"));
    }
    let named_wedge = [
        ("pitching-wedge", &["pw", "pitching", "wedge p", "p wedge", "p"][..]),
        ("sand-wedge", &["sw", "sand", "wedge s", "s wedge", "s"]),
        ("gap-wedge", &["gw", "gap wedge", "wedge g", "g wedge", "uw", "utility wedge"]),
        ("approach-wedge", &["aw", "approach", "wedge a", "a wedge"]),
        ("lob-wedge", &["lw", "lob wedge", "wedge l", "l wedge"]),
    ];
    if number.is_none() {
        for (id, stems) in named_wedge {
            if has(stems) {
                return Some(club(id, "wedge"));
            }
        }
        return (word == "wedge").then(|| club("wedge", "wedge"));
    }
    let number = number?;
    if (44..=64).contains(&number) && has(&["wedge", "w", "wd", "sw", "lw", "gw", "aw", "pw", "deg", "grad"]) {
        return Some(club(format!("{number}-wedge"), "wedge"));
    }
    if !(1..=11).contains(&number) {
        return None;
    }
    if has(&["wood", "w", "fw", "holz", "h holz", "fairway", "bois", "madera", "legno", "hout", "tra"]) {
        let is_driver = number == 1;
        return Some(if is_driver { club("driver", "driver") } else { club(format!("{number}-wood"), "fairway-wood") });
    }
    if has(&["hybrid", "hy", "hyb", "h", "hybride", "hibrido", "ibrido"]) {
        return Some(club(format!("{number}-hybrid"), "hybrid"));
    }
    if has(&["iron", "i", "ir", "eisen", "e", "hierro", "ferro", "ijzer", "jarn"]) || word == "fer" {
        return Some(club(format!("{number}-iron"), "iron"));
    }
    None
}

/// Our word for what a shot was meant for.
pub(super) fn intent_of(text: &str) -> Option<&'static str> {
    let words = words_of(text);
    let word = words.join(" ");
    let any = |stems: &[&str]| stems.iter().any(|stem| word == *stem);
    if any(&["play", "normal", "spiel", "full", "full swing", "standard", "jeu", "juego", "gioco", "game", "voll"]) {
        Some("play")
    } else if any(&[
        "drill",
        "practice",
        "practise",
        "training",
        "ubung",
        "uebung",
        "exercice",
        "ejercicio",
        "esercizio",
    ]) {
        Some("drill")
    } else if any(&[
        "partial",
        "half",
        "teilschwung",
        "teil",
        "halb",
        "partiel",
        "parcial",
        "parziale",
        "partial swing",
        "half swing",
    ]) {
        Some("partial")
    } else if any(&["demo", "demonstration", "vorfuhrung", "vorfuehrung", "demostracion", "dimostrazione"]) {
        Some("demonstration")
    } else if any(&["warm up", "warmup", "aufwarmen", "aufwaermen", "echauffement", "calentamiento", "riscaldamento"]) {
        Some("warm-up")
    } else {
        None
    }
}

/// Our word for a hand.
pub(super) fn hand_of(text: &str) -> Option<&'static str> {
    match words_of(text).join(" ").as_str() {
        "r" | "rh" | "right" | "right handed" | "rechts" | "droitier" | "diestro" | "destro" => Some("right"),
        "l" | "lh" | "left" | "left handed" | "links" | "gaucher" | "zurdo" | "mancino" => Some("left"),
        _ => None,
    }
}

/// Our word for a place.
pub(super) fn environment_of(text: &str) -> Option<&'static str> {
    match words_of(text).join(" ").as_str() {
        "indoor" | "indoors" | "in" | "innen" | "halle" => Some("indoor"),
        "outdoor" | "outdoors" | "out" | "aussen" | "range" => Some("outdoor"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clubs_are_known_in_many_spellings() {
        let cases = [
            ("Driver", "driver"),
            ("DR", "driver"),
            ("1 Wood", "driver"),
            ("Holz 1", "driver"),
            ("W3", "3-wood"),
            ("3 Wood", "3-wood"),
            ("Holz 5", "5-wood"),
            ("4 Hybrid", "4-hybrid"),
            ("H4", "4-hybrid"),
            ("7 Iron", "7-iron"),
            ("7i", "7-iron"),
            ("Eisen 7", "7-iron"),
            ("Fer 6", "6-iron"),
            ("hierro 9", "9-iron"),
            ("PW", "pitching-wedge"),
            ("Wedge P", "pitching-wedge"),
            ("Sand Wedge", "sand-wedge"),
            ("56°", "56-wedge"),
            ("52 deg wedge", "52-wedge"),
        ];
        for (text, id) in cases {
            assert_eq!(club_of(text).map(|found| found.id).as_deref(), Some(id), "{text}");
        }
        for text in ["Broomstick", "", "12", "7", "52", "5.6", "Wren", "Iron", "Putter", "99 Iron"] {
            assert_eq!(club_of(text), None, "{text}");
        }
    }

    #[test]
    fn purposes_and_hands_are_known() {
        assert_eq!(intent_of("Warm-up"), Some("warm-up"));
        assert_eq!(intent_of("Übung"), Some("drill"));
        assert_eq!(intent_of("Wren"), None);
        assert_eq!(hand_of("RH"), Some("right"));
        assert_eq!(environment_of("Indoor"), Some("indoor"));
    }
}
