//! Every row of `data/optics.csv` is run; which rows of the full table of check values are not here, and why, stands in
//! `data/NOT_USED.txt`.

use axiswright::optics::cornea::{ToricSurface, fictitious_index, gaussian_cornea, power_in, total_cornea};
use axiswright::optics::incision::{IncisionEffect, angle_of_arc, angle_of_chord, arc_of_angle};
use axiswright::optics::matrix::{Medium, PowerMatrix};
use axiswright::optics::posterior::PosteriorModel;
use axiswright::optics::refraction::Refraction;
use axiswright::optics::rotation;
use axiswright::optics::toric::{corneal_cylinder, lens_cylinder};
use axiswright::optics::torsion;
use axiswright::optics::uncertainty::{
    AngleMixture, AnglePart, Covariance, Estimate, ResidualModel, component_sd_of_mean_magnitude,
    sd_of_mean_absolute,
};
use axiswright::optics::vergence::{ThinLensEye, added_lens, vertex_power};
use axiswright::optics::view::{Eye, LimbalPlace, Seat};
use axiswright::units::{Degrees, Dioptre, Direction, KeratometricIndex, Meridian, Millimetre, PowerVector};
use serde_json::Value;

const ROWS: &str = include_str!("data/optics.csv");

fn d(value: f64) -> Dioptre {
    Dioptre::from_dioptres(value)
}

fn mm(value: f64) -> Millimetre {
    Millimetre::from_millimetres(value)
}

fn deg(value: f64) -> Degrees {
    Degrees::from_degrees(value)
}

fn at(cylinder: f64, steep: f64) -> PowerVector {
    PowerVector::from_steep(d(cylinder), Meridian::wrapping(steep))
}

struct Row(Value);

impl Row {
    fn f(&self, key: &str) -> f64 {
        self.0[key].as_f64().unwrap_or_else(|| panic!("`{key}` is missing in {}", self.0))
    }

    fn or(&self, key: &str, default: f64) -> f64 {
        self.0[key].as_f64().unwrap_or(default)
    }

    fn word(&self, key: &str) -> &str {
        self.0[key].as_str().unwrap_or_else(|| panic!("`{key}` is missing in {}", self.0))
    }

    fn list(&self, key: &str) -> Vec<f64> {
        numbers(&self.0[key])
    }

    fn vector(&self, cylinder: &str, steep: &str) -> PowerVector {
        at(self.f(cylinder), self.f(steep))
    }

    fn refraction(&self, key: &str) -> Refraction {
        let list = self.list(key);
        Refraction::from_sphere_cylinder_axis(d(list[0]), d(list[1]), Meridian::wrapping(list[2]))
    }

    fn index(&self, key: &str) -> KeratometricIndex {
        KeratometricIndex::from_reading(self.or(key, 1.3375)).unwrap()
    }

    fn eye(&self) -> Eye {
        match self.word("eye") {
            "OD" => Eye::Right,
            "OS" => Eye::Left,
            other => panic!("no eye `{other}`"),
        }
    }

    fn estimate(&self) -> Estimate {
        let (mean, cov) = (self.list("mean"), numbers(&self.0["cov"]));
        Estimate {
            mean: PowerVector::from_components(mean[0], mean[1]).unwrap(),
            covariance: Covariance::from_entries(cov[0], cov[1], cov[3]).unwrap(),
        }
    }

    fn mixture(&self) -> AngleMixture {
        let parts = self.0["mixture"].as_array().unwrap().iter().map(|part| {
            let part = numbers(part);
            AnglePart { weight: part[0], mean: deg(part[1]), sd: deg(part[2]) }
        });
        AngleMixture::from_parts(parts.collect()).unwrap()
    }
}

/// The numbers of a nested list in order, of an object by name.
fn numbers(value: &Value) -> Vec<f64> {
    match value {
        Value::Array(items) => items.iter().flat_map(numbers).collect(),
        Value::Object(items) => {
            let mut items: Vec<(&String, &Value)> = items.iter().collect();
            items.sort_by_key(|(name, _)| *name);
            items.into_iter().flat_map(|(_, value)| numbers(value)).collect()
        }
        Value::Number(number) => vec![number.as_f64().unwrap()],
        Value::Null | Value::Bool(_) | Value::String(_) => panic!("no number: {value}"),
    }
}

