//! One record to one shot.

use std::collections::BTreeMap;

use shot::{Hand, Intent, Measures, ParsedShot, Problem, Quantity, StrikeSource};

use crate::context::SiteContext;
use crate::derive::{Derivation, SpinParts, other_speed, speed_of, spin_of};
use crate::instant::{AMBIGUOUS_HOUR, TimeSource};
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
    pub fn read(&self, view: &View<'_>, site: &SiteContext) -> (Option<ParsedShot>, Vec<Problem>) {
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
        let measures = self.read_measures(view, &mut findings);
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
        (Some(shot), findings.0)
    }

    fn read_measures(&self, view: &View<'_>, findings: &mut Findings) -> Measures {
        let mut readings = Readings::default();
        for measure in &self.measures {
            if let Some((value, text)) = findings.keep(measure.number.read(view, &self.unit_words)) {
                readings.set(measure.quantity, value, measure.number.source.origin.label(), &text);
            }
        }
        for derivation in &self.derivations {
            self.derive(derivation, view, &mut readings, findings);
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

    fn derive(&self, derivation: &Derivation, view: &View<'_>, readings: &mut Readings, findings: &mut Findings) {
        let mut number = |source: &NumberSource| findings.keep(source.read(view, &self.unit_words));
        match derivation {
            Derivation::Spin(parts) => {
                let SpinParts { back, side } = parts.as_ref();
                let (Some((back_rate, text)), Some((side_rate, side_text))) = (number(back), number(side)) else {
                    return;
                };
                let (rate, tilt) = spin_of(back_rate, side_rate);
                readings.set(Quantity::SpinRpm, rate, back.source.origin.label(), &text);
                if let Some(tilt) = tilt {
                    readings.set(Quantity::SpinTiltDeg, tilt, side.source.origin.label(), &side_text);
                }
            }
            Derivation::Face { face_to_path } => {
                let (Some((angle, text)), Some(path)) =
                    (number(face_to_path), readings.measures.get(Quantity::PathDeg))
                else {
                    return;
                };
                readings.set(Quantity::FaceDeg, path + angle, face_to_path.source.origin.label(), &text);
            }
            Derivation::Speed { ratio, gives } => {
                let (Some((value, text)), Some(other)) = (number(ratio), readings.measures.get(other_speed(*gives)))
                else {
                    return;
                };
                let label = ratio.source.origin.label();
                if let Some(speed) = speed_of(*gives, other, value) {
                    readings.set(*gives, speed, label, &text);
                } else {
                    let message = "a ratio of ball speed to club speed is above zero".to_owned();
                    findings.0.push(Rule::OutOfRange.rejects(view.record.line(), Some(label), &text, message));
                }
            }
        }
    }

    /// Every field of the file that is read, and whether a file without it is of no use.
    pub fn fields(&self) -> Vec<(&str, bool)> {
        let mut sources: Vec<&TextSource> = Vec::new();
        sources.extend([&self.bay, &self.session, &self.shot, &self.player, &self.ball_kind].into_iter().flatten());
        sources.extend(self.environment.as_ref().map(|word| &word.source));
        sources.extend(self.hand.as_ref().map(|word| &word.source));
        sources.extend(self.intent.as_ref().map(|word| &word.source));
        sources.extend(self.club.as_ref().map(|word| &word.source));
        sources.extend(self.measures.iter().map(|measure| &measure.number.source));
        for derivation in &self.derivations {
            match derivation {
                Derivation::Spin(parts) => sources.extend([&parts.back.source, &parts.side.source]),
                Derivation::Face { face_to_path: source } | Derivation::Speed { ratio: source, .. } => {
                    sources.push(&source.source);
                }
            }
        }
        let needed = self.time.parts.iter().map(|part| (part, true));
        let all = needed.chain(sources.into_iter().map(|source| (source, source.required)));
        all.filter_map(|(source, required)| match &source.origin {
            Origin::Field(name) => Some((name.as_str(), required)),
            _ => None,
        })
        .collect()
    }
}
