//! Seal and approval by programs that are not ours: poppler's pdfsig with an NSS database, pyHanko, qpdf.
//!
//! What the outside programs say of a tampered file is recorded here as it is: some of them call it valid. The product's
//! own verdict refuses every one.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use axiswright::bridge::{Site, State, look};

use crate::demo::{NOW, copy_of_demo, demo, now, pdfs, sheets};
use crate::found::{Said, axiswright, folder, program, run, run_with};

const WHAT: &str = "seal and approval by other programs";
const PASSPHRASE: &str = "nine grey herons over Elmhaven";

fn authority(root: &Path) -> PathBuf {
    root.join("site/keys/authority.crt.pem")
}

/// pdfsig with a database that trusts one authority.
struct Pdfsig {
    tool: PathBuf,
    database: String,
}

impl Pdfsig {
    fn trusting(name: &str, authority: &Path) -> Option<Self> {
        let tool = program("pdfsig", "poppler-utils", WHAT)?;
        let certutil = program("certutil", "libnss3-tools", WHAT)?;
        let database = format!("sql:{}", folder(name).display());
        let made = run(Command::new(&certutil).args(["-N", "--empty-password", "-d", &database]));
        assert_eq!(made.code, Some(0), "{}", made.all());
        let added = run(Command::new(&certutil)
            .args(["-A", "-n", "authority", "-t", "CT,C,C", "-d", &database, "-i"])
            .arg(authority));
        assert_eq!(added.code, Some(0), "{}", added.all());
        Some(Self { tool, database })
    }

    /// What it says of each signature, the seal first.
    fn say(&self, pdf: &Path) -> Vec<String> {
        // Not `-no-ocsp`: pdfsig 22.12 then trusts no certificate. Ours name no address to ask.
        let said = run(Command::new(&self.tool).args(["-nssdir", &self.database]).arg(pdf));
        let fields = said.out.split("Signature #").skip(1);
        fields.filter(|field| !field.contains("form field is not signed")).map(str::to_owned).collect()
    }
}

fn says(signature: &str, line: &str) -> bool {
    signature.lines().any(|said| said.trim_start_matches([' ', '-']) == line)
}

fn is_sound(signature: &str) -> bool {
    says(signature, "Signature Validation: Signature is Valid.")
        && says(signature, "Certificate Validation: Certificate is Trusted.")
}

struct PyHanko {
    tool: PathBuf,
    trust: PathBuf,
}

impl PyHanko {
    fn trusting(authority: &Path) -> Option<Self> {
        let tool = program("pyhanko", "pyhanko-cli, in .venv", WHAT)?;
        Some(Self { tool, trust: authority.to_owned() })
    }

    fn say(&self, pdf: &Path) -> Said {
        run(Command::new(&self.tool)
            .args([
                "sign",
                "validate",
                "--pretty-print",
                "--no-revocation-check",
                "--trust-replace",
                "--trust",
            ])
            .arg(&self.trust)
            .arg(pdf))
    }
}

/// What our own command says, with the authority of a site as the only one that is trusted: 0 intact, 1 signer not
/// trusted, 2 altered.
fn verdict(pdf: &Path, authority: &Path) -> Said {
    run(axiswright().arg("verify").arg(pdf).arg("--trust").arg(authority))
}

