//! Time zones from the table compiled into the program, never from the computer it runs on.

use std::sync::LazyLock;

use jiff::tz::{TimeZone, TimeZoneDatabase};

static ZONES: LazyLock<TimeZoneDatabase> = LazyLock::new(TimeZoneDatabase::bundled);

/// The zone of an IANA name; none when there is no such zone.
pub(super) fn named(name: &str) -> Option<TimeZone> {
    ZONES.get(name).ok()
}
