//! `cases`: every case, its state, its findings.

use clap::Args;
use serde_json::{Value, json};

use super::Ended;
use super::failure::Failure;
use super::on_site::{SiteArguments, now, open};
use super::output::{print_json, print_line};
use crate::bridge::{CaseView, State, look, view};
use crate::model::Fact;

/// Show every case with its state and its findings, then the facts that belong to no case.
#[derive(Debug, Args)]
pub(super) struct CasesArguments {
    #[command(flatten)]
    site: SiteArguments,
    /// The time to look at, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
    /// Print the cases as JSON.
    #[arg(long)]
    pub(super) json: bool,
}

/// Runs the command.
pub(super) fn run(arguments: &CasesArguments) -> Result<Ended, Failure> {
    let mut site = open(&arguments.site.site)?;
    let (now, _) = now(&site, arguments.now)?;
    let look = look(&mut site, now)?;
    let cases: Vec<CaseView> = look.weighing.cases.iter().map(|weighed| view(&site, weighed)).collect();
    if arguments.json {
        print_json(&Value::Array(cases.iter().map(case_json).collect()));
    } else {
        for case in &cases {
            print_case(case);
        }
        print_strays(&look.weighing.facts_without_case);
    }
    let waits = cases.iter().any(|case| case.state != State::Released);
    Ok(if waits { Ended::Waits } else { Ended::Done })
}

/// Statements about an eye that no case is of: a number or an eye is wrong, or the operation is not on a list yet.
fn print_strays(facts: &[Fact]) {
    if facts.is_empty() {
        return;
    }
    print_line(&format!("facts that belong to no case: {}", facts.len()));
    for fact in facts {
        let number = fact.identity.number.as_ref().map_or("no number", |number| number.value.as_written());
        let (target, word) = fact.kind.words();
        let at = fact.at.as_ref().map_or_else(String::new, |at| format!(", {}", at.local));
        print_line(&format!(
            "    {number}  {} eye  {target} {word}, stated by {}{at} ({})",
            fact.eye, fact.by, fact.place
        ));
    }
    print_line("    next: compare number and eye with the list; nothing is judged by them until a case fits");
}

pub(super) fn case_json(case: &CaseView) -> Value {
    json!({
        "case": case.id.as_str(),
        "version": case.version,
        "state": case.state.word(),
        "eye": case.eye.map(crate::model::Eye::word),
        "list_date": case.list_date.map(|date| date.to_string()),
        "sheet": case.sheet,
        "digest": case.digest,
        "paper_out": Value::Null,
        "findings": case
            .findings
            .iter()
            .map(|(finding, answer)| finding.as_json(answer.as_ref()))
            .collect::<Vec<_>>(),
    })
}

pub(super) fn print_case(case: &CaseView) {
    let eye = case.eye.map_or("EYE NOT STATED", crate::model::Eye::capitals);
    let date = case.list_date.map(|date| date.to_string()).unwrap_or_default();
    print_line(&format!("{}  {:<10} {:<14} {date}  {}", case.id, case.state.word(), eye, case.patient));
    if let Some(sheet) = &case.sheet {
        print_line(&format!("    sheet   {sheet}"));
    }
    if !case.waits_for.is_empty() {
        print_line(&format!("    waits for {}", case.waits_for.join(", ")));
    }
    for (finding, answer) in &case.findings {
        print_line(&format!(
            "    {:<8} {} {}: {}",
            finding.severity().word(),
            finding.code().reference(),
            finding.fingerprint(),
            finding.message()
        ));
        match answer {
            Some(answer) => print_line(&format!("             answered by {}: {}", answer.by, answer.reason)),
            None => {
                if let Some(next) = finding.next_step() {
                    print_line(&format!("             next: {next}"));
                }
            }
        }
    }
}
