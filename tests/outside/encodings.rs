//! The encodings of mapping templates against Python's codecs and iconv.

use std::process::Command;

use axiswright::intake::{Brings, Content, FolderRules, Input, Template, read};
use axiswright::model::Digest;
use data_encoding::BASE64;
use jiff::civil::date;
use serde_json::{Value, json};

use crate::found::{folder, lines, program, script};

/// The word of a template, Python's codec, iconv's name, and whether a character has more than one byte.
const ENCODINGS: [(&str, &str, &str, bool); 9] = [
    ("windows-1250", "cp1250", "CP1250", false),
    ("windows-1251", "cp1251", "CP1251", false),
    ("windows-1252", "cp1252", "CP1252", false),
    ("iso-8859-2", "iso8859_2", "ISO-8859-2", false),
    ("iso-8859-15", "iso8859_15", "ISO-8859-15", false),
    ("cp850", "cp850", "CP850", false),
    ("shift_jis", "cp932", "CP932", true),
    ("euc-jp", "euc_jp", "EUC-JP", true),
    ("gb18030", "gb18030", "GB18030", true),
];

fn template(encoding: &str) -> Template {
    let text = format!(
        "schema = 1\nid = \"e\"\nrevision = 1\nbrings = \"lists\"\n[match]\nmax_bytes = 4194304\n[text]\nencoding = \"{encoding}\"\n[csv]\ndelimiter = \";\"\n[layout]\nkind = \"row_per_entry\"\neye_map = {{ right = [\"R\"], left = [\"L\"] }}\n[list]\ncomplete = false\n[[field]]\nto = \"patient.number\"\nfrom = \"No\"\n[[field]]\nto = \"list.booking\"\nfrom = \"Booking\"\n[[field]]\nto = \"list.eye\"\nfrom = \"Eye\"\n"
    );
    Template::new(&toml::from_str(&text).unwrap(), Digest::of(text.as_bytes())).unwrap()
}

/// The bytes of a list whose bookings are these characters, and the characters.
fn list_of(pairs: &Value) -> (Vec<u8>, Vec<String>) {
    let mut bytes = b"No;Booking;Eye\n".to_vec();
    let mut texts = Vec::new();
    for (number, pair) in pairs.as_array().unwrap().iter().enumerate() {
        bytes.extend(format!("T-{number};x").bytes());
        bytes.extend(BASE64.decode(pair[0].as_str().unwrap().as_bytes()).unwrap());
        bytes.extend(b"x;R\n");
        texts.push(format!("x{}x", pair[1].as_str().unwrap()));
    }
    (bytes, texts)
}

/// The bookings of a list in an encoding.
fn bookings(bytes: &[u8], encoding: &str) -> Vec<String> {
    let folder = FolderRules::undeclared(Brings::Lists);
    let input = Input { bytes, name: "x.csv", folder: &folder, today: date(2026, 3, 5), reports: &[] };
    let read =
        read(&input, &[template(encoding)]).unwrap_or_else(|e| panic!("{encoding}: {e} {}", e.place()));
    let Content::List(list) = read.content else { panic!("no list") };
    list.entries.into_iter().map(|entry| entry.booking.unwrap().value).collect()
}

fn written() -> Option<Vec<Value>> {
    let asked = ENCODINGS.iter().map(|(_, codec, _, wide)| json!({ "codec": codec, "wide": wide }));
    script("encoded.py", &[], &lines(asked), "encodings against Python")
}

/// Source: Python's codecs, by `encoded.py`.
/// Checked: every single byte that is a character, and of the wide encodings some 3,000 characters each.
#[test]
fn every_character_is_that_of_a_second_decoder() {
    let Some(answers) = written() else { return };
    for ((encoding, ..), pairs) in ENCODINGS.iter().zip(&answers) {
        let (bytes, texts) = list_of(pairs);
        assert_eq!(bookings(&bytes, encoding), texts, "{encoding}");
        assert!(texts.len() > 90, "{encoding}: {}", texts.len());
    }
}

/// Source: iconv.
/// Checked: the same files, turned into UTF-8 by iconv and read as UTF-8; and as the control, that the wrong source
/// encoding gives other text.
#[test]
fn every_character_is_that_of_iconv() {
    let Some(iconv) = program("iconv", "libc-bin", "encodings against iconv") else { return };
    let Some(answers) = written() else { return };
    let folder = folder("encodings");
    for ((encoding, _, name, _), pairs) in ENCODINGS.iter().zip(&answers) {
        let (bytes, _) = list_of(pairs);
        let file = folder.join(encoding);
        std::fs::write(&file, &bytes).unwrap();
        let as_utf8 = |from: &str| {
            let output =
                Command::new(&iconv).args(["-c", "-f", from, "-t", "UTF-8"]).arg(&file).output().unwrap();
            output.stdout
        };
        let ours = bookings(&bytes, encoding);
        assert!(ours == bookings(&as_utf8(name), "utf-8"), "{encoding}");
        assert!(as_utf8(name) != as_utf8("LATIN1"), "{encoding} cannot be told from another");
    }
}
