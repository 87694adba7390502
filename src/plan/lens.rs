//! A lens family: its powers and steps, its constants, and how its box is labelled.

use crate::units::{Dioptre, Millimetre, round};

/// What kind of lens it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LensKind {
    /// Toric.
    Toric,
    /// Spherical only.
    Spherical,
    /// Added before the natural lens, toric or not.
    Phakic,
}

/// On which meridian of a phakic lens its marks lie. Each maker does it another way: the lens file must say.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum MarksOn {
    /// On the lens's meridian of least power, which belongs on the steep meridian of the eye, as on other toric lenses.
    LeastPower,
    /// On the axis of its minus cylinder, the meridian of greatest power, a right angle from there.
    MinusAxis,
}

impl MarksOn {
    /// From the word of a lens file.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim() {
            "least_power" => Some(Self::LeastPower),
            "minus_cylinder_axis" => Some(Self::MinusAxis),
            _ => None,
        }
    }

    /// What the printed axis is, in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::LeastPower => {
                "the marks lie on the lens's meridian of least power: the axis of its PLUS cylinder"
            }
            Self::MinusAxis => "the marks lie on the axis of the lens's MINUS cylinder",
        }
    }
}

/// How the depth of a phakic lens behind the corneal front is found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DepthRule {
    /// The lens lies so deep in every eye.
    Fixed(Millimetre),
    /// The lens lies so far before the natural lens: chamber depth from the corneal front less this.
    BeforeNaturalLens(Millimetre),
}

/// What a phakic family states beside what every family does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhakicDesign {
    /// How its depth is found.
    pub depth: DepthRule,
    /// Where its marks lie.
    pub marks: MarksOn,
    /// Whether its box states the cylinder as minus, with the sphere that belongs to it.
    pub minus_on_box: bool,
}

/// Constants of the family, each used only by the formula it belongs to.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LensConstants {
    /// A constant, for Retzlaff 1990.
    pub a: Option<f64>,
    /// Surgeon factor in millimetres, for Holladay 1988.
    pub sf: Option<f64>,
    /// Personalised chamber depth in millimetres, for Hoffer 1993.
    pub pacd: Option<f64>,
    /// For Haigis 2000.
    pub a0: Option<f64>,
    /// For Haigis 2000.
    pub a1: Option<f64>,
    /// For Haigis 2000.
    pub a2: Option<f64>,
    /// Where they came from, in the words of the file.
    pub origin: String,
}

/// A ladder of powers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerRange {
    /// Least power.
    pub from: Dioptre,
    /// Greatest power.
    pub to: Dioptre,
    /// Step between powers; greater than zero.
    pub step: Dioptre,
}

impl PowerRange {
    /// The powers of the ladder, from the least.
    pub fn powers(&self) -> impl Iterator<Item = Dioptre> {
        let (from, to, step) = (self.from.dioptres(), self.to.dioptres(), self.step.dioptres());
        (0..=2000_u32)
            .map(move |rung| from + step * f64::from(rung))
            .take_while(move |power| step > 0.0 && *power <= to + 1e-9)
            .filter_map(Dioptre::computed)
    }

    /// Whether a power lies between its ends.
    pub fn holds(&self, power: Dioptre) -> bool {
        power.dioptres() >= self.from.dioptres() - 1e-9 && power.dioptres() <= self.to.dioptres() + 1e-9
    }
}

/// What power stands on the box.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BoxPower {
    /// The spherical equivalent.
    SphericalEquivalent,
    /// The sphere: the least of the two principal powers.
    Sphere,
}

/// In which plane the cylinder on the box is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BoxPlane {
    /// At the lens.
    Lens,
    /// At the cornea, by the maker's own conversion.
    Cornea,
}

/// One step of cylinder.
#[derive(Debug, Clone, PartialEq)]
pub struct LensStep {
    /// The code as printed on the box.
    pub code: String,
    /// Cylinder at the lens plane, plus.
    pub cylinder: Dioptre,
    /// Cylinder as printed on the box, when that is another plane.
    pub box_cylinder: Dioptre,
    /// Powers in which the step is made.
    pub made: PowerRange,
}

