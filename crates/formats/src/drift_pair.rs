//! Missing fields against strange ones: which of them are the same under another name.

use crate::drift_look::{Fit, Look};
use crate::drift_names::{Name, common_unit, likeness};
use crate::number::NumberStyle;
use crate::pack::Pack;
use crate::source::{NumberSource, Origin};
use crate::unit::Unit;

/// Likeness of two names that convinces by itself.
const CONVINCING: f64 = 0.8;
/// Likeness that convinces where the column stands in the same place.
pub(crate) const CONVINCING_IN_PLACE: f64 = 0.6;
/// A rival within this of the best pair makes neither of them convincing.
const TOO_CLOSE: f64 = 0.1;
/// Likeness that makes a candidate.
const CANDIDATE: f64 = 0.35;
/// A field that stands under another name.
pub(crate) struct Rename {
    pub field: String,
    pub other: String,
    /// The other unit that the new name states.
    pub unit: Option<Unit>,
}

/// What became of the fields of a pack.
#[derive(Default)]
pub(crate) struct Pairing {
    pub renames: Vec<Rename>,
    /// Fields without a convincing new name, with candidates.
    pub gone: Vec<(String, Vec<String>)>,
    pub new: Vec<String>,
}

/// How many of the pack's fields the file has.
pub(crate) fn found(pack: &Pack, look: &Look) -> usize {
    pack.recogniser.fields.iter().filter(|field| look.fields.contains(field)).count()
}

pub(crate) fn missing_fields(pack: &Pack, look: &Look) -> Vec<String> {
    pack.recogniser.fields.iter().filter(|field| !look.fields.contains(field)).cloned().collect()
}

pub(crate) fn strange_fields(pack: &Pack, look: &Look) -> Vec<String> {
    look.fields.iter().filter(|field| !field.is_empty() && !pack.recogniser.knows(field)).cloned().collect()
}

/// How far a field stands in the place that the pack gives it: by its neighbours, or by its number where none is lost.
fn in_place(pack: &Pack, look: &Look, field: usize, other: usize) -> bool {
    let fields = &pack.recogniser.fields;
    let place = |field: Option<&String>| field.and_then(|field| look.fields.iter().position(|found| found == field));
    let left = match field.checked_sub(1) {
        None => other == 0,
        Some(left) => place(fields.get(left)).is_some_and(|place| place + 1 == other),
    };
    let right = match fields.get(field + 1) {
        None => other + 1 == look.fields.len(),
        next => place(next) == Some(other + 1),
    };
    look.has_columns && ((left && right) || (field == other && fields.len() == look.fields.len()))
}

/// A missing field against a strange one.
struct Rated<'f> {
    field: &'f String,
    other: &'f String,
    rating: f64,
    convincing: bool,
    unit: Option<Unit>,
}

/// Says of every missing field what became of it; `style` is how numbers are written now, where that changed too.
pub(crate) fn pair(pack: &Pack, look: &Look, style: Option<NumberStyle>) -> Pairing {
    let missing = missing_fields(pack, look);
    let optional = pack.recogniser.optional_fields.iter().filter(|field| !look.fields.contains(field)).cloned();
    let wanted: Vec<String> = missing.iter().cloned().chain(optional).collect();
    let strange = strange_fields(pack, look);
    let mut rated = Vec::new();
    for field in &wanted {
        for other in &strange {
            rated.extend(rate(pack, look, style, field, other));
        }
    }
    let moved = moved_parts(&wanted, &strange);
    let mut pairing = Pairing::default();
    for field in &wanted {
        let best = rated.iter().filter(|pair| pair.field == field).max_by(|a, b| a.rating.total_cmp(&b.rating));
        let rivals = |best: &Rated<'_>| {
            rated.iter().any(|pair| {
                (pair.field == best.field) != (pair.other == best.other)
                    && (pair.convincing || pair.rating > best.rating - TOO_CLOSE)
            })
        };
        if let Some((_, other)) = moved.iter().find(|(moved, _)| moved == field) {
            pairing.renames.push(Rename { field: field.clone(), other: other.clone(), unit: None });
        } else if let Some(best) = best.filter(|best| best.convincing && !rivals(best)) {
            pairing.renames.push(Rename { field: field.clone(), other: best.other.clone(), unit: best.unit });
        } else if missing.contains(field) {
            pairing.gone.push((field.clone(), Vec::new()));
        }
    }
    let taken = |other: &String| pairing.renames.iter().any(|rename| rename.other == *other);
    let open: Vec<String> = strange.iter().filter(|other| !taken(other)).cloned().collect();
    for (field, candidates) in &mut pairing.gone {
        let mut likely: Vec<&Rated<'_>> = rated
            .iter()
            .filter(|pair| pair.field == field && open.contains(pair.other) && pair.rating >= CANDIDATE)
            .collect();
        likely.sort_by(|a, b| b.rating.total_cmp(&a.rating));
        candidates.extend(likely.iter().take(3).map(|pair| pair.other.clone()));
    }
    pairing.new = open;
    pairing
}

