//! The demo clinic, run once for all tests of this binary; each test that opens the site takes a copy.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use axiswright::bridge::{Issue, Outcome, Site, State, Weighed, look};
use axiswright::casebook::CaseId;
use axiswright::plan::{Approval, Released};
use axiswright::sheet::SheetFacts;
use jiff::Timestamp;

use crate::found::{axiswright, copy, folder, run};

pub(crate) const NOW: &str = "2026-03-05T09:00:00Z";

pub(crate) fn now() -> Timestamp {
    NOW.parse().unwrap()
}

/// The folder of the demo: `site/` and the authority's key.
pub(crate) fn demo() -> &'static Path {
    static DEMO: OnceLock<PathBuf> = OnceLock::new();
    DEMO.get_or_init(|| {
        let out = folder("demo");
        let said = run(axiswright().args(["demo", "--now", NOW, "--out"]).arg(&out));
        assert_eq!(said.code, Some(1), "{}", said.all());
        out
    })
}

/// A copy of the demo for one test.
pub(crate) fn copy_of_demo(name: &str) -> PathBuf {
    let to = folder(name);
    copy(demo(), &to);
    to
}

/// Every PDF below a folder of the site.
pub(crate) fn pdfs(root: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(root).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(pdfs(&path));
        } else if path.extension().is_some_and(|e| e == "pdf") {
            found.push(path);
        }
    }
    found.sort();
    found
}

pub(crate) fn sheets() -> Vec<PathBuf> {
    let sheets = pdfs(&demo().join("site/sheets"));
    assert!(sheets.len() >= 4, "{sheets:?}");
    sheets
}

pub(crate) fn slips() -> Vec<PathBuf> {
    let slips = pdfs(&demo().join("site/held"));
    assert!(slips.len() >= 6, "{slips:?}");
    slips
}

/// A sheet with the plan it was made from, worked out again from the kept evidence.
pub(crate) struct Planned {
    pub(crate) path: PathBuf,
    pub(crate) released: Released,
    pub(crate) facts: SheetFacts,
    /// Digest of the sheet's record, as the ledger has it.
    pub(crate) record: String,
}

/// Every person on the list: case, name as printed.
pub(crate) struct Listed {
    pub(crate) case: CaseId,
    pub(crate) family: String,
    pub(crate) printed: String,
    pub(crate) number: String,
}

pub(crate) struct Plans {
    pub(crate) planned: Vec<Planned>,
    pub(crate) listed: Vec<Listed>,
}

/// The plans behind the sheets of a site.
pub(crate) fn plans(root: &Path) -> Plans {
    let mut site = Site::open(root).unwrap();
    let look = look(&mut site, now()).unwrap();
    let mut plans = Plans { planned: Vec::new(), listed: Vec::new() };
    for weighed in &look.weighing.cases {
        let identity = &weighed.considered.case.entry.identity;
        let name = &identity.name.as_ref().unwrap().value;
        plans.listed.push(Listed {
            case: weighed.id().clone(),
            family: name.family.clone(),
            printed: name.printed(),
            number: identity.number.as_ref().unwrap().value.as_written().to_owned(),
        });
        if weighed.state() == State::Released {
            plans.planned.push(planned(root, &site, &look.standing.approved, weighed));
        }
    }
    plans
}

fn planned(
    root: &Path,
    site: &Site,
    approved: &std::collections::BTreeMap<String, axiswright::site::Approved>,
    weighed: &Weighed,
) -> Planned {
    let issue = weighed.record.current().unwrap();
    let made = issue.made.as_ref().unwrap();
    let Outcome::Planned(plan) = &weighed.considered.outcome else { panic!("{} has no plan", weighed.id()) };
    let answers = &weighed.considered.answers;
    let released = plan.as_ref().clone().release(answers, Some(approval(weighed, issue))).unwrap();
    let entry = &weighed.considered.case.entry;
    let settings = &site.settings;
    let used = |name: &str| {
        let surgeon = settings.surgeons.iter().find(|(file, _)| file == name);
        let lens = settings.lenses.iter().find(|(file, _)| file == name);
        surgeon.is_none_or(|(_, s)| entry.surgeon.as_ref().unwrap().value == s.name)
            && lens.is_none_or(|(_, l)| entry.lens.as_ref().unwrap().value == l.name)
    };
    let revisions = settings
        .texts
        .iter()
        .filter(|text| used(&text.name))
        .map(|text| {
            let revision = format!("{} ({})", approved[&text.name].revision, text.digest.short());
            (text.name.clone(), revision)
        })
        .collect();
    let facts = SheetFacts {
        site: settings.site.name().to_owned(),
        live: settings.site.is_live(),
        test_clock: true,
        zone: settings.site.time_zone().clone(),
        theatre: entry.theatre.as_ref().map(|theatre| theatre.value.clone()),
        case: weighed.id().clone(),
        version: issue.version,
        sheet_id: issue.sheet.clone(),
        issued_at: issue.at,
        head: (issue.head_before.seq, issue.head_before.hash.to_string()),
        revisions,
        supersedes: None,
        unauthenticated: answers.iter().any(|answer| !answer.authenticated),
    };
    let word = made.eye.to_uppercase();
    let path = root.join("sheets").join(&made.date).join(format!(
        "{}_{word}_v{}.pdf",
        weighed.id().as_str(),
        issue.version
    ));
    Planned { path, released, facts, record: made.record.clone() }
}

fn approval(weighed: &Weighed, issue: &Issue) -> Approval {
    if issue.approval == "surgeon" {
        let (name, authenticated) = (issue.by.clone().unwrap(), issue.authenticated);
        Approval::Surgeon { name, at: issue.at, authenticated }
    } else {
        weighed.standing_order.clone().unwrap()
    }
}
