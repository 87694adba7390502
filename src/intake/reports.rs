//! Tables of the concepts of structured reports: which code fills which field, in which unit.
//!
//! [`ReportMapping`] is the text of a table after its syntax was read; [`ReportTable`] is one without faults. The table the
//! program brings is handed in by whoever reads files, as a site's own are: this room reads no text of settings.

use serde::Deserialize;

use super::target::{Kind, Target};
use super::template::TemplateFault;
use crate::model::{ChamberDepthFrom, Digest, Eye, LengthMethod, TemplateRef};

/// The word of [`ReportMapping::brings`].
const BRINGS: &str = "reports";
/// The scheme of a unit given by its code alone: the Unified Code for Units of Measure.
const UCUM: &str = "UCUM";

/// The text of a table, key by key.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReportMapping {
    /// Version of the language; 1.
    pub schema: u32,
    /// Name of the table: lower-case letters, digits and hyphens.
    pub id: String,
    /// Revision, counted up at each change.
    pub revision: u32,
    /// `reports`.
    pub brings: String,
    /// One entry a concept.
    #[serde(rename = "concept", default)]
    pub concepts: Vec<ConceptRules>,
}

/// `[[concept]]`
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConceptRules {
    /// Coding scheme designator of the number's concept.
    pub scheme: String,
    /// Its code.
    pub code: String,
    /// Concept of the container the number lies in; any container when not given.
    pub parent: Option<CodeRules>,
    /// Concepts of containers further out, all of which must be there.
    #[serde(default)]
    pub within: Vec<CodeRules>,
    /// The eye the concept itself names.
    pub eye: Option<Eye>,
    /// The field of the model.
    pub to: String,
    /// The units the report may use.
    #[serde(default)]
    pub unit: Vec<UnitRules>,
    /// `axial.depth` only: `corneal_front` or `corneal_back`, where the concept says so.
    pub depth_from: Option<String>,
    /// `axial.length` only: how the length was measured, where the concept says so.
    pub method: Option<String>,
}

/// A code of a scheme.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CodeRules {
    /// Coding scheme designator.
    pub scheme: String,
    /// Code.
    pub code: String,
}

/// A unit the report may use.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(untagged)]
pub enum UnitRules {
    /// By its code in UCUM.
    Ucum(String),
    /// By a code of another scheme.
    #[serde(rename_all = "snake_case")]
    Other {
        /// Coding scheme designator.
        scheme: String,
        /// Code.
        code: String,
        /// The unit of UCUM it stands for.
        means: String,
    },
}

/// A table of concepts without faults.
#[derive(Debug, Clone, PartialEq)]
pub struct ReportTable {
    reference: TemplateRef,
    rows: Vec<Row>,
    of_the_program: bool,
}

/// One row of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    concept: Pair,
    parent: Option<Pair>,
    within: Vec<Pair>,
    pub(super) eye: Option<Eye>,
    pub(super) target: Target,
    units: Vec<(Pair, f64)>,
    pub(super) depth_from: Option<ChamberDepthFrom>,
    pub(super) method: Option<LengthMethod>,
}

/// Scheme and code.
pub(super) type Pair = (String, String);

/// Fields a report can fill.
const TARGETS: [Target; 17] = [
    Target::FlatRadius,
    Target::FlatPower,
    Target::FlatMeridian,
    Target::SteepRadius,
    Target::SteepPower,
    Target::SteepMeridian,
    Target::KmIndex,
    Target::KmZone,
    Target::AxialLength,
    Target::AxialDepth,
    Target::AxialLens,
    Target::AxialCornea,
    Target::AxialWhite,
    Target::RefractionSphere,
    Target::RefractionCylinder,
    Target::RefractionAxis,
    Target::RefractionVertex,
];

/// What one unit of the report is in the model's own. The dioptre of UCUM is `[diop]`; PS3.16 CID 4267 has `diop`.
fn factor(kind: Kind, unit: &str) -> Option<f64> {
    match (kind, unit) {
        (Kind::Radius | Kind::Length, "mm")
        | (Kind::Thickness, "um")
        | (Kind::Power, "diop" | "[diop]")
        | (Kind::Meridian, "deg")
        | (Kind::Index, "1") => Some(1.0),
        (Kind::Length, "um") => Some(0.001),
        (Kind::Thickness, "mm") => Some(1000.0),
        (Kind::Meridian, "rad") => Some(180.0 / core::f64::consts::PI),
        _ => None,
    }
}

