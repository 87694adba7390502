//! The files of the bundled demo clinic. `tests/demo/make_clinic.py` writes the exports; a test compares this list with
//! the folder.

/// `site.toml` of the demo clinic.
pub(super) const SITE: &str = include_str!("../../demo-data/clinic/site.toml");

/// Surgeons, lenses and mapping templates: name in the site, content.
pub(super) const SETTINGS: &[(&str, &[u8])] = &[
    ("lenses/tarn-t.toml", include_bytes!("../../demo-data/lenses/tarn-t.toml")),
    ("surgeons/imara-vost.toml", include_bytes!("../../demo-data/surgeons/imara-vost.toml")),
    ("surgeons/oskar-lindqvale.toml", include_bytes!("../../demo-data/surgeons/oskar-lindqvale.toml")),
    ("mappings/halden-k2.toml", include_bytes!("../../templates/mappings/halden-k2.toml")),
    ("mappings/orrin-b1.toml", include_bytes!("../../templates/mappings/orrin-b1.toml")),
    ("mappings/theatre-list.toml", include_bytes!("../../templates/mappings/theatre-list.toml")),
];

/// Exports and the operating list: name in the site, content.
pub(super) const EXPORTS: &[(&str, &[u8])] = &[
    (
        "incoming/halden-k2/K2_EL-20417_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20417_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-20419_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20419_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-20433_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20433_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-20458_L_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20458_L_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-20462_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20462_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-20479_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20479_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-20503_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20503_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-20518_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20518_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-20526_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-20526_B_20260302.csv"),
    ),
    (
        "incoming/orrin-b1/B1_EL-20417_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-20417_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-20433_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-20433_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-20458_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-20458_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-20462_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-20462_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-20479_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-20479_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-20491_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-20491_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-20526_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-20526_20260302.txt"),
    ),
    (
        "incoming/theatre-lists/theatre2_2026-03-10.csv",
        include_bytes!("../../demo-data/clinic/incoming/theatre-lists/theatre2_2026-03-10.csv"),
    ),
    (
        "incoming/vellan-t1/el-20503-ker.dcm",
        include_bytes!("../../demo-data/clinic/incoming/vellan-t1/el-20503-ker.dcm"),
    ),
    (
        "incoming/vellan-t1/el-20503-oam.dcm",
        include_bytes!("../../demo-data/clinic/incoming/vellan-t1/el-20503-oam.dcm"),
    ),
    (
        "incoming/vellan-t1/el-20518-ker.dcm",
        include_bytes!("../../demo-data/clinic/incoming/vellan-t1/el-20518-ker.dcm"),
    ),
    (
        "incoming/vellan-t1/el-20518-oam.dcm",
        include_bytes!("../../demo-data/clinic/incoming/vellan-t1/el-20518-oam.dcm"),
    ),
];
