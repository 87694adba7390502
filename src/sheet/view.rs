//! From the eye to the paper: where a direction on the limbus appears to the person who looks.
//!
//! Directions are those of ISO 8429: seen from in front of the patient, 0 at the viewer's right, anticlockwise. Whoever looks down the
//! microscope looks at the eye from in front as well, so that nothing is mirrored; the picture is only turned, until what is farthest from the
//! surgeon lies at the top of the page. That is all this module knows, and no table of turns.

use crate::model::{Eye, Seat};

/// Who looks at the eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum View {
    /// A person in front of a sitting patient.
    Front,
    /// The surgeon in a seat.
    From(Seat),
}

/// The direction of the nose in an eye, degrees.
pub(super) const fn nasal(eye: Eye) -> f64 {
    match eye {
        Eye::Right => 0.0,
        Eye::Left => 180.0,
    }
}

/// The direction of the forehead, degrees.
pub(super) const SUPERIOR: f64 = 90.0;
/// The direction of the cheek, degrees.
pub(super) const INFERIOR: f64 = 270.0;

impl View {
    /// The direction that lies at the top of the page.
    const fn farthest(self, eye: Eye) -> f64 {
        match self {
            Self::Front => SUPERIOR,
            // Behind the head: the feet are farthest.
            Self::From(Seat::Head) => INFERIOR,
            // Beside the temple: the nose is farthest.
            Self::From(Seat::Temporal) => nasal(eye),
        }
    }

    /// Where a direction of the eye appears on the page: degrees, 0 to the right, anticlockwise as the reader sees it, in [0, 360).
    pub(super) fn seen(self, eye: Eye, direction_deg: f64) -> f64 {
        (direction_deg + 90.0 - self.farthest(eye)).rem_euclid(360.0)
    }

    /// The caption of a picture in this view.
    pub(super) const fn caption(self) -> &'static str {
        match self {
            Self::Front => "SEEN FROM THE FRONT",
            Self::From(Seat::Head) => "AS SEEN FROM THE HEAD, through the microscope",
            Self::From(Seat::Temporal) => "AS SEEN FROM THE TEMPLE, through the microscope",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_three_turns() {
        let turn = |view: View, eye| view.seen(eye, 0.0);
        assert!(turn(View::Front, Eye::Left).abs() < 1e-12);
        assert!((turn(View::From(Seat::Head), Eye::Right) - 180.0).abs() < 1e-12);
        assert!((turn(View::From(Seat::Head), Eye::Left) - 180.0).abs() < 1e-12);
        assert!((turn(View::From(Seat::Temporal), Eye::Right) - 90.0).abs() < 1e-12);
        assert!((turn(View::From(Seat::Temporal), Eye::Left) - 270.0).abs() < 1e-12);
    }
}
