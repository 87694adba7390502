//! Kept files to evidence, each read apart so that no file can stop the pass.
//!
//! The limits are our own choice.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::mpsc;
use std::time::Duration;

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::fold::{Document, Standing};
use super::memory::Said;
use super::store::Site;
use crate::casebook::{Arrived, Evidence};
use crate::finding::{Code, Finding, Severity};
use crate::intake::{self, Brings, Content, FolderRules, Input, IntakeError, ReportTable, Template};
use crate::ledger::KeptKey;
use crate::ledger::durable::{self, Mode};
use crate::model::{Digest, Exam, Place};

/// How long one file may take to read.
const TIME_LIMIT: Duration = Duration::from_secs(10);
/// Stack of the thread a file is read on.
const STACK: usize = 8 * 1024 * 1024;
/// The start on the same file that refuses it unread.
const LAST_START: u32 = 3;

/// The note beside a refused file.
pub(super) const REASON: &str = "reason.txt";

/// Why a file was refused.
#[derive(Debug)]
pub(super) enum Refusal {
    Reader(Box<IntakeError>),
    Panicked,
    TooSlow,
    TooOften,
}

impl Refusal {
    pub(super) fn code(&self) -> String {
        match self {
            Self::Reader(error) => {
                error.code().map_or_else(|| error.slug().to_owned(), |code| code.slug().to_owned())
            }
            Self::Panicked => "reader-failed".to_owned(),
            Self::TooSlow => "reader-too-slow".to_owned(),
            Self::TooOften => "reader-interrupted".to_owned(),
        }
    }

    /// The note beside a refused file.
    fn text(&self, document: &Document) -> String {
        self.text_under(
            "This file was refused whole. Nothing in it was used; the original lies beside this note.",
            document,
        )
    }

    /// The note under another first sentence, for a file of which a part came into use later.
    pub(super) fn text_under(&self, heading: &str, document: &Document) -> String {
        let (what, place, next) = match self {
            Self::Reader(error) => (
                one_line(&match error.code() {
                    Some(code) => format!("{} ({}): {error}", code.reference(), code.slug()),
                    None => error.to_string(),
                }),
                one_line(&error.place().with_name()),
                error.hint().to_owned(),
            ),
            Self::Panicked => (
                "the reader failed on this file".to_owned(),
                one_line(&document.name),
                "send a copy without the patient (`axiswright read --scrub`) to the maintainers; export the measurement in another format".to_owned(),
            ),
            Self::TooSlow => (
                "the file took too long to read".to_owned(),
                one_line(&document.name),
                "export the measurement again; if it happens again, send the file to the maintainers".to_owned(),
            ),
            Self::TooOften => (
                "reading this file was interrupted twice; it is not read a third time".to_owned(),
                one_line(&document.name),
                "export the measurement again; if it happens again, send the file to the maintainers".to_owned(),
            ),
        };
        format!(
            "{heading}\n\n\
             what:    {what}\nwhere:   {place}\nnext:    {next}\n\nfolder:  {}\ntaken:   {}\n",
            document.folder, document.at
        )
    }
}

/// A text from outside on one line of a note: what would break the line, or turn the direction of reading, becomes `_`.
pub(super) fn one_line(text: &str) -> String {
    let turns =
        |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.chars().map(|c| if c.is_control() || turns(c) { '_' } else { c }).collect()
}

/// Who reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reader {
    /// The one pipeline, under its lock: counts its starts and refuses what cannot be read.
    Pipeline,
    /// A person's look beside it: leaves both to the pipeline.
    Onlooker,
}

/// What reading came to.
#[derive(Debug, Default)]
pub struct Reading {
    /// Everything that could be read.
    pub evidence: Evidence,
    /// Files refused in this pass.
    pub refused_now: u32,
    /// Keys of the kept files behind the evidence, by arrival.
    pub files: BTreeMap<u64, String>,
}

/// The documents that count: of measurements the first arrival of each content in each folder, of lists the newest; what
/// was refused does not count, but a later copy of it is read again.
fn counting<'a>(standing: &'a Standing, site: &Site) -> Vec<&'a Document> {
    let mut seen = BTreeSet::new();
    let mut counting: Vec<&Document> = Vec::new();
    let is_list = |folder: &str| rules_of(site, folder).is_some_and(|rules| rules.brings == Brings::Lists);
    for document in &standing.documents {
        if standing.refused.contains_key(&document.arrival) {
            continue;
        }
        if is_list(&document.folder) {
            counting.retain(|known| (&known.folder, &known.file) != (&document.folder, &document.file));
            counting.push(document);
        } else if seen.insert((&document.folder, &document.file)) {
            counting.push(document);
        }
    }
    counting
}

