//! One record to one shot.

use std::collections::BTreeMap;

use shot::{Hand, Intent, Measures, ParsedShot, Problem, Quantity, StrikeSource};

use crate::context::{SiteContext, player_key};
use crate::derive::Derivation;
use crate::instant::TimeSource;
use crate::repeated_hour::AMBIGUOUS_HOUR;
use crate::rule::Rule;
use crate::source::{NumberSource, Origin, TextSource, View, WordSource};
use crate::unit::Unit;

/// A club as the pack maps it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Club {
    pub id: String,
    pub kind: String,
}

/// One quantity read directly.
#[derive(Debug, Clone)]
pub(crate) struct Measure {
    pub quantity: Quantity,
    pub number: NumberSource,
}

/// How a pack reads a record.
#[derive(Debug, Clone)]
pub(crate) struct Mapping {
    pub time: TimeSource,
    pub bay: Option<TextSource>,
    pub session: Option<TextSource>,
    pub shot: Option<TextSource>,
    pub player: Option<TextSource>,
    pub ball_kind: Option<TextSource>,
    pub environment: Option<WordSource<String>>,
    pub hand: Option<WordSource<Hand>>,
    pub intent: Option<WordSource<Intent>>,
    pub club: Option<WordSource<Club>>,
    pub measures: Vec<Measure>,
    pub derivations: Vec<Derivation>,
    pub unit_words: BTreeMap<String, Unit>,
    /// Whether the device measures the strike position itself, and how well (mm).
    pub strike_measured: bool,
    pub strike_sd_mm: Option<f64>,
}

/// Numbers of one row with the places they came from.
#[derive(Default)]
struct Readings {
    measures: Measures,
    places: Vec<(Quantity, String, String)>,
}

impl Readings {
    fn set(&mut self, quantity: Quantity, value: f64, place: &str, text: &str) {
        self.measures.set(quantity, Some(value));
        self.places.push((quantity, place.to_owned(), text.to_owned()));
    }
}

/// A shot, and the other instant (µs) it may be of where its local time occurred twice.
pub(crate) type Read = (ParsedShot, Option<i64>);

/// What the numbers of a row are read with.
struct Reader<'a> {
    view: &'a View<'a>,
    unit_words: &'a BTreeMap<String, Unit>,
    hand: Option<Hand>,
    /// Columns whose side could not be told, since the hand is not known.
    sideless: Vec<String>,
}

impl Reader<'_> {
    fn number(&mut self, source: &NumberSource) -> Result<Option<(f64, String)>, Box<Problem>> {
        let Some((value, text)) = source.read(self.view, self.unit_words)? else { return Ok(None) };
        // Zero is the middle in either frame.
        if !source.player_frame || value == 0.0 {
            return Ok(Some((value, text)));
        }
        match self.hand {
            Some(Hand::Right) => return Ok(Some((value, text))),
            Some(Hand::Left) => return Ok(Some((-value, text))),
            None => {}
        }
        self.sideless.push(source.source.origin.label().to_owned());
        Ok(None)
    }
}

/// Collects the problems of one row, so that a person sees all of them at once.
struct Findings(Vec<Problem>);

impl Findings {
    fn keep<V: Default>(&mut self, outcome: Result<V, Box<Problem>>) -> V {
        outcome.unwrap_or_else(|problem| {
            self.0.push(*problem);
            V::default()
        })
    }

    fn keep_word<V: Clone>(&mut self, word: Option<&WordSource<V>>, view: &View<'_>) -> Option<V> {
        let (value, note) = self.keep(word.map(|word| word.read(view)).transpose())?;
        self.0.extend(note);
        value
    }

    fn keep_text(&mut self, text: Option<&TextSource>, view: &View<'_>) -> Option<String> {
        self.keep(text.map(|text| text.read(view)).transpose()).flatten()
    }
}