/// A lens family that can be planned: everything its box line needs is there.
#[derive(Debug, Clone, PartialEq)]
pub struct LensFamily {
    /// Name, as lists write it.
    pub name: String,
    /// Revision and digest of the approved file; none for a family stated in a case file.
    pub revision: Option<String>,
    /// Kind.
    pub kind: LensKind,
    /// Constants.
    pub constants: LensConstants,
    /// For a phakic lens: depth and marks.
    pub phakic: Option<PhakicDesign>,
    /// What power stands on the box.
    pub box_power: BoxPower,
    /// In which plane the cylinder on the box is meant.
    pub box_plane: BoxPlane,
    /// The ladder of equivalent powers.
    pub equivalent: PowerRange,
    /// Steps, weakest first. The spherical lens of the family is not a step.
    pub steps: Vec<LensStep>,
}

/// Why a lens family cannot be planned.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum LensFault {
    /// No code.
    #[error("step {position} of lens `{family}` has no code as printed on the box")]
    NoCode {
        /// The family.
        family: String,
        /// Which step, from 1.
        position: usize,
    },
    /// Two steps share a code or a cylinder.
    #[error("step `{code}` of lens `{family}` stands twice")]
    Twice {
        /// The family.
        family: String,
        /// The code.
        code: String,
    },
    /// A cylinder is zero, negative, or weaker on a later step.
    #[error("the steps of lens `{family}` must have cylinders above zero in rising order, `{code}` does not")]
    Order {
        /// The family.
        family: String,
        /// The code.
        code: String,
    },
    /// A ladder that holds no power.
    #[error("the powers of lens `{family}` run from {from} to {to} D by {step} D: that is no ladder")]
    Ladder {
        /// The family.
        family: String,
        /// Least power.
        from: String,
        /// Greatest power.
        to: String,
        /// Step.
        step: String,
    },
    /// A toric family without steps.
    #[error("lens `{family}` is toric and has no steps")]
    NoSteps {
        /// The family.
        family: String,
    },
}

impl LensFault {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::NoCode { .. } => "give each step its `code` exactly as the box prints it",
            Self::Twice { .. } | Self::Order { .. } => "list each step once, weakest cylinder first",
            Self::Ladder { .. } => {
                "give `equivalent_d = { from, to, step }` with a step above zero and `to` not below `from`"
            }
            Self::NoSteps { .. } => "list the steps of the family, or declare its kind `spherical`",
        }
    }
}

impl LensFamily {
    /// Every fault that keeps the family from being planned.
    pub fn faults(&self) -> Vec<LensFault> {
        let mut faults = Vec::new();
        let family = || self.name.clone();
        for range in core::iter::once(&self.equivalent).chain(self.steps.iter().map(|step| &step.made)) {
            if range.step.dioptres() <= 0.0 || range.powers().next().is_none() {
                faults.push(LensFault::Ladder {
                    family: family(),
                    from: round::fixed(range.from.dioptres(), 2),
                    to: round::fixed(range.to.dioptres(), 2),
                    step: round::fixed(range.step.dioptres(), 2),
                });
                break;
            }
        }
        if self.kind == LensKind::Toric && self.steps.is_empty() {
            faults.push(LensFault::NoSteps { family: family() });
        }
        let mut weakest = 0.0;
        for (position, step) in self.steps.iter().enumerate() {
            if step.code.trim().is_empty() {
                faults.push(LensFault::NoCode { family: family(), position: position + 1 });
            }
            if self.steps.iter().take(position).any(|earlier| earlier.code == step.code) {
                faults.push(LensFault::Twice { family: family(), code: step.code.clone() });
            }
            if step.cylinder.dioptres() <= weakest {
                faults.push(LensFault::Order { family: family(), code: step.code.clone() });
            }
            weakest = step.cylinder.dioptres();
        }
        faults
    }

    /// The one line AS ON THE BOX, sign always: power as the box states it, cylinder as the box states it, code.
    pub fn box_line(&self, equivalent: Dioptre, step: Option<&LensStep>) -> String {
        let d = |value: f64| round::signed(value, 2);
        let Some(step) = step else {
            return format!("{} {} D", self.name, d(equivalent.dioptres()));
        };
        // Of a minus cylinder the sphere is the greatest principal power, of a plus cylinder the least.
        let minus = self.phakic.is_some_and(|phakic| phakic.minus_on_box);
        let cylinder = if minus { -step.box_cylinder.dioptres() } else { step.box_cylinder.dioptres() };
        let (word, power) = match self.box_power {
            BoxPower::SphericalEquivalent => ("SE", equivalent.dioptres()),
            BoxPower::Sphere => ("SPH", equivalent.dioptres() - cylinder / 2.0),
        };
        format!("{} {}  {word} {} D  CYL {} D", self.name, step.code, d(power), d(cylinder))
    }
}
