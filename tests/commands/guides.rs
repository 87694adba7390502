//! The guides, done as they are written: every block marked `sh`, in order, in one shell, in the folder of a clone.

use std::path::Path;
use std::process::{Command, Stdio};

use crate::clinic::{PASSPHRASE, repo};

/// The blocks of a guide in one language.
fn blocks(guide: &str, language: &str) -> Vec<String> {
    let text = std::fs::read_to_string(repo(&format!("docs/guides/{guide}"))).unwrap();
    let mut found = Vec::new();
    let mut open: Option<String> = None;
    for line in text.lines() {
        match (&mut open, line) {
            (None, line) if line == format!("```{language}") => open = Some(String::new()),
            (Some(block), "```") => {
                found.push(std::mem::take(block));
                open = None;
            }
            (Some(block), line) => {
                block.push_str(line);
                block.push('\n');
            }
            (None, _) => {}
        }
    }
    assert!(open.is_none(), "{guide}: a block has no end");
    found
}

/// A folder that looks like a clone, with the program already built.
fn clone_in(folder: &Path) -> std::path::PathBuf {
    let clone = folder.join("clone");
    std::fs::create_dir_all(clone.join("target/release")).unwrap();
    for name in ["templates", "demo-data", "sample-exports", "docs"] {
        std::os::unix::fs::symlink(repo(name), clone.join(name)).unwrap();
    }
    let program = assert_cmd::cargo::cargo_bin("axiswright");
    std::os::unix::fs::symlink(program, clone.join("target/release/axiswright")).unwrap();
    clone
}

/// Runs blocks in a shell that stops at the first command that fails. What is asked on the terminal is typed.
fn shell(clone: &Path, blocks: &[String]) -> (bool, String) {
    // The program is built: the tests run it. Each passphrase is typed by this function.
    let typing = format!(
        "axiswright() {{ if [ \"$1\" = user ]; then printf '%s\\n' '{PASSPHRASE}' '{PASSPHRASE}' | command axiswright \"$@\"; \
         else command axiswright \"$@\"; fi; }}\n"
    );
    let script = typing + &blocks.join("\n").replace("cargo build --release\n", "");
    let done = Command::new("bash")
        .args(["-euo", "pipefail", "-c", &script])
        .current_dir(clone)
        .env_remove("AXISWRIGHT_LOG")
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&done.stdout).into_owned() + &String::from_utf8_lossy(&done.stderr);
    (done.status.success(), said)
}

#[test]
fn the_guide_of_it_ends_in_a_sheet_and_the_surgeons_goes_on_from_there() {
    let folder = tempfile::tempdir().unwrap();
    let clone = clone_in(folder.path());
    let it = blocks("it.md", "sh");
    assert!(it.len() >= 10);
    let (done, said) = shell(&clone, &it);
    assert!(done, "{said}");
    for words in ["good   folders", "_RIGHT_v1.pdf", "CURRENT", "next:    the file", "ivost", "records"] {
        assert!(said.to_lowercase().contains(&words.to_lowercase()), "`{words}` is not in:\n{said}");
    }
    let mut surgeon = blocks("surgeon.md", "sh");
    assert_eq!(surgeon.len(), 4);
    surgeon.insert(0, "export PATH=\"$PWD/target/release:$PATH\"\n".to_owned());
    let (done, said) = shell(&clone, &surgeon);
    assert!(done, "{said}");
    assert!(said.contains("released") && said.contains("Lens depth"), "{said}");
    assert!(said.contains("2 ARCS of 60°"), "{said}");
    assert!(said.contains("from 080 to 100") && said.contains("incyclotorsion"), "{said}");

    // Negative control: a command the program does not have.
    let (done, said) = shell(&clone, &["./target/release/axiswright release --all\n".to_owned()]);
    assert!(!done, "{said}");
}

#[test]
fn the_surgeons_file_of_the_guide_is_one() {
    let parts = blocks("surgeon.md", "toml");
    assert_eq!(parts.len(), 2);
    let file = parts.concat();
    let surgeon = axiswright::site::surgeon("surgeons/guide.toml", &file).unwrap();
    assert_eq!((surgeon.name.as_str(), surgeon.bands.len()), ("Dr. Imara Vost", 1));
    assert!(surgeon.incisions.len() == 1 && surgeon.backup.is_some());
    assert_eq!(surgeon.arcs.map(|arcs| arcs.nomogram), Some("Wallace".to_owned()));
}
