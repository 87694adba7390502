//! The measurement model as rows: field, eye, value, unit, the text it was read from and where that stood.

use serde_json::{Value, json};

use crate::model::{
    Axial, Exam, Eye, EyeExam, Fact, Identity, Keratometry, KeratometryMethod, ListEntry, MeridianReading,
    Place, Quality, Reading, Refraction, Spot,
};
use crate::units::{KeratometricIndex, round};

/// One value of a file. Fields have the names of the mapping targets.
pub(super) struct Row {
    /// The field.
    pub(super) field: String,
    /// Its eye; none for what belongs to the person or the examination.
    pub(super) eye: Option<Eye>,
    /// Which surface a keratometry describes.
    pub(super) surface: Option<&'static str>,
    /// The value, unrounded.
    value: Value,
    /// UCUM unit.
    unit: Option<&'static str>,
    /// The value as shown to people, with its unit.
    pub(super) shown: String,
    /// The text as it stood; none for what was computed from another value.
    pub(super) text: Option<String>,
    /// Where it stood.
    pub(super) place: Option<String>,
    /// What was done to it on the way, in words.
    pub(super) derived: Option<String>,
}

impl Row {
    /// `{field, eye, value, unit, text, place, derived}`, and `surface` where it is a keratometry's.
    pub(super) fn as_json(&self) -> Value {
        let mut value = json!({
            "field": self.field,
            "eye": self.eye.map(Eye::word),
            "value": self.value,
            "unit": self.unit,
            "text": self.text,
            "place": self.place,
            "derived": self.derived,
        });
        if let (Some(surface), Value::Object(map)) = (self.surface, &mut value) {
            map.insert("surface".to_owned(), json!(surface));
        }
        value
    }
}

/// The spot within the file, or the person.
pub(super) fn spot(place: &Place) -> String {
    match place {
        Place::File { spot, .. } => spot.to_string(),
        Place::Person { .. } => place.with_name(),
    }
}

/// What rows are about.
#[derive(Default, Clone, Copy)]
struct Of {
    eye: Option<Eye>,
    surface: Option<&'static str>,
}

struct Rows<'a> {
    made: Vec<Row>,
    of: Of,
    /// Where the words of this eye stood.
    eye_of: Option<&'a EyeExam>,
}

impl<'a> Rows<'a> {
    const fn of(of: Of) -> Self {
        Self { made: Vec::new(), of, eye_of: None }
    }

    const fn of_eye(of: Of, exam: &'a EyeExam) -> Self {
        Self { made: Vec::new(), of, eye_of: Some(exam) }
    }

    fn push<T>(
        &mut self,
        field: &str,
        reading: Option<&Reading<T>>,
        unit: Option<&'static str>,
        show: impl FnOnce(&Reading<T>) -> (Value, String),
    ) {
        let Some(reading) = reading else { return };
        let (value, shown) = show(reading);
        let shown = unit.map_or_else(|| shown.clone(), |unit| format!("{shown} {unit}"));
        self.made.push(Row {
            field: field.to_owned(),
            eye: self.of.eye,
            surface: self.of.surface,
            value,
            unit,
            shown,
            text: Some(reading.text.clone()),
            place: Some(spot(&reading.place)),
            derived: reading.converted.map(|conversion| conversion.words().to_owned()),
        });
    }

    /// A number; shown with the decimals that were written, `decimals` where they are not known.
    fn number<T>(
        &mut self,
        field: &str,
        reading: Option<&Reading<T>>,
        unit: Option<&'static str>,
        decimals: usize,
        number: impl FnOnce(&T) -> f64,
    ) {
        self.push(field, reading, unit, |reading| {
            let number = number(&reading.value);
            let written =
                reading.decimals.filter(|_| reading.converted != Some(crate::model::Conversion::Unit));
            let written = written.and_then(|written| usize::try_from(written).ok());
            (json!(number), round::fixed(number, written.unwrap_or(decimals).min(6)))
        });
    }

    fn words<T>(&mut self, field: &str, reading: Option<&Reading<T>>, word: impl FnOnce(&T) -> String) {
        self.push(field, reading, None, |reading| {
            let word = word(&reading.value);
            (json!(word), word)
        });
    }

    /// A property that is no reading: the file states it somewhere, or by what kind of file it is.
    fn stated(&mut self, field: &str, word: Option<&str>) {
        let Some(word) = word else { return };
        let stood = self.eye_of.and_then(|exam| exam.stated_word(field));
        let (text, place, derived) = match stood {
            Some(stood) => (
                Some(stood.text.clone()),
                spot(&stood.place),
                stood.converted.map(|conversion| conversion.words().to_owned()),
            ),
            None => (None, Spot::Whole.to_string(), Some("by the kind of file".to_owned())),
        };
        self.made.push(Row {
            field: field.to_owned(),
            eye: self.of.eye,
            surface: self.of.surface,
            value: json!(word),
            unit: None,
            shown: word.to_owned(),
            text,
            place: Some(place),
            derived,
        });
    }

