//! Formats that bring single readings, from the folder to the sealed sheet.

use axiswright::bridge::State;
use axiswright::model::Eye;

use crate::clinic::{Clinic, exports, open_codes, texts};

const ODILE: &str = "EL-20417";

fn put(text: &mut String, more: core::fmt::Arguments<'_>) {
    text.push_str(&more.to_string());
}

/// Flat and steep radius with their meridians.
type K = (f64, u32, f64, u32);

const RIGHT: [K; 3] = [(7.92, 8, 7.49, 98), (7.92, 9, 7.48, 99), (7.93, 7, 7.49, 97)];
const LEFT: [K; 3] = [(7.88, 172, 7.56, 82), (7.89, 171, 7.56, 81), (7.88, 173, 7.55, 83)];

/// Odile's keratometry as rows of readings, in Shift_JIS.
fn rows() -> Vec<u8> {
    let mut text = "患者番号,氏名,生年月日,眼,回,測定日時,R1(mm),軸1(°),R2(mm),軸2(°),状態\r\n".to_owned();
    for (eye, readings) in [("右", RIGHT), ("左", LEFT)] {
        for (number, (flat, at, steep, steep_at)) in (1..).zip(readings) {
            put(
                &mut text,
                format_args!(
                    "{ODILE},\"Marrin, Odile\",1953/04/17,{eye},{number},2026/03/02 09:02:3{number},{flat},{at},{steep},{steep_at},\r\n"
                ),
            );
        }
    }
    encoding_rs::SHIFT_JIS.encode(&text).0.into_owned()
}

/// The same in the JOIA format: the first reading as the median, or no median at all.
fn joia(median: bool) -> String {
    let mut text = "<?xml version=\"1.0\" encoding=\"UTF-8\"?><Ophthalmology xmlns:c=\"http://www.joia.or.jp/standardized/namespaces/Common\" xmlns:k=\"http://www.joia.or.jp/standardized/namespaces/KM\"><c:Common><c:Company>WREN</c:Company><c:ModelName>J-3</c:ModelName><c:Date>2026-03-02</c:Date><c:Time>09:02:30</c:Time><c:Patient>".to_owned();
    put(
        &mut text,
        format_args!(
            "<c:ID>{ODILE}</c:ID><c:FirstName>Odile</c:FirstName><c:LastName>Marrin</c:LastName><c:DOB>1953-04-17</c:DOB></c:Patient></c:Common><k:Measure type=\"KM\"><k:KM>"
        ),
    );
    let meridian = |name: &str, radius: f64, at: u32| {
        format!(
            "<k:{name}><k:Radius unit=\"mm\">{radius}</k:Radius><k:Axis unit=\"deg\">{at}</k:Axis></k:{name}>"
        )
    };
    for (eye, readings) in [("R", RIGHT), ("L", LEFT)] {
        put(&mut text, format_args!("<k:{eye}>"));
        for (number, (flat, at, steep, steep_at)) in (1..).zip(readings) {
            let both = meridian("R1", flat, at) + &meridian("R2", steep, steep_at);
            put(&mut text, format_args!("<k:List No=\"{number}\">{both}</k:List>"));
            if median && number == 3 {
                put(&mut text, format_args!("<k:Median>{both}</k:Median>"));
            }
        }
        put(&mut text, format_args!("</k:{eye}>"));
    }
    text + "</k:KM></k:Measure></Ophthalmology>"
}

#[test]
fn readings_come_to_a_sheet() {
    for (name, bytes, words) in [
        ("t.csv", rows(), "mean of the readings"),
        ("m.xml", joia(true).into_bytes(), "values are medians field by field"),
        ("l.xml", joia(false).into_bytes(), "mean of the readings"),
    ] {
        let index = "index = 1.3375\ntemplates = [\"halden-k2\", \"tarn-k6\"]";
        let mut clinic = Clinic::laid_out(|text| text.replacen("templates = [\"halden-k2\"]", index, 1));
        for (folder, file, exported) in exports() {
            if folder != "halden-k2" || !file.contains(ODILE) {
                clinic.put(&folder, file, exported);
            }
        }
        clinic.put("halden-k2", name, &bytes);
        let _ = clinic.pass();
        let case = clinic.case(ODILE, Eye::Right);
        assert_eq!((case.state(), open_codes(&case)), (State::Released, Vec::new()), "{name}");
        let id = clinic.id(ODILE, Eye::Right);
        let sheets = clinic.sheets();
        let (_, sheet) = sheets.iter().find(|(path, _)| path.contains(id.as_str())).unwrap();
        let printed = texts(sheet).concat().join(" ");
        assert!(printed.contains(words), "{name}: {printed}");
        assert!(printed.contains("3 readings"), "{name}");
    }
}
