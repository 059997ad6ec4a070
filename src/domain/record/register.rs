//! What the register holds: the department, its places, its things and its members' roles.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::quantity::Pressure;

use super::{Asset, Marks, Period, Slot, TabletKey};

/// A new or changed entry of the register. What a person is called is kept elsewhere.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case", deny_unknown_fields)]
pub enum Register {
    /// The department's settings.
    Department {
        /// Its name.
        name: String,
        /// IANA time zone.
        zone: String,
        /// Local time at which a shift starts, `HH:MM`.
        shift_start: String,
        /// Length of a shift in hours: a divisor of 24, or 24.
        shift_hours: u8,
        /// A check this many minutes before the shift counts for it.
        early_minutes: u16,
        /// A check is due this many minutes after the shift's start.
        grace_minutes: u16,
    },
    /// Whether a crew's good check waits for an officer's countersignature before it counts. Checks
    /// that come in from now on are meant; what was countersigned or not before stays so.
    Countersigning {
        /// Whether it does.
        required: bool,
    },
    /// How often what stands somewhere is checked there.
    Cadence {
        /// Where.
        at: Spot,
        /// How often; none: nothing is said about it any more, and what is wider holds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cadence: Option<Cadence>,
    },
    /// Whether this department asks that whoever rides is known to the unit's alarm, and for how long
    /// it remembers.
    Identification {
        /// What is asked.
        asked: Asked,
        /// For how many hours the alarm knows its wearer after an identification.
        hours: u16,
    },
    /// A station.
    Station {
        /// Short lower-case name.
        id: String,
        /// Its name.
        name: String,
        /// Order of display.
        order: u16,
    },
    /// A rig.
    Rig {
        /// Short lower-case name.
        id: String,
        /// Its name.
        name: String,
        /// The station's id.
        station: String,
        /// Order of display.
        order: u16,
    },
    /// A place on a rig.
    Seat {
        /// Short lower-case name.
        id: String,
        /// The rig's id.
        rig: String,
        /// Its name.
        name: String,
        /// Whether it is a kit's place instead of a riding position.
        #[serde(default)]
        kit: bool,
        /// Order of display; lower is more important.
        order: u16,
    },
    /// A unit.
    Unit {
        /// Its number.
        number: String,
        /// Its profile.
        profile: String,
        /// How often it is checked.
        cadence: Cadence,
        /// Whether it is in use already; a new one is accepted first.
        #[serde(default)]
        in_use: bool,
        /// Serial numbers by part.
        #[serde(default)]
        serials: BTreeMap<String, String>,
    },
    /// A facepiece.
    Facepiece {
        /// Its number.
        number: String,
        /// Its size.
        size: String,
    },
    /// A cylinder.
    Cylinder {
        /// Its number.
        number: String,
        /// Rated pressure.
        rated: Pressure,
    },
    /// What is stamped on a cylinder.
    CylinderMarks {
        /// The cylinder's number.
        number: String,
        /// The marks.
        marks: Marks,
    },
    /// What a facepiece is besides its size, as fit tests ask for it.
    FacepieceModel {
        /// The facepiece's number.
        number: String,
        /// Who makes it.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        make: String,
        /// Its model, as on its approval label.
        model: String,
        /// Its style: full, with or without a speech part, and so on.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        style: String,
    },
    /// Which parts the approval names for a kind of unit. Nothing else is fitted to it.
    Approval {
        /// The profile.
        profile: String,
        /// Where on the unit.
        slot: Slot,
        /// The parts, by the names on their labels.
        names: Vec<String>,
    },
    /// A source of breathing air: a compressor, a cascade.
    Source {
        /// Short lower-case name.
        id: String,
        /// Its name.
        name: String,
        /// The station where it stands.
        station: String,
    },
    /// How often upkeep is done, and what follows when it has lapsed.
    Period(Period),
    /// Until when a technician's qualification for a family of profiles holds.
    Qualification {
        /// The member's id.
        member: String,
        /// The family.
        family: String,
        /// The last day on which it holds.
        until: NaiveDate,
        /// The certificate: who trained, and its number.
        reference: String,
    },
    /// A member, by id.
    Member {
        /// The id that records name.
        id: String,
        /// Roles.
        roles: Vec<String>,
        /// Profile families for which the member is a qualified technician.
        #[serde(default)]
        qualified: Vec<String>,
    },
    /// A tablet that was enrolled. Its name, station and key stay what they are; another one is
    /// enrolled anew.
    Tablet {
        /// The id that its records name.
        id: String,
        /// What people call it.
        name: String,
        /// The station's id.
        station: String,
        /// The key with which it signs; without a secure connection it has none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        key: Option<TabletKey>,
    },
    /// Which platoons take turns, shift by shift.
    Rotation {
        /// Their names, in the order of their turns; with none, nobody rotates.
        turns: Vec<String>,
        /// A shift in which the first of them was on duty.
        first: crate::Millis,
        /// Ids of rigs that take no turns.
        #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
        apart: BTreeSet<String>,
    },
    /// How long it takes from one station to another, either way.
    Drive {
        /// The one.
        from: String,
        /// The other.
        to: String,
        /// Minutes.
        minutes: u16,
    },
    /// Where an asset is.
    Holder {
        /// The asset.
        asset: Asset,
        /// Where it is.
        place: Place,
    },
}

