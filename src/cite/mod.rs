//! Published sources: authors, journal, year, place in the text, how far verified.
//!
//! Every number that stands in `optics`, `checks` or `plan` names one of these. The mark goes onto the record page and
//! into `docs/SOURCES.md`, so that a reader sees what was read and what was remembered.

mod page;
mod sources;

pub use page::sources_page;
pub use sources::*;

/// How far a value of a source has been verified by us.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// The statement was read, in the paper, its abstract or an excerpt.
    Read,
    /// Follows by computation from a stated formula.
    Computed,
    /// Recalled, and the same value was read in secondary restatements.
    Secondary,
    /// Practice of the trade without a published source we could name.
    CommonPractice,
    /// From memory, not compared with the paper.
    FromMemory,
    /// An assumption of ours, to be replaced by local data.
    Assumed,
}

impl Mark {
    /// The mark in words, as printed.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Computed => "computed",
            Self::Secondary => "read in secondary texts",
            Self::CommonPractice => "common practice",
            Self::FromMemory => "from memory",
            Self::Assumed => "our assumption",
        }
    }
}

/// A source of a formula, a value or a convention.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Source {
    /// Short name on paper, e.g. `Haigis 2000`.
    pub short: &'static str,
    /// Authors, title or journal, year, volume and page.
    pub full: &'static str,
    /// Place in the text, or what was seen of it.
    pub place: &'static str,
    /// How far verified.
    pub mark: Mark,
}

impl Source {
    /// Short name with its mark, as on the record page: `Eom 2015 (read)`.
    pub fn cited(&self) -> String {
        format!("{} ({})", self.short, self.mark.words())
    }
}
