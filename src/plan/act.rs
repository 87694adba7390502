//! What each operation does about the astigmatism: one act per procedure that is planned.

use crate::model::Procedure;

/// What the plan does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Act {
    /// A toric lens takes the astigmatism; the incision stays where it is usually made.
    ToricLens,
    /// A spherical lens; the astigmatism is left, but for what the incision takes.
    SphericalLens,
    /// A spherical lens through an incision on the steep meridian.
    OnAxisIncision,
    /// A spherical lens through a manual small incision at its usual place.
    ManualSmallIncision,
}

impl Act {
    /// The act of a procedure; none for one that this version does not plan.
    pub const fn of(procedure: Procedure) -> Option<Self> {
        match procedure {
            Procedure::ToricLens => Some(Self::ToricLens),
            Procedure::SphericalLens => Some(Self::SphericalLens),
            Procedure::OnAxisIncision => Some(Self::OnAxisIncision),
            Procedure::ManualSmallIncision => Some(Self::ManualSmallIncision),
            Procedure::ArcuateKeratotomy
            | Procedure::ToricPhakicLens
            | Procedure::Laser
            | Procedure::Realignment => None,
        }
    }

    /// Whether a step of cylinder may be taken.
    pub const fn takes_a_step(self) -> bool {
        match self {
            Self::ToricLens => true,
            Self::SphericalLens | Self::OnAxisIncision | Self::ManualSmallIncision => false,
        }
    }

    /// Whether the plan rests on what the incision does, so that its effect must be stated.
    pub const fn rests_on_the_incision(self) -> bool {
        match self {
            Self::OnAxisIncision | Self::ManualSmallIncision => true,
            Self::ToricLens | Self::SphericalLens => false,
        }
    }

    /// Which kind of incision it makes.
    pub const fn opening(self) -> Opening {
        match self {
            Self::ManualSmallIncision => Opening::Manual,
            Self::ToricLens | Self::SphericalLens | Self::OnAxisIncision => Opening::Phaco,
        }
    }
}

/// What the incision is for: its size and its effect go with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Opening {
    /// For phaco.
    Phaco,
    /// For manual small-incision surgery.
    Manual,
    /// Two for phaco, opposite each other on one meridian; their effect is that of the pair.
    Paired,
}

impl Opening {
    /// The words of a surgeon's file.
    pub const WORDS: &str = "phaco, manual, paired";

    /// Reads the word of a surgeon's file.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim() {
            "phaco" => Some(Self::Phaco),
            "manual" => Some(Self::Manual),
            "paired" => Some(Self::Paired),
            _ => None,
        }
    }
}
