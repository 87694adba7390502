//! From screened readings to a plan: what lens, on which axis, how to mark, and every step with its source.
//!
//! Three doors. [`trial`] takes what passed the refusing checks and gives numbers for the desk, for weighing a
//! disagreement, for `trial{}` in JSON - never for a page. [`plan`] takes what has every sign-off answered. A [`Plan`]
//! becomes [`Released`] when its own findings are answered and, where the site asks it, it is approved; only that makes a
//! sheet.

mod act;
mod arcs;
mod arcs_explained;
mod arcs_noticed;
mod arcs_planned;
mod astigmatism;
mod budget;
mod choose;
mod compare;
mod compute;
mod door;
mod explain;
mod incision;
mod instrument;
mod json;
mod json_work;
mod keratometry;
mod laser;
mod lens;
mod marked;
mod marking;
mod nomogram;
mod notice;
mod order;
mod phakic;
mod posterior;
mod power;
mod realign;
mod refracted;
mod settings;
mod step;
mod surgeon;

pub use act::{Act, Opening};
pub use arcs::{Arc, ArcsPlan, LocalThickness, ThicknessFrom};
pub use budget::BudgetShare;
pub use compare::IncisionOrStep;
pub use compute::{
    AstigmatismStep, Choice, Computation, IncisionKind, IncisionPlan, LensPlan, Line, MisalignmentCost,
    PowerRow, ResidualChance, StepWord, Work,
};
pub use door::{Approval, OpenPlan, Plan, Released, Trial, confirm, plan, trial};
pub use instrument::{Dial, Gaze, MadeWith, MarkingWay, Sense, lean};
pub use json::as_json;
pub use keratometry::{Agreement, Combined, Scatter};
pub use laser::{LaserOrder, LaserPlan, LaserRow, Shift, Torsion, Uncompensated};
pub use lens::{
    BoxPlane, BoxPower, DepthRule, LensConstants, LensFamily, LensFault, LensKind, LensStep, MarksOn,
    PhakicDesign, PowerRange,
};
pub use marked::{Marked, MarkedFault, Posture};
pub use marking::{Guide, Marking, Marks, RingSetting, TheatreMethod, Turn, TurnDirection};
pub use nomogram::{
    AgeBand, ArcCell, ArcDepth, ArcEnd, ArcIncision, ArcInput, ArcRow, ArcTable, ArcTechnique, ClassLimits,
    Nomogram, SingleArc, class_words,
};
pub use order::{Entered, Order};
pub use posterior::OtherModel;
pub use power::Beside;
pub use realign::{Advice, Implanted, RealignmentPlan};
pub use settings::{Combining, Settings};
pub use step::Step;
pub use surgeon::{
    FormulaName, IncisionEffectStated, IncisionProfile, IncisionSite, Leftover, LengthBand, PosteriorChoice,
    Reach, Surgeon,
};
