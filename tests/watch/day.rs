//! A clinic day against a running daemon ends as one pass over the same files.
//!
//! What is compared at the end: of every case its id, state, eye and day, every finding with its message, expected and found
//! value, place, source and answer (`cases --json` without version, sheet and digest), and every step of its plan with
//! inputs, places and results (`explain --json` without the sentence on the sheet's version). What is not: versions, sheet
//! ids, heads of the chain and the bytes of the sheets, which hold these; a day of changes has issued more of them.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde_json::Value;

use crate::running::{Daemon, json_of, on_site};
use crate::scene::{NOW, SITE, bare_site_of, broken_promises, holds, once, product};
use crate::tools::long;
use crate::waiting::{let_pass, until};

fn demo(path: &str) -> Vec<u8> {
    fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/clinic/incoming").join(path)).unwrap()
}

/// The exports that come by themselves: folder and name.
const TRICKLING: [&str; 17] = [
    "orrin-b1/B1_EL-20417_20260302.txt",
    "halden-k2/K2_EL-20433_B_20260302.csv",
    "orrin-b1/B1_EL-20433_20260302.txt",
    "halden-k2/K2_EL-20458_L_20260302.csv",
    "orrin-b1/B1_EL-20458_20260302.txt",
    "halden-k2/K2_EL-20462_B_20260302.csv",
    "orrin-b1/B1_EL-20462_20260302.txt",
    "orrin-b1/B1_EL-20479_20260302.txt",
    "orrin-b1/B1_EL-20491_20260302.txt",
    "vellan-t1/el-20503-ker.dcm",
    "vellan-t1/el-20503-oam.dcm",
    "vellan-t1/el-20518-ker.dcm",
    "halden-k2/K2_EL-20518_B_20260302.csv",
    "vellan-t1/el-20518-oam.dcm",
    "halden-k2/K2_EL-20503_B_20260302.csv",
    "orrin-b1/B1_EL-20526_20260302.txt",
    "halden-k2/K2_EL-20526_B_20260302.csv",
];
/// The export that is written with a long pause while its file stays open.
const PAUSED: &str = "halden-k2/K2_EL-20417_B_20260302.csv";
/// The export that is closed half written, and written again whole.
const TWICE: &str = "halden-k2/K2_EL-20419_B_20260302.csv";
/// The keratometry that is cut off in the demo.
const CUT: &str = "halden-k2/K2_EL-20479_B_20260302.csv";
/// The list as it comes in the morning, and as it is changed.
const LISTS: [&str; 2] = ["theatre-lists/a-morning.csv", "theatre-lists/b-changed.csv"];

/// The cut keratometry measured again: its two rows are whole.
fn measured_again() -> Vec<u8> {
    let text = String::from_utf8(demo(PAUSED)).unwrap();
    let own = [
        ("EL-20417", "EL-20479"),
        ("Marrin, Odile", "Rautio, Selma"),
        ("17.04.1953", "08.09.1951"),
        ("09:02:30", "11:32:20"),
        ("OD;42,62;8;45,08;98", "OD;44,00;175;45,60;85"),
        ("OS;42,80;172;44,65;82", "OS;44,12;4;46,05;94"),
    ];
    own.into_iter().fold(text, |text, (from, to)| text.replace(from, to)).into_bytes()
}

/// The lists of the day: in the morning one patient lacks and one incision is another.
fn list(which: &str) -> Vec<u8> {
    let text = String::from_utf8(demo("theatre-lists/theatre2_2026-03-10.csv")).unwrap();
    if which == LISTS[1] {
        return text.into_bytes();
    }
    let lines = text.lines().filter(|line| !line.contains("EL-20526"));
    let changed = lines.map(|line| {
        if line.starts_with("B-3103") { line.replace(",0,2.2,", ",10,2.2,") } else { line.to_owned() }
    });
    let lines: Vec<String> = changed.collect();
    (lines.join("\n") + "\n").into_bytes()
}

fn site(folder: &Path) -> PathBuf {
    // One folder with a settle time, so that a pause can be longer than it.
    let text = SITE.replacen("settle_seconds = 0", "settle_seconds = 1", 1);
    bare_site_of(folder, &text).folders.root().to_owned()
}

