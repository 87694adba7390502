//! A site on disk, opened: settings, ledger, kept files, keys.
#![expect(clippy::disallowed_methods, reason = "the bridge reads the files of its site")]

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::Path;

use jiff::Timestamp;

use super::error::BridgeError;
use super::event::Event;
use super::fold::{Folded, Standing};
use super::memory::Memory;
use crate::intake::{Brings, ReportTable, Template};
use crate::ledger::durable::PipelineLock;
use crate::ledger::kept::Kept;
use crate::ledger::{Ledger, Note, SiteSecret};
use crate::model::{Digest, same_name};
use crate::plan::{Nomogram, Surgeon};
use crate::seal::{Certificate, Credential, SigningKey};
use crate::site::{
    Approved, Folders, LensRead, MappingFile, SettingsFile, SiteFile, compare, mapping_file, standard_reports,
};

/// A settings file as it lies there.
#[derive(Debug, Clone)]
pub struct SettingsText {
    /// Name relative to the site.
    pub name: String,
    /// Its text.
    pub text: String,
    /// SHA-256 of it.
    pub digest: Digest,
}

/// Everything that can move a printed number, read and parsed.
#[derive(Debug)]
pub struct Settings {
    /// `site.toml`.
    pub site: SiteFile,
    /// Surgeons by file name.
    pub surgeons: Vec<(String, Surgeon)>,
    /// Lens families by file name.
    pub lenses: Vec<(String, LensRead)>,
    /// Tables of arcs by file name.
    pub nomograms: Vec<(String, Nomogram)>,
    /// Mapping templates by file name.
    pub templates: Vec<(String, Template)>,
    /// The site's own tables for structured reports by file name.
    pub reports: Vec<(String, ReportTable)>,
    /// The texts.
    pub texts: Vec<SettingsText>,
}

/// An opened site.
#[derive(Debug)]
pub struct Site {
    /// Where everything lies.
    pub folders: Folders,
    /// Settings.
    pub settings: Settings,
    /// The ledger.
    pub ledger: Ledger,
    /// Kept files.
    pub kept: Kept,
    /// The bridge's seal.
    pub credential: Credential,
    /// What the passes of this process remember.
    pub(super) memory: RefCell<Memory>,
}

fn read_text(path: &Path) -> Result<String, BridgeError> {
    std::fs::read_to_string(path).map_err(BridgeError::disk("read", path))
}

/// The settings files of a site in the order of their names.
pub fn settings_texts(folders: &Folders) -> Result<Vec<SettingsText>, BridgeError> {
    let mut texts = Vec::new();
    let mut push = |name: String, path: &Path| -> Result<(), BridgeError> {
        let text = read_text(path)?;
        let digest = Digest::of(text.as_bytes());
        texts.push(SettingsText { name, text, digest });
        Ok(())
    };
    push("site.toml".to_owned(), &folders.site_file())?;
    for (folder, path) in [
        ("lenses", folders.lenses()),
        ("mappings", folders.mappings()),
        ("nomograms", folders.nomograms()),
        ("surgeons", folders.surgeons()),
    ] {
        // A site laid out before there were tables of arcs has no folder for them.
        if folder == "nomograms" && !path.exists() {
            continue;
        }
        let mut names: Vec<String> = Vec::new();
        for entry in std::fs::read_dir(&path).map_err(BridgeError::disk("list", &path))? {
            let entry = entry.map_err(BridgeError::disk("list", &path))?;
            let name = entry.file_name().to_string_lossy().into_owned();
            if Path::new(&name).extension().is_some_and(|ext| ext == "toml") && !name.starts_with('.') {
                names.push(name);
            }
        }
        names.sort();
        for name in names {
            push(format!("{folder}/{name}"), &path.join(&name))?;
        }
    }
    Ok(texts)
}

