//! A toric lens off its axis: what is left, what that costs, and where to turn it.

use crate::optics::error::{OpticsError, dioptre, unsigned};
use crate::optics::refraction::Refraction;
use crate::units::{Degrees, Dioptre, Meridian, Millimetre, PowerVector, trig};

/// Astigmatism left at the corneal plane by a lens of corneal cylinder `lens` whose marks lie on `axis`: eye minus lens.
///
/// Its direction is the plus-cylinder axis of the refraction that is left.
pub fn residual(eye: PowerVector, lens: Dioptre, axis: Meridian) -> PowerVector {
    eye - PowerVector::from_steep(lens, axis)
}

/// What a lens leaves when it lies off its planned axis, at the corneal plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Misalignment {
    /// Residual with the lens turned anticlockwise.
    pub anticlockwise: PowerVector,
    /// Residual with the lens turned clockwise.
    pub clockwise: PowerVector,
    /// The larger of the two residual cylinders.
    pub worst: Dioptre,
    /// By how much the worst exceeds the residual on the planned axis.
    pub added: Dioptre,
}

/// Cost of a lens `off` degrees from its planned axis, either way.
///
/// Source: [`WILLIAMS_1993`](crate::cite::WILLIAMS_1993) for the law; vectors.
///
/// # Errors
/// [`OpticsError::NotFinite`] when a residual is no number.
pub fn cost_of_misalignment(
    eye: PowerVector,
    lens: Dioptre,
    axis: Meridian,
    off: Degrees,
) -> Result<Misalignment, OpticsError> {
    let back = Degrees::computed(-off.degrees()).ok_or(OpticsError::NotFinite { what: "a turn" })?;
    let anticlockwise = residual(eye, lens, axis.turned(off));
    let clockwise = residual(eye, lens, axis.turned(back));
    let worst = dioptre(
        anticlockwise.cylinder().dioptres().max(clockwise.cylinder().dioptres()),
        "the cost of a misalignment",
    )?;
    Ok(Misalignment { anticlockwise, clockwise, worst, added: worst - residual(eye, lens, axis).cylinder() })
}

/// Residual cylinder over the cylinder of the lens when a full correction lies `off` degrees from its axis:
/// `2 |sin|`, no unit.
///
/// 3.49 % per degree at zero; 30 degrees leave all of it. Source: [`SWAMI_2002`](crate::cite::SWAMI_2002).
pub fn loss_by_residual(off: Degrees) -> f64 {
    2.0 * trig::sin(off.radians()).abs()
}

/// Share of the effect lost AT the intended meridian, `1 - cos 2t`, no unit. Another measure than
/// [`loss_by_residual`]: 6 % where that says 35 %. Source: [`SHEN_2010`](crate::cite::SHEN_2010).
pub fn loss_at_meridian(off: Degrees) -> f64 {
    1.0 - trig::cos(2.0 * off.radians())
}

/// Angle off axis at which a lens leaves as much astigmatism as there was without it: `cos 2b = lens / (2 eye)`.
///
/// None when the lens is more than twice the eye, which is worse on any axis, or the eye has none. Source:
/// [`FELIPE_2011`](crate::cite::FELIPE_2011).
pub fn neutral_turn(eye: Dioptre, lens: Dioptre) -> Option<Degrees> {
    let cosine = lens.dioptres() / (2.0 * eye.dioptres());
    (eye.dioptres() > 0.0 && cosine.abs() <= 1.0)
        .then(|| Degrees::computed(trig::degrees(trig::acos(cosine)) / 2.0))
        .flatten()
}

/// Greatest angle off axis at which a full correction of `cylinder` leaves no more than `allowed`:
/// `asin(allowed / (2 cylinder))`.
///
/// None when any angle leaves less, or a cylinder is not above zero. Source: [`WILLIAMS_1993`](crate::cite::WILLIAMS_1993) for
/// the law.
pub fn tolerated_turn(cylinder: Dioptre, allowed: Dioptre) -> Option<Degrees> {
    let sine = allowed.dioptres() / (2.0 * cylinder.dioptres());
    (cylinder.dioptres() > 0.0 && (0.0..=1.0).contains(&sine))
        .then(|| Degrees::computed(trig::degrees(trig::asin(sine))))
        .flatten()
}

/// Best axis for a toric lens that is in the eye, from the refraction measured with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Realignment {
    /// Astigmatism of the eye without the lens, at the corneal plane.
    pub eye: PowerVector,
    /// Axis that leaves the least.
    pub best_axis: Meridian,
    /// Turn from the present axis to it, the shorter way, positive anticlockwise.
    pub turn: Degrees,
    /// Residual cylinder now, at the corneal plane.
    pub cylinder_now: Dioptre,
    /// Residual cylinder on the best axis, at the corneal plane.
    pub cylinder_then: Dioptre,
    /// Refraction at the corneal plane on the best axis, in minus form; its mean sphere is that of now.
    pub refraction_then: Refraction,
}

