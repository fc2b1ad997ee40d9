//! Which pack a file belongs to. Points are few and fixed, so that the explanation can say them all: 30 for the name, 50 for
//! the pack's fields found in the file, 20 for the file's fields known to the pack. A file whose content contradicts the pack is
//! never a match, whatever its name.

use crate::field_names::FieldNames;
use crate::file_name::NamePattern;
use crate::pack::Pack;
use crate::record::Glance;
use crate::set::PackSet;
use crate::spec::FieldsMatch;

/// Points a pack needs to be considered.
const ENOUGH: u32 = 50;
/// Two packs nearer than this are a tie.
const TOO_CLOSE: u32 = 3;

/// How well one pack fits a file, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackScore {
    /// Name of the pack.
    pub pack: String,
    /// Points, 0 to 100; 0 where the content contradicts the pack.
    pub score: u32,
    /// The reasons, for people.
    pub because: String,
}

/// The outcome of recognising a file; `scores` always holds every pack, best first.
#[derive(Debug)]
pub enum Recognition<'a> {
    /// One pack fits.
    Match {
        /// The pack.
        pack: &'a Pack,
        /// All scores.
        scores: Vec<PackScore>,
    },
    /// No pack fits.
    NoMatch {
        /// All scores.
        scores: Vec<PackScore>,
    },
    /// Several packs fit equally well.
    Tie {
        /// These packs.
        packs: Vec<&'a Pack>,
        /// All scores.
        scores: Vec<PackScore>,
    },
}

impl Recognition<'_> {
    /// Every pack's score, best first.
    pub fn scores(&self) -> &[PackScore] {
        match self {
            Recognition::Match { scores, .. } | Recognition::NoMatch { scores } | Recognition::Tie { scores, .. } => {
                scores
            }
        }
    }
}

/// What a pack knows about the look of its files.
#[derive(Debug, Clone)]
pub(crate) struct Recogniser {
    pub patterns: Vec<NamePattern>,
    pub contains: Vec<String>,
    pub preamble_keys: Vec<String>,
    pub fields: Vec<String>,
    pub optional_fields: Vec<String>,
    pub fields_match: FieldsMatch,
    pub names: FieldNames,
}

impl Recogniser {
    /// The captures of the first pattern that fits.
    pub fn captures(&self, file_name: &str) -> Vec<(String, String)> {
        self.patterns.iter().find_map(|pattern| pattern.matches(file_name)).unwrap_or_default()
    }

    /// Points and reasons.
    fn score(&self, file_name: &str, glance: &Glance) -> (u32, String) {
        let mut reasons = Vec::new();
        let mut points = 0;
        match self.patterns.iter().find(|pattern| pattern.matches(file_name).is_some()) {
            Some(pattern) => {
                points += 30;
                reasons.push(format!("the name fits {} (30)", pattern.text()));
            }
            None => reasons.push("the name fits no pattern (0)".to_owned()),
        }
        if let Some(obstacle) = &glance.obstacle {
            reasons.push(format!("but {obstacle}"));
            return (0, reasons.join("; "));
        }
        let fields: Vec<&str> = glance.fields.iter().map(|field| self.names.canonical(field)).collect();
        if let Some(contradiction) = self.contradiction(glance, &fields) {
            reasons.push(format!("but {contradiction}"));
            return (0, reasons.join("; "));
        }
        let found = self.fields.iter().filter(|field| fields.contains(&field.as_str())).count();
        let known = fields.iter().filter(|field| self.knows(field)).count();
        let found_points = share(50, found, self.fields.len());
        let known_points = share(20, known, fields.len());
        points += found_points + known_points;
        reasons.push(format!("{found} of the pack's {} fields found ({found_points})", self.fields.len()));
        reasons.push(format!("{known} of the file's {} fields known ({known_points})", fields.len()));
        (points, reasons.join("; "))
    }

    /// A path is known too where the pack names its parent or a member of it.
    pub fn knows(&self, field: &str) -> bool {
        let inside = |outer: &str, inner: &str| inner.strip_prefix(outer).is_some_and(|rest| rest.starts_with('.'));
        let mut listed = self.fields.iter().chain(&self.optional_fields);
        listed.any(|known| known == field || inside(known, field) || inside(field, known))
    }

