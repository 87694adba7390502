//! Places on the limbus and the surgeon's view.

use axiswright::optics::view::{Eye, LimbalPlace, Seat, place_of_hour};
use axiswright::units::Direction;

/// Source: ISO 8429:1986, zero on the horizontal at the right of a person viewing the eye, anticlockwise, both eyes
/// alike.
/// Checked: scan of the standard read; the places by eye derived.
#[test]
fn nasal_is_zero_in_the_right_eye_and_180_in_the_left() {
    for (place, right, left) in [
        (LimbalPlace::Nasal, 360.0, 180.0),
        (LimbalPlace::Temporal, 180.0, 360.0),
        (LimbalPlace::Superior, 90.0, 90.0),
        (LimbalPlace::Inferior, 270.0, 270.0),
        (LimbalPlace::Superotemporal, 135.0, 45.0),
        (LimbalPlace::Superonasal, 45.0, 135.0),
        (LimbalPlace::Inferotemporal, 225.0, 315.0),
        (LimbalPlace::Inferonasal, 315.0, 225.0),
    ] {
        assert!((place.direction(Eye::Right).degrees() - right).abs() < 1e-12, "{}", place.word());
        assert!((place.direction(Eye::Left).degrees() - left).abs() < 1e-12, "{}", place.word());
    }
}

/// Source: plane geometry.
/// Checked: by vectors: the surgeon's right hand and up direction in the frame of the patient.
#[test]
fn the_view_from_each_seat() {
    // (right, up) of the view in the front chart; a place is seen at the angle of its parts along them.
    let views = [
        (Seat::Head, Eye::Right, (-1.0, 0.0), (0.0, -1.0)),
        (Seat::Head, Eye::Left, (-1.0, 0.0), (0.0, -1.0)),
        // From the temple of a right eye the nose is up; the forehead lies at the left.
        (Seat::Temporal, Eye::Right, (0.0, -1.0), (1.0, 0.0)),
        (Seat::Temporal, Eye::Left, (0.0, 1.0), (-1.0, 0.0)),
    ];
    for (seat, eye, right, up) in views {
        for place in LimbalPlace::ALL {
            let at = place.direction(eye).degrees().to_radians();
            let (x, y) = (axiswright::units::trig::cos(at), axiswright::units::trig::sin(at));
            let seen = axiswright::units::trig::atan2(x * up.0 + y * up.1, x * right.0 + y * right.1);
            let expected = Direction::wrapping(seen.to_degrees());
            let turn = seat.seen_at(place.direction(eye), eye).turn_to(expected).degrees();
            assert!(turn.abs() < 1e-9, "{seat:?} {eye:?} {}", place.word());
        }
    }
}

/// Source: common practice, the clock face with 12 at the forehead, seen from the front.
/// Checked: 3 o'clock is nasal in a right eye and temporal in a left one.
#[test]
fn hours_of_the_clock() {
    assert_eq!(place_of_hour(3.0), Some(LimbalPlace::Nasal.direction(Eye::Right)));
    assert_eq!(place_of_hour(3.0), Some(LimbalPlace::Temporal.direction(Eye::Left)));
    assert_eq!(place_of_hour(12.0), Some(LimbalPlace::Superior.direction(Eye::Left)));
    assert_eq!(place_of_hour(13.0), None);
}
