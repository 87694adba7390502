//! What a site can set about planning.

use crate::cite::{ERROR_BUDGET, ERROR_BUDGET_FACTOR, HOUSE_RULE, Source, TORSION_RANGE};
use crate::optics::uncertainty::{AngleSds, ComponentSds};
use crate::units::{Degrees, Dioptre, Millimetre};

/// Settings of the plan core with their defaults and sources.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// How far the list's incision may lie from the place the surgeon's effect was found at before the surgeon is asked.
    pub incision_moved: Degrees,
    /// Chances of leaving at most 0.50 D closer together than this count as equal, a fraction; then the weaker cylinder is
    /// taken.
    pub equal_chances: f64,
    /// The same for residuals, where no chance can be computed.
    pub equal_residuals: Dioptre,
    /// How much more residual a surgeon who wants to stay with the rule accepts.
    pub with_the_rule_slack: Dioptre,
    /// Predicted residual astigmatism above which the surgeon is asked.
    pub residual_large: Dioptre,
    /// Difference of two formulas' predictions above which the surgeon is asked.
    pub formulas_apart: Dioptre,
    /// How far the power of an entered lens may be from the computed one before it is asked about.
    pub entered_power: Dioptre,
    /// How far the axis of an entered lens may be from the computed one before it is asked about.
    pub entered_axis: Degrees,
    /// What turning a lens must gain at least to be advised.
    pub least_gain: Dioptre,
    /// Entered cyclotorsion above which the surgeon is asked.
    pub torsion_large: Degrees,
    /// Distance of a refraction that states none from the cornea; none where the site does not say: then such a refraction is
    /// refused.
    pub refraction_vertex: Option<Millimetre>,
    /// Standard deviations of the parts of the astigmatism.
    pub components: ComponentSds,
    /// Standard deviations of the angle of the lens.
    pub angles: AngleSds,
    /// Factor on all of them, no unit.
    pub budget_factor: f64,
}

impl Settings {
    /// Source of [`Settings::incision_moved`].
    pub const INCISION_MOVED_SOURCE: Source = HOUSE_RULE;
    /// Source of [`Settings::equal_chances`] and [`Settings::equal_residuals`]: the weaker cylinder is safer under rotation; the limit is ours.
    pub const EQUAL_RESIDUALS_SOURCE: Source = HOUSE_RULE;
    /// Source of [`Settings::with_the_rule_slack`].
    pub const WITH_THE_RULE_SOURCE: Source = HOUSE_RULE;
    /// Source of [`Settings::residual_large`].
    pub const RESIDUAL_LARGE_SOURCE: Source = HOUSE_RULE;
    /// Source of [`Settings::formulas_apart`].
    pub const FORMULAS_APART_SOURCE: Source = HOUSE_RULE;
    /// Source of [`Settings::entered_power`] and [`Settings::entered_axis`].
    pub const ENTERED_SOURCE: Source = HOUSE_RULE;
    /// Source of [`Settings::least_gain`].
    pub const LEAST_GAIN_SOURCE: Source = HOUSE_RULE;
    /// Source of [`Settings::torsion_large`].
    pub const TORSION_LARGE_SOURCE: Source = TORSION_RANGE;
    /// Source of [`Settings::refraction_vertex`]: only the site can know.
    pub const REFRACTION_VERTEX_SOURCE: Source = HOUSE_RULE;
    /// Source of the standard deviations.
    pub const BUDGET_SOURCE: Source = ERROR_BUDGET;
    /// Source of [`Settings::budget_factor`].
    pub const BUDGET_FACTOR_SOURCE: Source = ERROR_BUDGET_FACTOR;
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            incision_moved: Degrees::from_degrees(10.0),
            equal_chances: 0.02,
            equal_residuals: Dioptre::from_dioptres(0.01),
            with_the_rule_slack: Dioptre::from_dioptres(0.25),
            residual_large: Dioptre::from_dioptres(0.75),
            formulas_apart: Dioptre::from_dioptres(0.50),
            entered_power: Dioptre::from_dioptres(0.75),
            entered_axis: Degrees::from_degrees(5.0),
            least_gain: Dioptre::from_dioptres(0.50),
            torsion_large: Degrees::from_degrees(12.0),
            refraction_vertex: None,
            components: ComponentSds {
                keratometry: ComponentSds::KERATOMETRY,
                posterior: ComponentSds::POSTERIOR_MODEL,
                incision: ComponentSds::INCISION,
                tilt: ComponentSds::TILT,
                refraction: Some(ComponentSds::REFRACTION),
            },
            angles: AngleSds {
                marking: AngleSds::MARKING,
                alignment: AngleSds::ALIGNMENT,
                rotation: AngleSds::ROTATION,
                head_tilt: AngleSds::HEAD_TILT,
                tail_weight: AngleSds::TAIL_WEIGHT,
                tail: AngleSds::TAIL,
            },
            budget_factor: ComponentSds::COHORT_FACTOR,
        }
    }
}