fn polar(vector: PowerVector) -> Vec<f64> {
    vec![vector.cylinder().dioptres(), vector.steep().degrees()]
}

fn sca(refraction: Refraction) -> Vec<f64> {
    vec![refraction.sphere().dioptres(), refraction.cylinder().dioptres(), refraction.axis().degrees()]
}

fn added(row: &Row, model: PosteriorModel, vector: PowerVector) -> Vec<f64> {
    polar(vector + model.addition(vector).unwrap_or_else(|e| panic!("{e}: {}", row.0)))
}

fn lenses(row: &Row, first: [&str; 3], second: [&str; 3]) -> Refraction {
    let matrix = |[s, c, a]: [&str; 3]| {
        PowerMatrix::from_sphere_cylinder_axis(d(row.f(s)), d(row.f(c)), Meridian::wrapping(row.f(a)))
    };
    Refraction::from_matrix(matrix(first) + matrix(second))
}

fn corneal_rows(quantity: &str, row: &Row) -> Option<Vec<f64>> {
    Some(match quantity {
        "power_from_radius" => vec![row.index("n").power_of(mm(row.f("r_mm"))).unwrap().dioptres()],
        "radius_from_power" => vec![row.index("n").radius_of(d(row.f("k"))).unwrap().millimetres()],
        "convert_index" => {
            vec![power_in(d(row.f("k")), row.index("n_from"), row.index("n_to")).dioptres()]
        }
        "gaussian_cornea" => {
            let c = gaussian_cornea(mm(row.f("r_ant")), mm(row.f("r_post")), mm(row.f("cct_mm"))).unwrap();
            [c.front, c.back, c.equivalent, c.back_vertex].map(Dioptre::dioptres).to_vec()
        }
        "fictitious_index" => {
            let front = mm(row.f("r_ant"));
            let c = gaussian_cornea(front, mm(row.f("r_post")), mm(row.f("cct_mm"))).unwrap();
            vec![fictitious_index(front, c.equivalent)]
        }
        "total_cornea_matrix" => {
            let surface = |flat, steep, at| {
                ToricSurface::from_radii(mm(row.f(flat)), mm(row.f(steep)), Meridian::wrapping(row.f(at)))
                    .unwrap()
            };
            let front =
                surface("k1_ant_r", "k2_ant_r", "steep_ant").power(Medium::AIR, Medium::CORNEA).unwrap();
            let back = surface("p_flat_r", "p_steep_r", "steep_post")
                .power(Medium::CORNEA, Medium::AQUEOUS)
                .unwrap();
            let total = total_cornea(front, back, mm(row.f("cct_mm"))).unwrap();
            vec![total.mean().dioptres(), total.cylinder().dioptres(), total.steep().degrees()]
        }
        "pca_eom2015" => added(row, PosteriorModel::Eom2015, row.vector("c", "a")),
        "pca_ak2016" => added(row, PosteriorModel::AbulafiaKoch2016, row.vector("c", "a")),
        "pca_goggin2015" => {
            let lens_cylinder = d(row.f("iol_cyl_unadjusted"));
            added(row, PosteriorModel::Goggin2015 { lens_cylinder }, row.vector("c", "a"))
        }
        "pca_measured" => {
            let back = row.vector("p_cyl", "p_steep");
            added(row, PosteriorModel::Measured { back }, row.vector("c_sim", "a_sim"))
        }
        "add_incision" => {
            let place = Direction::wrapping(row.f("incision_meridian"));
            let effect = IncisionEffect::from_flattening(place, d(row.f("flattening")), Dioptre::ZERO);
            polar(row.vector("c", "a") + effect.vector())
        }
        "arc_mm_to_deg" => {
            vec![angle_of_arc(mm(row.f("arc_mm")), mm(row.f("diameter_mm"))).unwrap().degrees()]
        }
        "chord_to_deg" => {
            vec![angle_of_chord(mm(row.f("chord_mm")), mm(row.f("diameter_mm"))).unwrap().degrees()]
        }
        "arc_deg_to_mm" => {
            vec![arc_of_angle(deg(row.f("deg")), mm(row.f("diameter_mm"))).unwrap().millimetres()]
        }
        _ => return None,
    })
}

