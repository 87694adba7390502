//! The rules, one file per family.
//!
//! A rule sees one examination ([`About`]), or the sources that count, or the case; it returns findings and changes
//! nothing.

pub(super) mod agreement;
pub(super) mod exchange;
pub(super) mod history;
pub(super) mod identity;
pub(super) mod laterality;
pub(super) mod prediction;
pub(super) mod ranges;
pub(super) mod release;
pub(super) mod target;
pub(super) mod units;
pub(super) mod validity;
pub(super) mod visits;

use crate::casebook::Joined;
use crate::checks::context::Context;
use crate::checks::label;
use crate::checks::settings::Settings;
use crate::finding::{Code, Finding, Severity};
use crate::model::{Exam, Eye, ListEntry, Place};

/// Comparisons against a limit allow for the last bits of binary arithmetic: 0.50 D computed is still 0.50 D.
pub(super) const SLACK: f64 = 1e-9;

/// What a finding about an examination makes unusable.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scope {
    /// Everything in it.
    Whole,
    /// The keratometry of the eye.
    Keratometry,
    /// The lengths of the eye.
    Axial,
}

/// A finding about an examination and what it makes unusable.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Noted {
    pub(super) scope: Scope,
    pub(super) finding: Finding,
}

impl Noted {
    pub(super) const fn new(scope: Scope, finding: Finding) -> Self {
        Self { scope, finding }
    }
}

/// One examination and what it is judged by.
pub(super) struct About<'a> {
    pub(super) joined: &'a Joined,
    pub(super) entry: Option<&'a ListEntry>,
    pub(super) context: &'a Context<'a>,
    pub(super) settings: &'a Settings,
    pub(super) label: String,
}

impl<'a> About<'a> {
    pub(super) fn new(
        joined: &'a Joined,
        entry: Option<&'a ListEntry>,
        context: &'a Context<'a>,
        settings: &'a Settings,
    ) -> Self {
        Self { joined, entry, context, settings, label: label::of_exam(&joined.exam) }
    }

    pub(super) fn exam(&self) -> &'a Exam {
        &self.joined.exam
    }

    /// The file as a whole.
    pub(super) fn file_place(&self) -> Place {
        self.joined.exam.whole_file()
    }

    /// A finding about this examination, its source named.
    pub(super) fn finding(
        &self,
        code: Code,
        severity: Severity,
        message: impl Into<String>,
        plain: impl Into<String>,
    ) -> Finding {
        Finding::new(code, severity, message, plain).sources([self.label.clone()])
    }

    /// Whether the reader of the file has already raised this code about this eye, or about the file.
    pub(super) fn reader_raised(&self, code: Code, eye: Option<Eye>) -> bool {
        self.joined
            .findings
            .iter()
            .any(|finding| finding.code() == code && (finding.about().is_none() || finding.about() == eye))
    }
}

/// What a finding of a reader makes unusable: a keratometry for the codes that only it can have, everything else
/// otherwise.
fn scope_of_reader(finding: &Finding) -> Scope {
    let keratometry = [Code::U01, Code::U02, Code::U05, Code::U08, Code::I01, Code::B07, Code::B08];
    if finding.about().is_some() && keratometry.contains(&finding.code()) {
        Scope::Keratometry
    } else {
        Scope::Whole
    }
}

/// Everything the rules say about one examination by itself, both eyes.
pub(super) fn of_exam(about: &About<'_>) -> Vec<Noted> {
    let mut noted: Vec<Noted> = about
        .joined
        .findings
        .iter()
        .map(|finding| {
            let finding = finding.clone().sources([about.label.clone()]);
            Noted::new(scope_of_reader(&finding), finding)
        })
        .collect();
    noted.extend(identity::of_exam(about));
    noted.extend(laterality::of_exam(about));
    for eye in Eye::BOTH {
        if let Some(values) = about.exam().eyes.of(eye) {
            noted.extend(units::of_eye(about, eye, values));
            noted.extend(validity::of_eye(about, eye, values));
        }
    }
    noted
}

/// The place of a finding in the order of the printed list: identity, eye, units and exchange, agreement, validity,
/// history, release.
pub(super) const fn rank(code: Code) -> u8 {
    match code {
        Code::P01
        | Code::P02
        | Code::P03
        | Code::P04
        | Code::P05
        | Code::P06
        | Code::P07
        | Code::P08
        | Code::P10
        | Code::P11
        | Code::P13
        | Code::P14
        | Code::P15
        | Code::P16
        | Code::P17 => 0,
        Code::L01
        | Code::L02
        | Code::L03
        | Code::L05
        | Code::L07
        | Code::L08
        | Code::L09
        | Code::L11
        | Code::L12 => 1,
        Code::U01
        | Code::U02
        | Code::U04
        | Code::U05
        | Code::U06
        | Code::U08
        | Code::U09
        | Code::U10
        | Code::D03
        | Code::D04
        | Code::D05
        | Code::D06
        | Code::D07 => 2,
        Code::A01 | Code::A02 | Code::A04 | Code::A05 | Code::A06 | Code::A07 => 3,
        Code::B01
        | Code::B02
        | Code::B03
        | Code::B04
        | Code::B05
        | Code::B07
        | Code::B08
        | Code::B11
        | Code::I01 => 4,
        Code::I03 | Code::I05 | Code::I07 => 5,
        Code::T01
        | Code::T02
        | Code::T03
        | Code::T05
        | Code::M01
        | Code::M02
        | Code::M03
        | Code::M04
        | Code::M05
        | Code::E01
        | Code::F01
        | Code::F02
        | Code::F03
        | Code::F04
        | Code::F05
        | Code::F06
        | Code::F07
        | Code::R01
        | Code::R02
        | Code::O03 => 6,
    }
}

/// Whether a rule is about the person or the eye: such a doubt is never the fellow eye's alone.
pub(super) const fn who_or_which_eye(code: Code) -> bool {
    rank(code) <= 1
}

/// Orders findings and drops repetitions.
pub(super) fn in_order(mut findings: Vec<Finding>) -> Vec<Finding> {
    findings.sort_by_cached_key(|finding| {
        (
            rank(finding.code()),
            finding.code(),
            core::cmp::Reverse(finding.severity()),
            finding.about(),
            finding.message().to_owned(),
            finding.fingerprint(),
        )
    });
    findings.dedup_by(|next, kept| next.fingerprint() == kept.fingerprint());
    findings
}
