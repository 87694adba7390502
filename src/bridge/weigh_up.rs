//! Every case of the site as it stands: joined, considered, and compared with the sheet that is out.

use std::collections::BTreeSet;
use std::sync::Arc;

use jiff::Timestamp;

use super::error::BridgeError;
use super::fold::{CaseRecord, Issue, Standing};
use super::memory::Judged;
use super::read::Reading;
use super::stages::{Considered, Outcome, State, consider};
use super::store::Site;
use crate::casebook::{Case, CaseId, Expectation, join};
use crate::checks::{Context, LensOnFile, UnapprovedFile};
use crate::finding::Severity;
use crate::model::{ListEntry, Procedure, same_name};
use crate::plan::{Approval, LaserOrder, Nomogram, Order, Plan, Surgeon, Work};
use crate::site::{ApprovalPolicy, History, LensRead};
use crate::units::round;

/// One case with what the ledger says about it and the digests that decide whether its sheet stands.
#[derive(Debug, Clone)]
pub struct Weighed {
    /// The case as it came out of the stages.
    pub considered: Arc<Considered>,
    /// What the ledger says about it.
    pub record: CaseRecord,
    /// Keyed digest of its evidence.
    pub evidence: String,
    /// Keyed digest of what the plan comes to; empty without a plan.
    pub plan: String,
    /// What the site's rule for releasing gives: none when a person has to approve.
    pub standing_order: Option<Approval>,
    /// From when on it waits for nothing any more.
    pub decide_by: Option<Timestamp>,
}

impl Weighed {
    /// The case.
    pub fn id(&self) -> &CaseId {
        &self.considered.case.id
    }

    /// Whether the sheet that is out stands: nothing new speaks about the case, or what is new changes nothing.
    ///
    /// Software and settings never withdraw a sheet by themselves: without new evidence it stands.
    pub fn stands(&self) -> bool {
        self.record.current().is_some_and(|issue| issue.evidence == self.evidence || self.same_result(issue))
    }

    fn same_result(&self, issue: &Issue) -> bool {
        let nothing_new = self
            .considered
            .findings
            .iter()
            .filter(|finding| finding.severity() == Severity::SignOff)
            .all(|finding| issue.signed_off.contains(finding.fingerprint().as_str()));
        matches!(self.considered.outcome, Outcome::Planned(_)) && self.plan == issue.plan && nothing_new
    }

    /// Its state: that of the sheet that is out while it stands, else how far the case came.
    pub fn state(&self) -> State {
        if self.record.issues.values().any(|issue| issue.removal_failed && issue.withdrawn.is_some()) {
            return State::WithdrawalPending;
        }
        if self.stands() { State::Released } else { self.considered.state() }
    }

    /// Fingerprints of the sign-off findings that are answered.
    pub fn signed_off(&self) -> Vec<String> {
        self.considered
            .findings
            .iter()
            .filter(|finding| finding.severity() == Severity::SignOff)
            .map(|finding| finding.fingerprint().as_str().to_owned())
            .collect()
    }
}

/// All cases, and how many measurements have no operation.
#[derive(Debug, Default)]
pub struct Weighing {
    /// Cases in the order of the lists.
    pub cases: Vec<Weighed>,
    /// Measurements without an operation, with what their own checks found.
    pub without_operation: Vec<(crate::casebook::Joined, Vec<crate::finding::Finding>)>,
    /// What persons stated about an eye that no case is of.
    pub facts_without_case: Vec<crate::model::Fact>,
}

