//! A small site to be hurt: one patient, one operation, two instruments.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::tools::not_checked;
use axiswright::bridge::{self, InitRequest, Site};
use axiswright::ledger::ContentDigest;
use axiswright::site::SiteKind;

pub(crate) const NOW: &str = "2026-03-05T09:00:00Z";
pub(crate) const LATER: &str = "2026-03-05T10:00:00Z";

pub(crate) const SITE: &str = include_str!("../../demo-data/clinic/site.toml");
const SETTINGS: [(&str, &str); 7] = [
    ("lenses/tarn-t.toml", include_str!("../../demo-data/lenses/tarn-t.toml")),
    ("surgeons/imara-vost.toml", include_str!("../../demo-data/surgeons/imara-vost.toml")),
    ("surgeons/oskar-lindqvale.toml", include_str!("../../demo-data/surgeons/oskar-lindqvale.toml")),
    ("mappings/halden-k2.toml", include_str!("../../templates/mappings/halden-k2.toml")),
    ("mappings/orrin-b1.toml", include_str!("../../templates/mappings/orrin-b1.toml")),
    ("mappings/quell-a4.toml", include_str!("../../templates/mappings/quell-a4.toml")),
    ("mappings/theatre-list.toml", include_str!("../../templates/mappings/theatre-list.toml")),
];

const LIST: &str = "\
Booking,Date,Theatre,No.,Hospital no.,Family name,Given name,Born,Sex,Eye,Procedure,Surgeon,Target [D],Lens,Incision [deg],Width [mm],Seat,Earlier corneal surgery,Lens now
B-3101,2026-03-10,2,1,EL-20417,Marrin,Odile,1953-04-17,F,R,Phaco + toric lens,Dr. Imara Vost,-0.25,Tarn T,180,2.2,head,no,phakic
";
pub(crate) const KERATOMETER: &[u8] =
    include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20417_B_20260302.csv");
const BIOMETER: &[u8] = include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-20417_20260302.txt");

pub(crate) const KERATOMETER_NAME: &str = "incoming/halden-k2/K2_EL-20417_B_20260302.csv";
const LIST_NAME: &str = "incoming/theatre-lists/theatre2.csv";

/// The operating list with the incision a little elsewhere: another sheet, and nothing to be asked about.
pub(crate) fn changed_list() -> String {
    LIST.replace(",180,2.2,", ",175,2.2,")
}

/// The program under test.
pub(crate) fn product() -> PathBuf {
    // The release build where `./run-tests` has made one: the same code, three times faster.
    std::env::var_os("AXISWRIGHT_PROGRAM")
        .map_or_else(|| PathBuf::from(env!("CARGO_BIN_EXE_axiswright")), PathBuf::from)
}

/// A deliberately broken build, if `./run-tests` has made it; none otherwise, said loudly.
pub(crate) fn broken(variable: &str) -> Option<PathBuf> {
    if let Some(path) = std::env::var_os(variable) {
        return Some(PathBuf::from(path));
    }
    not_checked(&format!("the negative control {variable}, a deliberately broken build"));
    None
}

/// Whether strace is there; said loudly when it is not.
pub(crate) fn strace_is_there() -> bool {
    let there = Command::new("strace").arg("-V").output().is_ok_and(|out| out.status.success());
    if !there {
        not_checked("faults at system calls; strace (Debian's package strace) is missing");
    }
    there
}

/// A site with its settings approved and nothing in its incoming folders.
fn bare_site(folder: &Path) -> Site {
    bare_site_of(folder, SITE)
}

/// A site whose `site.toml` is given.
pub(crate) fn bare_site_of(folder: &Path, site_toml: &str) -> Site {
    let root = folder.join("site");
    let request = InitRequest {
        kind: SiteKind::Demo,
        name: "Elmhaven Eye Unit (demo)",
        zone: "Europe/Paris",
        authority_key: folder.join("authority.key.pem"),
        site_toml: Some(site_toml.to_owned()),
    };
    let now = NOW.parse().unwrap();
    bridge::init(&root, &request, now).unwrap();
    for (name, text) in SETTINGS {
        std::fs::write(root.join(name), text).unwrap();
    }
    let mut site = Site::open(&root).unwrap();
    let texts = site.settings.texts.clone();
    bridge::approve_settings(&mut site, &texts, "test", now).unwrap();
    site
}

