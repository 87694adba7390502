//! The steps of the computation and the findings with their answers, on the record pages.

use super::block::{LEFT, WIDTH};
use super::error::SheetError;
use super::flow::{Flow, cell, faint, head, plain, strong};
use super::frame::Frame;
use super::words;
use crate::model::Eye;
use crate::plan::Released;

/// Every step: name and source, formula and inputs, result.
pub(super) fn steps(flow: &mut Flow<'_, '_>, released: &Released) -> Result<(), SheetError> {
    flow.heading("Steps of the computation", 16.0)?;
    let (name, work, result) = ((LEFT, 44.0), (58.0, 88.0), (149.0, 49.0));
    flow.row(&[
        cell(name.0, name.1, head(), "STEP AND SOURCE"),
        cell(work.0, work.1, head(), "FORMULA AND INPUTS"),
        cell(result.0, result.1, head(), "RESULT"),
    ])?;
    for (number, step) in (1_usize..).zip(&released.plan().computation().steps) {
        let inputs: Vec<String> = step
            .inputs
            .iter()
            .map(|(label, value, from)| {
                if from.is_empty() { format!("{label} {value}") } else { format!("{label} {value} [{from}]") }
            })
            .collect();
        let mut worked = words::legible(&step.formula);
        if !inputs.is_empty() {
            worked.push('\n');
            worked.push_str(&words::legible(&inputs.join("; ")));
        }
        flow.skip(0.9);
        flow.row(&[
            cell(
                name.0,
                name.1,
                strong(),
                format!("{number}  {}\n{}", words::legible(&step.name), step.source.cited()),
            ),
            cell(work.0, work.1, plain(), worked).torn(),
            cell(result.0, result.1, strong(), words::legible(&step.result))
                .tagged(format!("step.{number}.result")),
        ])?;
    }
    Ok(())
}

/// Every finding with who answered it, when and why.
pub(super) fn findings(
    flow: &mut Flow<'_, '_>,
    released: &Released,
    frame: &Frame<'_>,
) -> Result<(), SheetError> {
    // The first finding with its source stands under its heading.
    flow.heading("Findings and answers", 24.0)?;
    let mut any = false;
    for (finding, answer) in released.findings() {
        any = true;
        let code = finding.code();
        let mut message = words::legible(finding.message());
        if let Some(eye) = finding.about() {
            message = format!("{message} ({} eye)", Eye::word(eye));
        }
        let mut lines = vec![message];
        let limits: Vec<String> = [("expected", finding.expected_text()), ("found", finding.found_text())]
            .into_iter()
            .filter_map(|(name, text)| Some(format!("{name}: {}", words::legible(text?))))
            .collect();
        if !limits.is_empty() {
            lines.push(limits.join("; "));
        }
        let answered = match answer {
            Some(answer) => {
                let when = answer
                    .at
                    .map_or_else(String::new, |at| format!(", {}", words::moment(at, &frame.facts.zone)));
                let proof = if answer.authenticated { "" } else { ", identity not proven" };
                format!("{}{when}{proof}: {}", words::legible(&answer.by), words::legible(&answer.reason))
            }
            // Why a note is one, where its next step says so and its own words do not.
            None => finding
                .next_step()
                .and_then(|next| next.strip_prefix("nothing to do: "))
                .filter(|why| !finding.message().ends_with(why))
                .map_or_else(
                    || "note: asks for no answer".to_owned(),
                    |why| format!("note: {}", words::legible(why)),
                ),
        };
        flow.skip(0.8);
        let style = if answer.is_some() { strong() } else { plain() };
        let row = [
            cell(
                LEFT,
                44.0,
                strong(),
                format!("{} {}\n{}", code.reference(), code.slug(), finding.severity().word()),
            ),
            cell(58.0, 78.0, plain(), lines.join("\n")).torn(),
            cell(139.0, 59.0, style, answered).torn(),
        ];
        let limit = finding
            .source()
            .map(|source| [cell(58.0, WIDTH - 46.0, faint(), format!("source: {}", source.cited()))]);
        flow.keep(&row, limit.as_ref().map_or(&[], |limit| limit))?;
        flow.row(&row)?;
        if let Some(limit) = limit {
            flow.row(&limit)?;
        }
    }
    if !any {
        flow.paragraph(plain(), "none")?;
    }
    Ok(())
}