    /// A value computed from another by the declared index.
    fn computed(
        &mut self,
        field: &str,
        number: f64,
        unit: &'static str,
        index: KeratometricIndex,
        from: &Place,
    ) {
        self.made.push(Row {
            field: field.to_owned(),
            eye: self.of.eye,
            surface: self.of.surface,
            value: json!(number),
            unit: Some(unit),
            shown: format!("{} {unit}", round::fixed(number, 2)),
            text: None,
            place: Some(spot(from)),
            derived: Some(format!(
                "computed from the {} by the index {}",
                if unit == "D" { "radius" } else { "power" },
                index.index()
            )),
        });
    }

    fn meridian(&mut self, name: &str, meridian: &MeridianReading, index: Option<KeratometricIndex>) {
        let field = |part: &str| format!("km.{name}.{part}");
        self.number(&field("radius"), meridian.radius.as_ref(), Some("mm"), 2, |r| r.millimetres());
        self.number(&field("power"), meridian.power.as_ref(), Some("D"), 2, |p| p.dioptres());
        match (&meridian.radius, &meridian.power, index) {
            (Some(radius), None, Some(index)) => {
                if let Some(power) = index.power_of(radius.value) {
                    self.computed(&field("power"), power.dioptres(), "D", index, &radius.place);
                }
            }
            (None, Some(power), Some(index)) => {
                if let Some(radius) = index.radius_of(power.value) {
                    self.computed(&field("radius"), radius.millimetres(), "mm", index, &power.place);
                }
            }
            _ => {}
        }
        self.number(&field("meridian"), meridian.meridian.as_ref(), Some("deg"), 0, |m| m.degrees());
    }

    fn keratometry(&mut self, keratometry: &Keratometry) {
        let index = keratometry.index.as_ref().map(|index| index.value);
        self.meridian("flat", &keratometry.flat, index);
        self.meridian("steep", &keratometry.steep, index);
        self.number("km.index", keratometry.index.as_ref(), None, 4, |index| index.index());
        self.stated("km.surface", Some(keratometry.surface.word()));
        self.stated("km.kind", keratometry.method.map(method_word));
        self.number("km.zone", keratometry.zone.as_ref(), Some("mm"), 1, |zone| zone.millimetres());
        self.push("km.readings", keratometry.readings.as_ref(), None, |reading| {
            (json!(reading.value), reading.value.to_string())
        });
        self.number("km.spread", keratometry.spread.as_ref(), Some("D"), 2, |spread| spread.dioptres());
        self.words("km.quality", keratometry.quality.as_ref(), |quality| quality_word(*quality).to_owned());
        for (number, single) in (1_usize..).zip(&keratometry.singles) {
            self.meridian(&format!("reading.{number}.flat"), &single.flat, None);
            self.meridian(&format!("reading.{number}.steep"), &single.steep, None);
            self.words(&format!("km.reading.{number}.error"), single.error.as_ref(), Clone::clone);
        }
        if let Some(cylinder) = &keratometry.reported_cylinder {
            self.number("km.cylinder", Some(&cylinder.power), Some("D"), 2, |power| power.dioptres());
            self.number("km.cylinder_axis", cylinder.axis.as_ref(), Some("deg"), 0, |axis| axis.degrees());
        }
    }

    fn axial(&mut self, axial: &Axial) {
        self.number("axial.length", axial.length.as_ref(), Some("mm"), 2, |length| length.millimetres());
        self.stated("axial.method", axial.method.map(crate::model::LengthMethod::word));
        self.number("axial.depth", axial.depth.as_ref(), Some("mm"), 2, |depth| depth.millimetres());
        self.stated("axial.depth_from", axial.depth_from.map(crate::model::ChamberDepthFrom::word));
        self.number("axial.lens", axial.lens.as_ref(), Some("mm"), 2, |lens| lens.millimetres());
        self.number("axial.cornea", axial.cornea.as_ref(), Some("um"), 0, |cornea| cornea.micrometres());
        self.number("axial.white", axial.white.as_ref(), Some("mm"), 1, |white| white.millimetres());
        self.number("axial.spread", axial.spread.as_ref(), Some("mm"), 2, |spread| spread.millimetres());
        self.words("axial.quality", axial.quality.as_ref(), |quality| quality_word(*quality).to_owned());
    }

    fn refraction(&mut self, refraction: &Refraction) {
        let signed = |value: f64| (json!(value), round::signed(value, 2));
        self.push("refraction.sphere", Some(&refraction.sphere), Some("D"), |r| signed(r.value.dioptres()));
        self.push("refraction.cylinder", refraction.cylinder.as_ref(), Some("D"), |r| {
            signed(r.value.dioptres())
        });
        self.number("refraction.axis", refraction.axis.as_ref(), Some("deg"), 0, |axis| axis.degrees());
        self.number("refraction.vertex", refraction.vertex.as_ref(), Some("mm"), 1, |v| v.millimetres());
    }