    fn contradiction(&self, glance: &Glance, fields: &[&str]) -> Option<String> {
        if let Some(mark) = self.contains.iter().find(|mark| !glance.text.contains(mark.as_str())) {
            return Some(format!("the text \"{mark}\" is not in it"));
        }
        let has_key =
            |key: &String| glance.preamble_keys.iter().any(|found| found.to_lowercase() == key.to_lowercase());
        if let Some(key) = self.preamble_keys.iter().find(|key| !has_key(key)) {
            return Some(format!("its preamble has no \"{key}\""));
        }
        let lacking: Vec<&str> =
            self.fields.iter().map(String::as_str).filter(|field| !fields.contains(field)).collect();
        let strange: Vec<&str> = fields.iter().copied().filter(|field| !self.knows(field)).collect();
        let lacks = || Some(format!("it lacks {} of the pack's fields: {}", lacking.len(), listing(&lacking)));
        let adds = || Some(format!("it has {} fields unknown to the pack: {}", strange.len(), listing(&strange)));
        let twice = || {
            let repeated = fields.iter().enumerate().find(|(place, field)| fields[..*place].contains(field));
            repeated.map(|(_, field)| format!("its field \"{}\" stands twice", shot::Problem::cut(field)))
        };
        match self.fields_match {
            FieldsMatch::Exact | FieldsMatch::Equal | FieldsMatch::Subset if !lacking.is_empty() => lacks(),
            FieldsMatch::Exact | FieldsMatch::Equal | FieldsMatch::Superset if !strange.is_empty() => adds(),
            FieldsMatch::Exact | FieldsMatch::Equal if twice().is_some() => twice(),
            FieldsMatch::Exact if !self.in_order(fields) => Some("its fields stand in another order".to_owned()),
            FieldsMatch::Partial | FieldsMatch::Superset if lacking.len() == self.fields.len() => lacks(),
            _ => None,
        }
    }

    /// Whether the pack's fields stand in the pack's order; optional ones may stand anywhere between them.
    pub fn in_order(&self, fields: &[&str]) -> bool {
        let mut found = fields.iter().filter(|field| self.fields.iter().any(|listed| listed == *field));
        self.fields.iter().all(|field| found.next() == Some(&field.as_str()))
    }
}

fn share(most: u32, part: usize, whole: usize) -> u32 {
    (f64::from(most) * part as f64 / whole.max(1) as f64).round() as u32
}

fn listing(names: &[&str]) -> String {
    let shown: Vec<String> = names.iter().take(5).map(|name| shot::Problem::cut(name)).collect();
    let more = if names.len() > shown.len() { ", ..." } else { "" };
    format!("{}{more}", shown.join(", "))
}

/// The score of one pack for a file.
pub(crate) fn score_of(pack: &Pack, file_name: &str, bytes: &[u8]) -> PackScore {
    let glance = pack.engine.glance(bytes);
    let (score, because) = pack.recogniser.score(file_name, &glance);
    PackScore { pack: pack.name.clone(), score, because }
}

impl PackSet {
    /// Which pack a file belongs to, by its name (without folders) and its bytes.
    pub fn recognise(&self, file_name: &str, bytes: &[u8]) -> Recognition<'_> {
        let mut rated: Vec<(&Pack, PackScore)> =
            self.packs().iter().map(|pack| (pack, score_of(pack, file_name, bytes))).collect();
        rated.sort_by(|(_, one), (_, other)| other.score.cmp(&one.score).then_with(|| one.pack.cmp(&other.pack)));
        let best = rated.first().map_or(0, |(_, score)| score.score);
        let near = |score: &PackScore| score.score >= ENOUGH && best - score.score < TOO_CLOSE;
        let packs: Vec<&Pack> = rated.iter().filter(|(_, score)| near(score)).map(|(pack, _)| *pack).collect();
        let scores = rated.into_iter().map(|(_, score)| score).collect();
        match packs.as_slice() {
            [] => Recognition::NoMatch { scores },
            [pack] => Recognition::Match { pack, scores },
            _ => Recognition::Tie { packs, scores },
        }
    }
}
