//! Every committed file against the manifest.

use std::collections::{BTreeMap, BTreeSet};

use axiswright::intake::{Brings, FolderRules, Read};
use axiswright::model::{
    ChamberDepthFrom, Exam, ExternalPrediction, Eye, InstrumentClass, Place, Reading, Spot,
};
use serde_json::Value;

use crate::{bytes_of, exam, read, read_in};

fn manifest() -> BTreeMap<String, Value> {
    serde_json::from_slice(&bytes_of("manifest.json")).unwrap()
}

fn path_of(place: &Place) -> String {
    match place {
        Place::File { spot: Spot::Tag(path), .. } => path.clone(),
        Place::File { spot, .. } => spot.to_string(),
        Place::Person { .. } => panic!("a file names no person as a place"),
    }
}

/// Every measured value of an exam by the path it came from, and the eye it landed in.
fn values(exam: &Exam) -> BTreeMap<String, (Eye, f64)> {
    fn add(into: &mut BTreeMap<String, (Eye, f64)>, eye: Eye, place: &Place, value: f64) {
        assert!(into.insert(path_of(place), (eye, value)).is_none(), "{place} twice");
    }
    let mut all = BTreeMap::new();
    for (eye, of_eye) in exam.eyes.iter() {
        let Some(of_eye) = of_eye else { continue };
        for k in &of_eye.keratometry {
            for m in [&k.flat, &k.steep] {
                if let Some(r) = &m.radius {
                    add(&mut all, eye, &r.place, r.value.millimetres());
                }
                if let Some(r) = &m.power {
                    add(&mut all, eye, &r.place, r.value.dioptres());
                }
                if let Some(r) = &m.meridian {
                    add(&mut all, eye, &r.place, r.value.degrees());
                }
            }
            // A report has elements for both; elsewhere an index is declared or implied.
            let of_report =
                |r: &&Reading<_>| r.decimals.is_some() && path_of(&r.place).contains("(0040,A300)");
            if let Some(r) = k.index.as_ref().filter(of_report) {
                add(&mut all, eye, &r.place, r.value.index());
            }
            if let Some(r) = &k.zone {
                add(&mut all, eye, &r.place, r.value.millimetres());
            }
        }
        if let Some(r) = &of_eye.refraction {
            add(&mut all, eye, &r.sphere.place, r.sphere.value.dioptres());
            if let Some(r) = &r.cylinder {
                add(&mut all, eye, &r.place, r.value.dioptres());
            }
            if let Some(r) = &r.axis {
                add(&mut all, eye, &r.place, r.value.degrees());
            }
        }
        if let Some(a) = &of_eye.axial {
            for r in [&a.length, &a.depth, &a.lens, &a.white].into_iter().flatten() {
                add(&mut all, eye, &r.place, r.value.millimetres());
            }
            if let Some(r) = &a.cornea {
                add(&mut all, eye, &r.place, r.value.micrometres() / 1000.0);
            }
        }
    }
    all
}

/// The eye a path belongs to, by its first sequence or, in our reports, the first item; a map is of one eye as a whole.
fn eye_of(path: &str, of_the_map: Option<&str>) -> Eye {
    if path.starts_with("(0040,A730)[1]") {
        return Eye::Right;
    }
    if path.starts_with("(0040,A730)[2]") {
        return Eye::Left;
    }
    if let Some(word) = of_the_map {
        return if word == "right" { Eye::Right } else { Eye::Left };
    }
    match path.split('[').next().unwrap() {
        "(0046,0070)" | "(0022,1007)" | "(0046,0050)" | "(0046,0097)" => Eye::Right,
        "(0046,0071)" | "(0022,1008)" | "(0046,0052)" | "(0046,0098)" => Eye::Left,
        other => panic!("{other} is no block of an eye"),
    }
}

fn text<T>(reading: Option<&Reading<T>>, show: impl Fn(&T) -> String) -> Option<String> {
    reading.map(|reading| show(&reading.value))
}

fn strings(value: &Value) -> Vec<String> {
    value.as_array().unwrap().iter().map(|item| item.as_str().unwrap().to_owned()).collect()
}

fn folder_for(entry: &Value) -> FolderRules {
    FolderRules {
        zone: entry.get("zone").map(|zone| zone.as_str().unwrap().to_owned()),
        index: entry.get("index").and_then(Value::as_f64),
        ..FolderRules::undeclared(Brings::Measurements)
    }
}

