//! Where the outside tools are: in `.venv/bin` of the repository, or on the PATH.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;

use crate::tools::not_checked;

/// Exit code of a script that found its module missing.
const NO_MODULE: i32 = 3;

pub(crate) fn repo(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// A program by name.
fn look_for(name: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders = std::iter::once(repo(".venv/bin")).chain(std::env::split_paths(&path));
    folders.map(|folder| folder.join(name)).find(|file| file.is_file())
}

/// A program by name; without it says what is not checked and how to get it.
pub(crate) fn program(name: &str, package: &str, what: &str) -> Option<PathBuf> {
    let found = look_for(name);
    if found.is_none() {
        not_checked(&format!("{what}: `{name}` is not installed (package {package})"));
    }
    found
}

pub(crate) struct Said {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Said {
    pub(crate) fn all(&self) -> String {
        format!("{}\n{}", self.out, self.err)
    }
}

fn said(output: &Output) -> Said {
    Said {
        code: output.status.code(),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// Runs a program; an output that is not UTF-8 is shown with replacement characters.
pub(crate) fn run(command: &mut Command) -> Said {
    said(&command.stdin(Stdio::null()).output().unwrap())
}

/// Runs a program and gives it `input`.
pub(crate) fn run_with(command: &mut Command, input: &str) -> Said {
    let mut child =
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut pipe = child.stdin.take().unwrap();
    let text = input.to_owned();
    let feeder = std::thread::spawn(move || pipe.write_all(text.as_bytes()));
    let output = child.wait_with_output().unwrap();
    // A program that stopped reading tells why on its own.
    let _ = feeder.join().unwrap();
    said(&output)
}

/// Runs one of the scripts beside this file with `input` and gives the JSON of each line it prints; none when Python or
/// the module it needs is missing.
pub(crate) fn script(name: &str, arguments: &[&str], input: &str, what: &str) -> Option<Vec<Value>> {
    let python = program("python3", "python3", what)?;
    let file = repo("tests/outside").join(name);
    let said = run_with(Command::new(python).arg(file).args(arguments), input);
    if said.code == Some(NO_MODULE) {
        not_checked(&format!("{what}: {}", said.err.trim()));
        return None;
    }
    assert_eq!(said.code, Some(0), "{name}: {}", said.err);
    Some(said.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect())
}

/// One item a line.
pub(crate) fn lines(items: impl IntoIterator<Item = impl ToString>) -> String {
    items.into_iter().map(|item| item.to_string()).collect::<Vec<_>>().join(
        "
",
    )
}

/// Our own binary.
pub(crate) fn axiswright() -> Command {
    Command::new(env!("CARGO_BIN_EXE_axiswright"))
}

/// An empty folder for one test, below the build's own folder for such things.
pub(crate) fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("outside").join(name);
    if folder.exists() {
        std::fs::remove_dir_all(&folder).unwrap();
    }
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

pub(crate) fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy(&path, &target);
        } else {
            std::fs::copy(&path, &target).unwrap();
        }
    }
}