/// Refuses two files that a list could mean by one name: which of them counts would hang on the order of file names.
fn one_of_a_name<'a>(files: impl Iterator<Item = (&'a str, &'a str)>) -> Result<(), BridgeError> {
    let mut seen: Vec<(&str, &str)> = Vec::new();
    for (file, name) in files {
        if let Some((other, _)) = seen.iter().find(|(_, known)| same_name(known, name)) {
            return Err(BridgeError::NotPossible {
                detail: format!("{other} and {file} both carry the name `{name}`"),
                next: "give each a name of its own, or take one of the two away".to_owned(),
            });
        }
        seen.push((file, name));
    }
    Ok(())
}

impl Settings {
    /// Parses the settings files.
    ///
    /// # Errors
    /// The first text that cannot be used, with file, line and key.
    ///
    /// # Panics
    /// Never: a template that is refused has a fault.
    pub fn parse(texts: Vec<SettingsText>) -> Result<Self, BridgeError> {
        let mut site = None;
        let (mut surgeons, mut lenses, mut nomograms) = (Vec::new(), Vec::new(), Vec::new());
        let (mut templates, mut reports) = (Vec::new(), Vec::new());
        for text in &texts {
            match text.name.split_once('/') {
                None => site = Some(SiteFile::parse(&text.text)?),
                Some(("surgeons", _)) => {
                    surgeons.push((text.name.clone(), crate::site::surgeon(&text.name, &text.text)?));
                }
                Some(("lenses", _)) => {
                    lenses.push((text.name.clone(), crate::site::lens(&text.name, &text.text)?));
                }
                Some(("nomograms", _)) => {
                    nomograms.push((text.name.clone(), crate::site::nomogram(&text.name, &text.text)?));
                }
                Some(_) => {
                    let mapping = mapping_file(&text.text, &text.name).map_err(|faults| {
                        faults.into_iter().next().expect("a template that is refused has a fault")
                    })?;
                    match mapping {
                        MappingFile::Template(template) => templates.push((text.name.clone(), *template)),
                        MappingFile::Reports(table) => reports.push((text.name.clone(), table)),
                    }
                }
            }
        }
        let site = site.ok_or_else(|| BridgeError::NotPossible {
            detail: "the site has no site.toml".to_owned(),
            next: "make a site with `axiswright init`".to_owned(),
        })?;
        one_of_a_name(surgeons.iter().map(|(file, surgeon)| (file.as_str(), surgeon.name.as_str())))?;
        one_of_a_name(lenses.iter().map(|(file, lens)| (file.as_str(), lens.name.as_str())))?;
        one_of_a_name(nomograms.iter().map(|(file, table)| (file.as_str(), table.name.as_str())))?;
        Ok(Self { site, surgeons, lenses, nomograms, templates, reports, texts })
    }

    /// The digests of every file, in their order.
    pub(super) fn digests(&self) -> Vec<Digest> {
        self.texts.iter().map(|text| text.digest).collect()
    }

    /// The tables by which structured reports are read: that of the program, then the site's own.
    pub fn report_tables(&self) -> Vec<ReportTable> {
        let own = self.reports.iter().map(|(_, table)| table.clone());
        core::iter::once(standard_reports()).chain(own).collect()
    }

    /// The ids of what a folder can name to read its files, with what each reads.
    pub fn mapping_ids(&self) -> Vec<(&str, Brings)> {
        let templates = self.templates.iter().map(|(_, template)| (template.id(), template.brings()));
        // A structured report is a DICOM object, and those come with the measurements.
        let reports = self.reports.iter().map(|(_, table)| (table.id(), Brings::Measurements));
        templates.chain(reports).collect()
    }

    /// Files whose text is not the approved one.
    pub fn unapproved(&self, approved: &BTreeMap<String, Approved>) -> Vec<crate::checks::UnapprovedFile> {
        let files: Vec<SettingsFile> = self
            .texts
            .iter()
            .map(|text| SettingsFile { name: text.name.clone(), digest: text.digest })
            .collect();
        compare(&files, approved)
    }
}

