//! `format.toml` to a checked pack. Every fault is collected, so that a person mends a pack in one round.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use chrono_tz::Tz;
use shot::{Hand, Intent};
use toml::Spanned;

use crate::compile_dialect::keys_of;
use crate::context::player_key;
use crate::fault::PackFault;
use crate::field_names::FieldNames;
use crate::file_name::NamePattern;
use crate::mapping::{Club, Mapping};
use crate::number::NumberStyle;
use crate::pack::{Pack, PackText, ProofMaterial};
use crate::recognise::Recogniser;
use crate::source::{Origin, TextSource, WordSource};
use crate::spec::{ClubSpec, EngineWord, PackSpec, SchemaSpec, Text, TextSpec, WordSpec};
use crate::unit::Unit;

const CLUB_KINDS: [&str; 5] = ["driver", "fairway-wood", "hybrid", "iron", "wedge"];
pub(crate) const MANUAL: &str = "README.md beside the packs lists every key";

/// Checks a pack's text.
pub(crate) fn compile(path: &Path, text: &str) -> Result<Pack, Vec<PackFault>> {
    let spec: PackSpec = toml::from_str(text).map_err(|error| {
        let message = error.message().trim().to_owned();
        vec![match error.span() {
            Some(span) => PackFault::at(path, text, span, message, MANUAL),
            None => PackFault::whole(path, message, MANUAL),
        }]
    })?;
    let mut compiler = Compiler { path, text, faults: Vec::new(), known: Known::default() };
    let pack = compiler.pack(&spec);
    if compiler.faults.is_empty() { Ok(pack) } else { Err(compiler.faults) }
}

/// What sources may refer to, and how values are written unless a source says otherwise.
#[derive(Debug, Default)]
pub(crate) struct Known {
    fields: HashSet<String>,
    patterns: Vec<NamePattern>,
    has_preamble: bool,
    pub has_units_row: bool,
    pub missing: Vec<String>,
    pub style: Option<NumberStyle>,
}

impl Known {
    /// Whether the pack lists a field.
    pub fn has_field(&self, field: &str) -> bool {
        self.fields.contains(field)
    }
}

/// The four places a source can name, of which it must name one.
pub(crate) struct Places<'a> {
    pub field: Option<&'a Text>,
    pub preamble: Option<&'a Text>,
    pub file_name: Option<&'a Text>,
    pub constant: Option<&'a Text>,
}

pub(crate) struct Compiler<'a> {
    path: &'a Path,
    text: &'a str,
    faults: Vec<PackFault>,
    pub known: Known,
}