/// Best axis for a lens of corneal cylinder `lens` lying on `axis`, from the refraction at spectacles `vertex` before
/// the cornea.
///
/// `eye = refraction at the cornea + lens`; the lens belongs on the steep meridian of that. Source: concept of
/// [`BERDAHL_2012`](crate::cite::BERDAHL_2012). Assumes a thin cornea and lens, and a refraction from a stable tear film.
///
/// # Errors
/// [`OpticsError`] when the refraction cannot be taken to the cornea or the cylinder has a sign.
pub fn best_realignment(
    refraction: Refraction,
    lens: Dioptre,
    axis: Meridian,
    vertex: Millimetre,
) -> Result<Realignment, OpticsError> {
    unsigned(lens, "lens cylinder")?;
    let at_cornea = refraction.at_cornea(vertex)?;
    let now = at_cornea.astigmatism();
    let eye = now + PowerVector::from_steep(lens, axis);
    let best_axis = eye.steep();
    let then = residual(eye, lens, best_axis);
    Ok(Realignment {
        eye,
        best_axis,
        turn: axis.turn_to(best_axis),
        cylinder_now: now.cylinder(),
        cylinder_then: then.cylinder(),
        refraction_then: Refraction::from_mean_and_vector(at_cornea.spherical_equivalent(), then),
    })
}

/// Scatter of the best axis from the scatter of a refraction, as a standard deviation: `s / (2 c)` radians.
///
/// `component` is the standard deviation of one component of the vector, `lens` the corneal cylinder. None without a
/// cylinder.
pub fn scatter_of_best_axis(component: Dioptre, lens: Dioptre) -> Option<Degrees> {
    (lens.dioptres() > 0.0)
        .then(|| Degrees::computed(trig::degrees(component.dioptres() / (2.0 * lens.dioptres()))))
        .flatten()
}

/// Astigmatism at the corneal plane from the tilt of a lens, `P (1 + sin^2/3) tan^2 / ratio`, in dioptres.
///
/// Against the rule for a tilt about the vertical. The formula is from memory, compared with the values of
/// [`WEIKERT_2018`](crate::cite::WEIKERT_2018): 6 to 10 % above ray tracing. `ratio` is cylinder at the lens over cylinder at the cornea.
///
/// # Errors
/// [`OpticsError::NotFinite`] when the ratio is zero or the tilt is 90 degrees.
pub fn tilt_astigmatism(lens: Dioptre, tilt: Degrees, ratio: f64) -> Result<Dioptre, OpticsError> {
    let sine = trig::sin(tilt.radians());
    let tangent = trig::tan(tilt.radians());
    dioptre(
        lens.dioptres() * (1.0 + sine * sine / 3.0) * tangent * tangent / ratio,
        "the astigmatism of a tilted lens",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: standard deviation of an axis, `s / (2 C)` radians: 0.17 D and 1.5 D give 3.2 degrees; 0.15 D gives 4.3, 2.2
    /// and 1.4 degrees at 1, 2 and 3 D.
    #[test]
    fn the_scatter_of_an_axis_goes_down_with_the_cylinder() {
        let scatter = |component: f64, lens: f64| {
            scatter_of_best_axis(Dioptre::from_dioptres(component), Dioptre::from_dioptres(lens))
                .map(Degrees::degrees)
        };
        for (component, lens, expected) in
            [(0.17, 1.5, 3.2), (0.15, 1.0, 4.3), (0.15, 2.0, 2.2), (0.15, 3.0, 1.4)]
        {
            let found = scatter(component, lens).unwrap();
            assert!((found - expected).abs() < 0.06, "{component} D of {lens} D: {found}");
        }
        assert_eq!(scatter(0.17, 0.0), None);
        assert_eq!(scatter(0.17, -1.0), None);
    }

    #[test]
    fn an_eye_without_astigmatism_has_no_such_angle() {
        let d = Dioptre::from_dioptres;
        assert_eq!(neutral_turn(Dioptre::ZERO, Dioptre::ZERO), None);
        assert_eq!(tolerated_turn(Dioptre::ZERO, Dioptre::ZERO), None);
        // Any angle leaves less: no limit.
        assert_eq!(tolerated_turn(d(0.5), d(1.5)), None);
        assert_eq!(tolerated_turn(d(-1.0), d(-0.5)), None);
        assert!((tolerated_turn(d(2.0), d(2.0)).unwrap().degrees() - 30.0).abs() < 1e-9);
    }
}