/// The units of a kind, for the message that names them.
const fn units(kind: Kind) -> &'static str {
    match kind {
        Kind::Radius => "`mm`",
        Kind::Length => "`mm` or `um`",
        Kind::Thickness => "`um` or `mm`",
        Kind::Power => "`diop` or `[diop]`",
        Kind::Meridian => "`deg` or `rad`",
        Kind::Index => "`1`",
        Kind::Text | Kind::Word | Kind::Date | Kind::Time | Kind::Count | Kind::Direction => "none",
    }
}

fn pair(code: &CodeRules) -> Pair {
    (code.scheme.clone(), code.code.clone())
}

impl ReportTable {
    /// A table from its text and the digest of that text.
    ///
    /// # Errors
    /// Every fault of the table.
    pub fn new(mapping: &ReportMapping, digest: Digest) -> Result<Self, Vec<TemplateFault>> {
        let mut faults = Vec::new();
        let mut fault = |key: String, problem: String| faults.push(TemplateFault { key, problem });
        if mapping.schema != 1 {
            fault("schema".to_owned(), format!("`{}` is not 1, the only version there is", mapping.schema));
        }
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if mapping.id.is_empty() || !mapping.id.chars().all(plain) {
            fault("id".to_owned(), "lower-case letters, digits and hyphens only".to_owned());
        }
        if mapping.brings != BRINGS {
            fault("brings".to_owned(), format!("`{}` is not `{BRINGS}`", mapping.brings));
        }
        if mapping.concepts.is_empty() {
            fault("concept".to_owned(), "at least one `[[concept]]`".to_owned());
        }
        let mut rows: Vec<Row> = Vec::new();
        for concept in &mapping.concepts {
            match Row::new(concept) {
                Err(problem) => fault(format!("concept `{}`", concept.code), problem),
                Ok(row) if rows.iter().any(|other| other.clashes(&row)) => fault(
                    format!("concept `{}`", concept.code),
                    "the same code stands twice; give each its own `parent` or `within`".to_owned(),
                ),
                Ok(row) => rows.push(row),
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let reference = TemplateRef { id: mapping.id.clone(), revision: mapping.revision, digest };
        Ok(Self { reference, rows, of_the_program: false })
    }

    /// The same table as part of the program: read on every site, whatever a folder names.
    #[must_use]
    pub fn of_the_program(self) -> Self {
        Self { of_the_program: true, ..self }
    }

    /// Whether it is part of the program.
    pub const fn is_of_the_program(&self) -> bool {
        self.of_the_program
    }

    /// Its id.
    pub fn id(&self) -> &str {
        &self.reference.id
    }

    /// Id, revision and digest.
    pub const fn reference(&self) -> &TemplateRef {
        &self.reference
    }

    /// How many concepts it names.
    pub const fn concepts(&self) -> usize {
        self.rows.len()
    }

    /// The rows of a concept at its place: the containers it lies in, from the outermost to its own.
    pub(super) fn rows<'a>(
        &'a self,
        concept: (&'a str, &'a str),
        containers: &'a [Option<Pair>],
    ) -> impl Iterator<Item = &'a Row> {
        self.rows.iter().filter(move |row| row.stands(concept, containers))
    }
}

impl Row {
    fn new(concept: &ConceptRules) -> Result<Self, String> {
        let words = || TARGETS.iter().map(|target| target.word()).collect::<Vec<_>>().join("`, `");
        let target = Target::from_word(&concept.to)
            .filter(|target| TARGETS.contains(target))
            .ok_or_else(|| format!("`to` is `{}`, not one of `{}`", concept.to, words()))?;
        let given = [&concept.scheme, &concept.code];
        let named = concept.parent.iter().chain(&concept.within).flat_map(|code| [&code.scheme, &code.code]);
        if given.into_iter().chain(named).any(|text| text.trim().is_empty()) {
            return Err("a scheme or a code is empty".to_owned());
        }
        if concept.unit.is_empty() {
            return Err(format!("`unit` is missing: {}", units(target.kind())));
        }
        let units = concept
            .unit
            .iter()
            .map(|unit| {
                let (code, means) = match unit {
                    UnitRules::Ucum(unit) => ((UCUM.to_owned(), unit.clone()), unit),
                    UnitRules::Other { scheme, code, means } => ((scheme.clone(), code.clone()), means),
                };
                let factor = factor(target.kind(), means)
                    .ok_or_else(|| format!("unit `{means}` is not {}", units(target.kind())))?;
                Ok((code, factor))
            })
            .collect::<Result<Vec<_>, String>>()?;
        let depth_from =
            match concept.depth_from.as_deref() {
                None => None,
                Some(_) if target != Target::AxialDepth => {
                    return Err("`depth_from` belongs to `axial.depth` alone".to_owned());
                }
                Some(word) => Some(ChamberDepthFrom::from_word(word).ok_or_else(|| {
                    format!("`depth_from` is `{word}`, not `corneal_front` or `corneal_back`")
                })?),
            };
        let method = match concept.method.as_deref() {
            None => None,
            Some(_) if target != Target::AxialLength => {
                return Err("`method` belongs to `axial.length` alone".to_owned());
            }
            Some(word) => {
                Some(LengthMethod::from_word(word).ok_or_else(|| format!("`method` is `{word}`, not `optical`, `ultrasound`, `ultrasound-contact` or `ultrasound-immersion`"))?)
            }
        };
        Ok(Self {
            concept: (concept.scheme.clone(), concept.code.clone()),
            parent: concept.parent.as_ref().map(pair),
            within: concept.within.iter().map(pair).collect(),
            eye: concept.eye,
            target,
            units,
            depth_from,
            method,
        })
    }