/// A sheet that a surgeon approved with a key of their own: account, answer and approval by the command line, with the
/// passphrase on standard input.
fn approved() -> &'static Path {
    static APPROVED: OnceLock<PathBuf> = OnceLock::new();
    APPROVED.get_or_init(|| {
        let root = copy_of_demo("approval");
        let dir = root.join("site");
        let added = run_with(
            axiswright()
                .args(["user", "add", "vost", "--name", "Dr. Imara Vost", "--role", "surgeon", "--now", NOW])
                .arg("--authority-key")
                .arg(root.join("authority-of-this-demo.key.pem"))
                .arg("--site")
                .arg(&dir),
            &format!("{PASSPHRASE}\n{PASSPHRASE}\n"),
        );
        assert_eq!(added.code, Some(0), "{}", added.all());
        let mut site = Site::open(&dir).unwrap();
        let look = look(&mut site, now()).unwrap();
        let (case, finding) = look
            .weighing
            .cases
            .iter()
            .filter(|weighed| weighed.state() == State::Held)
            .find_map(|weighed| {
                let open: Vec<_> = weighed.considered.open().collect();
                (open.len() == 1).then(|| (weighed.id().to_string(), open[0].fingerprint().to_string()))
            })
            .unwrap();
        drop(site);
        let said = run_with(
            axiswright()
                .args(["answer", &case, "--login", "vost", "--approve", "--now", NOW, "--finding", &finding])
                .args(["--reason", "compared with the device's own screen"])
                .arg("--site")
                .arg(&dir),
            &format!("{PASSPHRASE}\n"),
        );
        assert_eq!(said.code, Some(0), "{}", said.all());
        pdfs(&dir.join("sheets"))
            .into_iter()
            .find(|pdf| pdf.file_name().unwrap().to_string_lossy().starts_with(&case))
            .unwrap()
    })
}

/// Source: poppler `pdfsig`, NSS `certutil`.
/// Checked: every sheet of the demo has one signature, valid, trusted through the site's authority, over the total document.
#[test]
fn pdfsig_trusts_every_seal() {
    let Some(pdfsig) = Pdfsig::trusting("nss-seals", &authority(demo())) else { return };
    for pdf in sheets() {
        let said = pdfsig.say(&pdf);
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(is_sound(&said[0]) && says(&said[0], "Total document signed"), "{}", said[0]);
        assert!(says(&said[0], "Signature Type: ETSI.CAdES.detached"), "{}", said[0]);
        assert!(says(&said[0], "Signing Hash Algorithm: SHA-256"), "{}", said[0]);
    }
}

/// Source: pyHanko 0.38, `sign validate`.
/// Checked: exit code 0 and the bottom line for every sheet of the demo.
#[test]
fn pyhanko_trusts_every_seal() {
    let Some(pyhanko) = PyHanko::trusting(&authority(demo())) else { return };
    for pdf in sheets() {
        let said = pyhanko.say(&pdf);
        assert_eq!(said.code, Some(0), "{}", said.all());
        assert!(said.out.contains("The signature is judged VALID."), "{}", said.all());
    }
}

/// Source: qpdf `--check`.
/// Checked: every sheet and slip of the demo, and the approved sheet, without an error or a warning.
#[test]
fn qpdf_finds_no_fault() {
    let Some(qpdf) = program("qpdf", "qpdf", WHAT) else { return };
    let mut files = sheets();
    files.extend(crate::demo::slips());
    files.push(approved().to_owned());
    for pdf in files {
        let said = run(Command::new(&qpdf).arg("--check").arg(&pdf));
        assert_eq!(said.code, Some(0), "{}", said.all());
        assert!(said.out.contains("No syntax or stream encoding errors found"), "{}", said.all());
    }
}

/// Source: poppler `pdfsig`, pyHanko 0.38.
/// Checked: on a sheet approved with the surgeon's own key both signatures are valid and trusted, by both programs and by
/// our own verdict.
#[test]
fn seal_and_approval_are_both_valid() {
    let pdf = approved();
    let trust = authority(demo());
    let own = verdict(pdf, &trust);
    assert_eq!(own.code, Some(0), "{}", own.all());
    if let Some(pdfsig) = Pdfsig::trusting("nss-approval", &trust) {
        let said = pdfsig.say(pdf);
        assert_eq!(said.len(), 2, "{said:?}");
        assert!(said.iter().all(|signature| is_sound(signature)), "{said:?}");
        assert!(said[1].contains("Dr. Imara Vost") && says(&said[1], "Total document signed"), "{}", said[1]);
        assert!(says(&said[0], "Not total document signed"), "{}", said[0]);
    }
    if let Some(pyhanko) = PyHanko::trusting(&trust) {
        let said = pyhanko.say(pdf);
        assert_eq!(said.code, Some(0), "{}", said.all());
        assert_eq!(said.out.matches("The signature is judged VALID.").count(), 2, "{}", said.all());
    }
}

