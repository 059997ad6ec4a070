//! What is written in the field, with or without a network.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::Millis;
use crate::judge::Answer;
use crate::quantity::Temperature;
use crate::rules::Purpose;

use super::{Asset, Digest, RigAccepted};

/// How a check ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Signed and handed in.
    Complete,
    /// Written down at an out-of-service answer, unsigned: it raises and never counts as done.
    BrokenOff,
    /// The bell rang.
    Stopped,
}

/// A run through the steps for one unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// The unit's number.
    pub unit: String,
    /// The profile it was checked as.
    pub profile: String,
    /// The rule table, by the SHA-256 of its text.
    pub rules: Digest,
    /// The version of the judge that the tablet had.
    pub engine: u32,
    /// Why it was made.
    pub purpose: Purpose,
    /// How it ended.
    pub outcome: Outcome,
    /// The run: the id of the complete check, which broken-off and stopped parts of it share.
    pub run: Uuid,
    /// The facepiece checked with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub facepiece: Option<String>,
    /// The cylinder in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cylinder: Option<String>,
    /// How warm the bay was, where it was entered. It explains a reading and decides nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<Temperature>,
    /// When the first step was shown, by the tablet's clock.
    pub started: Millis,
    /// Grounds that the member was shown before answering.
    #[serde(default)]
    pub seen: Vec<String>,
    /// The answers.
    pub answers: Vec<Answer>,
}

/// In what state a unit came back from use.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// Nothing to clean.
    #[default]
    Clean,
    /// Dirty.
    Soiled,
    /// Exposed to something harmful: bagged, not in the cab, cleaned before anyone inspects it.
    Contaminated,
}

/// A record written in the field.
#[derive(Debug, Clone, PartialEq)]
pub enum Field {
    /// A check.
    Check(Check),
    /// Taken out of service on a member's word.
    TakenOut(TakenOut),
    /// Held for an inquiry: nothing may be done to it.
    Hold(TakenOut),
    /// Used at an incident, a training or a burn.
    Used(Used),
    /// A note.
    Note(TakenOut),
    /// A photograph was taken.
    Photo(Photo),
    /// An officer has reviewed a rig and its crew.
    RigAccepted(RigAccepted),
    /// A kind or version that this program cannot read.
    Unknown {
        /// What it is about, where it says so.
        asset: Option<Asset>,
        /// Why it cannot be read.
        why: String,
    },
}

/// An asset and a reason.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TakenOut {
    /// What it is about.
    pub asset: Asset,
    /// In the member's own words.
    pub why: String,
}

/// A photograph of a thing. The record names it; the picture travels apart, and may come later.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Photo {
    /// What it shows, or belongs to.
    pub asset: Asset,
    /// SHA-256 of the picture's bytes as they are sent.
    pub photo: Digest,
    /// The run of the check in which it was taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<Uuid>,
    /// The step at which it was taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
    /// What is to be seen on it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub what: String,
}

impl Condition {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Clean, Self::Soiled, Self::Contaminated];

    /// As written in a record.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Clean => "clean",
            Self::Soiled => "soiled",
            Self::Contaminated => "contaminated",
        }
    }
}

/// What a unit was used at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Occasion {
    /// A call.
    Incident,
    /// Training without fire.
    Training,
    /// A live burn.
    Burn,
}

impl Occasion {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Incident, Self::Training, Self::Burn];

    /// As written in a record, and in a sentence.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Incident => "incident",
            Self::Training => "training",
            Self::Burn => "burn",
        }
    }
}

/// A use of a unit. A cylinder changed on scene is part of it and no use of its own.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Used {
    /// The unit's number.
    pub unit: String,
    /// Which incident, training or burn.
    pub what: String,
    /// In what state it came back.
    pub condition: Condition,
    /// Which of them, where it was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub occasion: Option<Occasion>,
    /// The member who wore it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wearer: Option<String>,
    /// Cylinders that were used in it, one after the other.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cylinders: Vec<String>,
    /// Whether the form showed it as out of service or held, and it was used all the same.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub while_out: bool,
    /// Whether it asks for the check after use. Programs before asked for any complete check, and what
    /// they have written goes on to mean that.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub after_use: bool,
}