pub(super) fn rules_of(site: &Site, folder: &str) -> Option<FolderRules> {
    site.settings
        .site
        .incoming()
        .iter()
        .find(|incoming| incoming.folder() == folder)
        .map(crate::site::Incoming::rules)
}

/// What files are read by.
#[derive(Debug, Clone)]
pub(super) struct By {
    templates: Vec<Template>,
    reports: Vec<ReportTable>,
}

/// What the site's files are read by; the templates read all but these lines.
pub(super) fn by_all_but(site: &Site, lines: &BTreeSet<u64>) -> By {
    let settings = &site.settings;
    let templates = settings.templates.iter().map(|(_, template)| template.without_lines(lines)).collect();
    By { templates, reports: settings.report_tables() }
}

pub(super) fn read_apart(
    bytes: Vec<u8>,
    name: &str,
    rules: FolderRules,
    by: By,
    today: jiff::civil::Date,
) -> Result<intake::Read, Refusal> {
    let (sender, receiver) = mpsc::channel();
    let name = name.to_owned();
    let spawned = std::thread::Builder::new().name("reader".to_owned()).stack_size(STACK).spawn(move || {
        let input = Input { bytes: &bytes, name: &name, folder: &rules, today, reports: &by.reports };
        let read = intake::read(&input, &by.templates);
        // The pass may have stopped waiting.
        let _ = sender.send(read);
    });
    if spawned.is_err() {
        return Err(Refusal::Panicked);
    }
    match receiver.recv_timeout(TIME_LIMIT) {
        Ok(Ok(read)) => Ok(read),
        Ok(Err(error)) => Err(Refusal::Reader(Box::new(error))),
        Err(mpsc::RecvTimeoutError::Timeout) => Err(Refusal::TooSlow),
        Err(mpsc::RecvTimeoutError::Disconnected) => Err(Refusal::Panicked),
    }
}

/// Reads every document that counts; refuses what cannot be read. The pipeline reads a document once and remembers what it
/// said; `enough` is asked before each that is read.
///
/// # Errors
/// Disk and ledger faults; [`BridgeError::Stopped`] when it was enough: half of the evidence is none. A file that cannot be read is no error of the pass.
pub(super) fn read_all(
    site: &mut Site,
    standing: &Standing,
    who: Reader,
    now: Timestamp,
    enough: &dyn Fn() -> bool,
) -> Result<Reading, BridgeError> {
    let mut reading = Reading::default();
    site.settings.site.number_authority().clone_into(&mut reading.evidence.authority);
    let today = site.settings.site.time_zone().to_datetime(now).date();
    let documents: Vec<Document> = counting(standing, site).into_iter().cloned().collect();
    let settings = site.settings.digests();
    let mut known = site.memory.borrow_mut().take_read(&settings, today);
    let mut remembered = BTreeMap::new();
    for document in documents {
        let name =
            (document.folder.clone(), document.file.clone(), document.name.clone(), document.without.clone());
        if let Some(said) = known.remove(&name) {
            reading.files.insert(document.arrival, document.file.clone());
            take_in(&mut reading.evidence, document.arrival, &said);
            remembered.insert(name, said);
            continue;
        }
        if enough() {
            return Err(BridgeError::Stopped);
        }
        let rules = rules_of(site, &document.folder);
        let key = KeptKey::from_hex(&document.file)?;
        let bytes =
            site.kept.read(&key)?.ok_or_else(|| BridgeError::KeptMissing { key: document.file.clone() })?;
        let by = by_all_but(site, &document.without);
        let read = match rules {
            None => continue,
            Some(rules) => match who {
                Reader::Pipeline => guarded(site, &document, bytes, rules, by, today)?,
                Reader::Onlooker => read_apart(bytes, &document.name, rules, by, today),
            },
        };
        match read {
            Ok(mut read) => {
                read.findings.extend(left_out(&document.without));
                let said = Arc::new(said(read));
                reading.files.insert(document.arrival, document.file.clone());
                take_in(&mut reading.evidence, document.arrival, &said);
                remembered.insert(name, said);
            }
            Err(refusal) if who == Reader::Pipeline => {
                refuse(site, &document, &refusal, now)?;
                reading.refused_now += 1;
            }
            Err(_) => {}
        }
    }
    if who == Reader::Pipeline {
        site.memory.borrow_mut().put_read(settings, today, remembered);
    }
    Ok(reading)
}

