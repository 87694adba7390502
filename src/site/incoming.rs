//! `[[incoming]]`: what a folder brings and how it is watched.

use super::error::SiteError;
use super::folders::is_plain_name;
use super::keys::{INCOMING, INCOMING_TABLE, names};
use super::reader::{Read, Reader, or_default};
use super::valued::{Described, Origin, Valued};
use crate::intake::{AxisConvention, Brings, FolderRules};
use crate::model::{ChamberDepthFrom, InstrumentClass};
use crate::units::KeratometricIndex;

/// Whether files are taken out of a folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mode {
    /// Taken out once they are kept and recorded.
    Own,
    /// Copied and left.
    Look,
}

impl Mode {
    /// The word of the settings.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Own => "own",
            Self::Look => "look",
        }
    }

    fn from_word(word: &str) -> Option<Self> {
        [Self::Own, Self::Look].into_iter().find(|mode| mode.word() == word)
    }
}

/// Seconds a file must stay unchanged when the folder says nothing. Source: [`HOUSE_RULE`](crate::cite::HOUSE_RULE).
pub(super) const SETTLE_SECONDS: u32 = 2;

const BRINGS: [Brings; 4] = [Brings::Measurements, Brings::Lists, Brings::Refractions, Brings::Facts];

const CLASSES: [(&str, InstrumentClass); 5] = [
    ("keratometer", InstrumentClass::Keratometer),
    ("biometer", InstrumentClass::Biometer),
    ("tomographer", InstrumentClass::Tomographer),
    ("refractor", InstrumentClass::Refractor),
    ("unknown", InstrumentClass::Unknown),
];

/// Whether one eye of an examination may be missing, or none.
const EYES: [&str; 2] = ["any", "both"];

/// One incoming folder.
#[derive(Debug, Clone, PartialEq)]
pub struct Incoming {
    folder: Valued<String>,
    brings: Valued<Brings>,
    device: Option<Valued<String>>,
    class: Valued<InstrumentClass>,
    mode: Valued<Mode>,
    zone: Option<Valued<String>>,
    settle_seconds: Valued<u32>,
    templates: Valued<Vec<String>>,
    index: Option<Valued<f64>>,
    both_eyes: Valued<bool>,
    power_step_d: Option<Valued<f64>>,
    axes: Valued<AxisConvention>,
    depth_from: Option<Valued<ChamberDepthFrom>>,
    zone_mm: Option<Valued<f64>>,
    spots: Spots,
}

/// Places that checks over several tables need.
#[derive(Debug, Clone, PartialEq)]
struct Spots {
    folder: super::Spot,
    class: super::Spot,
    templates: super::Spot,
}

impl Incoming {
    /// Name of the folder inside `incoming/`; one plain name, never a path.
    pub fn folder(&self) -> &str {
        &self.folder.value
    }

    /// The kind of file it brings.
    pub const fn brings(&self) -> Brings {
        self.brings.value
    }

    /// Whether files are taken out.
    pub const fn mode(&self) -> Mode {
        self.mode.value
    }

    /// How long a file must stay unchanged, in seconds, up to 3600; 0 only where no writer can be met half-way, on a test
    /// or demo site.
    pub const fn settle_seconds(&self) -> u32 {
        self.settle_seconds.value
    }

    /// The site's name of the instrument whose measurements it brings.
    pub(super) fn measuring_device(&self) -> Option<&str> {
        self.device_text().filter(|_| self.brings.value == Brings::Measurements)
    }

    /// Ids of the mapping templates that may read its text files.
    pub fn templates(&self) -> &[String] {
        &self.templates.value
    }

    /// What is declared about the instrument of the folder, in words; none where the folder brings none of its files.
    pub fn profile(&self) -> Option<String> {
        let device = self.device_text()?;
        let class = CLASSES.iter().find(|(_, class)| *class == self.class.value);
        let word = class.map_or("unknown", |(word, _)| *word);
        let number = |what: &str, value: Option<Valued<f64>>, unit: &str| {
            value.map(|value| format!("{what} {}{unit}", value.value))
        };
        let parts = [
            Some(format!("{device} ({word})")),
            self.zone.as_ref().map(|zone| format!("clock of {}", zone.value)),
            number("index", self.index, ""),
            number("power step", self.power_step_d, " D"),
            Some(format!("axes {}", self.axes.value.word())),
            self.depth_from.map(|from| format!("chamber depth {}", from.value.word())),
            number("measured zone", self.zone_mm, " mm"),
            self.both_eyes.value.then(|| "both eyes".to_owned()),
        ];
        Some(parts.into_iter().flatten().collect::<Vec<_>>().join(", "))
    }

