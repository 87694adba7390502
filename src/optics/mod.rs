//! Pure formulas of the eye: power vectors, vergence, lens power, posterior cornea, incision, rotation, uncertainty.
//!
//! Nothing here decides anything. A function says what follows from its arguments by a named formula, on a named plane,
//! and refuses where the formula does not hold; which formula to use, and what to do with the answer, is the planner's.
//!
//! One sign convention everywhere. Astigmatism is a [`PowerVector`](crate::units::PowerVector): full cylinder at double
//! the angle, direction the steep meridian of a cornea, which is the plus-cylinder axis of the refraction that corrects
//! it and the meridian on which the marks of a toric lens lie. Residual = cornea - lens, at the corneal plane.

pub mod cornea;
mod error;
pub mod incision;
pub mod matrix;
pub mod posterior;
pub mod power;
pub mod refraction;
pub mod rotation;
pub mod toric;
pub mod torsion;
pub mod uncertainty;
pub mod vergence;
pub mod view;

pub use error::OpticsError;
