//! What a running pipeline remembers between its passes, so that a pass costs what is new and not what ever was.
//!
//! Nothing here decides anything: each thing remembered is what the same computation would give again for the same input,
//! and a process that has just started remembers nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::Date;

use super::fold::Folded;
use super::stages::Considered;
use super::take::Stood;
use crate::casebook::{Case, CaseId};
use crate::checks::UnapprovedFile;
use crate::finding::{Answer, Finding};
use crate::ledger::ContentDigest;
use crate::model::{Digest, Exam, Fact, ListEntry, OperatingList};
use crate::plan::{Entered, Implanted, LocalThickness, Marked};

/// The digests of every settings file: while they are equal, so are the settings.
pub(super) type Settings = Vec<Digest>;

/// Folder, key of the kept bytes, the name a document came with, and the lines a person left out.
pub(super) type DocumentKey = (String, String, String, BTreeSet<u64>);

/// What one document says.
#[derive(Debug, Clone)]
pub(super) enum Said {
    /// Examinations, each with the findings about it.
    Exams(Vec<(Arc<Exam>, Vec<Finding>)>),
    /// An operating list, and what it states about its eyes.
    List(OperatingList, Vec<Fact>),
    /// Facts no instrument carries.
    Facts(Vec<Fact>),
}

/// Everything a case is judged by that does not follow from the settings.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Judged {
    /// The settings it was judged under.
    pub(super) settings: Settings,
    /// The case.
    pub(super) case: Case,
    /// Settings files that concern it and are not in force.
    pub(super) unapproved: Vec<UnapprovedFile>,
    /// The other entries of its list.
    pub(super) list_mates: Vec<ListEntry>,
    /// When nothing is waited for any more.
    pub(super) decide_by: Option<Timestamp>,
    /// The answers given.
    pub(super) answers: Vec<Answer>,
    /// The choice entered.
    pub(super) entered: Option<Entered>,
    /// The thickness entered.
    pub(super) pachymetry: Vec<LocalThickness>,
    /// The lens stated to be in the eye.
    pub(super) implanted: Option<Implanted>,
    /// What was entered of the marks.
    pub(super) marked: Option<Marked>,
}

impl Judged {
    /// Whether a judgement of `earlier` is one of `now`: no time the rules look at lies between the two. They ask only on
    /// which side of now the examinations and the time to decide are.
    fn same_side(&self, earlier: Timestamp, now: Timestamp) -> bool {
        let exams = self.case.exams.iter().filter_map(|(_, joined)| joined.exam.taken.as_ref());
        self.decide_by.is_none_or(|by| (earlier >= by) == (now >= by))
            && exams.map(|taken| &taken.value).all(|taken| taken.is_after(earlier) == taken.is_after(now))
    }
}

/// How a file of a view stood when its bytes were last looked at, and their SHA-256.
pub(super) type Seen = (Stood, ContentDigest);

