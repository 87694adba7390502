//! The files of the bundled demo clinic. `tests/demo/make_clinic.py` writes the exports; a test compares this list with
//! the folder.

/// `site.toml` of the demo clinic.
pub(super) const SITE: &str = include_str!("../../demo-data/clinic/site.toml");

/// Surgeons, lenses and mapping templates: name in the site, content.
pub(super) const SETTINGS: &[(&str, &[u8])] = &[
    ("lenses/fell-s.toml", include_bytes!("../../demo-data/lenses/fell-s.toml")),
    ("lenses/sedge-t.toml", include_bytes!("../../demo-data/lenses/sedge-t.toml")),
    ("lenses/tarn-t.toml", include_bytes!("../../demo-data/lenses/tarn-t.toml")),
    ("surgeons/imara-vost.toml", include_bytes!("../../demo-data/surgeons/imara-vost.toml")),
    ("surgeons/leontine-abara.toml", include_bytes!("../../demo-data/surgeons/leontine-abara.toml")),
    ("surgeons/oskar-lindqvale.toml", include_bytes!("../../demo-data/surgeons/oskar-lindqvale.toml")),
    ("mappings/halden-k2.toml", include_bytes!("../../templates/mappings/halden-k2.toml")),
    ("mappings/orrin-b1.toml", include_bytes!("../../templates/mappings/orrin-b1.toml")),
    ("mappings/quell-a4.toml", include_bytes!("../../templates/mappings/quell-a4.toml")),
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
        "incoming/halden-k2/K2_EL-30163_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-30163_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-30176_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-30176_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-30188_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-30188_B_20260302.csv"),
    ),
    (
        "incoming/halden-k2/K2_EL-30204_B_20260302.csv",
        include_bytes!("../../demo-data/clinic/incoming/halden-k2/K2_EL-30204_B_20260302.csv"),
    ),
    (
        "incoming/isendal-r3/r3_30139-ker.dcm",
        include_bytes!("../../demo-data/clinic/incoming/isendal-r3/r3_30139-ker.dcm"),
    ),
    (
        "incoming/isendal-r3/r3_30151-ker.dcm",
        include_bytes!("../../demo-data/clinic/incoming/isendal-r3/r3_30151-ker.dcm"),
    ),
    (
        "incoming/isendal-r3/r3_30221-ker.dcm",
        include_bytes!("../../demo-data/clinic/incoming/isendal-r3/r3_30221-ker.dcm"),
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
        "incoming/orrin-b1/B1_EL-30114_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30114_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30127_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30127_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30139_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30139_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30142_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30142_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30151_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30151_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30163_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30163_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30176_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30176_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30188_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30188_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30190_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30190_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30221_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30221_20260302.txt"),
    ),
    (
        "incoming/orrin-b1/B1_EL-30238_20260302.txt",
        include_bytes!("../../demo-data/clinic/incoming/orrin-b1/B1_EL-30238_20260302.txt"),
    ),
    (
        "incoming/quell-a4/A4_20260303_104417.xml",
        include_bytes!("../../demo-data/clinic/incoming/quell-a4/A4_20260303_104417.xml"),
    ),
    (
        "incoming/quell-a4/A4_20260303_session.xml",
        include_bytes!("../../demo-data/clinic/incoming/quell-a4/A4_20260303_session.xml"),
    ),
    (
        "incoming/theatre-lists/theatre2_2026-03-10.csv",
        include_bytes!("../../demo-data/clinic/incoming/theatre-lists/theatre2_2026-03-10.csv"),
    ),
    (
        "incoming/theatre-lists/theatre4_2026-03-11.csv",
        include_bytes!("../../demo-data/clinic/incoming/theatre-lists/theatre4_2026-03-11.csv"),
    ),
    (
        "incoming/theatre-lists/theatre4_2026-03-11_amended.csv",
        include_bytes!("../../demo-data/clinic/incoming/theatre-lists/theatre4_2026-03-11_amended.csv"),
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
    (
        "incoming/vellan-t1/el-30114-ker.dcm",
        include_bytes!("../../demo-data/clinic/incoming/vellan-t1/el-30114-ker.dcm"),
    ),
    (
        "incoming/vellan-t1/el-30114-oam.dcm",
        include_bytes!("../../demo-data/clinic/incoming/vellan-t1/el-30114-oam.dcm"),
    ),
];
