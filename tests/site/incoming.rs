//! `[[incoming]]`.

use axiswright::intake::{AxisConvention, Brings};
use axiswright::model::{ChamberDepthFrom, InstrumentClass};
use axiswright::site::{Mode, Origin, SiteError};

use super::{refused, with};

const BIOMETER: &str = "[[incoming]]\nfolder = \"biometer\"\nbrings = \"measurements\"\ndevice = \"Orrin room 2\"\ntemplates = []\n";

fn list(folder: &str) -> String {
    format!("[[incoming]]\nfolder = \"{folder}\"\nbrings = \"lists\"\ntemplates = [\"theatre-list\"]\n")
}

#[test]
fn every_key_reaches_the_rules_of_the_folder() {
    let site = with(
        "[[incoming]]\nfolder = \"keratometer\"\nbrings = \"measurements\"\ndevice = \"Halden room 1\"\n\
         class = \"keratometer\"\nmode = \"look\"\nzone = \"Europe/Paris\"\nsettle_seconds = 5\n\
         templates = [\"halden\", \"halden-old\"]\nindex = 1.332\neyes = \"both\"\npower_step_d = 0.25\n\
         axis_convention = \"iso-8429\"\nchamber_depth_from = \"corneal_back\"\nzone_mm = 2.4\n",
    )
    .unwrap();
    let incoming = &site.incoming()[0];
    assert_eq!(
        (incoming.folder(), incoming.mode(), incoming.settle_seconds()),
        ("keratometer", Mode::Look, 5)
    );
    let rules = incoming.rules();
    assert_eq!(rules.brings, Brings::Measurements);
    assert_eq!(rules.device.as_deref(), Some("Halden room 1"));
    assert_eq!(rules.class, InstrumentClass::Keratometer);
    assert_eq!(rules.zone.as_deref(), Some("Europe/Paris"));
    assert_eq!(rules.templates, ["halden", "halden-old"]);
    assert_eq!(rules.index.map(f64::to_bits), Some(1.332_f64.to_bits()));
    assert_eq!(rules.power_step_d.map(f64::to_bits), Some(0.25_f64.to_bits()));
    assert!(rules.both_eyes);
    assert_eq!(
        (rules.axes, rules.depth_from),
        (AxisConvention::Iso8429, Some(ChamberDepthFrom::CornealBack))
    );
    assert_eq!(rules.zone_mm.map(f64::to_bits), Some(2.4_f64.to_bits()));
    let words = "Halden room 1 (keratometer), clock of Europe/Paris, index 1.332, power step 0.25 D, axes iso-8429, chamber depth corneal_back, measured zone 2.4 mm, both eyes";
    assert_eq!(incoming.profile().as_deref(), Some(words));
    let rows: Vec<_> =
        site.describe().into_iter().filter(|row| row.key.starts_with("incoming[1].")).collect();
    assert_eq!(rows.len(), 14);
    for (row, line) in rows.iter().zip(6..) {
        assert_eq!(row.origin, Origin::File { line }, "{}", row.key);
    }
}

#[test]
fn a_folder_that_says_little_has_careful_defaults() {
    let site = with(&format!("{BIOMETER}{}", list("lists"))).unwrap();
    let [biometer, lists] = site.incoming() else { panic!("two folders") };
    assert_eq!((biometer.mode(), biometer.settle_seconds()), (Mode::Own, 2));
    let rules = biometer.rules();
    assert_eq!(rules.class, InstrumentClass::Unknown);
    assert_eq!((rules.zone, rules.index, rules.power_step_d), (None, None, None));
    assert!(!rules.both_eyes);
    assert_eq!((rules.axes, rules.depth_from, rules.zone_mm), (AxisConvention::Iso8429, None, None));
    assert_eq!(lists.profile(), None);
    assert_eq!(lists.brings(), Brings::Lists);
    assert_eq!(lists.templates(), ["theatre-list"]);
    assert_eq!(lists.rules().device, None);
}

