//! What is written down about upkeep: marks on cylinders, what was done and when, fills, air samples.

use std::fmt;
use std::str::FromStr;

use chrono::{Datelike as _, Months, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::quantity::Pressure;

use super::{Asset, AssetKind, NotThat};

/// A calendar month, as it is stamped on a cylinder: `2021-03`. What falls due in it falls due with
/// its last day: 49 CFR 180.207(a)(2) lets the work be done at any time during or before the month.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Month(NaiveDate);

impl Month {
    /// The month of a day.
    pub fn of(day: NaiveDate) -> Self {
        Self(day.with_day(1).unwrap_or(day))
    }

    /// Its first day.
    pub fn first_day(self) -> NaiveDate {
        self.0
    }

    /// Its last day.
    pub fn last_day(self) -> NaiveDate {
        let next = self.0.checked_add_months(Months::new(1)).and_then(|d| d.pred_opt());
        next.unwrap_or(self.0)
    }

    /// So many months later.
    #[must_use]
    pub fn plus(self, months: u32) -> Self {
        Self(self.0.checked_add_months(Months::new(months)).unwrap_or(self.0))
    }
}

impl fmt::Display for Month {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}", self.0.year(), self.0.month())
    }
}

impl FromStr for Month {
    type Err = NotThat;
    fn from_str(s: &str) -> Result<Self, NotThat> {
        let wrong = || NotThat { text: s.to_owned(), what: "a month, like 2021-03" };
        let (year, month) = s.split_once('-').ok_or_else(wrong)?;
        let whole = |t: &str, len: usize| t.len() == len && t.bytes().all(|b| b.is_ascii_digit());
        if !whole(year, 4) || !whole(month, 2) {
            return Err(wrong());
        }
        let (year, month) = (year.parse().map_err(|_| wrong())?, month.parse().map_err(|_| wrong())?);
        NaiveDate::from_ymd_opt(year, month, 1).map(Self).ok_or_else(wrong)
    }
}

/// What a cylinder was made to. It says how often it is requalified and how long it lives.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Spec {
    /// Steel, DOT 3A.
    #[serde(rename = "dot-3a")]
    Dot3a,
    /// Steel, DOT 3AA.
    #[serde(rename = "dot-3aa")]
    Dot3aa,
    /// Aluminium, DOT 3AL.
    #[serde(rename = "dot-3al")]
    Dot3al,
    /// Fully wrapped with carbon fibre, by a special permit.
    PermitCarbon,
    /// Fully wrapped with glass or aramid fibre, by a special permit.
    PermitGlass,
    /// Hoop-wrapped, by a special permit.
    PermitHoop,
    /// Metal, by a European or national rule.
    EnMetal,
    /// Composite, by a European or national rule.
    EnComposite,
}

impl Spec {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Dot3a,
        Self::Dot3aa,
        Self::Dot3al,
        Self::PermitCarbon,
        Self::PermitGlass,
        Self::PermitHoop,
        Self::EnMetal,
        Self::EnComposite,
    ];

    /// As written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::Dot3a => "dot-3a",
            Self::Dot3aa => "dot-3aa",
            Self::Dot3al => "dot-3al",
            Self::PermitCarbon => "permit-carbon",
            Self::PermitGlass => "permit-glass",
            Self::PermitHoop => "permit-hoop",
            Self::EnMetal => "en-metal",
            Self::EnComposite => "en-composite",
        }
    }

    /// From its id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.id() == id)
    }

    /// On a screen.
    pub fn words(self) -> &'static str {
        match self {
            Self::Dot3a => "steel, DOT 3A",
            Self::Dot3aa => "steel, DOT 3AA",
            Self::Dot3al => "aluminium, DOT 3AL",
            Self::PermitCarbon => "carbon fibre, special permit",
            Self::PermitGlass => "glass or aramid fibre, special permit",
            Self::PermitHoop => "hoop-wrapped, special permit",
            Self::EnMetal => "metal, European or national rule",
            Self::EnComposite => "composite, European or national rule",
        }
    }

    /// Months between requalifications where the department has not set others. 49 CFR 180.209(a)
    /// Table 1 gives five years for 3A, 3AA and 3AL (ten or twelve only under conditions) and leaves
    /// special permits to the permit: usually five years for full carbon wraps, three for glass,
    /// aramid and hoop wraps. ISO 18119 and ISO 11623 guide to five; nations set their own.
    pub fn months(self) -> u32 {
        match self {
            Self::PermitGlass | Self::PermitHoop => 36,
            _ => 60,
        }
    }

    /// The longest period that a department may set, in months: Table 1 of 49 CFR 180.209 ends at
    /// twelve years for 3A, 3AA and 3AL; a special permit's period is not lengthened; for national rules ten
    /// years, the longest we know of, is common practice with no published source.
    pub fn most_months(self) -> u32 {
        match self {
            Self::Dot3a | Self::Dot3aa | Self::Dot3al => 144,
            Self::EnMetal | Self::EnComposite => 120,
            _ => self.months(),
        }
    }

    /// How long it lives, in months from the month in which it was made: 15 years for composites by
    /// special permit (RSPA notice 94-1, 15 Feb 1994), no fixed end for metal. European composites
    /// end as their maker says.
    pub fn life_months(self) -> Option<u32> {
        match self {
            Self::PermitCarbon | Self::PermitGlass | Self::PermitHoop => Some(180),
            _ => None,
        }
    }

    /// Where its period comes from.
    pub fn basis(self) -> &'static str {
        match self {
            Self::Dot3a | Self::Dot3aa | Self::Dot3al => "49 CFR 180.209(a), Table 1",
            Self::PermitCarbon | Self::PermitGlass | Self::PermitHoop => {
                "49 CFR 180.209(a), Table 1: as the special permit says"
            }
            Self::EnMetal => "ISO 18119; the national rule governs",
            Self::EnComposite => "ISO 11623; the national rule governs",
        }
    }
}

