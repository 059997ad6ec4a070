//! What a rule table is made of.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use serde::{Deserialize, Serialize};

use crate::quantity::{Limit, Pressure, Seconds};
use crate::record::Slot;

/// What follows from an answer outside its limit. Ordered from mildest to worst.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Consequence {
    /// Written down; the unit may ride.
    Remark,
    /// The crew puts it right on the spot and answers again.
    PutRight,
    /// The unit does not ride until a technician has returned it.
    OutOfService,
}

impl Consequence {
    /// In plain words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Remark => "remark",
            Self::PutRight => "put right",
            Self::OutOfService => "out of service",
        }
    }
}

/// Why a check is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Purpose {
    /// At the start of a shift.
    ShiftStart,
    /// After the unit was used.
    AfterUse,
    /// Weekly or monthly, also for spares and stored units.
    Periodic,
    /// By a technician, before a unit is returned to service.
    Proving,
    /// Before a new unit is taken into service.
    Acceptance,
}

impl Purpose {
    /// All purposes, in the order in which a form offers them.
    pub const ALL: [Self; 5] =
        [Self::ShiftStart, Self::AfterUse, Self::Periodic, Self::Proving, Self::Acceptance];

    /// As written in a rule table, a record and a form.
    pub fn id(self) -> &'static str {
        match self {
            Self::ShiftStart => "shift-start",
            Self::AfterUse => "after-use",
            Self::Periodic => "periodic",
            Self::Proving => "proving",
            Self::Acceptance => "acceptance",
        }
    }

    /// The name of such a check on a screen.
    pub fn title(self) -> &'static str {
        match self {
            Self::ShiftStart => "Shift-start check",
            Self::AfterUse => "After-use check",
            Self::Periodic => "Periodic check",
            Self::Proving => "Proving check",
            Self::Acceptance => "Acceptance check",
        }
    }

    /// Whether it is the crew's own check. The others end with a technician's word at the desk, a return
    /// or an acceptance.
    pub fn is_the_crews(self) -> bool {
        matches!(self, Self::ShiftStart | Self::AfterUse | Self::Periodic)
    }

    /// Whether such a check asks everything that a use may have done: the check after use itself, and the
    /// proving check, which asks all there is. An acceptance check asks after no wearer.
    pub fn looks_after_use(self) -> bool {
        matches!(self, Self::AfterUse | Self::Proving)
    }

    /// The purpose with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|p| p.id() == id)
    }
}

impl fmt::Display for Purpose {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.id())
    }
}

/// What a step looks at: its failing tags that thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Subject {
    /// The unit itself.
    #[default]
    Unit,
    /// The facepiece worn with it.
    Facepiece,
    /// The cylinder in it.
    Cylinder,
    /// Something hung on it that the approval does not count.
    Accessory,
}

impl Subject {
    /// In plain words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Unit => "unit",
            Self::Facepiece => "facepiece",
            Self::Cylinder => "cylinder",
            Self::Accessory => "accessory",
        }
    }

    /// Whether another one can be tried in the same check.
    pub fn is_separate(self) -> bool {
        matches!(self, Self::Facepiece | Self::Cylinder)
    }
}

/// Which sequence of a profile a step watches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum StagesOf {
    /// The motion alarm: warnings, then the full alarm.
    Motion,
    /// The pressure display, stepping down.
    Display,
}

/// What a step asks for, with its limit as the table states it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    /// The number read off the thing itself.
    Identity,
    /// Good, or not good.
    Confirm,
    /// One pressure.
    Reading {
        /// The reading must be higher than this.
        above: Option<Limit>,
        /// The reading must be this or higher.
        at_least: Option<Limit>,
        /// The reading must be this or lower.
        at_most: Option<Limit>,
    },
    /// Two gauges side by side; the strictest of the limits governs, exactly at it agrees.
    Pair {
        /// Largest difference allowed.
        largest: Vec<Limit>,
    },
    /// A pressure read twice, some time apart.
    Drop {
        /// Largest fall allowed.
        largest: Limit,
        /// Over at least this long.
        within: Seconds,
    },
    /// A wait during which something must hold.
    Hold {
        /// At least this long.
        at_least: Seconds,
    },
    /// An ordered sequence that the profile describes.
    Stages(StagesOf),
    /// The pressure at which the low-air alarm starts; the band comes from the profile's alarm.
    Trip,
}