#[test]
fn what_a_folder_must_say() {
    let without = |key: &str| -> String {
        BIOMETER.split_inclusive('\n').filter(|line| !line.starts_with(&format!("{key} "))).collect()
    };
    for key in ["folder", "brings", "device", "templates"] {
        let error = refused(with(&without(key)), "settings-missing-key", 5, 1);
        assert!(error.to_string().contains(&format!("`incoming[1].{key}`")), "{error}");
    }
    for brings in ["lists", "facts", "refractions"] {
        let text = format!("[[incoming]]\nfolder = \"a\"\nbrings = \"{brings}\"\n");
        refused(with(&text), "settings-missing-key", 5, 1);
        refused(with(&format!("{text}templates = []\n")), "settings-value", 8, 13);
    }
    refused(with(&format!("{}device = \"x\"\n", list("a"))), "settings-conflict", 9, 10);
    refused(with(&format!("{}index = 1.3375\n", list("a"))), "settings-conflict", 9, 9);
    refused(with(&format!("{BIOMETER}index = 337.5\n")), "settings-value", 10, 9);
    refused(with(&format!("{BIOMETER}power_step_d = 0\n")), "settings-value", 10, 16);
    for (line, column) in [("chamber_depth_from = \"front\"", 22), ("zone_mm = 25", 11), ("zone_mm = 0", 11)]
    {
        refused(with(&format!("{BIOMETER}{line}\n")), "settings-value", 10, column);
    }
    for line in ["axis_convention = \"iso-8429\"", "chamber_depth_from = \"corneal_front\"", "zone_mm = 2.5"]
    {
        assert!(with(&format!("{}{line}\n", list("a"))).is_err(), "{line}");
    }
    for other in ["tabo-mirrored", "clockwise", "ISO-8429"] {
        let text = format!("{BIOMETER}axis_convention = \"{other}\"\n");
        let error = refused(with(&text), "settings-conflict", 10, 19);
        assert!(error.to_string().contains("none is turned or mirrored"), "{error}");
    }
    refused(with(&format!("{BIOMETER}zone = \"CEST+2\"\n")), "settings-value", 10, 8);
    refused(with(&format!("{BIOMETER}mode = \"move\"\n")), "settings-value", 10, 8);
    refused(with(&format!("{BIOMETER}settle_seconds = 3601\n")), "settings-value", 10, 18);
    refused(with(&format!("{BIOMETER}approval = \"every\"\n")), "settings-unknown-key", 10, 1);
    let error = refused(with(&format!("{BIOMETER}devise = \"x\"\n")), "settings-unknown-key", 10, 1);
    assert_eq!(error.hint(), "did you mean `device`?");
    refused(with(&BIOMETER.replace("[]", "[\"a\", \"a\"]")), "settings-value", 9, 13);
    refused(with(&BIOMETER.replace("[]", "\"a\"")), "settings-value", 9, 13);
}

#[test]
fn a_folder_is_one_plain_name() {
    for name in [
        "/srv/in", "..", ".", "a/b", "a\\\\b", "../a", "a/../b", "C:", "", " a", "a ", ".hidden", "ä", "-x",
        "x.",
    ] {
        let text = BIOMETER.replace("\"biometer\"", &format!("\"{name}\""));
        refused(with(&text), "settings-value", 6, 10);
    }
}

#[test]
fn two_folders_do_not_collide() {
    let error = refused(with(&format!("{}{}", list("lists"), list("lists"))), "settings-conflict", 10, 10);
    assert!(error.to_string().contains("line 6"), "{error}");
    refused(with(&format!("{}{}", list("lists"), list("Lists"))), "settings-conflict", 10, 10);
    assert!(with(&format!("{}{}", list("lists"), list("lists-2"))).is_ok());
}

#[test]
fn one_instrument_is_declared_alike_in_all_its_folders() {
    let second = BIOMETER.replace("\"biometer\"", "\"biometer-dicom\"");
    assert!(with(&format!("{BIOMETER}{second}")).is_ok());
    let otherwise = format!("{second}class = \"biometer\"\n");
    refused(with(&format!("{BIOMETER}{otherwise}")), "settings-conflict", 15, 9);
    refused(with(&format!("{BIOMETER}{}", second.replace("Orrin", "ORRIN"))), "settings-conflict", 11, 10);
}

#[test]
fn templates_must_be_there_and_read_what_the_folder_brings() {
    let site = with(&format!("{}{}", BIOMETER.replace("[]", "[\"orrin\"]"), list("lists"))).unwrap();
    assert_eq!(
        site.template_faults(&[("orrin", Brings::Measurements), ("theatre-list", Brings::Lists)]),
        Vec::<SiteError>::new()
    );
    let faults = site.template_faults(&[("orrin", Brings::Lists), ("theatre-lists", Brings::Lists)]);
    assert_eq!(faults.len(), 2);
    assert_eq!((faults[0].spot().line, faults[0].code()), (9, "settings-conflict"));
    assert!(faults[0].to_string().contains("reads lists"), "{}", faults[0]);
    assert_eq!(faults[1].hint(), "did you mean `theatre-lists`?");
    assert_eq!(site.template_faults(&[]).len(), 2);
}