fn rate<'f>(
    pack: &Pack,
    look: &Look,
    style: Option<NumberStyle>,
    field: &'f String,
    other: &'f String,
) -> Option<Rated<'f>> {
    let (name, new_name) = (Name::parse(field), Name::parse(other));
    let fit = look.fit(&pack.mapping, field, other, style);
    if fit == Fit::Contradicts {
        return None;
    }
    let place = pack.recogniser.fields.iter().position(|listed| listed == field);
    let new_place = look.fields.iter().position(|found| found == other);
    let stays = matches!((place, new_place), (Some(place), Some(new_place)) if in_place(pack, look, place, new_place));
    let alike = likeness(&name, &new_name);
    // A name with another unit is convincing only where that unit is known; else the numbers would be read wrong in silence.
    let number = number_of(pack, field);
    let stated = new_name.unit.as_ref().filter(|_| name.unit != new_name.unit);
    let unit = stated.and_then(|word| pack.mapping.unit_words.get(word).copied().or_else(|| common_unit(word)));
    let unit_clear = match (stated, unit, number) {
        (None, ..) | (_, _, None) => true,
        (Some(_), Some(unit), Some(number)) => unit.converts_to(number.target),
        (Some(_), None, Some(_)) => false,
    };
    let unit = unit.filter(|unit| number.is_some_and(|number| number.unit.code != unit.code));
    let convincing = unit_clear && (alike >= CONVINCING || (alike >= CONVINCING_IN_PLACE && stays));
    let rating = 0.7 * alike + if stays { 0.2 } else { 0.0 } + if fit == Fit::Good { 0.1 } else { 0.0 };
    let near = alike >= CANDIDATE || stays;
    near.then_some(Rated { field, other, rating: rating.max(if stays { CANDIDATE } else { 0.0 }), convincing, unit })
}

fn number_of<'p>(pack: &'p Pack, field: &str) -> Option<&'p NumberSource> {
    pack.mapping.numbers().find(|number| matches!(&number.source.origin, Origin::Field(name) if name == field))
}

/// Paths whose common beginning has another name: all of them, and at least two, stand under the new one.
fn moved_parts(wanted: &[String], strange: &[String]) -> Vec<(String, String)> {
    let mut moved = Vec::new();
    for field in wanted {
        let Some((part, _)) = field.split_once('.') else { continue };
        let lost: Vec<&str> = wanted.iter().filter_map(|path| path.strip_prefix(part)?.strip_prefix('.')).collect();
        let mut parts: Vec<&str> =
            strange.iter().filter_map(|path| path.split_once('.').map(|(part, _)| part)).collect();
        parts.sort_unstable();
        parts.dedup();
        parts.retain(|part| lost.iter().all(|rest| strange.contains(&format!("{part}.{rest}"))));
        if let ([new], true) = (parts.as_slice(), lost.len() > 1) {
            moved.push((field.clone(), format!("{new}{}", &field[part.len()..])));
        }
    }
    moved
}
