//! What a report says of one eye, put together. What is incomplete is refused or left out whole, never guessed.

use std::collections::BTreeMap;

use dicom_dictionary_std::tags;

use crate::intake::dicom::object::{Code as Coded, Node, Number};
use crate::intake::dicom::{Outcome, in_range, keratometry, with_axis_code};
use crate::intake::reports::Row;
use crate::intake::target::Target;
use crate::intake::{Input, IntakeError, NotUnderstood};
use crate::model::{
    Axial, ChamberDepthFrom, Eye, EyeExam, Keratometry, KeratometryMethod, LengthMethod, MeridianReading,
    Place, Reading, Refraction, StatedWord, Surface,
};
use crate::units::{Dioptre, KeratometricIndex, Meridian, Micrometre, Millimetre, OutOfRange};

/// How a keratometry was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Method {
    /// Of this surface, in this way.
    Known(Surface, Option<KeratometryMethod>),
    /// In a way that is not read.
    Unknown,
}

/// What belongs together: of a keratometry and of a refraction all parts count or none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Group {
    Keratometry,
    Refraction,
    /// A length stands alone.
    Alone,
}

const fn group(target: Target) -> Group {
    if target.is_of_keratometry() {
        Group::Keratometry
    } else if target.is_of_refraction() {
        Group::Refraction
    } else {
        Group::Alone
    }
}

/// What was found for one eye.
#[derive(Debug, Default)]
pub(super) struct Found {
    values: BTreeMap<Target, Reading<f64>>,
    method: Option<(Method, Coded)>,
    depth_from: Option<ChamberDepthFrom>,
    length_method: Option<LengthMethod>,
    /// Where the words stood.
    stated: Vec<StatedWord>,
    /// A part of the keratometry was there and could not be taken: then nothing of it is.
    keratometry_spoiled: bool,
    /// The same of the refraction.
    refraction_spoiled: bool,
}

impl Found {
    /// A part of this target's group was there and could not be taken.
    pub(super) const fn spoil(&mut self, target: Target) {
        match group(target) {
            Group::Keratometry => self.keratometry_spoiled = true,
            Group::Refraction => self.refraction_spoiled = true,
            Group::Alone => {}
        }
    }