impl Mapping {
    /// The shot of a record, or nothing, with every problem found. The shot is lost exactly where a problem rejects it.
    pub fn read(&self, view: &View<'_>, site: &SiteContext) -> (Option<Read>, Vec<Problem>) {
        let mut findings = Findings(Vec::new());
        let struck = findings.keep(self.time.read(view, site.zone).map(Some));
        let bay = findings.keep_text(self.bay.as_ref(), view);
        let session_text = findings.keep_text(self.session.as_ref(), view);
        let shot_text = findings.keep_text(self.shot.as_ref(), view);
        let player_text = findings.keep_text(self.player.as_ref(), view);
        let ball_kind = findings.keep_text(self.ball_kind.as_ref(), view);
        let environment = findings.keep_word(self.environment.as_ref(), view);
        let hand = findings.keep_word(self.hand.as_ref(), view);
        let intent = findings.keep_word(self.intent.as_ref(), view);
        let club = findings.keep_word(self.club.as_ref(), view);
        let of_roster = player_text.as_ref().and_then(|text| site.hands.get(&player_key(text)));
        let mut reader =
            Reader { view, unit_words: &self.unit_words, hand: hand.or(of_roster.copied()), sideless: Vec::new() };
        let measures = self.read_measures(&mut reader, &mut findings);
        findings.0.extend(hand_unknown(&reader, player_text.as_deref()));
        let rejected = findings.0.iter().any(|problem| problem.severity == shot::Severity::Rejected);
        let Some(struck) = struck.filter(|_| !rejected) else { return (None, findings.0) };
        let has_strike = [Quantity::StrikeToeMm, Quantity::StrikeUpMm].iter().any(|q| measures.get(*q).is_some());
        let shot = ParsedShot {
            source_row: view.record.line(),
            bay: bay.or_else(|| site.bay.clone()),
            session_text,
            shot_text,
            player_text,
            hand,
            club_id: club.as_ref().map(|club| club.id.clone()),
            club_kind: club.map(|club| club.kind),
            ball_kind,
            intent: intent.unwrap_or_default(),
            time_text: struck.text,
            struck_at: struck.micros,
            local_date: struck.local_date,
            zone: site.zone.name().to_owned(),
            environment: environment.or_else(|| site.environment.clone()),
            measures,
            strike_source: (has_strike && self.strike_measured).then_some(StrikeSource::Measured),
            quality: if struck.ambiguous { vec![AMBIGUOUS_HOUR.to_owned()] } else { Vec::new() },
        };
        (Some((shot, struck.later_micros)), findings.0)
    }

    fn read_measures(&self, reader: &mut Reader<'_>, findings: &mut Findings) -> Measures {
        let view = reader.view;
        let mut readings = Readings::default();
        for measure in &self.measures {
            if let Some((value, text)) = findings.keep(reader.number(&measure.number)) {
                readings.set(measure.quantity, value, measure.number.source.origin.label(), &text);
            }
        }
        for derivation in &self.derivations {
            derive(derivation, reader, &mut readings, findings);
        }
        let strike = [Quantity::StrikeToeMm, Quantity::StrikeUpMm];
        if self.strike_measured && strike.iter().any(|quantity| readings.measures.get(*quantity).is_some()) {
            let given = readings.measures.get(Quantity::StrikeSdMm);
            readings.measures.set(Quantity::StrikeSdMm, given.or(self.strike_sd_mm));
        }
        for (quantity, value) in readings.measures.implausible() {
            let place = readings.places.iter().find(|(known, ..)| *known == quantity);
            let (column, text) = place.map_or((quantity.name(), ""), |(_, column, text)| (column.as_str(), text));
            let (lowest, highest) = quantity.limits();
            let (name, unit) = (quantity.name(), quantity.unit());
            let message = format!("{name} would be {value:.4} {unit}, beyond {lowest} to {highest} {unit}");
            findings.0.push(Rule::OutOfRange.rejects(view.record.line(), Some(column), text, message));
        }
        readings.measures
    }

