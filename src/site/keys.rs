//! The keys of `site.toml` with their meaning, declared once: the reader, the written file and the printed list use them.

use crate::cite::{COMMON_PRACTICE, HOUSE_RULE, ISO_8429, KERATOMETRY_WEIGHTS, MARK_AGE, Source};

/// One key.
pub(super) struct Key {
    pub(super) name: &'static str,
    /// What it does, in sentences.
    pub(super) meaning: &'static str,
    /// Where its default comes from; none for what only the site can know.
    pub(super) source: Option<Source>,
}

const fn key(name: &'static str, source: Option<Source>, meaning: &'static str) -> Key {
    Key { name, meaning, source }
}

/// Keys at the top of the file.
pub(super) const TOP: [Key; 13] = [
    key(
        "kind",
        None,
        "What the site is: `live`, `test` or `demo`. Every page of a site that is not live carries TEST - NOT FOR PATIENT CARE.",
    ),
    key("name", None, "Name of the clinic or theatre as printed on every page."),
    key(
        "zone",
        None,
        "IANA name of the time zone of the site's calendar and of the times it prints, e.g. `Europe/Lisbon`.",
    ),
    key(
        "number_authority",
        None,
        "Who gives out the patient numbers. It is part of every case id: a change makes new cases of all open ones.",
    ),
    key(
        "number_scheme",
        Some(HOUSE_RULE),
        "How patient numbers are checked: `none`, or `mod11-10` for ten digits of which the last is a check digit (modulus 11).",
    ),
    key(
        "approval",
        Some(HOUSE_RULE),
        "Who releases a sheet: `every` = each sheet waits for the surgeon; `flagged` = a case without open findings is released under the surgeon's standing order, which is the approved surgeon file. A live site must choose: it has no default.",
    ),
    key(
        "history",
        Some(HOUSE_RULE),
        "Whether somebody must have said of every cataract eye if its cornea was operated on: `required`, or `if-given`.",
    ),
    key(
        "theatre_method",
        Some(COMMON_PRACTICE),
        "How the axis is found again in theatre: `ring-on-marks` = the ring's 0-180 line is laid through the marks and the axis is read on the ring; `level-ring` = the ring is held level, its 90 to the forehead, the mark is read on it and a table on the sheet gives the setting. A sheet shows the one, never both.",
    ),
    key(
        "combine",
        Some(KERATOMETRY_WEIGHTS),
        "How the sources of keratometry are combined: `inverse_covariance` = each weighs by the inverse of its covariance, which is that of the budget or of its own readings, whichever is greater; `mean` = every source weighs the same. A surgeon's file may say otherwise.",
    ),
    key(
        "clock",
        Some(HOUSE_RULE),
        "Whose time counts: `system`, or `given` on the command line, for tests; the sheet then prints TEST CLOCK. Refused on a live site.",
    ),
    key("low_water_mb", Some(HOUSE_RULE), "Free space in megabytes under which no more files are taken in."),
    key(
        "window_days",
        Some(HOUSE_RULE),
        "Days before the latest examination within which another one still counts; older ones are references only.",
    ),
    key(
        "decide_by_hours",
        Some(HOUSE_RULE),
        "Hours before the day of the operation begins until which a case waits for its sources; then it is judged with what is there.",
    ),
];

/// The key of the sources expected for a procedure.
pub(super) const EXPECT_MEANING: &str = "Instruments, by the `device` of their incoming folders, that must have measured the planned eye before a case of this procedure is judged. None when not given.";

