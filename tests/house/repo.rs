//! The files of the repository.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The top of the repository.
pub(crate) fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Folders that are made, not written.
const MADE: [&str; 4] = ["target", ".git", ".venv", "node_modules"];

/// How the names of the folders begin that `axiswright demo` makes; they hold keys.
const DEMO: &str = "axiswright-demo";

/// Every file of the repository, relative to its top: what git knows or would take, or without git what lies there.
pub(crate) fn files() -> Vec<String> {
    let git = Command::new("git")
        .args(["ls-files", "-z", "--cached", "--others", "--exclude-standard"])
        .current_dir(top())
        .output();
    let mut files: Vec<String> = match git {
        Ok(output) if output.status.success() && !output.stdout.is_empty() => {
            let text = String::from_utf8(output.stdout).unwrap();
            text.split('\0').filter(|name| !name.is_empty()).map(str::to_owned).collect()
        }
        _ => {
            let mut found = Vec::new();
            walk(top(), &mut found);
            found
        }
    };
    files.retain(|name| top().join(name).is_file());
    files.sort();
    files.dedup();
    assert!(files.len() > 100, "only {} files found", files.len());
    files
}

fn walk(folder: &Path, found: &mut Vec<String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() {
            if !MADE.contains(&name.as_str()) && !name.starts_with(DEMO) {
                walk(&path, found);
            }
        } else {
            found.push(path.strip_prefix(top()).unwrap().to_string_lossy().into_owned());
        }
    }
}

/// The Rust files below a folder, with their text.
pub(crate) fn rust(folder: &str) -> Vec<(String, String)> {
    let prefix = format!("{folder}/");
    files()
        .into_iter()
        .filter(|name| {
            name.starts_with(&prefix) && Path::new(name).extension().is_some_and(|ending| ending == "rs")
        })
        .map(|name| {
            let text = text(&name);
            (name, text)
        })
        .collect()
}

/// The text of a file.
pub(crate) fn text(name: &str) -> String {
    let path: PathBuf = top().join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Fails with every fault, one a line.
pub(crate) fn none(faults: &[String]) {
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n"));
}
