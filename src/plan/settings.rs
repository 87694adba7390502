//! What a site can set about planning.

use super::instrument::MadeWith;
use crate::cite::{
    COLLEWIJN_1985, CYCLOTORSION, ERROR_BUDGET, ERROR_BUDGET_FACTOR, HOUSE_RULE, KERATOMETRY_WEIGHTS,
    MARK_AGE, Source,
};
use crate::optics::torsion::STATIC_COUNTER_ROLL;
use crate::optics::uncertainty::{AngleSds, ComponentSds};
use crate::units::{Degrees, Dioptre, Millimetre};

/// How the sources of keratometry are combined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Combining {
    /// Each source weighs by the inverse of its covariance.
    #[default]
    InverseCovariance,
    /// Every source weighs the same.
    Mean,
}

impl Combining {
    /// The words there are.
    pub const WORDS: &[&str] = &[Self::InverseCovariance.word(), Self::Mean.word()];

    /// The word of settings.
    pub const fn word(self) -> &'static str {
        match self {
            Self::InverseCovariance => "inverse_covariance",
            Self::Mean => "mean",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        [Self::InverseCovariance, Self::Mean].into_iter().find(|way| way.word() == text.trim())
    }
}

/// Settings of the plan core with their defaults and sources.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// How the sources of keratometry are combined, where the surgeon's file does not say.
    pub combine: Combining,
    /// How far the list's incision may lie from the place the surgeon's effect was found at before the surgeon is asked.
    pub incision_moved: Degrees,
    /// How far the list's width of the incision may be from the one the surgeon's effect was found at.
    pub incision_width_moved: Millimetre,
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
    /// Distance of a refraction that states none from the cornea; none where the site does not say: then such a refraction is
    /// refused.
    pub refraction_vertex: Option<Millimetre>,
    /// Standard deviations of the parts of the astigmatism.
    pub components: ComponentSds,
    /// Standard deviations of the angle of the lens.
    pub angles: AngleSds,
    /// Entered turn of the eye from sitting to lying above which the surgeon is asked.
    pub cyclotorsion_large: Degrees,
    /// Entered tilt of the head at marking above which a person is asked.
    pub head_tilt_large: Degrees,
    /// Hours after which marks are too old for use.
    pub mark_hours: f64,
    /// How far marks may disagree, as degrees, before they are not trusted.
    pub marks_disagree: Degrees,
    /// Share of a static tilt of the head that the eye undoes, no unit.
    pub counter_roll: f64,
    /// Factor on all of them, no unit.
    pub budget_factor: f64,
}

impl Settings {
    /// Source of [`Settings::combine`]: least squares; the scatter of a source and its floor are ours.
    pub const COMBINE_SOURCE: Source = KERATOMETRY_WEIGHTS;
    /// Source of [`Settings::cyclotorsion_large`]: near the edge of the published range.
    pub const CYCLOTORSION_SOURCE: Source = CYCLOTORSION;
    /// Source of [`Settings::head_tilt_large`] and [`Settings::marks_disagree`].
    pub const MARKS_SOURCE: Source = HOUSE_RULE;
    /// Source of [`Settings::mark_hours`]: for ink, our own choice.
    pub const MARK_HOURS_SOURCE: Source = MARK_AGE;
    /// Source of [`Settings::counter_roll`].
    pub const COUNTER_ROLL_SOURCE: Source = COLLEWIJN_1985;
    /// Source of [`Settings::incision_moved`] and [`Settings::incision_width_moved`].
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
            combine: Combining::default(),
            incision_moved: Degrees::from_degrees(10.0),
            incision_width_moved: Millimetre::from_millimetres(0.3),
            equal_chances: 0.02,
            equal_residuals: Dioptre::from_dioptres(0.01),
            with_the_rule_slack: Dioptre::from_dioptres(0.25),
            residual_large: Dioptre::from_dioptres(0.75),
            formulas_apart: Dioptre::from_dioptres(0.50),
            entered_power: Dioptre::from_dioptres(0.75),
            entered_axis: Degrees::from_degrees(5.0),
            least_gain: Dioptre::from_dioptres(0.50),
            refraction_vertex: None,
            components: ComponentSds {
                keratometry: ComponentSds::KERATOMETRY,
                posterior: ComponentSds::POSTERIOR_MODEL,
                posterior_measured: ComponentSds::POSTERIOR_MEASURED,
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
            cyclotorsion_large: Degrees::from_degrees(12.0),
            head_tilt_large: Degrees::from_degrees(5.0),
            mark_hours: MadeWith::Ink.hours(),
            marks_disagree: Degrees::from_degrees(5.0),
            counter_roll: STATIC_COUNTER_ROLL,
            budget_factor: ComponentSds::COHORT_FACTOR,
        }
    }
}
