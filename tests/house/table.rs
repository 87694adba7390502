//! The rooms: what each may name, which outside crates are its own, and whether it may act on the world.
//!
//! `docs/ARCHITECTURE.md` prints this table; a test compares the two.

/// One room.
pub(crate) struct Room {
    pub(crate) name: &'static str,
    /// Rooms it may name; itself always.
    pub(crate) names: &'static [&'static str],
    /// Whether it may touch disk, clock, keys, network or random numbers.
    pub(crate) effects: bool,
}

const fn value(name: &'static str, names: &'static [&'static str]) -> Room {
    Room { name, names, effects: false }
}

const fn acting(name: &'static str, names: &'static [&'static str]) -> Room {
    Room { name, names, effects: true }
}

/// The rooms, from the foundations up; `outcomes` and `desk` have their place before they are built.
pub(crate) const ROOMS: &[Room] = &[
    value("units", &[]),
    value("cite", &[]),
    value("model", &["units"]),
    value("finding", &["model", "units", "cite"]),
    value("optics", &["units", "cite"]),
    value("page", &[]),
    value("intake", &["finding", "model", "units"]),
    value("casebook", &["finding", "model", "units"]),
    value("checks", &["casebook", "finding", "model", "optics", "units", "cite"]),
    value("plan", &["checks", "casebook", "finding", "model", "optics", "units", "cite"]),
    value("sheet", &["plan", "casebook", "finding", "model", "page", "units", "cite"]),
    value("outcomes", &["plan", "casebook", "finding", "model", "optics", "page", "units", "cite"]),
    value("seal", &[]),
    acting("people", &[]),
    acting("ledger", &[]),
    value(
        "site",
        &[
            "units", "cite", "model", "finding", "optics", "page", "intake", "casebook", "checks", "plan",
            "sheet", "outcomes", "seal", "people",
        ],
    ),
    acting(
        "bridge",
        &[
            "units", "cite", "model", "finding", "optics", "page", "intake", "casebook", "checks", "plan",
            "sheet", "outcomes", "seal", "people", "ledger", "site",
        ],
    ),
    acting("desk", &["bridge", "site", "people", "page", "finding", "units"]),
    acting(
        "cli",
        &[
            "units", "cite", "model", "finding", "optics", "page", "intake", "casebook", "checks", "plan",
            "sheet", "outcomes", "seal", "people", "ledger", "site", "bridge", "desk",
        ],
    ),
];

/// A room by its name.
pub(crate) fn room(name: &str) -> Option<&'static Room> {
    ROOMS.iter().find(|room| room.name == name)
}

/// An outside crate and the only places that may name it: a room, or a file below a room.
pub(crate) struct Outside {
    pub(crate) name: &'static str,
    pub(crate) places: &'static [&'static str],
}

const fn only(name: &'static str, places: &'static [&'static str]) -> Outside {
    Outside { name, places }
}

/// Crates with a place of their own.
///
/// `libm` has two: the room `page` may name no other room, so its one file of geometry calls `libm` itself.
pub(crate) const OUTSIDE: &[Outside] = &[
    only("libm", &["units", "page/geometry.rs"]),
    only("rust_decimal", &["model"]),
    only("printpdf", &["page"]),
    only("lopdf", &["page"]),
    only("subsetter", &["page"]),
    only("harfrust", &["page"]),
    only("qrcode", &["page"]),
    only("ttf_parser", &["page"]),
    only("quick_xml", &["intake"]),
    only("csv", &["intake"]),
    only("encoding_rs", &["intake"]),
    only("dicom_core", &["intake"]),
    only("dicom_dictionary_std", &["intake"]),
    only("dicom_object", &["intake"]),
    only("dicom_transfer_syntax_registry", &["intake"]),
    only("flate2", &["intake"]),
    only("der", &["seal"]),
    only("x509_cert", &["seal"]),
    only("pkcs8", &["seal"]),
    only("p256", &["seal"]),
    only("spki", &["seal"]),
    only("const_oid", &["seal"]),
    only("argon2", &["people"]),
    only("rusqlite", &["ledger"]),
    only("hmac", &["ledger"]),
    only("toml", &["site"]),
    only("notify", &["bridge"]),
    only("ipp", &["bridge"]),
    only("sd_notify", &["bridge"]),
    only("axum", &["desk"]),
    only("maud", &["desk"]),
    only("rustls", &["desk"]),
    only("tokio", &["desk"]),
    only("clap", &["cli"]),
    only("anyhow", &["cli"]),
    only("tracing_subscriber", &["cli"]),
    only("rpassword", &["cli"]),
    only("getrandom", &["ledger", "people", "bridge", "desk", "cli"]),
    only("rustix", &["ledger", "people", "bridge", "desk", "cli"]),
    only("tracing", &["ledger", "people", "bridge", "desk", "cli"]),
];

/// Crates any room may name: plain values, text and error types.
pub(crate) const ANYWHERE: &[&str] =
    &["thiserror", "serde", "serde_json", "jiff", "sha2", "data_encoding", "unicode_normalization"];

#[test]
fn the_table_is_sound() {
    for (at, room) in ROOMS.iter().enumerate() {
        for named in room.names {
            let above = ROOMS.iter().position(|other| other.name == *named);
            assert!(above.is_some_and(|above| above < at), "`{}` names `{named}`", room.name);
        }
        // A value room that could name an acting one would not be a value room; `site` takes plain types of `people`.
        let reaches = room.names.iter().filter(|name| self::room(name).is_some_and(|room| room.effects));
        assert!(room.effects || reaches.clone().all(|name| (room.name, *name) == ("site", "people")));
    }
    for outside in OUTSIDE {
        assert!(!ANYWHERE.contains(&outside.name), "{}", outside.name);
        assert!(outside.places.iter().all(|place| room(place.split('/').next().unwrap()).is_some()));
    }
}
