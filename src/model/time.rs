//! Times of an examination.

use jiff::civil;

/// How a local time was placed in the world.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ZoneSource {
    /// The file states the offset from UTC.
    Stated,
    /// The zone declared for the folder or the device, an IANA name.
    Declared(String),
    /// Nobody knows the zone.
    Unknown,
}

/// When something was measured: the local time as written, and the instant if it is certain.
///
/// The instant is absent when the zone is unknown or when the local time falls into the hour that a change of the clock
/// repeats or skips.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ExamTime {
    /// The device's local time.
    pub local: civil::DateTime,
    /// The instant, when certain.
    pub instant: Option<jiff::Timestamp>,
    /// How the zone is known.
    pub zone: ZoneSource,
}

impl ExamTime {
    /// The calendar date on the device's clock.
    pub fn date(&self) -> civil::Date {
        self.local.date()
    }

    /// A local time in a declared zone; without an instant where the clock changes.
    pub fn in_zone(local: civil::DateTime, zone: &jiff::tz::TimeZone, name: &str) -> Self {
        let instant = zone.to_ambiguous_timestamp(local).unambiguous().ok();
        Self { local, instant, zone: ZoneSource::Declared(name.to_owned()) }
    }

    /// A local time of unknown zone.
    pub const fn unplaced(local: civil::DateTime) -> Self {
        Self { local, instant: None, zone: ZoneSource::Unknown }
    }

    /// Whether the time can lie after `now`, given that a clock of unknown zone can be up to 14 hours ahead of UTC.
    pub fn is_after(&self, now: jiff::Timestamp) -> bool {
        if let Some(instant) = self.instant {
            instant > now
        } else {
            const FURTHEST_AHEAD: jiff::SignedDuration = jiff::SignedDuration::from_hours(14);
            let latest_local_now = now.saturating_add(FURTHEST_AHEAD);
            latest_local_now.is_ok_and(|latest| self.local > jiff::tz::TimeZone::UTC.to_datetime(latest))
        }
    }
}
