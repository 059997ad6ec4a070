//! What the register holds: the department, its places, its things and its members' roles.

use std::collections::BTreeMap;

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

/// How often a unit is checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cadence {
    /// At the start of each shift.
    EachShift,
    /// Every seven days.
    Weekly,
    /// Every thirty-one days.
    Monthly,
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