/// What a slip is made of beside the case: state, version, time, and whether the clock is given.
pub(super) type SlipFacts = (&'static str, u32, Timestamp, bool);

/// What is remembered.
#[derive(Debug, Default)]
pub(super) struct Memory {
    /// What the ledger said. A chain that lost what was folded is an error of the ledger, not another answer.
    folded: Folded,
    /// Under which settings and on which day the documents were read.
    read_under: Option<(Settings, Date)>,
    read: BTreeMap<DocumentKey, Arc<Said>>,
    judged: BTreeMap<CaseId, (Judged, Timestamp, Arc<Considered>)>,
    slips: BTreeMap<CaseId, (Arc<Considered>, SlipFacts, ContentDigest)>,
    /// The files of `sheets/` as the last pass saw them.
    sheets: BTreeMap<PathBuf, Seen>,
    /// The files of `held/`.
    held: BTreeMap<PathBuf, Seen>,
    /// How each file of a folder we may only look at stood when it was copied.
    looked: BTreeMap<(String, OsString), Stood>,
    /// SHA-256 of kept sheets.
    digests: BTreeMap<String, String>,
}

impl Memory {
    /// What the ledger said, up to where it was folded.
    pub(super) fn take_folded(&mut self) -> Folded {
        std::mem::take(&mut self.folded)
    }

    /// Remembers it.
    pub(super) fn put_folded(&mut self, folded: Folded) {
        self.folded = folded;
    }

    /// What was read before under these settings on this day. Empty when either has changed.
    pub(super) fn take_read(&mut self, settings: &Settings, today: Date) -> BTreeMap<DocumentKey, Arc<Said>> {
        let read = std::mem::take(&mut self.read);
        let same = self.read_under.as_ref().is_some_and(|(known, day)| known == settings && *day == today);
        if same { read } else { BTreeMap::new() }
    }

    /// Remembers what was read.
    pub(super) fn put_read(
        &mut self,
        settings: Settings,
        today: Date,
        read: BTreeMap<DocumentKey, Arc<Said>>,
    ) {
        (self.read_under, self.read) = (Some((settings, today)), read);
    }

    /// What the stages made of a case at `now`, when they have seen it so before.
    pub(super) fn considered(&self, of: &Judged, now: Timestamp) -> Option<Arc<Considered>> {
        let (known, at, considered) = self.judged.get(&of.case.id)?;
        (known == of && of.same_side(*at, now)).then(|| Arc::clone(considered))
    }

    /// Remembers what the stages made of a case.
    pub(super) fn put_considered(&mut self, of: Judged, now: Timestamp, considered: &Arc<Considered>) {
        self.judged.insert(of.case.id.clone(), (of, now, Arc::clone(considered)));
    }

    /// Forgets the cases that are on no list any more.
    pub(super) fn keep_cases(&mut self, known: impl Fn(&CaseId) -> bool) {
        self.judged.retain(|id, _| known(id));
        self.slips.retain(|id, _| known(id));
    }

    /// The digest of the slip of a case, when it would be made of the same again.
    pub(super) fn slip(
        &self,
        case: &CaseId,
        of: &Arc<Considered>,
        facts: SlipFacts,
    ) -> Option<ContentDigest> {
        let (known, made_of, digest) = self.slips.get(case)?;
        (Arc::ptr_eq(known, of) && *made_of == facts).then_some(*digest)
    }

    /// Remembers a slip.
    pub(super) fn put_slip(
        &mut self,
        case: CaseId,
        of: &Arc<Considered>,
        facts: SlipFacts,
        digest: ContentDigest,
    ) {
        self.slips.insert(case, (Arc::clone(of), facts, digest));
    }

    /// What a file of `sheets/` was.
    pub(super) fn sheet(&self, path: &Path) -> Option<Seen> {
        self.sheets.get(path).copied()
    }

    /// What a file of `held/` was.
    pub(super) fn held_slip(&self, path: &Path) -> Option<Seen> {
        self.held.get(path).copied()
    }

    /// The files of `sheets/`.
    pub(super) const fn sheets(&self) -> &BTreeMap<PathBuf, Seen> {
        &self.sheets
    }

    /// The files of `held/`.
    pub(super) const fn held(&self) -> &BTreeMap<PathBuf, Seen> {
        &self.held
    }

    /// Remembers the sheets as they stand.
    pub(super) fn put_sheets(&mut self, sheets: BTreeMap<PathBuf, Seen>) {
        self.sheets = sheets;
    }

    /// Remembers the slips as they stand.
    pub(super) fn put_held(&mut self, held: BTreeMap<PathBuf, Seen>) {
        self.held = held;
    }

    /// Whether a file of a folder we may only look at has been copied as it stands.
    pub(super) fn has_looked(&self, folder: &str, name: &OsStr, stood: Stood) -> bool {
        self.looked.get(&(folder.to_owned(), name.to_owned())) == Some(&stood)
    }

    /// Remembers that it has.
    pub(super) fn put_looked(&mut self, folder: &str, name: &OsStr, stood: Stood) {
        self.looked.insert((folder.to_owned(), name.to_owned()), stood);
    }

    /// SHA-256 of a kept sheet by its key.
    pub(super) fn digest(&self, kept: &str) -> Option<String> {
        self.digests.get(kept).cloned()
    }

    /// Remembers it.
    pub(super) fn put_digest(&mut self, kept: &str, digest: &str) {
        self.digests.insert(kept.to_owned(), digest.to_owned());
    }
}