/// Considers every case.
///
/// # Errors
/// A text the ledger's secret cannot digest; practically never.
pub fn weigh_up(
    site: &Site,
    standing: &Standing,
    reading: &Reading,
    now: Timestamp,
) -> Result<Weighing, BridgeError> {
    let settings = &site.settings;
    let surgeons: Vec<String> = settings.surgeons.iter().map(|(_, surgeon)| surgeon.name.clone()).collect();
    let lenses: Vec<LensOnFile> = settings.lenses.iter().map(|(_, lens)| lens.on_file()).collect();
    let unapproved = settings.unapproved(&standing.approved);
    let general = Context {
        now,
        history_required: settings.site.history() == History::Required,
        number_scheme: settings.site.number_scheme(),
        approved_surgeons: &surgeons,
        approved_lenses: &lenses,
        unapproved: &[],
        check_names: true,
        list_mates: &[],
        expected: Expectation::default(),
    };
    let casebook = join(&reading.evidence);
    let digests = settings.digests();
    let mut weighing = Weighing::default();
    for case in &casebook.cases {
        let record = standing.cases.get(&case.id).cloned().unwrap_or_default();
        let own: Vec<UnapprovedFile> =
            unapproved.iter().filter(|file| concerns(&file.name, &case.entry, site)).cloned().collect();
        let evidence = evidence(site, case, &record);
        let list_mates = casebook.list_mates(case);
        let expected = Expectation {
            sources: case
                .entry
                .procedure
                .as_ref()
                .map_or(&[], |procedure| settings.site.expected_sources(procedure.value)),
            decide_by: case.entry.date.as_ref().and_then(|date| settings.site.decide_by(date.value)),
        };
        let judged = Judged {
            settings: digests.clone(),
            case: case.clone(),
            unapproved: own,
            list_mates,
            decide_by: expected.decide_by,
            answers: record.answers.clone(),
            entered: record.entered.clone(),
            pachymetry: record.pachymetry.clone(),
            implanted: record.implanted.clone(),
            marked: record.marked.clone(),
        };
        let known = site.memory.borrow().considered(&judged, now);
        let considered = known.unwrap_or_else(|| {
            let context = Context {
                unapproved: &judged.unapproved,
                list_mates: &judged.list_mates,
                expected,
                ..general
            };
            let considered = Arc::new(consider(
                case.clone(),
                &context,
                settings.site.checks_settings(),
                order(site, &case.entry, &record).as_ref(),
                &record.answers,
            ));
            site.memory.borrow_mut().put_considered(judged, now, &considered);
            considered
        });
        let plan = match &considered.outcome {
            Outcome::Planned(plan) => keyed(site, "axiswright-plan-1", &result(plan)),
            Outcome::Waiting | Outcome::Blocked | Outcome::Held(_) => String::new(),
        };
        let standing_order = standing_order(site, standing, &considered);
        let decide_by = expected.decide_by;
        weighing.cases.push(Weighed { considered, record, evidence, plan, standing_order, decide_by });
    }
    let listed: BTreeSet<&CaseId> = casebook.cases.iter().map(|case| &case.id).collect();
    site.memory.borrow_mut().keep_cases(|id| listed.contains(id));
    weighing.facts_without_case = casebook.facts_without_case;
    for joined in casebook.without_operation {
        let findings = crate::checks::screen_exam(&joined, &general, settings.site.checks_settings());
        weighing.without_operation.push((joined, findings));
    }
    Ok(weighing)
}

fn keyed(site: &Site, domain: &str, text: &str) -> String {
    site.ledger.secret().digest(domain, text.as_bytes()).to_string()
}

fn surgeon_of<'a>(site: &'a Site, entry: &ListEntry) -> Option<&'a (String, Surgeon)> {
    let name = &entry.surgeon.as_ref()?.value;
    site.settings.surgeons.iter().find(|(_, surgeon)| same_name(&surgeon.name, name))
}

fn lens_of<'a>(site: &'a Site, entry: &ListEntry) -> Option<&'a (String, LensRead)> {
    let name = &entry.lens.as_ref()?.value;
    site.settings.lenses.iter().find(|(_, lens)| same_name(&lens.name, name))
}

/// The table of arcs of an entry that asks for arcs: the one its surgeon names.
fn nomogram_of<'a>(site: &'a Site, entry: &ListEntry) -> Option<&'a (String, Nomogram)> {
    let arcs = entry.procedure.as_ref()?.value == Procedure::ArcuateKeratotomy;
    let technique = surgeon_of(site, entry)?.1.arcs.as_ref().filter(|_| arcs)?;
    site.settings.nomograms.iter().find(|(_, table)| same_name(&table.name, &technique.nomogram))
}

