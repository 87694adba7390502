//! Paper of a case that is not released: no number of dioptres, millimetres or degrees, no other patient, no eye that is not certain.

use axiswright::casebook::Attached;
use axiswright::finding::{Answer, Code, Finding, Severity};
use axiswright::model::Eye;
use axiswright::page::{Face, Page, Style, readback};
use axiswright::sheet::{
    HeldCase, Notice, SheetError, eye_is_certain, holds_measure, slip, superseded_notice,
};

use crate::cases::{Ask, case, crowded, facts};
use crate::overlap::faults;

fn texts(bytes: &[u8]) -> Vec<String> {
    readback::read(bytes).unwrap().runs().map(|run| run.text.clone()).collect()
}

/// The finished page as a list of texts again, to judge its layout.
fn page(bytes: &[u8]) -> Page {
    let mut page = Page::a4();
    for run in readback::read(bytes).unwrap().runs() {
        let style = match run.face {
            Face::Regular => Style::regular(run.size_pt),
            Face::Bold => Style::bold(run.size_pt),
        };
        page.turned_text(run.x_mm, run.y_mm, run.turn_deg, style, run.text.clone());
    }
    page
}

fn disagreement() -> Finding {
    Finding::new(
        Code::A01,
        Severity::SignOff,
        "two sources differ by 0.80 D @ 045",
        "two sources of keratometry differ as vectors by more than the limit",
    )
    .eye(Eye::Right)
    .expected("at most 0.50 D")
    .found("0.80 D")
    .next("nothing to do: by every single source the plan leaves at most 0.43 D")
}

fn laterality() -> Finding {
    Finding::new(
        Code::L01,
        Severity::Refuse,
        "header says left, values stand under right",
        "Halden K2, 2026-03-01 09:14: header, eye blocks and laterality attributes of the file do not name the same eye",
    )
    .next("hold; compare with the device's own screen; correct the eye there and export again")
}

/// A finding whose words were written without care.
fn careless() -> Finding {
    Finding::new(
        Code::B11,
        Severity::Refuse,
        "axial length 12.40 mm",
        "an axial length of 12.40 mm is impossible",
    )
    .next("repeat; an eye is 20 to 30 mm long")
}

#[test]
fn a_slip_holds_no_measure_and_no_other_eye() {
    let ask = Ask::default();
    let case = case(&ask);
    let findings = [disagreement(), careless()];
    let held =
        HeldCase { case: &case, state: "blocked", findings: &findings, answered: &[], needs_approval: true };
    let found = texts(&slip(&held, &facts(&ask)).unwrap());
    for text in &found {
        assert!(!holds_measure(text), "{text}");
        assert!(!text.contains("0.43") && !text.contains("12.40") && !text.contains("0.80"), "{text}");
    }
    let has = |words: &str| found.iter().any(|text| text.contains(words));
    assert!(
        has("RIGHT EYE")
            && has("BLOCKED - NOT RELEASED")
            && has("impossible value")
            && has("look the case up by its code")
    );
    assert!(has(case.id.as_str()) && has("A01") && has("B11") && has("approval of the version is needed"));
    assert!(!has("-0.25"), "the target is a number of the plan");
}

#[test]
fn an_open_laterality_finding_takes_the_eye_away() {
    let ask = Ask::default();
    let mut case = case(&ask);
    let findings = [laterality()];
    let held =
        HeldCase { case: &case, state: "blocked", findings: &findings, answered: &[], needs_approval: false };
    let found = texts(&slip(&held, &facts(&ask)).unwrap());
    let has = |words: &str| found.iter().any(|text| text.contains(words));
    assert!(has("NOT CERTAIN") && has("what each source says") && has("Operating list"));
    assert!(has("Halden K2, 2026-03-01 09:14") && has("values stand under RIGHT and LEFT"));
    assert!(!has("RIGHT EYE") && !has("LEFT EYE"));
    // Negative control: without it, or once a sign-off is answered, the eye is printed.
    assert!(eye_is_certain(&case, &[disagreement()], &[]));
    assert!(!eye_is_certain(&case, &findings, &[]));
    let name = Finding::new(
        Code::L02,
        Severity::SignOff,
        "file name says left",
        "the file name names the other eye",
    );
    let answer = Answer {
        fingerprint: Some(name.fingerprint()),
        code: Code::L02,
        reason: "typed by hand at the device".to_owned(),
        by: "Dr. Ines Okafor".to_owned(),
        at: None,
        authenticated: true,
    };
    assert!(!eye_is_certain(&case, std::slice::from_ref(&name), &[]));
    assert!(eye_is_certain(&case, std::slice::from_ref(&name), std::slice::from_ref(&answer)));
    // An answer does not lift a refusal.
    let refused = name.weighed(Severity::Refuse);
    let answer = Answer { fingerprint: None, ..answer };
    assert!(!eye_is_certain(&case, &[refused], &[answer]));
    case.eye = None;
    assert!(!eye_is_certain(&case, &[], &[]));
    let held =
        HeldCase { case: &case, state: "blocked", findings: &[], answered: &[], needs_approval: false };
    assert!(texts(&slip(&held, &facts(&ask)).unwrap()).iter().any(|text| text == "NOT CERTAIN"));
}

