//! A test site in a scratch folder, with the settings and some exports of the bundled clinic.

use std::path::{Path, PathBuf};
use std::process::Output;

use axiswright::bridge::{InitRequest, init};
use axiswright::site::SiteKind;
use serde_json::Value;
use tempfile::TempDir;

/// The time of everything in these tests.
pub(crate) const NOW: &str = "2026-03-05T09:00:00Z";
/// A passphrase that passes every rule.
pub(crate) const PASSPHRASE: &str = "walnut ferry under quiet lamp";

/// What a command did.
#[derive(Debug)]
pub(crate) struct Done {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Done {
    fn of(output: &Output) -> Self {
        Self {
            code: output.status.code().expect("it ended by itself"),
            out: String::from_utf8(output.stdout.clone()).expect("output is text"),
            err: String::from_utf8(output.stderr.clone()).expect("the log is text"),
        }
    }

    /// Standard output as JSON.
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }

    /// Asserts the exit code.
    #[track_caller]
    pub(crate) fn exits(self, code: i32) -> Self {
        assert_eq!(self.code, code, "{self:?}");
        self
    }

    /// Asserts an error in its form: error, blank line, hint; nothing on standard output.
    #[track_caller]
    pub(crate) fn fails(self, code: i32, with: &str) -> Self {
        let done = self.exits(code);
        assert!(done.err.starts_with("error: "), "{done:?}");
        assert!(done.err.contains("\n\nhint: "), "{done:?}");
        assert!(done.err.contains(with), "{with}: {done:?}");
        assert_eq!(done.out, "", "{done:?}");
        done
    }

    /// Asserts an error object with this code.
    #[track_caller]
    pub(crate) fn fails_json(self, code: i32, word: &str) -> Self {
        let done = self.exits(code);
        let error = &done.json()["error"];
        assert_eq!(error["code"], word, "{done:?}");
        for key in ["message", "hint"] {
            assert!(error[key].as_str().is_some_and(|text| !text.is_empty()), "{key}: {done:?}");
        }
        assert!(error.get("place").is_some(), "{done:?}");
        assert_eq!(done.err, "", "{done:?}");
        done
    }
}

/// A command, with something to type and perhaps a log.
pub(crate) fn run_with(arguments: &[&str], typed: &str, log: Option<&str>) -> Done {
    let mut command = assert_cmd::Command::new(assert_cmd::cargo::cargo_bin!("axiswright"));
    command.args(arguments).env_remove("AXISWRIGHT_LOG").write_stdin(typed);
    if let Some(log) = log {
        command.env("AXISWRIGHT_LOG", log);
    } else {
        command.env("AXISWRIGHT_LOG", "error");
    }
    Done::of(&command.output().expect("the program starts"))
}

/// A command.
pub(crate) fn run(arguments: &[&str]) -> Done {
    run_with(arguments, "", None)
}

/// A file of the repository.
pub(crate) fn repo(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name).display().to_string()
}

fn copy(from: &str, to: &Path) {
    std::fs::create_dir_all(to.parent().expect("inside the site")).unwrap();
    std::fs::copy(repo(from), to).unwrap();
}

/// A site.
pub(crate) struct Clinic {
    folder: TempDir,
}

impl Clinic {
    /// A site whose settings nobody has approved, and nothing in its incoming folders.
    pub(crate) fn bare() -> Self {
        let folder = TempDir::new().unwrap();
        let clinic = Self { folder };
        let settings = std::fs::read_to_string(repo("demo-data/clinic/site.toml")).unwrap();
        let request = InitRequest {
            kind: SiteKind::Test,
            name: "Elmhaven Eye Unit (test)",
            zone: "Europe/Paris",
            authority_key: clinic.path("authority.key.pem"),
            site_toml: Some(settings.replace("kind = \"demo\"", "kind = \"test\"")),
        };
        init(&clinic.root(), &request, NOW.parse().unwrap()).unwrap();
        for name in ["halden-k2", "orrin-b1", "quell-a4", "theatre-list"] {
            copy(&format!("templates/mappings/{name}.toml"), &clinic.file(&format!("mappings/{name}.toml")));
        }
        copy("demo-data/lenses/tarn-t.toml", &clinic.file("lenses/tarn-t.toml"));
        for name in ["imara-vost", "oskar-lindqvale"] {
            copy(&format!("demo-data/surgeons/{name}.toml"), &clinic.file(&format!("surgeons/{name}.toml")));
        }
        clinic
    }