impl Compiler<'_> {
    /// The pack as written.
    pub fn text(&self) -> &str {
        self.text
    }

    pub fn fault(&mut self, span: Range<usize>, message: impl Into<String>, hint: impl Into<String>) {
        self.faults.push(PackFault::at(self.path, self.text, span, message, hint));
    }

    fn pack(&mut self, spec: &PackSpec) -> Pack {
        self.check_name(spec);
        let recogniser = self.recogniser(spec);
        self.known = self.known(spec, &recogniser);
        let engine = self.engine(spec);
        let unit_words = self.unit_words(&spec.unit_words);
        let (measures, mut devices) = self.measures(&spec.measures);
        let (derivations, derived_devices) = self.derivations(&spec.derived, &measures);
        devices.extend(derived_devices);
        devices.sort_by_key(|device| shot::Quantity::from_name(&device.quantity));
        for device in &mut devices {
            device.format.clone_from(spec.name.get_ref());
            device.format_version.clone_from(spec.version.get_ref());
        }
        let strike: Vec<_> = devices.iter().filter(|device| device.quantity.starts_with("strike_")).collect();
        // One number stands for both axes; the worse one promises nothing that is not there.
        let strike_sd_mm = strike.iter().filter_map(|device| device.standard_deviation).reduce(f64::max);
        let mut mapping = Mapping {
            time: self.time(&spec.time),
            bay: self.optional_text(spec.shot.bay.as_ref()),
            session: self.optional_text(spec.shot.session.as_ref()),
            shot: self.optional_text(spec.shot.shot.as_ref()),
            player: self.optional_text(spec.shot.player.as_ref()),
            ball_kind: self.optional_text(spec.shot.ball_kind.as_ref()),
            environment: self.words(spec.shot.environment.as_ref(), |compiler, value| {
                compiler.one_of(value, &["indoor", "outdoor"], |word| Some(word.to_owned()))
            }),
            hand: self.words(spec.shot.hand.as_ref(), |compiler, value| {
                compiler.one_of(value, &["right", "left"], Hand::parse)
            }),
            intent: self.words(spec.shot.intent.as_ref(), |compiler, value| {
                compiler.one_of(value, &Intent::WORDS.map(|(_, word)| word), Intent::parse)
            }),
            club: self.words(spec.shot.club.as_ref(), Compiler::club),
            strike_measured: strike.iter().any(|device| device.measured),
            strike_sd_mm,
            measures,
            derivations,
            unit_words,
        };
        let marks = self.marks(spec, &mut mapping, &mut devices);
        let max_problem_share = spec.max_problem_share.as_ref().map_or(0.5, |share| *share.get_ref());
        if let Some(share) = spec.max_problem_share.as_ref().filter(|_| !(0.0..=1.0).contains(&max_problem_share)) {
            self.fault(share.span(), "maxProblemShare is a share from 0 to 1", "0.5 means half of the rows");
        }
        Pack {
            name: spec.name.get_ref().clone(),
            version: spec.version.get_ref().clone(),
            title: spec.title.clone(),
            max_problem_share,
            engine,
            engine_word: keys_of(*spec.engine.get_ref()).0,
            recogniser,
            mapping,
            marks,
            devices,
            proof: ProofMaterial {
                zone: spec.test.zone.as_ref().map_or(Tz::UTC, |zone| self.zone(zone)),
                bay: spec.test.bay.clone(),
                environment: spec.test.environment.clone(),
                hands: self.hands(&spec.test.hands),
                ..ProofMaterial::default()
            },
            text: PackText { path: self.path.to_owned(), text: self.text.to_owned() },
        }
    }

    fn check_name(&mut self, spec: &PackSpec) {
        let name = spec.name.get_ref();
        let folder = self.path.parent().and_then(Path::file_name).unwrap_or_default().to_string_lossy();
        if *name != folder {
            let hint = "the name in the file and the name of the folder are one";
            self.fault(spec.name.span(), format!("the pack is named \"{name}\", its folder \"{folder}\""), hint);
        }
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if name.is_empty() || !name.chars().all(plain) {
            self.fault(
                spec.name.span(),
                "a pack's name has small letters, digits and hyphens",
                "for example hall-metric",
            );
        }
        let version = spec.version.get_ref();
        if version.is_empty()
            || !version.split('.').all(|part| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit()))
        {
            self.fault(spec.version.span(), "a version is numbers joined by points", "for example \"1.0.0\"");
        }
    }

    fn recogniser(&mut self, spec: &PackSpec) -> Recogniser {
        let mut patterns = Vec::new();
        for pattern in &spec.recognise.file_names {
            match NamePattern::parse(pattern.get_ref()) {
                Ok(pattern) => patterns.push(pattern),
                Err(message) => self.fault(pattern.span(), message, "for example session_{session}_bay{bay}.csv"),
            }
        }
        let owned = |texts: &[Text]| texts.iter().map(|text| text.get_ref().clone()).collect::<Vec<_>>();
        if spec.schema.fields.get_ref().is_empty() {
            let hint = "list the header words (or JSON paths) by which the file is known";
            self.fault(spec.schema.fields.span(), "schema.fields is empty", hint);
        }
        Recogniser {
            patterns,
            contains: spec.recognise.contains.clone(),
            preamble_keys: spec.recognise.preamble_keys.clone(),
            fields: owned(spec.schema.fields.get_ref()),
            optional_fields: owned(&spec.schema.optional_fields),
            fields_match: spec.schema.fields_match,
            names: self.field_names(&spec.schema),
        }
    }

    fn hands(&mut self, written: &BTreeMap<String, Text>) -> Arc<HashMap<String, Hand>> {
        let mut hands = HashMap::new();
        for (player, word) in written {
            if let Some(hand) = self.one_of(word, &["right", "left"], Hand::parse) {
                hands.insert(player_key(player), hand);
            }
        }
        Arc::new(hands)
    }

    fn field_names(&mut self, schema: &SchemaSpec) -> FieldNames {
        let mut names = FieldNames::default();
        let fields: HashSet<&String> =
            schema.fields.get_ref().iter().chain(&schema.optional_fields).map(Spanned::get_ref).collect();
        for (field, others) in &schema.also_named {
            if !fields.contains(field.get_ref()) {
                let message = format!("\"{}\" is not among the fields of the pack", field.get_ref());
                self.fault(field.span(), message, "the key is a field of the pack, the list holds its other names");
            }
            for other in others {
                if fields.contains(other.get_ref()) || !names.add(field.get_ref(), other.get_ref()) {
                    let message = format!("\"{}\" already names a field", other.get_ref());
                    self.fault(other.span(), message, "each header word belongs to one field");
                }
            }
        }
        names
    }

    fn known(&mut self, spec: &PackSpec, recogniser: &Recogniser) -> Known {
        let plain = NumberStyle { decimal: '.', group: None };
        let schema = &spec.schema;
        Known {
            fields: recogniser.fields.iter().chain(&recogniser.optional_fields).cloned().collect(),
            patterns: recogniser.patterns.clone(),
            // Documents and column files say things about all records beside them, without being told where.
            has_preamble: spec.dialect.preamble.is_some()
                || matches!(
                    spec.engine.get_ref(),
                    EngineWord::Json | EngineWord::Xml | EngineWord::Parquet | EngineWord::Arrow
                ),
            has_units_row: spec.dialect.units_row.is_some(),
            missing: schema.missing_values.clone().unwrap_or_default(),
            style: Some(self.number_style(plain, schema.decimal_char.as_ref(), schema.group_char.as_ref())),
        }
    }

    fn unit_words(&mut self, words: &BTreeMap<String, Text>) -> BTreeMap<String, Unit> {
        let mut units = BTreeMap::new();
        for (word, code) in words {
            if let Some(unit) = self.unit(code) {
                units.insert(word.clone(), unit);
            }
        }
        units
    }

    pub fn unit(&mut self, code: &Text) -> Option<Unit> {
        let unit = Unit::parse(code.get_ref());
        if unit.is_none() {
            let message = format!("\"{}\" is no unit we know", code.get_ref());
            self.fault(code.span(), message, format!("units are UCUM codes: {}", Unit::all_codes()));
        }
        unit
    }

    pub fn optional_text(&mut self, spec: Option<&Spanned<TextSpec>>) -> Option<TextSource> {
        spec.map(|spec| self.text_source(spec))
    }

    pub fn text_source(&mut self, spec: &Spanned<TextSpec>) -> TextSource {
        let TextSpec { field, preamble, file_name, constant, required } = spec.get_ref();
        let places = Places {
            field: field.as_ref(),
            preamble: preamble.as_ref(),
            file_name: file_name.as_ref(),
            constant: constant.as_ref(),
        };
        TextSource {
            origin: self.origin(spec.span(), &places),
            required: *required,
            missing: self.known.missing.clone(),
        }
    }

    pub fn origin(&mut self, span: Range<usize>, places: &Places<'_>) -> Origin {
        match (places.field, places.preamble, places.file_name, places.constant) {
            (Some(field), None, None, None) => {
                if !self.known.has_field(field.get_ref()) {
                    let message = format!("\"{}\" is not among the fields of the pack", field.get_ref());
                    self.fault(
                        field.span(),
                        message,
                        "add it to schema.fields or schema.optionalFields, or mend the spelling",
                    );
                }
                Origin::Field(field.get_ref().clone())
            }
            (None, Some(key), None, None) => {
                if !self.known.has_preamble {
                    self.fault(key.span(), "the pack has no preamble", "describe it under [dialect.preamble]");
                }
                Origin::Preamble(key.get_ref().clone())
            }
            (None, None, Some(capture), None) => {
                let name = capture.get_ref();
                if !self.known.patterns.iter().any(|pattern| pattern.captures(name)) {
                    let message = format!("no file name pattern captures {{{name}}}");
                    self.fault(capture.span(), message, "add the capture to recognise.fileNames");
                }
                Origin::FileName(name.clone())
            }
            (None, None, None, Some(text)) => Origin::Constant(text.get_ref().clone()),
            _ => {
                let hint = "give exactly one of field, preamble, fileName, constant";
                self.fault(span, "it is not clear where this value comes from", hint);
                Origin::Constant(String::new())
            }
        }
    }

    pub fn words<S, V>(
        &mut self,
        spec: Option<&Spanned<WordSpec<S>>>,
        meaning: impl Fn(&mut Self, &S) -> Option<V>,
    ) -> Option<WordSource<V>> {
        let spec = spec?;
        let written = spec.get_ref();
        let places = Places {
            field: written.field.as_ref(),
            preamble: written.preamble.as_ref(),
            file_name: written.file_name.as_ref(),
            constant: written.constant.as_ref(),
        };
        let origin = self.origin(spec.span(), &places);
        let mut values = BTreeMap::new();
        for (word, value) in &written.values {
            if let Some(value) = meaning(self, value) {
                let plain = word.get_ref();
                let key = if written.ignore_case { plain.to_lowercase() } else { plain.clone() };
                if values.insert(key, value).is_some() {
                    let message = format!("\"{plain}\" stands twice, in capitals and in small letters");
                    self.fault(word.span(), message, "drop ignoreCase, or one of the two words");
                }
            }
        }
        let source = TextSource { origin, required: written.required, missing: self.known.missing.clone() };
        Some(WordSource { source, values, ignore_case: written.ignore_case, unknown: written.unknown })
    }

    pub fn one_of<V>(&mut self, text: &Text, words: &[&str], parse: impl Fn(&str) -> Option<V>) -> Option<V> {
        let word = text.get_ref().as_str();
        if words.contains(&word)
            && let Some(value) = parse(word)
        {
            return Some(value);
        }
        self.fault(
            text.span(),
            format!("\"{word}\" is none of our words here"),
            format!("use one of {}", words.join(", ")),
        );
        None
    }

    pub fn club(&mut self, spec: &ClubSpec) -> Option<Club> {
        let kind = self.one_of(&spec.club_kind, &CLUB_KINDS, |word| Some(word.to_owned()))?;
        Some(Club { id: spec.club_id.get_ref().clone(), kind })
    }
}
