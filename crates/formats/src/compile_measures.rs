//! The numeric part of a pack: units, signs, capabilities.

use std::collections::BTreeMap;
use std::ops::Range;

use shot::{DeviceRow, Quantity};
use toml::Spanned;

use crate::compile::{Compiler, Places};
use crate::mapping::Measure;
use crate::number::{NumberStyle, Sign};
use crate::source::{NumberSource, TextSource};
use crate::spec::{NumberSpec, SignWord, Text, UnitFrom};
use crate::unit::Unit;

const FACE_REFERENCES: [&str; 2] = ["face-centre", "strike-point"];

/// Quantities with a left and a right, which a device can give in the player's own frame.
const SIDED: [Quantity; 7] = [
    Quantity::AimDeg,
    Quantity::LaunchAzimuthDeg,
    Quantity::SpinTiltDeg,
    Quantity::StrikeToeMm,
    Quantity::FaceDeg,
    Quantity::PathDeg,
    Quantity::LateralM,
];

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
            if number.player_frame && !SIDED.contains(&quantity) {
                let sided = SIDED.map(Quantity::name).join(", ");
                let message = format!("{} has no side, so playerFrame has no effect", quantity.name());
                self.fault(name.span(), message, format!("quantities with a side: {sided}"));
            }
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

    /// A number source; what the device knows of it is not looked at.
    pub fn number(&mut self, span: Range<usize>, spec: &NumberSpec, target: Unit) -> Option<NumberSource> {
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
        let unit_field = self.unit_field(&span, spec);
        let sign = self.sign(span, spec);
        let base = self.known.style.unwrap_or(NumberStyle { decimal: '.', group: None });
        let style = self.number_style(base, spec.decimal_char.as_ref(), spec.group_char.as_ref());
        let missing = spec.missing_values.clone().unwrap_or_else(|| self.known.missing.clone());
        let missing_numbers = missing.iter().filter_map(|token| style.parse(token).ok()).collect();
        let source = TextSource { origin, required: spec.required, missing };
        Some(NumberSource {
            source,
            missing_numbers,
            style,
            sign,
            player_frame: spec.player_frame,
            unit,
            unit_from: spec.unit_from,
            unit_field,
            target,
        })
    }

    fn unit_field(&mut self, span: &Range<usize>, spec: &NumberSpec) -> Option<String> {
        if (spec.unit_from == UnitFrom::Field) != spec.unit_field.is_some() {
            let hint = "unitFrom = \"field\" needs unitField, and nothing else takes it";
            self.fault(span.clone(), "unitFrom and unitField do not fit together", hint);
        }
        let field = spec.unit_field.as_ref()?;
        if !self.known.has_field(field.get_ref()) {
            let message = format!("\"{}\" is not among the fields of the pack", field.get_ref());
            self.fault(field.span(), message, "add it to schema.fields or schema.optionalFields");
        }
        Some(field.get_ref().clone())
    }

    fn sign(&mut self, span: Range<usize>, spec: &NumberSpec) -> Sign {
        let words = (spec.positive_suffix.clone(), spec.negative_suffix.clone(), spec.zero_words.clone());
        match (spec.sign, words) {
            (SignWord::Plain, (None, None, None)) => Sign::Plain,
            (SignWord::Inverted, (None, None, None)) => Sign::Inverted,
            (SignWord::Suffix, (Some(positive), Some(negative), zero)) => {
                let zero = zero.unwrap_or_default();
                let mut all: Vec<String> =
                    positive.iter().chain(&negative).chain(&zero).map(|word| word.trim().to_lowercase()).collect();
                let count = all.len();
                all.sort();
                all.dedup();
                if all.len() < count || positive.is_empty() || all.iter().any(String::is_empty) {
                    let hint = "for example [\"R\"] and [\"L\"]; capitals make no difference";
                    self.fault(span, "the words for the sides are empty, or the same for both sides", hint);
                }
                Sign::Words { positive, negative, zero }
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

    pub fn face_reference(&mut self, quantity: Quantity, span: Range<usize>, written: Option<&Text>) -> Option<String> {
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
}
