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
    /// A toric lens added before the natural one.
    PhakicLens,
    /// A laser on the cornea.
    Laser,
    /// The turn of a toric lens that is in the eye.
    Realignment,
}

impl Act {
    /// The act of a procedure; none for one that this version does not plan.
    pub const fn of(procedure: Procedure) -> Option<Self> {
        match procedure {
            Procedure::ToricLens => Some(Self::ToricLens),
            Procedure::SphericalLens => Some(Self::SphericalLens),
            Procedure::OnAxisIncision => Some(Self::OnAxisIncision),
            Procedure::ManualSmallIncision => Some(Self::ManualSmallIncision),
            Procedure::ToricPhakicLens => Some(Self::PhakicLens),
            Procedure::Laser => Some(Self::Laser),
            Procedure::Realignment => Some(Self::Realignment),
            Procedure::ArcuateKeratotomy => None,
        }
    }

    /// Whether a step of cylinder may be taken.
    pub const fn takes_a_step(self) -> bool {
        match self {
            Self::ToricLens | Self::PhakicLens => true,
            Self::SphericalLens
            | Self::OnAxisIncision
            | Self::ManualSmallIncision
            | Self::Laser
            | Self::Realignment => false,
        }
    }

    /// Whether the plan rests on what the incision does, so that its effect must be stated.
    pub const fn rests_on_the_incision(self) -> bool {
        match self {
            Self::OnAxisIncision | Self::ManualSmallIncision => true,
            Self::ToricLens | Self::SphericalLens | Self::PhakicLens | Self::Laser | Self::Realignment => {
                false
            }
        }
    }

    /// Which kind of incision it makes.
    pub const fn opening(self) -> Opening {
        match self {
            Self::ManualSmallIncision => Opening::Manual,
            Self::ToricLens
            | Self::SphericalLens
            | Self::OnAxisIncision
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
}

impl Opening {
    /// Reads the word of a surgeon's file.
    pub fn from_word(text: &str) -> Option<Self> {
        match text.trim() {
            "phaco" => Some(Self::Phaco),
            "manual" => Some(Self::Manual),
            _ => None,
        }
    }
}
