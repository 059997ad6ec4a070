//! Who rides what, where rigs stand, and what was moved.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::Millis;

use super::{Asset, Place, RecordRef};

/// Who is on a rig's seats in a shift. A later one takes the place of an earlier one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Crew {
    /// The rig.
    pub rig: String,
    /// When the shift began.
    pub shift: Millis,
    /// Members by seat; with none, nobody rides.
    pub seats: BTreeMap<String, String>,
}

/// Several things moved at once: all of it or nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Moved {
    /// What goes where.
    pub moves: Vec<Move>,
    /// Why.
    pub why: String,
}

/// One thing moved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Move {
    /// What.
    pub asset: Asset,
    /// Where it was when this was decided.
    pub from: Option<Place>,
    /// Where it goes.
    pub to: Place,
}

/// What a rig is for at present.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Duty {
    /// It answers calls.
    #[default]
    InUse,
    /// It stands by for another rig.
    Reserve,
    /// The vehicle is out of service.
    OutOfService,
    /// Another department has it.
    LentOut,
    /// It belongs to another department.
    OnLoan,
}

impl Duty {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::InUse, Self::Reserve, Self::OutOfService, Self::LentOut, Self::OnLoan];

    /// As written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::InUse => "in_use",
            Self::Reserve => "reserve",
            Self::OutOfService => "out_of_service",
            Self::LentOut => "lent_out",
            Self::OnLoan => "on_loan",
        }
    }

    /// On a screen.
    pub fn words(self) -> &'static str {
        match self {
            Self::InUse => "In use",
            Self::Reserve => "Reserve",
            Self::OutOfService => "Out of service",
            Self::LentOut => "Lent out",
            Self::OnLoan => "On loan to us",
        }
    }

    /// Whether it answers calls here.
    pub fn rides(self) -> bool {
        matches!(self, Self::InUse | Self::OnLoan)
    }
}

/// Where a rig is and what it is for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RigStatus {
    /// The rig.
    pub rig: String,
    /// The station where it is.
    pub station: String,
    /// What it is for.
    pub duty: Duty,
    /// Whom it is lent to or borrowed from; why it is out.
    pub why: String,
}

/// An officer has read that a late record pulled a unit which had ridden.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Acknowledged {
    /// The late record.
    pub of: RecordRef,
}

/// What is personal about a member and so stands outside the logbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Personal {
    /// A fit test.
    FitTest,
    /// A medical clearance.
    Clearance,
    /// What the member is called.
    Name,
    /// The PIN.
    Pin,
    /// All of it was erased.
    Erased,
}

/// How a member leaves a post.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Leaving {
    /// To another post of the department: signs as before, sits nowhere until put there.
    Transferred,
    /// For a time.
    OnLeave,
    /// For good.
    Separated,
}

impl Leaving {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Transferred, Self::OnLeave, Self::Separated];

    /// As written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::Transferred => "transferred",
            Self::OnLeave => "on_leave",
            Self::Separated => "separated",
        }
    }

    /// On a screen.
    pub fn words(self) -> &'static str {
        match self {
            Self::Transferred => "Transferred",
            Self::OnLeave => "On leave",
            Self::Separated => "Separated",
        }
    }

    /// Whether the member may still sign.
    pub fn keeps_roles(self) -> bool {
        self == Self::Transferred
    }
}

/// A member left a post: seats from a shift on and qualifications end, and unless it is a transfer
/// the roles too. What was signed before stays.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Left {
    /// The member.
    pub member: String,
    /// How.
    pub how: Leaving,
    /// When the first shift began in which the member sits nowhere any more.
    pub shift: Millis,
    /// Why, or where to.
    pub why: String,
}

/// Something personal was entered or erased. What it says stands outside the logbook.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PersonChanged {
    /// The member.
    pub member: String,
    /// What it is about.
    pub what: Personal,
}

/// The officer has reviewed a rig and its crew. It makes no unit better: what was out of service
/// stays so.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RigAccepted {
    /// The rig.
    pub rig: String,
    /// When the shift began.
    pub shift: Millis,
    /// What stood there, place by place.
    pub places: Vec<Reviewed>,
}

/// A place as the officer was shown it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reviewed {
    /// The seat or kit place.
    pub seat: String,
    /// What was in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Asset>,
    /// Who was on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub member: Option<String>,
    /// Whether it was ready.
    pub ready: bool,
    /// What the officer says where it was not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub word: Option<String>,
}

impl RigAccepted {
    /// Places that are not as they were when the rig was accepted.
    pub fn changed<'a>(&self, now: &'a [Reviewed]) -> Vec<&'a str> {
        let same = |a: &Reviewed, b: &Reviewed| {
            (&a.seat, &a.asset, &a.member, a.ready) == (&b.seat, &b.asset, &b.member, b.ready)
        };
        now.iter().filter(|n| !self.places.iter().any(|p| same(p, n))).map(|n| n.seat.as_str()).collect()
    }
}
