//! The join itself.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::id::CaseId;
use super::names::{NameMatch, compare_names};
use super::order::{Arrived, Operation, Standing, in_force, scope};
use crate::finding::Finding;
use crate::model::{Exam, Eye, Fact, Identity, ListEntry, OperatingList};

/// An examination with the findings its reader raised.
#[derive(Debug, Clone, PartialEq)]
pub struct Joined {
    /// The examination.
    pub exam: Arc<Exam>,
    /// What its reader noticed.
    pub findings: Vec<Finding>,
    /// How often the same examination was delivered beyond the first time.
    pub again: u32,
}

/// Why an examination stands with a case.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Attached {
    /// The patient numbers are equal.
    ByNumber,
    /// The patient numbers are equal once leading zeros are put back; name and birth date are equal.
    ByNumberButZeros,
    /// The file has no number; name and birth date are equal.
    WithoutNumber,
    /// The numbers differ while name and birth date are equal.
    NumberDiffers,
}

/// Everything that has arrived and is known.
#[derive(Debug, Clone, Default)]
pub struct Evidence {
    /// Examinations with the findings of their readers.
    pub exams: Vec<Arrived<(Arc<Exam>, Vec<Finding>)>>,
    /// Operating lists.
    pub lists: Vec<Arrived<OperatingList>>,
    /// Facts stated by persons, in any order.
    pub facts: Vec<Fact>,
    /// The authority of numbers that name none.
    pub authority: String,
}

/// One patient, one eye, one planned operation, with everything that speaks to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Its id.
    pub id: CaseId,
    /// The line of the list in force.
    pub entry: ListEntry,
    /// The planned eye; none when the list names none.
    pub eye: Option<Eye>,
    /// Examinations of the patient, of both eyes, oldest first within each instrument.
    pub exams: Vec<(Attached, Joined)>,
    /// What was stated about the planned eye under the patient's number, oldest first, each statement once.
    pub facts: Vec<Fact>,
    /// Earlier entries of the same operation that say something else about eye, procedure, surgeon, lens or target, newest
    /// first.
    pub earlier: Vec<ListEntry>,
    /// A newer complete list of its theatre and day does not name it any more.
    pub gone: bool,
}

/// What a case waits for: the sources that are to come, and how long.
#[derive(Debug, Clone, Copy, Default)]
pub struct Expectation<'a> {
    /// The instruments by the site's names.
    pub sources: &'a [String],
    /// From when on nothing is waited for any more; none when there is no such time.
    pub decide_by: Option<jiff::Timestamp>,
}

impl Attached {
    /// Whether the examination counts as the patient's own.
    pub const fn is_own(self) -> bool {
        match self {
            Self::ByNumber | Self::ByNumberButZeros => true,
            Self::WithoutNumber | Self::NumberDiffers => false,
        }
    }
}

impl Case {
    /// Examinations that carry the patient's number.
    pub fn own_exams(&self) -> impl Iterator<Item = &Joined> {
        self.exams.iter().filter(|(attached, _)| attached.is_own()).map(|(_, joined)| joined)
    }

    /// Examinations of the same person by name and birth date whose number is another or absent.
    pub fn contradicting_exams(&self) -> impl Iterator<Item = (Attached, &Joined)> {
        self.exams
            .iter()
            .filter(|(attached, _)| !attached.is_own())
            .map(|(attached, joined)| (*attached, joined))
    }

    /// The expected sources that have brought nothing of the planned eye yet; none once the time to decide has come.
    ///
    /// An examination under another number or without one has come: what is wrong with it is said, not waited for.
    pub fn missing(&self, expected: Expectation<'_>, now: jiff::Timestamp) -> Vec<String> {
        if expected.decide_by.is_some_and(|decide_by| now >= decide_by) {
            return Vec::new();
        }
        let holds = |joined: &Joined| match self.eye {
            Some(eye) => joined.exam.eyes.of(eye).as_ref().is_some_and(|values| !values.is_empty()),
            None => true,
        };
        let has_come = |source: &str| {
            self.exams.iter().any(|(_, joined)| {
                joined.exam.instrument.key.eq_ignore_ascii_case(source.trim()) && holds(joined)
            })
        };
        expected.sources.iter().filter(|source| !has_come(source)).cloned().collect()
    }
}

/// All cases, and the examinations that belong to none.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Casebook {
    /// The cases in the order of the lists.
    pub cases: Vec<Case>,
    /// Measurements without an operation.
    pub without_operation: Vec<Joined>,
    /// What persons stated about an eye that no case is of.
    pub facts_without_case: Vec<Fact>,
}