fn compare(name: &str, entry: &Value, read: &Read) {
    let exam = exam(read);
    let found = values(exam);
    let expected: BTreeMap<String, f64> =
        entry["values"].as_object().unwrap().iter().map(|(k, v)| (k.clone(), v.as_f64().unwrap())).collect();
    let paths: (BTreeSet<&String>, BTreeSet<&String>) = (found.keys().collect(), expected.keys().collect());
    assert_eq!(paths.0, paths.1, "{name}");
    for (path, (eye, value)) in &found {
        let mut wanted = expected[path];
        if (path.ends_with("(0046,0077)") || path.ends_with("(0022,0009)")) && wanted == 0.0 {
            wanted = 180.0;
        }
        assert!((value - wanted).abs() < 1e-9, "{name} {path}: {value} for {wanted}");
        let within = entry.get("eye_of").and_then(|eyes| eyes.as_object());
        let own = within.and_then(|eyes| eyes.iter().find(|(ending, _)| path.contains(ending.as_str())));
        let wanted = match own {
            Some((_, word)) => {
                if word == "right" {
                    Eye::Right
                } else {
                    Eye::Left
                }
            }
            None => eye_of(path, entry.get("eye").and_then(Value::as_str)),
        };
        assert_eq!(*eye, wanted, "{name} {path}");
    }
    let who = &entry["patient"];
    let is = |key: &str| who[key].as_str().map(str::to_owned);
    let id = &exam.identity;
    assert_eq!(text(id.number.as_ref(), |n| n.as_written().to_owned()), is("number"), "{name}");
    assert_eq!(text(id.authority.as_ref(), Clone::clone), is("authority"), "{name}");
    let of_name = |part: fn(&axiswright::model::PersonName) -> String| {
        id.name.as_ref().map(|reading| part(&reading.value)).unwrap_or_default()
    };
    assert_eq!(Some(of_name(|n| n.family.clone())), is("family"), "{name}");
    assert_eq!(Some(of_name(|n| n.given.clone())), is("given"), "{name}");
    assert_eq!(id.name.as_ref().and_then(|n| n.value.other_script.clone()), is("other_script"), "{name}");
    assert_eq!(text(id.birth_date.as_ref(), |d| d.strftime("%Y%m%d").to_string()), is("birth"), "{name}");
    assert_eq!(text(id.sex.as_ref(), |s| s.printed().to_owned()), is("sex"), "{name}");
    assert_eq!(text(exam.uid.as_ref(), Clone::clone), entry["uid"].as_str().map(str::to_owned), "{name}");
    assert_eq!(Some(exam.instrument.key.as_str()), entry["device"].as_str(), "{name}");
    assert!(exam.instrument.serial.is_some(), "{name}");
    let class = match entry["class"].as_str().unwrap() {
        "KER" => InstrumentClass::Keratometer,
        "OAM" | "IOL" => InstrumentClass::Biometer,
        "AR" | "SRF" => InstrumentClass::Refractor,
        "SR" => InstrumentClass::Unknown,
        "OPM" => InstrumentClass::Tomographer,
        other => panic!("{name}: {other}"),
    };
    assert_eq!(exam.instrument.class, class, "{name}");
    compare_more(name, entry, read, exam);
}

