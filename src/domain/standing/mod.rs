//! The standing of an asset, with its grounds.
//!
//! **The theorem.** Standing = f(set of field records, sequence of desk records, now). Field
//! records are merged by set union; `f` reads no arrival order, no received time and no
//! projection. So any order, any repetition and any interleaving of field records with a given
//! desk sequence gives the same standing. [`Account::of`] is `f` without `now`,
//! [`Account::standing`] adds it; `tests/theorem.rs` tries it.

mod account;
mod tables;
mod weights;
mod word;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::Millis;
use crate::ground::{Done, Kind, Raise};
use crate::record::{Asset, AssetKind, Cadence, Digest, RecordRef};
use crate::rules::Purpose;
use crate::shift::ShiftClock;

pub use account::{Account, Claim, cleared_assets, cleared_at, registered};
pub use tables::Tables;
pub use weights::{Weighed, Weights};
pub use word::{LATE, Source, Word, assets_of, contested_raise, doubted_raise, speaks_about};

/// How far ahead of now something that releases may be dated: two minutes.
pub const SLACK: Millis = 120_000;

/// What holds of an asset now. Ordered from best to worst.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// It may ride.
    InService,
    /// A check is due.
    CheckDue,
    /// The crew puts something right first.
    PutRight,
    /// It does not ride.
    OutOfService,
    /// Nothing may be done to it.
    Held,
    /// For good.
    Retired,
}

impl State {
    /// On a screen.
    pub fn words(self) -> &'static str {
        match self {
            Self::InService => "In service",
            Self::CheckDue => "Check due",
            Self::PutRight => "Put right",
            Self::OutOfService => "Out of service",
            Self::Held => "Held",
            Self::Retired => "Retired",
        }
    }
}

/// One ground of a standing, explained.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Ground {
    /// How it was raised.
    #[serde(flatten)]
    pub raise: Raise,
    /// The standing that it alone would give.
    pub state: State,
    /// What clears it.
    pub cleared_by: &'static str,
    /// Who can do that.
    pub who: &'static str,
}

impl From<Raise> for Ground {
    fn from(raise: Raise) -> Self {
        let terms = raise.kind.terms();
        Self { raise, state: terms.state, cleared_by: terms.cleared_by, who: terms.who }
    }
}

/// The last check that counts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LastCheck {
    /// The record.
    pub name: RecordRef,
    /// When.
    pub at: Millis,
    /// Who signed it.
    pub by: Option<String>,
    /// The profile as which it was made.
    pub profile: String,
}

impl From<&Done> for LastCheck {
    fn from(done: &Done) -> Self {
        Self { name: done.name, at: done.at, by: done.by.clone(), profile: done.profile.clone() }
    }
}

/// A standing: never without what it stands on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Standing {
    /// The asset.
    pub asset: Asset,
    /// What holds.
    pub state: State,
    /// What speaks against it, worst first. Empty only when it is in service.
    pub grounds: Vec<Ground>,
    /// The complete good check that speaks for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_check: Option<LastCheck>,
    /// Until when that check counts; none also where it counts until the unit is used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<Millis>,
}

impl Standing {
    /// Which check it is that the crew makes next, where nobody asks for another one: after a use the one
    /// after use, and of what is checked weekly or monthly the periodic one.
    pub fn asks_for(&self, cadence: Cadence) -> Purpose {
        match cadence {
            _ if self.grounds.iter().any(|g| g.raise.kind == Kind::Used) => Purpose::AfterUse,
            Cadence::Weekly | Cadence::Monthly => Purpose::Periodic,
            _ => Purpose::ShiftStart,
        }
    }

    /// Whether its state says all. A facepiece or cylinder is checked with a unit only, so that
    /// nothing speaks for it by itself: where nothing is open against it, that is all that is known.
    pub fn proved(&self) -> bool {
        self.asset.kind == AssetKind::Unit || self.state != State::InService
    }

    /// On a screen.
    pub fn words(&self) -> &'static str {
        if self.proved() { self.state.words() } else { "Nothing against it" }
    }
}

/// What the register says of an asset.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Registered {
    /// A unit, which is checked.
    Unit {
        /// How often where it stands.
        cadence: Cadence,
        /// As what kind of unit.
        profile: String,
    },
    /// A facepiece or cylinder, which is checked with a unit.
    Item,
}

/// From open grounds, the last check and the time to a standing.
///
/// `open` holds the grounds that nothing has cleared at `now`.
pub fn decide(
    asset: &Asset,
    open: Vec<Raise>,
    last_check: Option<LastCheck>,
    registered: Option<&Registered>,
    clock: &ShiftClock,
    now: Millis,
) -> Standing {
    // A check made since something was away says that it is fit again.
    let been = |r: &Raise| r.kind == Kind::BeenAway && last_check.as_ref().is_some_and(|c| c.at >= r.at);
    let mut grounds: Vec<Ground> = open.into_iter().filter(|r| !been(r)).map(Ground::from).collect();
    let computed = |kind: Kind, say: String| {
        Ground::from(Raise {
            asset: asset.clone(),
            key: format!("now/{asset}"),
            kind,
            from: last_check
                .as_ref()
                .map_or(RecordRef { id: Uuid::nil(), digest: Digest([0; 32]) }, |c| c.name),
            run: None,
            step: None,
            item: None,
            at: last_check.as_ref().map_or(0, |c| c.at),
            by: None,
            say,
            entered: String::new(),
            limit: String::new(),
            basis: String::new(),
            on: None,
        })
    };
    let mut until = None;
    match registered {
        None => grounds.push(computed(
            Kind::NotAccepted,
            format!("no {} of this number is in the register", asset.kind.words()),
        )),
        Some(Registered::Unit { cadence, profile }) => {
            until = last_check.as_ref().and_then(|c| clock.counts_until(*cadence, c.at));
            let say = match &last_check {
                Some(c) if c.profile != *profile => {
                    Some(format!("the last good check was made as {}; this is a {profile}", c.profile))
                }
                Some(_) if until.is_some_and(|until| until <= now) => {
                    Some("the last good check no longer counts".to_owned())
                }
                Some(_) => None,
                None => Some("no complete good check yet".to_owned()),
            };
            grounds.extend(say.map(|say| computed(Kind::CheckDue, say)));
        }
        Some(Registered::Item) => {}
    }
    grounds.sort_by(|a, b| {
        (b.state, a.raise.kind, a.raise.at, &a.raise.key).cmp(&(
            a.state,
            b.raise.kind,
            b.raise.at,
            &b.raise.key,
        ))
    });
    let state = grounds.first().map_or(State::InService, |g| g.state);
    Standing { asset: asset.clone(), state, grounds, last_check, until }
}
