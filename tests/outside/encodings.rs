//! The encodings of mapping templates against Python's codecs.

use axiswright::intake::{Brings, Content, FolderRules, Input, Template, read};
use axiswright::model::Digest;
use data_encoding::BASE64;
use jiff::civil::date;
use serde_json::json;

use crate::found::{lines, script};

/// The word of a template, Python's codec, and whether a character has more than one byte.
const ENCODINGS: [(&str, &str, bool); 9] = [
    ("windows-1250", "cp1250", false),
    ("windows-1251", "cp1251", false),
    ("windows-1252", "cp1252", false),
    ("iso-8859-2", "iso8859_2", false),
    ("iso-8859-15", "iso8859_15", false),
    ("cp850", "cp850", false),
    ("shift_jis", "cp932", true),
    ("euc-jp", "euc_jp", true),
    ("gb18030", "gb18030", true),
];

fn template(encoding: &str) -> Template {
    let text = format!(
        "schema = 1\nid = \"e\"\nrevision = 1\nbrings = \"lists\"\n[match]\nmax_bytes = 4194304\n[text]\nencoding = \"{encoding}\"\n[csv]\ndelimiter = \";\"\n[layout]\nkind = \"row_per_entry\"\neye_map = {{ right = [\"R\"], left = [\"L\"] }}\n[list]\ncomplete = false\n[[field]]\nto = \"patient.number\"\nfrom = \"No\"\n[[field]]\nto = \"list.booking\"\nfrom = \"Booking\"\n[[field]]\nto = \"list.eye\"\nfrom = \"Eye\"\n"
    );
    Template::new(&toml::from_str(&text).unwrap(), Digest::of(text.as_bytes())).unwrap()
}

/// Source: Python's codecs, by `encoded.py`.
/// Checked: every single byte that is a character, and of the wide encodings some 3,000 characters each.
#[test]
fn every_character_is_that_of_a_second_decoder() {
    let asked = ENCODINGS.iter().map(|(_, codec, wide)| json!({ "codec": codec, "wide": wide }));
    let Some(answers) = script("encoded.py", &[], &lines(asked), "encodings against Python") else { return };
    for ((encoding, ..), pairs) in ENCODINGS.iter().zip(&answers) {
        let pairs = pairs.as_array().unwrap();
        let mut bytes = b"No;Booking;Eye\n".to_vec();
        for (number, pair) in pairs.iter().enumerate() {
            bytes.extend(format!("T-{number};x").bytes());
            bytes.extend(BASE64.decode(pair[0].as_str().unwrap().as_bytes()).unwrap());
            bytes.extend(b"x;R\n");
        }
        let folder = FolderRules::undeclared(Brings::Lists);
        let input =
            Input { bytes: &bytes, name: "x.csv", folder: &folder, today: date(2026, 3, 5), reports: &[] };
        let read =
            read(&input, &[template(encoding)]).unwrap_or_else(|e| panic!("{encoding}: {e} {}", e.place()));
        let Content::List(list) = read.content else { panic!("no list") };
        assert_eq!(list.entries.len(), pairs.len());
        for (entry, pair) in list.entries.iter().zip(pairs) {
            let text = format!("x{}x", pair[1].as_str().unwrap());
            assert_eq!(entry.booking.as_ref().unwrap().value, text, "{encoding}");
        }
        assert!(pairs.len() > 90, "{encoding}: {}", pairs.len());
    }
}
