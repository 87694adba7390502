//! A table of arcs: for an age, an amount and a class of astigmatism, how many cuts of how many degrees.
//!
//! A table is a file somebody approved; nothing between its cells is interpolated and nothing beyond its edges is
//! guessed. What it does not say - where a single arc lies, at which zone, how deep - the surgeon's file says, or no arcs
//! are planned.

use crate::cite::Mark;
use crate::optics::posterior::AstigmatismClass;
use crate::optics::view::LimbalPlace;
use crate::units::{Degrees, Dioptre, Meridian, Micrometre, Millimetre, round};

/// Which astigmatism a table is entered with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ArcInput {
    /// The combined keratometry, nothing added.
    Keratometric,
    /// Keratometry with the back surface of the cornea.
    Total,
}

impl ArcInput {
    /// The words there are.
    pub const WORDS: &str = "keratometric, total";

    /// The word of files and JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Keratometric => "keratometric",
            Self::Total => "total",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        [Self::Keratometric, Self::Total].into_iter().find(|input| input.word() == text.trim())
    }
}

/// How a table takes the cataract incision.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ArcIncision {
    /// Its effect is in the table: the astigmatism before it is entered.
    Included,
    /// Its effect is taken off first, by the surgeon's own numbers.
    Separate,
    /// The table is for arcs without a cataract incision.
    None,
}

impl ArcIncision {
    /// The words there are.
    pub const WORDS: &str = "included, separate, none";

    /// The word of files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Included => "included",
            Self::Separate => "separate",
            Self::None => "none",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        [Self::Included, Self::Separate, Self::None].into_iter().find(|known| known.word() == text.trim())
    }
}

/// How deep the arcs are cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ArcDepth {
    /// A set depth.
    Set(Micrometre),
    /// A share of the thinnest local reading, percent.
    Percent(f64),
}

impl ArcDepth {
    /// `600 um` or `85 %`.
    pub fn words(self) -> String {
        match self {
            Self::Set(depth) => format!("{} um", round::fixed(depth.micrometres(), 0)),
            Self::Percent(share) => format!("{} %", round::fixed(share, 1)),
        }
    }
}

/// At which end of the steep meridian a single arc lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ArcEnd {
    /// At the end nearer to this side of the eye.
    Toward(LimbalPlace),
    /// At the end that can be reached from the seat, the one nearer to the surgeon.
    Reach,
}

impl ArcEnd {
    /// The words there are.
    pub const WORDS: &str = "nasal, temporal, superior, inferior, reach";

    /// The word of files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Toward(place) => place.word(),
            Self::Reach => "reach",
        }
    }

    /// From that word.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim() {
            "reach" => Some(Self::Reach),
            word @ ("nasal" | "temporal" | "superior" | "inferior") => {
                LimbalPlace::from_word(word).map(Self::Toward)
            }
            _ => None,
        }
    }
}

/// Where a single arc lies, by class of astigmatism.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SingleArc {
    /// With the rule.
    pub with_the_rule: ArcEnd,
    /// Oblique.
    pub oblique: ArcEnd,
    /// Against the rule.
    pub against_the_rule: ArcEnd,
}

impl SingleArc {
    /// The end for a class.
    pub const fn of(&self, class: AstigmatismClass) -> ArcEnd {
        match class {
            AstigmatismClass::WithTheRule => self.with_the_rule,
            AstigmatismClass::Oblique => self.oblique,
            AstigmatismClass::AgainstTheRule => self.against_the_rule,
        }
    }

    /// The three words.
    pub fn words(&self) -> String {
        format!(
            "with the rule {}, oblique {}, against the rule {}",
            self.with_the_rule.word(),
            self.oblique.word(),
            self.against_the_rule.word()
        )
    }
}

/// The words of a class of astigmatism.
pub const fn class_words(class: AstigmatismClass) -> &'static str {
    match class {
        AstigmatismClass::WithTheRule => "with the rule",
        AstigmatismClass::Oblique => "oblique",
        AstigmatismClass::AgainstTheRule => "against the rule",
    }
}

/// Where the classes of astigmatism end, by the distance of the steep meridian from the horizontal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClassLimits {
    /// Up to this distance, the limit included, it is against the rule.
    pub against_to: Degrees,
    /// From this distance on, the limit included, it is with the rule.
    pub with_from: Degrees,
    /// Whether the table's file states them; otherwise they are our assumption.
    pub stated: bool,
}