/// Whether a settings file can move a number of this case: the site's settings, the mapping templates, its own surgeon, lens
/// and table of arcs.
pub(super) fn concerns(file: &str, entry: &ListEntry, site: &Site) -> bool {
    let personal = ["surgeons/", "lenses/", "nomograms/"].iter().any(|folder| file.starts_with(folder));
    !personal
        || nomogram_of(site, entry).is_some_and(|(name, _)| name == file)
        || surgeon_of(site, entry).is_some_and(|(name, _)| name == file)
        || lens_of(site, entry).is_some_and(|(name, _)| name == file)
}

/// What the plan is asked for; none when the list names no known surgeon, or a lens that is unknown or cannot be planned.
fn order(site: &Site, entry: &ListEntry, record: &CaseRecord) -> Option<Order> {
    let (_, surgeon) = surgeon_of(site, entry)?;
    let family = match &entry.lens {
        Some(_) => Some(lens_of(site, entry)?.1.family.clone().ok()?),
        None => None,
    };
    Some(Order {
        surgeon: surgeon.clone(),
        family,
        entered: record.entered.clone(),
        implanted: record.implanted.clone(),
        laser: LaserOrder::default(),
        seat: surgeon.seat_for(entry),
        method: site.settings.site.theatre_method(),
        marks: record.marked.as_ref().and_then(|marked| marked.marks).unwrap_or_default(),
        marked: record.marked.clone(),
        marking_way: site.settings.site.marking_way(),
        live: site.settings.site.is_live(),
        settings: site.settings.site.plan_settings().clone(),
        nomogram: nomogram_of(site, entry).map(|(_, table)| table.clone()),
        pachymetry: record.pachymetry.clone(),
    })
}

/// The standing order, where the site releases unflagged cases by itself and the surgeon's file is approved.
fn standing_order(site: &Site, standing: &Standing, considered: &Considered) -> Option<Approval> {
    if site.settings.site.approval() != ApprovalPolicy::Flagged {
        return None;
    }
    let (file, surgeon) = surgeon_of(site, &considered.case.entry)?;
    let approved = standing.approved.get(file)?;
    if considered.case.entry.lens.is_some() {
        lens_of(site, &considered.case.entry).filter(|(_, lens)| lens.family.is_ok())?;
    }
    let revision = surgeon.revision.clone().unwrap_or_else(|| approved.revision.to_string());
    Some(Approval::StandingOrder { name: surgeon.name.clone(), revision })
}

fn shown<T: core::fmt::Debug>(reading: Option<&crate::model::Reading<T>>) -> String {
    reading.map_or_else(|| "-".to_owned(), |reading| format!("{:?}", reading.value))
}

/// Keyed digest of everything that speaks about a case, settings and order of arrival left out.
fn evidence(site: &Site, case: &Case, record: &CaseRecord) -> String {
    let entry = &case.entry;
    let mut lines = vec![
        format!("number {}", shown(entry.identity.number.as_ref())),
        format!("name {}", shown(entry.identity.name.as_ref())),
        format!("birth {}", shown(entry.identity.birth_date.as_ref())),
        format!("sex {}", shown(entry.identity.sex.as_ref())),
        format!("date {}", shown(entry.date.as_ref())),
        format!("eye {}", shown(entry.eye.as_ref())),
        format!("procedure {}", shown(entry.procedure.as_ref())),
        format!("surgeon {}", shown(entry.surgeon.as_ref())),
        format!("target {}", shown(entry.target.as_ref())),
        format!("lens {}", shown(entry.lens.as_ref())),
        format!("incision {}", shown(entry.incision.as_ref())),
        format!("width {}", shown(entry.incision_width.as_ref())),
        format!("seat {}", shown(entry.seat.as_ref())),
        format!("surgery {}", shown(entry.corneal_surgery.as_ref())),
        format!("lens status {}", shown(entry.lens_status.as_ref())),
    ];
    for earlier in &case.earlier {
        lines.extend([
            format!("earlier eye {}", shown(earlier.eye.as_ref())),
            format!("earlier procedure {}", shown(earlier.procedure.as_ref())),
            format!("earlier surgeon {}", shown(earlier.surgeon.as_ref())),
            format!("earlier target {}", shown(earlier.target.as_ref())),
            format!("earlier lens {}", shown(earlier.lens.as_ref())),
        ]);
    }
    if case.gone {
        lines.push("gone from the list".to_owned());
    }
    let mut exams: Vec<String> =
        case.exams.iter().map(|(how, joined)| format!("exam {how:?} {}", joined.exam.file.digest)).collect();
    exams.sort();
    lines.extend(exams);
    lines.extend(case.facts.iter().map(|fact| {
        let (target, value) = fact.kind.words();
        let at = fact.at.as_ref().map_or_else(|| "no time".to_owned(), |at| at.local.to_string());
        format!("fact {} {target} {value} by {} at {at}", fact.eye, fact.by)
    }));
    lines.extend(record.answers.iter().map(|answer| {
        let fingerprint = answer.fingerprint.as_ref().map(ToString::to_string).unwrap_or_default();
        format!("answer {fingerprint} {}", answer.code.reference())
    }));
    lines.extend(record.entered.iter().map(super::fold::entered_text));
    lines.extend(record.pachymetry.iter().map(super::thickness::line));
    lines.extend(record.implanted.iter().map(super::implanted::text));
    lines.extend(record.marked.iter().map(super::marks::text));
    keyed(site, "axiswright-evidence-1", &lines.join("\n"))
}

