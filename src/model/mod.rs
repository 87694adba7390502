//! What was measured, on which eye, how, when, with which index, and where in which file it stood.
//!
//! Values without eye, unit and provenance have no type here: every number is a [`Reading`] that names its [`Place`].
//! The model holds what a file said, plausible or not; whether it can be believed is for the rules.

mod exam;
mod eye;
mod fact;
mod identity;
mod list;
mod place;
mod prediction;
mod reading;
mod repeats;
mod time;

pub use exam::{
    Axial, ChamberDepthFrom, Cylinder, Exam, EyeExam, FileNameClaims, Instrument, InstrumentClass,
    Keratometry, KeratometryMethod, LengthMethod, MeridianReading, Quality, Refraction, StatedWord, Surface,
    TemplateRef,
};
pub use eye::{ByEye, Eye, UnknownEye};
pub use fact::{ContactLens, Drops, Fact, FactKind, Facts};
pub use identity::{Identity, PatientNumber, PersonName, Sex};
pub use list::{
    CornealSurgery, LensStatus, ListEntry, OperatingList, Procedure, Seat, SignedTarget, same_name,
};
pub use place::{Digest, FileRef, Place, Spot};
pub use prediction::{ExternalPrediction, PredictedRefraction, StatedFormula};
pub use reading::{Conversion, Reading, Written};
pub use repeats::{MeanReading, NoMean, SingleReading, mean_of};
pub use time::{ExamTime, ZoneSource};