fn compare_more(name: &str, entry: &Value, read: &Read, exam: &Exam) {
    if let Some(stated) = entry.get("stated") {
        let found: BTreeMap<String, Vec<String>> = exam
            .stated_eyes
            .iter()
            .map(|r| (path_of(&r.place), r.value.iter().map(|eye| eye.word().to_owned()).collect()))
            .collect();
        let wanted: BTreeMap<String, Vec<String>> =
            stated.as_object().unwrap().iter().map(|(k, v)| (k.clone(), strings(v))).collect();
        assert_eq!(found, wanted, "{name}");
    }
    let codes: Vec<&str> = read.findings.iter().map(|finding| finding.code().reference()).collect();
    let wanted = entry.get("findings").map(strings).unwrap_or_default();
    assert_eq!(codes, wanted, "{name}");
    for note in entry.get("notes").map(strings).unwrap_or_default() {
        let there = read.not_understood.iter().any(|n| n.what.contains(&note) || n.why.contains(&note));
        assert!(there, "{name}: no note `{note}` in {:#?}", read.not_understood);
    }
    if let Some(surgery) = entry.get("surgery") {
        for (eye, of_eye) in exam.eyes.iter() {
            let stated = of_eye.as_ref().and_then(|values| values.corneal_surgery.as_ref());
            let word = stated.map(|reading| reading.value.word());
            assert_eq!(word, surgery.get(eye.word()).and_then(Value::as_str), "{name}");
            assert!(of_eye.as_ref().is_none_or(axiswright::model::EyeExam::is_empty), "{name}");
        }
    }
    if let Some(predictions) = entry.get("predictions") {
        for (eye, of_eye) in exam.predictions.iter() {
            let found: Vec<f64> =
                of_eye.iter().flat_map(ExternalPrediction::values).map(|(_, value)| value).collect();
            let wanted: Vec<f64> = predictions.get(eye.word()).map_or_else(Vec::new, |values| {
                values.as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
            });
            assert_eq!(found, wanted, "{name}");
            for one in of_eye {
                assert_eq!(Some(one.formula.name()), predictions["formula"].as_str(), "{name}");
                let block = if eye == Eye::Right { "(0022,1300)[1]" } else { "(0022,1310)[1]" };
                assert_eq!(path_of(&one.place), block, "{name}");
                let third = format!("{block}/(0022,1090)[3]/(0022,1054)");
                assert_eq!(path_of(&one.predicted[2].refraction.place), third, "{name}");
            }
        }
    }
    if let Some(eyes) = entry.get("eyes") {
        let there = exam.eyes.iter().filter(|(_, values)| values.is_some());
        assert_eq!(there.map(|(eye, _)| eye.word()).collect::<Vec<_>>(), strings(eyes), "{name}");
    }
    if let Some(quality) = entry.get("quality") {
        let eye = exam.eyes.iter().find_map(|(_, eye)| eye.as_ref()).unwrap();
        let found = eye.keratometry[0].quality.as_ref().map(|reading| format!("{:?}", reading.value));
        assert_eq!(found.as_deref(), quality.as_str(), "{name}");
        assert_eq!(
            eye.keratometry[0].method,
            Some(axiswright::model::KeratometryMethod::Simulated),
            "{name}"
        );
    }
    if let Some(instant) = entry.get("instant") {
        let taken = &exam.taken.as_ref().unwrap().value;
        assert_eq!(taken.instant.map(|t| t.to_string()), instant.as_str().map(str::to_owned), "{name}");
    }
    if let Some(local) = entry.get("local") {
        let found = exam.taken.as_ref().map(|reading| reading.value.local.to_string());
        assert_eq!(found, local.as_str().map(str::to_owned), "{name}");
    }
    let eyes: Vec<_> = exam.eyes.iter().map(|(_, eye)| eye.as_ref()).collect();
    let keratometry = |position: usize| eyes[position].map(|eye| &eye.keratometry[0]);
    if let Some(indices) = entry.get("indices") {
        for (position, wanted) in indices.as_array().unwrap().iter().enumerate() {
            let index = keratometry(position).and_then(|k| k.index.as_ref());
            assert_eq!(index.map(|reading| reading.value.index()), wanted.as_f64(), "{name}");
        }
    }
    if let Some(reordered) = entry.get("reordered") {
        for (eye, word) in Eye::BOTH.into_iter().zip(["right", "left"]) {
            let is = exam.eyes.of(eye).as_ref().is_some_and(|eye| eye.keratometry[0].reordered);
            assert_eq!(is, strings(reordered).iter().any(|w| w == word), "{name}");
        }
    }
    let axial = |position: usize| eyes[position].and_then(|eye| eye.axial.as_ref()).unwrap();
    if let Some(method) = entry.get("method") {
        for position in 0..2 {
            assert_eq!(
                axial(position).method.map(axiswright::model::LengthMethod::word),
                method.as_str(),
                "{name}"
            );
        }
    }
    if let Some(from) = entry.get("depth_from") {
        let word = |from| match from {
            ChamberDepthFrom::CornealFront => "front",
            ChamberDepthFrom::CornealBack => "back",
        };
        assert_eq!(axial(0).depth_from.map(word), from.as_str(), "{name}");
    }
    if let Some(method) = entry.get("method_of_k") {
        let found = keratometry(0).and_then(|k| k.method).map(|method| format!("{method:?}"));
        assert_eq!(found.as_deref(), method.as_str(), "{name}");
    }
    if let Some(surface) = entry.get("surface") {
        assert_eq!(keratometry(0).map(|k| k.surface.word()), surface.as_str(), "{name}");
    }
    if let Some(spreads) = entry.get("spreads") {
        for (position, wanted) in spreads.as_array().unwrap().iter().enumerate() {
            let spread = axial(position).spread.as_ref().map(|reading| reading.value.millimetres());
            assert_eq!(spread, wanted.as_f64(), "{name}");
        }
    }
    if let Some(statuses) = entry.get("lens_status") {
        for (position, wanted) in strings(statuses).iter().enumerate() {
            let status = eyes[position].and_then(|eye| eye.lens_status.as_ref()).unwrap();
            assert_eq!(status.value.word(), wanted, "{name}");
        }
    }
}