    /// Puts one value in; the same value twice is one.
    pub(super) fn put(
        &mut self,
        row: &Row,
        reading: Reading<f64>,
        method: Option<(Method, Coded)>,
        item: &Node<'_>,
    ) -> Result<(), IntakeError> {
        let differs = |what: &str, known: &str, found: String| IntakeError::Layout {
            what: what.to_owned(),
            expected: format!("one value, as {known}"),
            found,
            place: item.own_place(),
        };
        if let Some((known, code)) = &self.method
            && let Some((other, found)) = &method
            && known != other
        {
            return Err(differs("method of the keratometry", &code.to_string(), found.to_string()));
        }
        if let (Some(known), Some(found)) = (self.depth_from, row.depth_from)
            && known != found
        {
            return Err(differs("where the chamber depth begins", known.word(), found.word().to_owned()));
        }
        let mut says = |field: &'static str, text: &str, place: &Place| {
            if !self.stated.iter().any(|stated| stated.field == field) {
                let word = Reading::new(text.to_owned(), text, place.clone());
                self.stated.push(StatedWord { field, word });
            }
        };
        if let Some((_, code)) = &method {
            says("km.kind", &code.to_string(), &code.place);
        }
        // The concept of the number says it.
        let concept = item.place(tags::CONCEPT_NAME_CODE_SEQUENCE);
        if let Some(from) = row.depth_from {
            says("axial.depth_from", from.word(), &concept);
        }
        if let Some(how) = row.method {
            says("axial.method", how.word(), &concept);
        }
        self.method = method.or(self.method.take());
        self.depth_from = row.depth_from.or(self.depth_from);
        self.length_method = row.method.or(self.length_method);
        match self.values.get(&row.target) {
            Some(known) if known.value.total_cmp(&reading.value).is_ne() => {
                Err(differs(row.target.word(), &known.text, reading.text))
            }
            Some(_) => Ok(()),
            None => {
                self.values.insert(row.target, reading);
                Ok(())
            }
        }
    }

    /// The examination of this eye; none when nothing of it could be taken.
    pub(super) fn into_exam(
        mut self,
        root: &Node<'_>,
        input: &Input<'_>,
        eye: Eye,
        outcome: &mut Outcome,
    ) -> Result<Option<EyeExam>, IntakeError> {
        let keratometry = self.keratometry(root, input, eye, outcome)?;
        let axial = self.axial()?;
        let refraction = self.refraction(root, eye, outcome)?;
        let exam = EyeExam {
            keratometry: keratometry.into_iter().collect(),
            axial,
            refraction,
            stated: self.stated,
            ..EyeExam::default()
        };
        Ok((!exam.is_empty()).then_some(exam))
    }

    fn take<T>(
        &mut self,
        target: Target,
        make: impl FnOnce(f64) -> Result<T, OutOfRange>,
    ) -> Result<Option<Reading<T>>, IntakeError> {
        let Some(reading) = self.values.remove(&target) else { return Ok(None) };
        let converted = reading.converted;
        let Reading { value, text, decimals, place, .. } = reading;
        let number = Number { value, text, decimals, place };
        in_range(number, target.word(), make).map(|reading| Some(Reading { converted, ..reading }))
    }

    fn meridian(
        &mut self,
        radius: Target,
        power: Target,
        axis: Target,
    ) -> Result<MeridianReading, IntakeError> {
        if let Some(negative) = self.values.get(&power).filter(|reading| reading.value < 0.0) {
            return Err(IntakeError::Value {
                field: power.word().to_owned(),
                text: negative.text.clone(),
                expected: "the power of a cornea".to_owned(),
                code: None,
                place: negative.place.clone(),
            });
        }
        Ok(MeridianReading {
            radius: self.take(radius, Millimetre::from_reading)?,
            power: self.take(power, Dioptre::from_reading)?,
            meridian: self.take(axis, Meridian::from_reading).map_err(with_axis_code)?,
        })
    }

    fn keratometry(
        &mut self,
        root: &Node<'_>,
        input: &Input<'_>,
        eye: Eye,
        outcome: &mut Outcome,
    ) -> Result<Option<Keratometry>, IntakeError> {
        let whole = root.place(tags::CONTENT_SEQUENCE);
        let left_out = |why: &str, place: Place, outcome: &mut Outcome| {
            outcome.notes.push(NotUnderstood {
                what: format!("keratometry of the {eye} eye"),
                why: why.to_owned(),
                place,
            });
            Ok(None)
        };
        if self.keratometry_spoiled {
            let why = "a part of it could not be taken, so nothing of it is";
            return left_out(why, whole, outcome);
        }
        let of_cornea = |target: &&Target| group(**target) == Group::Keratometry;
        if !self.values.keys().any(|target| of_cornea(&target)) {
            return Ok(None);
        }
        let method = self.method.take();
        if let Some((Method::Unknown, code)) = &method {
            let why = format!("its method {code} is not read");
            return left_out(&why, code.place.clone(), outcome);
        }
        let flat = self.meridian(Target::FlatRadius, Target::FlatPower, Target::FlatMeridian)?;
        let steep = self.meridian(Target::SteepRadius, Target::SteepPower, Target::SteepMeridian)?;
        let index = self.take(Target::KmIndex, KeratometricIndex::from_reading)?;
        let zone = self.take(Target::KmZone, Millimetre::from_reading)?;
        let nothing = |meridian: &MeridianReading| meridian.radius.is_none() && meridian.power.is_none();
        if nothing(&flat) && nothing(&steep) {
            return left_out("no radius and no power in it: taken as not measured", whole, outcome);
        }
        let missing = |field: String| IntakeError::Missing { field, code: None, place: whole.clone() };
        for (word, meridian) in [("flat", &flat), ("steep", &steep)] {
            if nothing(meridian) {
                return Err(missing(format!("radius or power of the {word} meridian of the {eye} eye")));
            }
            if meridian.meridian.is_none() {
                return Err(missing(format!("km.{word}.meridian of the {eye} eye")));
            }
        }
        let alike = |of: fn(&MeridianReading) -> bool| of(&flat) == of(&steep);
        if !alike(|meridian| meridian.radius.is_some()) || !alike(|meridian| meridian.power.is_some()) {
            return Err(missing(format!("the radius or the power of one meridian of the {eye} eye")));
        }
        let mut keratometry = keratometry::ordered(root, flat, steep, eye, outcome)?;
        if let Some((Method::Known(surface, method), _)) = method {
            keratometry.surface = surface;
            keratometry.method = method;
        }
        keratometry.zone = zone;
        match index {
            Some(index) => keratometry.index = Some(index),
            None => keratometry = keratometry::with_index(keratometry, root, input, eye, outcome)?,
        }
        Ok(Some(keratometry))
    }

    fn axial(&mut self) -> Result<Option<Axial>, IntakeError> {
        // To a thousandth of a micrometre: the product of decimals is not the decimal of the product.
        let micrometres = |value: f64| Micrometre::from_reading((value * 1e3).round() / 1e3);
        let axial = Axial {
            length: self.take(Target::AxialLength, Millimetre::from_reading)?,
            method: self.length_method,
            depth: self.take(Target::AxialDepth, Millimetre::from_reading)?,
            depth_from: self.depth_from,
            lens: self.take(Target::AxialLens, Millimetre::from_reading)?,
            cornea: self.take(Target::AxialCornea, micrometres)?,
            white: self.take(Target::AxialWhite, Millimetre::from_reading)?,
            spread: None,
            quality: None,
        };
        let something = axial.length.is_some()
            || axial.depth.is_some()
            || axial.lens.is_some()
            || axial.cornea.is_some()
            || axial.white.is_some();
        Ok(something.then_some(axial))
    }

    fn refraction(
        &mut self,
        root: &Node<'_>,
        eye: Eye,
        outcome: &mut Outcome,
    ) -> Result<Option<Refraction>, IntakeError> {
        let place = root.place(tags::CONTENT_SEQUENCE);
        if self.refraction_spoiled {
            outcome.notes.push(NotUnderstood {
                what: format!("refraction of the {eye} eye"),
                why: "a part of it could not be taken, so nothing of it is".to_owned(),
                place,
            });
            return Ok(None);
        }
        let missing = |target: Target| IntakeError::Missing {
            field: format!("{target} of the {eye} eye"),
            code: None,
            place: place.clone(),
        };
        let sphere = self.take(Target::RefractionSphere, Dioptre::from_reading)?;
        let cylinder = self.take(Target::RefractionCylinder, Dioptre::from_reading)?;
        let axis = self.take(Target::RefractionAxis, Meridian::from_reading).map_err(with_axis_code)?;
        let vertex = self.take(Target::RefractionVertex, Millimetre::from_reading)?;
        let Some(sphere) = sphere else {
            let part = cylinder.is_some() || axis.is_some() || vertex.is_some();
            return if part { Err(missing(Target::RefractionSphere)) } else { Ok(None) };
        };
        if axis.is_none() && cylinder.as_ref().is_some_and(|c| c.value.dioptres().abs() > 0.0) {
            return Err(missing(Target::RefractionAxis));
        }
        if cylinder.is_none() && axis.is_some() {
            return Err(missing(Target::RefractionCylinder));
        }
        Ok(Some(Refraction { sphere, cylinder, axis, vertex }))
    }
}