/// Whole under its name at once, as a copy from another system comes.
fn put(root: &Path, name: &str, bytes: &[u8]) {
    let new = root.join("work/new-arrival");
    fs::write(&new, bytes).unwrap();
    fs::rename(new, root.join("incoming").join(name)).unwrap();
}

/// The answers of the day, each followed by the approval of its case: the finding, and why it is accepted.
const ANSWERS: [(&str, &str); 2] =
    [("L02", "looked at the device's screen: right"), ("I05", "asked the patient: never operated on")];

/// The case with this finding open.
fn case_with(root: &Path, finding: &str) -> Option<String> {
    let cases = json_of(root, &["cases", "--json", "--now", NOW]);
    let open = |case: &&Value| {
        let findings = case["findings"].as_array().unwrap();
        case["state"] == "held" && findings.iter().any(|f| f["ref"] == finding && f["answer"].is_null())
    };
    cases.as_array()?.iter().find(open)?["case"].as_str().map(str::to_owned)
}

fn answer(root: &Path, (finding, reason): (&str, &str)) {
    until(&format!("{finding} is asked"), || case_with(root, finding).is_some());
    let case = case_with(root, finding).unwrap();
    let who = ["--by", "Dr. Imara Vost", "--now", NOW];
    let act = ["answer", &case, "--finding", finding, "--reason", reason];
    let out = on_site(root, &[&act[..], &who[..]].concat());
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    // What is recorded beside an approval undoes it; the person then does it again.
    until(&format!("{case} is approved"), || {
        on_site(root, &[&["answer", &case, "--approve"][..], &who[..]].concat()).status.code() == Some(0)
    });
}

/// What is compared.
fn current(root: &Path) -> Vec<Value> {
    let mut cases = json_of(root, &["cases", "--json", "--now", NOW]).as_array().unwrap().clone();
    for case in &mut cases {
        let id = case["case"].as_str().unwrap().to_owned();
        let fields = case.as_object_mut().unwrap();
        fields.retain(|name, _| !matches!(name.as_str(), "version" | "sheet" | "digest"));
        let mut plan = json_of(root, &["explain", &id, "--json", "--now", NOW]);
        if let Some(fields) = plan.as_object_mut() {
            fields.remove("sheet");
        }
        fields.insert("plan".to_owned(), plan);
    }
    cases.sort_by_key(|case| case["case"].to_string());
    cases
}

/// A row of numbers that is the same in every run.
struct Seeded(u64);

impl Seeded {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }
}

/// A day: a daemon, and the moments at which it is killed.
struct Day {
    root: PathBuf,
    daemon: Option<Daemon>,
    seeded: Option<Seeded>,
    steps: u64,
    kills: u32,
}

/// Times that a daemon is killed in one day.
const KILLS: u32 = 10;

impl Day {
    fn new(folder: &Path, seed: Option<u64>) -> Self {
        let root = site(folder);
        let daemon = Some(Daemon::start(&root));
        Self { root, daemon, seeded: seed.map(Seeded), steps: 0, kills: 0 }
    }

    /// Something happened; perhaps the daemon is killed a moment later and started again.
    fn then(&mut self) {
        self.steps += 1;
        let Some(seeded) = &mut self.seeded else { return };
        if self.kills < KILLS && self.steps.is_multiple_of(2) {
            let_pass(Duration::from_millis(seeded.below(350)));
            self.daemon.take().unwrap().kill();
            let broken = broken_promises(&self.root);
            assert!(broken.is_empty(), "after {} steps: {broken:?}", self.steps);
            self.daemon = Some(Daemon::start(&self.root));
            self.kills += 1;
        }
    }

    fn put(&mut self, name: &str, bytes: &[u8]) {
        put(&self.root, name, bytes);
        self.then();
    }

    fn taken(&self, name: &str) {
        until(&format!("{name} is taken"), || !self.root.join("incoming").join(name).exists());
    }