fn refraction_rows(quantity: &str, row: &Row) -> Option<Vec<f64>> {
    let written = || {
        Refraction::from_sphere_cylinder_axis(d(row.f("s")), d(row.f("c")), Meridian::wrapping(row.f("a")))
    };
    Some(match quantity {
        "to_power_vector" => {
            let vector = written().jackson_vector();
            [vector.m, vector.j0, vector.j45].map(Dioptre::dioptres).to_vec()
        }
        "blur_strength" => vec![written().blur_strength().dioptres()],
        "transpose" => sca(written().transposed()),
        "add2" => {
            sca(Refraction::from_matrix(row.refraction("lens1").matrix() + row.refraction("lens2").matrix()))
        }
        "crossed_cylinders_classic" => sca(lenses(row, ["s1", "c1", "a1"], ["s2", "c2", "a2"])),
        "vertex_power" => vec![vertex_power(d(row.f("f")), mm(row.f("dz_mm"))).unwrap().dioptres()],
        "vertex_sca" => sca(written().at_cornea(mm(row.f("dz_mm"))).unwrap()),
        "phakic_sca" => {
            let cornea = PowerMatrix::from_principal(
                d(row.f("k_flat")),
                d(row.f("k_steep")),
                Meridian::wrapping(row.f("steep")),
            );
            let none =
                Refraction::from_sphere_cylinder_axis(Dioptre::ZERO, Dioptre::ZERO, Meridian::HORIZONTAL);
            let (vertex, depth) = (mm(row.f("vertex_mm")), mm(row.f("d_mm")));
            let lens = added_lens(cornea, row.refraction("refraction"), none, vertex, depth).unwrap();
            sca(Refraction::from_matrix(lens))
        }
        _ => return None,
    })
}

fn vector_rows(quantity: &str, row: &Row) -> Option<Vec<f64>> {
    Some(match quantity {
        "centroid" => {
            let vectors: Vec<PowerVector> =
                row.list("cyls").iter().zip(row.list("axes")).map(|(c, a)| at(*c, a)).collect();
            let mean = PowerVector::mean(&vectors).unwrap();
            [polar(mean), vec![mean.x(), mean.y()]].concat()
        }
        "sia_keratometric" => polar(row.vector("c_post", "a_post") - row.vector("c_pre", "a_pre")),
        "naeser_kp" => {
            let (vector, phi) = (row.vector("c", "a"), Meridian::wrapping(row.f("phi")));
            vec![vector.along(phi).dioptres(), vector.torque(phi).dioptres()]
        }
        "meridional_change" => {
            let change = row.vector("c_post", "a_post") - row.vector("c_pre", "a_pre");
            let meridian = Meridian::wrapping(row.f("mer"));
            vec![change.along(meridian).dioptres(), change.torque(meridian).dioptres()]
        }
        "keratometry_agreement" => {
            let (first, second) = (row.vector("c1", "a1"), row.vector("c2", "a2"));
            let turn = second.steep().turn_to(first.steep()).degrees();
            let size = (first.cylinder() - second.cylinder()).dioptres();
            [polar(first - second), vec![size, turn]].concat()
        }
        "residual_cyl" => polar(rotation::residual(
            row.vector("c_eye", "a_eye"),
            d(row.f("c_lens")),
            Meridian::wrapping(row.f("a_lens")),
        )),
        "axis_diff" => {
            vec![Meridian::wrapping(row.f("b")).turn_to(Meridian::wrapping(row.f("a"))).degrees()]
        }
        "norm_tabo" => vec![Meridian::wrapping(row.f("a")).degrees()],
        "mirror_axis" => vec![Meridian::wrapping(row.f("a")).mirrored().degrees()],
        _ => return None,
    })
}