impl Casebook {
    /// The entries that stand on the same list as a case: theatre and day are the same, the entry itself and those that
    /// are gone left out.
    pub fn list_mates(&self, case: &Case) -> Vec<ListEntry> {
        let own = scope(&case.entry);
        self.cases
            .iter()
            .filter(|other| other.id != case.id && !other.gone && scope(&other.entry) == own)
            .map(|other| other.entry.clone())
            .collect()
    }
}

fn number_of(identity: &Identity) -> Option<String> {
    identity.number.as_ref().map(|number| number.value.comparable())
}

fn authority_of(identity: &Identity, default: &str) -> String {
    identity.authority.as_ref().map_or(default, |authority| authority.value.as_str()).trim().to_lowercase()
}

/// A number as it is left when a spreadsheet takes it for a quantity: without its leading zeros.
fn without_zeros(number: &str) -> &str {
    number.trim_start_matches('0')
}

/// Whether name and birth date, both stated in both documents, say it is the same person.
fn same_person(one: &Identity, other: &Identity) -> bool {
    let names = one.name.as_ref().zip(other.name.as_ref());
    let births = one.birth_date.as_ref().zip(other.birth_date.as_ref());
    // Dates first: names are slow to compare, and every entry is held against every examination.
    births.is_some_and(|(a, b)| a.value == b.value)
        && names.is_some_and(|(a, b)| compare_names(&a.value, &b.value) != NameMatch::Different)
}

/// Order of examinations: by instrument, time, and content so that equal times keep one order.
fn sort_key(exam: &Exam) -> (String, Option<jiff::civil::DateTime>, String) {
    (exam.instrument.key.clone(), exam.taken.as_ref().map(|t| t.value.local), exam.file.digest.hex())
}

/// Same instrument and same time: what [`sort_key`] puts beside each other.
fn same_moment(one: &Exam, other: &Exam) -> bool {
    let local = |exam: &Exam| exam.taken.as_ref().map(|taken| taken.value.local);
    one.instrument.key == other.instrument.key && local(one) == local(other)
}

/// Two deliveries of one examination: everything equal but the file and the places.
fn same_examination(one: &Exam, other: &Exam) -> bool {
    one.instrument == other.instrument
        && one.taken.as_ref().map(|t| &t.value) == other.taken.as_ref().map(|t| &t.value)
        && number_of(&one.identity) == number_of(&other.identity)
        && same_values(one, other)
        && same_predictions(one, other)
}

/// Whether two examinations carry the same predictions of the device, whatever file they stood in.
fn same_predictions(one: &Exam, other: &Exam) -> bool {
    Eye::BOTH.into_iter().all(|eye| {
        let values = |exam: &Exam| -> Vec<_> {
            exam.predictions.of(eye).iter().map(crate::model::ExternalPrediction::values).collect()
        };
        values(one) == values(other)
    })
}

/// Whether two examinations state the same values, whatever file they stood in.
fn same_values(one: &Exam, other: &Exam) -> bool {
    Eye::BOTH.into_iter().all(|eye| match (one.eyes.of(eye), other.eyes.of(eye)) {
        (None, None) => true,
        (Some(a), Some(b)) => a.values() == b.values(),
        _ => false,
    })
}

/// Removes deliveries of the same examination, counting them.
fn once_each(exams: &[Arrived<(Arc<Exam>, Vec<Finding>)>]) -> Vec<Joined> {
    let mut kept: Vec<Joined> = Vec::new();
    let mut ordered: Vec<_> = exams.iter().collect();
    ordered.sort_by_cached_key(|arrived| sort_key(&arrived.value.0));
    for arrived in ordered {
        let (exam, findings) = &arrived.value;
        // In this order, deliveries of one examination lie beside each other: the end of what is kept is enough.
        let alike = |known: &&mut Joined| same_moment(&known.exam, exam);
        if let Some(known) =
            kept.iter_mut().rev().take_while(alike).find(|known| same_examination(&known.exam, exam))
        {
            known.again += 1;
        } else {
            kept.push(Joined { exam: Arc::clone(exam), findings: findings.clone(), again: 0 });
        }
    }
    kept
}

