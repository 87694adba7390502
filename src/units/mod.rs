//! One type per quantity: finite, in range, the unit in the name.
//!
//! A bare `f64` crosses no room's door. A length is a [`Millimetre`], a power a [`Dioptre`], a meridian of an eye a
//! [`Meridian`] on the 180-degree circle, a place on the limbus a [`Direction`] on the full circle. Arithmetic exists
//! only where physics allows it: two meridians cannot be added, astigmatism is added as a [`PowerVector`].
//!
//! Trigonometry goes through [`trig`], so that the same input gives the same bits on every platform; numbers become
//! text through [`round`] alone.

mod angle;
mod bounds;
mod quantity;
pub mod round;
pub mod trig;
mod vector;

pub use angle::{Degrees, Direction, Meridian};
pub use bounds::OutOfRange;
pub use quantity::{Dioptre, KeratometricIndex, Micrometre, Millimetre};
pub use vector::PowerVector;
