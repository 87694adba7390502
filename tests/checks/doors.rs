//! The two doors and what weighing does.

use axiswright::checks::{Screened, Settings, Weight, clear, weigh};
use axiswright::finding::{Answer, Code, Finding, Severity};
use axiswright::model::Eye;
use axiswright::units::{Dioptre, Meridian};

use crate::build::{Clinic, codes, file, keratometer_at, keratometry};

fn answer(finding: &Finding, reason: &str) -> Answer {
    Answer {
        fingerprint: Some(finding.fingerprint()),
        code: finding.code(),
        reason: reason.to_owned(),
        by: "I. Varga".to_owned(),
        at: None,
        authenticated: true,
    }
}

fn apart() -> Clinic {
    let mut clinic = Clinic::sound();
    let file = file("apart");
    clinic.ker().eyes.right.as_mut().unwrap().keratometry =
        vec![keratometry(&file, (43.1, 1.0), (45.02, 91.0))];
    clinic
}

fn weights(screened: &Screened, residuals: &[f64]) -> Vec<Weight> {
    let sources = screened.selection().in_plan();
    sources
        .zip(residuals)
        .map(|(source, residual)| Weight {
            source: source.label().to_owned(),
            residual: Dioptre::from_reading(*residual).unwrap(),
            step: "C230".to_owned(),
            axis: Meridian::VERTICAL,
        })
        .collect()
}

fn weighed(residuals: &[f64]) -> Severity {
    let screened = apart().screen().screened.unwrap();
    let weights = weights(&screened, residuals);
    weigh(screened, &weights, &Settings::default()).findings()[0].severity()
}

#[test]
fn a_disagreement_that_changes_nothing_becomes_a_note() {
    assert_eq!(codes(&apart().screen().findings), [(Code::A01, Severity::SignOff)]);
    assert_eq!(weighed(&[0.31, 0.50]), Severity::Note);
    assert_eq!(weighed(&[0.31, 0.51]), Severity::SignOff);
    assert_eq!(weighed(&[0.51, 0.31]), Severity::SignOff);
    assert_eq!(weighed(&[0.31]), Severity::SignOff, "a source without its weight");
    assert_eq!(weighed(&[]), Severity::SignOff);
}

#[test]
fn a_source_to_be_set_aside_is_never_weighed_away() {
    let mut clinic = Clinic::sound();
    clinic.add(keratometer_at("Sable T3", "2026-02-20T10:40", (43.1, 10.0), (45.02, 100.0)));
    let screened = clinic.screen().screened.unwrap();
    let weights = weights(&screened, &[0.1, 0.1]);
    let screened = weigh(screened, &weights, &Settings::default());
    assert_eq!(codes(screened.findings()), [(Code::A01, Severity::SignOff)]);
    assert_eq!(screened.weights(), weights);
}

#[test]
fn only_an_answered_case_is_cleared() {
    let screened = apart().screen().screened.unwrap();
    let finding = screened.findings()[0].clone();
    for useless in
        [vec![], vec![answer(&finding, "  ")], vec![answer(&finding.clone().found("else"), "seen")]]
    {
        let open = clear(screened.clone(), &useless).unwrap_err();
        assert_eq!(codes(&open.unanswered), [(Code::A01, Severity::SignOff)]);
        assert_eq!(open.screened, screened);
    }
    let stray = Answer { code: Code::T02, ..answer(&finding, "of another case") };
    let cleared = clear(screened, &[stray, answer(&finding, "looked at both prints")]).unwrap();
    assert_eq!(cleared.eye(), Eye::Right);
    assert_eq!(cleared.answers().len(), 1);
    assert_eq!(cleared.answer_to(&finding).unwrap().reason, "looked at both prints");
    assert_eq!(cleared.case(), &apart().case());
}

#[test]
fn an_answer_dies_with_the_value_it_answered() {
    let finding = apart().screen().findings[0].clone();
    let mut other = Clinic::sound();
    let at = file("other");
    other.ker().eyes.right.as_mut().unwrap().keratometry = vec![keratometry(&at, (43.1, 2.0), (45.02, 92.0))];
    let screened = other.screen().screened.unwrap();
    assert_eq!(codes(screened.findings()), [(Code::A01, Severity::SignOff)]);
    assert!(clear(screened, &[answer(&finding, "seen")]).is_err());
    // An unrelated file of the fellow eye changes nothing.
    let mut same = apart();
    let mut fellow = keratometer_at("Sable T3", "2026-02-20T10:40", (43.1, 10.0), (45.02, 100.0));
    fellow.eyes.right = None;
    same.add(fellow);
    assert!(clear(same.screen().screened.unwrap(), &[answer(&finding, "seen")]).is_ok());
}

#[test]
fn a_refused_case_does_not_pass() {
    let mut clinic = Clinic::sound();
    clinic.entry.target = None;
    assert!(clinic.screen().screened.is_none());
}