    /// Every field of the file that is read, and whether a file without it is of no use.
    pub fn fields(&self) -> Vec<(&str, bool)> {
        let mut sources: Vec<&TextSource> = Vec::new();
        sources.extend([&self.bay, &self.session, &self.shot, &self.player, &self.ball_kind].into_iter().flatten());
        sources.extend(self.environment.as_ref().map(|word| &word.source));
        sources.extend(self.hand.as_ref().map(|word| &word.source));
        sources.extend(self.intent.as_ref().map(|word| &word.source));
        sources.extend(self.club.as_ref().map(|word| &word.source));
        sources.extend(self.numbers().map(|number| &number.source));
        let needed = self.time.parts.iter().map(|part| (part, true));
        let all = needed.chain(sources.into_iter().map(|source| (source, source.required)));
        let units = self.numbers().filter_map(|number| number.unit_field.as_deref()).map(|field| (field, false));
        all.filter_map(|(source, required)| match &source.origin {
            Origin::Field(name) => Some((name.as_str(), required)),
            _ => None,
        })
        .chain(units)
        .collect()
    }

    /// Whether the pack knows a word of a field that it reads by a map of words; nothing where it does not read it so.
    pub fn knows_word(&self, field: &str, word: &str) -> Option<bool> {
        fn of<V: Clone>(source: Option<&WordSource<V>>, field: &str, word: &str) -> Option<bool> {
            let source = source?;
            let reads = matches!(&source.source.origin, Origin::Field(name) if name == field);
            reads.then(|| source.meaning(word).is_some())
        }
        of(self.club.as_ref(), field, word)
            .or_else(|| of(self.intent.as_ref(), field, word))
            .or_else(|| of(self.hand.as_ref(), field, word))
            .or_else(|| of(self.environment.as_ref(), field, word))
    }

    /// Every number that is read, directly or for a derivation.
    pub fn numbers(&self) -> impl Iterator<Item = &NumberSource> {
        let direct = self.measures.iter().map(|measure| &measure.number);
        direct.chain(self.derivations.iter().flat_map(|derivation| &derivation.parts))
    }
}

/// One note for all the values of a row that the player's hand would have to give their side.
fn hand_unknown(reader: &Reader<'_>, player: Option<&str>) -> Option<Problem> {
    let column = reader.sideless.first()?;
    let who = player.map_or("a player without name".to_owned(), |text| format!("\"{}\"", Problem::cut(text)));
    let message = format!(
        "the hand of {who} is not known, so {} (given in the player's own frame) is taken as missing",
        reader.sideless.join(", ")
    );
    Some(Rule::HandUnknown.notes(reader.view.record.line(), Some(column), player.unwrap_or_default(), message))
}

fn derive(derivation: &Derivation, reader: &mut Reader<'_>, readings: &mut Readings, findings: &mut Findings) {
    let mut values = Vec::new();
    let mut places = Vec::new();
    for part in &derivation.parts {
        if let Some((value, text)) = findings.keep(reader.number(part)) {
            values.push(value);
            places.push((part.source.origin.label(), text));
        }
    }
    let needed = match derivation.formula.needs() {
        Some(quantity) => readings.measures.get(quantity),
        None => Some(0.0),
    };
    let (Some(needed), Some((label, text))) = (needed, places.first()) else { return };
    if values.len() < derivation.parts.len() {
        return;
    }
    match derivation.formula.compute(&values, needed) {
        Ok(results) => {
            for (place, (quantity, value)) in derivation.formula.gives().iter().zip(results).enumerate() {
                let (label, text) = places.get(place).unwrap_or(&places[0]);
                if let Some(value) = value {
                    readings.set(*quantity, value, label, text);
                }
            }
        }
        Err(message) => {
            let line = reader.view.record.line();
            findings.0.push(Rule::OutOfRange.rejects(line, Some(label), text, message.to_owned()));
        }
    }
}
