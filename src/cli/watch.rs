//! `watch`: the daemon.

use clap::Args;
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
use signal_hook::iterator::Signals;

use super::Ended;
use super::failure::Failure;
use super::on_site::SiteArguments;
use crate::bridge::{PassReport, Signal, signals, watch};

/// Watch the incoming folders until told to stop.
///
/// Every folder is scanned at intervals; file events only make the next scan come sooner. SIGTERM or SIGINT stops after
/// what is being done, SIGHUP reads the settings again, all or nothing. The log goes to stderr; `AXISWRIGHT_LOG=info` shows
/// each pass and a line every minute.
#[derive(Debug, Args)]
pub(super) struct WatchArguments {
    #[command(flatten)]
    site: SiteArguments,
    /// The time of every pass, RFC 3339; only where site.toml says `clock = "given"`.
    #[arg(long, value_name = "RFC3339")]
    now: Option<jiff::Timestamp>,
}

/// Runs the command.
pub(super) fn run(arguments: &WatchArguments) -> Result<Ended, Failure> {
    let (wake, receiver) = signals();
    let mut listened = Signals::new([SIGTERM, SIGINT, SIGHUP]).map_err(|error| {
        Failure::environment(
            "signals",
            format!("signals cannot be listened to: {error}"),
            "look at the system's limits",
        )
    })?;
    let closing = listened.handle();
    let forward = wake.clone();
    let listener = std::thread::spawn(move || {
        for signal in listened.forever() {
            let told = if signal == SIGHUP { Signal::Reload } else { Signal::Stop };
            if forward.send(told).is_err() {
                break;
            }
        }
    });
    let ended = watch(&arguments.site.site, arguments.now, (wake, receiver), &mut log_pass);
    closing.close();
    // The listener holds nothing that could be lost; a fault in it has stopped nothing.
    let _ = listener.join();
    ended?;
    tracing::info!("stopped");
    Ok(Ended::Done)
}

/// One line per pass, without a word about a patient.
fn log_pass(report: &PassReport) {
    let released = report.cases.iter().filter(|case| case.state == crate::bridge::State::Released).count();
    tracing::info!(
        taken = report.taking.taken,
        refused = report.refused,
        cases = report.cases.len(),
        released,
        published = report.views.published,
        "pass"
    );
}