    fn identity(&mut self, identity: &Identity) {
        self.words("patient.number", identity.number.as_ref(), |number| number.as_written().to_owned());
        self.words("patient.authority", identity.authority.as_ref(), Clone::clone);
        self.words("patient.name", identity.name.as_ref(), crate::model::PersonName::printed);
        self.words("patient.birth", identity.birth_date.as_ref(), ToString::to_string);
        self.words("patient.sex", identity.sex.as_ref(), |sex| sex.printed().to_owned());
    }
}

const fn method_word(method: KeratometryMethod) -> &'static str {
    match method {
        KeratometryMethod::Manual => "manual",
        KeratometryMethod::Automatic => "automatic",
        KeratometryMethod::Simulated => "simulated",
        KeratometryMethod::EquivalentK => "equivalent_k",
    }
}

const fn quality_word(quality: Quality) -> &'static str {
    match quality {
        Quality::Good => "good",
        Quality::Warning => "warning",
        Quality::Failed => "failed",
    }
}

/// Who and which examination: rows without an eye.
pub(super) fn exam_rows(exam: &Exam) -> Vec<Row> {
    let mut rows = Rows::of(Of::default());
    rows.identity(&exam.identity);
    rows.words("exam.time", exam.taken.as_ref(), |taken| taken.local.to_string());
    rows.words("exam.uid", exam.uid.as_ref(), Clone::clone);
    rows.made
}

/// What was measured on one eye.
pub(super) fn eye_rows(eye: Eye, exam: &EyeExam) -> Vec<Row> {
    let mut all = Vec::new();
    for keratometry in &exam.keratometry {
        let of = Of { eye: Some(eye), surface: Some(keratometry.surface.word()) };
        let mut rows = Rows::of_eye(of, exam);
        rows.keratometry(keratometry);
        all.extend(rows.made);
    }
    let mut rows = Rows::of_eye(Of { eye: Some(eye), surface: None }, exam);
    if let Some(axial) = &exam.axial {
        rows.axial(axial);
    }
    if let Some(refraction) = &exam.refraction {
        rows.refraction(refraction);
    }
    rows.words("fact.lens_status", exam.lens_status.as_ref(), |status| status.word().to_owned());
    rows.words("fact.corneal_surgery", exam.corneal_surgery.as_ref(), |surgery| surgery.word().to_owned());
    all.extend(rows.made);
    all
}

/// One fact about an eye.
pub(super) fn fact_rows(fact: &Fact) -> Vec<Row> {
    let mut rows = Rows::of(Of { eye: Some(fact.eye), surface: None });
    rows.identity(&fact.identity);
    let (field, word) = fact.kind.words();
    let reading = Reading::new(word.clone(), word, fact.place.clone());
    rows.words(field, Some(&reading), Clone::clone);
    rows.stated("fact.by", Some(&fact.by));
    let at = fact.at.as_ref().map(|at| at.local.to_string());
    rows.stated("fact.at", at.as_deref());
    rows.made
}

/// One line of an operating list.
pub(super) fn entry_rows(entry: &ListEntry) -> Vec<Row> {
    let eye = entry.eye.as_ref().map(|eye| eye.value);
    let mut rows = Rows::of(Of { eye, surface: None });
    rows.words("list.booking", entry.booking.as_ref(), Clone::clone);
    rows.words("list.date", entry.date.as_ref(), ToString::to_string);
    rows.words("list.theatre", entry.theatre.as_ref(), Clone::clone);
    rows.push("list.position", entry.position.as_ref(), None, |reading| {
        (json!(reading.value), reading.value.to_string())
    });
    rows.identity(&entry.identity);
    rows.words("list.eye", entry.eye.as_ref(), |eye| eye.word().to_owned());
    rows.words("list.procedure", entry.procedure.as_ref(), |procedure| procedure.word().to_owned());
    rows.words("list.surgeon", entry.surgeon.as_ref(), Clone::clone);
    rows.push("list.target", entry.target.as_ref(), Some("D"), |reading| {
        let target = reading.value.target.dioptres();
        (json!(target), round::signed(target, 2))
    });
    rows.words("list.lens", entry.lens.as_ref(), Clone::clone);
    rows.number("list.incision", entry.incision.as_ref(), Some("deg"), 0, |incision| incision.degrees());
    rows.number("list.width", entry.incision_width.as_ref(), Some("mm"), 1, |width| width.millimetres());
    rows.words("list.seat", entry.seat.as_ref(), |seat| seat.word().to_owned());
    rows.words("fact.corneal_surgery", entry.corneal_surgery.as_ref(), |surgery| surgery.word().to_owned());
    rows.words("fact.lens_status", entry.lens_status.as_ref(), |status| status.word().to_owned());
    rows.made
}
