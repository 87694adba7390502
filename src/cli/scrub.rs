//! `read --scrub`: a copy of a file in which no person can be found.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::Ended;
use super::failure::Failure;
use super::output::{print_json, print_line};
use super::plan::read_file;
use super::read::{Reader, apart, name_of, read_bytes};
use crate::intake::{self, Brings, FolderRules, Input, ScrubError, Scrubbed};

/// What a reader says of a file, in words that show nothing of it.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Fate {
    /// `read`, or the word of the error.
    word: &'static str,
    /// The codes of the findings.
    codes: Vec<&'static str>,
}

/// Writes the copies. All of one call are made by one seed: a patient who stands in two files stays one patient.
pub(super) fn run(reader: &Reader, files: &[PathBuf], out: &Path, json: bool) -> Result<Ended, Failure> {
    let mut seed = [0; 32];
    #[expect(clippy::disallowed_methods, reason = "the command line asks for random numbers")]
    let filled = getrandom::fill(&mut seed);
    filled.map_err(|error| {
        Failure::environment("random", format!("the system gives no random numbers: {error}"), "try again")
    })?;
    std::fs::create_dir_all(out).map_err(|error| cannot_write(out, &error))?;
    let mut objects = Vec::new();
    let mut ended = Ended::Done;
    for path in files {
        match one(reader, path, out, &seed) {
            Ok(object) => {
                if !json {
                    print(&object);
                }
                objects.push(object.json());
            }
            Err(failure) if files.len() == 1 => return Err(failure),
            Err(failure) => {
                ended = ended.max(failure.ended);
                if json {
                    objects.push(json!({ "file": path.display().to_string(), "error": failure.as_json() }));
                } else {
                    failure.report(false);
                }
            }
        }
    }
    if json {
        print_json(&Value::Array(objects));
    }
    Ok(ended)
}

/// A copy that was written.
struct Written {
    file: String,
    copy: PathBuf,
    scrubbed: Scrubbed,
    before: Fate,
    after: Fate,
}

impl Written {
    fn json(&self) -> Value {
        let counts: serde_json::Map<String, Value> =
            self.scrubbed.counts.iter().map(|(kind, count)| (kind.word().to_owned(), json!(count))).collect();
        json!({
            "file": self.file,
            "copy": self.copy.display().to_string(),
            "replaced": counts,
            "shared": self.scrubbed.shared.iter().map(|kind| kind.word()).collect::<Vec<_>>(),
            "blind": self.scrubbed.blind,
            "reads_as": self.after.word,
            "findings": self.after.codes,
            "reads_alike": self.before == self.after,
        })
    }
}

fn one(reader: &Reader, path: &Path, out: &Path, seed: &[u8; 32]) -> Result<Written, Failure> {
    let bytes = read_file(path)?;
    let name = name_of(path);
    let folder = FolderRules::undeclared(Brings::Measurements);
    let reports = reader.reports.as_slice();
    let input = Input { bytes: &bytes, name: &name, folder: &folder, today: reader.today, reports };
    let named = !reader.from_site;
    let scrubbed = apart(&name, || intake::scrub(&input, &reader.templates, named, seed))?
        .map_err(|error| refused(&error, &name))?;
    let before = fate(reader, &bytes, &name);
    let after = fate(reader, &scrubbed.bytes, &scrubbed.name);
    let copy = out.join(&scrubbed.name);
    write_new(&copy, &scrubbed.bytes)?;
    Ok(Written { file: name, copy, scrubbed, before, after })
}

fn refused(error: &ScrubError, name: &str) -> Failure {
    Failure::bad(error.slug(), error.to_string(), error.hint()).at(name)
}

fn cannot_write(path: &Path, error: &std::io::Error) -> Failure {
    Failure::environment(
        "write",
        format!("cannot write: {error}"),
        "look at the rights and the room of that folder",
    )
    .at(path.display().to_string())
}

/// Writes a file that is not there yet.
fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    use std::io::Write as _;
    let opened = std::fs::OpenOptions::new().write(true).create_new(true).open(path);
    let mut file = match opened {
        Ok(file) => file,
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
            return Err(Failure::bad(
                "exists",
                "a file of this name is there already",
                "name an empty folder with `--out`",
            )
            .at(path.display().to_string()));
        }
        Err(error) => return Err(cannot_write(path, &error)),
    };
    file.write_all(bytes).and_then(|()| file.sync_all()).map_err(|error| cannot_write(path, &error))
}

fn fate(reader: &Reader, bytes: &[u8], name: &str) -> Fate {
    match read_bytes(reader, bytes, name) {
        Ok(read) => Fate {
            word: "read",
            codes: read.findings.iter().map(|finding| finding.code().reference()).collect(),
        },
        Err(failure) => Fate { word: failure.code, codes: Vec::new() },
    }
}

fn print(written: &Written) {
    let Written { file, copy, scrubbed, before, after } = written;
    print_line(&format!("file       {file}"));
    print_line(&format!("copy       {}", copy.display()));
    for (kind, count) in &scrubbed.counts {
        print_line(&format!("replaced   {count} x {}", kind.words()));
    }
    if scrubbed.blind {
        print_line(
            "           nothing of the template stands in the file: every letter and digit was replaced",
        );
    }
    for kind in &scrubbed.shared {
        print_line(&format!(
            "kept       a few digits of a {} that also stand in a measured value or a time",
            kind.words()
        ));
    }
    let said = |fate: &Fate| match fate.codes.as_slice() {
        [] => format!("`{}`", fate.word),
        codes => format!("`{}` with {}", fate.word, codes.join(", ")),
    };
    if before == after {
        print_line(&format!("reads      as the file does: {}", said(after)));
    } else {
        print_line(&format!(
            "reads      NOT as the file does: the file gives {}, the copy {}",
            said(before),
            said(after)
        ));
    }
    print_line(
        "           times of examinations and measured values are as they were; look at it before you send it",
    );
}