/// How often a unit is checked. After each use it is checked in any case.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cadence {
    /// At the start of each shift.
    EachShift,
    /// Every seven local days.
    Weekly,
    /// Every thirty-one local days.
    Monthly,
    /// After use, and never because time has gone by.
    AfterUse,
}

impl Cadence {
    /// All of them, the strictest first.
    pub const ALL: [Self; 4] = [Self::EachShift, Self::Weekly, Self::Monthly, Self::AfterUse];

    /// As written in a record.
    pub const fn id(self) -> &'static str {
        match self {
            Self::EachShift => "each_shift",
            Self::Weekly => "weekly",
            Self::Monthly => "monthly",
            Self::AfterUse => "after_use",
        }
    }

    /// From what is written in a record.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.id() == id)
    }

    /// As a table and a sentence have it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::EachShift => "each shift",
            Self::Weekly => "weekly",
            Self::Monthly => "monthly",
            Self::AfterUse => "after use",
        }
    }

    /// After how many local days it is due again; none where it does not go by days.
    pub const fn days(self) -> Option<u32> {
        match self {
            Self::Weekly => Some(7),
            Self::Monthly => Some(31),
            Self::EachShift | Self::AfterUse => None,
        }
    }

    /// What has to be said where this is chosen: 29 CFR 1910.134(h)(3)(i)(A) wants what is in routine use
    /// inspected before each use and during cleaning, and (B) what is kept for emergencies at least
    /// monthly, and its function checked before and after each use.
    pub const fn caution(self) -> Option<&'static str> {
        match self {
            Self::AfterUse => Some(
                "After use alone is less than 29 CFR 1910.134(h)(3)(i) asks for: what is kept for emergencies is inspected at least monthly and checked before and after each use, what is in routine use before each use. Choose it only for what nobody takes to a call.",
            ),
            Self::EachShift | Self::Weekly | Self::Monthly => None,
        }
    }
}

/// A place for which a cadence can be set.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(tag = "on", rename_all = "snake_case", deny_unknown_fields)]
pub enum Spot {
    /// Everything on a rig.
    Rig {
        /// The rig's id.
        rig: String,
    },
    /// One seat or kit place.
    Seat {
        /// The seat's id.
        seat: String,
    },
    /// The spares at a station.
    Spares {
        /// The station's id.
        station: String,
    },
}

/// Whether a department asks that the wearer is known to the unit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Asked {
    /// It does not.
    #[default]
    No,
    /// It is shown beside the member, and blocks nothing.
    Shown,
    /// A seat is ready only with it.
    Needed,
}

impl Asked {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::No, Self::Shown, Self::Needed];

    /// As written in a record.
    pub const fn id(self) -> &'static str {
        match self {
            Self::No => "no",
            Self::Shown => "shown",
            Self::Needed => "needed",
        }
    }

    /// From what is written in a record.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|a| a.id() == id)
    }
}

/// Where an asset is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "at", rename_all = "snake_case", deny_unknown_fields)]
pub enum Place {
    /// On a rig, in a seat or kit place.
    Seat {
        /// The seat's id.
        seat: String,
    },
    /// A spare at a station.
    Spare {
        /// The station's id.
        station: String,
    },
    /// With a unit: the cylinder in it, the facepiece on it.
    With {
        /// The unit's number.
        unit: String,
    },
    /// On the bench.
    Bench,
    /// At an outside repairer.
    Repairer,
    /// With another department: lent to it, or its own and given back.
    Away,
}