    /// What the reader is told about the folder.
    pub fn rules(&self) -> FolderRules {
        FolderRules {
            brings: self.brings.value,
            device: self.device.as_ref().map(|device| device.value.clone()),
            class: self.class.value,
            templates: self.templates.value.clone(),
            zone: self.zone.as_ref().map(|zone| zone.value.clone()),
            index: self.index.map(|index| index.value),
            both_eyes: self.both_eyes.value,
            power_step_d: self.power_step_d.map(|step| step.value),
            axes: self.axes.value,
            depth_from: self.depth_from.map(|from| from.value),
            zone_mm: self.zone_mm.map(|zone| zone.value),
        }
    }

    /// Templates the folder names that the site does not have, or that read another kind of file.
    pub(super) fn template_faults(&self, known: &[(&str, Brings)]) -> Vec<SiteError> {
        let fault = |id: &str, problem: String, next: String| SiteError::Conflict {
            spot: self.spots.templates.clone(),
            key: format!("{INCOMING_TABLE}.templates"),
            found: super::error::shown(id),
            problem,
            next,
        };
        let mut faults = Vec::new();
        for id in &self.templates.value {
            match known.iter().find(|(known, _)| known == id) {
                None => {
                    let near = super::error::nearest(id, known.iter().map(|(known, _)| *known));
                    let next = near.map_or_else(
                        || "put the template into `mappings/`, or correct the id".to_owned(),
                        |near| format!("did you mean `{near}`?"),
                    );
                    faults.push(fault(id, "no template of the site has this id".to_owned(), next));
                }
                Some((_, brings)) if *brings != self.brings.value => faults.push(fault(
                    id,
                    format!(
                        "the template reads {}, the folder brings {}",
                        brings.word(),
                        self.brings.value.word()
                    ),
                    "name a template for what the folder brings".to_owned(),
                )),
                Some(_) => {}
            }
        }
        faults
    }

    /// The folder as rows of the printed list; `number` counts from 1.
    pub(super) fn describe(&self, number: usize) -> Vec<Described> {
        let class = CLASSES.iter().find(|(_, class)| *class == self.class.value);
        let list: Vec<String> = self.templates.value.iter().map(|id| quoted(id)).collect();
        let optional_number =
            |value: Option<Valued<f64>>| (value.map(|v| v.value.to_string()), origin(value.as_ref()));
        let optional_text = |value: Option<&Valued<String>>| (value.map(|v| quoted(&v.value)), origin(value));
        INCOMING
            .iter()
            .map(|key| {
                let (value, origin) = match key.name {
                    "folder" => (Some(quoted(&self.folder.value)), self.folder.origin),
                    "brings" => (Some(quoted(self.brings.value.word())), self.brings.origin),
                    "device" => optional_text(self.device.as_ref()),
                    "class" => (class.map(|(word, _)| quoted(word)), self.class.origin),
                    "mode" => (Some(quoted(self.mode.value.word())), self.mode.origin),
                    "zone" => optional_text(self.zone.as_ref()),
                    "settle_seconds" => {
                        (Some(self.settle_seconds.value.to_string()), self.settle_seconds.origin)
                    }
                    "templates" => (Some(format!("[{}]", list.join(", "))), self.templates.origin),
                    "index" => optional_number(self.index),
                    "eyes" => {
                        let [any, both] = EYES;
                        (Some(quoted(if self.both_eyes.value { both } else { any })), self.both_eyes.origin)
                    }
                    "axis_convention" => (Some(quoted(self.axes.value.word())), self.axes.origin),
                    "chamber_depth_from" => (
                        self.depth_from.map(|from| quoted(from.value.word())),
                        origin(self.depth_from.as_ref()),
                    ),
                    "zone_mm" => optional_number(self.zone_mm),
                    _ => optional_number(self.power_step_d),
                };
                Described {
                    key: format!("{INCOMING_TABLE}[{number}].{}", key.name),
                    value,
                    origin,
                    meaning: key.meaning.to_owned(),
                    source: key.source,
                }
            })
            .collect()
    }
}

fn origin<T>(value: Option<&Valued<T>>) -> Origin {
    value.map_or(Origin::Default, |value| value.origin)
}

