//! The keys at the top of the file, and the file a new site begins with.

use axiswright::checks::{self, NumberScheme};
use axiswright::plan::{self, Combining, TheatreMethod};
use axiswright::site::{ApprovalPolicy, Clock, History, Origin, SiteFile, SiteKind, site_text};

use super::{LEAST, refused, with};

#[test]
fn what_is_not_stated_has_its_default_and_says_so() {
    let site = with("").unwrap();
    assert_eq!(site.kind(), SiteKind::Demo);
    assert!(!site.is_live());
    assert_eq!(
        (site.name(), site.zone(), site.number_authority()),
        ("Fernhill", "Europe/Lisbon", "Fernhill")
    );
    assert_eq!(site.number_scheme(), NumberScheme::None);
    assert_eq!(site.approval(), ApprovalPolicy::Flagged);
    assert_eq!(site.history(), History::Required);
    assert_eq!(site.theatre_method(), TheatreMethod::RingOnMarks);
    assert_eq!(site.clock(), Clock::System);
    assert_eq!(site.low_water_mb(), 500);
    assert_eq!(*site.checks_settings(), checks::Settings::default());
    assert_eq!(*site.plan_settings(), plan::Settings::default());
    assert!(site.incoming().is_empty());
    let stated: Vec<(String, Origin)> = site
        .describe()
        .into_iter()
        .filter(|row| row.origin != Origin::Default)
        .map(|row| (row.key, row.origin))
        .collect();
    let expected = ["kind", "name", "zone", "number_authority"]
        .into_iter()
        .zip(1..)
        .map(|(key, line)| (key.to_owned(), Origin::File { line }))
        .collect::<Vec<_>>();
    assert_eq!(stated, expected);
}

#[test]
fn every_key_at_the_top_reaches_its_value() {
    let site = SiteFile::parse(
        "kind = \"test\"\nname = \"Ärztehaus Süd\"\nzone = \"Asia/Kolkata\"\nnumber_authority = \"Süd\"\n\
         number_scheme = \"mod11-10\"\napproval = \"every\"\nhistory = \"if-given\"\ntheatre_method = \"ring-on-marks\"\n\
         combine = \"mean\"\nclock = \"given\"\nlow_water_mb = 2_000\nwindow_days = 30\ndecide_by_hours = 48\n",
    )
    .unwrap();
    assert_eq!(site.kind(), SiteKind::Test);
    assert_eq!(site.name(), "Ärztehaus Süd");
    assert_eq!(site.time_zone().iana_name(), Some("Asia/Kolkata"));
    assert_eq!(site.number_scheme(), NumberScheme::Mod11Ten);
    assert_eq!(site.approval(), ApprovalPolicy::Every);
    assert_eq!(site.history(), History::IfGiven);
    assert_eq!(site.plan_settings().combine, Combining::Mean);
    assert_eq!(site.clock(), Clock::Given);
    assert_eq!(site.low_water_mb(), 2000);
    assert_eq!(site.checks_settings().window_days.value.to_string(), "30");
    assert_eq!(site.decide_by_hours(), 48);
    let rows = site.describe();
    for (row, line) in rows.iter().zip(1..=13) {
        assert_eq!(row.origin, Origin::File { line }, "{}", row.key);
    }
    let mut keys: Vec<&str> = rows.iter().map(|row| row.key.as_str()).collect();
    keys.sort_unstable();
    let all = keys.len();
    keys.dedup();
    assert_eq!(keys.len(), all, "a key is described twice");
}

#[test]
fn a_live_site_chooses_who_releases() {
    let live = LEAST.replace("demo", "live");
    let error = refused(SiteFile::parse(&live), "settings-missing-key", 1, 1);
    assert!(error.to_string().contains("`approval`"), "{error}");
    let site = SiteFile::parse(&format!("{live}approval = \"every\"\n")).unwrap();
    assert!(site.is_live());
    assert_eq!(site.approval(), ApprovalPolicy::Every);
    refused(
        SiteFile::parse(&format!("{live}approval = \"every\"\nclock = \"given\"\n")),
        "settings-conflict",
        6,
        9,
    );
}

#[test]
fn what_is_wrong_is_refused_at_its_place() {
    let error = refused(with("aproval = \"every\""), "settings-unknown-key", 5, 1);
    assert_eq!(error.hint(), "did you mean `approval`?");
    // A misspelt key is named before the key that is missing because of it.
    let error = refused(SiteFile::parse(&LEAST.replace("zone", "zome")), "settings-unknown-key", 3, 1);
    assert_eq!(error.hint(), "did you mean `zone`?");
    let error = refused(with("colour = \"red\""), "settings-unknown-key", 5, 1);
    assert!(error.hint().contains("`low_water_mb`"));
    let error = refused(with("[thresholds]\napproval = \"every\""), "settings-unknown-key", 6, 1);
    assert!(error.hint().contains("top of the file"), "{}", error.hint());

    let zone =
        refused(SiteFile::parse(&LEAST.replace("Europe/Lisbon", "Europe/Nowhere")), "settings-value", 3, 8);
    assert!(zone.to_string().contains("`Europe/Nowhere`"));
    refused(SiteFile::parse(&LEAST.replace("Europe/Lisbon", "../../etc/passwd")), "settings-value", 3, 8);
    refused(SiteFile::parse(&LEAST.replace("demo", "prod")), "settings-value", 1, 8);
    refused(SiteFile::parse(&LEAST.replace("\"demo\"", "1")), "settings-value", 1, 8);
    refused(SiteFile::parse(&LEAST.replace("\"Fernhill\"\nzone", "\"\"\nzone")), "settings-value", 2, 8);
    refused(SiteFile::parse(&LEAST.replace("\"Fernhill\"\nzone", "\"a\\nb\"\nzone")), "settings-value", 2, 8);
    refused(with("theatre_method = \"loose-ring\""), "settings-value", 5, 18);
    refused(with("approval = \"Every\""), "settings-value", 5, 12);
    refused(with("approval = \"every \""), "settings-value", 5, 12);
    refused(with("window_days = 0"), "settings-value", 5, 15);
    refused(with("window_days = 14.5"), "settings-value", 5, 15);
    refused(with("low_water_mb = -1"), "settings-value", 5, 16);
    refused(with("low_water_mb = \"500\""), "settings-value", 5, 16);
    refused(with("kind = \"live\""), "settings-syntax", 5, 1);
    refused(with("history = required"), "settings-syntax", 5, 11);
    refused(with("thresholds = 1"), "settings-value", 5, 14);
    refused(with("incoming = 1"), "settings-value", 5, 12);
    for key in ["kind", "name", "zone", "number_authority"] {
        let text: String =
            LEAST.split_inclusive('\n').filter(|line| !line.starts_with(&format!("{key} "))).collect();
        let error = refused(SiteFile::parse(&text), "settings-missing-key", 1, 1);
        assert!(error.to_string().contains(&format!("`{key}`")), "{error}");
    }
    refused(SiteFile::parse(""), "settings-missing-key", 1, 1);
}

