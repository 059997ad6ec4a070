//! Who a member is to the department.

use serde::{Deserialize, Serialize};

/// A role. A member may have several.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Makes checks.
    Crew,
    /// Answers for a rig and its crew.
    Officer,
    /// Repairs and returns units.
    Technician,
    /// Sets it up and answers for the record.
    Administrator,
}

impl Role {
    /// All roles.
    pub const ALL: [Self; 4] = [Self::Crew, Self::Officer, Self::Technician, Self::Administrator];

    /// On a screen, and as written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::Crew => "crew",
            Self::Officer => "officer",
            Self::Technician => "technician",
            Self::Administrator => "administrator",
        }
    }

    /// The role of this name.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|r| r.id() == id)
    }
}