/// A text as it stands in a TOML file.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// Reads every `[[incoming]]`.
///
/// # Errors
/// For a value that cannot stand, a folder named twice, or one instrument declared as two kinds.
pub(super) fn read_incoming(tables: Vec<Reader<'_>>, top: &[&str]) -> Result<Vec<Incoming>, SiteError> {
    let mut folders: Vec<Incoming> = Vec::new();
    for table in tables {
        let incoming = read_one(table, top)?;
        for earlier in &folders {
            agree(earlier, &incoming)?;
        }
        folders.push(incoming);
    }
    Ok(folders)
}

fn agree(earlier: &Incoming, incoming: &Incoming) -> Result<(), SiteError> {
    if earlier.folder.value.eq_ignore_ascii_case(&incoming.folder.value) {
        return Err(SiteError::Conflict {
            spot: incoming.spots.folder.clone(),
            key: format!("{INCOMING_TABLE}.folder"),
            found: incoming.folder.value.clone(),
            problem: format!("line {} names the same folder", earlier.spots.folder.line),
            next: "give each folder one `[[incoming]]`; capitals do not make two folders".to_owned(),
        });
    }
    let same_device = match (&earlier.device, &incoming.device) {
        (Some(one), Some(other)) => one.value.eq_ignore_ascii_case(&other.value),
        _ => false,
    };
    if same_device
        && (earlier.class.value != incoming.class.value || earlier.device_text() != incoming.device_text())
    {
        return Err(SiteError::Conflict {
            spot: incoming.spots.class.clone(),
            key: format!("{INCOMING_TABLE}.device"),
            found: incoming.device_text().unwrap_or_default().to_owned(),
            problem: format!(
                "the folder on line {} brings files of the same instrument and writes its name or class otherwise",
                earlier.spots.folder.line
            ),
            next: "write `device` and `class` of one instrument alike in all its folders".to_owned(),
        });
    }
    Ok(())
}

impl Incoming {
    fn device_text(&self) -> Option<&str> {
        self.device.as_ref().map(|device| device.value.as_str())
    }
}

/// Refuses a folder of a live site whose files need not stand still.
pub(super) fn all_settle(incoming: &[Incoming]) -> Result<(), SiteError> {
    match incoming.iter().find(|folder| folder.settle_seconds() == 0) {
        None => Ok(()),
        Some(folder) => Err(SiteError::Conflict {
            spot: folder.spots.folder.clone(),
            key: format!("{INCOMING_TABLE}.settle_seconds"),
            found: "0".to_owned(),
            problem: "on a live site a file must stand still before it is taken".to_owned(),
            next: "set `settle_seconds` to 1 or more".to_owned(),
        }),
    }
}

