//! A site like the demo's in a scratch folder, with a given clock.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use axiswright::bridge::{
    InitRequest, Issue, Look, PassReport, Site, State, Weighed, approve_settings, init, look, pass,
};
use axiswright::casebook::CaseId;
use axiswright::finding::Severity;
use axiswright::model::Eye;
use axiswright::page::readback;
use axiswright::site::SiteKind;
use jiff::{SignedDuration, Timestamp};
use tempfile::TempDir;

/// When the first pass of every test runs; a minute later the next.
pub(crate) fn start() -> Timestamp {
    "2026-03-05T09:00:00Z".parse().unwrap()
}

fn repo(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// A file of the repository.
pub(crate) fn repo_file(path: &str) -> Vec<u8> {
    std::fs::read(repo(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// Exports and list of theatre 2 of the demo, the ten cases these tests build on: folder, name, bytes; in the order of
/// folders and names.
pub(crate) fn exports() -> Vec<(String, String, Vec<u8>)> {
    // Whoever is on the list of theatre 4 has a number from EL-30000 on.
    let of_theatre_4 =
        |name: &str| ["EL-3", "el-3", "r3_3", "A4_", "theatre4"].iter().any(|word| name.contains(word));
    let mut files = all_exports();
    files.retain(|(_, name, _)| !of_theatre_4(name));
    files
}

/// Every export and list of the demo: folder, name, bytes; in the order of folders and names.
pub(crate) fn all_exports() -> Vec<(String, String, Vec<u8>)> {
    let mut all = Vec::new();
    for folder in names_in(&repo("demo-data/clinic/incoming")) {
        for name in names_in(&repo("demo-data/clinic/incoming").join(&folder)) {
            let bytes = repo_file(&format!("demo-data/clinic/incoming/{folder}/{name}"));
            all.push((folder.clone(), name, bytes));
        }
    }
    all
}

/// One export of the demo.
pub(crate) fn export(folder: &str, name: &str) -> Vec<u8> {
    repo_file(&format!("demo-data/clinic/incoming/{folder}/{name}"))
}

/// Names of what lies in a folder, in order; empty for no folder.
pub(crate) fn names_in(folder: &Path) -> Vec<String> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// The text of a site file with one piece exchanged; the piece must be there.
pub(crate) fn with(text: &str, old: &str, new: &str) -> String {
    assert!(text.contains(old), "`{old}` is not in the text");
    text.replace(old, new)
}

/// The operating list of the demo.
pub(crate) fn list() -> String {
    String::from_utf8(export("theatre-lists", "theatre2_2026-03-10.csv")).unwrap()
}

/// The list with one patient's line changed.
pub(crate) fn list_with(number: &str, old: &str, new: &str) -> String {
    let mut changed = 0;
    let lines: Vec<String> = list()
        .lines()
        .map(|line| {
            if line.contains(number) && line.contains(old) {
                changed += 1;
                line.replacen(old, new, 1)
            } else {
                line.to_owned()
            }
        })
        .collect();
    assert_eq!(changed, 1, "{number} {old}");
    lines.join("\n") + "\n"
}

/// Puts a second toric family beside the demo's: `Fell T`, with steps of other names.
pub(crate) fn another_lens(clinic: &Clinic) {
    let tarn = String::from_utf8(repo_file("demo-data/lenses/tarn-t.toml")).unwrap();
    let fell = with(&with(&tarn, "code = \"C", "code = \"F"), "\"Tarn T\"", "\"Fell T\"");
    std::fs::write(clinic.root().join("lenses/fell-t.toml"), fell).unwrap();
}

/// A keratometer's export: number, name, birth, sex, time, rows of eye, flat power, its meridian, steep power, its meridian.
pub(crate) fn keratometer(
    person: (&str, &str, &str, &str),
    time: &str,
    rows: &[(&str, &str, &str, &str, &str)],
) -> String {
    let (number, name, birth, sex) = person;
    let mut text = "Instrument;Halden K2\r\nSerial no.;HK2-0417\r\n\r\nPatient no.;Name;Born;Sex;Date;Time;Eye;K flat [D, n=1.3375];Axis flat [deg];K steep [D, n=1.3375];Axis steep [deg];Readings;SD K [D];Check\r\n".to_owned();
    for (eye, flat, flat_at, steep, steep_at) in rows {
        write!(
            text,
            "{number};{name};{birth};{sex};{time};{eye};{flat};{flat_at};{steep};{steep_at};5;0,05;OK\r\n"
        )
        .unwrap();
    }
    write!(text, "END;{} rows\r\n", rows.len()).unwrap();
    text
}

/// Selma Rautio, whose keratometer file is cut off in the demo.
pub(crate) const SELMA: (&str, &str, &str, &str) = ("EL-20479", "Rautio, Selma", "08.09.1951", "F");
/// The name her file bears.
pub(crate) const SELMA_FILE: &str = "K2_EL-20479_B_20260302.csv";

/// Her file as it should have come: the values of the demo's script.
pub(crate) fn selma() -> String {
    keratometer(
        SELMA,
        "02.03.2026;11:02:20",
        &[("OD", "44,00", "175", "45,60", "85"), ("OS", "44,12", "4", "46,05", "94")],
    )
}

/// Folders and files of a site in memory, so that a test begins with a site of its own.
struct Frozen {
    items: Vec<(PathBuf, std::fs::Permissions, Option<Vec<u8>>)>,
    now: Timestamp,
}

fn freeze(folder: &Path, below: &Path, items: &mut Vec<(PathBuf, std::fs::Permissions, Option<Vec<u8>>)>) {
    for name in names_in(folder) {
        let (path, own) = (folder.join(&name), below.join(&name));
        let metadata = std::fs::symlink_metadata(&path).unwrap();
        if metadata.is_dir() {
            items.push((own.clone(), metadata.permissions(), None));
            freeze(&path, &own, items);
        } else {
            items.push((own, metadata.permissions(), Some(std::fs::read(&path).unwrap())));
        }
    }
}

impl Frozen {
    fn of(clinic: &Clinic) -> Self {
        let mut items = Vec::new();
        freeze(clinic.dir.path(), Path::new(""), &mut items);
        Self { items, now: clinic.now }
    }

    fn thaw(&self) -> Clinic {
        let dir = TempDir::new().unwrap();
        for (path, permissions, bytes) in &self.items {
            let path = dir.path().join(path);
            match bytes {
                None => std::fs::create_dir(&path).unwrap(),
                Some(bytes) => std::fs::write(&path, bytes).unwrap(),
            }
            std::fs::set_permissions(&path, permissions.clone()).unwrap();
        }
        Clinic { dir, now: self.now }
    }
}

/// A site in a scratch folder.
pub(crate) struct Clinic {
    dir: TempDir,
    /// The time of the next pass.
    pub(crate) now: Timestamp,
}

/// What a case says, apart from its version.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Said {
    /// State.
    pub(crate) state: State,
    /// Findings: reference, severity, whether answered; sorted.
    pub(crate) findings: Vec<(String, String, bool)>,
    /// What the sheet in `sheets/` prints of the plan: key and text.
    pub(crate) printed: Vec<(String, String)>,
}

impl Clinic {
    /// A demo site with approved settings, nothing dropped.
    pub(crate) fn empty() -> Self {
        static BASE: OnceLock<Frozen> = OnceLock::new();
        BASE.get_or_init(|| Frozen::of(&Self::laid_out(|site| site))).thaw()
    }

    /// The demo site after a pass over the files of theatre 2.
    pub(crate) fn busy() -> Self {
        static BASE: OnceLock<Frozen> = OnceLock::new();
        BASE.get_or_init(|| Frozen::of(&Self::after(exports()))).thaw()
    }

    /// The demo site after a pass over all its files, those of both theatres.
    pub(crate) fn whole() -> Self {
        static BASE: OnceLock<Frozen> = OnceLock::new();
        BASE.get_or_init(|| Frozen::of(&Self::after(all_exports()))).thaw()
    }

    /// A site after one pass over these files.
    fn after(files: Vec<(String, String, Vec<u8>)>) -> Self {
        let mut clinic = Self::empty();
        for (folder, name, bytes) in files {
            clinic.put(&folder, &name, &bytes);
        }
        clinic.pass();
        clinic
    }

    /// A demo site whose `site.toml` is changed before its settings are approved.
    pub(crate) fn laid_out(change: impl FnOnce(String) -> String) -> Self {
        let text = change(String::from_utf8(repo_file("demo-data/clinic/site.toml")).unwrap());
        let clinic = Self { dir: TempDir::new().unwrap(), now: start() };
        let request = InitRequest {
            kind: SiteKind::Demo,
            name: "Elmhaven Eye Unit (demo)",
            zone: "Europe/Paris",
            authority_key: clinic.dir.path().join("authority.key.pem"),
            site_toml: Some(text),
        };
        init(&clinic.root(), &request, clinic.now).unwrap();
        for (from, to) in [
            ("demo-data/lenses", "lenses"),
            ("demo-data/surgeons", "surgeons"),
            ("templates/mappings", "mappings"),
        ] {
            for name in names_in(&repo(from)) {
                std::fs::copy(repo(from).join(&name), clinic.root().join(to).join(&name)).unwrap();
            }
        }
        clinic.approve_settings();
        clinic
    }

    /// The same site once more, in another folder.
    pub(crate) fn again(&self) -> Self {
        Frozen::of(self).thaw()
    }

    /// The folder of the site.
    pub(crate) fn root(&self) -> PathBuf {
        self.dir.path().join("site")
    }

    /// The site, opened.
    pub(crate) fn open(&self) -> Site {
        Site::open(&self.root()).unwrap()
    }

    /// Approves the settings as they lie there.
    pub(crate) fn approve_settings(&self) {
        let mut site = self.open();
        let texts = site.settings.texts.clone();
        approve_settings(&mut site, &texts, "tester", self.now).unwrap();
    }

    /// Puts a file into an incoming folder.
    pub(crate) fn put(&self, folder: &str, name: impl AsRef<OsStr>, bytes: impl AsRef<[u8]>) {
        let path = self.incoming(folder).join(name.as_ref());
        std::fs::write(path, bytes).unwrap();
    }

    /// An incoming folder.
    pub(crate) fn incoming(&self, folder: &str) -> PathBuf {
        self.root().join("incoming").join(folder)
    }

    /// One pass; the clock goes on by a minute.
    pub(crate) fn pass(&mut self) -> PassReport {
        let mut site = self.open();
        let _lock = site.lock().unwrap();
        self.now += SignedDuration::from_mins(1);
        pass(&mut site, self.now, true).unwrap()
    }

    /// A look at the site.
    pub(crate) fn look(&self) -> Look {
        look(&mut self.open(), self.now).unwrap()
    }

    /// The case of a patient's eye.
    pub(crate) fn case(&self, number: &str, eye: Eye) -> Weighed {
        let look = self.look();
        look.weighing.cases.into_iter().find(|one| is(one, number, Some(eye))).unwrap_or_else(|| {
            panic!("no case of {number} {}", eye.word());
        })
    }

    /// The id of the case of a patient's eye.
    pub(crate) fn id(&self, number: &str, eye: Eye) -> CaseId {
        self.case(number, eye).id().clone()
    }

    /// State and current version of the case of a patient's eye.
    pub(crate) fn standing(&self, number: &str, eye: Eye) -> (State, Option<u32>) {
        let case = self.case(number, eye);
        (case.state(), case.record.current().map(|issue| issue.version))
    }

    /// The sheets lying in `sheets/`: path below the site, bytes.
    pub(crate) fn sheets(&self) -> BTreeMap<String, Vec<u8>> {
        let mut all = BTreeMap::new();
        for day in names_in(&self.root().join("sheets")) {
            for name in names_in(&self.root().join("sheets").join(&day)) {
                let path = self.root().join("sheets").join(&day).join(&name);
                all.insert(format!("sheets/{day}/{name}"), std::fs::read(path).unwrap());
            }
        }
        all
    }

    /// Where the current sheet of a case lies, whether or not it is there.
    pub(crate) fn sheet_path(&self, case: &CaseId, issue: &Issue) -> PathBuf {
        let made = issue.made.as_ref().unwrap();
        let name = format!("{case}_{}_v{}.pdf", made.eye.to_uppercase(), issue.version);
        self.root().join("sheets").join(&made.date).join(name)
    }

    /// Every case by patient number and eye: state, findings, what its current sheet prints.
    pub(crate) fn said(&self) -> BTreeMap<String, Said> {
        let mut all = BTreeMap::new();
        let mut current = Vec::new();
        for one in self.look().weighing.cases {
            let sheet = one.record.current().filter(|_| one.state() == State::Released).map(|issue| {
                let path = self.sheet_path(one.id(), issue);
                let bytes = std::fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
                current.push(path.strip_prefix(self.root()).unwrap().display().to_string());
                bytes
            });
            let said = Said {
                state: one.state(),
                findings: findings(&one),
                printed: sheet.map(|bytes| printed(&bytes)).unwrap_or_default(),
            };
            assert!(all.insert(label(&one), said).is_none(), "two cases of {}", label(&one));
        }
        current.sort();
        let lying: Vec<String> = self.sheets().into_keys().collect();
        assert_eq!(lying, current, "what lies in sheets/ and what is current");
        all
    }

    /// The folders of refused files whose original has this name, as it was made safe.
    pub(crate) fn refusals(&self) -> Vec<Refusal> {
        let folder = self.root().join("refused");
        names_in(&folder)
            .into_iter()
            .map(|name| {
                let folder = folder.join(&name);
                let reason = String::from_utf8(std::fs::read(folder.join("reason.txt")).unwrap()).unwrap();
                let originals: Vec<String> =
                    names_in(&folder).into_iter().filter(|name| name != "reason.txt").collect();
                assert_eq!(originals.len(), 1, "{name}: {originals:?}");
                let bytes = std::fs::read(folder.join(&originals[0])).unwrap();
                Refusal { folder: name, bytes, reason }
            })
            .collect()
    }

    /// Whether these bytes are among the kept files.
    pub(crate) fn keeps(&self, bytes: &[u8]) -> bool {
        let kept = self.root().join("kept");
        names_in(&kept).iter().any(|shelf| {
            names_in(&kept.join(shelf))
                .iter()
                .any(|name| std::fs::read(kept.join(shelf).join(name)).unwrap() == bytes)
        })
    }

    /// Events of the ledger from a record on: kind and body.
    pub(crate) fn events(&self, from: u64) -> Vec<(String, String)> {
        let records = self.open().ledger.entries(from).unwrap();
        records.iter().map(|record| (record.kind().to_owned(), record.body().to_owned())).collect()
    }

    /// The number of the newest record.
    pub(crate) fn head(&self) -> u64 {
        self.open().ledger.head().unwrap().seq
    }
}

/// A file in `refused/`.
#[derive(Debug)]
pub(crate) struct Refusal {
    /// Its folder.
    pub(crate) folder: String,
    /// The original.
    pub(crate) bytes: Vec<u8>,
    /// `reason.txt`.
    pub(crate) reason: String,
}

impl Refusal {
    /// What stands behind a word at the start of a line of the reason.
    pub(crate) fn line(&self, word: &str) -> &str {
        let found: Vec<&str> = self.reason.lines().filter_map(|line| line.strip_prefix(word)).collect();
        assert_eq!(found.len(), 1, "`{word}` in {}", self.reason);
        found[0].trim()
    }
}

/// Whether a case is of this patient and eye.
pub(crate) fn is(one: &Weighed, number: &str, eye: Option<Eye>) -> bool {
    let case = &one.considered.case;
    case.eye == eye
        && case.entry.identity.number.as_ref().is_some_and(|own| own.value.comparable() == comparable(number))
}

fn comparable(number: &str) -> String {
    axiswright::model::PatientNumber::new(number).unwrap().comparable()
}

/// Patient number and eye of a case.
pub(crate) fn label(one: &Weighed) -> String {
    let case = &one.considered.case;
    let number = case
        .entry
        .identity
        .number
        .as_ref()
        .map(|number| number.value.as_written().to_owned())
        .unwrap_or_default();
    format!("{number} {}", case.eye.map_or("no eye", Eye::word))
}

/// Findings of a case: reference, severity, whether answered; sorted.
pub(crate) fn findings(one: &Weighed) -> Vec<(String, String, bool)> {
    let mut all: Vec<_> = one
        .considered
        .findings
        .iter()
        .map(|finding| {
            let answered = one.considered.answer_to(finding).is_some();
            (finding.code().reference().to_owned(), finding.severity().word().to_owned(), answered)
        })
        .collect();
    all.sort();
    all
}

/// References of the findings of a case that refuse or ask for an answer.
pub(crate) fn open_codes(one: &Weighed) -> Vec<String> {
    let mut codes: Vec<String> = one
        .considered
        .findings
        .iter()
        .filter(|finding| finding.severity() != Severity::Note && one.considered.answer_to(finding).is_none())
        .map(|finding| finding.code().reference().to_owned())
        .collect();
    codes.sort();
    codes.dedup();
    codes
}

/// Every text of a finished PDF, glyph by glyph, page by page.
pub(crate) fn texts(bytes: &[u8]) -> Vec<Vec<String>> {
    let back = readback::read(bytes).unwrap();
    back.pages().iter().map(|page| page.iter().map(|run| run.text.clone()).collect()).collect()
}

/// What a sheet prints of its plan: every key with its text, but for those that tell one issue from another.
pub(crate) fn printed(bytes: &[u8]) -> Vec<(String, String)> {
    let back = readback::read(bytes).unwrap();
    let own_of_an_issue = |tag: &str| {
        ["code", "head", "digest"].into_iter().any(|own| tag == own || tag.starts_with(&format!("{own}.")))
    };
    let all: Vec<(String, String)> = back
        .runs()
        .filter_map(|run| Some((run.tag.clone()?, run.text.clone())))
        .filter(|(tag, _)| !own_of_an_issue(tag))
        .collect();
    for tag in ["lens.axis", "lens.cylinder", "residual"] {
        assert!(all.iter().any(|(own, _)| own == tag), "`{tag}` is not printed");
    }
    all
}
