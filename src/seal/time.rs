//! A second of the UTC calendar, as certificates and signature dictionaries write it.

use std::fmt;
use std::time::Duration;

use der::DateTime;

use super::error::{SealError, shown};

/// A second in UTC, 1970 to 9999, without leap seconds.
///
/// # Examples
/// ```
/// use axiswright::seal::UtcTime;
/// let at = UtcTime::new(2026, 11, 5, 12, 30, 0)?;
/// assert_eq!(at.to_string(), "2026-11-05T12:30:00Z");
/// assert!(UtcTime::new(2026, 2, 30, 0, 0, 0).is_err());
/// # Ok::<(), axiswright::seal::SealError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct UtcTime(DateTime);

impl UtcTime {
    /// A second named by its calendar parts.
    ///
    /// # Errors
    /// [`SealError::Time`] if there is no such second between 1970 and 9999.
    pub fn new(year: u16, month: u8, day: u8, hour: u8, minute: u8, second: u8) -> Result<Self, SealError> {
        let wrong = || SealError::Time {
            value: format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z"),
        };
        if second > 59 {
            return Err(wrong());
        }
        let time = DateTime::new(year, month, day, hour, minute, second).map_err(|_| wrong())?;
        Ok(Self(time))
    }

    /// A second counted from 1970-01-01T00:00:00Z.
    ///
    /// # Errors
    /// [`SealError::Time`] beyond the year 9999.
    pub fn from_unix_seconds(seconds: u64) -> Result<Self, SealError> {
        let time = DateTime::from_unix_duration(Duration::from_secs(seconds))
            .map_err(|_| SealError::Time { value: seconds.to_string() })?;
        Ok(Self(time))
    }

    /// Seconds since 1970-01-01T00:00:00Z.
    pub fn unix_seconds(self) -> u64 {
        self.0.unix_duration().as_secs()
    }

    /// The date string of PDF (ISO 32000-1, 7.9.4) in UTC: `D:YYYYMMDDHHMMSSZ`.
    pub(super) fn pdf_date(self) -> String {
        let t = self.0;
        format!(
            "D:{:04}{:02}{:02}{:02}{:02}{:02}Z",
            t.year(),
            t.month(),
            t.day(),
            t.hour(),
            t.minutes(),
            t.seconds()
        )
    }

    /// Reads exactly the form that [`Self::pdf_date`] writes.
    pub(super) fn from_pdf_date(text: &[u8]) -> Result<Self, SealError> {
        let wrong = || SealError::Time { value: shown(&String::from_utf8_lossy(text)) };
        let digits = text
            .strip_prefix(b"D:")
            .and_then(|rest| rest.strip_suffix(b"Z"))
            .filter(|digits| digits.len() == 14 && digits.iter().all(u8::is_ascii_digit))
            .ok_or_else(wrong)?;
        let number = |from: usize, len: usize| -> u16 {
            digits.iter().skip(from).take(len).fold(0, |sum, digit| sum * 10 + u16::from(digit - b'0'))
        };
        let two = |from: usize| u8::try_from(number(from, 2)).map_err(|_| wrong());
        Self::new(number(0, 4), two(4)?, two(6)?, two(8)?, two(10)?, two(12)?)
    }

    /// The time inside a certificate.
    pub(super) fn from_x509(time: x509_cert::time::Time) -> Self {
        Self(time.to_date_time())
    }

    /// The form certificates take.
    pub(super) fn to_x509(self) -> x509_cert::time::Time {
        x509_cert::time::Time::from(self.0)
    }
}

impl fmt::Display for UtcTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pdf_date_comes_back() {
        let at = UtcTime::new(2026, 11, 5, 9, 3, 59).unwrap();
        assert_eq!(at.pdf_date(), "D:20261105090359Z");
        assert_eq!(UtcTime::from_pdf_date(b"D:20261105090359Z").unwrap(), at);
        assert_eq!(UtcTime::from_unix_seconds(at.unix_seconds()).unwrap(), at);
    }

    #[test]
    fn other_forms_of_date_are_refused() {
        for text in [
            &b"D:20261105090359"[..],
            b"D:20261105090359+01'00",
            b"D:20261305090359Z",
            b"20261105090359Z",
            b"D:Z",
        ] {
            assert!(UtcTime::from_pdf_date(text).is_err(), "{text:?}");
        }
        assert!(UtcTime::new(2026, 1, 1, 0, 0, 60).is_err());
        assert!(UtcTime::new(1969, 1, 1, 0, 0, 0).is_err());
    }
}
