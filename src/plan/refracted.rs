//! The refraction a plan rests on, with its vertex distance: never a silent one.

use super::compute::{Asked, Refusals};
use super::explain::{place, step};
use super::power::refusal;
use super::settings::Settings;
use super::step::Step;
use crate::checks::RefractionSource;
use crate::cite;
use crate::finding::{Code, Finding, Severity};
use crate::optics::refraction::Refraction;
use crate::units::{Dioptre, Meridian, Millimetre, round};

/// A refraction as written, in minus form, and where before the cornea it was found.
#[derive(Debug, Clone)]
pub(super) struct Refracted<'a> {
    pub(super) source: &'a RefractionSource,
    pub(super) minus: Refraction,
    pub(super) vertex: Millimetre,
    vertex_from: String,
}

/// `-10.00 -3.00 x 010`; a sphere has no axis.
pub(super) fn written(refraction: Refraction) -> String {
    let d = |value: Dioptre| format!("{} D", round::signed(value.dioptres(), 2));
    if round::fixed(refraction.cylinder().dioptres(), 2) == "0.00" {
        return d(refraction.sphere());
    }
    format!(
        "{} {} x {}",
        d(refraction.sphere()),
        d(refraction.cylinder()),
        round::meridian(refraction.axis())
    )
}

fn refused(asked: &Asked<'_>, text: &str, expected: &str, next: &str) -> Finding {
    Finding::new(Code::U10, Severity::Refuse, text, text)
        .eye(asked.eye)
        .expected(expected)
        .found("none")
        .cited(cite::HOUSE_RULE)
        .next(next)
}

/// The refraction of the planned eye; U10 without one, and without a vertex distance where no setting states one.
pub(super) fn of<'a>(asked: &Asked<'a>, findings: &mut Vec<Finding>) -> Result<Refracted<'a>, Refusals> {
    let Some(source) = asked.selection.refraction() else {
        return Err(vec![refused(
            asked,
            "there is no refraction of the planned eye",
            "a refraction: sphere, cylinder and axis, with its vertex distance",
            "refract the planned eye and export it",
        )]);
    };
    let read = source.refraction();
    let (vertex, vertex_from) = match (&read.vertex, asked.order.settings.refraction_vertex) {
        (Some(stated), _) => (stated.value, place(&stated.place)),
        (None, Some(setting)) => {
            findings.push(by_setting(asked, source, setting));
            (setting, "setting of the site, refraction_vertex_mm".to_owned())
        }
        (None, None) => {
            let finding = refused(
                asked,
                "the refraction states no vertex distance, and no setting of the site does",
                "a vertex distance",
                "have the vertex distance exported with the refraction, or have the site state `refraction_vertex_mm`",
            );
            return Err(vec![finding.at(read.sphere.place.clone()).sources([source.label().to_owned()])]);
        }
    };
    let cylinder = read.cylinder.as_ref().map_or(Dioptre::ZERO, |cylinder| cylinder.value);
    let axis = read.axis.as_ref().map_or(Meridian::HORIZONTAL, |axis| axis.value);
    let minus = Refraction::from_sphere_cylinder_axis(read.sphere.value, cylinder, axis).minus_form();
    Ok(Refracted { source, minus, vertex, vertex_from })
}

/// U10 as a note: a setting stands in for the vertex distance.
fn by_setting(asked: &Asked<'_>, source: &RefractionSource, vertex: Millimetre) -> Finding {
    let shown = format!("{} mm", round::fixed(vertex.millimetres(), 1));
    Finding::new(
        Code::U10,
        Severity::Note,
        format!("the refraction states no vertex distance: {shown} by the setting of the site"),
        "the refraction states no vertex distance: that of the site's settings was taken",
    )
    .eye(asked.eye)
    .expected("a vertex distance")
    .found("none")
    .at(source.refraction().sphere.place.clone())
    .sources([source.label().to_owned()])
    .cited(Settings::REFRACTION_VERTEX_SOURCE)
    .next(
        "nothing to do: the setting is the site's own; have the vertex distance exported with the refraction",
    )
}

impl Refracted<'_> {
    /// Taken to the cornea, in minus form.
    pub(super) fn at_cornea(&self, asked: &Asked<'_>) -> Result<Refraction, Refusals> {
        self.minus
            .at_cornea(self.vertex)
            .map_err(|error| vec![refusal(asked.eye, &error.to_string(), error.hint())])
    }

    /// The step from what was written to the cornea.
    pub(super) fn step(&self, at_cornea: Refraction) -> Step {
        let read = self.source.refraction();
        let mut inputs = vec![("sphere", format!("{} D", read.sphere.text), place(&read.sphere.place))];
        if let Some(cylinder) = &read.cylinder {
            inputs.push(("cylinder", format!("{} D", cylinder.text), place(&cylinder.place)));
        }
        if let Some(axis) = &read.axis {
            inputs.push(("axis", axis.text.clone(), place(&axis.place)));
        }
        inputs.push((
            "vertex",
            format!("{} mm", round::fixed(self.vertex.millimetres(), 1)),
            self.vertex_from.clone(),
        ));
        step(
            &format!("Refraction of {}", self.source.label()),
            "minus form; to the cornea F / (1 - d F) in each principal meridian, as a 2x2 matrix",
            inputs,
            format!("{}; at the cornea {}", written(self.minus), written(at_cornea)),
            cite::LONG_1976,
        )
    }
}