fn lens_rows(quantity: &str, row: &Row) -> Option<Vec<f64>> {
    let eye = || ThinLensEye::from_positions(mm(row.f("d_mm")), mm(row.or("al_mm", 24.0))).unwrap();
    Some(match quantity {
        "toric_ratio_limit" => vec![eye().ratio_limit(d(row.f("v_cornea")))],
        "corneal_cyl_of_iol" => {
            let at_cornea = corneal_cylinder(eye(), d(row.f("p_se")), d(row.f("c_iol"))).unwrap();
            vec![at_cornea.cylinder.dioptres(), at_cornea.ratio]
        }
        "iol_cyl_from_corneal" => {
            let wanted = d(row.or("rc", 0.0));
            let lens =
                lens_cylinder(eye(), d(row.f("k_flat")) + wanted, d(row.f("k_steep")) + wanted).unwrap();
            vec![lens.cylinder.dioptres(), lens.equivalent.dioptres(), lens.ratio]
        }
        "rotation_residual_sca" => {
            // A correction with minus axis 180 needs its plus axis on 90.
            let needed = at(row.f("c"), 90.0);
            let left = rotation::residual(needed, d(row.f("c")), Meridian::wrapping(90.0 + row.f("theta")));
            sca(Refraction::from_mean_and_vector(Dioptre::ZERO, left))
        }
        "rotation_loss_fraction" => vec![rotation::loss_by_residual(deg(row.f("theta")))],
        "flattening_loss_fraction" => vec![rotation::loss_at_meridian(deg(row.f("theta")))],
        "neutral_rotation" => {
            vec![rotation::neutral_turn(d(row.f("c_eye")), d(row.f("c_lens"))).unwrap().degrees()]
        }
        "tolerance_rotation" => {
            vec![rotation::tolerated_turn(d(row.f("c")), d(row.f("allowed"))).unwrap().degrees()]
        }
        "best_realignment" => {
            let best = rotation::best_realignment(
                row.refraction("refraction"),
                d(row.f("c_lens_corneal")),
                Meridian::wrapping(row.f("current_axis")),
                mm(row.f("vertex_mm")),
            )
            .unwrap();
            // In the order of the names in the row: best_axis, current_cyl, eye_cyl, residual_cyl.
            vec![
                best.best_axis.degrees(),
                best.cylinder_now.dioptres(),
                best.eye.cylinder().dioptres(),
                best.cylinder_then.dioptres(),
            ]
        }
        "tilt_astigmatism" => {
            let tilted =
                rotation::tilt_astigmatism(d(row.f("p_lens")), deg(row.f("tilt_deg")), row.f("ratio"));
            vec![tilted.unwrap().dioptres()]
        }
        _ => return None,
    })
}

fn view_rows(quantity: &str, row: &Row) -> Option<Vec<f64>> {
    Some(match quantity {
        "limbal_position" => {
            vec![LimbalPlace::from_word(row.word("name")).unwrap().direction(row.eye()).degrees()]
        }
        "surgeon_screen_angle" => {
            let seat = match row.word("seat") {
                "head" => Seat::Head,
                "temporal" => Seat::Temporal,
                other => panic!("no seat `{other}`"),
            };
            vec![seat.seen_at(Direction::wrapping(row.f("pos")), row.eye()).degrees()]
        }
        "clock_hour" => vec![Direction::wrapping(row.f("pos")).clock_hour()],
        "supine_axis" => {
            let upright = Meridian::wrapping(row.f("upright_axis"));
            vec![torsion::supine_meridian(upright, deg(row.f("excyclotorsion")), row.eye()).degrees()]
        }
        "measured_axis_with_head_tilt" => {
            let upright = Meridian::wrapping(row.f("true_axis"));
            let tilt = deg(row.f("tilt_to_patients_right"));
            vec![torsion::meridian_read_with_tilt(upright, tilt, row.f("gain")).degrees()]
        }
        "laser_axis_on_bed" => {
            vec![Meridian::wrapping(row.f("axis_upright")).turned(deg(row.f("torsion_ccw_deg"))).degrees()]
        }
        _ => return None,
    })
}

