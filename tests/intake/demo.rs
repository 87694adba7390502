//! The templates and sample exports that come with the program.

use axiswright::finding::Code;
use axiswright::intake::{Brings, FolderRules, Template};
use axiswright::model::Eye;

use crate::support::{exams, list, read_in, template};

const HALDEN: &str = include_str!("../../templates/mappings/halden-k2.toml");
const QUELL: &str = include_str!("../../templates/mappings/quell-a4.toml");
const ORRIN: &str = include_str!("../../templates/mappings/orrin-b1.toml");
const ROOM: &str = include_str!("../../templates/mappings/measuring-room.toml");
const TARN: &str = include_str!("../../templates/mappings/tarn-k6.toml");
const THEATRE: &str = include_str!("../../templates/mappings/theatre-list.toml");

fn all() -> Vec<Template> {
    vec![
        template(HALDEN),
        template(ORRIN),
        template(QUELL),
        template(THEATRE),
        template(ROOM),
        template(TARN),
    ]
}

#[test]
fn the_samples_are_read_by_their_own_template_alone() {
    for (brings, name, bytes, id) in [
        (
            Brings::Measurements,
            "halden-k2.csv",
            &include_bytes!("../../sample-exports/halden-k2.csv")[..],
            "halden-k2",
        ),
        (
            Brings::Measurements,
            "orrin-b1.txt",
            &include_bytes!("../../sample-exports/orrin-b1.txt")[..],
            "orrin-b1",
        ),
        (
            Brings::Measurements,
            "quell-a4.xml",
            &include_bytes!("../../sample-exports/quell-a4.xml")[..],
            "quell-a4",
        ),
        (
            Brings::Lists,
            "theatre-list.csv",
            &include_bytes!("../../sample-exports/theatre-list.csv")[..],
            "theatre-list",
        ),
        (
            Brings::Measurements,
            "tarn-k6.csv",
            &include_bytes!("../../sample-exports/tarn-k6.csv")[..],
            "tarn-k6",
        ),
        (
            Brings::Facts,
            "measuring-room.csv",
            &include_bytes!("../../sample-exports/measuring-room.csv")[..],
            "measuring-room",
        ),
    ] {
        let read = read_in(&FolderRules::undeclared(brings), name, bytes, &all()).unwrap();
        assert_eq!(read.template.as_ref().unwrap().id, id);
        assert_eq!((read.findings.len(), read.not_understood.len()), (0, 0), "{id}");
    }
}

#[test]
fn the_instruments_saw_the_same_eyes() {
    let folder = FolderRules::undeclared(Brings::Measurements);
    let halden =
        read_in(&folder, "K2_AX-1_B_1.csv", include_bytes!("../../sample-exports/halden-k2.csv"), &all())
            .unwrap();
    let orrin =
        read_in(&folder, "b.txt", include_bytes!("../../sample-exports/orrin-b1.txt"), &all()).unwrap();
    let quell =
        read_in(&folder, "q.xml", include_bytes!("../../sample-exports/quell-a4.xml"), &all()).unwrap();
    let (halden, orrin, quell) = (exams(&halden), exams(&orrin), exams(&quell));
    assert_eq!((halden.len(), orrin.len(), quell.len()), (4, 4, 4));
    let index = axiswright::units::KeratometricIndex::ISO_10343;
    for (one, other) in halden.iter().zip(orrin).chain(quell.iter().zip(orrin)) {
        assert_eq!(
            one.identity.number.as_ref().map(|n| &n.value),
            other.identity.number.as_ref().map(|n| &n.value)
        );
        assert_eq!(
            one.identity.name.as_ref().map(|n| &n.value),
            other.identity.name.as_ref().map(|n| &n.value)
        );
        assert_eq!(
            one.identity.birth_date.as_ref().map(|n| n.value),
            other.identity.birth_date.as_ref().map(|n| n.value)
        );
        for eye in Eye::BOTH {
            let k =
                |exam: &axiswright::model::Exam| exam.eyes.of(eye).clone().unwrap().keratometry[0].clone();
            let difference = k(one).vector_at(index).unwrap() - k(other).vector_at(index).unwrap();
            assert!(difference.cylinder().dioptres() < 0.5);
        }
        assert!(other.eyes.right.as_ref().unwrap().axial.as_ref().unwrap().depth_from_front().is_some());
    }
    for (exams, serial, claimed) in [(halden, "HK2-0417", Some("AX-1")), (quell, "QA4-0093", None)] {
        for exam in exams {
            assert_eq!(exam.instrument.serial.as_deref(), Some(serial));
            assert_eq!(exam.file_name.number.as_deref(), claimed);
        }
    }
}

#[test]
fn the_list_names_eyes_of_the_same_patients() {
    let folder = FolderRules::undeclared(Brings::Lists);
    let read =
        read_in(&folder, "l.csv", include_bytes!("../../sample-exports/theatre-list.csv"), &all()).unwrap();
    let list = list(&read);
    assert!(list.complete);
    assert_eq!(list.entries.iter().filter_map(|e| e.eye.as_ref()).count(), 4);
    assert!(list.entries.iter().all(|e| e.procedure.is_some() && e.surgeon.is_some() && e.target.is_some()));
}

#[test]
fn a_measurement_in_the_list_folder_is_in_the_wrong_one() {
    let folder = FolderRules::undeclared(Brings::Lists);
    let error =
        read_in(&folder, "b.txt", include_bytes!("../../sample-exports/orrin-b1.txt"), &all()).unwrap_err();
    assert_eq!(error.code(), Some(Code::D06));
}