    /// The same with approved settings.
    pub(crate) fn new() -> Self {
        let clinic = Self::bare();
        clinic.approve();
        clinic
    }

    /// With approved settings, two exports and a list of the right eye: its sheet is out.
    pub(crate) fn released() -> Self {
        let clinic = Self::new();
        clinic.both_instruments();
        clinic.list("list-a.csv", &["B-3101"], |line| line);
        let done = clinic.once();
        assert_eq!(done.code, 0, "{done:?}");
        clinic
    }

    pub(crate) fn root(&self) -> PathBuf {
        self.path("site")
    }

    /// A path beside the site.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// A path in the site.
    pub(crate) fn file(&self, name: &str) -> PathBuf {
        self.root().join(name)
    }

    pub(crate) fn site(&self) -> String {
        self.root().display().to_string()
    }

    pub(crate) fn both_instruments(&self) {
        self.keratometer();
        self.biometer();
    }

    pub(crate) fn keratometer(&self) {
        let name = "incoming/halden-k2/K2_EL-20417_B_20260302.csv";
        copy(&format!("demo-data/clinic/{name}"), &self.file(name));
    }

    pub(crate) fn biometer(&self) {
        let name = "incoming/orrin-b1/B1_EL-20417_20260302.txt";
        copy(&format!("demo-data/clinic/{name}"), &self.file(name));
    }

    /// Drops a list with these bookings, each line changed by `edit`.
    pub(crate) fn list(&self, name: &str, bookings: &[&str], edit: impl Fn(String) -> String) {
        let whole =
            std::fs::read_to_string(repo("demo-data/clinic/incoming/theatre-lists/theatre2_2026-03-10.csv"))
                .unwrap();
        let wanted = |line: &&str| {
            line.starts_with("Booking,")
                || bookings.iter().any(|booking| line.starts_with(&format!("{booking},")))
        };
        let lines: String = whole.lines().filter(wanted).map(|line| edit(line.to_owned()) + "\n").collect();
        self.write(&format!("incoming/theatre-lists/{name}"), lines.as_bytes());
    }

    pub(crate) fn write(&self, name: &str, bytes: &[u8]) {
        let path = self.file(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }

    /// Changes a text of the site.
    pub(crate) fn edit(&self, name: &str, from: &str, to: &str) {
        let text = std::fs::read_to_string(self.file(name)).unwrap();
        assert!(text.contains(from), "{name} holds no `{from}`");
        std::fs::write(self.file(name), text.replacen(from, to, 1)).unwrap();
    }

    /// A command on this site at [`NOW`].
    pub(crate) fn at_now(&self, arguments: &[&str]) -> Done {
        let site = self.site();
        let mut all = arguments.to_vec();
        all.extend(["--site", &site, "--now", NOW]);
        run(&all)
    }

    /// A command on this site that takes no time.
    pub(crate) fn on(&self, arguments: &[&str]) -> Done {
        let site = self.site();
        let mut all = arguments.to_vec();
        all.extend(["--site", &site]);
        run(&all)
    }

    pub(crate) fn approve(&self) -> Done {
        self.at_now(&["settings", "approve", "--by", "Ines Test"]).exits(0)
    }

    pub(crate) fn once(&self) -> Done {
        self.at_now(&["once"])
    }

    pub(crate) fn cases(&self) -> Vec<Value> {
        self.at_now(&["cases", "--json"]).json().as_array().unwrap().clone()
    }

    /// The one case.
    pub(crate) fn case(&self) -> Value {
        let cases = self.cases();
        assert_eq!(cases.len(), 1, "{cases:?}");
        cases[0].clone()
    }

    /// Id of the one case.
    pub(crate) fn id(&self) -> String {
        self.case()["case"].as_str().unwrap().to_owned()
    }

    /// The current sheet of the one case.
    pub(crate) fn sheet(&self) -> PathBuf {
        self.file(self.case()["sheet"].as_str().unwrap_or_else(|| panic!("no sheet: {:?}", self.case())))
    }
}
