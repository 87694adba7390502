//! Arcs of a right eye and of its mirror image.

use axiswright::bridge::{Considered, Outcome, consider_case_file};
use axiswright::checks::NumberScheme;
use axiswright::plan::ArcsPlan;
use axiswright::site::case_file;
use axiswright::units::Meridian;
use proptest::prelude::*;
use std::fmt::Write as _;

use crate::runner;

/// A case with two instruments, with arcs by the table that comes with the program, alone.
fn text(eye: &str, steep: f64, cylinder: f64, born: u16, seat: &str) -> String {
    let mut text = format!(
        "[patient]\nnumber = \"7\"\nfamily_name = \"A\"\ngiven_name = \"B\"\nbirth_date = {born}-05-05\nsex = \"F\"\n\
         [operation]\neye = \"{eye}\"\nprocedure = \"arcs\"\ndate = 2026-03-12\nsurgeon = \"S\"\ntarget_d = 0.00\n\
         corneal_surgery = \"no\"\nseat = \"{seat}\"\n\
         [surgeon]\nname = \"S\"\nformula = \"Haigis 2000\"\narcs = {{ nomogram = \"Wallace\", input = \"total\", \
         cataract_incision = \"none\", zone_mm = 11.0, depth_percent = 80, \
         single = {{ with_the_rule = \"superior\", oblique = \"superior\", against_the_rule = \"temporal\" }} }}\n"
    );
    let flat = Meridian::wrapping(steep + 90.0).degrees();
    for device in ["K", "L"] {
        write!(
            text,
            "[[keratometry]]\neye = \"{eye}\"\ndevice = \"{device}\"\nexam_at = 2026-03-02T10:00:00Z\nreadings = 5\n\
             keratometric_index = 1.3375\nflat = {{ power_d = 42.0, meridian_deg = {flat:.4} }}\n\
             steep = {{ power_d = {:.4}, meridian_deg = {steep:.4} }}\n",
            42.0 + cylinder
        )
        .unwrap();
    }
    for at in (0..360).step_by(10) {
        write!(
            text,
            "[[pachymetry]]\neye = \"{eye}\"\ndevice = \"P\"\nexam_at = 2026-03-02\nat_deg = {at}\nthickness_um = 700\n"
        )
        .unwrap();
    }
    text
}

fn considered(text: &str) -> Considered {
    let file = case_file("case.toml", text.as_bytes()).unwrap();
    consider_case_file(&file, "2026-03-05T10:00:00Z".parse().unwrap(), NumberScheme::None).unwrap()
}

/// The arcs; the refusing codes where there are none.
fn planned(text: &str) -> Result<ArcsPlan, Vec<String>> {
    let considered = considered(text);
    let computation = match &considered.outcome {
        Outcome::Planned(plan) => plan.computation().arcs(),
        Outcome::Held(trial) => trial.computation().arcs(),
        Outcome::Waiting | Outcome::Blocked => None,
    };
    computation.cloned().ok_or_else(|| {
        considered
            .findings
            .iter()
            .map(|finding| format!("{:?}", (finding.code(), finding.severity())))
            .collect()
    })
}

#[test]
fn a_left_eye_is_the_mirror_image_of_a_right_one() {
    let input = (1_u16..=179, 0.8..4.6_f64, 1936_u16..1992, prop::bool::ANY);
    runner(64)
        .run(&input, |(steep, cylinder, born, head)| {
            let seat = if head { "head" } else { "temporal" };
            let steep = f64::from(steep);
            let right = planned(&text("right", steep, cylinder, born, seat));
            let left = planned(&text("left", 180.0 - steep, cylinder, born, seat));
            match (right, left) {
                (Ok(right), Ok(left)) => {
                    prop_assert_eq!(right.items.len(), left.items.len());
                    let mut mirrored: Vec<f64> =
                        left.items.iter().map(|item| item.centre.mirrored().degrees()).collect();
                    let mut own: Vec<f64> = right.items.iter().map(|item| item.centre.degrees()).collect();
                    own.sort_by(f64::total_cmp);
                    mirrored.sort_by(f64::total_cmp);
                    for (one, other) in own.iter().zip(&mirrored) {
                        prop_assert!((one - other).abs() < 1e-6, "{} {}", one, other);
                    }
                    for (one, other) in right.items.iter().zip(&left.items) {
                        prop_assert!((one.arc.degrees() - other.arc.degrees()).abs() < 1e-12);
                        prop_assert!((one.length.millimetres() - other.length.millimetres()).abs() < 1e-12);
                        // Every arc lies on the steep meridian.
                        let off = one.centre.meridian().turn_to(right.treated.steep()).degrees();
                        prop_assert!(off.abs() < 1e-9, "{}", off);
                    }
                }
                (right, left) => prop_assert_eq!(right.err(), left.err()),
            }
            Ok(())
        })
        .unwrap();
}
