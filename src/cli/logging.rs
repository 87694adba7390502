//! The log: to stderr, by `AXISWRIGHT_LOG`, without a word about a patient.
//!
//! Only this program's own lines are written. Libraries that read files may repeat what stands in them, and a panic's
//! message may hold a cell; of both, nothing but the place in the source reaches the log.

use tracing_subscriber::filter::{EnvFilter, FilterExt as _, filter_fn};
use tracing_subscriber::layer::{Layer as _, SubscriberExt as _};
use tracing_subscriber::util::SubscriberInitExt as _;

/// Name of the variable that chooses what is logged: `error`, `warn` (the default), `info`, `debug`, `trace`.
const VARIABLE: &str = "AXISWRIGHT_LOG";
const DEFAULT: &str = "warn";

/// Starts the log.
pub(super) fn start() {
    #[expect(clippy::disallowed_methods, reason = "the command line reads the environment")]
    let wanted = std::env::var(VARIABLE).ok().filter(|wanted| !wanted.trim().is_empty());
    let parsed = EnvFilter::try_new(wanted.as_deref().unwrap_or(DEFAULT));
    let understood = parsed.is_ok();
    let chosen = parsed.unwrap_or_else(|_| EnvFilter::new(DEFAULT));
    let own = filter_fn(|metadata| metadata.target().split("::").next() == Some("axiswright"));
    let lines = tracing_subscriber::fmt::layer().with_writer(std::io::stderr).with_ansi(false);
    let started = tracing_subscriber::registry().with(lines.with_filter(chosen.and(own))).try_init();
    if started.is_ok() && !understood {
        tracing::warn!("{VARIABLE} is not understood; logging at `{DEFAULT}`");
    }
    std::panic::set_hook(Box::new(|panic| {
        let place = panic.location().map(|at| format!("{}:{}", at.file(), at.line())).unwrap_or_default();
        tracing::error!(%place, "a fault of the program; what it was doing is not repeated here");
    }));
}
