//! The eye turns about its line of sight: when the patient lies down, and when the head is tilted.

use crate::optics::view::Eye;
use crate::units::{Degrees, Meridian};

/// Share of a static head tilt that the eye undoes by counter-rolling, no unit. Source:
/// [`COLLEWIJN_1985`](crate::cite::COLLEWIJN_1985): about a tenth, to tilts of 20 degrees.
pub const STATIC_COUNTER_ROLL: f64 = 0.1;

/// A meridian of the upright eye after the eye has turned, in the frame of the head.
///
/// `excyclotorsion` is positive when 12 o'clock turns to the temple: anticlockwise in a right eye, clockwise in a left.
/// Source: [`ISO_8429`](crate::cite::ISO_8429) for the sense; derived.
pub fn supine_meridian(upright: Meridian, excyclotorsion: Degrees, eye: Eye) -> Meridian {
    upright.turned(anticlockwise(excyclotorsion, eye))
}

/// Excyclotorsion as a turn, positive anticlockwise.
pub fn anticlockwise(excyclotorsion: Degrees, eye: Eye) -> Degrees {
    match eye {
        Eye::Right => excyclotorsion,
        Eye::Left => Degrees::computed(-excyclotorsion.degrees()).unwrap_or(excyclotorsion),
    }
}

/// Meridian read from an eye whose head was tilted: true meridian turned by the part of the tilt that the eye did not
/// undo.
///
/// `tilt` is positive towards the patient's right shoulder, which turns both eyes anticlockwise for the observer; `gain`
/// is the share undone, see [`STATIC_COUNTER_ROLL`].
pub fn meridian_read_with_tilt(upright: Meridian, tilt: Degrees, gain: f64) -> Meridian {
    Meridian::wrapping(upright.degrees() + (1.0 - gain) * tilt.degrees())
}

/// Error in a meridian when instrument and mark saw different head tilts; a tilt common to both cancels.
///
/// None when a tilt or the gain is no number.
pub fn error_of_tilts(at_instrument: Degrees, at_marking: Degrees, gain: f64) -> Option<Degrees> {
    Degrees::computed((1.0 - gain) * (at_instrument.degrees() - at_marking.degrees()))
}
