//! The `site.toml` that a new site begins with.

use core::fmt::Write as _;

use super::expect::Expected;
use super::incoming::{SETTLE_SECONDS, quoted};
use super::keys::{
    BUDGET_TABLE, DIAL, DIAL_TABLE, EXPECT_TABLE, INCOMING, INCOMING_TABLE, MARKING_TABLE, THRESHOLDS_TABLE,
    TOP,
};
use super::limits::{describe_budget, describe_thresholds};
use super::marking::Marks;
use super::site_file::{ApprovalPolicy, Clock, History, SiteKind};
use super::valued::Described;
use crate::checks;
use crate::plan;
use crate::plan::{Combining, TheatreMethod};

const WIDTH: usize = 118;

const HEAD: &str = "Settings of a site of Axiswright. Every key stands here with its meaning. A line that begins with `#key =` shows the value that is in force while the line is a comment; take the `#` away to set it. This file can move a printed number: after a change a named person approves it with `axiswright settings approve`, until then no sheet is made.";

/// The text of `site.toml` for a new site: every key, its default and its meaning.
///
/// It parses back to the defaults - except on a live site, where it says nothing about `approval`: the site must choose
/// before the file can be read.
pub fn site_text(kind: SiteKind, name: &str, zone: &str) -> String {
    let mut text = String::new();
    comment(&mut text, HEAD);
    for key in &TOP {
        text.push('\n');
        comment(&mut text, key.meaning);
        let line = |value: &str| format!("{} = {value}\n", key.name);
        match key.name {
            "kind" => text.push_str(&line(&quoted(kind.word()))),
            "name" | "number_authority" => text.push_str(&line(&quoted(name))),
            "zone" => text.push_str(&line(&quoted(zone))),
            "approval" if kind == SiteKind::Live => {
                for word in ApprovalPolicy::WORDS {
                    let _ = write!(text, "#{}", line(&quoted(word)));
                }
            }
            name => {
                let _ = write!(text, "#{}", line(&default_of(name)));
            }
        }
    }
    table(
        &mut text,
        EXPECT_TABLE,
        "Sources a case waits for, by the procedure on the list.",
        &Expected::default().describe(),
    );
    table(
        &mut text,
        THRESHOLDS_TABLE,
        "Limits of the rules. Each names its rule, docs/FINDINGS.md explains it.",
        &describe_thresholds(&checks::Settings::default(), &Vec::new()),
    );
    table(
        &mut text,
        BUDGET_TABLE,
        "Numbers of the plan: how sure each part is, and when choices count as equal. To be replaced by the site's own results.",
        &describe_budget(&plan::Settings::default(), &Vec::new()),
    );
    table(
        &mut text,
        MARKING_TABLE,
        "How marks are made, as the marking page of a sheet says it.",
        &Marks::default().describe(),
    );
    text.push('\n');
    comment(&mut text, "The dial of the marking instrument. The block below is an example.");
    let _ = writeln!(text, "#[{DIAL_TABLE}]");
    for key in &DIAL {
        comment(&mut text, key.meaning);
        let example = if key.name == "sense" { quoted("anticlockwise") } else { "0".to_owned() };
        let _ = writeln!(text, "#{} = {example}", key.name);
    }
    text.push('\n');
    comment(
        &mut text,
        "Incoming folders, one block each. The block below is an example: copy it, take the `#` away and delete what is not needed.",
    );
    let _ = writeln!(text, "#[[{INCOMING_TABLE}]]");
    for key in &INCOMING {
        comment(&mut text, key.meaning);
        let _ = writeln!(text, "#{} = {}", key.name, example_of(key.name));
    }
    text
}

/// A default as it would stand in the file.
fn default_of(name: &str) -> String {
    match name {
        "number_scheme" => quoted("none"),
        "approval" => quoted(ApprovalPolicy::Flagged.word()),
        "history" => quoted(History::Required.word()),
        "theatre_method" => quoted(TheatreMethod::RingOnMarks.word()),
        "combine" => quoted(Combining::default().word()),
        "clock" => quoted(Clock::System.word()),
        "decide_by_hours" => super::site_file::DECIDE_BY_HOURS.to_string(),
        "low_water_mb" => super::site_file::LOW_WATER_MB.to_string(),
        _ => checks::Settings::default().window_days.value.to_string(),
    }
}

/// An example of a key of an incoming folder.
fn example_of(name: &str) -> String {
    match name {
        "brings" => quoted("measurements"),
        "device" => quoted("Biometer room 2"),
        "folder" | "class" => quoted("biometer"),
        "mode" => quoted("own"),
        "zone" => quoted("Europe/Lisbon"),
        "settle_seconds" => SETTLE_SECONDS.to_string(),
        "templates" => "[]".to_owned(),
        "index" => "1.3375".to_owned(),
        "eyes" => quoted("both"),
        "axis_convention" => quoted("iso-8429"),
        "chamber_depth_from" => quoted("corneal_front"),
        "zone_mm" => "2.5".to_owned(),
        _ => "0.01".to_owned(),
    }
}

fn table(text: &mut String, name: &str, meaning: &str, rows: &[Described]) {
    text.push('\n');
    comment(text, meaning);
    let _ = writeln!(text, "[{name}]");
    for row in rows {
        let cited = row.source.map_or_else(String::new, |source| format!(" Source: {}.", source.cited()));
        comment(text, &format!("{}{cited}", row.meaning));
        let key = row.key.rsplit('.').next().unwrap_or(&row.key);
        let _ = writeln!(text, "#{key} = {}", row.value.as_deref().unwrap_or_default());
    }
}

/// A comment broken into lines.
fn comment(text: &mut String, words: &str) {
    let mut line = String::from("#");
    for word in words.split_whitespace() {
        if line.chars().count() + 1 + word.chars().count() > WIDTH {
            text.push_str(&line);
            text.push('\n');
            line = String::from("#");
        }
        line.push(' ');
        line.push_str(word);
    }
    text.push_str(&line);
    text.push('\n');
}
