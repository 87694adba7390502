//! What a plan asks about its own formula.

use axiswright::checks::clear;
use axiswright::finding::{Code, Finding};
use axiswright::plan::{FormulaName, Order, plan};

use crate::cases::{Ask, case, order, screened};

fn codes(order: Order) -> Vec<Code> {
    let cleared = clear(screened(&case(&Ask::default())), &[]).unwrap();
    let plan = plan(cleared, order).unwrap();
    plan.unanswered(&[]).iter().map(Finding::code).collect()
}

/// F01: on a live site, and for a formula of which numbers are from memory; neither alone asks.
#[test]
fn a_formula_from_memory_is_asked_about_on_a_live_site() {
    let of = |formula: FormulaName, live: bool| {
        let mut order = order(&Ask::default());
        order.surgeon.formula = formula;
        order.live = live;
        codes(order).contains(&Code::F01)
    };
    assert!(of(FormulaName::Holladay1988, true));
    assert!(!of(FormulaName::Holladay1988, false));
    assert!(!of(FormulaName::Retzlaff1990, true));
}
