//! Periods of upkeep as they are set in several places: a beginning for a department, which then
//! changes what its own rule or its maker says otherwise. The floors of [`crate::upkeep`] hold
//! whatever is chosen.

use crate::record::{Lapse, Period, Work};

/// A set of periods.
#[derive(Debug, Clone, Copy)]
pub struct Practice {
    /// As a form sends it.
    pub id: &'static str,
    /// On a screen.
    pub title: &'static str,
    /// Where its figures come from.
    pub basis: &'static str,
    /// Kind of upkeep, for which profile or specification alone, months.
    periods: &'static [(Work, &'static str, u32)],
}

use Work::{AirSample, Battery, FacepieceService, FlowTest, Requalification};

/// All of them.
pub const ALL: [Practice; 5] = [
    Practice {
        id: "us",
        title: "United States: air every three months",
        basis: "flow test yearly: NFPA 1852, from memory; air: WAC 296-305-04001(6); batteries and facepieces yearly: common practice, no published source",
        periods: &[(FlowTest, "", 12), (AirSample, "", 3), (Battery, "", 12), (FacepieceService, "", 12)],
    },
    Practice {
        id: "us-texas",
        title: "Texas: air every six months",
        basis: "Texas Government Code 419.041(c)-(f): yearly test, air twice a year; batteries and facepieces yearly: common practice, no published source",
        periods: &[(FlowTest, "", 12), (AirSample, "", 6), (Battery, "", 12), (FacepieceService, "", 12)],
    },
    Practice {
        id: "en",
        title: "Europe: cylinders every five years",
        basis: "ISO 18119 and ISO 11623 guide to five years, the national rule governs; air every three months: local British practice (second-hand); the rest yearly: common practice, no published source",
        periods: &[
            (Requalification, "en-metal", 60),
            (Requalification, "en-composite", 60),
            (FlowTest, "", 12),
            (AirSample, "", 3),
            (Battery, "", 12),
            (FacepieceService, "", 12),
        ],
    },
    Practice {
        id: "en-finland",
        title: "Finland: composite cylinders every three years",
        basis: "composite cylinders every three years in Finland (national practice), metal as ISO 18119 guides; the rest yearly: common practice, no published source",
        periods: &[
            (Requalification, "en-metal", 60),
            (Requalification, "en-composite", 36),
            (FlowTest, "", 12),
            (AirSample, "", 3),
            (Battery, "", 12),
            (FacepieceService, "", 12),
        ],
    },
    Practice {
        id: "en-monthly",
        title: "United Kingdom: looked over every month",
        basis: "thorough examination about monthly: COSHH regulation 9(3) with its code of practice, L5, paragraph 181 (second-hand); air every three months: local practice (second-hand); cylinders as in Europe. The monthly examination of units is their periodic check, set as the unit's cadence",
        periods: &[
            (Requalification, "en-metal", 60),
            (Requalification, "en-composite", 60),
            (FlowTest, "", 12),
            (AirSample, "", 3),
            (Battery, "", 12),
            (FacepieceService, "", 1),
        ],
    },
];

impl Practice {
    /// The set with this id.
    pub fn from_id(id: &str) -> Option<&'static Self> {
        ALL.iter().find(|p| p.id == id)
    }

    /// Its periods as the register takes them; what follows a lapse stays as `lapse` says.
    pub fn periods(&self, lapse: impl Fn(Work, &str) -> Lapse) -> Vec<Period> {
        let one = |(work, only, months): &(Work, &str, u32)| Period {
            work: *work,
            only: (*only).to_owned(),
            months: *months,
            lapse: lapse(*work, only),
        };
        self.periods.iter().map(one).collect()
    }
}
