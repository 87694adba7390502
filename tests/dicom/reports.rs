//! Which table reads a structured report, and that the one of the site counts only where its folder names it.

use axiswright::intake::{Brings, FolderRules};
use axiswright::site::{report_table, standard_reports};

use crate::{bytes_of, exam, read_by, tables};

fn folder(templates: &[&str]) -> FolderRules {
    FolderRules {
        device: Some("keratometer in room 2".to_owned()),
        templates: templates.iter().map(|id| (*id).to_owned()).collect(),
        ..FolderRules::undeclared(Brings::Measurements)
    }
}

#[test]
fn a_sites_table_reads_only_what_comes_through_a_folder_that_names_it() {
    let report = bytes_of("files/sr_k_radius.dcm");
    let named = read_by(&report, &folder(&["invented-reports"]), &tables()).unwrap();
    let template = exam(&named).template.clone().unwrap();
    assert_eq!((template.id.as_str(), template.revision), ("invented-reports", 1));
    assert_eq!(named.template.as_ref(), Some(&template));
    assert_eq!(exam(&named).instrument.key, "keratometer in room 2");
    let error = read_by(&report, &folder(&[]), &tables()).unwrap_err();
    assert_eq!(error.slug(), "no-measurement", "{error}");
    let error = read_by(&report, &folder(&["invented-reports"]), &[standard_reports()]).unwrap_err();
    assert_eq!(error.slug(), "no-measurement", "{error}");
}

#[test]
fn what_the_programs_own_table_reads_names_no_template() {
    let report = bytes_of("files/sr_group_site_sct.dcm");
    for templates in [&[][..], &["invented-reports"]] {
        let read = read_by(&report, &folder(templates), &tables()).unwrap();
        assert!(read.template.is_none() && exam(&read).template.is_none());
    }
    let error = read_by(&report, &folder(&[]), &[]).unwrap_err();
    assert!(error.to_string().contains("no table of concepts"), "{error}");
}

#[test]
fn two_tables_or_two_meanings_are_refused() {
    let own = String::from_utf8(bytes_of("reports.toml")).unwrap();
    let other = own.replace("invented-reports", "other-reports");
    let mut tables = tables();
    tables.push(report_table(&other, "other.toml").unwrap());
    let report = bytes_of("files/sr_k_radius.dcm");
    let both = folder(&["invented-reports", "other-reports"]);
    let error = read_by(&report, &both, &tables).unwrap_err();
    assert!(error.to_string().contains("`invented-reports`, `other-reports`"), "{error}");
    assert!(read_by(&report, &folder(&["other-reports"]), &tables).is_ok());

    // A table that gives a concept of the program's another meaning.
    let again = "schema = 1\nid = \"again\"\nrevision = 1\nbrings = \"reports\"\n[[concept]]\nscheme = \"SCT\"\ncode = \"251795007\"\nto = \"refraction.cylinder\"\nunit = [\"diop\"]\n";
    let tables = [standard_reports(), report_table(again, "again.toml").unwrap()];
    let error = read_by(&bytes_of("files/sr_group_site_sct.dcm"), &folder(&["again"]), &tables).unwrap_err();
    assert!(error.to_string().contains("more than one meaning"), "{error}");
}