impl Default for ClassLimits {
    fn default() -> Self {
        Self {
            against_to: Degrees::from_degrees(30.0),
            with_from: Degrees::from_degrees(60.0),
            stated: false,
        }
    }
}

impl ClassLimits {
    /// Distance of a steep meridian from the horizontal, degrees, 0 to 90.
    pub fn from_horizontal(steep: Meridian) -> f64 {
        90.0 - (90.0 - steep.degrees()).abs()
    }

    /// The class of a steep meridian, taken as printed, in whole degrees.
    pub fn of(&self, steep: Meridian) -> AstigmatismClass {
        let distance = Self::from_horizontal(Meridian::wrapping(round::rounded(steep.degrees(), 0)));
        if distance <= self.against_to.degrees() {
            AstigmatismClass::AgainstTheRule
        } else if distance >= self.with_from.degrees() {
            AstigmatismClass::WithTheRule
        } else {
            AstigmatismClass::Oblique
        }
    }
}

/// A band of ages in whole years at the operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AgeBand {
    /// From this age on.
    pub from: u32,
    /// Below this age; none for the last band, which has no end.
    pub below: Option<u32>,
}

impl AgeBand {
    /// Whether an age lies in it.
    pub fn holds(&self, years: u32) -> bool {
        years >= self.from && self.below.is_none_or(|below| years < below)
    }

    /// `60 to 69 years`, `80 years and older`.
    pub fn words(&self) -> String {
        match self.below {
            Some(below) => format!("{} to {} years", self.from, below.saturating_sub(1)),
            None => format!("{} years and older", self.from),
        }
    }
}

/// One cell of a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArcCell {
    /// How far each cut runs.
    pub arc: Degrees,
    /// Number of cuts, 1 or 2; two lie opposite each other on the steep meridian.
    pub cuts: u32,
}

/// One row of a table: a band of astigmatism with a cell for each age.
#[derive(Debug, Clone, PartialEq)]
pub struct ArcRow {
    /// From this astigmatism on.
    pub from: Dioptre,
    /// Up to this one, which belongs to the next row; at the end of the table to this.
    pub to: Dioptre,
    /// A cell for each band of ages.
    pub cells: Vec<ArcCell>,
}

/// The rows for some classes of astigmatism.
#[derive(Debug, Clone, PartialEq)]
pub struct ArcTable {
    /// The classes.
    pub classes: Vec<AstigmatismClass>,
    /// The rows, weakest first, without a gap.
    pub rows: Vec<ArcRow>,
}

/// A table of arcs as its file states it.
#[derive(Debug, Clone, PartialEq)]
pub struct Nomogram {
    /// Name, as a surgeon's file writes it.
    pub name: String,
    /// Revision of the file; none where it states none.
    pub revision: Option<String>,
    /// Authors.
    pub authors: String,
    /// Title.
    pub title: String,
    /// Where it was published, and what of it was seen.
    pub published: String,
    /// How far it was verified.
    pub mark: Mark,
    /// What the file adds: how its edges are read.
    pub note: Option<String>,
    /// What the table is entered with.
    pub input: Option<ArcInput>,
    /// How it takes the cataract incision.
    pub incision: Option<ArcIncision>,
    /// Where a single arc lies.
    pub single: Option<SingleArc>,
    /// Diameter of the circle the arcs lie on.
    pub zone: Option<Millimetre>,
    /// How deep they are cut.
    pub depth: Option<ArcDepth>,
    /// Where the classes end.
    pub limits: ClassLimits,
    /// Bands of ages, youngest first, without a gap.
    pub ages: Vec<AgeBand>,
    /// The rows by class; no class stands twice.
    pub tables: Vec<ArcTable>,
}

/// What a table says for an eye.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Looked {
    pub(super) age: AgeBand,
    pub(super) from: Dioptre,
    pub(super) to: Dioptre,
    /// Whether the upper end belongs to the band: at the end of the table.
    pub(super) last: bool,
    pub(super) cell: ArcCell,
}

