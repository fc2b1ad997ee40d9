//! The numeric part of a pack: units, signs, capabilities, derivations.

use std::collections::BTreeMap;
use std::ops::Range;

use shot::{DeviceRow, Quantity};
use toml::Spanned;

use crate::compile::{Compiler, Places};
use crate::derive::{Derivation, SpinParts, other_speed};
use crate::mapping::Measure;
use crate::number::{NumberStyle, Sign};
use crate::source::{NumberSource, TextSource};
use crate::spec::{DerivedSpec, FaceSpec, NumberSpec, SignWord, SpeedSpec, SpinSpec, Text, UnitFrom};
use crate::unit::Unit;

const FACE_REFERENCES: [&str; 2] = ["face-centre", "strike-point"];

pub(crate) fn device(quantity: Quantity, measured: bool, standard_deviation: Option<f64>) -> DeviceRow {
    DeviceRow {
        format: String::new(),
        format_version: String::new(),
        quantity: quantity.name().to_owned(),
        measured,
        standard_deviation,
        face_reference: None,
    }
}

/// The unit of a column; every one is in the table (a test of `unit` says so).
fn column_unit(quantity: Quantity) -> Option<Unit> {
    Unit::parse(quantity.unit())
}

impl Compiler<'_> {
    pub fn measures(&mut self, specs: &BTreeMap<Text, NumberSpec>) -> (Vec<Measure>, Vec<DeviceRow>) {
        let (mut measures, mut devices) = (Vec::new(), Vec::new());
        for (name, spec) in specs {
            let Some(quantity) = Quantity::from_name(name.get_ref()) else {
                let known: Vec<&str> = Quantity::all().map(Quantity::name).collect();
                let message = format!("\"{}\" is no quantity of a shot", name.get_ref());
                self.fault(name.span(), message, format!("quantities are {}", known.join(", ")));
                continue;
            };
            let Some(target) = column_unit(quantity) else { continue };
            let Some(number) = self.number(name.span(), spec, target) else { continue };
            let Some(measured) = spec.measured else {
                let hint = "measured = true where the device measures it, false where it only computes it";
                self.fault(name.span(), "it is not said whether the device measures this", hint);
                continue;
            };
            let deviation = self.deviation(spec.standard_deviation.as_ref());
            let deviation = deviation.map(|value| number.unit.convert_difference(value, target));
            let mut row = device(quantity, measured, deviation);
            row.face_reference = self.face_reference(quantity, name.span(), spec.face_reference.as_ref());
            devices.push(row);
            measures.push(Measure { quantity, number });
        }
        (measures, devices)
    }

    fn number(&mut self, span: Range<usize>, spec: &NumberSpec, target: Unit) -> Option<NumberSource> {
        let places = Places {
            field: spec.field.as_ref(),
            preamble: spec.preamble.as_ref(),
            file_name: spec.file_name.as_ref(),
            constant: spec.constant.as_ref(),
        };
        let origin = self.origin(span.clone(), &places);
        let unit = self.unit(&spec.unit)?;
        if !unit.converts_to(target) {
            let message = format!("\"{}\" does not convert into {}", unit.code, target.code);
            self.fault(spec.unit.span(), message, format!("units that do: {}", Unit::codes_like(target)));
            return None;
        }
        if spec.unit_from == UnitFrom::UnitsRow && !self.known.has_units_row {
            self.fault(span.clone(), "the pack has no units row", "set dialect.unitsRow, or drop unitFrom");
        }
        let sign = self.sign(span, spec);
        let base = self.known.style.unwrap_or(NumberStyle { decimal: '.', group: None });
        let style = self.number_style(base, spec.decimal_char.as_ref(), spec.group_char.as_ref());
        let missing = spec.missing_values.clone().unwrap_or_else(|| self.known.missing.clone());
        let source = TextSource { origin, required: spec.required, missing };
        Some(NumberSource { source, style, sign, unit, unit_from: spec.unit_from, target })
    }

    fn sign(&mut self, span: Range<usize>, spec: &NumberSpec) -> Sign {
        let suffixes = (spec.positive_suffix.clone(), spec.negative_suffix.clone());
        match (spec.sign, suffixes) {
            (SignWord::Plain, (None, None)) => Sign::Plain,
            (SignWord::Inverted, (None, None)) => Sign::Inverted,
            (SignWord::Suffix, (Some(positive), Some(negative))) => {
                let shared = positive.iter().any(|word| negative.contains(word));
                if shared || positive.iter().chain(&negative).any(|word| word.trim().is_empty()) || positive.is_empty()
                {
                    self.fault(
                        span,
                        "the side letters are empty, or the same for both sides",
                        "for example [\"R\"] and [\"L\"]",
                    );
                }
                Sign::Suffix { positive, negative }
            }
            _ => {
                let hint = "sign = \"suffix\" needs both, and nothing else takes them";
                self.fault(span, "sign, positiveSuffix and negativeSuffix do not fit together", hint);
                Sign::Plain
            }
        }
    }

    pub fn deviation(&mut self, spec: Option<&Spanned<f64>>) -> Option<f64> {
        let value = *spec?.get_ref();
        if value > 0.0 && value.is_finite() {
            return Some(value);
        }
        self.fault(spec?.span(), "a standard deviation is above zero", "leave the key out where it is not known");
        None
    }

    fn face_reference(&mut self, quantity: Quantity, span: Range<usize>, written: Option<&Text>) -> Option<String> {
        match (quantity == Quantity::FaceDeg, written) {
            (true, Some(text)) => self.one_of(text, &FACE_REFERENCES, |word| Some(word.to_owned())),
            (true, None) => {
                let hint = "faceReference = \"face-centre\" or \"strike-point\"; a curved face differs between the two";
                self.fault(span, "it is not said which point of the face this angle belongs to", hint);
                None
            }
            (false, Some(text)) => {
                self.fault(text.span(), "faceReference belongs to face_deg only", "remove this key");
                None
            }
            (false, None) => None,
        }
    }

    pub fn derivations(&mut self, spec: &DerivedSpec, measures: &[Measure]) -> (Vec<Derivation>, Vec<DeviceRow>) {
        let (mut derivations, mut devices) = (Vec::new(), Vec::new());
        if let Some(spec) = &spec.spin {
            derivations.extend(self.spin(spec, &mut devices));
        }
        if let Some(spec) = &spec.face {
            derivations.extend(self.face(spec, &mut devices));
        }
        if let Some(spec) = &spec.speed {
            derivations.extend(self.speed(spec, &mut devices));
        }
        let has = |quantity: Quantity| measures.iter().any(|measure| measure.quantity == quantity);
        for (derivation, span) in derivations.iter().zip(spans(spec)) {
            let (gives, needs) = match derivation {
                Derivation::Spin(_) => (vec![Quantity::SpinRpm, Quantity::SpinTiltDeg], None),
                Derivation::Face { .. } => (vec![Quantity::FaceDeg], Some(Quantity::PathDeg)),
                Derivation::Speed { gives, .. } => (vec![*gives], Some(other_speed(*gives))),
            };
            if let Some(twice) = gives.into_iter().find(|quantity| has(*quantity)) {
                let message = format!("{} is both derived and read directly", twice.name());
                self.fault(span.clone(), message, "keep the one that the device measures");
            }
            if let Some(lacking) = needs.filter(|quantity| !has(*quantity)) {
                let message = format!("deriving this needs {}", lacking.name());
                self.fault(span, message, format!("map it under [measures.{}]", lacking.name()));
            }
        }
        (derivations, devices)
    }

    /// A source inside a derivation; what the device knows of it is said of the derived quantity.
    fn part(&mut self, spec: &Spanned<NumberSpec>, target: &str) -> Option<NumberSource> {
        let written = spec.get_ref();
        if written.measured.is_some() || written.standard_deviation.is_some() || written.face_reference.is_some() {
            let hint = "move measured, standardDeviation and faceReference up into the [derived...] table";
            self.fault(spec.span(), "a part of a derivation has no capability of its own", hint);
        }
        self.number(spec.span(), written, Unit::parse(target)?)
    }

    fn spin(&mut self, spec: &Spanned<SpinSpec>, devices: &mut Vec<DeviceRow>) -> Option<Derivation> {
        let written = spec.get_ref();
        let (back, side) = (self.part(&written.back_spin, "/min")?, self.part(&written.side_spin, "/min")?);
        let rate_deviation = self.deviation(written.standard_deviation.as_ref());
        let tilt_deviation = self.deviation(written.tilt_standard_deviation.as_ref());
        devices.push(device(Quantity::SpinRpm, written.measured, rate_deviation));
        devices.push(device(Quantity::SpinTiltDeg, written.measured, tilt_deviation));
        Some(Derivation::Spin(Box::new(SpinParts { back, side })))
    }

    fn face(&mut self, spec: &Spanned<FaceSpec>, devices: &mut Vec<DeviceRow>) -> Option<Derivation> {
        let written = spec.get_ref();
        let face_to_path = self.part(&written.face_to_path, "deg")?;
        let mut row = device(Quantity::FaceDeg, written.measured, self.deviation(written.standard_deviation.as_ref()));
        row.face_reference = self.face_reference(Quantity::FaceDeg, spec.span(), written.face_reference.as_ref());
        devices.push(row);
        Some(Derivation::Face { face_to_path })
    }

    fn speed(&mut self, spec: &Spanned<SpeedSpec>, devices: &mut Vec<DeviceRow>) -> Option<Derivation> {
        let written = spec.get_ref();
        let words = [Quantity::BallSpeedMps.name(), Quantity::ClubSpeedMps.name()];
        let gives = self.one_of(&written.gives, &words, Quantity::from_name)?;
        let ratio = self.part(&written.ratio, "1")?;
        devices.push(device(gives, written.measured, self.deviation(written.standard_deviation.as_ref())));
        Some(Derivation::Speed { ratio, gives })
    }
}

fn spans(spec: &DerivedSpec) -> Vec<Range<usize>> {
    let spin = spec.spin.as_ref().map(Spanned::span);
    let face = spec.face.as_ref().map(Spanned::span);
    let speed = spec.speed.as_ref().map(Spanned::span);
    [spin, face, speed].into_iter().flatten().collect()
}