fn read_one(mut table: Reader<'_>, top: &[&str]) -> Result<Incoming, SiteError> {
    table.only(&names(&INCOMING), top)?;
    let folder = table
        .text("folder")?
        .ok_or_else(|| table.missing("folder", "the name of a folder inside `incoming/`"))?;
    if !is_plain_name(&folder.value) {
        let expected = "one name of ASCII letters, digits, `.`, `-`, `_`, at most 60 characters, no path, no point at either end";
        return Err(table.value_error("folder", folder.spot, expected, &folder.value));
    }
    let words = BRINGS.map(Brings::word);
    let from = |word: &str| BRINGS.into_iter().find(|brings| brings.word() == word);
    let brings = table
        .word("brings", &words, from)?
        .ok_or_else(|| table.missing("brings", "`measurements`, `lists`, `refractions` or `facts`"))?;
    let of_an_instrument = matches!(brings.value, Brings::Measurements | Brings::Refractions);
    let device = table.text("device")?;
    let class_words = CLASSES.map(|(word, _)| word);
    let class = table.word("class", &class_words, |word| {
        CLASSES.into_iter().find(|(known, _)| *known == word).map(|(_, class)| class)
    })?;
    let mode = table.word("mode", &["own", "look"], Mode::from_word)?;
    let zone = read_zone(&mut table)?;
    let settle_seconds = table.whole("settle_seconds", 0, 3600)?;
    let templates = table.texts("templates")?;
    let index = table.number("index", "a keratometric index from 1.3 to 1.4", |value| {
        KeratometricIndex::from_reading(value).is_ok()
    })?;
    let both_eyes = table.word("eyes", &EYES, |word| Some(word == "both"))?;
    let power_step = table.number("power_step_d", "a step in dioptres above 0, at most 1", |value| {
        value > 0.0 && value <= 1.0
    })?;
    let axes = read_axes(&mut table)?;
    let depths = [ChamberDepthFrom::CornealFront, ChamberDepthFrom::CornealBack].map(ChamberDepthFrom::word);
    let depth_from = table.word("chamber_depth_from", &depths, ChamberDepthFrom::from_word)?;
    let zone_mm = table.number("zone_mm", "the diameter of a zone from 0.5 to 12 mm", |value| {
        (0.5..=12.0).contains(&value)
    })?;

    let measures = brings.value == Brings::Measurements;
    if measures && device.is_none() {
        return Err(table.missing("device", "a folder of measurements names its instrument"));
    }
    let idle = [
        ("device", device.as_ref().map(|d| &d.spot), of_an_instrument),
        ("class", class.as_ref().map(|c| &c.spot), of_an_instrument),
        ("index", index.as_ref().map(|i| &i.spot), measures),
        ("eyes", both_eyes.as_ref().map(|b| &b.spot), measures),
        ("power_step_d", power_step.as_ref().map(|p| &p.spot), measures),
        ("axis_convention", axes.as_ref().map(|a| &a.spot), of_an_instrument),
        ("chamber_depth_from", depth_from.as_ref().map(|d| &d.spot), measures),
        ("zone_mm", zone_mm.as_ref().map(|z| &z.spot), measures),
    ];
    for (name, spot, has_a_use) in idle {
        if let (Some(spot), false) = (spot, has_a_use) {
            return Err(SiteError::Conflict {
                spot: spot.clone(),
                key: table.key(name),
                found: "given".to_owned(),
                problem: format!("a folder that brings {} has no use for it", brings.value.word()),
                next: format!("remove `{name}`, or correct `brings`"),
            });
        }
    }
    let templates = templates.ok_or_else(|| {
        let expected = if measures {
            "the ids of the templates for its text files, or `[]` when it brings DICOM only"
        } else {
            "the ids of the templates that read its files"
        };
        table.missing("templates", expected)
    })?;
    if templates.value.is_empty() && !measures {
        let spot = templates.spot;
        return Err(table.value_error("templates", spot, "at least one id: its files are text", "[]"));
    }

    let spots = Spots {
        folder: folder.spot.clone(),
        class: class.as_ref().map_or_else(|| folder.spot.clone(), |class| class.spot.clone()),
        templates: templates.spot.clone(),
    };
    Ok(Incoming {
        folder: folder.valued(),
        brings: brings.valued(),
        device: device.map(Read::valued),
        class: or_default(class, InstrumentClass::Unknown),
        mode: or_default(mode, Mode::Own),
        zone: zone.map(Read::valued),
        settle_seconds: or_default(settle_seconds, SETTLE_SECONDS),
        templates: templates.valued(),
        index: index.map(Read::valued),
        both_eyes: or_default(both_eyes, false),
        power_step_d: power_step.map(Read::valued),
        axes: or_default(axes, AxisConvention::Iso8429),
        depth_from: depth_from.map(Read::valued),
        zone_mm: zone_mm.map(Read::valued),
        spots,
    })
}

/// The convention of axes: the one there is, in words that say why there is no other.
fn read_axes(table: &mut Reader<'_>) -> Result<Option<Read<AxisConvention>>, SiteError> {
    let Some(word) = table.text("axis_convention")? else { return Ok(None) };
    let Some(value) = AxisConvention::from_word(&word.value) else {
        return Err(SiteError::Conflict {
            spot: word.spot,
            key: table.key("axis_convention"),
            found: super::error::shown(&word.value),
            problem: "axes are read after ISO 8429 only: none is turned or mirrored on the way in, so the files of this folder cannot be read".to_owned(),
            next: "set the instrument to export axes as `iso-8429` has them (seen by a person facing the patient, zero at the right, anticlockwise), or take the folder away".to_owned(),
        });
    };
    Ok(Some(Read { value, spot: word.spot }))
}

/// A time zone by its IANA name, checked against the table compiled into the program.
pub(super) fn read_zone(table: &mut Reader<'_>) -> Result<Option<Read<String>>, SiteError> {
    let Some(zone) = table.text("zone")? else { return Ok(None) };
    if time_zone(&zone.value).is_none() {
        let expected = "the IANA name of a time zone, e.g. `Europe/Lisbon`";
        return Err(table.value_error("zone", zone.spot, expected, &zone.value));
    }
    Ok(Some(zone))
}

/// The zone of an IANA name; none when there is none.
pub(super) fn time_zone(name: &str) -> Option<jiff::tz::TimeZone> {
    jiff::tz::TimeZoneDatabase::bundled().get(name).ok()
}
