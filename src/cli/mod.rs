//! The command line: one file per subcommand.
//!
//! Data go to stdout, logs to stderr. Exit codes, the highest applies: 0 done; 1 something waits for a person; 2 what the
//! user typed, set or gave is bad; 3 the environment (disk, key, port, lock).

mod again;
mod answer;
mod cases;
mod demo;
mod demo_files;
mod doctor;
mod explain;
mod failure;
mod init;
mod ledger;
mod logging;
mod mark;
mod on_site;
mod once;
mod output;
mod plan;
mod read;
mod read_values;
mod scrub;
mod settings;
mod steps;
mod template;
mod user;
mod verify;
mod watch;

pub use failure::Failure;

use clap::{Parser, Subcommand};

/// Turns the exports of keratometers and biometers into sealed plan sheets for astigmatism surgery.
///
/// Decision support, not a certified medical device unless its operator has made it one. The licensed surgeon decides;
/// local protocols come first.
#[derive(Debug, Parser)]
#[command(name = "axiswright", version, max_term_width = 100, arg_required_else_help = true)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::DemoArguments),
    Init(init::InitArguments),
    Once(once::OnceArguments),
    Watch(watch::WatchArguments),
    Cases(cases::CasesArguments),
    Answer(Box<answer::AnswerArguments>),
    Mark(Box<mark::MarkArguments>),
    Again(again::AgainArguments),
    Plan(plan::PlanArguments),
    Read(read::ReadArguments),
    Verify(verify::VerifyArguments),
    Explain(explain::ExplainArguments),
    Settings(settings::SettingsArguments),
    Template(template::TemplateArguments),
    User(user::UserArguments),
    Ledger(ledger::LedgerArguments),
    Doctor(doctor::DoctorArguments),
}

impl Command {
    fn json(&self) -> bool {
        match self {
            Self::Demo(arguments) => arguments.json,
            Self::Once(arguments) => arguments.json,
            Self::Cases(arguments) => arguments.json,
            Self::Plan(arguments) => arguments.json,
            Self::Read(arguments) => arguments.json,
            Self::Verify(arguments) => arguments.json,
            Self::Explain(arguments) => arguments.json,
            Self::Settings(arguments) => arguments.json(),
            Self::User(arguments) => arguments.json(),
            Self::Ledger(arguments) => arguments.json(),
            Self::Doctor(arguments) => arguments.json,
            Self::Init(_)
            | Self::Answer(_)
            | Self::Mark(_)
            | Self::Watch(_)
            | Self::Template(_)
            | Self::Again(_) => false,
        }
    }
}

/// What a command ended with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ended {
    /// Done.
    Done = 0,
    /// Something waits for a person.
    Waits = 1,
    /// What the user gave is bad.
    Bad = 2,
    /// The environment.
    Environment = 3,
}

/// Runs the program and gives its exit code.
pub fn main() -> std::process::ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version are answers; everything else was typed wrong.
            let code = if error.use_stderr() { Ended::Bad } else { Ended::Done };
            let _ = error.print();
            return std::process::ExitCode::from(code as u8);
        }
    };
    logging::start();
    let json = arguments.command.json();
    tracing::debug!(version = env!("CARGO_PKG_VERSION"), "begins");
    let ended = match arguments.command {
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Init(arguments) => init::run(&arguments),
        Command::Once(arguments) => once::run(&arguments),
        Command::Watch(arguments) => watch::run(&arguments),
        Command::Cases(arguments) => cases::run(&arguments),
        Command::Answer(arguments) => answer::run(&arguments),
        Command::Mark(arguments) => mark::run(&arguments),
        Command::Again(arguments) => again::run(&arguments),
        Command::Plan(arguments) => plan::run(&arguments),
        Command::Read(arguments) => read::run(&arguments),
        Command::Verify(arguments) => verify::run(&arguments),
        Command::Explain(arguments) => explain::run(&arguments),
        Command::Settings(arguments) => settings::run(&arguments),
        Command::Template(arguments) => template::run(&arguments),
        Command::User(arguments) => user::run(&arguments),
        Command::Ledger(arguments) => ledger::run(&arguments),
        Command::Doctor(arguments) => doctor::run(&arguments),
    };
    let ended = ended.unwrap_or_else(|failure| failure.report(json));
    tracing::debug!(?ended, "ends");
    std::process::ExitCode::from(ended as u8)
}