#[test]
fn every_file_is_read_as_pydicom_reads_it_or_refused_with_its_reason() {
    let (mut good, mut bad) = (0, 0);
    for (name, entry) in manifest() {
        let bytes = bytes_of(&format!("files/{name}.dcm"));
        let result = read_in(&bytes, &folder_for(&entry));
        if let Some(refused) = entry.get("refused") {
            let error = result.map(|_| ()).expect_err(&name);
            let message = error.to_string();
            assert_eq!(error.slug(), refused["slug"].as_str().unwrap(), "{name}: {message}");
            assert!(message.contains(refused["message"].as_str().unwrap()), "{name}: {message}");
            if let Some(place) = refused["place"].as_str() {
                assert_eq!(path_of(error.place()), place, "{name}: {message}");
            }
            assert!(!error.hint().is_empty());
            bad += 1;
        } else {
            let read = result.unwrap_or_else(|error| panic!("{name}: {error} ({})", error.place()));
            compare(&name, &entry, &read);
            good += 1;
        }
    }
    assert!(good > 170 && bad > 110, "{good} read, {bad} refused");
}

#[test]
fn the_manifest_names_every_file_and_no_other() {
    let named: BTreeSet<String> = manifest().keys().map(|name| format!("{name}.dcm")).collect();
    let there: BTreeSet<String> = crate::path("files")
        .read_dir()
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(named, there);
}

/// The steep meridian of a swapped file is the one of greater power, whichever sequence it stood in.
#[test]
fn steep_and_flat_are_reordered_with_their_axes() {
    let read = read(&bytes_of("files/ker_swapped.dcm")).unwrap();
    let right = exam(&read).eyes.right.clone().unwrap().keratometry[0].clone();
    let steep = right.steep.meridian.as_ref().unwrap();
    assert_eq!(steep.text, "98");
    assert!(path_of(&steep.place).contains("(0046,0080)"));
    assert_eq!(right.steep.power.as_ref().unwrap().text, "44.29");
    assert_eq!(right.flat.meridian.as_ref().unwrap().text, "8");
}

#[test]
fn a_folder_of_another_kind_refuses_the_object() {
    let ker = bytes_of("files/ker_explicit.dcm");
    let oam = bytes_of("files/oam_optical.dcm");
    for brings in [Brings::Lists, Brings::Refractions, Brings::Facts] {
        let error = read_in(&ker, &FolderRules::undeclared(brings)).unwrap_err();
        assert_eq!(error.slug(), "wrong-folder");
    }
    let mut folder = FolderRules::undeclared(Brings::Measurements);
    folder.class = InstrumentClass::Keratometer;
    assert!(read_in(&ker, &folder).is_ok());
    assert_eq!(read_in(&oam, &folder).unwrap_err().slug(), "wrong-folder");
    let refraction = bytes_of("files/ar_explicit.dcm");
    assert!(read_in(&refraction, &folder).is_ok(), "an auto-ref-keratometer measures both");
    assert!(read_in(&refraction, &FolderRules::undeclared(Brings::Refractions)).is_ok());
    for brings in [Brings::Lists, Brings::Facts] {
        let error = read_in(&refraction, &FolderRules::undeclared(brings)).unwrap_err();
        assert_eq!(error.slug(), "wrong-folder");
    }
    folder.class = InstrumentClass::Biometer;
    assert_eq!(read_in(&refraction, &folder).unwrap_err().slug(), "wrong-folder");
    folder.device = Some("biometer in room 2".to_owned());
    let read = read_in(&ker, &folder).unwrap();
    assert_eq!(exam(&read).instrument.key, "biometer in room 2");
    assert_eq!(exam(&read).instrument.class, InstrumentClass::Biometer);
}