/// The text of an object in its newest form.
fn object(pdf: &[u8], number: u32) -> String {
    let head = format!("\n{number} 0 obj\n");
    let at = pdf.windows(head.len()).rposition(|window| window == head.as_bytes()).unwrap() + head.len();
    let text = String::from_utf8_lossy(&pdf[at..]).into_owned();
    text[..text.find("\nendobj").unwrap()].to_owned()
}

/// The first page and its content, as object numbers.
fn first_page(pdf: &[u8]) -> (u32, u32) {
    let document = lopdf::Document::load_mem(pdf).unwrap();
    let page = document.get_pages()[&1];
    (page.0, document.get_page_contents(page)[0].0)
}

/// Appends an incremental update in the program's own form.
fn update(pdf: &[u8], objects: &[(u32, String)]) -> Vec<u8> {
    let text = String::from_utf8_lossy(pdf);
    let previous: usize =
        text.rsplit("startxref\n").next().unwrap().split('\n').next().unwrap().parse().unwrap();
    let trailer = text.rsplit("trailer\n<<").next().unwrap().split(">>\nstartxref").next().unwrap();
    let (before, after) = trailer.split_once("/Size ").unwrap();
    let size: u32 = after.split('/').next().unwrap().parse().unwrap();
    let id = after.split_once("/ID").unwrap().1.split_once(']').unwrap().0;
    let mut out = pdf.to_vec();
    let (mut table, mut largest) = (
        vec![
            "xref
"
            .to_owned(),
        ],
        size,
    );
    for (number, object) in objects {
        table.push(format!("{number} 1\n{:010} 00000 n\r\n", out.len()));
        out.extend_from_slice(format!("{number} 0 obj\n{object}\nendobj\n").as_bytes());
        largest = largest.max(number + 1);
    }
    let at = out.len();
    out.extend_from_slice(
        format!(
            "{}trailer\n<<{before}/Size {largest}/ID{id}]/Prev {previous}>>\nstartxref\n{at}\n%%EOF\n",
            table.concat()
        )
        .as_bytes(),
    );
    out
}

fn size(pdf: &[u8]) -> u32 {
    let text = String::from_utf8_lossy(pdf);
    let digits = text.rsplit("/Size ").next().unwrap();
    digits[..digits.find(|c: char| !c.is_ascii_digit()).unwrap()].parse().unwrap()
}

/// One changed bit in the content of the first page.
fn flipped(pdf: &[u8]) -> Vec<u8> {
    let (_, content) = first_page(pdf);
    let head = format!("\n{content} 0 obj\n");
    let at = pdf.windows(head.len()).position(|window| window == head.as_bytes()).unwrap();
    let mut out = pdf.to_vec();
    out[at + 400] ^= 0x01;
    out
}

fn replaced(pdf: &[u8]) -> Vec<u8> {
    let (_, content) = first_page(pdf);
    let other = "0.5 g 100 400 300 200 re f";
    update(pdf, &[(content, format!("<</Length {}>>stream\n{other}\nendstream", other.len()))])
}

fn annotated(pdf: &[u8]) -> Vec<u8> {
    let (page, _) = first_page(pdf);
    let next = size(pdf);
    let with = object(pdf, page).replace("/Annots[", &format!("/Annots[{next} 0 R "));
    assert_ne!(with, object(pdf, page));
    let note = "<</Type/Annot/Subtype/Square/Rect[100 400 400 600]/IC[1 1 1]/F 4/Contents(Axis 008)>>";
    update(pdf, &[(page, with), (next, note.to_owned())])
}

