//! Units lent to another department, and another department's units here.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::{Asset, Cadence, Place, Register};

/// A unit goes to another department for a time, or one of another department comes here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "way", rename_all = "snake_case", deny_unknown_fields)]
pub enum Loan {
    /// Ours, lent: it counts nowhere until it is back.
    Lent {
        /// Its number.
        unit: String,
        /// Whom it is lent to.
        to: String,
        /// Who took it, or the paper that went with it.
        reference: String,
        /// The day on which it is due back.
        due_back: NaiveDate,
    },
    /// Another department's, here as a spare.
    Borrowed {
        /// The number that it has here.
        unit: String,
        /// What kind of unit it is: a profile of the rule table.
        profile: String,
        /// Whom it is borrowed from.
        from: String,
        /// The number that its owner has on it.
        theirs: String,
        /// The paper that came with it, or who handed it over.
        reference: String,
        /// The day on which its owner wants it back.
        due_back: NaiveDate,
        /// The station at which it is a spare.
        station: String,
    },
}

impl Loan {
    /// The unit that it is about.
    pub fn unit(&self) -> Asset {
        match self {
            Self::Lent { unit, .. } | Self::Borrowed { unit, .. } => Asset::unit(unit),
        }
    }

    /// The other department.
    pub fn other(&self) -> &str {
        match self {
            Self::Lent { to, .. } => to,
            Self::Borrowed { from, .. } => from,
        }
    }

    /// The paper that goes with it.
    pub fn reference(&self) -> &str {
        match self {
            Self::Lent { reference, .. } | Self::Borrowed { reference, .. } => reference,
        }
    }

    /// When it is due back.
    pub fn due_back(&self) -> NaiveDate {
        match self {
            Self::Lent { due_back, .. } | Self::Borrowed { due_back, .. } => *due_back,
        }
    }

    /// What it enters in the register: where the unit is from then on, and a borrowed one itself,
    /// which is checked at each shift like any other.
    pub fn entries(&self) -> Vec<Register> {
        let asset = self.unit();
        match self {
            Self::Lent { .. } => vec![Register::Holder { asset, place: Place::Away }],
            Self::Borrowed { unit, profile, station, .. } => vec![
                Register::Unit {
                    number: unit.clone(),
                    profile: profile.clone(),
                    cadence: Cadence::EachShift,
                    in_use: true,
                    serials: BTreeMap::new(),
                },
                Register::Holder { asset, place: Place::Spare { station: station.clone() } },
            ],
        }
    }
}

/// A lent unit is back, or a borrowed one was given back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoanEnded {
    /// The unit's number.
    pub unit: String,
    /// The station at which a lent unit is a spare now; none where a borrowed one left.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub station: Option<String>,
    /// What was said when it changed hands.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}

impl LoanEnded {
    /// What it enters in the register: where the unit is from then on.
    pub fn entries(&self) -> Vec<Register> {
        let place = match &self.station {
            Some(station) => Place::Spare { station: station.clone() },
            None => Place::Away,
        };
        vec![Register::Holder { asset: Asset::unit(&self.unit), place }]
    }
}