/// What was stated about one eye of a patient, oldest first, each statement once.
///
/// Facts go by number and authority alone; name and birth date that stand beside them are for the rules to compare. What a
/// list says without a time counts as long as that list does, as its other columns do.
fn stated_about(
    evidence: &Evidence,
    entry: &ListEntry,
    number: Option<&str>,
    authority: &str,
    eye: Option<Eye>,
) -> Vec<Fact> {
    let own = |fact: &&Fact| {
        number.is_some()
            && (fact.at.is_some() || fact.place.file() == entry.place.file())
            && number_of(&fact.identity).as_deref() == number
            && authority_of(&fact.identity, authority) == authority
            && Some(fact.eye) == eye
    };
    let mut facts: Vec<Fact> = evidence.facts.iter().filter(own).cloned().collect();
    // Equal times keep one order, whatever order the files came in.
    facts.sort_by_cached_key(|fact| {
        let at = fact.at.as_ref().map(|at| at.local);
        (at, fact.kind.words(), fact.by.clone(), fact.place.to_string())
    });
    facts.dedup_by(|next, kept| {
        next.kind == kept.kind
            && next.by == kept.by
            && next.at == kept.at
            && values(&next.identity) == values(&kept.identity)
    });
    facts
}

/// What an identity says, without the places.
fn values(
    identity: &Identity,
) -> (Option<String>, Option<String>, Option<jiff::civil::Date>, Option<crate::model::Sex>) {
    (
        number_of(identity),
        identity.name.as_ref().map(|name| name.value.printed()),
        identity.birth_date.as_ref().map(|birth| birth.value),
        identity.sex.as_ref().map(|sex| sex.value),
    )
}

/// Joins everything that has arrived.
///
/// Pure: the same evidence gives the same casebook, in whatever order the examinations came.
pub fn join(evidence: &Evidence) -> Casebook {
    let exams = once_each(&evidence.exams);
    let numbers: Vec<Option<String>> = exams.iter().map(|joined| number_of(&joined.exam.identity)).collect();
    let mut used = vec![false; exams.len()];
    let mut cases = Vec::new();
    // Patients and eyes that have a case.
    let mut spoken_of: BTreeSet<(String, String, Eye)> = BTreeSet::new();
    let mut ids: BTreeMap<CaseId, u32> = BTreeMap::new();
    for Standing { entry, earlier, gone } in in_force(&evidence.lists) {
        let Operation { number, eye, when } = Operation::of(&entry);
        let authority = authority_of(&entry.identity, &evidence.authority);
        let mut id = CaseId::derive(&authority, number.as_deref().unwrap_or_default(), eye, &when);
        // Entries without a number or an eye can share their parts; each still is a case of its own.
        let seen = ids.entry(id.clone()).or_default();
        *seen += 1;
        if *seen > 1 {
            id = CaseId::derive(
                &authority,
                number.as_deref().unwrap_or_default(),
                eye,
                &format!("{when} ({seen})"),
            );
        }
        let mut attached = Vec::new();
        for ((joined, found), used) in exams.iter().zip(&numbers).zip(used.iter_mut()) {
            let identity = &joined.exam.identity;
            let same_authority =
                identity.authority.is_none() || authority_of(identity, &authority) == authority;
            let how = match (number.as_deref(), found.as_deref()) {
                (Some(listed), Some(found)) if listed == found && same_authority => Some(Attached::ByNumber),
                (Some(listed), Some(found))
                    if same_authority
                        && without_zeros(listed) == without_zeros(found)
                        && same_person(&entry.identity, identity) =>
                {
                    Some(Attached::ByNumberButZeros)
                }
                (_, None) if same_person(&entry.identity, identity) => Some(Attached::WithoutNumber),
                (_, Some(_)) if same_authority && same_person(&entry.identity, identity) => {
                    Some(Attached::NumberDiffers)
                }
                _ => None,
            };
            if let Some(how) = how {
                *used = true;
                attached.push((how, joined.clone()));
            }
        }
        let facts = stated_about(evidence, &entry, number.as_deref(), &authority, eye);
        spoken_of.extend(number.zip(eye).map(|(number, eye)| (number, authority, eye)));
        cases.push(Case { id, entry, eye, exams: attached, facts, earlier, gone });
    }
    let without_operation =
        exams.into_iter().zip(used).filter(|(_, used)| !used).map(|(joined, _)| joined).collect();
    let stray = |fact: &&Fact| {
        let authority = authority_of(&fact.identity, &evidence.authority);
        let number = number_of(&fact.identity);
        fact.at.is_some() && number.is_none_or(|number| !spoken_of.contains(&(number, authority, fact.eye)))
    };
    let facts_without_case = evidence.facts.iter().filter(stray).cloned().collect();
    Casebook { cases, without_operation, facts_without_case }
}