/// Reads one document; the start is counted durably before, unless this content was read to its end before.
fn guarded(
    site: &mut Site,
    document: &Document,
    bytes: Vec<u8>,
    rules: FolderRules,
    by: By,
    today: jiff::civil::Date,
) -> Result<Result<intake::Read, Refusal>, BridgeError> {
    let mut sound = format!("read:{}:{}", document.folder, document.file);
    for line in &document.without {
        sound.push(':');
        sound.push_str(&line.to_string());
    }
    let known = site.ledger.cached(&sound)?.is_some();
    let attempts = format!("{}:{}", document.folder, document.arrival);
    if !known && site.ledger.attempt(&attempts)? >= LAST_START {
        return Ok(Err(Refusal::TooOften));
    }
    let read = read_apart(bytes, &document.name, rules, by, today);
    if !known {
        if read.is_ok() {
            site.ledger.cache(&sound, b"1")?;
        }
        site.ledger.clear_attempts(&attempts)?;
    }
    Ok(read)
}

/// P10: the file came once more, by a person's act, and rows of it were left out.
fn left_out(without: &BTreeSet<u64>) -> Option<Finding> {
    if without.is_empty() {
        return None;
    }
    let lines: Vec<String> = without.iter().map(u64::to_string).collect();
    let text = format!(
        "the file was refused and read again without line {}, on the word of a person",
        lines.join(", ")
    );
    Some(
        Finding::new(Code::P10, Severity::Note, text.clone(), text)
            .expected("the whole file")
            .found(format!("all but line {}", lines.join(", ")))
            .next("who did it and why is in the ledger and beside the refused file; the row left out is of no case"),
    )
}

fn take_in(evidence: &mut Evidence, sequence: u64, said: &Said) {
    match said {
        Said::Exams(exams) => {
            evidence.exams.extend(exams.iter().map(|exam| Arrived { sequence, value: exam.clone() }));
        }
        Said::List(list, stated) => {
            evidence.lists.push(Arrived { sequence, value: list.clone() });
            evidence.facts.extend(stated.iter().cloned());
        }
        Said::Facts(facts) => evidence.facts.extend(facts.iter().cloned()),
    }
}

fn said(read: intake::Read) -> Said {
    match read.content {
        Content::Exams(exams) => {
            let lines: Vec<BTreeSet<u64>> = exams.iter().map(Exam::lines).collect();
            let with_findings = |(exam, own): (Exam, &BTreeSet<u64>)| {
                // A finding in a line of one examination is about that one; any other is about all of the file.
                let about = |finding: &&Finding| {
                    let at: BTreeSet<u64> = finding.places().iter().filter_map(Place::line).collect();
                    let claimed = lines.iter().any(|lines| !lines.is_disjoint(&at));
                    !claimed || !own.is_disjoint(&at)
                };
                let findings = read.findings.iter().filter(about).cloned().collect();
                (Arc::new(exam), findings)
            };
            Said::Exams(exams.into_iter().zip(&lines).map(with_findings).collect())
        }
        Content::List(list) => Said::List(list, read.stated),
        Content::Facts(facts) => Said::Facts(facts.stated),
    }
}

/// Puts the original and its reason into `refused/`, then records it: a crash between the two does it again.
fn refuse(
    site: &mut Site,
    document: &Document,
    refusal: &Refusal,
    now: Timestamp,
) -> Result<(), BridgeError> {
    let key = KeptKey::from_hex(&document.file)?;
    let bytes =
        site.kept.read(&key)?.ok_or_else(|| BridgeError::KeptMissing { key: document.file.clone() })?;
    let folder = site.folders.refused_of(&Digest::of(&bytes), &document.name);
    durable::make_dir(&folder)?;
    let name = match crate::site::safe_name(&document.name) {
        // Not where the reason goes, whatever the file system thinks of capitals.
        name if name.eq_ignore_ascii_case(REASON) => format!("_{name}"),
        name => name,
    };
    durable::write(&folder.join(name), &bytes, Mode::Private)?;
    durable::write(&folder.join(REASON), refusal.text(document).as_bytes(), Mode::Private)?;
    let event =
        Event::Refused { arrival: document.arrival, file: document.file.clone(), code: refusal.code() };
    site.append(&event, now)?;
    tracing::warn!(folder = %document.folder, arrival = document.arrival, code = %refusal.code(), "file refused");
    Ok(())
}
