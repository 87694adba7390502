//! Astigmatism of a tilted lens.

use axiswright::optics::rotation::tilt_astigmatism;
use axiswright::units::{Degrees, Dioptre};

/// Source: Weikert MP, Golla A, Wang L, J Cataract Refract Surg 2018;44:745: lenses of 16, 22, 28 D tilted by 5 degrees
/// 0.08, 0.11, 0.14 D, by 10 degrees 0.33, 0.44, 0.56 D.
/// Checked: abstract read.
/// DIFFERENCE: the closed formula lies 6 to 10 % above ray tracing; allowed here up to 15 %, never below.
#[test]
fn somewhat_above_ray_tracing() {
    for (power, tilt, traced) in [
        (16.0, 5.0, 0.08),
        (22.0, 5.0, 0.11),
        (28.0, 5.0, 0.14),
        (16.0, 10.0, 0.33),
        (22.0, 10.0, 0.44),
        (28.0, 10.0, 0.56),
    ] {
        let closed = tilt_astigmatism(Dioptre::from_dioptres(power), Degrees::from_degrees(tilt), 1.426)
            .unwrap()
            .dioptres();
        let ratio = closed / traced;
        assert!((1.0..1.15).contains(&ratio), "{power} D, {tilt} degrees: {closed} to {traced}");
    }
}