fn uncertainty_rows(quantity: &str, row: &Row) -> Option<Vec<f64>> {
    let prepared = || ResidualModel::prepare(&row.estimate(), &row.mixture(), d(row.f("c"))).unwrap();
    let residual = || prepared().residual(d(row.f("c")), Meridian::wrapping(row.f("axis"))).unwrap();
    Some(match quantity {
        "sd_from_mean_abs" => vec![sd_of_mean_absolute(row.f("mae"))],
        "component_sd_from_mean_magnitude" => {
            vec![component_sd_of_mean_magnitude(d(row.f("mean_mag"))).dioptres()]
        }
        "rotation_moments" => {
            let part = AnglePart { weight: 1.0, mean: deg(row.f("mu_deg")), sd: deg(row.f("sigma_deg")) };
            let m = AngleMixture::from_parts(vec![part]).unwrap().rotation_moments();
            vec![m.cos, m.sin, m.var_cos, m.var_sin, m.cov]
        }
        "p_within" => {
            let model =
                ResidualModel::prepare(&row.estimate(), &AngleMixture::exact(), Dioptre::ZERO).unwrap();
            let residual = model.residual(Dioptre::ZERO, Meridian::HORIZONTAL).unwrap();
            vec![residual.probability_within(d(row.f("t")))]
        }
        "budget_prob" => vec![residual().probability_within(d(row.f("t")))],
        "budget_mean_square" => vec![residual().mean_square()],
        "budget_best_step" => {
            let steps = row.list("steps");
            let strongest = d(steps.iter().copied().fold(0.0, f64::max));
            let model = ResidualModel::prepare(&row.estimate(), &row.mixture(), strongest).unwrap();
            let axis = row.estimate().mean.steep();
            let chance = |step: &f64| model.residual(d(*step), axis).unwrap().chances().within_0_50;
            vec![steps.iter().copied().max_by(|a, b| chance(a).total_cmp(&chance(b))).unwrap()]
        }
        _ => return None,
    })
}

/// Places in a result that are meridians: compared on the circle of 180 degrees.
fn meridians(quantity: &str, note: &str) -> Option<usize> {
    note.split_once("axis@")
        .and_then(|(_, rest)| rest.get(..1))
        .and_then(|digit| digit.parse().ok())
        .or_else(|| (quantity == "best_realignment").then_some(0))
}

fn distance(computed: f64, expected: f64, circle: Option<f64>) -> f64 {
    let gap = computed - expected;
    match circle {
        Some(circle) => {
            let gap = gap.rem_euclid(circle);
            gap.min(circle - gap)
        }
        None => gap.abs(),
    }
}

/// Source: the column `origin` of each row.
/// Checked: as the row says; most computed by two routes.
#[test]
fn every_row_of_the_optics_table() {
    let mut reader = csv::Reader::from_reader(ROWS.as_bytes());
    let mut failures = Vec::new();
    let mut count = 0;
    for record in reader.records() {
        let record = record.unwrap();
        let (case, quantity, note) = (&record[0], &record[1], &record[6]);
        assert!(!record[5].trim().is_empty(), "{case} names no origin");
        let row = Row(serde_json::from_str(&record[2]).unwrap());
        let expected: Value = serde_json::from_str(&record[3]).unwrap();
        let expected = numbers(&expected);
        let tolerance: f64 = record[4].parse().unwrap();
        let groups = [corneal_rows, refraction_rows, vector_rows, lens_rows, view_rows, uncertainty_rows];
        let computed = groups
            .iter()
            .find_map(|group| group(quantity, &row))
            .unwrap_or_else(|| panic!("no function for `{quantity}`"));
        assert_eq!(computed.len(), expected.len(), "{case} {quantity}");
        let meridian = meridians(quantity, note);
        let cylinder_is_zero = |place: usize| place > 0 && expected[place - 1].abs() < 1e-9;
        for (place, (computed, expected)) in computed.iter().zip(&expected).enumerate() {
            let on_circle = meridian == Some(place);
            if on_circle && cylinder_is_zero(place) {
                continue;
            }
            let circle = match quantity {
                "limbal_position" | "surgeon_screen_angle" => Some(360.0),
                _ => on_circle.then_some(180.0),
            };
            // Axes of a table printed to 0.01 D carry no more digits than their own rounding.
            if distance(*computed, *expected, circle) > tolerance {
                failures.push(format!("{case} {quantity}[{place}]: {computed} instead of {expected}"));
            }
        }
        count += 1;
    }
    assert!(failures.is_empty(), "{} failures:\n{}", failures.len(), failures.join("\n"));
    assert_eq!(count, 131, "rows of data/optics.csv");
}