#[test]
fn the_written_file_parses_back_to_the_defaults() {
    for kind in [SiteKind::Demo, SiteKind::Test] {
        let text = site_text(kind, "Clinic \"North\" \\ Nord", "Europe/Lisbon");
        let site = SiteFile::parse(&text).unwrap();
        assert_eq!(site.kind(), kind);
        assert_eq!(site.name(), "Clinic \"North\" \\ Nord");
        assert_eq!(site.number_authority(), site.name());
        let stated = site.describe().into_iter().filter(|row| row.origin != Origin::Default).count();
        assert_eq!(stated, 4);
        assert_eq!(*site.checks_settings(), checks::Settings::default());
        assert_eq!(*site.plan_settings(), plan::Settings::default());
        assert_eq!(site.approval(), ApprovalPolicy::Flagged);
        assert!(text.lines().all(|line| line.chars().count() <= 120));
    }
}

#[test]
fn the_values_in_the_comments_are_the_ones_in_force() {
    let text = site_text(SiteKind::Demo, "Fernhill", "Europe/Lisbon");
    let set = with_every_comment_taken_away(&text);
    let (defaults, stated) = (SiteFile::parse(&text).unwrap(), SiteFile::parse(&set).unwrap());
    let values = |site: &SiteFile| -> Vec<(String, Option<String>)> {
        site.describe()
            .into_iter()
            .filter(|row| !row.key.starts_with("incoming") && !row.key.starts_with("marking_instrument"))
            .map(|row| (row.key, row.value))
            .collect()
    };
    assert_eq!(values(&defaults), values(&stated));
    assert!(stated.describe().iter().all(|row| row.origin != Origin::Default), "a key is not in the file");
    assert_eq!(stated.incoming().len(), 1);
}

#[test]
fn the_written_live_file_waits_for_a_choice() {
    let text = site_text(SiteKind::Live, "Fernhill", "Europe/Lisbon");
    let error = SiteFile::parse(&text).unwrap_err();
    assert_eq!(error.code(), "settings-missing-key");
    assert!(error.to_string().contains("`approval`"));
    let chosen = text.replace("#approval = \"every\"", "approval = \"every\"");
    assert_eq!(SiteFile::parse(&chosen).unwrap().approval(), ApprovalPolicy::Every);
    let chosen = text.replace("#approval = \"flagged\"", "approval = \"flagged\"");
    assert_eq!(SiteFile::parse(&chosen).unwrap().approval(), ApprovalPolicy::Flagged);
}

/// Lines of the form `#key = value` and `#[[…]]` without their mark.
fn with_every_comment_taken_away(text: &str) -> String {
    let lines = text.lines().map(|line| match line.strip_prefix('#') {
        Some(rest) if !rest.starts_with(' ') => rest,
        _ => line,
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// How a site marks: each word reaches the plan, a half of a dial or two ways at once do not.
#[test]
fn how_a_site_marks() {
    let site = with(
        "[marking]\nway = \"on_target\"\nmade_with = \"surface\"\ngaze = \"fellow-covered\"\n\
         [marking_instrument]\nzero_deg = 90\nsense = \"clockwise\"",
    )
    .unwrap();
    assert_eq!(site.theatre_method(), TheatreMethod::OnTarget);
    assert_eq!(site.plan_settings().mark_hours.to_string(), "8");
    let way = site.marking_way();
    assert_eq!((way.made_with, way.gaze), (plan::MadeWith::Surface, plan::Gaze::FellowCovered));
    assert_eq!(way.dial.unwrap().printed(axiswright::units::Meridian::wrapping(60.0)), "30");
    let own = with("[marking]\nmade_with = \"surface\"\n[budget]\nmark_hours = 5").unwrap();
    assert_eq!(own.plan_settings().mark_hours.to_string(), "5");
    refused(with("[marking_instrument]\nzero_deg = 90"), "settings-missing-key", 5, 1);
    refused(with("[marking_instrument]\nzero_deg = 400\nsense = \"clockwise\""), "settings-value", 6, 12);
    refused(with("[marking]\nway = \"by eye\""), "settings-value", 6, 7);
    refused(
        with("theatre_method = \"level-ring\"\n[marking]\nway = \"on_target\""),
        "settings-conflict",
        5,
        18,
    );
}