impl Site {
    /// Opens the site in a folder. Persons' acts need no lock; a pass takes it with [`Site::lock`].
    ///
    /// # Errors
    /// No site there, settings that cannot be read, a damaged ledger, missing keys.
    pub fn open(root: &Path) -> Result<Self, BridgeError> {
        let folders = Folders::at(root);
        if !folders.site_file().is_file() {
            return Err(BridgeError::NoSite { path: root.to_owned(), detail: "no site.toml".to_owned() });
        }
        let settings = Settings::parse(settings_texts(&folders)?)?;
        let secret = SiteSecret::load(&folders.secret())?;
        let mut ledger = Ledger::open(&folders.ledger(), secret)?;
        let (kept, _) = Kept::open(&folders.kept(), &mut ledger)?;
        let credential = credential(&folders)?;
        Ok(Self { folders, settings, ledger, kept, credential, memory: RefCell::default() })
    }

    /// Takes the pipeline lock: one pass at a time.
    ///
    /// # Errors
    /// When another process holds it.
    pub fn lock(&self) -> Result<PipelineLock, BridgeError> {
        Ok(PipelineLock::take(&self.folders.pipeline_lock())?)
    }

    /// Appends one event.
    ///
    /// # Errors
    /// Those of the ledger.
    pub fn append(&mut self, event: &Event, at: Timestamp) -> Result<(), BridgeError> {
        let entry = event.entry(at)?;
        self.ledger.append(&[entry], &[])?;
        // An event holds ids, digests, codes and times only: it may stand in a log.
        tracing::info!(?event, "recorded");
        Ok(())
    }

    /// Stores a note and gives the text of its key.
    pub(super) fn note(
        &mut self,
        scope: &str,
        label: &str,
        content: &str,
    ) -> Result<(Note, String), BridgeError> {
        let note = Note::new(scope, label, content.as_bytes())?;
        let key = self.ledger.secret().note_key(&note).to_string();
        Ok((note, key))
    }

    /// Everything the ledger says, folded. What was folded before is gone on from, unless a note was erased since.
    ///
    /// # Errors
    /// A record this program does not know.
    pub fn standing(&self) -> Result<Standing, BridgeError> {
        let mut folded = self.memory.borrow_mut().take_folded();
        let mut records = self.ledger.since(folded.seq())?;
        if folded.seq() > 0 && records.iter().any(|record| record.kind() == "erased") {
            folded = Folded::default();
            records = self.ledger.entries(1)?;
        }
        folded.go_on(&self.ledger, &records)?;
        let standing = folded.standing.clone();
        self.memory.borrow_mut().put_folded(folded);
        Ok(standing)
    }

    /// The certificates that vouch for this site's sheets.
    pub fn trusted(&self) -> Vec<Certificate> {
        vec![self.credential.authority().clone()]
    }

    /// The time of a pass: the given one where the site allows it, else the system's.
    ///
    /// # Errors
    /// A given time on a site whose clock is the system's.
    pub fn now(&self, given: Option<Timestamp>) -> Result<Timestamp, BridgeError> {
        match given {
            None => Ok(Timestamp::now()),
            Some(now) if self.settings.site.clock() == crate::site::Clock::Given => Ok(now),
            Some(_) => Err(BridgeError::NotPossible {
                detail: "`--now` is not allowed on this site".to_owned(),
                next: "leave `--now` out; only a site with `clock = \"given\"` takes it".to_owned(),
            }),
        }
    }
}

/// The bridge's seal, read and held against its certificate and the site's authority.
pub(super) fn credential(folders: &Folders) -> Result<Credential, BridgeError> {
    let keys = folders.keys();
    let key = SigningKey::from_pem(&read_text(&keys.join("seal.key.pem"))?)?;
    let certificate = Certificate::from_pem(&read_text(&keys.join("seal.crt.pem"))?)?;
    let authority = Certificate::from_pem(&read_text(&keys.join("authority.crt.pem"))?)?;
    Ok(Credential::new(key, certificate, authority)?)
}
