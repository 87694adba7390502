//! A case file through all stages, in this process.

use axiswright::bridge::{Considered, Outcome, consider_case_file};
use axiswright::checks::NumberScheme;
use axiswright::plan::{Approval, Released};
use axiswright::site::case_file;

use crate::demo::now;

fn considered(bytes: &[u8], scheme: NumberScheme) -> Considered {
    let file = case_file("case.json", bytes).unwrap();
    consider_case_file(&file, now(), scheme).unwrap()
}

/// References of the findings.
pub(crate) fn findings(bytes: &[u8], scheme: NumberScheme) -> Vec<String> {
    let findings = considered(bytes, scheme).findings;
    findings.iter().map(|finding| finding.code().reference().to_owned()).collect()
}

/// The released plan of a case file; none when findings are open.
pub(crate) fn released(bytes: &[u8]) -> Option<Released> {
    let considered = considered(bytes, NumberScheme::None);
    let Outcome::Planned(plan) = considered.outcome else { return None };
    let approval = Approval::Surgeon { name: "Dr. Imara Vost".to_owned(), at: now(), authenticated: true };
    Some(plan.release(&considered.answers, Some(approval)).unwrap())
}