/// A site with a list and two exports waiting to be taken.
pub(crate) fn waiting_site(folder: &Path) -> PathBuf {
    fill(&bare_site(folder))
}

/// Puts the list and the two exports where they are taken from.
pub(crate) fn fill(site: &Site) -> PathBuf {
    let root = site.folders.root().to_owned();
    std::fs::write(root.join(LIST_NAME), LIST).unwrap();
    std::fs::write(root.join(KERATOMETER_NAME), KERATOMETER).unwrap();
    std::fs::write(root.join("incoming/orrin-b1/B1_EL-20417_20260302.txt"), BIOMETER).unwrap();
    root
}

/// A site that has issued a sheet, lost it from its folder, and has a list waiting that changes it.
pub(crate) fn stale_site(folder: &Path) -> PathBuf {
    let root = waiting_site(folder);
    let out = once(&product(), &root, NOW).output().unwrap();
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let sheets = sheets(&root);
    assert_eq!(sheets.len(), 1);
    for name in sheets.keys() {
        std::fs::remove_file(root.join("sheets").join(name)).unwrap();
    }
    std::fs::write(root.join(LIST_NAME), changed_list()).unwrap();
    root
}

/// One pass of a program over a site.
pub(crate) fn once(program: &Path, site: &Path, now: &str) -> Command {
    let mut command = Command::new(program);
    command.arg("once").arg("--site").arg(site).args(["--now", now]);
    command
}

/// A copy of a folder, times and rights aside.
pub(crate) fn copy(from: &Path, to: &Path) {
    let done = Command::new("cp").arg("-a").arg(from).arg(to).status().unwrap();
    assert!(done.success());
}

fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries {
        let path = entry.unwrap().path();
        if path.is_dir() { walk(&path, found) } else { found.push(path) }
    }
}

/// Every file below a folder.
pub(crate) fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    walk(folder, &mut found);
    found.sort();
    found
}

/// The sheets of a site: name below `sheets/`, SHA-256.
pub(crate) fn sheets(site: &Path) -> BTreeMap<String, String> {
    let folder = site.join("sheets");
    files(&folder)
        .into_iter()
        .filter(|path| path.extension().is_some_and(|ext| ext == "pdf"))
        .map(|path| {
            let name = path.strip_prefix(&folder).unwrap().display().to_string();
            (name, ContentDigest::of(&std::fs::read(&path).unwrap()).to_string())
        })
        .collect()
}

/// Whether these bytes lie anywhere in the incoming folders or among the kept files.
pub(crate) fn holds(site: &Path, bytes: &[u8]) -> bool {
    ["incoming", "kept"]
        .into_iter()
        .flat_map(|folder| files(&site.join(folder)))
        .any(|path| std::fs::read(path).is_ok_and(|there| there == bytes))
}

/// What must hold of a site at any moment: the chain is sound, and every sheet in `sheets/` is current by the ledger.
pub(crate) fn broken_promises(root: &Path) -> Vec<String> {
    let mut broken = Vec::new();
    let site = match Site::open(root) {
        Ok(site) => site,
        Err(error) => return vec![format!("the site does not open: {error}")],
    };
    match site.ledger.verify() {
        Ok(report) if report.is_sound() => {}
        Ok(report) => broken.push(format!("the chain is damaged: {report:?}")),
        Err(error) => broken.push(format!("the chain cannot be read: {error}")),
    }
    let standing = site.standing().unwrap();
    let current: Vec<String> = standing
        .cases
        .values()
        .filter_map(|record| record.current()?.made.as_ref().map(|made| made.file.clone()))
        .collect();
    for (name, digest) in sheets(root) {
        let key = site.ledger.secret().kept_key(&ContentDigest::from_hex(&digest).unwrap()).to_string();
        if !current.contains(&key) {
            broken.push(format!("{name} lies in sheets/ and is not current by the ledger"));
        }
    }
    broken
}