impl Kind {
    /// As written in the table.
    pub fn id(&self) -> &'static str {
        match self {
            Self::Identity => "identity",
            Self::Confirm => "confirm",
            Self::Reading { .. } => "reading",
            Self::Pair { .. } => "pair",
            Self::Drop { .. } => "drop",
            Self::Hold { .. } => "hold",
            Self::Stages(_) => "stages",
            Self::Trip => "trip",
        }
    }
}

/// A section of the form.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Group {
    /// Referred to by steps.
    pub id: String,
    /// The heading.
    pub title: String,
    /// A caution that stands at the head of the section.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub caution: Option<String>,
}

/// One row of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Stable name: lower-case words with hyphens.
    pub id: String,
    /// The section it stands in.
    pub group: String,
    /// A short title.
    pub title: String,
    /// What to do.
    pub instruction: String,
    /// What is right, where no number says it.
    pub right: String,
    /// What to do when it is not right.
    pub when_wrong: String,
    /// A caution that stands beside the answer.
    pub caution: Option<String>,
    /// What is asked and its limit.
    pub kind: Kind,
    /// What a failure tags.
    pub subject: Subject,
    /// What follows from a failure.
    pub consequence: Consequence,
    /// How many failing answers at one thing the crew may give before it is out of service.
    pub tries: u8,
    /// Whom to tell.
    pub tell: String,
    /// Where the limit comes from.
    pub basis: String,
    /// Parts that the profile must have for the step to be asked.
    pub needs: Vec<String>,
    /// Profiles for which it is asked; empty: all.
    pub profiles: Vec<String>,
    /// Checks in which it is asked.
    pub checks: BTreeSet<Purpose>,
    /// Other steps that what is repaired here can have touched: with these it is proved. `None`: anything, so
    /// only the whole table proves it.
    pub touches: Option<Vec<String>>,
    /// The least time it takes, in seconds, by which a hurried check can be seen.
    pub least: Seconds,
}

/// A generation of low-air alarm: the band in which it must start.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Alarm {
    /// A short name for the screen.
    pub title: String,
    /// Starting below this: out of service.
    pub at_least: Limit,
    /// Starting above this: a remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark_above: Option<Limit>,
    /// Starting above this: out of service.
    pub out_above: Limit,
    /// Where the figures come from.
    pub basis: String,
}

/// A sequence with its number of stages and, where they matter, its times.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stages {
    /// A short description for the screen.
    pub title: String,
    /// How many stages must be seen or heard, in order (for a motion alarm: warnings).
    pub count: u8,
    /// The first one no earlier than this, else a remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_from: Option<Seconds>,
    /// The first one by this time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_by: Option<Seconds>,
    /// The full alarm by this time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub full_by: Option<Seconds>,
    /// Where the figures come from.
    pub basis: String,
}

/// What a kind of unit is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// A short name for the screen.
    pub title: String,
    /// Rated pressure of its cylinder; its unit is the unit of the gauges.
    pub rated: Pressure,
    /// What one division of its gauges is worth.
    pub division: Pressure,
    /// The generation of its low-air alarm.
    pub alarm: String,
    /// Its motion alarm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub motion: Option<String>,
    /// Its pressure display.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub display: Option<String>,
    /// The qualification that a technician needs for it.
    pub family: String,
    /// Parts that not every unit has.
    #[serde(default)]
    pub fitted: BTreeSet<String>,
}

impl Profile {
    /// The parts with a serial of their own that every unit of this kind has.
    pub fn slots(&self) -> Vec<Slot> {
        let display = self.display.is_some() || self.fitted.contains("display");
        let own = |s: &Slot| match s {
            Slot::Regulator | Slot::Reducer | Slot::RemoteGauge => true,
            Slot::Alarm => self.motion.is_some(),
            Slot::Display => display,
            Slot::CylinderGauge => false,
        };
        Slot::ALL.into_iter().filter(own).collect()
    }
}

/// A whole rule table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// What the department calls it.
    pub name: String,
    /// Its edition, in the department's own words.
    pub edition: String,
    /// Generations of low-air alarm.
    pub alarms: BTreeMap<String, Alarm>,
    /// Sequences.
    pub stages: BTreeMap<String, Stages>,
    /// Profiles.
    pub profiles: BTreeMap<String, Profile>,
    /// Sections, in the order of the form.
    pub groups: Vec<Group>,
    /// Steps, in the order of the form.
    pub steps: Vec<Step>,
    /// SHA-256 of the text, in lower-case hexadecimal: the table's name in every record.
    pub digest: String,
}

impl Table {
    /// The step with this id.
    pub fn step(&self, id: &str) -> Option<&Step> {
        self.steps.iter().find(|s| s.id == id)
    }
}
