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
    /// Arcs on the steep meridian, beside a spherical lens or alone.
    Arcs,
    /// A toric lens added before the natural one.
    PhakicLens,
    /// A laser on the cornea.
    Laser,
    /// The turn of a toric lens that is in the eye.
    Realignment,
}

impl Act {
    /// The act of a procedure.
    pub const fn of(procedure: Procedure) -> Self {
        match procedure {
            Procedure::ToricLens => Self::ToricLens,
            Procedure::SphericalLens => Self::SphericalLens,
            Procedure::OnAxisIncision => Self::OnAxisIncision,
            Procedure::ManualSmallIncision => Self::ManualSmallIncision,
            Procedure::ArcuateKeratotomy => Self::Arcs,
            Procedure::ToricPhakicLens => Self::PhakicLens,
            Procedure::Laser => Self::Laser,
            Procedure::Realignment => Self::Realignment,
        }
    }

    /// Whether a step of cylinder may be taken.
    pub const fn takes_a_step(self) -> bool {
        match self {
            Self::ToricLens | Self::PhakicLens => true,
            Self::SphericalLens
            | Self::OnAxisIncision
            | Self::ManualSmallIncision
            | Self::Arcs
            | Self::Laser
            | Self::Realignment => false,
        }
    }

    /// Whether the plan rests on what the incision does, so that its effect must be stated.
    pub const fn rests_on_the_incision(self) -> bool {
        match self {
            Self::OnAxisIncision | Self::ManualSmallIncision => true,
            Self::ToricLens
            | Self::SphericalLens
            | Self::Arcs
            | Self::PhakicLens
            | Self::Laser
            | Self::Realignment => false,
        }
    }

    /// Whether what is left can be predicted; arcs come from a table that states no residual.
    pub const fn predicts_the_residual(self) -> bool {
        match self {
            Self::Arcs => false,
            Self::ToricLens
            | Self::SphericalLens
            | Self::OnAxisIncision
            | Self::ManualSmallIncision
            | Self::PhakicLens
            | Self::Laser
            | Self::Realignment => true,
        }
    }

    /// Which kind of incision it makes.
    pub const fn opening(self) -> Opening {
        match self {
            Self::ManualSmallIncision => Opening::Manual,
            Self::ToricLens
            | Self::SphericalLens
            | Self::OnAxisIncision
            | Self::Arcs
            | Self::PhakicLens
            | Self::Laser
            | Self::Realignment => Opening::Phaco,
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
