//! A table of cases: what fires a rule, and the twin that does not.

use axiswright::finding::{Code, Severity};

use crate::build::{Clinic, codes, findings};

pub(crate) type Change = fn(&mut Clinic);

/// What the rule finds after a change, and what it finds after the twin of that change.
pub(crate) struct Row {
    pub(crate) what: &'static str,
    pub(crate) expected: &'static [(Code, Severity)],
    pub(crate) fires: Change,
    pub(crate) twin: Change,
}

pub(crate) fn check(rows: &[Row]) {
    for row in rows {
        let mut clinic = Clinic::sound();
        (row.fires)(&mut clinic);
        assert_eq!(codes(&findings(&clinic)), row.expected, "{}", row.what);
        let mut clinic = Clinic::sound();
        (row.twin)(&mut clinic);
        let found = findings(&clinic);
        for (code, _) in row.expected {
            assert!(found.iter().all(|f| f.code() != *code), "twin of {}: {:?}", row.what, codes(&found));
        }
    }
}

pub(crate) const NOTHING: Change = |_| {};
