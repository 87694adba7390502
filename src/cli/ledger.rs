//! `ledger`: the chain read again, or written out.

use std::path::Path;

use clap::{Args, Subcommand};
use serde_json::json;

use super::Ended;
use super::failure::Failure;
use super::on_site::SiteArguments;
use super::output::{print_json, print_line, print_lines};
use crate::bridge::{BridgeError, ChainCheck, Records, check_chain, is_damage};
use crate::ledger::{ChainHash, Head};

/// Check the chain of a site's ledger, or write it out.
#[derive(Debug, Args)]
pub(super) struct LedgerArguments {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    Verify(VerifyChain),
    Export(Export),
}

/// Read the whole chain again: every hash, every link, every signed head with its signature, every note.
///
/// Exit code 0: everything holds; 2: damaged, and the first bad record is named.
#[derive(Debug, Args)]
struct VerifyChain {
    #[command(flatten)]
    site: SiteArguments,
    /// A head known from elsewhere, as it stands on a printed sheet: number, colon, hash. It shows a tail that was cut
    /// off. May be given several times.
    #[arg(long = "head", value_name = "SEQ:HASH")]
    heads: Vec<String>,
    /// Print the result as JSON.
    #[arg(long)]
    json: bool,
}

/// Write the chain to standard output as JSON Lines: seq, prev, hash, kind, body.
///
/// It holds ids, digests, codes and times, no name and no value. Exit code 2: damaged; nothing is written then.
#[derive(Debug, Args)]
struct Export {
    #[command(flatten)]
    site: SiteArguments,
    /// Write the signed heads instead: seq, hash, at, signature, key.
    #[arg(long)]
    heads: bool,
    /// Accepted for uniformity: JSON Lines is the only form. Errors come as a JSON object.
    #[arg(long)]
    json: bool,
}

impl LedgerArguments {
    pub(super) const fn json(&self) -> bool {
        match &self.act {
            Act::Verify(arguments) => arguments.json,
            Act::Export(arguments) => arguments.json,
        }
    }
}

/// Runs the command.
pub(super) fn run(arguments: &LedgerArguments) -> Result<Ended, Failure> {
    match &arguments.act {
        Act::Verify(arguments) => verify(arguments),
        Act::Export(arguments) => export(arguments),
    }
}

fn damaged(error: BridgeError) -> Failure {
    if !is_damage(&error) {
        return error.into();
    }
    let failure = Failure::from(error).ending(Ended::Bad);
    Failure {
        code: "ledger-damaged",
        hint: "stop the program, keep this ledger as it is, and restore the newest backup that verifies"
            .to_owned(),
        ..failure
    }
}

fn head(text: &str) -> Result<Head, Failure> {
    let parsed = text.split_once(':').and_then(|(seq, hash)| {
        let hash = ChainHash::from_hex(&hash.trim().to_ascii_lowercase()).ok()?;
        Some(Head { seq: seq.trim().parse().ok()?, hash })
    });
    parsed.ok_or_else(|| {
        Failure::bad(
            "head",
            format!("`{text}` is no head of a chain"),
            "give the number, a colon and the 64 hexadecimal digits as they stand on the sheet's record page",
        )
    })
}

fn verify(arguments: &VerifyChain) -> Result<Ended, Failure> {
    let heads = arguments.heads.iter().map(|text| head(text)).collect::<Result<Vec<_>, _>>()?;
    let check = check_chain(&arguments.site.site, &heads).map_err(damaged)?;
    if arguments.json {
        print_json(&json!({
            "sound": check.is_sound(),
            "records": check.records,
            "head": check.head.map(|head| json!({ "seq": head.seq, "hash": head.hash.to_string() })),
            "signed_heads": check.signed_heads,
            "signed_up_to": check.signed_up_to,
            "notes": check.notes,
            "damaged_notes": check.damaged_notes,
            "fault": check.fault.as_ref().map(|(seq, why)| json!({ "seq": seq, "why": why })),
        }));
    } else {
        print_check(&check, &arguments.site.site);
    }
    Ok(if check.is_sound() { Ended::Done } else { Ended::Bad })
}

fn print_check(check: &ChainCheck, site: &Path) {
    print_line(&format!("records       {} hold", check.records));
    if let Some(head) = check.head {
        print_line(&format!("head          {}:{}", head.seq, head.hash));
    }
    print_line(&format!("signed heads  {}, the newest at record {}", check.signed_heads, check.signed_up_to));
    let unsigned = check.records.saturating_sub(check.signed_up_to);
    if check.is_sound() && unsigned > 0 {
        print_line(&format!("              {unsigned} record(s) since then are signed with the next pass"));
    }
    print_line(&format!("notes         {} hold", check.notes));
    for key in &check.damaged_notes {
        print_line(&format!("DAMAGED NOTE  {key}"));
    }
    if let Some((seq, why)) = &check.fault {
        print_line(&format!("DAMAGED       at record {seq}: {why}"));
    }
    print_line("");
    if check.is_sound() {
        print_line(&format!("the ledger of {} holds", site.display()));
    } else {
        print_line(
            "The ledger is damaged. Stop the program, keep this ledger as it is, and restore the newest backup",
        );
        print_line("that verifies. Check every sheet printed since by hand.");
    }
}

fn export(arguments: &Export) -> Result<Ended, Failure> {
    let records = Records::open(&arguments.site.site).map_err(damaged)?;
    let mut lines = Vec::new();
    let written = if arguments.heads {
        records.ledger.export_heads(&mut lines)
    } else {
        records.ledger.export(&mut lines)
    };
    written.map_err(|error| damaged(error.into()))?;
    print_lines(&lines);
    Ok(Ended::Done)
}