/// What a plan comes to, to the degree: if this is the same, an issued sheet stands.
fn result(plan: &Plan) -> String {
    let entry = &plan.cleared().case().entry;
    let computation = plan.computation();
    let mut lines = vec![
        format!("number {}", shown(entry.identity.number.as_ref())),
        format!("name {}", shown(entry.identity.name.as_ref())),
        format!("birth {}", shown(entry.identity.birth_date.as_ref())),
        format!("eye {}", computation.eye),
        format!("procedure {}", shown(entry.procedure.as_ref())),
        format!("surgeon {}", shown(entry.surgeon.as_ref())),
        format!("date {}", shown(entry.date.as_ref())),
        format!("target {}", round::signed(computation.target.dioptres(), 2)),
        format!("incision {}", computation.incision.map(|i| round::direction(i.at)).unwrap_or_default()),
        format!("seat {:?}", plan.order().seat),
    ];
    let marks = &plan.order().marks;
    // Marks that lie where they are taken to lie without being measured turn nothing.
    let whole = |degrees: f64| round::fixed(degrees, 0);
    let angles = (whole(marks.zero_side_deg()), whole(marks.opposite_side_deg()));
    if computation.line.is_some() && angles != (whole(0.0), whole(180.0)) {
        lines.push(format!("marks {} {}", angles.0, angles.1));
    }
    if let Some(lens) = computation.lens() {
        lines.extend([
            format!("lens {}", lens.box_line),
            format!("power {}", round::fixed(lens.equivalent.dioptres(), 2)),
            format!("step {}", round::fixed(lens.cylinder.dioptres(), 2)),
            format!("axis {}", lens.axis.map(round::meridian).unwrap_or_default()),
            format!("entered {}", lens.entered.is_some()),
        ]);
    }
    if let Some(arcs) = computation.arcs() {
        lines.push(format!("arcs zone {}", round::fixed(arcs.zone.millimetres(), 2)));
        lines.push(format!("arcs depth {}", round::fixed(arcs.depth.micrometres(), 0)));
        lines.extend(arcs.items.iter().map(|item| {
            format!("arc {} {}", round::direction(item.centre), round::fixed(item.arc.degrees(), 0))
        }));
    }
    match &computation.work {
        Work::Lens(_) | Work::Arcs { .. } => {}
        Work::Realignment(turned) => lines.extend([
            format!("in the eye {}", turned.implanted.printed()),
            format!("turn {} from {}", turned.turn.printed(), round::meridian(turned.from)),
            format!("axis {}", round::meridian(turned.to)),
            format!("advice {}", turned.advice.word()),
        ]),
        Work::Laser(laser) => lines.extend([
            format!(
                "treatment {} {} x {}",
                round::signed(laser.treatment.sphere().dioptres(), 2),
                round::signed(laser.treatment.cylinder().dioptres(), 2),
                round::meridian(laser.axis_upright)
            ),
            format!("mark {}", round::meridian(laser.mark_upright)),
            format!("on the bed {}", laser.axis_on_bed.map(round::meridian).unwrap_or_default()),
            format!("device turns the axis {}", laser.device_turns_axis),
        ]),
    }
    lines.join("\n")
}
