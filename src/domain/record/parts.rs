//! Parts of a unit that have serials of their own, and notices that stop or recall them.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::{Asset, AssetKind, Month};

/// Where on a unit a part with a serial of its own sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Slot {
    /// The second stage, on the facepiece.
    Regulator,
    /// The first stage.
    Reducer,
    /// The motion alarm's module.
    Alarm,
    /// The display in the facepiece.
    Display,
    /// The gauge that the wearer reads.
    RemoteGauge,
    /// The gauge at the cylinder's valve.
    CylinderGauge,
}

impl Slot {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Regulator, Self::Reducer, Self::Alarm, Self::Display, Self::RemoteGauge, Self::CylinderGauge];

    /// As written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::Regulator => "regulator",
            Self::Reducer => "reducer",
            Self::Alarm => "alarm",
            Self::Display => "display",
            Self::RemoteGauge => "remote_gauge",
            Self::CylinderGauge => "cylinder_gauge",
        }
    }

    /// On a screen.
    pub fn words(self) -> &'static str {
        match self {
            Self::Regulator => "regulator",
            Self::Reducer => "reducer",
            Self::Alarm => "alarm module",
            Self::Display => "display",
            Self::RemoteGauge => "remote gauge",
            Self::CylinderGauge => "cylinder gauge",
        }
    }

    /// The slot of this name, as a record, a table or a person writes it.
    pub fn named(name: &str) -> Option<Self> {
        let name = name.trim().to_lowercase().replace([' ', '-'], "_");
        Self::ALL.into_iter().find(|s| s.id() == name || s.words().replace(' ', "_") == name)
    }
}

/// A part, as its label has it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Component {
    /// What it is, as the approval names it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// Its serial.
    pub serial: String,
    /// The edition of the standard, or of the maker's design, that it was made to.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub edition: String,
    /// When it was made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made: Option<Month>,
    /// The last day of its warranty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warranty: Option<NaiveDate>,
}

/// A part was entered, fitted, removed or replaced.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fitting {
    /// The unit's number.
    pub unit: String,
    /// Where on it.
    pub slot: Slot,
    /// The serial of what came out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub out: Option<String>,
    /// What went in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<Component>,
    /// Nothing was worked on: the part was on the unit, and its label is now in the register.
    #[serde(default)]
    pub was_there: bool,
    /// Why, or what for.
    #[serde(default)]
    pub why: String,
}

impl Fitting {
    /// In words: `regulator RG-2 fitted in the place of RG-1`.
    pub fn words(&self) -> String {
        let slot = self.slot.words();
        match (&self.out, &self.part) {
            (_, Some(p)) if self.was_there => format!("{slot} {} entered in the register", p.serial),
            (Some(out), Some(p)) => format!("{slot} {} fitted in the place of {out}", p.serial),
            (None, Some(p)) => format!("{slot} {} fitted", p.serial),
            (Some(out), None) => format!("{slot} {out} removed"),
            (None, None) => format!("{slot}: nothing changed"),
        }
    }
}

/// Which things a notice is about. What is left empty narrows nothing down.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reach {
    /// Units (or parts of them), facepieces or cylinders.
    pub kind: AssetKind,
    /// Units of this profile; cylinders of this specification.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub only: String,
    /// A part of the units.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slot: Option<Slot>,
    /// The part's name, or the facepiece's model.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// The first serial.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub from: String,
    /// The last serial.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub to: String,
    /// A batch: made in this month or later.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_from: Option<Month>,
    /// A batch: made in this month or earlier.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_to: Option<Month>,
}

/// Stop using things, or inspect them by a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Notice {
    /// The department's own number for it.
    pub number: String,
    /// What it is about, in a line.
    pub title: String,
    /// Who gave it out, and its reference.
    pub source: String,
    /// What is to be done to each.
    pub what: String,
    /// The last day to inspect by; without one they are not used until dealt with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<NaiveDate>,
    /// Which things.
    pub reach: Reach,
}

/// One thing was dealt with as a notice says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoticeDone {
    /// The notice's number.
    pub notice: String,
    /// The thing.
    pub asset: Asset,
    /// What was done and found.
    pub what: String,
}

/// A notice is withdrawn.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoticeEnded {
    /// Its number.
    pub notice: String,
    /// Who withdrew it, and why.
    pub why: String,
}