impl Looked {
    /// `1.50 to below 2.00 D`, `3.00 to 4.00 D`.
    pub(super) fn band(&self) -> String {
        let d = |value: Dioptre| round::fixed(value.dioptres(), 2);
        let to = if self.last { "to" } else { "to below" };
        format!("{} {to} {} D", d(self.from), d(self.to))
    }
}

/// Why a table says nothing for an eye.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Outside {
    /// Too young.
    Age {
        /// From when on it speaks.
        from: u32,
    },
    /// Too little or too much astigmatism.
    Astigmatism {
        /// What it holds for.
        holds: String,
    },
    /// Not this class.
    Class,
}

impl Nomogram {
    /// Authors, title, place: as printed beside the numbers.
    pub fn cited(&self) -> String {
        format!("{}. {}. {} ({})", self.authors, self.title, self.published, self.mark.words())
    }

    /// What the table says; the astigmatism counts as printed, to 0.01 D.
    pub(super) fn look_up(
        &self,
        class: AstigmatismClass,
        cylinder: Dioptre,
        years: u32,
    ) -> Result<Looked, Outside> {
        let table = self.tables.iter().find(|table| table.classes.contains(&class)).ok_or(Outside::Class)?;
        let column = self.ages.iter().position(|band| band.holds(years));
        let age = column.and_then(|column| self.ages.get(column)).copied();
        let (Some(column), Some(age)) = (column, age) else {
            return Err(Outside::Age { from: self.ages.first().map_or(0, |band| band.from) });
        };
        let amount = round::rounded(cylinder.dioptres(), 2);
        let end = table.rows.len();
        let row = (1..).zip(&table.rows).find(|(number, row)| {
            let (from, to) = (row.from.dioptres(), row.to.dioptres());
            amount >= from && (amount < to || (*number == end && amount <= to))
        });
        let found = row.and_then(|(number, row)| Some((number == end, row, row.cells.get(column).copied()?)));
        found
            .map(|(last, row, cell)| Looked { age, from: row.from, to: row.to, last, cell })
            .ok_or_else(|| Outside::Astigmatism { holds: held(table) })
    }
}

/// From where to where the rows of a table go: `1.00 to 4.00 D`.
fn held(table: &ArcTable) -> String {
    let d = |value: Option<Dioptre>| round::fixed(value.unwrap_or(Dioptre::ZERO).dioptres(), 2);
    let (first, last) = (table.rows.first().map(|row| row.from), table.rows.last().map(|row| row.to));
    format!("{} to {} D", d(first), d(last))
}

/// What a surgeon's file says about arcs: which table, and what the table leaves open.
#[derive(Debug, Clone, PartialEq)]
pub struct ArcTechnique {
    /// Name of the table.
    pub nomogram: String,
    /// Diameter of the circle the arcs lie on.
    pub zone: Option<Millimetre>,
    /// How deep they are cut.
    pub depth: Option<ArcDepth>,
    /// What the table is entered with.
    pub input: Option<ArcInput>,
    /// How the table takes the cataract incision.
    pub incision: Option<ArcIncision>,
    /// Where a single arc lies.
    pub single: Option<SingleArc>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_belongs_to_the_class_with_or_against_the_rule() {
        let limits = ClassLimits::default();
        for (steep, class) in [
            (90.0, "with the rule"),
            (60.0, "with the rule"),
            (120.4, "with the rule"),
            (59.0, "oblique"),
            (121.0, "oblique"),
            (31.0, "oblique"),
            (149.0, "oblique"),
            (30.0, "against the rule"),
            (150.0, "against the rule"),
            (180.0, "against the rule"),
            (1.0, "against the rule"),
        ] {
            assert_eq!(class_words(limits.of(Meridian::wrapping(steep))), class, "{steep}");
        }
    }

    #[test]
    fn words_come_back() {
        for word in ["nasal", "temporal", "superior", "inferior", "reach"] {
            assert_eq!(ArcEnd::from_word(word).map(ArcEnd::word), Some(word));
        }
        assert_eq!(ArcEnd::from_word("superonasal"), None);
        for word in ["included", "separate", "none"] {
            assert_eq!(ArcIncision::from_word(word).map(ArcIncision::word), Some(word));
        }
        assert_eq!(ArcInput::from_word("refractive"), None);
    }
}
