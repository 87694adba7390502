//! `[thresholds]` and `[budget]`.

use axiswright::checks;
use axiswright::plan;
use axiswright::site::{Origin, SiteFile};

use super::{LEAST, refused, with};

/// A value other than the default that can stand alone.
fn moved(name: &str, default: f64) -> f64 {
    if name.ends_with("_readings") {
        return default + 1.0;
    }
    // Lower ends go down, upper ends go up, so that the order of a pair holds.
    if name.ends_with("_most") {
        return default * 1.25;
    }
    if name.ends_with("_note") || name.ends_with("_least") || name.contains("_sign_off") {
        default * 0.5
    } else {
        default * 1.25
    }
}

#[test]
fn every_limit_reaches_the_checks_and_only_that_one() {
    let defaults = checks::Settings::default();
    let rows = with("").unwrap().describe();
    let mut seen = 0;
    for row in rows.iter().filter(|row| row.key.starts_with("thresholds.")) {
        let key = row.key.strip_prefix("thresholds.").unwrap();
        let (name, limit) = defaults
            .all()
            .into_iter()
            .find(|(name, _)| {
                key == *name
                    || key.starts_with(&format!("{name}_"))
                        && ["_d", "_mm", "_deg", "_days", "_years"].contains(&&key[name.len()..])
            })
            .unwrap_or_else(|| panic!("{key}"));
        if name == "u01_index" {
            continue;
        }
        seen += 1;
        let value = moved(name, limit.value);
        let site = with(&format!("[thresholds]\n{key} = {value}")).unwrap();
        let mut expected = checks::Settings::default();
        expected.named_mut(name).unwrap().value = value;
        assert_eq!(*site.checks_settings(), expected, "{key}");
        let row = site.describe().into_iter().find(|row| row.key == format!("thresholds.{key}")).unwrap();
        assert_eq!((row.value, row.origin), (Some(value.to_string()), Origin::File { line: 6 }));
        assert!(row.source.is_some());
    }
    // All but the window, which stands at the top, and the index, which cannot be moved.
    assert_eq!(seen, defaults.all().len() - 2);
}

#[test]
fn a_limit_must_be_a_number_of_its_unit() {
    for value in ["nan", "inf", "-0.1", "201.0", "\"0.5\"", "true", "0x10", "[0.5]"] {
        refused(with(&format!("[thresholds]\na01_sign_off_d = {value}")), "settings-value", 6, 18);
    }
    refused(with("[thresholds]\nb08_readings = 2.5"), "settings-value", 6, 16);
    refused(with("[thresholds]\nb08_readings = 0"), "settings-value", 6, 16);
    refused(with("[thresholds]\ncoarse_power_step_d = 0"), "settings-value", 6, 23);
    refused(with("[thresholds]\ni01_refuse_deg = 91"), "settings-value", 6, 18);
    assert!(with("[thresholds]\na01_sign_off_d = 1").is_ok());
}

#[test]
fn the_index_of_the_computation_cannot_be_moved() {
    assert!(with("[thresholds]\nu01_index = 1.3375").is_ok());
    let error = refused(with("[thresholds]\nu01_index = 1.332"), "settings-value", 6, 13);
    assert!(error.to_string().contains("1.3375"));
}

#[test]
fn limits_of_one_rule_rise() {
    let error = refused(with("[thresholds]\na01_sign_off_d = 1.5"), "settings-conflict", 6, 18);
    assert!(error.to_string().contains("`a01_refuse_d` = 1"), "{error}");
    let both = "[thresholds]\na01_sign_off_d = 0.75\na01_refuse_d = 0.5";
    refused(with(both), "settings-conflict", 7, 16);
    assert!(with("[thresholds]\na01_refuse_d = 2.0\na01_sign_off_d = 1.5").is_ok());
    refused(with("[thresholds]\ni01_note_deg = 6"), "settings-conflict", 6, 16);
    refused(with("[thresholds]\nb11_length_least_mm = 41"), "settings-conflict", 6, 23);
    refused(with("[thresholds]\nb11_length_most_mm = 14"), "settings-conflict", 6, 22);
}

#[test]
fn a_limit_without_its_unit_is_unknown() {
    let error = refused(with("[thresholds]\na01_sign_off = 0.3"), "settings-unknown-key", 6, 1);
    assert_eq!(error.hint(), "did you mean `a01_sign_off_d`?");
    let error = refused(with("[thresholds]\nwindow_days = 7"), "settings-unknown-key", 6, 1);
    assert!(error.hint().contains("top of the file"));
    let error = refused(with("[budget]\nmarking_deg = 2"), "settings-unknown-key", 6, 1);
    assert_eq!(error.hint(), "did you mean `marking_sd_deg`?");
    assert!(error.to_string().contains("`budget.marking_deg`"));
}