    /// Whether two rows of one table name the same number.
    fn clashes(&self, other: &Self) -> bool {
        self.concept == other.concept
            && (self.parent.is_none() || other.parent.is_none() || self.parent == other.parent)
            && (self.within.is_empty() || other.within.is_empty() || self.within == other.within)
    }

    fn stands(&self, concept: (&str, &str), containers: &[Option<Pair>]) -> bool {
        let Some((own, outer)) = containers.split_last() else { return false };
        (self.concept.0.as_str(), self.concept.1.as_str()) == concept
            && self.parent.as_ref().is_none_or(|parent| own.as_ref() == Some(parent))
            && self.within.iter().all(|wanted| outer.iter().flatten().any(|code| code == wanted))
    }

    /// What one unit of the report is in the model's own, if it is one of the row's.
    pub(super) fn factor(&self, scheme: &str, code: &str) -> Option<f64> {
        self.units.iter().find(|((s, c), _)| s == scheme && c == code).map(|(_, factor)| *factor)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn concept(to: &str, unit: &str) -> ConceptRules {
        ConceptRules {
            scheme: "99INVENTED".to_owned(),
            code: "K1".to_owned(),
            parent: None,
            within: Vec::new(),
            eye: None,
            to: to.to_owned(),
            unit: vec![UnitRules::Ucum(unit.to_owned())],
            depth_from: None,
            method: None,
        }
    }

    fn problems(concepts: Vec<ConceptRules>) -> Vec<String> {
        let mapping = ReportMapping {
            schema: 1,
            id: "own".to_owned(),
            revision: 1,
            brings: "reports".to_owned(),
            concepts,
        };
        match ReportTable::new(&mapping, Digest::of(b"")) {
            Ok(_) => Vec::new(),
            Err(faults) => faults.into_iter().map(|fault| fault.to_string()).collect(),
        }
    }

    #[test]
    fn a_table_names_fields_and_units_that_exist() {
        assert!(problems(vec![concept("km.steep.radius", "mm")]).is_empty());
        for (to, unit) in [
            ("km.steep.radius", "um"),
            ("km.steep.radius", "[diop]"),
            ("km.index", "mm"),
            ("axial.cornea", "cm"),
            ("patient.number", "mm"),
            ("km.quality", "mm"),
            ("list.target", "diop"),
        ] {
            assert_eq!(problems(vec![concept(to, unit)]).len(), 1, "{to} {unit}");
        }
        assert_eq!(problems(Vec::new()).len(), 1);
        let no_unit = ConceptRules { unit: Vec::new(), ..concept("km.steep.radius", "mm") };
        assert_eq!(problems(vec![no_unit]).len(), 1);
        let depth = ConceptRules { depth_from: Some("front".to_owned()), ..concept("axial.depth", "mm") };
        assert_eq!(problems(vec![depth]).len(), 1);
        let stray = ConceptRules { method: Some("optical".to_owned()), ..concept("axial.lens", "mm") };
        assert_eq!(problems(vec![stray]).len(), 1);
    }

    #[test]
    fn one_code_has_one_meaning_at_one_place() {
        let at = |parent: &str, to: &str| ConceptRules {
            parent: Some(CodeRules { scheme: "99INVENTED".to_owned(), code: parent.to_owned() }),
            ..concept(to, "mm")
        };
        let flat = || at("FLAT", "km.flat.radius");
        assert!(problems(vec![flat(), at("STEEP", "km.steep.radius")]).is_empty());
        assert_eq!(problems(vec![flat(), at("FLAT", "km.steep.radius")]).len(), 1);
        assert_eq!(problems(vec![flat(), concept("km.steep.radius", "mm")]).len(), 1);
    }
}
