//! The steps of a computation for people and for machines.

use serde_json::{Value, json};

use super::output::print_line;
use crate::cite::Source;
use crate::plan::Step;

/// Widest line of running text.
const WIDTH: usize = 100;

/// Every step as a numbered paragraph that can be read aloud.
pub(super) fn print_steps(steps: &[Step]) {
    for (number, step) in (1_usize..).zip(steps) {
        print_line("");
        print_line(&format!("{number}. {}", step.name));
        for (label, value, from) in &step.inputs {
            let from = if from.is_empty() { String::new() } else { format!(" (from: {from})") };
            print_wrapped("   given    ", &format!("{label} = {value}{from}"));
        }
        print_wrapped("   formula  ", &step.formula);
        print_wrapped("   result   ", &step.result);
        print_wrapped("   source   ", &source_text(&step.source));
    }
}

/// Short name with its mark, what it is, and what of it was seen.
fn source_text(source: &Source) -> String {
    let seen = if source.place.is_empty() { String::new() } else { format!("; seen: {}", source.place) };
    format!("{}: {}{seen}", source.cited(), source.full)
}

/// A text broken into lines under its heading.
pub(super) fn print_wrapped(heading: &str, text: &str) {
    let indent = heading.chars().count();
    let mut line = heading.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        let width = line.chars().count() + 1 + word.chars().count();
        if !empty && width > WIDTH {
            print_line(&line);
            line = " ".repeat(indent);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    print_line(line.trim_end());
}

/// `[{name, formula, inputs: [{label, value, from}], result, source: {short, full, place, mark}}]`.
pub(super) fn steps_json(steps: &[Step]) -> Value {
    steps
        .iter()
        .map(|step| {
            let inputs: Vec<Value> = step
                .inputs
                .iter()
                .map(|(label, value, from)| {
                    json!({ "label": label, "value": value, "from": (!from.is_empty()).then_some(from) })
                })
                .collect();
            let source = &step.source;
            json!({
                "name": step.name,
                "formula": step.formula,
                "inputs": inputs,
                "result": step.result,
                "source": {
                    "short": source.short,
                    "full": source.full,
                    "place": source.place,
                    "mark": source.mark.words(),
                },
            })
        })
        .collect()
}
