//! A running daemon, and what the product says of a site beside it.

use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

use serde_json::Value;

use crate::scene::{NOW, product};

/// A daemon that is stopped when the test ends.
pub(crate) struct Daemon(Child);

impl Daemon {
    pub(crate) fn start(site: &Path) -> Self {
        Self::spawn(Command::new(product()).args(["watch", "--site"]).arg(site).args(["--now", NOW]))
    }

    /// Starts a daemon by a command of one's own.
    pub(crate) fn spawn(command: &mut Command) -> Self {
        Self(command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap())
    }

    pub(crate) fn id(&self) -> u32 {
        self.0.id()
    }

    /// Kills it without a word.
    pub(crate) fn kill(mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }

    pub(crate) fn signal(&self, name: &str) {
        let sent =
            Command::new("kill").arg(format!("-{name}")).arg(self.0.id().to_string()).status().unwrap();
        assert!(sent.success());
    }

    /// Asks it to stop and gives its exit code.
    pub(crate) fn stop(self) -> Option<i32> {
        self.signal("TERM");
        self.ended()
    }

    /// The exit code of one that was asked to stop.
    pub(crate) fn ended(mut self) -> Option<i32> {
        self.0.wait().unwrap().code()
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // Gone already where the test stopped it.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Runs a command on a site.
pub(crate) fn on_site(site: &Path, arguments: &[&str]) -> Output {
    Command::new(product()).args(arguments).arg("--site").arg(site).output().unwrap()
}

/// The JSON that a command on a site prints.
pub(crate) fn json_of(site: &Path, arguments: &[&str]) -> Value {
    let out = on_site(site, arguments);
    let text = String::from_utf8(out.stdout).unwrap();
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{arguments:?}: {error}: {text}"))
}