#[test]
fn another_patient_is_never_named() {
    let ask = Ask::default();
    let mut case = case(&ask);
    // An examination of the same instrument that carries another person's name and number stands as a contradiction.
    let stranger = Ask { family: "Quistorp", given: "Benedikt", number: "999 000 0999", ..ask.clone() };
    let (_, joined) = crate::cases::case(&stranger).exams.remove(0);
    case.exams.push((Attached::NumberDiffers, joined));
    for findings in [vec![laterality()], vec![disagreement()]] {
        let held = HeldCase {
            case: &case,
            state: "held",
            findings: &findings,
            answered: &[],
            needs_approval: false,
        };
        for text in texts(&slip(&held, &facts(&ask)).unwrap()) {
            assert!(!text.contains("Quistorp") && !text.contains("0999"), "{text}");
        }
    }
    let notice = Notice { case: &case, replaced_by: None, eye_certain: true };
    for text in texts(&superseded_notice(&notice, &facts(&ask)).unwrap()) {
        assert!(!text.contains("Quistorp") && !text.contains("0999"), "{text}");
    }
}

#[test]
fn slips_stay_one_page_however_much_is_open() {
    for (ask, count) in [(Ask::default(), 1), (Ask::default(), 7), (crowded(), 12), (crowded(), 60)] {
        let case = case(&ask);
        let mut findings: Vec<Finding> = (0..count)
            .map(|number| {
                let code = Code::ALL[number % Code::ALL.len()];
                let plain = format!(
                    "something that a person must look at before this case goes on, of kind {number}"
                );
                Finding::new(code, Severity::SignOff, plain.clone(), plain)
                    .next("look at the device's own screen and answer")
            })
            .filter(|finding| !finding.code().reference().starts_with('L'))
            .collect();
        for eye in [false, true] {
            if eye {
                findings.push(laterality());
            }
            let held = HeldCase {
                case: &case,
                state: "held",
                findings: &findings,
                answered: &[],
                needs_approval: true,
            };
            let mut facts = facts(&ask);
            facts.live = eye;
            let bytes = slip(&held, &facts).unwrap();
            let back = readback::read(&bytes).unwrap();
            assert_eq!(back.pages().len(), 1);
            assert_eq!(faults(&page(&bytes)), Vec::<String>::new(), "{count} findings");
            let all = texts(&bytes).join(" ");
            for finding in &findings {
                assert!(all.contains(finding.code().reference()), "{} of {count}", finding.code());
            }
        }
    }
}

#[test]
fn a_notice_says_what_replaced_it_and_nothing_of_the_plan() {
    let ask = crowded();
    let case = case(&ask);
    let mut facts = facts(&ask);
    facts.version = 3;
    for (replaced_by, words) in
        [(Some(4), "Version 3 was replaced by version 4."), (None, "Version 3 was withdrawn.")]
    {
        let notice = Notice { case: &case, replaced_by, eye_certain: replaced_by.is_some() };
        let bytes = superseded_notice(&notice, &facts).unwrap();
        let found = texts(&bytes);
        assert!(found.iter().any(|text| text.contains(words)), "{found:?}");
        assert!(found.iter().any(|text| text.contains("Destroy every paper copy")));
        assert!(found.iter().all(|text| !holds_measure(text)));
        assert_eq!(found.iter().any(|text| text == "LEFT EYE"), replaced_by.is_some());
        assert_eq!(faults(&page(&bytes)), Vec::<String>::new());
    }
}

#[test]
fn a_patient_whose_number_looks_like_a_measure_is_still_served() {
    let ask = Ask { number: "4711 D", ..Ask::default() };
    let case = case(&ask);
    let held = HeldCase { case: &case, state: "held", findings: &[], answered: &[], needs_approval: true };
    assert!(slip(&held, &facts(&ask)).is_ok());
    // Negative control: the same words anywhere else are refused.
    let mut other = facts(&ask);
    other.site = "Clinic".to_owned();
    let stated = HeldCase { state: "held at 12 D", ..held };
    let found = texts(&slip(&stated, &other).unwrap());
    assert!(found.iter().any(|text| text.starts_with("HELD - NOT")), "{found:?}");
    let error = SheetError::Measure { text: "12 D".to_owned() };
    assert!(!error.hint().is_empty());
}
