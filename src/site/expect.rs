//! `[expect]`: the sources a case waits for, by the procedure on the list.

use super::error::{SiteError, nearest};
use super::incoming::quoted;
use super::keys::{EXPECT_MEANING, EXPECT_TABLE};
use super::reader::Reader;
use super::valued::{Described, Origin, Valued};
use crate::cite::HOUSE_RULE;
use crate::model::Procedure;

/// The expected sources of each procedure.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Expected(Vec<(Procedure, Valued<Vec<String>>)>);

impl Expected {
    /// The instruments expected for a procedure, by the site's names.
    pub(super) fn of(&self, procedure: Procedure) -> &[String] {
        self.0.iter().find(|(known, _)| *known == procedure).map_or(&[], |(_, sources)| &sources.value)
    }

    /// As rows of the printed list, every procedure.
    pub(super) fn describe(&self) -> Vec<Described> {
        Procedure::ALL
            .into_iter()
            .map(|procedure| {
                let stated = self.0.iter().find(|(known, _)| *known == procedure);
                let list: Vec<String> = self.of(procedure).iter().map(|source| quoted(source)).collect();
                Described {
                    key: format!("{EXPECT_TABLE}.{}", procedure.word()),
                    value: Some(format!("[{}]", list.join(", "))),
                    origin: stated.map_or(Origin::Default, |(_, sources)| sources.origin),
                    meaning: format!("{}: {EXPECT_MEANING}", procedure.printed()),
                    source: Some(HOUSE_RULE),
                }
            })
            .collect()
    }
}

/// Reads the table; `devices` are the instruments the site's folders bring measurements of.
///
/// # Errors
/// An unknown procedure, or an instrument no folder brings: a case would wait for it for ever.
pub(super) fn read_expected(
    reader: Option<Reader<'_>>,
    devices: &[&str],
    top: &[&str],
) -> Result<Expected, SiteError> {
    let Some(mut reader) = reader else { return Ok(Expected::default()) };
    reader.only(&Procedure::ALL.map(Procedure::word), top)?;
    let mut expected = Vec::new();
    for procedure in Procedure::ALL {
        let Some(sources) = reader.texts(procedure.word())? else { continue };
        for source in &sources.value {
            if !devices.contains(&source.as_str()) {
                return Err(SiteError::Conflict {
                    spot: sources.spot,
                    key: reader.key(procedure.word()),
                    found: super::error::shown(source),
                    problem: "no incoming folder brings measurements of this instrument".to_owned(),
                    next: nearest(source, devices.iter().copied()).map_or_else(
                        || "write the `device` of an incoming folder of measurements".to_owned(),
                        |near| format!("did you mean `{near}`?"),
                    ),
                });
            }
        }
        expected.push((procedure, sources.valued()));
    }
    Ok(Expected(expected))
}