/// What is stamped or printed on a cylinder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Marks {
    /// Water volume in millilitres.
    pub volume_ml: u32,
    /// What it was made to.
    pub spec: Spec,
    /// When it was made.
    pub made: Month,
    /// When it was last requalified, if ever.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub requalified: Option<Month>,
    /// The month with which its life ends, where its maker or a permit says another one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub life_until: Option<Month>,
    /// Its maker's serial number.
    #[serde(default)]
    pub serial: String,
}

/// A kind of upkeep.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Work {
    /// A unit's flow test on the bench.
    FlowTest,
    /// A unit's batteries.
    Battery,
    /// A facepiece taken apart, looked over and put together again.
    FacepieceService,
    /// A cylinder's requalification.
    Requalification,
    /// A composite cylinder's end of life.
    EndOfLife,
    /// A laboratory's look at a source of breathing air.
    AirSample,
    /// A technician's qualification.
    Qualification,
    /// A cylinder's life was extended.
    LifeExtension,
    /// A cylinder whose air was in doubt was emptied and flushed.
    AirReplaced,
    /// A facepiece was cleaned and disinfected.
    Cleaned,
}

impl Work {
    /// What falls due again and again, in the order of a table.
    pub const DUE: [Self; 6] = [
        Self::FlowTest,
        Self::Requalification,
        Self::EndOfLife,
        Self::FacepieceService,
        Self::Battery,
        Self::AirSample,
    ];

    /// What is written down as done on an asset.
    pub const DONE: [Self; 7] = [
        Self::FlowTest,
        Self::Battery,
        Self::Requalification,
        Self::LifeExtension,
        Self::AirReplaced,
        Self::FacepieceService,
        Self::Cleaned,
    ];

    /// As written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::FlowTest => "flow_test",
            Self::Battery => "battery",
            Self::FacepieceService => "facepiece_service",
            Self::Requalification => "requalification",
            Self::EndOfLife => "end_of_life",
            Self::AirSample => "air_sample",
            Self::Qualification => "qualification",
            Self::LifeExtension => "life_extension",
            Self::AirReplaced => "air_replaced",
            Self::Cleaned => "cleaned",
        }
    }

    /// On a screen.
    pub fn words(self) -> &'static str {
        match self {
            Self::FlowTest => "flow test",
            Self::Battery => "batteries",
            Self::FacepieceService => "facepiece service",
            Self::Requalification => "requalification",
            Self::EndOfLife => "end of life",
            Self::AirSample => "air sample",
            Self::Qualification => "technician’s qualification",
            Self::LifeExtension => "life extension",
            Self::AirReplaced => "emptied and flushed",
            Self::Cleaned => "cleaned and disinfected",
        }
    }

    /// What it is done to; none for a source of air.
    pub fn on(self) -> Option<AssetKind> {
        match self {
            Self::FlowTest | Self::Battery => Some(AssetKind::Unit),
            Self::FacepieceService | Self::Cleaned => Some(AssetKind::Facepiece),
            Self::Requalification | Self::EndOfLife | Self::LifeExtension | Self::AirReplaced => {
                Some(AssetKind::Cylinder)
            }
            Self::AirSample | Self::Qualification => None,
        }
    }

    /// Whether a paper from whoever did it is asked for.
    pub fn needs_paper(self) -> bool {
        matches!(self, Self::FlowTest | Self::Requalification | Self::LifeExtension)
    }
}

/// Upkeep that was done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Upkept {
    /// To what.
    pub asset: Asset,
    /// What.
    pub work: Work,
    /// On which day; of a requalification, any day of the month that was stamped.
    pub on: NaiveDate,
    /// Whether it passed.
    pub passed: bool,
    /// The certificate or sheet: who did it, and its number.
    #[serde(default)]
    pub reference: String,
    /// For a life extension: the month with which the longer life ends.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<Month>,
    /// More.
    #[serde(default)]
    pub note: String,
}

/// A cylinder was filled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fill {
    /// The cylinder's number.
    pub cylinder: String,
    /// The source's id.
    pub source: String,
    /// To what pressure, as read at the end.
    pub pressure: Pressure,
    /// The cylinder's or the room's temperature in °C, where it was read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub celsius: Option<i16>,
}

/// A cylinder's pressure was read where it lies ready.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CylinderRead {
    /// The cylinder's number.
    pub cylinder: String,
    /// As read.
    pub pressure: Pressure,
}

/// What a laboratory found in a source's air.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AirSample {
    /// The source's id.
    pub source: String,
    /// The day on which it was taken.
    pub on: NaiveDate,
    /// Oxygen, in hundredths of a percent by volume.
    pub oxygen: u32,
    /// Condensed hydrocarbon, in hundredths of a milligram a cubic metre.
    pub oil: u32,
    /// Carbon monoxide, in tenths of a ppm.
    pub monoxide: u32,
    /// Carbon dioxide, in ppm.
    pub dioxide: u32,
    /// Whether there was a noticeable odour.
    pub odour: bool,
    /// The laboratory and its report's number.
    pub reference: String,
}

/// What follows when upkeep has lapsed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Lapse {
    /// It is said, and nothing else.
    Said,
    /// The thing is out of service.
    OutOfService,
}

/// How often upkeep is done in this department, and what follows when it has lapsed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Period {
    /// Of what.
    pub work: Work,
    /// For which profile or cylinder specification alone; empty for all.
    #[serde(default)]
    pub only: String,
    /// Months from one to the next.
    pub months: u32,
    /// What follows.
    pub lapse: Lapse,
}