/// Keys of one `[[incoming]]`.
pub(super) const INCOMING: [Key; 14] = [
    key(
        "folder",
        None,
        "Name of the folder inside `incoming/`: one name, no path; ASCII letters, digits, `.`, `-` and `_`.",
    ),
    key(
        "brings",
        None,
        "The one kind of file it brings: `measurements`, `lists`, `refractions` or `facts`. A file of another kind is refused.",
    ),
    key(
        "device",
        None,
        "The site's name of the instrument. Two folders of one instrument carry the same name and count as one source.",
    ),
    key(
        "class",
        Some(HOUSE_RULE),
        "What kind of instrument it is: `keratometer`, `biometer`, `tomographer`, `refractor`; `unknown` when not given.",
    ),
    key(
        "mode",
        Some(HOUSE_RULE),
        "`own` = files are taken out of the folder once they are kept and recorded; `look` = they are copied and left. `own` when not given.",
    ),
    key(
        "zone",
        None,
        "IANA time zone of the instrument's clock, for files that state none. Without it such times are noted as unplaced.",
    ),
    key(
        "settle_seconds",
        Some(HOUSE_RULE),
        "Seconds a file must stay unchanged before it is taken; longer for a folder on a network share. 2 when not given.",
    ),
    key(
        "templates",
        None,
        "Ids of the mapping templates that may read its text files. A folder of measurements that brings DICOM only says `[]`.",
    ),
    key("index", None, "Keratometric index of the instrument, used where its files state none."),
    key(
        "eyes",
        Some(HOUSE_RULE),
        "`both` = every examination it brings holds both eyes, and one that does not is asked about (D07); `any` when not given.",
    ),
    key("power_step_d", None, "Smallest step in dioptres in which the instrument prints a power."),
    key(
        "axis_convention",
        Some(ISO_8429),
        "How the instrument counts axes. `iso-8429` is the only one that is read: no axis is turned on the way in. `iso-8429` when not given.",
    ),
    key(
        "chamber_depth_from",
        None,
        "Where the chamber depth of the instrument begins, `corneal_front` or `corneal_back`, used where its files state nothing. A file that states the other is refused.",
    ),
    key(
        "zone_mm",
        None,
        "Diameter in millimetres of the zone the keratometer measures, shown beside its readings where its files state none.",
    ),
];

/// Keys of `[marking]`.
pub(super) const MARKING: [Key; 3] = [
    key(
        "way",
        Some(COMMON_PRACTICE),
        "What is marked: `reference_marks` = the horizontal, from which the theatre method leads to the axis; `on_target` = the target meridian itself, so that theatre needs no ring and no turn. With `on_target` no `theatre_method` is stated.",
    ),
    key(
        "made_with",
        Some(MARK_AGE),
        "What marks are made with: `ink`, or `surface` = the surface itself, by heat or light. It sets the hours a mark lasts where `budget.mark_hours` is not stated: 3 for ink, 8 for the surface.",
    ),
    key(
        "gaze",
        Some(COMMON_PRACTICE),
        "How the patient looks while marks are made: `both-open` or `fellow-covered`.",
    ),
];

/// Keys of `[marking_instrument]`.
pub(super) const DIAL: [Key; 2] = [
    key(
        "zero_deg",
        None,
        "Where the zero of the marking instrument's dial lies, 0 to 360 degrees, as seen by the person who marks: 0 at their right, 90 at the forehead. Not stated where no dial is used: then the sheet leaves it to be filled in.",
    ),
    key(
        "sense",
        None,
        "Which way the numbers of the dial grow as that person sees it: `anticlockwise` or `clockwise`.",
    ),
];

/// Key of the table of how marks are made.
pub(super) const MARKING_TABLE: &str = "marking";
/// Key of the table of the marking instrument's dial.
pub(super) const DIAL_TABLE: &str = "marking_instrument";
/// Key of the table of expected sources.
pub(super) const EXPECT_TABLE: &str = "expect";
/// Key of the list of incoming folders.
pub(super) const INCOMING_TABLE: &str = "incoming";
/// Key of the table of limits.
pub(super) const THRESHOLDS_TABLE: &str = "thresholds";
/// Key of the table of the plan's settings.
pub(super) const BUDGET_TABLE: &str = "budget";

/// The names of keys.
pub(super) fn names(keys: &[Key]) -> Vec<&'static str> {
    keys.iter().map(|key| key.name).collect()
}