#[test]
fn the_budget_reaches_the_plan() {
    let site = with(
        "[budget]\nincision_moved_deg = 20\nequal_chances = 0.03\nequal_residuals_d = 0.02\nwith_the_rule_slack_d = 0.5\n\
         residual_large_d = 1\nformulas_apart_d = 0.6\nentered_power_d = 0.5\nentered_axis_deg = 10
least_gain_d = 0.75
torsion_large_deg = 10
refraction_vertex_mm = 13\nkeratometry_sd_d = 0.1\nposterior_sd_d = 0.11\nincision_sd_d = 0.12\ntilt_sd_d = 0.13\nrefraction_sd_d = 0.14\n\
         marking_sd_deg = 1\nalignment_sd_deg = 2.5\nrotation_sd_deg = 3.5\nhead_tilt_sd_deg = 4\ntail_share = 0.03\n\
         tail_sd_deg = 15\nfactor = 1",
    )
    .unwrap();
    let plan = site.plan_settings();
    let numbers = [
        plan.incision_moved.degrees(),
        plan.equal_chances,
        plan.equal_residuals.dioptres(),
        plan.with_the_rule_slack.dioptres(),
        plan.residual_large.dioptres(),
        plan.formulas_apart.dioptres(),
        plan.entered_power.dioptres(),
        plan.entered_axis.degrees(),
        plan.least_gain.dioptres(),
        plan.torsion_large.degrees(),
        plan.refraction_vertex.unwrap().millimetres(),
        plan.components.keratometry.dioptres(),
        plan.components.posterior.dioptres(),
        plan.components.incision.dioptres(),
        plan.components.tilt.dioptres(),
        plan.components.refraction.unwrap().dioptres(),
        plan.angles.marking.degrees(),
        plan.angles.alignment.degrees(),
        plan.angles.rotation.degrees(),
        plan.angles.head_tilt.degrees(),
        plan.angles.tail_weight,
        plan.angles.tail.degrees(),
        plan.budget_factor,
    ];
    let expected = [
        20.0, 0.03, 0.02, 0.5, 1.0, 0.6, 0.5, 10.0, 0.75, 10.0, 13.0, 0.1, 0.11, 0.12, 0.13, 0.14, 1.0, 2.5,
        3.5, 4.0, 0.03, 15.0, 1.0,
    ]
    .map(f64::to_bits);
    assert_eq!(numbers.map(f64::to_bits), expected);
    let described = site.describe();
    let budget: Vec<_> = described.iter().filter(|row| row.key.starts_with("budget.")).collect();
    assert_eq!(budget.len(), 23);
    assert!(budget.iter().all(|row| row.origin != Origin::Default));
    assert_ne!(*plan, plan::Settings::default());
}

#[test]
fn a_budget_number_must_make_sense() {
    refused(with("[budget]\nmarking_sd_deg = 0"), "settings-value", 6, 18);
    refused(with("[budget]\ntail_share = 1.5"), "settings-value", 6, 14);
    refused(with("[budget]\nfactor = 0"), "settings-value", 6, 10);
    refused(with("[budget]\nfactor = nan"), "settings-value", 6, 10);
    refused(with("[budget]\nkeratometry_sd_d = -0.2"), "settings-value", 6, 20);
    refused(with("[budget]\nrefraction_vertex_mm = 3"), "settings-value", 6, 24);
    assert!(with("[budget]\nrefraction_vertex_mm = 0").unwrap().plan_settings().refraction_vertex.is_none());
}

#[test]
fn dotted_keys_and_inline_tables_are_the_same_settings() {
    let table = with("[thresholds]\nt02_plus_d = 0.25").unwrap();
    for text in ["thresholds.t02_plus_d = 0.25", "thresholds = { t02_plus_d = 0.25 }"] {
        let site = SiteFile::parse(&format!("{text}\n{LEAST}")).unwrap();
        assert_eq!(site.checks_settings(), table.checks_settings());
        let row = site.describe().into_iter().find(|row| row.key == "thresholds.t02_plus_d").unwrap();
        assert_eq!(row.origin, Origin::File { line: 1 });
    }
}
