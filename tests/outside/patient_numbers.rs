//! Check digits of patient numbers against one line of Python.

use axiswright::checks::NumberScheme;

use crate::cases::findings;
use crate::found::{repo, script};

/// Numbers from a small linear congruence; every second one gets the digit that would fit some neighbour.
fn random_numbers() -> Vec<String> {
    let mut state = 20_260_310_u64;
    let mut next = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        state >> 33
    };
    (0..200)
        .flat_map(|_| {
            let nine = next() % 1_000_000_000;
            (0..10).map(move |digit| format!("{nine:09}{digit}"))
        })
        .collect()
}

/// Source: the rule of the ten-digit number, in `check_digit.py`.
/// Checked: 2,000 numbers, all ten last digits of 200 beginnings, through the checks of a case.
#[test]
fn check_digits_agree() {
    let numbers = random_numbers();
    assert_eq!(numbers.len(), 2000);
    let Some(theirs) = script("check_digit.py", &[], &numbers.join("\n"), "check digits") else { return };
    let case = String::from_utf8(std::fs::read(repo("demo-data/cases/toric_right.toml")).unwrap()).unwrap();
    let mut sound = 0;
    for (number, theirs) in numbers.iter().zip(&theirs) {
        let file = case.replace("number = \"7731-204\"", &format!("number = \"{number}\""));
        let ours = !findings(file.as_bytes(), NumberScheme::Mod11Ten).contains(&"P07".to_owned());
        assert_eq!(Some(ours), theirs.as_bool(), "{number}");
        sound += usize::from(ours);
    }
    eprintln!("{} numbers, {sound} with a right check digit", numbers.len());
    assert!(sound > 150);
}
