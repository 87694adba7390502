//! Keys and the dates of certificates.
#![expect(clippy::disallowed_methods, reason = "keys are files")]

use jiff::Timestamp;

use super::{Health, Looked};
use crate::bridge::store::credential;
use crate::people::{Account, People};
use crate::seal::Certificate;
use crate::site::Folders;

/// From how many days before its end a certificate is to be renewed. Source: our own choice.
const SOON_DAYS: i64 = 90;

const SECONDS_OF_A_DAY: i64 = 24 * 3600;

/// The bridge's seal and the site's authority.
pub(super) fn of_the_seal(places: &Folders, now: Timestamp) -> Vec<Looked> {
    let mut list = Vec::new();
    match credential(places) {
        Ok(credential) => {
            list.push(dated("certificate of the seal", credential.certificate(), now));
            list.push(dated("certificate of the authority", credential.authority(), now));
        }
        Err(error) => list.push(Looked::failed("seal", &error)),
    }
    list.extend(stray_keys(places));
    list
}

/// A private key beside the seal's: above all the authority's, which must not lie beside the sheets it vouches for.
fn stray_keys(places: &Folders) -> Vec<Looked> {
    let Ok(entries) = std::fs::read_dir(places.keys()) else { return Vec::new() };
    let mut names: Vec<String> = entries
        .flatten()
        .filter(|entry| {
            std::fs::read_to_string(entry.path()).is_ok_and(|text| text.contains("PRIVATE KEY-----"))
        })
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| name != "seal.key.pem")
        .collect();
    names.sort();
    names
        .into_iter()
        .map(|name| {
            Looked::bad(
                "keys",
                Health::Environment,
                format!("`keys/{name}` is a private key that does not belong here"),
                "move it to a medium that is locked away, above all if it is the key of the documents authority",
            )
        })
        .collect()
}

/// The certificates of surgeons; only those that are not good are listed.
pub(super) fn of_surgeons(people: &People, accounts: &[Account], now: Timestamp) -> Vec<Looked> {
    accounts
        .iter()
        .filter(|account| !account.is_disabled())
        .filter_map(|account| {
            let what = format!("certificate of {}", account.login());
            let key = match people.key(account.login()) {
                Ok(key) => key?,
                Err(error) => return Some(Looked::failed(what, &error.into())),
            };
            match Certificate::from_pem(key.certificate_pem()) {
                Ok(certificate) => Some(dated(&what, &certificate, now)),
                Err(error) => Some(Looked::failed(what, &error.into())),
            }
        })
        .filter(|looked| looked.health != Health::Good)
        .collect()
}

fn dated(what: &str, certificate: &Certificate, now: Timestamp) -> Looked {
    let at = |time: crate::seal::UtcTime| i64::try_from(time.unix_seconds()).unwrap_or(i64::MAX);
    let (from, to) = (at(certificate.not_before()), at(certificate.not_after()));
    let day = Timestamp::from_second(to)
        .map_or_else(|_| "a time beyond the calendar".to_owned(), |end| end.strftime("%Y-%m-%d").to_string());
    let left = to.saturating_sub(now.as_second()) / SECONDS_OF_A_DAY;
    if now.as_second() < from {
        return Looked::bad(what, Health::Environment, "not valid yet", "set the clock right");
    }
    if now.as_second() > to {
        let next = "stop using this site: its signatures are no longer valid; make a new site with `axiswright init`";
        return Looked::bad(what, Health::Environment, format!("ran out on {day}"), next);
    }
    if left < SOON_DAYS {
        let next =
            "plan a new site with `axiswright init` before that day; a certificate is not renewed in place";
        return Looked::bad(what, Health::Look, format!("ends on {day}, in {left} days"), next);
    }
    Looked::good(what, format!("until {day}"))
}
