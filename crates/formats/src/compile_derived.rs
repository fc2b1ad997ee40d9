//! The derivations of a pack.

use std::ops::Range;

use shot::{DeviceRow, Quantity};
use toml::Spanned;

use crate::compile::Compiler;
use crate::compile_measures::device;
use crate::derive::{Derivation, Formula};
use crate::mapping::Measure;
use crate::source::NumberSource;
use crate::spec::{DerivedSpec, NumberSpec};
use crate::spec_derived::{FaceSpec, LaunchSpec, SpeedSpec, SpinSpec};
use crate::unit::Unit;

/// What one table of `[derived]` comes to, with its place.
type Found = (Derivation, Range<usize>);

impl Compiler<'_> {
    pub fn derivations(&mut self, spec: &DerivedSpec, measures: &[Measure]) -> (Vec<Derivation>, Vec<DeviceRow>) {
        let mut devices = Vec::new();
        let mut found: Vec<Found> = Vec::new();
        found.extend(spec.spin.as_ref().and_then(|spec| self.spin(spec, &mut devices)));
        found.extend(spec.face.as_ref().and_then(|spec| self.face(spec, &mut devices)));
        found.extend(spec.speed.as_ref().and_then(|spec| self.speed(spec, &mut devices)));
        found.extend(spec.launch.as_ref().and_then(|spec| self.launch(spec, &mut devices)));
        let mut simple = |formula, place: Range<usize>, part: &Spanned<NumberSpec>, unit, measured, deviation| {
            let parts = vec![self.part(part, unit, false)?];
            let deviation = self.deviation(deviation);
            devices.extend(Formula::gives(formula).iter().map(|quantity| device(*quantity, measured, deviation)));
            Some((Derivation { formula, parts }, place))
        };
        if let Some(spec) = &spec.path {
            let path = spec.get_ref();
            let deviation = path.standard_deviation.as_ref();
            found.extend(simple(Formula::PathOfFace, spec.span(), &path.face_to_path, "deg", path.measured, deviation));
        }
        if let Some(spec) = &spec.loft {
            let loft = spec.get_ref();
            let deviation = loft.standard_deviation.as_ref();
            found.extend(simple(Formula::LoftOfAttack, spec.span(), &loft.spin_loft, "deg", loft.measured, deviation));
        }
        if let Some(spec) = &spec.carry {
            let carry = spec.get_ref();
            let deviation = carry.standard_deviation.as_ref();
            found.extend(simple(Formula::CarryOfLine, spec.span(), &carry.along_line, "m", carry.measured, deviation));
        }
        if let Some(spec) = &spec.lateral {
            let side = spec.get_ref();
            let (part, deviation) = (&side.landing_azimuth, side.standard_deviation.as_ref());
            found.extend(simple(Formula::LateralOfCarry, spec.span(), part, "deg", side.measured, deviation));
        }
        self.check_derivations(&found, measures);
        (found.into_iter().map(|(derivation, _)| derivation).collect(), devices)
    }

    fn check_derivations(&mut self, found: &[Found], measures: &[Measure]) {
        let has = |quantity: Quantity| measures.iter().any(|measure| measure.quantity == quantity);
        let mut given: Vec<Quantity> = Vec::new();
        for (Derivation { formula, .. }, span) in found {
            if let Some(twice) = formula.gives().iter().find(|quantity| has(**quantity)) {
                let message = format!("{} is both derived and read directly", twice.name());
                self.fault(span.clone(), message, "keep the one that the device measures");
            }
            if let Some(twice) = formula.gives().iter().find(|quantity| given.contains(quantity)) {
                let message = format!("{} is derived twice", twice.name());
                self.fault(span.clone(), message, "keep one of the two tables");
            }
            given.extend(formula.gives());
            if let Some(lacking) = formula.needs().filter(|quantity| !has(*quantity)) {
                let message = format!("deriving this needs {}", lacking.name());
                self.fault(span.clone(), message, format!("map it under [measures.{}]", lacking.name()));
            }
        }
    }

    /// A source inside a derivation; what the device knows of it is said of the derived quantity.
    fn part(&mut self, spec: &Spanned<NumberSpec>, target: &str, sideless: bool) -> Option<NumberSource> {
        let written = spec.get_ref();
        if written.measured.is_some() || written.standard_deviation.is_some() || written.face_reference.is_some() {
            let hint = "move measured, standardDeviation and faceReference up into the [derived...] table";
            self.fault(spec.span(), "a part of a derivation has no capability of its own", hint);
        }
        if written.player_frame && sideless {
            let hint = "angles and side spin have a side; rates, ratios and distances along the line have none";
            self.fault(spec.span(), "this part has no side, so playerFrame has no effect", hint);
        }
        self.number(spec.span(), written, Unit::parse(target)?)
    }

    fn spin(&mut self, spec: &Spanned<SpinSpec>, devices: &mut Vec<DeviceRow>) -> Option<Found> {
        let written = spec.get_ref();
        let SpinSpec { back_spin, side_spin, spin_rate, spin_tilt, .. } = written;
        let (formula, parts) = match (back_spin, side_spin, spin_rate, spin_tilt) {
            (Some(back), Some(side), None, None) => {
                let parts = vec![self.part(back, "/min", true)?, self.part(side, "/min", false)?];
                (Formula::SpinOfBackAndSide, parts)
            }
            (Some(back), None, None, Some(tilt)) => {
                let parts = vec![self.part(back, "/min", true)?, self.part(tilt, "deg", false)?];
                (Formula::SpinOfBackAndTilt, parts)
            }
            (None, Some(side), Some(rate), None) => {
                let parts = vec![self.part(rate, "/min", true)?, self.part(side, "/min", false)?];
                (Formula::SpinOfRateAndSide, parts)
            }
            _ => {
                let hint = "give backSpin and sideSpin, backSpin and spinTilt, or spinRate and sideSpin";
                self.fault(spec.span(), "these parts make no spin", hint);
                return None;
            }
        };
        let rate_deviation = self.deviation(written.standard_deviation.as_ref());
        let tilt_deviation = self.deviation(written.tilt_standard_deviation.as_ref());
        devices.push(device(Quantity::SpinRpm, written.measured, rate_deviation));
        devices.push(device(Quantity::SpinTiltDeg, written.measured, tilt_deviation));
        Some((Derivation { formula, parts }, spec.span()))
    }

    fn face(&mut self, spec: &Spanned<FaceSpec>, devices: &mut Vec<DeviceRow>) -> Option<Found> {
        let written = spec.get_ref();
        let parts = vec![self.part(&written.face_to_path, "deg", false)?];
        let mut row = device(Quantity::FaceDeg, written.measured, self.deviation(written.standard_deviation.as_ref()));
        row.face_reference = self.face_reference(Quantity::FaceDeg, spec.span(), written.face_reference.as_ref());
        devices.push(row);
        Some((Derivation { formula: Formula::FaceOfPath, parts }, spec.span()))
    }

    fn speed(&mut self, spec: &Spanned<SpeedSpec>, devices: &mut Vec<DeviceRow>) -> Option<Found> {
        let written = spec.get_ref();
        let words = [Quantity::BallSpeedMps.name(), Quantity::ClubSpeedMps.name()];
        let gives = self.one_of(&written.gives, &words, Quantity::from_name)?;
        let parts = vec![self.part(&written.ratio, "1", true)?];
        devices.push(device(gives, written.measured, self.deviation(written.standard_deviation.as_ref())));
        let ball = gives == Quantity::BallSpeedMps;
        let formula = if ball { Formula::BallSpeedOfRatio } else { Formula::ClubSpeedOfRatio };
        Some((Derivation { formula, parts }, spec.span()))
    }

    fn launch(&mut self, spec: &Spanned<LaunchSpec>, devices: &mut Vec<DeviceRow>) -> Option<Found> {
        let written = spec.get_ref();
        let parts = vec![
            self.part(&written.along, "m/s", true)?,
            self.part(&written.across, "m/s", false)?,
            self.part(&written.up, "m/s", true)?,
        ];
        let speed = self.deviation(written.standard_deviation.as_ref());
        let angle = self.deviation(written.angle_standard_deviation.as_ref());
        devices.push(device(Quantity::BallSpeedMps, written.measured, speed));
        devices.push(device(Quantity::LaunchAzimuthDeg, written.measured, angle));
        devices.push(device(Quantity::LaunchElevationDeg, written.measured, angle));
        Some((Derivation { formula: Formula::LaunchOfVelocity, parts }, spec.span()))
    }
}