    fn play(&mut self) {
        self.put(LISTS[0], &list(LISTS[0]));
        let half_of = |bytes: &[u8]| bytes.len() / 2;
        let paused = demo(PAUSED);
        let mut writer = fs::File::create(self.root.join("incoming").join(PAUSED)).unwrap();
        writer.write_all(&paused[..half_of(&paused)]).unwrap();
        for name in TRICKLING.iter().take(7) {
            self.put(name, &demo(name));
        }
        let twice = demo(TWICE);
        fs::write(self.root.join("incoming").join(TWICE), &twice[..half_of(&twice)]).unwrap();
        self.put(CUT, &demo(CUT));
        self.taken(TWICE);
        fs::write(self.root.join("incoming").join(TWICE), &twice).unwrap();
        for name in &TRICKLING[7..11] {
            self.put(name, &demo(name));
        }
        self.taken(LISTS[0]);
        self.put(LISTS[1], &list(LISTS[1]));
        writer.write_all(&paused[half_of(&paused)..]).unwrap();
        drop(writer);
        self.taken(CUT);
        self.put(CUT, &measured_again());
        answer(&self.root, ANSWERS[0]);
        for name in &TRICKLING[11..] {
            self.put(name, &demo(name));
        }
        self.taken(LISTS[1]);
        self.then();
        answer(&self.root, ANSWERS[1]);
        for name in TRICKLING.into_iter().chain([PAUSED, TWICE, CUT]) {
            self.taken(name);
        }
    }

    /// Ends the day: what stands, and whether the chain holds.
    fn end(mut self, wanted: &[Value]) {
        until("the day has ended as one pass does", || current(&self.root) == wanted);
        assert_eq!(self.daemon.take().unwrap().stop(), Some(0));
        let now = current(&self.root);
        assert_eq!(now, wanted);
        assert!(broken_promises(&self.root).is_empty());
        let verified = on_site(&self.root, &["ledger", "verify"]);
        assert_eq!(verified.status.code(), Some(0), "{}", String::from_utf8_lossy(&verified.stdout));
        for name in TRICKLING.into_iter().chain([PAUSED, TWICE, CUT]) {
            assert!(holds(&self.root, &demo(name)), "{name} is lost");
        }
        assert!(holds(&self.root, &measured_again()));
        if self.seeded.is_some() {
            assert_eq!(self.kills, KILLS);
        }
    }
}

/// One pass over all the files of the day, then the answers and approvals.
fn one_pass(folder: &Path) -> Vec<Value> {
    let root = site(folder);
    for name in TRICKLING.into_iter().chain([PAUSED, TWICE]) {
        put(&root, name, &demo(name));
    }
    put(&root, CUT, &measured_again());
    for name in LISTS {
        put(&root, name, &list(name));
    }
    assert_eq!(once(&product(), &root, NOW).output().unwrap().status.code(), Some(1));
    for given in ANSWERS {
        answer(&root, given);
    }
    let cases = current(&root);
    let released = cases.iter().filter(|case| case["state"] == "released").count();
    assert!(released >= 6, "{released} of {} cases are released", cases.len());
    cases
}

#[test]
fn a_clinic_day_ends_as_one_pass_over_the_same_files() {
    let (day, pass) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let wanted = one_pass(pass.path());
    let mut day = Day::new(day.path(), None);
    day.play();
    day.end(&wanted);
}

#[test]
fn a_day_with_ten_kills_ends_the_same() {
    let pass = tempfile::tempdir().unwrap();
    let wanted = one_pass(pass.path());
    for seed in 0..if long() { 10 } else { 1 } {
        let folder = tempfile::tempdir().unwrap();
        let mut day = Day::new(folder.path(), Some(seed));
        day.play();
        day.end(&wanted);
    }
}

/// The control: what is compared tells a day whose list was not changed from one whose list was.
#[test]
fn another_list_is_another_end() {
    let folder = tempfile::tempdir().unwrap();
    let root = site(folder.path());
    for name in [PAUSED, TRICKLING[0], TRICKLING[1], TRICKLING[2]] {
        put(&root, name, &demo(name));
    }
    put(&root, LISTS[0], &list(LISTS[0]));
    once(&product(), &root, NOW).output().unwrap();
    let before = current(&root);
    put(&root, LISTS[1], &list(LISTS[1]));
    once(&product(), &root, NOW).output().unwrap();
    assert_ne!(current(&root), before);
}