/// Source: poppler `pdfsig`, pyHanko 0.38, qpdf.
/// Checked: our verdict refuses each tampered file, pyHanko too; pdfsig calls the seal of an updated file valid and says only
/// that the total document is not signed; qpdf sees nothing in any update. The control is the file as it was.
#[test]
fn tampered_files_are_refused() {
    let trust = authority(demo());
    let Some(pdfsig) = Pdfsig::trusting("nss-tampered", &trust) else { return };
    let (Some(pyhanko), Some(qpdf)) = (PyHanko::trusting(&trust), program("qpdf", "qpdf", WHAT)) else {
        return;
    };
    let folder = folder("tampered");
    type Tamper = fn(&[u8]) -> Vec<u8>;
    let ways: [(&str, Tamper); 3] =
        [("one bit flipped", flipped), ("content replaced", replaced), ("annotation added", annotated)];
    for (kind, whole) in [("sealed", sheets()[0].clone()), ("approved", approved().to_owned())] {
        assert_eq!(verdict(&whole, &trust).code, Some(0));
        let whole = std::fs::read(whole).unwrap();
        for (way, tamper) in ways {
            let bytes = tamper(&whole);
            let pdf = folder.join(format!("{kind}-{}.pdf", way.replace(' ', "-")));
            std::fs::write(&pdf, &bytes).unwrap();
            let own = verdict(&pdf, &trust);
            assert_eq!(own.code, Some(2), "{kind}, {way}: {}", own.all());
            let said = pdfsig.say(&pdf);
            let seal_valid = says(&said[0], "Signature Validation: Signature is Valid.");
            let last_total = says(said.last().unwrap(), "Total document signed");
            let theirs = pyhanko.say(&pdf);
            let check = run(Command::new(&qpdf).arg("--check").arg(&pdf));
            eprintln!(
                "{kind}, {way}: our verify exit {:?}; pdfsig: seal {}, {}; pyHanko exit {:?}; qpdf exit {:?}",
                own.code,
                if seal_valid { "valid" } else { "not valid" },
                if last_total { "total document signed" } else { "not total document signed" },
                theirs.code,
                check.code
            );
            assert_eq!(theirs.code, Some(1), "{}", theirs.all());
            if way == "one bit flipped" {
                assert!(says(&said[0], "Signature Validation: Digest Mismatch."), "{}", said[0]);
                assert!(theirs.out.contains("INVALID"), "{}", theirs.all());
            } else {
                assert!(seal_valid && !last_total, "{said:?}");
                assert_eq!(check.code, Some(0), "{}", check.all());
            }
        }
    }
}

/// Source: poppler `pdfsig`, pyHanko 0.38.
/// Checked: a sheet of another site of the same name is whole and valid, and its signer is trusted by nobody here.
#[test]
fn a_forged_sheet_has_a_stranger_as_signer() {
    let forged = folder("forger");
    let said = run(axiswright().args(["demo", "--now", NOW, "--out"]).arg(&forged));
    assert_eq!(said.code, Some(1), "{}", said.all());
    let pdf = pdfs(&forged.join("site/sheets")).remove(0);
    assert_eq!(verdict(&pdf, &authority(demo())).code, Some(1));
    assert_eq!(verdict(&pdf, &authority(&forged)).code, Some(0));
    if let Some(pdfsig) = Pdfsig::trusting("nss-forged", &authority(demo())) {
        let said = pdfsig.say(&pdf);
        assert!(says(&said[0], "Signature Validation: Signature is Valid."), "{}", said[0]);
        assert!(!is_sound(&said[0]), "{}", said[0]);
        eprintln!("{}", said[0].lines().find(|line| line.contains("Certificate Validation")).unwrap().trim());
    }
    if let Some(pyhanko) = PyHanko::trusting(&authority(demo())) {
        let said = pyhanko.say(&pdf);
        assert_eq!(said.code, Some(1), "{}", said.all());
        assert!(said.out.contains("The signature is cryptographically sound."), "{}", said.all());
        assert!(said.out.contains("The signer's certificate is untrusted."), "{}", said.all());
    }
}
